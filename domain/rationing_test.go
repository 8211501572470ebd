package domain_test

import (
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
)

// weighed is thirty catfish weighed at 200 g on day 30, in water of 25 °C with oxygen,
// and 40 kg of feed of 32 % in the store.
func weighed() *journal {
	j := &journal{} // what they weighed when they came is not known
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bred", Count: 30})
	j.add(day(0), domain.Receipt{Product: feed, Quantity: qty(40), Origin: "bought", Amount: new(domain.Money(4000))})
	j.add(day(30), domain.Sample{Batch: a, Count: 10, Weight: new(kg(2))})
	j.add(day(33), domain.Water{Unit: tank1, TemperatureC: new(milli(25)), OxygenMgL: new(milli(5))})
	return j
}

func ration(t *testing.T, k *domain.Keeping, batch domain.BatchID) domain.Ration {
	t.Helper()
	r, err := k.Ration(batch)
	if err != nil {
		t.Fatal(err)
	}
	if r.Says == "" || !slices.Contains(r.Cautions, domain.CautionFigures) || !slices.Contains(r.Cautions, domain.CautionChildren) {
		t.Errorf("it says %q, with the cautions %q", r.Says, r.Cautions)
	}
	return r
}

// Computed: 30 fish of 200 g are 6 kg; 2–3 % (common practice, no source; shape from
// memory of Hogendoorn et al. 1983), of which the middle is 2.5 %, is 150 g; at 25 °C
// 0.8 of it (common practice, no source) is 120 g in 2 meals; 40 kg last 333.3 days.
func TestRation(t *testing.T) {
	t.Parallel()
	k := aquaponics(weighed().fold(t), day(33))
	r := ration(t, k, a)
	wantNumber(t, "weight of the fish", r.Biomass, 6)
	wantNumber(t, "low", r.LowPct, 2)
	wantNumber(t, "high", r.HighPct, 3)
	wantNumber(t, "share of the table", r.TakenPct, 2.5)
	wantNumber(t, "share by warmth", r.ByWarmth, 0.8)
	wantNumber(t, "share by oxygen", r.ByOxygen, 1)
	wantNumber(t, "feed today", r.TodayKg, 0.12)
	wantNumber(t, "a meal", r.MealKg, 0.06)
	wantNumber(t, "pellets from", r.PelletMM[0], 4)
	wantNumber(t, "pellets to", r.PelletMM[1], 4.5)
	wantNumber(t, "protein", r.Protein[0], 40)
	wantNumber(t, "feed in the store", r.FeedKg, 40)
	wantNumber(t, "days left", r.DaysLeft, 40/0.12)
	if len(r.Stops) != 0 || len(r.Feeds) != 1 || r.Feeds[0].Enough == nil || *r.Feeds[0].Enough {
		t.Errorf("%+v", r)
	}
	if !slices.Contains(r.Cautions, domain.CautionSpines) || !slices.Contains(r.Cautions, domain.CautionElectricity) || slices.Contains(r.Cautions, domain.CautionMedicine) {
		t.Errorf("the cautions are %q", r.Cautions)
	}
	t.Log(r.Says)
}

// There is no feed on a day of a sample, a treatment or a harvest, without oxygen and
// in the cold: that is a decision, and the ration is 0, not unknown.
func TestRationStops(t *testing.T) {
	t.Parallel()
	for code, c := range map[string]struct {
		on     domain.Date
		change func(*journal)
	}{
		"stocking": {on: day(0)},
		"sample":   {on: day(30), change: func(j *journal) { j.add(day(30), domain.Water{Unit: tank1, TemperatureC: new(milli(25))}) }},
		"treatment": {on: day(33), change: func(j *journal) {
			j.add(day(33), domain.Treatment{Batch: a, What: new("Salt bath"), Dose: "5 g/L", Reason: "Fungus", WithdrawalDays: new(domain.Days(0))})
		}},
		"harvest": {on: day(33), change: func(j *journal) { j.add(day(33), domain.Harvest{Batch: a, Count: new(domain.Fish(5)), Weight: kg(1)}) }},
		"oxygen":  {on: day(33), change: func(j *journal) { j.add(day(33), domain.Water{Unit: tank1, OxygenMgL: new(milli(1.5))}) }},
		"cold":    {on: day(34), change: func(j *journal) { j.add(day(34), domain.Water{Unit: tank1, TemperatureC: new(milli(16.9))}) }},
	} {
		j := weighed()
		if code == "stocking" {
			j = thirty()
		}
		if c.change != nil {
			c.change(j)
		}
		r := ration(t, aquaponics(j.fold(t), c.on), a)
		wantNumber(t, "feed on the day of a "+code, r.TodayKg, 0)
		if len(r.Stops) != 1 || r.Stops[0].Code != code || !strings.HasPrefix(r.Says, "Do not feed today: ") {
			t.Errorf("%s: %v %s", code, r.Stops, r.Says)
		}
		t.Log(r.Says)
	}
	// The day before the harvest of the plan, and the day itself.
	for on, want := range map[domain.Date]int{day(198): 0, day(199): 1, day(200): 1, day(201): 0} {
		if r := ration(t, aquaponics(weighed().fold(t), on), a); len(r.Stops) != want || want == 1 && r.Stops[0].Code != "harvest" {
			t.Errorf("%s: %v", on, r.Stops)
		}
	}
	j := weighed()
	j.add(day(33), domain.Treatment{Batch: a, What: new("Salt bath"), Dose: "5 g/L", Reason: "Fungus", WithdrawalDays: new(domain.Days(0))})
	if r := ration(t, aquaponics(j.fold(t), day(34)), a); len(r.Stops) != 0 || !slices.Contains(r.Cautions, domain.CautionMedicine) {
		t.Errorf("the day after: %v %q", r.Stops, r.Cautions)
	}
}

// Nothing comes out of nothing.
func TestRationWithoutFacts(t *testing.T) {
	t.Parallel()
	f := weighed().fold(t)
	r := ration(t, aquaponics(f, day(41)), a)
	wantNone(t, "feed", r.TodayKg, "8 days ago, on 2025-02-03: read it again")
	wantNone(t, "days left", r.DaysLeft, "Catfish: the temperature of the water")
	wantNone(t, "oxygen", r.ByOxygen, "the oxygen in the water was last read")
	if !strings.Contains(r.Says, "In water of 26 to 33 °C it would be 150 g") {
		t.Error(r.Says)
	}
	k := aquaponics(f, day(33))
	k.Batches[a].Species = "FCP"
	r = ration(t, k, a)
	wantNone(t, "feed", r.TodayKg, "no table for this species")
	wantNone(t, "protein", r.Protein[0], "no table for this species")
	wantNone(t, "share by oxygen", r.ByOxygen, "no table for this species")
	wantNumber(t, "weight", r.Biomass, 6)

	j := &journal{}
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bred", Count: 30})
	j.add(day(2), domain.Water{Unit: tank1, TemperatureC: new(milli(25))})
	r = ration(t, aquaponics(j.fold(t), day(2)), a)
	for what, n := range map[string]domain.Number{"feed": r.TodayKg, "weight": r.Weight, "pellets": r.PelletMM[0], "meals": r.Meals, "days left": r.DaysLeft} {
		wantNone(t, what, n, "never weighed")
	}
	r = ration(t, aquaponics(j.fold(t), day(2)), b)
	wantNone(t, "feed of a batch that was never stocked", r.TodayKg, "no fish")
	j.add(day(3), domain.Harvest{Batch: a, Weight: kg(5), Empties: true})
	r = ration(t, aquaponics(j.fold(t), day(4)), a)
	wantNone(t, "feed of a closed batch", r.TodayKg, "no fish")
	if r.State != "closed" || len(r.Stops) != 0 || r.Says != "There are no fish to feed." {
		t.Errorf("%+v", r)
	}
	if _, err := aquaponics(f, day(33)).Ration(c); err == nil {
		t.Error("a batch that is not there is fed")
	}
}

// From 33 °C on half a ration, and somebody should ask why (common practice, no
// source).
func TestRationInHotWater(t *testing.T) {
	t.Parallel()
	j := weighed()
	j.add(day(34), domain.Water{Unit: tank1, TemperatureC: new(milli(33))})
	r := ration(t, aquaponics(j.fold(t), day(34)), a)
	wantNumber(t, "feed today", r.TodayKg, 0.075)
	if !strings.Contains(r.Says, "too warm") {
		t.Error(r.Says)
	}
	t.Log(r.Says)
}
