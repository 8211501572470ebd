package simulate

import (
	"fmt"

	"shoalbook/domain"
)

// keepCalendar writes down the school holidays, and mostly who feeds meanwhile.
func (s *school) keepCalendar() {
	r := s.care
	var since domain.Date
	for d := s.joined; d <= s.Today+60; d++ {
		_, holiday := calendar(d)
		switch {
		case holiday && since == 0:
			since = d
		case !holiday && since != 0:
			p := domain.Period{ID: newID[domain.Period](r), Site: s.site.Facts.ID, Kind: "holiday", Name: fmt.Sprintf("Holiday of %s", since.String()[:7]), StartsOn: since, EndsOn: d - 1}
			if r.chance(0.8) {
				p.Feeder = new(pick(r, "The caretaker", "Pupils who live near by", "The keeper", "A neighbour of the school"))
			}
			s.site.Calendar = append(s.site.Calendar, p)
			since = 0
		}
	}
}

// testWater adds what some schools read with a test kit, now and then.
func (s *school) testWater(b *domain.Water) {
	r := s.care
	if s.index%3 != 0 || !r.chance(0.15) {
		return
	}
	drops := func(step, v float64) *domain.Thousandths { return new(domain.Thousandths(to(1000*step, 1000*v))) }
	if b.PH == nil {
		b.PH = drops(0.1, r.between(6.7, 7.6))
	}
	b.TANMgL, b.TANBasis = drops(0.05, r.between(0.05, 0.8)), new("nh4")
	b.NO2MgL, b.NO3MgL = drops(0.05, r.between(0, 0.4)), drops(5, r.between(10, 120))
	if r.chance(0.3) {
		b.AlkalinityMgL = drops(10, r.between(40, 140))
	}
}

// visited is the adviser's visit, every month or two.
func (s *school) visited() {
	r := s.care
	s.at(s.day+r.days(30, 60), s.visited)
	b := domain.Visit{Findings: pick(r, "Clear water, the fish come up for the feed", "The sheet is kept well", "Feed lies on the floor of the store, and mice have been at it",
		"The water is green and smells", "Two weeks of the sheet are missing"), NextOn: new(s.day + 45)}
	if r.chance(0.6) {
		b.Advice = new(pick(r, "Feed what they eat in ten minutes and no more", "Weigh thirty fish every second week", "Keep the feed on a pallet, in a closed drum",
			"Change a third of the water this week", "Look for dead fish every morning and write them down"))
	}
	if len(s.fish) > 0 && r.chance(0.5) {
		f := pick(r, s.fish...)
		b.Unit, b.Batch = new(f.unit.ID), &f.id
	}
	s.write(r, b)
}

// treat gives medicine, where it is so long until the first harvest that nobody waits
// for the end of its withdrawal.
func (s *school) treat(f *stock) {
	r := s.care
	if len(f.course.harvest) == 0 || f.course.harvest[0]-s.day < 60 || !r.chance(0.4) {
		return
	}
	b := domain.Treatment{Batch: f.id, What: new(pick(r, "Oxytetracycline in the feed", "Florfenicol in the feed")), Dose: "as the veterinarian wrote; this is the last of it",
		Reason: "Spots and torn fins, fish that do not eat", PrescribedBy: new("District veterinary office"), WithdrawalDays: new(domain.Days(r.whole(10, 25)))}
	// Degree-days only where the water is read, and no fish go where it may not be.
	if s.thermometer > 0.3 && f.course.send <= s.day {
		b.WithdrawalDegreeDays = new(domain.DegreeDays(100 * r.whole(2, 5)))
	}
	s.write(r, b)
}
