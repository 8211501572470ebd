package domain

import (
	"fmt"
	"math"

	"shoalbook/domain/husbandry"
)

// LiveTransport is a delivery of live fish as it is planned: in bags with oxygen.
type LiveTransport struct {
	Species      string // ASFIS code
	Fish         Fish   // in all bags together
	MeanWeightMg Milligrams
	Litres       Thousandths // of water in each bag
	Hours        Thousandths // on the way, loading and waiting included
	TemperatureC Thousandths // of the water
	Bags         int64
}

// The verdicts on a delivery.
const (
	TransportFine       = string(husbandry.LoadFine)
	TransportTight      = string(husbandry.LoadTight)
	TransportOverloaded = string(husbandry.LoadOver)
	TransportUnknown    = "unknown"
)

// TransportCheck is whether a delivery can be made as it is planned.
type TransportCheck struct {
	Verdict   string
	Says      string
	Load      Number // g of fish in a litre
	FineTo    Number // g/L
	MostAt    Number // g/L
	TableTime Number // hours of the row that was taken
	FineFish  Number // fish that go well in these bags
	FineBags  Number // bags with that much water that all the fish need
	Size      string // how the fish are to the table: smaller, within, bigger
	Advice    []string
	Conflicts []string
	Cautions  []string
}

// Check judges the delivery. It never calls one fine that the table does not.
func (t LiveTransport) Check() TransportCheck {
	c := TransportCheck{Cautions: append([]string{CautionFigures}, spines(t.Species)...)}
	weight := float64(t.MeanWeightMg) / 1000
	hours, celsius := float64(t.Hours)/1000, float64(t.TemperatureC)/1000
	water := float64(t.Litres) / 1000 * float64(t.Bags)
	const unit = "g/L"
	if water <= 0 {
		c.Load = none(unit, "there is no water in the bags")
	} else {
		c.Load = computed(float64(t.Fish)*weight/water, unit, "weight of all fish ÷ water of all bags")
	}
	loads, reason := husbandry.BagLoad{}, t.outside(weight, hours, celsius)
	if reason == "" {
		loads, _ = husbandry.BagLoads(hours, celsius)
	}
	c.limits(loads, reason, celsius)
	c.Size = "within"
	switch {
	case weight < husbandry.BagSmall:
		c.Size = "smaller"
	case weight > husbandry.BagBig:
		c.Size = "bigger"
		c.Conflicts = append(c.Conflicts, fmt.Sprintf("The table is for fish of about %s–%s g. Bigger fish bear more weight in a litre, so for yours it errs on the safe side.", spoken(husbandry.BagSmall), spoken(husbandry.BagBig)))
	}
	c.FineFish = from("fish", "so many g in a litre × water ÷ mean weight, rounded down", "", func(v []float64) (float64, bool) {
		return math.Floor(v[0]*water/weight + 1e-9), true
	}, c.FineTo)
	c.FineBags = from("bags", "weight of all fish ÷ (so many g in a litre × water of a bag), rounded up", "", func(v []float64) (float64, bool) {
		return math.Ceil(float64(t.Fish)*weight*float64(t.Bags)/(v[0]*water) - 1e-9), true
	}, c.FineTo, c.Load)
	c.judge(loads)
	c.say(t)
	c.Advice = append(c.Advice,
		"Let the fish go without feed for 24 to 48 hours before (SRAC 390).",
		"On arrival let the bags float until the water is equally warm, then add pond water bit by bit: no step of more than 2 to 3 °C (common practice, no source).",
		"Keep new fish apart for 2 to 4 weeks (common practice, no source).",
		"Count the dead on arrival: 1 to 2 in 100 is good, above 5 claim from the seller (common practice, no source).")
	return c
}

// outside says why the table says nothing of a delivery; empty: it does.
func (t LiveTransport) outside(weight, hours, celsius float64) string {
	if _, known := husbandry.Limits(t.Species); !known {
		return noTable(t.Species)
	}
	switch {
	case weight <= 0:
		return "the weight of a fish is not known"
	case weight < husbandry.BagSmall:
		return fmt.Sprintf("the table has no fish below about %s g; small fry need more water than it says", spoken(husbandry.BagSmall))
	case hours <= 0:
		return "the time on the way is not known"
	case hours > husbandry.BagHours:
		return fmt.Sprintf("the table ends at %s hours: change the water and the oxygen on the way, or do not send them", spoken(husbandry.BagHours))
	}
	if _, ok := husbandry.BagLoads(hours, celsius); !ok {
		return "the table is for water of 0 to 40 °C"
	}
	return ""
}

// noTable says that a species has none.
func noTable(species string) string {
	return "there is no table for this species (" + species + "); the tables are for African catfish (CLZ) and Nile tilapia (TLN)"
}

func (c *TransportCheck) limits(loads husbandry.BagLoad, reason string, celsius float64) {
	if reason != "" {
		c.FineTo, c.MostAt, c.TableTime = none("g/L", reason), none("g/L", reason), none("h", reason)
		return
	}
	source := husbandry.BagSource
	if celsius > husbandry.BagCelsius {
		source += fmt.Sprintf("; halved for every 10 °C above that, here for %s °C", spoken(celsius))
	}
	row := func(v float64, unit string) Number {
		return fact(husbandry.Fact{Value: v, Unit: unit, Source: source, Provenance: husbandry.Read})
	}
	c.FineTo, c.MostAt, c.TableTime = row(loads.Low, "g/L"), row(loads.High, "g/L"), row(loads.Hours, "h")
}

func (c *TransportCheck) judge(loads husbandry.BagLoad) {
	c.Verdict = TransportUnknown
	if c.Load.Known() && c.MostAt.Known() {
		c.Verdict = string(loads.Judge(c.Load.Value))
	}
}

// say puts the verdict in words.
func (c *TransportCheck) say(t LiveTransport) {
	if c.Verdict == TransportUnknown {
		reason := c.Load.Reason
		if reason == "" {
			reason = c.MostAt.Reason
		}
		c.Says = "Nobody can say whether this goes well: " + reason + "."
		return
	}
	way := fmt.Sprintf("for %s in water of %s °C", several(float64(t.Hours)/1000, "hour"), spoken(float64(t.TemperatureC)/1000))
	load := fmt.Sprintf("%s g of fish in a litre", spoken(c.Load.Value))
	switch c.Verdict {
	case TransportOverloaded:
		c.Says = fmt.Sprintf("Do not send them like this: %s is too much %s, fish will die. Never more than %s g in a litre; %s g is safe.", load, way, spoken(c.MostAt.Value), spoken(c.FineTo.Value))
	case TransportTight:
		c.Says = fmt.Sprintf("This is tight: %s %s. Up to %s g is safe, and above %s g fish die; in between it depends on the fish and the oxygen.", load, way, spoken(c.FineTo.Value), spoken(c.MostAt.Value))
	default:
		c.Says = fmt.Sprintf("This is fine: %s %s. Up to %s g is safe.", load, way, spoken(c.FineTo.Value))
		return
	}
	c.Says += fmt.Sprintf(" Take %s with this much water each, or no more than %s fish.", several(c.FineBags.Value, "bag"), spoken(c.FineFish.Value))
}
