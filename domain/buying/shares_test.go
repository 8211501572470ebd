package buying

import (
	"math"
	"math/big"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestShares(t *testing.T) {
	t.Parallel()
	claims := []int64{1500, 1500, 900, 500, 500, 200}
	for name, c := range map[string]struct {
		total         int64
		weights, want []int64
	}{
		// K-43, computed.
		"K-43, 60 000 by biomass-days": {60_000, []int64{9570, 4785, 4785}, []int64{30_000, 15_000, 15_000}},
		"K-43, 100.00 in three":        {100_00, []int64{1, 1, 1}, []int64{33_34, 33_33, 33_33}},
		// Largest remainder by claims, computed: from 25 to 26 units two lose
		// one, the Alabama paradox.
		"Alabama paradox, 25": {25, claims, []int64{7, 7, 4, 3, 3, 1}},
		"Alabama paradox, 26": {26, claims, []int64{8, 8, 5, 2, 2, 1}},

		"negative by its absolute value": {-100_00, []int64{1, 1, 1}, []int64{-33_34, -33_33, -33_33}},
		"nothing to share":               {0, []int64{3, 1}, []int64{0, 0}},
		"weight of 0":                    {10, []int64{0, 1, 0, 2}, []int64{0, 3, 0, 7}},
		"less than there are":            {2, []int64{1, 1, 1}, []int64{1, 1, 0}},
		"one takes all":                  {math.MaxInt64, []int64{1}, []int64{math.MaxInt64}},
		"one takes all that is owed":     {math.MinInt64, []int64{math.MaxInt64}, []int64{math.MinInt64}},
		"weights above 64 bits together": {9e18, []int64{9e18, 9e18, 9e18}, []int64{3e18, 3e18, 3e18}},
		"least total in halves":          {math.MinInt64, []int64{9e18, 9e18}, []int64{-1 << 62, -1 << 62}},
		"least total, one small weight":  {math.MinInt64, []int64{math.MaxInt64, 1}, []int64{math.MinInt64 + 1, -1}},

		"nobody":          {10, nil, nil},
		"no weight":       {10, []int64{0, 0}, nil},
		"negative weight": {10, []int64{3, -1}, nil},
	} {
		got := Shares(c.total, c.weights)
		if !slices.Equal(got, c.want) || (got == nil) != (c.want == nil) {
			t.Errorf("%s: got %v, want %v", name, got, c.want)
		}
	}
}

func TestSharesProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		total := rapid.Int64().Draw(t, "total")
		weights := rapid.SliceOfN(rapid.OneOf(
			rapid.Int64Range(0, 3),
			rapid.Int64Range(0, math.MaxInt64),
		), 1, 20).Draw(t, "weights")

		shares := Shares(total, weights)
		weightSum := new(big.Int)
		for _, w := range weights {
			weightSum.Add(weightSum, big.NewInt(w))
		}
		if weightSum.Sign() == 0 {
			if shares != nil {
				t.Fatalf("no weight, but %v", shares)
			}
			return
		}

		sum := new(big.Int)
		one := big.NewRat(1, 1)
		for i, s := range shares {
			sum.Add(sum, big.NewInt(s))
			quota := new(big.Rat).SetFrac(new(big.Int).Mul(big.NewInt(total), big.NewInt(weights[i])), weightSum)
			off := new(big.Rat).Sub(quota, new(big.Rat).SetInt64(s))
			if off.Abs(off).Cmp(one) >= 0 {
				t.Fatalf("share %d is %d, 1 or more from its quota %v", i, s, quota)
			}
			if weights[i] == 0 && s != 0 {
				t.Fatalf("share %d is %d without a weight", i, s)
			}
		}
		if len(shares) != len(weights) || sum.Cmp(big.NewInt(total)) != 0 {
			t.Fatalf("%d shares of %d weights sum to %v, not %d", len(shares), len(weights), sum, total)
		}
	})
}

// A larger weight never gets less; of equal weights the earlier never gets less.
func TestSharesKeepTheOrderOfWeights(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		total := rapid.Int64Range(0, math.MaxInt64).Draw(t, "total")
		weights := rapid.SliceOfN(rapid.Int64Range(1, 5), 2, 40).Draw(t, "weights")
		shares := Shares(total, weights)
		for i := range weights {
			for j := range weights {
				if (weights[i] > weights[j] || weights[i] == weights[j] && i < j) && shares[i] < shares[j] {
					t.Fatalf("weights %v, shares %v: %d has less than %d", weights, shares, i, j)
				}
			}
		}
		for i, s := range Shares(-total, weights) {
			if s != -shares[i] {
				t.Fatalf("share %d of the negative total is %d, not −%d", i, s, shares[i])
			}
		}
	})
}

func BenchmarkShares(b *testing.B) {
	weights := []int64{9570, 4785, 4785, 1, 0, 77, 31415, 8826}
	for b.Loop() {
		Shares(60_000_01, weights)
	}
}
