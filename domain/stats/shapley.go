package stats

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// Shapley splits f(all n drivers changed) − f(none) among the drivers: each gets what
// it changes on average over all orders in which they could be changed one after the
// other (Shapley 1953). The parts sum to the whole, drivers that do the same get the
// same, and one that changes nothing gets nothing. Bit i of the argument of f says that
// driver i is changed; f is asked 2ⁿ times.
func Shapley(n int, f func(changed uint) float64) []float64 {
	value := make([]float64, 1<<n)
	for s := range value {
		value[s] = f(uint(s))
	}
	weight := make([]float64, n) // of a driver that follows k others
	for k := range weight {
		weight[k] = 1 / (float64(n) * choose(n-1, k))
	}
	parts := make([]float64, n)
	for i := range parts {
		for s := range value {
			if s>>i&1 == 0 {
				parts[i] += weight[bits.OnesCount(uint(s))] * (value[s|1<<i] - value[s])
			}
		}
	}
	return parts
}

func choose(n, k int) float64 {
	c := 1.0
	for i := range k {
		c = c * float64(n-i) / float64(i+1)
	}
	return c
}

// RoundTo rounds parts to whole numbers that sum to a whole one exactly: down first, and
// those with the largest fractions get one more, or those with the smallest one less;
// equal ones by their place.
func RoundTo(total int64, parts []float64) []int64 {
	whole := make([]int64, len(parts))
	order := make([]int, len(parts))
	left := total
	for i, p := range parts {
		whole[i], order[i] = int64(math.Floor(p)), i
		left -= whole[i]
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(parts[b]-math.Floor(parts[b]), parts[a]-math.Floor(parts[a]))
	})
	for k := 0; left != 0 && len(parts) > 0; k++ {
		if left > 0 {
			whole[order[k%len(order)]]++
			left--
		} else {
			whole[order[len(order)-1-k%len(order)]]--
			left++
		}
	}
	return whole
}
