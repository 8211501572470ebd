package domain

import (
	"math"

	"shoalbook/domain/husbandry"
	"shoalbook/domain/stats"
)

// Yardstick is one measure by which batches are compared: a ratio of two sums to which
// every batch gives its part, or the reason why it gives none.
type Yardstick struct {
	Name    string // on the wire
	Title   string
	Unit    string // with {currency} for the co-operative's
	Formula string
	Higher  bool // whether more of it is better
	Scale   Scale
	of      func(*contribution) (num, den float64, reason string)
}

// Scale is that on which groups are compared, so that a group does as badly by a tenth
// too little as by a tenth too much.
type Scale int

// The scales.
const (
	Proportion Scale = iota // from 0 to 1: the angle
	Positive                // above 0: the logarithm
	Signed                  // any number: itself
)

// to puts a ratio on the scale; not a number where it has no place there.
func (s Scale) to(ratio float64) float64 {
	switch s {
	case Proportion:
		return stats.Angle(ratio)
	case Positive:
		if ratio <= 0 {
			return math.NaN()
		}
		return math.Log(ratio)
	}
	return ratio
}

// from takes a ratio from the scale.
func (s Scale) from(y float64) float64 {
	switch s {
	case Proportion:
		return stats.FromAngle(y)
	case Positive:
		return math.Exp(y)
	}
	return y
}

// variance returns how the variance of the ratio of one batch depends on the ratio of
// its group.
func (s Scale) variance(ratio float64) float64 {
	switch s {
	case Proportion:
		return ratio * (1 - ratio)
	case Positive:
		return ratio * ratio
	}
	return 1
}

// error returns the standard error on the scale, of batches that vary by sigma2 and are
// worth 1 ÷ clump of one size.
func (s Scale) error(sigma2, clump float64) float64 {
	e := math.Sqrt(sigma2 * clump)
	if s == Proportion {
		return e / 2 // the slope of the angle is 1 ÷ 2√(p(1−p))
	}
	return e
}

// Yardsticks are the measures by which batches can be compared.
var Yardsticks = []Yardstick{
	{"survival", "Survival by account", "of 1", "(harvested + moved out + on hand) ÷ (stocked + moved in), counted", true, Proportion, byAccount},
	{"survival_30", "Survival to day 30", "of 1", "product-limit survival of each batch × its fish ÷ fish", true, Proportion, toDay(1)},
	{"survival_60", "Survival to day 60", "of 1", "product-limit survival of each batch × its fish ÷ fish", true, Proportion, toDay(2)},
	{"survival_90", "Survival to day 90", "of 1", "product-limit survival of each batch × its fish ÷ fish", true, Proportion, toDay(3)},
	{"fcr_economic", "Economic feed conversion", "kg/kg", "feed ÷ net gain", false, Positive, fcrEconomic},
	{"fcr_biological", "Biological feed conversion", "kg/kg", "feed ÷ (net gain + weight of the dead)", false, Positive, fcrBiological},
	{"daily_gain", "Daily growth", "g a day", "Σ (W2 − W1) ÷ Σ days, W the mean weight of a fish", true, Positive, dailyGain},
	{"tgc", "Thermal growth coefficient", "1000 × g^⅓/(°C·day)", "1000 × Σ (∛W2 − ∛W1) ÷ Σ temperature × day", true, Positive, thermalGrowth},
	{"cost_per_kg", "Cost per kilogram", "{currency}/kg", "total cost ÷ weight harvested", false, Positive, perKilogram(Costs.Total)},
	{"margin_per_m3", "Margin per cubic metre", "{currency}/m³", "(income − total cost) ÷ water volume", true, Signed, marginPerM3},
	{"net_yield", "Net yield", "kg/m³", "net gain ÷ water volume", true, Positive, netYield},
	{"feed_cost_per_kg", "Feed cost per kilogram", "{currency}/kg", "cost of feed ÷ weight harvested", false, Positive, perKilogram(func(c Costs) Money { return c[Feed] })},
	{"energy_cost_per_kg", "Energy cost per kilogram", "{currency}/kg", "cost of energy ÷ weight harvested", false, Positive, perKilogram(func(c Costs) Money { return c[Energy] })},
	{"energy_per_kg", "Electricity per kilogram", "kWh/kg", "electricity recorded for the batch itself ÷ weight harvested", false, Positive, electricity},
}

// YardstickNamed returns the measure of a name.
func YardstickNamed(name string) (y *Yardstick, ok bool) {
	for i := range Yardsticks {
		if Yardsticks[i].Name == name {
			return &Yardsticks[i], true
		}
	}
	return nil, false
}

// contribution is a batch on its way into comparisons.
type contribution struct {
	Measure
	b *BatchState
}

const (
	noFish       = "no fish were stocked"
	stillGrows   = "its fish still grow: what this comes to is known when it is closed"
	noFeed       = "no feed was recorded"
	movedOn      = "its fish were moved on and not harvested from it"
	noHarvest    = "nothing was harvested that could be eaten or sold"
	movedBlind   = "the weight of fish that were moved out is not known"
	deadBlind    = "the weight of fish that died is not known"
	noHeat       = "no water temperature was recorded for its days"
	tooYoung     = "its fish have not been in it for so long"
	emptyBefore  = "it was emptied before that day"
	noElectrical = "no electricity was recorded for it by itself"
)

func byAccount(c *contribution) (num, den float64, reason string) {
	b := c.b
	if b.CountedOn == nil {
		return 0, 0, neverCounted
	}
	return float64(b.Harvested + b.MovedOut + b.OnHand()), float64(b.Stocked + b.MovedIn), ""
}

// toDay is survival to one of [SurvivalDays].
func toDay(i int) func(*contribution) (float64, float64, string) {
	return func(c *contribution) (num, den float64, reason string) {
		b := c.b
		at := b.survivalThrough(c.AsOf)
		switch {
		case b.Closed() && *b.FirstOn+SurvivalDays[i] > *b.ClosedOn:
			return 0, 0, emptyBefore
		case len(at) <= i:
			return 0, 0, tooYoung
		}
		n := float64(b.Stocked + b.MovedIn)
		return at[i] * n, n, ""
	}
}

// conversion returns the feed, the gain and the weight of the dead of a batch, to its
// end or to its last weighing.
func conversion(b *BatchState) (m sums, reason string) {
	if b.Closed() {
		m = sums{fed: b.FedG, gain: b.gain(0), dead: b.DeadMg}
	} else {
		m = sums{fed: b.MeasuredFedG, gain: b.MeasuredGainMg, dead: b.MeasuredDeadMg}
	}
	switch why := b.noGain(b.Closed() || b.MeanMg > 0); {
	case b.MovedUnweighed > 0:
		return m, movedBlind
	case why != "":
		return m, why
	case !b.Closed() && b.MeasuredOn == nil:
		return m, notWeighedSince
	case m.fed == 0:
		return m, noFeed
	}
	return m, ""
}

func fcrEconomic(c *contribution) (num, den float64, reason string) {
	m, reason := conversion(c.b)
	return m.fed.Kilograms(), m.gain.Kilograms(), reason
}

func fcrBiological(c *contribution) (num, den float64, reason string) {
	m, reason := conversion(c.b)
	if reason == "" && c.b.DeadUnweighed > 0 {
		reason = deadBlind
	}
	return m.fed.Kilograms(), (m.gain + m.dead).Kilograms(), reason
}

// grownTo returns the mean weights of the fish at the beginning and the end of growth,
// in grams, and the days between.
func (c *contribution) grownTo() (w1, w2, days float64, last weighing, reason string) {
	b := c.b
	last = b.lastWeighing()
	switch {
	case last.on == nil || last.fish == 0 || *last.on <= *b.FirstOn:
		return 0, 0, 0, last, notWeighedSince
	case b.StartFish == 0 || b.Unweighed > 0:
		return 0, 0, 0, last, unknownStart
	}
	return float64(b.StartMg) / float64(b.StartFish) / 1000, float64(last.mg) / float64(last.fish) / 1000, float64(*last.on - *b.FirstOn), last, ""
}

func dailyGain(c *contribution) (num, den float64, reason string) {
	w1, w2, days, _, reason := c.grownTo()
	return w2 - w1, days, reason
}

func thermalGrowth(c *contribution) (num, den float64, reason string) {
	w1, w2, days, last, reason := c.grownTo()
	switch {
	case reason != "":
		return 0, 0, reason
	case last.heatDays == 0:
		return 0, 0, noHeat
	}
	degreeDays := float64(last.heat) / 1000 / float64(last.heatDays) * days // days without a reading count as the mean of the others
	tgc, _ := husbandry.TGC(w1, w2, degreeDays)
	return tgc * degreeDays, degreeDays, ""
}

// harvest returns what of a closed batch was harvested to be eaten or sold.
func (c *contribution) harvest() (g Grams, reason string) {
	b := c.b
	g = b.HarvestedG - b.DiscardedG
	switch {
	case !b.Closed():
		return 0, stillGrows
	case g > 0:
		return g, ""
	case b.MovedOut > 0:
		return 0, movedOn
	}
	return 0, noHarvest
}

// costs returns what the batch cost by category, its share of the site's included.
func (c *contribution) costs() Costs {
	all := c.b.Cost
	for k, m := range c.Share.Cost {
		all[k] += m
	}
	return all
}

// perKilogram is a cost for each kilogram harvested, in the currency's major unit. What
// came and went with moved fish is of no category: it counts in the total.
func perKilogram(of func(Costs) Money) func(*contribution) (float64, float64, string) {
	return func(c *contribution) (num, den float64, reason string) {
		g, reason := c.harvest()
		costs := c.costs()
		costs[OtherCost] += c.b.CostIn - c.b.CostOut
		return c.Currency.major(of(costs)), g.Kilograms(), reason
	}
}

func (c *contribution) cubicMetres() (m3 float64, reason string) {
	switch {
	case !c.b.Closed():
		return 0, stillGrows
	case c.Water == nil:
		return 0, noWater
	}
	return float64(*c.Water) / 1e6, ""
}

func marginPerM3(c *contribution) (num, den float64, reason string) {
	m3, reason := c.cubicMetres()
	margin := c.b.Cash + c.b.Imputed + c.Share.ByProduct - c.costs().Total() - c.b.CostIn + c.b.CostOut
	return c.Currency.major(margin), m3, reason
}

func netYield(c *contribution) (num, den float64, reason string) {
	m3, reason := c.cubicMetres()
	if reason == "" {
		if reason = c.b.noGain(true); c.b.MovedUnweighed > 0 {
			reason = movedBlind
		}
	}
	return c.b.gain(0).Kilograms(), m3, reason
}

func electricity(c *contribution) (num, den float64, reason string) {
	g, reason := c.harvest()
	if reason == "" && c.b.EnergyWh == 0 {
		reason = noElectrical
	}
	return float64(c.b.EnergyWh) / 1000, g.Kilograms(), reason
}

// major returns an amount in the currency's major unit, for figures and never for sums
// of money.
func (c Currency) major(m Money) float64 { return float64(m) / math.Pow10(c.Digits()) }
