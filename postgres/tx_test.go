package postgres_test

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// A connection that was given back is in no co-operative and in no transaction,
// however it was used.
func TestConnectionCarriesNothing(t *testing.T) {
	t.Parallel()
	store := openAt(t, postgrestest.New(t).URL, postgres.Options{MaxConns: 1})
	f := newFarm(t, store)
	f.all.Device = "test phone"
	clean := func(after string) {
		t.Helper()
		conn, err := store.Pool().Acquire(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Release()
		if s := conn.Conn().PgConn().TxStatus(); s != 'I' {
			t.Errorf("after %s: the connection is in a transaction (%c)", after, s)
		}
		var settings, role string
		const sql = `select concat(current_setting('app.coop', true), current_setting('app.sites', true),
			current_setting('app.token', true), current_setting('app.actor', true), current_setting('app.device', true)), current_user`
		if err := conn.QueryRow(t.Context(), sql).Scan(&settings, &role); err != nil {
			t.Fatal(err)
		}
		if settings != "" || role != "shoalbook_service" {
			t.Errorf("after %s: settings %q, role %q", after, settings, role)
		}
	}
	clean("a command of the operator")
	none := func(*postgres.Tx) error { return nil }
	if err := store.View(t.Context(), f.all, none); err != nil {
		t.Fatal(err)
	}
	clean("a view")
	if err := store.Update(t.Context(), f.all, none); err != nil {
		t.Fatal(err)
	}
	clean("an update")
	bad := errors.New("no")
	enterAnd := func(then func()) func(*postgres.Tx) error {
		return func(tx *postgres.Tx) error {
			if _, err := tx.Actor(t.Context()); err != nil {
				return err
			}
			then()
			return bad
		}
	}
	if err := store.Update(t.Context(), f.all, enterAnd(func() {})); !errors.Is(err, bad) {
		t.Errorf("got %v", err)
	}
	clean("a failure of the work")
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		store.Update(t.Context(), f.all, enterAnd(func() { panic("oh") }))
	}()
	clean("a panic")
	err := store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
		_, err := postgres.Query[int](t.Context(), tx, `select 1 / 0`)
		return err
	})
	if err == nil {
		t.Error("a division by zero went well")
	}
	clean("a failure of the database")
	err = store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
		postgres.Query[int](t.Context(), tx, `select 1 / 0`)
		return nil // the failure is not passed on
	})
	if err == nil {
		t.Error("a failure that was not passed on was forgotten")
	}
	clean("a failure that was not passed on")
	ctx, cancel := context.WithCancel(t.Context())
	err = store.Update(ctx, f.all, enterAnd(cancel))
	if !errors.Is(err, bad) {
		t.Errorf("got %v", err)
	}
	clean("a request that ended")
	wrong := f.all
	wrong.TokenHash[0]++
	wantCode(t, store.View(t.Context(), wrong, none), domain.Unauthenticated, "unauthenticated")
	clean("a wrong token")
}

func TestUnknownTokens(t *testing.T) {
	t.Parallel()
	store := open(t)
	f := newFarm(t, store)
	wrong := f.all
	wrong.TokenHash[31]++
	nowhere := f.all
	nowhere.Coop = newID[domain.Coop]()
	revoked := f.token(t, domain.Coordinator, nil)
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		tokens, _, err := tx.Tokens(ctx, nil, 10)
		if err != nil {
			return err
		}
		for _, token := range tokens { // all but the one that is used here
			actor, err := tx.Actor(ctx)
			if err != nil {
				return err
			}
			if token.ID != actor.TokenID {
				if err := tx.RevokeToken(ctx, token.ID); err != nil {
					return err
				}
			}
		}
		return nil
	})
	expired := postgres.Credential{Coop: f.coop, TokenHash: [32]byte{1, 2, 3}}
	past := time.Now().Add(-time.Minute)
	if _, err := store.CreateToken(t.Context(), f.coop, domain.TokenFacts{ID: newID[domain.Token](), Name: "old", Role: domain.Funder, ExpiresAt: &past}, expired.TokenHash); err != nil {
		t.Fatal(err)
	}
	for what, c := range map[string]postgres.Credential{"wrong": wrong, "nowhere": nowhere, "revoked": revoked, "expired": expired, "none": {}} {
		t.Log(what)
		ran := false
		err := store.Update(t.Context(), c, func(tx *postgres.Tx) error {
			// Even what the database refuses for another reason is not told to a stranger.
			_, err := postgres.Query[int](t.Context(), tx, `insert into party (coop_id, id, name) values ($1, $2, 'x')`, f.coop, newID[domain.Party]())
			ran = err == nil
			return err
		})
		wantCode(t, err, domain.Unauthenticated, "unauthenticated")
		if ran {
			t.Error("a stranger could write")
		}
		wantCode(t, store.View(t.Context(), c, func(*postgres.Tx) error { return nil }), domain.Unauthenticated, "unauthenticated")
	}
	_, err := store.CreateToken(t.Context(), nowhere.Coop, domain.TokenFacts{ID: newID[domain.Token](), Name: "x", Role: domain.Funder}, [32]byte{9})
	wantCode(t, err, domain.NotFound, "not_found")
	_, err = store.CreateToken(t.Context(), f.coop, domain.TokenFacts{ID: newID[domain.Token](), Name: "x", Role: domain.Funder, Sites: []domain.SiteID{newID[domain.SiteFacts]()}}, [32]byte{9})
	wantCode(t, err, domain.Refused, "unknown_reference")
}

func TestRoles(t *testing.T) {
	t.Parallel()
	store := open(t)
	f := newFarm(t, store)
	site := f.site(t)
	keeper := f.token(t, domain.Keeper, nil)
	keeper.Roles = []domain.Role{domain.Coordinator, domain.Keeper}
	look := func(tx *postgres.Tx) error {
		_, err := postgres.Sites.Get(t.Context(), tx, site)
		return err
	}
	if err := store.View(t.Context(), keeper, look); err != nil {
		t.Errorf("a keeper cannot do what keepers may: %v", err)
	}
	keeper.Roles = []domain.Role{domain.Coordinator}
	wantCode(t, store.View(t.Context(), keeper, look), domain.Forbidden, "forbidden")
	keeper.Roles = nil
	wantCode(t, store.View(t.Context(), keeper, look), domain.Forbidden, "forbidden")
	// Neither is it told what is wrong with what it may not ask for at all.
	wantCode(t, store.View(t.Context(), keeper, func(*postgres.Tx) error { return domain.Refuse("wrong", "it is wrong") }), domain.Forbidden, "forbidden")
	party := newID[domain.Party]()
	// Queued only: nothing is waited for before the end, and still nothing is kept.
	err := store.Update(t.Context(), keeper, func(tx *postgres.Tx) error {
		postgres.Queue(tx, `insert into party (coop_id, id, name) values ($1, $2, 'x')`, f.coop, party)
		return nil
	})
	wantCode(t, err, domain.Forbidden, "forbidden")
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Parties.Get(ctx, tx, party)
		wantCode(t, err, domain.NotFound, "not_found")
		return nil
	})
	err = store.View(t.Context(), f.all, func(tx *postgres.Tx) error {
		_, err := postgres.Parties.Create(t.Context(), tx, domain.Party{ID: party, Name: "x"})
		return err
	})
	if err == nil {
		t.Error("a view could write")
	}
}

// Two that change the same two things in opposite order collide, and both succeed.
func TestCollision(t *testing.T) {
	t.Parallel()
	store := open(t)
	f := newFarm(t, store)
	one, two := f.site(t), f.site(t)
	rename := func(ctx context.Context, tx *postgres.Tx, id domain.SiteID) error {
		site, err := postgres.Sites.Hold(ctx, tx, id) // or the second try might see what the other one is changing
		if err != nil {
			return err
		}
		_, err = postgres.Sites.Revise(ctx, tx, id, site.Version, nil, func(s *domain.SiteFacts) error { s.Name += "!"; return nil })
		return err
	}
	var runs atomic.Int32
	var both, done sync.WaitGroup
	both.Add(2)
	for _, order := range [][]domain.SiteID{{one, two}, {two, one}} {
		done.Go(func() {
			first := true
			err := store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
				runs.Add(1)
				if err := rename(t.Context(), tx, order[0]); err != nil {
					return err
				}
				if first {
					first = false
					both.Done()
					both.Wait()
				}
				return rename(t.Context(), tx, order[1])
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	done.Wait()
	if runs.Load() < 3 {
		t.Errorf("%d runs: they have not collided", runs.Load())
	}
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		for _, id := range []domain.SiteID{one, two} {
			site, err := postgres.Sites.Get(ctx, tx, id)
			if site.Name != "Mlimani!!" || site.Version != 3 || err != nil {
				t.Errorf("%+v, %v", site, err)
			}
		}
		return nil
	})
}

func TestBusy(t *testing.T) {
	t.Parallel()
	store := openAt(t, postgrestest.New(t).URL, postgres.Options{MaxConns: 1, AcquireTimeout: 50 * time.Millisecond, StatementTimeout: 100 * time.Millisecond})
	f := newFarm(t, store)
	err := store.View(t.Context(), f.all, func(*postgres.Tx) error {
		return store.View(t.Context(), f.all, func(*postgres.Tx) error { return nil })
	})
	wantCode(t, err, domain.Unavailable, "unavailable")
	err = store.View(t.Context(), f.all, func(tx *postgres.Tx) error {
		_, err := postgres.Query[string](t.Context(), tx, `select pg_sleep(5)::text`)
		return err
	})
	wantCode(t, err, domain.Unavailable, "unavailable")
	load := store.Load()
	for range 100 { // the use of the token may be being noted
		if load.InUse == 0 {
			break
		}
		time.Sleep(10 * time.Millisecond)
		load = store.Load()
	}
	if load.Max != 1 || load.InUse != 0 {
		t.Errorf("the load is %+v", load)
	}
	if _, err := postgres.Open(t.Context(), postgres.Options{URL: "postgres://user:secret@[oops"}); err == nil || errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v", err)
	}
}

func TestOneSnapshot(t *testing.T) {
	t.Parallel()
	store := open(t)
	f := newFarm(t, store)
	site := f.site(t)
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		if _, err := postgres.Sites.Get(ctx, tx, site); err != nil {
			return err
		}
		f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
			_, err := postgres.Sites.Revise(ctx, tx, site, 1, nil, func(s *domain.SiteFacts) error { s.Name = "new"; return nil })
			return err
		})
		got, err := postgres.Sites.Get(ctx, tx, site)
		if got.Version != 1 {
			t.Errorf("a view has seen two versions: %+v", got)
		}
		return err
	})
}

func TestCurrencyIsRemembered(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	f := newFarm(t, openAt(t, url, postgres.Options{}))
	fresh := openAt(t, url, postgres.Options{})
	for range 2 {
		if err := fresh.View(t.Context(), f.all, func(tx *postgres.Tx) error {
			c, err := tx.Currency(t.Context())
			if c != "KES" {
				t.Errorf("the currency is %q", c)
			}
			return err
		}); err != nil {
			t.Fatal(err)
		}
	}
}

func TestDates(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	days := []domain.Date{domain.NewDate(1969, 7, 20), 0, domain.NewDate(2000, 2, 29), domain.NewDate(2026, 5, 31)}
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		texts, err := postgres.Query[string](ctx, tx, `select to_char(d, 'YYYY-MM-DD') from unnest($1::date[]) with ordinality u (d, n) order by n`, days)
		if err != nil {
			return err
		}
		for i, text := range texts {
			if text != days[i].String() {
				t.Errorf("%s was sent as %s", days[i], text)
			}
		}
		back, err := postgres.Query[domain.Date](ctx, tx, `select unnest($1::date[])`, days)
		for i, d := range back {
			if d != days[i] {
				t.Errorf("%s came back as %s", days[i], d)
			}
		}
		if len(texts) != 4 || len(back) != 4 || err != nil {
			t.Errorf("%d and %d of 4 dates, %v", len(texts), len(back), err)
		}
		lists, err := postgres.Query[[]domain.Date](ctx, tx, `select $1::date[]`, days)
		if err != nil || len(lists) != 1 || len(lists[0]) != 4 || lists[0][3] != days[3] {
			t.Errorf("the list came back as %v, %v", lists, err)
		}
		nulls, err := postgres.Query[*domain.Date](ctx, tx, `select $1::date union all select '2026-05-31'`, (*domain.Date)(nil))
		if err != nil || len(nulls) != 2 || nulls[0] != nil || *nulls[1] != days[3] {
			t.Errorf("no date and a date came back as %v, %v", nulls, err)
		}
		return nil
	})
}

func TestCheck(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	conn := owner(t, url)
	store := openAt(t, url, postgres.Options{})
	exec := func(sql string) {
		t.Helper()
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	if warning, err := store.Check(t.Context()); err != nil || warning == "" {
		t.Errorf("with a superuser's login: warning %q, %v", warning, err)
	}
	login := "shoalbook_test_" + newID[int]().String()
	name := pgx.Identifier{login}.Sanitize()
	exec(`create role ` + name + ` login in role shoalbook_service`)
	t.Cleanup(func() { conn.Exec(context.Background(), `drop role `+name) })
	t.Run("login", func(t *testing.T) { // closes its connections before the role is dropped
		plain := openAt(t, loginURL(t, url, login), postgres.Options{})
		if warning, err := plain.Check(t.Context()); err != nil || warning != "" {
			t.Errorf("with a login that can do no more: warning %q, %v", warning, err)
		}
		f := newFarm(t, plain)
		f.site(t)
	})
	refuses := func(what, breakIt, mend string) {
		t.Helper()
		exec(breakIt)
		if _, err := store.Check(t.Context()); err == nil {
			t.Errorf("%s is not refused", what)
		} else {
			t.Log(err)
		}
		exec(mend)
		if _, err := store.Check(t.Context()); err != nil {
			t.Errorf("after %s was mended: %v", what, err)
		}
	}
	refuses("a wall that is down", `alter table unit no force row level security`, `alter table unit force row level security`)
	refuses("a role that owns a table", `alter table unit owner to shoalbook_service`, `alter table unit owner to current_user`)
	refuses("a broken migration", `update schema_migrations set dirty = true`, `update schema_migrations set dirty = false`)
	refuses("an old schema", `update schema_migrations set version = version - 1`, `update schema_migrations set version = version + 1`)
}
