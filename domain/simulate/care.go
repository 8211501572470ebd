package simulate

import "shoalbook/domain"

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
