package domain

// SiteSums are the sums of one site in a period.
type SiteSums struct {
	Site   SiteID
	Values [manySums]int64
	Known  [manySums]bool
	// Recorded says whether anything at all was recorded in the period, LastOn when last.
	Recorded bool
	LastOn   Date

	Guessed     Fish  // of the fish harvested, those whose number was estimated
	Unweighed   int64 // closed batches that are in no weight, since a weight is not known
	Unfed       int64 // of the others, those that are in no gain, since no feed was recorded
	NoVolume    int64 // tanks with fish whose water volume is not in the registry
	NoFactor    Grams // of the fish eaten, those of species without a factor
	EatenWithin map[string]Grams
}

// SiteBooks are what the sums of a site are taken from.
type SiteBooks struct {
	Site SiteID
	// The states of its batches and its own at the end of the day before the period, and at
	// its end. A batch that was closed before, and did not change since, may be in neither.
	Before, After map[BatchID]*BatchState
	Was, Is       SiteState
	Species       map[BatchID]string
	Shared        []SharedCost // of the whole site, but not [SharedCost.OfOneDay]; depreciation too
	Water, Beds   map[UnitID]Thousandths
	Ponds         map[UnitID]Thousandths // the area of those of which it is known
	Present       Present                // the largest of the days of the period
	SupportUntil  *Date                  // the last day of its support; nil: it goes on
	Recorded      bool
	LastOn        Date
}

// BooksOf folds the entries of a site, as far as its sums in a period are taken from them.
// They are sorted, and none is after the period.
func BooksOf(id SiteID, entries []Entry, facts Facts, p Span) (*SiteBooks, error) {
	b := &SiteBooks{Site: id, Before: map[BatchID]*BatchState{}, Species: map[BatchID]string{}, Present: NobodyCounted}
	s := NewSite(id, facts)
	err := s.Fold(entries, func(day Day) {
		for _, c := range day.Shared {
			if !c.OfOneDay() {
				b.Shared = append(b.Shared, c)
			}
		}
		if day.Own && p.Holds(day.On) && s.Own.PresentOn != nil && *s.Own.PresentOn == day.On {
			b.Present = b.Present.Largest(s.Own.Present)
		}
		if day.On >= p.From {
			return
		}
		b.Was = s.Own
		for batch := range day.Batches {
			state := *s.Batches[batch]
			b.Before[batch] = &state
		}
	})
	if err != nil {
		return nil, err
	}
	b.After, b.Is = s.Batches, s.Own
	for batch, f := range facts.Batches {
		b.Species[batch] = f.Species
	}
	for i := range entries {
		if e := &entries[i]; p.Holds(e.On) {
			b.Recorded, b.LastOn = true, max(b.LastOn, e.On)
		}
	}
	return b, nil
}

// Sums returns the sums of the site. The factors say what can be eaten of its fish.
func (b SiteBooks) Sums(p Span, factors Factors) SiteSums {
	s := SiteSums{Site: b.Site, Recorded: b.Recorded, LastOn: b.LastOn, EatenWithin: map[string]Grams{}}
	for i := range allSums {
		s.Known[i] = !allSums[i].Told
	}
	b.Is.since(b.Was, &s)
	b.Present.put(&s)
	units := map[UnitID]bool{}
	for id, after := range b.After {
		before := b.Before[id]
		if before == nil {
			before = &BatchState{}
		}
		s.flow(before, after)
		if _, ok := b.Ponds[after.Unit]; ok {
			s.Values[sumPondHarvest] += int64(after.HarvestedG - before.HarvestedG)
		}
		if grams := after.EatenG - before.EatenG; grams != 0 {
			s.EatenWithin[b.Species[id]] += grams
		}
		s.closed(after, p)
		after.unitsIn(p, units)
	}
	if len(units) > 0 {
		s.Values[sumActive] = 1
	}
	s.Values[sumSites] = 1
	if b.SupportUntil != nil && *b.SupportUntil < p.From {
		s.Values[sumSupportEnded], s.Values[sumGoingOn] = 1, s.Values[sumActive]
	}
	for unit := range units {
		if v, ok := b.Water[unit]; ok {
			s.Values[sumWaterVolume] += int64(v)
		} else {
			s.NoVolume++
		}
		s.Values[sumPondArea] += int64(b.Ponds[unit])
	}
	if s.Known[sumEnergy] {
		s.Values[sumMeteredKg] = s.Values[sumHarvested]
	}
	if s.Known[sumWaterAdded] {
		s.Values[sumWateredKg] = s.Values[sumHarvested]
	}
	for _, area := range b.Beds {
		s.Values[sumBedArea] += int64(area)
	}
	s.shared(b.Shared, p)
	s.eaten(factors)
	return s
}

// flow adds what went on in a batch from one state to the other.
func (s *SiteSums) flow(a, z *BatchState) {
	for _, v := range [...]struct {
		sum  int
		diff int64
	}{
		{sumHarvested, int64(z.HarvestedG - a.HarvestedG)}, {sumHarvestedFish, int64(z.Harvested - a.Harvested)},
		{sumDiscarded, int64(z.DiscardedG - a.DiscardedG)}, {sumSold, int64(z.SoldG - a.SoldG)}, {sumSales, int64(z.Cash - a.Cash)},
		{sumEaten, int64(z.EatenG - a.EatenG)}, {sumEatenValue, int64(z.Imputed - a.Imputed)},
		{sumGiven, int64(z.GivenG - a.GivenG)}, {sumGivenValue, int64(z.Given - a.Given)},
		{sumFeed, int64(z.FedG - a.FedG)}, {sumStocked, int64(z.Stocked - a.Stocked)}, {sumDead, int64(z.Dead - a.Dead)},
		{sumCost, int64(z.Direct() - a.Direct())}, {sumInputCost, int64(z.variable() - a.variable())},
		{sumUnpaid, int64(z.Unpaid - a.Unpaid)}, {sumDonated, int64(z.Donated - a.Donated)},
	} {
		s.Values[v.sum] += v.diff
	}
	s.Guessed += z.HarvestGuessed - a.HarvestGuessed
}

// variable returns the direct cost that varies with production.
func (b *BatchState) variable() Money {
	m := b.Direct()
	for c := range categories {
		if c.Fixed() {
			m -= b.Cost[c]
		}
	}
	return m
}

// closed adds the whole life of a batch that was closed in the period.
func (s *SiteSums) closed(b *BatchState, p Span) {
	if b.ClosedOn == nil || !p.Holds(*b.ClosedOn) {
		return
	}
	s.Values[sumClosedBatches]++
	s.Values[sumClosedIn] += int64(b.Stocked + b.MovedIn)
	s.Values[sumClosedOut] += int64(b.Harvested + b.MovedOut)
	if b.Unweighed > 0 || b.MovedUnweighed > 0 {
		s.Unweighed++
		return
	}
	if b.FedG == 0 { // it is not known, and not nothing
		s.Unfed++
		return
	}
	s.Values[sumClosedFeed] += int64(b.FedG)
	s.Values[sumClosedGain] += int64(b.gain(0))
}

// unitsIn adds the units in which the fish were on some day of a period.
func (b *BatchState) unitsIn(p Span, units map[UnitID]bool) {
	if b.FirstOn == nil {
		return
	}
	from := *b.FirstOn
	for i, left := range b.LeftOn {
		if from <= p.To && left >= p.From {
			units[b.LeftUnits[i]] = true
		}
		from = left
	}
	if from <= p.To && (b.ClosedOn == nil || *b.ClosedOn >= p.From) {
		units[b.Unit] = true
	}
}

// shared adds what was spent for the whole site on the days of the period. What is dated
// in it and covers days before is in it with those days as well: until then no report knew
// of it. So periods that follow one another sum to all that was spent by the end of the last.
func (s *SiteSums) shared(costs []SharedCost, p Span) {
	for _, c := range costs {
		from := p.From
		if c.On >= p.From {
			from = min(from, c.From)
		}
		if c.On <= p.To {
			s.spent(c.Category, c.portion(from, p.To))
		}
	}
}

// spent adds what was spent of a category.
func (s *SiteSums) spent(c Category, m Money) {
	switch {
	case c == Unpaid:
		s.Values[sumUnpaid] += int64(m)
	case c == Donated:
		s.Values[sumDonated] += int64(m)
	case c == ByProduct:
		s.Values[sumCropSales] += int64(m)
	default:
		s.Values[sumCost] += int64(m)
		if !c.Fixed() {
			s.Values[sumInputCost] += int64(m)
		}
	}
}

// eaten works out what could be eaten of the fish, and its protein.
func (s *SiteSums) eaten(factors Factors) {
	for species, grams := range s.EatenWithin {
		f, ok := factors.For(species)
		if !ok {
			s.NoFactor += grams
			continue
		}
		edible := f.edible(grams)
		s.Values[sumEdible] += int64(edible)
		s.Values[sumProtein] += int64(f.protein(edible))
	}
}

// Total adds the sums of sites.
func Total(sites []SiteSums) SiteSums {
	t := SiteSums{EatenWithin: map[string]Grams{}}
	for _, s := range sites {
		for i, v := range s.Values {
			t.Values[i] += v
			t.Known[i] = t.Known[i] || s.Known[i]
		}
		t.Recorded = t.Recorded || s.Recorded
		t.LastOn = max(t.LastOn, s.LastOn)
		t.Guessed += s.Guessed
		t.Unweighed += s.Unweighed
		t.Unfed += s.Unfed
		t.NoVolume += s.NoVolume
		t.NoFactor += s.NoFactor
		for species, grams := range s.EatenWithin {
			t.EatenWithin[species] += grams
		}
	}
	return t
}
