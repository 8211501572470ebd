package integration_test

import (
	"bytes"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"

	"shoalbook/postgres/postgrestest"
)

// Between co-operatives stand two walls: the row-level security of the database, and
// the co-operative that is named in every query. So they do between the sites of one:
// row-level security, and the sites of the token in every query. Each of them is
// enough: with the other one away, nothing leaks.

func TestQueriesAloneKeepNeighboursApart(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	w := newWall(serveAt(t, url).neighbour())
	asOwner(t, url, withoutRowSecurity)
	w.tries()
	w.table()
}

func TestQueriesAloneKeepSitesApart(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	w := newFarWall(serveAt(t, url).neighbour())
	asOwner(t, url, withoutSiteSecurity)
	w.tries()
	w.table()
}

func TestRowSecurityAloneKeepsNeighboursApart(t *testing.T) {
	t.Parallel()
	url, forgotten := forgetful(t, postgrestest.New(t).URL, ofCoop, "$2::uuid is not null")
	w := newWall(serveAt(t, url).neighbour())
	w.tries()
	w.table()
	enough(t, forgotten)
}

func TestRowSecurityAloneKeepsSitesApart(t *testing.T) {
	t.Parallel()
	url, forgotten := forgetful(t, postgrestest.New(t).URL, ofSites, anySite)
	w := newFarWall(serveAt(t, url).neighbour())
	w.tries()
	w.table()
	enough(t, forgotten)
}

// With neither wall the tests above would see it.

func TestNothingElseKeepsNeighboursApart(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	away, _ := forgetful(t, url, ofCoop, "$2::uuid is not null")
	w := newWall(serveAt(t, away).neighbour())
	asOwner(t, url, withoutRowSecurity)
	w.allLeaks()
}

func TestNothingElseKeepsSitesApart(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	away, _ := forgetful(t, url, ofSites, anySite)
	w := newFarWall(serveAt(t, away).neighbour())
	asOwner(t, url, withoutSiteSecurity)
	w.allLeaks()
}

// allLeaks tries what is read, and complains of every place that does not leak and
// where it makes a difference what is there.
func (w *wall) allLeaks() {
	w.Helper()
	leaks := map[string]bool{}
	w.complain = func(format string, args ...any) { leaks[fmt.Sprint(args[0])] = true }
	for _, o := range operations(w.T) {
		if o.method == "GET" && o.OperationID != "listAudit" { // which is slow without an index
			if !strings.Contains(o.path, "{") {
				w.list(o)
			}
			for _, p := range w.places(o, nil) {
				w.try(o, nil, p)
			}
		}
	}
	w.Logf("%d leaks: %s", len(leaks), strings.Join(slices.Sorted(maps.Keys(leaks)), ", "))
	if len(leaks) < 10 {
		w.Error("too few places leak without walls")
	}
	for what := range w.matters {
		if !leaks[what] && what != "getPeriod path.period_id" { // which is not in the calendar of the site
			w.Errorf("%s does not leak without walls", what)
		}
	}
}

// withoutRowSecurity takes row-level security away, and withoutSiteSecurity that of
// the sites alone.
const (
	withoutRowSecurity = `
		do $$
		declare name text;
		begin
			for name in select relname from pg_class where relnamespace = 'public'::regnamespace and relrowsecurity loop
				execute format('alter table %I disable row level security', name);
			end loop;
		end
		$$`
	withoutSiteSecurity = `
		do $$
		declare p record;
		begin
			for p in select tablename, policyname from pg_policies where concat(qual, with_check) ~ 'sees_(site|all_sites)\(' loop
				execute format('drop policy %I on %I', p.policyname, p.tablename);
			end loop;
			if exists (select from pg_policies where permissive = 'RESTRICTIVE' and tablename <> 'idempotency') then
				raise 'a policy between sites is left';
			end if;
		end
		$$`
)

func asOwner(t *testing.T, url, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatal(err)
	}
}

// Conditions as they are sent: of the co-operative, and of the sites of the token.
var (
	ofCoop  = regexp.MustCompile(`(\w+\.)?coop_id = (\$\d+)`)
	ofSites = regexp.MustCompile(`\(([\w.$]+) = any\((\$\d+::uuid\[\])\)\)`)
)

// anySite is always true, and says of what sort the arguments are.
const anySite = `(($1::uuid is null or $2 is null) is not null)`

// forgetful returns another address of a database, on the way to which a condition of
// every statement becomes another, and the number of these statements.
func forgetful(t *testing.T, database string, condition *regexp.Regexp, otherwise string) (address string, forgotten *atomic.Int64) {
	forgotten = new(atomic.Int64)
	r := newRelay(t, database)
	r.statement = func(sql []byte) []byte {
		forgot := condition.ReplaceAll(sql, []byte(otherwise))
		if !bytes.Equal(forgot, sql) {
			forgotten.Add(1)
		}
		return forgot
	}
	return r.url, forgotten
}

func enough(t *testing.T, forgotten *atomic.Int64) {
	t.Helper()
	t.Logf("%d statements forgot whose data it is", forgotten.Load())
	if forgotten.Load() < 100 {
		t.Error("too few statements forgot whose data it is")
	}
}
