package integration_test

import (
	"fmt"
	"net/http"
	"sync"
	"sync/atomic"
	"testing"
)

// Whoever comes at once, nobody takes fish that are not there.
func TestRacingHarvests(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.stocked(day(0), members{"count": 1000})
	const each, people = 30, 40
	var taken, refused atomic.Int64
	var wait sync.WaitGroup
	for n := range people {
		wait.Go(func() { // on days before and after each other's
			e := p.entry("harvest", day(100+n*7%20), members{"batch_id": batch, "count": each, "weight_kg": 3})
			r := p.post(p.keeper, []members{e}).want(http.StatusOK)
			switch r.at("/results/0/status") {
			case "created":
				taken.Add(each)
			case "refused":
				if code := r.at("/results/0/problem/code"); code != "not_enough_fish" {
					t.Errorf("it is refused as %s: %s", code, r.body)
				}
				refused.Add(1)
			default:
				t.Errorf("it became %s", r.body)
			}
		})
	}
	wait.Wait()
	// 33 × 30 = 990 of 1000.
	if taken.Load() != 990 || refused.Load() != people-33 {
		t.Errorf("%d fish were taken and %d harvests refused", taken.Load(), refused.Load())
	}
	p.performance(batch, "?as_of="+day(130)).wantAt(map[string]string{"/fish/harvested": fmt.Sprint(taken.Load()), "/fish/on_hand": "10"})
	p.rows(34, 0)
}

// One entry that many phones send at once, or one phone many times, counts once; so
// does a reversal.
func TestSameEntryAtOnce(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.stocked(day(0), members{"count": 100})
	e := p.entry("death", day(1), members{"batch_id": batch, "count": 1})
	statuses := map[string]int{}
	var mu sync.Mutex
	atOnce := func(n int, send func() string) {
		clear(statuses)
		var wait sync.WaitGroup
		for range n {
			wait.Go(func() {
				status := send()
				mu.Lock()
				statuses[status]++
				mu.Unlock()
			})
		}
		wait.Wait()
	}
	atOnce(10, func() string {
		return p.post(p.keeper, []members{e}).want(http.StatusOK).at("/results/0/status")
	})
	if statuses["created"] != 1 || statuses["exists"] != 9 {
		t.Errorf("one entry became %v", statuses)
	}
	atOnce(10, func() string {
		r := p.do("POST", "/v1/entries/"+e["id"].(string)+"/reversal", p.keeper, members{"id": newText(), "reason": "It lives."})
		return fmt.Sprint(r.status, r.at("/code"))
	})
	if statuses["201"] != 1 || statuses["422already_reversed"] != 9 {
		t.Errorf("reversals of one entry became %v", statuses)
	}
	p.performance(batch, "?as_of="+day(2)).wantAt(map[string]string{"/fish/on_hand": "100"})
	p.rows(3, 0)
}

// What goes between two sites both ways at once does not lock them against each other.
func TestSendingBothWays(t *testing.T) {
	t.Parallel()
	s := newService(t)
	a, b := newPond(s), newPond(s)
	fish := [2]string{a.stocked(day(0), members{"count": 500}), b.stocked(day(0), members{"count": 500})}
	ponds := [2]pond{a, b}
	var wait sync.WaitGroup
	for n := range 20 {
		wait.Go(func() {
			from, to := n%2, (n+1)%2
			sent := ponds[from].entry("sent", day(1+n), members{"to_site_id": ponds[to].site, "batch_id": fish[from], "count": 10})
			s.post(s.keeper, []members{ponds[to].entry("received", day(1+n), members{"sent_id": sent["id"], "batch_id": fish[to], "count": 10}), sent}).
				want(http.StatusOK).became("created created")
		})
	}
	wait.Wait()
	for _, f := range fish {
		s.performance(f, "?as_of="+day(30)).wantAt(map[string]string{"/fish/on_hand": "500", "/fish/moved_in": "100", "/fish/moved_out": "100"})
	}
}
