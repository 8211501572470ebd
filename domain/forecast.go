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
	Losses  husbandry.LossPrior
	FCR     float64 // kg of feed for 1 kg of net gain
	TGC     [2]float64
	Batches int    // of the co-operative, behind it
	Learned bool   // whether they were enough to say how fish grow
	Source  string // of the values when there are no batches
}

// nominal is the temperature of water of which none was ever read, °C.
const nominal = 27

// priorBatches is how many batches the published values are worth.
const priorBatches = 2

// PublishedPrior returns what is published of a species, or what is true of fish in
// tanks in general, which is little. Coefficients are at 2, 10, 35, 90, 200, 400, 800
// and 1500 g.
//
// Catfish: between the two that were read, which differ: 1.5 at 10 to 40 g falling to
// 0.4 above 250 g, and 1.1 as good practice from 1 g to 1 kg (FAO feed information
// page). Tilapia: computed from the power law through the growth read of a Thai hapa
// study (2.60 %/day at 18 g, 0.55 %/day at 264 g), at 28 °C; beside it 0.34, 0.56 and
// 0.74 were read at 1, 2 and 3 % ration. Single weights vary by 28 %, FCR 1.5 (common
// practice, no source).
func PublishedPrior(species string) Prior {
	p := Prior{CV: 0.28, Losses: publishedLosses, FCR: 1.5, TGC: [2]float64{0.3, 2}, Source: "common practice, no source: no growth of this species was at hand"}
	tgc := [husbandry.CurveSizes]float64{1, 1, 1, 1, 1, 1, 1, 1}
	p.Spread = unknownSpread
	switch species {
	case husbandry.Catfish:
		tgc = [...]float64{1.3, 1.3, 1.3, 1.1, 0.84, 0.75, 0.75, 0.75}
		p.Spread, p.TGC, p.Source = publishedSpread, [2]float64{0.4, 1.5}, "growth read: TGC 1.5 at 10 to 40 g falling to 0.4 above 250 g, and 1.1 as good practice (FAO feed information page)"
	case husbandry.Tilapia:
		tgc = [...]float64{1.3, 0.94, 0.69, 0.55, 0.45, 0.38, 0.32, 0.28}
		p.Spread, p.TGC, p.Source = publishedSpread, [2]float64{0.34, 0.81}, "growth read of a Thai hapa study, 2.60 %/day at 18 g and 0.55 %/day at 264 g; TGC at 1, 2 and 3 % ration"
	}
	p.Curve, p.Wander, p.Jitter = husbandry.NewCurve(tgc), publishedWander, publishedJitter
	return p
}

// enoughBatches of a species let a forecast begin before a sample was weighed.
const enoughBatches = 5

// stale is how many days after the last weighing nothing more is said of fish that may
// be anything by now (common practice, no source).
const stale = 120

// Farms differ by more than the batches of one co-operative, and the published curve is
// less the truth here than its own. Set on simulated seasons that are not those it is
// judged by.
const (
	publishedSpread = 0.45
	unknownSpread   = 0.70 // of a species of which nothing is published here
	publishedWander = 0.38
	publishedJitter = 60
)

// publishedLosses: of 100 fish 85 live 180 days, of those that do not 5 are never seen
// (common practice, no source). The spread between batches is as wide as that.
var publishedLosses = husbandry.LossPrior{Days: 180, Unseen: 0.051, UnseenSpread: 0.0036, All: 0.163, AllSpread: 0.0144}

// Learn shrinks the prior towards closed batches of its species.
func (p Prior) Learn(closed []*BatchState) Prior {
	var grown [][]husbandry.Weighing
	var lost []husbandry.Lost
	fed, gained := 0., 0.
	for _, b := range closed {
		if b.FirstOn == nil || b.ClosedOn == nil {
			continue
		}
		p.Batches++
		lost = append(lost, husbandry.Lost{Days: float64(*b.ClosedOn - *b.FirstOn), In: float64(b.Stocked + b.MovedIn), Unseen: float64(b.Unaccounted), Dead: float64(b.Dead)})
		if gain := b.gain(0); b.Unweighed == 0 && b.MovedUnweighed == 0 && gain > 0 && b.FedG > 0 {
			fed += float64(b.FedG)
			gained += float64(gain.Grams())
		}
		w := b.grownToHarvest(p.CV)
		grown = append(grown, w)
		if n := len(w); n >= 2 {
			if tgc, ok := husbandry.TGC(w[0].Weight, w[n-1].Weight, w[n-1].Heat-w[0].Heat); ok && tgc > 0 {
				p.TGC = [2]float64{min(p.TGC[0], tgc), max(p.TGC[1], tgc)}
			}
		}
	}
	p.GrowthPrior, p.Learned = p.GrowthPrior.Learn(grown)
	p.Losses = p.Losses.Learn(lost)
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
		heat := b.heatBy(on, b.WeighHeat[i], b.WeighHeatDays[i], celsius, read)
		spread := cv
		if b.WeighCV[i] > 0 {
			spread = float64(b.WeighCV[i]) / 100_000
		}
		fish := float64(b.WeighFish[i])
		e := spread / math.Sqrt(fish)
		if all := float64(b.Stocked + b.MovedIn); all > 1 { // of a finite stock
			e *= math.Sqrt(max(0, all-fish) / (all - 1))
		}
		e = math.Hypot(e, weighingError)
		if on == *b.FirstOn {
			e = arrivalError
		}
		list[i] = husbandry.Weighing{Heat: heat, Weight: float64(b.WeighMg[i]) / fish / 1000, Error: e}
	}
	return list, celsius, read
}

const (
	// weighingError is the error of a weighing besides the choice of fish: wet fish, the
	// scales, from which corner of the tank (common practice, no source).
	weighingError = 0.025
	// arrivalError is that of a weight at stocking or arrival: it is what the hatchery
	// says, or of fish weighed some time before (common practice, no source).
	arrivalError = 0.10
	// harvestError is what the mean weight of all harvested fish is off that on the last
	// day: some went earlier, the bigger ones first (common practice, no source).
	harvestError = 0.04
)

// grownToHarvest returns the weighings of a closed batch, with the harvest as the last:
// all fish that were harvested, on the last day they were.
func (b *BatchState) grownToHarvest(cv float64) []husbandry.Weighing {
	if b.Harvested == 0 || b.MovedOut > 0 { // those that stayed are not those that were weighed
		return nil
	}
	w, celsius, read := b.weighings(cv)
	n := len(w)
	for n > 0 && b.WeighOn[n-1] >= *b.HarvestOn {
		n--
	}
	if w = w[:n:n]; n == 0 || b.HarvestGuessed > 0 {
		return w
	}
	return append(w, husbandry.Weighing{Heat: b.heatBy(*b.HarvestOn, b.HarvestHeat, b.HarvestHeatDays, celsius, read),
		Weight: float64(b.HarvestedG) / float64(b.Harvested), Error: harvestError})
}

// heatBy returns the °C·day from the first fish to a day by which so many were read on
// so many days: days without a reading count as the mean of the others.
func (b *BatchState) heatBy(on Date, heat, heatDays int64, celsius float64, read bool) float64 {
	days := float64(on - *b.FirstOn)
	if !read {
		return days * celsius
	}
	return float64(heat)/1000 + (days-float64(heatDays))*celsius
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
	of      float64 // fish there would be if none were taken out since they were counted, as a multiple
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
		since: *b.FirstOn, seen: max(asOf, b.WeighOn[n-1]), counted: *b.FirstOn, fish: float64(b.OnHand()), of: 1}
	if b.CountedOn != nil {
		f.counted = *b.CountedOn
	} else {
		f.of = float64(b.OnHand()+b.MovedOut+b.Harvested) / f.fish
	}
	f.growing = f.growing.Disturbed(b.chosen(p.CV))
	if b.WeighedOn != nil && *b.WeighedOn > f.From && b.MeanFish > 0 { // fish came since
		f.growing = f.at(float64(*b.WeighedOn - f.From)).Mixed(float64(b.MeanMg) / float64(b.MeanFish) / 1000)
		f.From = *b.WeighedOn
	}
	return f, ""
}

// fewOut is the share of a batch that is taken out without it making a difference which
// fish go (common practice, no source).
const fewOut = 0.1

// chosen returns by how much, as a share, the mean weight may be other than a forecast
// says because since the last weighing the bigger or the smaller fish were taken out.
func (b *BatchState) chosen(cv float64) float64 {
	off := 0.
	for i := 2; i < len(b.Path); i += 2 {
		if out := float64(b.Path[i-1]-b.Path[i+1]) / float64(b.Path[i-1]); out > fewOut && out < 1 {
			off = math.Hypot(off, cv*out/(1-out))
		}
	}
	return min(off, 0.5)
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
	left, variance := f.Losses.Left(float64(f.seen-f.since), float64(f.counted-f.since), float64(max(0, d-f.seen)), f.of)
	o.Fish, o.FishSD = f.fish*math.Exp(left), math.Sqrt(variance)
	o.BiomassKg = o.Biomass(0)
	return o
}

// at returns what is believed of the growth some days after the last weighing.
func (f *Forecast) at(days float64) husbandry.Growing {
	return f.growing.At(f.growing.Heat() + days*f.Celsius)
}

// Weight returns the weight in g that so many standard deviations lie above the median.
func (o Outlook) Weight(z float64) float64 { return o.grown.Weight(z) }

// Biomass returns the kilograms below which the truth lies as likely as a normal number
// lies below z; 0 is the median.
func (o Outlook) Biomass(z float64) float64 {
	middle := o.WeightG * o.Fish / 1000
	if z == 0 {
		return middle
	}
	off := math.Hypot(math.Log(o.Weight(z)/o.WeightG), z*o.FishSD)
	return middle * math.Exp(math.Copysign(off, z))
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
