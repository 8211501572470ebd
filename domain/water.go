package domain

import (
	"math"

	"shoalbook/domain/husbandry"
)

// WaterParameter is something that is read of water.
type WaterParameter int

// What is read of water, in the order of [WaterParameters]. TAN and NH3 are as
// nitrogen; NH3 is worked out.
const (
	Temperature WaterParameter = iota
	Oxygen
	PH
	TAN
	NH3
	NO2
	NO3
	Alkalinity
	Salinity
	waterParameters
)

// WaterParameters are the names of what is read of water, in the order of the
// readings of a [UnitState]: add at the end.
var WaterParameters = [waterParameters]husbandry.Parameter{husbandry.Temperature, husbandry.Oxygen, husbandry.PH, husbandry.TAN,
	husbandry.NH3, husbandry.NO2, husbandry.NO3, husbandry.Alkalinity, husbandry.Salinity}

// String returns the name of the parameter on the wire.
func (p WaterParameter) String() string { return string(WaterParameters[p]) }

// Readings are values by parameter: thousandths of °C, of mg/L, of a unit of pH or
// of a gram of salt in a kilogram of water.
type Readings [waterParameters]int64

// ReadingDays are days by parameter; 0, which is in 1970, if there was no reading.
type ReadingDays [waterParameters]Date

// Reading returns the last reading of a parameter and its day.
func (u *UnitState) Reading(p WaterParameter) (value Thousandths, on Date, ok bool) {
	if u == nil || u.ReadOn[p] == 0 {
		return 0, 0, false
	}
	return Thousandths(u.ReadValue[p]), u.ReadOn[p], true
}

// read takes a reading. That of an earlier day is kept beside it.
func (u *UnitState) read(p WaterParameter, on Date, value int64) {
	if u.ReadOn[p] != 0 && u.ReadOn[p] != on {
		u.WasOn[p], u.WasValue[p] = u.ReadOn[p], u.ReadValue[p]
	}
	u.ReadOn[p], u.ReadValue[p] = on, value
}

// take takes the readings of an entry, and works out the un-ionised ammonia where
// TAN and pH are of one day and a temperature is known.
func (u *UnitState) take(b Water, on Date) {
	for p, v := range b.readings() {
		if v != nil {
			u.read(WaterParameter(p), on, int64(*v))
		}
	}
	if b.TANMgL == nil && b.PH == nil && b.TemperatureC == nil || u.ReadOn[TAN] != on || u.ReadOn[PH] != on || u.ReadOn[Temperature] == 0 {
		return
	}
	if nh3, ok := u.ammonia(); ok {
		u.read(NH3, on, nh3)
	}
}

// ammonia returns the un-ionised ammonia of the last readings, thousandths of mg/L as N.
func (u *UnitState) ammonia() (nh3 int64, ok bool) {
	of := func(p WaterParameter) float64 { return float64(u.ReadValue[p]) / 1000 }
	f, ok := husbandry.UnionisedFraction(of(Temperature), of(PH), of(Salinity))
	return int64(math.RoundToEven(of(TAN) * f * 1000)), ok
}

// readings returns the readings of an entry by parameter, TAN as nitrogen.
func (b Water) readings() [waterParameters]*Thousandths {
	return [...]*Thousandths{b.TemperatureC, b.OxygenMgL, b.PH, b.tan(), nil, b.NO2MgL, b.NO3MgL, b.AlkalinityMgL, b.SalinityPPT}
}

// reads reports whether the entry has any reading.
func (b Water) reads() bool { return b.readings() != [waterParameters]*Thousandths{} }

// tan returns total ammonia as nitrogen, which kits print as that of nitrogen, of NH3
// or of NH4.
func (b Water) tan() *Thousandths {
	if b.TANMgL == nil || b.TANBasis == nil {
		return b.TANMgL
	}
	n, _ := husbandry.TotalAmmoniaN(float64(*b.TANMgL), *b.TANBasis)
	return new(Thousandths(math.RoundToEven(n)))
}
