package integration_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"path"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"shoalbook/openapi"
)

// document is the contract, for what is generated from it.
var document = sync.OnceValues(func() (*openapi3.T, error) {
	return openapi3.NewLoader().LoadFromData(openapi.YAML)
})

// A story is a co-operative in which all of the contract's own examples have
// happened: one of everything, and an entry of every kind.
type story struct {
	*service
	mark string            // in every name, so that it is known again anywhere
	ids  map[string]string // of the examples, to those they have here
	made []response
}

// newStory tells the examples of the contract to the service, as they are written
// but for their ids, and a year earlier. All of them must be taken.
func newStory(s *service, mark string) *story {
	s.t.Helper()
	y := &story{service: s, mark: mark, ids: map[string]string{}}
	const site, unit, party, product = 1, 11, 31, 41
	y.creates("createSite", site, nil)
	y.creates("createSite", site+1, nil)
	y.creates("createLoop", 21, nil)
	y.creates("createUnit", unit, nil)
	y.creates("createUnit", unit+1, map[string]any{"name": "Tank B"})
	y.creates("createUnit", unit+2, map[string]any{"name": "Bed", "kind": "bed", "bed_area_m2": 12.5})
	y.creates("createParty", party, nil)
	y.creates("createParty", party+1, map[string]any{"name": "Mosi Feeds", "roles": []string{"feed_seller"}})
	y.creates("createParty", party+2, map[string]any{"name": "Market women", "roles": []string{"buyer"}})
	y.creates("createProduct", product, nil)
	y.creates("createProduct", product+1, map[string]any{"name": "Salt", "category": "other"})
	y.creates("createEquipment", 51, nil)
	y.creates("createMember", 71, nil)
	y.creates("createToken", 81, nil)
	y.creates("createPeriod", 22, nil)
	if len(y.do("GET", "/v1/limits", y.coordinator, nil).want(http.StatusOK).ids()) == 0 {
		y.creates("createLimit", 49, nil)
	} else { // of each there is one
		y.creates("createLimit", 49, map[string]any{"parameter": "no2"})
	}
	// Codes of indicators are of the co-operative.
	if n := len(y.do("GET", "/v1/indicators", y.coordinator, nil).want(http.StatusOK).ids()); n == 0 {
		y.creates("createIndicator", 54, nil)
	} else {
		y.creates("createIndicator", 54, map[string]any{"code": fmt.Sprint("own_", n)})
	}
	if len(y.do("GET", "/v1/factors", y.coordinator, nil).want(http.StatusOK).ids()) == 0 {
		y.creates("createFactor", 59, nil)
	} else { // of each there is one
		y.creates("createFactor", 59, map[string]any{"form": "dressed"})
	}
	y.creates("createGrant", 52, nil)
	y.creates("createGrantCost", 53, nil)
	y.creates("createReport", 58, map[string]any{"title": "Still a draft"})
	y.creates("createReport", 55, nil)
	y.made = append(y.made, y.do("POST", "/v1/reports/"+y.id(55)+"/issue", y.coordinator, nil, "Idempotency-Key", newText()).want(http.StatusCreated))
	link := operationOf(y.t, "createReportLink")
	shared := y.do("POST", "/v1/reports/"+y.id(55)+"/links", y.coordinator, y.told(link.example(y.t)), "Idempotency-Key", newText()).want(http.StatusCreated)
	y.ids[exampleID(56)] = shared.at("/id")
	y.ids[exampleID(57)] = strings.TrimPrefix(shared.at("/path"), "/shared/")
	y.client(61)
	y.client(62)
	y.creates("createBatch", 61, nil)
	y.creates("createBatch", 62, map[string]any{"id": y.ids[exampleID(62)], "name": "Small ones"})
	y.creates("createUnit", 14, map[string]any{"site_id": y.id(2), "loop_id": nil, "name": "Far tank"})
	y.client(63)
	y.creates("createBatch", 63, map[string]any{"id": y.id(63), "site_id": y.id(2), "unit_id": y.id(14), "name": "Lent ones"})

	y.creates("createRound", 34, nil)
	y.creates("createRequest", 24, nil)
	y.creates("createQuote", 25, nil)
	y.buys()

	doc, err := document()
	if err != nil {
		s.t.Fatal(err)
	}
	var entries []any
	var reversal any
	for _, name := range slices.Sorted(maps.Keys(doc.Components.Examples)) {
		if !strings.HasPrefix(name, "Entry") {
			continue
		}
		for _, e := range y.told(doc.Components.Examples[name].Value.Value).(map[string]any)["entries"].([]any) {
			if e.(map[string]any)["kind"] == "reversal" {
				reversal = e // of an entry that must be there before
			} else {
				entries = append(entries, e)
			}
		}
	}
	y.records(entries...)
	y.records(reversal)
	y.receives()
	y.more()
	return y
}

// receives has an order that came for one of two requests, and was short.
func (y *story) receives() {
	y.t.Helper()
	const round, quote, order, open, came, delivery, claim = 84, 85, 86, 65, 66, 67, 68
	for _, n := range []int{round, quote, order, open, came, delivery} {
		y.client(n)
	}
	y.bought(y.id(round), y.id(order), y.id(quote), y.id(31), "Rains"+y.mark, []boughtLine{
		{request: y.id(open), site: y.id(1), unit: y.id(11), quantity: 210, least: 150, km: 10_000, fee: 500, route: 250, alone: 90_000},
		{request: y.id(came), site: y.id(1), unit: y.id(12), quantity: 200, least: 150, km: 10_000, fee: 500, route: 250, alone: 90_000},
	})
	body := map[string]any{"deliveries": []any{map[string]any{"id": y.id(delivery), "request_id": y.id(came), "occurred_on": "2025-05-19", "counted": 150, "received_by": "Ms. Tembo" + y.mark,
		"into_batch_id": y.id(62), "condition": "Lively" + y.mark}}}
	r := y.do("POST", "/v1/orders/"+y.id(order)+"/deliveries", y.coordinator, body).want(http.StatusCreated)
	y.ids[exampleID(claim)] = r.at("/results/0/delivery/claims/0/id")
	y.made = append(y.made, r)
}

// more goes on where the examples end: goods and fish are on their way, and entries
// are held. It notes the id of the token that has done all of it.
func (y *story) more() {
	y.t.Helper()
	y.ids[exampleID(82)] = y.do("GET", "/v1/audit?limit=1&noun=entry&site_id="+y.id(1), y.coordinator, nil).want(http.StatusOK).at("/items/0/by/token_id")
	entry := func(n int, kind string, members map[string]any) map[string]any {
		y.client(n)
		e := map[string]any{"id": y.id(n), "kind": kind, "site_id": y.id(1), "occurred_on": "2025-05-20", "note": kind + y.mark}
		maps.Copy(e, members)
		return e
	}
	y.records(
		entry(92, "sent", map[string]any{"to_site_id": y.id(2), "product_id": y.id(41), "quantity": 3}),
		entry(93, "sent", map[string]any{"to_site_id": y.id(2), "batch_id": y.id(61), "count": 4}),
	)
	// A question is asked: such water is seldom.
	y.records(entry(98, "water", map[string]any{"unit_id": y.id(11), "ph": 9.5}))
	var questions struct {
		Items []struct {
			ID      string
			EntryID string `json:"entry_id"`
		}
	}
	y.do("GET", "/v1/questions?limit=500&site_id="+y.id(1), y.coordinator, nil).want(http.StatusOK).into(&questions)
	for _, q := range questions.Items {
		if q.EntryID == y.id(98) {
			y.ids[exampleID(99)] = q.ID
		}
	}
	held := []any{
		entry(94, "death", map[string]any{"batch_id": y.id(61), "count": 100_000}),
		entry(95, "sale", map[string]any{"batch_id": y.id(61), "disposal": "given", "weight_kg": 100_000}),
	}
	r := y.do("POST", "/v1/entries", y.coordinator, map[string]any{"entries": held, "on_refusal": "hold"}).want(http.StatusOK)
	if n := bytes.Count(r.body, []byte(`"status":"held"`)); n != len(held) {
		y.t.Errorf("%d of %d entries are held: %s", n, len(held), r.body)
	}
}

// buys has a round that is planned, and one that was ordered.
func (y *story) buys() {
	y.t.Helper()
	day := func(days int) string { return time.Now().AddDate(0, 0, days).Format(time.DateOnly) }
	whole := y.ids[exampleID(34)]
	for round, request := range map[int]int{35: 26, 37: 27} {
		y.creates("createRound", round, map[string]any{"name": "Later", "deadline": day(10) + "T00:00:00Z", "window_from": day(20), "window_to": day(30)})
		y.ids[exampleID(34)] = y.id(round) // where the next ones are made
		y.creates("createRequest", request, nil)
		y.creates("createQuote", request+2, map[string]any{"earliest": day(20), "latest": day(30), "valid_until": day(15)})
		y.posts("state", map[string]any{"state": "closed"})
		y.posts("plan", map[string]any{})
		if round == 37 {
			y.ids[exampleID(36)] = y.posts("orders", map[string]any{"plan_version": 1}).at("/items/0/id")
		}
		y.ids[exampleID(34)] = whole
	}
}

// posts does something with the round of the examples.
func (y *story) posts(what string, body any) response {
	y.t.Helper()
	r := y.do("POST", "/v1/rounds/"+y.id(34)+"/"+what, y.coordinator, body, "Idempotency-Key", newText()).want(http.StatusCreated)
	y.made = append(y.made, r)
	return r
}

// client makes the id that a client gives something of the examples.
func (y *story) client(n int) { y.ids[exampleID(n)] = newText() }

// exampleID returns the id that the examples give their things.
func exampleID(n int) string {
	return "019ade3a-7c00-7000-8000-0000000000" + string(rune('0'+n/10)) + string(rune('0'+n%10))
}

// id returns what has become of the id of an example; n is what it ends with.
func (y *story) id(n int) string { return y.ids[exampleID(n)] }

// creates adds one thing as the example of an operation has it, changed where told.
func (y *story) creates(operation string, n int, change map[string]any) {
	y.t.Helper()
	o := operationOf(y.t, operation)
	body := y.told(o.example(y.t)).(map[string]any)
	for name, value := range change {
		if body[name] = value; name == "name" {
			body[name] = value.(string) + y.mark
		}
		if value == nil {
			delete(body, name)
		}
	}
	var headers []string
	if o.takes("Idempotency-Key") {
		headers = []string{"Idempotency-Key", newText()}
	}
	address := o.path
	for _, p := range o.params {
		if p.In == openapi3.ParameterInPath {
			address = strings.Replace(address, "{"+p.Name+"}", y.ids[examples[path.Base(p.Schema.Ref)]], 1)
		}
	}
	r := y.do(o.method, address, y.coordinator, body, headers...).want(http.StatusCreated)
	y.ids[exampleID(n)] = r.at("/id")
	y.made = append(y.made, r)
}

func (y *story) records(entries ...any) {
	y.t.Helper()
	r := y.do("POST", "/v1/entries", y.coordinator, map[string]any{"entries": entries}).want(http.StatusOK)
	if n := bytes.Count(r.body, []byte(`"status":"created"`)); n != len(entries) {
		y.t.Errorf("%d of %d examples were recorded: %s", n, len(entries), r.body)
	}
	y.made = append(y.made, r)
}

var (
	anyID     = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}`)
	aYear     = regexp.MustCompile(`"(202[56])-`)
	freeTexts = []string{"name", "reason", "lot", "crop", "note", "size_class", "season", "feeder", "source", "what", "dose", "findings", "advice"}
)

// told returns an example as it is told here.
func (y *story) told(example any) any {
	y.t.Helper()
	raw, err := json.Marshal(example)
	if err != nil {
		y.t.Fatal(err)
	}
	raw = anyID.ReplaceAllFunc(raw, func(id []byte) []byte {
		if _, ok := y.ids[string(id)]; !ok {
			y.ids[string(id)] = newText()
		}
		return []byte(y.ids[string(id)])
	})
	raw = aYear.ReplaceAllFunc(raw, func(year []byte) []byte {
		year[4]-- // so that nothing is in the future
		return year
	})
	var v any
	if err := json.Unmarshal(raw, &v); err != nil {
		y.t.Fatal(err)
	}
	y.sign(v)
	return v
}

// sign puts the mark into all that is free text.
func (y *story) sign(v any) {
	switch v := v.(type) {
	case map[string]any:
		for name, member := range v {
			if text, ok := member.(string); ok && slices.Contains(freeTexts, name) {
				v[name] = text + y.mark
				continue
			}
			y.sign(member)
		}
	case []any:
		for _, item := range v {
			y.sign(item)
		}
	}
}
