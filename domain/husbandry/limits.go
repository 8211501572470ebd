package husbandry

// Parameter is something that is read of water.
type Parameter string

// The parameters, with the unit of their readings.
const (
	Temperature Parameter = "temperature" // °C
	Oxygen      Parameter = "oxygen"      // mg/L
	PH          Parameter = "ph"
	TAN         Parameter = "tan"        // total ammonia, mg/L as N
	NH3         Parameter = "nh3"        // un-ionised ammonia, mg/L as N
	NO2         Parameter = "no2"        // mg/L of the ion
	NO3         Parameter = "no3"        // mg/L of the ion
	Alkalinity  Parameter = "alkalinity" // mg/L as CaCO3
	Salinity    Parameter = "salinity"   // ‰
)

// Unit returns the unit of the parameter's readings, as printed.
func (p Parameter) Unit() string {
	switch p {
	case Temperature:
		return "°C"
	case PH:
		return ""
	case TAN, NH3:
		return "mg/L as N"
	case Alkalinity:
		return "mg/L as CaCO3"
	case Salinity:
		return "g/L"
	}
	return "mg/L"
}

// Limit is what the water of a species should keep within. A bound that is nil
// is none: nobody is warned on that side.
type Limit struct {
	Parameter Parameter
	LowAlarm  *Bound
	LowWarn   *Bound
	HighWarn  *Bound
	HighAlarm *Bound
	Conflicts []string // what sources say against each other
}

// Bound is one end of a limit, in the unit of its parameter.
type Bound struct {
	Value      float64
	Source     string
	Provenance Provenance
}

// Limits returns the limits of a species by its ASFIS code, where a co-operative
// has set none. There are none of a species that is not in the table: fish of
// another species may not be judged by these.
func Limits(species string) (limits []Limit, ok bool) {
	switch species {
	case Tilapia:
		return tilapiaLimits(), true
	case Catfish:
		return catfishLimits(), true
	}
	return nil, false
}

// LimitOf returns the default limit of one parameter for a species.
func LimitOf(species string, p Parameter) (Limit, bool) {
	limits, _ := Limits(species)
	for _, l := range limits {
		if l.Parameter == p {
			return l, true
		}
	}
	return Limit{}, false
}

const (
	schram2010 = "Schram et al. 2010"
	schram2014 = "Schram et al. 2014"
	animals    = "Animals 2021, 11:3497"
	clarias    = "texts on Clarias gariepinus"
)

func tilapiaLimits() []Limit {
	return []Limit{
		{
			Parameter: Temperature,
			LowAlarm:  &Bound{14, fao589 + "; " + animals, Read},
			LowWarn:   &Bound{17, fao589 + ": no feeding below", Read},
			HighWarn:  &Bound{33, practice + ": from here half a ration", Practice},
			HighAlarm: &Bound{36, fao589 + "; " + animals, Read},
			Conflicts: []string{"Nile tilapia live at 14–36 °C but grow best at 27–30 °C: no warning does not mean good growth."},
		},
		{
			Parameter: Oxygen,
			LowAlarm:  &Bound{4, fao589 + ": at least 4–5", Read},
			LowWarn:   &Bound{5, fao589 + ": at least 4–5", Read},
			Conflicts: []string{"The source says at least 4–5 mg/L: 4 is taken for the alarm, 5 for the warning."},
		},
		acidity(),
		totalAmmonia("FAO 589 calls total ammonia above 1 mg/L toxic in its text; its table by species has another value (from memory)."),
		{
			Parameter: NH3,
			HighWarn:  &Bound{0.05, practice, Practice},
			HighAlarm: &Bound{0.3, practice, Practice},
			Conflicts: []string{"Sources set the limit of un-ionised ammonia at 0.02, 0.05 or 0.34 mg/L as N."},
		},
		nitrite(),
		{
			Parameter: NO3,
			HighWarn:  &Bound{400, fao589 + ": up to 400 tolerated", Read},
		},
	}
}

func catfishLimits() []Limit {
	return []Limit{
		{
			Parameter: Temperature,
			LowAlarm:  &Bound{8, clarias + ": survives from about 8", Memory},
			LowWarn:   &Bound{18, clarias + ": no growth below", Memory},
			HighWarn:  &Bound{33, practice + ": from here half a ration", Practice},
			HighAlarm: &Bound{35, clarias + ": survives to about 35", Memory},
			Conflicts: []string{"African catfish live at about 8–35 °C but grow best at 26–32 °C: no warning does not mean good growth."},
		},
		{
			Parameter: Oxygen,
			LowAlarm:  &Bound{2, clarias + ": the biofilter needs more than 2–4", Memory},
			LowWarn:   &Bound{4, clarias + ": small fry need more than 3–4", Memory},
			Conflicts: []string{"Grown African catfish breathe air and live in water with less; fry, and the filter that cleans the water, do not."},
		},
		acidity(),
		totalAmmonia("FAO 589 calls total ammonia above 1 mg/L toxic in its text; its table by species has another value (from memory)."),
		{
			Parameter: NH3,
			HighWarn:  &Bound{0.05, practice, Practice},
			HighAlarm: &Bound{0.34, schram2010 + ": no harm up to 0.34", Memory},
			Conflicts: []string{"Sources set the limit of un-ionised ammonia at 0.02, 0.05 or 0.34 mg/L as N; 0.34 was found for African catfish."},
		},
		nitrite(),
		{
			Parameter: NO3,
			HighWarn:  &Bound{620, schram2014 + ": slower growth above 140 mg/L as N, which is 620 as nitrate", Memory},
			Conflicts: []string{"FAO 589 has up to 400 mg/L as nitrate tolerated by fish in general; 620 was found for African catfish."},
		},
	}
}

func acidity() Limit {
	return Limit{
		Parameter: PH,
		LowAlarm:  &Bound{6.0, practice, Practice},
		LowWarn:   &Bound{6.5, fao589 + ", section 7", Read},
		HighWarn:  &Bound{8.5, fao589 + ", section 7", Read},
		HighAlarm: &Bound{8.8, practice, Practice},
	}
}

func totalAmmonia(conflict string) Limit {
	return Limit{
		Parameter: TAN,
		HighWarn:  &Bound{1, fao589, Read},
		Conflicts: []string{conflict},
	}
}

func nitrite() Limit {
	return Limit{Parameter: NO2, HighWarn: &Bound{1, fao589, Read}}
}

// Level is how bad a reading is.
type Level string

// The levels of a reading.
const (
	Fine  Level = "ok"
	Warn  Level = "warn"
	Alarm Level = "alarm"
)

// Judge returns how bad a reading is and which bound it passed, nil if none. A
// reading on a bound has not passed it.
func (l Limit) Judge(reading float64) (Level, *Bound) {
	switch {
	case l.LowAlarm != nil && reading < l.LowAlarm.Value:
		return Alarm, l.LowAlarm
	case l.HighAlarm != nil && reading > l.HighAlarm.Value:
		return Alarm, l.HighAlarm
	case l.LowWarn != nil && reading < l.LowWarn.Value:
		return Warn, l.LowWarn
	case l.HighWarn != nil && reading > l.HighWarn.Value:
		return Warn, l.HighWarn
	}
	return Fine, nil
}

// Changes within a day that can harm, whatever the level.
var (
	MostPHChange          = Fact{0.3, "", fao589 + ", section 7", Read}
	MostTemperatureChange = Fact{5, "°C", practice, Practice}
)

// ChangedTooFast reports whether a parameter went from one reading to the next,
// some days later, faster than fish bear, and what they bear in a day. Only pH
// and temperature have such a bound, and readings more than a day apart say
// nothing of it.
func ChangedTooFast(p Parameter, before, now float64, days int64) (Fact, bool) {
	most := MostPHChange
	switch p {
	case PH:
	case Temperature:
		most = MostTemperatureChange
	default:
		return Fact{}, false
	}
	change := max(now-before, before-now)
	// Readings have three decimals; 8.1 − 7.8 must not be above 0.3.
	return most, days >= 0 && days <= 1 && change > most.Value+1e-9
}
