package simulate

import (
	"fmt"
	"math"

	"shoalbook/domain"
)

// store is a feed at the site, in g: what is there, and what the book says.
type store struct {
	feed        *feed
	there, book float64
	need        float64 // a day, lately
	today       float64
	coming      bool
}

const bag = 25_000. // g

func (st *store) put(g float64)  { st.there, st.book = st.there+g, st.book+g }
func (st *store) take(g float64) { st.there, st.book = st.there-g, st.book-g }

func (s *school) store(f *feed) *store {
	for _, st := range s.stores {
		if st.feed == f {
			return st
		}
	}
	st := &store{feed: f}
	s.stores = append(s.stores, st)
	return st
}

// feedFor returns the store of the feed that fish of a kind and size get here.
func (s *school) feedFor(f *stock) *store {
	small := s.store(s.feeds[starter])
	if f.believed < 25 {
		return small
	}
	grower := s.store(s.feeds[s.grower(f.species)])
	if grower.there < bag/50 && small.there > bag/50 { // until the new feed comes
		grower.need = max(grower.need, 500)
		return small
	}
	return grower
}

func (s *school) grower(k *species) int {
	switch {
	case k == catfish:
		return catfishGrower
	case s.index%6 == 1:
		return mash
	}
	return tilapiaGrower
}

// feed gives the fish of a batch their feed of the day: what the keeper thinks
// they need, of what is there.
func (s *school) feed(f *stock) {
	if !s.feeding || f.alive == 0 {
		return
	}
	st := s.feedFor(f)
	want := s.truth.FeedWaste * f.growth.Appetite(f.believed, s.celsius) * float64(f.book) * st.feed.worth * s.around(1, 0.08)
	st.today += want
	step := 10.
	if want > 1000 {
		step = 50
	}
	scooped := max(step, to(step, want))
	given := scooped * s.around(1, 0.03)
	if given > st.there {
		return
	}
	st.there -= given
	f.fed += given
	each := given * 0.98 / st.feed.worth / float64(f.alive)
	full := f.growth.Appetite(f.mean, s.celsius)
	f.eaten = min(each, full)
	if !s.writes {
		return
	}
	st.book -= scooped
	b := domain.Feeding{Batch: f.id, Product: st.feed.id, Weight: grams(scooped)}
	switch fill := full / each; {
	case s.chance(0.35): // nobody wrote it down
	case fill < 0.6:
		b.Response = new("poor")
	case fill < 0.85:
		b.Response = new("fair")
	default:
		b.Response = new("good")
	}
	m := s.jot(b)
	if s.chance(0.2) {
		s.clock(m, 7, 17)
	}
	// Ten times what small fish eat is refused at once: then the slip is another.
	wrong, reason := b, "the weight had a zero too many"
	if wrong.Weight *= 10; float64(wrong.Weight) > 0.15*f.believed*float64(f.book) {
		wrong.Weight, reason = b.Weight+grams(step), "a scoop too many"
	}
	s.slip(m, wrong, reason)
	s.double(m)
}

// provision sees to it that there is feed for fish that have just come.
func (s *school) provision(f *stock) {
	if st := s.feedFor(f); st.there < bag {
		s.buy(st, 1)
	}
}

// shop orders feed that will soon be used up. It comes some days later, and
// sometimes too late.
func (s *school) shop() {
	for _, st := range s.stores {
		if st.today > 0 {
			st.need = 0.7*st.need + 0.3*st.today
		} else if len(s.fish) == 0 {
			st.need = 0
		}
		st.today = 0
		if st.coming || st.need == 0 || st.there > st.need*8 {
			continue
		}
		st.coming = true
		wait := s.days(0, 4)
		if s.chance(0.06) {
			wait += s.days(4, 8)
		}
		bags := max(1, min(16, math.Ceil(st.need*30/bag)))
		s.at(s.day+1+wait, func() { s.buy(st, bags) })
	}
}

func (s *school) buy(st *store, bags float64) {
	from := s.sellers[(s.index+s.IntN(10)/8)%len(s.sellers)] // most stay with their seller
	q := bags * bag
	st.put(q)
	st.coming = false
	price := to(0.5, st.feed.price*from.price*s.around(1, 0.03))
	b := domain.Receipt{Product: st.feed.id, Quantity: domain.Quantity(q), Origin: "bought", Supplier: &from.id, Paid: s.chance(0.45)}
	if s.chance(0.7) {
		b.UnitPrice = new(unitPrice(price))
	} else {
		b.Amount = new(shillings(to(1, price*q/1000)))
	}
	if s.chance(0.5) {
		b.Lot, b.ExpiresOn = new(fmt.Sprintf("L%s-%02d", s.day.String()[2:4], s.whole(1, 99))), new(s.day+s.days(90, 180))
	}
	m := s.record(b)
	if s.chance(0.1) { // the paper turns up weeks later
		m.sent += s.days(5, 20)
	}
	s.settle(b)
	wrong := b
	wrong.Quantity *= 2
	s.slip(m, wrong, "counted the bags twice")
	if s.chance(0.3) {
		s.record(domain.Expense{Category: "transport", Amount: shillings(to(50, 150+60*bags)), Paid: true})
	}
}

// settleIn records what is there when the site joins, and what is given to it.
func (s *school) settleIn() {
	opening := func(p domain.ProductID, q domain.Quantity, each float64) {
		s.record(domain.Receipt{Product: p, Quantity: q, Origin: "opening", UnitPrice: new(unitPrice(each))})
	}
	opening(s.salt, 20_000, 45)
	opening(s.bags, 600_000, 6)
	if s.index%4 == 1 {
		st := s.store(s.feeds[starter])
		st.put(bag / 2)
		opening(st.feed.id, bag/2, st.feed.price)
	}
	if s.index%5 == 2 {
		s.at(s.starts[0]+s.days(15, 25), func() {
			st := s.store(s.feeds[s.grower(s.plan.fish[1].species)])
			st.put(2 * bag)
			s.record(domain.Receipt{Product: st.feed.id, Quantity: 2 * bag, Origin: "donated", Supplier: &s.funder, UnitPrice: new(unitPrice(st.feed.price))}).
				note("First feed, a gift")
		})
	}
	last := s.starts[len(s.starts)-1]
	if s.gives(3) {
		s.at(last+s.days(62, 68), s.sendFeed)
	}
}

// takeStock counts the bags.
func (s *school) takeStock() {
	for _, st := range s.stores {
		counted := max(0, to(100, st.there*s.around(1, 0.004)))
		s.record(domain.Stocktake{Product: st.feed.id, Quantity: domain.Quantity(counted)})
		st.book = counted
	}
}
