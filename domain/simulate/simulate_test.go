package simulate

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"testing"

	"shoalbook/domain"
)

var today = domain.NewDate(2026, 5, 31)

// worlds are the co-operatives most tests look at, of different seeds, sizes
// and times of the year.
var worlds = []Options{
	{Seed: 1, Sites: 24, Seasons: 2, Today: today},
	{Seed: 2, Sites: 1, Seasons: 1, Today: today},
	{Seed: 3, Sites: 2, Seasons: 1, Today: today + 77},
	{Seed: 4, Sites: 13, Seasons: 3, Today: today + 200},
	{Seed: 5, Sites: 4, Seasons: 2, Today: today + 313},
}

func (o Options) String() string {
	return fmt.Sprintf("seed %d, %d sites, %d seasons", o.Seed, o.Sites, o.Seasons)
}

// eachWorld runs a test on every one of worlds.
func eachWorld(t *testing.T, test func(t *testing.T, o Options, c *Coop)) {
	for _, o := range worlds {
		t.Run(o.String(), func(t *testing.T) {
			t.Parallel()
			test(t, o, New(o))
		})
	}
}

// fold folds what stands of every site, senders before those they send to, and
// shows the state of each at the end of every day with an entry.
func fold(t *testing.T, c *Coop, endOfDay func(*Site, *domain.Site, domain.Day)) []*domain.Site {
	t.Helper()
	fixed := map[domain.EntryID]*domain.Consignment{}
	var states []*domain.Site
	for i := range c.Sites {
		s := &c.Sites[i]
		state := domain.NewSite(s.Facts.ID, c.FactsOf(s))
		entries := Standing(s.Entries)
		fix(entries, fixed)
		if err := state.Fold(entries, func(d domain.Day) {
			if endOfDay != nil {
				endOfDay(s, state, d)
			}
		}); err != nil {
			t.Fatalf("%s: %v", s.Facts.Name, err)
		}
		keepFixed(entries, fixed)
		states = append(states, state)
	}
	return states
}

// fix gives received entries the value that was fixed when it was sent.
func fix(entries []domain.Entry, fixed map[domain.EntryID]*domain.Consignment) {
	for i := range entries {
		switch b := entries[i].Body.(type) {
		case domain.Received:
			entries[i].Fixed = fixed[b.Sent]
		case domain.Sent:
			entries[i].Fixed = fixed[entries[i].ID]
		}
	}
}

func keepFixed(entries []domain.Entry, fixed map[domain.EntryID]*domain.Consignment) {
	for i := range entries {
		if _, sent := entries[i].Body.(domain.Sent); sent {
			fixed[entries[i].ID] = entries[i].Fixed
		}
	}
}

// TestAccepted: nothing that is sent is refused, neither for what it says nor
// for how it is written.
func TestAccepted(t *testing.T) {
	t.Parallel()
	eachWorld(t, func(t *testing.T, o Options, c *Coop) {
		seen := map[domain.EntryID]bool{}
		for i := range c.Sites {
			s := &c.Sites[i]
			for k, e := range s.Entries {
				if seen[e.ID] {
					t.Fatalf("%s: id %s twice", s.Facts.Name, e.ID)
				}
				seen[e.ID] = true
				if err := e.Check(s.Sent[k]); err != nil {
					t.Fatalf("%s: %s sent on %s: %v", s.Facts.Name, e.Body.Kind(), s.Sent[k], err)
				}
				if s.Sent[k] > o.Today || k > 0 && s.Sent[k] < s.Sent[k-1] {
					t.Fatalf("%s: entry %d is out of order", s.Facts.Name, k)
				}
				if e.Site != s.Facts.ID || e.Fixed != nil || !e.RecordedAt.IsZero() {
					t.Fatalf("%s: entry %d says what the service says", s.Facts.Name, k)
				}
				text := domain.EncodeEntry(&e, currency)
				back, err := domain.DecodeEntry(text, currency)
				if err != nil {
					t.Fatalf("%s: %v", text, err)
				}
				if again := domain.EncodeEntry(&back, currency); string(again) != string(text) {
					t.Fatalf("%s\nread back as\n%s", text, again)
				}
			}
		}
		fold(t, c, nil)
	})
}

// TestRequests: posted one after the other, no request is refused, whatever is
// still on its way by then.
func TestRequests(t *testing.T) {
	t.Parallel()
	eachWorld(t, func(t *testing.T, _ Options, c *Coop) {
		site := map[domain.SiteID]*Site{}
		total := 0
		for i := range c.Sites {
			site[c.Sites[i].Facts.ID] = &c.Sites[i]
			total += len(c.Sites[i].Entries)
		}
		journal := map[domain.SiteID][]domain.Entry{}
		there := map[domain.EntryID]bool{}
		fixed := map[domain.EntryID]*domain.Consignment{}
		for n, request := range c.Requests() {
			if len(request) > most {
				t.Fatalf("request %d has %d entries", n, len(request))
			}
			touched := map[domain.SiteID]bool{}
			for _, e := range request {
				if about := e.Body.Refs().Entry; about != nil && !there[*about] {
					t.Fatalf("request %d: a %s is about an entry that no earlier request has", n, e.Body.Kind())
				}
				journal[e.Site] = append(journal[e.Site], e)
				touched[e.Site] = true
			}
			for _, e := range request {
				there[e.ID] = true
				if r, ok := e.Body.(domain.Reversal); ok && r.Replacement != nil && !there[*r.Replacement] {
					t.Fatalf("request %d: a replacement is not there", n)
				}
			}
			total -= len(request)
			for id := range touched {
				entries := Standing(journal[id])
				fix(entries, fixed)
				if err := domain.NewSite(id, c.FactsOf(site[id])).Fold(entries, nil); err != nil {
					t.Fatalf("request %d, %s: %v", n, site[id].Facts.Name, err)
				}
				keepFixed(entries, fixed)
			}
		}
		if total != 0 {
			t.Fatalf("%d entries are in no request", total)
		}
	})
}

func TestManySites(t *testing.T) {
	t.Parallel()
	c := New(Options{Seed: 6, Sites: 200, Today: today})
	fold(t, c, nil)
	names := map[string]bool{}
	for _, s := range c.Sites {
		names[s.Facts.Name] = true
	}
	if len(names) != 200 {
		t.Errorf("200 sites have %d names", len(names))
	}
}

func digest(c *Coop) [32]byte {
	h := sha256.New()
	fmt.Fprintf(h, "%v\n", c.Facts)
	for i := range c.Sites {
		s := &c.Sites[i]
		fmt.Fprintf(h, "%v %v\n", s.Facts.ID, s.Sent)
		for k := range s.Entries {
			h.Write(domain.EncodeEntry(&s.Entries[k], currency))
		}
		for _, b := range s.Batches {
			fmt.Fprintf(h, "%v %v\n", b.ID, *c.Truth.Batches[b.ID])
		}
	}
	return [32]byte(h.Sum(nil))
}

func TestSameSeedSameCoop(t *testing.T) {
	t.Parallel()
	o := Options{Seed: 9, Sites: 6, Today: today}
	first := digest(New(o))
	if digest(New(o)) != first {
		t.Error("the same options made another co-operative")
	}
	o.Seed++
	if digest(New(o)) == first {
		t.Error("another seed made the same co-operative")
	}
}

// TestRegistry: the registry takes every fact.
func TestRegistry(t *testing.T) {
	t.Parallel()
	eachWorld(t, func(t *testing.T, _ Options, c *Coop) {
		errs := []error{c.Facts.Check()}
		for _, p := range c.Parties {
			errs = append(errs, p.Check())
		}
		for _, p := range c.Products {
			errs = append(errs, p.Check())
		}
		for i := range c.Sites {
			s := &c.Sites[i]
			errs = append(errs, s.Facts.Check())
			units := map[domain.UnitID]bool{}
			for _, u := range s.Units {
				units[u.ID] = true
				errs = append(errs, u.Check())
			}
			for _, l := range s.Loops {
				errs = append(errs, l.Check())
			}
			for _, e := range s.Equipment {
				errs = append(errs, e.Check())
			}
			batches := map[string]bool{}
			for _, b := range s.Batches {
				errs = append(errs, b.Check())
				if batches[b.Name] || !units[b.Unit] || b.TargetOn == nil {
					t.Errorf("%s: batch %s has no name of its own, no unit or no plan", s.Facts.Name, b.Name)
				}
				batches[b.Name] = true
			}
		}
		if err := errors.Join(errs...); err != nil {
			t.Error(err)
		}
	})
}

// TestVariety: the default co-operative has everything a demo should show.
func TestVariety(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		c := New(Options{Seed: seed, Today: today})
		if len(c.Sites) != 24 {
			t.Fatalf("%d sites", len(c.Sites))
		}
		have := map[string]int{}
		late, total := 0, 0
		for i := range c.Sites {
			s := &c.Sites[i]
			for k, e := range s.Entries {
				total++
				if s.Sent[k] > e.On {
					late++
				}
				have[e.Body.Kind()]++
				switch b := e.Body.(type) {
				case domain.Stocking:
					have["stocking "+b.Origin]++
				case domain.Receipt:
					have["receipt "+b.Origin]++
				case domain.Incident:
					have["incident "+b.Type]++
				case domain.Sale:
					have["sale "+b.Disposal]++
				case domain.Tally:
					have["tally "+b.Measure]++
				case domain.Payment:
					have["payment "+b.Direction]++
				case domain.Move:
					have[fmt.Sprintf("move to unit %t, empties %t", b.ToUnit != nil, b.Empties)]++
				case domain.Sent:
					have[fmt.Sprintf("sent fish %t", b.Batch != nil)]++
				case domain.Received:
					have[fmt.Sprintf("received fish %t", b.Batch != nil)]++
				case domain.Harvest:
					have[fmt.Sprintf("harvest counted %t, empties %t", b.Count != nil, b.Empties)]++
				case domain.Death:
					if b.Cause != nil {
						have["death "+*b.Cause]++
					}
				case domain.Reversal:
					have[fmt.Sprintf("reversal replaced %t", b.Replacement != nil)]++
				}
			}
		}
		for _, kind := range domain.Kinds() {
			if have[kind] == 0 {
				t.Errorf("seed %d: no %s", seed, kind)
			}
		}
		for _, what := range []string{
			"stocking bought", "stocking bred", "stocking opening", "receipt bought", "receipt donated", "receipt opening",
			"incident power_cut", "incident theft", "incident flood", "incident disease", "incident predator", "incident equipment",
			"sale sold", "sale eaten", "sale given", "sale discarded", "payment paid", "payment received",
			"tally learners", "tally trained", "tally meals", "tally school_days", "tally feeding_days", "tally jobs",
			"move to unit true, empties false", "move to unit false, empties false", "move to unit false, empties true",
			"sent fish true", "sent fish false", "received fish true", "received fish false",
			"harvest counted true, empties false", "harvest counted true, empties true", "harvest counted false, empties false", "harvest counted false, empties true",
			"death transport", "death handling", "death disease", "death oxygen", "death power_cut",
			"reversal replaced true", "reversal replaced false",
		} {
			if have[what] == 0 {
				t.Errorf("seed %d: no %s", seed, what)
			}
		}
		// The demo is to be ready within seconds: the number of entries is bounded.
		if total < 25_000 || total > 40_000 {
			t.Errorf("seed %d: %d entries", seed, total)
		}
		if late < total/50 || late > total/4 {
			t.Errorf("seed %d: %d of %d entries were sent later than they happened", seed, late, total)
		}
		if len(c.Requests()) > 300 {
			t.Errorf("seed %d: %d requests", seed, len(c.Requests()))
		}
		t.Logf("seed %d: %d entries, %d sent late, %d requests", seed, total, late, len(c.Requests()))
	}
}

func BenchmarkNew(b *testing.B) {
	for _, sites := range []int{1, 24, 200} {
		b.Run(fmt.Sprintf("%d sites", sites), func(b *testing.B) {
			for b.Loop() {
				New(Options{Seed: 1, Sites: sites, Today: today})
			}
		})
	}
}
