package husbandry

import "math"

// Weighing is a mean weight that was measured.
type Weighing struct {
	Heat   float64 // thermal units (°C·day, or days) since the first fish
	Weight float64 // g, of one fish
	Error  float64 // its standard error as a share of the weight
}

// GrowthPrior is what is known of the growth of a species before a batch is weighed.
// Weight to the power of Exponent rises in a straight line with thermal units; the
// thermal-unit growth coefficient is the special case of one third. A greater exponent
// lets growth slow down more as fish get big.
type GrowthPrior struct {
	Exponent float64 // 0 to 1
	Rate     float64 // g^Exponent a unit
	Spread   float64 // standard deviation of the rate between batches, as a share of it
	Wander   float64 // by how much a rate changes in the course of a batch: standard deviation after 1000 units, as a share
}

// Growing is what is believed of a batch after its weighings: the power of the weight,
// its rate, and how sure both are. The zero value believes nothing.
type Growing struct {
	prior      GrowthPrior
	heat       float64
	power      float64 // weight to the power of the exponent
	rate       float64
	pp, pr, rr float64 // covariances
}

// Grow takes the weighings of a batch in their order. There must be at least one.
func (p GrowthPrior) Grow(weighings ...Weighing) Growing {
	first := weighings[0]
	g := Growing{prior: p, heat: first.Heat, power: math.Pow(first.Weight, p.Exponent), rate: p.Rate, rr: p.Rate * p.Spread * p.Rate * p.Spread}
	e := p.Exponent * g.power * first.Error
	g.pp = e * e
	for _, w := range weighings[1:] {
		g = g.At(w.Heat).weigh(w)
	}
	return g
}

// At returns what is believed at a later moment.
func (g Growing) At(heat float64) Growing {
	d := heat - g.heat
	q := g.prior.Wander * g.prior.Rate
	q = q * q / 1000
	g.power += g.rate * d
	g.pp += 2*d*g.pr + d*d*g.rr + q*d*d*d/3
	g.pr += d*g.rr + q*d*d/2
	g.rr += q * d
	g.heat = heat
	return g
}

// Heat returns the moment in thermal units.
func (g Growing) Heat() float64 { return g.heat }

// Above returns how many standard deviations the expected weight lies above one in g.
func (g Growing) Above(weight float64) float64 {
	return (g.power - math.Pow(weight, g.prior.Exponent)) / math.Sqrt(g.pp)
}

// weigh takes in a weighing of the moment.
func (g Growing) weigh(w Weighing) Growing {
	x := math.Pow(w.Weight, g.prior.Exponent)
	e := g.prior.Exponent * max(x, g.power) * w.Error
	s := g.pp + e*e
	kp, kr := g.pp/s, g.pr/s
	miss := x - g.power
	g.power, g.rate = g.power+kp*miss, g.rate+kr*miss
	g.rr -= kr * g.pr
	g.pr -= kp * g.pr
	g.pp -= kp * g.pp
	return g
}

// Mixed returns what is believed when the mean weight has become another one, in g,
// since other fish came: they are taken to grow like those that were there.
func (g Growing) Mixed(weight float64) Growing {
	was := g.power
	g.power = math.Pow(weight, g.prior.Exponent)
	g.pp *= g.power / was * g.power / was
	g.pr *= g.power / was
	return g
}

// Weight returns the weight in g that is z standard deviations above what is expected;
// 0 is the median.
func (g Growing) Weight(z float64) float64 {
	return math.Pow(max(g.power+z*math.Sqrt(g.pp), 1e-9), 1/g.prior.Exponent)
}

// Error returns the standard deviation of the weight as a share of it.
func (g Growing) Error() float64 {
	return math.Sqrt(g.pp) / g.power / g.prior.Exponent
}
