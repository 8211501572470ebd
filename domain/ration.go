package domain

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"shoalbook/domain/husbandry"
)

// Ration is what a batch is fed on a day.
type Ration struct {
	Stock
	State     string // growing, closed
	Unit      UnitID
	Says      string
	TodayKg   Number
	Stops     []RationStop // why there is no feed today
	FullKg    Number       // by the table and the temperature, as if nothing stopped it
	LowPct    Number       // %/day, of the class of the table
	HighPct   Number
	TakenPct  Number
	Warmth    Number // °C
	ByWarmth  Number // share of the ration
	OxygenMgL Number
	ByOxygen  Number
	Meals     Number
	MealKg    Number
	PelletMM  [2]Number
	Protein   [2]Number // %
	Feeds     []FeedLeft
	FeedKg    Number // in the store
	DaysLeft  Number
	Conflicts []string
	Cautions  []string
}

// RationStop is why fish are not fed on a day.
type RationStop struct {
	Code string // stocking, sample, treatment, harvest, oxygen, cold
	Says string
}

// FeedLeft is a feed in the store of the site.
type FeedLeft struct {
	ID      ProductID
	Name    string
	Kg      Number
	Protein Number // %
	Enough  *bool  // whether it has the protein that these fish need; nil: not known
}

// Ration returns what a batch is fed on the day.
func (k *Keeping) Ration(id BatchID) (Ration, error) {
	facts := k.Batches[id]
	if facts == nil {
		return Ration{}, Missing("batch")
	}
	b := k.States[id]
	if b == nil {
		b = &BatchState{Unit: facts.Unit}
	}
	r := Ration{Stock: k.stock(id), State: "growing", Unit: b.Unit}
	if b.Closed() {
		r.State = "closed"
	}
	k.table(&r)
	k.factors(&r)
	r.FullKg = from("kg", "weight of the fish × share of the table × share by temperature", "there is no table for that",
		func(v []float64) (float64, bool) {
			kg, ok := husbandry.DailyFeed(v[0], v[1])
			return kg * v[2], ok
		}, r.Biomass, r.TakenPct, r.ByWarmth)
	r.TodayKg = r.FullKg
	if r.Fish > 0 {
		r.Stops = k.stops(&r, b)
	}
	if len(r.Stops) > 0 {
		r.TodayKg = computed(0, "kg", "none today: see stops")
	}
	r.MealKg = from("kg", "feed of the day ÷ meals", "there are no meals",
		func(v []float64) (float64, bool) { return v[0] / v[1], v[1] > 0 }, r.TodayKg, r.Meals)
	k.feeds(&r)
	k.rationTold(&r, b)
	return r, nil
}

// table takes what the tables say of fish of this weight.
func (k *Keeping) table(r *Ration) {
	reason := r.Weight.Reason
	class, ok := husbandry.Ration(r.Species, r.Weight.Value)
	if reason == "" && !ok {
		reason = noTable(r.Species)
	}
	if reason != "" {
		r.LowPct, r.HighPct, r.TakenPct = none("%/day", reason), none("%/day", reason), none("%/day", reason)
		r.Protein = [2]Number{none("%", reason), none("%", reason)}
	} else {
		share := func(v float64) Number {
			return fact(husbandry.Fact{Value: v, Unit: "%/day", Source: class.Source, Provenance: class.Provenance})
		}
		r.LowPct, r.HighPct = share(class.Low), share(class.High)
		r.TakenPct = computed(class.Middle(), "%/day", "middle of the class of the table")
		low, high, _ := husbandry.Protein(r.Species, r.Weight.Value)
		r.Protein = [2]Number{fact(low), fact(high)}
		if high.Value == 0 {
			r.Protein[1] = none("%", "or more")
		}
	}
	if !r.Weight.Known() {
		r.PelletMM = [2]Number{none("mm", reason), none("mm", reason)}
		r.Meals = none("", reason)
		return
	}
	practice := func(v float64, unit string) Number {
		return fact(husbandry.Fact{Value: v, Unit: unit, Source: "common practice, no source", Provenance: husbandry.Practice})
	}
	from, to := husbandry.Pellet(r.Weight.Value)
	r.PelletMM = [2]Number{practice(from, "mm"), practice(to, "mm")}
	r.Meals = practice(float64(husbandry.Meals(r.Weight.Value)), "meals")
}

// factors takes what the water makes of the ration.
func (k *Keeping) factors(r *Ration) {
	r.Warmth, r.OxygenMgL = k.temperature(r.Unit), k.oxygen(r.Unit)
	r.ByWarmth = from("of 1", "by the temperature of the water (common practice, no source)", "",
		func(v []float64) (float64, bool) {
			share, _ := husbandry.TemperatureFactor(v[0])
			return share, true
		}, r.Warmth)
	limit, ok := k.limit(r.Species, husbandry.Oxygen)
	r.ByOxygen = from("of 1", "none below the alarm of the oxygen (common practice, no source)", noTable(r.Species),
		func(v []float64) (float64, bool) { return husbandry.OxygenFactor(v[0], limit), ok }, r.OxygenMgL)
}

// stops says why there is no feed today.
func (k *Keeping) stops(r *Ration, b *BatchState) []RationStop {
	var stops []RationStop
	stop := func(code, says string, args ...any) {
		stops = append(stops, RationStop{code, fmt.Sprintf(says, args...)})
	}
	on := func(d *Date) bool { return d != nil && *d == k.Day }
	facts := k.Batches[r.ID]
	switch {
	case on(b.FirstOn):
		stop("stocking", "they came today; let them settle, and feed tomorrow")
	case on(b.WeighedOn):
		stop("sample", "they were weighed today, and fish that were handled do not eat; feed tomorrow")
	}
	if on(b.TreatedOn) {
		stop("treatment", "they were given medicine today; let them fast, unless its label says otherwise")
	}
	switch {
	case on(b.HarvestOn):
		stop("harvest", "some were harvested today; leave the others in peace, and feed tomorrow")
	case facts.TargetOn != nil && (*facts.TargetOn == k.Day || *facts.TargetOn == k.Day+1):
		stop("harvest", "the plan has the harvest on %s, and fish go without feed for a day before it; if you harvest later, change the plan", facts.TargetOn)
	}
	if r.ByOxygen.Known() && r.ByOxygen.Value == 0 {
		stop("oxygen", "there is too little oxygen in the water (%s mg/L); bring air first, and feed when it is back", spoken(r.OxygenMgL.Value))
	}
	if r.ByWarmth.Known() && r.ByWarmth.Value == 0 {
		stop("cold", "the water is too cold (%s °C); they do not eat below 17", spoken(r.Warmth.Value))
	}
	return stops
}

// feeds takes the feed in the store, and how long it lasts for all fish of the site.
func (k *Keeping) feeds(r *Ration) {
	total := 0.
	for id, p := range k.Products {
		st := k.Stores[id]
		if p.Category != "feed" || st == nil || st.Balance <= 0 {
			continue
		}
		kg := float64(st.Balance) / 1000
		total += kg
		f := FeedLeft{ID: id, Name: p.Name, Kg: computed(kg, "kg", "what came into the store − what went out of it"), Protein: inRegistry(p.ProteinPercent, "%", "the protein of "+p.Name)}
		if f.Protein.Known() && r.Protein[0].Known() {
			f.Enough = new(f.Protein.Value >= r.Protein[0].Value)
		}
		r.Feeds = append(r.Feeds, f)
	}
	slices.SortFunc(r.Feeds, func(a, b FeedLeft) int { return cmp.Or(cmp.Compare(b.Kg.Value, a.Kg.Value), a.ID.Compare(b.ID)) })
	r.FeedKg = computed(total, "kg", "the feeds in the store added up")
	a := k.siteRation()
	r.DaysLeft = from("days", "feed in the store ÷ what all fish of the site are fed a day", "no fish are fed at this temperature",
		func(v []float64) (float64, bool) { return v[0] / v[1], v[1] > 0 }, r.FeedKg, a)
}

// siteRation adds up what the batches of the site are fed a day, if nothing stops it.
func (k *Keeping) siteRation() Number {
	total := 0.
	for _, id := range k.growing() {
		r := Ration{Stock: k.stock(id), Unit: k.States[id].Unit}
		k.table(&r)
		k.factors(&r)
		for _, n := range []Number{r.Biomass, r.TakenPct, r.ByWarmth} {
			if !n.Known() {
				return none("kg", r.Name+": "+n.Reason)
			}
		}
		kg, _ := husbandry.DailyFeed(r.Biomass.Value, r.TakenPct.Value)
		total += kg * r.ByWarmth.Value
	}
	return computed(total, "kg", "rations of all batches of the site added up")
}

// rationTold puts conflicts, cautions and the answer in words.
func (k *Keeping) rationTold(r *Ration, b *BatchState) {
	tell := func(s string) { r.Conflicts = append(r.Conflicts, s) }
	if unit := k.Units[r.Unit]; unit != nil && unit.Loop != nil && r.TakenPct.Known() && (r.TakenPct.Value < 1 || r.TakenPct.Value > 2) {
		tell(fmt.Sprintf("FAO 589 feeds grown fish in aquaponics 1–2 %% a day; for fish of this weight the table has %s–%s %%. The beds must take up the waste: see what the tank can carry.", spoken(r.LowPct.Value), spoken(r.HighPct.Value)))
	}
	if r.Species == husbandry.Catfish && r.Protein[0].Known() {
		tell("Sources ask for 40–42 % protein (grown catfish) and more than 50 % (to 5 g), but 32 % is the standard of aquaponics (FAO 589).")
	}
	r.Cautions = append([]string{CautionFigures, CautionChildren}, spines(r.Species)...)
	if unit := k.Units[r.Unit]; unit != nil && unit.Loop != nil {
		r.Cautions = append(r.Cautions, CautionElectricity)
	}
	if b.TreatedOn != nil {
		r.Cautions = append(r.Cautions, CautionMedicine)
	}
	r.Says = r.say()
}

func (r *Ration) say() string {
	if r.Fish <= 0 {
		return "There are no fish to feed."
	}
	if len(r.Stops) > 0 {
		says := "Do not feed today"
		for i, s := range r.Stops {
			says += []string{": ", "; and "}[min(i, 1)] + s.Says
		}
		return says + "."
	}
	if !r.TodayKg.Known() {
		says := "Nobody can say how much to feed: " + r.TodayKg.Reason + "."
		if warm, ok := husbandry.DailyFeed(r.Biomass.Value, r.TakenPct.Value); ok && r.Biomass.Known() && r.TakenPct.Known() {
			says += fmt.Sprintf(" In water of 26 to 33 °C it would be %s.", amount(warm))
		}
		return says
	}
	says := fmt.Sprintf("Feed %s today, in %s meals of %s. The %s fish of %s g weigh %s together (%s) and eat %s %% of that a day", amount(r.TodayKg.Value), spoken(r.Meals.Value), amount(r.MealKg.Value),
		spoken(float64(r.Fish)), spoken(r.Weight.Value), amount(r.Biomass.Value), r.Weight.Source, spoken(r.TakenPct.Value))
	if share, hot := husbandry.TemperatureFactor(r.Warmth.Value); share != 1 {
		says += fmt.Sprintf("; as the water has %s °C, give %s %% of it", spoken(r.Warmth.Value), spoken(share*100))
		if hot {
			says += ": it is too warm, give it shade and air and read it again"
		}
	}
	says += ". "
	if from, to := r.PelletMM[0].Value, r.PelletMM[1].Value; to == 0 {
		says += "Feed crumble."
	} else if from == to {
		says += fmt.Sprintf("Pellets of %s mm.", spoken(from))
	} else {
		says += fmt.Sprintf("Pellets of %s to %s mm.", spoken(from), spoken(to))
	}
	says += " Stop when they stop eating."
	if !r.ByOxygen.Known() {
		says += " Nobody has read the oxygen since yesterday: if fish gasp at the surface, do not feed them."
	}
	if r.DaysLeft.Known() {
		says += fmt.Sprintf(" The feed in the store lasts all fish of the site %s.", several(math.Floor(r.DaysLeft.Value), "day"))
	}
	return says
}

// amount says a weight in kg as one does: small ones in g.
func amount(kg float64) string {
	if kg < 1 {
		return spoken(round(kg*1000, 0)) + " g"
	}
	return spoken(kg) + " kg"
}
