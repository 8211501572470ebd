package domain_test

import (
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
	"shoalbook/domain/husbandry"
)

var (
	bed1  = id[domain.Unit](14)
	water = id[domain.Loop](51)
)

// aquaponics is a site with a tank of 600 L and a bed of 4 m² on one pump of 330 L/h
// and 25 W (measured), 1000 m high, with a batch of catfish in the tank; its plan is
// 0.9 kg.
func aquaponics(f folded, on domain.Date) *domain.Keeping {
	return &domain.Keeping{
		Day:       on,
		AltitudeM: new(milli(1000)),
		Units: map[domain.UnitID]*domain.Unit{
			tank1: {ID: tank1, Name: "Tank 1", Kind: "tank", WaterVolumeL: new(milli(600)), Loop: &water},
			tank2: {ID: tank2, Name: "Tank 2", Kind: "tank"},
			bed1:  {ID: bed1, Name: "Bed 1", Kind: "bed", BedAreaM2: new(milli(4)), Loop: &water},
		},
		Loops: map[domain.LoopID]*domain.Loop{water: {ID: water, Name: "Loop", PumpFlowLH: new(milli(330)), PumpPowerW: new(milli(25)), DrainFlowLH: new(milli(300))}},
		Batches: map[domain.BatchID]*domain.Batch{
			a: {ID: a, Unit: tank1, Species: "CLZ", Name: "Catfish", Plan: domain.Plan{TargetWeight: gram(900), TargetOn: new(day(200))}},
			b: {ID: b, Unit: tank2, Species: "TLN", Name: "Tilapia"},
		},
		Products: map[domain.ProductID]*domain.Product{
			feed: {ID: feed, Name: "Grower", Category: "feed", ProteinPercent: new(milli(32))},
			salt: {ID: salt, Name: "Salt", Category: "medicine"},
		},
		States: f.Batches, Water: f.Units, Stores: f.Stores,
		Priors: map[string]domain.Prior{"CLZ": still(), "TLN": still(), "FCP": still()}, Currency: "UGX",
	}
}

// still is what is known of fish that do not grow, so that the cases stay as they are
// printed.
func still() domain.Prior {
	p := domain.PublishedPrior("")
	p.Curve = husbandry.NewCurve([...]float64{1e-9, 1e-9, 1e-9, 1e-9, 1e-9, 1e-9, 1e-9, 1e-9})
	p.Spread, p.Wander, p.Jitter = 0, 0, 0
	return p
}

// thirty is a journal of 30 catfish of 100 g in the first tank since day 0.
func thirty() *journal {
	j := &journal{}
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bred", Count: 30, Weight: new(kg(3))})
	return j
}

func limitOf(t *testing.T, c domain.Capacity, name string) domain.CapacityLimit {
	t.Helper()
	for _, l := range c.Limits {
		if l.Name == name {
			return l
		}
	}
	t.Fatalf("there is no limit by %s", name)
	return domain.CapacityLimit{}
}

func checkOf(t *testing.T, c domain.Capacity, name string) domain.CapacityCheck {
	t.Helper()
	for _, k := range c.Checks {
		if k.Name == name {
			return k
		}
	}
	t.Fatalf("there is no check of the %s", name)
	return domain.CapacityCheck{}
}

func by(list []domain.NamedNumber, name string) domain.Number {
	for _, n := range list {
		if n.Name == name {
			return n.Number
		}
	}
	return domain.Number{Reason: "there is no " + name}
}

// wantNumber complains unless a number is there, as near as that, with a source.
func wantNumber(t *testing.T, what string, n domain.Number, want float64) {
	t.Helper()
	if !n.Known() || n.Value < want-1e-6 || n.Value > want+1e-6 {
		t.Errorf("%s is %v (%s), want %v", what, n.Value, n.Reason, want)
	}
	if n.Source == "" || n.Provenance == "" {
		t.Errorf("%s is without source", what)
	}
}

// wantNone complains unless there is no number, for a reason with these words.
func wantNone(t *testing.T, what string, n domain.Number, words string) {
	t.Helper()
	if n.Known() || n.Value != 0 || !strings.Contains(n.Reason, words) {
		t.Errorf("%s is %v, for the reason %q; want none, for %q", what, n.Value, n.Reason, words)
	}
}

// Computed: 30 catfish grown to 0.9 kg in 600 L is 45 kg/m³, 2.25 times the limit of
// shared water (from memory of FAO 589); 330 L/h turn 600 L over 0.55 times an hour;
// a drain of 300 L/h is slower than that pump. K-33, computed on a published source:
// the bed of 4 m² carries 20 kg at 1 % and 10 kg at 2 %.
func TestCapacityOfBackyardTank(t *testing.T) {
	t.Parallel()
	k := aquaponics(thirty().fold(t), day(10))
	c, err := k.Capacity(tank1, domain.CapacityQuestion{})
	if err != nil {
		t.Fatal(err)
	}
	wantNumber(t, "what the density lets it carry", limitOf(t, c, "density").Carries, 12)
	wantNumber(t, "fish by density", limitOf(t, c, "density").Fish, 13)
	wantNumber(t, "what the bed carries", limitOf(t, c, "bed").Carries, 20)
	wantNumber(t, "fish by the bed", limitOf(t, c, "bed").Fish, 22)
	wantNumber(t, "feed that the bed takes", by(limitOf(t, c, "bed").By, "feed_g_day"), 200)
	wantNone(t, "what oxygen lets it carry", limitOf(t, c, "oxygen").Carries, "breathe air")
	if c.Binding == nil || c.Binding.Name != "density" {
		t.Errorf("%v binds", c.Binding)
	}
	if k := checkOf(t, c, "turnover"); k.Verdict != domain.CheckWrong {
		t.Errorf("0.55 times an hour is %s: %s", k.Verdict, k.Says)
	}
	wantNumber(t, "turnover", by(checkOf(t, c, "turnover").By, "turnover_per_hour"), 0.55)
	if k := checkOf(t, c, "drain"); k.Verdict != domain.CheckWrong || !strings.Contains(k.Says, "no faster") {
		t.Errorf("the slow drain is %s: %s", k.Verdict, k.Says)
	}
	wantNumber(t, "weight now", c.Now.Biomass, 3)
	wantNumber(t, "density now", c.Now.Density, 5)
	wantNumber(t, "weight when grown", c.Grown.Biomass, 27)
	wantNumber(t, "density when grown", c.Grown.Density, 45)
	wantNumber(t, "times the limit of shared water", c.Grown.OfSharedWater, 2.25)
	wantNumber(t, "power", c.PowerW, 25)
	wantNumber(t, "energy a day", c.EnergyADay, 0.6)
	wantNone(t, "energy of a kg", c.EnergyPerKg, "gained no weight")
	if !strings.Contains(strings.Join(c.Conflicts, " "), "25 kg/m³") {
		t.Errorf("the conflict inside the design table is not told: %q", c.Conflicts)
	}
	for _, want := range []string{domain.CautionFigures, domain.CautionElectricity, domain.CautionChildren, domain.CautionSpines, domain.CautionLeaves} {
		if !slices.Contains(c.Cautions, want) {
			t.Errorf("it does not say %q", want)
		}
	}
	t.Log(c.Says)

	c, err = k.Capacity(tank1, domain.CapacityQuestion{RationPercent: new(milli(2)), TargetG: new(milli(450)), Species: new("TLN")})
	if err != nil {
		t.Fatal(err)
	}
	wantNumber(t, "what the bed carries at 2 %", limitOf(t, c, "bed").Carries, 10)
	wantNumber(t, "fish of 450 g", limitOf(t, c, "bed").Fish, 22)
	if c.Binding == nil || c.Binding.Name != "bed" {
		t.Errorf("%v binds", c.Binding)
	}
	wantNone(t, "oxygen without a temperature", limitOf(t, c, "oxygen").Carries, "temperature of the water was never read")
}

// Computed: 25 W for 120 days are 72 kWh (K-55); the 30 fish gained 15 kg in them.
func TestEnergyOfAKilogram(t *testing.T) {
	t.Parallel()
	j := thirty()
	j.add(day(120), domain.Sample{Batch: a, Count: 10, Weight: new(kg(6))})
	c, err := aquaponics(j.fold(t), day(120)).Capacity(tank1, domain.CapacityQuestion{})
	if err != nil {
		t.Fatal(err)
	}
	wantNumber(t, "energy of a kg", c.EnergyPerKg, 72./15)
}

// Computed: at 25 °C and 1000 m water holds 7.30 mg/L (K-30); 330 L/h leave 4 mg/L,
// the alarm of tilapia, and bring 26.1 g a day, enough for 52.3 g of feed at 0.5 kg/kg
// (from memory of Timmons and Ebeling), which at 1 % feeds 5.23 kg.
func TestCapacityByOxygen(t *testing.T) {
	t.Parallel()
	j := thirty()
	j.add(day(10), domain.Water{Unit: tank1, TemperatureC: new(milli(25))})
	f := j.fold(t)
	k := aquaponics(f, day(10))
	c, err := k.Capacity(tank1, domain.CapacityQuestion{Species: new("TLN")})
	if err != nil {
		t.Fatal(err)
	}
	l := limitOf(t, c, "oxygen")
	if !l.Carries.Known() || l.Carries.Value < 5.22 || l.Carries.Value > 5.24 || c.Binding.Name != "oxygen" {
		t.Errorf("%v kg (%s), and %s binds", l.Carries.Value, l.Carries.Reason, c.Binding.Name)
	}
	for words, change := range map[string]func(*domain.Keeping){
		"altitude of the site is not in":   func(k *domain.Keeping) { k.AltitudeM = nil },
		"flow of the pump of Loop is not":  func(k *domain.Keeping) { k.Loops[water].PumpFlowLH = nil },
		"water volume of Tank 1 is not in": func(k *domain.Keeping) { k.Units[tank1].WaterVolumeL = nil },
		"8 days ago":                       func(k *domain.Keeping) { k.Day = day(18) },
	} {
		k := aquaponics(f, day(10))
		change(k)
		c, err := k.Capacity(tank1, domain.CapacityQuestion{Species: new("TLN")})
		if err != nil {
			t.Fatal(err)
		}
		wantNone(t, "oxygen", limitOf(t, c, "oxygen").Carries, words)
	}
	c, err = k.Capacity(tank1, domain.CapacityQuestion{Species: new("FCP")})
	if err != nil {
		t.Fatal(err)
	}
	wantNone(t, "oxygen", limitOf(t, c, "oxygen").Carries, "no table for this species")
}

// Nothing comes out of nothing: each part that is missing has its reason.
func TestCapacityWithoutFacts(t *testing.T) {
	t.Parallel()
	k := aquaponics((&journal{}).fold(t), day(10))
	c, err := k.Capacity(tank2, domain.CapacityQuestion{})
	if err != nil {
		t.Fatal(err)
	}
	if c.Binding != nil || !strings.Contains(c.Says, "Nobody can say what Tank 2 carries") {
		t.Errorf("%v binds: %s", c.Binding, c.Says)
	}
	wantNone(t, "density", limitOf(t, c, "density").Carries, "water volume of Tank 2 is not in the registry")
	wantNone(t, "bed", limitOf(t, c, "bed").Carries, "no bed is joined to Tank 2")
	wantNone(t, "oxygen", limitOf(t, c, "oxygen").Carries, "give the species")
	wantNone(t, "fish", limitOf(t, c, "density").Fish, "water volume")
	wantNone(t, "target", c.TargetG, "give target_weight_g")
	wantNone(t, "energy", c.EnergyADay, "no pump is recorded for Tank 2")
	wantNone(t, "density now", c.Now.Density, "water volume")
	for _, check := range c.Checks {
		if check.Verdict != domain.CheckUnknown {
			t.Errorf("%s is %s", check.Name, check.Verdict)
		}
	}
	k.Units[bed1].BedAreaM2 = nil
	k.Loops[water].DrainFlowLH = nil
	if c, err = k.Capacity(tank1, domain.CapacityQuestion{}); err != nil {
		t.Fatal(err)
	}
	wantNone(t, "bed", limitOf(t, c, "bed").Carries, "the area of Bed 1 is not in the registry")
	if check := checkOf(t, c, "drain"); check.Verdict != domain.CheckUnknown || !strings.Contains(check.Says, "drain of Loop is not in the registry") {
		t.Errorf("the drain is %s: %s", check.Verdict, check.Says)
	}
	delete(k.Units, bed1)
	if c, err = k.Capacity(tank1, domain.CapacityQuestion{}); err != nil {
		t.Fatal(err)
	}
	wantNone(t, "bed", limitOf(t, c, "bed").Carries, "no bed is joined to Tank 1")
	if _, err := k.Capacity(id[domain.Unit](99), domain.CapacityQuestion{}); err == nil {
		t.Error("a tank that is not there carries something")
	}
}

// A bed cleans the water of all tanks of its loop: what is in the others is taken off.
func TestBedsAreShared(t *testing.T) {
	t.Parallel()
	j := thirty()
	j.add(day(0), domain.Stocking{Batch: b, Origin: "bred", Count: 100, Weight: new(kg(8))})
	k := aquaponics(j.fold(t), day(1))
	k.Units[tank2].Loop, k.Units[tank2].WaterVolumeL = &water, new(milli(600))
	c, err := k.Capacity(tank1, domain.CapacityQuestion{})
	if err != nil {
		t.Fatal(err)
	}
	wantNumber(t, "what the bed carries here", limitOf(t, c, "bed").Carries, 12)
	wantNumber(t, "turnover of both", by(checkOf(t, c, "turnover").By, "turnover_per_hour"), 330./1200)
	j = thirty()
	j.add(day(0), domain.Stocking{Batch: b, Origin: "bred", Count: 100})
	k.States = j.fold(t).Batches
	if c, err = k.Capacity(tank1, domain.CapacityQuestion{}); err != nil {
		t.Fatal(err)
	}
	wantNone(t, "what the bed carries here", limitOf(t, c, "bed").Carries, "fish of Tilapia were never weighed")
}

// A reading is judged for the fish that are in the water. From memory of Schram et al.
// 2010 (0.34 mg/L NH3-N), published source, read: FAO 589 (pH), common practice, no
// source (0.05, 0.3).
func TestWaterVerdicts(t *testing.T) {
	t.Parallel()
	j := thirty()
	j.add(day(9), domain.Water{Unit: tank1, TemperatureC: new(milli(28)), PH: new(milli(7.8))})
	// K-29, computed: 2 mg/L at 28 °C and pH 8.5 have 0.36 mg/L NH3-N.
	j.add(day(10), domain.Water{Unit: tank1, TemperatureC: new(milli(28)), PH: new(milli(8.5)), TANMgL: new(milli(2)), TANBasis: new("n"), AlkalinityMgL: new(milli(90))})
	k := aquaponics(j.fold(t), day(11))
	levels := map[string]string{}
	for _, v := range k.Verdicts(tank1, domain.Text{Value: "CLZ"}) {
		levels[v.Parameter] = v.Level
		if v.Parameter == "ph" && !v.TooFast {
			t.Errorf("pH from 7.8 to 8.5 in a day is no change: %s", v.Says)
		}
		t.Log(v.Says)
	}
	for p, want := range map[string]string{"temperature": "ok", "ph": "ok", "tan": "warn", "nh3": "alarm", "alkalinity": "unknown"} {
		if levels[p] != want {
			t.Errorf("%s is %q, want %q", p, levels[p], want)
		}
	}
	for _, v := range k.Verdicts(tank1, domain.Text{Value: "FCP"}) {
		if v.Level != "unknown" || !strings.Contains(v.Bound.Reason, "no table for this species") {
			t.Errorf("%s of carp is %s (%s)", v.Parameter, v.Level, v.Bound.Reason)
		}
	}
	if n := len(k.Verdicts(tank2, domain.Text{Value: "CLZ"})); n != 0 {
		t.Errorf("%d verdicts on water that nobody read", n)
	}
}

// Tanks of one loop have the same water: a temperature read in one holds for the other.
func TestTemperatureOfTheLoop(t *testing.T) {
	t.Parallel()
	j := thirty()
	j.add(day(2), domain.Water{Unit: tank2, TemperatureC: new(milli(27)), OxygenMgL: new(milli(6))})
	k := aquaponics(j.fold(t), day(3))
	wantNone(t, "temperature", ration(t, k, a).Warmth, "never read")
	k.Units[tank2].Loop = &water
	r := ration(t, k, a)
	wantNumber(t, "temperature", r.Warmth, 27)
	wantNone(t, "oxygen", r.OxygenMgL, "never read") // which differs from tank to tank
	if !strings.Contains(r.Warmth.Source, "in Tank 2, which has the same water") {
		t.Error(r.Warmth.Source)
	}
}

// The harvest is the day on which the forecast has the fish at their target weight,
// with the losses it expects until then.
func TestCapacityAtTheForecastHarvest(t *testing.T) {
	t.Parallel()
	j := thirty()
	j.add(day(8), domain.Sample{Batch: a, Count: 10, Weight: new(kg(1.1))})
	f := j.fold(t)
	k := aquaponics(f, day(10))
	k.Priors = nil // what is published
	c, err := k.Capacity(tank1, domain.CapacityQuestion{})
	if err != nil {
		t.Fatal(err)
	}
	forecast, reason := domain.NewForecast(f.Batches[a], day(10), domain.PublishedPrior("CLZ"))
	if reason != "" {
		t.Fatal(reason)
	}
	on, ok := forecast.Reach(900)
	if !ok || c.Harvest.On == nil || *c.Harvest.On != on || c.Harvest.Basis != "forecast" || c.Harvest.Fish >= 30 {
		t.Errorf("the forecast has it on %v (%v), the harvest is %+v", on, ok, c.Harvest)
	}
	kg := forecast.On(on).BiomassKg
	wantNumber(t, "weight at the harvest", c.Harvest.Biomass, kg)
	wantNumber(t, "times what it carries", c.Harvest.OfBinding, kg/12)
	wantNumber(t, "weight when grown, if none dies", c.Grown.Biomass, 27)
	if c.Now.Basis != "forecast" || c.Now.Biomass.Value <= 3.3 || !strings.Contains(c.Says, "By the forecast they are ready on "+on.String()+" and will weigh ") {
		t.Errorf("now %+v: %s", c.Now, c.Says)
	}
	k.Priors = map[string]domain.Prior{"CLZ": still()}
	if c, err = k.Capacity(tank1, domain.CapacityQuestion{}); err != nil {
		t.Fatal(err)
	}
	wantNone(t, "weight at the harvest of fish that do not grow", c.Harvest.Biomass, "not expected to weigh 900 g")
	k.States = thirty().fold(t).Batches
	if c, err = k.Capacity(tank1, domain.CapacityQuestion{}); err != nil {
		t.Fatal(err)
	}
	wantNone(t, "weight at the harvest of fish of which none was weighed", c.Harvest.Biomass, "Catfish: no fish were weighed since they came")
	k.Batches[a].TargetWeight = nil
	if c, err = k.Capacity(tank1, domain.CapacityQuestion{}); err != nil {
		t.Fatal(err)
	}
	wantNone(t, "weight at the harvest without a plan", c.Harvest.Biomass, "no plan for Catfish")
}
