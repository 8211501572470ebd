package domain

import "slices"

// SiteState is what the journal says of a site itself at the end of a day: what was
// counted there, and what was spent for the whole site on single days. What was counted
// or spent in a period is the difference of two states; of those who are there the largest
// of its days counts. Its exported fields are the columns of the derived table.
type SiteState struct {
	Counted  Counted  // since ever
	Told     Counted  // in how many entries
	DayCosts DayCosts // by category, of costs that cover the day they are dated only

	PresentOn *Date   // the last day on which those who are there were counted
	Present   Present // on that day
}

// Counted are numbers in the order of countedSums.
type Counted [len(countedSums)]int64

// DayCosts are amounts by category, those kept apart from cost too.
type DayCosts [ByProduct + 1]Money

// countedSums are the sums to which each entry adds by itself. The order is that of the
// derived columns: add at the end.
var countedSums = [...]int{sumLabour, sumCrops, sumEnergy, sumWaterAdded, sumTrained, sumTrainedFemale, sumTrainedMale, sumMeals, sumSchoolDays, sumFeedingDays}

// The places of countedSums.
const (
	countLabour = iota
	countCrops
	countEnergy
	countWaterAdded
	countTrained
	countTrainedFemale
	countTrainedMale
	countMeals
	countSchoolDays
	countFeedingDays
)

func (s *Site) own() *SiteState {
	s.today.Own = true
	return &s.Own
}

// count adds what an entry counts.
func (s *Site) count(place int, n int64) {
	own := s.own()
	own.Counted[place] += n
	own.Told[place]++
}

func (b Tally) post(s *Site, _ *Entry) error {
	switch b.Measure {
	case "learners":
		s.present(0, b)
	case "jobs":
		s.present(3, b)
	case "trained":
		s.count(countTrained, int64(b.Count))
		if b.Female != nil {
			s.count(countTrainedFemale, int64(*b.Female))
		}
		if b.Male != nil {
			s.count(countTrainedMale, int64(*b.Male))
		}
	case "meals":
		s.count(countMeals, int64(b.Count))
	case "school_days":
		s.count(countSchoolDays, int64(b.Count))
	case "feeding_days":
		s.count(countFeedingDays, int64(b.Count))
	}
	return nil
}

// since adds what was counted since an earlier state.
func (now SiteState) since(before SiteState, s *SiteSums) {
	for place, sum := range countedSums {
		s.Values[sum] += now.Counted[place] - before.Counted[place]
		s.Known[sum] = s.Known[sum] || now.Told[place] > before.Told[place]
	}
	for c, m := range now.DayCosts {
		s.spent(Category(c), m-before.DayCosts[c])
	}
}

// Present is of learners and then of jobs how many there are, of them women and men: the
// largest count of them. [NotTold] stands for what nobody said.
type Present [6]int64

// NotTold stands for a number that nobody said.
const NotTold = -1

// NobodyCounted is what is known before anybody counted.
var NobodyCounted = Present{NotTold, NotTold, NotTold, NotTold, NotTold, NotTold}

// present takes in a count of those who are there.
func (s *Site) present(first int, b Tally) {
	own := s.own()
	if own.PresentOn == nil || *own.PresentOn != s.day {
		own.PresentOn, own.Present = s.on, NobodyCounted
	}
	count := NobodyCounted
	for i, n := range []*Fish{&b.Count, b.Female, b.Male} {
		if n != nil {
			count[first+i] = int64(*n)
		}
	}
	own.Present = own.Present.Largest(count)
}

// Largest returns the larger ones. Of two that count the same many, the one with more women
// is taken, and then the one with more men, whatever the order they come in.
func (p Present) Largest(other Present) Present {
	for first := 0; first < len(p); first += 3 {
		if slices.Compare(other[first:first+3], p[first:first+3]) > 0 {
			copy(p[first:first+3], other[first:first+3])
		}
	}
	return p
}

// put adds those who were there.
func (p Present) put(s *SiteSums) {
	for i, sum := range [len(p)]int{sumLearners, sumLearnersFemale, sumLearnersMale, sumJobs, sumJobsFemale, sumJobsMale} {
		if p[i] != NotTold {
			s.Values[sum], s.Known[sum] = p[i], true
		}
	}
}
