package simulate

import (
	"fmt"
	"math"

	"shoalbook/domain"
)

// course is what is in store for a batch: the days on which things are to
// happen; 0 for never.
type course struct {
	fishPlan
	shift   domain.Date // what fishPlan.then says
	count   domain.Date
	theft   domain.Date
	send    domain.Date // a part goes to another site
	harvest []domain.Date
}

// beginSeason stocks what the site stocks every season.
func (s *school) beginSeason(k int) {
	for i, p := range s.plan.fish {
		opening := k == 0 && s.index%4 == 1 && i == 0
		if opening { // half grown, where big fish are
			p.unit, p.then = p.goal, stay
		}
		bred := !opening && k > 0 && s.index%4 == 2 && p.species == tilapia
		s.at(s.day+s.days(0, 9), func() { s.stockFish(p, k, opening, bred) })
	}
	s.recordAt(s.day+s.days(0, 5), func() domain.Body {
		return domain.Tally{Measure: "jobs", Count: 1, Female: new(domain.Fish(s.whole(0, 1)))}
	})
	s.recordAt(s.day+s.days(3, 12), func() domain.Body {
		n, f := s.whole(6, 24), s.between(0.3, 0.7)
		female := domain.Fish(math.Round(f * float64(n)))
		return domain.Tally{Measure: "trained", Count: domain.Fish(n), Female: &female, Male: new(domain.Fish(n) - female)}
	})
}

func (s *school) stockFish(p fishPlan, season int, opening, bred bool) {
	note := int(to(10, float64(p.count)*s.between(0.9, 1.1)))
	mean := s.around(p.fingerling, 0.2)
	from := pick(s.dice, s.hatcheries...)
	b := domain.Stocking{Origin: "bought", Count: domain.Fish(note)}
	came, dead := note, 0
	quality := from.truth
	switch {
	case opening: // nobody counted them
		b.Origin, mean = "opening", mean*s.between(6, 9)
		came = int(float64(note) * s.around(0.98, 0.03))
		quality = HatcheryTruth{Growth: 1, Frailty: 1}
	case bred:
		b.Origin = "bred"
		quality = HatcheryTruth{Growth: 0.94, Frailty: 0.95}
	default:
		came = int(math.Round(float64(note) * (1 - quality.Short - 0.012*s.NormFloat64())))
		dead = s.binomial(came, s.beta(quality.DeadOnArrival, 80))
		b.Supplier = &from.id
		b.UnitPrice = new(unitPrice(to(0.25, p.young*from.price*s.between(0.95, 1.05))))
		if s.chance(0.3) {
			b.Amount, b.UnitPrice = new(shillings(to(10, float64(note)*p.young*from.price))), nil
		}
		b.Paid = s.chance(0.5)
	}
	growth := p.growth
	growth.Rate *= quality.Growth * s.around(1, 0.04)
	growth.Final *= s.around(1, 0.05)
	f := s.admit(p, came, mean, growth, quality.Frailty*s.around(1, 0.25), s.starts[season], "")
	f.believed = mean * s.around(1, 0.06)
	f.background = -math.Log(1-min(0.3, s.beta(0.065, 14))) / 210
	f.book, f.unrecorded = note, note-came
	b.Batch = f.id
	switch {
	case s.chance(0.65):
		b.MeanWeight = new(domain.Milligrams(to(100, 1000*f.believed)))
	case s.chance(0.8):
		b.Weight = new(grams(to(50, f.believed*float64(note))))
	} // else nobody weighed them
	s.record(b)
	s.settle(b)
	f.alive, f.lost, f.unrecorded = f.alive-dead, dead, f.unrecorded+dead
	f.found[transport] = dead
	s.bury(f)
	s.planAhead(f, p, season, opening)
	s.provision(f)
	if b.Supplier != nil && s.chance(0.6) {
		e := domain.Expense{Category: "transport", Amount: shillings(to(50, s.between(600, 2600))), Batch: &f.id, Paid: true}
		s.record(e)
	}
}

// planAhead sets the course of a batch that was stocked.
func (s *school) planAhead(f *stock, p fishPlan, season int, opening bool) {
	c := course{fishPlan: p}
	long := s.days(196, 220)
	if opening {
		long = s.days(135, 150)
	}
	switch c.then {
	case grade:
		c.shift = s.day + s.days(60, 80)
	case moveOn:
		c.shift = s.day + s.days(40, 50)
	case change:
		c.shift = s.day + s.days(35, 50)
	}
	if s.counts {
		c.count = s.day + s.days(90, 120)
	}
	if s.chance(0.13) {
		c.theft = s.day + s.days(long/2, long-25)
	}
	end := s.day + long
	for d := end - s.days(24, 36); d < end && s.chance(0.75); d += s.days(9, 16) {
		c.harvest = append(c.harvest, d)
	}
	c.harvest = append(c.harvest, end)
	if s.gives(6) && season == s.Seasons-1 && p.unit == s.plan.fish[0].unit {
		c.send = s.day + s.days(44, 54)
	}
	f.course = c
	s.target(f, end)
}

// target writes the plan of a batch into the registry.
func (s *school) target(f *stock, end domain.Date) {
	b := &s.site.Batches[len(s.site.Batches)-1]
	b.Plan = domain.Plan{TargetWeight: new(domain.Milligrams(f.species.target * 1000)), TargetOn: new(end)}
}

// admit registers a batch with fish in it, alive from today on.
func (s *school) admit(p fishPlan, n int, mean float64, g Growth, frailty float64, season domain.Date, suffix string) *stock {
	label := season.String()[:7]
	b := domain.Batch{ID: newID[domain.Batch](s.dice), Site: s.site.Facts.ID, Unit: s.site.Units[p.unit].ID, Species: p.code,
		Name: fmt.Sprintf("%s %s%s", p.name, label, suffix), Season: &label}
	if suffix != "" {
		b.Tags = []string{suffix[1:]}
	}
	s.site.Batches = append(s.site.Batches, b)
	f := &stock{species: p.species, id: b.ID, unit: s.site.Units[p.unit], growth: g, frailty: frailty * s.truth.Frailty,
		since: s.day, came: n, alive: n, mean: mean, weight: mean, cv: g.spread(mean), even: 1, limit: worst, handled: s.day, book: n, believed: mean, sampled: s.day,
		truth: &BatchTruth{From: s.day, Growth: g, Frailty: frailty}}
	s.coop.Truth.Batches[b.ID] = f.truth
	s.fish = append(s.fish, f)
	return f
}

// tend does what is due with the fish of a batch today, after they were fed.
func (s *school) tend(f *stock) {
	c := &f.course
	switch s.day {
	case c.theft:
		s.steal(f)
	case c.shift:
		s.shift(f)
	case c.send:
		s.sendFish(f)
	}
	if len(c.harvest) > 0 && c.harvest[0] <= s.day && (s.open || len(c.harvest) == 1 || s.chance(0.2)) {
		s.harvest(f)
		return
	}
	if f.alive == 0 {
		return
	}
	if s.writes && s.day-f.sampled >= s.sampling+s.days(-1, 2) {
		s.sample(f)
	}
	if s.day == c.count {
		s.count(f)
	}
}

// shift moves fish that have outgrown their place.
func (s *school) shift(f *stock) {
	s.bury(f)
	goal := f.course.fishPlan
	goal.unit, goal.then = goal.goal, stay
	f.handled = s.day
	switch f.course.then {
	case change:
		f.unit = s.site.Units[goal.unit]
		s.record(domain.Move{Batch: f.id, ToUnit: new(f.unit.ID)})
	case grade:
		n := f.alive/2 + s.whole(-8, 8)
		from := f.mean
		weight := f.take(n, 1)
		big := s.admit(goal, n, weight/float64(n), f.growth, f.truth.Frailty, s.seasonOf(), " graded")
		big.even, f.even = 0.65, 0.65
		big.graded, f.graded = true, true
		s.moved(f, big, n, weight, false)
		f.believed *= f.mean / from
	case moveOn:
		n := f.alive
		weight := f.take(n, 0)
		grown := s.admit(goal, n, weight/float64(n), f.growth, f.truth.Frailty, s.seasonOf(), " grow-out")
		s.moved(f, grown, n, weight, true)
	}
}

// moved records a move of fish to a new batch, which takes over what was in
// store for them.
func (s *school) moved(from, goal *stock, n int, weight float64, empties bool) {
	b := domain.Move{Batch: from.id, ToBatch: &goal.id, Count: new(domain.Fish(n)), Empties: empties}
	if !empties || s.chance(0.8) { // who grades, weighs: the two halves differ
		b.Weight = new(grams(to(50, weight)))
	}
	s.record(b)
	from.book -= n
	goal.background = from.background
	goal.limit = 1 - (1-from.limit)*float64(from.came)/float64(from.came-from.lost)
	goal.course = from.course
	goal.course.shift, goal.course.send, goal.course.theft = 0, 0, 0
	s.target(goal, goal.course.harvest[len(goal.course.harvest)-1])
}

// seasonOf returns the first day of the season under way.
func (s *school) seasonOf() domain.Date {
	start := s.starts[0]
	for _, d := range s.starts {
		if d <= s.day {
			start = d
		}
	}
	return start
}

// harvest fishes out a part or, the last time, all.
func (s *school) harvest(f *stock) {
	s.bury(f)
	last := len(f.course.harvest) == 1
	f.course.harvest = f.course.harvest[1:]
	n, choosy, counted := f.alive, 0.0, true
	if !last {
		n, choosy = max(1, int(s.between(0.15, 0.32)*float64(f.alive))), 0.6
		// An estimate from an old sample would be far off: then they count.
		counted = f.guessed || s.day-f.sampled > 10 || s.chance(0.6)
	}
	end := s.whole(0, 5)
	if last && end == 0 {
		counted = false
	}
	weight := max(100, grams(to(100, f.take(n, choosy))))
	b := domain.Harvest{Batch: f.id, Weight: weight, Empties: last && end != 1}
	if counted {
		b.Count = new(domain.Fish(n))
		f.book -= n
	} else {
		f.guessed = true
		f.book -= min(f.book, int(float64(weight)/f.believed))
	}
	if s.chance(0.5) {
		b.SizeClass = new(sizeClass(float64(weight) / float64(n)))
	}
	f.harvests++
	s.clock(s.record(b), 6, 12)
	if last && end == 1 { // nobody ticked the box, but they looked
		s.record(domain.Count{Batch: f.id})
	}
	s.sellFish(f, weight)
}

func sizeClass(g float64) string {
	switch {
	case g < 250:
		return "under 250 g"
	case g < 500:
		return "250 to 500 g"
	case g < 800:
		return "500 to 800 g"
	}
	return "over 800 g"
}
