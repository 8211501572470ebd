// Package simulate makes an invented co-operative of schools that grow fish,
// with its registry, the entries its people would send, and the truth behind
// them, which is in no entry: how many fish were really alive, what they
// weighed, how they grow, how well each place is kept.
//
// Twenty-four sites and two seasons make about 30 000 entries.
//
// The same options make the same co-operative, to the last byte. It reads no
// clock: today is an option.
package simulate

import (
	"cmp"
	"slices"

	"shoalbook/domain"
)

// Options say what to make.
type Options struct {
	Seed    uint64
	Sites   int         // 24 if 0
	Seasons int         // at each site, the last one under way; 2 if 0
	Today   domain.Date // the last day; required
}

// Coop is a co-operative: what the registry has, what was sent, and the truth.
type Coop struct {
	Facts    domain.Coop
	Parties  []domain.Party
	Products []domain.Product
	Sites    []Site
	Truth    Truth
}

// Site is one school. Entries are in the order in which they were sent, the
// i-th on the day Sent[i]: most on the day they happened, some days later. No
// entry has what the service adds when it records it.
type Site struct {
	Facts     domain.SiteFacts
	Loops     []domain.Loop
	Units     []domain.Unit
	Equipment []domain.Equipment
	Batches   []domain.Batch
	Calendar  []domain.Period
	Entries   []domain.Entry
	Sent      []domain.Date
}

// New makes a co-operative.
func New(o Options) *Coop {
	o.Sites, o.Seasons = cmp.Or(o.Sites, 24), cmp.Or(o.Seasons, 2)
	w := newWorld(o)
	var arriving []consignment // at the next site
	for i := range o.Sites {
		s := newSchool(w, i)
		s.live(arriving)
		arriving = s.leaving
		s.finish()
	}
	return w.coop
}

// most is how many entries one request may carry.
const most = 1000

// Requests returns all entries in the order in which they were sent, in
// requests of at most 1000. What refers to another entry (a reversal, goods and
// fish received from another site) is in a later request than that entry.
func (c *Coop) Requests() [][]domain.Entry {
	type place struct{ site, index int }
	var order []place
	for i := range c.Sites {
		for k := range c.Sites[i].Entries {
			order = append(order, place{i, k})
		}
	}
	slices.SortStableFunc(order, func(a, b place) int {
		return cmp.Compare(c.Sites[a.site].Sent[a.index], c.Sites[b.site].Sent[b.index])
	})
	var requests [][]domain.Entry
	var request []domain.Entry
	inside := map[domain.EntryID]bool{}
	for _, p := range order {
		e := c.Sites[p.site].Entries[p.index]
		about := e.Body.Refs().Entry
		if len(request) == most || about != nil && inside[*about] {
			requests, request = append(requests, request), nil
			clear(inside)
		}
		request = append(request, e)
		inside[e.ID] = true
	}
	if len(request) > 0 {
		requests = append(requests, request)
	}
	return requests
}

// Standing returns the entries that count, in the order in which they are
// folded: without those that were reversed, and without the reversals.
func Standing(entries []domain.Entry) []domain.Entry {
	gone := map[domain.EntryID]bool{}
	for _, e := range entries {
		if r, ok := e.Body.(domain.Reversal); ok {
			gone[e.ID], gone[r.Reverses] = true, true
		}
	}
	standing := make([]domain.Entry, 0, len(entries)-len(gone))
	for _, e := range entries {
		if !gone[e.ID] {
			standing = append(standing, e)
		}
	}
	domain.SortEntries(standing)
	return standing
}

// FactsOf returns what the fold of a site needs to know of the registry.
func (c *Coop) FactsOf(s *Site) domain.Facts {
	f := domain.Facts{Batches: map[domain.BatchID]domain.Batch{}, Units: map[domain.UnitID]domain.Unit{}, Products: map[domain.ProductID]domain.ProductFacts{}}
	for _, b := range s.Batches {
		f.Batches[b.ID] = b
	}
	for _, u := range s.Units {
		f.Units[u.ID] = u
	}
	for _, p := range c.Products {
		facts := domain.ProductFacts{Category: p.Category, Unit: p.Unit, Stored: p.Stored}
		if p.ProteinPercent != nil {
			facts.Protein = []domain.ProteinFrom{{Percent: p.ProteinPercent}}
		}
		f.Products[p.ID] = facts
	}
	return f
}
