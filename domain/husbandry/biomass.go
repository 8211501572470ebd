package husbandry

import "math"

// Knot is the biomass on a day, in any unit of weight. Days are counted from
// any common day.
type Knot struct {
	Day     int64
	Biomass float64
}

// BiomassDays returns the area under the biomass, in its unit times days,
//
//	Σ LogMean(b1, b2) · (day2 − day1)
//
// over neighbouring knots. Between knots the biomass may only grow or shrink by
// itself: a stocking, move or harvest needs two knots on its day, before and
// after. There is no answer when days go back or a biomass is negative.
func BiomassDays(knots []Knot) (sum float64, ok bool) {
	for i, k := range knots {
		if !(k.Biomass >= 0) || i > 0 && k.Day < knots[i-1].Day {
			return 0, false
		}
		if i > 0 {
			sum += LogMean(knots[i-1].Biomass, k.Biomass) * float64(k.Day-knots[i-1].Day)
		}
	}
	return sum, true
}

// LogMean returns the logarithmic mean of two amounts that are not negative,
//
//	(b − a) ÷ ln(b ÷ a)
//
// which is the mean over time of what grows exponentially from a to b. Growth
// is nearer to that than to a straight line, whose mean (a + b) ÷ 2 is always
// larger. Equal ends give that value; from or to 0 nothing grows
// exponentially, and the straight line is taken.
func LogMean(a, b float64) float64 {
	low, high := min(a, b), max(a, b)
	switch {
	case low == high:
		return low
	case low <= 0:
		return low + (high-low)/2
	}
	rise := high - low
	return rise / math.Log1p(rise/low) // ln(high/low) would cancel for near ends
}
