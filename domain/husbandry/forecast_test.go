package husbandry

import (
	"math"
	"testing"
)

// TestGrowWithoutDoubt: with an exponent of one third, a rate that is sure and a start
// that is exact, a forecast is thermal-unit growth. Days at 27 °C for TGC 0.8, 1.1 and
// 1.3 (computed).
func TestGrowWithoutDoubt(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ tgc, to, days float64 }{
		{0.8, 300, 231}, {1.1, 300, 168}, {1.3, 300, 142},
		{0.8, 1000, 384}, {1.1, 1000, 279}, {1.3, 1000, 236},
	} {
		p := GrowthPrior{Exponent: 1. / 3, Rate: c.tgc / 1000}
		g := p.Grow(Weighing{Weight: 5})
		if before, after := g.At(27*(c.days-1)).Weight(0), g.At(27*(c.days+1)).Weight(0); before > c.to || after < c.to {
			t.Errorf("TGC %g: %g g a day before day %g and %g g a day after, want %g g between", c.tgc, before, c.days, after, c.to)
		}
	}
}

// TestGrowLearns: many exact weighings on a line outweigh the prior; one leaves it as
// it is; a weighing with a great error counts little (computed).
func TestGrowLearns(t *testing.T) {
	t.Parallel()
	p := GrowthPrior{Exponent: 0.5, Rate: 0.002, Spread: 0.5, Wander: 0.2}
	var line []Weighing
	for i := range 12 {
		heat := float64(i) * 400
		line = append(line, Weighing{Heat: heat, Weight: math.Pow(3+0.004*heat, 2), Error: 0.005})
	}
	if got, want := p.Grow(line...).At(6000).Weight(0), math.Pow(3+0.004*6000, 2); math.Abs(got/want-1) > 0.02 {
		t.Errorf("after 12 weighings %g g are expected, the line says %g", got, want)
	}
	if got, want := p.Grow(line[0]).At(1000).Weight(0), math.Pow(3+2, 2); math.Abs(got/want-1) > 1e-9 {
		t.Errorf("after one weighing %g g are expected, the prior says %g", got, want)
	}
	wild := Weighing{Heat: 5000, Weight: 5000, Error: 2}
	calm := p.Grow(line...).At(5000)
	if got := p.Grow(append(line, wild)...); math.Abs(got.Weight(0)/calm.Weight(0)-1) > 0.05 {
		t.Errorf("a weighing with an error of 200 %% moved what is expected from %g to %g g", calm.Weight(0), got.Weight(0))
	}
	near, far := calm.At(5200), calm.At(9000)
	if !(near.Error() < far.Error()) || !(far.Weight(-1) < far.Weight(0) && far.Weight(0) < far.Weight(1)) {
		t.Errorf("errors %g near and %g far, weights %g, %g, %g", near.Error(), far.Error(), far.Weight(-1), far.Weight(0), far.Weight(1))
	}
}
