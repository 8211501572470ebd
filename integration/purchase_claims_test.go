package integration_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"

	"shoalbook/domain"
)

// Two people receive the same drop at once: one is first, the other is told who, and
// nothing is there twice.
func TestSameDropAtOnce(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	statuses := map[string]int{}
	var told []string
	var mu sync.Mutex
	var wait sync.WaitGroup
	for i := range 8 {
		wait.Go(func() {
			r := p.receive(p.keepers[0], p.drop(0, members{"counted": 500, "received_by": fmt.Sprintf("Person %d", i)}))
			mu.Lock()
			defer mu.Unlock()
			statuses[fmt.Sprint(r.status, r.at("/code"))]++
			if r.status == http.StatusConflict {
				told = append(told, r.at("/detail"))
			}
		})
	}
	wait.Wait()
	if statuses["201"] != 1 || statuses["409already_received"] != 7 {
		t.Errorf("it became %v", statuses)
	}
	first := p.do("GET", "/v1/orders/"+p.order+"/deliveries", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/1": ""}).at("/items/0/received_by")
	for _, detail := range told {
		if !strings.Contains(detail, "by "+first+", recorded by test keeper at 20") {
			t.Errorf("it says %q, and %s was first", detail, first)
		}
	}
	if n := len(p.entries(p.keeper, "")); n != 1 {
		t.Errorf("there are %d entries", n)
	}
	if n := len(p.do("GET", "/v1/batches", p.keeper, nil).ids()); n != 1 {
		t.Errorf("there are %d batches", n)
	}
}

// A wrong delivery is reversed with its entry and its claims, and recorded anew.
func TestDeliveryReversed(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	d := p.drop(0, members{"counted": 400})
	p.receive(p.keepers[0], d).want(http.StatusCreated)
	address := "/v1/deliveries/" + d["id"].(string)
	why := members{"reason": "It was the truck of the day before."}
	p.keyed(address+"/reversal", p.keepers[1], why).want(http.StatusNotFound, "not_found")
	key := newText()
	back := p.do("POST", address+"/reversal", p.keepers[0], why, "Idempotency-Key", key).want(http.StatusCreated).wantAt(map[string]string{
		"/reversed/reason": why["reason"].(string), "/reversed/by": "test keeper", "/claims/0/reversed": "true", "/claims/0/kind": "short"})
	if again := p.do("POST", address+"/reversal", p.keepers[0], why, "Idempotency-Key", key).want(http.StatusCreated); string(again.body) != string(back.body) {
		t.Errorf("%s and %s", back.body, again.body)
	}
	p.keyed(address+"/reversal", p.keepers[0], why).want(http.StatusConflict, "already_reversed")
	p.performance(d["batch_id"].(string), "?as_of=2025-01-31").wantAt(map[string]string{"/fish/on_hand": "0", "/cost/total": "0.00"})
	p.receive(p.keepers[0], d).want(http.StatusOK).wantAt(map[string]string{"/results/0/status": "exists"}) // and stays reversed
	p.receive(p.keepers[0], p.drop(0, members{"counted": 500, "batch_id": nil, "into_batch_id": d["batch_id"]})).want(http.StatusCreated)
	p.performance(d["batch_id"].(string), "?as_of=2025-01-31").wantAt(map[string]string{"/fish/on_hand": "500", "/cost/total": "1021.66"})

	// Fish that went on meanwhile cannot have never come.
	e := p.drop(1, members{"counted": 300})
	p.receive(p.keepers[1], e).want(http.StatusCreated)
	p.record("harvest", members{"site_id": p.sites[1], "batch_id": e["batch_id"], "occurred_on": "2025-01-25", "weight_kg": 1, "count": 200})
	p.keyed("/v1/deliveries/"+e["id"].(string)+"/reversal", p.keepers[1], why).want(http.StatusUnprocessableEntity, "before_batch")
	p.do("GET", "/v1/deliveries/"+e["id"].(string), p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/reversed": ""})
}

// What is short is credited, once, and for no more than it cost.
func TestCredit(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	p.receive(p.coordinator, p.drop(0, members{"counted": 425, "dead": 9}), p.drop(1, members{"counted": 330})).want(http.StatusCreated)
	var claims struct {
		Items []struct{ ID, Kind, Amount string }
	}
	p.do("GET", "/v1/rounds/"+p.round+"/claims", p.coordinator, nil).want(http.StatusOK).into(&claims)
	of := map[string]string{}
	for _, c := range claims.Items {
		of[c.Kind] = c.ID + c.Amount
	}
	if len(of) != 3 || of["short"][36:] != "100.00" || of["dead"][36:] != "2.00" || of["over"][36:] != "30.00" {
		t.Fatalf("%v", of)
	}
	credit := func(kind string, body members) response {
		return p.keyed("/v1/claims/"+of[kind][:36]+"/credit", p.coordinator, body)
	}
	note := members{"number": "CN-31", "amount": "1000.01", "credited_on": "2025-01-28"}
	credit("short", note).want(http.StatusUnprocessableEntity, "credit_too_large").wantAt(map[string]string{"/errors/0/pointer": "/amount"})
	credit("short", members{"number": "CN-31", "amount": "1.00"}).want(http.StatusBadRequest, "invalid_request")
	credit("short", members{"number": "CN-31", "amount": "1.00", "credited_on": "2025-01-28", "declined": "No."}).want(http.StatusBadRequest, "invalid_request")
	credit("short", members{"declined": "No.", "amount": "0"}).want(http.StatusBadRequest, "invalid_request")
	credit("short", members{"number": "CN-31", "amount": "1.00", "credited_on": "2199-01-01"}).want(http.StatusUnprocessableEntity, "in_future").wantAt(map[string]string{"/errors/0/pointer": "/credited_on"})
	note["amount"] = "90.00"
	p.keyed("/v1/claims/"+of["short"][:36]+"/credit", p.keepers[0], note).want(http.StatusForbidden, "forbidden")
	credit("short", note).want(http.StatusCreated).wantAt(map[string]string{"/credit/amount": "90.00", "/credit/number": "CN-31", "/credit/credited_on": "2025-01-28", "/amount": "100.00"})
	credit("short", note).want(http.StatusConflict, "already_credited")
	credit("dead", members{"declined": "They were lively at the gate."}).want(http.StatusCreated).wantAt(map[string]string{"/declined": "They were lively at the gate.", "/credit": ""})
	credit("over", members{"number": "IN-7", "amount": "20.00", "credited_on": "2025-01-28"}).want(http.StatusCreated)
	p.keyed("/v1/claims/"+newText()+"/credit", p.coordinator, note).want(http.StatusNotFound, "not_found")
	p.keyed("/v1/claims/"+of["short"][:36]+"/credit", p.token(domain.Treasurer), note).want(http.StatusConflict, "already_credited")

	// Goods 2000, order 10, drops 45 and the way 20 are shared whatever is credited.
	r := p.do("GET", "/v1/rounds/"+p.round+"/charges", p.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/basis": "so_far", "/levelled": "true",
		"/total/goods": "2000.00", "/total/order_fee": "10.00", "/total/drop_fee": "45.00", "/total/route_fee": "20.00", "/total/credit": "70.00", "/total/levelled": "0.00",
		"/total/charged": "2005.00", "/total/owed": "2005.00"})
	if r.at("/sites/2") == "" || r.at("/sites/0/alone") == "" {
		t.Errorf("%s", r.body)
	}
	p.do("GET", "/v1/rounds/"+p.round+"/statements/"+p.sites[0], p.keepers[0], nil).want(http.StatusOK).wantAt(map[string]string{"/basis": "ordered", "/parts/charged": "931.66",
		"/parts/credit": "90.00", "/lines/0/order": "2025-014", "/lines/0/came": "425", "/lines/0/dead": "9", "/lines/0/supplier": "Mazabuka Hatchery", "/payments/0": ""})

	// What was answered for stays.
	deliveries := p.do("GET", "/v1/orders/"+p.order+"/deliveries", p.coordinator, nil)
	p.keyed("/v1/deliveries/"+deliveries.at("/items/0/id")+"/reversal", p.coordinator, members{"reason": "Wrong."}).want(http.StatusConflict, "already_credited")
}

// The supplier has 600 of 1000: by the one rule everybody gets the same part, by the other
// small orders come first. Who would get less than is of use gets nothing.
func TestShortDelivery(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	address := "/v1/orders/" + p.order + "/allotment"
	by := func(r response, name string) (got [3]string) {
		var body struct {
			Lines []map[string]any
		}
		r.into(&body)
		for _, l := range body.Lines {
			for i, request := range p.requests {
				if l["request_id"] == request {
					got[i] = fmt.Sprint(l[name])
				}
			}
		}
		return got
	}
	r := p.do("GET", address+"?available=630", p.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/ordered": "1000", "/pack": "50", "/rules/0/rule": "proportional",
		"/rules/1/rule": "max_min", "/rules/0/left": "30", "/rules/1/left": "130"})
	// In packs of 50: of 12 the lines want 10, 6 and 4 and need 8, 4 and 4. Proportional: 6, 4 and 2
	// at first; the third is without, 8 and 4 are left. Max–min: 4, 4, 4; the first is without, then 6 and 4.
	if got := by(r, "proportional"); got != [3]string{"400", "200", "0"} {
		t.Errorf("proportional: %v in %s", got, r.body)
	}
	if got := by(r, "max_min"); got != [3]string{"0", "300", "200"} {
		t.Errorf("max-min: %v in %s", got, r.body)
	}
	p.do("GET", address+"?available=1000", p.coordinator, nil).want(http.StatusUnprocessableEntity, "not_short")
	p.do("GET", address, p.coordinator, nil).want(http.StatusBadRequest)
	p.do("GET", "/v1/orders/"+newText()+"/allotment?available=1", p.coordinator, nil).want(http.StatusNotFound)
	p.do("GET", address+"?available=600", p.token(domain.Coordinator, p.sites[0]), nil).want(http.StatusForbidden)
	fixed := p.keyed(address, p.coordinator, members{"available": 630, "rule": "proportional"}).want(http.StatusCreated)
	if got := by(fixed, "allotted"); got != [3]string{"400", "200", "0"} {
		t.Errorf("fixed: %v", got)
	}
	// Nothing is due to the third, and nobody is short.
	p.receive(p.coordinator, p.drop(0, members{"counted": 400}), p.drop(1, members{"counted": 200})).want(http.StatusCreated).wantAt(map[string]string{
		"/results/0/delivery/claims/0": "", "/results/0/delivery/amount": "821.66", "/results/1/delivery/amount": "422.17"})
	p.keyed(address, p.coordinator, members{"available": 500, "rule": "max_min"}).want(http.StatusConflict, "already_received")
	p.do("GET", "/v1/rounds/"+p.round+"/charges", p.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/total/goods": "1200.00", "/total/drop_fee": "30.00", "/total/route_fee": "10.00",
		"/total/order_fee": "10.00", "/total/charged": "1250.00", "/sites/2": ""})
}

// Payments are taken off, and what is paid too much is owed to the site.
func TestRoundPayments(t *testing.T) {
	t.Parallel()
	p := newPurchase(newService(t))
	address := "/v1/rounds/" + p.round + "/payments"
	paid := members{"site_id": p.sites[0], "amount": "1000.00", "paid_on": "2025-01-22", "note": "By the bursar."}
	key := newText()
	first := p.do("POST", address, p.coordinator, paid, "Idempotency-Key", key).want(http.StatusCreated).wantAt(map[string]string{"/owed": "21.66", "/amount": "1000.00"})
	if again := p.do("POST", address, p.coordinator, paid, "Idempotency-Key", key).want(http.StatusCreated); string(again.body) != string(first.body) {
		t.Errorf("%s and %s", first.body, again.body)
	}
	paid["amount"] = "-10.00"
	p.keyed(address, p.token(domain.Treasurer), paid).want(http.StatusCreated).wantAt(map[string]string{"/owed": "31.66"})
	for code, c := range map[string]struct {
		change members
		status int
	}{
		"invalid_request":   {members{"amount": "0.00"}, 400},
		"too_precise":       {members{"amount": "1.001"}, 400},
		"unknown_reference": {members{"site_id": newText()}, 422},
		"in_future":         {members{"paid_on": "2199-01-01"}, 422},
	} {
		bad := members{"site_id": p.sites[0], "amount": "1.00", "paid_on": "2025-01-22"}
		for name, value := range c.change {
			bad[name] = value
		}
		p.keyed(address, p.coordinator, bad).want(c.status, code)
	}
	stranger := p.create("/v1/sites", `{"name":"Choma","kind":"school"}`) // has asked for nothing
	p.keyed(address, p.coordinator, members{"site_id": stranger, "amount": "1.00", "paid_on": "2025-01-22"}).want(http.StatusUnprocessableEntity, "unknown_reference").wantAt(map[string]string{
		"/errors/0/pointer": "/site_id", "/errors/0/detail": "has no part in the round"})
	p.keyed(address, p.coordinator, members{"site_id": p.sites[1], "amount": "5.00", "paid_on": "2025-01-21"}).want(http.StatusCreated)
	list := p.do("GET", address, p.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/site": "Chikuni", "/items/0/site_id": p.sites[0], "/items/0/amount": "1000.00", "/items/0/paid_on": "2025-01-22",
		"/items/0/note": "By the bursar.", "/items/1/amount": "-10.00", "/items/2/site": "Monze", "/items/2/note": "", "/items/3": ""})
	if list.at("/items/0/id") != first.at("/id") {
		t.Errorf("%s and %s", list.body, first.body)
	}
	page := p.do("GET", address+"?limit=2", p.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/items/2": ""})
	p.do("GET", address+"?limit=2&after="+page.at("/next"), p.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/amount": "5.00", "/items/1": "", "/next": ""})
	p.do("GET", address, p.keepers[1], nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/amount": "5.00", "/items/1": ""})
	p.do("GET", "/v1/rounds/"+newText()+"/payments", p.coordinator, nil).want(http.StatusNotFound)
	p.keyed(address, p.keepers[0], paid).want(http.StatusForbidden)
	p.keyed("/v1/rounds/"+newText()+"/payments", p.coordinator, paid).want(http.StatusNotFound)
	statement := "/v1/rounds/" + p.round + "/statements/" + p.sites[0]
	p.do("GET", statement, p.keepers[0], nil).want(http.StatusOK).wantAt(map[string]string{"/payments/0/note": "By the bursar.", "/payments/1/amount": "-10.00", "/parts/paid": "990.00", "/parts/owed": "31.66"})
	p.do("GET", statement, p.keepers[1], nil).want(http.StatusNotFound)
	for suffix, begins := range map[string]string{".csv": "What,Amount", ".pdf": "%PDF-", ".html": "<!DOCTYPE html>"} {
		r := p.do("GET", statement+suffix, p.keepers[0], nil).want(http.StatusOK)
		if !strings.HasPrefix(strings.TrimPrefix(string(r.body), "\ufeff"), begins) {
			t.Errorf("%s begins with %.40q", suffix, r.body)
		}
	}
	lines := sheet(t, p.do("GET", "/v1/rounds/"+p.round+"/charges.csv", p.coordinator, nil))
	if head := []string{"Site", "Quantity", "Fish or goods", "Order fees", "Drops", "Way", "Credit", "Levelled", "To pay", "Paid", "Owed", "Alone", "currency"}; !slices.Equal(lines[0], head) {
		t.Errorf("the head of the charges is %q", lines[0])
	}
	if len(lines) != 1+len(p.sites) || lines[1][0] != "Chikuni" || lines[1][9] != "990.00" || lines[1][10] != "31.66" {
		t.Errorf("%q", lines)
	}
	for _, line := range lines[1:] {
		if line[12] != "ZMW" {
			t.Errorf("%q is in no money", line)
		}
	}
	// Each table of the statement can be had; the charges come if nothing is said.
	for query, want := range map[string]struct{ head, last string }{
		"":                {"What,Amount,currency", "Owed,31.66,ZMW"},
		"?table=charges":  {"What,Amount,currency", "Owed,31.66,ZMW"},
		"?table=payments": {"paid_on,note,amount,currency", "2025-01-22,By the bursar.,-10.00,ZMW"},
		"?table=lines":    {"order,supplier,ordered,due,received_on,came,dead,credit,currency", ""},
	} {
		lines := sheet(t, p.do("GET", statement+".csv"+query, p.keepers[0], nil))
		if head, last := strings.Join(lines[0], ","), strings.Join(lines[len(lines)-1], ","); head != want.head || want.last != "" && last != want.last {
			t.Errorf("%q: %q", query, lines)
		}
		if query != "?table=lines" {
			continue
		}
		var said struct {
			Lines []struct {
				Order, Supplier, Credit string
				Ordered, Due            int
			}
		}
		p.do("GET", statement, p.keepers[0], nil).want(http.StatusOK).into(&said)
		if len(lines) != 1+len(said.Lines) {
			t.Errorf("%d lines, and %q", len(said.Lines), lines)
		}
		for i, l := range said.Lines {
			if got, want := lines[1+i], []string{l.Order, l.Supplier, fmt.Sprint(l.Ordered), fmt.Sprint(l.Due)}; !slices.Equal(got[:4], want) || got[7] != l.Credit || got[8] != "ZMW" {
				t.Errorf("line %d is %q, not %q", i, got, want)
			}
		}
	}
	p.do("GET", statement+".csv?table=sums", p.keepers[0], nil).want(http.StatusBadRequest, "invalid_request")
}

// sheet reads an answer in CSV.
func sheet(t testing.TB, r response) [][]string {
	t.Helper()
	lines, err := csv.NewReader(bytes.NewReader(r.want(http.StatusOK).body)).ReadAll()
	if err != nil || len(lines) < 2 {
		t.Fatalf("%v in %q", err, r.body)
	}
	return lines
}
