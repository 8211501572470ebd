package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// runLength is the mean number of observations to a signal of a chart of whole
// numbers, by the Markov chain of its sums below the limit (Brook & Evans 1972).
func runLength(limit int, steps map[int]float64) float64 {
	a := make([][]float64, limit) // (I − Q | 1)
	for i := range a {
		a[i] = make([]float64, limit+1)
		a[i][i], a[i][limit] = 1, 1
		for x, p := range steps {
			if to := int(Cusum(float64(i), float64(x))); to < limit {
				a[i][to] -= p
			}
		}
	}
	for i := range a { // the matrix is diagonally dominant: no pivots are needed
		for r := range a {
			if r == i {
				continue
			}
			f := a[r][i] / a[i][i]
			for k := i; k <= limit; k++ {
				a[r][k] -= f * a[i][k]
			}
		}
	}
	return a[0][limit] / a[0][0]
}

// Of whole counts: the values that the documentation of a public program for the
// chart of Lucas 1985 (Technometrics 27:129–144) prints for reference 2, limit 6
// and a mean of 1.88, without change and with one of 0.9627 standard deviations.
func TestPoissonRunLength(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ mean, want, tol float64 }{
		{1.88, 37.2, 0.05},
		{1.88 + 0.9627*math.Sqrt(1.88), 5.49, 0.005},
	} {
		steps := map[int]float64{}
		for k, p := 0, math.Exp(-c.mean); k < 60; k++ {
			steps[k-2] = p
			p *= c.mean / float64(k+1)
		}
		if got := runLength(6, steps); math.Abs(got-c.want) > c.tol {
			t.Errorf("mean %.4f: %.3f to a signal, want %.2f", c.mean, got, c.want)
		}
	}
}

// Of normal observations, reference ½, by simulation: 117.59 (one by one, Brook &
// Evans 1972) and 117.4 (Waldmann 1986) for limit 3 without change, 3.75 with one
// of 1.5; half of the two-sided chart of limit 4 (168, Lucas & Crosier 1982), whose
// one-sided run is twice as long. As quoted in the examples of a public package.
func TestNormalRunLength(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		limit, shift float64
		runs         int
		want, tol    float64
	}{
		{3, 0, 60_000, 117.5, 1.5}, // ± 3 standard errors
		{3, 1.5, 60_000, 3.75, 0.03},
		{4, 0, 20_000, 336, 7.2},
	} {
		r := rand.New(rand.NewPCG(1, 2))
		var total int
		for range c.runs {
			for sum := 0.0; sum < c.limit; total++ {
				sum = Cusum(sum, c.shift+r.NormFloat64()-0.5)
			}
		}
		if got := float64(total) / float64(c.runs); math.Abs(got-c.want) > c.tol {
			t.Errorf("limit %g, shift %g: %.2f to a signal, want %g", c.limit, c.shift, got, c.want)
		}
	}
}

func TestCountRatio(t *testing.T) {
	t.Parallel()
	poisson := func(n int, mean float64) float64 {
		p := math.Exp(-mean)
		for i := range n {
			p *= mean / float64(i+1)
		}
		return p
	}
	for _, c := range []struct {
		n           int
		mean, ratio float64
	}{{0, 0.3, 6}, {1, 0.3, 6}, {7, 0.3, 6}, {40, 12, 2}} {
		want := math.Log(poisson(c.n, c.ratio*c.mean) / poisson(c.n, c.mean))
		if got := CountRatio(float64(c.n), c.mean, c.ratio, 1); math.Abs(got-want) > 1e-9 {
			t.Errorf("%+v: %.9f, want %.9f", c, got, want)
		}
		if got := CountRatio(float64(c.n), c.mean, c.ratio, 3); math.Abs(3*got-want) > 1e-9 {
			t.Errorf("%+v in threes: %.9f, want a third of %.9f", c, got, want)
		}
	}
}

func TestOwnLevelProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := OwnLevel{PriorEvents: 1, PriorExposure: 1000, Clump: 3, ClumpEvents: 5, Ratio: 6, Limit: 7}
		var w Watched
		for range rapid.IntRange(0, 60).Draw(t, "days") {
			events := float64(rapid.IntRange(0, 20).Draw(t, "events"))
			exposure := float64(rapid.IntRange(0, 3000).Draw(t, "fish"))
			before, rate := w, c.Rate(w)
			signal := c.Take(&w, events, exposure, true)
			switch {
			case !(w.Sum >= 0 && w.Sum < c.Limit):
				t.Fatalf("the sum is %g", w.Sum)
			case signal && (w.Sum != 0 || w.Events != before.Events || w.Exposure != before.Exposure):
				t.Fatal("a signal is learned from, or leaves a sum")
			case events == 0 && (signal || w.Sum > before.Sum || c.Rate(w) > rate):
				t.Fatal("a day without deaths raises something")
			case !signal && events > rate*exposure && exposure > 0 && c.Rate(w) < rate:
				t.Fatal("more than expected lowers the level")
			}
			unlearned := before
			if c.Take(&unlearned, events, exposure, false) != signal || unlearned.Events != before.Events || unlearned.Spread != before.Spread || unlearned.Exposure != before.Exposure {
				t.Fatal("it learned from what it was not to learn from")
			}
		}
	})
}
