package husbandry

import "testing"

// K-33, computed on a published source (FAO 589: feed rate section 8, ration
// section 7): 4 m² leafy at 50 g/m²/day is 200 g/day, at 1 % 20 kg of fish, at
// 2 % 10 kg.
func TestCarriedByBed(t *testing.T) {
	t.Parallel()
	feed, ok := FeedByBed(4, BedFeedLeafy[1].Value)
	check(t, "K-33, feed", feed, ok, 200, 1e-9)
	kg, ok := CarriedByFeed(feed, GrowOutRation[0].Value)
	check(t, "K-33, 1 %", kg, ok, 20, 1e-9)
	kg, ok = CarriedByFeed(feed, GrowOutRation[1].Value)
	check(t, "K-33, 2 %", kg, ok, 10, 1e-9)
}

// Computed: 30 catfish grown to 0.9 kg in 600 L is 45 kg/m³, 2.25 times the limit
// of shared water (20 kg/m³, from memory of FAO 589); 600 L at 330 L/h turns over
// 0.55 times an hour, under the once-an-hour rule (from memory of FAO 589).
func TestBackyardTank(t *testing.T) {
	t.Parallel()
	density, ok := Density(30*0.9, 600)
	check(t, "density", density, ok, 45, 1e-9)
	check(t, "times the limit of shared water", density/SharedWaterDensity.Value, ok, 2.25, 1e-9)
	turns, ok := Turnover(330, 600)
	check(t, "turnover", turns, ok, 0.55, 1e-9)
	if turns >= LeastTurnover.Value {
		t.Error("0.55 times an hour is enough")
	}
	kg, ok := CarriedByDensity(600, SharedWaterDensity.Value)
	check(t, "what shared water of 600 L carries", kg, ok, 12, 1e-9)
}

// Common practice, no source: a drain that is not faster than the pump never
// breaks its suction.
func TestDrains(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		drain, fill float64
		want        bool
	}{{400, 330, true}, {330, 330, false}, {200, 330, false}} {
		if got := Drains(c.drain, c.fill); got != c.want {
			t.Errorf("drain %v, fill %v: %v", c.drain, c.fill, got)
		}
	}
}

// The design table of FAO 589, from memory, contradicts the text of its source:
// the first row is 25 kg/m³, above the 10–20 that are quoted. All other rows are
// at 20, and every row has 50 g of feed or less for a m² of bed a day and pumps the
// tank once an hour or more.
func TestDesignsAgainstTheirOwnText(t *testing.T) {
	t.Parallel()
	for i, d := range Designs {
		density, ok := Density(d.FishKg, d.TankL)
		want := 20.
		if i == 0 {
			want = 25
		}
		check(t, "density of a design", density, ok, want, 1e-9)
		if feed, ok := FeedByBed(d.BedM2, BedFeedLeafy[1].Value); !ok || feed < d.FeedG {
			t.Errorf("%v L: %v g of feed for a bed that takes %v", d.TankL, d.FeedG, feed)
		}
		if turns, ok := Turnover(d.PumpLH, d.TankL); !ok || turns < LeastTurnover.Value {
			t.Errorf("%v L: turns over %v times an hour", d.TankL, turns)
		}
	}
}

// Computed: 1000 L/h at 7.559 mg/L (30 °C, sea level) that leave with 4 bring
// 85.416 g of oxygen a day, enough for 170.8 g of feed at 0.5 kg/kg (from memory
// of Timmons & Ebeling).
func TestFeedByOxygen(t *testing.T) {
	t.Parallel()
	got, ok := FeedByOxygen(1000, 7.559, 4, OxygenOfFish.Value)
	check(t, "feed", got, ok, 170.832, 1e-6)
	got, ok = FeedByOxygen(1000, 4, 4, OxygenOfFish.Value)
	none(t, "water with no more than the least", got, ok)
	got, ok = FeedByOxygen(0, 8, 4, OxygenOfFish.Value)
	none(t, "still water", got, ok)
}

// K-55, computed.
func TestEnergy(t *testing.T) {
	t.Parallel()
	got, ok := Energy(60, 30*24)
	check(t, "K-55, 60 W for 30 d", got, ok, 43.2, 1e-9)
	got, ok = Energy(25, 120*24)
	check(t, "K-55, 25 W for 120 d", got, ok, 72, 1e-9)
	got, ok = Energy(-1, 1)
	none(t, "a pump that gives power", got, ok)
}

func TestNothingOutOfNothing(t *testing.T) {
	t.Parallel()
	got, ok := Density(10, 0)
	none(t, "no water", got, ok)
	got, ok = Density(-1, 10)
	none(t, "less than no fish", got, ok)
	got, ok = CarriedByDensity(0, 20)
	none(t, "no water to carry", got, ok)
	got, ok = CarriedByFeed(200, 0)
	none(t, "no ration", got, ok)
	got, ok = FeedByBed(0, 50)
	none(t, "no bed", got, ok)
	got, ok = Turnover(330, 0)
	none(t, "no water to turn over", got, ok)
}
