package simulate

import (
	"math"

	"shoalbook/domain"
)

// consignment is goods or fish on the way to the next site.
type consignment struct {
	on      domain.Date
	sent    domain.EntryID
	feed    *feed
	grams   float64 // of the feed
	fish    int
	weight  float64 // g, mean
	species *species
	growth  Growth
	frailty float64
	season  domain.Date
}

// Sites give to their neighbour: of the pairs of sites, one in three feed and
// one in six fish. The sender comes first in the order of sites.
func (s *school) gives(oneIn int) bool {
	pair := s.index / 2
	return s.index%2 == 0 && s.index+1 < s.Sites && pair%oneIn == 0
}

func (s *school) neighbour() domain.SiteID { return s.coop.Sites[s.index+1].Facts.ID }

// sendFish gives part of a batch to the neighbour.
func (s *school) sendFish(f *stock) {
	s.bury(f)
	n := int(float64(f.alive) * s.between(0.25, 0.35))
	weight := f.take(n, 0)
	m := s.record(domain.Sent{ToSite: s.neighbour(), Batch: &f.id, Count: new(domain.Fish(n)), Weight: new(grams(to(50, weight)))})
	f.book -= n
	s.leaving = append(s.leaving, consignment{on: s.day, sent: m.entry.ID, fish: n, weight: weight / float64(n),
		species: f.species, growth: f.growth, frailty: f.truth.Frailty, season: s.seasonOf()})
}

// sendFeed gives some bags to the neighbour, if there are enough.
func (s *school) sendFeed() {
	for _, st := range s.stores {
		if bags := math.Floor(min(st.there, st.book) / 3 / bag); bags >= 1 {
			bags = min(bags, 2)
			m := s.record(domain.Sent{ToSite: s.neighbour(), Product: &st.feed.id, Quantity: new(domain.Quantity(bags * bag))})
			st.take(bags * bag)
			s.leaving = append(s.leaving, consignment{on: s.day, sent: m.entry.ID, feed: st.feed, grams: bags * bag})
			return
		}
	}
	if s.day < s.seasonOf()+120 { // ask again
		s.at(s.day+3, s.sendFeed)
	}
}

// receive takes over what the neighbour sent.
func (s *school) receive(c consignment) {
	if c.feed != nil {
		got := c.grams
		if s.chance(0.25) { // a bag tore on the way
			got -= 500 * float64(s.whole(1, 6))
		}
		s.record(domain.Received{Sent: c.sent, Quantity: new(domain.Quantity(got))})
		s.store(c.feed).put(got)
		return
	}
	n := c.fish - s.whole(0, 3)
	p := fishPlan{species: c.species, unit: s.plan.spare}
	f := s.admit(p, n, c.weight, c.growth, c.frailty, c.season, " received")
	b := domain.Received{Sent: c.sent, Batch: &f.id, Count: new(domain.Fish(n))}
	if s.chance(0.5) {
		b.Weight = new(grams(to(50, float64(n)*c.weight)))
	}
	s.record(b)
	f.background = 0.0003
	f.course = course{fishPlan: p, harvest: []domain.Date{s.day + s.days(140, 150)}}
	s.target(f, f.course.harvest[0])
}
