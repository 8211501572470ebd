package simulate

import (
	"math"

	"shoalbook/domain"
)

// sellFish says where the fish of a harvest went: some are eaten at the school,
// some given away, the rest is sold. Together they are never more than was
// harvested: each part is taken off what is left.
func (s *school) sellFish(f *stock, harvested domain.Grams) {
	price := to(5, f.price*s.truth.Price*s.around(1, 0.04))
	left := harvested
	part := func(share float64) domain.Grams {
		g := min(left, grams(to(100, share*float64(harvested))))
		left -= g
		return g
	}
	bags := max(1, math.Round(float64(harvested)/5000))
	s.record(domain.Use{Product: s.bags, Quantity: domain.Quantity(1000 * bags), Batch: &f.id})
	if g := part(s.between(0.12, 0.40)); g > 0 {
		s.eat(domain.Sale{Disposal: "eaten", Batch: &f.id, Weight: g, UnitPrice: new(unitPrice(price)), Form: new("whole")})
	}
	if g := part(max(0, s.between(-0.02, 0.08))); g > 0 {
		s.record(domain.Sale{Disposal: "given", Batch: &f.id, Weight: g})
	}
	if g := part(max(0, s.between(-0.03, 0.02))); g > 0 {
		s.record(domain.Sale{Disposal: "discarded", Batch: &f.id, Weight: g}).note("Spoilt before it was sold")
	}
	for lots := s.whole(1, 3); lots > 0 && left > 0; lots-- {
		g := left
		if lots > 1 {
			g = part(s.between(0.15, 0.35))
		} else {
			left = 0
		}
		if g > 0 {
			s.sell(f, g, price)
		}
	}
}

// eat records what was eaten at the school, at the price it would have had at
// the gate, and the meals it made.
func (s *school) eat(b domain.Sale) {
	s.record(b)
	meals := domain.Fish(math.Round(float64(b.Weight) / s.between(120, 180)))
	if meals > 0 {
		s.record(domain.Tally{Measure: "meals", Count: meals})
	}
}

func (s *school) sell(f *stock, live domain.Grams, price float64) {
	b := domain.Sale{Disposal: "sold", Batch: &f.id, Weight: live, Form: new(pick(s.dice, "live", "whole", "whole"))}
	if s.chance(0.15) {
		b.Form, b.LiveWeight = new("gutted"), new(live)
		b.Weight = max(1, grams(to(10, 0.9*float64(live))))
		price = to(5, 1.15*price)
	}
	if s.chance(0.65) {
		b.Buyer = new(pick(s.dice, s.buyers...))
		b.Paid = s.chance(0.4)
		price *= s.between(0.9, 1) // for much at once
	} else {
		b.Paid = true
	}
	if s.chance(0.6) {
		b.UnitPrice = new(unitPrice(to(1, price)))
	} else {
		b.Amount = new(shillings(to(10, price*float64(b.Weight)/1000)))
	}
	s.record(b)
	s.settle(b)
}

// settle pays, or is paid, later what an entry left owing: mostly all of it,
// sometimes in two parts, sometimes not at all.
func (s *school) settle(b domain.Body) {
	refs := b.Refs()
	if refs.Owed == 0 {
		return
	}
	p := domain.Payment{Party: *refs.Party, Direction: "received", Amount: refs.Owed}
	if refs.Owed < 0 {
		p.Direction, p.Amount = "paid", -refs.Owed
	}
	on := s.day + s.days(10, 50)
	switch how := s.Float64(); {
	case how < 0.72:
		s.recordAt(on, func() domain.Body { return p })
	case how < 0.9 && p.Amount >= 2:
		first, second := p, p
		first.Amount /= 2
		second.Amount -= first.Amount
		s.recordAt(on, func() domain.Body { return first })
		s.recordAt(on+s.days(10, 40), func() domain.Body { return second })
	}
}

// recordAt records an entry on a later day.
func (s *school) recordAt(day domain.Date, body func() domain.Body) {
	s.at(day, func() { s.record(body()) })
}
