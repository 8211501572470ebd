package integration_test

import (
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"testing"
)

// A family of fish: split, graded and merged at one site, and sent to another, where
// they are harvested (computed by hand; every step is beside its entry).
func TestLineage(t *testing.T) {
	t.Parallel()
	s := newService(t)
	here, there := newPond(s), newPond(s)
	a, b, c, d := here.newBatch(), here.newBatch(), here.newBatch(), there.newBatch()
	apart := here.stocked(day(0), members{"count": 5, "weight_kg": 0.05}) // no relation
	sent := here.entry("sent", day(60), members{"to_site_id": there.site, "batch_id": a, "count": 500, "empties": true})
	s.recorded(
		here.entry("receipt", day(0), members{"product_id": here.feed, "quantity": 500, "origin": "bought", "unit_price": "10"}),
		here.entry("stocking", day(0), members{"batch_id": a, "origin": "bought", "count": 1000, "weight_kg": 10, "amount": "1000"}),
		here.entry("feeding", day(10), members{"batch_id": a, "product_id": here.feed, "weight_kg": 30}), // 1300 in all
		here.entry("sample", day(29), members{"batch_id": a, "count": 25, "weight_kg": 1}),               // 40 g each, 40 kg
		here.entry("move", day(30), members{"batch_id": a, "to_batch_id": b, "count": 400, "weight_kg": 16}),
		// 1300 × 16 ÷ 40 = 520 go along, 780 and 600 fish of 24 kg stay.
		here.entry("move", day(40), members{"batch_id": a, "to_batch_id": c, "count": 100, "weight_kg": 8}),
		// The big ones: 780 × 8 ÷ 24 = 260 go along, 520 and 500 fish stay.
		here.entry("move", day(50), members{"batch_id": b, "to_batch_id": c, "count": 400, "empties": true}), // 16 kg and 520
		here.entry("feeding", day(55), members{"batch_id": c, "product_id": here.feed, "weight_kg": 150}),    // 1500
		sent, // 500 × 40 g = 20 kg, with all of 520
		here.entry("harvest", day(120), members{"batch_id": c, "count": 500, "weight_kg": 100}),
	)
	got := s.do("GET", "/v1/entries/"+sent["id"].(string), s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/value": "520.00", "/recorded_by": "test keeper"})
	if got.at("/entry/count") != "500" {
		t.Errorf("what was sent is listed as %s", got.body)
	}
	received := there.entry("received", day(61), members{"sent_id": sent["id"], "batch_id": d, "count": 490}) // 19.6 kg
	s.recorded(
		there.entry("receipt", day(60), members{"product_id": there.feed, "quantity": 100, "origin": "bought", "amount": "1200"}),
		received,
		there.entry("feeding", day(70), members{"batch_id": d, "product_id": there.feed, "weight_kg": 100}),
		there.entry("harvest", day(121), members{"batch_id": d, "count": 490, "weight_kg": 98}),
	)
	s.do("GET", "/v1/entries/"+received["id"].(string), s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/value": "520.00"})

	figures := func(batch string, want map[string]string) response {
		t.Helper()
		return s.performance(batch, "?as_of="+day(150)).wantAt(want)
	}
	figures(a, map[string]string{"/state": "closed", "/fish/moved_out": "1000", "/biomass/moved_out_kg": "44", "/fish/unaccounted": "0",
		"/cost/moved_out": "1300.00", "/cost/total": "0.00", "/margin": "0.00"}).
		null("moved_on: the fish were moved out and not harvested from this batch", "cost.per_kg", "cost.per_kg_net", "cost.per_kg_basis")
	figures(b, map[string]string{"/state": "closed", "/fish/moved_in": "400", "/fish/moved_out": "400", "/cost/moved_in": "520.00", "/cost/moved_out": "520.00", "/cost/total": "0.00"})
	figures(c, map[string]string{"/state": "closed", "/fish/moved_in": "500", "/biomass/moved_in_kg": "24", "/cost/moved_in": "780.00", "/cost/total": "2280.00", "/cost/per_kg": "22.8000"})
	figures(d, map[string]string{"/state": "closed", "/fish/moved_in": "490", "/biomass/moved_in_kg": "19.6", "/cost/moved_in": "520.00", "/cost/total": "1720.00", "/fish/harvested": "490"})

	// 2280 + 1720 = 4000 for 198 kg; (30 + 150 + 100) ÷ (198 − 10) = 1.489362.
	for _, batch := range []string{a, b, c, d} {
		r := s.do("GET", "/v1/batches/"+batch+"/lineage?as_of="+day(150), s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{
			"/batch_id": batch, "/totals/stocked": "1000", "/totals/harvested_kg": "198", "/totals/cost": "4000.00", "/totals/cost_per_kg": "20.2020",
			"/totals/fed_kg": "280", "/totals/fcr_economic": "1.489362", "/totals/missing": "[]",
		})
		r.wantFamily(map[string]string{a: "closed", b: "closed", c: "closed", d: "closed"},
			[]link{{a, b, 400, "16", "520.00"}, {a, c, 100, "8", "260.00"}, {b, c, 400, "16", "520.00"}, {a, d, 500, "20", "520.00"}})
	}
	// Half way: 1000 for the fish and 300 for the feed, nothing harvested; 24 + 16 + 8 kg
	// of which 8 were weighed.
	half := s.do("GET", "/v1/batches/"+c+"/lineage?as_of="+day(45), s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{
		"/totals/cost": "1300.00", "/totals/harvested_kg": "0", "/totals/cost_per_kg": "null", "/totals/missing/0/figure": "cost_per_kg",
		// 20 kg left of A, 16 of B, 8 of C: 30 ÷ (44 − 10) = 0.882353.
		"/totals/fcr_economic": "0.882353",
	})
	half.wantFamily(map[string]string{a: "growing", b: "growing", c: "growing", d: "growing"}, []link{{a, b, 400, "16", "520.00"}, {a, c, 100, "8", "260.00"}})
	// What has no relatives is a family of its own.
	s.do("GET", "/v1/batches/"+apart+"/lineage", s.keeper, nil).want(http.StatusOK).wantFamily(map[string]string{apart: "growing"}, nil)
	s.do("GET", "/v1/batches/"+newText()+"/lineage", s.keeper, nil).want(http.StatusNotFound, "not_found")
	s.do("GET", "/v1/batches/"+a+"/lineage", s.neighbour().keeper, nil).want(http.StatusNotFound, "not_found")

	// The links behind moved fish lead to both ends of the way.
	for batch, want := range map[string]string{a: "sent", d: "received"} {
		r := s.performance(batch, "?explain=true&as_of="+day(150))
		for _, figure := range []string{"fish.moved_out", "fish.moved_in", "survival.by_account", "cost.total"} {
			if got := s.kinds(r.explained(figure)); figure != "fish.moved_in" && batch == a && got[want] != 1 || figure != "fish.moved_out" && batch == d && got[want] != 1 {
				t.Errorf("behind %s are listed %v, want one %s", figure, got, want)
			}
		}
	}
}

// link is a move between two batches of a family.
type link struct {
	from, to     string
	fish         int64
	weight, cost string
}

// wantFamily complains unless these batches are the family, with these moves by date.
func (r response) wantFamily(states map[string]string, links []link) {
	r.t.Helper()
	var body struct {
		Family []struct {
			BatchID string `json:"batch_id"`
			State   string
		}
		Links []struct {
			From    string `json:"from_batch_id"`
			To      string `json:"to_batch_id"`
			Fish    int64
			Biomass json.Number `json:"biomass_kg"`
			Cost    string
		}
	}
	r.into(&body)
	got := map[string]string{}
	for _, m := range body.Family {
		got[m.BatchID] = m.State
	}
	if len(got) != len(body.Family) || len(got) != len(states) {
		r.t.Errorf("%s: the family is %v, want %v", r.what, got, states)
	}
	for id, state := range states {
		if got[id] != state {
			r.t.Errorf("%s: %s is %q, want %s", r.what, id, got[id], state)
		}
	}
	var moved []link
	for _, l := range body.Links {
		moved = append(moved, link{l.From, l.To, l.Fish, l.Biomass.String(), l.Cost})
	}
	if !slices.Equal(moved, links) {
		r.t.Errorf("%s: the moves are %v, want %v", r.what, moved, links)
	}
}

// A reversed move makes no family, and fish whose weight nobody knows are moved by
// number.
func TestLineageOfReversedAndUnweighed(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	a, b, c := p.newBatch(), p.newBatch(), p.newBatch()
	wrong := p.entry("move", day(5), members{"batch_id": a, "to_batch_id": c, "count": 10})
	p.recorded(
		p.entry("stocking", day(0), members{"batch_id": a, "origin": "bought", "count": 100, "unit_price": "0.55"}),
		wrong,
		p.entry("move", day(6), members{"batch_id": a, "to_batch_id": b, "count": 30}), // of 90: 49.50 × 30 ÷ 90
	)
	p.recorded(p.entry("reversal", day(7), members{"reverses_id": wrong["id"], "reason": "Another batch."}))
	// Of 100 now: 55.00 × 30 ÷ 100.
	r := p.do("GET", "/v1/batches/"+b+"/lineage?as_of="+day(10), p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{
		"/totals/stocked": "100", "/totals/cost": "55.00", "/totals/fcr_economic": "null"})
	r.wantFamily(map[string]string{a: "growing", b: "growing"}, []link{{a, b, 30, "", "16.50"}})
	if !strings.Contains(string(r.body), "the weight of the fish at stocking or arrival is not known") {
		t.Errorf("the reasons are %s", r.at("/totals/missing"))
	}
	p.do("GET", "/v1/batches/"+c+"/lineage", p.keeper, nil).want(http.StatusOK).wantFamily(map[string]string{c: "growing"}, nil)
}
