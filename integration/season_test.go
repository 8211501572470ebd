package integration_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
)

// A season is all that is sent for a round, so that it can be sent again.
type season struct {
	*service
	today domain.Date
	round string
	sites []string
	units []string
	sent  []sentRequest
}

// A sentRequest is one that has changed something.
type sentRequest struct {
	method, path, token string
	body                any
	headers             []string
	answer              response
}

// write sends a request that has to change something.
func (y *season) write(method, path, token string, body any) response {
	y.t.Helper()
	headers := []string{"Idempotency-Key", newText()}
	switch {
	case method == http.MethodPatch:
		headers = []string{"If-Match", y.do("GET", path, token, nil).want(http.StatusOK).header.Get("ETag")}
	case strings.HasSuffix(path, "/deliveries"):
		headers = nil
	}
	r := y.do(method, path, token, body, headers...)
	if r.status >= 300 {
		y.t.Fatalf("%s %s: %d %s", method, path, r.status, r.body)
	}
	y.sent = append(y.sent, sentRequest{method, path, token, body, headers, r})
	return r
}

func (y *season) in(days int) string { return (y.today + domain.Date(days)).String() }

// replay sends all of it again, and complains if anything is another answer or changes
// anything.
func (y *season) replay() {
	y.t.Helper()
	conn := y.owner()
	before := y.contents(conn)
	for _, s := range y.sent {
		r := y.do(s.method, s.path, s.token, s.body, s.headers...)
		switch {
		case s.method == http.MethodPatch:
			r.want(http.StatusPreconditionFailed)
		case s.headers == nil:
			r.want(http.StatusOK)
			if strings.Contains(string(r.body), `"created"`) {
				y.t.Errorf("%s is created again: %s", s.path, r.body)
			}
		case r.status != s.answer.status || string(r.body) != string(s.answer.body) || r.header.Get("Replayed") != "true":
			y.t.Errorf("%s %s was answered with %d %s, and again with %d %s", s.method, s.path, s.answer.status, s.answer.body, r.status, r.body)
		}
	}
	for table, is := range y.contents(conn) {
		if is != before[table] {
			y.t.Errorf("sending all again has changed %s from %s to %s", table, before[table], is)
		}
	}
}

// amount reads money of two decimals.
func amount(t *testing.T, text string) domain.Money {
	t.Helper()
	m, err := domain.Currency("ZMW").Parse(text)
	if err != nil {
		t.Fatalf("%q is no amount: %v", text, err)
	}
	return m
}

// An orderLine is one of an order, as it is read.
type orderLine struct {
	RequestID string      `json:"request_id"`
	SiteID    string      `json:"site_id"`
	Quantity  json.Number `json:"quantity"`
	Cost      string      `json:"cost"`
}

// newSeason makes the schools.
func newSeason(t *testing.T, names []string) *season {
	y := &season{service: newService(t)}
	zone, err := time.LoadLocation("Africa/Lusaka")
	if err != nil {
		t.Fatal(err)
	}
	y.today = domain.DateOf(time.Now(), zone)
	for _, name := range names {
		y.sites = append(y.sites, y.write("POST", "/v1/sites", y.coordinator, members{"name": name, "kind": "school"}).at("/id"))
		y.units = append(y.units, y.write("POST", "/v1/units", y.coordinator, members{"site_id": y.sites[len(y.sites)-1], "name": "Tank", "kind": "tank", "water_volume_l": 5000}).at("/id"))
	}
	return y
}

// call opens the round.
func (y *season) call(m members) {
	body := members{"deadline": y.in(1) + "T20:00:00Z", "window_from": y.in(0), "window_to": y.in(6)}
	maps.Copy(body, m)
	y.round = "/v1/rounds/" + y.write("POST", "/v1/rounds", y.coordinator, body).at("/id")
}

// ordered closes the round, plans it to the proof and orders, and returns the orders.
func (y *season) ordered() []struct {
	ID    string
	Lines []orderLine
} {
	y.t.Helper()
	y.write("POST", y.round+"/state", y.coordinator, members{"state": "closed"})
	plan := y.write("POST", y.round+"/plan", y.coordinator, members{}).wantAt(map[string]string{"/gap": "0.00", "/nobody_above_alone": "true", "/unmet": "[]"})
	var told struct {
		Sites []struct{ Saving *string }
	}
	plan.into(&told)
	for _, s := range told.Sites {
		if s.Saving == nil || strings.HasPrefix(*s.Saving, "-") {
			y.t.Errorf("a site saves nothing: %s", plan.body)
		}
	}
	var orders struct {
		Items []struct {
			ID    string
			Lines []orderLine
		}
	}
	y.write("POST", y.round+"/orders", y.coordinator, members{"plan_version": 1}).into(&orders)
	return orders.Items
}

// charged returns what each site is to pay, and complains unless all parts sum exactly.
func (y *season) charged(basis string) map[string]domain.Money {
	y.t.Helper()
	t := y.t.(*testing.T)
	var c struct {
		Basis    string
		Levelled bool
		Total    map[string]string
		Sites    []struct {
			SiteID string `json:"site_id"`
			Alone  string
			Parts  map[string]string
		}
	}
	r := y.do("GET", y.round+"/charges", y.coordinator, nil).want(http.StatusOK)
	if r.into(&c); c.Basis != basis || !c.Levelled || amount(t, c.Total["levelled"]) != 0 {
		t.Errorf("%s", r.body)
	}
	pays := map[string]domain.Money{}
	sums := map[string]domain.Money{}
	for _, s := range c.Sites {
		for name, text := range s.Parts {
			sums[name] += amount(t, text)
		}
		p := func(name string) domain.Money { return amount(t, s.Parts[name]) }
		if p("goods")+p("order_fee")+p("drop_fee")+p("route_fee")-p("credit")+p("levelled") != p("charged") || p("charged")-p("paid") != p("owed") {
			t.Errorf("the parts of %s do not sum: %v", s.SiteID, s.Parts)
		}
		if s.Alone != "" && p("charged") > amount(t, s.Alone) {
			t.Errorf("%s pays more than alone: %v", s.SiteID, s)
		}
		pays[s.SiteID] = p("charged")
	}
	for name, sum := range sums {
		if amount(t, c.Total[name]) != sum {
			t.Errorf("all %s sum to %d, and the total is %s", name, sum, c.Total[name])
		}
	}
	return pays
}

// Fish are bought together from the call to the last payment, with a short delivery that
// is shared out, claims and credit; the batches cost what their schools pay; and sending
// every request of it again changes nothing.
func TestSeason(t *testing.T) {
	t.Parallel()
	y := newSeason(t, []string{"Chikuni", "Monze", "Kafue", "Choma"})
	y.call(members{"name": "Short rains", "species": "CLZ"})
	treasurer := y.token(domain.Treasurer)
	keepers := map[string]string{}
	for i, site := range y.sites {
		keepers[site] = y.token(domain.Keeper, site)
		q := y.write("POST", y.round+"/requests", keepers[site], members{"site_id": site, "unit_id": y.units[i], "quantity": 400 - 90*i, "least": 100, "size_from_g": 3, "size_to_g": 8})
		if i == 3 {
			y.write("PATCH", "/v1/requests/"+q.at("/id"), keepers[site], members{"quantity": 150, "most": 180})
		}
	}
	near := y.write("POST", "/v1/parties", y.coordinator, members{"name": "Mazabuka Hatchery", "roles": []string{"hatchery"}}).at("/id")
	far := y.write("POST", "/v1/parties", y.coordinator, members{"name": "Lusaka Fry", "roles": []string{"hatchery"}}).at("/id")
	var stops []members
	for i, site := range y.sites {
		stops = append(stops, members{"site_id": site, "km": 10 + 15*i})
	}
	y.write("POST", y.round+"/quotes", y.coordinator, members{"party_id": near, "mean_weight_g": 5, "weight_cv_percent": 25, "steps_apply": "all_units", "pack": 50, "most": 3000,
		"steps": []members{{"from": 1, "unit_price": "0.60"}, {"from": 500, "unit_price": "0.50"}, {"from": 900, "unit_price": "0.45"}}, "earliest": y.in(0), "latest": y.in(6),
		"fee_order": "25.00", "fee_drop": "10.00", "fee_per_km": "1", "stops": stops, "carried_in": "tank", "litres": 1000, "temperature_c": 24,
		"deaths_percent": 2, "short_percent": 3, "deposit_percent": 30, "valid_until": y.in(3)})
	y.write("POST", y.round+"/quotes", y.coordinator, members{"party_id": far, "mean_weight_g": 6, "steps": []members{{"from": 1, "unit_price": "0.95"}}, "most": 3000,
		"earliest": y.in(0), "latest": y.in(6), "valid_until": y.in(3), "fee_order": "40.00"})

	orders := y.ordered()
	if len(orders) != 1 || len(orders[0].Lines) != 4 {
		t.Fatalf("the orders are %v", orders)
	}
	order := orders[0]
	y.write("POST", "/v1/orders/"+order.ID+"/deposits", y.coordinator, members{"amount": "130.00", "paid_on": y.in(0)})
	planned := domain.Money(0)
	for _, l := range order.Lines {
		planned += amount(t, l.Cost)
	}
	ordered := domain.Money(0)
	for _, m := range y.charged("so_far") {
		ordered += m
	}
	if planned != ordered {
		t.Errorf("it was planned to cost %d, and %d is charged when it is ordered", planned, ordered)
	}

	// The hatchery has 850 fish.
	fixed := y.write("POST", "/v1/orders/"+order.ID+"/allotment", y.coordinator, members{"available": 850, "rule": "proportional"})
	var shared struct {
		Lines []struct {
			RequestID string `json:"request_id"`
			SiteID    string `json:"site_id"`
			Allotted  int
		}
	}
	fixed.into(&shared)
	sum := 0
	batches := map[string]string{} // of each delivery
	for i, l := range shared.Lines {
		sum += l.Allotted
		d := members{"id": newText(), "request_id": l.RequestID, "occurred_on": y.in(0), "received_by": "the keeper", "batch_id": newText(), "mean_weight_g": 5}
		switch i {
		case 0: // a tenth is dead
			d["counted"], d["dead"] = l.Allotted, l.Allotted/10
		case 1: // weighed, and as many as was said
			delete(d, "mean_weight_g")
			d["weighed"] = members{"weight_kg": json.Number(fmt.Sprintf("%.3f", float64(l.Allotted)*0.005)), "sample_count": 40, "sample_weight_kg": 0.2}
		case 2: // a tenth is missing
			d["counted"] = l.Allotted - l.Allotted/10
		default:
			d["counted"], d["dead"] = l.Allotted, 1
		}
		batches[d["id"].(string)] = d["batch_id"].(string)
		y.write("POST", "/v1/orders/"+order.ID+"/deliveries", keepers[l.SiteID], members{"deliveries": []members{d}})
	}
	if sum != 850 {
		t.Errorf("%d of 850 were shared out: %s", sum, fixed.body)
	}
	var claims struct {
		Items []struct{ ID, Kind, Amount string }
	}
	y.do("GET", y.round+"/claims", y.coordinator, nil).want(http.StatusOK).into(&claims)
	kinds := []string{}
	for _, c := range claims.Items {
		kinds = append(kinds, c.Kind)
		answer := members{"number": "CN-7", "amount": c.Amount, "credited_on": y.in(0)}
		if c.Kind == "short" {
			answer = members{"declined": "They were counted at the gate."}
		}
		y.write("POST", "/v1/claims/"+c.ID+"/credit", treasurer, answer)
	}
	if slices.Sort(kinds); strings.Join(kinds, " ") != "dead short" {
		t.Errorf("the claims are of %v", kinds)
	}
	for site, owed := range y.charged("so_far") {
		y.write("POST", y.round+"/payments", treasurer, members{"site_id": site, "amount": domain.Currency("ZMW").Format(owed), "paid_on": y.in(0)}).wantAt(map[string]string{"/owed": "0.00"})
	}
	y.write("POST", y.round+"/state", y.coordinator, members{"state": "settled"}).wantAt(map[string]string{"/state": "settled"})
	pays := y.charged("settled")

	// What was declined is in what the fish cost: the entry was brought up to date.
	restated := 0
	for delivery, batch := range batches {
		d := y.do("GET", "/v1/deliveries/"+delivery, y.coordinator, nil).want(http.StatusOK)
		if d.at("/entry_id") != delivery {
			restated++
		}
		cost := y.performance(batch, "").wantAt(map[string]string{"/fish/on_hand": d.at("/alive")}).at("/cost/total")
		if cost != d.at("/amount") || amount(t, cost) != pays[d.at("/site_id")] {
			t.Errorf("a batch costs %s, its delivery %s, and its school pays %d", cost, d.at("/amount"), pays[d.at("/site_id")])
		}
		y.do("GET", y.round+"/statements/"+d.at("/site_id"), keepers[d.at("/site_id")], nil).want(http.StatusOK).wantAt(map[string]string{"/basis": "settled", "/parts/owed": "0.00"})
		// They are eaten on the spot, 2 kg of them: a kg costs half of what all did.
		y.record("harvest", members{"site_id": d.at("/site_id"), "batch_id": batch, "occurred_on": y.in(0), "weight_kg": 2, "count": json.Number(d.at("/alive")), "empties": true, "destination": "eaten"})
		y.performance(batch, "").near(0.005, map[string]float64{"/cost/per_kg": float64(amount(t, cost)) / 200})
	}
	if restated == 0 {
		t.Error("no cost was brought up to date")
	}
	y.replay()
}

// Feed is bought by the same steps, into the stores.
func TestSeasonOfFeed(t *testing.T) {
	t.Parallel()
	y := newSeason(t, []string{"Chikuni", "Monze"})
	feed := y.write("POST", "/v1/products", y.coordinator, members{"name": "Grower", "category": "feed", "unit": "kg", "protein_percent": 32}).at("/id")
	y.call(members{"name": "Feed for the term", "product_id": feed, "fees_by": "weight"})
	keepers := map[string]string{}
	for i, site := range y.sites {
		keepers[site] = y.token(domain.Keeper, site)
		y.write("POST", y.round+"/requests", keepers[site], members{"site_id": site, "quantity": 300 - 100*i, "least": 100, "most": 400})
	}
	mill := y.write("POST", "/v1/parties", y.coordinator, members{"name": "Mosi Feeds", "roles": []string{"feed_seller"}}).at("/id")
	y.write("POST", y.round+"/quotes", y.coordinator, members{"party_id": mill, "steps": []members{{"from": 1, "unit_price": "12.00"}, {"from": 400, "unit_price": "10.00"}}, "steps_apply": "all_units",
		"pack": 25, "most": 2000, "earliest": y.in(0), "latest": y.in(6), "valid_until": y.in(3), "fee_order": "30.00", "fee_drop": "20.00", "fee_per_km": "0.5",
		"stops": []members{{"site_id": y.sites[0], "km": 20}, {"site_id": y.sites[1], "km": 50}}, "expires_on": y.in(120)})
	orders := y.ordered()
	if len(orders) != 1 || len(orders[0].Lines) != 2 {
		t.Fatalf("the orders are %v", orders)
	}
	address := "/v1/orders/" + orders[0].ID + "/deliveries"
	var drops []members
	for _, l := range orders[0].Lines {
		drops = append(drops, members{"id": newText(), "request_id": l.RequestID, "occurred_on": y.in(0), "received_by": "the caretaker", "counted": l.Quantity, "condition": "Dry."})
	}
	y.do("POST", address, y.coordinator, members{"deliveries": []members{{"id": newText(), "request_id": orders[0].Lines[0].RequestID, "occurred_on": y.in(0), "received_by": "the caretaker", "counted": 10, "dead": 1}}}).
		want(http.StatusBadRequest, "invalid_request")
	quantity, err := orders[0].Lines[0].Quantity.Int64()
	if err != nil {
		t.Fatal(err)
	}
	drops[0]["counted"] = quantity - 25 // a bag is missing
	y.write("POST", address, y.coordinator, members{"deliveries": drops})
	claim := y.do("GET", y.round+"/claims", y.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/kind": "short", "/items/1": ""})
	y.write("POST", "/v1/claims/"+claim.at("/items/0/id")+"/credit", y.coordinator, members{"number": "CN-8", "amount": "250.00", "credited_on": y.in(0)})
	y.write("POST", y.round+"/state", y.coordinator, members{"state": "settled"})
	for site, pays := range y.charged("settled") {
		y.write("POST", y.round+"/payments", y.coordinator, members{"site_id": site, "amount": domain.Currency("ZMW").Format(pays), "paid_on": y.in(0)}).wantAt(map[string]string{"/owed": "0.00"})
		kg := "200"
		if site == y.sites[0] {
			kg = "275"
		}
		y.do("GET", "/v1/sites/"+site+"/store", keepers[site], nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/product_id": feed, "/items/0/quantity": kg, "/items/0/value": domain.Currency("ZMW").Format(pays)})
	}
	y.replay()
}
