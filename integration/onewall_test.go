package integration_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"net/url"
	"regexp"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"shoalbook/postgres/postgrestest"
)

// The two walls between co-operatives are the row-level security of the database and
// the co-operative that is named in every query. Each of them is enough: with the
// other one away, nothing leaks.

func TestQueriesAloneKeepNeighboursApart(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	w := newWall(serveAt(t, url).neighbour())
	withoutRowSecurity(t, url)
	w.tries()
	w.table()
}

func TestRowSecurityAloneKeepsNeighboursApart(t *testing.T) {
	t.Parallel()
	p := newForgetful(t, postgrestest.New(t).URL)
	w := newWall(serveAt(t, p.url).neighbour())
	w.tries()
	w.table()
	t.Logf("%d statements forgot whose data it is", p.forgotten.Load())
	if p.forgotten.Load() < 100 {
		t.Error("too few statements forgot whose data it is")
	}
}

// With neither wall the tests above would see it.
func TestNothingElseKeepsNeighboursApart(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	p := newForgetful(t, url)
	w := newWall(serveAt(t, p.url).neighbour())
	withoutRowSecurity(t, url)
	leaks := map[string]bool{}
	w.complain = func(format string, args ...any) { leaks[fmt.Sprint(args[0])] = true }
	for _, o := range operations(t) {
		if o.method == "GET" && o.OperationID != "listAudit" { // which is slow without an index
			for _, p := range w.places(o, nil) {
				w.try(o, nil, p)
			}
		}
	}
	t.Logf("%d leaks", len(leaks))
	for what := range w.matters {
		if !leaks[what] {
			t.Errorf("%s does not leak without walls", what)
		}
	}
}

// withoutRowSecurity takes row-level security away.
func withoutRowSecurity(t *testing.T, url string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	const sql = `
		do $$
		declare name text;
		begin
			for name in select relname from pg_class where relnamespace = 'public'::regnamespace and relrowsecurity loop
				execute format('alter table %I disable row level security', name);
			end loop;
		end
		$$`
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatal(err)
	}
}

// A forgetful stands between the service and its database, and takes the
// co-operative out of the conditions of every statement.
type forgetful struct {
	url       string // to be used in place of the database's
	forgotten atomic.Int64
	t         *testing.T
	backend   *pgconn.Config
	listener  net.Listener
	running   sync.WaitGroup
}

func newForgetful(t *testing.T, database string) *forgetful {
	t.Helper()
	f := &forgetful{t: t}
	var err error
	if f.backend, err = pgconn.ParseConfig(database); err != nil {
		t.Fatal(err)
	}
	if f.listener, err = net.Listen("tcp", "127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	address := url.URL{Scheme: "postgres", User: url.UserPassword(f.backend.User, f.backend.Password),
		Host: f.listener.Addr().String(), Path: f.backend.Database, RawQuery: "sslmode=disable"}
	f.url = address.String()
	f.running.Go(f.serve)
	t.Cleanup(func() {
		f.listener.Close()
		f.running.Wait()
	})
	return f
}

func (f *forgetful) serve() {
	for {
		client, err := f.listener.Accept()
		if err != nil {
			return
		}
		f.running.Go(func() {
			defer client.Close()
			network, address := pgconn.NetworkAddress(f.backend.Host, f.backend.Port)
			server, err := net.Dial(network, address)
			if err != nil {
				f.t.Error(err)
				return
			}
			defer server.Close()
			f.running.Go(func() {
				io.Copy(client, server)
				client.Close()
			})
			f.forward(client, server)
		})
	}
}

// forward passes on what the service sends (PostgreSQL 15 manual, section 55.7):
// first a message without a type, then messages of a type, a length and content.
func (f *forgetful) forward(client io.Reader, server io.Writer) {
	head := make([]byte, 4)
	for started := false; ; started = true {
		kind := make([]byte, 1)
		if started {
			if _, err := io.ReadFull(client, kind); err != nil {
				return
			}
		}
		if _, err := io.ReadFull(client, head); err != nil {
			return
		}
		content := make([]byte, binary.BigEndian.Uint32(head)-4)
		if _, err := io.ReadFull(client, content); err != nil {
			return
		}
		if kind[0] == 'P' || kind[0] == 'Q' {
			content = f.forget(content)
		}
		var message []byte
		if started {
			message = kind
		}
		message = binary.BigEndian.AppendUint32(message, uint32(len(content)+4))
		if _, err := server.Write(append(message, content...)); err != nil {
			return
		}
	}
}

var ofCoop = regexp.MustCompile(`(\w+\.)?coop_id = (\$\d+)`)

func (f *forgetful) forget(statement []byte) []byte {
	forgot := ofCoop.ReplaceAll(statement, []byte("$2::uuid is not null"))
	if !bytes.Equal(forgot, statement) {
		f.forgotten.Add(1)
	}
	return forgot
}
