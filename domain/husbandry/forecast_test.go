package husbandry

import (
	"math"
	"testing"
)

// evenly is a curve of one coefficient for all sizes.
func evenly(tgc float64) Curve {
	var at [CurveSizes]float64
	for i := range at {
		at[i] = tgc
	}
	return NewCurve(at)
}

// falling is a curve that falls from 1.5 to 0.4.
var falling = NewCurve([...]float64{1.5, 1.4, 1.3, 1.1, 0.9, 0.7, 0.5, 0.4})

// TestGrowWithoutDoubt: with one coefficient for all sizes, a speed that is sure and a
// start that is exact, a forecast is thermal-unit growth. K-23c, computed: days at 27 °C
// from 5 g for TGC 0.8, 1.1 and 1.3.
func TestGrowWithoutDoubt(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ tgc, to, days float64 }{
		{0.8, 300, 231}, {1.1, 300, 168}, {1.3, 300, 142},
		{0.8, 1000, 384}, {1.1, 1000, 279}, {1.3, 1000, 236},
	} {
		p := GrowthPrior{Curve: evenly(c.tgc)}
		g := p.Grow(Weighing{Weight: 5})
		if before, after := g.At(27*(c.days-1)).Weight(0), g.At(27*(c.days+1)).Weight(0); before > c.to || after < c.to {
			t.Errorf("TGC %g: %g g a day before day %g and %g g a day after, want %g g between", c.tgc, before, c.days, after, c.to)
		}
	}
	// K-22, computed on a published source: 1 → 1000 g in 304 d at 27 °C is TGC 1.096
	// (FAO feed information page).
	p := GrowthPrior{Curve: evenly(1.096)}
	check(t, "K-22", p.Grow(Weighing{Weight: 1}).At(27*304).Weight(0), true, 1000, 2)
	// K-20, computed on a published source: 43.739 → 84.341 g in 42.153 d at 29.5 °C is
	// TGC 0.6933 (Legendre et al. 1992).
	p = GrowthPrior{Curve: evenly(0.6933)}
	check(t, "K-20", p.Grow(Weighing{Weight: 43.739}).At(29.5*42.153).Weight(0), true, 84.341, 0.01)
}

// K-23, computed on a published source: the power law through the growth of the Thai
// hapa study has an SGR of 2.60 %/day at 18 g, 1.44 at 50 g, 0.96 at 100 g, 0.65 at 200 g
// and 0.55 at 264 g. As a curve, told at a few sizes and straight between, it is that at
// 28 °C within 3 %.
func TestCurveOfPowerLaw(t *testing.T) {
	t.Parallel()
	var tgc [CurveSizes]float64
	for i, w := range curveSizes {
		tgc[i] = 10 * 13.837 * math.Pow(w, -0.5784) / 3 * math.Cbrt(w) / 28
	}
	c := NewCurve(tgc)
	for _, k := range []struct{ grams, sgr float64 }{{18, 2.60}, {50, 1.44}, {100, 0.96}, {200, 0.65}, {264, 0.55}} {
		start := c.Heat(k.grams)
		sgr, ok := SGR(c.Weight(start-14), c.Weight(start+14), 1)
		check(t, "K-23", sgr, ok, k.sgr, 0.03*k.sgr)
	}
}

func TestCurveThereAndBack(t *testing.T) {
	t.Parallel()
	for _, c := range []Curve{falling, evenly(1), NewCurve([...]float64{0.3, 0.6, 0.9, 1.2, 1.2, 1.2, 1.5, 2})} {
		last := math.Inf(-1)
		for w := 0.5; w < 5000; w *= 1.07 {
			heat := c.Heat(w)
			check(t, "there and back", c.Weight(heat), true, w, 1e-9*w)
			if heat <= last {
				t.Fatalf("%g g need %g degree-days, less than fish that weigh less", w, heat)
			}
			last = heat
			// The coefficient is how fast length grows with heat.
			tgc, ok := TGC(c.Weight(heat-0.5), c.Weight(heat+0.5), 1)
			check(t, "coefficient", tgc, ok, c.TGC(w), 1e-3)
		}
	}
}

func TestCurveIsRefused(t *testing.T) {
	t.Parallel()
	defer func() {
		if recover() == nil {
			t.Error("fish that do not grow make a curve")
		}
	}()
	evenly(0)
}

// along are exact weighings of fish that go along a curve at a speed.
func along(c *Curve, speed, from, step float64, n int) []Weighing {
	var list []Weighing
	for i := range n {
		heat := float64(i) * step
		list = append(list, Weighing{Heat: heat, Weight: c.Weight(c.Heat(from) + speed*heat), Error: 0.005})
	}
	return list
}

// TestGrowLearns: many exact weighings outweigh the prior; one leaves it as it is; a
// weighing with a great error counts little, and one that is nothing like the others
// does not make the fish fast (computed).
func TestGrowLearns(t *testing.T) {
	t.Parallel()
	p := GrowthPrior{Curve: falling, Spread: 0.5, Wander: 0.1, Jitter: 20}
	line := along(&falling, 1.4, 10, 400, 8)
	want := falling.Weight(falling.Heat(10) + 1.4*4200)
	check(t, "after eight weighings", p.Grow(line...).At(4200).Weight(0), true, want, 0.02*want)
	want = falling.Weight(falling.Heat(10) + 1000)
	check(t, "after one weighing", p.Grow(line[0]).At(1000).Weight(0), true, want, 1e-9*want)
	calm := p.Grow(line...).At(3000)
	wild := p.Grow(append(line, Weighing{Heat: 3000, Weight: 3000, Error: 2})...)
	check(t, "after a weighing of which nobody is sure", wild.Weight(0), true, calm.Weight(0), 0.05*calm.Weight(0))
	speed, _ := p.Grow(append(line, Weighing{Heat: 3000, Weight: 3 * calm.Weight(0), Error: 0.03})...).Speed()
	if was, sd := calm.Speed(); math.Abs(speed-was) > sd {
		t.Errorf("three times the weight makes a speed of %g out of %g ± %g", speed, was, sd)
	}
	near, far := calm.At(3200), calm.At(7000)
	if !(near.Error() < far.Error()) || !(far.Weight(-1) < far.Weight(0) && far.Weight(0) < far.Weight(1)) {
		t.Errorf("errors %g near and %g far, weights %g, %g, %g", near.Error(), far.Error(), far.Weight(-1), far.Weight(0), far.Weight(1))
	}
	check(t, "chance of the median", near.Above(near.Weight(0)), true, 0, 1e-9)
	check(t, "chance of the lower end", near.Above(near.Weight(-1.96)), true, 1.96, 1e-9)
}

// Weighings without heat between them are one with half the variance (computed).
func TestTwoWeighingsOfOneMoment(t *testing.T) {
	t.Parallel()
	p := GrowthPrior{Curve: falling, Spread: 0.3}
	one, two := p.Grow(Weighing{Weight: 50, Error: 0.04}), p.Grow(Weighing{Weight: 50, Error: 0.04}, Weighing{Weight: 50, Error: 0.04})
	check(t, "error", two.Error(), true, one.Error()/math.Sqrt2, 1e-9)
}

// What others leave behind or bring changes where fish are, not how fast they go.
func TestMixedAndDisturbed(t *testing.T) {
	t.Parallel()
	p := GrowthPrior{Curve: falling, Spread: 0.3, Wander: 0.1, Jitter: 20}
	g := p.Grow(along(&falling, 1.2, 10, 400, 6)...)
	m, d := g.Mixed(60), g.Disturbed(0.1)
	check(t, "mixed", m.Weight(0), true, 60, 1e-6)
	check(t, "error of the mixed", m.Error(), true, g.Error(), 1e-9)
	check(t, "disturbed", d.Weight(0), true, g.Weight(0), 0)
	check(t, "error of the disturbed", d.Error(), true, math.Hypot(g.Error(), 0.1), 1e-9)
	for _, n := range []Growing{m, d} {
		was, _ := g.Speed()
		speed, _ := n.Speed()
		check(t, "speed", speed, true, was, 0)
	}
}

// TestLearn: batches that grow by a law of their own teach it; the speed at which none
// differs from another is told as such; what no batch was big enough for is the
// published curve, times what the others were of it (computed).
func TestLearn(t *testing.T) {
	t.Parallel()
	published := GrowthPrior{Curve: evenly(1), Spread: 0.45, Wander: 0.42, Jitter: 60}
	var batches [][]Weighing
	for range 20 {
		batches = append(batches, along(&falling, 1, 5, 350, 12)) // to some 300 g
	}
	l, ok := published.Learn(batches)
	if !ok {
		t.Fatal("nothing was learned from twenty batches")
	}
	for _, w := range []float64{10, 35, 90, 200} {
		check(t, "coefficient", l.Curve.TGC(w), true, falling.TGC(w), 0.05*falling.TGC(w))
	}
	if l.Spread > 0.08 || l.Wander > 0.07 {
		t.Errorf("spread %g, wander %g of batches that grow alike and by the law", l.Spread, l.Wander)
	}
	if big := l.Curve.TGC(1500); big < 1 || big > 1.4 {
		t.Errorf("a coefficient of %g for fish that nobody has seen, where the others are some 1.2 times as fast as published", big)
	}
	if _, ok := published.Learn(batches[:2]); ok {
		t.Error("two batches are enough")
	}
	if _, ok := published.Learn([][]Weighing{batches[0][:2], batches[1][:2], batches[2][:2], nil}); ok {
		t.Error("batches that were weighed twice are enough")
	}
}

// Batches that lose weight or stand still do not break what is learned.
func TestLearnFromPoorBatches(t *testing.T) {
	t.Parallel()
	p := GrowthPrior{Curve: falling, Spread: 0.45, Wander: 0.42, Jitter: 60}
	poor := []Weighing{{0, 100, 0.05}, {400, 80, 0.05}, {400, 80, 0.05}, {900, 60, 0.05}}
	l, ok := p.Learn([][]Weighing{poor, poor, poor, poor, poor, poor, poor, poor})
	if !ok {
		t.Fatal("nothing was learned")
	}
	for _, w := range curveSizes {
		if tgc := l.Curve.TGC(w); !(tgc >= lowestShare*falling.TGC(w)-1e-9) || math.IsInf(tgc, 0) {
			t.Errorf("a coefficient of %g at %g g", tgc, w)
		}
	}
	if g := l.Grow(poor...).At(2000); math.IsNaN(g.Weight(0)) || !(g.Weight(-2) <= g.Weight(0)) {
		t.Errorf("%g g are expected", g.Weight(0))
	}
}
