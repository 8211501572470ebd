package integration_test

import (
	"fmt"
	"net/http"
	"testing"
)

// The store, the overview and the questions of a site, worked out by hand beside what
// is recorded.
func TestStoreAndOverview(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	starter := p.create("/v1/products", `{"name":"Starter","category":"feed","unit":"kg","protein_percent":45}`)
	overview := func(want map[string]string) {
		t.Helper()
		want["/items/0/site_id"], want["/items/0/site"], want["/items/1"] = p.site, "Mlimani", ""
		p.do("GET", "/v1/overview", p.keeper, nil).want(http.StatusOK).wantAt(want)
	}
	overview(map[string]string{"/items/0/last_record_on": "null", "/items/0/open_batches": "0", "/items/0/fish": "0", "/items/0/biomass_basis": "none",
		"/items/0/feed_kg": "0", "/items/0/days_of_feed_left": "null", "/items/0/questions": "0"})
	batch := p.stocked(day(60), members{"count": 200}) // nobody knows what they weigh, so nobody asks about the feed
	p.recorded(
		p.entry("receipt", day(60), members{"product_id": p.feed, "quantity": 100, "origin": "bought", "unit_price": "9.50"}),
		p.entry("receipt", day(61), members{"product_id": p.feed, "quantity": 50, "origin": "donated", "amount": "500"}),
		// 150 kg cost 950: 30 of them 190, with 100 of what was given.
		p.entry("feeding", day(64), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 30}),
		p.entry("death", day(65), members{"batch_id": batch, "count": 4}),                   // 2 % of them: somebody is asked, and answers
		p.entry("sample", day(84), members{"batch_id": batch, "count": 20, "weight_kg": 1}), // 50 g
	)
	asked := p.do("GET", "/v1/questions", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/code": "deaths", "/items/1": ""}).at("/items/0/id")
	p.do("POST", "/v1/questions/"+asked+"/answer", p.keeper, `{"reason":"Counted twice."}`, "Idempotency-Key", newText()).want(http.StatusCreated)
	store := func(product string, want map[string]string) {
		t.Helper()
		r := p.do("GET", "/v1/sites/"+p.site+"/store", p.keeper, nil).want(http.StatusOK)
		for i := 0; r.at(fmt.Sprintf("/items/%d", i)) != ""; i++ {
			if item := fmt.Sprintf("/items/%d/", i); r.at(item+"product_id") == product {
				for name, value := range want {
					r.wantAt(map[string]string{item + name: value})
				}
				return
			}
		}
		t.Errorf("there is no %s in the store: %s", product, r.body)
	}
	store(p.feed, map[string]string{"product": "Grower", "unit": "kg", "quantity": "120", "value": "760.00", "unit_cost": "6.333333",
		"donated_value": "400.00", "revaluation": "0.00", "last_counted_on": "null"})
	// Two of 120 kg are missing: 760 × 2 ÷ 120 and 400 × 2 ÷ 120.
	p.recorded(p.entry("stocktake", day(87), members{"product_id": p.feed, "quantity": 118}))
	store(p.feed, map[string]string{"quantity": "118", "value": "747.33", "unit_cost": "6.333305", "donated_value": "393.33", "last_counted_on": day(87)})
	p.performance(batch, "?as_of="+day(90)).wantAt(map[string]string{
		// 190 for the feed, and all that was lost in the store.
		"/cost/by_category": `[{"amount":"190.00","category":"feed"},{"amount":"12.67","category":"losses"}]`, "/cost/total": "202.67", "/cost/donated": "106.67"})

	// Fed before anybody wrote down that it came: a question, never a refusal.
	fed := p.recorded(p.entry("feeding", day(79), members{"batch_id": batch, "product_id": starter, "weight_kg": 5}))
	fed.wantAt(map[string]string{"/results/0/questions/0/code": "store_below_zero"})
	store(starter, map[string]string{"quantity": "-5", "value": "0.00", "unit_cost": "null"})
	p.do("GET", "/v1/questions", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{
		"/items/0/code": "store_below_zero", "/items/0/site_id": p.site, "/items/0/since": day(79) + "T00:00:00Z", "/items/1": "",
		"/items/0/text": "by the book the store has held less than nothing of Starter since " + day(79) + ": is a receipt missing, or was less used?",
	})
	// 196 × 50 g; 118 − 5 kg of feed, of which 5 went in the 14 days to the last entry.
	overview(map[string]string{"/items/0/last_record_on": day(87), "/items/0/open_batches": "1", "/items/0/fish": "196", "/items/0/biomass_kg": "9.8",
		"/items/0/biomass_basis": "sampled", "/items/0/feed_kg": "113", "/items/0/days_of_feed_left": "316.4", "/items/0/questions": "1"})
	// It comes: 5 of its 20 kg are gone, and cost 40 that nobody has reckoned with.
	p.recorded(p.entry("receipt", day(89), members{"product_id": starter, "quantity": 20, "origin": "bought", "unit_price": "8.00"}))
	store(starter, map[string]string{"quantity": "15", "value": "120.00", "unit_cost": "8.00", "revaluation": "40.00"})
	overview(map[string]string{"/items/0/last_record_on": day(89), "/items/0/feed_kg": "133", "/items/0/days_of_feed_left": "372.4", "/items/0/questions": "0"})
	p.rows(9, 0)

	// Counted and weighed; then nothing is left.
	p.recorded(p.entry("count", day(90), members{"batch_id": batch, "count": 190, "weight_kg": 10.45}))
	overview(map[string]string{"/items/0/fish": "190", "/items/0/biomass_kg": "10.45", "/items/0/biomass_basis": "counted"})
	p.recorded(p.entry("harvest", day(91), members{"batch_id": batch, "count": 190, "weight_kg": 10.5}))
	overview(map[string]string{"/items/0/open_batches": "0", "/items/0/fish": "0", "/items/0/biomass_kg": "0", "/items/0/biomass_basis": "none"})

	// A keeper of another site sees none of it.
	q := newPond(p.service)
	stranger := p.token("keeper", q.site)
	p.do("GET", "/v1/sites/"+p.site+"/store", stranger, nil).want(http.StatusNotFound, "not_found")
	p.do("GET", "/v1/overview", stranger, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/site_id": q.site, "/items/1": ""})
	p.do("GET", "/v1/overview?limit=1", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/1": ""})
}

// What parties owe and are owed, worked out by hand.
func TestAccounts(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	party := func(name string) string {
		t.Helper()
		return p.create("/v1/parties", `{"name":"`+name+`","roles":["other"]}`)
	}
	seller, hatchery, buyer, funder, stranger := party("Seller"), party("Hatchery"), party("Buyer"), party("Funder"), party("Stranger")
	batch := p.newBatch()
	wrong := p.entry("sale", day(101), members{"batch_id": batch, "disposal": "sold", "weight_kg": 5, "unit_price": "25", "buyer_id": buyer})
	p.recorded(
		p.entry("stocking", day(0), members{"batch_id": batch, "origin": "bought", "count": 200, "unit_price": "0.5025", "supplier_id": hatchery}), // 100.50
		p.entry("expense", day(0), members{"category": "transport", "amount": "30", "supplier_id": hatchery, "batch_id": batch}),
		p.entry("expense", day(0), members{"category": "other", "amount": "7", "supplier_id": hatchery, "paid": true}),
		p.entry("receipt", day(1), members{"product_id": p.feed, "quantity": 100, "origin": "bought", "unit_price": "9.50", "supplier_id": seller}), // 950
		p.entry("receipt", day(2), members{"product_id": p.feed, "quantity": 10, "origin": "bought", "unit_price": "9.50", "supplier_id": seller, "paid": true}),
		p.entry("receipt", day(3), members{"product_id": p.feed, "quantity": 50, "origin": "donated", "amount": "500", "supplier_id": funder}), // nobody owes a gift
		p.entry("payment", day(30), members{"party_id": seller, "direction": "paid", "amount": "400"}),
		p.entry("harvest", day(100), members{"batch_id": batch, "count": 100, "weight_kg": 60}),
		p.entry("sale", day(100), members{"batch_id": batch, "disposal": "sold", "weight_kg": 40, "unit_price": "25", "buyer_id": buyer}), // 1000
		p.entry("sale", day(100), members{"batch_id": batch, "disposal": "sold", "weight_kg": 10, "amount": "250", "buyer_id": buyer, "paid": true}),
		p.entry("sale", day(100), members{"crop": "Lettuce", "disposal": "sold", "weight_kg": 8.5, "unit_price": "10.10", "buyer_id": buyer}), // 85.85
		p.entry("sale", day(100), members{"batch_id": batch, "disposal": "eaten", "weight_kg": 4, "amount": "90"}),
		wrong,
		p.entry("payment", day(110), members{"party_id": buyer, "direction": "received", "amount": "600.25"}),
	)
	p.recorded(p.entry("reversal", day(110), members{"reverses_id": wrong["id"], "reason": "They did not take it."}))
	r := p.do("GET", "/v1/accounts", p.coordinator, nil).want(http.StatusOK)
	r.wantAccount(seller, "sold 0.00 bought 950.00 received 0.00 paid 400.00 balance -550.00")
	r.wantAccount(hatchery, "sold 0.00 bought 130.50 received 0.00 paid 0.00 balance -130.50")
	r.wantAccount(buyer, "sold 1085.85 bought 0.00 received 600.25 paid 0.00 balance 485.60")
	for _, even := range []string{funder, stranger} {
		r.wantAccount(even, "sold 0.00 bought 0.00 received 0.00 paid 0.00 balance 0.00")
	}
	if got := len(p.entries(p.keeper, "&party_id="+buyer)); got != 5 {
		t.Errorf("with the buyer there are %d entries, want 5", got)
	}
	page := p.do("GET", "/v1/accounts?limit=2", p.coordinator, nil).want(http.StatusOK)
	p.do("GET", "/v1/accounts?limit=3&after="+page.at("/next"), p.coordinator, nil).want(http.StatusOK).
		wantAt(map[string]string{"/items/0": r.at("/items/2"), "/items/2": r.at("/items/4"), "/items/3": "", "/next": ""})
	p.do("GET", "/v1/accounts", p.funder, nil).want(http.StatusForbidden, "forbidden")

	// What is sold is never more than what was harvested, and has a price.
	p.refused(p.keeper, p.entry("sale", day(120), members{"batch_id": batch, "disposal": "given", "weight_kg": 6.001}), "not_enough_harvest")
	p.refused(p.keeper, p.entry("sale", day(120), members{"batch_id": batch, "disposal": "sold", "weight_kg": 1}), "price_needed").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/amount"})
	p.recorded(p.entry("sale", day(120), members{"batch_id": batch, "disposal": "given", "weight_kg": 6}))
	p.performance(batch, "?as_of="+day(130)).wantAt(map[string]string{"/income/cash": "1250.00", "/income/imputed": "90.00", "/income/given": "0.00",
		"/income/by_product": "85.85", "/cost/total": "137.50", "/margin": "1288.35"})
}

// A site may begin in the middle: with fish and feed that were there before.
func TestOpeningStock(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.newBatch()
	p.recorded(
		p.entry("stocking", day(0), members{"batch_id": batch, "origin": "opening", "count": 500, "weight_kg": 60, "amount": "900", "note": "Counted on the day we joined."}),
		p.entry("receipt", day(0), members{"product_id": p.feed, "quantity": 80, "origin": "opening", "amount": "640"}),
		p.entry("feeding", day(1), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 20}),
		p.entry("sample", day(30), members{"batch_id": batch, "count": 50, "weight_kg": 7}),
	)
	// 900 and 160 for a gain from 60 to 70 kg, on 20 kg of feed.
	p.performance(batch, "?as_of="+day(30)).wantAt(map[string]string{"/fish/stocked": "500", "/biomass/stocked_kg": "60", "/biomass/on_hand_kg": "70",
		"/feed/fcr_economic": "2", "/cost/total": "1060.00", "/cost/per_kg": "106.0000", "/growth/mean_weight_g": "140"})
	p.do("GET", "/v1/sites/"+p.site+"/store", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/quantity": "60", "/items/0/value": "480.00", "/items/0/unit_cost": "8.00"})
	p.rows(4, 0)
}

// Electricity is used without a store: its kWh are recorded, its money comes by the bill.
// Other fuel is no kWh.
func TestElectricity(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	grid := p.create("/v1/products", `{"name":"Grid","category":"energy","unit":"kwh"}`)
	diesel := p.create("/v1/products", `{"name":"Diesel","category":"energy","unit":"l","stored":true}`)
	batch := p.stocked(day(0), members{"count": 100, "weight_kg": 1})
	p.recorded(
		// K-55, computed: 60 W for 30 d = 43.2 kWh; 25 W for 120 d = 72 kWh.
		p.entry("use", day(30), members{"product_id": grid, "quantity": 43.2, "batch_id": batch}),
		p.entry("use", day(31), members{"product_id": grid, "quantity": 72}),
		p.entry("receipt", day(31), members{"product_id": diesel, "quantity": 20, "origin": "bought", "amount": "500"}),
		p.entry("use", day(32), members{"product_id": diesel, "quantity": 4, "batch_id": batch}), // 100
		p.entry("expense", day(33), members{"category": "energy", "amount": "61.75", "covers_from": day(0), "covers_to": day(33)}),
	)
	p.performance(batch, "?as_of="+day(40)).wantAt(map[string]string{
		"/cost/by_category": `[{"amount":"161.75","category":"energy"}]`, "/cost/total": "161.75", "/energy_kwh": "43.2"})
	store := p.do("GET", "/v1/sites/"+p.site+"/store", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/1": ""})
	store.wantAt(map[string]string{"/items/0/product": "Diesel", "/items/0/quantity": "16", "/items/0/value": "400.00"})
	p.refused(p.keeper, p.entry("receipt", day(40), members{"product_id": grid, "quantity": 10, "origin": "bought"}), "unknown_reference")
	p.refused(p.keeper, p.entry("stocktake", day(40), members{"product_id": grid, "quantity": 10}), "unknown_reference")
	p.rows(6, 0)
}
