package husbandry

import "math"

// MostAmmoniaSalinity is the salinity in ‰ above which the formula of
// [UnionisedFraction], made for fresh water, is refused.
const MostAmmoniaSalinity = 10

// UnionisedFraction returns the share of total ammonia that is un-ionised (NH3,
// the toxic part), from 0 to 1, in water of some °C, pH and salinity in ‰,
//
//	1 ÷ (1 + 10^(pKa − pH)), pKa = 0.09018 + 2729.92 ÷ (°C + 273.15)
//
// (Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can.
// 32:2379–2383; some manuals misprint 2727.92). There is none outside 0–50 °C,
// where the constants were measured, outside pH 0–14, or above
// [MostAmmoniaSalinity].
func UnionisedFraction(celsius, pH, salinity float64) (fraction float64, ok bool) {
	if !(celsius >= 0 && celsius <= 50 && pH >= 0 && pH <= 14 && salinity >= 0 && salinity <= MostAmmoniaSalinity) {
		return 0, false
	}
	pKa := 0.09018 + 2729.92/(celsius+kelvin)
	return 1 / (1 + math.Pow(10, pKa-pH)), true
}

// kelvin is 0 °C in kelvin.
const kelvin = 273.15

// What a mass of ammonia or ammonium holds of nitrogen.
const (
	nitrogenInNH3 = 14.007 / 17.031
	nitrogenInNH4 = 0.7765
)

// TotalAmmoniaN returns total ammonia as nitrogen, in the unit of the reading.
// Test kits say what theirs is a mass of: n for nitrogen, nh3 for ammonia, nh4
// for ammonium. There is none for another basis or a negative reading.
func TotalAmmoniaN(reading float64, basis string) (nitrogen float64, ok bool) {
	if !(reading >= 0) {
		return 0, false
	}
	switch basis {
	case "n":
		return reading, true
	case "nh3":
		return reading * nitrogenInNH3, true
	case "nh4":
		return reading * nitrogenInNH4, true
	}
	return 0, false
}

// TotalAmmoniaFor returns the total ammonia, as nitrogen, of which so much is
// un-ionised, in the unit of the latter. There is none where there is no
// [UnionisedFraction] or for a negative amount.
func TotalAmmoniaFor(unionised, celsius, pH, salinity float64) (total float64, ok bool) {
	f, ok := UnionisedFraction(celsius, pH, salinity)
	if !ok || !(unionised >= 0) {
		return 0, false
	}
	return unionised / f, true
}

// AmmoniaOfProtein is the total ammonia nitrogen that comes of fed protein.
var AmmoniaOfProtein = Fact{0.092, "kg/kg", timmons, Memory}

// AmmoniaFrom returns the total ammonia nitrogen that comes of feed of a protein
// fraction from 0 to 1, in the unit of the feed. There is none for a negative
// amount or another fraction.
func AmmoniaFrom(feed, protein float64) (nitrogen float64, ok bool) {
	if !(feed >= 0 && protein >= 0 && protein <= 1) {
		return 0, false
	}
	return feed * protein * AmmoniaOfProtein.Value, true
}
