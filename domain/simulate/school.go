package simulate

import (
	"math"
	"slices"
	"time"

	"shoalbook/domain"
)

// school is one site while it is lived through, day by day.
type school struct {
	*world
	dice
	care dice // of what is done for the health of the fish, so that all else is as without it
	habits
	index  int
	site   *Site
	truth  SiteTruth
	plan   layout
	starts []domain.Date // of the seasons
	joined domain.Date

	day      domain.Date
	celsius  float64 // of the water, mean of the day
	swing    float64 // of the weather, against the season
	open     bool    // a school day
	feeding  bool    // somebody feeds today
	writes   bool    // somebody keeps the sheet today
	online   domain.Date
	fish     []*stock
	stores   []*store
	beds     []garden
	agenda   map[domain.Date][]func()
	messages []*message
	leaving  []consignment

	pumpWatts  float64
	meter      float64 // kWh since the last reading
	billed     float64 // kWh since the last bill
	daysServed int     // with a meal, in this month
	daysOpen   int
}

// habits are how the people of a site go about it.
type habits struct {
	fed, fedOff, fedHoliday float64     // chance that the fish are fed on a day
	kept, keptOff           float64     // chance that the sheet is kept on a day
	offline                 float64     // chance that a time without network begins
	thermometer             float64     // chance that the water is read on a day the sheet is kept
	sampling                domain.Date // days between samples
	counts                  bool        // whether they count all fish half-way
	weighsDead              float64
	stocktakes              float64 // chance that the store is counted at the end of a month
	slips                   float64 // chance that what is written is wrong
}

// period is the days from one season to the next: about seven months of fish
// and some weeks to clean the tanks.
const period = 242

func newSchool(w *world, i int) *school {
	r := newDice(w.Seed, uint64(i)+1)
	s := &school{world: w, dice: r, care: newDice(w.Seed, uint64(i)+1_000_001), index: i, site: &w.coop.Sites[i], plan: layouts[i%len(layouts)], agenda: map[domain.Date][]func(){}}
	s.truth = SiteTruth{FeedWaste: min(r.around(1.22, 0.09), 1.45), Frailty: r.around(1, 0.3), Found: r.between(0.70, 0.95), Warmth: max(-0.8, min(0.8, 0.45*r.NormFloat64())), Price: r.around(1, 0.07)}
	if i%12 == 7 { // a place where things go badly, for comparisons to find
		s.truth.Frailty, s.truth.FeedWaste = r.between(2.0, 2.5), 1.5
	}
	s.habits = habits{
		fed: r.between(0.97, 0.995), fedOff: r.between(0.60, 0.97), fedHoliday: r.between(0.65, 0.95),
		kept: r.between(0.93, 0.99), keptOff: r.between(0.60, 0.97), offline: r.between(0.01, 0.06),
		thermometer: r.between(0.15, 0.60), sampling: pick[domain.Date](r, 14, 14, 21, 28), counts: r.chance(0.4),
		weighsDead: pick(r, 0, 0, 0.3, 0.8), stocktakes: r.between(0.6, 1), slips: 0.006,
	}
	if i%8 == 3 {
		s.thermometer = 0
	}
	last := w.Today - r.days(95, 160)
	if i%8 == 5 { // a few have begun to harvest
		last = w.Today - r.days(190, 205)
	}
	for k := range w.Seasons {
		s.starts = append(s.starts, last-domain.Date(w.Seasons-1-k)*period)
	}
	s.joined = s.starts[0] - 7
	return s
}

func (s *school) live(arriving []consignment) {
	s.day = s.joined
	s.build()
	s.settleIn()
	for k, start := range s.starts {
		s.at(start, func() { s.beginSeason(k) })
	}
	s.at(s.joined+s.care.days(10, 40), s.visited)
	s.keepCalendar()
	for _, c := range arriving {
		s.at(max(c.on+s.days(0, 1), s.joined), func() { s.receive(c) })
	}
	for ; s.day <= s.Today; s.day++ {
		s.dawn()
		for i := 0; i < len(s.agenda[s.day]); i++ { // it grows while it is worked off
			s.agenda[s.day][i]()
		}
		delete(s.agenda, s.day)
		s.troubles()
		for _, f := range s.fish {
			s.lose(f)
			s.feed(f)
		}
		for _, f := range slices.Clone(s.fish) {
			s.tend(f)
		}
		s.chores()
		s.dusk()
	}
}

// at has something done on a later day, or today.
func (s *school) at(day domain.Date, do func()) { s.agenda[day] = append(s.agenda[day], do) }

func (s *school) dawn() {
	s.swing = 0.8*s.swing + 0.4*s.NormFloat64()
	season := 1.4 * math.Cos(2*math.Pi*float64(s.day-60)/365.25) // warmest at the beginning of March
	s.celsius = 26.6 + s.truth.Warmth + season + s.swing
	weekend, holiday := calendar(s.day)
	s.open = !weekend && !holiday
	fed, kept := s.fed, s.kept
	if !s.open {
		fed, kept = s.fedOff, s.keptOff
	}
	if holiday {
		fed = s.fedHoliday
	}
	s.feeding, s.writes = s.chance(fed), s.chance(kept)
	if s.online < s.day && s.chance(s.offline) {
		s.online = s.day + s.days(2, 12)
	}
	for _, f := range s.fish {
		f.grow(s.celsius)
	}
}

// calendar says whether a day is a weekend and whether it is in the school
// holidays, which are invented.
func calendar(d domain.Date) (weekend, holiday bool) {
	t := d.Time()
	weekend = t.Weekday() == time.Saturday || t.Weekday() == time.Sunday
	switch _, m, day := t.Date(); m {
	case time.April, time.August:
		holiday = day >= 5 && day <= 25
	case time.December:
		holiday = true
	case time.November:
		holiday = day >= 24
	case time.January:
		holiday = day <= 4
	}
	return weekend, holiday
}

// dusk writes down the truth of the day.
func (s *school) dusk() {
	for _, f := range s.fish {
		t := f.truth
		t.Alive = append(t.Alive, domain.Fish(f.alive))
		t.Weight = append(t.Weight, domain.Milligrams(f.weight*1000))
		t.Fed = append(t.Fed, domain.Grams(math.Round(f.fed)))
		t.Unrecorded = append(t.Unrecorded, domain.Fish(f.unrecorded))
		f.fed = 0
	}
	s.fish = slices.DeleteFunc(s.fish, func(f *stock) bool { return f.alive == 0 })
}

func shillings(v float64) domain.Money { return domain.Money(math.Round(v * 100)) }

func unitPrice(v float64) domain.UnitPrice { return domain.UnitPrice(shillings(v)) * 10_000 }

func grams(v float64) domain.Grams { return domain.Grams(math.Round(v)) }
