package stats

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Computed by hand: estimates 0, 0, 6 with the standard error 1: Q = 24, two degrees of
// freedom, Σw − Σw² ÷ Σw = 2, so τ² = 11.
func TestMoments(t *testing.T) {
	t.Parallel()
	p := Moments([]float64{0, 0, 6}, []float64{1, 1, 1})
	if math.Abs(p.Mean-2) > 1e-12 || math.Abs(p.Tau2-11) > 1e-12 {
		t.Fatalf("%+v, want 2 and 11", p)
	}
	if m, sd := p.Shrink(6, 1); math.Abs(m-(2+4*11.0/12)) > 1e-12 || math.Abs(sd-math.Sqrt(11.0/12)) > 1e-12 {
		t.Errorf("%g ± %g", m, sd)
	}
	p = Moments([]float64{1, 1.1, 0.9}, []float64{1, 1, 1})
	if m, sd := p.Shrink(1.1, 1); p.Tau2 != 0 || m != p.Mean || sd != 0 {
		t.Error("groups that do not differ are told apart")
	}
}

func TestShrinkProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 30).Draw(t, "n")
		y := rapid.SliceOfN(rapid.Float64Range(-5, 5), n, n).Draw(t, "y")
		s := rapid.SliceOfN(rapid.Float64Range(0.01, 3), n, n).Draw(t, "s")
		p := Moments(y, s)
		if p.Mean < slices.Min(y)-1e-9 || p.Mean > slices.Max(y)+1e-9 || p.Tau2 < 0 {
			t.Fatalf("%+v", p)
		}
		for i := range y {
			m, sd := p.Shrink(y[i], s[i])
			if math.Abs(m-p.Mean) > math.Abs(y[i]-p.Mean)+1e-9 || sd > s[i]+1e-12 {
				t.Fatalf("%g ± %g becomes %g ± %g around %g", y[i], s[i], m, sd, p.Mean)
			}
		}
	})
}

func TestThirds(t *testing.T) {
	t.Parallel()
	source := func() *rand.Rand { return rand.New(rand.NewPCG(1, 2)) }
	low, high := Thirds([]float64{0, 1, 10}, []float64{1, 1, 1}, source())
	// The lower of two normal values one apart: Φ(1 ÷ √2) = 0.7602, computed.
	if math.Abs(low[0]-0.7602) > 0.025 || low[2] != 0 || high[2] != 1 {
		t.Errorf("%v, %v", low, high)
	}
	again, _ := Thirds([]float64{0, 1, 10}, []float64{1, 1, 1}, source())
	if !slices.Equal(low, again) {
		t.Error("the same seed makes other chances")
	}
	for _, n := range []int{3, 7, 10, 500} {
		same, zero := make([]float64, n), make([]float64, n)
		for i := range same {
			same[i] = 0.9
		}
		low, high := Thirds(same, zero, source())
		var sum float64
		for i := range low {
			if want := float64(n/3) / float64(n); math.Abs(low[i]-want) > 0.12 || math.Abs(high[i]-want) > 0.12 {
				t.Errorf("one of %d equal values: %g and %g, want %g", n, low[i], high[i], want)
			}
			sum += low[i]
		}
		if math.Abs(sum-float64(n/3)) > 1e-6 {
			t.Errorf("the chances of %d sum to %g", n, sum)
		}
	}
	if low, high := Thirds([]float64{1, 2}, []float64{1, 1}, source()); low != nil || high != nil {
		t.Error("two have thirds")
	}
}

func TestNth(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-3, 3), 1, 40).Draw(t, "values")
		if rapid.Bool().Draw(t, "whole") { // with many that are equal
			for i := range values {
				values[i] = math.Round(values[i])
			}
		}
		k := rapid.IntRange(0, len(values)-1).Draw(t, "k")
		sorted := slices.Sorted(slices.Values(values))
		if got := nth(values, k); got != sorted[k] {
			t.Fatalf("in place %d is %g, want %g", k, got, sorted[k])
		}
	})
}
