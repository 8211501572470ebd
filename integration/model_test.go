package integration_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
	"shoalbook/postgres"
)

// A model is what the books of a site must say: what follows, by the pure functions
// of the trade alone, from the registry and from the entries that stand.
type model struct {
	site      domain.SiteID
	facts     domain.Facts
	equipment []domain.SharedCost
	rules     []domain.Revision[string]                                // of sharing
	water     map[domain.UnitID][]domain.Revision[*domain.Thousandths] // litres
	entries   []domain.Entry
	currency  domain.Currency
}

// standing folds the entries up to a day.
func (m *model) standing(asOf domain.Date) (*domain.Site, domain.Sharing, error) {
	entries := slices.Clone(m.entries)
	entries = slices.DeleteFunc(entries, func(e domain.Entry) bool { return e.On > asOf })
	domain.SortEntries(entries)
	shared := slices.Clone(m.equipment)
	site := domain.NewSite(m.site, m.facts)
	if err := site.Fold(entries, func(d domain.Day) { shared = append(shared, d.Shared...) }); err != nil {
		return nil, domain.Sharing{}, err
	}
	rule, _ := domain.FactsOn(m.rules, asOf)
	return site, domain.ShareOut(asOf, rule, shared, site.Batches), nil
}

// figures returns the figures of every batch on a day.
func (m *model) figures(t *testing.T, asOf domain.Date) map[domain.BatchID][]domain.Figure {
	t.Helper()
	site, sharing, err := m.standing(asOf)
	if err != nil {
		t.Fatalf("the journal does not fold: %v", err)
	}
	all := map[domain.BatchID][]domain.Figure{}
	for id := range m.facts.Batches {
		measure := domain.Measure{State: site.Batches[id], AsOf: asOf, Species: m.facts.Batches[id].Species, Currency: m.currency}
		if share := sharing.Batches[id]; share != nil {
			measure.Share = *share
		}
		if measure.State != nil {
			measure.Water, _ = domain.FactsOn(m.water[measure.State.Unit], asOf)
		}
		all[id] = measure.Figures().Figures
	}
	return all
}

// compare holds every figure of every batch that the service prints against those
// of the model, digit by digit. It returns how many these are.
func (m *model) compare(s *service, asOf domain.Date) int {
	t := s.t.(*testing.T)
	t.Helper()
	n := 0
	for id, figures := range m.figures(t, asOf) {
		r := s.do("GET", "/v1/batches/"+id.String()+"/performance?as_of="+asOf.String(), s.coordinator, nil).want(http.StatusOK)
		reasons := missingOf(r)
		for _, f := range figures {
			n++
			want, got := f.Literal, literal(t, r.body, strings.Split(f.Name, "."))
			if want == "" {
				want = "null"
			}
			if got != want || reasons[f.Name] != f.Reason {
				t.Errorf("on %s, %s of %s is %s (%s), and by the model %s (%s)", asOf, f.Name, id, got, reasons[f.Name], want, f.Reason)
			}
		}
	}
	return n + m.compareStores(s, asOf)
}

func missingOf(r response) map[string]string {
	var body struct {
		Missing []struct{ Figure, Reason string }
	}
	r.into(&body)
	reasons := map[string]string{}
	for _, x := range body.Missing {
		reasons[x.Figure] = x.Reason
	}
	return reasons
}

// literal returns what is in an object, as it is written there.
func literal(t *testing.T, raw []byte, path []string) string {
	t.Helper()
	for _, name := range path {
		var object map[string]json.RawMessage
		if err := json.Unmarshal(raw, &object); err != nil {
			t.Fatal(err)
		}
		raw = object[name]
	}
	var b bytes.Buffer
	if err := json.Compact(&b, raw); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// compareStores holds the stores against those of the model, which are of today.
func (m *model) compareStores(s *service, asOf domain.Date) int {
	t := s.t.(*testing.T)
	t.Helper()
	if asOf != todayAt(t, "Africa/Lusaka") {
		return 0
	}
	site, _, err := m.standing(asOf)
	if err != nil {
		t.Fatal(err)
	}
	var list struct {
		Items []struct {
			ProductID          domain.ProductID `json:"product_id"`
			Quantity           json.Number
			Value, Revaluation string
			DonatedValue       string `json:"donated_value"`
		}
	}
	s.do("GET", "/v1/sites/"+m.site.String()+"/store?limit=500", s.coordinator, nil).want(http.StatusOK).into(&list)
	if len(list.Items) != len(site.Stores) {
		t.Errorf("there are %d stores, and by the model %d", len(list.Items), len(site.Stores))
	}
	for _, item := range list.Items {
		st := site.Stores[item.ProductID]
		if st == nil {
			t.Errorf("there is a store of %s, and by the model none", item.ProductID)
			continue
		}
		got := fmt.Sprint(item.Quantity, " ", item.Value, " ", item.DonatedValue, " ", item.Revaluation)
		want := fmt.Sprint(domain.Thousandths(st.Balance).Format(), " ", m.currency.Format(st.Value), " ", m.currency.Format(st.DonatedV), " ", m.currency.Format(st.Revaluation))
		if got != want {
			t.Errorf("the store of %s is %s, and by the model %s", item.ProductID, got, want)
		}
	}
	return 4 * len(list.Items)
}

func todayAt(t *testing.T, zone string) domain.Date {
	t.Helper()
	z, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	return domain.DateOf(time.Now(), z)
}

// sound fails unless every figure that is kept is what the journal says.
func (s *service) sound() {
	s.t.Helper()
	err := s.store.Inspect(s.t.Context(), s.coop, func(tx *postgres.Tx) error {
		found, err := tx.Verify(s.t.Context(), false)
		for _, f := range found {
			s.t.Error(f)
		}
		return err
	})
	if err != nil {
		s.t.Error(err)
	}
}

// journal reads the whole journal, site by site, without what was reversed. What
// crossed sites has the value that it was recorded with.
func (s *service) journal() map[domain.SiteID][]domain.Entry {
	s.t.Helper()
	type recorded struct {
		Entry      json.RawMessage
		Value      string
		ReversedBy string `json:"reversed_by"`
	}
	found := map[domain.SiteID][]domain.Entry{}
	crossing := map[domain.EntryID]*domain.Consignment{}
	for path := "/v1/entries?limit=200"; path != ""; {
		page := s.do("GET", path, s.coordinator, nil).want(http.StatusOK)
		var list struct{ Items []recorded }
		page.into(&list)
		for _, r := range list.Items {
			e, err := domain.DecodeEntry(r.Entry, "ZMW")
			if err != nil {
				s.t.Fatal(err)
			}
			if sent, ok := e.Body.(domain.Sent); ok {
				e.Fixed = consignmentOf(sent)
				if e.Fixed.Value, err = domain.Currency("ZMW").Parse(r.Value); err != nil {
					s.t.Fatal(err)
				}
				crossing[e.ID] = e.Fixed
			}
			if _, reversal := e.Body.(domain.Reversal); !reversal && r.ReversedBy == "" {
				found[e.Site] = append(found[e.Site], e)
			}
		}
		path, _, _ = strings.Cut(strings.TrimPrefix(page.header.Get("Link"), "<"), ">")
	}
	for _, entries := range found {
		for i := range entries {
			if b, ok := entries[i].Body.(domain.Received); ok {
				entries[i].Fixed = crossing[b.Sent]
			}
		}
	}
	return found
}

// consignmentOf returns what was sent, which was weighed, and has nothing that was
// donated in it.
func consignmentOf(b domain.Sent) *domain.Consignment {
	c := &domain.Consignment{Batch: b.Batch, Product: b.Product}
	if b.Quantity != nil {
		c.Quantity = *b.Quantity
	}
	if b.Count != nil {
		c.Fish = *b.Count
	}
	if b.Weight != nil {
		w := b.Weight.Milligrams()
		c.Weight = &w
	}
	return c
}

// kindsIn counts the kinds of entries.
func kindsIn(entries map[domain.SiteID][]domain.Entry) map[string]int {
	kinds := map[string]int{}
	for _, list := range slices.Collect(maps.Values(entries)) {
		for _, e := range list {
			kinds[e.Body.Kind()]++
		}
	}
	return kinds
}
