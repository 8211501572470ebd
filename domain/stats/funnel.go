package stats

import (
	"math"
	"slices"
)

// Count is so many of so many. Fractions are for counts that are worth less than they
// number, because what was counted came in clumps.
type Count struct{ X, N float64 }

// Share returns X ÷ N.
func (c Count) Share() float64 { return c.X / c.N }

// Pooled returns the share of all counts together: Σx ÷ Σn.
func Pooled(counts []Count) float64 {
	var all Count
	for _, c := range counts {
		all.X += c.X
		all.N += c.N
	}
	return all.Share()
}

// Score returns how many standard errors a count is off the share theta, if only
// counting single independent things made a difference.
func (c Count) Score(theta float64) float64 {
	return (c.Share() - theta) / math.Sqrt(theta*(1-theta)/c.N)
}

// BinomialLimits returns the limits of a funnel for n single independent things,
// θ ± z·√(θ(1−θ)/n), clipped to 0 and 1 (Spiegelhalter 2005, Statist. Med.
// 24:1185–1202). Fish of one tank die together, so that for fish it is far too narrow.
func BinomialLimits(theta, n, z float64) (lo, hi float64) {
	half := z * math.Sqrt(theta*(1-theta)/n)
	return max(0, theta-half), min(1, theta+half)
}

// Angle returns asin √p, the scale on which shares of n things have the standard error
// 1 ÷ 2√n whatever p is. What is outside 0 to 1 counts as the nearer end.
func Angle(p float64) float64 { return math.Asin(math.Sqrt(min(1, max(0, p)))) }

// FromAngle returns the share of an angle. The angle is clamped to [0, π/2] first: the
// square of the sine folds back otherwise.
func FromAngle(a float64) float64 {
	s := math.Sin(min(math.Pi/2, max(0, a)))
	return s * s
}

// Dispersion is how far groups lie apart, against what their standard errors explain.
type Dispersion struct {
	Phi  float64 // the variance as a multiple of what is expected: Σz² ÷ I
	Tau2 float64 // the variance of groups around their centre that is left, 0 or more
}

// Disperse estimates the dispersion of groups of which y are the estimates and s the
// standard errors, around a centre that is not fitted again (Spiegelhalter 2005):
//
//	φ = Σz² ÷ I,  τ² = max(0, (Iφ − (I−1)) ÷ (Σw − Σw² ÷ Σw)),  w = 1 ÷ s²
//
// with z = (y − centre) ÷ s winsorised at the 10th and 90th percentile, so that a few
// odd groups do not hide behind the width they make. Fewer than two groups have none.
func Disperse(y, s []float64, centre float64) Dispersion {
	n := float64(len(y))
	if n < 2 {
		return Dispersion{Phi: 1}
	}
	z := make([]float64, len(y))
	var w, w2 float64
	for i := range y {
		z[i] = (y[i] - centre) / s[i]
		w += 1 / (s[i] * s[i])
		w2 += 1 / (s[i] * s[i] * s[i] * s[i])
	}
	var sum float64
	for _, x := range winsorised(z) {
		sum += x * x
	}
	return Dispersion{Phi: sum / n, Tau2: max(0, (sum-(n-1))/(w-w2/w))}
}

// DisperseCounts is [Disperse] of shares on the scale of [Angle] around their pooled one.
func DisperseCounts(counts []Count) Dispersion {
	y, s := make([]float64, len(counts)), make([]float64, len(counts))
	for i, c := range counts {
		y[i], s[i] = Angle(c.Share()), 1/(2*math.Sqrt(c.N))
	}
	return Disperse(y, s, Angle(Pooled(counts)))
}

// Additive returns half the width of a funnel at the standard error s: z·√(s² + τ²).
func (d Dispersion) Additive(s, z float64) float64 { return z * math.Sqrt(s*s+d.Tau2) }

// Multiplicative returns half the width of a funnel at the standard error s: z·√φ·s.
// Groups that lie closer together than expected do not make it narrower.
func (d Dispersion) Multiplicative(s, z float64) float64 {
	return z * math.Sqrt(max(1, d.Phi)) * s
}

// AdditiveLimits returns the limits of a funnel of shares for n things,
// sin²(asin√θ ± z·√(s² + τ²)) with s = 1 ÷ 2√n.
func (d Dispersion) AdditiveLimits(theta, n, z float64) (lo, hi float64) {
	half := d.Additive(1/(2*math.Sqrt(n)), z)
	return FromAngle(Angle(theta) - half), FromAngle(Angle(theta) + half)
}

// winsorised returns the values with those below the 10th percentile put to it, and
// those above the 90th to that.
func winsorised(values []float64) []float64 {
	sorted := slices.Sorted(slices.Values(values))
	lo, hi := Quantile(sorted, 0.1), Quantile(sorted, 0.9)
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = min(hi, max(lo, v))
	}
	return out
}

// Quantile returns the p-quantile of sorted values, straight between them (type 7 of
// Hyndman & Fan 1996). There must be one at least.
func Quantile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
