package husbandry

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// trapezoid is the area under straight lines, which BiomassDays stays below.
func trapezoid(knots []Knot) (sum float64) {
	for i := 1; i < len(knots); i++ {
		a, b := knots[i-1], knots[i]
		sum += (a.Biomass + b.Biomass) / 2 * float64(b.Day-a.Day)
	}
	return sum
}

// K-9, computed: biomass 1, 20, 75, 128 kg on days 0, 60, 120, 180.
func TestBiomassDays(t *testing.T) {
	t.Parallel()
	knots := []Knot{{0, 1}, {60, 20}, {120, 75}, {180, 128}}
	got, ok := BiomassDays(knots)
	check(t, "log-mean", got, ok, 8826.24, 0.01)
	check(t, "trapezoid", trapezoid(knots), true, 9570, 0.01)
}

// Feed is ration × biomass-days, and a biomass that stays gives itself × days.
func TestBiomassDaysGiveRation(t *testing.T) {
	t.Parallel()
	// K-8, published source, recomputed: extension note, 105 g × 1000 fish ×
	// 10 %/day. Exact: the days are, and the percent is taken off last.
	day, ok := BiomassDays([]Knot{{0, 105 * 1000}, {1, 105 * 1000}})
	check(t, "K-8", day*10/100/1000, ok, 10.5, 0)
	// K-10, published source, recomputed: 100 fish × 35 g × 5.5 %.
	day, ok = BiomassDays([]Knot{{0, 100 * 35}, {1, 100 * 35}})
	check(t, "K-10, day", day*0.055, ok, 192.5, 0.1)
	week, ok := BiomassDays([]Knot{{0, 100 * 35}, {7, 100 * 35}})
	check(t, "K-10, week", week*0.055, ok, 1347.5, 0.1)
}

func TestBiomassDaysAcrossJumpsAndEnds(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		knots []Knot
		want  float64
	}{
		"no knot":                 {nil, 0},
		"one knot":                {[]Knot{{5, 10}}, 0},
		"harvest of half":         {[]Knot{{0, 10}, {5, 10}, {5, 5}, {9, 5}}, 70},
		"from 0 a straight line":  {[]Knot{{0, 0}, {10, 8}}, 40},
		"to 0 a straight line":    {[]Knot{{-10, 8}, {0, 0}}, 40},
		"empty":                   {[]Knot{{0, 0}, {10, 0}}, 0},
		"growth by e in one day":  {[]Knot{{0, 1}, {1, math.E}}, math.E - 1},
		"loss by e in three days": {[]Knot{{0, math.E}, {3, 1}}, 3 * (math.E - 1)},
	} {
		got, ok := BiomassDays(c.knots)
		check(t, name, got, ok, c.want, 1e-12)
	}
}

func TestBiomassDaysRefused(t *testing.T) {
	t.Parallel()
	for name, knots := range map[string][]Knot{
		"days go back":     {{0, 1}, {60, 20}, {59, 21}},
		"negative first":   {{0, -1}, {60, 20}},
		"negative last":    {{0, 1}, {60, -20}},
		"not a number":     {{0, math.NaN()}},
		"negative, no day": {{0, -1}},
	} {
		got, ok := BiomassDays(knots)
		none(t, name, got, ok)
	}
}

func TestLogMeanIsBetweenEndsAndBelowTrapezoid(t *testing.T) {
	t.Parallel()
	const slack = 1 + 4e-16
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(1e-6, 1e9).Draw(t, "a")
		b := rapid.OneOf(
			rapid.Float64Range(1e-6, 1e9),
			rapid.Map(rapid.Float64Range(0, 1e-6), func(r float64) float64 { return a * (1 + r) }),
		).Draw(t, "b")
		got := LogMean(a, b)
		if got < min(a, b)/slack || got > max(a, b)*slack {
			t.Fatalf("%v is outside %v to %v", got, a, b)
		}
		if got > (a+b)/2*slack {
			t.Fatalf("%v is above the trapezoid %v", got, (a+b)/2)
		}
		if low := math.Sqrt(a) * math.Sqrt(b); got < low/slack/slack {
			t.Fatalf("%v is below the geometric mean %v", got, low)
		}
		if back := LogMean(b, a); back != got {
			t.Fatalf("%v backwards, %v forwards", back, got)
		}
	})
}

func TestLogMeanOfEqualEnds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.Float64Range(0, 1e12).Draw(t, "b")
		if got := LogMean(b, b); got != b {
			t.Fatalf("got %v, want %v", got, b)
		}
	})
}

// Cutting exponential growth in two does not change the area under it.
func TestBiomassDaysOfExponentialGrowthCanBeCut(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		start := rapid.Float64Range(0.001, 1e6).Draw(t, "biomass")
		rate := rapid.Float64Range(-0.05, 0.05).Draw(t, "rate")
		end := rapid.Int64Range(2, 400).Draw(t, "end")
		cut := rapid.Int64Range(1, end-1).Draw(t, "cut")
		at := func(day int64) Knot { return Knot{day, start * math.Exp(rate*float64(day))} }
		whole, ok1 := BiomassDays([]Knot{at(0), at(end)})
		parts, ok2 := BiomassDays([]Knot{at(0), at(cut), at(end)})
		if !ok1 || !ok2 || math.Abs(whole-parts) > 1e-9*whole {
			t.Fatalf("whole %v (%v), in parts %v (%v)", whole, ok1, parts, ok2)
		}
	})
}
