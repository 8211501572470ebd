// Package stats holds the statistics of comparing sites and batches, over plain
// numbers.
package stats

import "math"

// Critical values of the normal distribution, two-sided. Some published cases
// use 1.96; the value is therefore always an argument.
const (
	// Z95 leaves 5 % outside.
	Z95 = 1.959964
	// Z998 leaves 0.2 % outside.
	Z998 = 3.090232
)

// Wilson returns the score interval of Wilson 1927 for a proportion, of which x
// of n were seen, at the critical value z; with p = x ÷ n it is
//
//	(p + z²/2n ± z·√(p(1−p)/n + z²/4n²)) ÷ (1 + z²/n)
//
// It is the error of counting independent things and no more. Fish of one tank
// live and die together: an interval over single fish must be labelled so.
// Nothing seen (n = 0) leaves every proportion possible, 0 to 1. There is no
// interval for x outside 0 to n: both ends are then not a number.
func Wilson(x, n int64, z float64) (lo, hi float64) {
	if x < 0 || x > n { // of large numbers floating point could not tell
		return math.NaN(), math.NaN()
	}
	return wilson(float64(x), float64(n-x), float64(n), z)
}

// WilsonOf is [Wilson] of a count that is worth less than it numbers.
func WilsonOf(c Count, z float64) (lo, hi float64) {
	if !(c.X >= 0 && c.X <= c.N) {
		return math.NaN(), math.NaN()
	}
	return wilson(c.X, c.N-c.X, c.N, z)
}

func wilson(seen, unseen, all, z float64) (lo, hi float64) {
	if all == 0 {
		return 0, 1
	}
	centre := seen + z*z/2
	half := z * math.Sqrt(seen*(unseen/all)+z*z/4)
	lo, hi = (centre-half)/(all+z*z), (centre+half)/(all+z*z)
	// The ends are exact; the formula may only round to them.
	if seen == 0 {
		lo = 0
	}
	if unseen == 0 {
		hi = 1
	}
	return lo, hi
}
