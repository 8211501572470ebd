package domain

import (
	"fmt"
	"math"
	"slices"

	"shoalbook/domain/husbandry"
)

func (c *capacity) turnover() CapacityCheck {
	k := CapacityCheck{Name: "turnover", Verdict: CheckUnknown}
	pump, water, least := c.pump(), c.loopWater(), fact(husbandry.LeastTurnover)
	turns := from("/h", "flow of the pump ÷ water of the tanks of its loop", "there is no water",
		func(v []float64) (float64, bool) { return husbandry.Turnover(v[0], v[1]) }, pump, water)
	k.By = []NamedNumber{{"pump_flow_l_h", pump}, {"water_volume_l", water}, {"turnover_per_hour", turns}, {"least_per_hour", least}}
	if !turns.Known() {
		k.Says = "Pump: " + turns.Reason + "."
		return k
	}
	k.Verdict = CheckOK
	k.Says = fmt.Sprintf("Pump: it moves all the water %s times an hour", spoken(turns.Value))
	if turns.Value < least.Value {
		k.Verdict = CheckWrong
		k.Says += fmt.Sprintf("; it should be at least once, which takes %s L an hour. Measure what it really brings: that can be half of what is printed on it", spoken(water.Value*least.Value))
	}
	k.Says += "."
	return k
}

func (c *capacity) drain() CapacityCheck {
	k := CapacityCheck{Name: "drain", Verdict: CheckUnknown}
	fill, drain := c.pump(), none("L/h", "no bed is joined to "+c.unit.Name+", so nothing drains")
	if c.loop != nil {
		drain = inRegistry(c.loop.DrainFlowLH, "L/h", "the flow of the drain of "+c.loop.Name)
		if len(c.beds) == 0 {
			drain = none("L/h", "no bed is joined to "+c.unit.Name+", so nothing drains")
		}
	}
	k.By = []NamedNumber{{"drain_flow_l_h", drain}, {"pump_flow_l_h", fill}}
	switch {
	case !drain.Known():
		k.Says = "Drain: " + drain.Reason
	case !fill.Known():
		k.Says = "Drain: " + fill.Reason
	case husbandry.Drains(drain.Value, fill.Value):
		k.Verdict = CheckOK
		k.Says = fmt.Sprintf("Drain: it empties the bed faster (%s L an hour) than the pump fills it (%s), as it should", spoken(drain.Value), spoken(fill.Value))
	default:
		k.Verdict = CheckWrong
		k.Says = fmt.Sprintf("Drain: it empties the bed no faster (%s L an hour) than the pump fills it (%s). The siphon will not stop, or the bed runs over: use a wider drain, or pump less", spoken(drain.Value), spoken(fill.Value))
	}
	k.Says += "."
	return k
}

// basis says how the weight of the fish now is known: as that which is known worst.
func (c *capacity) basis() string {
	worst := "counted"
	for _, s := range c.stocks {
		if slices.Index(bases, s.Basis) > slices.Index(bases, worst) {
			worst = s.Basis
		}
	}
	return worst
}

// bases says how a weight can be known, the surest first.
var bases = []string{"counted", "sampled", "forecast", "none"}

// grown returns the weight of the fish that are in it now when all of them have their
// target weight.
func (c *capacity) grown() Number {
	total := 0.
	for _, s := range c.stocks {
		if !s.Target.Known() {
			return none("kg", s.Target.Reason)
		}
		total += float64(s.Fish) * s.Target.Value / 1000
	}
	return computed(total, "kg", "fish in it now × target weight, if none dies")
}

// fish returns how many fish are in it by the book.
func (c *capacity) fish() Fish {
	var n Fish
	for _, s := range c.stocks {
		n += s.Fish
	}
	return n
}

// harvest returns what the forecast leaves in the unit on the day the last of its
// batches reaches its target weight, if nothing is taken out before.
func (c *capacity) harvest() Holding {
	reason := "there are no fish in it"
	last := c.k.Day
	var forecasts []*Forecast
	for _, s := range c.stocks {
		if !s.Target.Known() {
			reason = s.Target.Reason
			break
		}
		f, why := NewForecast(c.k.States[s.ID], c.k.Day, c.k.prior(s.Species))
		if f == nil {
			reason = s.Name + ": " + why
			break
		}
		day, ok := f.Reach(s.Target.Value)
		if !ok {
			reason = fmt.Sprintf("%s is not expected to weigh %s g within a year and a half", s.Name, spoken(s.Target.Value))
			break
		}
		forecasts, last = append(forecasts, f), max(last, day)
	}
	if len(forecasts) < len(c.stocks) || len(forecasts) == 0 {
		return c.hold(none("kg", reason), "none", 0)
	}
	kg, fish := 0., 0.
	for _, f := range forecasts {
		o := f.On(last)
		kg, fish = kg+o.BiomassKg, fish+o.Fish
	}
	h := c.hold(computed(kg, "kg", "forecast of growth and losses"), "forecast", Fish(math.Round(fish)))
	h.On = &last
	return h
}

// hold sets a weight of fish beside what the unit can carry.
func (c *capacity) hold(kg Number, basis string, fish Fish) Holding {
	h := Holding{Basis: basis, Biomass: kg, Fish: fish}
	if !kg.Known() || fish == 0 {
		h.Basis = "none"
	}
	h.Density = from("kg/m³", "weight ÷ water volume", "there is no water",
		func(v []float64) (float64, bool) { return husbandry.Density(v[0], v[1]) }, kg, c.water)
	times := func(what string, a, b Number) Number {
		return from("", what, "nothing to divide by", func(v []float64) (float64, bool) { return v[0] / v[1], v[1] > 0 }, a, b)
	}
	h.OfLimit = times("density ÷ density limit", h.Density, c.dense)
	h.OfSharedWater = none("", c.unit.Name+" shares its water with nothing")
	if c.unit.Loop != nil {
		h.OfSharedWater = times("density ÷ what shared water carries (20 kg/m³, from memory of FAO 589)", h.Density, fact(husbandry.SharedWaterDensity))
	}
	h.OfBinding = none("", "no limit is known")
	if c.Binding != nil {
		h.OfBinding = times("weight ÷ what the least limit carries", kg, c.Binding.Carries)
		if c.Binding.Carries.Value == 0 {
			h.OfBinding = none("", "the least limit carries nothing")
		}
	}
	return h
}

// energy returns what the pump draws, and that for a kilogram the fish of its loop
// have gained.
func (c *capacity) energy() {
	if c.loop == nil {
		reason := "no pump is recorded for " + c.unit.Name
		c.PowerW, c.EnergyADay, c.EnergyPerKg = none("W", reason), none("kWh/day", reason), none("kWh/kg", reason)
		return
	}
	c.PowerW = inRegistry(c.loop.PumpPowerW, "W", "the power of the pump of "+c.loop.Name)
	c.EnergyADay = from("kWh/day", "power × 24 h ÷ 1000", "the power is below 0",
		func(v []float64) (float64, bool) { return husbandry.Energy(v[0], 24) }, c.PowerW)
	gain, days := c.gain()
	c.EnergyPerKg = from("kWh/kg", "energy since the first of these fish came ÷ weight they have gained", "the fish have gained no weight yet",
		func(v []float64) (float64, bool) { return v[0] * float64(days) / v[1], v[1] > 0 && days > 0 }, c.EnergyADay, gain)
}

// gain returns what the fish that are now in the loop have gained, and in how many days.
func (c *capacity) gain() (kg Number, days Date) {
	total, first := 0., c.k.Day
	for _, u := range c.tanks {
		for _, s := range c.k.stocks(u.ID) {
			b := c.k.States[s.ID]
			switch {
			case !s.Biomass.Known():
				return none("kg", "the fish of "+s.Name+" were never weighed"), 0
			case b.Unweighed > 0 || b.MovedUnweighed > 0:
				return none("kg", "the weight of "+s.Name+" when it came, or of what left it, is not known"), 0
			}
			standing, _ := b.weightOf(b.OnHand())
			total += b.gain(standing).Kilograms()
			first = min(first, *b.FirstOn)
		}
	}
	return computed(total, "kg", "net gain of the fish in the loop"), c.k.Day - first
}

// conflicts tells where sources say something else than what was taken.
func (c *capacity) conflicts() {
	tell := func(s string) { c.Conflicts = append(c.Conflicts, s) }
	shared := husbandry.SharedWaterDensity.Value
	if c.unit.Loop != nil {
		tell(husbandry.DesignConflict)
		if c.dense.Known() && c.dense.Value > shared {
			tell(fmt.Sprintf("The limit set for %s, %s kg/m³, is above the %s that filter and air of shared water carry (from memory of FAO 589).", c.unit.Name, spoken(c.dense.Value), spoken(shared)))
		}
	}
	if len(c.beds) > 0 {
		tell("FAO 589 gives 40–50 g of feed a day for 1 m² of leafy vegetables and 50–80 g for fruiting ones; 50 g is taken.")
		tell("FAO 589 gives a ration of 1–2 % a day: at 2 % a bed carries half the fish it carries at 1 %.")
	}
	if by := c.Limits[2]; by.Carries.Known() {
		tell("Oxygen: 0.3–0.5 kg for 1 kg of feed is what the fish use (from memory), and 0.5 is taken; with filter and bed the whole system uses 1.25 kg (Boyd, read), so these need air of their own.")
	}
	if c.Capacity.Species.Value == husbandry.Catfish {
		tell("Catfish in tanks whose water is changed every day are kept far denser than 20 kg/m³: that is a limit of filter and air in shared water, not of the species.")
	}
}

// bound says what binds, and how much it leaves.
func (c *capacity) bound() string {
	b := c.Binding
	if b.Name == "bed" {
		for _, n := range b.By {
			if n.Name == "loop_carries_kg" && n.Value > b.Carries.Value {
				left := "nothing is left"
				if b.Carries.Value > 0 {
					left = amount(b.Carries.Value) + " are left"
				}
				return fmt.Sprintf("The bed cleans the water of %s of fish; with what is in the other tanks, %s for %s.", amount(n.Value), left, c.unit.Name)
			}
		}
	}
	why := map[string]string{"density": "for more there is too little water", "bed": "for more the bed is too small",
		"oxygen": "for more the water brings too little air (an air pump is not counted)"}
	return fmt.Sprintf("%s carries %s of fish: %s.", c.unit.Name, amount(b.Carries.Value), why[b.Name])
}

// say puts the answer in words.
func (c *capacity) say() string {
	if c.Binding == nil {
		return "Nobody can say what " + c.unit.Name + " carries: no limit is known. " + c.Limits[0].Says
	}
	b := c.Binding
	says := c.Binds
	if b.Fish.Known() && b.Fish.Value > 0 {
		says += fmt.Sprintf(" That is %s fish of %s g each.", spoken(b.Fish.Value), spoken(c.TargetG.Value))
	}
	switch now := c.Now; {
	case now.Fish == 0:
		says += " It is empty now."
	case !now.Biomass.Known():
		says += fmt.Sprintf(" There are %d fish in it, and nobody knows what they weigh: weigh some.", now.Fish)
	case now.Biomass.Value > b.Carries.Value:
		says += fmt.Sprintf(" There are %s in it now, %s too much: take some out, or %s.", amount(now.Biomass.Value), amount(now.Biomass.Value-b.Carries.Value),
			map[string]string{"density": "harvest the biggest", "bed": "feed less, change more of the water, or build a bigger bed", "oxygen": "add an air pump"}[b.Name])
	default:
		says += fmt.Sprintf(" There are %s in it now.", amount(now.Biomass.Value))
	}
	when, then := "When all of them have grown they will weigh", c.Grown
	if c.Harvest.On != nil {
		when, then = fmt.Sprintf("By the forecast they are ready on %s and will weigh", c.Harvest.On), c.Harvest
	}
	if then.Biomass.Known() && then.Biomass.Value > b.Carries.Value {
		says += fmt.Sprintf(" %s %s together, %s too much: harvest some earlier.", when, amount(then.Biomass.Value), amount(then.Biomass.Value-b.Carries.Value))
	}
	for _, k := range c.Checks {
		if k.Verdict == CheckWrong {
			says += " " + k.Says
		}
	}
	return says
}
