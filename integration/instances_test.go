package integration_test

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
)

// Two instances on one database keep the same books: whoever writes through which of
// them, and even if the same is sent to both at once, nobody takes fish that are not
// there, nothing counts twice, and nothing that one has acknowledged is missing at the
// other.
func TestInstancesKeepOneBook(t *testing.T) {
	t.Parallel()
	s := newService(t)
	via := [2]*service{s, s.twin()}
	here, there := newPond(s), newPond(s)
	const fish, feed = 600, 50_000 // grams
	batch, other := here.stocked(day(0), members{"count": fish}), there.newBatch()
	s.recorded(here.entry("receipt", day(0), members{"product_id": here.feed, "quantity": feed / 1000, "origin": "bought", "unit_price": "2.00"}),
		there.entry("stocking", day(0), members{"batch_id": other, "origin": "bred", "count": 1}))

	const writers, turns, each, portion = 6, 15, 5, 125 // 6 × 15 × 2 × 5 = 900 fish are asked for, of 600
	var taken, sent, fed, refused atomic.Int64
	// both sends the same entries to both instances at once. Both must say the same of them,
	// but for which of the two was first; the first's is returned.
	both := func(entries ...members) (statuses []string) {
		var answers [2]response
		var wait sync.WaitGroup
		for i, at := range via {
			wait.Go(func() { answers[i] = at.post(s.keeper, entries).want(http.StatusOK) })
		}
		wait.Wait()
		for i := range entries {
			var became [2]string
			for k, r := range answers {
				became[k] = r.at(fmt.Sprintf("/results/%d/status", i))
			}
			slices.Sort(became[:])
			if became != [2]string{"created", "exists"} && became != [2]string{"refused", "refused"} {
				t.Errorf("sent to both, it became %v: %s and %s", became, answers[0].body, answers[1].body)
			}
			statuses = append(statuses, became[0])
		}
		return statuses
	}
	var writing sync.WaitGroup
	for n := range writers {
		writing.Go(func() {
			for turn := range turns {
				on := day(10 + (n*7+turn*11)%60) // before and after the others' days
				harvest := here.entry("harvest", on, members{"batch_id": batch, "count": each, "weight_kg": 1})
				goes := here.entry("sent", on, members{"to_site_id": there.site, "batch_id": batch, "count": each})
				comes := there.entry("received", on, members{"sent_id": goes["id"], "batch_id": other, "count": each})
				feeding := here.entry("feeding", day(5), members{"product_id": here.feed, "weight_kg": float64(portion) / 1000, "batch_id": batch})
				for i, status := range both(harvest, goes, comes, feeding) {
					switch {
					case status == "refused" && i == 3:
						t.Error("a feeding was refused")
					case status == "refused":
						refused.Add(1)
					case i == 0:
						taken.Add(each)
					case i == 1:
						sent.Add(each)
					case i == 3:
						fed.Add(portion)
					}
				}
			}
		})
	}
	done := make(chan struct{})
	var reading sync.WaitGroup
	looks := 0
	reading.Go(func() {
		for i := 0; ; i++ {
			harvested, gone := taken.Load(), sent.Load() // acknowledged before the question
			at := via[i%2]
			r := at.performance(batch, "?as_of="+day(100))
			number := func(pointer string) int64 {
				n, err := strconv.ParseInt(r.at(pointer), 10, 64)
				if err != nil {
					t.Errorf("%s: %v", pointer, err)
				}
				return n
			}
			h, o, left := number("/fish/harvested"), number("/fish/moved_out"), number("/fish/on_hand")
			if h < harvested || o < gone || left < 0 || h+o+left != fish {
				t.Errorf("%d harvested of %d acknowledged, %d sent of %d, and %d on hand", h, harvested, o, gone, left)
			}
			looks++
			select {
			case <-done:
				return
			default:
			}
		}
	})
	writing.Wait()
	close(done)
	reading.Wait()

	if taken.Load()+sent.Load() != fish || refused.Load() == 0 {
		t.Errorf("%d fish were harvested and %d sent, of %d; %d refusals", taken.Load(), sent.Load(), fish, refused.Load())
	}
	if fed.Load() != writers*turns*portion {
		t.Errorf("%d g were fed", fed.Load())
	}
	for _, at := range via {
		at.performance(batch, "?as_of="+day(100)).wantAt(map[string]string{
			"/fish/harvested": fmt.Sprint(taken.Load()), "/fish/moved_out": fmt.Sprint(sent.Load()), "/fish/on_hand": "0"})
		at.performance(other, "?as_of="+day(100)).wantAt(map[string]string{
			"/fish/moved_in": fmt.Sprint(sent.Load()), "/fish/on_hand": fmt.Sprint(1 + sent.Load())})
		store := at.do("GET", "/v1/sites/"+here.site+"/store", s.keeper, nil).want(http.StatusOK)
		left := feed - fed.Load()
		store.wantAt(map[string]string{"/items/0/quantity": kilos(left), "/items/0/value": fmt.Sprintf("%d.%02d", left*2/1000, left*2/10%100)})
	}
	s.sound()
	if n := deadlocks(t, s.url); n > 0 {
		t.Errorf("there were %d deadlocks", n)
	}
	t.Logf("%d harvested, %d sent, %d refusals, %d looks", taken.Load(), sent.Load(), refused.Load(), looks)
}

// The same request under the same key, at two instances at once, is done once, and
// both give the same answer to the byte.
func TestInstancesShareKeys(t *testing.T) {
	t.Parallel()
	s := newService(t)
	via := [4]*service{s, s.twin()}
	via[2], via[3] = via[0], via[1]
	for n := range 10 {
		key, body := newText(), members{"name": fmt.Sprint("Buyer ", n), "roles": []string{"buyer"}}
		var answers [len(via)]response
		var wait sync.WaitGroup
		for i, at := range via {
			wait.Go(func() {
				answers[i] = at.do("POST", "/v1/parties", s.coordinator, body, "Idempotency-Key", key).want(http.StatusCreated)
			})
		}
		wait.Wait()
		done := 0
		for _, r := range answers {
			if r.header.Get("Replayed") == "" {
				done++
			}
			if !bytes.Equal(r.body, answers[0].body) {
				t.Errorf("the same request got %s and %s", r.body, answers[0].body)
			}
		}
		if done != 1 {
			t.Errorf("the same request was done %d times", done)
		}
	}
	if all := s.do("GET", "/v1/parties?limit=500", s.coordinator, nil).want(http.StatusOK).ids(); len(all) != 10 {
		t.Errorf("there are %d parties, want 10", len(all))
	}
}
