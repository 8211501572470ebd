package integration_test

import (
	"bytes"
	"fmt"
	"regexp"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"

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
	url, forgotten := forgetful(t, postgrestest.New(t).URL)
	w := newWall(serveAt(t, url).neighbour())
	w.tries()
	w.table()
	t.Logf("%d statements forgot whose data it is", forgotten.Load())
	if forgotten.Load() < 100 {
		t.Error("too few statements forgot whose data it is")
	}
}

// With neither wall the tests above would see it.
func TestNothingElseKeepsNeighboursApart(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	away, _ := forgetful(t, url)
	w := newWall(serveAt(t, away).neighbour())
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

var ofCoop = regexp.MustCompile(`(\w+\.)?coop_id = (\$\d+)`)

// forgetful returns another address of a database, which takes the co-operative out
// of the conditions of every statement, and the number of these.
func forgetful(t *testing.T, database string) (address string, forgotten *atomic.Int64) {
	forgotten = new(atomic.Int64)
	r := newRelay(t, database)
	r.statement = func(sql []byte) []byte {
		forgot := ofCoop.ReplaceAll(sql, []byte("$2::uuid is not null"))
		if !bytes.Equal(forgot, sql) {
			forgotten.Add(1)
		}
		return forgot
	}
	return r.url, forgotten
}
