package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// Computed: 1500 kg of feed for 1000 kg, and 60 for 20, are 1.5294 together; the mean of
// their ratios, 2.25, is wrong.
func TestSumUp(t *testing.T) {
	t.Parallel()
	r := SumUp([]Pair{{1500, 1000}, {60, 20}})
	// Each is off by what the other's ratio would have made of it: 1500 − 3·1000 and 60 − 1.5·20.
	if want := math.Hypot(1500, 30) / 1020; math.Abs(r.Value-1.5294) > 5e-5 || math.Abs(r.SE-want) > 1e-12 {
		t.Errorf("%+v, want 1.5294 ± %g", r, want)
	}
	if r := SumUp([]Pair{{3, 2}}); r.Value != 1.5 || !math.IsNaN(r.SE) || r.Clump != 1 {
		t.Errorf("one unit: %+v", r)
	}
	for _, units := range [][]Pair{nil, {{1, 0}}, {{1, 2}, {1, -3}}} {
		if r := SumUp(units); !math.IsNaN(r.Value) || !math.IsNaN(r.SE) {
			t.Errorf("%v: %+v", units, r)
		}
	}
	if r := SumUp([]Pair{{4, 5}, {1, -1}}); math.Abs(r.Value-1.25) > 1e-12 || !math.IsNaN(r.SE) {
		t.Errorf("a loss that leaves nothing without the other: %+v", r)
	}
}

// Equal denominators: the ratio is the mean, and its standard error that of a mean,
// but for the factor √(n ÷ (n − 1)) of holding each against the others.
func TestSumUpOfEqualUnitsIsAMean(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-100, 100), 2, 40).Draw(t, "x")
		units := make([]Pair, len(x))
		var sum, squares float64
		for i := range x {
			units[i] = Pair{x[i], 1}
			sum += x[i]
		}
		n := float64(len(x))
		for _, v := range x {
			squares += (v - sum/n) * (v - sum/n)
		}
		want := math.Sqrt(squares/(n-1)/n) * math.Sqrt(n/(n-1))
		if got := SumUp(units); math.Abs(got.Value-sum/n) > 1e-9 || math.Abs(got.SE-want) > 1e-9*(1+want) {
			t.Fatalf("%+v, want %g ± %g", got, sum/n, want)
		}
	})
}

func TestSpreadIsFoundAgain(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	groups := make([][]Pair, 800)
	for i := range groups {
		ratio := 1 + r.Float64()
		for range 1 + r.IntN(4) {
			den := 50 + 200*r.Float64()
			groups[i] = append(groups[i], Pair{ratio * den * (1 + 0.2*r.NormFloat64()), den})
		}
	}
	sigma2, ok := Spread(groups, func(x float64) float64 { return x * x })
	if !ok || math.Abs(math.Sqrt(sigma2)-0.2) > 0.01 {
		t.Errorf("%g, want 0.2", math.Sqrt(sigma2))
	}
	if _, ok := Spread([][]Pair{{{1, 1}}, {{2, 1}}}, func(float64) float64 { return 1 }); ok {
		t.Error("single units say how much units of a group differ")
	}
}

// For many units the bootstrap and the delta method agree.
func TestBootstrapAgreesWithDelta(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(5, 6))
	units := make([]Pair, 200)
	for i := range units {
		den := 50 + 100*r.Float64()
		units[i] = Pair{1.4 * den * (1 + 0.3*r.NormFloat64()), den}
	}
	sum := SumUp(units)
	lo, hi := Bootstrap(units, 0.95, 4000, r)
	if math.Abs(lo-(sum.Value-Z95*sum.SE)) > 0.1*sum.SE*2 || math.Abs(hi-(sum.Value+Z95*sum.SE)) > 0.1*sum.SE*2 {
		t.Errorf("bootstrap %g to %g, delta %g ± %g", lo, hi, sum.Value, Z95*sum.SE)
	}
	a, _ := Bootstrap(units, 0.95, 200, rand.New(rand.NewPCG(1, 1)))
	b, _ := Bootstrap(units, 0.95, 200, rand.New(rand.NewPCG(1, 1)))
	if a != b {
		t.Error("the same seed makes another interval")
	}
}

// As printed in tables of Student's distribution (from memory of them).
func TestStudent95(t *testing.T) {
	t.Parallel()
	for df, want := range map[int]float64{1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 9: 2.262, 10: 2.228, 30: 2.042, 60: 2.000, 120: 1.980} {
		if got := Student95(df); math.Abs(got-want) > 5.1e-4 {
			t.Errorf("%d degrees of freedom: %.5f, want %.3f", df, got, want)
		}
	}
	if math.Abs(Student95(60)-Student95(61)) > 1e-3 || Student95(61) >= Student95(60) {
		t.Error("the two ways do not meet")
	}
	if !math.IsNaN(Student95(0)) {
		t.Error("no degrees of freedom have a critical value")
	}
}

func TestWilsonOfIsWilson(t *testing.T) {
	t.Parallel()
	lo, hi := Wilson(81, 263, Z95)
	if l, h := WilsonOf(Count{81, 263}, Z95); l != lo || h != hi {
		t.Errorf("%g to %g, want %g to %g", l, h, lo, hi)
	}
	if lo, hi = WilsonOf(Count{8.1, 26.3}, Z95); !(lo < .2553 && hi > .3662) {
		t.Error("a tenth of the count is as good as all of it")
	}
	if lo, _ = WilsonOf(Count{5, 4}, Z95); !math.IsNaN(lo) {
		t.Error("more than all have an interval")
	}
}
