package domain

import (
	"fmt"
	"strings"

	"shoalbook/domain/husbandry"
)

// WaterVerdict is what a reading of the water means for the fish in it.
type WaterVerdict struct {
	Parameter string
	Reading   Number
	On        Date
	Level     string // ok, warn, alarm, unknown
	Bound     Number // that was passed
	TooFast   bool   // it changed faster than fish bear
	Says      string
}

// Verdicts judges the last readings of a unit for a species.
func (k *Keeping) Verdicts(unit UnitID, species Text) []WaterVerdict {
	var list []WaterVerdict
	for p, name := range WaterParameters {
		if value, on, ok := k.Water[unit].Reading(WaterParameter(p)); ok {
			list = append(list, k.judge(unit, species, WaterParameter(p), name, value, on))
		}
	}
	return list
}

func (k *Keeping) judge(unit UnitID, species Text, p WaterParameter, name husbandry.Parameter, value Thousandths, on Date) WaterVerdict {
	v := WaterVerdict{Parameter: string(name), On: on, Level: "unknown", Reading: measured(float64(value)/1000, name.Unit(), "read "+ago(k.Day, on))}
	if p == NH3 {
		v.Reading = computed(float64(value)/1000, name.Unit(), "from total ammonia, pH and temperature (Emerson et al. 1975), read "+ago(k.Day, on))
	}
	v.Bound = none(name.Unit(), "it is within its limits")
	limit, known := k.limit(species.Value, name)
	_, table := husbandry.Limits(species.Value)
	said := strings.TrimSpace(fmt.Sprintf("%s: %s %s", waterWords[name], spoken(float64(value)/1000), name.Unit()))
	switch {
	case species.Reason != "":
		v.Bound = none(name.Unit(), species.Reason)
	case known:
		level, bound := limit.Judge(float64(value) / 1000)
		v.Level = string(level)
		if bound != nil {
			v.Bound = fact(husbandry.Fact{Value: bound.Value, Unit: name.Unit(), Source: bound.Source, Provenance: bound.Provenance})
			side := "above"
			if float64(value)/1000 < bound.Value {
				side = "below"
			}
			said += fmt.Sprintf(", %s %s", side, spoken(bound.Value))
		}
	case !table:
		v.Bound = none(name.Unit(), noTable(species.Value))
	default:
		v.Bound = none(name.Unit(), "there is no limit for it")
	}
	u := k.Water[unit]
	if was := u.WasOn[p]; was != 0 {
		most, fast := husbandry.ChangedTooFast(name, float64(u.WasValue[p])/1000, float64(value)/1000, int64(on-was))
		if v.TooFast = fast; fast {
			said += fmt.Sprintf(", and changed by more than %s within a day", spoken(most.Value))
		}
	}
	v.Says = said + "."
	return v
}

// waterWords says what is read in the words of people.
var waterWords = map[husbandry.Parameter]string{
	husbandry.Temperature: "Temperature", husbandry.Oxygen: "Oxygen", husbandry.PH: "pH", husbandry.TAN: "Ammonia in all", husbandry.NH3: "Poisonous part of the ammonia (NH3)",
	husbandry.NO2: "Nitrite", husbandry.NO3: "Nitrate", husbandry.Alkalinity: "Alkalinity", husbandry.Salinity: "Salt",
}
