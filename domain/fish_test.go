package domain_test

import (
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
)

// stocked is a journal with fish in batch a: 1000 of 10 g for 100.00 on day 0.
func stocked() *journal {
	j := &journal{}
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 1000, MeanWeight: gram(10), Amount: new(domain.Money(100_00))})
	return j
}

func (f folded) onHand(t testing.TB, batch domain.BatchID, want domain.Fish) *domain.BatchState {
	t.Helper()
	s := f.Batches[batch]
	if s.OnHand() != want {
		t.Errorf("there are %d fish, want %d", s.OnHand(), want)
	}
	return s
}

func TestCountRaisesTheBook(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(5), domain.Count{Batch: a, Count: 1040})
	f := j.fold(t)
	if s := f.onHand(t, a, 1040); s.Unaccounted != -40 {
		t.Errorf("unaccounted is %d, want -40", s.Unaccounted)
	}
	p := f.figures(a, day(5), "KES")
	p.want(t, map[string]string{"fish.unaccounted": "-40", "survival.by_account": "1.04"})
	p.null(t, "more fish came out than went in", "survival.interval")
	j.add(day(6), domain.Death{Batch: a, Count: 1020}) // which the book allows now
	j.fold(t).onHand(t, a, 20)
}

// A late entry before a count changes what is unaccounted, not what is on hand.
func TestLateEntryBeforeACount(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(5), domain.Count{Batch: a, Count: 950})
	if s := j.fold(t).onHand(t, a, 950); s.Unaccounted != 50 {
		t.Errorf("unaccounted is %d, want 50", s.Unaccounted)
	}
	j.add(day(3), domain.Death{Batch: a, Count: 30})
	if s := j.fold(t).onHand(t, a, 950); s.Unaccounted != 20 || s.Dead != 30 {
		t.Errorf("unaccounted is %d, want 20; dead %d, want 30", s.Unaccounted, s.Dead)
	}
	j.add(day(9), domain.Count{Batch: a, Count: 940})
	if s := j.fold(t).onHand(t, a, 940); s.Unaccounted != 30 {
		t.Errorf("unaccounted is %d, want 30, over both counts", s.Unaccounted)
	}
}

func TestFirstDayWithTooFewFish(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(20), domain.Harvest{Batch: a, Count: new(domain.Fish(900)), Weight: kg(90)})
	j.add(day(30), domain.Death{Batch: a, Count: 50})
	j.fold(t)
	j.add(day(10), domain.Death{Batch: a, Count: 80}) // 20 left on day 20, 30 too few on day 30
	if e := j.refused(t, "not_enough_fish"); !strings.Contains(e.Detail, day(30).String()) || !strings.Contains(e.Detail, "30 fish fewer") {
		t.Errorf("the refusal does not name the day: %s", e.Detail)
	}
	j.add(day(9), domain.Death{Batch: a, Count: 30}) // and now too few on day 20
	if e := j.refused(t, "not_enough_fish"); !strings.Contains(e.Detail, day(20).String()) {
		t.Errorf("the refusal does not name the first such day: %s", e.Detail)
	}
}

// Of several batches that end a day with too few fish, always the same is named.
func TestRefusalsAreNotByChance(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), domain.Stocking{Batch: b, Origin: "bought", Count: 10})
	j.add(day(0), domain.Stocking{Batch: c, Origin: "bought", Count: 10})
	j.add(day(1), domain.Death{Batch: c, Count: 13})
	j.add(day(1), domain.Death{Batch: b, Count: 15})
	j.add(day(1), domain.Death{Batch: a, Count: 1004})
	for range 30 {
		if e := j.refused(t, "not_enough_fish"); !strings.Contains(e.Detail, "4 fish fewer") {
			t.Fatalf("another batch is named: %s", e.Detail)
		}
	}
}

// What a day ends with counts, not what it passes through.
func TestBalanceIsJudgedAtTheEndOfTheDay(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), domain.Stocking{Batch: b, Origin: "bought", Count: 10, MeanWeight: gram(25)})
	j.at(day(1), 600, domain.Move{Batch: b, ToBatch: &c, Count: new(domain.Fish(40))})
	j.at(day(1), 660, domain.Move{Batch: a, ToBatch: &b, Count: new(domain.Fish(50))})
	f := j.fold(t)
	f.onHand(t, a, 950)
	if s := f.onHand(t, b, 20); s.MeanMg/domain.Milligrams(s.MeanFish) != *gram(10) {
		t.Errorf("%d fish weigh %d mg, want the 10 g of those that came", s.MeanFish, s.MeanMg)
	}
	f.onHand(t, c, 40)
}

func TestSameDayIsOrderedByRank(t *testing.T) {
	t.Parallel()
	var j journal // recorded back to front
	j.add(day(0), domain.Sale{Batch: &a, Disposal: "given", Weight: kg(2)})
	j.add(day(0), domain.Count{Batch: a, Count: 70})
	j.add(day(0), domain.Sample{Batch: a, Count: 10, WeightG: gram(200)})
	j.add(day(0), domain.Harvest{Batch: a, Count: new(domain.Fish(10)), Weight: kg(2)})
	j.add(day(0), domain.Move{Batch: a, ToBatch: &b, Count: new(domain.Fish(5))})
	j.add(day(0), domain.Death{Batch: a, Count: 5})
	j.add(day(0), domain.Feeding{Batch: a, Product: feed, Weight: kg(1)})
	j.add(day(0), domain.Receipt{Product: feed, Quantity: qty(1), Origin: "bought", Amount: new(domain.Money(2_00))})
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 100, MeanWeight: gram(10)})
	f := j.fold(t)
	s := f.onHand(t, a, 70)
	if s.Unaccounted != 10 || s.Cost[domain.Feed] != 2_00 || f.Stores[feed].BelowSince != nil {
		t.Errorf("unaccounted %d, feed %d, below since %v", s.Unaccounted, s.Cost[domain.Feed], f.Stores[feed].BelowSince)
	}
	got := slices.Clone(j.entries)
	domain.SortEntries(got)
	want := []string{"receipt", "stocking", "death", "feeding", "move", "harvest", "sample", "count", "sale"}
	for i, e := range got {
		if e.Body.Kind() != want[i] {
			t.Errorf("entry %d of the day is a %s, want a %s", i, e.Body.Kind(), want[i])
		}
	}
	early, late := domain.Entry{On: day(0), ID: id[domain.Entry](9), Body: domain.Death{}}, domain.Entry{On: day(0), At: new(domain.Minute(0)), ID: id[domain.Entry](1), Body: domain.Death{}}
	if early.Position().Compare(late.Position()) >= 0 {
		t.Error("an entry without a time comes after one at midnight")
	}
}

func TestSeveralHarvestsOfTheLastDay(t *testing.T) {
	t.Parallel()
	harvests := []domain.Harvest{
		{Batch: a, Count: new(domain.Fish(300)), Weight: kg(150)},
		{Batch: a, Count: new(domain.Fish(400)), Weight: kg(210), Empties: true},
		{Batch: a, Count: new(domain.Fish(200)), Weight: kg(95)},
	}
	for _, order := range [][]int{{0, 1, 2}, {1, 0, 2}, {2, 1, 0}, {1, 2, 0}} {
		j := stocked()
		j.add(day(40), domain.Harvest{Batch: a, Count: new(domain.Fish(50)), Weight: kg(10)})
		for _, i := range order {
			j.add(day(100), harvests[i])
		}
		s := j.fold(t).onHand(t, a, 0)
		if s.Harvested != 950 || s.HarvestedG != kg(465) || s.Unaccounted != 50 || *s.ClosedOn != day(100) || s.LastFish != 900 || s.LastG != kg(455) {
			t.Errorf("in the order %v: harvested %d, %d g; unaccounted %d; closed on %v; last harvest %d, %d g", order, s.Harvested, s.HarvestedG, s.Unaccounted, s.ClosedOn, s.LastFish, s.LastG)
		}
	}
}

func TestHarvestByWeight(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(50), domain.Sample{Batch: a, Count: 30, Weight: new(kg(6))}) // 200 g each
	j.add(day(60), domain.Harvest{Batch: a, Weight: kg(50)})
	f := j.fold(t)
	if s := f.onHand(t, a, 750); s.Harvested != 250 || s.HarvestGuessed != 250 {
		t.Errorf("%d fish harvested, %d estimated; want 250", s.Harvested, s.HarvestGuessed)
	}
	f.figures(a, day(60), "KES").want(t, map[string]string{"fish.estimated": "true", "fish.harvested": "250"})

	j.add(day(90), domain.Harvest{Batch: a, Weight: kg(400)}) // they grew: 2000 fish by the old weight
	if s := j.fold(t).onHand(t, a, 0); s.Harvested != 1000 || s.ClosedOn == nil {
		t.Errorf("%d fish harvested of 1000, closed on %v", s.Harvested, s.ClosedOn)
	}

	// The rest is what the others of the day leave, wherever it stands among them.
	for _, restFirst := range []bool{true, false} {
		j := stocked()
		rest, part := domain.Harvest{Batch: a, Weight: kg(400), Empties: true}, domain.Harvest{Batch: a, Weight: kg(60), Count: new(domain.Fish(100))}
		if restFirst {
			j.add(day(90), rest)
			j.add(day(90), part)
		} else {
			j.add(day(90), part)
			j.add(day(90), rest)
		}
		if s := j.fold(t).onHand(t, a, 0); s.Harvested != 1000 || s.HarvestGuessed != 900 || s.Unaccounted != 0 {
			t.Errorf("rest first %v: harvested %d, estimated %d, unaccounted %d", restFirst, s.Harvested, s.HarvestGuessed, s.Unaccounted)
		}
	}

	// An estimate hides no overdraft of the book.
	j = stocked()
	j.add(day(90), domain.Harvest{Batch: a, Weight: kg(120), Count: new(domain.Fish(1200))})
	j.add(day(90), domain.Harvest{Batch: a, Weight: kg(10)})
	j.refused(t, "not_enough_fish")

	var unweighed journal
	unweighed.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 100})
	unweighed.add(day(9), domain.Harvest{Batch: a, Weight: kg(1)})
	unweighed.refused(t, "count_needed")
	unweighed.take(1)
	unweighed.add(day(9), domain.Harvest{Batch: a, Weight: kg(1), Empties: true})
	if s := unweighed.fold(t).onHand(t, a, 0); s.Harvested != 100 {
		t.Errorf("%d fish harvested, want 100", s.Harvested)
	}
}

func TestClosing(t *testing.T) {
	t.Parallel()
	for name, body := range map[string]domain.Body{
		"a count of none":          domain.Count{Batch: a, Count: 0},
		"a death of the last fish": domain.Death{Batch: a, Count: 1000},
		"a death that empties":     domain.Death{Batch: a, Count: 0, Empties: true},
		"a harvest of all":         domain.Harvest{Batch: a, Count: new(domain.Fish(1000)), Weight: kg(300)},
		"a harvest that empties":   domain.Harvest{Batch: a, Count: new(domain.Fish(700)), Weight: kg(300), Empties: true},
		"a move of all":            domain.Move{Batch: a, ToBatch: &b, Count: new(domain.Fish(1000))},
		"a move that empties":      domain.Move{Batch: a, ToBatch: &b, Count: new(domain.Fish(990)), Empties: true},
		"sent to another site":     domain.Sent{ToSite: otherSite, Batch: &a, Count: new(domain.Fish(900)), Empties: true},
	} {
		j := stocked()
		j.add(day(30), body)
		j.add(day(30), domain.Feeding{Batch: a, Product: feed, Weight: kg(1)}) // still that day
		s := j.fold(t).onHand(t, a, 0)
		if s.ClosedOn == nil || *s.ClosedOn != day(30) || s.CountedOn == nil || *s.CountedOn != day(30) {
			t.Errorf("%s: closed on %v, counted on %v", name, s.ClosedOn, s.CountedOn)
		}
		if s.Path != nil {
			t.Errorf("%s: the path goes on: %v", name, s.Path)
		}
		if in, out := s.Stocked, s.Dead+s.Harvested+s.MovedOut+s.Unaccounted; in != out {
			t.Errorf("%s: %d fish came, %d went", name, in, out)
		}
		for _, after := range []domain.Body{
			domain.Feeding{Batch: a, Product: feed, Weight: kg(1)}, domain.Death{Batch: a, Count: 1}, domain.Count{Batch: a, Count: 5},
			domain.Sample{Batch: a, Count: 1, WeightG: gram(1)}, domain.Stocking{Batch: a, Origin: "bred", Count: 5},
			domain.Move{Batch: a, ToBatch: &c, Count: new(domain.Fish(1))}, domain.Harvest{Batch: a, Weight: kg(1), Count: new(domain.Fish(1))},
			domain.Use{Product: salt, Quantity: qty(1), Batch: &a}, domain.Move{Batch: a, ToUnit: &tank2},
		} {
			j.add(day(31), after)
			if e := j.refused(t, "batch_closed"); !strings.Contains(e.Detail, day(30).String()) {
				t.Errorf("%s after %s does not name the day: %s", after.Kind(), name, e.Detail)
			}
			j.take(1)
		}
		j.add(day(40), domain.Expense{Category: "repairs", Amount: 5_00, Batch: &a}) // a bill may come later
		j.add(day(40), domain.Labour{Hours: 1000, Amount: new(domain.Money(1_00)), Batch: &a})
		if s := j.fold(t).Batches[a]; s.Cost[domain.Repairs] != 5_00 || s.Cost[domain.HiredLabour] != 1_00 {
			t.Errorf("after %s the batch takes no bills", name)
		}
	}
}

func TestBeforeTheBatch(t *testing.T) {
	t.Parallel()
	for _, body := range []domain.Body{
		domain.Feeding{Batch: a, Product: feed, Weight: kg(1)}, domain.Death{Batch: a, Count: 1}, domain.Count{Batch: a, Count: 5},
		domain.Sample{Batch: a, Count: 1, WeightG: gram(1)}, domain.Move{Batch: a, ToBatch: &b, Count: new(domain.Fish(1))},
		domain.Harvest{Batch: a, Weight: kg(1), Count: new(domain.Fish(1))}, domain.Sent{ToSite: otherSite, Batch: &a, Count: new(domain.Fish(1))},
	} {
		j := stocked()
		j.add(day(-1), body)
		j.refused(t, "before_batch")
	}
	j := stocked()
	j.add(day(-9), domain.Expense{Category: "repairs", Amount: 5_00, Batch: &a}) // the tank was got ready
	if s := j.fold(t).Batches[a]; s.Cost.Total() != 105_00 || *s.FirstOn != day(0) {
		t.Errorf("cost %d, first fish on %v", s.Cost.Total(), s.FirstOn)
	}
}

func TestReferencesOfAnotherSite(t *testing.T) {
	t.Parallel()
	other := id[domain.Batch](99)
	for pointer, body := range map[string]domain.Body{
		"/batch_id":    domain.Death{Batch: other, Count: 1},
		"/to_batch_id": domain.Move{Batch: a, ToBatch: &other, Count: new(domain.Fish(1))},
		"/to_unit_id":  domain.Move{Batch: a, ToUnit: new(id[domain.Unit](99))},
		"/unit_id":     domain.Crop{Unit: id[domain.Unit](99), Crop: "kale", Weight: kg(1)},
		"/product_id":  domain.Feeding{Batch: a, Product: id[domain.Product](99), Weight: kg(1)},
		"/sent_id":     domain.Received{Sent: id[domain.Entry](99), Quantity: new(qty(1))},
	} {
		j := stocked()
		j.add(day(1), body)
		if e := j.refused(t, "unknown_reference"); len(e.Fields) != 1 || e.Fields[0].Pointer != pointer {
			t.Errorf("%s points to %v, want %s", body.Kind(), e.Fields, pointer)
		}
	}
	for _, body := range []domain.Body{
		domain.Feeding{Batch: a, Product: salt, Weight: kg(1)}, domain.Use{Product: feed, Quantity: qty(1)},
		domain.Receipt{Product: mains, Quantity: qty(1), Origin: "bought"}, domain.Stocktake{Product: mains, Quantity: qty(1)},
		domain.Sent{ToSite: otherSite, Product: &mains, Quantity: new(qty(1))}, domain.Incident{Type: "theft", Batch: &other},
		domain.Incident{Type: "theft", Unit: new(id[domain.Unit](99))}, domain.Water{Unit: id[domain.Unit](99), PH: new(milli(7))},
	} {
		j := stocked()
		j.add(day(1), body)
		j.refused(t, "unknown_reference")
	}
}
