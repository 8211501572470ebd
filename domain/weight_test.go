package domain_test

import (
	"math"
	"slices"
	"testing"

	"shoalbook/domain"
)

// The dead are weighed, or else taken at the last mean weight on or before the day,
// never a later one.
func TestWeightOfTheDead(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(10), domain.Death{Batch: a, Count: 10})                       // at 10 g
	j.add(day(20), domain.Death{Batch: a, Count: 10, Weight: new(kg(0.3))}) // weighed
	j.add(day(30), domain.Death{Batch: a, Count: 10})                       // at 50 g, of that day
	j.add(day(30), domain.Sample{Batch: a, Count: 20, WeightG: gram(1000)}) //
	j.add(day(40), domain.Death{Batch: a, Count: 10})                       // at 50 g, not the 90 g of later
	j.add(day(50), domain.Sample{Batch: a, Count: 20, WeightG: gram(1800)}) //
	f := j.fold(t)
	if s := f.Batches[a]; s.DeadMg != *gram(100 + 300 + 500 + 500) || s.DeadGuessed != 30 {
		t.Errorf("the dead weigh %d mg, of %d the weight is estimated", s.DeadMg, s.DeadGuessed)
	}
	f.figures(a, day(50), "KES").want(t, map[string]string{"biomass.dead_kg": "1.4", "biomass.dead_estimated": "true"})

	var unweighed journal
	unweighed.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 100})
	unweighed.add(day(1), domain.Death{Batch: a, Count: 3})
	unweighed.add(day(2), domain.Death{Batch: a, Count: 4})
	unweighed.add(day(2), domain.Sample{Batch: a, Count: 5, WeightG: gram(50)})
	if s := unweighed.fold(t).Batches[a]; s.DeadUnweighed != 3 || s.DeadGuessed != 4 || s.DeadMg != *gram(40) {
		t.Errorf("of the dead %d have no weight and %d an estimated one, %d mg", s.DeadUnweighed, s.DeadGuessed, s.DeadMg)
	}
	unweighed.fold(t).figures(a, day(2), "KES").null(t, "the weight of 3 of these fish is not known", "biomass.dead_kg")
}

// Feed and gain of a growing batch both end at the last weighing.
func TestConversionIsMeasuredToTheLastWeighing(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(1), domain.Feeding{Batch: a, Product: feed, Weight: kg(30)})
	j.add(day(20), domain.Feeding{Batch: a, Product: feed, Weight: kg(6)})
	j.add(day(20), domain.Sample{Batch: a, Count: 50, Weight: new(kg(2))}) // 40 g: gain 30 kg
	want := map[string]string{"feed.fcr_economic": "1.2", "feed.measured_to": `"` + day(20).String() + `"`}
	j.fold(t).figures(a, day(20), "KES").want(t, want)
	j.add(day(25), domain.Feeding{Batch: a, Product: feed, Weight: kg(60)})
	j.add(day(25), domain.Feeding{Batch: a, Product: feed, Weight: kg(40)}) // the same day
	j.add(day(26), domain.Death{Batch: a, Count: 100})
	p := j.fold(t).figures(a, day(26), "KES")
	p.want(t, want)
	p.want(t, map[string]string{"feed.fed_kg": "136", "feed.protein_efficiency": "2.604167", "biomass.on_hand_basis": `"forecast"`,
		"completeness.days_since_weighing": "6", "completeness.days_with_feed": "3", "completeness.days": "26"})
}

// Samples of one day are one sample; a weighing of all fish counted replaces them.
func TestWeighingsOfOneDay(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(20), domain.Sample{Batch: a, Count: 30, Weight: new(kg(1.2))})
	j.add(day(20), domain.Sample{Batch: a, Count: 10, Weight: new(kg(0.8)), MeanLengthCM: new(milli(18)), LengthType: new("total")})
	f := j.fold(t)
	p := f.figures(a, day(20), "KES")
	p.want(t, map[string]string{"growth.mean_weight_g": "50", "biomass.on_hand_kg": "50", "biomass.net_gain_kg": "40"})
	p.near(t, 1e-6, map[string]float64{"growth.condition_factor": 100 * 80 / math.Pow(18, 3), "growth.sgr": 100 * math.Log(5) / 20})
	j.add(day(20), domain.Count{Batch: a, Count: 900})
	p = j.fold(t).figures(a, day(20), "KES")
	p.want(t, map[string]string{"biomass.on_hand_kg": "45", "biomass.on_hand_basis": `"counted"`, "biomass.net_gain_kg": "35"})
	if s := j.fold(t).Batches[a]; s.MeasuredGainMg != *gram(35_000) {
		t.Errorf("the gain measured is %d mg", s.MeasuredGainMg)
	}
	j.add(day(20), domain.Count{Batch: a, Count: 880, Weight: new(kg(39.6))})
	j.fold(t).figures(a, day(20), "KES").want(t, map[string]string{"growth.mean_weight_g": "45", "biomass.on_hand_kg": "39.6", "fish.unaccounted": "120"})
	j.fold(t).figures(a, day(20), "KES").want(t, map[string]string{"biomass.on_hand_basis": `"counted"`})
	j.add(day(21), domain.Death{Batch: a, Count: 1})
	j.fold(t).figures(a, day(21), "KES").want(t, map[string]string{"biomass.on_hand_basis": `"forecast"`})
}

// Growth starts at the mean weight over all stocked fish.
func TestStockingInParts(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 300, MeanWeight: gram(10)})
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 100, Weight: new(kg(3))})
	j.add(day(10), domain.Sample{Batch: a, Count: 10, WeightG: gram(300)})
	f := j.fold(t)
	f.figures(a, day(10), "KES").near(t, 1e-6, map[string]float64{"growth.daily_gain_g": 1.5, "growth.sgr": 100 * math.Log(2) / 10, "biomass.stocked_kg": 6})

	// Fish that come later blend into what is there, but are no weighing.
	j.add(day(12), domain.Stocking{Batch: a, Origin: "bought", Count: 400, MeanWeight: gram(5)})
	p := j.fold(t).figures(a, day(12), "KES")
	p.want(t, map[string]string{"biomass.on_hand_kg": "14", "feed.measured_to": `"` + day(10).String() + `"`, "growth.days": "10"})
	p.near(t, 1e-6, map[string]float64{"growth.mean_weight_g": 17.5})

	// Of a part with an unknown weight nothing is said that needs it.
	j.add(day(14), domain.Move{Batch: a, ToBatch: &b, Count: new(domain.Fish(100))})
	j.add(day(15), domain.Stocking{Batch: b, Origin: "bred", Count: 50})
	p = j.fold(t).figures(b, day(15), "KES")
	p.want(t, map[string]string{"biomass.moved_in_kg": "1.75", "fish.on_hand": "150"})
	p.null(t, "the weight of 50 of these fish is not known", "biomass.stocked_kg")
	p.null(t, "the fish were never weighed", "biomass.on_hand_kg")
}

// A reading of the water holds until the next one; the mean of a day is its reading.
func TestTemperature(t *testing.T) {
	t.Parallel()
	tgc := func(degreeDays float64) map[string]float64 {
		return map[string]float64{"growth.tgc": 1000 * (math.Cbrt(80) - math.Cbrt(10)) / degreeDays}
	}
	water := func(unit domain.UnitID, degrees float64) domain.Water {
		return domain.Water{Unit: unit, TemperatureC: new(milli(degrees))}
	}
	sample := domain.Sample{Batch: a, Count: 10, WeightG: gram(800)}

	j := stocked()
	j.add(day(0), water(tank1, 26))
	j.add(day(4), water(tank1, 27))
	j.add(day(4), water(tank1, 29)) // the day is 28
	j.add(day(9), domain.Water{Unit: tank1, PH: new(milli(7.2))})
	j.add(day(10), sample)
	j.add(day(10), water(tank1, 40)) // not a day that counts
	j.fold(t).figures(a, day(10), "KES").near(t, 1e-6, tgc(4*26+6*28))

	late := stocked() // days before the first reading count as the mean of the others
	late.add(day(6), water(tank1, 25))
	late.add(day(8), water(tank1, 28))
	late.add(day(10), sample)
	p := late.fold(t).figures(a, day(10), "KES")
	p.near(t, 1e-6, tgc((2*25+2*28)/4.0*10))
	if !p.byName["growth.tgc"].Why.Estimated {
		t.Error("the growth by temperature is not marked as estimated")
	}

	before := stocked() // a reading before the fish came holds on
	before.add(day(-30), water(tank1, 24))
	before.add(day(10), sample)
	before.fold(t).figures(a, day(10), "KES").near(t, 1e-6, tgc(240))

	moved := stocked()
	moved.add(day(0), water(tank1, 24))
	moved.add(day(2), water(tank2, 30))
	moved.add(day(5), domain.Move{Batch: a, ToUnit: &tank2})
	moved.add(day(5), water(tank1, 10))
	moved.add(day(10), sample)
	moved.fold(t).figures(a, day(10), "KES").near(t, 1e-6, tgc(5*24+5*30))

	closed := stocked() // growth ends with the last harvest, not with the closing
	closed.add(day(0), water(tank1, 25))
	closed.add(day(10), domain.Harvest{Batch: a, Count: new(domain.Fish(1000 - 7)), Weight: domain.Grams(80 * 993)})
	closed.add(day(10), water(tank1, 35))
	closed.add(day(20), domain.Count{Batch: a, Count: 0})
	p = closed.fold(t).figures(a, day(30), "KES")
	p.near(t, 1e-6, tgc(250))
	p.want(t, map[string]string{"growth.days": "10", "completeness.days": "20", "fish.unaccounted": "7"})
}

// Biomass-days are cut where the count changes, and at the first of a month; the
// weight between two weighings grows exponentially.
func TestBiomassDaysByMonth(t *testing.T) {
	t.Parallel()
	j := stocked() // 1 January: 1000 of 10 g
	j.add(day(20), domain.Death{Batch: a, Count: 500})
	j.add(day(40), domain.Sample{Batch: a, Count: 10, WeightG: gram(400)}) // 10 February: 40 g
	s := j.fold(t).Batches[a]
	weight := func(d float64) float64 { return 10 * math.Pow(4, d/40) }
	area := func(from, to, fish float64) float64 {
		return fish * (weight(to) - weight(from)) / math.Log(weight(to)/weight(from)) * (to - from)
	}
	want := []float64{area(0, 20, 1000) + area(20, 31, 500), area(31, 40, 500)}
	if len(s.GramDays) != 2 || math.Abs(float64(s.GramDays[0])-want[0]) > 1 || math.Abs(float64(s.GramDays[1])-want[1]) > 1 || s.GramDaysGuessed != 0 {
		t.Errorf("gram-days are %v, want %v", s.GramDays, want)
	}
	through := s.GramDaysThrough(day(40 + 40)) // 19 days of February, 21 of March at 20 kg
	if len(through) != 3 || through[0] != s.GramDays[0] || through[1] != s.GramDays[1]+19*20_000 || through[2] != 21*20_000 {
		t.Errorf("gram-days to 22 March are %v", through)
	}
	if len(s.GramDays) != 2 {
		t.Error("looking ahead changed the state")
	}

	// With an unknown weight at the start the weight grows from nothing, and is marked.
	var unknown journal
	unknown.add(day(0), domain.Stocking{Batch: a, Origin: "bred", Count: 100})
	unknown.add(day(10), domain.Sample{Batch: a, Count: 10, WeightG: gram(100)})
	f := unknown.fold(t)
	if s := f.Batches[a]; s.GramDays[0] != 5000 || s.GramDaysGuessed != 5000 {
		t.Errorf("gram-days are %v, %d of them estimated", s.GramDays, s.GramDaysGuessed)
	}
	f.figures(a, day(10), "KES").null(t, "not known", "biomass.biomass_days_kg")
}

// Copies of one state go on each by itself, whatever room their lists have left.
func TestCopiesOfAStateGoOnApart(t *testing.T) {
	t.Parallel()
	for last := 1; last < 100; last += 9 {
		j := stocked()
		for _, unit := range []domain.UnitID{tank2, tank3, tank1} {
			j.add(day(0), domain.Move{Batch: a, ToUnit: &unit})
		}
		for n := 1; n <= last; n++ {
			j.add(day(n), domain.Death{Batch: a, Count: 1})
		}
		f := j.fold(t)
		goOn := func(count domain.Fish) *domain.BatchState {
			s := domain.NewSite(site, facts())
			s.Batches[a] = new(*f.Batches[a])
			entries := []domain.Entry{
				{ID: id[domain.Entry](1), Site: site, On: day(last + 1), Body: domain.Death{Batch: a, Count: count}},
				{ID: id[domain.Entry](2), Site: site, On: day(last + 40), Body: domain.Death{Batch: a, Count: count}},
				{ID: id[domain.Entry](3), Site: site, On: day(last+40) + domain.Date(count), Body: domain.Move{Batch: a, ToUnit: &tank2}},
			}
			if err := s.Fold(entries, nil); err != nil {
				t.Fatal(err)
			}
			return s.Batches[a]
		}
		one := goOn(10)
		path, survival, left := slices.Clone(one.Path), slices.Clone(one.SurvivalAt), slices.Clone(one.LeftOn)
		goOn(20)
		if !slices.Equal(one.Path, path) || !slices.Equal(one.SurvivalAt, survival) || !slices.Equal(one.LeftOn, left) {
			t.Fatalf("after %d days, going on another way changes %v to %v, %v to %v, %v to %v", last, path, one.Path, survival, one.SurvivalAt, left, one.LeftOn)
		}
	}
}
