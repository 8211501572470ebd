package domain

import (
	"slices"

	"shoalbook/domain/husbandry"
)

// WaterLimit is what a co-operative holds good water to be for a species, in place of
// the default: below or above what somebody is to be warned, and from where on fish
// are in danger. A bound that is nil is none.
type WaterLimit struct {
	ID        LimitID
	Species   string // ASFIS 3-alpha code; never changes
	Parameter string // one of [WaterParameters]; never changes
	LowAlarm  *Thousandths
	LowWarn   *Thousandths
	HighWarn  *Thousandths
	HighAlarm *Thousandths
	Source    string // why it is so
	Kept
}

// Check refuses a limit that cannot be.
func (f *WaterLimit) Check() error {
	c := &checker{}
	c.require(isCode(f.Species, 3), "/species", "must be an ASFIS code of three letters, such as CLZ")
	c.require(slices.Contains(WaterParameters[:], husbandry.Parameter(f.Parameter)), "/parameter", "is nothing that is read of water")
	bounds := []struct {
		value   *Thousandths
		pointer string
	}{{f.LowAlarm, "/low_alarm"}, {f.LowWarn, "/low_warn"}, {f.HighWarn, "/high_warn"}, {f.HighAlarm, "/high_alarm"}}
	var below *Thousandths
	for _, b := range bounds {
		if b.value == nil {
			continue
		}
		c.require(*b.value >= 0, b.pointer, "must not be negative")
		c.require(below == nil || *b.value >= *below, b.pointer, "must not be below the one before it: low_alarm, low_warn, high_warn, high_alarm")
		below = b.value
	}
	c.require(below != nil, "/low_alarm", "give at least one bound")
	c.require(fits(f.Source, 300), "/source", "say where it is from, in 1 to 300 characters")
	return c.refuse("the limit")
}

// LimitInForce is what a reading of the water of a species is judged by.
type LimitInForce struct {
	husbandry.Limit
	By *LimitID // of the co-operative; nil: the default
}

// LimitBound is one end of a limit, in the unit of its parameter.
type LimitBound struct {
	Value      float64
	Source     string
	Provenance string // read, memory, practice, recorded
}

// Bounds returns the ends of the limit, from the lowest to the highest: low alarm, low
// warning, high warning, high alarm. One that is nil is none.
func (l *LimitInForce) Bounds() (bounds [4]*LimitBound) {
	for i, b := range []*husbandry.Bound{l.LowAlarm, l.LowWarn, l.HighWarn, l.HighAlarm} {
		if b != nil {
			bounds[i] = &LimitBound{b.Value, b.Source, string(b.Provenance)}
		}
	}
	return bounds
}

// LimitsInForce returns the limits of a species, in the order of [WaterParameters]:
// those of the co-operative, and the defaults where it has none.
func LimitsInForce(species string, own []WaterLimit) []LimitInForce {
	var limits []LimitInForce
	defaults, _ := husbandry.Limits(species)
	for _, p := range WaterParameters {
		var limit husbandry.Limit
		known := slices.ContainsFunc(defaults, func(l husbandry.Limit) bool {
			limit = l
			return l.Parameter == p
		})
		i := slices.IndexFunc(own, func(l WaterLimit) bool {
			return l.Species == species && l.Parameter == string(p) && !l.Archived
		})
		switch {
		case i >= 0:
			limits = append(limits, own[i].inForce(limit.Conflicts))
		case known:
			limits = append(limits, LimitInForce{Limit: limit})
		}
	}
	return limits
}

func (f *WaterLimit) inForce(conflicts []string) LimitInForce {
	bound := func(v *Thousandths) *husbandry.Bound {
		if v == nil {
			return nil
		}
		return &husbandry.Bound{Value: float64(*v) / 1000, Source: f.Source, Provenance: husbandry.Recorded}
	}
	return LimitInForce{By: &f.ID, Limit: husbandry.Limit{Parameter: husbandry.Parameter(f.Parameter), LowAlarm: bound(f.LowAlarm), LowWarn: bound(f.LowWarn),
		HighWarn: bound(f.HighWarn), HighAlarm: bound(f.HighAlarm), Conflicts: conflicts}}
}
