package integration_test

import (
	"flag"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"pgregory.net/rapid"

	"shoalbook/api"
	"shoalbook/domain"
	"shoalbook/postgres"
)

// TestFuzz sends requests that were drawn from the contract, most as it allows them
// and a third broken in one way, each run to a co-operative of its own. Whatever is
// sent, the answer must be one of those that the contract has for it; what is
// allowed is never a bad request, what is not is refused as just that; and the books
// are right in the end.
func TestFuzz(t *testing.T) {
	t.Parallel()
	s := newService(t)
	handler, err := api.New(s.store, api.Config{Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError})), Ready: s.store.Ping, Metrics: true})
	if err != nil {
		t.Fatal(err)
	}
	s.server = httptest.NewServer(handler)
	t.Cleanup(s.server.Close)
	// Few runs, and long ones: each begins by making a co-operative.
	if checks := flag.Lookup("rapid.checks"); checks.Value.String() == checks.DefValue {
		if err := checks.Value.Set("90"); err != nil {
			t.Fatal(err)
		}
	}
	seen := statuses{}
	kinds := map[string]int{} // of entries that were recorded
	rapid.Check(t, func(rt *rapid.T) {
		w := newWorld(rt, newStory(s.neighbour(), ""), seen, kinds)
		for range 2 {
			rt.Repeat(w.actions(slices.All(operations(t))))
			rt.Repeat(w.actions(slices.Backward(operations(t))))
		}
		w.verify(rt)
	})
	if t.Failed() {
		return
	}
	t.Logf("%sentries recorded: %s", seen.table(t), marshal(kinds))
	if n := seen.all(); n < 6000 && flag.Lookup("rapid.checks").Value.String() == "90" {
		t.Errorf("only %d requests", n)
	}
	for _, o := range operations(t) {
		if seen.of(o.OperationID, 200, 299) == 0 {
			t.Errorf("no %s was successful", o.OperationID)
		}
	}
	for _, kind := range domain.Kinds() {
		if kinds[kind] == 0 {
			t.Errorf("no %s was recorded", kind)
		}
	}
}

// A world is what a client knows of the co-operative it sends requests to.
type world struct {
	*story
	today      domain.Date
	ids        map[string][]string // by the name of their schema
	place      map[string]string   // where batches, units, periods and entries are
	tags       map[string]string   // by address
	links      map[string][]string // to further pages, by operation
	onTheWay   []map[string]any    // entries of what was sent
	siteKeeper string              // a token for one site
	others     map[string]string   // tokens of other roles than the coordinator's, by role
	before     []fuzzed            // that can be repeated
	answers    []response          // to these
	seen       statuses
	kinds      map[string]int
}

func newWorld(rt *rapid.T, y *story, seen statuses, kinds map[string]int) *world {
	zone, err := time.LoadLocation("Africa/Lusaka")
	if err != nil {
		rt.Fatal(err)
	}
	w := &world{
		story: y, today: domain.DateOf(time.Now(), zone), seen: seen, kinds: kinds,
		ids: map[string][]string{}, place: map[string]string{}, tags: map[string]string{}, links: map[string][]string{},
	}
	for _, of := range []struct {
		name string
		ns   []int
	}{
		{"GrantID", []int{52}}, {"GrantCostID", []int{53}}, {"IndicatorID", []int{54}}, {"FactorID", []int{59}}, {"ReportID", []int{55, 58}}, {"ReportLinkID", []int{56}}, {"ReportLinkSecret", []int{57}},
		{"SiteID", []int{1, 2}}, {"UnitID", []int{11, 12, 13}}, {"LoopID", []int{21}}, {"PartyID", []int{31, 32, 33}},
		{"ProductID", []int{41, 42}}, {"EquipmentID", []int{51}}, {"BatchID", []int{61, 62}}, {"MemberID", []int{71}}, {"TokenID", []int{81}},
		{"PeriodID", []int{22}}, {"LimitID", []int{49}}, {"QuestionID", []int{99}},
		{"RoundID", []int{34, 35, 37}}, {"RequestID", []int{24, 26, 27}}, {"QuoteID", []int{25, 28, 29}}, {"OrderID", []int{86, 36}},
		{"DeliveryID", []int{67}}, {"ClaimID", []int{68}}, {"RoundID", []int{84}},
	} {
		for _, n := range of.ns {
			w.ids[of.name] = append(w.ids[of.name], y.id(n))
			if of.name == "UnitID" || of.name == "BatchID" || of.name == "PeriodID" {
				w.place[y.id(n)] = y.id(1)
			}
		}
	}
	for n := 1; n <= 15; n++ {
		id := y.ids[fmt.Sprintf("019ade3a-7c00-7000-8000-0000000000a%x", n)]
		w.ids["EntryID"] = append(w.ids["EntryID"], id)
		w.place[id] = y.id(1)
	}
	sent := map[string]any{"id": newText(), "kind": "sent", "site_id": y.id(1), "to_site_id": y.id(2), "occurred_on": "2025-09-01", "product_id": y.id(41), "quantity": 3}
	w.records(sent)
	w.onTheWay = append(w.onTheWay, sent)
	w.seal(rt)
	w.siteKeeper = w.token(domain.Keeper, y.id(1))
	w.others = map[string]string{"keeper": w.keeper, "funder": w.funder}
	for _, role := range []domain.Role{domain.Adviser, domain.Treasurer, domain.Auditor} {
		w.others[string(role)] = w.token(role)
	}
	return w
}

// actions returns an action for each operation. Those that come first are drawn most,
// so recordEntries, in which there is most, comes first and more than once.
func (w *world) actions(all iter.Seq2[int, operation]) map[string]func(*rapid.T) {
	actions := map[string]func(*rapid.T){}
	for _, o := range all {
		actions[fmt.Sprintf("%02d %s", len(actions)+3, o.OperationID)] = func(rt *rapid.T) { w.ask(rt, o) }
		if o.OperationID == "recordEntries" {
			for n := range 3 {
				actions[fmt.Sprintf("%02d %s", n, o.OperationID)] = func(rt *rapid.T) { w.ask(rt, o) }
			}
		}
	}
	return actions
}

// ask draws a request of an operation, sends it and judges the answer.
func (w *world) ask(rt *rapid.T, o operation) {
	d := &drawer{t: rt, w: w}
	var r fuzzed
	switch links := w.links[o.OperationID]; {
	case len(links) > 0 && d.oneIn(3):
		r = fuzzed{op: o, path: pick(rt, "link", links), follows: true, role: "coordinator", token: w.coordinator}
	case len(w.before) > 0 && d.oneIn(20):
		r = pick(rt, "again", w.before)
		r.repeats = true
	default:
		r = d.request(o)
	}
	answer := w.send(rt, r)
	w.seen.add(r.op.OperationID, answer.status)
	w.judge(rt, r, answer)
	if r.broken == "" && answer.status < 300 {
		w.learn(r, answer)
	}
}

// request draws a request of an operation.
func (d *drawer) request(o operation) fuzzed {
	w := d.w
	r := fuzzed{op: o, path: o.path, query: url.Values{}, role: "coordinator", token: w.coordinator}
	breaks := d.oneIn(3)
	if !breaks && d.oneIn(5) {
		if d.oneIn(4) {
			r.role, r.token, r.sees = "keeper", w.siteKeeper, w.id(1)
		} else {
			r.role = pick(d.t, "role", slices.Sorted(maps.Keys(w.others)))
			r.token = w.others[r.role]
		}
	}
	for _, p := range o.params {
		of := path.Base(p.Schema.Ref)
		switch p.In {
		case openapi3.ParameterInPath:
			if secrets := w.ids[of]; of == "ReportLinkSecret" && d.oneIn(2) {
				r.path = strings.Replace(r.path, "{"+p.Name+"}", secrets[0], 1)
			}
			if p.Schema.Value.Format != "uuid" {
				r.path = strings.Replace(r.path, "{"+p.Name+"}", fmt.Sprint(p.Schema.Value.Example), 1)
				continue
			}
			id := d.id(of, p.Name+" in the path")
			if r.strangeID = !slices.Contains(w.ids[of], id); r.strangeID && breaks {
				id = w.ids[of][0]
			}
			r.path = strings.Replace(r.path, "{"+p.Name+"}", id, 1)
			if site := w.place[id]; of == "PeriodID" && site != "" && !d.oneIn(6) { // of its own site
				r.path = strings.Replace(o.path, "{id}", site, 1)
				r.path = strings.Replace(r.path, "{"+p.Name+"}", id, 1)
			}
		case openapi3.ParameterInQuery:
			if p.Name == "after" || !p.Required && d.oneIn(2) { // what is after is for the service to say
				continue
			}
			v := d.value(p.Schema, p.Name)
			items, ok := v.([]any)
			if !ok {
				items = []any{v}
			}
			for _, item := range items {
				r.query.Add(p.Name, fmt.Sprint(item))
			}
		case openapi3.ParameterInHeader:
			if p.Required || d.oneIn(3) {
				r.headers = append(r.headers, p.Name, d.header(p.Name, r.path, breaks))
			}
		}
	}
	d.spots = nil
	if content := o.body(); content != nil {
		r.body = d.value(content.Schema, "body")
	}
	if body, ok := r.body.(map[string]any); ok && !breaks && !d.oneIn(6) {
		d.purchase(&r, body)
	}
	if body, ok := r.body.(map[string]any); ok && !breaks && !d.oneIn(6) {
		d.delivered(o.OperationID, body)
	}
	if strings.HasSuffix(o.OperationID, "eGrant") && r.body != nil && !breaks && d.oneIn(2) { // so much must fit together that it seldom does
		r.body = w.told(o.example(w.t))
	}
	if o.OperationID == "createToken" && !breaks && d.oneIn(2) { // most else is more than the member may
		r.body = map[string]any{"member_id": w.id(71)}
	}
	if breaks {
		d.breaks(&r)
	}
	if r.raw == nil && r.body != nil {
		r.raw = marshal(r.body)
	}
	return r
}

// header draws a header, to be one of which nothing else can go wrong if told so.
func (d *drawer) header(name, address string, harmless bool) string {
	switch name {
	case "If-Match":
		switch tag := d.w.tags[address]; {
		case harmless || tag == "" && d.oneIn(2):
			return "*"
		case tag != "" && !d.oneIn(5):
			return tag
		}
		return pick(d.t, name, []string{`"1"`, `"2", "3"`, `W/"1"`, `"0-growing-"`})
	case "Idempotency-Key":
		return d.fresh(name)
	case "X-Device":
		return pick(d.t, name, []string{"phone of the fish club", "!", strings.Repeat("d", 100)})
	}
	return pick(d.t, name, []string{"handling=strict", "handling=lenient", "respond-async, handling=strict", "return=minimal"})
}

// send sends a request and holds the answer against the contract.
func (w *world) send(rt *rapid.T, r fuzzed) response {
	address := r.path
	if len(r.query) > 0 {
		address += "?" + r.query.Encode()
	}
	var body any
	if r.raw != nil {
		body = r.raw
	}
	request, err := newRequest(w.t.Context(), r.op.method, w.server.URL+address, r.token, body, r.headers)
	if err != nil {
		rt.Fatal(err)
	}
	answer, err := transport.RoundTrip(request)
	if err != nil {
		rt.Fatalf("%s %s: %v", r.op.method, address, err)
	}
	defer answer.Body.Close()
	got := response{t: w.t, what: r.op.method + " " + address, status: answer.StatusCode, header: answer.Header}
	if got.body, err = io.ReadAll(answer.Body); err != nil {
		rt.Fatal(err)
	}
	rt.Logf("%s as %s with %q and %s\nbroken: %q\n%d %.1000s", got.what, r.role, r.headers, r.raw, r.broken, got.status, got.body)
	if err := checkAnswer(request, got); err != nil {
		rt.Fatalf("the answer is not as the contract says: %.600s", err)
	}
	return got
}

// learn notes what a successful answer tells.
func (w *world) learn(r fuzzed, a response) {
	if r.repeats { // it is as it was then
		return
	}
	if tag := a.header.Get("ETag"); tag != "" {
		address := r.path
		if location := a.header.Get("Location"); location != "" {
			address = location
		}
		w.tags[address] = tag
	}
	if link, _, ok := strings.Cut(strings.TrimPrefix(a.header.Get("Link"), "<"), ">"); ok && len(w.links[r.op.OperationID]) < 5 {
		w.links[r.op.OperationID] = append(w.links[r.op.OperationID], link)
	}
	if r.op.body() == nil || r.op.method == http.MethodPatch {
		return
	}
	if r.query.Get("dry_run") != "true" {
		w.before, w.answers = append(w.before, r), append(w.answers, a)
	}
	switch name := r.op.OperationID; name {
	case "recordEntries":
		if r.query.Get("dry_run") != "true" {
			w.recorded(r, a)
		}
	case "reverseEntry":
		w.ids["EntryID"] = append(w.ids["EntryID"], a.at("/entry/id"))
	default:
		id, of := a.at("/id"), strings.TrimPrefix(name, "create")+"ID"
		if !slices.Contains(w.ids[of], id) {
			w.ids[of] = append(w.ids[of], id)
		}
		if of == "UnitID" || of == "BatchID" || of == "PeriodID" {
			w.place[id] = a.at("/site_id")
		}
	}
}

// recorded notes the entries that are in the journal now.
func (w *world) recorded(r fuzzed, a response) {
	for i, e := range r.body.(map[string]any)["entries"].([]any) {
		entry := e.(map[string]any)
		if a.at(fmt.Sprintf("/results/%d/status", i)) != "created" {
			continue
		}
		w.kinds[entry["kind"].(string)]++
		id := entry["id"].(string)
		w.ids["EntryID"] = append(w.ids["EntryID"], id)
		w.place[id] = entry["site_id"].(string)
		if entry["kind"] == "sent" {
			w.onTheWay = append(w.onTheWay, entry)
		}
	}
}

// seal seals what was recorded.
func (w *world) seal(rt *rapid.T) {
	if _, err := w.store.Seal(w.t.Context(), w.coop); err != nil {
		rt.Fatal(err)
	}
}

// verify fails unless every figure that is kept is what the journal says, and everything
// is as it was sealed.
func (w *world) verify(rt *rapid.T) {
	w.seal(rt)
	err := w.store.Inspect(w.t.Context(), w.coop, func(tx *postgres.Tx) error {
		found, err := tx.Verify(w.t.Context(), false)
		for _, f := range found {
			rt.Error(f)
		}
		if err != nil {
			return err
		}
		faults, err := tx.VerifySeals(w.t.Context(), nil)
		for _, f := range faults {
			rt.Error(f)
		}
		return err
	})
	if err != nil {
		rt.Error(err)
	}
}
