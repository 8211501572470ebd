package domain

import (
	"fmt"
	"math/big"
	"strings"
)

// Broken returns the rules of the official ruleset (IATI-Rulesets, standard.json) that the
// activities break, each with its number. The schema alone accepts a text as a value, a
// period that ends before it starts and percentages that add up to 40. Today is the day
// after which nothing can have happened.
func (f IATIActivities) Broken(today Date) []string {
	c := &iatiCheck{today: today}
	for _, a := range f.Activity {
		c.activity(a)
	}
	return c.broken
}

type iatiCheck struct {
	today  Date
	broken []string
}

func (c *iatiCheck) require(ok bool, rule, format string, args ...any) {
	if !ok {
		c.broken = append(c.broken, rule+" "+fmt.Sprintf(format, args...))
	}
}

func (c *iatiCheck) activity(a IATIActivity) {
	c.require(a.ID != a.Reporter.Ref, "1.1.3", "the activity has the identifier of the organisation")
	c.require(strings.HasPrefix(a.ID, a.Reporter.Ref+"-"), "1.1.21", "the identifier of the activity must begin with that of the organisation, %s", a.Reporter.Ref)
	c.require(a.Lang != "", "4.1.1", "the language is missing")
	c.require(len(a.Sectors) > 0, "6.2.2", "the sector is missing")
	c.shares(a.Sectors, "2.1.1", "2.1.2", "2.1.4", "sectors")
	c.require(len(a.Countries) > 0, "3.7.1", "the country is missing")
	c.shares(a.Countries, "3.1.1", "3.1.2", "3.1.4", "countries")
	started := false
	for _, d := range a.Dates {
		on, ok := c.day(d.Date, "6.11.1")
		started = started || ok && (d.Type == "1" || d.Type == "2")
		if d.Type == "2" || d.Type == "4" {
			c.require(on <= c.today, "11.1.1", "%s is actual and in the future", d.Date)
		}
	}
	c.require(started, "6.11.1", "the day of the start is missing")
	for _, b := range a.Budgets {
		from, to, ok := c.span(b.Start, b.End, "8.6.3")
		c.require(!ok || to < addMonths(from, 12), "7.5.3", "the budget from %s to %s is for more than a year", b.Start.Date, b.End.Date)
		c.money(b.Value, a.Currency)
	}
	for _, t := range a.Transactions {
		on, _ := c.day(t.Date.Date, "11.2.1")
		c.require(on <= c.today, "11.2.1", "the transaction of %s is in the future", t.Date.Date)
		valued, _ := c.day(t.Value.Date, "11.2.2")
		c.require(valued <= c.today, "11.2.2", "the value of %s is in the future", t.Value.Date)
		c.money(t.Value, a.Currency)
	}
	for _, r := range a.Results {
		for _, i := range r.Indicators {
			c.indicator(r, i)
		}
	}
}

func (c *iatiCheck) indicator(r IATIResult, i IATIIndicator) {
	name := i.Title.Narrative
	c.require(len(r.References) == 0 || len(i.References) == 0, "8.11.1", "%s: a reference is of the result or of its indicators, not of both", name)
	valued := func(v, rule, what string) {
		if i.Measure != "5" {
			c.require(v != "" && isNumber(v), rule, "%s: the %s %q is no number", name, what, v)
		}
	}
	for _, b := range i.Baselines {
		valued(b.Value, "8.8.1", "baseline")
	}
	for _, p := range i.Periods {
		c.span(p.Start, p.End, "8.6.1")
		for _, v := range p.Targets {
			valued(v.Value, "8.9.1", "target")
		}
		for _, v := range p.Actuals {
			valued(v.Value, "8.10.1", "actual value")
		}
	}
}

// shares holds codes against the rules that each of several has a share, that shares add
// up to 100, and that the only one has all of it.
func (c *iatiCheck) shares(codes []IATICode, each, sum, only, what string) {
	total := new(big.Rat)
	said := 0
	for _, code := range codes {
		if code.Percentage == "" {
			continue
		}
		said++
		v, ok := new(big.Rat).SetString(code.Percentage)
		c.require(ok, sum, "the share %q of %s is no number", code.Percentage, code.Code)
		if ok {
			total.Add(total, v)
		}
	}
	full := total.Cmp(big.NewRat(100, 1)) == 0
	switch {
	case len(codes) == 1:
		c.require(said == 0 || full, only, "the only one of the %s must have 100 %%, or no share", what)
	case len(codes) > 1:
		c.require(said == len(codes), each, "each of several %s must have its share", what)
		c.require(full, sum, "the shares of the %s add up to %s", what, total.FloatString(2))
	}
}

func (c *iatiCheck) day(s, rule string) (Date, bool) {
	d, err := ParseDate(s)
	c.require(err == nil, rule, "%q is no day", s)
	return d, err == nil
}

// span holds a period against the rule that it starts before it ends.
func (c *iatiCheck) span(from, to IATIDate, rule string) (a, b Date, ok bool) {
	a, ok1 := c.day(from.Date, rule)
	b, ok2 := c.day(to.Date, rule)
	if ok1 && ok2 {
		c.require(a < b, rule, "the period from %s to %s must start before it ends", from.Date, to.Date)
	}
	return a, b, ok1 && ok2
}

func (c *iatiCheck) money(m IATIMoney, otherwise string) {
	c.require(m.Currency != "" || otherwise != "", "7.8.1", "the currency of %s is missing", m.Amount)
	c.require(isNumber(m.Amount), "7.8.1", "the amount %q is no number", m.Amount)
}
