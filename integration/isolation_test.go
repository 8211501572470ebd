package integration_test

import (
	"cmp"
	"fmt"
	"maps"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

// A wall stands between somebody who asks and what is not for them: another
// co-operative, or other sites of the own one. Both have the same story.
type wall struct {
	*testing.T
	complain func(format string, args ...any) // Errorf, where there should be no leak
	me, they *story
	token    string
	secrets  []string                       // of theirs, that must be in no answer
	shared   []string                       // schemas of ids that are no secret
	known    map[string]string              // places where theirs may be told from nothing, and why
	tried    map[string]map[string][]string // places, by operation and sort
	matters  map[string]bool                // places, whether what is there made a difference
	tag      string                         // to be sent as the tag of what is asked for
}

// A place is where a request can name something.
type place struct {
	at  []string // path, query or body, and the way to it
	of  string   // the schema of its ids
	own string   // the example that is there, or of that sort
}

func (p place) String() string { return strings.Join(p.at, ".") }

// tries holds, for every operation of the contract and every place in its requests
// that can name something, the answer to what is theirs against the answer to what
// is nowhere: they must be the same. That the place matters is shown by the answer
// to what is one's own, which is another.
func (w *wall) tries() {
	w.all(false)
	for _, o := range operations(w.T) {
		if o.method == "GET" && !strings.Contains(o.path, "{") {
			w.list(o)
		}
		if strings.Contains(o.path, "{") && (o.method == "GET" || o.takes("If-Match")) {
			w.etag(o)
		}
		if o.takes("after") {
			w.cursor(o)
		}
		if o.takes("Idempotency-Key") {
			w.key(o)
		}
	}
	w.all(true) // last, since then something of one's own has ids of theirs
}

// all tries all places, those that take any id or the others.
func (w *wall) all(free bool) {
	for _, o := range operations(w.T) {
		for _, body := range w.bodies(o) {
			for _, p := range w.places(o, body) {
				if w.free(o, p) == free {
					w.try(o, body, p)
				}
			}
		}
	}
}

// bodies returns the examples of the bodies of an operation, so that each place is
// in one of them; nil for none.
func (w *wall) bodies(o operation) []any {
	switch {
	case o.body() == nil:
		return []any{nil}
	case o.OperationID == "recordEntries":
		var all []any
		for _, x := range o.body().Examples {
			all = append(all, x.Value.Value)
		}
		one := func(kind string, members ...map[string]any) {
			e := map[string]any{"id": exampleID(91), "kind": kind, "site_id": exampleID(1), "occurred_on": "2026-02-12"}
			for _, m := range members {
				maps.Copy(e, m)
			}
			all = append(all, map[string]any{"entries": []any{e}})
		}
		fish := exampleID(61)
		one("move", map[string]any{"batch_id": fish, "to_unit_id": exampleID(12)})
		one("sent", map[string]any{"batch_id": fish, "count": 1, "to_site_id": exampleID(2)})
		lent := map[string]any{"site_id": exampleID(2), "occurred_on": "2026-06-01"}
		one("received", lent, map[string]any{"sent_id": exampleID(92), "quantity": 2})
		one("received", lent, map[string]any{"sent_id": exampleID(93), "batch_id": exampleID(63), "count": 3})
		one("sale", map[string]any{"batch_id": fish, "disposal": "sold", "weight_kg": 1, "amount": "3.00", "buyer_id": exampleID(33), "occurred_on": "2026-05-11"})
		one("incident", map[string]any{"type": "theft", "batch_id": fish})
		one("treatment", map[string]any{"batch_id": fish, "product_id": exampleID(42), "dose": "as written", "reason": "spots", "withdrawal_days": 0})
		one("visit", map[string]any{"findings": "all well", "batch_id": fish})
		one("expense", map[string]any{"category": "other", "amount": "1.00", "supplier_id": exampleID(31)})
		return all
	case o.body().Example != nil:
		return []any{o.body().Example}
	}
	var all []any
	for _, x := range o.body().Examples {
		all = append(all, x.Value.Value)
	}
	return all
}

// examples says which example stands for each sort of thing.
var examples = map[string]string{
	"SiteID": exampleID(1), "UnitID": exampleID(11), "LoopID": exampleID(21), "PartyID": exampleID(31), "ProductID": exampleID(41),
	"EquipmentID": exampleID(51), "BatchID": exampleID(61), "MemberID": exampleID(71), "TokenID": exampleID(81),
	"GrantID": exampleID(52), "GrantCostID": exampleID(53), "IndicatorID": exampleID(54), "FactorID": exampleID(59), "ReportID": exampleID(55), "ReportLinkID": exampleID(56), "ReportLinkSecret": exampleID(57),
	"PeriodID": exampleID(22), "LimitID": exampleID(49), "QuestionID": exampleID(99),
	"RoundID": exampleID(34), "RequestID": exampleID(24), "QuoteID": exampleID(25),
	"OrderID": exampleID(86), "DeliveryID": exampleID(67), "ClaimID": exampleID(68),
	"EntryID": "019ade3a-7c00-7000-8000-0000000000a2",
}

// places lists where a request can name something, by the schemas of the contract.
func (w *wall) places(o operation, body any) []place {
	var found []place
	for _, p := range o.params {
		if s := p.Schema; s.Value.Format == "uuid" {
			of := path.Base(s.Ref)
			own := examples[of]
			if p.Name == "who" {
				of, own = "TokenID", exampleID(82)
			}
			found = append(found, place{[]string{p.In, p.Name}, of, own})
		}
	}
	if body != nil {
		found = append(found, placesIn(o.body().Schema, body, []string{"body"})...)
	}
	return found
}

func placesIn(ref *openapi3.SchemaRef, v any, at []string) []place {
	s := concrete(ref.Value, v)
	var found []place
	for name, member := range s.Properties {
		object, _ := v.(map[string]any)
		here := append(slices.Clone(at), name)
		switch m := member.Value; {
		case m.Format == "uuid":
			of := path.Base(member.Ref)
			if name == "loop_id" {
				of = "LoopID"
			}
			own, ok := object[name].(string)
			if !ok && object["kind"] != nil {
				continue // there is another example with it
			}
			if !ok {
				own = examples[of]
			}
			found = append(found, place{here, of, own})
		case m.Type.Is(openapi3.TypeArray) && m.Items.Value.Format == "uuid":
			found = append(found, place{append(here, "0"), path.Base(m.Items.Ref), examples[path.Base(m.Items.Ref)]})
		case m.Type.Is(openapi3.TypeArray):
			items, _ := object[name].([]any)
			for _, item := range items[:min(1, len(items))] {
				found = append(found, placesIn(m.Items, item, append(here, "0"))...)
			}
		case object[name] != nil:
			found = append(found, placesIn(member, object[name], here)...)
		}
	}
	return found
}

// try holds the answers to one place against each other.
func (w *wall) try(o operation, body any, p place) {
	w.Helper()
	what := o.OperationID + " " + p.String()
	if e, ok := body.(map[string]any); ok && o.OperationID == "recordEntries" {
		what += " of " + fmt.Sprint(e["entries"].([]any)[0].(map[string]any)["kind"])
	}
	w.note(o, p.at[0], what)
	theirs, nowhere := w.they.ids[p.own], newText()
	if theirs == "" {
		theirs = newText() // theirs too is free text here
	}
	var options []string
	if w.free(o, p) && strings.HasSuffix(what, "of received") || o.OperationID == "recordDeliveries" { // which can be done once
		options = []string{"dry_run=true"}
	}
	a, b := w.ask(o, body, p, theirs, options...), w.ask(o, body, p, nowhere, options...)
	w.leaks(what, a, theirs)
	if slices.Contains(w.shared, p.of) {
		return
	}
	if w.known[what] != "" {
		return
	}
	if plain(a, theirs) != plain(b, nowhere) {
		w.complain("%s: the answer to theirs is\n%.800s\nand to what is nowhere\n%.800s", what, plain(a, theirs), plain(b, nowhere))
	}
	own := w.me.ids[p.own]
	if own == "" || w.free(o, p) {
		return
	}
	c := w.ask(o, body, p, own, "dry_run=true")
	w.matters[what] = w.matters[what] || plain(c, own) != plain(b, nowhere)
}

func (w *wall) note(o operation, sort, what string) {
	if w.tried == nil {
		w.tried, w.matters = map[string]map[string][]string{}, map[string]bool{}
	}
	if w.tried[o.OperationID] == nil {
		w.tried[o.OperationID] = map[string][]string{}
	}
	w.tried[o.OperationID][sort] = append(w.tried[o.OperationID][sort], what)
}

// free reports whether a place takes any id: that of something new, or one that is
// not looked for.
func (w *wall) free(o operation, p place) bool {
	last := p.at[len(p.at)-1]
	return p.at[0] == "body" && last == "id" || last == "replacement_id"
}

// ask sends the request with an id in one place, and one's own in all others.
func (w *wall) ask(o operation, body any, p place, id string, options ...string) response {
	w.Helper()
	address, query := o.path, o.needed()
	if o.takes("dry_run") && options != nil {
		query = "?" + options[0]
	}
	for _, param := range o.params {
		if param.In != openapi3.ParameterInPath {
			continue
		}
		of := path.Base(param.Schema.Ref)
		in := w.me.ids[examples[of]]
		switch {
		case param.Schema.Value.Format != "uuid":
			in = fmt.Sprint(param.Schema.Value.Example)
		case p.at[0] == openapi3.ParameterInPath && p.at[1] == param.Name:
			in = id
		case p.at[0] == openapi3.ParameterInPath && p.at[1] == "id" && id == w.they.ids[p.own]:
			in = w.they.ids[examples[of]] // what is theirs, at theirs
		case o.OperationID == "reverseEntry": // which can be done once
			in = w.tally()
		}
		address = strings.Replace(address, "{"+param.Name+"}", in, 1)
	}
	if p.at[0] == openapi3.ParameterInQuery {
		query = "?" + p.at[1] + "=" + id
		for _, param := range o.params {
			if param.In == openapi3.ParameterInQuery && param.Required && param.Name != p.at[1] {
				query += "&" + param.Name + "=" + cmp.Or(w.me.ids[examples[path.Base(param.Schema.Ref)]], fmt.Sprint(param.Example))
			}
		}
	}
	var content any
	if body != nil {
		content = w.me.told(body)
		refresh(content)
		if p.at[0] == "body" {
			content = put(content, p.at[1:], id)
		}
	}
	return w.me.do(o.method, address+query, w.token, content, w.headers(o)...)
}

// tally records something of one's own, and returns its id.
func (w *wall) tally() string {
	id := newText()
	w.me.records(map[string]any{"id": id, "kind": "tally", "site_id": w.me.id(1), "occurred_on": "2025-01-01", "measure": "meals", "count": 1})
	return id
}

func (w *wall) headers(o operation) []string {
	var headers []string
	if o.takes("If-Match") {
		headers = append(headers, "If-Match", cmp.Or(w.tag, "*"))
	}
	if o.method == "GET" && w.tag != "" {
		headers = append(headers, "If-None-Match", w.tag)
	}
	if o.takes("Idempotency-Key") {
		headers = append(headers, "Idempotency-Key", newText())
	}
	return headers
}

// refresh gives what is new a new id.
func refresh(v any) {
	switch v := v.(type) {
	case map[string]any:
		if _, ok := v["id"]; ok {
			v["id"] = newText()
		}
		for _, member := range v {
			refresh(member)
		}
	case []any:
		for _, item := range v {
			refresh(item)
		}
	}
}

// put returns a value with something at a place in it.
func put(v any, at []string, what string) any {
	if len(at) == 0 {
		return what
	}
	switch v := v.(type) {
	case map[string]any:
		v[at[0]] = put(v[at[0]], at[1:], what)
		return v
	case []any:
		v[0] = put(v[0], at[1:], what)
		return v
	}
	return []any{what} // of a list that was left out
}

var changing = regexp.MustCompile(`"(?:request|trace)_id":"[^"]*"|\d{4}-\d\d-\d\dT[0-9:.]+Z|shoal_\w+|"expires_at":"[^"]*"`)

// asking is what an answer asks about: the second of two equal counts finds nothing
// missing any more.
var asking = regexp.MustCompile(`,"questions":\[[^\]]*\]`)

// plain returns what an answer says, but for what is another every time.
func plain(r response, asked string) string {
	text := strings.ReplaceAll(string(r.body), asked, "<asked>")
	text = changing.ReplaceAllString(asking.ReplaceAllString(text, ""), "<changing>")
	return fmt.Sprint(r.status, " ", anyID.ReplaceAllString(text, "<id>"))
}

var theAddress = regexp.MustCompile(`"instance":"[^"]*"`) // of the request itself

// leaks complains of what is theirs in an answer, but for what was in the request.
func (w *wall) leaks(what string, r response, asked string) {
	w.Helper()
	body := theAddress.ReplaceAllString(string(r.body), "")
	text := strings.ReplaceAll(body+fmt.Sprint(r.header), asked, "<asked>")
	for _, secret := range w.secrets {
		if strings.Contains(text, secret) {
			w.complain("%s tells of %s: %.800s", what, secret, text)
			return
		}
	}
}

// list reads all that there is to be read without naming anything.
func (w *wall) list(o operation) {
	what := o.OperationID
	w.note(o, "list", what)
	address := o.path
	if o.takes("limit") {
		address += "?limit=500"
	}
	w.leaks(what, w.me.do(o.method, address, w.token, nil), "nothing")
}

// etag asks for theirs with the tag that it has.
func (w *wall) etag(o operation) {
	theirs := ""
	for _, p := range o.params {
		if p.In == openapi3.ParameterInPath {
			theirs = w.they.ids[examples[path.Base(p.Schema.Ref)]]
		}
	}
	tag := ""
	if address := strings.SplitAfter(o.path, "}")[0]; theirs != "" {
		tag = w.they.do("GET", address[:strings.Index(address, "{")]+theirs, w.they.coordinator, nil).header.Get("ETag")
	}
	if tag == "" {
		return // what has none, or is no thing
	}
	what := o.OperationID + " header.ETag"
	w.note(o, "etag", what)
	w.tag = tag
	defer func() { w.tag = "" }()
	var body any
	if o.body() != nil {
		body = o.example(w.T)
	}
	nowhere, p := newText(), place{at: []string{openapi3.ParameterInPath, "id"}}
	a, b := w.ask(o, body, p, theirs), w.ask(o, body, p, nowhere)
	w.leaks(what, a, theirs)
	if plain(a, theirs) != plain(b, nowhere) && !slices.Contains(w.shared, w.sort(o)) {
		w.complain("%s: the answer to theirs is\n%.800s\nand to what is nowhere\n%.800s", what, plain(a, theirs), plain(b, nowhere))
	}
}

// cursor goes on in a list where theirs has gone to.
func (w *wall) cursor(o operation) {
	address := o.path
	if o.takes("id") {
		return // a cursor belongs to the address of its list
	}
	next := w.they.do(o.method, address+"?limit=1", w.they.coordinator, nil).at("/next")
	if next == "" {
		return
	}
	what := o.OperationID + " query.after"
	w.note(o, "cursor", what)
	r := w.me.do(o.method, address+"?after="+next, w.token, nil)
	w.leaks(what, r, next)
	if all := w.me.do(o.method, address+"?limit=500", w.token, nil); r.status != all.status {
		w.complain("%s: with a cursor of theirs it is %d, and %d without", what, r.status, all.status)
	}
}

// key uses a key that they have used for the same.
func (w *wall) key(o operation) {
	what := o.OperationID + " header.Idempotency-Key"
	w.note(o, "key", what)
	key := newText()
	var body, theirs any
	if o.body() != nil {
		body, theirs = w.me.told(o.example(w.T)), w.they.told(o.example(w.T))
	}
	w.they.do(o.method, o.path, w.they.coordinator, theirs, "Idempotency-Key", key)
	fresh := w.me.do(o.method, o.path, w.token, body, "Idempotency-Key", newText())
	used := w.me.do(o.method, o.path, w.token, body, "Idempotency-Key", key)
	w.leaks(what, used, key)
	if plain(fresh, key) != plain(used, key) || used.header.Get("Replayed") != "" {
		w.complain("%s: the answer to theirs is %s, and to a new one %s", what, plain(used, key), plain(fresh, key))
	}
}
