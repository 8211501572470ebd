package stats

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
)

// Pair is what one unit that was observed, such as a batch, gives to a ratio of sums.
type Pair struct{ Num, Den float64 }

// Ratio is a ratio of the sums of some units. Ratios are taken of sums, never averaged.
type Ratio struct {
	Units    int
	Num, Den float64
	Value    float64
	SE       float64 // its standard error, the units taken as independent; not a number below 2
	Clump    float64 // Σ den² ÷ (Σ den)²: 1 ÷ the number of units of one size that would be as good
}

// SumUp returns the ratio of the sums of some units, with its standard error by the
// delta method:
//
//	√Σ(numᵢ − Rᵢ·denᵢ)² ÷ Σ den
//
// where Rᵢ is the ratio of the others, so that a large unit is not held against itself
// (the jackknife; with R in place of Rᵢ few units would seem surer than they are). A
// ratio with nothing, or less than nothing, to divide by is not a number.
func SumUp(units []Pair) Ratio {
	r := Ratio{Units: len(units), Value: math.NaN(), SE: math.NaN(), Clump: math.NaN()}
	var den2 float64
	for _, u := range units {
		r.Num += u.Num
		r.Den += u.Den
		den2 += u.Den * u.Den
	}
	if !(r.Den > 0) {
		return r
	}
	r.Value, r.Clump = r.Num/r.Den, den2/(r.Den*r.Den)
	if len(units) < 2 {
		return r
	}
	var sum float64
	for _, u := range units {
		if !(r.Den-u.Den > 0) { // without this one nothing is left
			return r
		}
		off := u.Num - (r.Num-u.Num)/(r.Den-u.Den)*u.Den
		sum += off * off
	}
	r.SE = math.Sqrt(sum) / r.Den
	return r
}

// Spread returns the variance of the ratios of single units around that of their
// group, pooled over groups of which most have few units: σ² so that a unit of a group
// with the ratio R is off by num − R·den with the variance σ²·v(R)·den². Groups with
// one unit say nothing; without others there is none.
func Spread(groups [][]Pair, v func(ratio float64) float64) (sigma2 float64, ok bool) {
	var squares, free float64
	for _, g := range groups {
		r := SumUp(g)
		at := v(r.Value)
		if len(g) < 2 || !(at > 0) {
			continue
		}
		var d2, d3 float64
		for _, u := range g {
			off := u.Num - r.Value*u.Den
			squares += off * off / at
			d2 += u.Den * u.Den
			d3 += u.Den * u.Den * u.Den
		}
		free += d2 - 2*d3/r.Den + d2*r.Clump // what the squares are expected to be, for σ² = 1
	}
	if !(free > 0) {
		return 0, false
	}
	return squares / free, true
}

// Bootstrap returns the middle of the ratios of sums that come of drawing as many units
// with replacement, again and again (the cluster bootstrap, by percentiles): the share
// level of them lies between its ends. It is an interval for many units; of few it is
// too narrow. Draws without anything to divide by are left out.
func Bootstrap(units []Pair, level float64, draws int, r *rand.Rand) (lo, hi float64) {
	drawn := make([]float64, 0, draws)
	for range draws {
		var sum Pair
		for range units {
			u := units[r.IntN(len(units))]
			sum.Num += u.Num
			sum.Den += u.Den
		}
		if sum.Den > 0 {
			drawn = append(drawn, sum.Num/sum.Den)
		}
	}
	if len(drawn) == 0 {
		return math.NaN(), math.NaN()
	}
	slices.Sort(drawn)
	return Quantile(drawn, (1-level)/2), Quantile(drawn, (1+level)/2)
}

// Student95 returns the critical value of Student's distribution that leaves 5 % outside
// in both tails, for so many degrees of freedom. There is none below 1.
func Student95(df int) float64 {
	if df < 1 {
		return math.NaN()
	}
	if df > 60 { // Cornish–Fisher expansion in 1 ÷ df (Abramowitz & Stegun 26.7.5)
		z, n := 1.959963985, float64(df)
		return z + (z*z*z+z)/(4*n) + (5*math.Pow(z, 5)+16*z*z*z+3*z)/(96*n*n)
	}
	return student95()[df]
}

// student95 are the critical values for up to 60 degrees of freedom.
var student95 = sync.OnceValue(func() (table [61]float64) {
	for df := 1; df < len(table); df++ {
		lo, hi := 1.9, 13.0
		for range 50 {
			if t := (lo + hi) / 2; within(t, df) < 0.95 {
				lo = t
			} else {
				hi = t
			}
		}
		table[df] = (lo + hi) / 2
	}
	return table
})

// within returns the share of Student's distribution between −t and t (Abramowitz &
// Stegun 26.7.3 and 26.7.4).
func within(t float64, df int) float64 {
	theta := math.Atan(t / math.Sqrt(float64(df)))
	cos2 := math.Cos(theta) * math.Cos(theta)
	term, first := 1.0, 1 // of even degrees
	if df%2 == 1 {
		term, first = math.Cos(theta), 2
	}
	var sum float64
	for k := first; k < df; k += 2 {
		sum += term
		term *= cos2 * float64(k) / float64(k+1)
	}
	if df%2 == 1 {
		return 2 / math.Pi * (theta + math.Sin(theta)*sum)
	}
	return math.Sin(theta) * sum
}
