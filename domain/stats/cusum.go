package stats

import "math"

// Cusum adds x to a cumulative sum that never falls below 0 (Page 1954): with x
// the log-likelihood ratio of a change against none, it rises while the change is
// the better explanation of the last days, however many they are. A signal is a
// sum that reaches a limit; where the day before is all that counts, x is enough.
func Cusum(sum, x float64) float64 { return max(0, sum+x) }

// CountRatio returns the log-likelihood ratio of a Poisson count of which ratio·mean
// were to be expected, against mean, divided by the clump: the variance of counts
// as a multiple of their mean. Divided so, it is the quasi-likelihood of events that
// come in clumps (Wedderburn 1974). A distribution of clumps in its place would
// take any number of deaths on one day for a single clump, and so for nothing new.
func CountRatio(events, mean, ratio, clump float64) float64 {
	return (events*math.Log(ratio) - (ratio-1)*mean) / clump
}

// OwnLevel is a chart of events among many, such as deaths among the fish of a
// tank, against their own level: the rate that their earlier days and a prior
// make likely. A plain Poisson chart would alarm too often: events of one place
// come together, so that the variance of a day's count is a multiple of its mean,
// which is learned too; and the rate is known badly in the first days, which
// widens the variance by mean ÷ events known of.
type OwnLevel struct {
	PriorEvents, PriorExposure float64 // what the prior is worth: a rate, as so many events in so much exposure
	Clump, ClumpEvents         float64 // the prior of variance ÷ mean, and the events that it is worth
	Ratio                      float64 // the multiple of the level that is looked for
	Limit                      float64 // of the sum
}

// Watched is what an [OwnLevel] chart has seen, in floating point for the column
// it is kept in: the sum since the last signal, and what the level is learned from.
type Watched struct {
	Sum      float64
	Events   float64
	Exposure float64 // fish × days
	Spread   float64 // Σ (events − expected)²
}

// Rate returns the level: events for one unit of exposure.
func (c OwnLevel) Rate(w Watched) float64 {
	return (c.PriorEvents + w.Events) / (c.PriorExposure + w.Exposure)
}

// Take judges events in some exposure and reports a signal, after which the sum
// begins anew. Only if told to learn, and never from a signal, does it take them
// into the level.
func (c OwnLevel) Take(w *Watched, events, exposure float64, learn bool) (signal bool) {
	known := c.PriorEvents + w.Events
	mean := c.Rate(*w) * exposure
	clump := max(1, (c.ClumpEvents*c.Clump+w.Spread)/(c.ClumpEvents+w.Events)) + mean/known
	w.Sum = Cusum(w.Sum, CountRatio(events, mean, c.Ratio, clump))
	if w.Sum >= c.Limit {
		w.Sum = 0
		return true
	}
	if learn {
		w.Events += events
		w.Exposure += exposure
		w.Spread += (events - mean) * (events - mean)
	}
	return false
}
