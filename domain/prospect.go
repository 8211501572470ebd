package domain

import (
	"fmt"
	"math"

	"shoalbook/domain/husbandry"
	"shoalbook/domain/stats"
)

// Prospect is how a batch is expected to go on: weight and biomass by day, when it
// reaches a weight, what that takes, how its plan looks beside it, and when to weigh
// the fish again.
type Prospect struct {
	Stock
	Reason      string // why there is no forecast; empty: there is one
	From        Date   // of the last weighing
	Weighings   int
	Warmth      Number // °C, that is expected to go on
	Behind      int    // closed batches of the co-operative
	PriorSource string // of what stands in while there are few of them
	Days        []ExpectedDay
	Goal        *Goal
	Plan        *PlanJudged
	Sampling    Sampling
	Cautions    []string
}

// ExpectedDay is what is expected on a day: medians, and the ends between which the
// truth lies with 80 and with 95 %.
type ExpectedDay struct {
	On                 Date
	WeightG, BiomassKg Expected
	Fish               float64
}

// Expected is a median with its intervals.
type Expected struct {
	Median float64
	In80   [2]float64
	In95   [2]float64
}

// Goal is when a weight is reached and what it takes until then.
type Goal struct {
	WeightG        float64
	On             *Date // nil: not within the time that can be seen
	From80, To80   *Date
	From95, To95   *Date
	FeedKg, Cost   Number
	FCR, FeedPrice Number
}

// PlanJudged is the plan of a batch beside its forecast.
type PlanJudged struct {
	WeightG    float64
	On         Date
	Chance     float64 // that the mean weight is reached by then
	NeededTGC  Number  // from the last weighing to the plan's day
	SeenTGC    [2]float64
	Questioned bool // the plan wants more than was ever seen
	Says       string
}

// Sampling is how many fish to weigh, and when.
type Sampling struct {
	Fish   Number // for ± 10 % at 95 %
	CV     Number // %, of single weights
	NextOn *Date
	Says   string
}

// Asked is what a forecast is asked for.
type Asked struct {
	Until  *Date        // the last day of the table
	Target *Thousandths // g; nil: the plan's
}

// longest is how many days a forecast tells one by one.
const longest = 366

// Prospect returns the forecast of a batch.
func (k *Keeping) Prospect(id BatchID, a Asked) (Prospect, error) {
	facts := k.Batches[id]
	if facts == nil {
		return Prospect{}, Missing("batch")
	}
	p := Prospect{Stock: k.stock(id), Cautions: append([]string{CautionFigures}, spines(facts.Species)...)}
	prior := k.prior(facts.Species)
	p.Behind, p.PriorSource = prior.Batches, prior.Source
	b := k.States[id]
	f, reason := NewForecast(b, k.Day, prior)
	p.Sampling = k.sampling(b, f, prior)
	if f == nil {
		p.Reason, p.Warmth = reason, none("°C", reason)
		return p, nil
	}
	p.From, p.Weighings = f.From, len(b.WeighOn)
	p.Warmth = Number{Fact: husbandry.Fact{Value: nominal, Unit: "°C", Source: "taken, since the water was hardly ever read (common practice, no source)", Provenance: husbandry.Practice}}
	if f.Read {
		p.Warmth = computed(f.Celsius, "°C", "mean of the readings since the fish came")
	}
	until := k.Day + 56
	if a.Until != nil {
		until = *a.Until
	}
	if until < k.Day || until > k.Day+longest {
		return p, &Error{Kind: Invalid, Code: "invalid_request", Detail: fmt.Sprintf("a forecast begins on %s and is told for at most %d days", k.Day, longest),
			Fields: []FieldError{{"/query/until", "must not be before the day asked for, nor more than a year after it"}}}
	}
	for d := k.Day; d <= until; d++ {
		o := f.On(d)
		p.Days = append(p.Days, ExpectedDay{On: d, Fish: o.Fish, WeightG: expected(o.Weight), BiomassKg: expected(o.Biomass)})
	}
	switch {
	case a.Target != nil:
		p.Goal = k.goal(f, b, float64(*a.Target)/1000)
	case facts.TargetWeight != nil:
		p.Goal = k.goal(f, b, float64(*facts.TargetWeight)/1000)
	}
	if facts.TargetWeight != nil {
		p.Plan = judgePlan(f, float64(*facts.TargetWeight)/1000, *facts.TargetOn)
	}
	return p, nil
}

// prior returns what is known of a species, from the co-operative or else published.
func (k *Keeping) prior(species string) Prior {
	if p, ok := k.Priors[species]; ok {
		return p
	}
	return PublishedPrior(species)
}

func expected(at func(z float64) float64) Expected {
	return Expected{Median: at(0), In80: [2]float64{at(-stats.Z80), at(stats.Z80)}, In95: [2]float64{at(-stats.Z95), at(stats.Z95)}}
}

// goal returns when a weight is reached, and what it takes.
func (k *Keeping) goal(f *Forecast, b *BatchState, grams float64) *Goal {
	g := &Goal{WeightG: grams}
	if d, ok := f.Reach(grams); ok {
		d = max(d, k.Day)
		g.On = &d
	}
	g.From80, g.To80 = f.Between(grams, stats.Z80)
	g.From95, g.To95 = f.Between(grams, stats.Z95)
	for _, d := range []*Date{g.From80, g.To80, g.From95, g.To95} {
		if d != nil {
			*d = max(*d, k.Day)
		}
	}
	const never = "the weight is not reached within a year and a half"
	g.FCR = computed(f.FCR, "kg of feed for 1 kg of gain", fmt.Sprintf("%d closed batches of the species, shrunk to 1.5 (common practice, no source)", f.Batches))
	if gain := b.MeasuredGainMg; gain > 0 && b.MeasuredFedG > 0 && 5*int64(gain) >= int64(b.StockedMg+b.MovedInMg) {
		g.FCR = computed(float64(b.MeasuredFedG)*1000/float64(gain), "kg of feed for 1 kg of gain", "of this batch, to its last weighing")
	}
	g.FeedPrice = none(string(k.Currency)+"/kg", "no feed was given yet, so that nobody knows what it costs")
	if b.FedG > 0 && b.Cost[Feed] > 0 {
		g.FeedPrice = computed(float64(b.Cost[Feed])/float64(b.FedG)*1000/math.Pow10(k.Currency.Digits()), string(k.Currency)+"/kg", "what this batch was fed so far")
	}
	if g.On == nil {
		g.FeedKg, g.Cost = none("kg", never), none(string(k.Currency), never)
		return g
	}
	more := max(0, f.On(*g.On).BiomassKg-f.On(k.Day).BiomassKg)
	g.FeedKg = from("kg", "gain of all fish until then × feed for 1 kg of gain", "", func(v []float64) (float64, bool) { return more * v[0], true }, g.FCR)
	g.Cost = from(string(k.Currency), "feed × its price; other cost is not in it", "", func(v []float64) (float64, bool) { return v[0] * v[1], true }, g.FeedKg, g.FeedPrice)
	return g
}

// judgePlan holds a plan against the forecast and against what was ever seen.
func judgePlan(f *Forecast, grams float64, on Date) *PlanJudged {
	p := &PlanJudged{WeightG: grams, On: on, SeenTGC: f.TGC, NeededTGC: none("1000 × g^⅓/(°C·d)", "the plan's day is not after the last weighing")}
	if on > f.From {
		p.Chance = f.Chance(grams, on)
		w := f.On(f.From).WeightG
		if tgc, ok := husbandry.TGC(w, grams, float64(on-f.From)*f.Celsius); ok {
			p.NeededTGC = computed(max(tgc, 0), "1000 × g^⅓/(°C·d)", "thermal-unit growth from the last weighing to the plan, k = 1000")
		}
	}
	switch {
	case !p.NeededTGC.Known():
		p.Says = "The day of the plan is over: set a new one."
	case p.NeededTGC.Value > f.TGC[1]:
		p.Questioned = true
		p.Says = fmt.Sprintf("Is the plan right? %s g on %s needs growth (TGC) of %s; nothing above %s was ever seen of this species, here or in what is published.", spoken(grams), on, spoken(p.NeededTGC.Value), spoken(f.TGC[1]))
	case p.Chance < 0.2:
		p.Says = fmt.Sprintf("The fish will hardly weigh %s g on %s: %s g are expected.", spoken(grams), on, spoken(f.On(on).WeightG))
	case p.Chance > 0.8:
		p.Says = fmt.Sprintf("The plan looks safe: %s g are expected on %s.", spoken(f.On(on).WeightG), on)
	default:
		p.Says = fmt.Sprintf("The plan is open: %s g are expected on %s, %s are planned.", spoken(f.On(on).WeightG), on, spoken(grams))
	}
	return p
}

// Sheets say to weigh every two to four weeks (FAO extension formats; Uganda manual).
const (
	soonest  = 14
	atLatest = 28
)

// sampling returns how many fish to weigh for ± 10 %, and when next: two to four weeks
// after the last time, within that as soon as the forecast is unsure by more than 10 %.
func (k *Keeping) sampling(b *BatchState, f *Forecast, prior Prior) Sampling {
	s := Sampling{CV: Number{Fact: husbandry.Fact{Value: 100 * prior.CV, Unit: "%", Source: "common practice, no source", Provenance: husbandry.Practice}}}
	if b == nil || b.OnHand() <= 0 {
		s.Fish = none("fish", "there are no fish in it")
		return s
	}
	for i, cv := range b.WeighCV {
		if cv > 0 {
			s.CV = measured(float64(cv)/1000, "%", "of this batch, on "+b.WeighOn[i].String())
		}
	}
	n, ok := husbandry.FishToWeigh(s.CV.Value, 10)
	if !ok {
		s.Fish = none("fish", "the fish vary too much to say")
		return s
	}
	s.Fish = computed(float64(husbandry.OfStock(n, int64(b.OnHand()))), "fish", "(1.96 × CV ÷ 10 %)², less since the stock is not endless")
	next := k.Day
	if f != nil {
		next = f.From + atLatest
		for d := f.From + soonest; d < next; d++ {
			if o := f.On(d); stats.Z80*o.WeightSD > 0.1 {
				next = d
			}
		}
	}
	s.NextOn = &next
	s.Says = fmt.Sprintf("Weigh %s fish on %s, all together, and count them: that is within 10 %% nineteen times in twenty.", spoken(s.Fish.Value), next)
	if next <= k.Day {
		s.Says = fmt.Sprintf("Weigh %s fish now, all together, and count them: that is within 10 %% nineteen times in twenty.", spoken(s.Fish.Value))
	}
	return s
}
