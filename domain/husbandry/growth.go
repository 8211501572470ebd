// Package husbandry holds the formulas of fish keeping, over plain numbers:
// growth, biomass over time, survival, length and weight, water, feeding, what a
// unit can carry and what a bag can.
//
// It knows no entry, no batch and no rounding. A function that can have no
// answer says so with a second result, ok; the first is then 0 and means
// nothing. Arguments are finite.
package husbandry

import "math"

// tgcScale is k of the thermal growth coefficient. The literature uses 100 and
// 1000; every coefficient here is stated with 1000, so that one printed with
// 100 is a tenth of ours.
const tgcScale = 1000

// SGR returns the specific growth rate in percent per day,
//
//	100 · (ln w2 − ln w1) ÷ days
//
// of a mean weight that went from w1 to w2, both in the same unit. It falls
// with size: rates of fish of different sizes do not compare. There is none
// unless weights and days are positive.
func SGR(w1, w2, days float64) (percentPerDay float64, ok bool) {
	if !(w1 > 0 && w2 > 0 && days > 0) {
		return 0, false
	}
	return 100 * (math.Log(w2) - math.Log(w1)) / days, true
}

// DailyGain returns (w2 − w1) ÷ days, in the unit of the weights per day.
// There is none unless weights and days are positive.
func DailyGain(w1, w2, days float64) (perDay float64, ok bool) {
	if !(w1 > 0 && w2 > 0 && days > 0) {
		return 0, false
	}
	return (w2 - w1) / days, true
}

// TGC returns the thermal growth coefficient with k = 1000,
//
//	1000 · (∛w2 − ∛w1) ÷ Σ(°C · day)
//
// of a mean weight that went from w1 to w2, in grams. The degree-days are those
// of the days from the first weighing to the day before the second. The model
// takes weight to grow as the cube of length and growth as proportional to
// temperature; the latter is false near the best temperature (Jobling 2003).
// There is none unless weights and degree-days are positive.
func TGC(w1, w2, degreeDays float64) (tgc float64, ok bool) {
	if !(w1 > 0 && w2 > 0 && degreeDays > 0) {
		return 0, false
	}
	return tgcScale * (math.Cbrt(w2) - math.Cbrt(w1)) / degreeDays, true
}

// WeightAfter returns the mean weight in grams that fish of w1 grams reach
// after some degree-days with a coefficient of [TGC]; the coefficient of fish
// that lose weight is negative. There is none unless w1 is positive,
// degree-days are not negative and something is left of the fish.
func WeightAfter(w1, tgc, degreeDays float64) (grams float64, ok bool) {
	root := math.Cbrt(w1) + tgc*degreeDays/tgcScale
	if !(w1 > 0 && degreeDays >= 0 && root > 0) {
		return 0, false
	}
	return root * root * root, true
}

// DegreeDaysTo returns the degree-days that fish of w1 grams need to reach w2
// grams with a coefficient of [TGC]. There are none unless w1 and the
// coefficient are positive and w2 is not below w1.
func DegreeDaysTo(w1, w2, tgc float64) (degreeDays float64, ok bool) {
	if !(w1 > 0 && w2 >= w1 && tgc > 0) {
		return 0, false
	}
	return tgcScale * (math.Cbrt(w2) - math.Cbrt(w1)) / tgc, true
}
