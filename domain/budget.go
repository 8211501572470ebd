package domain

import "math/big"

// Spent is what was charged to a line of a grant and stands in the journal or in the
// registry.
type Spent struct {
	Line   string
	What   string // entry, equipment
	ID     string
	On     Date  // by which it is converted
	Amount Money // in the currency of the co-operative, before the part
	Part   Thousandths
}

// BudgetRow is a line of the budget against what was spent on it. Amounts are in the
// currency of the grant; what is nil has a Reason.
type BudgetRow struct {
	Code, Title      string
	Budget           Money
	InPeriod, ToDate Money
	Variance         Money    // to date, less the budget
	VariancePercent  *big.Rat // of the budget
	AgainstTime      *big.Rat // to date against the budget for the time that has passed, percent off
	Burn             *big.Rat // percent of the budget
	Flagged          bool
	Missing          int // what could not be converted
}

// Budget is the budget of a grant at the end of a period.
type Budget struct {
	Rows    []BudgetRow
	Total   BudgetRow
	Elapsed *big.Rat // percent of the time of the grant
}

// BudgetOf holds what was spent by the end of a period against the budget. A line is
// flagged if what was spent is further from the budget for the time that has passed than
// the grant allows.
func BudgetOf(g *Grant, p Span, own Currency, spent []Spent) Budget {
	whole := Span{g.StartsOn, g.EndsOn}
	passed := Span{g.StartsOn, min(p.To, g.EndsOn)}
	b := Budget{Elapsed: big.NewRat(100*max(0, passed.Days()), whole.Days()), Total: BudgetRow{Code: "total", Title: "Total"}}
	for _, l := range g.Lines {
		r := BudgetRow{Code: l.Code, Title: l.Title, Budget: l.Amount}
		for _, s := range spent {
			if s.Line != l.Code || s.On > p.To || s.On < g.StartsOn {
				continue
			}
			m, ok := convert(s, own, g)
			if !ok {
				r.Missing++
				continue
			}
			r.ToDate += m
			if p.Holds(s.On) {
				r.InPeriod += m
			}
		}
		b.Rows = append(b.Rows, r)
		b.Total.Budget += r.Budget
		b.Total.InPeriod += r.InPeriod
		b.Total.ToDate += r.ToDate
		b.Total.Missing += r.Missing
	}
	for i := range b.Rows {
		b.Rows[i].judge(b.Elapsed, g.FlagPercent)
	}
	b.Total.judge(b.Elapsed, g.FlagPercent)
	return b
}

// judge works out how far a line is from its budget.
func (r *BudgetRow) judge(elapsed *big.Rat, flag Thousandths) {
	r.Variance = r.ToDate - r.Budget
	if r.Budget == 0 {
		r.Flagged = r.ToDate != 0
		return
	}
	r.Burn = big.NewRat(100*int64(r.ToDate), int64(r.Budget))
	r.VariancePercent = big.NewRat(100*int64(r.Variance), int64(r.Budget))
	if elapsed.Sign() == 0 {
		return
	}
	due := new(big.Rat).Quo(new(big.Rat).Mul(elapsed, new(big.Rat).SetInt64(int64(r.Budget))), big.NewRat(100, 1))
	off := new(big.Rat).Sub(new(big.Rat).SetInt64(int64(r.ToDate)), due)
	r.AgainstTime = off.Mul(off.Quo(off, due), big.NewRat(100, 1))
	r.Flagged = new(big.Rat).Abs(r.AgainstTime).Cmp(big.NewRat(int64(flag), 1000)) > 0
}

// convert returns what was spent in the currency of the grant, by the rate of its day, to
// the minor unit, half to even.
func convert(s Spent, own Currency, g *Grant) (Money, bool) {
	v := new(big.Rat).Mul(rational(int64(s.Amount), own.Digits()), big.NewRat(int64(s.Part), 100_000))
	if own != g.Currency {
		r, ok := rateOn(g.Rates, s.On)
		if !ok {
			return 0, false
		}
		rate, _ := parseRat(r.Rate)
		v.Mul(v, rate)
	}
	m, err := g.Currency.Parse(decimalOf(v, g.Currency.Digits()))
	return m, err == nil
}
