package husbandry

import "math"

const (
	// fewest is how many batches, and how many weighings of each, are needed to learn
	// how they grow.
	fewest = 3
	// publishedWorth is for how many intervals between weighings the published
	// coefficient of each size stands.
	publishedWorth = 2.0
	// Batches of one co-operative: by how much they differ in speed, and by how much
	// their speed changes, before its own are looked at. Set on simulated
	// co-operatives, others than those they are judged on.
	learnedSpread = 0.12
	learnedWander = 0.11
	learnedJitter = 47
	// spreadWorth and scaleWorth are for how many batches these stand.
	spreadWorth = 3.0
	scaleWorth  = 5.0
	// roughness is what growth over one interval is off the curve by, errors of
	// weighing apart: a share of a usual coefficient.
	roughness = 0.2
	// replayed is how far ahead the weighings of closed batches are forecast: two
	// months at 27 °C.
	replayed = 60 * 27
	// lowestShare of the published coefficient is what a curve does not fall below:
	// fish of a size at which none grew here may still grow.
	lowestShare = 0.2
)

// Learn returns what the closed batches of a co-operative teach of how a species
// grows, each by its weighings in their order. The curve is that of least squares;
// where no batch was, it is drawn to the published one, times the ratio the others have
// to it. Spread and wander are those with which forecasts of the later weighings of
// these batches by the earlier ones would have been as far off as they said. From fewer
// than three batches with three weighings nothing is learned.
func (p GrowthPrior) Learn(batches [][]Weighing) (_ GrowthPrior, learned bool) {
	var known [][]Weighing
	for _, b := range batches {
		if len(b) >= fewest {
			known = append(known, b)
		}
	}
	if len(known) < fewest {
		return p, false
	}
	n := float64(len(known))
	l := GrowthPrior{Curve: p.fit(known)}
	free := GrowthPrior{Curve: l.Curve, Spread: 1}
	squares := spreadWorth * learnedSpread * learnedSpread
	for _, b := range known {
		off := free.Grow(b...).speed - 1
		squares += off * off
	}
	l.Spread, l.Wander, l.Jitter = math.Sqrt(squares/(n+spreadWorth)), learnedWander, learnedJitter
	scale := math.Sqrt((l.replay(known)*n + scaleWorth) / (n + scaleWorth))
	l.Spread, l.Wander, l.Jitter = scale*l.Spread, scale*l.Wander, scale*l.Jitter
	return l, true
}

// fit returns the curve of least squares.
func (p *GrowthPrior) fit(batches [][]Weighing) Curve {
	var a [CurveSizes][CurveSizes]float64 // normal equations
	var b [CurveSizes]float64
	var grown, usual float64
	for _, batch := range batches {
		for i := 1; i < len(batch); i++ {
			from, to := batch[i-1], batch[i]
			heat := to.Heat - from.Heat
			if heat <= 0 {
				continue
			}
			l1, l2 := math.Cbrt(from.Weight), math.Cbrt(to.Weight)
			tgc, share := (l2-l1)/heat, presence(l1, l2)
			published := 0.
			for k := range share {
				published += share[k] * p.Curve.tgc[k]
			}
			noise := math.Hypot(from.Error*l1, to.Error*l2) / 3 / heat
			rough := roughness * p.Curve.tgc[0]
			w := rough * rough / (rough*rough + noise*noise)
			grown += w * tgc
			usual += w * published
			for k := range share {
				b[k] += w * share[k] * tgc
				for m := range share {
					a[k][m] += w * share[k] * share[m]
				}
			}
		}
	}
	n, ratio := float64(len(batches)), 1.
	if usual > 0 {
		ratio = max(lowestShare, (grown/usual*n+publishedWorth)/(n+publishedWorth))
	}
	for k := range b {
		a[k][k] += publishedWorth
		b[k] += publishedWorth * ratio * p.Curve.tgc[k]
	}
	solve(&a, &b)
	var tgc [CurveSizes]float64
	for k := range b {
		tgc[k] = tgcScale * max(b[k], lowestShare*p.Curve.tgc[k])
	}
	return NewCurve(tgc)
}

// presence returns how much the coefficient at each size counts while fish grow from
// one length to another at a steady pace.
func presence(l1, l2 float64) (share [CurveSizes]float64) {
	const steps = 8
	for i := range steps {
		l := l1 + (l2-l1)*(float64(i)+0.5)/steps
		switch k := segment(l); k {
		case -1:
			share[0] += 1. / steps
		case CurveSizes - 1:
			share[k] += 1. / steps
		default:
			f := (l - curveLengths[k]) / (curveLengths[k+1] - curveLengths[k])
			share[k] += (1 - f) / steps
			share[k+1] += f / steps
		}
	}
	return share
}

// solve puts the solution of a·x = b into b; a is symmetric and positive definite.
func solve(a *[CurveSizes][CurveSizes]float64, b *[CurveSizes]float64) {
	for k := range b {
		for m := k + 1; m < CurveSizes; m++ {
			f := a[m][k] / a[k][k]
			for c := k; c < CurveSizes; c++ {
				a[m][c] -= f * a[k][c]
			}
			b[m] -= f * b[k]
		}
	}
	for k := CurveSizes - 1; k >= 0; k-- {
		for m := k + 1; m < CurveSizes; m++ {
			b[k] -= a[k][m] * b[m]
		}
		b[k] /= a[k][k]
	}
}

// replay returns the mean square of how far off forecasts of the later weighings by the
// earlier ones would have been, in standard deviations.
func (p *GrowthPrior) replay(batches [][]Weighing) float64 {
	var squares, n float64
	for _, b := range batches {
		g := p.Grow(b[0])
		for i := 1; i < len(b)-1; i++ {
			g = g.At(b[i].Heat).weigh(b[i])
			for j := i + 1; j < len(b) && b[j].Heat-b[i].Heat <= replayed; j++ {
				then := g.At(b[j].Heat)
				e := p.Curve.stretch(b[j].Weight) * b[j].Error
				miss := p.Curve.Heat(b[j].Weight) - then.place
				squares += miss * miss / (then.pp + e*e)
				n++
			}
		}
	}
	if n == 0 {
		return 1
	}
	return squares / n
}
