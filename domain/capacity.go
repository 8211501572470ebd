package domain

import (
	"fmt"
	"math"

	"shoalbook/domain/husbandry"
)

// CapacityQuestion is what is asked of a unit. What is left out is taken from the
// fish in it and their plans.
type CapacityQuestion struct {
	TargetG       *Thousandths // weight of a fish at harvest
	RationPercent *Thousandths // feed a day for their weight; nil: 1 %
	Species       *string
}

// Capacity is what a unit can carry, by each limit apart.
type Capacity struct {
	Species       Text // that the answer is for
	Says          string
	TargetG       Number
	RationPercent Number // a day
	Limits        []CapacityLimit
	Checks        []CapacityCheck
	Binding       *CapacityLimit // the one that carries the least; nil: none is known
	Binds         string         // what it leaves, in words
	Now           Holding
	Grown         Holding // the fish that are in it now, all of them at their target weight
	Harvest       Holding // what is left of them when the last has its target weight, by the forecast
	PowerW        Number
	EnergyADay    Number
	EnergyPerKg   Number
	Water         []WaterVerdict
	Conflicts     []string
	Cautions      []string
}

// Text is a text, or the reason why there is none.
type Text struct{ Value, Reason string }

// CapacityLimit is one limit of what a unit can carry.
type CapacityLimit struct {
	Name    string // density, bed, oxygen
	Carries Number // kg
	Fish    Number // at the target weight
	By      []NamedNumber
	Says    string
}

// CapacityCheck is something that must be right, and carries no weight of its own.
type CapacityCheck struct {
	Name    string // turnover, drain
	Verdict string // ok, wrong, unknown
	By      []NamedNumber
	Says    string
}

// The verdicts of a check.
const (
	CheckOK      = "ok"
	CheckWrong   = "wrong"
	CheckUnknown = "unknown"
)

// Holding is what is in a unit, now or when the fish have grown.
type Holding struct {
	Basis         string // counted, sampled, forecast, target, none
	On            *Date  // the day it is on; nil: nobody knows
	Fish          Fish
	Biomass       Number // kg
	Density       Number // kg/m³
	OfLimit       Number // times the density limit
	OfSharedWater Number // times that of shared water
	OfBinding     Number // times what the binding limit carries
}

// capacity is a capacity on its way.
type capacity struct {
	k *Keeping
	Capacity
	unit   *Unit
	stocks []Stock
	water  Number // L
	dense  Number // kg/m³, the limit
	loop   *Loop
	tanks  []*Unit // of the loop
	beds   []*Unit
}

// Capacity returns what a unit can carry.
func (k *Keeping) Capacity(id UnitID, q CapacityQuestion) (Capacity, error) {
	unit := k.Units[id]
	switch {
	case unit == nil:
		return Capacity{}, Missing("unit")
	case unit.Kind == "bed":
		return Capacity{}, Refuse("no_fish_here", "%s is a bed for plants: ask for the tank that shares its water", unit.Name)
	}
	c := &capacity{k: k, unit: unit, stocks: k.stocks(id)}
	c.water = inRegistry(unit.WaterVolumeL, "L", "the water volume of "+unit.Name)
	if unit.Loop != nil {
		c.loop = k.Loops[*unit.Loop]
		c.tanks, c.beds = k.tanksAndBeds(*unit.Loop)
	}
	c.ask(q)
	c.Limits = []CapacityLimit{c.byDensity(), c.byBed(), c.byOxygen()}
	for i := range c.Limits {
		l := &c.Limits[i]
		l.Fish = from("fish", "weight carried ÷ target weight, rounded down", "the target weight is 0",
			func(v []float64) (float64, bool) { return math.Floor(v[0]*1000/v[1] + 1e-9), v[1] > 0 }, l.Carries, c.TargetG)
		if l.Carries.Known() && (c.Binding == nil || l.Carries.Value < c.Binding.Carries.Value) {
			c.Binding = l
		}
	}
	c.Checks = []CapacityCheck{c.turnover(), c.drain()}
	c.Now = c.hold(biomass(c.stocks), c.basis(), c.fish())
	c.Now.On = &k.Day
	c.Grown = c.hold(c.grown(), "target", c.fish())
	c.Harvest = c.harvest()
	c.energy()
	c.Water = k.Verdicts(id, c.Capacity.Species)
	c.conflicts()
	c.Cautions = append([]string{CautionFigures, CautionElectricity, CautionChildren}, spines(c.species()...)...)
	if len(c.beds) > 0 {
		c.Cautions = append(c.Cautions, CautionLeaves)
	}
	if c.Binding != nil {
		c.Binds = c.bound()
	}
	c.Says = c.say()
	return c.Capacity, nil
}

// ask takes the question, and from the fish what it leaves out.
func (c *capacity) ask(q CapacityQuestion) {
	c.RationPercent = fact(husbandry.GrowOutRation[0])
	if q.RationPercent != nil {
		c.RationPercent = recorded(float64(*q.RationPercent)/1000, "%/day", "as asked")
	}
	switch {
	case q.TargetG != nil:
		c.TargetG = recorded(float64(*q.TargetG)/1000, "g", "as asked")
		for i := range c.stocks {
			c.stocks[i].Target = c.TargetG
		}
	case len(c.stocks) > 0:
		c.TargetG = c.stocks[0].Target
	default:
		c.TargetG = none("g", "there are no fish in it: give target_weight_g")
	}
	switch {
	case q.Species != nil:
		c.Species.Value = *q.Species
	case len(c.stocks) == 0:
		c.Species.Reason = "there are no fish in it: give the species"
	default:
		c.Species.Value = c.stocks[0].Species
	}
}

// species returns the codes of all fish the answer is about.
func (c *capacity) species() []string {
	codes := []string{c.Capacity.Species.Value}
	for _, s := range c.stocks {
		codes = append(codes, s.Species)
	}
	return codes
}

func (c *capacity) byDensity() CapacityLimit {
	l := CapacityLimit{Name: "density"}
	switch {
	case c.unit.DensityLimitKgM3 != nil:
		c.dense = inRegistry(c.unit.DensityLimitKgM3, "kg/m³", "the density limit of "+c.unit.Name)
	case c.unit.Loop != nil:
		c.dense = fact(husbandry.SharedWaterDensity)
	default:
		c.dense = none("kg/m³", "no density limit is set for "+c.unit.Name)
	}
	l.By = []NamedNumber{{"water_volume_l", c.water}, {"density_limit_kg_m3", c.dense}}
	l.Carries = from("kg", "water volume × density limit", "there is no water",
		func(v []float64) (float64, bool) { return husbandry.CarriedByDensity(v[0], v[1]) }, c.water, c.dense)
	l.Says = "Density: " + l.Carries.Reason
	if l.Carries.Known() {
		l.Says = fmt.Sprintf("Density: %s L of water, with at most %s kg in 1000 L, carry %s kg", spoken(c.water.Value), spoken(c.dense.Value), spoken(l.Carries.Value))
	}
	l.Says += "."
	return l
}

func (c *capacity) byBed() CapacityLimit {
	l := CapacityLimit{Name: "bed"}
	area := sum(c.beds, "m²", "the area", func(u *Unit) *Thousandths { return u.BedAreaM2 })
	switch {
	case c.unit.Loop == nil:
		area = none("m²", "no bed is joined to "+c.unit.Name)
	case len(c.beds) == 0:
		area = none("m²", "no bed is joined to "+c.unit.Name)
	}
	rate := fact(husbandry.BedFeedLeafy[1])
	feed := from("g/day", "area × feed rate of leafy vegetables, of feed with 32 % protein", "the beds have no area",
		func(v []float64) (float64, bool) { return husbandry.FeedByBed(v[0], v[1]) }, area, rate)
	whole := from("kg", "feed ÷ ration", "the ration is 0",
		func(v []float64) (float64, bool) { return husbandry.CarriedByFeed(v[0], v[1]) }, feed, c.RationPercent)
	others := c.others()
	l.By = []NamedNumber{{"bed_area_m2", area}, {"feed_rate_g_m2_day", rate}, {"feed_g_day", feed}, {"ration_percent", c.RationPercent},
		{"loop_carries_kg", whole}, {"others_in_loop_kg", others}}
	l.Carries = from("kg", "what the beds of the loop carry − fish in its other tanks", "",
		func(v []float64) (float64, bool) { return max(0, v[0]-v[1]), true }, whole, others)
	l.Says = "Bed: " + l.Carries.Reason
	if l.Carries.Known() {
		l.Says = fmt.Sprintf("Bed: %s m² take up the waste of %s g of feed a day, which at %s %% of their weight feeds %s kg of fish", spoken(area.Value), spoken(feed.Value), spoken(c.RationPercent.Value), spoken(whole.Value))
		if others.Value > 0 {
			l.Says += fmt.Sprintf("; %s kg are in the other tanks, so %s kg are left for this one", spoken(others.Value), spoken(l.Carries.Value))
		}
	}
	l.Says += "."
	return l
}

// others returns the weight of the fish in the other tanks of the loop.
func (c *capacity) others() Number {
	var stocks []Stock
	for _, u := range c.tanks {
		if u.ID != c.unit.ID {
			stocks = append(stocks, c.k.stocks(u.ID)...)
		}
	}
	if len(stocks) == 0 {
		return computed(0, "kg", "there are no fish in other tanks of the loop")
	}
	return biomass(stocks)
}

// flow returns the water that the pump brings to this tank: its part of the pump's,
// by volume.
func (c *capacity) flow() Number {
	pump := c.pump()
	whole := c.loopWater()
	return from("L/h", "flow of the pump × this tank's part of the water of its loop", "there is no water",
		func(v []float64) (float64, bool) { return v[0] * v[1] / v[2], v[2] > 0 }, pump, c.water, whole)
}

func (c *capacity) pump() Number {
	if c.loop == nil {
		return none("L/h", "no pump is recorded for "+c.unit.Name)
	}
	return inRegistry(c.loop.PumpFlowLH, "L/h", "the flow of the pump of "+c.loop.Name)
}

// loopWater returns the water of all tanks of the loop.
func (c *capacity) loopWater() Number {
	if c.loop == nil {
		return none("L", "no pump is recorded for "+c.unit.Name)
	}
	return sum(c.tanks, "L", "the water volume", func(u *Unit) *Thousandths { return u.WaterVolumeL })
}

func (c *capacity) byOxygen() CapacityLimit {
	l := CapacityLimit{Name: "oxygen"}
	temperature := c.k.temperature(c.unit.ID)
	altitude := inRegistry(c.k.AltitudeM, "m", "the altitude of the site")
	flow := c.flow()
	const airless = "the water is too warm, too high up or too salty for the formula, or holds no more oxygen than the fish need"
	saturation := from("mg/L", "Benson & Krause 1984, at the altitude of the site", airless,
		func(v []float64) (float64, bool) {
			return husbandry.OxygenSaturation(v[0], c.k.salinity(c.unit.ID), v[1])
		}, temperature, altitude)
	least := c.leastOxygen()
	use := fact(husbandry.OxygenOfFish)
	feed := from("g/day", "flow × (saturation − least) × 24 h ÷ oxygen per feed; no air pump counted", airless,
		func(v []float64) (float64, bool) { return husbandry.FeedByOxygen(v[0], v[1], v[2], v[3]) }, flow, saturation, least, use)
	l.By = []NamedNumber{{"flow_l_h", flow}, {"temperature_c", temperature}, {"altitude_m", altitude}, {"saturation_mg_l", saturation},
		{"least_mg_l", least}, {"oxygen_per_feed", use}, {"feed_g_day", feed}, {"ration_percent", c.RationPercent}}
	l.Carries = from("kg", "feed ÷ ration", "the ration is 0",
		func(v []float64) (float64, bool) { return husbandry.CarriedByFeed(v[0], v[1]) }, feed, c.RationPercent)
	if !least.Known() { // the first reason that matters: without it the rest is beside the point
		l.Carries = none("kg", least.Reason)
	}
	l.Says = "Oxygen: " + l.Carries.Reason
	if l.Carries.Known() {
		l.Says = fmt.Sprintf("Oxygen: the water that comes in brings air for %s kg; an air pump adds to that, and none is counted", spoken(l.Carries.Value))
	}
	l.Says += "."
	return l
}

// leastOxygen returns the oxygen below which it is alarming for the species.
func (c *capacity) leastOxygen() Number {
	species := c.Capacity.Species
	if species.Reason != "" {
		return none("mg/L", species.Reason)
	}
	if species.Value == husbandry.Catfish {
		return none("mg/L", "African catfish breathe air too, so oxygen in the water is no limit for their weight; the filter and small fry still need more than 2 to 4 mg/L")
	}
	limit, ok := c.k.limit(species.Value, husbandry.Oxygen)
	if !ok || limit.LowAlarm == nil {
		return none("mg/L", noTable(species.Value))
	}
	return fact(husbandry.Fact{Value: limit.LowAlarm.Value, Unit: "mg/L", Source: limit.LowAlarm.Source, Provenance: limit.LowAlarm.Provenance})
}
