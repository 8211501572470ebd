package postgres_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

func (f farm) seal(t *testing.T) (s domain.Seal) {
	t.Helper()
	f.settle(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		s, err = tx.Seal(ctx)
		return err
	})
	return s
}

func (f farm) faults(t *testing.T, kept ...domain.Seal) (faults []string) {
	t.Helper()
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		found, err := tx.VerifySeals(ctx, kept)
		for _, f := range found {
			faults = append(faults, f.String())
		}
		return err
	})
	return faults
}

// dead records a death each, which is seldom refused.
func (p pond) dead(t *testing.T, days ...int) {
	t.Helper()
	for _, day := range days {
		p.must(t, p.entry(day, domain.Death{Batch: p.fish[0], Count: 1}))
	}
}

// stockedPond has fish in it.
func stockedPond(t *testing.T, f farm) pond {
	t.Helper()
	p := newPond(t, f)
	weight := domain.Milligrams(10_000)
	p.must(t, p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bought", Count: 500, MeanWeight: &weight}))
	return p
}

// TestSeals: seals follow each other, cover everything once, and anybody can compute
// them from the texts of the records.
func TestSeals(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	p := stockedPond(t, newFarm(t, openAt(t, url, postgres.Options{})))
	first := p.seal(t)
	if again := p.seal(t); again.Number != 1 || again.Hash != first.Hash {
		t.Errorf("with nothing new there is seal %d", again.Number)
	}
	p.dead(t, 3, 1, 2, 5, 4, 6, 7)
	p.settle(t, func(ctx context.Context, tx *postgres.Tx) error { // two at a time, as if they were many
		for n := 2; ; n++ {
			s, more, err := tx.SealNext(ctx, 2)
			if err != nil || s.Number != int64(n) || !more {
				return err
			}
		}
	})
	p.dead(t, 9)
	last := p.seal(t)
	var seals []domain.Seal
	var texts [][]byte
	p.view(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		if seals, _, err = tx.Seals(ctx, 0, 100); err != nil {
			return err
		}
		return tx.SealedTexts(ctx, seals, func(text []byte) error {
			texts = append(texts, text)
			return nil
		})
	})
	if len(seals) != 6 || seals[5].Hash != last.Hash || last.Entries != 1 {
		t.Errorf("%d seals, the last %+v", len(seals), last)
	}
	if wrong := domain.CheckSeals(seals, slices.Values(texts)); len(wrong) > 0 {
		t.Errorf("by hand: %v", wrong)
	}
	conn := owner(t, url)
	want := column[int64](t, conn, `select (select count(*) from entry) union all select (select count(*) from audit)`)
	var entries, changes int64
	for _, s := range seals {
		entries, changes = entries+s.Entries, changes+s.Changes
	}
	if entries != want[0] || changes != want[1] || entries != 9 || changes < 5 {
		t.Errorf("%d entries and %d lines are sealed, there are %v", entries, changes, want)
	}
	if faults := p.faults(t, seals...); len(faults) > 0 {
		t.Error(faults)
	}
	if other := newFarm(t, p.store); other.seal(t).Number != 1 { // a chain for each co-operative
		t.Error("another co-operative goes on with the seals of this one")
	}
	bound := p.token(t, domain.Coordinator, []domain.SiteID{p.site})
	wantCode(t, p.store.Settle(t.Context(), bound, func(tx *postgres.Tx) error {
		_, err := tx.Seal(t.Context())
		return err
	}), domain.Forbidden, "forbidden")
}

// TestTampering: whoever owns the tables changes them behind the back of the service, and
// each change is found, in the very record.
func TestTampering(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	p := stockedPond(t, newFarm(t, openAt(t, url, postgres.Options{})))
	p.dead(t, 1, 2)
	p.seal(t)
	p.dead(t, 3, 4)
	p.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Parties.Create(ctx, tx, domain.Party{ID: newID[domain.Party](), Name: "Hotel", Roles: []string{"buyer"}})
		return err
	})
	p.seal(t)
	p.dead(t, 5)
	p.seal(t)
	p.dead(t, 6) // not sealed yet
	conn := owner(t, url)
	exec := func(sql string) {
		t.Helper()
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
	exec(`set session_replication_role = replica`) // no trigger stands in the way of the owner
	tables := []string{"entry", "audit", "seal"}
	for _, table := range tables {
		exec(fmt.Sprintf(`create table %[1]s_copy as table %[1]s`, table))
	}
	id := func(sql string) string { return column[string](t, conn, sql)[0] }
	entry := id(`select id::text from entry where occurred_on = '` + (dayOne + 3).String() + `'`)
	line := id(`select id::text from audit where noun = 'party'`)
	var kept []domain.Seal
	p.view(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		kept, _, err = tx.Seals(ctx, 0, 10)
		return err
	})
	sealAnew := `truncate seal`
	for _, c := range []struct{ what, sql, want string }{
		{"nothing", `select`, ""},
		{"a count", `update entry set body = body || '{"count": 2}' where id = '` + entry + `'`, "seal 2: the entry " + entry + " was changed after"},
		{"a note", `update entry set note = 'three' where id = '` + entry + `'`, "seal 2: the entry " + entry + " was changed after"},
		{"what is owed", `update entry set owed = 5 where id = '` + entry + `'`, "seal 2: the entry " + entry + " was changed after"},
		{"who recorded it", `update entry set recorded_by = 'nobody' where id = '` + entry + `'`, "seal 2: the entry " + entry + " was changed after"},
		{"when it was recorded", `update entry set recorded_at = now() where id = '` + entry + `'`, "seal 2: the entry " + entry + " was changed after it was sealed: the time"},
		{"an entry less", `delete from entry where id = '` + entry + `'`, "seal 2: the entry " + entry + " was removed"},
		{"an entry more", `insert into entry select c.* from entry t cross join lateral jsonb_populate_record(t, '{"id": "019ade3a-7c00-7000-8000-0000000000e1"}') c where t.id = '` + entry + `'`,
			"seal 2: the entry 019ade3a-7c00-7000-8000-0000000000e1 was added behind"},
		{"a line less", `delete from audit where id = '` + line + `'`, "seal 2: the line " + line + " of the audit trail was removed"},
		{"a line that says something else", `update audit set after = after || '{"name": "Inn"}' where id = '` + line + `'`, "seal 2: the line " + line + " of the audit trail was changed"},
		{"a line more", `insert into audit select c.* from audit t cross join lateral jsonb_populate_record(t, '{"id": "019ade3a-7c00-7000-8000-0000000000e2"}') c where t.id = '` + line + `'`,
			"seal 2: the line 019ade3a-7c00-7000-8000-0000000000e2 of the audit trail was added behind"},
		{"another root", `update seal set root = sha256('x') where number = 2`, "seal 2: what it says has the hash"},
		{"other hashes of records", `update seal set leaves = overlay(leaves placing '\x00' from octet_length(leaves)) where number = 2`, "seal 2: the hashes kept of its records make the root"},
		{"a seal less", `delete from seal where number = 2`, "seal 3: it comes after seal 1"},
		{"the last seal less", `delete from seal where number = 3`, "seal 3 was kept, and is missing here"},
		{"an entry less, and all sealed anew", `delete from entry where id = '` + entry + `'; ` + sealAnew, "seal 1 is another one than was kept"},
	} {
		exec(c.sql)
		if strings.HasSuffix(c.sql, sealAnew) {
			if s := p.seal(t); s.Number != 1 || len(p.faults(t)) > 0 {
				t.Errorf("%s: seal %d, faults %v", c.what, s.Number, p.faults(t))
			}
		}
		faults := p.faults(t, kept...)
		if (len(faults) == 0) != (c.want == "") || !slices.ContainsFunc(faults, func(f string) bool { return strings.HasPrefix(f, c.want) }) && c.want != "" {
			t.Errorf("%s: it finds %q, want %q", c.what, faults, c.want)
		}
		if strings.Contains(c.want, "entry") || strings.Contains(c.want, "line") {
			if len(faults) != 1 {
				t.Errorf("%s: it finds %d faults: %q", c.what, len(faults), faults)
			}
		}
		for _, table := range tables {
			exec(fmt.Sprintf(`truncate %[1]s cascade; insert into %[1]s table %[1]s_copy`, table))
		}
	}
}

// TestSealWaits: what is on its way when a seal is begun is in it: a seal waits for those
// who record entries and for those who change the registry, and then they wait for it.
func TestSealWaits(t *testing.T) {
	t.Parallel()
	p := stockedPond(t, newFarm(t, open(t)))
	before := p.seal(t)
	party := newID[domain.Party]()
	for what, write := range map[string]func(*postgres.Tx) error{
		"an entry": func(tx *postgres.Tx) error {
			_, err := tx.Record(t.Context(), postgres.Recording{Strict: true, Entries: []domain.Entry{p.entry(1, domain.Death{Batch: p.fish[0], Count: 1})}})
			return err
		},
		"a change": func(tx *postgres.Tx) error {
			_, err := postgres.Parties.Create(t.Context(), tx, domain.Party{ID: party, Name: "Hotel", Roles: []string{"buyer"}})
			return err
		},
	} {
		written, release, done := make(chan bool), make(chan bool), make(chan error, 1)
		go func() {
			done <- p.store.Update(t.Context(), p.all, func(tx *postgres.Tx) error {
				if err := write(tx); err != nil {
					return err
				}
				_, err := postgres.Query[int](t.Context(), tx, `select 1`) // sends what is queued
				written <- true
				<-release
				return err
			})
		}()
		<-written
		sealed := make(chan domain.Seal, 1)
		go func() { sealed <- p.seal(t) }()
		select {
		case <-sealed:
			t.Errorf("%s: the seal does not wait", what)
		case <-time.After(200 * time.Millisecond):
		}
		close(release)
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		s := <-sealed
		if s.Number != before.Number+1 || s.Records() != 1 {
			t.Errorf("%s: seal %d over %d records, want one", what, s.Number, s.Records())
		}
		before = s
	}
	if faults := p.faults(t); len(faults) > 0 {
		t.Error(faults)
	}
}

// TestSealsWhileOthersWrite: whatever is recorded and changed meanwhile, every record is
// in one seal, and nobody is turned away.
func TestSealsWhileOthersWrite(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	p := stockedPond(t, newFarm(t, openAt(t, url, postgres.Options{})))
	var writers sync.WaitGroup
	through := func(door func(context.Context, postgres.Credential, func(*postgres.Tx) error) error, times int, f func(n int, tx *postgres.Tx) error) {
		writers.Go(func() {
			for n := range times {
				if err := door(t.Context(), p.all, func(tx *postgres.Tx) error { return f(n, tx) }); err != nil {
					t.Error(err)
				}
			}
		})
	}
	write := func(times int, f func(n int, tx *postgres.Tx) error) { through(p.store.Update, times, f) }
	for range 2 {
		write(40, func(n int, tx *postgres.Tx) error {
			_, err := tx.Record(t.Context(), postgres.Recording{Strict: true, Entries: []domain.Entry{p.entry(n, domain.Death{Batch: p.fish[0], Count: 1})}})
			return err
		})
	}
	write(40, func(n int, tx *postgres.Tx) error { // which locks all sites
		_, err := postgres.Products.Create(t.Context(), tx, domain.Product{ID: newID[domain.Product](), Name: fmt.Sprint("Feed ", n), Category: "feed", Unit: "kg", Stored: true})
		return err
	})
	for range 2 {
		through(p.store.Settle, 20, func(_ int, tx *postgres.Tx) error {
			_, err := tx.Seal(t.Context())
			return err
		})
	}
	writers.Wait()
	p.seal(t)
	conn := owner(t, url)
	if left := column[int64](t, conn, `
		select (select count(*) from entry) + (select count(*) from audit) - (select sum(entries + changes)::bigint from seal)`); left[0] != 0 {
		t.Errorf("%d records are in no seal", left[0])
	}
	if faults := p.faults(t); len(faults) > 0 {
		t.Error(faults)
	}
}
