package integration_test

import (
	"net/http"
	"testing"
)

// Goods and fish go from one site to another, each recorded by the keeper of its own
// site, with the value they had when they left.
func TestBetweenSites(t *testing.T) {
	t.Parallel()
	s := newService(t)
	here, there := newPond(s), newPond(s)
	sender, receiver := s.token("keeper", here.site), s.token("keeper", there.site)
	records := func(token string, entries ...members) response {
		t.Helper()
		return s.post(token, entries).want(http.StatusOK)
	}
	created := func(token string, entries ...members) {
		t.Helper()
		for _, e := range entries {
			records(token, e).became("created")
		}
	}
	store := func(p pond, product, want string) {
		t.Helper()
		var body struct {
			Items []struct {
				ProductID string `json:"product_id"`
				Quantity  float64
				Value     string
				UnitCost  string `json:"unit_cost"`
			}
		}
		p.do("GET", "/v1/sites/"+p.site+"/store", p.coordinator, nil).want(http.StatusOK).into(&body)
		got := ""
		for _, i := range body.Items {
			if i.ProductID == product {
				got = kilos(int64(i.Quantity*1000)) + " kg " + i.Value + " at " + i.UnitCost
			}
		}
		if got != want {
			t.Errorf("in the store there is %q, want %q", got, want)
		}
	}
	feed := here.feed
	goods := here.entry("sent", day(10), members{"to_site_id": there.site, "product_id": feed, "quantity": 40})
	created(sender,
		here.entry("receipt", day(0), members{"product_id": feed, "quantity": 100, "origin": "bought", "unit_price": "9.10"}),
		goods)
	store(here, feed, "60 kg 546.00 at 9.10")
	got := s.do("GET", "/v1/entries/"+goods["id"].(string), sender, nil).want(http.StatusOK)
	got.wantAt(map[string]string{"/value": "364.00"})
	s.do("GET", "/v1/entries/"+goods["id"].(string), receiver, nil).want(http.StatusNotFound, "not_found")

	arrived := there.entry("received", day(11), members{"sent_id": goods["id"], "quantity": 38})
	early := there.entry("received", day(9), members{"sent_id": goods["id"], "quantity": 38})
	more := there.entry("received", day(11), members{"sent_id": goods["id"], "quantity": 40.001})
	s.refused(receiver, early, "before_batch")
	s.refused(receiver, more, "not_enough_fish")
	s.refused(receiver, there.entry("received", day(11), members{"sent_id": goods["id"], "batch_id": newText(), "count": 1}), "unknown_reference")
	s.refused(receiver, there.entry("received", day(11), members{"sent_id": newText(), "quantity": 1}), "unknown_reference").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/sent_id"})
	s.refused(sender, here.entry("received", day(11), members{"sent_id": goods["id"], "quantity": 1}), "unknown_reference") // it is for others
	created(receiver, arrived)
	store(there, feed, "38 kg 364.00 at 9.578947") // two kg were lost on the way, their cost was not
	s.refused(receiver, there.entry("received", day(12), members{"sent_id": goods["id"], "quantity": 2}), "unknown_reference").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/sent_id"})
	records(receiver, arrived).became("exists")
	// What was received cannot be taken back where it was sent, until it is there.
	back := members{"id": newText(), "reason": "Never sent."}
	s.do("POST", "/v1/entries/"+goods["id"].(string)+"/reversal", sender, back).want(http.StatusUnprocessableEntity, "not_reversible")

	// Later corrections stay with the sender: 60 kg more at 5.50 were there from the start.
	created(sender, here.entry("receipt", day(1), members{"product_id": feed, "quantity": 60, "origin": "bought", "unit_price": "5.50"}))
	s.do("GET", "/v1/entries/"+goods["id"].(string), sender, nil).wantAt(map[string]string{"/value": "364.00"})
	store(there, feed, "38 kg 364.00 at 9.578947")
	// 1240 for 160 kg is 310 for the 40; 54 too much went with them.
	store(here, feed, "120 kg 930.00 at 7.75")

	// Fish: 100 of 250, weighing 30 of 75 kg, with the cost of 40 % of them.
	batch, new := here.newBatch(), there.newBatch()
	fish := here.entry("sent", day(60), members{"to_site_id": there.site, "batch_id": batch, "count": 100})
	created(sender,
		here.entry("stocking", day(20), members{"batch_id": batch, "origin": "bought", "count": 250, "weight_kg": 2.5, "amount": "125"}),
		here.entry("sample", day(59), members{"batch_id": batch, "count": 10, "weight_kg": 3}),
		fish)
	took := there.entry("received", day(60), members{"sent_id": fish["id"], "batch_id": new, "count": 97, "weight_kg": 28.8})
	s.refused(receiver, there.entry("received", day(60), members{"sent_id": fish["id"], "batch_id": new, "count": 101}), "not_enough_fish")
	s.refused(receiver, there.entry("received", day(60), members{"sent_id": fish["id"], "quantity": 10}), "unknown_reference")
	s.refused(receiver, there.entry("received", day(60), members{"sent_id": fish["id"], "batch_id": batch, "count": 10}), "unknown_reference") // not a batch of this site
	created(receiver, took, there.entry("harvest", day(90), members{"batch_id": new, "count": 97, "weight_kg": 50}))
	s.performance(batch, "?as_of="+day(70)).wantAt(map[string]string{"/fish/moved_out": "100", "/biomass/moved_out_kg": "30", "/cost/moved_out": "50.00", "/cost/total": "75.00", "/fish/on_hand": "150"})
	s.performance(new, "?as_of="+day(100)).wantAt(map[string]string{"/state": "closed", "/fish/moved_in": "97", "/biomass/moved_in_kg": "28.8", "/cost/moved_in": "50.00",
		"/cost/total": "50.00", "/cost/per_kg": "1.0000", "/biomass/net_gain_kg": "21.2", "/survival/by_account": "1"})
	// Taken back at one end, then at the other: as if they had never gone.
	s.refused(receiver, there.entry("reversal", day(91), members{"reverses_id": took["id"], "reason": "They were eaten."}), "before_batch") // they were harvested
	harvest := s.entries(receiver, "&kind=harvest")[0].Entry.ID
	created(receiver, there.entry("reversal", day(91), members{"reverses_id": harvest, "reason": "Not yet."}),
		there.entry("reversal", day(91), members{"reverses_id": took["id"], "reason": "They died on the way."}))
	created(sender, here.entry("reversal", day(91), members{"reverses_id": fish["id"], "reason": "They were never sent."}))
	s.refused(receiver, there.entry("received", day(92), members{"sent_id": fish["id"], "batch_id": new, "count": 1}), "unknown_reference")
	s.performance(batch, "?as_of="+day(100)).wantAt(map[string]string{"/fish/moved_out": "0", "/cost/total": "125.00", "/fish/on_hand": "250"})
	s.performance(new, "?as_of="+day(100)).wantAt(map[string]string{"/fish/moved_in": "0", "/cost/total": "0.00"})

	// In one request, by somebody who may write at both.
	both := here.entry("sent", day(95), members{"to_site_id": there.site, "batch_id": batch, "count": 250, "empties": true})
	s.recorded(there.entry("received", day(95), members{"sent_id": both["id"], "batch_id": new, "count": 249}), both)
	s.performance(new, "?as_of="+day(100)).wantAt(map[string]string{"/fish/moved_in": "249", "/cost/moved_in": "125.00"})
}

// A keeper writes at the own site only; what is elsewhere is not there.
func TestKeepersStayAtTheirSites(t *testing.T) {
	t.Parallel()
	s := newService(t)
	mine, theirs := newPond(s), newPond(s)
	keeper := s.token("keeper", mine.site)
	a, b := mine.newBatch(), theirs.stocked(day(0), members{"count": 100})
	taken := s.entries(s.keeper, "")[0].Entry.ID
	s.refused(keeper, theirs.entry("death", day(1), members{"batch_id": b, "count": 1}), "unknown_reference").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/site_id"})
	s.refused(keeper, mine.entry("death", day(1), members{"batch_id": b, "count": 1}), "unknown_reference").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/batch_id"})
	s.refused(keeper, mine.entry("water", day(1), members{"unit_id": theirs.a, "temperature_c": 25}), "unknown_reference").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/unit_id"})
	s.refused(keeper, mine.entry("reversal", day(1), members{"reverses_id": taken, "reason": "Not theirs."}), "unknown_reference").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/reverses_id"})
	s.recorded(mine.entry("stocking", day(0), members{"batch_id": a, "origin": "bred", "count": 10}))
	s.refused(keeper, mine.entry("move", day(1), members{"batch_id": a, "to_batch_id": b, "count": 1}), "unknown_reference").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/to_batch_id"})
	s.refused(keeper, mine.entry("move", day(1), members{"batch_id": a, "to_unit_id": theirs.a}), "unknown_reference").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/to_unit_id"})
	// An id that is in use where the keeper sees nothing is in use, and that is all.
	unseen := mine.entry("death", day(1), members{"batch_id": a, "count": 1})
	unseen["id"] = taken
	fits := mine.entry("death", day(1), members{"batch_id": a, "count": 2})
	s.post(keeper, []members{unseen, fits}).want(http.StatusOK).became("conflict created").wantAt(map[string]string{"/results/0/problem/code": "id_conflict"})
	// At another co-operative it is free.
	n := newPond(s.neighbour())
	own := n.entry("tally", day(1), members{"measure": "meals", "count": 1})
	own["id"] = taken
	n.recorded(own)
	if got := s.entries(keeper, ""); len(got) != 2 {
		t.Errorf("the keeper sees %d entries, want 2", len(got))
	}
	if got := s.entries(keeper, "&site_id="+theirs.site); len(got) != 0 {
		t.Errorf("the keeper sees %d entries of another site", len(got))
	}
	s.do("GET", "/v1/batches/"+b+"/performance", keeper, nil).want(http.StatusNotFound, "not_found")
	s.do("GET", "/v1/batches/"+b+"/lineage", keeper, nil).want(http.StatusNotFound, "not_found")
	// Things that belong to nobody are refused one by one, with the place they stand.
	for _, c := range []struct {
		kind, pointer string
		members       members
	}{
		{"stocking", "/supplier_id", members{"batch_id": a, "origin": "bought", "count": 1, "supplier_id": newText()}},
		{"receipt", "/supplier_id", members{"product_id": mine.feed, "origin": "bought", "quantity": 1, "supplier_id": newText()}},
		{"expense", "/supplier_id", members{"category": "other", "amount": "1", "supplier_id": newText()}},
		{"sale", "/buyer_id", members{"crop": "Kale", "disposal": "sold", "weight_kg": 1, "amount": "1", "buyer_id": newText()}},
		{"payment", "/party_id", members{"party_id": newText(), "direction": "paid", "amount": "1"}},
		{"receipt", "/product_id", members{"product_id": newText(), "origin": "bought", "quantity": 1}},
		{"sent", "/to_site_id", members{"to_site_id": newText(), "product_id": mine.feed, "quantity": 1}},
		{"sent", "/to_site_id", members{"to_site_id": mine.site, "product_id": mine.feed, "quantity": 1}},
	} {
		good := mine.entry("tally", day(1), members{"measure": "meals", "count": 1})
		r := s.post(keeper, []members{mine.entry(c.kind, day(1), c.members), good}).want(http.StatusOK).became("refused created")
		if r.at("/results/0/problem/errors/0/pointer") != c.pointer {
			t.Errorf("a %s: %s", c.kind, r.body)
		}
	}
}
