package integration_test

import (
	"net/http"
	"testing"
)

func (p pond) hold(want string, entries ...members) response {
	p.t.Helper()
	return p.do("POST", "/v1/entries", p.keeper, members{"entries": entries, "on_refusal": "hold"}).want(http.StatusOK).became(want)
}

// Whatever somebody writes into a note, the questions can be read.
func TestHeldWithAnyCharacter(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	note := "\\ \x01\v\u007f\"'\u202e🐟"
	p.hold("held", p.entry("death", day(1), members{"batch_id": p.newBatch(), "count": 1, "note": note}))
	p.do("GET", "/v1/questions", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/entry/note": note, "/items/1": ""})
}

// What is dated tomorrow waits for tomorrow, whatever else is recorded meanwhile.
func TestHeldUntilItsDay(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	tomorrow := (todayAt(t, "Africa/Lusaka") + 2).String() // also where the clock is ahead
	early := p.entry("tally", tomorrow, members{"measure": "meals", "count": 3})
	p.hold("held", early).wantAt(map[string]string{"/results/0/problem/code": "in_future"})
	p.hold("created", p.entry("tally", day(1), members{"measure": "meals", "count": 3}))
	p.do("GET", "/v1/entries/"+early["id"].(string), p.keeper, nil).want(http.StatusNotFound)
	p.do("GET", "/v1/questions", p.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/entry/id": early["id"].(string)})
}

// What names somebody who is not there is not held: it would fit one day, and could
// still not be recorded.
func TestHeldOnlyIfAllIsThere(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	fish := p.stocked(day(0), members{"count": 100, "mean_weight_g": 500})
	sale := p.entry("sale", day(2), members{"batch_id": fish, "disposal": "sold", "weight_kg": 5, "amount": "9.00", "buyer_id": newText()})
	p.hold("refused", sale).wantAt(map[string]string{"/results/0/problem/code": "unknown_reference", "/results/0/problem/errors/0/pointer": "/buyer_id"})
	nowhere := p.entry("received", day(2), members{"sent_id": newText(), "quantity": 1})
	nowhere["site_id"] = newText()
	p.hold("refused", nowhere).wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/site_id"})
	p.hold("created", p.entry("harvest", day(1), members{"batch_id": fish, "weight_kg": 20, "count": 40}))
}

// An entry that names what is not there is refused, and the others are recorded.
func TestOneBadReference(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	good := func() members { return p.entry("tally", day(1), members{"measure": "meals", "count": 1}) }
	for pointer, bad := range map[string]members{
		"/supplier_id": p.entry("expense", day(1), members{"category": "other", "amount": "1.00", "supplier_id": newText()}),
		"/batch_id":    p.entry("labour", day(1), members{"hours": 1, "batch_id": newText()}),
		"/to_site_id":  p.entry("sent", day(1), members{"to_site_id": newText(), "product_id": p.feed, "quantity": 1}),
		"/unit_id":     p.entry("incident", day(1), members{"type": "theft", "unit_id": newText()}),
		"/product_id":  p.entry("use", day(1), members{"product_id": newText(), "quantity": 1}),
	} {
		r := p.do("POST", "/v1/entries", p.keeper, members{"entries": []members{good(), bad, good()}}).want(http.StatusOK).became("created refused created")
		r.wantAt(map[string]string{"/results/1/problem/code": "unknown_reference", "/results/1/problem/errors/0/pointer": pointer})
	}
	home := p.entry("sent", day(1), members{"to_site_id": p.site, "product_id": p.feed, "quantity": 1})
	p.do("POST", "/v1/entries", p.keeper, members{"entries": []members{home}}).want(http.StatusOK).became("refused").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/to_site_id"})
}

// What is twice in one request is recorded once; and if it cannot be, neither of them
// is said to be there.
func TestTwiceInOneRequest(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	good := p.entry("tally", day(1), members{"measure": "meals", "count": 1})
	bad := p.entry("death", day(1), members{"batch_id": p.newBatch(), "count": 1})
	r := p.do("POST", "/v1/entries", p.keeper, members{"entries": []members{bad, good, bad, good}}).want(http.StatusOK)
	r.became("refused created refused exists").wantAt(map[string]string{"/results/0/problem/code": "before_batch", "/results/2/problem/code": "before_batch"})
	p.hold("held held", bad, bad)
	p.rows(1, 1)
}

// What is wrong with a replacement is told by its place in the request.
func TestWrongReplacement(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	id := p.recorded(p.entry("tally", day(1), members{"measure": "meals", "count": 1})).at("/results/0/id")
	for pointer, change := range map[string]members{
		"/replacement/count":    {"count": 0},
		"/replacement/batch_id": {"batch_id": newText()},
	} {
		replacement := p.entry("death", day(1), members{"batch_id": newText(), "count": 1})
		for name, value := range change {
			replacement[name] = value
		}
		r := p.do("POST", "/v1/entries/"+id+"/reversal", p.keeper, members{"id": newText(), "reason": "Not so.", "replacement": replacement})
		r.wantAt(map[string]string{"/errors/0/pointer": pointer})
	}
}
