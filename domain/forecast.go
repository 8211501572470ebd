package domain

import (
	"fmt"
	"math"

	"shoalbook/domain/husbandry"
	"shoalbook/domain/stats"
)

// Prior is what is known of the growth and the losses of a species before a batch of
// it says anything: published values, shrunk towards them the closed batches of a
// co-operative.
type Prior struct {
	husbandry.GrowthPrior
	CV      float64 // of single weights, as a share
	Unseen  float64 // fish that vanish without a record, as a share a day
	Loss    float64 // fish lost in all, as a share a day
	FCR     float64 // kg of feed for 1 kg of net gain
	TGC     [2]float64
	Batches int    // of the co-operative, behind it
	Source  string // of the values when there are no batches
}

// nominal is the temperature of water of which none was ever read, °C.
const nominal = 27

// priorBatches is how many batches the published values are worth.
const priorBatches = 2

// PublishedPrior returns what is published of a species, or what is true of fish in
// tanks in general, which is little.
//
// Catfish: Legendre et al. 1992, 11 → 368 g in 239 d at 29.5 °C, is 0.0023 g^½/(°C·d);
// 1 → 1000 g in 304 d at 27 °C (FAO feed information page, "good practice") is 0.0037.
// Tilapia: 25 → 100 → 234 g in 100 d each (Thai hapa study) is 0.0019 and 0.0020. The
// spread covers what else trade texts say. Losses: 85 % survival over 180 days, a good
// third of it unseen (common practice, no source). Single weights vary by 28 %, FCR 1.5
// (common practice, no source).
func PublishedPrior(species string) Prior {
	p := Prior{GrowthPrior: husbandry.GrowthPrior{Exponent: 0.5, Rate: 0.0025, Spread: 0.8, Wander: wander}, CV: 0.28, Unseen: 0.0004, Loss: 0.0009, FCR: 1.5,
		TGC: [2]float64{0.3, 2}, Source: "common practice, no source: no growth of this species was at hand"}
	switch species {
	case husbandry.Catfish:
		p.Rate, p.Spread, p.TGC, p.Source = 0.0030, 0.4, [2]float64{0.4, 1.5}, "Legendre et al. 1992, J. Fish Biol. 40:59–79; FAO feed information page"
	case husbandry.Tilapia:
		p.Rate, p.Spread, p.TGC, p.Source = 0.0019, 0.4, [2]float64{0.34, 0.74}, "Thai hapa study, 25 → 234 g; growth at 1, 2 and 3 % ration"
	}
	return p
}

// enoughBatches of a species let a forecast begin before a sample was weighed.
const enoughBatches = 5

// stale is how many days after the last weighing nothing more is said of fish that may
// be anything by now (common practice, no source).
const stale = 120

// wander is how far the rate of growth of a batch wanders, as a share of it after
// 1000 °C·day. It was set on simulated seasons that are not those it is judged by.
const wander = 0.24

// Learn shrinks the prior towards closed batches of its species.
func (p Prior) Learn(closed []*BatchState) Prior {
	var rates []float64
	fishDays, unseen, lost := 0., 0., 0.
	fed, gained := 0., 0.
	for _, b := range closed {
		if b.FirstOn == nil || b.ClosedOn == nil {
			continue
		}
		p.Batches++
		in := float64(b.Stocked + b.MovedIn)
		days := float64(*b.ClosedOn - *b.FirstOn)
		fishDays += in * days
		unseen += math.Max(0, float64(b.Unaccounted))
		lost += math.Max(0, float64(b.Unaccounted+b.Dead))
		if gain := b.gain(0); b.Unweighed == 0 && b.MovedUnweighed == 0 && gain > 0 && b.FedG > 0 {
			fed += float64(b.FedG)
			gained += float64(gain.Grams())
		}
		w, _, _ := b.weighings(p.CV)
		if n := len(w); n >= 2 && w[n-1].Heat-w[0].Heat > 30*nominal {
			a, z := w[0], w[n-1]
			rates = append(rates, (math.Pow(z.Weight, p.Exponent)-math.Pow(a.Weight, p.Exponent))/(z.Heat-a.Heat))
			if tgc, ok := husbandry.TGC(a.Weight, z.Weight, z.Heat-a.Heat); ok && tgc > 0 {
				p.TGC = [2]float64{min(p.TGC[0], tgc), max(p.TGC[1], tgc)}
			}
		}
	}
	if n := float64(len(rates)); n > 0 {
		sum, squares := priorBatches*p.Rate, 0.
		for _, r := range rates {
			sum += r
		}
		mean := sum / (priorBatches + n)
		for _, r := range rates {
			squares += (r - mean) * (r - mean)
		}
		was := p.Rate * p.Spread
		p.Spread = max(math.Sqrt((priorBatches*was*was/4+squares)/(priorBatches+n))/mean, 0.08)
		p.Rate = mean
	}
	if fishDays > 0 {
		const worth = priorBatches * 150 * 300 // fish-days of two batches of 300 fish
		p.Unseen = (p.Unseen*worth + unseen) / (worth + fishDays)
		p.Loss = (p.Loss*worth + lost) / (worth + fishDays)
	}
	if gained > 0 {
		const worth = priorBatches * 100_000
		p.FCR = (p.FCR*worth + fed) / (worth + gained)
	}
	return p
}

// warmth returns the mean temperature of the water of a batch in °C, if it was read for
// at least half of the days up to its last weighing.
func (b *BatchState) warmth() (celsius float64, read bool) {
	n := len(b.WeighOn)
	if n == 0 || b.HeatDays == 0 {
		return nominal, false
	}
	if days := int64(b.WeighOn[n-1] - *b.FirstOn); 2*b.WeighHeatDays[n-1] < days {
		return nominal, false
	}
	return float64(b.Heat) / 1000 / float64(b.HeatDays), true
}

// weighings returns the weighings of a batch over °C·day since its first fish, and the
// warmth they are reckoned by.
func (b *BatchState) weighings(cv float64) (list []husbandry.Weighing, celsius float64, read bool) {
	celsius, read = b.warmth()
	list = make([]husbandry.Weighing, len(b.WeighOn))
	for i, on := range b.WeighOn {
		days := float64(on - *b.FirstOn)
		heat := days * celsius
		if read { // days without a reading count as the mean of the others
			heat = float64(b.WeighHeat[i])/1000 + (days-float64(b.WeighHeatDays[i]))*celsius
		}
		spread := cv
		if b.WeighCV[i] > 0 {
			spread = float64(b.WeighCV[i]) / 100_000
		}
		fish := float64(b.WeighFish[i])
		e := spread / math.Sqrt(fish)
		if all := float64(b.OnHand()); all > 1 && fish < all { // of a finite stock
			e *= math.Sqrt((all - fish) / (all - 1))
		}
		if on == *b.FirstOn { // what the hatchery says
			e = 0.1
		}
		list[i] = husbandry.Weighing{Heat: heat, Weight: float64(b.WeighMg[i]) / fish / 1000, Error: max(e, 0.01)}
	}
	return list, celsius, read
}

// WeighingsOf returns the weighings of a batch over °C·day since its first fish.
func WeighingsOf(b *BatchState) []husbandry.Weighing {
	w, _, _ := b.weighings(PublishedPrior("").CV)
	return w
}

// Forecast is how a batch is expected to go on, from its last weighing.
type Forecast struct {
	Prior
	From    Date    // of the last weighing
	Celsius float64 // of the water, on
	Read    bool    // whether that was read, or is a nominal one
	growing husbandry.Growing
	since   Date // first fish
	seen    Date // the day up to which the book is known
	counted Date // when all fish were counted, or came
	fish    float64
}

// NewForecast returns the forecast of a batch as it stood at the end of a day, or why
// there is none.
func NewForecast(b *BatchState, asOf Date, p Prior) (_ *Forecast, reason string) {
	switch {
	case b == nil || b.FirstOn == nil:
		return nil, "there are no fish in the batch yet"
	case b.Closed():
		return nil, "the batch is closed: no fish are left"
	case len(b.WeighOn) == 0:
		return nil, "the fish were never weighed: weigh some of them"
	case b.MeanFish == 0:
		return nil, "fish of unknown weight came to the others: weigh some of them"
	case b.WeighOn[len(b.WeighOn)-1] == *b.FirstOn && p.Batches < enoughBatches:
		return nil, "no fish were weighed since they came, and there are too few batches to go by: weigh some of them"
	case asOf-max(b.WeighOn[len(b.WeighOn)-1], *b.WeighedOn) > stale:
		return nil, fmt.Sprintf("the fish were last weighed on %s, more than %d days ago: weigh some of them", *b.WeighedOn, stale)
	}
	w, celsius, read := b.weighings(p.CV)
	n := len(w)
	f := &Forecast{Prior: p, From: b.WeighOn[n-1], Celsius: celsius, Read: read, growing: p.Grow(w...),
		since: *b.FirstOn, seen: max(asOf, b.WeighOn[n-1]), counted: *b.FirstOn, fish: float64(b.OnHand())}
	if b.CountedOn != nil {
		f.counted = *b.CountedOn
	}
	if b.WeighedOn != nil && *b.WeighedOn > f.From && b.MeanFish > 0 { // fish came since
		f.growing = f.at(float64(*b.WeighedOn - f.From)).Mixed(float64(b.MeanMg) / float64(b.MeanFish) / 1000)
		f.From = *b.WeighedOn
	}
	return f, ""
}

// Outlook is what is expected of a batch on a day: medians, and standard deviations as
// shares of them (on the logarithmic scale).
type Outlook struct {
	On        Date
	WeightG   float64
	WeightSD  float64
	Fish      float64
	FishSD    float64
	BiomassKg float64
	grown     husbandry.Growing
}

// On returns what is expected on a day, not before the last weighing.
func (f *Forecast) On(d Date) Outlook {
	d = max(d, f.From)
	g := f.at(float64(d - f.From))
	o := Outlook{On: d, WeightG: g.Weight(0), WeightSD: g.Error(), grown: g}
	loss := f.Unseen*float64(max(0, f.seen-f.counted)) + f.Loss*float64(max(0, d-f.seen))
	o.Fish, o.FishSD = f.fish*math.Exp(-loss), math.Sqrt(scatter*scatter*loss*loss+clump*loss)
	o.BiomassKg = o.Biomass(0)
	return o
}

// at returns what is believed of the growth some days after the last weighing.
func (f *Forecast) at(days float64) husbandry.Growing {
	return f.growing.At(f.growing.Heat() + days*f.Celsius)
}

// scatter is the standard deviation of losses between batches as a share of them, set
// like wander.
const (
	scatter = 0.85
	clump   = 0.012
)

// Weight returns the weight in g that so many standard deviations lie above the median.
func (o Outlook) Weight(z float64) float64 { return o.grown.Weight(z) }

// Biomass returns the kilograms below which the truth lies as likely as a normal number
// lies below z; 0 is the median. Losses are skewed, most batches lose few fish and some
// very many, so that what is missing at the lower end is more (Cornish and Fisher's
// expansion, with the skewness and the tails of a gamma distribution).
func (o Outlook) Biomass(z float64) float64 {
	sd := math.Hypot(o.WeightSD, o.FishSD)
	share := o.FishSD / sd
	skew, heavy := -2*scatter*share*share*share, 6*scatter*scatter*share*share*share*share
	z += (z*z-1)*skew/6 + (z*z*z-3*z)*heavy/24 - (2*z*z*z-5*z)*skew*skew/36
	return o.WeightG * o.Fish / 1000 * math.Exp(sd*z)
}

// horizon is how far a forecast looks ahead, in days: after a year and a half nobody
// knows anything of a fish that was weighed once.
const horizon = 540

// Reach returns the first day on which the mean weight is likely to be so many grams:
// as likely before it as after.
func (f *Forecast) Reach(grams float64) (Date, bool) { return f.reach(grams, 0, 0) }

// Between returns the days between which the weight is reached, as likely as a normal
// number lies between −z and z. Days are whole: each end is moved by half a day, so
// that not more of them are between the ends than belong there. Without an end, the
// weight may never be reached: in the far future a forecast is so unsure that its lower
// end falls again.
func (f *Forecast) Between(grams, z float64) (from, to *Date) {
	if d, ok := f.reach(grams, z, -0.5); ok {
		from = &d
	}
	if d, ok := f.reach(grams, -z, -0.5); ok {
		to = new(max(*from, d-1))
	}
	return from, to
}

// reach returns the first day on which, so many days later, the weight that lies z
// standard deviations above the median is at least so many grams.
func (f *Forecast) reach(grams, z, later float64) (Date, bool) {
	enough := func(d Date) bool { return f.at(max(0, float64(d-f.From)+later)).Weight(z) >= grams }
	const stride = 7
	for d := f.From; d <= f.From+horizon; d += stride {
		if !enough(d) {
			continue
		}
		first := max(d-stride+1, f.From)
		for !enough(first) {
			first++
		}
		return first, true
	}
	return 0, false
}

// Chance returns how likely it is that the mean weight is at least so many grams on a day.
func (f *Forecast) Chance(grams float64, on Date) float64 {
	return stats.Normal(f.On(on).grown.Above(grams))
}
