package domain_test

import (
	"math/big"
	"testing"

	"shoalbook/domain"
)

// The days of a period are counted with both ends: fish that left a tank, or were all
// harvested, on its first day had been there.
func TestPeriodHasItsFirstDay(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(10), domain.Move{Batch: a, ToUnit: &tank2})
	j.add(day(20), domain.Harvest{Batch: a, Weight: kg(200), Empties: true, Count: new(domain.Fish(1000))})
	for _, c := range []struct {
		from, to      int
		water, active int64
	}{
		{-5, -1, 0, 0}, {-5, 0, 1, 1}, {1, 9, 1, 1}, {1, 10, 3, 1}, {10, 10, 3, 1}, {11, 19, 2, 1}, {20, 30, 2, 1}, {21, 30, 0, 0},
	} {
		p := domain.Span{From: day(c.from), To: day(c.to)}
		b := j.books(t, p)
		b.Water = map[domain.UnitID]domain.Thousandths{tank1: 1, tank2: 2}
		if s := b.Sums(p, nil); s.ValueOf("water_m3") != c.water || s.ValueOf("active_sites") != c.active {
			t.Errorf("days %d to %d: water %d, want %d; active %d, want %d", c.from, c.to, s.ValueOf("water_m3"), c.water, s.ValueOf("active_sites"), c.active)
		}
	}
}

// Support has ended before the period if its last day is before the first of it.
func TestSupportEndsBeforeThePeriod(t *testing.T) {
	t.Parallel()
	p := domain.Span{From: day(5), To: day(9)}
	b := stocked().books(t, p)
	for last, ended := range map[domain.Date]int64{day(3): 1, day(4): 1, day(5): 0} {
		b.SupportUntil = &last
		if s := b.Sums(p, nil); s.ValueOf("support_ended_sites") != ended || s.ValueOf("going_on_sites") != ended {
			t.Errorf("support until %s: %d ended, want %d", last, s.ValueOf("support_ended_sites"), ended)
		}
	}
}

// Electricity is held against all that was harvested at the sites that measure it; fish
// whose number was estimated are told for the period in which they were harvested.
func TestSumsOfWhatIsMeasured(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(5), domain.Sample{Batch: a, Count: 10, WeightG: gram(1000)})
	j.add(day(6), domain.Harvest{Batch: a, Weight: kg(20)})
	j.add(day(8), domain.Use{Product: mains, Quantity: qty(7)})
	j.add(day(9), domain.Harvest{Batch: a, Weight: kg(30)})
	for _, c := range []struct{ from, to, metered, guessed int64 }{{0, 7, 0, 200}, {8, 9, 30_000, 300}, {0, 9, 50_000, 500}, {10, 12, 0, 0}} {
		p := domain.Span{From: day(int(c.from)), To: day(int(c.to))}
		if s := j.books(t, p).Sums(p, nil); s.ValueOf("metered_harvest_kg") != c.metered || int64(s.Guessed) != c.guessed {
			t.Errorf("days %d to %d: %d metered, want %d; %d guessed, want %d", c.from, c.to, s.ValueOf("metered_harvest_kg"), c.metered, s.Guessed, c.guessed)
		}
	}
}

// Half to even, also below nothing (computed).
func TestDecimalsAreHalfToEven(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		num, den int64
		want     string
	}{{5, 2, "2"}, {7, 2, "4"}, {-5, 2, "-2"}, {-7, 2, "-4"}, {51, 20, "3"}, {-51, 20, "-3"}, {1, 3, "0"}, {2, 3, "1"}} {
		if got := domain.DecimalOf(big.NewRat(c.num, c.den), 0); got != c.want {
			t.Errorf("%d/%d is %s, want %s", c.num, c.den, got, c.want)
		}
	}
}

// What was spent before the grant began or after the period is not of it; the time of the
// grant does not go on after its end; a line without a budget is flagged by what was spent.
func TestBudgetAtItsEdges(t *testing.T) {
	t.Parallel()
	g := &domain.Grant{StartsOn: civil("2025-03-01"), EndsOn: civil("2025-12-31"), Currency: "USD", FlagPercent: 25_000,
		Lines: []domain.BudgetLine{{Code: "a", Title: "A", Amount: 100_00}, {Code: "none", Title: "None"}}}
	spent := []domain.Spent{
		{Line: "a", On: civil("2025-02-28"), Amount: 1_00, Part: 100_000},
		{Line: "a", On: civil("2025-03-01"), Amount: 2_00, Part: 100_000},
		{Line: "a", On: civil("2025-06-30"), Amount: 4_00, Part: 100_000},
		{Line: "a", On: civil("2025-07-01"), Amount: 8_00, Part: 100_000},
	}
	b := domain.BudgetOf(g, domain.Span{From: civil("2025-03-01"), To: civil("2025-06-30")}, "USD", spent)
	if b.Rows[0].ToDate != 6_00 || b.Rows[0].InPeriod != 6_00 || b.Rows[1].Flagged {
		t.Errorf("%+v", b.Rows)
	}
	spent = append(spent, domain.Spent{Line: "none", On: civil("2025-07-01"), Amount: 1, Part: 100_000})
	b = domain.BudgetOf(g, domain.Span{From: civil("2025-07-01"), To: civil("2026-06-30")}, "USD", spent)
	if b.Rows[0].ToDate != 14_00 || b.Rows[0].InPeriod != 8_00 || !b.Rows[1].Flagged || domain.DecimalOf(b.Elapsed, 1) != "100" {
		t.Errorf("%+v, at %v", b.Rows, b.Elapsed)
	}
}

// A batch that was closed on the last day that is asked for is compared, one that was
// closed the day after is not; and one that has its like in its own group alone is not
// made comparable.
func TestComparedByTheDayOfClosing(t *testing.T) {
	t.Parallel()
	batches := []domain.ComparedBatch{raised(1, 1, 1000, 900, 400_000, 600_000), raised(2, 2, 1000, 800, 400_000, 600_000)} // closed on day 180
	for _, c := range []struct {
		from, to int
		want     int64
	}{{180, 180, 2}, {100, 179, 0}, {181, 200, 0}, {100, 180, 2}} {
		q := question("survival", "site")
		q.From, q.To = new(day(c.from)), new(day(c.to))
		if got := q.Compare(each(batches)).Batches; got != c.want {
			t.Errorf("%d batches were closed on days %d to %d, want %d", got, c.from, c.to, c.want)
		}
	}
	other := raised(2, 3, 1000, 500, 400_000, 600_000)
	other.Species = "TLN"
	q := question("survival", "site")
	q.Standardise = []string{"species"}
	if all := q.Compare(each(append(batches, other))).All; all.Batches != 2 || len(all.LeftOut) != 1 {
		t.Errorf("%d batches are compared, and left out are %v", all.Batches, all.LeftOut)
	}
}
