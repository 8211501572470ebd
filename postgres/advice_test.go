package postgres_test

import (
	"context"
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
)

// simulated records a whole simulated co-operative, as of today.
func simulated(t testing.TB, store *postgres.Store, o simulate.Options) (farm, *simulate.Coop) {
	t.Helper()
	zone, err := time.LoadLocation("Africa/Nairobi")
	if err != nil {
		t.Fatal(err)
	}
	if o.Today == 0 {
		o.Today = domain.DateOf(time.Now(), zone)
	}
	coop := simulate.New(o)
	f := newFarm(t, store)
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		for _, p := range coop.Parties {
			if _, err := postgres.Parties.Create(ctx, tx, p); err != nil {
				return err
			}
		}
		for _, p := range coop.Products {
			if _, err := postgres.Products.Create(ctx, tx, p); err != nil {
				return err
			}
		}
		for _, s := range coop.Sites {
			if _, err := postgres.Sites.Create(ctx, tx, s.Facts); err != nil {
				return err
			}
			for _, l := range s.Loops {
				if _, err := postgres.Loops.Create(ctx, tx, l); err != nil {
					return err
				}
			}
			for _, u := range s.Units {
				if _, err := postgres.Units.Create(ctx, tx, u); err != nil {
					return err
				}
			}
			for _, b := range s.Batches {
				if _, err := postgres.Batches.Create(ctx, tx, b); err != nil {
					return err
				}
			}
		}
		return nil
	})
	for _, entries := range coop.Requests() {
		f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
			_, err := tx.Record(ctx, postgres.Recording{Entries: entries, Strict: true})
			return err
		})
	}
	return f, coop
}

// asJSON compares what is read with what is folded, whatever they point to; a list that
// is empty is as good as none.
func asJSON(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(string(text), "[]", "null")
}

// TestSiteViews: what advice is drawn from is what the journals say, folded here: the
// states of today, and what was fed by the end of the day a week ago.
func TestSiteViews(t *testing.T) {
	t.Parallel()
	f, coop := simulated(t, open(t), simulate.Options{Seed: 4, Sites: 7, Seasons: 2})
	var views []*domain.SiteView
	f.view(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		views, err = tx.SiteViews(ctx, nil, true)
		return err
	})
	if len(views) != len(coop.Sites) {
		t.Fatalf("%d sites, %d were made", len(views), len(coop.Sites))
	}
	fixed := map[domain.EntryID]*domain.Consignment{}
	growing, fed, lines := 0, 0, 0
	closed := map[string][]*domain.BatchState{}
	for i := range coop.Sites {
		s := &coop.Sites[i]
		v := views[slices.IndexFunc(views, func(v *domain.SiteView) bool { return v.Site == s.Facts.ID })]
		entries := simulate.Standing(s.Entries)
		for k := range entries {
			if b, ok := entries[k].Body.(domain.Received); ok {
				entries[k].Fixed = fixed[b.Sent]
			}
		}
		site, earlier := domain.NewSite(s.Facts.ID, coop.FactsOf(s)), domain.NewSite(s.Facts.ID, coop.FactsOf(s))
		if err := site.Fold(entries, nil); err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			if _, sent := e.Body.(domain.Sent); sent {
				fixed[e.ID] = e.Fixed
			}
		}
		week := slices.DeleteFunc(slices.Clone(entries), func(e domain.Entry) bool { return e.On > v.Day-7 })
		if err := earlier.Fold(week, nil); err != nil {
			t.Fatal(err)
		}
		for id, b := range site.Batches {
			got := v.States[id]
			if b.Closed() {
				species := coop.FactsOf(s).Batches[id].Species
				closed[species] = append(closed[species], b)
			}
			switch {
			case b.Closed() != (got == nil):
				t.Errorf("%s: a batch is closed: %t, it is there: %t", v.Name, b.Closed(), got != nil)
				continue
			case got == nil:
				continue
			}
			growing++
			for _, name := range postgres.AdviceFields() {
				same := func(field string) bool { return strings.EqualFold(field, name) }
				read, folded := reflect.ValueOf(*got).FieldByNameFunc(same), reflect.ValueOf(*b).FieldByNameFunc(same)
				if r, f := asJSON(t, read.Interface()), asJSON(t, folded.Interface()); r != f {
					t.Errorf("%s: %s is %s, folded %s", v.Name, name, r, f)
				}
			}
			var want domain.Fed
			if was := earlier.Batches[id]; was != nil {
				want = domain.Fed{Feed: was.FedG, Days: was.FedDays}
			}
			if got := v.FedBefore[id]; got != want {
				t.Errorf("%s: a week ago %+v was fed, folded %+v", v.Name, got, want)
			}
			if v.Batches[id] == nil || v.Units[got.Unit] == nil {
				t.Errorf("%s: a batch without facts or tank", v.Name)
			}
		}
		for id, st := range site.Stores {
			if !slices.ContainsFunc(coop.Products, func(p domain.Product) bool { return p.ID == id && p.Category == "feed" }) {
				continue
			}
			fed++
			if asJSON(t, v.Stores[id]) != asJSON(t, st) {
				t.Errorf("%s: the store read is\n%s, folded\n%s", v.Name, asJSON(t, v.Stores[id]), asJSON(t, st))
			}
			var want domain.Quantity
			if was := earlier.Stores[id]; was != nil {
				want = was.Fed
			}
			if v.UsedBefore[id] != want {
				t.Errorf("%s: a week ago %d had been fed, folded %d", v.Name, v.UsedBefore[id], want)
			}
		}
		for id, u := range site.Units {
			if asJSON(t, v.Water[id]) != asJSON(t, u) {
				t.Errorf("%s: the water read is\n%s, folded\n%s", v.Name, asJSON(t, v.Water[id]), asJSON(t, u))
			}
		}
		whole := *v.Keeping // with all that is known of the batches
		whole.States = map[domain.BatchID]*domain.BatchState{}
		for id := range v.States {
			whole.States[id] = site.Batches[id]
		}
		other := *v
		other.Keeping = &whole
		if read, folded := asJSON(t, v.Advise(domain.English)), asJSON(t, other.Advise(domain.English)); read != folded {
			t.Errorf("%s: of what is read the advice is\n%s, of all\n%s", v.Name, read, folded)
		}
		lines += len(v.Advise(domain.English))
		last, visited := entries[len(entries)-1].On, domain.Date(0)
		for _, e := range entries {
			if _, ok := e.Body.(domain.Visit); ok {
				visited = e.On
			}
		}
		if v.LastOn == nil || *v.LastOn != last || (v.VisitedOn == nil) != (visited == 0) || visited != 0 && *v.VisitedOn != visited {
			t.Errorf("%s: last entry on %v, want %s; visited on %v, want %s", v.Name, v.LastOn, last, v.VisitedOn, visited)
		}
		f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
			alone, err := tx.SiteViews(ctx, &s.Facts.ID, true)
			if err == nil && asJSON(t, alone[0].Advise(domain.English)) != asJSON(t, v.Advise(domain.English)) {
				t.Errorf("%s: alone it gets other advice", v.Name)
			}
			return err
		})
	}
	for species, prior := range views[0].Priors {
		want := domain.PublishedPrior(species).Learn(closed[species])
		same := func(a, b float64) bool { return math.Abs(a/b-1) < 1e-9 }
		if want.Batches == 0 || !want.Learned || prior.Batches != want.Batches || !prior.Learned || !same(prior.Curve.TGC(100), want.Curve.TGC(100)) || !same(prior.Spread, want.Spread) ||
			!same(prior.Wander, want.Wander) || !same(prior.Losses.All, want.Losses.All) || !same(prior.Losses.Unseen, want.Losses.Unseen) || !same(prior.FCR, want.FCR) || prior.TGC != want.TGC {
			t.Errorf("%s: the prior read is %+v, folded %+v", species, prior, want)
		}
	}
	if growing < 5 || fed < 7 || lines < 7 {
		t.Errorf("only %d batches, %d feeds and %d lines of advice were compared", growing, fed, lines)
	}
}

// TestDebts: what is overdue is what was sold or bought on credit more than 30 days ago,
// less what was paid, whenever that was; entries that were taken back do not count.
func TestDebts(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	buyer, seller := newID[domain.Party](), newID[domain.Party]()
	p.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		for id, name := range map[domain.PartyID]string{buyer: "Hotel", seller: "Mill"} {
			if _, err := postgres.Parties.Create(ctx, tx, domain.Party{ID: id, Name: name, Roles: []string{"buyer"}}); err != nil {
				return err
			}
		}
		return nil
	})
	sale := func(day int, amount domain.Money) domain.Entry {
		return p.entry(day, domain.Sale{Disposal: "sold", Crop: ptr("spinach"), Weight: 1000, Amount: &amount, Buyer: &buyer})
	}
	wrong := sale(3, 9999)
	p.must(t, sale(0, 100), sale(10, 200), wrong, sale(50, 400),
		p.entry(5, domain.Payment{Party: buyer, Direction: "received", Amount: 150}),
		p.entry(2, domain.Receipt{Product: p.feed, Quantity: 1000, Origin: "bought", Supplier: &seller, Amount: ptr(domain.Money(700))}),
		p.entry(60, domain.Payment{Party: seller, Direction: "paid", Amount: 200}))
	p.must(t, p.entry(3, domain.Reversal{Reverses: wrong.ID, Reason: "another shop"}))
	read := func(day int) (debts []domain.Debt) {
		p.view(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
			debts, err = tx.Debts(ctx, dayOne+domain.Date(day))
			return err
		})
		slices.SortFunc(debts, func(a, b domain.Debt) int { return int(a.Amount - b.Amount) })
		return debts
	}
	// On day 39 only the first sale is older than 30 days, and it is paid. On day 40 the
	// second is, of which 50 are paid. On day 80 the last one is too.
	for day, want := range map[int][]domain.Debt{
		39: {{Party: seller, Name: "Mill", Ours: true, Amount: 500, From: dayOne + 2}},
		40: {{Party: buyer, Name: "Hotel", Amount: 150, From: dayOne + 10}, {Party: seller, Name: "Mill", Ours: true, Amount: 500, From: dayOne + 2}},
		80: {{Party: seller, Name: "Mill", Ours: true, Amount: 500, From: dayOne + 2}, {Party: buyer, Name: "Hotel", Amount: 550, From: dayOne + 10}},
	} {
		if got := read(day); asJSON(t, got) != asJSON(t, want) {
			t.Errorf("day %d: %s, want %s", day, asJSON(t, got), asJSON(t, want))
		}
	}
}

// TestAdviceOfOwnSites: a token that is for some sites gets the views of those, and is
// not told who keeps others.
func TestAdviceOfOwnSites(t *testing.T) {
	t.Parallel()
	f := newFarm(t, open(t))
	one, two := f.site(t), f.site(t)
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Members.Create(ctx, tx, domain.Member{ID: newID[domain.Member](), Name: "Grace", Role: domain.Keeper, Sites: []domain.SiteID{one}, Phone: ptr("123")})
		return err
	})
	see := func(c postgres.Credential, only *domain.SiteID) (views []*domain.SiteView, err error) {
		err = f.store.View(t.Context(), c, func(tx *postgres.Tx) (err error) {
			views, err = tx.SiteViews(t.Context(), only, true)
			return err
		})
		return views, err
	}
	views, err := see(f.all, nil)
	if err != nil || len(views) != 2 {
		t.Fatalf("%d sites: %v", len(views), err)
	}
	for _, v := range views {
		if named := len(v.Keepers) == 1; named != (v.Site == one) {
			t.Errorf("%d keepers are named", len(v.Keepers))
		}
	}
	bound := f.token(t, domain.Coordinator, []domain.SiteID{two})
	if views, err := see(bound, nil); err != nil || len(views) != 1 || views[0].Site != two || len(views[0].Keepers) != 0 {
		t.Errorf("%d sites: %v", len(views), err)
	}
	_, err = see(bound, &one)
	wantCode(t, err, domain.NotFound, "not_found")
}
