package husbandry

import "testing"

// Every bound of every species has a source and a provenance, and the bounds of a
// limit are in order, so that a reading cannot be alarming and fine.
func TestLimitsAreWhole(t *testing.T) {
	t.Parallel()
	for _, species := range []string{Tilapia, Catfish} {
		limits, ok := Limits(species)
		if !ok || len(limits) == 0 {
			t.Fatalf("%s: no limits", species)
		}
		seen := map[Parameter]bool{}
		for _, l := range limits {
			if seen[l.Parameter] {
				t.Errorf("%s: %s is there twice", species, l.Parameter)
			}
			seen[l.Parameter] = true
			last := -1.
			bounds := 0
			for _, b := range []*Bound{l.LowAlarm, l.LowWarn, l.HighWarn, l.HighAlarm} {
				if b == nil {
					continue
				}
				bounds++
				if b.Value <= last {
					t.Errorf("%s: bounds of %s are out of order", species, l.Parameter)
				}
				last = b.Value
				if b.Source == "" || b.Provenance == "" {
					t.Errorf("%s: a bound of %s is without source", species, l.Parameter)
				}
			}
			if bounds == 0 {
				t.Errorf("%s: %s has no bound", species, l.Parameter)
			}
		}
	}
	if limits, ok := Limits("FCP"); ok || limits != nil {
		t.Errorf("limits for a species of which there is no table: %v", limits)
	}
	if _, ok := LimitOf(Tilapia, Salinity); ok {
		t.Error("a limit of salinity out of nothing")
	}
}

// Published source, read: FAO 589 (temperature, oxygen at least 4–5, pH 6.5–8.5,
// NO2, NO3, TAN); from memory of Schram et al. 2010 and 2014 (catfish, NH3-N 0.34,
// NO3-N 140) and of texts on catfish; the rest is common practice, no source.
func TestLimitJudge(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		species   string
		parameter Parameter
		reading   float64
		want      Level
		bound     float64 // 0: none
	}{
		{Tilapia, Temperature, 28, Fine, 0},
		{Tilapia, Temperature, 17, Fine, 0},
		{Tilapia, Temperature, 16.9, Warn, 17},
		{Tilapia, Temperature, 13.9, Alarm, 14},
		{Tilapia, Temperature, 33.1, Warn, 33},
		{Tilapia, Temperature, 36.1, Alarm, 36},
		{Catfish, Temperature, 17, Warn, 18},
		{Catfish, Temperature, 7, Alarm, 8},
		{Catfish, Temperature, 35.5, Alarm, 35},
		{Tilapia, Oxygen, 4.5, Warn, 5},
		{Tilapia, Oxygen, 3.9, Alarm, 4},
		{Catfish, Oxygen, 3.9, Warn, 4},
		{Catfish, Oxygen, 1.9, Alarm, 2},
		{Tilapia, PH, 6.5, Fine, 0},
		{Catfish, PH, 8.6, Warn, 8.5},
		{Catfish, PH, 5.9, Alarm, 6},
		{Tilapia, TAN, 1.2, Warn, 1},
		{Tilapia, NH3, 0.06, Warn, 0.05},
		{Tilapia, NH3, 0.31, Alarm, 0.3},
		{Catfish, NH3, 0.31, Warn, 0.05},
		{Catfish, NH3, 0.35, Alarm, 0.34},
		{Tilapia, NO2, 1.1, Warn, 1},
		{Tilapia, NO3, 410, Warn, 400},
		{Catfish, NO3, 410, Fine, 0},
		{Catfish, NO3, 630, Warn, 620},
	} {
		limit, ok := LimitOf(c.species, c.parameter)
		if !ok {
			t.Fatalf("%s has no limit of %s", c.species, c.parameter)
		}
		level, bound := limit.Judge(c.reading)
		if level != c.want || (bound == nil) != (c.bound == 0) || bound != nil && bound.Value != c.bound {
			t.Errorf("%s, %s %v: %s (%v), want %s at %v", c.species, c.parameter, c.reading, level, bound, c.want, c.bound)
		}
	}
}

// Published source, read: FAO 589, section 7, a change of 0.3 pH within a day can
// harm; 5 °C in a day is common practice, no source.
func TestChangedTooFast(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		parameter   Parameter
		before, now float64
		days        int64
		want        bool
	}{
		{PH, 7.8, 8.1, 1, false}, // in floating point above 0.3
		{PH, 7.8, 8.11, 1, true},
		{PH, 8.2, 7.8, 1, true},
		{PH, 7.8, 8.2, 2, false},
		{Temperature, 27, 22, 1, false},
		{Temperature, 27, 21.9, 1, true},
		{Temperature, 21.9, 27, 0, true},
		{Oxygen, 8, 1, 1, false},
	} {
		if _, got := ChangedTooFast(c.parameter, c.before, c.now, c.days); got != c.want {
			t.Errorf("%s from %v to %v in %d days: %v", c.parameter, c.before, c.now, c.days, got)
		}
	}
}

func TestParametersHaveUnits(t *testing.T) {
	t.Parallel()
	for p, want := range map[Parameter]string{Temperature: "°C", PH: "", NH3: "mg/L as N", TAN: "mg/L as N", NO3: "mg/L", Oxygen: "mg/L", Alkalinity: "mg/L as CaCO3", Salinity: "g/L"} {
		if got := p.Unit(); got != want {
			t.Errorf("%s is in %q, want %q", p, got, want)
		}
	}
}
