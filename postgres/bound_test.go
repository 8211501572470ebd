package postgres_test

import (
	"context"
	"slices"
	"testing"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// A token that is bound to some sites writes nowhere else and changes nothing that
// belongs to all, whatever the statement forgets.
func TestForgetfulWrites(t *testing.T) {
	t.Parallel()
	store := open(t)
	n := newNeighbour(t, store)
	own := n.farm.site(t)
	bound := n.token(t, domain.Coordinator, []domain.SiteID{own})
	for what, write := range map[string]func(*postgres.Tx) error{
		"a party": func(tx *postgres.Tx) error {
			_, err := postgres.Query[int](t.Context(), tx, `insert into party (coop_id, id, name) values ($1, $2, 'x')`, n.coop, newID[domain.Party]())
			return err
		},
		"a product": func(tx *postgres.Tx) error {
			_, err := postgres.Query[int](t.Context(), tx, `update product set name = 'x' where coop_id = $1`, n.coop)
			return err
		},
		"the co-operative": func(tx *postgres.Tx) error {
			_, err := postgres.Query[int](t.Context(), tx, `update coop set name = 'x' where coop_id = $1`, n.coop)
			return err
		},
		"a token": func(tx *postgres.Tx) error {
			const sql = `insert into token (coop_id, id, name, role, hash) values ($1, $2, 'x', 'coordinator', sha256('x'))`
			_, err := postgres.Query[int](t.Context(), tx, sql, n.coop, newID[domain.Token]())
			return err
		},
		"a member": func(tx *postgres.Tx) error {
			const sql = `insert into member (coop_id, id, name, role) values ($1, $2, 'x', 'coordinator')`
			_, err := postgres.Query[int](t.Context(), tx, sql, n.coop, newID[domain.Member]())
			return err
		},
		"a site": func(tx *postgres.Tx) error {
			_, err := postgres.Query[int](t.Context(), tx, `insert into site (coop_id, id, name, kind) values ($1, $2, 'x', 'school')`, n.coop, newID[domain.SiteFacts]())
			return err
		},
		"a tank of another site": func(tx *postgres.Tx) error {
			const sql = `insert into unit (coop_id, id, site_id, name, kind) values ($1, $2, $3, 'x', 'tank')`
			_, err := postgres.Query[int](t.Context(), tx, sql, n.coop, newID[domain.Unit](), n.site)
			return err
		},
	} {
		t.Log(what)
		wantCode(t, store.Update(t.Context(), bound, write), domain.Forbidden, "forbidden")
	}
	err := store.Update(t.Context(), bound, func(tx *postgres.Tx) error {
		changed, err := postgres.Query[domain.UnitID](t.Context(), tx, `update unit set name = 'x' where coop_id = $1 returning id`, n.coop)
		if len(changed) != 0 {
			t.Errorf("changed the units %v", changed)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// The sites of a token are remembered, but nothing is done by them once they are
// others: not even where row-level security is away.
func TestTokenForOtherSites(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	f := newFarm(t, openAt(t, url, postgres.Options{}))
	one, two := f.site(t), f.site(t)
	c := f.token(t, domain.Coordinator, []domain.SiteID{one})
	conn := owner(t, url)
	for _, sql := range []string{`set app.actor = 'the owner'`, `drop policy site_of_site on site`, `drop policy unit_of_site on unit`} {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	sees := func(want ...domain.SiteID) {
		t.Helper()
		runs := 0
		err := f.store.View(t.Context(), c, func(tx *postgres.Tx) error {
			runs++
			sites, _, err := postgres.Sites.List(t.Context(), tx, postgres.Filter[domain.SiteID]{Limit: 10})
			var ids []domain.SiteID
			for _, s := range sites {
				ids = append(ids, s.ID)
			}
			if err == nil && !slices.Equal(ids, want) {
				t.Errorf("the token sees %v, not %v", ids, want)
			}
			return err
		})
		if err != nil {
			t.Error(err)
		}
		t.Logf("%d runs", runs)
	}
	becomes := func(sites []domain.SiteID) {
		t.Helper()
		if _, err := conn.Exec(t.Context(), `update token set sites = $1 where hash = $2`, sites, c.TokenHash[:]); err != nil {
			t.Fatal(err)
		}
	}
	sees(one)
	sees(one)
	becomes([]domain.SiteID{two})
	err := f.store.Update(t.Context(), c, func(tx *postgres.Tx) error {
		_, err := postgres.Units.Create(t.Context(), tx, domain.Unit{ID: newID[domain.Unit](), Site: one, Name: "Tank", Kind: "tank"})
		return err
	})
	wantCode(t, err, domain.Refused, "unknown_reference")
	sees(two)
	becomes([]domain.SiteID{}) // which is not all, but none
	sees()
	becomes(nil)
	both := []domain.SiteID{one, two}
	slices.SortFunc(both, domain.SiteID.Compare)
	sees(both...)
	becomes([]domain.SiteID{one})
	err = f.store.Update(t.Context(), c, func(tx *postgres.Tx) error {
		postgres.Queue(tx, `update site set name = 'theirs' where own_site(id)`) // queued for all sites, and kept for one
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		site, err := postgres.Sites.Get(ctx, tx, two)
		if site.Name == "theirs" {
			t.Error("a change for sites of which the token was no longer was kept")
		}
		return err
	})
}
