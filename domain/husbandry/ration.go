package husbandry

// RationClass is what fish of a class of weights are fed in a day, as shares of
// their weight in percent, in water of 26–33 °C.
type RationClass struct {
	From, To   float64 // g, half-open; To 0: no end
	Low, High  float64 // % a day
	Source     string
	Provenance Provenance
}

// Middle returns what is taken where one number is needed: the middle of the
// class.
func (c RationClass) Middle() float64 { return (c.Low + c.High) / 2 }

const (
	hogendoorn = "common practice, no source; shape from memory of Hogendoorn et al. 1983"
	srac283    = "SRAC 283"
)

var rationTables = map[string][]RationClass{
	Catfish: {
		{0, 1, 10, 15, hogendoorn, Practice},
		{1, 5, 6, 10, hogendoorn, Practice},
		{5, 20, 5, 7, hogendoorn, Practice},
		{20, 50, 4, 5, hogendoorn, Practice},
		{50, 100, 3, 4, hogendoorn, Practice},
		{100, 300, 2, 3, hogendoorn, Practice},
		{300, 800, 1.5, 2, hogendoorn, Practice},
		{800, 0, 1, 1.5, hogendoorn, Practice},
	},
	Tilapia: {
		{0, 0.5, 15, 15, srac283 + ", below its first class", Memory},
		{0.5, 5, 10, 15, srac283, Memory},
		{5, 20, 7, 10, srac283, Memory},
		{20, 50, 4, 7, srac283, Memory},
		{50, 100, 3.5, 4, srac283, Memory},
		{100, 250, 1.5, 3.5, srac283, Memory},
		{250, 450, 1, 1.5, srac283, Memory},
		{450, 0, 1, 1, srac283 + ", above its last class", Memory},
	},
}

// Ration returns the class of a species, by its ASFIS code, for fish of a mean
// weight in g. There is none for a species without a table, or unless the
// weight is positive.
func Ration(species string, weight float64) (RationClass, bool) {
	if !(weight > 0) {
		return RationClass{}, false
	}
	for _, c := range rationTables[species] {
		if weight >= c.From && (weight < c.To || c.To == 0) {
			return c, true
		}
	}
	return RationClass{}, false
}

// DailyFeed returns the feed for a day, in the unit of the biomass, at a ration in
// percent. There is none for negative numbers.
func DailyFeed(biomass, rationPercent float64) (feed float64, ok bool) {
	if !(biomass >= 0 && rationPercent >= 0) {
		return 0, false
	}
	return biomass * rationPercent / 100, true
}

// GrowOutRation is the daily ration of grown fish in aquaponics.
var GrowOutRation = [2]Fact{
	{1, "%/day", fao589 + ", section 7", Read},
	{2, "%/day", fao589 + ", section 7", Read},
}

// TemperatureFactor returns what share of the ration fish are fed in water of
// some °C (common practice, no source; that tilapia stop feeding below 17 °C is
// read in FAO 589). From 33 °C on fish get half of it, and somebody should ask
// why the water is so warm: hot.
func TemperatureFactor(celsius float64) (factor float64, hot bool) {
	switch {
	case celsius >= 33:
		return 0.5, true
	case celsius >= 26:
		return 1, false
	case celsius >= 24:
		return 0.8, false
	case celsius >= 22:
		return 0.6, false
	case celsius >= 20:
		return 0.4, false
	case celsius >= 18:
		return 0.2, false
	case celsius >= 17:
		return 0.1, false
	}
	return 0, false
}

// OxygenFactor returns what share of the ration fish are fed in water of some
// mg/L of oxygen: nothing below the alarm of the limit (common practice, no
// source), for fish digest with oxygen that is not there.
func OxygenFactor(mgL float64, limit Limit) float64 {
	if level, _ := limit.Judge(mgL); level == Alarm {
		return 0
	}
	return 1
}

// Pellet returns the pellets for fish of a mean weight in g, from one size in mm
// to another; 0 is crumble (common practice, no source).
func Pellet(weight float64) (from, to float64) {
	switch {
	case weight < 1:
		return 0, 0
	case weight < 5:
		return 1, 1.5
	case weight < 20:
		return 2, 2
	case weight < 60:
		return 3, 3
	case weight < 250:
		return 4, 4.5
	}
	return 6, 8
}

// Protein returns the crude protein in percent that feed for fish of a mean
// weight in g should have, from one share to another; to 0: or more. There is
// none for a species without a table.
func Protein(species string, weight float64) (from, to Fact, ok bool) {
	switch {
	case species == Catfish && weight <= 5:
		return Fact{50, "%", "Hecht, in FAO Fisheries Technical Paper 583", Read}, Fact{}, true
	case species == Catfish:
		page := "FAO feed information page"
		return Fact{40, "%", page, Read}, Fact{42, "%", page, Read}, true
	case species == Tilapia && weight <= 5:
		optimum := Fact{35, "%", "optimum of tilapia fry, " + fao589, Read}
		return optimum, optimum, true
	case species == Tilapia:
		standard := Fact{32, "%", "standard in aquaponics, " + fao589 + ", section 8", Read}
		return standard, standard, true
	}
	return Fact{}, Fact{}, false
}

// Meals returns in how many meals a day fish of a mean weight in g are fed
// (common practice, no source): the smaller the fish, the smaller its stomach.
func Meals(weight float64) int {
	switch {
	case weight < 1:
		return 6
	case weight < 20:
		return 4
	case weight < 100:
		return 3
	}
	return 2
}
