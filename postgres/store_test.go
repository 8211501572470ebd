package postgres_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"net/url"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// farm is a co-operative of a test, with a token for everything in it.
type farm struct {
	store *postgres.Store
	coop  domain.CoopID
	all   postgres.Credential // a manager of all sites
}

func open(t testing.TB) *postgres.Store {
	t.Helper()
	return openAt(t, postgrestest.New(t).URL, postgres.Options{})
}

func openAt(t testing.TB, url string, o postgres.Options) *postgres.Store {
	t.Helper()
	o.URL = url
	store, err := postgres.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	return store
}

// newFarm adds a co-operative to a store.
func newFarm(t testing.TB, store *postgres.Store) farm {
	t.Helper()
	f := farm{store: store, coop: newID[domain.Coop]()}
	_, err := store.CreateCoop(t.Context(), domain.Coop{
		ID: f.coop, Name: "Umoja", Currency: "KES", Zone: "Africa/Nairobi", Country: "KE", ShareBy: "gram_days",
	})
	if err != nil {
		t.Fatal(err)
	}
	f.all = f.token(t, domain.Coordinator, nil)
	return f
}

// token adds a token and returns what its holder shows.
func (f farm) token(t testing.TB, role domain.Role, sites []domain.SiteID) postgres.Credential {
	t.Helper()
	c := postgres.Credential{Coop: f.coop, TokenHash: sha256.Sum256([]byte(rand.Text())), Roles: domain.Roles}
	facts := domain.TokenFacts{ID: newID[domain.Token](), Name: "test " + string(role), Role: role, Sites: sites}
	if _, err := f.store.CreateToken(t.Context(), f.coop, facts, c.TokenHash); err != nil {
		t.Fatal(err)
	}
	return c
}

func newID[T any]() domain.ID[T] {
	var id domain.ID[T]
	rand.Read(id[:])
	return id
}

// update runs f in a transaction that is kept, and fails the test if it is not.
func (f farm) update(t testing.TB, run func(context.Context, *postgres.Tx) error) {
	t.Helper()
	if err := f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error { return run(t.Context(), tx) }); err != nil {
		t.Fatal(err)
	}
}

func (f farm) settle(t testing.TB, run func(context.Context, *postgres.Tx) error) {
	t.Helper()
	if err := f.store.Settle(t.Context(), f.all, func(tx *postgres.Tx) error { return run(t.Context(), tx) }); err != nil {
		t.Fatal(err)
	}
}

func (f farm) view(t testing.TB, run func(context.Context, *postgres.Tx) error) {
	t.Helper()
	if err := f.store.View(t.Context(), f.all, func(tx *postgres.Tx) error { return run(t.Context(), tx) }); err != nil {
		t.Fatal(err)
	}
}

func (f farm) site(t testing.TB) domain.SiteID {
	t.Helper()
	site := domain.SiteFacts{ID: newID[domain.SiteFacts](), Name: "Mlimani", Kind: "school"}
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Sites.Create(ctx, tx, site)
		return err
	})
	return site.ID
}

func (f farm) unit(t testing.TB, site domain.SiteID) domain.UnitID {
	t.Helper()
	volume := domain.Thousandths(5_000_000)
	unit := domain.Unit{ID: newID[domain.Unit](), Site: site, Name: "Tank 1", Kind: "tank", WaterVolumeL: &volume}
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Units.Create(ctx, tx, unit)
		return err
	})
	return unit.ID
}

// wantCode fails the test unless err is a refusal of that code.
func wantCode(t testing.TB, err error, kind domain.Kind, code string) {
	t.Helper()
	var refused *domain.Error
	if !errors.As(err, &refused) || refused.Code != code || refused.Kind != kind {
		t.Errorf("got %v, want the refusal %s (kind %d)", err, code, kind)
	}
}

func TestActor(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		a, err := tx.Actor(ctx)
		if a.Name != "test coordinator" || a.Role != domain.Coordinator || a.Sites != nil || a.Currency != "KES" || a.Zone != "Africa/Nairobi" || a.At.IsZero() {
			t.Errorf("the actor is %+v", a)
		}
		return err
	})
}

// equalJSON compares what pointers point to, and times by instant.
func equalJSON(a, b any) bool {
	x, err := json.Marshal(a)
	if err != nil {
		panic(err)
	}
	y, err := json.Marshal(b)
	return err == nil && bytes.Equal(x, y)
}

// loginURL returns the address for another user.
func loginURL(t *testing.T, address, user string) string {
	t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	query := u.Query()
	query.Set("user", user)
	u.User, u.RawQuery = nil, query.Encode()
	return u.String()
}

// A list that has to be read whole costs more than anything else by the settings of a
// connection, and is not compiled for that: that would take longer than to read it.
func TestNothingIsCompiled(t *testing.T) {
	t.Parallel()
	rows, _ := open(t).Pool().Query(t.Context(), `explain select code, english_name from species`)
	plan, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	if text := strings.Join(plan, "\n"); !strings.Contains(text, "species") || strings.Contains(text, "JIT") {
		t.Error(text)
	}
}
