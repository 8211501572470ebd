package husbandry

import "math"

// Weighing is a mean weight that was measured.
type Weighing struct {
	Heat   float64 // thermal units (°C·day, or days) since the first fish
	Weight float64 // g, of one fish
	Error  float64 // its standard error as a share of the weight
}

// GrowthPrior is what is known of the growth of a species before a batch is weighed. A
// batch goes along the curve of the species at a speed of its own, 1 for typical fish,
// which drifts as time goes by: water, feed and people change, and no curve is the truth.
type GrowthPrior struct {
	Curve  Curve
	Spread float64 // standard deviation of speed between batches
	Wander float64 // by how much a speed changes in the course of a batch: standard deviation after 1000 units
	Jitter float64 // what single days add that even out: standard deviation after 1000 units, in units
}

// Growing is what is believed of a batch after its weighings: the units that typical
// fish need to its weight, its speed, and how sure both are. The zero value believes
// nothing.
type Growing struct {
	prior      GrowthPrior
	heat       float64
	place      float64 // on the curve
	speed      float64
	pp, ps, ss float64 // covariances
}

// Grow takes the weighings of a batch in their order. There must be at least one.
func (p GrowthPrior) Grow(weighings ...Weighing) Growing {
	first := weighings[0]
	g := Growing{prior: p, heat: first.Heat, place: p.Curve.Heat(first.Weight), speed: 1, ss: p.Spread * p.Spread}
	e := p.Curve.stretch(first.Weight) * first.Error
	g.pp = e * e
	for _, w := range weighings[1:] {
		g = g.At(w.Heat).weigh(w)
	}
	return g
}

// At returns what is believed at a later moment.
func (g Growing) At(heat float64) Growing {
	d := heat - g.heat
	q := g.prior.Wander * g.prior.Wander / 1000
	g.place += g.speed * d
	g.pp += 2*d*g.ps + d*d*g.ss + q*d*d*d/3 + g.prior.Jitter*g.prior.Jitter/1000*d
	g.ps += d*g.ss + q*d*d/2
	g.ss += q * d
	g.heat = heat
	return g
}

// Heat returns the moment in thermal units.
func (g Growing) Heat() float64 { return g.heat }

// Speed returns how fast the batch grows, as a multiple of typical fish, and its
// standard deviation.
func (g Growing) Speed() (speed, sd float64) { return g.speed, math.Sqrt(g.ss) }

// Above returns how many standard deviations the expected weight lies above one in g.
func (g Growing) Above(weight float64) float64 {
	return (g.place - g.prior.Curve.Heat(weight)) / math.Sqrt(g.pp)
}

// strange is how many standard deviations a weighing may be off what is expected.
// Beyond it other fish were weighed, since the batch was graded or a mistake was made:
// their weight is taken anew, and little is concluded about how fast they grow.
const strange = 3

// weigh takes in a weighing of the moment.
func (g Growing) weigh(w Weighing) Growing {
	c := &g.prior.Curve
	// The error is a share of the truth, which may be the greater of the two.
	e := w.Error * max(c.stretch(w.Weight), c.stretch(g.Weight(0)))
	miss := c.Heat(w.Weight) - g.place
	s := g.pp + e*e
	if miss*miss > strange*strange*s {
		g.pp += miss*miss - s
		s = miss * miss
	}
	kp, ks := g.pp/s, g.ps/s
	g.place, g.speed = g.place+kp*miss, g.speed+ks*miss
	g.ss -= ks * g.ps
	g.ps -= kp * g.ps
	g.pp -= kp * g.pp
	return g
}

// Mixed returns what is believed when the mean weight has become another one, in g,
// since other fish came: they are taken to grow like those that were there.
func (g Growing) Mixed(weight float64) Growing {
	c := &g.prior.Curve
	ratio := c.stretch(weight) / c.stretch(g.Weight(0)) // so that the error stays the same share
	g.place = c.Heat(weight)
	g.pp *= ratio * ratio
	g.ps *= ratio
	return g
}

// Disturbed returns what is believed when the mean weight has changed otherwise than by
// growth, by a standard deviation that is a share of it.
func (g Growing) Disturbed(share float64) Growing {
	e := g.prior.Curve.stretch(g.Weight(0)) * share
	g.pp += e * e
	return g
}

// Weight returns the weight in g that is z standard deviations above what is expected;
// 0 is the median.
func (g Growing) Weight(z float64) float64 {
	return g.prior.Curve.Weight(g.place + z*math.Sqrt(g.pp))
}

// Error returns the standard deviation of the weight as a share of it.
func (g Growing) Error() float64 {
	return math.Sqrt(g.pp) / g.prior.Curve.stretch(g.Weight(0))
}
