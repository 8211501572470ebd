package simulate

import (
	"fmt"

	"shoalbook/domain"
)

// troubles lets things go wrong with the site. Once fish are being harvested,
// people watch: nothing big happens any more.
func (s *school) troubles() {
	if len(s.fish) == 0 {
		return
	}
	if s.plan.pumped && s.chance(0.011) {
		s.cutPower()
	}
	if !s.plan.pumped && s.index%6 == 2 && s.chance(0.004) {
		s.flood()
	}
	for _, f := range s.fish {
		age := s.day - f.since
		if s.day > f.outbreakTo && age > 20 && age < 150 && s.chance(0.0022*f.frailty) {
			s.fallIll(f)
		}
		if f.unit.Kind == "pond" && f.code == "TLN" && f.harvests == 0 && s.chance(0.001) { // a still, hot night
			f.shock[oxygen] = s.between(0.01, 0.05)
			f.truth.Shocks = append(f.truth.Shocks, s.day)
			s.clock(s.jot(domain.Water{Unit: f.unit.ID, OxygenMgL: new(domain.Thousandths(to(100, 1000*s.between(1.6, 3))))}), 6, 8)
		}
		if f.unit.Kind != "tank" && s.writes && s.chance(0.003) {
			s.record(domain.Incident{Type: "predator", Unit: new(f.unit.ID), Batch: &f.id}).
				note(pick(s.dice, "Herons at the water in the morning", "An otter was seen", "Kingfishers; the net over the pond is torn"))
		}
	}
}

func (s *school) cutPower() {
	hours := to(0.5, s.between(0.5, 9))
	m := s.record(domain.Incident{Type: "power_cut", Hours: new(domain.Thousandths(hours * 1000))})
	m.note(fmt.Sprintf("No power for %g hours", hours))
	for _, f := range s.fish {
		if hours > 4 && f.harvests == 0 {
			f.shock[powerCut] = f.airless * (hours - 4) / 4 * s.around(1, 0.4)
			f.truth.Shocks = append(f.truth.Shocks, s.day)
		}
	}
}

func (s *school) flood() {
	for _, f := range s.fish {
		if f.unit.Kind == "tank" || f.harvests > 0 {
			continue
		}
		gone := min(f.spare(), int(float64(f.alive)*s.between(0.02, 0.07)))
		f.alive, f.lost, f.unrecorded = f.alive-gone, f.lost+gone, f.unrecorded+gone
		s.record(domain.Incident{Type: "flood", Unit: new(f.unit.ID), Batch: &f.id}).
			note("Water came over the bank after heavy rain; fish may have left")
	}
}

func (s *school) fallIll(f *stock) {
	f.outbreak, f.outbreakTo = s.between(0.004, 0.016), s.day+s.days(3, 9)
	f.truth.Outbreaks = append(f.truth.Outbreaks, Outbreak{s.day, f.outbreakTo})
	if !s.chance(0.6) {
		return
	}
	s.record(domain.Incident{Type: "disease", Unit: new(f.unit.ID), Batch: &f.id}).
		note(pick(s.dice, "White patches on the skin", "Fish hang at the surface and do not eat", "Torn fins, some lose their balance"))
	s.record(domain.Use{Product: s.salt, Quantity: domain.Quantity(s.whole(2, 12)) * 250, Batch: &f.id})
	s.treat(f)
}

// steal lets fish vanish in the night. Nobody knows how many: the book keeps them
// until somebody counts.
func (s *school) steal(f *stock) {
	n := min(f.spare(), int(float64(f.alive)*s.between(0.04, 0.13)))
	if n == 0 {
		return
	}
	f.take(n, 0.5)
	f.lost, f.unrecorded = f.lost+n, f.unrecorded+n
	f.truth.Thefts = append(f.truth.Thefts, Theft{s.day, domain.Fish(n)})
	if s.chance(0.75) {
		s.record(domain.Incident{Type: "theft", Unit: new(f.unit.ID), Batch: &f.id}).
			note(pick(s.dice, "The lock was broken this morning", "Footprints and scales at the water", "The cover was cut open"))
	}
}
