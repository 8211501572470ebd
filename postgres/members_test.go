package postgres_test

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"slices"
	"sync"
	"testing"
	"time"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// member adds a person.
func (f farm) member(t *testing.T, role domain.Role, sites ...domain.SiteID) domain.Member {
	t.Helper()
	var made domain.Member
	f.update(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		made, err = postgres.Members.Create(ctx, tx, domain.Member{ID: newID[domain.Member](), Name: "Mutale", Role: role, Sites: sites})
		return err
	})
	return made
}

// issue makes a token, and returns what its holder shows.
func (f farm) issue(ctx context.Context, facts domain.TokenFacts) (domain.TokenFacts, postgres.Credential, error) {
	c := postgres.Credential{Coop: f.coop, TokenHash: sha256.Sum256([]byte(rand.Text())), Roles: domain.Roles}
	facts.ID = newID[domain.Token]()
	err := f.store.Update(ctx, f.all, func(tx *postgres.Tx) (err error) {
		facts, err = tx.IssueToken(ctx, facts, c.TokenHash)
		return err
	})
	return facts, c, err
}

func (f farm) revise(t *testing.T, m domain.Member, change func(*domain.Member)) {
	t.Helper()
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		now, err := postgres.Members.Hold(ctx, tx, m.ID)
		if err != nil {
			return err
		}
		_, err = postgres.Members.Revise(ctx, tx, m.ID, now.Version, nil, func(m *domain.Member) error { change(m); return nil })
		return err
	})
}

func TestMemberTrip(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	sites := []domain.SiteID{f.site(t), f.site(t)}
	trip(t, f, &postgres.Members,
		domain.Member{ID: newID[domain.Member](), Name: "Mutale", Role: domain.Keeper, Sites: sites, Phone: ptr("+260 97 0000000")},
		func(v *domain.Member) domain.MemberID { return v.ID },
		func(v *domain.Member) *domain.Kept { return &v.Kept },
		func(v *domain.Member) *string { return &v.Name })
	for code, m := range map[string]domain.Member{
		"unknown_reference": {Name: "Chanda", Role: domain.Keeper, Sites: []domain.SiteID{sites[0], newID[domain.SiteFacts]()}},
		"invalid_request":   {Name: "Chanda", Role: domain.Keeper},
	} {
		m.ID = newID[domain.Member]()
		err := f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
			_, err := postgres.Members.Create(t.Context(), tx, m)
			return err
		})
		wantCode(t, err, map[string]domain.Kind{"unknown_reference": domain.Refused, "invalid_request": domain.Invalid}[code], code)
	}
}

// What a member may do no longer, no token of the member does, from the same moment.
func TestTokensFollowTheirMember(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	one, two := f.site(t), f.site(t)
	for name, c := range map[string]struct {
		change func(*domain.Member)
		ends   []string // the tokens that hold no longer
	}{
		"another name":    {func(m *domain.Member) { m.Name = "Mutale Banda" }, nil},
		"archived":        {func(m *domain.Member) { m.Archived = true }, []string{"all", "one", "two", "keeper"}},
		"fewer sites":     {func(m *domain.Member) { m.Sites = []domain.SiteID{one} }, []string{"all", "two"}},
		"more sites":      {func(m *domain.Member) { m.Sites = nil }, nil},
		"another role":    {func(m *domain.Member) { m.Role = domain.Keeper }, []string{"all", "one", "two"}},
		"role and a site": {func(m *domain.Member) { m.Role, m.Sites = domain.Keeper, []domain.SiteID{two} }, []string{"all", "one", "two", "keeper"}},
	} {
		m := f.member(t, domain.Coordinator, one, two)
		holders := map[string]postgres.Credential{}
		for name, facts := range map[string]domain.TokenFacts{
			"all": {}, "one": {Sites: []domain.SiteID{one}}, "two": {Sites: []domain.SiteID{two}}, "keeper": {Role: domain.Keeper, Sites: []domain.SiteID{one}},
		} {
			facts.Member = &m.ID
			_, c, err := f.issue(t.Context(), facts)
			if err != nil {
				t.Fatal(err)
			}
			holders[name] = c
		}
		f.revise(t, m, c.change)
		for token, holder := range holders {
			err := f.store.View(t.Context(), holder, func(*postgres.Tx) error { return nil })
			if ends := slices.Contains(c.ends, token); ends {
				wantCode(t, err, domain.Unauthenticated, "unauthenticated")
			} else if err != nil {
				t.Errorf("%s: the token %s: %v", name, token, err)
			}
		}
	}
	archived := f.member(t, domain.Adviser)
	f.revise(t, archived, func(m *domain.Member) { m.Archived = true })
	_, _, err := f.issue(t.Context(), domain.TokenFacts{Member: &archived.ID})
	wantCode(t, err, domain.Refused, "archived")
	f.revise(t, archived, func(m *domain.Member) { m.Archived = false })
	if _, _, err = f.issue(t.Context(), domain.TokenFacts{Member: &archived.ID}); err != nil {
		t.Error(err)
	}
	stranger := newID[domain.Member]()
	_, _, err = f.issue(t.Context(), domain.TokenFacts{Member: &stranger})
	wantCode(t, err, domain.Refused, "unknown_reference")
	neighbour := newFarm(t, f.store)
	_, _, err = neighbour.issue(t.Context(), domain.TokenFacts{Member: &archived.ID})
	wantCode(t, err, domain.Refused, "unknown_reference")
}

// However a token and the archiving of its member cross, no token is left.
func TestTokenWhileItsMemberIsArchived(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	for range 20 {
		m := f.member(t, domain.Adviser)
		var wg sync.WaitGroup
		holders := make([]postgres.Credential, 4)
		for i := range holders {
			wg.Go(func() {
				var err error
				if _, holders[i], err = f.issue(t.Context(), domain.TokenFacts{Member: &m.ID}); err != nil {
					wantCode(t, err, domain.Refused, "archived")
				}
			})
		}
		wg.Go(func() { f.revise(t, m, func(m *domain.Member) { m.Archived = true }) })
		wg.Wait()
		for _, c := range holders {
			wantCode(t, f.store.View(t.Context(), c, func(*postgres.Tx) error { return nil }), domain.Unauthenticated, "unauthenticated")
		}
	}
}

// Who is bound to some sites knows of no member and of no token but the own.
func TestPeopleAreForAllSites(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	site := f.site(t)
	m := f.member(t, domain.Keeper, site)
	bound := f.token(t, domain.Coordinator, []domain.SiteID{site})
	shut(t, "member", f.store, bound, &postgres.Members, m.ID)
	err := f.store.View(t.Context(), bound, func(tx *postgres.Tx) error {
		tokens, more, err := tx.Tokens(t.Context(), nil, 10)
		if len(tokens) != 1 || more || tokens[0].Sites == nil {
			t.Errorf("the tokens are %+v", tokens)
		}
		seen, err2 := postgres.Query[string](t.Context(), tx, `select name from token`) // forgetful
		if len(seen) != 1 || err2 != nil {
			t.Errorf("the wall lets see %v, %v", seen, err2)
		}
		said, err2 := postgres.Query[string](t.Context(), tx, `select noun from revision where noun = 'member'`)
		if len(said) != 0 || err2 != nil {
			t.Errorf("the wall lets see %v, %v", said, err2)
		}
		lines, _, err2 := tx.Audit(t.Context(), postgres.LineFilter{Limit: 500})
		for _, l := range lines {
			if l.SiteID == nil || *l.SiteID != site {
				t.Errorf("the trail shows %+v", l)
			}
		}
		if len(lines) == 0 || err2 != nil {
			t.Errorf("the trail of the own site has %d lines, %v", len(lines), err2)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	for _, run := range []func(*postgres.Tx) error{
		func(tx *postgres.Tx) error {
			_, err := tx.IssueToken(t.Context(), domain.TokenFacts{ID: newID[domain.Token](), Name: "x", Role: domain.Adviser, Sites: []domain.SiteID{site}}, [32]byte{7})
			return err
		},
		func(tx *postgres.Tx) error {
			_, err := postgres.Members.Create(t.Context(), tx, domain.Member{ID: newID[domain.Member](), Name: "x", Role: domain.Adviser})
			return err
		},
	} {
		wantCode(t, f.store.Update(t.Context(), bound, run), domain.Forbidden, "forbidden")
	}
}

// The day of the last use is kept, whether the token reads, writes or is refused.
func TestLastUse(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	store := openAt(t, url, postgres.Options{})
	f := newFarm(t, store)
	conn := owner(t, url)
	today := domain.DateOf(time.Now(), time.UTC)
	used := func(c postgres.Credential) *domain.Date {
		days := column[*time.Time](t, conn, `select last_used_on::timestamptz from token where hash = $1`, c.TokenHash[:])
		if len(days) != 1 || days[0] == nil {
			return nil
		}
		return ptr(domain.DateOf(*days[0], time.UTC))
	}
	wait := func(c postgres.Credential) {
		t.Helper()
		for range 100 {
			if day := used(c); day != nil && *day >= today {
				return
			}
			time.Sleep(20 * time.Millisecond)
		}
		t.Errorf("the last use is %v", used(c))
	}
	none := func(*postgres.Tx) error { return nil }
	reads, writes, refused, unused := f.token(t, domain.Adviser, nil), f.token(t, domain.Keeper, nil), f.token(t, domain.Funder, nil), f.token(t, domain.Keeper, nil)
	refused.Roles = nil
	if err := store.View(t.Context(), reads, none); err != nil {
		t.Fatal(err)
	}
	if err := store.Update(t.Context(), writes, none); err != nil {
		t.Fatal(err)
	}
	wantCode(t, store.View(t.Context(), refused, none), domain.Forbidden, "forbidden")
	wait(reads)
	wait(writes)
	wait(refused)
	if day := used(unused); day != nil {
		t.Errorf("a token that was never used was on %v", day)
	}
	// A day later, on an instance that has used it before and on one that has not.
	for _, store := range []*postgres.Store{openAt(t, url, postgres.Options{}), store} {
		if _, err := conn.Exec(t.Context(), `update token set last_used_on = current_date - 1 where hash = $1`, reads.TokenHash[:]); err != nil {
			t.Fatal(err)
		}
		store.Forget()
		if err := store.View(t.Context(), reads, none); err != nil {
			t.Fatal(err)
		}
		wait(reads)
	}
	if n := column[int](t, conn, `select count(*) from audit where action <> 'created'`)[0]; n != 0 {
		t.Errorf("using tokens left %d lines in the trail", n)
	}
}
