package postgres_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// Nobody can forget to write a line: what people change has the trigger, whoever
// adds a table.
func TestEveryTableIsAudited(t *testing.T) {
	t.Parallel()
	conn := owner(t, postgrestest.New(t).URL)
	// Journal and trail are lines themselves, revisions are of things that are audited,
	// transit follows from the journal, idempotency has only answers, plans and copies of reports are never changed,
	// and seals are over the trail.
	own := []string{"entry", "audit", "revision", "transit", "idempotency", "round_plan", "seal", "report_copy"}
	audited := column[string](t, conn, `
		select tgrelid::regclass::text from pg_trigger
		where tgfoid = 'audited'::regproc and tgenabled = 'O' and tgname = tgrelid::regclass::text || '_audited'
		and pg_get_triggerdef(oid) like '% AFTER INSERT OR DELETE OR UPDATE ON %'
		and pg_get_triggerdef(oid) like '% FOR EACH ROW EXECUTE FUNCTION audited(%'`)
	for _, table := range column[string](t, conn, tenantTables) {
		if len(column[string](t, conn, `select $1::text where $1 ~ `+derived, table)) > 0 {
			continue
		}
		if want := !slices.Contains(own, table); slices.Contains(audited, table) != want {
			t.Errorf("%s is audited: %v, want %v", table, !want, want)
		}
	}
	unmoved := column[string](t, conn, `
		select tgrelid::regclass::text from pg_trigger
		where tgfoid = 'unchangeable'::regproc and tgenabled = 'O'
		and pg_get_triggerdef(oid) like '% BEFORE DELETE OR UPDATE OR TRUNCATE ON % FOR EACH STATEMENT %'`)
	for _, table := range []string{"audit", "entry", "revision", "round_plan", "seal", "report_copy"} {
		if !slices.Contains(unmoved, table) {
			t.Errorf("%s can be changed", table)
		}
	}
}

// The trigger is told which facts are dated; the registry knows it too.
func TestAuditKnowsWhatIsDated(t *testing.T) {
	t.Parallel()
	conn := owner(t, postgrestest.New(t).URL)
	for table, want := range postgres.Dated() {
		got := column[string](t, conn, `
			select name from pg_trigger, unnest(string_to_array(encode(tgargs, 'escape'), '\000')) name
			where tgrelid = $1::regclass and tgfoid = 'audited'::regproc and name <> '' order by name`, table)
		if want = slices.Sorted(slices.Values(want)); !slices.Equal(got, want) {
			t.Errorf("of %s the trigger is told %v, and dated is %v", table, got, want)
		}
	}
}

// Not even the owner, by a slip, rewrites what was said.
func TestTrailStays(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	store := openAt(t, url, postgres.Options{})
	f := newFarm(t, store)
	f.site(t)
	conn := owner(t, url)
	before := column[int](t, conn, `select count(*) from audit`)[0]
	if before != 3 { // the co-operative, its token and the site
		t.Fatalf("there are %d lines", before)
	}
	for _, table := range []string{"audit", "entry", "revision"} {
		for _, sql := range []string{"update " + table + " set recorded_by = 'nobody'", "delete from " + table, "truncate " + table + " cascade"} {
			_, err := conn.Exec(t.Context(), sql)
			var failed *pgconn.PgError
			if !errors.As(err, &failed) || !strings.Contains(failed.Message, "is never changed") {
				t.Errorf("%s: %v", sql, err)
			}
		}
	}
	for _, sql := range []string{
		`insert into audit (coop_id, noun, subject, action) values ($1, 'site', $1, 'created')`,
		`update audit set recorded_by = 'nobody' where coop_id = $1`,
		`delete from audit where coop_id = $1`,
	} {
		err := store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
			_, err := postgres.Query[int](t.Context(), tx, sql, f.coop)
			return err
		})
		var failed *pgconn.PgError
		if !errors.As(err, &failed) || failed.Code != "42501" {
			t.Errorf("%s: %v", sql, err)
		}
	}
	if after := column[int](t, conn, `select count(*) from audit where recorded_by <> 'nobody'`)[0]; after != before {
		t.Errorf("there are %d lines, and were %d", after, before)
	}
}

// lines returns the trail of a thing.
func (f farm) lines(t *testing.T, id [16]byte) (found []postgres.Line) {
	t.Helper()
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		all, more, err := tx.Audit(ctx, postgres.LineFilter{Limit: 500})
		if more {
			t.Error("there are more lines than fit on a page")
		}
		for _, l := range all {
			if l.Subject == domain.ID[any](id) {
				found = append(found, l)
			}
		}
		return err
	})
	return found
}

// A change for the past says what held on its day before and after it, and that the
// thing then goes on as it was is no change.
func TestLineOfChangeForThePast(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	f.all.Device = "office computer"
	unit := f.unit(t, f.site(t))
	day := func(d int) *domain.Date { return ptr(domain.NewDate(2026, 1, d)) }
	revise := func(version int64, from *domain.Date, change func(*domain.Unit)) {
		t.Helper()
		f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
			_, err := postgres.Units.Revise(ctx, tx, unit, version, from, func(u *domain.Unit) error { change(u); return nil })
			return err
		})
	}
	litres := func(v domain.Thousandths) func(*domain.Unit) {
		return func(u *domain.Unit) { u.WaterVolumeL = &v }
	}
	revise(1, day(20), litres(7_000_000))
	revise(2, day(10), litres(6_000_000)) // between the first volume and the second
	revise(3, nil, func(u *domain.Unit) { u.Name = "Tank by the gate" })
	revise(4, day(10), litres(6_000_000)) // again, which is no other volume, but another revision
	lines := f.lines(t, unit)
	var said []postgres.Said[domain.Unit]
	f.view(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		ids := make([]postgres.LineID, len(lines))
		for i, l := range lines {
			ids[i] = l.ID
		}
		said, err = postgres.Units.Said(ctx, tx, ids)
		return err
	})
	type line struct {
		action, from, before, after string
	}
	facts := func(id postgres.LineID, after bool) string {
		for _, s := range said {
			if s.Line == id && s.After == after {
				return s.Facts.Name + " " + s.Facts.WaterVolumeL.Format()
			}
		}
		return ""
	}
	var got []line
	for _, l := range lines {
		from := ""
		if l.ValidFrom != nil {
			from = l.ValidFrom.String()
		}
		got = append(got, line{l.Action, from, facts(l.ID, false), facts(l.ID, true)})
		if l.RecordedBy != "test coordinator" || l.Device == nil || *l.Device != "office computer" || l.TokenID == nil || l.SiteID == nil || l.Noun != "unit" {
			t.Errorf("the line is %+v", l)
		}
	}
	want := []line{
		{"created", "", "", "Tank 1 5000"},
		{"changed", "2026-01-20", "Tank 1 5000", "Tank 1 7000"},
		{"changed", "2026-01-10", "Tank 1 5000", "Tank 1 6000"},
		{"changed", "2026-01-20", "Tank 1 7000", "Tank by the gate 7000"},
		{"changed", "2026-01-10", "Tank by the gate 6000", "Tank by the gate 6000"},
	}
	if !slices.Equal(got, want) {
		t.Errorf("the trail is\n%v, want\n%v", got, want)
	}
	// Who goes round the registry is not missed either.
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		postgres.Queue(tx, `update unit set name = 'Pond' where coop_id = $1 and id = $2`, f.coop, unit)
		return nil
	})
	if lines = f.lines(t, unit); len(lines) != len(want)+1 || !strings.Contains(string(lines[len(want)].After), `"Pond"`) {
		t.Errorf("a change that went round the registry: %d lines", len(lines))
	}
}

// A command of the operator has no token, and what is not to be read is not said.
func TestLineOfOperator(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	coop := f.lines(t, f.coop)
	if len(coop) != 1 || coop[0].RecordedBy != "operator" || coop[0].TokenID != nil || coop[0].Device != nil || coop[0].Before != nil {
		t.Errorf("the trail of the co-operative is %+v", coop)
	}
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		tokens, _, err := tx.Tokens(ctx, nil, 10)
		if err != nil {
			return err
		}
		of := f.lines(t, tokens[0].ID)
		if len(of) != 1 || of[0].Action != "created" || strings.Contains(string(of[0].After), "hash") || strings.Contains(string(of[0].After), "last_used") {
			t.Errorf("the trail of a token is %+v", of)
		}
		return nil
	})
}

// Where the owner of the tables is nobody special, and bound by the walls like all,
// the trail is written all the same.
func TestTrailOfPlainOwner(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	if err := postgres.MigrateDown(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	conn := owner(t, url)
	login := "shoalbook_test_" + newID[int]().String()
	name := pgx.Identifier{login}.Sanitize()
	for _, sql := range []string{`create role ` + name + ` login in role shoalbook_service`, `drop table schema_migrations`, `alter schema public owner to ` + name} {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() {
		for _, sql := range []string{`reassign owned by ` + name + ` to current_user`, `drop owned by ` + name, `drop role ` + name} {
			if _, err := conn.Exec(context.Background(), sql); err != nil {
				t.Error(err)
			}
		}
	})
	t.Run("owner", func(t *testing.T) { // closes its connections before the role is dropped
		plain := loginURL(t, url, login)
		if err := postgres.MigrateUp(t.Context(), plain); err != nil {
			t.Fatal(err)
		}
		store := openAt(t, plain, postgres.Options{})
		f := newFarm(t, store)
		site := f.site(t)
		unit := f.unit(t, site)
		f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
			_, err := postgres.Units.Revise(ctx, tx, unit, 1, ptr(domain.NewDate(2026, 1, 10)), func(u *domain.Unit) error { u.WaterVolumeL = nil; return nil })
			return err
		})
		if lines := f.lines(t, unit); len(lines) != 2 || lines[1].ValidFrom == nil {
			t.Errorf("the trail of the tank is %+v", lines)
		}
		bound := f.token(t, domain.Coordinator, []domain.SiteID{site})
		err := store.Update(t.Context(), bound, func(tx *postgres.Tx) error {
			_, err := postgres.Loops.Create(t.Context(), tx, domain.Loop{ID: newID[domain.Loop](), Site: site, Name: "Loop"})
			return err
		})
		if err != nil {
			t.Errorf("who is bound to the site cannot change it: %v", err)
		}
	})
}
