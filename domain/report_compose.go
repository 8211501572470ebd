package domain

import (
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"
)

// Compose works out a report from what is frozen of it and what the journal says. The
// same in is the same out, to the byte.
func Compose(f ReportFrame, sites []SiteSums, spent []Spent) (ReportDocument, error) {
	d := ReportDocument{ReportFrame: f, Figures: []ReportFigure{}, Gaps: []string{}}
	c, total := f.Coop.Currency, Total(sites)
	value := func(name string) *big.Rat {
		if name == "portion_size" {
			v, _ := parseRat(f.Grant.PortionG)
			return v
		}
		i := sumIndex(name)
		return rational(total.Values[i], allSums[i].Digits(c))
	}
	for _, definition := range f.Definitions {
		figure, err := f.figure(definition, sites, total, value)
		if err != nil {
			return d, fmt.Errorf("indicator %s: %w", definition.Code, err)
		}
		d.Figures = append(d.Figures, figure)
	}
	for i, s := range allSums {
		sum := ReportSum{Name: s.Name, Title: s.Title, Unit: s.Unit}
		if total.Known[i] {
			sum.Value = new(s.print(total.Values[i], c))
		}
		d.Sums = append(d.Sums, sum)
	}
	for _, s := range sites {
		d.Sites = append(d.Sites, s.wire(c))
	}
	slices.SortFunc(d.Sites, func(a, b ReportSite) int { return a.ID.Compare(b.ID) })
	g, err := f.Grant.grant()
	if err != nil {
		return d, err
	}
	budget := BudgetOf(g, Span{f.From, f.To}, c, spent)
	d.Money = wireBudget(budget, g, c, spent)
	d.Gaps = f.gaps(sites, total, budget)
	return d, nil
}

// print writes the sum as a decimal number; money with all decimals of its currency.
func (s Sum) print(v int64, c Currency) string {
	if s.digits < 0 {
		return c.Format(Money(v))
	}
	return formatDecimal(v, s.digits, 0)
}

func (s SiteSums) wire(c Currency) ReportSite {
	w := ReportSite{ID: s.Site, Recorded: s.Recorded, Sums: []ReportSiteSum{}}
	if s.Recorded {
		w.LastOn = &s.LastOn
	}
	for i, v := range s.Values {
		if v != 0 || allSums[i].Told && s.Known[i] {
			w.Sums = append(w.Sums, ReportSiteSum{allSums[i].Name, allSums[i].print(v, c)})
		}
	}
	return w
}

// figure works out one indicator.
func (f ReportFrame) figure(w ReportDefinition, sites []SiteSums, total SiteSums, value func(string) *big.Rat) (ReportFigure, error) {
	formula, err := w.indicator().Parse()
	if err != nil {
		return ReportFigure{}, err
	}
	r := ReportFigure{Code: w.Code, Unit: w.Unit, Additive: formula.Additive(), SitesAll: int64(len(sites))}
	r.Kinds, r.Facts = formula.Kinds()
	if r.Kinds == nil {
		r.Kinds = []string{}
	}
	unknown := ""
	for _, s := range sites {
		told := s.Recorded
		for _, name := range formula.Sums {
			told = told && s.Known[sumIndex(name)]
		}
		if told {
			r.SitesTold++
		}
	}
	life := false
	for _, name := range formula.Sums {
		i := sumIndex(name)
		if !total.Known[i] {
			unknown = "nobody recorded any of this: " + allSums[i].Title
		}
		life = life || allSums[i].touched != nil && slices.Contains(closedKinds, allSums[i].Kinds[0])
		r.Estimated = r.Estimated || i == sumEdible || i == sumProtein ||
			total.Guessed > 0 && (i == sumHarvestedFish || i == sumClosedOut)
	}
	r.Entries = f.entries(r.Kinds, life)
	if unknown != "" {
		r.Reason = unknown
		return r, nil
	}
	worked := formula.Work(value)
	print := func(v *big.Rat, unit Dimension) string { return printValue(v, unit, f.Coop.Currency) }
	if worked.Numerator != nil {
		r.Numerator = &ReportPart{"numerator", print(worked.Numerator, worked.NumeratorUnit), worked.NumeratorUnit.String()}
	}
	if worked.Denominator != nil {
		r.Denominator = &ReportPart{"denominator", print(worked.Denominator, worked.DenominatorUnit), worked.DenominatorUnit.String()}
	}
	if r.Reason = worked.Reason; r.Reason == "" {
		r.Value = new(print(worked.Value, formula.Unit))
		r.Parts = f.bySex(w, formula, total)
	}
	return r, f.promised(&r, worked.Value)
}

// printValue writes a value: money to the minor unit, portions as whole ones that are
// full, all else with six decimals at most.
func printValue(v *big.Rat, unit Dimension, c Currency) string {
	switch unit.String() {
	case "money":
		m, err := c.Parse(decimalOf(v, c.Digits()))
		if err != nil {
			return decimalOf(v, c.Digits())
		}
		return c.Format(m)
	case "portion":
		return new(big.Int).Div(v.Num(), v.Denom()).String()
	}
	return decimalOf(v, 6)
}

// bySex returns what is known of a count of people by sex.
func (f ReportFrame) bySex(w ReportDefinition, formula *Formula, total SiteSums) []ReportPart {
	if !slices.Contains(w.Disaggregation, "sex") || formula.Kind != ASum || formula.root.op != 's' {
		return nil
	}
	all := sumIndex(formula.root.name)
	female, male := sumIndex(formula.root.name+"_female"), sumIndex(formula.root.name+"_male")
	if female < 0 || male < 0 {
		return nil
	}
	rest := total.Values[all] - total.Values[female] - total.Values[male]
	part := func(name string, v int64) ReportPart { return ReportPart{name, strconv.FormatInt(v, 10), w.Unit} }
	return []ReportPart{part("female", total.Values[female]), part("male", total.Values[male]), part("not told", rest)}
}

// promised adds the baseline, the target of the period and how much of the planned change
// was reached: (53 − 15) ÷ (50 − 15) is 108.57 %.
func (f ReportFrame) promised(r *ReportFigure, v *big.Rat) error {
	i := slices.IndexFunc(f.Grant.Measures, func(m ReportMeasure) bool { return m.Code == r.Code })
	if i < 0 {
		return nil
	}
	m := f.Grant.Measures[i]
	r.Baseline = m.Baseline
	at := slices.IndexFunc(m.Targets, func(t ReportTarget) bool { return t.From == f.From && t.To == f.To })
	if at < 0 {
		at = slices.IndexFunc(m.Targets, func(t ReportTarget) bool { return Span{t.From, t.To}.Holds(f.To) })
	}
	if at < 0 {
		return nil
	}
	r.Target = &m.Targets[at].Value
	baseline := new(big.Rat)
	if m.Baseline != nil {
		baseline, _ = parseRat(*m.Baseline)
	}
	target, ok := parseRat(*r.Target)
	if !ok || baseline == nil {
		return fmt.Errorf("the baseline or the target is no number")
	}
	if a, ok := Achievement(baseline, target, v); ok {
		r.Achieved = new(decimalOf(a, 2))
	}
	return nil
}

// Achievement returns how much of a planned change was reached, in percent.
func Achievement(baseline, target, actual *big.Rat) (*big.Rat, bool) {
	planned := new(big.Rat).Sub(target, baseline)
	if actual == nil || planned.Sign() == 0 {
		return nil, false
	}
	reached := new(big.Rat).Sub(actual, baseline)
	return reached.Mul(reached.Quo(reached, planned), big.NewRat(100, 1)), true
}

// entries returns where the entries of some kinds are listed; of a whole life from its
// beginning on.
func (f ReportFrame) entries(kinds []string, life bool) string {
	if len(kinds) == 0 {
		return ""
	}
	address := "/v1/entries?kind=" + strings.Join(kinds, "&kind=") + "&to=" + f.To.String()
	if !life {
		address += "&from=" + f.From.String()
	}
	if len(f.Grant.Sites) == 1 {
		address += "&site_id=" + f.Grant.Sites[0].ID.String()
	}
	return address
}

// gaps says what is missing.
func (f ReportFrame) gaps(sites []SiteSums, total SiteSums, b Budget) []string {
	gaps := []string{}
	if f.To < f.Grant.From || f.From > f.Grant.To {
		gaps = append(gaps, fmt.Sprintf("No day of the period is within the grant, which is from %s to %s.", f.Grant.From, f.Grant.To))
	}
	add := func(n int64, format string, args ...any) {
		if n > 0 {
			gaps = append(gaps, fmt.Sprintf(format, args...))
		}
	}
	var silent []string
	for _, s := range sites {
		if !s.Recorded {
			silent = append(silent, f.siteName(s.Site))
		}
	}
	slices.Sort(silent)
	named := strings.Join(silent[:min(len(silent), 10)], ", ")
	if len(silent) > 10 {
		named += " and others"
	}
	add(int64(len(silent)), "%d of %d sites recorded nothing in the period: %s.", len(silent), len(sites), named)
	add(total.Unweighed, "Closed batches that are in no feed conversion, since a weight at stocking or moving is not known: %d.", total.Unweighed)
	add(total.Unfed, "Closed batches that are in no feed conversion, since no feed was recorded for them: %d.", total.Unfed)
	add(total.NoVolume, "Tanks with fish that have no water volume in the registry, so that yields by water leave them out below the line: %d.", total.NoVolume)
	add(int64(total.NoFactor), "%s kg of the fish eaten are of species without a factor, and in no portions.", total.NoFactor.Format())
	add(int64(total.Guessed), "Fish harvested whose number is estimated from their weight: %d.", total.Guessed)
	add(int64(b.Total.Missing), "Amounts that are in no line of the budget, since there is no rate of exchange for their day: %d.", b.Total.Missing)
	return gaps
}

func (f ReportFrame) siteName(id SiteID) string {
	for _, s := range f.Grant.Sites {
		if s.ID == id {
			return s.Name
		}
	}
	return id.String()
}

func wireBudget(b Budget, g *Grant, own Currency, spent []Spent) ReportMoney {
	percent := func(r *big.Rat) *string {
		if r == nil {
			return nil
		}
		return new(decimalOf(r, 1))
	}
	row := func(r BudgetRow) ReportRow {
		return ReportRow{r.Code, r.Title, g.Currency.Format(r.Budget), g.Currency.Format(r.InPeriod), g.Currency.Format(r.ToDate),
			g.Currency.Format(r.Variance), percent(r.VariancePercent), percent(r.Burn), percent(r.AgainstTime), r.Flagged}
	}
	m := ReportMoney{Currency: g.Currency, Elapsed: *percent(b.Elapsed), Rows: []ReportRow{}, Total: row(b.Total), Spent: []ReportSpent{}}
	for _, r := range b.Rows {
		m.Rows = append(m.Rows, row(r))
	}
	for _, s := range spent {
		m.Spent = append(m.Spent, ReportSpent{s.Line, s.What, s.ID, s.On, own.Format(s.Amount)})
	}
	return m
}

// FactorsOf returns the factors that the report goes by.
func (f ReportFrame) FactorsOf() (Factors, error) {
	var out Factors
	for _, w := range f.Factors {
		yield, err := ParseThousandths(w.Yield)
		if err != nil {
			return nil, err
		}
		protein, err := ParseThousandths(w.Protein)
		if err != nil {
			return nil, err
		}
		out = append(out, Factor{w.Species, w.Form, yield, protein, w.Source})
	}
	return out, nil
}
