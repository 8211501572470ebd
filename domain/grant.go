package domain

import (
	"cmp"
	"math/big"
	"regexp"
	"slices"
	"strings"
)

// Grant is money and help from a funder for some sites and some time, and what was
// promised for it.
type Grant struct {
	ID          GrantID
	Funder      PartyID
	Title       string
	StartsOn    Date
	EndsOn      Date
	Currency    Currency // of the budget; never changes
	Lines       []BudgetLine
	Sites       []GrantSite
	Rates       []Rate
	Measures    []GrantMeasure
	Others      []OtherFunds
	Members     []MemberID // who reads its issued reports: members with the role of a funder
	PortionG    Thousandths
	PortionForm string      // fillet, dressed
	FlagPercent Thousandths // from which on a budget line is flagged
	Activity    *string     // IATI identifier of the activity
	Reporter    *string     // IATI identifier of the organisation that reports
	Sectors     []Sector    // of IATI data; none: fishery development
	Kept
}

// BudgetLine is a heading of the budget, with its amount in the currency of the grant.
type BudgetLine struct {
	Code   string
	Title  string
	Amount Money
}

// Sector is what a part of the money is for, by the codes of the OECD's Development
// Assistance Committee, as IATI data has them.
type Sector struct {
	Code    string // five digits
	Percent Thousandths
}

// GrantSite is a site that a grant covers, through a day or for good.
type GrantSite struct {
	Site         SiteID
	SupportUntil *Date
}

// Rate is what one unit of the co-operative's currency is worth in that of the grant from
// a day on, and who says so.
type Rate struct {
	From   Date
	Rate   string // a decimal number
	Source string
}

// GrantMeasure is an indicator that a grant is measured by.
type GrantMeasure struct {
	Code       string
	Baseline   *string // a decimal number, in the unit of the indicator
	BaselineOn *Date
	Targets    []Target
}

// Target is what is to be reached in a period, or by its end.
type Target struct {
	Span
	Value string // a decimal number, in the unit of the indicator
}

// OtherFunds is what somebody else adds: money, or something with its value.
type OtherFunds struct {
	Source string
	Kind   string // cash, in_kind
	Amount Money
}

var sectorCode = regexp.MustCompile(`^[0-9]{5}$`)

// Check refuses a grant that cannot be.
func (f *Grant) Check() error {
	c := &checker{}
	c.require(fits(f.Title, 200), "/title", "must be 1 to 200 characters")
	c.require(f.Currency.Known(), "/currency", "must be the ISO 4217 code of a currency in use, such as EUR")
	c.require(f.StartsOn >= earliest && f.EndsOn <= latest, "/starts_on", "must be after 1990")
	c.require(f.StartsOn <= f.EndsOn, "/ends_on", "must not be before starts_on")
	c.require(len(f.Sites) > 0, "/sites", "a grant is for at least one site")
	unique(c, f.Sites, "/sites", func(s GrantSite) SiteID { return s.Site })
	unique(c, f.Lines, "/lines", func(l BudgetLine) string { return l.Code })
	for _, l := range f.Lines {
		c.require(indicatorCode.MatchString(l.Code), "/lines", "a code must be 2 to 40 small letters, digits and _, a letter first")
		c.require(fits(l.Title, 200), "/lines", "a title must be 1 to 200 characters")
		c.require(l.Amount >= 0, "/lines", "an amount must not be negative")
	}
	unique(c, f.Rates, "/rates", func(r Rate) Date { return r.From })
	for _, r := range f.Rates {
		v, ok := parseRat(r.Rate)
		c.require(ok && v.Sign() > 0, "/rates", "a rate must be a decimal number above 0")
		c.require(fits(r.Source, 300), "/rates", "say who gives the rate, in 1 to 300 characters")
	}
	unique(c, f.Measures, "/indicators", func(m GrantMeasure) string { return m.Code })
	for _, m := range f.Measures {
		m.check(c)
	}
	for _, o := range f.Others {
		c.oneOf(o.Kind, "/other_funds", "cash", "in_kind")
		c.require(fits(o.Source, 200), "/other_funds", "say who gives it, in 1 to 200 characters")
		c.require(o.Amount >= 0, "/other_funds", "an amount must not be negative")
	}
	c.require(f.PortionG >= 1000 && f.PortionG <= 1000_000, "/portion_g", "must be between 1 and 1000 g")
	c.oneOf(f.PortionForm, "/portion_form", "fillet", "dressed")
	c.percent(&f.FlagPercent, "/flag_percent")
	c.require(f.Activity == nil || fits(*f.Activity, 200), "/iati_activity", "must be 1 to 200 characters")
	c.require(f.Reporter == nil || fits(*f.Reporter, 200), "/iati_reporter", "must be 1 to 200 characters")
	c.require((f.Activity == nil) == (f.Reporter == nil), "/iati_reporter", "is needed with iati_activity, and only with it")
	c.require(f.Activity == nil || f.Reporter == nil || strings.HasPrefix(*f.Activity, *f.Reporter+"-"), "/iati_activity", "must begin with iati_reporter and a -")
	unique(c, f.Sectors, "/iati_sectors", func(s Sector) string { return s.Code })
	var whole Thousandths
	for _, s := range f.Sectors {
		c.require(sectorCode.MatchString(s.Code), "/iati_sectors", "a code has five digits, such as 31320")
		c.require(s.Percent > 0, "/iati_sectors", "a part must be more than 0 percent")
		whole += s.Percent
	}
	c.require(len(f.Sectors) == 0 || whole == 100_000, "/iati_sectors", "the parts must be 100 percent in all")
	return c.refuse("the grant")
}

func (m GrantMeasure) check(c *checker) {
	number := func(s string) bool { _, ok := parseRat(s); return ok }
	c.require(indicatorCode.MatchString(m.Code), "/indicators", "must be the code of an indicator")
	c.require(m.Baseline == nil || number(*m.Baseline), "/indicators", "a baseline must be a decimal number")
	c.require((m.Baseline == nil) == (m.BaselineOn == nil), "/indicators", "a baseline is of a day")
	for _, t := range m.Targets {
		c.require(number(t.Value), "/indicators", "a target must be a decimal number")
		c.require(t.From <= t.To, "/indicators", "the period of a target ends before it starts")
	}
}

func unique[T any, K comparable](c *checker, items []T, pointer string, key func(T) K) {
	seen := map[K]bool{}
	for _, item := range items {
		c.require(!seen[key(item)], pointer, "must not name the same twice")
		seen[key(item)] = true
	}
}

// parseRat reads a decimal number of at most 9 decimals.
func parseRat(s string) (*big.Rat, bool) {
	if _, err := parseDecimal(s, 9); err != nil {
		return nil, false
	}
	return new(big.Rat).SetString(s)
}

// SitesOf returns the sites of the grant.
func (f *Grant) SitesOf() []SiteID {
	ids := make([]SiteID, len(f.Sites))
	for i, s := range f.Sites {
		ids[i] = s.Site
	}
	return ids
}

// rateOn returns the rate by which an amount of a day is converted: the last one that
// began by then.
func rateOn(rates []Rate, on Date) (Rate, bool) {
	known := slices.DeleteFunc(slices.Clone(rates), func(r Rate) bool { return r.From > on })
	if len(known) == 0 {
		return Rate{}, false
	}
	return slices.MaxFunc(known, func(a, b Rate) int { return cmp.Compare(a.From, b.From) }), true
}

// GrantCost is what is charged to a line of a grant: an entry of the journal, or
// equipment, or a part of it.
type GrantCost struct {
	ID        GrantCostID
	Grant     GrantID
	Line      string
	Entry     *EntryID
	Equipment *EquipmentID
	Percent   Thousandths // how much of it
	Kept
}

// Check refuses what cannot be charged.
func (f *GrantCost) Check() error {
	c := &checker{}
	c.require(indicatorCode.MatchString(f.Line), "/line", "must be the code of a line of the budget")
	c.require((f.Entry == nil) != (f.Equipment == nil), "/entry_id", "give the entry or the equipment, one of the two")
	c.require(f.Percent > 0 && f.Percent <= 100_000, "/percent", "must be more than 0 and at most 100")
	return c.refuse("the cost")
}

// CostOf returns what was spent by an entry of a kind that a grant can be charged with:
// an expense, paid work, a receipt or a stocking.
func CostOf(b Body) (Money, bool) {
	switch b := b.(type) {
	case Expense:
		return b.Amount, true
	case Labour:
		if b.Amount != nil {
			return *b.Amount, true
		}
	case Receipt:
		return b.cost(), b.Origin != "donated"
	case Stocking:
		return b.cost(), true
	}
	return 0, false
}
