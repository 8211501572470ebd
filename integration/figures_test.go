package integration_test

import (
	"net/http"
	"strconv"
	"strings"
	"testing"
)

// K-24, published source, recomputed: Isyagi, Veverica, Asiimwe & Daniels 2009,
// Manual for the Commercial Pond Production of the African Catfish in Uganda, Table
// 10.6, system B (farm-made feed): 11 550 fingerlings at 180; survival 88 %; 0.8 kg →
// 8131.2 kg; feed at FCR on harvest 4 = 32 524.8 kg at 950 = 30 898 560; fingerlings
// 2 079 000; variable cost 32 977 560; sales at 3000 = 24 393 600; margin −8 583 960;
// variable cost per kg 4055.7; feed 94 % of variable cost. Uganda's shilling has no
// decimals.
func TestPublishedBudget(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t).neighbour("UGX"))
	hatchery := p.create("/v1/parties", `{"name":"Hatchery","roles":["hatchery"]}`)
	trader := p.create("/v1/parties", `{"name":"Fish trader","roles":["buyer"]}`)
	batch := p.newBatch()
	entries := []members{
		p.entry("stocking", day(0), members{"batch_id": batch, "origin": "bought", "count": 11_550, "unit_price": "180", "supplier_id": hatchery}),
		p.entry("receipt", day(0), members{"product_id": p.feed, "quantity": 32_524.8, "origin": "bought", "unit_price": "950", "paid": true}),
		p.entry("death", day(20), members{"batch_id": batch, "count": 1386}), // survival 88 %
		p.entry("harvest", day(240), members{"batch_id": batch, "count": 10_164, "weight_kg": 8131.2, "empties": true}),
		p.entry("sale", day(241), members{"batch_id": batch, "disposal": "sold", "weight_kg": 8131.2, "unit_price": "3000", "buyer_id": trader}),
	}
	for n := range 8 { // 32 524.8 kg in all
		entries = append(entries, p.entry("feeding", day(20+25*n), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 4065.6}))
	}
	p.recorded(entries...)

	r := p.performance(batch, "?as_of="+day(300)).wantAt(map[string]string{
		"/state": "closed", "/fish/stocked": "11550", "/fish/dead": "1386", "/fish/harvested": "10164", "/fish/on_hand": "0", "/fish/unaccounted": "0",
		"/biomass/harvested_kg": "8131.2", "/feed/fed_kg": "32524.8", "/feed/fcr_on_harvest": "4",
		"/survival/by_account": "0.88", "/survival/by_recorded_deaths": "0.88",
		"/cost/variable": "32977560", "/cost/total": "32977560", "/cost/fixed": "0", "/cost/provisional": "false",
		"/cost/by_category": `[{"amount":"2079000","category":"fingerlings"},{"amount":"30898560","category":"feed"}]`,
		"/cost/per_kg":      "4055.68", "/cost/per_kg_net": "4055.68", "/cost/per_kg_basis": "harvested",
		"/income/cash": "24393600", "/income/imputed": "0", "/margin": "-8583960",
		"/growth/mean_weight_g": "800", "/growth/days": "240",
	})
	r.near(0.05, map[string]float64{"/cost/per_kg": 4055.7}) // as it is printed
	if share := number(t, r.at("/cost/by_category/1/amount")) / number(t, r.at("/cost/variable")); share < 0.935 || share > 0.945 {
		t.Errorf("feed is %v of variable cost, want 94 %%", share)
	}
	// The manual does not say what the fingerlings weighed.
	r.null("the weight of the fish at stocking or arrival is not known", "growth.sgr", "growth.daily_gain_g", "growth.tgc",
		"biomass.net_gain_kg", "feed.fcr_economic", "feed.fcr_biological", "feed.efficiency", "feed.protein_efficiency")
	r.null("the weight of 11550 of these fish is not known", "biomass.stocked_kg")

	accounts := p.do("GET", "/v1/accounts", p.coordinator, nil).want(http.StatusOK)
	accounts.wantAccount(hatchery, "sold 0 bought 2079000 received 0 paid 0 balance -2079000")
	accounts.wantAccount(trader, "sold 24393600 bought 0 received 0 paid 0 balance 24393600")
	p.do("GET", "/v1/sites/"+p.site+"/store", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{
		"/items/0/quantity": "0", "/items/0/value": "0", "/items/0/unit_cost": "950", "/items/1": "",
	})
	// A shilling has no parts.
	p.refusedAtOnce(p.entry("expense", day(241), members{"category": "transport", "amount": "100.5"}), "too_precise", "/entries/0/amount", "at most 0 decimals")
}

// refusedAtOnce sends an entry that cannot even be read.
func (s *service) refusedAtOnce(e members, code, pointer, says string) {
	s.t.Helper()
	s.post(s.keeper, []members{e}).want(http.StatusBadRequest, code).wantAt(map[string]string{"/errors/0/pointer": pointer, "/errors/0/detail": says})
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Error(err)
	}
	return f
}

// wantAccount complains unless the account with a party is as written.
func (r response) wantAccount(party, want string) {
	r.t.Helper()
	var body struct {
		Items []struct {
			PartyID                               string `json:"party_id"`
			Sold, Bought, Received, Paid, Balance string
		}
	}
	r.into(&body)
	for _, a := range body.Items {
		if a.PartyID != party {
			continue
		}
		if got := "sold " + a.Sold + " bought " + a.Bought + " received " + a.Received + " paid " + a.Paid + " balance " + a.Balance; got != want {
			r.t.Errorf("the account is %s, want %s", got, want)
		}
		return
	}
	r.t.Errorf("there is no account with %s: %s", party, r.body)
}

// K-12, computed: stock 200 × 5 g; dead 12 weighing 1.2 kg; moved out 20 (3.0 kg);
// harvest 150 (120 kg); standing 10 counted (8.0 kg); feed 180 kg at 32 % protein.
func TestGrowingBatch(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch, other := p.newBatch(), p.newBatch()
	p.recorded(
		p.entry("receipt", day(0), members{"product_id": p.feed, "quantity": 200, "origin": "bought", "amount": "200.00"}),
		p.entry("stocking", day(0), members{"batch_id": batch, "origin": "bought", "count": 200, "mean_weight_g": 5}),
		p.entry("death", day(10), members{"batch_id": batch, "count": 12, "weight_kg": 1.2, "cause": "handling"}),
		p.entry("move", day(20), members{"batch_id": batch, "to_batch_id": other, "count": 20, "weight_kg": 3}),
		p.entry("feeding", day(50), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 80}),
		p.entry("feeding", day(90), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 100}),
		p.entry("harvest", day(90), members{"batch_id": batch, "count": 150, "weight_kg": 120}),
		p.entry("count", day(90), members{"batch_id": batch, "count": 10, "weight_kg": 8}),
	)
	r := p.performance(batch, "?as_of="+day(90)).wantAt(map[string]string{
		"/state": "growing", "/fish/stocked": "200", "/fish/dead": "12", "/fish/moved_out": "20", "/fish/moved_in": "0", "/fish/harvested": "150",
		"/fish/on_hand": "10", "/fish/unaccounted": "8",
		"/biomass/stocked_kg": "1", "/biomass/dead_kg": "1.2", "/biomass/dead_estimated": "false", "/biomass/moved_out_kg": "3",
		"/biomass/harvested_kg": "120", "/biomass/on_hand_kg": "8", "/biomass/on_hand_basis": "counted", "/biomass/net_gain_kg": "130",
		"/survival/by_account": "0.9", "/survival/by_recorded_deaths": "0.94",
		"/feed/fed_kg": "180", "/feed/measured_to": day(90), "/feed/fcr_on_harvest": "1.5",
		"/cost/per_kg_basis": "net_gain", "/cost/provisional": "true",
	})
	r.near(1e-4, map[string]float64{"/feed/fcr_biological": 1.3720, "/feed/fcr_economic": 1.3846, "/feed/fcr_on_harvest": 1.5,
		"/feed/protein_efficiency": 2.2778, "/survival/by_account": 0.90, "/survival/by_recorded_deaths": 0.94})
	r.near(1e-6, map[string]float64{"/feed/efficiency": 130.0 / 180})
	// Before the count it is not known how many of them are left.
	p.performance(batch, "?as_of="+day(89)).wantAt(map[string]string{"/fish/on_hand": "168"}).
		null("the fish were never counted since they were stocked", "fish.unaccounted", "survival.by_account", "survival.interval")
}

// budget is K-14b, computed: stocked 2000 × 10 g; dead 160 (24 kg); feed 1368 kg at
// 0.95; harvests 900/405 kg and 880/475 kg; fingerlings 240; labour 180; transport 60;
// other 40; 180 d. The other 40 are spent for the site, of which this is the only batch.
func (p pond) budget() string {
	p.t.Helper()
	batch := p.newBatch()
	entries := []members{
		p.entry("receipt", day(0), members{"product_id": p.feed, "quantity": 1368, "origin": "bought", "unit_price": "0.95"}),
		p.entry("stocking", day(0), members{"batch_id": batch, "origin": "bought", "count": 2000, "mean_weight_g": 10, "amount": "240.00"}),
		p.entry("labour", day(30), members{"hours": 90, "amount": "180.00", "batch_id": batch}),
		p.entry("expense", day(31), members{"category": "transport", "amount": "60.00", "batch_id": batch}),
		p.entry("expense", day(32), members{"category": "other", "amount": "40.00"}),
		p.entry("death", day(60), members{"batch_id": batch, "count": 160, "weight_kg": 24}),
		p.entry("harvest", day(150), members{"batch_id": batch, "count": 900, "weight_kg": 405}),
		p.entry("harvest", day(180), members{"batch_id": batch, "count": 880, "weight_kg": 475, "empties": true}),
		p.entry("sale", day(180), members{"batch_id": batch, "disposal": "sold", "weight_kg": 800, "unit_price": "2.50", "paid": true}),
		p.entry("sale", day(181), members{"batch_id": batch, "disposal": "eaten", "weight_kg": 80, "amount": "200.00"}),
	}
	for n := range 171 { // 1368 kg in all
		entries = append(entries, p.entry("feeding", day(n), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 8}))
	}
	p.recorded(entries...)
	return batch
}

func TestClosedBatch(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.budget()
	r := p.performance(batch, "?as_of="+day(240)).wantAt(map[string]string{
		"/state": "closed", "/fish/harvested": "1780", "/fish/unaccounted": "60", "/fish/on_hand": "0", "/fish/estimated": "false",
		"/biomass/stocked_kg": "20", "/biomass/harvested_kg": "880", "/biomass/net_gain_kg": "860", "/biomass/on_hand_basis": "none",
		"/survival/by_account": "0.89", "/survival/by_recorded_deaths": "0.92",
		"/feed/fed_kg": "1368", "/feed/measured_to": day(180), "/growth/days": "180",
		"/cost/total": "1819.60", "/cost/variable": "1819.60", "/cost/fixed": "0.00", "/cost/per_kg": "2.0677", "/cost/per_kg_net": "2.0677",
		"/cost/per_kg_basis": "harvested", "/cost/provisional": "false",
		// 800 kg at 2.50 and 80 kg eaten, valued 200; 2000 + 200 − 1819.60, over 5 m³ of water.
		"/income/cash": "2000.00", "/income/imputed": "200.00", "/margin": "380.40", "/margin_per_m3": "76.0800",
		"/biomass/harvest_yield_kg_m3": "176", "/biomass/net_yield_kg_m3": "172",
		"/completeness/days_with_feed": "171", "/completeness/days": "180",
	})
	r.near(1e-4, map[string]float64{"/feed/fcr_economic": 1.5907, "/feed/fcr_biological": 1.5475, "/growth/sgr": 2.1671, "/growth/daily_gain_g": 2.6910,
		"/survival/by_account": 0.8900, "/survival/by_recorded_deaths": 0.92, "/cost/per_kg": 2.0677,
		"/survival/interval/0": 0.8755, "/survival/interval/1": 0.9030}) // Wilson 95 %, counting error only
	var body struct {
		Cost struct {
			ByCategory []struct{ Category, Amount string } `json:"by_category"`
		}
	}
	r.into(&body)
	got := ""
	for _, c := range body.Cost.ByCategory {
		got += c.Category + " " + c.Amount + " "
	}
	if got != "fingerlings 240.00 feed 1299.60 labour 180.00 transport 60.00 other 40.00 " {
		t.Errorf("the cost is %s", got)
	}
	// What is shared may still move until the month of the closing is over.
	p.performance(batch, "?as_of="+day(180)).wantAt(map[string]string{"/cost/provisional": "true", "/cost/total": "1819.60"})
	p.performance(batch, "?as_of="+day(181)).wantAt(map[string]string{"/cost/provisional": "false"})
}

// Legendre et al. 1992, J. Fish Biol. 40:59–79, digitised in open data: day 42.153,
// 43.739 g → day 84.306, 84.341 g, 29.5 °C (K-20). Field facts are civil dates, so here
// they are 42 whole days apart; SGR, daily gain and TGC are computed on them.
func TestPublishedGrowth(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.newBatch()
	entries := []members{
		p.entry("stocking", day(42), members{"batch_id": batch, "origin": "bought", "count": 1000, "mean_weight_g": 43.739}),
		p.entry("sample", day(84), members{"batch_id": batch, "count": 1, "weight_g": 84.341}),
	}
	for n := 42; n < 84; n += 7 { // read twice a day, once a week, in the tank of the fish
		entries = append(entries,
			p.entry("water", day(n), members{"unit_id": p.a, "temperature_c": 29, "occurred_at": "06:30"}),
			p.entry("water", day(n), members{"unit_id": p.a, "temperature_c": 30, "occurred_at": "15:30"}),
			p.entry("water", day(n), members{"unit_id": p.b, "temperature_c": 22}))
	}
	p.recorded(entries...)
	r := p.performance(batch, "?explain=true&as_of="+day(84))
	r.near(1e-4, map[string]float64{"/growth/sgr": 1.5634, "/growth/daily_gain_g": 0.9667, "/growth/tgc": 0.6958})
	r.wantAt(map[string]string{"/growth/mean_weight_g": "84.341", "/growth/days": "42", "/biomass/on_hand_kg": "84.341", "/biomass/on_hand_basis": "sampled"})
	tgc := r.explained("growth.tgc")
	if tgc.Denominator != "1239 °C·day" || tgc.Basis != "measured" || !strings.Contains(tgc.Source, "k = 1000") {
		t.Errorf("the thermal growth coefficient is explained as %+v", tgc) // 42 days × 29.5 °C
	}
	if got := p.kinds(tgc); got["water"] == 0 || got["stocking"] != 1 || got["sample"] != 1 {
		t.Errorf("behind the thermal growth coefficient are listed %v", got)
	}
	// Without a reading there is none.
	dry := p.stocked(day(0), members{"count": 10, "mean_weight_g": 10})
	p.recorded(p.entry("sample", day(30), members{"batch_id": dry, "count": 1, "weight_g": 20}))
	p.performance(dry, "?as_of="+day(30)).null("no water temperature was recorded for these days", "growth.tgc")
}
