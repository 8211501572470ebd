package integration_test

import (
	"net/http"
	"strings"
	"testing"
)

// What came on a day far from its own, or is far from what is due, is kept and asked about;
// what has happened is never refused. It was ordered on 12 January for the 20th, and the
// round wants it from the 15th to the 30th.
func TestDeliveryAsked(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	try := func(m members) response {
		t.Helper()
		return p.do("POST", "/v1/orders/"+p.order+"/deliveries?dry_run=true", p.keepers[0], members{"deliveries": []members{p.drop(0, m)}}).want(http.StatusOK)
	}
	for _, c := range []struct {
		drop members
		code string
		says string
	}{
		{members{"counted": 500}, "", ""},
		{members{"counted": 500, "occurred_on": "2025-01-12"}, "", ""}, // three days early, and late
		{members{"counted": 500, "occurred_on": "2025-02-02"}, "", ""},
		{members{"counted": 500, "occurred_on": "2025-01-11"}, "delivery_day", "ordered on 2025-01-12 for 2025-01-20, and the round wanted it from 2025-01-15 to 2025-01-30: did it come before it was ordered?"},
		{members{"counted": 500, "occurred_on": "2025-02-03"}, "delivery_day", "This came on 2025-02-03. It was ordered on"},
		{members{"counted": 1000}, "", ""},
		{members{"counted": 1001}, "delivery_count", "1001 came, and 500 were due: is the number right?"},
		{members{"counted": 250}, "", ""},
		{members{"counted": 249}, "delivery_count", "249 came, and 500 were due: is the number right?"},
		{members{"counted": 0}, "", ""}, // nothing came, and somebody says so
	} {
		r := try(c.drop).wantAt(map[string]string{"/results/0/questions/0/code": c.code, "/results/0/questions/1": ""})
		if !strings.Contains(r.at("/results/0/questions/0/text"), c.says) {
			t.Errorf("%v: %s", c.drop, r.body)
		}
	}

	late := p.drop(0, members{"counted": 5000, "occurred_on": "2025-03-01"})
	p.receive(p.keepers[0], late).want(http.StatusCreated).wantAt(map[string]string{"/results/0/questions/0/code": "delivery_day", "/results/0/questions/1/code": "delivery_count"})
	list := "/v1/questions?site_id=" + p.sites[0]
	open := p.do("GET", list, p.keepers[0], nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/code": "delivery_count", "/items/0/entry_id": late["id"].(string),
		"/items/0/figures/0/name": "came", "/items/0/figures/0/value": "5000", "/items/0/figures/1/value": "500",
		"/items/1/code": "delivery_day", "/items/1/figures/0/name": "days_late", "/items/1/figures/0/value": "30"})
	p.keyed("/v1/questions/"+open.at("/items/1/id")+"/answer", p.keepers[0], members{"reason": "The road was washed away."}).want(http.StatusCreated)
	p.do("GET", list, p.keepers[0], nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/code": "delivery_count"})
	// A delivery that is reversed answers what is asked about it.
	p.keyed("/v1/deliveries/"+late["id"].(string)+"/reversal", p.keepers[0], members{"reason": "A nought too many."}).want(http.StatusCreated)
	p.do("GET", list+"&state=reversed", p.keepers[0], nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/code": "delivery_count"})
}

// An entry of a delivery that somebody has reversed by hand is left so when the round is
// settled, and the answer says it.
func TestSettleLeavesAlone(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	a, b, c := p.drop(0, members{"counted": 500}), p.drop(1, members{"counted": 300}), p.drop(2, members{"counted": 200})
	p.receive(p.coordinator, a, b, c).want(http.StatusCreated)
	reverse := func(d, replacement members) {
		t.Helper()
		body := members{"id": newText(), "reason": "They went to the neighbour."}
		if replacement != nil {
			body["replacement"] = replacement
		}
		p.do("POST", "/v1/entries/"+d["id"].(string)+"/reversal", p.coordinator, body).want(http.StatusCreated)
	}
	reverse(a, nil)
	other := newText()
	reverse(b, members{"id": other, "kind": "stocking", "site_id": p.sites[1], "batch_id": b["batch_id"], "occurred_on": "2025-01-21", "origin": "bought", "count": 298, "mean_weight_g": 5, "amount": "600.00"})
	entries := len(p.entries(p.keeper, ""))

	r := p.keyed("/v1/rounds/"+p.round+"/state", p.coordinator, members{"state": "settled"}).want(http.StatusCreated).wantAt(map[string]string{"/state": "settled",
		"/left_alone/0/delivery_id": a["id"].(string), "/left_alone/0/entry_id": a["id"].(string), "/left_alone/0/site_id": p.sites[0], "/left_alone/0/replaced_by": "", "/left_alone/0/amount": "1021.66",
		"/left_alone/1/entry_id": b["id"].(string), "/left_alone/1/replaced_by": other, "/left_alone/2": ""})
	for at, says := range map[string]string{
		"/left_alone/0/says": "At Chikuni, Test coordinator has reversed the entry of this delivery by hand (“They went to the neighbour.”), and it was left so. The site is charged 1021.66 ZMW, and the journal has no entry with that cost: ",
		"/left_alone/1/says": "The site is charged 622.17 ZMW: look whether the entry in its place says what came, and that amount.",
	} {
		if !strings.Contains(strings.ToLower(r.at(at)), strings.ToLower(says)) {
			t.Errorf("it says %q", r.at(at))
		}
	}
	if n := len(p.entries(p.keeper, "")); n != entries {
		t.Errorf("there are %d entries, and were %d", n, entries)
	}
	p.do("GET", "/v1/rounds/"+p.round, p.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/state": "settled", "/left_alone": ""})
}
