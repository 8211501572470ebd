package buying

import (
	"math/big"
	"slices"
)

// Shares splits a total by weights into whole shares that sum to it exactly, by
// the largest remainder: everyone gets the whole part of the exact quota, and
// those with the largest fractions get one more until nothing is left. Equal
// fractions go by index, so callers sort by a stable id first. A negative
// total is split by its absolute value; a weight of 0 gets 0.
//
// The result is nil when there is nobody to take the total: no weight above 0.
// A negative weight has no meaning and also gives nil.
//
// Sums of any size are exact. Note that a larger total may make one share
// smaller (the Alabama paradox); that is the price of staying within one of
// the quota.
func Shares(total int64, weights []int64) []int64 {
	sum := new(big.Int)
	for _, w := range weights {
		if w < 0 {
			return nil
		}
		sum.Add(sum, big.NewInt(w))
	}
	if sum.Sign() == 0 {
		return nil
	}

	magnitude := new(big.Int).Abs(big.NewInt(total))
	left := magnitude.Uint64()
	shares := make([]int64, len(weights))
	remainders := make([]*big.Int, len(weights))
	byRemainder := make([]int, len(weights))
	for i, w := range weights {
		quota := new(big.Int).Mul(magnitude, big.NewInt(w))
		quota, remainders[i] = quota.QuoRem(quota, sum, new(big.Int))
		left -= quota.Uint64()
		shares[i] = int64(quota.Uint64()) // 2^63 wraps to the least int64, which is its own negative
		byRemainder[i] = i
	}
	slices.SortStableFunc(byRemainder, func(i, j int) int {
		return remainders[j].Cmp(remainders[i])
	})
	for _, i := range byRemainder[:left] {
		shares[i]++
	}
	if total < 0 {
		for i := range shares {
			shares[i] = -shares[i]
		}
	}
	return shares
}
