package postgres_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// TestAllCoops asks as an owner who is no superuser and may not make roles: the walls
// bind him too.
func TestAllCoops(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	if err := postgres.MigrateDown(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	login := "shoalbook_test_" + newID[int]().String()
	name, conn := pgx.Identifier{login}.Sanitize(), owner(t, url)
	exec(t, url, `create role `+name+` login in role shoalbook_service`)
	exec(t, url, `drop table schema_migrations`)
	exec(t, url, `grant all on schema public to `+name)
	t.Cleanup(func() {
		conn.Exec(context.Background(), `drop owned by `+name)
		conn.Exec(context.Background(), `drop role `+name)
	})
	plain := loginURL(t, url, login)
	want := func(coops ...domain.CoopID) {
		t.Helper()
		slices.SortFunc(coops, domain.CoopID.Compare)
		if got, err := postgres.AllCoops(t.Context(), plain); err != nil || !slices.Equal(got, coops) {
			t.Errorf("got %v, %v, want %v", got, err, coops)
		}
	}
	want()
	if err := postgres.MigrateUp(t.Context(), plain); err != nil {
		t.Fatal(err)
	}
	want()
	t.Run("coops", func(t *testing.T) { // closes its connections before the role is dropped
		store := openAt(t, url, postgres.Options{})
		a := newFarm(t, store)
		want(a.coop)
		b := newFarm(t, store)
		want(a.coop, b.coop)
		if _, err := store.Check(t.Context()); err != nil {
			t.Errorf("afterwards the walls do not stand: %v", err)
		}
	})
	if err := postgres.Analyze(t.Context(), plain); err != nil {
		t.Error(err)
	}
	if n := column[float64](t, conn, `select reltuples::float8 from pg_class where relname = 'coop'`); n[0] != 2 {
		t.Errorf("the planner takes it that there are %v co-operatives", n)
	}
}

func TestAllCoopsIsForTheOwner(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	login := "shoalbook_test_" + newID[int]().String()
	name, conn := pgx.Identifier{login}.Sanitize(), owner(t, url)
	exec(t, url, `create role `+name+` login in role shoalbook_service`)
	t.Cleanup(func() { conn.Exec(context.Background(), `drop role `+name) })
	if _, err := postgres.AllCoops(t.Context(), loginURL(t, url, login)); err == nil || !strings.Contains(err.Error(), "owner") {
		t.Errorf("asked by a login of the service: %v", err)
	}
	if err := postgres.MigrateDown(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	exec(t, url, `create table of_something_else ()`)
	if _, err := postgres.AllCoops(t.Context(), url); err == nil || !strings.Contains(err.Error(), "something else") {
		t.Errorf("asked of a database that is not ours: %v", err)
	}
}
