package domain_test

import (
	"testing"

	"shoalbook/domain"
)

// K-B, computed: line A 10 000 and 10 900 is +9.0 %, line B 5 000 and 3 400 is −32.0 %, which is
// flagged above 25 %; of 15 000 in all 95.3 % is spent.
func TestBudget(t *testing.T) {
	t.Parallel()
	g := &domain.Grant{StartsOn: civil("2025-01-01"), EndsOn: civil("2025-12-31"), Currency: "USD", FlagPercent: 25_000,
		Lines: []domain.BudgetLine{{Code: "a", Title: "A", Amount: 10_000_00}, {Code: "b", Title: "B", Amount: 5_000_00}}}
	year := domain.Span{From: g.StartsOn, To: g.EndsOn}
	spent := []domain.Spent{
		{Line: "a", On: civil("2025-02-01"), Amount: 10_000_00, Part: 100_000},
		{Line: "a", On: civil("2025-12-31"), Amount: 1_800_00, Part: 50_000}, // half of it
		{Line: "b", On: civil("2025-05-05"), Amount: 3_400_00, Part: 100_000},
		{Line: "b", On: civil("2026-01-01"), Amount: 99_00, Part: 100_000}, // after the end
	}
	b := domain.BudgetOf(g, year, "USD", spent)
	for i, want := range []struct{ percent, burn string }{{"9", "109"}, {"-32", "68"}} {
		r := b.Rows[i]
		if domain.DecimalOf(r.VariancePercent, 1) != want.percent || domain.DecimalOf(r.Burn, 1) != want.burn || r.Flagged != (i == 1) {
			t.Errorf("line %s: %v, %v, flagged %v", r.Code, r.VariancePercent, r.Burn, r.Flagged)
		}
	}
	if domain.DecimalOf(b.Total.Burn, 1) != "95.3" || domain.DecimalOf(b.Elapsed, 1) != "100" || b.Total.ToDate != 14_300_00 {
		t.Errorf("in all %v of %v, at %v", b.Total.Burn, b.Total.ToDate, b.Elapsed)
	}
	// Half of the year: A is far over the budget for the time that has passed (computed).
	half := domain.BudgetOf(g, domain.Span{From: g.StartsOn, To: civil("2025-07-02")}, "USD", spent)
	if r := half.Rows[0]; !r.Flagged || domain.DecimalOf(r.AgainstTime, 1) != "99.5" || domain.DecimalOf(half.Elapsed, 1) != "50.1" {
		t.Errorf("at half time: %v at %v, flagged %v", r.AgainstTime, half.Elapsed, r.Flagged)
	}
}

// Amounts are converted by the rate of their day; the values are computed by hand.
func TestBudgetInAnotherCurrency(t *testing.T) {
	t.Parallel()
	g := &domain.Grant{StartsOn: civil("2025-01-01"), EndsOn: civil("2025-12-31"), Currency: "EUR", FlagPercent: 25_000,
		Lines: []domain.BudgetLine{{Code: "feed", Title: "Feed", Amount: 100_00}},
		Rates: []domain.Rate{{From: civil("2025-07-01"), Rate: "0.000235", Source: "central bank"}, {From: civil("2025-02-01"), Rate: "0.00025", Source: "central bank"}}}
	spent := []domain.Spent{
		{Line: "feed", On: civil("2025-01-31"), Amount: 50_000, Part: 100_000},  // before there is a rate
		{Line: "feed", On: civil("2025-06-30"), Amount: 100_000, Part: 100_000}, // 25.00
		{Line: "feed", On: civil("2025-07-01"), Amount: 100_000, Part: 100_000}, // 23.50
	}
	b := domain.BudgetOf(g, domain.Span{From: civil("2025-07-01"), To: g.EndsOn}, "UGX", spent)
	if r := b.Rows[0]; r.ToDate != 48_50 || r.InPeriod != 23_50 || r.Missing != 1 {
		t.Errorf("%+v", r)
	}
}

func civil(s string) domain.Date {
	d, err := domain.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}
