package husbandry

// What a unit of water that is shared with plants, or cleaned by a filter, can
// carry.
var (
	// SharedWaterDensity is a limit of filter and air for water that goes round,
	// not of the species: catfish in tanks whose water is changed every day are
	// kept far denser.
	SharedWaterDensity = Fact{20, "kg/m³", fao589 + ": 10–20 kg of fish in 1000 L", Memory}
	// LeastTurnover is how often an hour the pump should move the water of a tank.
	LeastTurnover = Fact{1, "/h", fao589 + ": the water turns over at least once an hour", Memory}
	// BedFeedLeafy and BedFeedFruiting are the feed a day whose waste a bed of
	// 1 m² takes up, of feed with 32 % protein.
	BedFeedLeafy    = [2]Fact{{40, "g/m²/day", fao589 + ", section 8, leafy vegetables", Read}, {50, "g/m²/day", fao589 + ", section 8, leafy vegetables", Read}}
	BedFeedFruiting = [2]Fact{{50, "g/m²/day", fao589 + ", section 8, fruiting vegetables", Read}, {80, "g/m²/day", fao589 + ", section 8, fruiting vegetables", Read}}
)

// Design is a row of the design table of FAO 589 (from memory).
type Design struct {
	TankL, FishKg, FeedG, PumpLH, BedM2 float64
}

// Designs is the design table of FAO 589, from memory, by size of tank.
var Designs = []Design{
	{200, 5, 50, 800, 1},
	{500, 10, 100, 1200, 2},
	{1000, 20, 200, 2000, 4},
	{1500, 30, 300, 2500, 6},
	{2000, 40, 400, 3200, 8},
}

// DesignConflict tells what the design table says against its own text.
const DesignConflict = "FAO 589 (from memory): its text has 10–20 kg of fish in 1000 L, but the first row of its design table puts 5 kg in 200 L, which is 25 kg/m³."

// Density returns the fish in kg per m³ of water. There is none unless there is
// water and the weight is not negative.
func Density(kg, litres float64) (kgM3 float64, ok bool) {
	if !(kg >= 0 && litres > 0) {
		return 0, false
	}
	return kg * 1000 / litres, true
}

// CarriedByDensity returns the kg of fish that a volume holds at a density in
// kg/m³. There is none unless both are positive.
func CarriedByDensity(litres, kgM3 float64) (kg float64, ok bool) {
	if !(litres > 0 && kgM3 > 0) {
		return 0, false
	}
	return litres * kgM3 / 1000, true
}

// CarriedByFeed returns the kg of fish that so many g of feed a day keep, at a
// ration in percent of their weight. There is none unless both are positive.
func CarriedByFeed(gramsADay, rationPercent float64) (kg float64, ok bool) {
	if !(gramsADay > 0 && rationPercent > 0) {
		return 0, false
	}
	return gramsADay / (10 * rationPercent), true
}

// FeedByBed returns the g of feed a day whose waste a bed of some m² takes up at
// a rate in g/m²/day. There is none unless both are positive.
func FeedByBed(m2, rate float64) (gramsADay float64, ok bool) {
	if !(m2 > 0 && rate > 0) {
		return 0, false
	}
	return m2 * rate, true
}

// FeedByOxygen returns the g of feed a day for which water that comes saturated
// with oxygen, and shall leave with no less than some mg/L, brings enough for the
// fish, at kg of oxygen per kg of feed. No air pump is counted. There is none
// unless water flows in (L/h), with more oxygen than it shall leave with.
func FeedByOxygen(flow, saturation, least, perFeed float64) (gramsADay float64, ok bool) {
	if !(flow > 0 && least >= 0 && saturation > least && perFeed > 0) {
		return 0, false
	}
	const hours, mgInG = 24, 1000
	return flow * hours * (saturation - least) / mgInG / perFeed, true
}

// Turnover returns how often an hour a flow in L/h moves a volume in L. There is
// none unless there is water and the flow is not negative.
func Turnover(flow, litres float64) (perHour float64, ok bool) {
	if !(flow >= 0 && litres > 0) {
		return 0, false
	}
	return flow / litres, true
}

// Drains reports whether a drain or siphon of some L/h empties a bed faster than
// the pump fills it; one that does not never breaks its suction, and the bed
// stays flooded (common practice, no source).
func Drains(drain, fill float64) bool { return drain > fill }

// Energy returns the kWh that some W draw in some hours. There is none for
// negative numbers.
func Energy(watts, hours float64) (kWh float64, ok bool) {
	if !(watts >= 0 && hours >= 0) {
		return 0, false
	}
	return watts * hours / 1000, true
}
