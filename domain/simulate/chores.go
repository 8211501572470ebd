package simulate

import (
	"math"
	"time"

	"shoalbook/domain"
)

// garden is a grow bed.
type garden struct {
	unit domain.UnitID
	area float64
	crop string
}

// chores is what is done besides the fish: reading the water, buying feed,
// working, paying bills, picking vegetables, counting learners.
func (s *school) chores() {
	s.readWater()
	s.shop()
	weekday := s.day.Time().Weekday()
	s.meter += s.pumpWatts / 1000 * s.between(18, 24)
	if weekday == time.Friday {
		s.week()
	}
	if len(s.fish) > 0 {
		if s.feeding && s.open {
			s.daysServed++
		}
		if weekday == time.Wednesday && s.open {
			s.pickCrops()
		}
		if s.chance(0.005) {
			s.repair()
		}
	}
	if s.open {
		s.daysOpen++
	}
	if s.day == s.day.Month().Last() {
		s.month()
	}
}

func (s *school) readWater() {
	if s.thermometer == 0 || !s.writes || !s.chance(s.thermometer) {
		return
	}
	tenth := func(v float64) *domain.Thousandths { return new(domain.Thousandths(to(100, 1000*v))) }
	done := map[domain.UnitID]bool{}
	for _, f := range s.fish {
		if done[f.unit.ID] {
			continue
		}
		done[f.unit.ID] = true
		b := domain.Water{Unit: f.unit.ID, TemperatureC: tenth(s.celsius - 0.6 + 0.3*s.NormFloat64())}
		if s.chance(0.12) {
			b.OxygenMgL = tenth(s.between(4.2, 7.2))
		}
		if s.chance(0.12) {
			b.PH = tenth(s.between(6.6, 7.9))
		}
		if f.unit.Kind == "tank" && s.chance(0.1) {
			b.LitresAdded = new(domain.Thousandths(50*s.whole(4, 30)) * litres)
		}
		s.testWater(&b)
		s.clock(s.jot(b), 6, 9)
	}
}

// week records the work of the week and reads the meter.
func (s *school) week() {
	if s.plan.pumped && s.meter > 0 {
		kwh := to(0.1, s.meter)
		s.jot(domain.Use{Product: s.kwh, Quantity: domain.Quantity(kwh * 1000)})
		s.billed, s.meter = s.billed+kwh, 0
	}
	if len(s.fish) == 0 || !s.chance(0.85) {
		return
	}
	hours := to(0.5, s.between(3, 8))
	b := domain.Labour{Hours: domain.Thousandths(hours * 1000)}
	if s.index%3 == 0 {
		b.Amount = new(shillings(hours * 90))
	} else {
		b.UnpaidValue = new(shillings(hours * 90))
	}
	s.jot(b)
}

// month records the bills and the counts of a month, and counts the store.
func (s *school) month() {
	first, last := s.day.Month().First(), s.day
	if s.billed > 0 {
		bill := domain.Expense{Category: "energy", Amount: shillings(to(1, 150+24.5*s.billed)), Supplier: &s.power, CoversFrom: &first, CoversTo: &last, Paid: s.chance(0.6)}
		s.at(s.day+s.days(5, 14), func() {
			m := s.record(bill)
			wrong := bill
			wrong.Amount *= 10
			s.slip(m, wrong, "read the bill wrongly")
			s.settle(bill)
		})
		s.billed = 0
	}
	if len(s.fish) > 0 {
		if s.index%6 == 3 {
			s.record(domain.Expense{Category: "salaries", Amount: shillings(2500), Paid: true}).note("Part of the caretaker's salary")
		}
		if s.plan.pumped && s.chance(0.7) {
			s.record(domain.Expense{Category: "water", Amount: shillings(to(10, s.between(250, 900))), Paid: true})
		}
		s.record(domain.Tally{Measure: "feeding_days", Count: domain.Fish(s.daysServed)})
		if s.daysOpen > 0 {
			n, share := float64(s.whole(20, 60)), s.between(0.4, 0.6)
			female := domain.Fish(math.Round(share * n))
			s.record(domain.Tally{Measure: "learners", Count: domain.Fish(n), Female: &female, Male: new(domain.Fish(n) - female)})
		}
		if s.chance(s.stocktakes) {
			s.takeStock()
		}
	}
	if s.daysOpen > 0 {
		s.record(domain.Tally{Measure: "school_days", Count: domain.Fish(s.daysOpen)})
	}
	s.daysServed, s.daysOpen = 0, 0
}

func (s *school) pickCrops() {
	for _, g := range s.beds {
		if !s.chance(0.7) {
			continue
		}
		weight := grams(to(100, 1000*g.area*s.between(0.15, 0.45)))
		s.record(domain.Crop{Unit: g.unit, Crop: g.crop, Weight: weight})
		price := unitPrice(to(5, s.between(45, 80)))
		if s.chance(0.55) {
			s.record(domain.Sale{Disposal: "eaten", Crop: &g.crop, Weight: weight, UnitPrice: &price})
		} else {
			s.record(domain.Sale{Disposal: "sold", Crop: &g.crop, Weight: weight, UnitPrice: &price, Paid: true})
		}
	}
}

func (s *school) repair() {
	what := pick(s.dice, "Mended the net", "New pipe and valve", "Patched the liner", "Cleaned and greased the pump")
	s.record(domain.Expense{Category: "repairs", Amount: shillings(to(50, s.between(300, 4500))), Paid: true}).note(what)
	if s.chance(0.5) {
		s.record(domain.Incident{Type: "equipment", Hours: new(domain.Thousandths(1000 * s.whole(1, 10)))}).note(what)
	}
}
