package husbandry

import (
	"math"
	"testing"
)

// K-30, computed; agrees with the table of APHA from memory. TEOS-10's solubility
// gives 8.262 at 25 °C.
func TestOxygenSaturation(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ celsius, salinity, altitude, want, tol float64 }{
		{0, 0, 0, 14.621, 0.002},
		{10, 0, 0, 11.288, 0.002},
		{20, 0, 0, 9.092, 0.002},
		{25, 0, 0, 8.263, 0.002},
		{30, 0, 0, 7.559, 0.002},
		{25, 0, 1000, 7.30, 0.01},
		{25, 0, 1500, 6.85, 0.01},
		{25, 5, 0, 8.032, 0.002},
	} {
		got, ok := OxygenSaturation(c.celsius, c.salinity, c.altitude)
		check(t, "K-30", got, ok, c.want, c.tol)
	}
}

func TestOxygenSaturationIsRefusedOutsideItsWater(t *testing.T) {
	t.Parallel()
	for name, c := range map[string][3]float64{
		"frozen": {-0.1, 0, 0}, "hot": {40.1, 0, 0}, "brine": {25, 40.1, 0}, "salt below": {25, -1, 0},
		"too high": {25, 0, 9001}, "too deep": {25, 0, -501}, "no number": {25, 0, math.NaN()},
	} {
		got, ok := OxygenSaturation(c[0], c[1], c[2])
		none(t, name, got, ok)
	}
}
