package domain_test

import (
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
)

// treatment is medicine with its withdrawal.
func treatment(batch domain.BatchID, days *domain.Days, heat *domain.DegreeDays) domain.Treatment {
	return domain.Treatment{Batch: batch, What: new("oxytetracycline"), Dose: "75 mg/kg", Reason: "red spots", WithdrawalDays: days, WithdrawalDegreeDays: heat}
}

func degrees(unit domain.UnitID, celsius float64) domain.Water {
	return domain.Water{Unit: unit, TemperatureC: new(milli(celsius))}
}

// eat takes fish out to be eaten.
func eat(batch domain.BatchID) domain.Harvest {
	return domain.Harvest{Batch: batch, Weight: kg(1), Count: fish(5)}
}

// fresh marks the entry added last as being recorded now.
func (j *journal) fresh() { j.entries[len(j.entries)-1].Fresh = true }

// allowedFrom returns the first of some days on which fish of a batch may be
// harvested for food.
func (j *journal) allowedFrom(t *testing.T, batch domain.BatchID, days int) int {
	t.Helper()
	for n := range days {
		j.add(day(n), eat(batch))
		j.fresh()
		_, err := j.try()
		j.take(1)
		if err == nil {
			return n
		}
		if j.add(day(n), eat(batch)); true {
			j.fresh()
			j.refused(t, "in_withdrawal")
			j.take(1)
		}
	}
	return days
}

// The first day after the last dose is day 1, and 500 degree-days at 28 °C end on day
// 18 with 504 (computed). The withdrawal lasts through that day.
func TestWithdrawalByDegreeDays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		celsius float64
		heat    domain.DegreeDays
		days    domain.Days
		want    int // the first day on which they may be eaten
	}{
		{28, 500, 0, 19},
		{28, 504, 0, 19}, // reached to the degree
		{28, 505, 0, 20},
		{25, 500, 0, 21},
		{20, 500, 0, 26},
		{28, 500, 10, 19}, // whichever is later
		{28, 500, 18, 19},
		{28, 500, 19, 20},
		{28, 0, 10, 11},
		{28, 0, 1, 2},
		{28, 0, 0, 0}, // there is none
	} {
		j := stocked()
		j.add(day(0), degrees(tank1, c.celsius))
		j.add(day(0), treatment(a, &c.days, &c.heat))
		if got := j.allowedFrom(t, a, 40); got != c.want {
			t.Errorf("%d degree-days at %v °C and %d days: eaten from day %d, want %d", c.heat, c.celsius, c.days, got, c.want)
		}
	}
}

func TestWithdrawalCountsTheWaterAsItWas(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), treatment(a, nil, new(domain.DegreeDays(500))))
	if got := j.allowedFrom(t, a, 60); got != 60 {
		t.Errorf("without any temperature the fish may be eaten from day %d", got)
	}
	j.add(day(10), eat(a))
	j.fresh()
	if e := j.refused(t, "in_withdrawal"); !strings.Contains(e.Detail, "another 500 degree-days") || !strings.Contains(e.Detail, "record the temperature") {
		t.Errorf("the refusal says %q", e.Detail)
	}
	j.take(1)
	j.add(day(10), degrees(tank1, 25)) // days 10 … 29 make 500
	if got := j.allowedFrom(t, a, 60); got != 30 {
		t.Errorf("with 25 °C from day 10 on the fish may be eaten from day %d, want 30", got)
	}
	// On the day of the medicine the water of its end counts, and of that day nothing.
	j = stocked()
	j.add(day(0), degrees(tank1, 20))
	j.at(day(5), 600, treatment(a, nil, new(domain.DegreeDays(60))))
	j.at(day(5), 900, degrees(tank1, 30))
	if s := j.fold(t).Batches[a]; s.WithdrawHeat != (5*20+30+60)*1000 || s.Heat != (5*20+30)*1000 {
		t.Errorf("the heat is %d and must reach %d", s.Heat, s.WithdrawHeat)
	}
	j.add(day(7), eat(a))
	j.fresh()
	j.refused(t, "in_withdrawal")
	j.take(1)
	j.add(day(8), eat(a))
	j.fresh()
	j.fold(t)
}

// Medicine before the end of an earlier withdrawal does not shorten it.
func TestLongestWithdrawalHolds(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), treatment(a, new(domain.Days(30)), nil))
	j.add(day(2), treatment(a, new(domain.Days(5)), nil))
	s := j.fold(t).Batches[a]
	if *s.WithdrawUntil != day(30) || *s.TreatedOn != day(2) {
		t.Errorf("treated on %v, until %v", *s.TreatedOn, *s.WithdrawUntil)
	}
}

func TestWhatIsNotForFoodIsNotWithheld(t *testing.T) {
	t.Parallel()
	for destination, refused := range map[string]bool{"eaten": true, "sold": true, "given": true, "discarded": false, "kept": false} {
		j := stocked()
		j.add(day(0), treatment(a, new(domain.Days(10)), nil))
		h := eat(a)
		h.Destination = &destination
		j.add(day(5), h)
		j.fresh()
		if refused {
			j.refused(t, "in_withdrawal")
			continue
		}
		s := j.fold(t).Batches[a]
		if s.KeptG != kg(1) || (s.DiscardedG == kg(1)) != (destination == "discarded") || s.EarlyG != 0 {
			t.Errorf("%s: kept %d, discarded %d", destination, s.KeptG, s.DiscardedG)
		}
		// What was kept or thrown away cannot be sold.
		j.add(day(6), domain.Sale{Disposal: "given", Batch: &a, Weight: kg(0.5)})
		j.refused(t, "not_enough_harvest")
	}
}

func TestOverrideStaysVisible(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), treatment(a, new(domain.Days(10)), nil))
	h := eat(a)
	h.OverrideWithdrawal = new("the veterinarian found no residue")
	j.add(day(5), h)
	j.fresh()
	j.add(day(11), h) // after its end there is nothing to override
	j.fresh()
	if s := j.fold(t).Batches[a]; s.OverriddenG != kg(1) || s.EarlyG != 0 {
		t.Errorf("overridden %d g, early %d g", s.OverriddenG, s.EarlyG)
	}
}

// What has happened is never refused afterwards: medicine that is recorded late marks
// the batch.
func TestLateTreatmentMarksTheBatch(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(5), eat(a))
	j.add(day(12), eat(a))
	j.add(day(1), treatment(a, new(domain.Days(10)), nil))
	j.fresh()
	if s := j.fold(t).Batches[a]; s.EarlyG != kg(1) || s.OverriddenG != 0 {
		t.Errorf("early %d g, overridden %d g", s.EarlyG, s.OverriddenG)
	}
	// On the day of the medicine itself no time of day helps.
	j = stocked()
	j.at(day(5), 400, eat(a))
	j.at(day(5), 800, treatment(a, new(domain.Days(10)), nil))
	if s := j.fold(t).Batches[a]; s.EarlyG != kg(1) {
		t.Errorf("early %d g on the day of the medicine", s.EarlyG)
	}
	for i := range j.entries {
		j.entries[i].Fresh = true
	}
	j.refused(t, "in_withdrawal")
}

// Fish take their withdrawal with them: what is left of it counts where they go.
func TestWithdrawalMovesWithFish(t *testing.T) {
	t.Parallel()
	moved := func(on int) *journal {
		j := stocked()
		j.add(day(0), domain.Stocking{Batch: b, Origin: "bought", Count: 10, MeanWeight: gram(10)})
		j.add(day(0), degrees(tank1, 28))
		j.add(day(0), degrees(tank2, 20))
		j.add(day(0), treatment(a, new(domain.Days(12)), new(domain.DegreeDays(500))))
		j.add(day(on), domain.Move{Batch: a, ToBatch: &b, Count: fish(100)})
		return j
	}
	// 9 days at 28 °C, day 1 … 9, leave 248, which are reached on the 13th day at 20 °C.
	if s := moved(10).fold(t).Batches[b]; *s.WithdrawUntil != day(12) || s.WithdrawHeat != 10*20_000+248_000 {
		t.Errorf("until %v, heat %d", s.WithdrawUntil, s.WithdrawHeat)
	}
	if got := moved(10).allowedFrom(t, b, 40); got != 0 { // before they came the others may be eaten
		t.Errorf("eaten from day %d", got)
	}
	j := moved(10)
	for n, want := range map[int]bool{9: true, 10: false, 22: false, 23: true} {
		j.add(day(n), eat(b))
		j.fresh()
		if _, err := j.try(); (err == nil) != want {
			t.Errorf("on day %d: %v", n, err)
		}
		j.take(1)
	}
	// After its end there is nothing to take along.
	if s := moved(19).fold(t).Batches[b]; s.WithdrawUntil != nil || s.WithdrawHeat != 0 {
		t.Errorf("until %v, heat %d after the end", s.WithdrawUntil, s.WithdrawHeat)
	}
	// Fish that were moved on the day of the medicine had it, on however many moves.
	j = stocked()
	j.at(day(3), 500, domain.Move{Batch: a, ToBatch: &b, Count: fish(100)})
	j.at(day(3), 600, domain.Move{Batch: b, ToBatch: &c, Count: fish(50)})
	j.at(day(3), 400, treatment(a, new(domain.Days(12)), nil))
	for _, batch := range []domain.BatchID{a, b, c} {
		if s := j.fold(t).Batches[batch]; s.WithdrawUntil == nil || *s.WithdrawUntil != day(15) {
			t.Errorf("until %v", s.WithdrawUntil)
		}
	}
}

func TestWithdrawalTravelsWithSentFish(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), degrees(tank1, 28))
	j.add(day(0), treatment(a, new(domain.Days(12)), new(domain.DegreeDays(500))))
	j.add(day(10), domain.Sent{ToSite: otherSite, Batch: &a, Count: fish(50)})
	j.fold(t)
	sent := j.entries[len(j.entries)-1].Fixed
	if *sent.WithdrawUntil != day(12) || sent.WithdrawHeat != 248_000 {
		t.Fatalf("sent until %v, heat %d", sent.WithdrawUntil, sent.WithdrawHeat)
	}
	there := &journal{}
	there.add(day(0), degrees(tank1, 20))
	there.add(day(11), domain.Received{Batch: &a, Count: fish(50)}).Fixed = sent
	if s := there.fold(t).Batches[a]; *s.WithdrawUntil != day(12) || s.WithdrawHeat != 248_000 {
		t.Errorf("received until %v, heat %d", s.WithdrawUntil, s.WithdrawHeat)
	}
	for n, want := range map[int]bool{23: false, 24: true} { // 13 days at 20 °C, from the 11th on
		there.add(day(n), eat(a))
		there.fresh()
		if _, err := there.try(); (err == nil) != want {
			t.Errorf("on day %d: %v", n, err)
		}
		there.take(1)
	}
	// None that arrived, none that is withheld.
	there = &journal{}
	there.add(day(5), domain.Stocking{Batch: a, Origin: "bought", Count: 10, MeanWeight: gram(10)})
	there.add(day(11), domain.Received{Batch: &a, Count: fish(0)}).Fixed = sent
	if s := there.fold(t).Batches[a]; s.WithdrawUntil != nil || s.WithdrawHeat != 0 {
		t.Errorf("none arrived, until %v, heat %d", s.WithdrawUntil, s.WithdrawHeat)
	}
	// Medicine of the day on which they leave goes with them.
	j = stocked()
	j.at(day(10), 400, treatment(a, new(domain.Days(12)), nil))
	j.at(day(10), 900, domain.Sent{ToSite: otherSite, Batch: &a, Count: fish(50)})
	j.fold(t)
	if i := slices.IndexFunc(j.entries, func(e domain.Entry) bool { return e.Fixed != nil }); i < 0 || *j.entries[i].Fixed.WithdrawUntil != day(22) {
		t.Error("fish that were given medicine on the day they left are not withheld")
	}
}

func TestTreatmentTakesFromTheStore(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), domain.Receipt{Product: salt, Quantity: qty(10), Origin: "bought", Amount: new(domain.Money(50_00))})
	m := treatment(a, new(domain.Days(0)), nil)
	m.What, m.Product, m.Quantity = nil, &salt, new(qty(4))
	j.add(day(1), m)
	f := j.fold(t)
	if s := f.Batches[a]; s.Cost[domain.Medicine] != 20_00 || s.TreatedOn == nil || *s.TreatedOn != day(1) {
		t.Errorf("medicine cost %d, treated on %v", s.Cost[domain.Medicine], s.TreatedOn)
	}
	if s := f.Stores[salt]; s.Balance != qty(6) || s.Used != qty(4) {
		t.Errorf("the store holds %d, used %d", s.Balance, s.Used)
	}
	m.Product = &feed
	j.add(day(2), m)
	j.refused(t, "unknown_reference")
	m.Quantity = nil // medicated feed is fed; the treatment says what for
	j.take(1)
	j.add(day(2), m)
	j.fold(t)
	m.Product = new(id[domain.Product](99))
	j.add(day(3), m)
	j.refused(t, "unknown_reference")
}

func TestFiguresOfTheWithdrawal(t *testing.T) {
	t.Parallel()
	j := stocked()
	f := j.fold(t).figures(a, day(5), "KES")
	f.want(t, map[string]string{"withdrawal.over": "true", "withdrawal.overridden_kg": "0", "withdrawal.harvested_inside_kg": "0", "withdrawal.not_for_food_kg": "0"})
	f.null(t, "no medicine", "withdrawal.treated_on")
	f.null(t, "no withdrawal", "withdrawal.until", "withdrawal.degree_days_left")
	if len(f.Cautions) != 1 {
		t.Errorf("cautions: %q", f.Cautions)
	}
	j.add(day(0), degrees(tank1, 28))
	j.add(day(2), eat(a))
	j.add(day(1), treatment(a, new(domain.Days(10)), new(domain.DegreeDays(500))))
	kept := eat(a)
	kept.Destination = new("kept")
	j.add(day(3), kept)
	allowed := eat(a)
	allowed.OverrideWithdrawal = new("no residue was found")
	j.add(day(4), allowed)
	j.add(day(6), degrees(tank1, 28)) // days 2 … 5 make 112
	f = j.fold(t).figures(a, day(11), "KES")
	f.want(t, map[string]string{"withdrawal.over": "false", "withdrawal.treated_on": `"` + day(1).String() + `"`, "withdrawal.until": `"` + day(11).String() + `"`,
		"withdrawal.degree_days_left": "388", "withdrawal.overridden_kg": "1", "withdrawal.harvested_inside_kg": "1", "withdrawal.not_for_food_kg": "1"})
	for _, words := range []string{"must not be eaten or sold", "as a coordinator allowed", "recorded only afterwards"} {
		if !slices.ContainsFunc(f.Cautions, func(c string) bool { return strings.Contains(c, words) }) {
			t.Errorf("no caution says %q: %q", words, f.Cautions)
		}
	}
	if !slices.Contains(f.Cautions, domain.CautionMedicine) {
		t.Error("the caution of medicine is missing")
	}
	j.add(day(20), degrees(tank1, 28))
	j.fold(t).figures(a, day(20), "KES").want(t, map[string]string{"withdrawal.over": "true", "withdrawal.degree_days_left": "0"})
}
