package buying

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func wants(w ...int64) []Claim {
	claims := make([]Claim, len(w))
	for i, v := range w {
		claims[i] = Claim{Want: v}
	}
	return claims
}

// Max-min: demands 2, 2.6, 4, 5 at a capacity of 10 get 2, 2.6, 2.7, 2.7, here in tenths;
// weighted 4, 2, 10, 4 with weights 2.5, 4, 0.5, 1 at 16 get 4, 2, 6, 4 (Keshav 1997,
// published examples).
func TestMaxMinPublished(t *testing.T) {
	t.Parallel()
	if got := MaxMin(100, wants(20, 26, 40, 50)); !slices.Equal(got, []int64{20, 26, 27, 27}) {
		t.Errorf("got %v", got)
	}
	if got := MaxMinWeighted(16, wants(4, 2, 10, 4), []int64{25, 40, 5, 10}); !slices.Equal(got, []int64{4, 2, 6, 4}) {
		t.Errorf("got %v", got)
	}
}

// The claims with which the largest remainder takes one away from two when a 26th is
// there to share (published example; it gives 7, 7, 4, 3, 3, 1 and 8, 8, 5, 2, 2, 1):
// here nobody loses.
func TestNoAlabamaParadox(t *testing.T) {
	t.Parallel()
	claims := wants(1500, 1500, 900, 500, 500, 200)
	was, is := Proportional(25, claims), Proportional(26, claims)
	for i := range claims {
		if is[i] < was[i] {
			t.Errorf("%v of 25 and %v of 26", was, is)
		}
	}
}

// Airport rule: costs 8, 11, 13, 18 are shared 2, 3, 4, 9 (Littlechild and Owen 1973,
// published example).
func TestAirportPublished(t *testing.T) {
	t.Parallel()
	if got := Airport([]int64{8, 11, 13, 18}); !slices.Equal(got, []int64{2, 3, 4, 9}) {
		t.Errorf("got %v", got)
	}
	if got := Airport([]int64{18, 8, 13, 11}); !slices.Equal(got, []int64{9, 2, 4, 3}) {
		t.Errorf("in another order %v", got)
	}
}

// What is below its least is dropped, and frees its share.
func TestLeast(t *testing.T) {
	t.Parallel()
	claims := []Claim{{Want: 10, Least: 8}, {Want: 10, Least: 3}, {Want: 4, Least: 4}}
	if got := MaxMin(12, claims); !slices.Equal(got, []int64{0, 8, 4}) {
		t.Errorf("got %v", got)
	}
}

func TestAllotmentProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		claims := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Claim {
			want := rapid.Int64Range(0, 40).Draw(t, "want")
			return Claim{Want: want, Least: rapid.SampledFrom([]int64{0, 0, 0, 1, want / 2, want}).Draw(t, "least")}
		}), 1, 12).Draw(t, "claims")
		packs := rapid.Int64Range(0, 200).Draw(t, "packs")
		free := slices.Clone(claims)
		for i := range free {
			free[i].Least = 0
		}
		for name, rule := range map[string]func(int64, []Claim) []int64{"proportional": Proportional, "max-min": MaxMin} {
			got, more := rule(packs, free), rule(packs+1, free)
			var sum, all int64
			for i, c := range free {
				sum, all = sum+got[i], all+c.Want
				if got[i] < 0 || got[i] > c.Want {
					t.Fatalf("%s: %v of %v", name, got, free)
				}
				if more[i] < got[i] {
					t.Fatalf("%s: with one more to share %v became %v", name, got, more)
				}
				for k, d := range free {
					if c.Want == d.Want && got[i]-got[k] > 1 || c.Want > d.Want && got[i] < got[k] {
						t.Fatalf("%s: %v of %v: not equal, or not in order", name, got, free)
					}
				}
			}
			if sum != min(packs, all) {
				t.Fatalf("%s: %d of %d were shared, %d were wanted", name, sum, packs, all)
			}
			sum = 0
			for i, n := range rule(packs, claims) {
				if sum += n; n != 0 && n < claims[i].Least || n > claims[i].Want {
					t.Fatalf("%s: %d for %v", name, n, claims[i])
				}
			}
			if sum > packs {
				t.Fatalf("%s: %d of %d", name, sum, packs)
			}
		}
		costs := rapid.SliceOfN(rapid.Int64Range(0, 10_000), 1, 10).Draw(t, "costs")
		var sum int64
		for i, s := range Airport(costs) {
			if sum += s; s < 0 || s > costs[i] {
				t.Fatalf("airport: %v of %v: more than alone", Airport(costs), costs)
			}
		}
		if sum != slices.Max(costs) {
			t.Fatalf("airport: %v sums to %d", costs, sum)
		}
	})
}

// However many packs there are, they are given as pack after pack would be.
func TestManyPacks(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		claims := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Claim {
			return Claim{Want: rapid.Int64Range(0, 300).Draw(t, "want")}
		}), 1, 8).Draw(t, "claims")
		packs := rapid.Int64Range(0, 1000).Draw(t, "packs")
		for name, rule := range map[string]struct {
			share  func(int64, []Claim) []int64
			weight func(i int) int64
		}{
			"proportional": {Proportional, func(i int) int64 { return claims[i].Want }},
			"max-min":      {MaxMin, func(int) int64 { return 1 }},
		} {
			want := make([]int64, len(claims))
			for range packs {
				next := -1
				for i, c := range claims {
					if want[i] == c.Want {
						continue
					}
					if next < 0 {
						next = i
						continue
					}
					behind := (2*want[i]+1)*rule.weight(next) - (2*want[next]+1)*rule.weight(i)
					if behind < 0 || behind == 0 && c.Want > claims[next].Want {
						next = i
					}
				}
				if next >= 0 {
					want[next]++
				}
			}
			if got := rule.share(packs, claims); !slices.Equal(got, want) {
				t.Fatalf("%s: %v, and pack after pack %v", name, got, want)
			}
		}
	})
	start := time.Now()
	many := make([]Claim, 300)
	for i := range many {
		many[i] = Claim{Want: 3_000_000 + int64(i), Least: 2_000_000 + int64(i)}
	}
	got := Proportional(700_000_000, many)
	var sum int64
	for _, n := range got {
		sum += n
	}
	if took := time.Since(start); sum != 700_000_000 {
		t.Errorf("%d of 700 000 000 are given, in %v", sum, took)
	} else {
		t.Log(took)
	}
}
