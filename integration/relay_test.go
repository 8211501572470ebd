package integration_test

import (
	"encoding/binary"
	"io"
	"net"
	"net/url"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"
)

// A relay stands between the service and its database. What it does is set before
// the first connection.
type relay struct {
	url       string                            // to be used in place of the database's
	statement func(sql []byte) []byte           // changes each statement; nil changes none
	answer    atomic.Pointer[func([]byte) bool] // sees what the database says; true keeps it from the service, for good

	t        *testing.T
	database *pgconn.Config
	listener net.Listener
	running  sync.WaitGroup
}

func newRelay(t *testing.T, database string) *relay {
	t.Helper()
	r := &relay{t: t}
	var err error
	if r.database, err = pgconn.ParseConfig(database); err != nil {
		t.Fatal(err)
	}
	if r.listener, err = net.Listen("tcp", "127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	address := url.URL{Scheme: "postgres", User: url.UserPassword(r.database.User, r.database.Password),
		Host: r.listener.Addr().String(), Path: r.database.Database, RawQuery: "sslmode=disable"}
	r.url = address.String()
	r.running.Go(r.serve)
	t.Cleanup(func() {
		r.listener.Close()
		r.running.Wait()
	})
	return r
}

func (r *relay) serve() {
	for {
		client, err := r.listener.Accept()
		if err != nil {
			return
		}
		r.running.Go(func() {
			defer client.Close()
			network, address := pgconn.NetworkAddress(r.database.Host, r.database.Port)
			server, err := net.Dial(network, address)
			if err != nil {
				return // as if it were not there
			}
			defer server.Close()
			r.running.Go(func() {
				defer client.Close()
				r.back(client, server)
			})
			r.forward(client, server)
		})
	}
}

// back passes on what the database says.
func (r *relay) back(client io.Writer, server io.Reader) {
	said := make([]byte, 64<<10)
	for {
		n, err := server.Read(said)
		if answer := r.answer.Load(); answer != nil && (*answer)(said[:n]) {
			return
		}
		if _, failed := client.Write(said[:n]); err != nil || failed != nil {
			return
		}
	}
}

// forward passes on what the service sends (PostgreSQL 15 manual, section 55.7, from memory):
// first a message without a type, then messages of a type, a length and content.
func (r *relay) forward(client io.Reader, server io.Writer) {
	for started := false; ; started = true {
		head := make([]byte, 4, 5)
		if started {
			head = head[:5]
		}
		if _, err := io.ReadFull(client, head); err != nil {
			return
		}
		kind, length := head[:len(head)-4], head[len(head)-4:]
		content := make([]byte, binary.BigEndian.Uint32(length)-4)
		if _, err := io.ReadFull(client, content); err != nil {
			return
		}
		if r.statement != nil && started && (kind[0] == 'P' || kind[0] == 'Q') {
			content = r.statement(content)
		}
		message := binary.BigEndian.AppendUint32(kind[:len(kind):len(kind)], uint32(len(content)+4))
		if _, err := server.Write(append(message, content...)); err != nil {
			return
		}
	}
}
