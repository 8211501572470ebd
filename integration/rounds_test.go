package integration_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
)

// A call is a round of catfish that two schools are asked for, with days that are
// still to come.
type call struct {
	pond
	far    pond
	round  string
	keeper string // of the first site
	seller string
	today  domain.Date
}

func newCall(s *service) *call {
	s.t.Helper()
	k := &call{pond: newPond(s), far: newPond(s), today: domain.DateOf(time.Now(), time.UTC)}
	k.keeper = s.token(domain.Keeper, k.site)
	k.seller = s.create("/v1/parties", `{"name":"Hollin Creek Hatchery","roles":["hatchery"]}`)
	k.round = s.create("/v1/rounds", k.call(nil))
	return k
}

// in says a day from today.
func (k *call) in(days int) string { return (k.today + domain.Date(days)).String() }

func changed(body, change members) members {
	for name, value := range change {
		if value == nil {
			delete(body, name)
		} else {
			body[name] = value
		}
	}
	return body
}

func (k *call) call(change members) members {
	return changed(members{"name": "Catfish for the long rains", "species": "CLZ", "deadline": k.in(10) + "T15:00:00Z",
		"window_from": k.in(20), "window_to": k.in(30)}, change)
}

func (k *call) asks(change members) members {
	return changed(members{"site_id": k.site, "unit_id": k.a, "quantity": 300, "least": 200, "most": 350, "size_from_g": 3, "size_to_g": 8}, change)
}

func (k *call) quotes(change members) members {
	return changed(members{"party_id": k.seller, "mean_weight_g": 5, "weight_cv_percent": 20,
		"steps":       []members{{"from": 1, "unit_price": "0.30"}, {"from": 500, "unit_price": "0.25"}},
		"steps_apply": "all_units", "least_order": 100, "pack": 50, "most": 5000, "earliest": k.in(20), "latest": k.in(30),
		"fee_order": "20.00", "fee_drop": "5.00", "fee_per_km": "0.8", "stops": []members{{"site_id": k.site, "km": 12.5}, {"site_id": k.far.site, "km": 30}},
		"carried_in": "bag", "litres": 20, "temperature_c": 26, "deaths_percent": 3, "short_percent": 1, "deposit_percent": 30, "valid_until": k.in(15)}, change)
}

func (k *call) post(path, token string, body any) response {
	k.t.Helper()
	return k.do("POST", path, token, body, "Idempotency-Key", newText())
}

func (k *call) step(state string) response {
	k.t.Helper()
	return k.post("/v1/rounds/"+k.round+"/state", k.coordinator, members{"state": state})
}

func TestRoundIsCalledAndChanged(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	at := "/v1/rounds/" + k.round
	k.do("GET", at, k.keeper, nil).want(http.StatusOK).wantAt(map[string]string{
		"/state": "open", "/need": "arrival", "/fees_by": "count", "/may_become": `["closed","cancelled"]`, "/deadline": k.in(10) + "T15:00:00Z"})
	k.do("PATCH", at, k.coordinator, members{"need": "day_30", "note": "Bring tubs."}, "If-Match", `"1"`).want(http.StatusOK).wantAt(map[string]string{"/need": "day_30", "/note": "Bring tubs."})
	k.do("PATCH", at, k.coordinator, members{"need": "arrival"}, "If-Match", `"1"`).want(http.StatusPreconditionFailed, "version_mismatch")
	k.do("PATCH", at, k.keeper, members{"need": "arrival"}, "If-Match", "*").want(http.StatusForbidden, "forbidden")
	for name, change := range map[string]members{
		"/species":   {"product_id": k.feed},
		"/window_to": {"window_to": k.in(19)},
		"/need":      {"species": nil, "product_id": k.feed, "need": "day_30"},
	} {
		r := k.post("/v1/rounds", k.coordinator, k.call(change)).want(http.StatusBadRequest, "invalid_request")
		if !strings.Contains(string(r.body), `"pointer":"`+name+`"`) {
			t.Errorf("a round is not refused for %s: %s", name, r.body)
		}
	}
	k.post("/v1/rounds", k.coordinator, k.call(members{"deadline": k.in(60) + "T00:00:00Z"})).want(http.StatusUnprocessableEntity, "impossible_round")
	k.post("/v1/rounds", k.coordinator, k.call(members{"species": "XYZ"})).want(http.StatusUnprocessableEntity, "unknown_reference")
	k.post("/v1/rounds", k.coordinator, k.call(members{"species": nil, "product_id": newText()})).want(http.StatusUnprocessableEntity, "unknown_reference")
	feed := k.post("/v1/rounds", k.coordinator, k.call(members{"species": nil, "product_id": k.feed, "fees_by": "weight"})).want(http.StatusCreated)
	if ids := k.do("GET", "/v1/rounds", k.keeper, nil).want(http.StatusOK).ids(); len(ids) != 2 || ids[1] != feed.at("/id") {
		t.Errorf("the rounds are %v", ids)
	}
}

// Wrong steps are refused with those that may follow, and the same request again gets
// the same answer.
func TestRoundSteps(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	for _, state := range []string{"settled", "open"} {
		if r := k.step(state).want(http.StatusConflict, "round_state"); !strings.Contains(r.at("/detail"), "it may become closed, cancelled") {
			t.Errorf("it is not said what may follow: %s", r.body)
		}
	}
	key := newText()
	for range 2 {
		k.do("POST", "/v1/rounds/"+k.round+"/state", k.coordinator, members{"state": "closed"}, "Idempotency-Key", key).want(http.StatusCreated).wantAt(map[string]string{"/state": "closed"})
	}
	k.step("closed").want(http.StatusConflict, "round_state")
	k.step("open").want(http.StatusCreated)
	k.step("cancelled").want(http.StatusBadRequest, "invalid_request")
	k.post("/v1/rounds/"+k.round+"/state", k.coordinator, members{"state": "cancelled", "reason": "No fish this year."}).want(http.StatusCreated).
		wantAt(map[string]string{"/state": "cancelled", "/reason": "No fish this year.", "/may_become": "[]"})
	for what, r := range map[string]response{
		"request": k.post("/v1/rounds/"+k.round+"/requests", k.keeper, k.asks(nil)),
		"quote":   k.post("/v1/rounds/"+k.round+"/quotes", k.coordinator, k.quotes(nil)),
		"change":  k.do("PATCH", "/v1/rounds/"+k.round, k.coordinator, `{"name":"New"}`, "If-Match", "*"),
		"step":    k.step("open"),
	} {
		if r.want(http.StatusConflict, "round_state"); !strings.Contains(r.at("/detail"), "the round is cancelled") {
			t.Errorf("the refusal of a %s does not say why: %s", what, r.body)
		}
	}
}

func TestRequests(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	list := "/v1/rounds/" + k.round + "/requests"
	made := k.post(list, k.keeper, k.asks(members{"least": nil, "most": nil})).want(http.StatusCreated).wantAt(map[string]string{
		"/least": "300", "/most": "300", "/earliest": k.in(20), "/latest": k.in(30), "/withdrawn": "false", "/round_id": k.round})
	at := made.header.Get("Location")
	if at != "/v1/requests/"+made.at("/id") {
		t.Errorf("it is at %s", at)
	}
	k.do("GET", at, k.keeper, nil).want(http.StatusOK)
	k.post(list, k.keeper, k.asks(nil)).want(http.StatusConflict, "already_requested")
	k.post(list, k.keeper, k.asks(members{"site_id": k.far.site, "unit_id": k.far.a})).want(http.StatusUnprocessableEntity, "unknown_reference")
	k.post(list, k.coordinator, k.asks(members{"unit_id": k.far.a})).want(http.StatusUnprocessableEntity, "wrong_site")
	k.post(list, k.coordinator, k.asks(members{"unit_id": nil})).want(http.StatusUnprocessableEntity, "impossible_request")
	for pointer, change := range map[string]members{
		"/least":     {"unit_id": k.b, "least": 301},
		"/most":      {"unit_id": k.b, "most": 299},
		"/size_to_g": {"unit_id": k.b, "size_to_g": 2},
		"/latest":    {"unit_id": k.b, "latest": k.in(19)},
	} {
		k.post(list, k.keeper, k.asks(change)).want(http.StatusUnprocessableEntity, "impossible_request").wantAt(map[string]string{"/errors/0/pointer": pointer})
	}
	// Changed, taken back, asked anew.
	k.do("PATCH", at, k.keeper, `{"quantity":250,"least":100,"note":"Fewer."}`, "If-Match", made.header.Get("ETag")).want(http.StatusOK).wantAt(map[string]string{"/quantity": "250", "/most": "300"})
	k.do("PATCH", at, k.keeper, `{"quantity":240}`, "If-Match", made.header.Get("ETag")).want(http.StatusPreconditionFailed)
	k.do("PATCH", at, k.keeper, `{"withdrawn":true}`, "If-Match", "*").want(http.StatusOK).wantAt(map[string]string{"/withdrawn": "true", "/questions": "[]"})
	k.post(list, k.keeper, k.asks(nil)).want(http.StatusCreated)
	k.do("PATCH", at, k.keeper, `{"withdrawn":false}`, "If-Match", "*").want(http.StatusConflict, "already_requested")
	// Keepers see theirs, until the round is closed and no further.
	k.post(list, k.coordinator, k.asks(members{"site_id": k.far.site, "unit_id": k.far.a})).want(http.StatusCreated)
	if n := len(k.do("GET", list, k.keeper, nil).want(http.StatusOK).ids()); n != 2 {
		t.Errorf("a keeper sees %d requests, want 2 of its site", n)
	}
	if n := len(k.do("GET", list, k.coordinator, nil).want(http.StatusOK).ids()); n != 3 {
		t.Errorf("the coordinator sees %d requests", n)
	}
	k.step("closed").want(http.StatusCreated)
	k.post(list, k.keeper, k.asks(members{"unit_id": k.b})).want(http.StatusConflict, "round_state")
	k.post(list, k.coordinator, k.asks(members{"unit_id": k.b})).want(http.StatusCreated)
}

func TestRequestsAfterTheDeadline(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	list := "/v1/rounds/" + k.round + "/requests"
	made := k.post(list, k.keeper, k.asks(nil)).want(http.StatusCreated).header.Get("Location")
	k.do("PATCH", "/v1/rounds/"+k.round, k.coordinator, members{"deadline": k.in(-1) + "T15:00:00Z"}, "If-Match", "*").want(http.StatusOK)
	r := k.post(list, k.keeper, k.asks(members{"unit_id": k.b})).want(http.StatusConflict, "deadline_passed")
	if !strings.Contains(r.at("/detail"), "ask the coordinator") {
		t.Errorf("it is not said what to do: %s", r.body)
	}
	k.do("PATCH", made, k.keeper, `{"quantity":250}`, "If-Match", "*").want(http.StatusConflict, "deadline_passed")
	k.do("PATCH", made, k.coordinator, `{"quantity":250}`, "If-Match", "*").want(http.StatusOK)
}

// What is odd is asked about, and what cannot be is refused.
func TestRequestQuestions(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	k.stocked(k.in(-60), members{"count": 500, "weight_kg": 5})
	tank := k.create("/v1/units", members{"site_id": k.site, "name": "Tank 1 m³", "kind": "tank", "water_volume_l": 1000, "density_limit_kg_m3": 50})
	list := "/v1/rounds/" + k.round + "/requests"
	questions := func(r response) string {
		var body struct {
			Questions []struct{ Code, Text string }
		}
		r.want(http.StatusCreated).into(&body)
		var codes []string
		for _, q := range body.Questions {
			codes = append(codes, q.Code)
		}
		return strings.Join(codes, " ")
	}
	// 50 kg/m³ in 1 m³ at 400 g are 125 fish.
	if got := questions(k.post(list, k.keeper, k.asks(members{"unit_id": tank, "earliest": k.in(19)}))); got != "outside_window above_capacity" {
		t.Errorf("300 fish for 1 m³ are asked about as %q", got)
	}
	if got := questions(k.post(list, k.keeper, k.asks(nil))); !strings.Contains(got, "not_empty") {
		t.Errorf("a tank with fish is asked about as %q", got)
	}
	listed := k.do("GET", list, k.coordinator, nil).want(http.StatusOK)
	if n := strings.Count(string(listed.body), `"code":"above_capacity"`); n != 1 {
		t.Errorf("the list asks about capacity %d times: %s", n, listed.body)
	}
	// 200 000 fish of 3 g are 600 kg.
	other := k.create("/v1/units", members{"site_id": k.site, "name": "Another", "kind": "tank", "water_volume_l": 1000})
	r := k.post(list, k.keeper, k.asks(members{"unit_id": other, "quantity": 200_000, "most": 200_000})).want(http.StatusUnprocessableEntity, "impossible_request")
	if !strings.Contains(r.at("/detail"), "600 kg") {
		t.Errorf("it is not said why: %s", r.body)
	}
	// The plan of the tilapia that are in a tank says nothing of catfish.
	shared := k.create("/v1/units", members{"site_id": k.site, "name": "Shared", "kind": "tank", "water_volume_l": 1000, "density_limit_kg_m3": 50})
	tilapia := newText()
	k.do("POST", "/v1/batches", k.keeper, members{"id": tilapia, "site_id": k.site, "unit_id": shared, "species": "TLN", "name": "Tilapia",
		"plan": members{"target_weight_g": 100, "target_on": k.in(15)}}).want(http.StatusCreated)
	k.recorded(k.entry("stocking", k.in(-60), members{"batch_id": tilapia, "origin": "bred", "count": 20, "mean_weight_g": 5}))
	r = k.post(list, k.keeper, k.asks(members{"unit_id": shared})).want(http.StatusCreated)
	if !strings.Contains(string(r.body), "of 400 g: will some be taken out before they are grown? Shared carries 50 kg of fish: for more there is too little water.") {
		t.Errorf("of catfish in a tank with tilapia it is asked %s", r.body)
	}
	bed := k.create("/v1/units", members{"site_id": k.site, "name": "Bed", "kind": "bed", "bed_area_m2": 4})
	k.post(list, k.keeper, k.asks(members{"unit_id": bed})).want(http.StatusUnprocessableEntity, "no_fish_here")
}

func TestQuotes(t *testing.T) {
	t.Parallel()
	k := newCall(newService(t))
	list := "/v1/rounds/" + k.round + "/quotes"
	made := k.post(list, k.coordinator, k.quotes(nil)).want(http.StatusCreated).wantAt(map[string]string{
		"/steps/1/unit_price": "0.25", "/fee_per_km": "0.80", "/stops/1/km": "30", "/speed_km_h": "40", "/pack": "50", "/deaths_percent": "3"})
	at := made.header.Get("Location")
	step := func(from int, price string) members { return members{"from": from, "unit_price": price} }
	for _, c := range []struct {
		change  members
		code    string
		pointer string
	}{
		{members{"steps": []members{step(1, "0.30"), step(500, "0.25"), step(500, "0.20")}}, "price_steps", "/steps/2/from"},
		{members{"steps": []members{step(1, "0.30"), step(500, "0.25"), step(400, "0.20")}}, "price_steps", "/steps/2/from"},
		{members{"steps": []members{step(1, "0.30"), step(500, "0.31")}}, "price_steps", "/steps/1/unit_price"},
		{members{"steps": []members{step(10, "0.30")}}, "price_steps", "/steps/0/from"},
		{members{"stops": []members{{"site_id": k.site, "km": 30}, {"site_id": k.far.site, "km": 12}}}, "impossible_route", "/stops/1/km"},
		{members{"stops": []members{{"site_id": newText(), "km": 30}}}, "unknown_reference", "/stops/0/site_id"},
		{members{"party_id": newText()}, "unknown_reference", "/party_id"},
		{members{"least_order": 5001}, "impossible_quote", "/least_order"},
		{members{"mean_weight_g": nil}, "impossible_quote", "/mean_weight_g"},
		{members{"expires_on": k.in(90)}, "impossible_quote", "/expires_on"},
	} {
		k.post(list, k.coordinator, k.quotes(c.change)).want(http.StatusUnprocessableEntity, c.code).wantAt(map[string]string{"/errors/0/pointer": c.pointer})
	}
	k.post(list, k.coordinator, k.quotes(members{"steps_apply": nil})).want(http.StatusBadRequest, "invalid_request").wantAt(map[string]string{"/errors/0/pointer": "/steps_apply"})
	k.post(list, k.coordinator, k.quotes(members{"steps_apply": nil, "steps": []members{step(1, "0.3")}, "stops": nil, "fee_per_km": nil})).want(http.StatusCreated)
	k.do("PATCH", at, k.coordinator, members{"valid_until": k.in(16), "litres": nil, "steps": []members{step(1, "0.28")}}, "If-Match", `"1"`).want(http.StatusOK).
		wantAt(map[string]string{"/valid_until": k.in(16), "/steps": `[{"from":1,"unit_price":"0.28"}]`, "/litres": "", "/party_id": k.seller})
	for _, role := range []domain.Role{domain.Adviser, domain.Treasurer, domain.Auditor} {
		if n := len(k.do("GET", list, k.token(role), nil).want(http.StatusOK).ids()); n != 2 {
			t.Errorf("the %s reads %d quotes", role, n)
		}
	}
	for _, token := range []string{k.keeper, k.funder} {
		k.do("GET", list, token, nil).want(http.StatusForbidden, "forbidden")
		k.do("GET", at, token, nil).want(http.StatusForbidden, "forbidden")
	}
	// Who is bound to some sites reads none, and makes none.
	bound := k.token(domain.Coordinator, k.site)
	k.do("GET", at, bound, nil).want(http.StatusNotFound, "not_found")
	k.post(list, bound, k.quotes(nil)).want(http.StatusForbidden, "forbidden")
	lines := k.do("GET", fmt.Sprintf("/v1/audit?noun=quote&noun=round&limit=%d", 500), k.coordinator, nil).want(http.StatusOK)
	if n := strings.Count(string(lines.body), `"noun":"quote"`); n != 3 {
		t.Errorf("the trail has %d lines of quotes, want 3", n)
	}
}
