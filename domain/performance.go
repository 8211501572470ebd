package domain

import (
	"fmt"
	"math"

	"shoalbook/domain/husbandry"
	"shoalbook/domain/stats"
)

// Performance is how a batch does, as of a day: every figure with its name, in
// the order in which it is printed.
type Performance struct {
	Figures    []Figure
	ToDay      []SurvivalToDay
	Interval   *[2]float64 // of survival by account: 95 %, counting error only
	ByCategory []CategoryAmount
	Cautions   []string
}

// The kinds of entry behind figures that are worked out from many.
var (
	fishKinds   = []string{"stocking", "death", "sample", "count", "move", "sent", "received", "harvest"}
	growthKinds = []string{"stocking", "sample", "count", "move", "received", "harvest"}
	heatKinds   = append([]string{"water"}, growthKinds...)
	feedKinds   = append([]string{"feeding"}, fishKinds...)
	costKinds   = []string{"stocking", "receipt", "feeding", "use", "stocktake", "expense", "labour", "move", "sent", "received"}
	marginKinds = append([]string{"sale"}, costKinds...)
	perKgKinds  = append([]string{"death", "sample", "count", "harvest"}, marginKinds...)
)

// SurvivalToDay is product-limit survival to an age in days.
type SurvivalToDay struct {
	Day      int
	Survival float64
}

// CategoryAmount is an amount of one category of cost.
type CategoryAmount struct {
	Category Category
	Amount   Money
}

// Measure is what the figures of a batch are computed from.
type Measure struct {
	State    *BatchState // at the end of the day AsOf
	AsOf     Date
	Species  string       // by its ASFIS code
	Share    Share        // of the site's shared cost
	Water    *Thousandths // litres of the unit the fish are in
	Currency Currency
	Explain  bool
}

// reckoning is a measure on its way to figures.
type reckoning struct {
	Measure
	figures
	b        *BatchState
	standing Milligrams
	expected *Forecast // what standing is worked out from; nil: a weighing of the day
	known    bool      // whether standing is
	until    Date      // the last day that counts: as of, or the closing
	noGain   string    // why there is no net gain
}

// sums are those of a batch at one moment, from which feed conversion is taken.
type sums struct {
	on         *Date
	fed        Grams
	protein    Milligrams
	gain, dead Milligrams
}

// Figures computes every figure of the batch.
func (m Measure) Figures() Performance {
	r := &reckoning{Measure: m, b: m.State, until: m.AsOf}
	r.currency, r.explain = m.Currency, m.Explain
	r.list = make([]Figure, 0, 80)
	if r.b == nil {
		r.b = &BatchState{SurvivalBefore: 1}
	}
	if r.b.Closed() {
		r.until = *r.b.ClosedOn
	}
	r.standing, r.known = r.b.weightOf(r.b.OnHand())
	// By what is published and not by what the co-operative has learned, so that the
	// figure follows from the journal of the site alone, and stays as it was known.
	if f, _ := NewForecast(r.b, m.AsOf, PublishedPrior(m.Species)); f != nil && r.known && f.From < m.AsOf {
		r.expected = f
		r.standing = Milligrams(math.Round(float64(r.b.OnHand()) * f.On(m.AsOf).WeightG * 1000))
	}
	p := Performance{Cautions: []string{CautionFigures}}
	r.state()
	r.fishFigures()
	r.biomass()
	r.survival(&p)
	r.growth()
	r.feed()
	p.ByCategory = r.cost()
	if c := r.Share.ByProduct; 5*c > r.b.Cash+r.b.Imputed+c { // a fifth: common practice, no source
		p.Cautions = append(p.Cautions, "By-products are more than a fifth of the income: cost per kg takes them off, where sharing the cost between fish and crops would be fairer.")
	}
	p.Cautions = append(p.Cautions, r.withdrawal()...)
	r.put("energy_kwh", formatDecimal(int64(r.b.EnergyWh), 3, 0), r.because(&Why{Formula: "sum of electricity recorded for the batch itself", Unit: "kWh", Rounding: exact, Kinds: []string{"use"}}))
	r.completeness()
	p.Figures = r.list
	return p
}

func (r *reckoning) state() {
	if r.b.Closed() {
		r.text("state", "closed")
	} else {
		r.text("state", "growing")
	}
}

const (
	neverCounted    = "the fish were never counted since they were stocked"
	neverWeighed    = "the fish were never weighed"
	notWeighedSince = "the fish were not weighed since they were stocked"
)

func (r *reckoning) fishFigures() {
	b := r.b
	r.fish("fish.stocked", b.Stocked, "stocking")
	r.fish("fish.moved_in", b.MovedIn, "move", "received")
	r.fish("fish.moved_out", b.MovedOut, "move", "sent")
	r.fish("fish.dead", b.Dead, "death")
	r.fish("fish.harvested", b.Harvested, "harvest")
	r.fish("fish.on_hand", b.OnHand())
	if b.CountedOn == nil {
		r.null("fish.unaccounted", neverCounted)
	} else {
		r.fish("fish.unaccounted", b.Unaccounted, "count", "harvest", "death", "move", "sent")
	}
	r.flag("fish.estimated", b.HarvestGuessed > 0)
}

const unknownStart = "the weight of the fish at stocking or arrival is not known"

func (r *reckoning) biomass() {
	b := r.b
	mass := func(name string, m Milligrams, unknown Fish, estimated bool, kinds ...string) {
		if unknown > 0 {
			r.null(name, fmt.Sprintf("the weight of %d of these fish is not known", unknown))
			return
		}
		r.mass(name, m, estimated, kinds...)
	}
	mass("biomass.stocked_kg", b.StockedMg, b.Unweighed-b.MovedInUnweighed, false, "stocking")
	mass("biomass.moved_in_kg", b.MovedInMg, b.MovedInUnweighed, false, "move", "received")
	mass("biomass.moved_out_kg", b.MovedOutMg, b.MovedUnweighed, false, "move", "sent")
	mass("biomass.dead_kg", b.DeadMg, b.DeadUnweighed, b.DeadGuessed > 0, "death")
	r.flag("biomass.dead_estimated", b.DeadGuessed > 0)
	r.mass("biomass.harvested_kg", b.HarvestedG.Milligrams(), false, "harvest")
	counted := r.expected == nil && b.CountedOn != nil && b.MeasuredOn != nil && *b.CountedOn == *b.MeasuredOn && len(b.Path) == 2 // no change since
	switch {
	case b.OnHand() == 0:
		r.mass("biomass.on_hand_kg", 0, false)
		r.text("biomass.on_hand_basis", "none")
	case !r.known:
		r.null("biomass.on_hand_kg", neverWeighed)
		r.text("biomass.on_hand_basis", "none")
	case r.expected != nil:
		r.put("biomass.on_hand_kg", formatDecimal(int64(r.standing.Grams()), 3, 0), r.because(&Why{
			Formula:   "fish by the book × mean weight by the forecast: growth by the weighings since stocking, the last on " + r.expected.From.String() + ", over the warmth of the water",
			Numerator: fishText(int64(b.OnHand())) + " × " + trimFloat(r.expected.On(r.AsOf).WeightG) + " g", Unit: "kg", Rounding: "3 decimals, half to even", Estimated: true,
			Source: "thermal-unit growth with a coefficient by size; where the batch says little: " + r.expected.Source, Kinds: heatKinds, Site: true}))
		r.text("biomass.on_hand_basis", "forecast")
	default:
		r.mass("biomass.on_hand_kg", r.standing, !counted, "sample", "count")
		if counted {
			r.text("biomass.on_hand_basis", "counted")
		} else {
			r.text("biomass.on_hand_basis", "sampled")
		}
	}
	r.noGain = b.noGain(r.known)
	gain := b.gain(r.standing)
	if r.noGain != "" {
		r.null("biomass.net_gain_kg", r.noGain)
	} else {
		r.mass("biomass.net_gain_kg", gain, r.standing > 0 && !counted, fishKinds...)
	}
	switch {
	case b.FirstOn == nil || b.GramDaysGuessed > 0 || b.Unweighed > 0 && b.MeanFish == 0:
		r.null("biomass.biomass_days_kg", unknownStart)
	default:
		var days int64
		for _, g := range b.GramDaysThrough(r.until) {
			days += g
		}
		r.put("biomass.biomass_days_kg", formatDecimal(days, 3, 0), r.because(&Why{Formula: "sum over intervals of mean biomass × days, the mean of an interval being the logarithmic mean of its ends",
			Unit: "kg·day", Rounding: "whole gram-days", Estimated: !b.Closed(), Source: "log-mean of exponential growth (computed)", Kinds: fishKinds}))
	}
	r.yield("biomass.net_yield_kg_m3", gain, r.noGain, fishKinds)
	r.yield("biomass.harvest_yield_kg_m3", b.HarvestedG.Milligrams(), "", []string{"harvest"})
}

const noWater = "the water volume of the tank is not in the registry"

func (r *reckoning) yield(name string, m Milligrams, reason string, kinds []string) {
	switch {
	case reason != "":
		r.null(name, reason)
	case r.Water == nil:
		r.null(name, noWater)
	default:
		r.ratio(name, quotient{num: int64(m), den: int64(*r.Water), numText: kgText, denText: litreText, unit: "kg/m³ of water",
			formula: "weight ÷ water volume", scale: 1, kinds: kinds})
	}
}

func (r *reckoning) survival(p *Performance) {
	b := r.b
	in := b.Stocked + b.MovedIn
	out := b.Harvested + b.MovedOut + b.OnHand()
	ratio := func(name string, n Fish, formula string, kinds ...string) {
		r.ratio(name, quotient{num: int64(n), den: int64(in), numText: fishText, denText: fishText, unit: "of 1", formula: formula, estimated: b.HarvestGuessed > 0, kinds: kinds})
	}
	switch {
	case in == 0:
		for _, n := range []string{"survival.by_account", "survival.by_book", "survival.by_recorded_deaths", "survival.interval"} {
			r.null(n, "no fish were stocked")
		}
		r.put("survival.to_day", "[]", nil)
		return
	case b.CountedOn == nil:
		r.null("survival.by_account", neverCounted)
		r.null("survival.interval", neverCounted)
	default:
		ratio("survival.by_account", out, "(harvested + moved out + on hand) ÷ (stocked + moved in)", "stocking", "move", "sent", "received", "harvest", "death", "count")
		if out > in {
			r.null("survival.interval", "more fish came out than went in: a short count at stocking, or breeding")
		} else {
			lo, hi := stats.Wilson(int64(out), int64(in), stats.Z95)
			p.Interval = &[2]float64{lo, hi}
			r.put("survival.interval", "["+trimFloat(lo)+","+trimFloat(hi)+"]", r.because(&Why{Formula: "Wilson score interval, 95 %: counting error of single fish only; fish of one tank live and die together",
				Numerator: fishText(int64(out)), Denominator: fishText(int64(in)), Unit: "of 1", Rounding: "6 decimals, half to even", Source: "Newcombe 1998 (from memory of the source)"}))
		}
	}
	ratio("survival.by_book", out, "(harvested + moved out + on hand by the book) ÷ (stocked + moved in)", "stocking", "move", "sent", "received", "harvest", "death", "count")
	ratio("survival.by_recorded_deaths", in-b.Dead, "1 − dead ÷ (stocked + moved in)", "stocking", "move", "received", "death")
	for i, s := range b.survivalThrough(r.AsOf) {
		if b.Closed() && *b.FirstOn+SurvivalDays[i] > *b.ClosedOn {
			break
		}
		p.ToDay = append(p.ToDay, SurvivalToDay{int(SurvivalDays[i]), s})
	}
	r.put("survival.to_day", toDayLiteral(p.ToDay), nil)
}

func (r *reckoning) growth() {
	b := r.b
	null := func(reason string, names ...string) {
		for _, n := range names {
			r.null("growth."+n, reason)
		}
	}
	mg, fish, kind := b.MeanMg, b.MeanFish, "sample"
	last := b.lastWeighing()
	if b.Closed() && b.Harvested > 0 {
		mg, fish, kind = last.mg, last.fish, "harvest"
	}
	switch {
	case b.FirstOn == nil:
		null("no fish were stocked", "mean_weight_g", "sgr", "daily_gain_g", "tgc", "days", "condition_factor")
		return
	case fish == 0:
		null(neverWeighed, "mean_weight_g", "sgr", "daily_gain_g", "tgc", "days")
	default:
		r.real("growth.mean_weight_g", float64(mg)/float64(fish)/1000, func() *Why {
			return &Why{Formula: "weight of the fish weighed ÷ their number", Numerator: kgText(int64(mg)), Denominator: fishText(int64(fish)), Unit: "g", Estimated: b.Closed() && b.HarvestGuessed > 0, Kinds: []string{kind, "count"}}
		})
		r.grown(last, null)
	}
	if b.LengthCM == 0 {
		r.null("growth.condition_factor", "no lengths were measured")
		return
	}
	k, _ := husbandry.Condition(float64(b.LengthMeanMg)/1000, float64(b.LengthCM)/1000)
	r.real("growth.condition_factor", k, func() *Why {
		return &Why{Formula: "100 × weight (g) ÷ length³ (cm³)", Numerator: formatDecimal(int64(b.LengthMeanMg), 3, 0) + " g",
			Denominator: formatDecimal(int64(b.LengthCM), 3, 0) + " cm " + *b.LengthType + " length", Unit: "g/cm³ × 100", Source: "Fulton's K; Piper et al. 1982", Kinds: []string{"sample"}}
	})
}

// grown prints growth from stocking to a weighing.
func (r *reckoning) grown(last weighing, null func(string, ...string)) {
	b, on, heat, heatDays := r.b, last.on, last.heat, last.heatDays
	switch {
	case on == nil || *on <= *b.FirstOn:
		null(notWeighedSince, "sgr", "daily_gain_g", "tgc", "days")
		return
	case b.StartFish == 0 || b.Unweighed > 0:
		null(unknownStart, "sgr", "daily_gain_g", "tgc")
		r.number("growth.days", int64(*on-*b.FirstOn), "days")
		return
	}
	w1, w2, days := float64(b.StartMg)/float64(b.StartFish)/1000, float64(last.mg)/float64(last.fish)/1000, float64(*on-*b.FirstOn)
	span := fmt.Sprintf("%s g → %s g, %s → %s", trimFloat(w1), trimFloat(w2), *b.FirstOn, *on)
	sgr, _ := husbandry.SGR(w1, w2, days)
	r.real("growth.sgr", sgr, func() *Why {
		return &Why{Formula: "100 × (ln W2 − ln W1) ÷ days; it falls with size: do not compare across sizes", Numerator: span, Denominator: trimFloat(days) + " days", Unit: "% a day", Kinds: growthKinds}
	})
	gain, _ := husbandry.DailyGain(w1, w2, days)
	r.real("growth.daily_gain_g", gain, func() *Why {
		return &Why{Formula: "(W2 − W1) ÷ days", Numerator: span, Denominator: trimFloat(days) + " days", Unit: "g a day", Kinds: growthKinds}
	})
	if heatDays == 0 {
		r.null("growth.tgc", "no water temperature was recorded for these days")
	} else {
		degreeDays := float64(heat) / 1000 / float64(heatDays) * days // days without a reading count as the mean of the others
		tgc, _ := husbandry.TGC(w1, w2, degreeDays)
		r.real("growth.tgc", tgc, func() *Why {
			return &Why{Formula: "1000 × (∛W2 − ∛W1) ÷ Σ temperature × day", Numerator: span, Denominator: trimFloat(degreeDays) + " °C·day", Unit: "1000 × g^⅓/(°C·day)",
				Estimated: float64(heatDays) < days, Source: "thermal-unit growth, k = 1000; assumes growth ∝ temperature (Jobling 2003)", Kinds: heatKinds, Site: true}
		})
	}
	r.number("growth.days", int64(days), "days")
}

func (r *reckoning) feed() {
	b := r.b
	r.mass("feed.fed_kg", b.FedG.Milligrams(), false, "feeding")
	m := sums{on: b.MeasuredOn, fed: b.MeasuredFedG, protein: b.MeasuredProtein, gain: b.MeasuredGainMg, dead: b.MeasuredDeadMg}
	reason := r.noGain
	if b.Closed() {
		m = sums{on: b.ClosedOn, fed: b.FedG, protein: b.FedProtein, gain: b.gain(0), dead: b.DeadMg}
	} else if reason == "" && m.on == nil {
		reason = notWeighedSince
	}
	r.date("feed.measured_to", m.on, notWeighedSince)
	conversion := func(name string, feed, gain Milligrams, reason, formula string, estimated bool) {
		switch {
		case reason != "":
			r.null(name, reason)
		case gain <= 0:
			r.null(name, "there is no gain in weight to divide by")
		case feed == 0:
			r.null(name, "no feed was recorded")
		default:
			r.ratio(name, quotient{num: int64(feed), den: int64(gain), numText: kgText, denText: kgText, unit: "kg/kg", formula: formula, estimated: estimated, kinds: feedKinds})
		}
	}
	estimated := !b.Closed()
	conversion("feed.fcr_economic", m.fed.Milligrams(), m.gain, reason, "feed ÷ net gain", estimated)
	dead := reason
	if dead == "" && b.DeadUnweighed > 0 {
		dead = fmt.Sprintf("the weight of %d dead fish is not known", b.DeadUnweighed)
	}
	conversion("feed.fcr_biological", m.fed.Milligrams(), m.gain+m.dead, dead, "feed ÷ (net gain + weight of the dead)", estimated || b.DeadGuessed > 0)
	harvest := ""
	if b.HarvestedG == 0 {
		harvest = "nothing was harvested yet"
	}
	conversion("feed.fcr_on_harvest", b.FedG.Milligrams(), b.HarvestedG.Milligrams(), harvest, "feed ÷ weight harvested; no stocking weight is taken off", false)
	conversion("feed.efficiency", m.gain, m.fed.Milligrams(), reason, "net gain ÷ feed", estimated)
	protein := dead
	switch {
	case protein == "" && b.FedBlindG > 0:
		protein = fmt.Sprintf("the protein content of %s of feed is not in the registry", kgText(int64(b.FedBlindG.Milligrams())))
	case protein == "" && m.protein == 0:
		protein = "no feed was recorded"
	}
	if protein != "" {
		r.null("feed.protein_efficiency", protein)
		return
	}
	r.ratio("feed.protein_efficiency", quotient{num: int64(m.gain + m.dead), den: int64(m.protein), numText: kgText, denText: kgText, unit: "kg/kg",
		formula: "(net gain + weight of the dead) ÷ crude protein fed", estimated: estimated || b.DeadGuessed > 0, kinds: feedKinds})
}

func (r *reckoning) cost() []CategoryAmount {
	b := r.b
	var by []CategoryAmount
	var variable, fixed Money
	for c := range categories {
		m := b.Cost[c] + r.Share.Cost[c]
		if m != 0 {
			by = append(by, CategoryAmount{c, m})
		}
		if c.Fixed() {
			fixed += m
		} else {
			variable += m
		}
	}
	variable += b.CostIn - b.CostOut
	total := variable + fixed
	unpaid, donated, byProduct := b.Unpaid+r.Share.Unpaid, b.Donated+r.Share.Donated, r.Share.ByProduct
	r.shared("cost.total", total, costKinds...)
	r.shared("cost.variable", variable, costKinds...)
	r.shared("cost.fixed", fixed, "expense")
	r.money("cost.moved_in", b.CostIn, "move", "received")
	r.money("cost.moved_out", b.CostOut, "move", "sent")
	r.shared("cost.unpaid_labour", unpaid, "labour")
	r.shared("cost.donated", donated, "receipt", "feeding", "use", "stocktake")
	names := []string{"cost.per_kg", "cost.per_kg_net", "cost.per_kg_with_unpaid", "cost.per_kg_with_donated"}
	weight, basis, reason := (b.HarvestedG - b.DiscardedG).Milligrams(), "harvested", ""
	switch {
	case b.Closed() && weight > 0:
	case b.Closed() && b.MovedOut > 0:
		reason = "moved_on: the fish were moved out and not harvested from this batch"
	case b.Closed():
		reason = "nothing was harvested that could be eaten or sold"
	default:
		weight, basis, reason = b.gain(r.standing), "net_gain", r.noGain
		if reason == "" && weight <= 0 {
			reason = "there is no gain in weight yet"
		}
	}
	if reason != "" {
		for _, n := range names {
			r.null(n, reason)
		}
		r.null("cost.per_kg_basis", reason)
	} else {
		for i, m := range []Money{total, total - byProduct, total + unpaid, total + donated} {
			r.perKg(names[i], m, weight, basis != "harvested", []string{"total cost ÷ weight", "(total cost − by-product) ÷ weight: the break-even price", "(total cost + unpaid work) ÷ weight", "(total cost + donated inputs) ÷ weight"}[i], perKgKinds...)
		}
		r.text("cost.per_kg_basis", basis)
	}
	r.put("cost.by_category", categoriesLiteral(by, r.currency), nil)
	r.flag("cost.provisional", !b.Closed() || r.AsOf <= b.ClosedOn.Month().Last())
	r.money("income.cash", b.Cash, "sale")
	r.money("income.imputed", b.Imputed, "sale")
	r.money("income.given", b.Given, "sale")
	r.shared("income.by_product", byProduct, "sale")
	margin := b.Cash + b.Imputed + byProduct - total
	r.shared("margin", margin, marginKinds...)
	if r.Water == nil {
		r.null("margin_per_m3", noWater)
	} else {
		r.perM3(margin)
	}
	return by
}

// perM3 prints the margin for one cubic metre of water.
func (r *reckoning) perM3(margin Money) {
	v := mulDiv(int64(margin), 100*1_000_000, int64(*r.Water))
	r.put("margin_per_m3", `"`+r.currency.FormatPerKg(v)+`"`, r.because(&Why{Formula: "margin ÷ water volume", Numerator: r.currency.Format(margin) + " " + string(r.currency),
		Denominator: litreText(int64(*r.Water)), Unit: string(r.currency) + "/m³", Rounding: "two decimals more than the currency has, half to even", Kinds: marginKinds, Site: true}))
}

func (r *reckoning) completeness() {
	b := r.b
	r.number("completeness.days_with_feed", b.FedDays, "days")
	if b.FirstOn == nil {
		r.null("completeness.days", "no fish were stocked")
		r.null("completeness.days_since_weighing", "no fish were stocked")
	} else {
		r.number("completeness.days", int64(r.until-*b.FirstOn), "days")
		if b.WeighedOn == nil {
			r.null("completeness.days_since_weighing", neverWeighed)
		} else {
			r.number("completeness.days_since_weighing", int64(r.until-*b.WeighedOn), "days")
		}
	}
	r.date("completeness.last_counted_on", b.CountedOn, neverCounted)
	r.date("completeness.last_weighed_on", b.WeighedOn, neverWeighed)
}

func toDayLiteral(days []SurvivalToDay) string {
	out := "["
	for i, d := range days {
		if i > 0 {
			out += ","
		}
		out += fmt.Sprintf(`{"day":%d,"survival":%s}`, d.Day, trimFloat(d.Survival))
	}
	return out + "]"
}

func categoriesLiteral(by []CategoryAmount, c Currency) string {
	out := "["
	for i, a := range by {
		if i > 0 {
			out += ","
		}
		out += `{"category":"` + a.Category.String() + `","amount":"` + c.Format(a.Amount) + `"}`
	}
	return out + "]"
}
