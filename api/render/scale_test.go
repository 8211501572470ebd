package render

import (
	"math"
	"slices"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestNiceSteps(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		lo, hi   float64
		n        int
		want     []float64
		decimals int
	}{
		{0, 97, 5, []float64{0, 20, 40, 60, 80, 100}, 0},
		{0, 1, 5, []float64{0, 0.2, 0.4, 0.6, 0.8, 1}, 1},
		{-0.03, 0.07, 5, []float64{-0.04, -0.02, 0, 0.02, 0.04, 0.06, 0.08}, 2},
		{1284.5, 1612.75, 6, []float64{1250, 1300, 1350, 1400, 1450, 1500, 1550, 1600, 1650}, 0},
		{5, 5, 5, []float64{4, 4.5, 5, 5.5, 6}, 1},
		{math.NaN(), 1, 3, []float64{-1, -0.5, 0, 0.5, 1}, 1},
	} {
		got, decimals := nice(c.lo, c.hi, c.n)
		if !slices.Equal(got, c.want) || decimals != c.decimals {
			t.Errorf("from %g to %g: %v with %d decimals, not %v with %d", c.lo, c.hi, got, decimals, c.want, c.decimals)
		}
	}
}

// TestNiceStepsTakeInEverything: whatever the values are, the steps are few, rising,
// even, and written as they are drawn.
func TestNiceStepsTakeInEverything(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-1e9, 1e9).Draw(t, "lo")
		hi := lo + rapid.Float64Range(0, 1e9).Draw(t, "more")
		if hi > lo && hi-lo < 1e-6*math.Abs(lo) {
			return
		}
		n := rapid.IntRange(2, 10).Draw(t, "n")
		ticks, decimals := nice(lo, hi, n)
		step := ticks[1] - ticks[0]
		if ticks[0] > lo+1e-6*step || ticks[len(ticks)-1] < hi-1e-6*step || len(ticks) > 2*n+3 {
			t.Fatalf("%v for %g to %g", ticks, lo, hi)
		}
		for i, v := range ticks {
			if text := strconv.FormatFloat(v, 'f', decimals, 64); text != strconv.FormatFloat(v, 'f', -1, 64) && math.Abs(float(text)-v) > 1e-9*step {
				t.Fatalf("%g is written %s", v, text)
			}
			if i > 0 && math.Abs(v-ticks[i-1]-step) > 1e-6*step {
				t.Fatalf("uneven: %v", ticks)
			}
		}
	})
}

func TestDaysOfAnAxis(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		from, to string
		n        int
		want     []string
	}{
		{"2026-01-30", "2026-02-03", 6, []string{"2026-01-30", "2026-01-31", "2026-02-01", "2026-02-02", "2026-02-03"}},
		{"2026-02-01", "2026-03-05", 6, []string{"2026-02-02", "2026-02-09", "2026-02-16", "2026-02-23", "2026-03-02"}}, // Mondays
		{"2026-08-01", "2027-01-28", 6, []string{"2026-08-01", "2026-09-01", "2026-10-01", "2026-11-01", "2026-12-01", "2027-01-01"}},
		{"2020-03-01", "2026-02-01", 6, []string{"2021-01-01", "2022-01-01", "2023-01-01", "2024-01-01", "2025-01-01", "2026-01-01"}},
	} {
		var got []string
		for _, d := range calendar(dayOf(c.from), dayOf(c.to), c.n) {
			got = append(got, dateOf(d).Format(time.DateOnly))
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("from %s to %s: %v, not %v", c.from, c.to, got, c.want)
		}
	}
}
