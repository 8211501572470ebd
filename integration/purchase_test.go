package integration_test

import (
	"fmt"
	"net/http"
	"testing"

	"shoalbook/domain"
)

// A purchase is a round of catfish for three schools, of which one order is out: 500, 300
// and 200 fish of 5 g at 2.00, with 10.00 for the order, 15.00 for each drop and 0.50 for
// each of 40 km. The supplier allows itself 5 % short and 2 % dead.
type purchase struct {
	*service
	round, order, party string
	sites, units        [3]string
	requests, keepers   [3]string
}

// newPurchase makes the schools, and has the order.
func newPurchase(s *service) *purchase {
	s.t.Helper()
	p := &purchase{service: s, round: newText(), order: newText()}
	p.party = s.create("/v1/parties", `{"name":"Mazabuka Hatchery","roles":["hatchery"]}`)
	lines := []boughtLine{{quantity: 500, least: 400, km: 10_000, fee: 500, route: 166, alone: 120_000}, {quantity: 300, least: 200, km: 20_000, fee: 300, route: 417, alone: 80_000},
		{quantity: 200, least: 200, km: 40_000, fee: 200, route: 1417, alone: 60_000}}
	for i, name := range []string{"Chikuni", "Monze", "Kafue"} {
		p.sites[i] = s.create("/v1/sites", `{"name":"`+name+`","kind":"school"}`)
		p.units[i] = s.create("/v1/units", `{"site_id":"`+p.sites[i]+`","name":"Tank","kind":"tank","water_volume_l":5000}`)
		p.keepers[i] = s.token(domain.Keeper, p.sites[i])
		p.requests[i] = newText()
		lines[i].request, lines[i].site, lines[i].unit = p.requests[i], p.sites[i], p.units[i]
	}
	s.bought(p.round, p.order, newText(), p.party, "Long rains", lines)
	return p
}

// boughtLine is a request and what was ordered for it; money in minor units, m on the way.
type boughtLine struct {
	request, site, unit                    string
	quantity, least, km, fee, route, alone int
}

// bought puts a round and its order into the database as they are once it was planned and
// ordered.
func (s *service) bought(round, order, quote, party, name string, lines []boughtLine) {
	s.t.Helper()
	conn := s.owner()
	exec := func(sql string, args ...any) {
		s.t.Helper()
		if _, err := conn.Exec(s.t.Context(), sql, args...); err != nil {
			s.t.Fatal(err)
		}
	}
	ordered, way, plan, stops := 0, 0, "", ""
	stop := map[string]bool{}
	for _, l := range lines {
		if !stop[l.site] {
			stop[l.site] = true
			stops += fmt.Sprintf(`,{"Site":%q,"Km":%d}`, l.site, l.km)
		}
		ordered, way = ordered+l.quantity, way+l.route
		plan += fmt.Sprintf(`,{"Site":%q,"Alone":%d}`, l.site, l.alone)
	}
	exec(`set app.actor = 'the planner'`)
	exec(`insert into round (coop_id, id, species, name, deadline, window_from, window_to, need, fees_by, state)
		values ($1, $2, 'CLZ', $3, '2025-01-10', '2025-01-15', '2025-01-30', 'arrival', 'count', 'ordered')`, s.coop, round, name)
	exec(`insert into quote (coop_id, id, round_id, party_id, mean_weight, weight_cv_percent, steps, steps_apply, least_order, pack, most, earliest, latest,
			fee_order, fee_drop, fee_per_km, stops, speed_km_h, deaths_percent, short_percent, deposit_percent, valid_until)
		values ($1, $2, $3, $4, 5000, 25000, '[{"From":1,"UnitPrice":2000000}]', 'all_units', 0, 50, 5000, '2025-01-15', '2025-01-30', 1000, 1500, 500000, $5, 40000, 2000, 5000, 0, '2025-01-20')`,
		s.coop, quote, round, party, "["+stops[1:]+"]")
	exec(`insert into purchase_order (coop_id, id, round_id, quote_id, party_id, plan_version, year, number, ordered_on, arrives_on, mean_weight, weight_cv_percent, deaths_percent, short_percent)
		values ($1, $2, $3, $4, $5, 1, 2025, (select 14 + count(*) from purchase_order), '2025-01-12', '2025-01-20', 5000, 25000, 2000, 5000)`, s.coop, order, round, quote, party)
	exec(`insert into order_version (coop_id, order_id, version, ordered, arrives_on, price, fee_order, fee_drop, fee_route, deposit)
		values ($1, $2, 1, $3::bigint, '2025-01-20', 200 * $3, 1000, $4, $5, 0)`, s.coop, order, ordered, 1500*len(lines), way)
	for _, l := range lines {
		exec(`insert into request (coop_id, id, round_id, site_id, unit_id, quantity, least, most, earliest, latest)
			values ($1, $2, $3, $4, $5, $6, $7, $6, '2025-01-15', '2025-01-30')`, s.coop, l.request, round, l.site, l.unit, l.quantity, l.least)
		exec(`insert into order_line (coop_id, order_id, version, request_id, site_id, unit_id, quantity, expected_alive, km, goods, order_fee, drop_fee, route_fee)
			values ($1, $2, 1, $3, $4, $5, $6::bigint, $6, $7, $6 * 200, $8, 1500, $9)`, s.coop, order, l.request, l.site, l.unit, l.quantity, l.km, l.fee, l.route)
	}
	exec(`insert into round_plan (coop_id, round_id, version, recorded_by, plan) values ($1, $2, 1, 'the planner', $3)`, s.coop, round, `{"Need":"arrival","MadeOn":"2025-01-12","Sites":[`+plan[1:]+`]}`)
	conn.Close(s.t.Context())
}

// drop is a delivery of one of the three lines, changed where told.
func (p *purchase) drop(i int, m members) members {
	d := members{"id": newText(), "request_id": p.requests[i], "occurred_on": "2025-01-20", "received_by": "Ms. Tembo", "batch_id": newText()}
	for name, value := range m {
		if d[name] = value; value == nil {
			delete(d, name)
		}
	}
	return d
}

// receive sends deliveries of the order.
func (p *purchase) receive(token string, drops ...members) response {
	p.t.Helper()
	return p.do("POST", "/v1/orders/"+p.order+"/deliveries", token, members{"deliveries": drops})
}

// keyed sends a request under a new Idempotency-Key.
func (s *service) keyed(path, token string, body any) response {
	s.t.Helper()
	return s.do("POST", path, token, body, "Idempotency-Key", newText())
}

// What comes is stocked at its landed cost in the same step, and the same again is the
// same.
func TestDelivery(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	d := p.drop(0, members{"counted": 500, "dead": 12, "loaded": 510, "occurred_at": "10:40", "mean_weight_g": 5.1, "condition": "Lively.", "note": "Warm bags.", "batch_name": "Long rains A"})
	// 500 × 2.00 + 5.00 + 15.00 + 1.66, less 2 dead beyond the 2 % that are allowed.
	want := map[string]string{"/results/0/status": "created", "/results/0/delivery/amount": "1017.66", "/results/0/delivery/alive": "488", "/results/0/delivery/claims/0/kind": "dead",
		"/results/0/delivery/claims/0/quantity": "2", "/results/0/delivery/claims/0/amount": "4.00", "/results/0/delivery/claims/1": "", "/results/0/delivery/entry_id": d["id"].(string),
		"/results/0/delivery/batch_id": d["batch_id"].(string), "/results/0/delivery/unit_id": p.units[0], "/results/0/delivery/loaded": "510", "/results/0/delivery/mean_weight_g": "5.1",
		"/results/0/delivery/occurred_at": "10:40", "/results/0/delivery/received_by": "Ms. Tembo"}
	dry := p.do("POST", "/v1/orders/"+p.order+"/deliveries?dry_run=true", p.keepers[0], members{"deliveries": []members{d}}).want(http.StatusOK).wantAt(want)
	p.do("GET", "/v1/deliveries/"+d["id"].(string), p.keepers[0], nil).want(http.StatusNotFound)
	p.do("GET", "/v1/batches/"+d["batch_id"].(string), p.keepers[0], nil).want(http.StatusNotFound)
	if n := len(p.entries(p.keeper, "")); n != 0 {
		t.Errorf("a dry run has left %d entries", n)
	}
	p.do("GET", "/v1/rounds/"+p.round+"/charges", p.coordinator, nil).want(http.StatusOK)
	p.receive(p.keepers[0], d).want(http.StatusCreated).wantAt(want)
	p.receive(p.keepers[0], d).want(http.StatusOK).wantAt(map[string]string{"/results/0/status": "exists", "/results/0/delivery/amount": dry.at("/results/0/delivery/amount")})
	p.do("GET", "/v1/entries/"+d["id"].(string), p.keepers[0], nil).want(http.StatusOK).wantAt(map[string]string{"/entry/kind": "stocking", "/entry/count": "488", "/entry/amount": "1017.66",
		"/entry/supplier_id": p.party, "/entry/note": "Warm bags.", "/entry/mean_weight_g": "5.1", "/entry/occurred_at": "10:40"})
	p.do("GET", "/v1/batches/"+d["batch_id"].(string), p.keepers[0], nil).want(http.StatusOK).wantAt(map[string]string{"/name": "Long rains A", "/species": "CLZ", "/unit_id": p.units[0]})
	p.performance(d["batch_id"].(string), "?as_of=2025-01-31").wantAt(map[string]string{"/fish/on_hand": "488", "/cost/total": "1017.66"})
	other := p.drop(0, d)
	other["counted"] = 501
	p.receive(p.keepers[0], other).want(http.StatusConflict, "id_conflict")
	if got := column[string](t, p.owner(), `select state from round`); len(got) != 1 || got[0] != "delivering" {
		t.Errorf("the round is %v", got)
	}
	list := p.do("GET", "/v1/orders/"+p.order+"/deliveries", p.keeper, nil).want(http.StatusOK)
	p.do("GET", "/v1/orders/"+p.order+"/deliveries", p.keepers[1], nil).want(http.StatusOK).wantAt(map[string]string{"/items/0": ""})
	list.wantAt(map[string]string{"/items/0/id": d["id"].(string), "/items/0/dead": "12", "/items/1": ""})
	p.do("GET", "/v1/rounds/"+p.round+"/claims", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/party_id": p.party, "/items/0/site_id": p.sites[0], "/items/0/reversed": "false",
		"/items/0/why": "12 of 500 are dead, and the quote allows 10"})
}

// A truck brings fish for all three schools: all are kept or none.
func TestDropsTogether(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	a, b, c := p.drop(0, members{"counted": 500}), p.drop(1, members{"weighed": members{"weight_kg": 1.5, "sample_count": 40, "sample_weight_kg": 0.2}}), p.drop(2, members{"counted": 200, "dead": 201})
	p.receive(p.coordinator, a, b, c).want(http.StatusUnprocessableEntity, "more_dead_than_came").wantAt(map[string]string{"/errors/0/pointer": "/deliveries/2/dead"})
	if n := len(p.entries(p.keeper, "")); n != 0 {
		t.Errorf("%d entries were left", n)
	}
	c["dead"] = 200 // all of them: nothing to stock
	r := p.receive(p.coordinator, a, b, c).want(http.StatusCreated).wantAt(map[string]string{"/results/1/delivery/counted": "300", "/results/1/delivery/mean_weight_g": "5",
		"/results/1/delivery/count_error": "11.859", "/results/2/delivery/entry_id": "", "/results/2/delivery/batch_id": "", "/results/2/delivery/alive": "0", "/results/2/delivery/claims/0/quantity": "196"})
	if n := len(p.entries(p.keeper, "")); n != 2 {
		t.Errorf("there are %d entries: %s", n, r.body)
	}
	p.receive(p.coordinator, a, b, c).want(http.StatusOK).wantAt(map[string]string{"/results/0/status": "exists", "/results/1/status": "exists", "/results/2/status": "exists"})
}

// What cannot be is refused with what is wrong, and nothing of it is kept.
func TestBadDeliveries(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	other := newPurchase(p.service)
	pond := newPond(p.service)
	tilapia := newText()
	p.do("POST", "/v1/batches", p.keeper, members{"id": tilapia, "site_id": p.sites[0], "unit_id": p.units[0], "species": "TLN", "name": "Others"}).want(http.StatusCreated)
	ok := members{"counted": 500}
	with := func(m members) members {
		all := members{}
		for name, value := range ok {
			all[name] = value
		}
		for name, value := range m {
			all[name] = value
		}
		return p.drop(0, all)
	}
	for what, c := range map[string]struct {
		drop    members
		status  int
		code    string
		pointer string
	}{
		"more dead than came":             {with(members{"dead": 501}), 422, "more_dead_than_came", "/deliveries/0/dead"},
		"a request of another order":      {with(members{"request_id": other.requests[0]}), 422, "unknown_reference", "/deliveries/0/request_id"},
		"a request of another school":     {with(members{"request_id": p.requests[1]}), 422, "unknown_reference", "/deliveries/0/request_id"},
		"a request that is nowhere":       {with(members{"request_id": newText()}), 422, "unknown_reference", "/deliveries/0/request_id"},
		"counted and weighed":             {with(members{"weighed": members{"weight_kg": 1, "sample_count": 10, "sample_weight_kg": 0.1}}), 400, "invalid_request", "/deliveries/0/counted"},
		"neither":                         {with(members{"counted": nil}), 400, "invalid_request", "/deliveries/0/counted"},
		"a sample heavier than all":       {with(members{"counted": nil, "weighed": members{"weight_kg": 1, "sample_count": 10, "sample_weight_kg": 1.1}}), 400, "invalid_request", "/deliveries/0/weighed/sample_weight_kg"},
		"too precise":                     {with(members{"mean_weight_g": 5.1234}), 400, "too_precise", "/deliveries/0/mean_weight_g"},
		"no batch":                        {with(members{"batch_id": nil}), 400, "invalid_request", "/deliveries/0/batch_id"},
		"two batches":                     {with(members{"into_batch_id": tilapia}), 400, "invalid_request", "/deliveries/0/into_batch_id"},
		"into a batch of another species": {with(members{"batch_id": nil, "into_batch_id": tilapia}), 422, "wrong_species", "/deliveries/0/into_batch_id"},
		"into a batch that is elsewhere":  {with(members{"batch_id": nil, "into_batch_id": pond.newBatch()}), 422, "unknown_reference", "/deliveries/0/into_batch_id"},
		"tomorrow":                        {with(members{"occurred_on": "2199-01-01"}), 422, "in_future", "/deliveries/0/occurred_on"},
		"more than there is room for":     {with(members{"mean_weight_g": 59_999}), 400, "invalid_request", "/deliveries/0/batch_id"},
	} {
		r := p.receive(p.keepers[0], c.drop).want(c.status, c.code)
		if r.at("/errors/0/pointer") != c.pointer || r.at("/detail") == "" {
			t.Errorf("%s: %s", what, r.body)
		}
	}
	twice := p.drop(0, members{"counted": 10})
	p.receive(p.keepers[0], p.drop(0, ok), twice).want(http.StatusConflict, "already_received")
	p.do("POST", "/v1/orders/"+newText()+"/deliveries", p.keepers[0], members{"deliveries": []members{p.drop(0, ok)}}).want(http.StatusNotFound, "not_found")
	if n := len(p.entries(p.keeper, "")); n != 0 {
		t.Errorf("%d entries were left", n)
	}
	if n := column[int64](t, p.owner(), `select count(*) from delivery`); n[0] != 0 {
		t.Errorf("%d deliveries were left", n[0])
	}
}
