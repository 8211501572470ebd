package stats

import "math"

// Prior is the beta distribution of the shares of groups: what is known of a group
// before it is looked at is worth Alpha of Alpha + Beta.
type Prior struct{ Alpha, Beta float64 }

// Shrink returns (x + α) ÷ (n + α + β): the share of a group drawn to the others, the
// more so the less was counted.
func (p Prior) Shrink(c Count) float64 { return (c.X + p.Alpha) / (c.N + p.Alpha + p.Beta) }

// Bounds of α + β between which a prior is looked for. Near the upper one it is worth
// more than any count: the groups do not differ by more than counting explains.
const (
	leastWorth = 1e-3
	mostWorth  = 1e8
)

// FitPrior returns the prior that makes the counts most likely (beta-binomial maximum
// likelihood). Where the groups differ by no more than counting explains, the
// likelihood has no finite optimum, and there is none.
func FitPrior(counts []Count) (p Prior, ok bool) {
	if len(counts) < 2 {
		return p, false
	}
	var mean float64
	worth := math.Exp(peak(math.Log(leastWorth), math.Log(mostWorth), func(w float64) float64 {
		m := math.Exp(w)
		mean = peak(1e-9, 1-1e-9, func(mu float64) float64 { return likelihood(counts, Prior{mu * m, (1 - mu) * m}) })
		return likelihood(counts, Prior{mean * m, (1 - mean) * m})
	}))
	mean = peak(1e-9, 1-1e-9, func(mu float64) float64 { return likelihood(counts, Prior{mu * worth, (1 - mu) * worth}) })
	return Prior{mean * worth, (1 - mean) * worth}, worth < mostWorth/10
}

// Shrunk returns the share of each group drawn to the others. One odd group must not
// set what all are drawn to: the prior is fitted without those outside the 99.8 %
// limits of the funnel of all. Without a prior every group is taken for the pooled share
// of the usual ones, but for an odd one, which is not like them and keeps its own.
func Shrunk(counts []Count) []float64 {
	out := make([]float64, len(counts))
	usual, odd := Usual(counts)
	prior, ok := FitPrior(usual)
	for i, c := range counts {
		switch {
		case ok:
			out[i] = prior.Shrink(c)
		case odd[i]:
			out[i] = c.Share()
		default:
			out[i] = Pooled(usual)
		}
	}
	return out
}

// Usual returns the counts within the 99.8 % limits of the additive funnel of all, and
// which of all are outside them.
func Usual(counts []Count) (usual []Count, odd []bool) {
	d, theta := DisperseCounts(counts), Pooled(counts)
	odd = make([]bool, len(counts))
	for i, c := range counts {
		lo, hi := d.AdditiveLimits(theta, c.N, Z998)
		if odd[i] = !(c.Share() >= lo && c.Share() <= hi); !odd[i] {
			usual = append(usual, c)
		}
	}
	return usual, odd
}

// likelihood returns the logarithm of how likely the counts are under a prior, but for
// what does not depend on it.
func likelihood(counts []Count, p Prior) float64 {
	var sum float64
	for _, c := range counts {
		sum += logBeta(c.X+p.Alpha, c.N-c.X+p.Beta)
	}
	return sum - float64(len(counts))*logBeta(p.Alpha, p.Beta)
}

func logBeta(a, b float64) float64 {
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lc, _ := math.Lgamma(a + b)
	return la + lb - lc
}

// peak returns where a function with one peak between two ends has it, by the golden
// section.
func peak(lo, hi float64, f func(float64) float64) float64 {
	golden := (math.Sqrt(5) - 1) / 2
	a, b := hi-golden*(hi-lo), lo+golden*(hi-lo)
	fa, fb := f(a), f(b)
	for hi-lo > 1e-8*(1+math.Abs(lo)) {
		if fa > fb {
			hi, b, fb = b, a, fa
			a = hi - golden*(hi-lo)
			fa = f(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + golden*(hi-lo)
			fb = f(b)
		}
	}
	return (lo + hi) / 2
}
