package integration_test

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"sync/atomic"
	"testing"
	"time"
)

// TestCrash kills the service and the database while phones send entries, and what
// they send again after it.
func TestCrash(t *testing.T) {
	t.Parallel()
	file := build(t)
	t.Run("under load", func(t *testing.T) {
		t.Parallel()
		crashUnderLoad(t, file)
	})
	t.Run("between commit and answer", func(t *testing.T) {
		t.Parallel()
		crashAfterCommit(t, file)
	})
}

// A village is a co-operative in a service that can be killed: a site with a tank
// full of fish, and a feed.
type village struct {
	*program
	coop, token       string
	site, batch, feed string
}

func newVillage(p *program) *village {
	p.t.Helper()
	v := &village{program: p}
	v.coop = p.run("coop", "create", "--name", "Kafue Schools", "--currency", "ZMW", "--zone", "Africa/Lusaka", "--country", "ZM")
	v.token = p.run("token", "create", "--coop", v.coop, "--name", "phones", "--role", "coordinator")
	p.start()
	v.site = v.must("POST", "/v1/sites", members{"name": "Mlimani", "kind": "school"}).at("/id")
	unit := v.must("POST", "/v1/units", members{"site_id": v.site, "name": "Tank", "kind": "tank"}).at("/id")
	v.feed = v.must("POST", "/v1/products", members{"name": "Grower", "category": "feed", "unit": "kg"}).at("/id")
	v.batch = newText()
	v.must("POST", "/v1/batches", members{"id": v.batch, "site_id": v.site, "unit_id": unit, "species": "CLZ", "name": "Many"})
	v.must("POST", "/v1/entries", members{"entries": []members{{"id": newText(), "kind": "stocking", "site_id": v.site, "batch_id": v.batch,
		"occurred_on": day(0), "origin": "bred", "count": 1_000_000, "mean_weight_g": 10}}})
	return v
}

// send sends a request once. An answer that does not come is an error.
func (v *village) send(method, path string, body any, key string) (response, error) {
	what := method + " " + path
	request, err := newRequest(context.Background(), method, "http://"+v.address+path, v.token, body, []string{"Idempotency-Key", key})
	if err != nil {
		return response{}, err
	}
	answer, err := transport.RoundTrip(request)
	if err != nil {
		return response{}, err
	}
	defer answer.Body.Close()
	r := response{t: v.t, what: what, status: answer.StatusCode, header: answer.Header}
	if r.body, err = io.ReadAll(answer.Body); err != nil {
		return response{}, err
	}
	return r, checkAnswer(request, r)
}

// must sends a request that has to succeed.
func (v *village) must(method, path string, body any) response {
	v.t.Helper()
	r, err := v.send(method, path, body, newText())
	if err != nil || r.status >= 300 {
		v.t.Fatalf("%s %s: %v %d %s", method, path, err, r.status, r.body)
	}
	return r
}

// A phone sends what was written down, each until it is answered.
type phone struct {
	*village
	random   *rand.Rand
	tried    map[string]members // all entries that were sent, by id
	done     []string           // those that were answered
	keys     map[string][]byte  // keys of parties that were added, with the answer
	unclear  int                // requests that were sent again
	reversed map[string]bool
}

// work sends entries, reversals and parties until told to end.
func (p *phone) work(end *atomic.Bool) {
	for !end.Load() {
		switch n := p.random.IntN(10); {
		case n == 0:
			p.party()
		case n == 1 && len(p.done) > 0:
			p.reversal()
		default:
			p.entries()
		}
	}
}

// insist sends a request until it is answered, and returns the answer.
func (p *phone) insist(method, path string, body any, key string) response {
	for {
		r, err := p.send(method, path, body, key)
		switch {
		case err == nil && r.status < 500 && r.status != http.StatusTooManyRequests:
			return r
		case err == nil && r.status == http.StatusInternalServerError:
			p.t.Errorf("%s: %s", r.what, r.body)
		case err == nil && r.header.Get("Retry-After") == "":
			p.t.Errorf("%s: %d without Retry-After", r.what, r.status)
		}
		p.unclear++
		time.Sleep(20 * time.Millisecond)
	}
}

func (p *phone) entries() {
	var entries []members
	for range 1 + p.random.IntN(3) {
		e := members{"id": newText(), "site_id": p.site, "batch_id": p.batch, "occurred_on": day(1 + p.random.IntN(40))}
		switch p.random.IntN(3) {
		case 0:
			e["kind"], e["count"] = "death", 1+p.random.IntN(3)
		case 1:
			e["kind"], e["product_id"], e["weight_kg"] = "feeding", p.feed, 0.5
		default:
			e["kind"], e["count"], e["weight_kg"] = "sample", 10, 0.25
		}
		entries = append(entries, e)
		p.tried[e["id"].(string)] = e
	}
	r := p.insist("POST", "/v1/entries", members{"entries": entries}, "")
	for i, e := range entries {
		if status := r.at(fmt.Sprintf("/results/%d/status", i)); status != "created" && status != "exists" {
			p.t.Errorf("an entry is %s: %s", status, r.body)
			continue
		}
		p.done = append(p.done, e["id"].(string))
	}
}

func (p *phone) reversal() {
	id := p.done[p.random.IntN(len(p.done))]
	if p.reversed[id] || p.tried[id]["kind"] == "reversal" {
		return
	}
	p.reversed[id] = true
	e := members{"id": newText(), "reason": "It was another tank.", "occurred_on": day(60)}
	p.tried[e["id"].(string)] = members{"id": e["id"], "kind": "reversal", "site_id": p.site, "occurred_on": day(60), "reverses_id": id, "reason": e["reason"]}
	if r := p.insist("POST", "/v1/entries/"+id+"/reversal", e, ""); r.status != http.StatusCreated && r.status != http.StatusOK {
		p.t.Errorf("a reversal: %d %s", r.status, r.body)
	}
	p.done = append(p.done, e["id"].(string))
}

func (p *phone) party() {
	key := newText()
	r := p.insist("POST", "/v1/parties", members{"name": "Buyer " + key, "roles": []string{"buyer"}}, key)
	if r.status != http.StatusCreated {
		p.t.Errorf("a party: %d %s", r.status, r.body)
	}
	p.keys[key] = r.body
}
