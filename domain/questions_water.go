package domain

import (
	"fmt"
	"slices"

	"shoalbook/domain/husbandry"
)

// span is what a reading is seldom outside of.
type span struct {
	low, high   float64
	hasLow      bool
	hasHigh     bool
	alarmBeyond float64 // 0: nowhere
	source      string
}

// seldom is what readings are seldom outside of, whatever lives in the water (common
// practice, no source; the sources of the limits of TAN, NO2 and NO3 are with
// [husbandry.Limits]).
var seldom = map[WaterParameter]span{
	Temperature: {low: 20, high: 33, hasLow: true, hasHigh: true},
	PH:          {low: 6.0, high: 8.8, hasLow: true, hasHigh: true},
	TAN:         {high: 1, hasHigh: true},
	NH3:         {high: 0.05, hasHigh: true, alarmBeyond: 0.3},
	NO2:         {high: 1, hasHigh: true},
	NO3:         {high: 400, hasHigh: true},
}

// saturated is the share of saturation above which oxygen is asked about (common
// practice, no source).
const saturated = 1.2

// spanOf returns what a reading of the water of a unit is seldom outside of: what the
// co-operative has set for a fish in it, else what is usual.
func (s *Site) spanOf(unit UnitID, p WaterParameter) (span, bool) {
	found, ok := seldom[p]
	for _, species := range s.speciesIn(unit) {
		if l := ownLimit(s.Facts.Limits, species, p); l != nil {
			return l.span(), true
		}
		if k, known := kinOf(species); known && p == Oxygen && k.oxygen > found.low {
			found, ok = span{low: k.oxygen, hasLow: true}, true
		}
	}
	return found, ok
}

func ownLimit(limits []WaterLimit, species string, p WaterParameter) *WaterLimit {
	for i, l := range limits {
		if l.Species == species && l.Parameter == p.String() && !l.Archived {
			return &limits[i]
		}
	}
	return nil
}

// span returns what the co-operative wants to be warned outside of.
func (f *WaterLimit) span() (found span) {
	found.source = ", by the limit of the co-operative"
	if v := firstOf(f.LowWarn, f.LowAlarm); v != nil {
		found.low, found.hasLow = float64(*v)/1000, true
	}
	if v := firstOf(f.HighWarn, f.HighAlarm); v != nil {
		found.high, found.hasHigh = float64(*v)/1000, true
	}
	if f.HighAlarm != nil {
		found.alarmBeyond = float64(*f.HighAlarm) / 1000
	}
	return found
}

func firstOf(a, b *Thousandths) *Thousandths {
	if a != nil {
		return a
	}
	return b
}

// speciesIn returns the species of the fish in a unit, by their codes.
func (s *Site) speciesIn(unit UnitID) (found []string) {
	for id, b := range s.Batches {
		if b.Unit == unit && b.OnHand() > 0 {
			found = append(found, s.Facts.Batches[id].Species)
		}
	}
	slices.Sort(found)
	return found
}

func (b Water) questions(s *Site, e *Entry, was before) {
	u := s.Units[b.Unit]
	if u == nil {
		return
	}
	for p, v := range b.readings() {
		if v != nil {
			s.askReading(e, WaterParameter(p), u)
			s.askChange(e, WaterParameter(p), u, was.unit)
		}
	}
	if u.ReadOn[NH3] == s.day && (was.unit == nil || was.unit.ReadOn[NH3] != s.day || was.unit.ReadValue[NH3] != u.ReadValue[NH3]) {
		s.askReading(e, NH3, u)
	}
	b.askOxygen(s, e, u)
	of := func(p WaterParameter) float64 { return float64(u.ReadValue[p]) / 1000 }
	if (b.SalinityPPT != nil || b.TANMgL != nil) && of(Salinity) > husbandry.MostAmmoniaSalinity {
		s.ask(e.ID, "salinity", fmt.Sprintf("the water has %s g of salt in a kg: is that right? Above 10 nobody can work out the poisonous part of the ammonia by the formula for fresh water", inWords(of(Salinity))), NamedValue{"salinity_ppt", of(Salinity)})
	}
	// Total alkalinity is what acid it takes to bring water to a pH of about 4.5 (from
	// memory of APHA 2320): below that there is none.
	if b.PH != nil && b.AlkalinityMgL != nil && *b.PH < 4500 && *b.AlkalinityMgL > 0 {
		s.ask(e.ID, "contradiction", "water with a pH below 4.5 has no alkalinity: which of the two readings is wrong?", NamedValue{"ph", of(PH)}, NamedValue{"alkalinity_mg_l", of(Alkalinity)})
	}
}

// askReading asks about a reading that is seldom what it is.
func (s *Site) askReading(e *Entry, p WaterParameter, u *UnitState) {
	bounds, ok := s.spanOf(e.Body.(Water).Unit, p)
	v := float64(u.ReadValue[p]) / 1000
	unit := WaterParameters[p].Unit()
	if unit != "" {
		unit = " " + unit
	}
	name := waterWords[WaterParameters[p]]
	figures := []NamedValue{{p.String(), v}}
	switch {
	case !ok:
	case bounds.hasLow && v < bounds.low:
		s.ask(e.ID, p.String(), fmt.Sprintf("%s: %s%s is below %s%s: is the reading right, and what is done about it?", name, inWords(v), unit, inWords(bounds.low), bounds.source), append(figures, NamedValue{"seldom_below", bounds.low})...)
	case bounds.hasHigh && v > bounds.high:
		danger := ""
		if bounds.alarmBeyond > 0 && v > bounds.alarmBeyond {
			danger = ", and above " + inWords(bounds.alarmBeyond) + " fish are in danger"
		}
		s.ask(e.ID, p.String(), fmt.Sprintf("%s: %s%s is above %s%s%s: is the reading right, and what is done about it?", name, inWords(v), unit, inWords(bounds.high), bounds.source, danger), append(figures, NamedValue{"seldom_above", bounds.high})...)
	}
}

// askChange asks about a reading that is far from one of the same day or the day before.
func (s *Site) askChange(e *Entry, p WaterParameter, u, was *UnitState) {
	before, on, ok := was.Reading(p)
	if !ok {
		return
	}
	now := u.ReadValue[p]
	most, fast := husbandry.ChangedTooFast(WaterParameters[p], float64(before)/1000, float64(now)/1000, int64(s.day-on))
	if !fast {
		return
	}
	s.ask(e.ID, p.String()+"_change", fmt.Sprintf("%s went from %s (%s) to %s: more than %s within a day harms fish, or one of the readings is wrong", waterWords[WaterParameters[p]], before.Format(), on, Thousandths(now).Format(), inWords(most.Value)),
		NamedValue{"before", float64(before) / 1000}, NamedValue{"now", float64(now) / 1000})
}

// askOxygen asks about more oxygen than the air gives water at that height.
func (b Water) askOxygen(s *Site, e *Entry, u *UnitState) {
	t, on, ok := u.Reading(Temperature)
	if b.OxygenMgL == nil || !ok || on < s.day-1 {
		return
	}
	height := 0. // where it is not known: there the water holds most
	if s.Facts.AltitudeM != nil {
		height = float64(*s.Facts.AltitudeM) / 1000
	}
	salt, _, _ := u.Reading(Salinity)
	full, ok := husbandry.OxygenSaturation(float64(t)/1000, float64(salt)/1000, height)
	v := float64(*b.OxygenMgL) / 1000
	if !ok || v <= saturated*full {
		return
	}
	s.ask(e.ID, "oxygen_saturation", fmt.Sprintf("%s mg/L of oxygen are %s %% of what water of %s °C holds at %s m: is the meter set right, and is the reading in mg/L?", inWords(v), inWords(100*v/full), t.Format(), inWords(height)),
		NamedValue{"oxygen_mg_l", v}, NamedValue{"saturation_mg_l", full})
}
