package domain_test

import (
	"testing"

	"shoalbook/domain"
)

func bought(quantity float64, amount domain.Money) domain.Receipt {
	return domain.Receipt{Product: feed, Quantity: qty(quantity), Origin: "bought", Amount: &amount}
}

func fed(weight float64) domain.Feeding {
	return domain.Feeding{Batch: a, Product: feed, Weight: kg(weight)}
}

// An issue is value × grams ÷ balance, half to even; the last gram takes the rest.
func TestMovingAverageCost(t *testing.T) {
	t.Parallel()
	j := stocked()
	for i, step := range []struct {
		body           domain.Body
		balance        float64
		value, feeding domain.Money // in the store; fed so far
	}{
		{bought(3, 1_00), 3, 1_00, 0},
		{fed(1), 2, 67, 33},
		{fed(1), 1, 33, 67}, // 33.5, half to even
		{bought(2, 2_00), 3, 2_33, 67},
		{fed(1.5), 1.5, 1_17, 1_83}, // 116.5, half to even
		{fed(1.5), 0, 0, 3_00},
	} {
		j.add(day(1+i), step.body)
		f := j.fold(t)
		st, cost := f.Stores[feed], f.Batches[a].Cost[domain.Feed]
		if st.Balance != qty(step.balance) || st.Value != step.value || cost != step.feeding {
			t.Errorf("step %d: %d in the store at %d, fed for %d; want %v at %d, %d", i, st.Balance, st.Value, cost, step.balance, step.value, step.feeding)
		}
		if st.Spent != cost+st.Value || st.Revaluation != 0 {
			t.Errorf("step %d: %d spent, %d fed and %d in the store, revaluation %d", i, st.Spent, cost, st.Value, st.Revaluation)
		}
	}
}

// Below zero, feed costs what was last known; what a receipt makes of it afterwards
// is revaluation.
func TestStoreBelowZero(t *testing.T) {
	t.Parallel()
	j := stocked()
	for i, step := range []struct {
		body                        domain.Body
		balance                     float64
		value, feeding, revaluation domain.Money
		below                       int // since which day; 0: it is not
	}{
		{bought(10, 20_00), 10, 20_00, 0, 0, 0},
		{fed(15), -5, -10_00, 30_00, 0, 2},
		{fed(1), -6, -12_00, 32_00, 0, 2},
		{bought(4, 12_00), -2, -4_00, 32_00, 4_00, 2}, // 4 kg cost 3.00, not 2.00
		{fed(1), -3, -7_00, 35_00, 4_00, 2},           // at 3.00
		{bought(3, 6_00), 0, 0, 35_00, 3_00, 0},       // 3 kg for 6.00, 7.00 assumed
		{fed(2), -2, -4_00, 39_00, 3_00, 7},
		{bought(12, 48_00), 10, 40_00, 39_00, 7_00, 0},
		{fed(10), 0, 0, 79_00, 7_00, 0},
	} {
		j.add(day(1+i), step.body)
		f := j.fold(t)
		st, cost := f.Stores[feed], f.Batches[a].Cost[domain.Feed]
		if st.Balance != qty(step.balance) || st.Value != step.value || cost != step.feeding || st.Revaluation != step.revaluation {
			t.Errorf("step %d: %d in the store at %d, fed for %d, revaluation %d; want %+v", i, st.Balance, st.Value, cost, st.Revaluation, step)
		}
		if st.Spent != cost+st.Value+st.Revaluation {
			t.Errorf("step %d: %d spent is not %d + %d + %d", i, st.Spent, cost, st.Value, st.Revaluation)
		}
		if since := st.BelowSince; (since == nil) != (step.below == 0) || since != nil && *since != day(step.below) {
			t.Errorf("step %d: below zero since %v, want day %d", i, since, step.below)
		}
	}

	never := stocked() // nothing is known of the price
	never.add(day(1), fed(5))
	never.add(day(2), bought(5, 15_00))
	f := never.fold(t)
	if st := f.Stores[feed]; f.Batches[a].Cost[domain.Feed] != 0 || st.Revaluation != 15_00 || st.Value != 0 || st.Balance != 0 {
		t.Errorf("fed for %d, the store is %+v", f.Batches[a].Cost[domain.Feed], st)
	}
}

// Donated goods cost nothing; their value is kept apart, in the store and where they
// are used.
func TestDonatedGoodsAreKeptApart(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(1), bought(10, 20_00))
	j.add(day(2), domain.Receipt{Product: feed, Quantity: qty(10), Origin: "donated", UnitPrice: new(domain.UnitPrice(3_00_0000))})
	j.add(day(3), fed(5))
	f := j.fold(t)
	st, s := f.Stores[feed], f.Batches[a]
	if s.Cost[domain.Feed] != 5_00 || s.Donated != 7_50 || st.Value != 15_00 || st.DonatedV != 22_50 || st.Spent != 20_00 {
		t.Errorf("fed for %d and %d donated; in the store %d and %d donated", s.Cost[domain.Feed], s.Donated, st.Value, st.DonatedV)
	}
	j.add(day(4), domain.Harvest{Batch: a, Count: fish(1000), Weight: kg(100)})
	j.fold(t).figures(a, day(99), "KES").want(t, map[string]string{
		"cost.total": `"105.00"`, "cost.donated": `"7.50"`, "cost.per_kg": `"1.0500"`, "cost.per_kg_with_donated": `"1.1250"`, "cost.per_kg_with_unpaid": `"1.0500"`,
	})
	// A small donation does not make the rest worthless when more is found.
	j.add(day(5), domain.Stocktake{Product: feed, Quantity: qty(16)})
	if st := j.fold(t).Stores[feed]; st.Value != 16_00 || st.Lost != -qty(1) {
		t.Errorf("with 1 kg found the store is worth %d, lost %d", st.Value, st.Lost)
	}
}

func TestStocktake(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(1), bought(10, 20_00))
	j.add(day(1), domain.Receipt{Product: feed, Quantity: qty(10), Origin: "donated", Amount: new(domain.Money(10_00))})
	j.add(day(5), domain.Stocktake{Product: feed, Quantity: qty(18)})
	f := j.fold(t)
	st := f.Stores[feed]
	if st.Balance != qty(18) || st.Value != 18_00 || st.DonatedV != 9_00 || st.Lost != qty(2) || *st.CountedOn != day(5) {
		t.Errorf("after a loss the store is %+v", st)
	}
	f.figures(a, day(31), "KES").want(t, map[string]string{"cost.total": `"102.00"`, "cost.donated": `"1.00"`}) // the only batch bears it
	j.add(day(6), domain.Stocktake{Product: feed, Quantity: qty(19)})
	f = j.fold(t)
	if st = f.Stores[feed]; st.Balance != qty(19) || st.Value != 19_00 || st.Lost != qty(1) || st.Revaluation != 0 {
		t.Errorf("after a find the store is %+v", st)
	}
	f.figures(a, day(31), "KES").want(t, map[string]string{"cost.total": `"101.00"`})
	j.add(day(7), domain.Stocktake{Product: feed, Quantity: 0})
	if st = j.fold(t).Stores[feed]; st.Balance != 0 || st.Value != 0 || st.DonatedV != 0 || st.Lost != qty(20) {
		t.Errorf("when all is gone the store is %+v", st)
	}

	below := stocked() // 5 kg were fed that nobody recorded the receipt of
	below.add(day(1), bought(10, 20_00))
	below.add(day(2), fed(15))
	below.add(day(3), domain.Stocktake{Product: feed, Quantity: qty(1)})
	f = below.fold(t)
	if st = f.Stores[feed]; st.Balance != qty(1) || st.Value != 2_00 || st.Lost != -qty(6) || st.BelowSince != nil || st.Revaluation != 0 {
		t.Errorf("counted above the book the store is %+v", st)
	}
	f.figures(a, day(31), "KES").want(t, map[string]string{"cost.total": `"118.00"`}) // 100 + 30 − 12
}

func TestOtherInputs(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(1), domain.Receipt{Product: salt, Quantity: qty(10), Origin: "bought", Amount: new(domain.Money(10_00))})
	j.add(day(1), domain.Receipt{Product: pouches, Quantity: qty(100), Origin: "opening", Amount: new(domain.Money(5_00))})
	j.add(day(2), domain.Use{Product: salt, Quantity: qty(2), Batch: &a})
	j.add(day(3), domain.Use{Product: pouches, Quantity: qty(40)})
	j.add(day(4), domain.Use{Product: mains, Quantity: qty(12.5), Batch: &a}) // a meter reading: money comes with the bill
	j.add(day(4), domain.Use{Product: mains, Quantity: qty(7)})
	f := j.fold(t)
	s := f.Batches[a]
	if s.Cost[domain.Medicine] != 2_00 || s.Cost[domain.Packaging] != 0 || s.EnergyWh != 12_500 || s.Cost[domain.Energy] != 0 || f.Stores[mains] != nil {
		t.Errorf("the batch is %+v", s)
	}
	if f.Stores[salt].Used != qty(2) || f.Stores[pouches].Value != 3_00 {
		t.Errorf("the stores are %+v, %+v", f.Stores[salt], f.Stores[pouches])
	}
	if len(f.shared) != 1 || f.shared[0].Category != domain.Packaging || f.shared[0].Amount != 2_00 || f.shared[0].From != day(3) || f.shared[0].To != day(3) {
		t.Errorf("the site bears %+v", f.shared)
	}
}

func TestGoodsBetweenSites(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(1), bought(10, 20_00))
	j.add(day(1), domain.Receipt{Product: feed, Quantity: qty(10), Origin: "donated", Amount: new(domain.Money(10_00))})
	j.add(day(2), domain.Sent{ToSite: otherSite, Product: &feed, Quantity: new(qty(5))})
	f := j.fold(t)
	sent := j.entries[2].Fixed
	if sent == nil || sent.Value != 5_00 || sent.Donated != 2_50 || sent.Quantity != qty(5) || *sent.Product != feed || f.Stores[feed].Sent != qty(5) {
		t.Fatalf("what was sent is %+v", sent)
	}
	j.add(day(1), bought(20, 60_00)) // found later; it makes the mean 2.00
	f = j.fold(t)
	if st := f.Stores[feed]; sent.Value != 5_00 || st.Revaluation != 5_00 || st.Value != 70_00 || st.Spent != st.Value+sent.Value+st.Revaluation {
		t.Errorf("sent at %d; the sender's store is %+v", sent.Value, st)
	}

	var to journal // 4 of 5 kg arrive: the loss is in the price
	to.add(day(3), domain.Received{Sent: id[domain.Entry](5), Quantity: new(qty(4))}).Fixed = sent
	if st := to.fold(t).Stores[feed]; st.Balance != qty(4) || st.Arrived != qty(4) || st.Value != 5_00 || st.DonatedV != 2_50 || st.Spent != 0 {
		t.Errorf("the receiver's store is %+v", st)
	}
	var lost journal // nothing arrives
	lost.add(day(2), bought(1, 2_00))
	lost.add(day(3), domain.Received{Sent: id[domain.Entry](5), Quantity: new(qty(0))}).Fixed = sent
	f = lost.fold(t)
	if st := f.Stores[feed]; st.Balance != qty(1) || st.Value != 2_00 || st.DonatedV != 0 {
		t.Errorf("the receiver's store is %+v", st)
	}
	if len(f.shared) != 2 || f.shared[0].Category != domain.Losses || f.shared[0].Amount != 5_00 || f.shared[1].Category != domain.Donated || f.shared[1].Amount != 2_50 {
		t.Errorf("the receiver bears %+v", f.shared)
	}
	for _, wrong := range []domain.Received{{Quantity: new(qty(6))}, {Batch: &a, Count: fish(1)}} {
		var j journal
		wrong.Sent = id[domain.Entry](5)
		j.add(day(3), wrong).Fixed = sent
		if _, err := j.try(); err == nil {
			t.Errorf("%+v is taken", wrong)
		}
	}
}
