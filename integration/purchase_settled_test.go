package integration_test

import (
	"net/http"
	"testing"
)

// A settled round is fixed: what each site pays, and what its fish cost.
func TestSettle(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	settle := func() response {
		return p.keyed("/v1/rounds/"+p.round+"/state", p.coordinator, members{"state": "settled"})
	}
	settle().want(http.StatusConflict, "round_state") // nothing came yet
	a, b := p.drop(0, members{"counted": 425}), p.drop(1, members{"counted": 300})
	p.receive(p.coordinator, a, b).want(http.StatusCreated)
	settle().want(http.StatusUnprocessableEntity, "not_all_received")
	c := p.drop(2, members{"counted": 0})
	p.receive(p.coordinator, c).want(http.StatusCreated).wantAt(map[string]string{"/results/0/delivery/claims/0/amount": "380.00"})
	settle().want(http.StatusUnprocessableEntity, "claims_open")
	claims := p.do("GET", "/v1/rounds/"+p.round+"/claims", p.coordinator, nil).want(http.StatusOK)
	for i, id := range claims.ids() {
		answer := members{"number": "CN-1", "amount": "380.00", "credited_on": "2025-01-28"}
		if claims.at("/items/"+string(rune('0'+i))+"/site_id") == p.sites[0] { // 50 fish were claimed, and 80.00 is given
			answer["amount"] = "80.00"
		}
		p.keyed("/v1/claims/"+id+"/credit", p.coordinator, answer).want(http.StatusCreated)
	}
	before := p.do("GET", "/v1/rounds/"+p.round+"/charges", p.coordinator, nil).want(http.StatusOK)
	key := newText()
	done := p.do("POST", "/v1/rounds/"+p.round+"/state", p.coordinator, members{"state": "settled"}, "Idempotency-Key", key).want(http.StatusCreated).wantAt(map[string]string{"/state": "settled"})
	if again := p.do("POST", "/v1/rounds/"+p.round+"/state", p.coordinator, members{"state": "settled"}, "Idempotency-Key", key); string(again.body) != string(done.body) {
		t.Errorf("%s and %s", done.body, again.body)
	}
	after := p.do("GET", "/v1/rounds/"+p.round+"/charges", p.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/basis": "settled", "/levelled": "true",
		"/total/charged": "1615.00", "/total/credit": "460.00"})
	if after.at("/sites") != before.at("/sites") || after.at("/total") != before.at("/total") {
		t.Errorf("it was %s, and is %s", before.body, after.body)
	}
	// 1000 + 5 + 15 + 1.66 − 80: the fish were stocked at 20.00 less. The second paid what it was to.
	p.performance(a["batch_id"].(string), "?as_of=2025-01-31").wantAt(map[string]string{"/fish/on_hand": "425", "/cost/total": "941.66"})
	p.performance(b["batch_id"].(string), "?as_of=2025-01-31").wantAt(map[string]string{"/cost/total": "622.17"})
	if n := len(p.entries(p.keeper, "")); n != 4 { // two stockings, a reversal and its replacement
		t.Errorf("there are %d entries", n)
	}
	first := p.do("GET", "/v1/deliveries/"+a["id"].(string), p.keepers[0], nil).want(http.StatusOK).wantAt(map[string]string{"/amount": "941.66"})
	if first.at("/entry_id") == a["id"].(string) {
		t.Error("the entry of the delivery is the one that was reversed")
	}
	p.do("GET", "/v1/rounds/"+p.round+"/statements/"+p.sites[2], p.keepers[2], nil).want(http.StatusOK).wantAt(map[string]string{"/basis": "settled", "/parts/charged": "51.17", "/alone": "600.00"})

	// Nothing changes any more, but payments.
	p.keyed("/v1/deliveries/"+b["id"].(string)+"/reversal", p.coordinator, members{"reason": "Wrong."}).want(http.StatusConflict, "round_state")
	p.receive(p.coordinator, p.drop(2, members{"counted": 1})).want(http.StatusConflict, "round_state")
	p.receive(p.coordinator, a, b).want(http.StatusOK).wantAt(map[string]string{"/results/0/status": "exists", "/results/1/status": "exists"})
	p.keyed("/v1/rounds/"+p.round+"/payments", p.coordinator, members{"site_id": p.sites[2], "amount": "51.17", "paid_on": "2025-02-01"}).want(http.StatusCreated).wantAt(map[string]string{"/owed": "0.00"})
}
