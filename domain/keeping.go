package domain

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"shoalbook/domain/husbandry"
)

// Keeping is what a site keeps its fish with and how all of it stands at the end of
// a day: the registry as it holds then, and the states of the journal.
type Keeping struct {
	Day       Date
	AltitudeM *Thousandths
	Units     map[UnitID]*Unit
	Loops     map[LoopID]*Loop
	Batches   map[BatchID]*Batch
	Products  map[ProductID]*Product
	States    map[BatchID]*BatchState
	Water     map[UnitID]*UnitState
	Stores    map[ProductID]*StoreState
	Limits    []WaterLimit     // of the co-operative
	Priors    map[string]Prior // by species; what is published of one that is not there
	Currency  Currency
}

// How old a reading may be to be taken for today's (common practice, no source):
// water warms and cools over days, its oxygen goes within hours.
const (
	temperatureDays = 7
	oxygenDays      = 1
)

// Stock is the fish of one batch, as they are in a unit.
type Stock struct {
	ID      BatchID
	Name    string
	Species string
	Fish    Fish
	Weight  Number // mean weight, g
	Biomass Number // kg
	Basis   string // counted, sampled, forecast, none
	Target  Number // g, of its plan
}

// stocks returns the fish in a unit, the most first.
func (k *Keeping) stocks(unit UnitID) []Stock {
	var found []Stock
	for id, b := range k.States {
		if b.Unit == unit && b.OnHand() > 0 && k.Batches[id] != nil {
			found = append(found, k.stock(id))
		}
	}
	slices.SortFunc(found, func(a, b Stock) int {
		return cmp.Or(cmp.Compare(b.Fish, a.Fish), a.ID.Compare(b.ID))
	})
	return found
}

// stock returns the fish of a batch.
func (k *Keeping) stock(id BatchID) Stock {
	b, facts := k.States[id], k.Batches[id]
	s := Stock{ID: id, Name: facts.Name, Species: facts.Species, Basis: "none"}
	s.Target = none("g", "there is no plan for "+facts.Name+" that names a target weight")
	if facts.TargetWeight != nil {
		s.Target = recorded(float64(*facts.TargetWeight)/1000, "g", "plan of the batch")
	}
	if b == nil || b.OnHand() <= 0 {
		s.Weight, s.Biomass = none("g", "there are no fish in it"), none("kg", "there are no fish in it")
		return s
	}
	s.Fish = b.OnHand()
	if b.MeanFish == 0 {
		s.Weight, s.Biomass = none("g", "the fish were never weighed"), none("kg", "the fish were never weighed")
		return s
	}
	how := "weighed " + ago(k.Day, *b.WeighedOn)
	if f, _ := NewForecast(b, k.Day, k.prior(facts.Species)); f != nil && f.From < k.Day {
		o := f.On(k.Day)
		s.Basis = "forecast"
		s.Weight = computed(o.WeightG, "g", "forecast of growth; "+how)
		s.Biomass = computed(float64(s.Fish)*o.WeightG/1000, "kg", "fish in the book × mean weight by the forecast of growth; "+how)
		return s
	}
	s.Weight = measured(float64(b.MeanMg)/float64(b.MeanFish)/1000, "g", how)
	mg, _ := b.weightOf(b.OnHand())
	s.Biomass = computed(mg.Kilograms(), "kg", "fish in the book × mean weight, "+how)
	if s.Basis = "sampled"; b.CountedOn != nil && *b.CountedOn == *b.WeighedOn && *b.CountedOn == k.Day {
		s.Basis = "counted"
	}
	return s
}

// ago says when something was, seen from a day.
func ago(day, on Date) string {
	switch days := day - on; days {
	case 0:
		return "today"
	case 1:
		return "yesterday"
	default:
		return fmt.Sprintf("%d days ago, on %s", days, on)
	}
}

// biomass adds up what some stocks weigh; nothing weighs nothing.
func biomass(stocks []Stock) Number {
	sum := 0.
	for _, s := range stocks {
		if !s.Biomass.Known() {
			return none("kg", "the fish of "+s.Name+" were never weighed")
		}
		sum += s.Biomass.Value
	}
	if len(stocks) == 1 {
		return stocks[0].Biomass
	}
	return computed(sum, "kg", "the batches in it added up")
}

// temperature returns the temperature of a unit as it can be taken for today's. Tanks
// of one loop have the same water.
func (k *Keeping) temperature(unit UnitID) Number {
	own := k.reading(unit, Temperature, temperatureDays, "the temperature of the water")
	facts := k.Units[unit]
	if own.Known() || facts == nil || facts.Loop == nil {
		return own
	}
	best, last := own, Date(0)
	tanks, _ := k.tanksAndBeds(*facts.Loop)
	for _, u := range tanks {
		n := k.reading(u.ID, Temperature, temperatureDays, "")
		if _, on, _ := k.Water[u.ID].Reading(Temperature); n.Known() && on > last {
			best, last = n, on
			best.Source += " in " + u.Name + ", which has the same water"
		}
	}
	return best
}

// oxygen returns the dissolved oxygen of a unit as it can be taken for today's.
func (k *Keeping) oxygen(unit UnitID) Number {
	return k.reading(unit, Oxygen, oxygenDays, "the oxygen in the water")
}

func (k *Keeping) reading(unit UnitID, p WaterParameter, days Date, what string) Number {
	unitOf := husbandry.Parameter(WaterParameters[p]).Unit()
	v, on, ok := k.Water[unit].Reading(p)
	switch {
	case !ok:
		return none(unitOf, what+" was never read")
	case k.Day-on > days:
		return none(unitOf, fmt.Sprintf("%s was last read %s: read it again", what, ago(k.Day, on)))
	}
	return measured(float64(v)/1000, unitOf, "read "+ago(k.Day, on))
}

// salinity returns the last reading; water of which nobody read any is taken as fresh.
func (k *Keeping) salinity(unit UnitID) float64 {
	v, _, _ := k.Water[unit].Reading(Salinity)
	return float64(v) / 1000
}

// limit returns what the water of a species should keep within.
func (k *Keeping) limit(species string, p husbandry.Parameter) (husbandry.Limit, bool) {
	for _, l := range LimitsInForce(species, k.Limits) {
		if l.Parameter == p {
			return l.Limit, true
		}
	}
	return husbandry.Limit{}, false
}

// inLoop returns the units of a loop that are in use, by name.
func (k *Keeping) inLoop(loop LoopID) []*Unit {
	return slices.SortedFunc(func(yield func(*Unit) bool) {
		for _, u := range k.Units {
			if u.Loop != nil && *u.Loop == loop && !u.Archived && !yield(u) {
				return
			}
		}
	}, func(a, b *Unit) int { return cmp.Or(cmp.Compare(a.Name, b.Name), a.ID.Compare(b.ID)) })
}

// tanksAndBeds returns the units of a loop that hold fish, and those that hold plants.
func (k *Keeping) tanksAndBeds(loop LoopID) (tanks, beds []*Unit) {
	for _, u := range k.inLoop(loop) {
		if u.Kind == "bed" {
			beds = append(beds, u)
		} else {
			tanks = append(tanks, u)
		}
	}
	return tanks, beds
}

// sum adds up a fact of some units, or says of which it is missing.
func sum(units []*Unit, unit, what string, of func(*Unit) *Thousandths) Number {
	total := 0.
	for _, u := range units {
		v := of(u)
		if v == nil {
			return none(unit, what+" of "+u.Name+" is not in the registry")
		}
		total += float64(*v) / 1000
	}
	return recorded(total, unit, what+", in the registry")
}

// growing returns the batches with fish, in the order of their ids.
func (k *Keeping) growing() []BatchID {
	return slices.DeleteFunc(slices.SortedFunc(maps.Keys(k.States), BatchID.Compare), func(id BatchID) bool {
		return k.States[id].OnHand() <= 0 || k.Batches[id] == nil
	})
}
