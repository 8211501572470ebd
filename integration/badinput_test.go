package integration_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
)

// bad is something that must not be taken in: as an entry, as a body, or as a request
// without one. What is wrong is said at the problem, or where the result of the entry
// has it.
type bad struct {
	name string

	kind string // of an entry, with its day and members
	on   string
	with members

	body    any // or else a whole body
	headers []string

	method, path string // default: POST /v1/entries

	status  int // 200: the entry is refused by itself
	code    string
	pointer string // of the first error; none if empty
	says    string // what the problem, or that error, says to do
}

func zip(text []byte) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, _ = w.Write(text)
	_ = w.Close()
	return b.Bytes()
}

func TestBadInput(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p, q := newPond(s), newPond(s)
	foreign := newPond(s.neighbour())
	batch, other, emptied := p.newBatch(), p.newBatch(), p.newBatch()
	theirs, strange := q.newBatch(), foreign.newBatch()
	death := p.entry("death", day(15), members{"batch_id": batch, "count": 1})
	mistake := p.entry("death", day(16), members{"batch_id": batch, "count": 50})
	stocking := p.entry("stocking", day(10), members{"batch_id": batch, "origin": "bred", "count": 100, "weight_kg": 1})
	reversal := p.entry("reversal", day(17), members{"reverses_id": mistake["id"], "reason": "They live."})
	s.recorded(
		p.entry("receipt", day(10), members{"product_id": p.feed, "quantity": 0.1, "origin": "bought", "amount": "95"}),
		stocking,
		p.entry("move", day(20), members{"batch_id": batch, "to_batch_id": other, "count": 30}), // 69 are left
		p.entry("harvest", day(30), members{"batch_id": batch, "count": 10, "weight_kg": 1}),    // 59 are left
		p.entry("stocking", day(0), members{"batch_id": emptied, "origin": "bred", "count": 5, "weight_kg": 1}),
		p.entry("harvest", day(9), members{"batch_id": emptied, "weight_kg": 2, "empties": true}),
		death, mistake)
	s.recorded(reversal)
	theirDeath := q.entry("stocking", day(1), members{"batch_id": theirs, "origin": "bred", "count": 5})
	s.recorded(theirDeath)
	for range 3 {
		s.recorded(p.entry("tally", day(1), members{"measure": "meals", "count": 1}))
	}
	cursor := s.do("GET", "/v1/entries?limit=2", s.keeper, nil).want(http.StatusOK).at("/next")
	tampered := []byte(cursor)
	if at := &tampered[len(tampered)/2]; *at == 'A' { // still a letter of its alphabet
		*at = 'B'
	} else {
		*at = 'A'
	}
	good, err := json.Marshal(members{"entries": []members{p.entry("death", day(40), members{"batch_id": batch, "count": 1})}})
	if err != nil {
		t.Fatal(err)
	}
	instead := func(old, replacement string) []byte {
		t.Helper()
		if bytes.Count(good, []byte(old)) != 1 {
			t.Fatalf("%s is not once in %s", old, good)
		}
		return bytes.Replace(good, []byte(old), []byte(replacement), 1)
	}
	long := strings.Repeat("x", 5<<20)

	const invalid, refused = http.StatusBadRequest, http.StatusOK
	d := members{"batch_id": batch, "count": 1}
	with := func(name string, value any) members {
		m := members{"batch_id": batch, "count": 1}
		m[name] = value
		return m
	}
	f := members{"batch_id": batch, "product_id": p.feed, "weight_kg": 1}
	fed := func(name string, value any) members {
		m := members{}
		for k, v := range f {
			m[k] = v
		}
		m[name] = value
		return m
	}
	water := func(name string, value any) members { return members{"unit_id": p.a, name: value} }

	for _, c := range []bad{
		// What an entry is made of.
		{name: "unknown member", kind: "death", with: with("colour", "red"), status: invalid, code: "invalid_request", pointer: "/entries/0/colour", says: "is not known here"},
		{name: "unknown kind", kind: "birth", with: d, status: invalid, code: "invalid_request", pointer: "/entries/0/kind", says: "must be one of count, crop, death"},
		{name: "member of another kind", kind: "death", with: with("product_id", p.feed), status: invalid, code: "invalid_request", pointer: "/entries/0/product_id", says: "is not known here"},
		{name: "missing member", kind: "death", with: members{"batch_id": batch}, status: invalid, code: "invalid_request", pointer: "/entries/0/count", says: "is required"},
		{name: "text for a number", kind: "death", with: with("count", "1"), status: invalid, code: "invalid_request", pointer: "/entries/0/count", says: "must be a whole number"},
		{name: "number for money", kind: "expense", with: members{"category": "rent", "amount": 100}, status: invalid, code: "invalid_request", pointer: "/entries/0/amount", says: "must be text, written like 240.00"},
		{name: "money with a unit", kind: "expense", with: members{"category": "rent", "amount": "100 ZMW"}, status: invalid, code: "invalid_request", pointer: "/entries/0/amount", says: "must be written like 240.00"},
		{name: "null", kind: "death", with: with("count", nil), status: invalid, code: "invalid_request", pointer: "/entries/0/count", says: "must be a whole number"},
		{name: "part of a fish", kind: "death", with: with("count", 1.5), status: invalid, code: "invalid_request", pointer: "/entries/0/count", says: "must be a whole number"},
		{name: "negative", kind: "death", with: with("count", -1), status: invalid, code: "invalid_request", pointer: "/entries/0/count", says: "must be at least 0"},
		{name: "no fish", kind: "death", with: with("count", 0), status: refused, code: "invalid_request", pointer: "/count", says: "must be at least 1"},
		{name: "nothing fed", kind: "feeding", with: fed("weight_kg", 0), status: invalid, code: "invalid_request", pointer: "/entries/0/weight_kg", says: "must be more than 0"},
		{name: "far too much", kind: "feeding", with: fed("weight_kg", 1e9), status: invalid, code: "invalid_request", pointer: "/entries/0/weight_kg", says: "must be at most 1000000"},
		{name: "unknown word", kind: "death", with: with("cause", "magic"), status: invalid, code: "invalid_request", pointer: "/entries/0/cause", says: "must be one of transport, handling"},
		{name: "too long a note", kind: "death", with: with("note", strings.Repeat("ä", 1001)), status: invalid, code: "invalid_request", pointer: "/entries/0/note", says: "at most 1000 characters"},
		{name: "too short a reason", kind: "reversal", with: members{"reverses_id": death["id"], "reason": "no"}, status: invalid, code: "invalid_request", pointer: "/entries/0/reason", says: "at least 3 characters"},
		{name: "two weights", kind: "stocking", with: members{"batch_id": batch, "origin": "bred", "count": 1, "weight_kg": 1, "mean_weight_g": 1000}, status: refused, code: "invalid_request", pointer: "/weight_kg", says: "not both"},
		{name: "batch and crop", kind: "sale", with: members{"batch_id": batch, "crop": "Kale", "disposal": "given", "weight_kg": 1}, status: refused, code: "invalid_request", pointer: "/batch_id", says: "one of the two"},
		{name: "no reading", kind: "water", with: members{"unit_id": p.a}, status: refused, code: "invalid_request", says: "give at least one reading"},

		// Wrong units.
		{name: "kg as g", kind: "sample", with: members{"batch_id": batch, "count": 1, "weight_kg": 250}, status: refused, code: "invalid_request", pointer: "/weight_kg", says: "look at the unit (g or kg)"},
		{name: "Fahrenheit", kind: "water", with: water("temperature_c", 82), status: refused, code: "invalid_request", pointer: "/temperature_c", says: "Fahrenheit?"},
		{name: "saturation", kind: "water", with: water("oxygen_mg_l", 95), status: refused, code: "invalid_request", pointer: "/oxygen_mg_l", says: "% saturation?"},
		{name: "unit in the name", kind: "death", with: with("weight_g", 1), status: invalid, code: "invalid_request", pointer: "/entries/0/weight_g", says: "is not known here"},

		// More decimals than the unit has.
		{name: "parts of a gram", kind: "feeding", with: fed("weight_kg", json.Number("1.0005")), status: invalid, code: "too_precise", pointer: "/entries/0/weight_kg", says: "at most 3 decimals"},
		{name: "parts of a gram, with an exponent", kind: "feeding", with: fed("weight_kg", json.Number("15e-4")), status: invalid, code: "too_precise", pointer: "/entries/0/weight_kg", says: "at most 3 decimals"},
		{name: "parts of a ngwee", kind: "expense", with: members{"category": "rent", "amount": "1.005"}, status: invalid, code: "too_precise", pointer: "/entries/0/amount", says: "at most 2 decimals"},
		{name: "parts of a price", kind: "receipt", with: members{"product_id": p.feed, "quantity": 1, "origin": "bought", "unit_price": "1.0000005"}, status: invalid, code: "too_precise", pointer: "/entries/0/unit_price", says: "at most 6 decimals"},
		{name: "parts of a minute", kind: "labour", with: members{"hours": 0.125}, status: refused, code: "invalid_request", pointer: "/hours", says: "at most 2 decimals"},

		// Dates.
		{name: "future", kind: "death", on: "2190-01-01", with: d, status: refused, code: "in_future", pointer: "/occurred_on", says: "look at the date"},
		{name: "no such day", kind: "death", on: "2025-02-30", with: d, status: invalid, code: "invalid_request", pointer: "/entries/0/occurred_on", says: "must be a date such as 2026-05-31"},
		{name: "day first", kind: "death", on: "31-05-2025", with: d, status: invalid, code: "invalid_request", pointer: "/entries/0/occurred_on", says: "must be a date such as 2026-05-31"},
		{name: "long ago", kind: "death", on: "1989-12-31", with: d, status: refused, code: "invalid_request", pointer: "/occurred_on", says: "must be after 1990"},
		{name: "no such time", kind: "death", with: with("occurred_at", "24:00"), status: invalid, code: "invalid_request", pointer: "/entries/0/occurred_at", says: "must be written like 06:30"},
		{name: "before the batch", kind: "feeding", on: day(9), with: f, status: refused, code: "before_batch", says: "record its stocking first, or look at the date"},
		{name: "after the batch", kind: "feeding", on: day(10), with: fed("batch_id", emptied), status: refused, code: "batch_closed", says: "reverse the entry that emptied it"},

		// Fish that are not there, on the first day on which they are missing.
		{name: "harvest of more", kind: "harvest", on: day(40), with: members{"batch_id": batch, "count": 60, "weight_kg": 5}, status: refused, code: "not_enough_fish", says: "on " + day(40) + " the batch would have 1 fish fewer than none: look at the dates and counts, or enter a count"},
		{name: "late harvest of more", kind: "harvest", on: day(18), with: members{"batch_id": batch, "count": 70, "weight_kg": 5}, status: refused, code: "not_enough_fish", says: "on " + day(20) + " the batch would have 1 fish fewer than none"},
		{name: "later harvest of more", kind: "harvest", on: day(18), with: members{"batch_id": batch, "count": 61, "weight_kg": 5}, status: refused, code: "not_enough_fish", says: "on " + day(30) + " the batch would have 2 fish fewer than none"},
		{name: "late harvest of all that is left", kind: "harvest", on: day(15), with: members{"batch_id": batch, "count": 69, "weight_kg": 5}, status: refused, code: "batch_closed", says: "after this the harvest of " + day(30) + " would no longer fit (the batch has been empty since " + day(20)},
		{name: "reversal under what is counted on", kind: "reversal", with: members{"reverses_id": stocking["id"], "reason": "There were none."}, status: refused, code: "before_batch", says: "after this the death of " + day(15) + " would no longer fit (on " + day(15) + " there are no fish in the batch yet"},
		{name: "move of more", kind: "move", on: day(12), with: members{"batch_id": batch, "to_batch_id": other, "count": 64}, status: refused, code: "not_enough_fish", says: "on " + day(30) + " the batch would have 5 fish fewer than none"},
		{name: "death of more", kind: "death", on: day(50), with: members{"batch_id": batch, "count": 60}, status: refused, code: "not_enough_fish", says: "or enter a count of the fish first"},
		{name: "sent more", kind: "sent", on: day(50), with: members{"batch_id": batch, "count": 60, "to_site_id": q.site}, status: refused, code: "not_enough_fish", says: "on " + day(50) + " the batch would have 1 fish fewer than none"},
		{name: "sale of more", kind: "sale", on: day(50), with: members{"batch_id": batch, "disposal": "given", "weight_kg": 1.5}, status: refused, code: "not_enough_harvest", says: "only 1 kg were harvested: record the harvest first, or look at the weights"},

		// Ids.
		{name: "nil id", kind: "death", with: with("id", "00000000-0000-0000-0000-000000000000"), status: invalid, code: "invalid_request", pointer: "/entries/0/id", says: "must be a UUID such as"},
		{name: "max id", kind: "death", with: with("id", "ffffffff-ffff-ffff-ffff-ffffffffffff"), status: invalid, code: "invalid_request", pointer: "/entries/0/id", says: "must be a UUID such as"},
		{name: "id in braces", kind: "death", with: with("id", "{"+newText()+"}"), status: invalid, code: "invalid_request", pointer: "/entries/0/id", says: "must be a UUID such as"},
		{name: "nil batch", kind: "death", with: with("batch_id", "00000000-0000-0000-0000-000000000000"), status: invalid, code: "invalid_request", pointer: "/entries/0/batch_id", says: "must be a UUID such as"},
		{name: "unknown batch", kind: "death", with: with("batch_id", newText()), status: refused, code: "unknown_reference", pointer: "/batch_id", says: "no such batch at this site: look at its id, or make the batch first"},
		{name: "batch of another site", kind: "death", with: with("batch_id", theirs), status: refused, code: "unknown_reference", pointer: "/batch_id", says: "no such batch at this site"},
		{name: "batch of others", kind: "death", with: with("batch_id", strange), status: refused, code: "unknown_reference", pointer: "/batch_id", says: "no such batch at this site"},
		{name: "move to another site", kind: "move", on: day(40), with: members{"batch_id": batch, "to_batch_id": theirs, "count": 1}, status: refused, code: "unknown_reference", pointer: "/to_batch_id", says: "record what goes to another site as sent"},
		{name: "move to itself", kind: "move", on: day(40), with: members{"batch_id": batch, "to_batch_id": batch, "count": 1}, status: refused, code: "invalid_request", pointer: "/to_batch_id", says: "must be another batch"},
		{name: "site of others", kind: "death", with: with("site_id", foreign.site), status: refused, code: "unknown_reference", pointer: "/site_id", says: "look at its id, or ask for a token that is for it"},
		{name: "product of others", kind: "feeding", on: day(40), with: fed("product_id", foreign.feed), status: refused, code: "unknown_reference", pointer: "/product_id", says: "no such product: look at its id, or add it first"},
		{name: "unit of others", kind: "water", with: members{"unit_id": foreign.a, "ph": 7}, status: refused, code: "unknown_reference", pointer: "/unit_id", says: "no such tank or bed at this site: look at its id, or add it first"},
		{name: "party nobody knows", kind: "payment", with: members{"party_id": newText(), "direction": "paid", "amount": "1"}, status: refused, code: "unknown_reference", pointer: "/party_id", says: "no such party: look at its id, or add it first"},
		{name: "feed as an input", kind: "use", with: members{"product_id": p.feed, "quantity": 1}, status: refused, code: "unknown_reference", pointer: "/product_id", says: "record a feeding"},
		{name: "reversal of nothing", kind: "reversal", with: members{"reverses_id": newText(), "reason": "Not there."}, status: refused, code: "unknown_reference", pointer: "/reverses_id", says: "no such entry at this site: look at its id, and at the site"},
		{name: "reversal of another site's", kind: "reversal", with: members{"reverses_id": theirDeath["id"], "reason": "Not here."}, status: refused, code: "unknown_reference", pointer: "/reverses_id", says: "no such entry at this site"},
		{name: "reversal of what is reversed", kind: "reversal", with: members{"reverses_id": mistake["id"], "reason": "Again."}, status: refused, code: "already_reversed", pointer: "/reverses_id", says: "reversed already: if that was wrong, record it as a new entry"},
		{name: "reversal of a reversal", kind: "reversal", with: members{"reverses_id": reversal["id"], "reason": "They do not."}, status: refused, code: "not_reversible", pointer: "/reverses_id", says: "record what is right as a new entry"},
		{name: "unknown entry", method: "GET", path: "/v1/entries/" + newText(), status: http.StatusNotFound, code: "not_found", says: "there is no such entry"},
		{name: "no id", method: "GET", path: "/v1/entries/last", status: invalid, code: "invalid_request", pointer: "/path/id", says: "must be a UUID such as"},
		{name: "nil id in the path", method: "GET", path: "/v1/batches/00000000-0000-0000-0000-000000000000/performance", status: invalid, code: "invalid_request", pointer: "/path/id", says: "must be a UUID such as"},

		// JSON.
		{name: "NaN", body: instead(`"count":1`, `"count":NaN`), status: invalid, code: "invalid_json", pointer: "/entries/0/count", says: "something unexpected at byte"},
		{name: "infinity", body: instead(`"count":1`, `"count":-Infinity`), status: invalid, code: "invalid_json", pointer: "/entries/0/count", says: "something unexpected at byte"},
		{name: "number beyond all", body: instead(`"count":1`, `"count":1e400`), status: invalid, code: "invalid_request", pointer: "/entries/0/count", says: "is too large a number"},
		{name: "number as nobody writes it", body: instead(`"count":1`, `"count":1,"weight_kg":.5`), status: invalid, code: "invalid_json", pointer: "/entries/0/weight_kg", says: "something unexpected at byte"},
		{name: "not UTF-8", body: instead(`"death"`, "\"death\xff\""), status: invalid, code: "invalid_json", says: "the text is not UTF-8"},
		{name: "half a surrogate", body: instead(`"count":1`, `"count":1,"note":"\ud83d"`), status: invalid, code: "invalid_json", pointer: "/entries/0/note", says: "half of a surrogate pair"},
		{name: "NUL", body: instead(`"count":1`, `"count":1,"note":"a\u0000b"`), status: invalid, code: "invalid_json", pointer: "/entries/0/note", says: "U+0000 is not allowed"},
		{name: "member given twice", body: instead(`"count":1`, `"count":1,"\u0063ount":2`), status: invalid, code: "invalid_json", pointer: "/entries/0/count", says: "the member is given twice"},
		{name: "something after the end", body: append(bytes.Clone(good), " {}"...), status: invalid, code: "invalid_json", says: "something after its end"},
		{name: "end too early", body: good[:len(good)-2], status: invalid, code: "invalid_json", pointer: "/entries", says: "it ends too early"},
		{name: "no body", body: "", status: invalid, code: "invalid_request", says: "this request needs a body, as application/json"},
		{name: "no entries", body: `{}`, status: invalid, code: "invalid_request", pointer: "/entries", says: "is required"},
		{name: "empty entries", body: `{"entries":[]}`, status: invalid, code: "invalid_request", pointer: "/entries", says: "must have at least 1 item"},
		{name: "a list", body: `[]`, status: invalid, code: "invalid_request", says: "must be an object"},
		{name: "a number as an entry", body: `{"entries":[1]}`, status: invalid, code: "invalid_request", pointer: "/entries/0", says: "must be an object"},
		{name: "100 000 deep", body: `{"entries":` + strings.Repeat("[", 100_000), status: invalid, code: "invalid_json", pointer: "/entries" + strings.Repeat("/0", 31), says: "nested more than 32 deep"},
		{name: "100 000 deep and closed", body: strings.Repeat(`{"a":`, 100_000) + "1" + strings.Repeat("}", 100_000), status: invalid, code: "invalid_json", pointer: strings.Repeat("/a", 32), says: "nested more than 32 deep"},

		// The request.
		{name: "too large", body: instead(`"count":1`, `"count":1,"note":"`+long+`"`), status: http.StatusRequestEntityTooLarge, code: "body_too_large", says: "send less at a time"},
		{name: "gzip bomb", body: zip(instead(`"count":1`, `"count":1,"note":"`+strings.Repeat(long, 40)+`"`)), headers: []string{"Content-Encoding", "gzip"}, status: http.StatusRequestEntityTooLarge, code: "body_too_large", says: "send less at a time"},
		{name: "gzip that is none", body: good, headers: []string{"Content-Encoding", "gzip"}, status: invalid, code: "invalid_request", says: "not what gzip makes"},
		{name: "gzip cut off", body: zip(good)[:40], headers: []string{"Content-Encoding", "gzip"}, status: invalid, code: "invalid_request", says: "could not be read to its end"},
		{name: "another coding", body: good, headers: []string{"Content-Encoding", "br"}, status: http.StatusUnsupportedMediaType, code: "unsupported_media_type", says: "plain or compressed with gzip"},
		{name: "another media type", body: good, headers: []string{"Content-Type", "text/csv"}, status: http.StatusUnsupportedMediaType, code: "unsupported_media_type", says: "send the body as application/json"},
		{name: "another charset", body: good, headers: []string{"Content-Type", "application/json; charset=latin1"}, status: http.StatusUnsupportedMediaType, code: "unsupported_media_type", says: "send the body as application/json"},
		{name: "no media type", body: good, headers: []string{"Content-Type", ""}, status: http.StatusUnsupportedMediaType, code: "unsupported_media_type", says: "send the body as application/json"},
		{name: "another answer", body: good, headers: []string{"Accept", "text/csv"}, status: http.StatusNotAcceptable, code: "not_acceptable", says: "can be had as application/json only"},
		{name: "unknown parameter", method: "GET", path: "/v1/entries?site=" + p.site, status: invalid, code: "unknown_parameter", pointer: "/query/site", says: "is not known here"},
		{name: "unknown parameter of a write", body: good, path: "/v1/entries?dryrun=true", status: invalid, code: "unknown_parameter", pointer: "/query/dryrun", says: "is not known here: this request takes dry_run"},
		{name: "unknown parameter where there is none", method: "GET", path: "/v1/coop?colour=red", status: invalid, code: "unknown_parameter", pointer: "/query/colour", says: "is not known here: this request takes none"},
		{name: "parameter given twice", body: good, path: "/v1/entries?dry_run=true&dry_run=false", status: invalid, code: "invalid_request", pointer: "/query/dry_run", says: "must be given once only"},
		{name: "parameter that is none", method: "GET", path: "/v1/entries?kind=birth", status: invalid, code: "invalid_request", pointer: "/query/kind/0", says: "must be one of stocking, death"},
		{name: "page of nothing", method: "GET", path: "/v1/entries?limit=0", status: invalid, code: "invalid_request", pointer: "/query/limit", says: "must be at least 1"},
		{name: "tampered cursor", method: "GET", path: "/v1/entries?limit=2&after=" + string(tampered), status: invalid, code: "invalid_cursor", pointer: "/query/after", says: "must be the next of the page before, unchanged"},
		{name: "cursor of another list", method: "GET", path: "/v1/entries?kind=death&after=" + cursor, status: invalid, code: "invalid_cursor", pointer: "/query/after", says: "begin that list anew"},
		{name: "days that are none", method: "GET", path: "/v1/batches/" + batch + "/performance?as_of=today", status: invalid, code: "invalid_request", pointer: "/query/as_of", says: "must be a date such as 2026-05-31"},
		{name: "no such method", method: "DELETE", path: "/v1/entries/" + death["id"].(string), status: http.StatusMethodNotAllowed, code: "method_not_allowed", says: "this address allows GET"},
		{name: "no such address", method: "GET", path: "/v1/fish", status: http.StatusNotFound, code: "not_found", says: "/docs lists what there is"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := *s
			s.t = t
			c.check(&s, p)
		})
	}
	// An entry is never edited.
	edited := p.entry("death", day(15), members{"batch_id": batch, "count": 2})
	edited["id"] = death["id"]
	r := s.post(s.keeper, []members{edited}).want(http.StatusOK).became("conflict").wantAt(map[string]string{"/results/0/problem/code": "id_conflict"})
	if detail := r.at("/results/0/problem/detail"); !strings.Contains(detail, "reverse it and record a new one") {
		t.Errorf("the conflict says %q", detail)
	}
	p.rows(12, 0)
	// What is only odd is taken, and asked about.
	s.recorded(p.entry("feeding", day(40), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 0.101})).
		wantAt(map[string]string{"/results/0/questions/0/code": "store_below_zero"})
	p.rows(13, 1)
}

// check sends what is bad and holds the answer against what it must be.
func (c bad) check(s *service, p pond) {
	s.t.Helper()
	method, path, body := c.method, c.path, c.body
	if method == "" {
		method = "POST"
	}
	if path == "" {
		path = "/v1/entries"
	}
	if c.kind != "" {
		on := c.on
		if on == "" {
			on = day(40)
		}
		body = members{"entries": []members{p.entry(c.kind, on, c.with)}}
	}
	r := s.do(method, path, s.keeper, body, c.headers...).want(c.status)
	at := ""
	if c.status == http.StatusOK {
		r.became("refused")
		at = "/results/0/problem"
	}
	r.wantAt(map[string]string{at + "/code": c.code})
	if at == "" {
		r.wantAt(map[string]string{"/status": fmt.Sprint(c.status), "/type": "https://shoalbook.example/problems/" + c.code})
		if ct := r.header.Get("Content-Type"); ct != "application/problem+json" {
			s.t.Errorf("the problem is sent as %s", ct)
		}
	}
	if got := r.at(at + "/errors/0/pointer"); got != c.pointer {
		s.t.Errorf("it points to %q, want %q: %.500s", got, c.pointer, r.body)
	}
	if says := r.at(at+"/detail") + "\n" + r.at(at+"/errors/0/detail"); !strings.Contains(says, c.says) {
		s.t.Errorf("it says %q, want %q in it", says, c.says)
	}
}
