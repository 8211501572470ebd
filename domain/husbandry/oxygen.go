package husbandry

import "math"

// OxygenSaturation returns the dissolved oxygen in mg/L of water in balance with
// the air, at some °C, salinity in ‰ and altitude in m (Benson & Krause 1984, as
// in APHA 4500-O; the pressure at an altitude is that of the ICAO standard
// atmosphere). There is none outside 0–40 °C, 0–40 ‰ and −500–9000 m.
func OxygenSaturation(celsius, salinity, altitude float64) (mgL float64, ok bool) {
	if !(celsius >= 0 && celsius <= 40 && salinity >= 0 && salinity <= 40 && altitude >= -500 && altitude <= 9000) {
		return 0, false
	}
	t := celsius + kelvin
	c := math.Exp(-139.34411 + 1.575701e5/t - 6.642308e7/(t*t) + 1.243800e10/(t*t*t) - 8.621949e11/(t*t*t*t) -
		salinity*(1.7674e-2-10.754/t+2140.7/(t*t)))
	p := math.Pow(1-2.25577e-5*altitude, 5.25588) // atm
	vapour := math.Exp(11.8571 - 3840.70/t - 216961/(t*t))
	theta := 0.000975 - 1.426e-5*celsius + 6.436e-8*celsius*celsius
	return c * p * (1 - vapour/p) * (1 - theta*p) / ((1 - vapour) * (1 - theta)), true
}

// What fish and their water use of oxygen, per feed.
var (
	OxygenOfSystem = Fact{1.25, "kg/kg", "Boyd, oxygen demand of the whole system", Read}
	OxygenOfFish   = Fact{0.5, "kg/kg", timmons + ", 0.3–0.5 for the fish alone", Memory}
)
