package domain_test

import (
	"testing"

	"shoalbook/domain"
)

func fish(n domain.Fish) *domain.Fish { return &n }

func TestCostMovesWithFish(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		move domain.Move
		cost domain.Money // of 100.00 for 1000 fish of 10 g
		left domain.Fish
	}{
		"by biomass":                       {domain.Move{Count: fish(300), Weight: new(kg(4))}, 40_00, 700},
		"at the last mean weight":          {domain.Move{Count: fish(300)}, 30_00, 700},
		"by number, the weighing is stale": {domain.Move{Count: fish(300), Weight: new(kg(12))}, 30_00, 700},
		"all of them":                      {domain.Move{Count: fish(1000), Weight: new(kg(7))}, 100_00, 0},
		"the rest":                         {domain.Move{Count: fish(900), Weight: new(kg(8)), Empties: true}, 100_00, 0},
		"more than the book says":          {domain.Move{Count: fish(1100), Empties: true}, 100_00, 0},
	} {
		j := stocked()
		c.move.Batch, c.move.ToBatch = a, &b
		j.add(day(10), c.move)
		f := j.fold(t)
		from, to := f.onHand(t, a, c.left), f.onHand(t, b, *c.move.Count)
		if from.CostOut != c.cost || to.CostIn != c.cost || from.Direct() != 100_00-c.cost || to.Direct() != c.cost {
			t.Errorf("%s: %d went, %d came, %d stayed, want %d", name, from.CostOut, to.CostIn, from.Direct(), c.cost)
		}
		if from.MovedOutMg != to.MovedInMg || to.StartMg != to.MovedInMg || to.StartFish != *c.move.Count {
			t.Errorf("%s: %d mg went, %d mg came, %d at the start", name, from.MovedOutMg, to.MovedInMg, to.StartMg)
		}
	}
}

// Whoever of the day says that the batch is empty takes what is left of the cost,
// and no more than that.
func TestGradingEmptiesABatch(t *testing.T) {
	t.Parallel()
	cost := map[bool]domain.Money{true: 19_67, false: 30_00} // 3 of the 6.1 kg left of 40.00; 3 of 10 kg of 100.00
	large := domain.Move{Batch: a, ToBatch: &b, Count: fish(390), Weight: new(kg(6)), Empties: true}
	small := domain.Move{Batch: a, ToBatch: &c, Count: fish(600), Weight: new(kg(3))}
	for _, largeFirst := range []bool{true, false} {
		j := stocked()
		if largeFirst {
			j.add(day(10), large)
			j.add(day(10), small)
		} else {
			j.add(day(10), small)
			j.add(day(10), large)
		}
		f := j.fold(t)
		f.onHand(t, a, 0)
		sa, sb, sc := f.Batches[a], f.Batches[b], f.Batches[c]
		if sa.Unaccounted != 10 || sa.Direct() != 0 || sb.Direct()+sc.Direct() != 100_00 || sc.Direct() != cost[largeFirst] {
			t.Errorf("large first %v: unaccounted %d; cost %d, %d, %d", largeFirst, sa.Unaccounted, sa.Direct(), sb.Direct(), sc.Direct())
		}
		f.figures(a, day(99), "KES").null(t, "moved_on", "cost.per_kg")
	}
}

// A batch made by moves starts with what came on its first day.
func TestBatchMadeByMoves(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(10), domain.Move{Batch: a, ToBatch: &b, Count: fish(100), Weight: new(kg(1.5))})
	j.add(day(10), domain.Move{Batch: a, ToBatch: &b, Count: fish(100), Weight: new(kg(2.5))})
	j.add(day(12), domain.Move{Batch: a, ToBatch: &b, Count: fish(100), Weight: new(kg(5))})
	f := j.fold(t)
	if s := f.onHand(t, b, 300); s.StartMg != *gram(4000) || s.StartFish != 200 || s.MovedInMg != *gram(9000) || *s.FirstOn != day(10) {
		t.Errorf("at the start were %d fish of %d mg, %d mg came in all", s.StartFish, s.StartMg, s.MovedInMg)
	}
}

func TestMovesInAChain(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.at(day(10), 540, domain.Move{Batch: a, ToBatch: &b, Count: fish(1000), Empties: true})
	j.at(day(10), 600, domain.Move{Batch: b, ToBatch: &c, Count: fish(400)})
	f := j.fold(t)
	f.onHand(t, a, 0)
	f.onHand(t, b, 600)
	f.onHand(t, c, 400)
	if x, y := f.Batches[b].Direct(), f.Batches[c].Direct(); x != 60_00 || y != 40_00 {
		t.Errorf("the cost is %d and %d, want 6000 and 4000", x, y)
	}
	if f.Batches[a].ClosedOn == nil || f.Batches[b].ClosedOn != nil {
		t.Error("the wrong batch is closed")
	}
}

// Fish that join others blend with them; of unknown weight, nothing is known of all.
func TestMoveIntoABatch(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), domain.Stocking{Batch: b, Origin: "bought", Count: 100, MeanWeight: gram(60), Amount: new(domain.Money(80_00))})
	j.add(day(0), domain.Stocking{Batch: c, Origin: "bought", Count: 50})
	j.add(day(10), domain.Move{Batch: a, ToBatch: &b, Count: fish(100)})
	f := j.fold(t)
	f.figures(b, day(10), "KES").want(t, map[string]string{"biomass.on_hand_kg": "7", "growth.mean_weight_g": "35", "biomass.net_gain_kg": "0",
		"cost.moved_in": `"10.00"`, "cost.total": `"90.00"`, "fish.moved_in": "100"})
	if s := f.Batches[b]; s.StartMg != *gram(6000) || s.StartFish != 100 {
		t.Errorf("at the start were %d fish of %d mg", s.StartFish, s.StartMg)
	}
	// The biomass-days are cut at the move: 10 days of 6 kg, then 7 kg.
	f.figures(b, day(12), "KES").want(t, map[string]string{"biomass.biomass_days_kg": "74"})

	j.add(day(20), domain.Move{Batch: c, ToBatch: &b, Count: fish(10)})
	f = j.fold(t)
	p := f.figures(b, day(20), "KES")
	p.null(t, "the weight of 10 of these fish is not known", "biomass.moved_in_kg")
	p.null(t, "never weighed", "biomass.on_hand_kg")
	p.want(t, map[string]string{"biomass.stocked_kg": "6", "biomass.on_hand_basis": `"none"`})
	f.figures(c, day(20), "KES").null(t, "the weight of 10", "biomass.moved_out_kg")
}

func TestMoveToAnotherUnit(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(10), domain.Move{Batch: a, ToUnit: &tank2})
	j.add(day(20), domain.Move{Batch: a, ToUnit: &tank3, Weight: new(kg(30))})
	j.add(day(20), domain.Move{Batch: a, ToUnit: &tank3})
	f := j.fold(t)
	s := f.onHand(t, a, 1000)
	if s.Unit != tank3 || len(s.LeftUnits) != 2 || s.LeftUnits[1] != tank2 || s.LeftOn[1] != day(20) || s.Direct() != 100_00 {
		t.Errorf("the fish are in %v, before in %v until %v", s.Unit, s.LeftUnits, s.LeftOn)
	}
	f.figures(a, day(20), "KES").want(t, map[string]string{"growth.mean_weight_g": "30", "biomass.net_gain_kg": "20"})
}

// Donated inputs in a batch go with its fish, apart from cost.
func TestDonatedInputsMoveWithFish(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(1), domain.Receipt{Product: feed, Quantity: qty(10), Origin: "donated", Amount: new(domain.Money(50_00))})
	j.add(day(2), domain.Feeding{Batch: a, Product: feed, Weight: kg(8)})
	j.add(day(3), domain.Move{Batch: a, ToBatch: &b, Count: fish(250)})
	f := j.fold(t)
	if x, y := f.Batches[a], f.Batches[b]; x.Donated != 30_00 || y.Donated != 10_00 || x.Cost[domain.Feed] != 0 || y.CostIn != 25_00 || f.Stores[feed].DonatedV != 10_00 {
		t.Errorf("donated: %d stayed, %d moved, %d in the store; feed cost %d; cost moved %d", x.Donated, y.Donated, f.Stores[feed].DonatedV, x.Cost[domain.Feed], y.CostIn)
	}
	f.figures(a, day(3), "KES").want(t, map[string]string{"cost.donated": `"30.00"`, "cost.total": `"75.00"`})
}

// What crosses sites has its value fixed when it was sent; what a later correction
// makes of it stays with the sender.
func TestFishSentToAnotherSite(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(10), domain.Sent{ToSite: otherSite, Batch: &a, Count: fish(250)})
	f := j.fold(t)
	sent := j.entries[1].Fixed
	if sent == nil || sent.Value != 25_00 || sent.Fish != 250 || *sent.Weight != *gram(2500) || *sent.Batch != a {
		t.Fatalf("what was sent is %+v", sent)
	}
	f.onHand(t, a, 750)
	j.add(day(5), domain.Expense{Category: "medicine", Amount: 8_00, Batch: &a}) // 2.00 would have gone along
	f = j.fold(t)
	if s := f.Batches[a]; s.CostOut != 25_00 || s.Direct() != 83_00 || sent.Value != 25_00 {
		t.Errorf("%d left at a value of %d, %d stayed", s.CostOut, sent.Value, s.Direct())
	}

	all := stocked() // with the last of the fish goes the last of the cost
	all.add(day(10), domain.Sent{ToSite: otherSite, Batch: &a, Count: fish(900), Empties: true})
	f = all.fold(t)
	if s := f.onHand(t, a, 0); all.entries[1].Fixed.Value != 100_00 || s.Direct() != 0 || s.Unaccounted != 100 {
		t.Errorf("%d left, %d stayed, %d unaccounted", all.entries[1].Fixed.Value, s.Direct(), s.Unaccounted)
	}
}

func TestFishReceivedFromAnotherSite(t *testing.T) {
	t.Parallel()
	elsewhere := id[domain.Batch](77)
	consignment := domain.Consignment{Batch: &elsewhere, Fish: 250, Weight: gram(2500), Value: 25_00, Donated: 5_00}
	for name, c := range map[string]struct {
		arrived domain.Received
		weight  domain.Milligrams
	}{
		"all":              {domain.Received{Count: fish(250)}, *gram(2500)},
		"some died":        {domain.Received{Count: fish(200)}, *gram(2000)},
		"weighed on entry": {domain.Received{Count: fish(200), Weight: new(kg(1.8))}, *gram(1800)},
	} {
		var j journal
		c.arrived.Sent, c.arrived.Batch = id[domain.Entry](5), &b
		j.add(day(3), c.arrived).Fixed = &consignment
		s := j.fold(t).onHand(t, b, *c.arrived.Count)
		if s.MovedInMg != c.weight || s.CostIn != 25_00 || s.Donated != 5_00 || s.StartFish != *c.arrived.Count {
			t.Errorf("%s: %d mg at %d, donated %d", name, s.MovedInMg, s.CostIn, s.Donated)
		}
	}
	for _, wrong := range []domain.Received{{Batch: &b, Count: fish(251)}, {Quantity: new(qty(1))}} {
		var j journal
		wrong.Sent = id[domain.Entry](5)
		j.add(day(3), wrong).Fixed = &consignment
		if _, err := j.try(); err == nil {
			t.Errorf("%+v is taken", wrong)
		}
	}
	// None survived: the fish that are there are no better known, nor worse.
	j := stocked()
	j.add(day(3), domain.Received{Sent: id[domain.Entry](5), Batch: &a, Count: fish(0)}).Fixed = &domain.Consignment{Batch: &elsewhere, Fish: 250, Value: 25_00}
	f := j.fold(t)
	f.onHand(t, a, 1000)
	f.figures(a, day(3), "KES").want(t, map[string]string{"biomass.on_hand_kg": "10", "cost.total": `"125.00"`, "biomass.moved_in_kg": "0"})
}
