package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres/postgrestest"
)

// TestSealCommands: what is sealed is kept in files, and shows with and without the
// database what somebody has changed since.
func TestSealCommands(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	store, d := openStore(t, env["DATABASE_URL"]), demo{Seed: 4, Sites: 1, Seasons: 1}
	coop := d.simulate()
	if _, err := store.CreateCoop(t.Context(), coop.Facts); err != nil {
		t.Fatal(err)
	}
	if _, err := d.prepare(t.Context(), store, env["DATABASE_URL"], coop, false, messages{t.Output()}); err != nil {
		t.Fatal(err)
	}
	id := coop.Facts.ID.String()
	must := func(args ...string) string {
		t.Helper()
		out, _, err := command(t, env, args...)
		if err != nil {
			t.Fatalf("%v: %q, %v", args, out, err)
		}
		return out
	}
	fails := func(want string, args ...string) {
		t.Helper()
		if out, _, err := command(t, env, args...); err == nil || !strings.Contains(out+err.Error(), want) {
			t.Errorf("%v: %q, %v, want %q", args, out, err, want)
		}
	}
	var made domain.Seal
	if err := json.Unmarshal([]byte(must("seals", "make", id)), &made); err != nil || made.Entries < 100 || made.Hash != made.Sum() {
		t.Fatalf("%+v, %v", made, err)
	}
	keep := func(name, text string) string {
		t.Helper()
		file := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	kept, records := must("seals", "print", id), must("seals", "records", id)
	seals := keep("seals", kept)
	if out := must("seals", "check", seals, keep("records", records)); !strings.Contains(out, made.Hash.String()) {
		t.Errorf("checked: %q", out)
	}
	if out := must("verify", "--seals", seals, id); out != "0 differences\n" {
		t.Errorf("verified: %q", out)
	}
	if n := strings.Count(records, "\n"); int64(n) != made.Records() {
		t.Errorf("%d records are printed, %d are sealed", n, made.Records())
	}
	fails("make the root", "seals", "check", seals, keep("records", strings.Replace(records, `"count":`, `"count":1`, 1)))
	first, rest, _ := strings.Cut(records, "\n")
	fails("there are only", "seals", "check", seals, keep("records", rest))
	fails("more records", "seals", "check", seals, keep("records", records+first))
	fails("has the hash", "seals", "check", keep("seals", strings.Replace(kept, `"number":1`, `"number":2`, 1)), keep("records", records))
	fails("no list of seals", "verify", "--seals", keep("seals", "[]"), id)
	fails("no seals", "verify", "--seals", keep("seals", "{}"), id)
	fails("another one than was kept", "verify", "--seals", keep("seals", remade(t, made)), id)

	conn, err := pgx.Connect(t.Context(), env["DATABASE_URL"])
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	var entry string
	const change = `update entry set note = 'as if' where id = (select id from entry where kind = 'feeding' order by id limit 1) returning id::text`
	if _, err := conn.Exec(t.Context(), `set session_replication_role = replica`); err != nil {
		t.Fatal(err)
	}
	if err := conn.QueryRow(t.Context(), change).Scan(&entry); err != nil {
		t.Fatal(err)
	}
	fails("seal 1: the entry "+entry+" was changed", "verify", id)
	fails("make the root", "seals", "check", seals, keep("records", must("seals", "records", id)))
	fails("there is no", "seals", "make", "019ade3a-7c00-7000-8000-000000000001")
}

// remade is a list with a seal that says something else than the one that was made.
func remade(t *testing.T, s domain.Seal) string {
	t.Helper()
	s.Entries++
	s.Hash = s.Sum()
	text, err := json.Marshal(sealList{[]domain.Seal{s}})
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestServeSeals: while the service runs, what was recorded is sealed by itself.
func TestServeSeals(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": postgrestest.New(t).URL}
	s, _, stop := startDemo(t, env, "--sites", "1", "--seasons", "1", "--listen", "127.0.0.1:0", "--seal-every", "50ms")
	var got sealList
	for deadline := time.Now().Add(30 * time.Second); len(got.Items) == 0; time.Sleep(20 * time.Millisecond) {
		if status := ask(t, s.URL+"/v1/seals", s.Tokens.Coordinator, &got); status != 200 || time.Now().After(deadline) {
			t.Fatalf("status %d, %+v", status, got)
		}
	}
	first := got.Items[0]
	var again domain.Seal
	if status := ask(t, s.URL+"/v1/seals/1", s.Tokens.Coordinator, &again); status != 200 || again.Hash != first.Hash || first.Sum() != first.Hash || first.Entries < 100 {
		t.Errorf("status %d, the first seal is %+v, by itself %+v", status, first, again)
	}
	var problem struct{ Code string }
	for path, want := range map[string]int{"/v1/seals/99": 404, "/v1/seals/0": 400, "/v1/seals/x": 400} {
		if status := ask(t, s.URL+path, s.Tokens.Coordinator, &problem); status != want {
			t.Errorf("%s: status %d, want %d", path, status, want)
		}
	}
	if status := ask(t, s.URL+"/v1/seals", s.Tokens.Keeper, &problem); status != 403 {
		t.Errorf("a keeper: status %d", status)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}
