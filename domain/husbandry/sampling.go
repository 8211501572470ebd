package husbandry

import "math"

// normal95 is the 97.5 % point of the normal distribution, as published cases
// round it.
const normal95 = 1.96

// FishToWeigh returns how many fish of a large stock to weigh, so that the mean
// is within the share e of the truth 19 times out of 20, where single weights
// have a coefficient of variation cv (both as shares or both in percent),
//
//	⌈(1.96 · cv ÷ e)²⌉
//
// There is none unless cv is not negative and e is positive.
func FishToWeigh(cv, e float64) (fish int64, ok bool) {
	if !(cv >= 0 && e > 0) {
		return 0, false
	}
	n := normal95 * cv / e
	if n *= n; n > math.MaxInt32 {
		return 0, false
	}
	return max(1, int64(math.Ceil(n))), true
}

// CountError returns the standard error of a count by weight as a share of the count,
// where single weights have a coefficient of variation cv (as a share) and so many fish
// were weighed by themselves,
//
//	cv ÷ √n
//
// There is none unless cv is not negative and fish were weighed.
func CountError(cv float64, sampleFish int64) (share float64, ok bool) {
	if !(cv >= 0 && sampleFish > 0) {
		return 0, false
	}
	return cv / math.Sqrt(float64(sampleFish)), true
}

// OfStock returns how many fish of a stock are as good as so many of an endless one:
// the more of all fish are weighed, the less is left unknown.
//
//	⌈n ÷ (1 + (n − 1) ÷ N)⌉
func OfStock(n, stock int64) int64 {
	if n <= 1 || stock < 1 {
		return min(n, stock)
	}
	return min(stock, int64(math.Ceil(float64(n)/(1+float64(n-1)/float64(stock)))))
}
