package domain_test

import (
	"testing"

	"shoalbook/domain"
)

// wantReading checks the last reading of a parameter, as it is printed.
func wantReading(t *testing.T, u *domain.UnitState, p domain.WaterParameter, on domain.Date, want string) {
	t.Helper()
	v, d, ok := u.Reading(p)
	if !ok || d != on || v.Format() != want {
		t.Errorf("%v is %s on %v (%v), want %s on %v", p, v.Format(), d, ok, want, on)
	}
}

func TestReadings(t *testing.T) {
	t.Parallel()
	var j journal
	j.at(day(1), 400, domain.Water{Unit: tank1, TemperatureC: new(milli(25)), PH: new(milli(7.1))})
	j.at(day(1), 900, domain.Water{Unit: tank1, TemperatureC: new(milli(28)), OxygenMgL: new(milli(5.5)), NO2MgL: new(milli(0.2)), NO3MgL: new(milli(80)), AlkalinityMgL: new(milli(90)), SalinityPPT: new(milli(0.5))})
	j.at(day(4), 400, domain.Water{Unit: tank1, PH: new(milli(7.6))})
	j.at(day(4), 900, domain.Water{Unit: tank1, PH: new(milli(7.4))})
	j.at(day(5), 900, domain.Water{Unit: tank1, LitresAdded: new(milli(200))})
	u := j.fold(t).Units[tank1]
	wantReading(t, u, domain.Temperature, day(1), "28")
	wantReading(t, u, domain.PH, day(4), "7.4")
	wantReading(t, u, domain.Oxygen, day(1), "5.5")
	wantReading(t, u, domain.NO2, day(1), "0.2")
	wantReading(t, u, domain.NO3, day(1), "80")
	wantReading(t, u, domain.Alkalinity, day(1), "90")
	wantReading(t, u, domain.Salinity, day(1), "0.5")
	if u.WasOn[domain.PH] != day(1) || u.WasValue[domain.PH] != 7100 || u.WasOn[domain.Temperature] != 0 {
		t.Errorf("the readings before are of %v, %v", u.WasOn, u.WasValue)
	}
	if u.TemperatureSum != milli(53) || u.Readings != 2 {
		t.Errorf("the temperatures of the day sum up to %d of %d", u.TemperatureSum, u.Readings)
	}
	if _, _, ok := u.Reading(domain.TAN); ok {
		t.Error("there is a reading of ammonia")
	}
	if _, _, ok := (*domain.UnitState)(nil).Reading(domain.PH); ok {
		t.Error("water that was never read has a reading")
	}
}

// Kits print total ammonia as nitrogen, NH3 or NH4: × 14.007/17.031, × 0.7765
// (atomic weights, computed).
func TestTotalAmmoniaIsNitrogen(t *testing.T) {
	t.Parallel()
	for basis, want := range map[string]string{"n": "2", "nh3": "1.645", "nh4": "1.553"} {
		var j journal
		j.add(day(1), domain.Water{Unit: tank1, TANMgL: new(milli(2)), TANBasis: &basis})
		wantReading(t, j.fold(t).Units[tank1], domain.TAN, day(1), want)
	}
}

// 7.20 mg/L TAN give 0.05 mg/L NH3-N at 28 °C and pH 7.0, 0.76 at pH 8.0 (K-29, computed).
func TestAmmoniaIsWorkedOut(t *testing.T) {
	t.Parallel()
	tan := func(v float64) domain.Water {
		return domain.Water{Unit: tank1, TANMgL: new(milli(v)), TANBasis: new("n")}
	}
	ph := func(v float64) domain.Water { return domain.Water{Unit: tank1, PH: new(milli(v))} }
	read := func(entries ...domain.Water) *domain.UnitState {
		var j journal
		for i, w := range entries {
			j.at(day(2), domain.Minute(400+i), w)
		}
		return j.fold(t).Units[tank1]
	}
	warm := degrees(tank1, 28)
	wantReading(t, read(warm, ph(7), tan(7.2)), domain.NH3, day(2), "0.05")
	wantReading(t, read(tan(0.76), warm, ph(8)), domain.NH3, day(2), "0.05")
	wantReading(t, read(tan(0.76), ph(8), warm), domain.NH3, day(2), "0.05") // in any order
	for what, u := range map[string]*domain.UnitState{
		"no temperature": read(ph(8), tan(1)),
		"no pH":          read(warm, tan(1)),
		"no ammonia":     read(warm, ph(8)),
		"salt water":     read(warm, ph(8), domain.Water{Unit: tank1, SalinityPPT: new(milli(10.001))}, tan(1)),
	} {
		if v, _, ok := u.Reading(domain.NH3); ok {
			t.Errorf("%s: un-ionised ammonia is %s", what, v.Format())
		}
	}
	var j journal // of another day the pH says nothing, while the last temperature stands
	j.add(day(1), warm)
	j.add(day(2), ph(8))
	j.add(day(3), tan(1))
	if _, _, ok := j.fold(t).Units[tank1].Reading(domain.NH3); ok {
		t.Error("the pH of another day was taken")
	}
	j.add(day(3), ph(8))
	wantReading(t, j.fold(t).Units[tank1], domain.NH3, day(3), "0.065") // Emerson at 28 °C, pH 8: 0.0654
}
