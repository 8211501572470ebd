package integration_test

import (
	"bytes"
	"math/rand/v2"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"shoalbook/postgres/postgrestest"
)

// crashUnderLoad kills the service four times, then the database twice, then both,
// while four phones send. Nothing that was answered is lost or there twice, nothing
// is there that was not sent, no figure is half of what it should be, and the service
// heals by itself once the database is back.
func crashUnderLoad(t *testing.T, file string) {
	db, server := postgrestest.NewDurable(t)
	v := newVillage(newProgram(t, file, db.URL))
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	phones := make([]*phone, 4)
	var end atomic.Bool
	var working sync.WaitGroup
	for i := range phones {
		phones[i] = &phone{village: v, random: rand.New(rand.NewPCG(seed, uint64(i+1))), tried: map[string]members{}, keys: map[string][]byte{}, reversed: map[string]bool{}}
		working.Go(func() { phones[i].work(&end) })
	}
	pause := func() { time.Sleep(time.Duration(100+random.IntN(400)) * time.Millisecond) }
	for range 4 {
		pause()
		v.kill()
		v.start()
	}
	restart := func() {
		if err := server.Kill(); err != nil {
			t.Error(err)
		}
		time.Sleep(100 * time.Millisecond) // in which requests fail
		if err := server.Restart(t.Context()); err != nil {
			t.Error(err)
		}
	}
	for range 2 {
		pause()
		restart()
		t.Logf("the service healed within %v", v.healed(5*time.Second))
	}
	pause()
	restart()
	v.kill()
	v.start()
	pause()
	end.Store(true)
	working.Wait()
	checkPhones(v, phones)
}

func checkPhones(v *village, phones []*phone) {
	t := v.t
	journal := map[string]bool{}
	for path := "/v1/entries?limit=500"; path != ""; {
		page := v.must("GET", path, nil)
		var list struct {
			Items []struct {
				Entry struct{ ID, Kind string }
			}
		}
		page.into(&list)
		for _, item := range list.Items {
			if journal[item.Entry.ID] = true; item.Entry.Kind == "stocking" {
				delete(journal, item.Entry.ID) // from before
			}
		}
		path, _, _ = strings.Cut(strings.TrimPrefix(page.header.Get("Link"), "<"), ">")
	}
	done, tried, unclear, parties := 0, 0, 0, 0
	for _, p := range phones {
		for _, id := range p.done {
			if done++; !journal[id] {
				t.Errorf("%v was answered, and is lost", p.tried[id])
			}
		}
		var again []members
		for id, e := range p.tried {
			tried++
			delete(journal, id)
			again = append(again, e)
		}
		for len(again) > 0 {
			n := min(len(again), 500)
			r := v.must("POST", "/v1/entries", members{"entries": again[:n]})
			if exist := bytes.Count(r.body, []byte(`"status":"exists"`)); exist != n {
				t.Errorf("of %d entries that were sent again %d were there", n, exist)
			}
			again = again[n:]
		}
		unclear += p.unclear
		parties += len(p.keys)
		p.checkParties()
	}
	for id := range journal {
		t.Errorf("%s is in the journal, and nobody has sent it", id)
	}
	if out := v.run("verify", v.coop); out != "0 differences" {
		t.Errorf("the figures are not what the journal says: %s", out)
	}
	t.Logf("%d entries and %d parties, %d requests that had to be sent again", done, parties, unclear)
	if done < 50 || parties < 5 || unclear < 8 || done != tried {
		t.Error("too little happened")
	}
}

// checkParties fails unless each key has added one party, and is answered as it was.
func (p *phone) checkParties() {
	named := map[string]int{}
	for path := "/v1/parties?limit=500"; path != ""; {
		page := p.must("GET", path, nil)
		var list struct{ Items []struct{ Name string } }
		page.into(&list)
		for _, item := range list.Items {
			named[item.Name]++
		}
		path, _, _ = strings.Cut(strings.TrimPrefix(page.header.Get("Link"), "<"), ">")
	}
	for key, answer := range p.keys {
		body := members{"name": "Buyer " + key, "roles": []string{"buyer"}}
		if named["Buyer "+key] != 1 {
			p.t.Errorf("there are %d parties of one key", named["Buyer "+key])
		}
		if r := p.insist("POST", "/v1/parties", body, key); !bytes.Equal(r.body, answer) || r.header.Get("Replayed") != "true" {
			p.t.Errorf("a party was answered with %s, and again with %s", answer, r.body)
		}
	}
}

// settled waits until it is kept that the one token was used today. That is kept beside
// the work, once a day, and its commit must not be taken for the commit of the work.
func (v *village) settled() {
	v.t.Helper()
	for range 1000 {
		if !bytes.Contains(v.must("GET", "/v1/tokens", nil).body, []byte(`"last_used_on"`)) {
			time.Sleep(5 * time.Millisecond)
			continue
		}
		return
	}
	v.t.Fatal("the use of the token is never kept")
}

// crashAfterCommit kills the service when the database has kept what a request
// changes, and before anybody was told.
func crashAfterCommit(t *testing.T, file string) {
	relay := newRelay(t, postgrestest.New(t).URL)
	v := newVillage(newProgram(t, file, relay.url))
	feeding := func() members {
		return members{"id": newText(), "kind": "feeding", "site_id": v.site, "batch_id": v.batch, "product_id": v.feed, "occurred_on": day(3), "weight_kg": 2}
	}
	mistake := feeding()
	v.must("POST", "/v1/entries", members{"entries": []members{mistake}})
	unit := v.must("GET", "/v1/units", nil).at("/items/0/id")
	v.settled()
	for _, c := range []struct {
		path   string
		body   members
		status int // of the second try
		want   map[string]string
	}{
		{"/v1/entries", members{"entries": []members{feeding(), feeding()}}, 200, map[string]string{"/results/0/status": "exists", "/results/1/status": "exists"}},
		{"/v1/entries/" + mistake["id"].(string) + "/reversal", members{"id": newText(), "reason": "Not fed."}, 200, map[string]string{"/entry/reason": "Not fed."}},
		{"/v1/batches", members{"id": newText(), "site_id": v.site, "unit_id": unit, "species": "CLZ", "name": "New"}, 200, map[string]string{"/name": "New"}},
		{"/v1/parties", members{"name": "Once", "roles": []string{"buyer"}}, 201, map[string]string{"/name": "Once"}},
		{"/v1/tokens", members{"name": "Once", "role": "coordinator"}, 201, map[string]string{"/name": "Once"}},
	} {
		key := newText()
		relay.atCommit(func() bool {
			v.kill()
			return true
		})
		if r, err := v.send("POST", c.path, c.body, key); err == nil {
			t.Errorf("%s was answered by a service that is dead: %d %s", c.path, r.status, r.body)
		}
		relay.answer.Store(nil)
		v.start()
		var answers []response
		for range 2 {
			r, err := v.send("POST", c.path, c.body, key)
			if err != nil {
				t.Error(err)
			}
			answers = append(answers, r.want(c.status).wantAt(c.want))
			if replayed := r.header.Get("Replayed") == "true"; replayed != (c.status == http.StatusCreated) {
				t.Errorf("%s: replayed is %v", c.path, replayed)
			}
		}
		if !bytes.Equal(answers[0].body, answers[1].body) {
			t.Errorf("%s: the answers are %s and %s", c.path, answers[0].body, answers[1].body)
		}
		if secret := answers[1].at("/secret"); secret != "" {
			v.token = secret
			v.must("GET", "/v1/coop", nil)
		}
	}
	for _, path := range []string{"/v1/parties", "/v1/tokens"} {
		if n := strings.Count(string(v.must("GET", path, nil).body), `"Once"`); n != 1 {
			t.Errorf("there are %d of what was sent thrice to %s", n, path)
		}
	}

	// Nobody is answered before the database has said that it is kept.
	const late = 200 * time.Millisecond
	relay.atCommit(func() bool {
		time.Sleep(late)
		return false
	})
	start := time.Now()
	v.must("POST", "/v1/entries", members{"entries": []members{feeding()}})
	if took := time.Since(start); took < late {
		t.Errorf("it was answered after %v, and kept after %v", took, late)
	}
	if out := v.run("verify", v.coop); out != "0 differences" {
		t.Error(out)
	}
}

// atCommit calls a function when the database says that something was kept, which
// is kept from the service if the function returns true.
func (r *relay) atCommit(then func() bool) {
	answer := func(said []byte) bool { return bytes.Contains(said, []byte("COMMIT\x00")) && then() }
	r.answer.Store(&answer)
}
