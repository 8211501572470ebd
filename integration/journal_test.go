package integration_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"
)

// What becomes of each entry of a request, in the order sent.
func TestVerdicts(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch, late := p.stocked(day(10), members{"count": 100, "weight_kg": 1}), p.newBatch()
	death := p.entry("death", day(20), members{"batch_id": batch, "count": 3, "weight_kg": 0.25})
	p.recorded(death)
	// The same thing, written in another way.
	again := fmt.Sprintf(`{"count":3.0,"weight_kg":2.50e-1,"empties":false,"batch_id":"%s","occurred_on":"%s","site_id":"%s","kind":"death","id":"%s"}`,
		strings.ToUpper(batch), day(20), p.site, strings.ToUpper(death["id"].(string)))
	other := p.entry("death", day(20), members{"batch_id": batch, "count": 4, "weight_kg": 0.25})
	other["id"] = death["id"]
	tooMany := p.entry("harvest", day(40), members{"batch_id": batch, "weight_kg": 50, "count": 98})
	unknown := p.entry("feeding", day(30), members{"batch_id": newText(), "product_id": p.feed, "weight_kg": 1})
	fits := p.entry("feeding", day(6), members{"batch_id": late, "product_id": p.feed, "weight_kg": 1})
	stocking := p.entry("stocking", day(5), members{"batch_id": late, "origin": "bred", "count": 10})
	twice := p.entry("tally", day(6), members{"measure": "meals", "count": 60})

	body := func(more string, entries ...any) string {
		var texts []string
		for _, e := range entries {
			text, ok := e.(string)
			if !ok {
				b, _ := json.Marshal(e)
				text = string(b)
			}
			texts = append(texts, text)
		}
		return `{"entries":[` + strings.Join(texts, ",") + `]` + more + `}`
	}
	send := func(body string) response {
		t.Helper()
		return p.do("POST", "/v1/entries", p.keeper, body).want(http.StatusOK)
	}
	all := []any{fits, again, other, tooMany, stocking, unknown, twice, twice}
	send(body("", all...)).became("created exists conflict refused created refused created exists").wantAt(map[string]string{
		"/results/0/id": fits["id"].(string), "/results/3/id": tooMany["id"].(string),
		"/results/2/problem/code": "id_conflict", "/results/2/problem/title": "The id is in use for something else",
		"/results/3/problem/code": "not_enough_fish", "/results/5/problem/code": "unknown_reference",
		"/results/5/problem/errors/0/pointer": "/batch_id", "/results/0/problem": "",
	})
	p.rows(5, 1) // what was fed was never received
	// The same request again: nothing more happens.
	send(body("", all...)).became("exists exists conflict refused exists refused exists exists")
	p.rows(5, 1)
	// What was refused has not used up its id.
	tooMany["count"] = 97
	send(body("", tooMany)).became("created")
	// Held: what may fit one day is kept, what cannot be is not.
	more := p.entry("harvest", day(41), members{"batch_id": batch, "weight_kg": 1, "count": 1})
	unknown["id"] = newText()
	send(body(`,"on_refusal":"hold"`, more, again, unknown, other)).became("held exists refused conflict").
		wantAt(map[string]string{"/results/0/problem/code": "batch_closed"})
	p.rows(6, 2)
}

// All or nothing, and a dry run: the same verdicts, and nothing is kept.
func TestStrictAndDryRun(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.stocked(day(0), members{"count": 100})
	good := p.entry("death", day(1), members{"batch_id": batch, "count": 1})
	bad := p.entry("death", day(2), members{"batch_id": batch, "count": 101})
	clash := p.entry("death", day(3), members{"batch_id": batch, "count": 2})
	clash["id"] = good["id"]
	sick := p.entry("incident", day(2), members{"type": "disease", "batch_id": batch, "note": "White spots."})
	strict := func(want string, entries ...members) {
		t.Helper()
		p.post(p.keeper, entries, "Prefer", "handling=strict").want(http.StatusUnprocessableEntity, "not_all_recorded").became(want)
		p.rows(1, 0)
		p.performance(batch, "?as_of="+day(5)).wantAt(map[string]string{"/fish/dead": "0"})
	}
	strict("created refused created", good, bad, sick)
	strict("created conflict", good, clash)
	strict("refused", bad)
	dry := func(want string, entries ...members) response {
		t.Helper()
		return p.do("POST", "/v1/entries?dry_run=true", p.keeper, members{"entries": entries}).want(http.StatusOK).became(want)
	}
	dry("created refused created conflict", good, bad, sick, clash)
	p.do("POST", "/v1/entries?dry_run=true", p.keeper, members{"entries": []members{good, bad}, "on_refusal": "hold"}).want(http.StatusOK).became("created held")
	p.do("POST", "/v1/entries?dry_run=true", p.keeper, members{"entries": []members{good, bad}}, "Prefer", "handling=strict").
		want(http.StatusUnprocessableEntity, "not_all_recorded").became("created refused")
	p.rows(1, 0)
	tried := dry("created refused created conflict", good, bad, sick, clash)
	done := p.post(p.keeper, []members{good, bad, sick, clash}).want(http.StatusOK)
	if !bytes.Equal(tried.body, done.body) {
		t.Errorf("tried %s, then %s", tried.body, done.body)
	}
	p.rows(3, 0)
	dry("exists refused exists conflict", good, bad, sick, clash)
	// Strict takes what is held, and what is there already, as done.
	p.do("POST", "/v1/entries", p.keeper, members{"entries": []members{good, bad}, "on_refusal": "hold"}, "Prefer", `respond-async, handling=strict`).
		want(http.StatusOK).became("exists held")
	p.rows(3, 1)
}

// What is held is in no figure and listed under questions, until it fits.
func TestHeld(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.newBatch()
	hold := func(want string, entries ...members) response {
		t.Helper()
		return p.do("POST", "/v1/entries", p.keeper, members{"entries": entries, "on_refusal": "hold"}).want(http.StatusOK).became(want)
	}
	feeding := p.entry("feeding", day(9), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 0.5})
	harvest := p.entry("harvest", day(90), members{"batch_id": batch, "weight_kg": 20, "count": 60, "note": "The big ones"})
	hold("held held", feeding, harvest).wantAt(map[string]string{"/results/0/problem/code": "before_batch"})
	questions := p.do("GET", "/v1/questions", p.keeper, nil).want(http.StatusOK)
	for i := range 2 {
		item := fmt.Sprintf("/items/%d", i)
		questions.wantAt(map[string]string{item + "/code": "held", item + "/site_id": p.site, item + "/problem/code": "before_batch", item + "/entry/batch_id": batch})
		if text := questions.at(item + "/text"); !strings.Contains(text, "record its stocking first") {
			t.Errorf("the question is %q", text)
		}
	}
	if got := questions.at("/items/0/entry/kind") + questions.at("/items/1/entry/kind"); got != "feedingharvest" && got != "harvestfeeding" {
		t.Errorf("held are %s", questions.body)
	}
	p.rows(0, 2)
	p.do("GET", "/v1/entries/"+feeding["id"].(string), p.keeper, nil).want(http.StatusNotFound, "not_found")
	p.performance(batch, "").wantAt(map[string]string{"/feed/fed_kg": "0", "/fish/on_hand": "0"})
	p.do("GET", "/v1/overview", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/questions": "2", "/items/0/last_record_on": "null"})

	// Fifty fish come: the feeding fits now, sixty cannot be harvested yet.
	p.recorded(p.entry("stocking", day(0), members{"batch_id": batch, "origin": "bought", "count": 50, "weight_kg": 0.5}))
	p.rows(2, 2) // and the feed was never received
	p.do("GET", "/v1/entries/"+feeding["id"].(string), p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/entry/weight_kg": "0.5"})
	p.performance(batch, "?as_of="+day(100)).wantAt(map[string]string{"/feed/fed_kg": "0.5", "/fish/harvested": "0", "/fish/on_hand": "50"})
	hold("exists", feeding)
	// The same id, another content: the last word counts.
	harvest["count"] = 55
	hold("held", harvest)
	p.recorded(
		p.entry("receipt", day(1), members{"product_id": p.feed, "quantity": 25, "origin": "bought", "amount": "200"}),
		p.entry("stocking", day(1), members{"batch_id": batch, "origin": "bought", "count": 5, "weight_kg": 0.05}),
	)
	p.rows(5, 0)
	p.performance(batch, "?as_of="+day(100)).wantAt(map[string]string{"/state": "closed", "/fish/harvested": "55", "/feed/fed_kg": "0.5"})
	p.do("GET", "/v1/entries/"+harvest["id"].(string), p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/entry/note": "The big ones", "/entry/count": "55"})
	// What is not a matter of time is refused, held or not.
	bad := p.entry("harvest", day(90), members{"batch_id": batch, "weight_kg": 0.001, "count": 1000_000, "size_class": strings.Repeat("x", 41)})
	p.do("POST", "/v1/entries", p.keeper, members{"entries": []members{bad}, "on_refusal": "hold"}).want(http.StatusBadRequest, "invalid_request")
	hold("refused", p.entry("reversal", day(99), members{"reverses_id": newText(), "reason": "Not there."}))
	p.rows(5, 0)
}

// A mistake is taken back by another entry, which may carry the right one.
func TestReversal(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.stocked(day(0), members{"count": 100})
	wrong := p.entry("death", day(14), members{"batch_id": batch, "count": 90, "cause": "oxygen"})
	p.recorded(wrong)
	address := "/v1/entries/" + wrong["id"].(string)
	right := p.entry("death", day(14), members{"batch_id": batch, "count": 9, "cause": "oxygen"})
	body := members{"id": newText(), "reason": "Nine died, not ninety.", "occurred_on": day(15), "replacement": right}
	reverse := func(body members, token string) response {
		t.Helper()
		return p.do("POST", address+"/reversal", token, body)
	}
	// Neither of the two, if the replacement does not fit.
	impossible := members{"id": newText(), "reason": "All of them.", "replacement": p.entry("death", day(14), members{"batch_id": batch, "count": 101})}
	reverse(impossible, p.keeper).want(http.StatusUnprocessableEntity, "not_enough_fish")
	// What is wrong with it is where the request has it.
	for pointer, replacement := range map[string]members{
		"/replacement/count":     {"batch_id": batch, "count": 0},
		"/replacement/weight_kg": {"batch_id": batch, "count": 1, "weight_kg": 0.0005},
		"/replacement/colour":    {"batch_id": batch, "count": 1, "colour": "red"},
		"/replacement/batch_id":  {"batch_id": newText(), "count": 1},
	} {
		if r := reverse(members{"id": newText(), "reason": "Look again.", "replacement": p.entry("death", day(14), replacement)}, p.keeper); r.at("/errors/0/pointer") != pointer {
			t.Errorf("want a problem at %s, got %s", pointer, r.body)
		}
	}
	p.rows(2, 0)
	made := reverse(body, p.keeper).want(http.StatusCreated).wantAt(map[string]string{
		"/entry/kind": "reversal", "/entry/id": body["id"].(string), "/entry/reverses_id": wrong["id"].(string), "/entry/reason": "Nine died, not ninety.",
		"/entry/replacement_id": right["id"].(string), "/entry/occurred_on": day(15), "/entry/site_id": p.site, "/recorded_by": "test keeper", "/reversed_by": "",
	})
	if made.header.Get("Location") != "/v1/entries/"+body["id"].(string) {
		t.Errorf("it was made at %q", made.header.Get("Location"))
	}
	if again := reverse(body, p.keeper).want(http.StatusOK); !bytes.Equal(again.body, made.body) || again.header.Get("Location") != "" {
		t.Errorf("first %s, then %v %s", made.body, again.header, again.body)
	}
	p.do("GET", address, p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/reversed_by": body["id"].(string), "/entry/count": "90"})
	p.rows(4, 0)
	p.performance(batch, "?as_of="+day(20)).wantAt(map[string]string{"/fish/dead": "9", "/fish/on_hand": "91"})

	other := members{"id": body["id"], "reason": "Another reason.", "occurred_on": day(15), "replacement": right}
	reverse(other, p.keeper).want(http.StatusConflict, "id_conflict")
	reverse(members{"id": newText(), "reason": "Once more."}, p.keeper).want(http.StatusUnprocessableEntity, "already_reversed").wantAt(map[string]string{"/errors/0/pointer": "/path/id"})
	p.do("POST", "/v1/entries/"+body["id"].(string)+"/reversal", p.keeper, members{"id": newText(), "reason": "It was right."}).want(http.StatusUnprocessableEntity, "not_reversible")
	p.do("POST", "/v1/entries/"+newText()+"/reversal", p.keeper, members{"id": newText(), "reason": "Not there."}).want(http.StatusNotFound, "not_found")
	reverse(members{"id": newText(), "reason": "Not mine."}, p.token("keeper", newPond(p.service).site)).want(http.StatusNotFound, "not_found")
	reverse(members{"id": newText(), "reason": "Not ours."}, p.neighbour().keeper).want(http.StatusNotFound, "not_found")
	reverse(members{"id": newText(), "reason": "Just looking."}, p.funder).want(http.StatusForbidden, "forbidden")
	p.rows(4, 0)

	// As an entry among others it does the same; without a day it is of today.
	p.refused(p.keeper, p.entry("reversal", day(16), members{"reverses_id": wrong["id"], "reason": "Twice."}), "already_reversed")
	today := p.do("POST", "/v1/entries/"+right["id"].(string)+"/reversal", p.keeper, members{"id": newText(), "reason": "They live."}).want(http.StatusCreated)
	if today.at("/entry/occurred_on") != p.performance(batch, "").at("/as_of") {
		t.Errorf("it is of %s", today.at("/entry/occurred_on"))
	}
	p.performance(batch, "?as_of="+day(20)).wantAt(map[string]string{"/fish/dead": "0"})
	// The stocking cannot be taken back under fish that are counted on.
	death := p.entry("death", day(30), members{"batch_id": batch, "count": 1})
	p.recorded(death)
	first := p.entries(p.keeper, "&kind=stocking&batch_id="+batch)[0].Entry.ID
	p.refused(p.keeper, p.entry("reversal", day(31), members{"reverses_id": first, "reason": "There were none."}), "before_batch")
	p.recorded(p.entry("reversal", day(31), members{"reverses_id": death["id"], "reason": "Not dead."}))
	p.recorded(p.entry("reversal", day(31), members{"reverses_id": first, "reason": "There were none."}))
	p.performance(batch, "?as_of="+day(40)).wantAt(map[string]string{"/fish/stocked": "0", "/cost/total": "0.00"})
}

// A thousand entries in one request, in any order, compressed both ways.
func TestThousandEntries(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.newBatch()
	entries := []members{
		p.entry("stocking", day(0), members{"batch_id": batch, "origin": "bred", "count": 5000, "weight_kg": 50}),
		p.entry("receipt", day(0), members{"product_id": p.feed, "quantity": 1000, "origin": "bought", "unit_price": "11.50"}),
	}
	for n := range 499 {
		entries = append(entries,
			p.entry("feeding", day(n), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 1.001}),
			p.entry("death", day(n), members{"batch_id": batch, "count": 1}))
	}
	rand.Shuffle(len(entries), func(i, j int) { entries[i], entries[j] = entries[j], entries[i] })
	send := func(want string) {
		t.Helper()
		p.zipped(members{"entries": entries}).want(http.StatusOK).became(strings.Repeat(want+" ", len(entries)))
	}
	send("created")
	send("exists")
	// 499 × 1.001 kg at 11.50, which is 11.5115 for each: 11.51, and what is left of each
	// half ngwee is too little to move the mean of a ton.
	p.performance(batch, "?as_of="+day(500)).wantAt(map[string]string{"/fish/dead": "499", "/fish/on_hand": "4501", "/feed/fed_kg": "499.499",
		"/completeness/days_with_feed": "499", "/cost/total": "5743.49"})
	p.rows(1000, 0)
	// One that does not fit keeps none of the others out.
	entries = entries[:0]
	for n := range 999 {
		entries = append(entries, p.entry("feeding", day(n/2), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 0.001}))
	}
	entries = append(entries, p.entry("death", day(100), members{"batch_id": batch, "count": 4900}))
	p.zipped(members{"entries": entries}).want(http.StatusOK).became(strings.Repeat("created ", 999) + "refused").
		wantAt(map[string]string{"/results/999/problem/code": "not_enough_fish"})
	p.rows(1999, 0)
	entries = append(entries, entries[0])
	p.post(p.keeper, entries).want(http.StatusBadRequest, "invalid_request").wantAt(map[string]string{"/errors/0/pointer": "/entries"})
}

// zipped sends entries as gzip and has the answer in gzip.
func (s *service) zipped(body any) response {
	s.t.Helper()
	var raw bytes.Buffer
	w := gzip.NewWriter(&raw)
	_ = json.NewEncoder(w).Encode(body)
	_ = w.Close()
	r := response{t: s.t, what: "POST /v1/entries in gzip"}
	request, err := newRequest(s.t.Context(), "POST", s.server.URL+"/v1/entries", s.keeper, raw.Bytes(), []string{"Content-Encoding", "gzip", "Accept-Encoding", "gzip"})
	if err != nil {
		s.t.Fatal(err)
	}
	answer, err := transport.RoundTrip(request)
	if err != nil {
		s.t.Fatal(err)
	}
	defer answer.Body.Close()
	r.status, r.header = answer.StatusCode, answer.Header
	if r.header.Get("Content-Encoding") != "gzip" || !strings.Contains(r.header.Get("Vary"), "Accept-Encoding") {
		s.t.Errorf("the answer is not compressed: %v", r.header)
	}
	unzip, err := gzip.NewReader(answer.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	if r.body, err = io.ReadAll(unzip); err != nil {
		s.t.Error(err)
	}
	if err := checkAnswer(request, r); err != nil {
		s.t.Errorf("%s: the answer is not as the contract says: %v", r.what, err)
	}
	return r
}
