package simulate

import "math"

// Growth is the law by which the fish of a batch grow. It is Gompertz's, slowed
// by temperatures off the best and by an empty stomach: on purpose not the
// thermal-unit curve that the service forecasts with, so that a forecast can be
// judged against a truth it does not share. Weights are in g, time in days.
type Growth struct {
	Rate       float64 // a day, at the best temperature on a full ration
	Final      float64 // weight that is approached and never reached
	Best       float64 // °C
	Width      float64 // °C off the best at which growth is 1/e
	Conversion float64 // g of the best feed for 1 g of gain, of a small fish
	Spread     float64 // coefficient of variation of single weights when grown
}

const (
	keep  = 0.12 // loss on an empty stomach, as a share of what a full ration gains
	bend  = 1.2  // how soon more feed does less
	waxes = 0.35 // a fish near its final weight converts that much worse
)

// Potential returns the gain of a fish in a day on a full ration.
func (g Growth) Potential(weight, celsius float64) float64 {
	off := (celsius - g.Best) / g.Width
	return g.Rate * math.Exp(-off*off) * weight * max(0, math.Log(g.Final/weight))
}

// Appetite returns the full ration of a fish for a day, of the best feed.
func (g Growth) Appetite(weight, celsius float64) float64 {
	return g.Potential(weight, celsius) * g.Conversion * (1 + waxes*weight/g.Final)
}

// Gain returns what a fish gains in a day in which it ate so much of the best
// feed; less than nothing if it went hungry.
func (g Growth) Gain(weight, celsius, eaten float64) float64 {
	full := g.Appetite(weight, celsius)
	if full <= 0 {
		return 0
	}
	fill := min(eaten/full, 1)
	return g.Potential(weight, celsius) * ((1+keep)*(1-math.Exp(-bend*fill))/(1-math.Exp(-bend)) - keep)
}

// spread returns the coefficient of variation of single weights: fish of one
// batch start alike and grow apart.
func (g Growth) spread(weight float64) float64 {
	return 0.14 + (g.Spread-0.14)*min(1, 1.6*weight/g.Final)
}

// species is what is generally true of the fish of a species here. The numbers
// are chosen so that batches come out as growers tell of them (common practice,
// no source): catfish of 0.6 to 1 kg and tilapia of 250 to 400 g in 6 to 8 months.
type species struct {
	code       string
	name       string
	growth     Growth
	fingerling float64 // g, what hatcheries deliver
	target     float64 // g
	price      float64 // of 1 kg at the gate
	young      float64 // price of a fingerling
	condition  float64 // 100 × g ÷ cm³ of total length
	cannibal   float64 // deaths a day among the small ones
	airless    float64 // share that a long power cut kills
}

var (
	catfish = &species{code: "CLZ", name: "Catfish", fingerling: 9, target: 750, price: 390, young: 12, condition: 0.82, cannibal: 0.0012, airless: 0.05,
		growth: Growth{Rate: 0.0142, Final: 1450, Best: 29, Width: 8, Conversion: 1.02, Spread: 0.30}}
	tilapia = &species{code: "TLN", name: "Tilapia", fingerling: 7, target: 300, price: 440, young: 7, condition: 1.85, cannibal: 0, airless: 0.16,
		growth: Growth{Rate: 0.0117, Final: 640, Best: 28.5, Width: 8, Conversion: 1.06, Spread: 0.24}}
)

// choose returns how many standard deviations above the mean the heaviest share
// of a normal population is on average.
func choose(share float64) float64 {
	z := math.Sqrt2 * math.Erfinv(1-2*share)
	return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / share
}
