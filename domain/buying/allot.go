package buying

import (
	"cmp"
	"math"
	"math/big"
	"slices"
)

// Claim is what one of several asked for, in whole packs.
type Claim struct {
	Want  int64
	Least int64 // below this nothing is of use; 0: anything is
}

// Proportional shares out packs that are too few in proportion to what was wanted, by
// the divisor method of Sainte-Laguë: pack after pack goes to the claim that is furthest
// behind. Nobody gets less because there is more to share (the Alabama paradox of the
// largest remainder), nobody more than was wanted. A claim below its least gets nothing,
// and what it frees is shared among the others: of several, the one that is furthest
// from its least goes first, of equals the last. Equal claims get the same to one pack,
// as long as none of them falls below its least.
func Proportional(packs int64, claims []Claim) []int64 {
	return share(packs, claims, func(c Claim) int64 { return c.Want })
}

// MaxMin shares out packs so that whoever gets the least gets as much as possible
// (Keshav 1997): small claims are met first, the big ones get the same each. Nobody gets
// less because there is more to share. Claims below their least are dropped as in
// [Proportional].
func MaxMin(packs int64, claims []Claim) []int64 {
	return share(packs, claims, func(Claim) int64 { return 1 })
}

// MaxMinWeighted is [MaxMin] where each claim counts as much as its weight, above 0.
func MaxMinWeighted(packs int64, claims []Claim, weights []int64) []int64 {
	at := map[int]int64{}
	for i, w := range weights {
		at[i] = w
	}
	return shareBy(packs, claims, func(i int) int64 { return at[i] })
}

func share(packs int64, claims []Claim, weight func(Claim) int64) []int64 {
	return shareBy(packs, claims, func(i int) int64 { return weight(claims[i]) })
}

func shareBy(packs int64, claims []Claim, weight func(i int) int64) []int64 {
	in := make([]bool, len(claims))
	for i, c := range claims {
		in[i] = c.Want > 0 && c.Least <= c.Want && weight(i) > 0
	}
	for {
		got := divide(packs, claims, in, weight)
		drop := -1
		for i, c := range claims {
			if !in[i] || got[i] >= c.Least {
				continue
			}
			if drop < 0 || got[i]*claims[drop].Least <= got[drop]*c.Least {
				drop = i
			}
		}
		if drop < 0 {
			return got
		}
		in[drop] = false
	}
}

// divide gives pack after pack to the claim that has the least of it by its weight,
// the next half pack counted (Sainte-Laguë), until nobody wants more; of equals to the
// one that wants more.
func divide(packs int64, claims []Claim, in []bool, weight func(i int) int64) []int64 {
	got := surely(packs, claims, in, weight)
	var open []int
	for i := range claims {
		if packs -= got[i]; in[i] && got[i] < claims[i].Want {
			open = append(open, i)
		}
	}
	for ; packs > 0 && len(open) > 0; packs-- {
		next := open[0]
		for _, i := range open[1:] {
			behind := cmp.Compare((2*got[i]+1)*weight(next), (2*got[next]+1)*weight(i))
			if behind < 0 || behind == 0 && claims[i].Want > claims[next].Want {
				next = i
			}
		}
		if got[next]++; got[next] == claims[next].Want {
			open = slices.DeleteFunc(open, func(i int) bool { return i == next })
		}
	}
	return got
}

// surely returns packs that each claim gets in any case, all but a few of them: those that
// come before a level of packs by weight at which there are still enough, less one in case
// the level was not quite met. So many packs take no longer than few.
func surely(packs int64, claims []Claim, in []bool, weight func(i int) int64) []int64 {
	got := make([]int64, len(claims))
	fill := func(level float64) (sum int64) {
		for i, c := range claims {
			if got[i] = 0; in[i] {
				got[i] = int64(min(float64(c.Want), math.Ceil(level*float64(weight(i))-0.5)))
				sum += got[i]
			}
		}
		return sum
	}
	low, high := 0., float64(packs+1) // the least weight is 1
	for range 80 {
		if level := (low + high) / 2; fill(level) <= packs {
			low = level
		} else {
			high = level
		}
	}
	fill(low)
	for i := range got {
		got[i] = max(0, got[i]-1)
	}
	return got
}

// Airport shares the cost of a way along a line: what it costs to go as far as each
// stop. Each leg is shared equally by all whose way goes over it, so that nobody pays
// more than alone, or for a leg behind them (Littlechild and Owen 1973; it is the
// Shapley value). The shares sum to the greatest cost exactly, by the largest remainder;
// of equal ones it goes to the ones further away, of equals to the first.
func Airport(costs []int64) []int64 {
	order := make([]int, len(costs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(costs[a], costs[b]) }) // the nearest first
	shares, rests := make([]int64, len(costs)), make([]*big.Rat, len(costs))
	exact, near, left := new(big.Rat), int64(0), int64(0)
	for k, i := range order {
		exact.Add(exact, big.NewRat(costs[i]-near, int64(len(costs)-k)))
		whole := new(big.Int).Quo(exact.Num(), exact.Denom())
		shares[i] = whole.Int64()
		rests[i] = new(big.Rat).Sub(exact, new(big.Rat).SetInt(whole))
		left += costs[i] - near - shares[i]
		near = costs[i]
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(rests[b].Cmp(rests[a]), cmp.Compare(costs[b], costs[a]), a-b)
	})
	for _, i := range order[:left] {
		shares[i]++
	}
	return shares
}
