package husbandry

import "math"

// Day is one day in the life of a batch. AtRisk counts the fish there when the
// day began and those that arrived in it; fish harvested or moved out are at
// risk through their last day, unaccounted fish through the day of the count.
type Day struct {
	AtRisk, Died int64
}

// ProductLimit returns the survival to the end of the last of the days, from 0
// to 1, by the product-limit estimate (Kaplan and Meier 1958),
//
//	∏ (1 − died ÷ at risk)
//
// It alone compares batches of different age and with partial harvests. A day
// without deaths changes nothing and may be left out; no days give 1. There is
// none when a day has more deaths than fish or a negative number.
func ProductLimit(days []Day) (survival float64, ok bool) {
	survival = 1
	for _, d := range days {
		if d.Died < 0 || d.Died > d.AtRisk {
			return 0, false
		}
		if d.Died > 0 {
			survival *= float64(d.AtRisk-d.Died) / float64(d.AtRisk)
		}
	}
	return survival, true
}

// DailyMortality returns the constant share of fish that dies per day when the
// share m dies in some days, both from 0 to 1,
//
//	1 − (1 − m)^(1 ÷ days)
//
// There is none for other shares, or unless days are positive.
func DailyMortality(m, days float64) (perDay float64, ok bool) {
	if !(m >= 0 && m <= 1 && days > 0) {
		return 0, false
	}
	return -math.Expm1(math.Log1p(-m) / days), true
}
