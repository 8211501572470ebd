package domain

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"shoalbook/domain/stats"
)

func pairsOf(members []entrant) []stats.Pair {
	pairs := make([]stats.Pair, len(members))
	for i, m := range members {
		pairs[i] = m.pair
	}
	return pairs
}

// sum adds the batches of a group up.
func (q *CompareQuestion) sum(members []entrant, left map[string]int64) GroupSum {
	r := stats.SumUp(pairsOf(members))
	g := GroupSum{Batches: int64(len(members)), Num: r.Num, Den: r.Den, estimated: r, LeftOut: leftOut(left)}
	for _, m := range members {
		g.Records.add(m.batch.Records)
	}
	switch {
	case len(members) == 0:
		g.NoValue = "no batch has what it takes"
	case math.IsNaN(r.Value):
		g.NoValue = "there is nothing to divide by"
	default:
		g.Value = &r.Value
	}
	if g.NoIntl = g.NoValue; g.NoIntl == "" {
		g.Interval, g.NoIntl = q.interval(r)
	}
	return g
}

func leftOut(left map[string]int64) []LeftOut {
	out := []LeftOut{}
	for reason, n := range left {
		out = append(out, LeftOut{reason, n})
	}
	slices.SortFunc(out, func(a, b LeftOut) int {
		return cmp.Or(cmp.Compare(b.Batches, a.Batches), cmp.Compare(a.Reason, b.Reason))
	})
	return out
}

// widest is half the width of an interval on the scale of logarithms, above which it says
// nothing: a million times as much, or as little.
var widest = math.Log(1e6)

// interval returns the 95 % interval of a ratio, by how its own batches vary: of a
// proportion Wilson's, of as many fish as would vary so if they were single; of others
// by the delta method on their scale; with Student's critical value.
func (q *CompareQuestion) interval(r stats.Ratio) (in *[2]float64, reason string) {
	t := stats.Student95(r.Units - 1)
	var lo, hi float64
	switch y := q.Measure.Scale.to(r.Value); {
	case r.Units < 2:
		return nil, "of one batch nobody can tell how much batches vary"
	case math.IsNaN(r.SE):
		return nil, "one batch is all that there is to divide by"
	case q.Measure.Scale == Proportion && r.Value > 1 && len(q.Standardise) > 0:
		return nil, "held against batches like its own it comes to more than all"
	case q.Measure.Scale == Proportion && r.Value > 1:
		return nil, "more fish came out than went in: short counts at stocking, or breeding"
	case q.Measure.Scale == Proportion:
		n := r.Value * (1 - r.Value) / (r.SE * r.SE)
		if !(n > 0) || math.IsInf(n, 1) { // none or all, in every batch
			n = float64(r.Units)
		}
		lo, hi = stats.WilsonOf(stats.Count{X: r.Value * n, N: n}, t)
	case math.IsNaN(y):
		return nil, "it is not above 0"
	case q.Measure.Scale == Positive:
		half := t * r.SE / r.Value
		if half > widest {
			return nil, "its batches differ so much that nothing can be said of it"
		}
		lo, hi = math.Exp(y-half), math.Exp(y+half)
	default:
		lo, hi = y-t*r.SE, y+t*r.SE
	}
	return &[2]float64{lo, hi}, ""
}

// spread estimates how batches vary around their group, pooled over groups, and puts
// every group on the scale with the standard error that follows from it.
func (c *Comparison) spread(q *CompareQuestion, pairs [][]stats.Pair, all []entrant) {
	sigma2, ok := stats.Spread(pairs, q.Measure.Scale.variance)
	if !ok { // no group has two: then all that batches differ by counts as chance
		sigma2, ok = stats.Spread([][]stats.Pair{pairsOf(all)}, q.Measure.Scale.variance)
	}
	least := 0.0 // what differs by less is the same, but for rounding
	if c.All.Value != nil {
		least = 1e-15 * (1 + *c.All.Value**c.All.Value)
	}
	if !ok || !(sigma2 > least) {
		c.NoIntervals = "nobody can tell how much batches vary: there are too few, or all are the same"
		sigma2 = math.NaN()
	}
	c.Sigma2 = sigma2
	for i := range c.Groups {
		g := &c.Groups[i]
		g.y, g.s = math.NaN(), math.NaN()
		if g.Value != nil {
			g.y, g.s = q.Measure.Scale.to(*g.Value), q.Measure.Scale.error(sigma2, g.estimated.Clump)
		}
	}
}

// judge draws the funnel, shrinks the groups and says which are odd.
func (c *Comparison) judge(q *CompareQuestion) {
	var ys, ss []float64
	var at []*ComparedGroup
	for i := range c.Groups {
		if g := &c.Groups[i]; !math.IsNaN(g.y) && g.s > 0 {
			ys, ss, at = append(ys, g.y), append(ss, g.s), append(at, g)
		}
	}
	switch {
	case c.Batches == 0:
		c.NoVerdicts = "no batch is as asked for"
	case c.All.Value == nil:
		c.NoVerdicts = c.All.NoValue
	case c.NoIntervals != "":
		c.NoVerdicts = c.NoIntervals
	case len(at) < FewestGroups:
		c.NoVerdicts = "there are fewer than 10 groups: nobody can tell how far groups usually lie apart"
	}
	if len(at) == 0 || c.All.Value == nil {
		return
	}
	scale, centre := q.Measure.Scale, q.Measure.Scale.to(*c.All.Value)
	if math.IsNaN(centre) {
		return
	}
	c.Dispersion = stats.Disperse(ys, ss, centre)
	var usualY, usualS []float64
	for _, g := range at {
		off := math.Abs(g.y - centre)
		worth := 1 / g.estimated.Clump
		in95, in998 := q.half(c.Dispersion, g.s, stats.Z95), q.half(c.Dispersion, g.s, stats.Z998)
		g.In95, g.In998, g.Worth = limits(scale, centre, in95), limits(scale, centre, in998), &worth
		g.Better = (g.y > centre) == q.Measure.Higher
		if c.NoVerdicts == "" {
			switch {
			case off > in998:
				g.Verdict = Different
			case off > in95:
				g.Verdict = WorthALook
			default:
				g.Verdict = NoDifference
			}
		}
		if g.odd = off > in998; !g.odd { // an odd group must not set what all are drawn to
			usualY, usualS = append(usualY, g.y), append(usualS, g.s)
		}
	}
	if len(at) > 1 && len(usualY) > 0 {
		c.shrink(q, at, stats.Moments(usualY, usualS))
	}
}

// Funnel returns the limits for a group that is worth so many batches of one size, where
// there are any.
func (q *CompareQuestion) Funnel(c *Comparison, worth float64) (in95, in998 *[2]float64) {
	if c.All.Value == nil || !(c.Sigma2 > 0) {
		return nil, nil
	}
	scale := q.Measure.Scale
	s, centre := scale.error(c.Sigma2, 1/worth), scale.to(*c.All.Value)
	return limits(scale, centre, q.half(c.Dispersion, s, stats.Z95)), limits(scale, centre, q.half(c.Dispersion, s, stats.Z998))
}

// half returns half the width of the funnel on the scale, at a standard error.
func (q *CompareQuestion) half(d stats.Dispersion, s, z float64) float64 {
	if q.Multiplicative {
		return d.Multiplicative(s, z)
	}
	return d.Additive(s, z)
}

func limits(s Scale, centre, half float64) *[2]float64 {
	return &[2]float64{s.from(centre - half), s.from(centre + half)}
}

// shrink draws the groups to what groups usually are, and says how likely each is to be
// in the best and the worst third. One outside the 99.8 % limits is not drawn to those
// that it is not like. The draws are of a fixed seed: the same records make the same
// answer.
func (c *Comparison) shrink(q *CompareQuestion, at []*ComparedGroup, prior stats.Spreading) {
	mean, sd := make([]float64, len(at)), make([]float64, len(at))
	for i, g := range at {
		if mean[i], sd[i] = g.y, g.s; !g.odd {
			mean[i], sd[i] = prior.Shrink(g.y, g.s)
		}
		shrunk := q.Measure.Scale.from(mean[i])
		g.Shrunk = &shrunk
	}
	low, high := stats.Thirds(mean, sd, rand.New(rand.NewPCG(2005, 1202)))
	if low == nil {
		return
	}
	if q.Measure.Higher {
		low, high = high, low
	}
	for i, g := range at {
		g.Best, g.Worst = &low[i], &high[i]
	}
}
