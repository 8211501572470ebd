package integration_test

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"

	"shoalbook/domain"
)

// planned closes a call in which two schools ask and one hatchery quotes, and plans it.
func (k *call) planned() response {
	k.t.Helper()
	list := "/v1/rounds/" + k.round
	k.post(list+"/requests", k.keeper, k.asks(nil)).want(http.StatusCreated)
	k.post(list+"/requests", k.coordinator, k.asks(members{"site_id": k.far.site, "unit_id": k.far.a, "quantity": 200, "most": nil})).want(http.StatusCreated)
	k.post(list+"/quotes", k.coordinator, k.quotes(nil)).want(http.StatusCreated)
	k.step("closed").want(http.StatusCreated)
	return k.plan(nil).want(http.StatusCreated)
}

func (k *call) plan(body members) response {
	k.t.Helper()
	if body == nil {
		body = members{}
	}
	return k.post("/v1/rounds/"+k.round+"/plan", k.coordinator, body)
}

func (k *call) orders(version int) response {
	k.t.Helper()
	return k.post("/v1/rounds/"+k.round+"/orders", k.coordinator, members{"plan_version": version})
}

// 300 and 200 fish at 1 % short and 3 % dead are 313 and 209 to order, 550 in packs of
// 50; at 0.25 for all from 500 on 137.50, and 20.00 for the order, two drops of 5.00 and
// 30 km at 0.80: 191.50. Computed by hand from the quote.
func TestPlanIsKeptAndShown(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	at := "/v1/rounds/" + k.round + "/plan"
	k.do("GET", at, k.coordinator, nil).want(http.StatusNotFound, "not_found")
	if r := k.plan(nil).want(http.StatusConflict, "round_state"); !strings.Contains(r.at("/detail"), "the round is open; a plan is made while it is closed or planned") {
		t.Errorf("it is not said when a plan is made: %s", r.body)
	}
	first := k.planned().wantAt(map[string]string{"/version": "1", "/cost": "191.50", "/bound": "191.50", "/gap": "0.00", "/nobody_above_alone": "true",
		"/orders/0/ordered": "550", "/orders/0/price": "137.50", "/orders/0/fee_drop": "10.00", "/orders/0/fee_route": "24.00", "/orders/0/deposit": "41.25",
		"/need": "arrival", "/unmet": "[]", "/left_out": "[]"})
	sum, quantities := 0., map[string]bool{}
	for i := range 2 {
		quantities[first.at(fmt.Sprintf("/lines/%d/quantity", i))] = true
		var cost float64
		fmt.Sscan(first.at(fmt.Sprintf("/lines/%d/cost", i)), &cost)
		sum += cost
	}
	if !quantities["313"] || !quantities["209"] || fmt.Sprintf("%.2f", sum) != "191.50" {
		t.Errorf("the lines are not of 313 and 209 fish, or cost %.2f: %s", sum, first.body)
	}
	k.do("GET", "/v1/rounds/"+k.round, k.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/state": "planned", "/may_become": `["open","cancelled"]`})
	// Only shown, nothing is kept; made anew, it is the next version and says the same.
	shown := k.do("POST", at+"?dry_run=true", k.coordinator, members{"need": "day_30"}, "Idempotency-Key", newText()).want(http.StatusOK).wantAt(map[string]string{"/need": "day_30", "/version": ""})
	if shown.at("/cost") == "" {
		t.Errorf("it costs nothing: %s", shown.body)
	}
	last := k.do("GET", at, k.coordinator, nil).want(http.StatusOK)
	if string(last.body) != string(first.body) {
		t.Errorf("the plan is shown as\n%s\nand was made as\n%s", last.body, first.body)
	}
	second := k.plan(nil).want(http.StatusCreated).wantAt(map[string]string{"/version": "2"})
	if a, b := strings.Replace(string(second.body), `"version":2`, "", 1), strings.Replace(string(first.body), `"version":1`, "", 1); a != b {
		t.Errorf("the same input gives\n%s\nand\n%s", a, b)
	}
	for _, token := range []string{k.keeper, k.funder} {
		k.do("GET", at, token, nil).want(http.StatusForbidden, "forbidden")
	}
	k.do("GET", at, k.token(domain.Coordinator, k.site), nil).want(http.StatusNotFound)
	// Opened again, it is closed and planned anew.
	k.step("open").want(http.StatusCreated)
	k.plan(nil).want(http.StatusConflict, "round_state")
}

// A quote that is over, or not for what is asked, leaves requests unmet, with the reason.
func TestPlanLeavesOut(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	list := "/v1/rounds/" + k.round
	k.post(list+"/requests", k.keeper, k.asks(nil)).want(http.StatusCreated)
	k.post(list+"/quotes", k.coordinator, k.quotes(members{"valid_until": k.in(-1)})).want(http.StatusCreated)
	k.step("closed").want(http.StatusCreated)
	r := k.plan(nil).want(http.StatusCreated).wantAt(map[string]string{"/lines": "[]", "/orders": "[]"})
	if !strings.Contains(r.at("/left_out/0/reason"), "valid until "+k.in(-1)) || r.at("/unmet/0/reason") == "" {
		t.Errorf("it is not said why nothing is ordered: %s", r.body)
	}
	k.orders(1).want(http.StatusUnprocessableEntity, "nothing_to_order")
}

func TestOrders(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	list := "/v1/rounds/" + k.round + "/orders"
	k.orders(1).want(http.StatusConflict, "round_state")
	plan := k.planned()
	k.plan(nil).want(http.StatusCreated)
	k.orders(1).want(http.StatusConflict, "plan_outdated")
	key := newText()
	var made response
	for range 2 {
		made = k.do("POST", list, k.coordinator, members{"plan_version": 2}, "Idempotency-Key", key).want(http.StatusCreated)
	}
	year := k.today.Time().Year()
	made.wantAt(map[string]string{"/items/0/number": fmt.Sprintf("%d-001", year), "/items/0/sums/ordered": "550", "/items/0/sums/cost": "191.50", "/items/0/sums/deposit_paid": "0.00",
		"/items/0/version": "1", "/items/0/plan_version": "2", "/items/0/party_id": k.seller, "/items/1": "", "/items/0/deposits": "[]"})
	for i := range 2 {
		for _, member := range []string{"cost", "quantity", "expected_alive", "request_id", "route_fee"} {
			if got, want := made.at(fmt.Sprintf("/items/0/lines/%d/%s", i, member)), plan.at(fmt.Sprintf("/lines/%d/%s", i, member)); got != want {
				t.Errorf("the line has the %s %s, and was planned with %s", member, got, want)
			}
		}
	}
	k.orders(2).want(http.StatusConflict, "round_state")
	k.plan(nil).want(http.StatusConflict, "round_state")
	order := "/v1/orders/" + made.at("/items/0/id")
	whole := k.do("GET", order, k.coordinator, nil).want(http.StatusOK)
	if whole.at("") != made.at("/items/0") {
		t.Errorf("the order is shown as\n%s\nand was made as\n%s", whole.body, made.at("/items/0"))
	}
	// A keeper sees what is for the own site and no sums.
	own := k.do("GET", order, k.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/sums": "", "/deposits": "", "/quote_id": "", "/lines/0/site_id": k.site, "/lines/1": ""})
	if strings.Contains(string(own.body), k.far.site) {
		t.Errorf("a keeper sees another site: %s", own.body)
	}
	k.do("GET", list, k.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/sums": "", "/items/0/lines/1": ""})
	k.do("GET", order+"/versions", k.keeper, nil).want(http.StatusForbidden, "forbidden")
	// The deposit.
	k.post(order+"/deposits", k.coordinator, members{"amount": "41.25", "paid_on": k.in(0)}).want(http.StatusCreated).wantAt(map[string]string{"/sums/deposit_paid": "41.25", "/deposits/0/paid_on": k.in(0)})
	k.post(order+"/deposits", k.coordinator, members{"amount": "41.25", "paid_on": k.in(2)}).want(http.StatusUnprocessableEntity, "in_future")
	k.post(order+"/deposits", k.coordinator, members{"amount": "0.00", "paid_on": k.in(0)}).want(http.StatusBadRequest, "invalid_request")
	k.post("/v1/orders/"+newText()+"/deposits", k.coordinator, members{"amount": "1.00", "paid_on": k.in(0)}).want(http.StatusNotFound, "not_found")
}

// A change is a new version; the older one is kept.
func TestOrderIsChanged(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	k.planned()
	made := k.orders(1).want(http.StatusCreated)
	order := "/v1/orders/" + made.at("/items/0/id")
	request := func(site string) string {
		for i := range 2 {
			if made.at(fmt.Sprintf("/items/0/lines/%d/site_id", i)) == site {
				return made.at(fmt.Sprintf("/items/0/lines/%d/request_id", i))
			}
		}
		t.Fatalf("there is no line for %s", site)
		return ""
	}
	near, far := request(k.site), request(k.far.site)
	line := func(request string, quantity int) members {
		return members{"request_id": request, "quantity": quantity}
	}
	change := func(lines ...members) response {
		return k.post(order+"/versions", k.coordinator, members{"reason": "The second tank leaks.", "arrives_on": k.in(25), "lines": lines})
	}
	// 313 fish are 350 in packs, at 0.30 below 500; 20.00 for the order, one drop, 12.5 km. A
	// whole order at 0.25 from 500 on would be 125.00: 350 are 105.00.
	changed := change(line(near, 313)).want(http.StatusCreated).wantAt(map[string]string{"/version": "2", "/arrives_on": k.in(25), "/sums/ordered": "350", "/sums/price": "105.00",
		"/sums/fee_drop": "5.00", "/sums/fee_route": "10.00", "/sums/cost": "140.00", "/lines/1": "", "/lines/0/cost": "140.00"})
	if changed.at("/number") != made.at("/items/0/number") {
		t.Error("the number has changed")
	}
	change(line(newText(), 100)).want(http.StatusUnprocessableEntity, "impossible_change").wantAt(map[string]string{"/errors/0/pointer": "/lines/0/request_id"})
	change(line(near, 100), line(near, 100)).want(http.StatusUnprocessableEntity, "impossible_change")
	change(line(near, 6000)).want(http.StatusUnprocessableEntity, "above_most")
	change(line(near, 313), line(far, 209)).want(http.StatusCreated).wantAt(map[string]string{"/version": "3", "/sums/cost": "191.50"})
	k.do("GET", order+"/versions", k.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/cost": "191.50", "/items/1/cost": "140.00", "/items/2/version": "3",
		"/items/0/reason": "", "/items/1/reason": "The second tank leaks.", "/items/1/recorded_by": "test coordinator", "/items/0/lines/1/km": made.at("/items/0/lines/1/km"), "/items/3": ""})
}

// What is ordered must still be on offer as it was planned.
func TestOrdersHoldTheQuotes(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	k.planned()
	quote := k.do("GET", "/v1/rounds/"+k.round+"/quotes", k.coordinator, nil).want(http.StatusOK).at("/items/0/id")
	k.do("PATCH", "/v1/quotes/"+quote, k.coordinator, members{"steps": []members{{"from": 1, "unit_price": "0.40"}}}, "If-Match", "*").want(http.StatusOK)
	r := k.orders(1).want(http.StatusConflict, "plan_outdated")
	if !strings.Contains(r.at("/detail"), "plan again") {
		t.Errorf("it is not said what to do: %s", r.body)
	}
	k.do("GET", "/v1/rounds/"+k.round+"/orders", k.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/items": "[]"})
	k.plan(nil).want(http.StatusCreated)
	k.orders(2).want(http.StatusCreated)
	k.do("PATCH", "/v1/quotes/"+quote, k.coordinator, members{"pack": 10}, "If-Match", "*").want(http.StatusConflict, "round_state")
}

// What has become impossible since the plan was made is refused, and nothing is ordered.
// Each fact is changed behind the back of the service, as the passing of days would.
func TestOrdersThatCannotBe(t *testing.T) {
	t.Parallel()
	for code, change := range map[string]string{
		"quote_expired":     `valid_until = '2026-01-01'`,
		"below_least_order": `least_order = 551`,
		"above_most":        `most = 549, least_order = 0`,
		"not_whole_packs":   `pack = 40`,
		"quote_withdrawn":   `withdrawn = true`,
	} {
		t.Run(code, func(t *testing.T) {
			t.Parallel()
			k := newCall(newService(t))
			k.planned()
			conn := k.owner()
			if _, err := conn.Exec(t.Context(), `set app.actor = 'the days'`); err != nil {
				t.Fatal(err)
			}
			if _, err := conn.Exec(t.Context(), `update quote set `+change+` where coop_id = $1`, k.coop); err != nil {
				t.Fatal(err)
			}
			k.orders(1).want(http.StatusUnprocessableEntity, code)
			k.do("GET", "/v1/rounds/"+k.round+"/orders", k.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/items": "[]"})
			k.do("GET", "/v1/rounds/"+k.round, k.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/state": "planned"})
		})
	}
}

// Feed is bought the same way, without anything of fish.
func TestFeedIsOrdered(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	k.round = k.post("/v1/rounds", k.coordinator, k.call(members{"species": nil, "product_id": k.feed, "fees_by": "weight"})).want(http.StatusCreated).at("/id")
	list := "/v1/rounds/" + k.round
	need := members{"site_id": k.site, "quantity": 120}
	k.post(list+"/requests", k.keeper, changed(members{"unit_id": k.a}, need)).want(http.StatusUnprocessableEntity, "impossible_request")
	k.post(list+"/requests", k.keeper, need).want(http.StatusCreated).wantAt(map[string]string{"/unit_id": "", "/questions": "[]"})
	k.post(list+"/requests", k.keeper, need).want(http.StatusConflict, "already_requested")
	k.post(list+"/requests", k.coordinator, members{"site_id": k.far.site, "quantity": 80}).want(http.StatusCreated)
	offer := members{"mean_weight_g": nil, "weight_cv_percent": nil, "carried_in": nil, "litres": nil, "temperature_c": nil, "deaths_percent": nil, "short_percent": nil, "pack": 25, "expires_on": k.in(200)}
	k.post(list+"/quotes", k.coordinator, k.quotes(members{"pack": 25})).want(http.StatusUnprocessableEntity, "impossible_quote")
	k.post(list+"/quotes", k.coordinator, k.quotes(offer)).want(http.StatusCreated)
	k.step("closed").want(http.StatusCreated)
	// 200 kg at 0.30, 20.00 for the order, two drops, 30 km at 0.80. Computed by hand.
	k.plan(nil).want(http.StatusCreated).wantAt(map[string]string{"/orders/0/ordered": "200", "/cost": "114.00", "/gap": "0.00", "/lines/0/transport": ""})
	k.orders(1).want(http.StatusCreated).wantAt(map[string]string{"/items/0/expires_on": k.in(200), "/items/0/mean_weight_g": "", "/items/0/sums/cost": "114.00"})
}

// Of two who order at once one does; there is one order for each supplier. Two who plan
// at once make two versions.
func TestOrdersOnlyOnce(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	k.planned()
	const many = 6
	statuses := map[int]int{}
	var lock sync.Mutex
	all := func(do func() response) {
		clear(statuses)
		var wait sync.WaitGroup
		for range many {
			wait.Go(func() {
				r := do()
				lock.Lock()
				defer lock.Unlock()
				statuses[r.status]++
			})
		}
		wait.Wait()
	}
	all(func() response { return k.plan(nil) })
	if statuses[http.StatusCreated] != many {
		t.Errorf("those who plan at once get %v", statuses)
	}
	if got := k.do("GET", "/v1/rounds/"+k.round+"/plan", k.coordinator, nil).at("/version"); got != fmt.Sprint(many+1) {
		t.Errorf("the last plan is number %s", got)
	}
	all(func() response { return k.orders(many + 1) })
	if statuses[http.StatusCreated] != 1 || statuses[http.StatusConflict] != many-1 {
		t.Errorf("those who order at once get %v", statuses)
	}
	k.do("GET", "/v1/rounds/"+k.round+"/orders", k.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/items/1": ""})
}

// The order is sent as a print or as CSV.
func TestOrderDocuments(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	k.planned()
	made := k.orders(1).want(http.StatusCreated)
	order := "/v1/orders/" + made.at("/items/0/id")
	csv := k.do("GET", order, k.coordinator, nil, "Accept", "text/csv").want(http.StatusOK)
	for _, want := range []string{made.at("/items/0/number"), ",313", ",209", ",12.5,", "quantity"} {
		if !strings.Contains(string(csv.body), want) {
			t.Errorf("the CSV has no %s:\n%s", want, csv.body)
		}
	}
	if page := k.do("GET", order+".html", k.coordinator, nil).want(http.StatusOK); !strings.Contains(string(page.body), "28 more than the sites asked for") {
		t.Error("the order does not say why it is for more than its lines")
	}
	if pdf := k.do("GET", order+".pdf", k.coordinator, nil).want(http.StatusOK); !strings.HasPrefix(string(pdf.body), "%PDF-") || pdf.header.Get("Content-Type") != "application/pdf" {
		t.Errorf("the print is a %s of %d bytes", pdf.header.Get("Content-Type"), len(pdf.body))
	}
	page := k.do("GET", order+".html", k.coordinator, nil).want(http.StatusOK)
	for _, want := range []string{"Hollin Creek Hatchery", "191.50", "North African catfish"} {
		if !strings.Contains(string(page.body), want) {
			t.Errorf("the page has no %s", want)
		}
	}
	if own := k.do("GET", order+".csv", k.keeper, nil).want(http.StatusOK); strings.Contains(string(own.body), ",209") {
		t.Errorf("a keeper's CSV has the lines of others:\n%s", own.body)
	}
}

// 400 are offered and 600 needed: by the one rule everybody gets two thirds, by the other
// what is there is shared alike, nobody below the least that is of use; without one, some get
// all they need, and one goes without. Computed by hand.
func TestPlanCutsNeeds(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	list := "/v1/rounds/" + k.round
	first := k.post(list+"/requests", k.keeper, k.asks(members{"quantity": 400, "least": 100, "most": 400})).want(http.StatusCreated)
	k.post(list+"/requests", k.coordinator, k.asks(members{"site_id": k.far.site, "unit_id": k.far.a, "quantity": 200, "least": 50, "most": 200})).want(http.StatusCreated)
	k.post(list+"/quotes", k.coordinator, k.quotes(members{"most": 400, "pack": 1, "deaths_percent": nil, "short_percent": nil})).want(http.StatusCreated)
	k.step("closed").want(http.StatusCreated)
	for _, c := range []struct {
		rule, first, second string
	}{{"proportional", "267", "133"}, {"max_min", "200", "200"}} {
		r := k.plan(members{"allot": c.rule}).want(http.StatusCreated).wantAt(map[string]string{"/orders/0/ordered": "400", "/orders/1": "", "/unmet": "[]"})
		got := []string{r.at("/lines/0/quantity"), r.at("/lines/1/quantity")}
		if r.at("/lines/0/request_id") != first.at("/id") {
			got[0], got[1] = got[1], got[0]
		}
		if got[0] != c.first || got[1] != c.second {
			t.Errorf("by %q the schools get %v: %s", c.rule, got, r.body)
		}
	}
	r := k.plan(nil).want(http.StatusCreated).wantAt(map[string]string{"/lines/1": "", "/unmet/1": ""})
	if !strings.Contains(r.at("/unmet/0/reason"), "plan with allot to share it among all") {
		t.Errorf("who goes without is not told what to do: %s", r.body)
	}
	k.plan(members{"allot": "first_come"}).want(http.StatusBadRequest, "invalid_request")
}
