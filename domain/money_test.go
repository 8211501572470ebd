package domain_test

import (
	"testing"

	"shoalbook/domain"
)

// sharing shares the site's cost as of a day.
func (f folded) sharing(asOf domain.Date, rule string, more ...domain.SharedCost) domain.Sharing {
	return domain.ShareOut(asOf, rule, append(more, f.shared...), f.Batches)
}

func of(s domain.Sharing, batch domain.BatchID) domain.Share {
	if p := s.Batches[batch]; p != nil {
		return *p
	}
	return domain.Share{}
}

// An expense is spread by day over what it covers; what is to come is prepaid.
func TestExpenseCovers(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(4), domain.Expense{Category: "rent", Amount: 90_01, CoversFrom: new(day(0)), CoversTo: new(day(89))})
	j.add(day(9), domain.Expense{Category: "energy", Amount: 31_00}) // default: the month, of 31 days
	f := j.fold(t)
	for asOf, want := range map[int]struct{ rent, energy, prepaid domain.Money }{
		3:  {0, 0, 0}, // not known of yet
		4:  {5_00, 0, 85_01},
		9:  {10_00, 10_00, 101_01},
		30: {31_00, 31_00, 59_01},
		44: {45_00, 31_00, 45_01}, // 45.005, half to even
		45: {46_01, 31_00, 44_00},
		89: {90_01, 31_00, 0},
		99: {90_01, 31_00, 0},
	} {
		s := f.sharing(day(asOf), domain.ByGramDays)
		if got := of(s, a); got.Cost[domain.Rent] != want.rent || got.Cost[domain.Energy] != want.energy || s.Prepaid != want.prepaid || s.Idle != (domain.Share{}) {
			t.Errorf("on day %d: rent %d, energy %d, prepaid %d, idle %+v; want %+v", asOf, got.Cost[domain.Rent], got.Cost[domain.Energy], s.Prepaid, s.Idle, want)
		}
	}
}

// What falls on a month without stocked units is the site's idle line.
func TestIdle(t *testing.T) {
	t.Parallel()
	j := stocked() // in January
	j.add(day(10), domain.Harvest{Batch: a, Count: fish(1000), Weight: kg(100)})
	j.add(day(10), domain.Expense{Category: "rent", Amount: 90_00, CoversFrom: new(day(0)), CoversTo: new(day(89))}) // to 31 March
	j.add(day(50), domain.Labour{Hours: 1000, UnpaidValue: new(domain.Money(7_00))})
	j.add(day(50), domain.Sale{Crop: new("kale"), Disposal: "sold", Weight: kg(5), Amount: new(domain.Money(3_00))})
	f := j.fold(t)
	s := f.sharing(day(120), domain.ByGramDays)
	if got := of(s, a); got.Cost.Total() != 31_00 || s.Idle.Cost[domain.Rent] != 59_00 || s.Idle.Unpaid != 7_00 || s.Idle.ByProduct != 3_00 || s.Prepaid != 0 {
		t.Errorf("the batch bears %d, idle is %+v, prepaid %d", got.Cost.Total(), s.Idle, s.Prepaid)
	}
}

// K-43, computed: 60 000 by 9570 : 4785 : 4785 is 30 000, 15 000, 15 000; and 100.00
// in three is 33.34, 33.33, 33.33, the first by id taking the remainder.
func TestSharedByGramDays(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 957, MeanWeight: gram(100)})
	j.add(day(0), domain.Stocking{Batch: b, Origin: "bought", Count: 957, MeanWeight: gram(50)})
	j.add(day(10), domain.Expense{Category: "energy", Amount: 60_000, CoversFrom: new(day(0)), CoversTo: new(day(9))})
	j.add(day(0), domain.Stocking{Batch: c, Origin: "bought", Count: 4785, MeanWeight: gram(10)})
	s := j.fold(t).sharing(day(9+31), domain.ByGramDays)
	if x, y, z := of(s, a).Cost[domain.Energy], of(s, b).Cost[domain.Energy], of(s, c).Cost[domain.Energy]; x != 30_000 || y != 15_000 || z != 15_000 {
		t.Errorf("shares are %d, %d, %d", x, y, z)
	}
	var thirds journal
	for _, batch := range []domain.BatchID{c, b, a} {
		thirds.add(day(0), domain.Stocking{Batch: batch, Origin: "bought", Count: 10, MeanWeight: gram(100)})
	}
	thirds.add(day(0), domain.Expense{Category: "energy", Amount: 100_00})
	f := thirds.fold(t)
	for range 20 { // never by chance
		s = f.sharing(day(40), domain.ByGramDays)
		if x, y, z := of(s, a).Cost[domain.Energy], of(s, b).Cost[domain.Energy], of(s, c).Cost[domain.Energy]; x != 33_34 || y != 33_33 || z != 33_33 {
			t.Fatalf("shares are %d, %d, %d", x, y, z)
		}
	}
}

// By unit-days the weight of the fish does not matter, only how long a unit was
// stocked; batches in one unit halve it. A move changes nothing before it.
func TestSharedByUnitDays(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 10, MeanWeight: gram(500)})
	j.add(day(0), domain.Stocking{Batch: b, Origin: "bought", Count: 1000, MeanWeight: gram(5)})
	j.add(day(0), domain.Expense{Category: "repairs", Amount: 31_00})
	j.add(day(31), domain.Expense{Category: "repairs", Amount: 28_00})
	j.add(day(31+14), domain.Move{Batch: a, ToUnit: &tank2}) // the middle of February
	j.add(day(31+14), domain.Stocking{Batch: c, Origin: "bought", Count: 1000, MeanWeight: gram(5)})
	f := j.fold(t)
	s := f.sharing(day(90), domain.ByUnitDays)
	// January: 31 and 31 days. February: 14 + 7, 14 + 7 and 14.
	if x, y, z := of(s, a).Cost.Total(), of(s, b).Cost.Total(), of(s, c).Cost.Total(); x != 15_50+10_50 || y != 15_50+10_50 || z != 7_00 {
		t.Errorf("shares are %d, %d, %d", x, y, z)
	}

	// The day of the closing is not one of them.
	j.add(day(31+21), domain.Harvest{Batch: c, Count: fish(1000), Weight: kg(9)})
	s = j.fold(t).sharing(day(90), domain.ByUnitDays)
	if x, y, z := of(s, a).Cost.Total(), of(s, b).Cost.Total(), of(s, c).Cost.Total(); x != 15_50+12_00 || y != 15_50+12_00 || z != 4_00 {
		t.Errorf("with 7 days of the third, shares are %d, %d, %d", x, y, z)
	}

	// Where no batch has a known weight, days stocked stand in.
	var unknown journal
	unknown.add(day(0), domain.Stocking{Batch: a, Origin: "bred", Count: 10})
	unknown.add(day(20), domain.Stocking{Batch: b, Origin: "bred", Count: 10})
	unknown.add(day(20), domain.Expense{Category: "repairs", Amount: 42_00})
	s = unknown.fold(t).sharing(day(60), domain.ByGramDays)
	if x, y := of(s, a).Cost.Total(), of(s, b).Cost.Total(); x != 31_00 || y != 11_00 {
		t.Errorf("shares are %d and %d", x, y)
	}
}

// The day itself counts in the shares as it does in the cost.
func TestSharedOnTheFirstDay(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), domain.Labour{Hours: 1000, Amount: new(domain.Money(3_00))})
	j.add(day(1), domain.Stocking{Batch: b, Origin: "bought", Count: 1000, MeanWeight: gram(10)})
	f := j.fold(t)
	if got := of(f.sharing(day(0), domain.ByGramDays), a).Cost.Total(); got != 3_00 {
		t.Errorf("on the first day the batch bears %d", got)
	}
	s := f.sharing(day(1), domain.ByGramDays)
	if x, y := of(s, a).Cost.Total(), of(s, b).Cost.Total(); x != 2_00 || y != 1_00 {
		t.Errorf("on the second day the batches bear %d and %d", x, y)
	}
}

func TestDepreciation(t *testing.T) {
	t.Parallel()
	pump := domain.Equipment{Cost: 400_00, Salvage: 35_00, LifeMonths: 12, InUseFrom: day(0)}
	total := func(lines []domain.SharedCost, asOf int) domain.Money {
		s := domain.ShareOut(day(asOf), domain.ByGramDays, lines, stocked().fold(t).Batches)
		if s.Prepaid != 0 {
			t.Errorf("depreciation is prepaid: %d", s.Prepaid)
		}
		return of(s, a).Cost[domain.Depreciation] + s.Idle.Cost[domain.Depreciation]
	}
	check := func(name string, lines []domain.SharedCost, want map[int]domain.Money) {
		t.Helper()
		for asOf, m := range want {
			if got := total(lines, asOf); got != m {
				t.Errorf("%s: to day %d it is %d, want %d", name, asOf, got, m)
			}
		}
	}
	check("straight-line", domain.DepreciationLines([]domain.EquipmentFrom{{Equipment: pump}}),
		map[int]domain.Money{0: 1_00, 9: 10_00, 363: 364_00, 364: 365_00, 999: 365_00})

	odd := pump
	odd.Cost, odd.Salvage, odd.LifeMonths = 1_00, 0, 1 // 100 on 31 days, cumulative
	check("cumulative rounding", domain.DepreciationLines([]domain.EquipmentFrom{{Equipment: odd}}), map[int]domain.Money{0: 3, 1: 6, 2: 10, 30: 1_00})

	longer := pump // from day 100 on it is to last two years: 265.00 over the 630 days left
	longer.LifeMonths = 24
	revised := []domain.EquipmentFrom{{Equipment: pump}, {From: day(100), Equipment: longer}}
	check("a longer life", domain.DepreciationLines(revised), map[int]domain.Money{99: 100_00, 100: 100_42, 414: 232_50, 729: 365_00, 999: 365_00})

	dearer := pump // the invoice was higher: what is left is spread over the rest
	dearer.Cost = 665_00
	check("a higher cost", domain.DepreciationLines([]domain.EquipmentFrom{{Equipment: pump}, {From: day(100), Equipment: dearer}}),
		map[int]domain.Money{99: 100_00, 100: 102_00, 364: 630_00, 999: 630_00})

	retired := pump
	retired.RetiredOn = new(day(50))
	check("retired", domain.DepreciationLines([]domain.EquipmentFrom{{Equipment: pump}, {From: day(40), Equipment: retired}}), map[int]domain.Money{39: 40_00, 49: 50_00, 50: 50_00, 999: 50_00})

	shorter := pump // its life was over before anybody knew: the rest at once
	shorter.LifeMonths = 2
	check("a life that was over", domain.DepreciationLines([]domain.EquipmentFrom{{Equipment: pump}, {From: day(100), Equipment: shorter}}),
		map[int]domain.Money{99: 100_00, 100: 365_00, 999: 365_00})
	check("nothing", domain.DepreciationLines(nil), map[int]domain.Money{99: 0})

	end := pump // a month from 31 January ends in February
	end.InUseFrom, end.LifeMonths, end.Cost, end.Salvage = domain.NewDate(2025, 1, 31), 1, 29_00, 0
	lines := domain.DepreciationLines([]domain.EquipmentFrom{{Equipment: end}})
	if len(lines) != 1 || lines[0].To != domain.NewDate(2025, 2, 28) {
		t.Errorf("a month from 31 January is %v", lines)
	}
}

// Fish eaten at the site are income at the price in the entry; given ones stand
// apart; together with sold and discarded ones they are no more than was harvested.
func TestSales(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(100), domain.Sale{Batch: &a, Disposal: "sold", Weight: kg(40), LiveWeight: new(kg(50)), Form: new("gutted"), UnitPrice: new(domain.UnitPrice(5_00_0000)), Count: fish(200)})
	j.add(day(100), domain.Harvest{Batch: a, Count: fish(400), Weight: kg(100)}) // on the same day, recorded later
	j.add(day(101), domain.Sale{Batch: &a, Disposal: "eaten", Weight: kg(20), Amount: new(domain.Money(90_00))})
	j.add(day(102), domain.Sale{Batch: &a, Disposal: "given", Weight: kg(10), Amount: new(domain.Money(45_00))})
	j.add(day(103), domain.Sale{Batch: &a, Disposal: "discarded", Weight: kg(20)})
	f := j.fold(t)
	s := f.Batches[a]
	if s.SoldG != kg(50) || s.EatenG != kg(20) || s.GivenG != kg(10) || s.DiscardedG != kg(20) {
		t.Errorf("sold %d, eaten %d, given %d, discarded %d g", s.SoldG, s.EatenG, s.GivenG, s.DiscardedG)
	}
	f.figures(a, day(103), "KES").want(t, map[string]string{"income.cash": `"200.00"`, "income.imputed": `"90.00"`, "income.given": `"45.00"`, "margin": `"190.00"`})

	j.add(day(104), domain.Sale{Batch: &a, Disposal: "given", Weight: 1})
	j.refused(t, "not_enough_harvest")
	j.take(1)
	j.add(day(99), domain.Sale{Batch: &a, Disposal: "given", Weight: kg(1)}) // before the harvest
	j.refused(t, "not_enough_harvest")
	j.take(1)
	for _, disposal := range []string{"sold", "eaten"} {
		j.add(day(105), domain.Sale{Batch: &a, Disposal: disposal, Weight: 1})
		j.refused(t, "price_needed")
		j.take(1)
	}
	// Cost per kg is of what could be eaten or sold: 80 of 100 kg.
	j.add(day(110), domain.Count{Batch: a, Count: 0})
	j.fold(t).figures(a, day(200), "KES").want(t, map[string]string{"cost.per_kg": `"1.2500"`, "cost.per_kg_basis": `"harvested"`})
}

// Cost per kg without and with unpaid labour, before and after the credit for
// by-products, which may be more than the cost.
func TestCostPerKg(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(5), domain.Labour{Hours: 8000, UnpaidValue: new(domain.Money(30_00)), Batch: &a})
	j.add(day(6), domain.Labour{Hours: 8000, UnpaidValue: new(domain.Money(20_00)), Amount: new(domain.Money(25_00))})
	j.add(day(7), domain.Sale{Crop: new("kale"), Disposal: "sold", Weight: kg(9), UnitPrice: new(domain.UnitPrice(5_00_0000))})
	j.add(day(8), domain.Sale{Crop: new("kale"), Disposal: "eaten", Weight: kg(1), Amount: new(domain.Money(5_00))})
	j.add(day(9), domain.Sale{Crop: new("kale"), Disposal: "given", Weight: kg(1), Amount: new(domain.Money(5_00))})
	j.add(day(20), domain.Sample{Batch: a, Count: 100, Weight: new(kg(3.5))}) // gain 25 kg
	f := j.fold(t)
	p := f.figures(a, day(20), "KES")
	p.want(t, map[string]string{
		"cost.total": `"125.00"`, "cost.unpaid_labour": `"50.00"`, "income.by_product": `"50.00"`, "margin": `"-75.00"`,
		"cost.per_kg": `"5.0000"`, "cost.per_kg_net": `"3.0000"`, "cost.per_kg_with_unpaid": `"7.0000"`, "cost.per_kg_basis": `"net_gain"`, "cost.provisional": "true",
	})
	j.add(day(10), domain.Sale{Crop: new("tomatoes"), Disposal: "sold", Weight: kg(50), Amount: new(domain.Money(100_00))})
	p = j.fold(t).figures(a, day(20), "KES")
	p.want(t, map[string]string{"cost.per_kg_net": `"-1.0000"`, "margin": `"25.00"`})
	if n := len(p.Cautions); n != 2 {
		t.Errorf("all income is of by-products, and there are %d cautions", n)
	}
	fishOnly := stocked()
	fishOnly.add(day(1), domain.Sale{Crop: new("kale"), Disposal: "sold", Weight: kg(1), Amount: new(domain.Money(20_00))})
	fishOnly.add(day(2), domain.Harvest{Batch: a, Count: fish(100), Weight: kg(2)})
	fishOnly.add(day(2), domain.Sale{Batch: &a, Disposal: "sold", Weight: kg(2), Amount: new(domain.Money(80_00))})
	if n := len(fishOnly.fold(t).figures(a, day(20), "KES").Cautions); n != 1 {
		t.Errorf("a fifth of the income is of by-products, and there are %d cautions", n)
	}

	j.add(day(30), domain.Count{Batch: a, Count: 0}) // all stolen
	p = j.fold(t).figures(a, day(60), "KES")
	p.null(t, "nothing was harvested", "cost.per_kg", "cost.per_kg_net", "cost.per_kg_basis")
	p.want(t, map[string]string{"growth.mean_weight_g": "35", "growth.days": "20", "fish.unaccounted": "1000", "survival.by_account": "0", "survival.by_recorded_deaths": "1"})
}

func TestFixedAndVariableCost(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(1), domain.Expense{Category: "rent", Amount: 10_00, Batch: &a})
	j.add(day(1), domain.Expense{Category: "salaries", Amount: 20_00, Batch: &a})
	j.add(day(1), domain.Expense{Category: "water", Amount: 5_00, Batch: &a})
	f := j.fold(t)
	f.figures(a, day(1), "KES").want(t, map[string]string{"cost.total": `"135.00"`, "cost.fixed": `"30.00"`, "cost.variable": `"105.00"`})
	m := domain.Measure{State: f.Batches[a], AsOf: day(1), Currency: "KES", Water: new(milli(500))}
	figuresOf(m).want(t, map[string]string{"margin_per_m3": `"-270.0000"`, "biomass.harvest_yield_kg_m3": "0"})
}

// What parties owe: an unpaid sale, and against us an unpaid delivery; payments undo it.
func TestOwed(t *testing.T) {
	t.Parallel()
	buyer := id[domain.Party](42)
	for name, c := range map[string]struct {
		body domain.Body
		owed domain.Money
	}{
		"sale":             {domain.Sale{Batch: &a, Disposal: "sold", Weight: kg(2.5), UnitPrice: new(domain.UnitPrice(3_00_0000)), Buyer: &buyer}, 7_50},
		"sale, paid":       {domain.Sale{Batch: &a, Disposal: "sold", Weight: kg(2.5), Amount: new(domain.Money(7_50)), Buyer: &buyer, Paid: true}, 0},
		"stocking":         {domain.Stocking{Batch: a, Origin: "bought", Count: 30, UnitPrice: new(domain.UnitPrice(12_5000)), Supplier: &hatchery}, -3_75},
		"receipt":          {domain.Receipt{Product: feed, Quantity: qty(25), Origin: "bought", UnitPrice: new(domain.UnitPrice(1_10_0000)), Supplier: &hatchery}, -27_50},
		"donation":         {domain.Receipt{Product: feed, Quantity: qty(25), Origin: "donated", Amount: new(domain.Money(27_50)), Supplier: &hatchery}, 0},
		"expense":          {domain.Expense{Category: "energy", Amount: 9_99, Supplier: &hatchery}, -9_99},
		"expense, paid":    {domain.Expense{Category: "energy", Amount: 9_99, Supplier: &hatchery, Paid: true}, 0},
		"payment received": {domain.Payment{Party: buyer, Direction: "received", Amount: 7_50}, -7_50},
		"payment made":     {domain.Payment{Party: hatchery, Direction: "paid", Amount: 3_75}, 3_75},
	} {
		if r := c.body.Refs(); r.Owed != c.owed || r.Party == nil {
			t.Errorf("%s: owed %d to %v, want %d", name, r.Owed, r.Party, c.owed)
		}
	}
}
