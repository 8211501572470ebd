package integration_test

import (
	"net/http"
	"testing"
	"time"

	"shoalbook/domain"
)

// The record of a supplier is of its deliveries, and of the batches that are its fish
// alone, worked out by hand beside what is recorded.
func TestSupplierRecord(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	q := newPurchase(p.service) // of another supplier
	figure := func(party, token, name string) response {
		t.Helper()
		r := p.do("GET", "/v1/parties/"+party+"/record", token, nil).want(http.StatusOK)
		var body struct{ Figures []members }
		r.into(&body)
		for _, f := range body.Figures {
			if f["name"] == name {
				r.body = marshal(f)
				return r
			}
		}
		t.Fatalf("there is no %s: %s", name, r.body)
		return r
	}
	p.do("GET", "/v1/parties/"+p.party+"/record", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/figures": "[]"})
	p.do("GET", "/v1/parties/"+newText()+"/record", p.keeper, nil).want(http.StatusNotFound)

	a, b := p.drop(0, members{"counted": 475, "dead": 19, "mean_weight_g": 5}), p.drop(1, members{"counted": 300, "dead": 3})
	p.receive(p.coordinator, a, b).want(http.StatusCreated)
	q.receive(p.coordinator, q.drop(2, members{"weighed": members{"weight_kg": 1, "sample_count": 40, "sample_weight_kg": 0.2, "cv_percent": 22}})).want(http.StatusCreated)
	// 22 of 775 are dead; 25 of 800 are missing.
	figure(p.party, p.keeper, "deaths_on_arrival").wantAt(map[string]string{"/lots": "2", "/fish": "775"}).near(1e-6, map[string]float64{"/value": 22. / 775})
	figure(p.party, p.keeper, "short_count").wantAt(map[string]string{"/lots": "2", "/fish": "800"}).near(1e-6, map[string]float64{"/value": 25. / 800})
	figure(p.party, p.keeper, "size_variation").wantAt(map[string]string{"/value": "null", "/lots": "0", "/from": "null"})
	figure(q.party, p.keeper, "size_variation").wantAt(map[string]string{"/unit": "%", "/lots": "1", "/from": "null"}).near(1e-6, map[string]float64{"/value": 22})
	if r := figure(p.party, p.keeper, "deaths_on_arrival"); r.at("/shrunk") == "null" || r.at("/source") == "" {
		t.Errorf("%s", r.body)
	}
	// A keeper of one school knows of its own lot.
	figure(p.party, p.keepers[1], "deaths_on_arrival").wantAt(map[string]string{"/lots": "1", "/fish": "300"})

	// Of 456 that were stocked 46 die by day 7, and of the 410 left 41 by day 30; they go from
	// 5 to 40 g at 26 °C in 40 days: (∛40 − ∛5) ÷ 1040 × 1000.
	at := func(site int, kind, on string, m members) members {
		e := members{"id": newText(), "kind": kind, "site_id": p.sites[site], "occurred_on": on}
		for name, value := range m {
			e[name] = value
		}
		return e
	}
	entries := []members{
		at(0, "death", "2025-01-23", members{"batch_id": a["batch_id"], "count": 46}),
		at(0, "death", "2025-02-10", members{"batch_id": a["batch_id"], "count": 41}),
		at(0, "sample", "2025-03-01", members{"batch_id": a["batch_id"], "count": 30, "weight_kg": 1.2}),
	}
	for on := 19; on < 59; on++ {
		entries = append(entries, at(0, "water", day(on), members{"unit_id": p.units[0], "temperature_c": 26}))
	}
	p.recorded(entries...)
	figure(p.party, p.keeper, "survival_day_7").wantAt(map[string]string{"/lots": "2", "/fish": "753"}).near(1e-6, map[string]float64{"/value": (410. + 297) / 753})
	figure(p.party, p.keeper, "survival_day_30").wantAt(map[string]string{"/lots": "2", "/fish": "753"}).near(1e-6, map[string]float64{"/value": (369. + 297) / 753})
	figure(p.party, p.keeper, "growth_tgc").wantAt(map[string]string{"/lots": "1"}).near(2e-3, map[string]float64{"/value": (3.4199519 - 1.7099759) / 1040 * 1000})

	// Fish that are mixed with others say nothing of either supplier.
	p.recorded(at(0, "stocking", "2025-03-05", members{"batch_id": a["batch_id"], "origin": "bought", "count": 10, "supplier_id": q.party}))
	figure(p.party, p.keeper, "survival_day_7").wantAt(map[string]string{"/lots": "1", "/fish": "297"})
	// What was reversed never came.
	p.keyed("/v1/deliveries/"+b["id"].(string)+"/reversal", p.coordinator, members{"reason": "Wrong truck."}).want(http.StatusCreated)
	figure(p.party, p.keeper, "deaths_on_arrival").wantAt(map[string]string{"/lots": "1", "/fish": "475"})
}

// A plan orders more from a supplier of whose fish some were missing or dead before, and
// not what it promises.
func TestPlanExpectsTheRecord(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	q := newPurchase(p.service)
	p.receive(p.coordinator, p.drop(0, members{"counted": 475, "dead": 38}), p.drop(1, members{"counted": 288, "dead": 20})).want(http.StatusCreated)
	q.receive(q.coordinator, q.drop(0, members{"counted": 500, "dead": 5}), q.drop(1, members{"counted": 299, "dead": 9})).want(http.StatusCreated)
	var record struct {
		Figures []struct {
			Name   string
			Shrunk float64
		}
	}
	p.do("GET", "/v1/parties/"+p.party+"/record", p.coordinator, nil).want(http.StatusOK).into(&record)
	left := 1.0
	for _, f := range record.Figures {
		if f.Name == "deaths_on_arrival" || f.Name == "short_count" {
			left *= 1 - f.Shrunk
		}
	}
	y := &season{service: p.service, today: domain.DateOf(time.Now(), time.UTC)}
	y.call(members{"name": "Again", "species": "CLZ"})
	y.write("POST", y.round+"/requests", y.coordinator, members{"site_id": p.sites[2], "unit_id": p.units[2], "quantity": 1000, "least": 900, "most": 2000})
	y.write("POST", y.round+"/quotes", y.coordinator, members{"party_id": p.party, "mean_weight_g": 5, "steps": []members{{"from": 1, "unit_price": "0.60"}}, "most": 3000,
		"earliest": y.in(0), "latest": y.in(6), "valid_until": y.in(3)})
	y.write("POST", y.round+"/state", y.coordinator, members{"state": "closed"})
	plan := y.write("POST", y.round+"/plan", y.coordinator, members{})
	if left > 0.95 {
		t.Fatalf("the record says too little to be seen: %v", left)
	}
	plan.near(1.1, map[string]float64{"/lines/0/quantity": 1000 / left})
}
