package domain

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math/big"
	"slices"
	"strings"
)

// Results and budget of a report in IATI 2.03 (CC BY 4.0, http://iatistandard.org), as far
// as a report has them. The order of the members is that of the schema.

// IATIActivities is a file of activities.
type IATIActivities struct {
	XMLName   xml.Name       `xml:"iati-activities"`
	Version   string         `xml:"version,attr"`
	Generated string         `xml:"generated-datetime,attr"`
	Activity  []IATIActivity `xml:"iati-activity"`
}

// IATIActivity is one activity: here the grant.
type IATIActivity struct {
	Lang         string            `xml:"http://www.w3.org/XML/1998/namespace lang,attr,omitempty"`
	Currency     string            `xml:"default-currency,attr,omitempty"`
	ID           string            `xml:"iati-identifier"`
	Reporter     IATIOrg           `xml:"reporting-org"`
	Title        IATIText          `xml:"title"`
	Description  IATIText          `xml:"description"`
	Participants []IATIOrg         `xml:"participating-org"`
	Status       IATICode          `xml:"activity-status"`
	Dates        []IATIDate        `xml:"activity-date"`
	Countries    []IATICode        `xml:"recipient-country"`
	Sectors      []IATICode        `xml:"sector"`
	Budgets      []IATIBudget      `xml:"budget"`
	Transactions []IATITransaction `xml:"transaction"`
	Results      []IATIResult      `xml:"result"`
}

// IATIText is a text in the language of the activity.
type IATIText struct {
	Narrative string `xml:"narrative"`
}

// IATIOrg is an organisation and its part.
type IATIOrg struct {
	Ref       string `xml:"ref,attr,omitempty"`
	Type      string `xml:"type,attr,omitempty"`
	Role      string `xml:"role,attr,omitempty"`
	Narrative string `xml:"narrative"`
}

// IATICode is a code of a list, with a share in percent.
type IATICode struct {
	Vocabulary string `xml:"vocabulary,attr,omitempty"`
	Code       string `xml:"code,attr"`
	Percentage string `xml:"percentage,attr,omitempty"`
}

// IATIDate is a day: of type 2 the actual start, 3 the planned and 4 the actual end.
type IATIDate struct {
	Type string `xml:"type,attr,omitempty"`
	Date string `xml:"iso-date,attr"`
}

// IATIBudget is a budget of at most a year.
type IATIBudget struct {
	Type   string    `xml:"type,attr"`
	Status string    `xml:"status,attr"`
	Start  IATIDate  `xml:"period-start"`
	End    IATIDate  `xml:"period-end"`
	Value  IATIMoney `xml:"value"`
}

// IATIMoney is an amount.
type IATIMoney struct {
	Currency string `xml:"currency,attr,omitempty"`
	Date     string `xml:"value-date,attr"`
	Amount   string `xml:",chardata"`
}

// IATITransaction is money that moved: of type 4 it was spent.
type IATITransaction struct {
	Type        IATICode  `xml:"transaction-type"`
	Date        IATIDate  `xml:"transaction-date"`
	Value       IATIMoney `xml:"value"`
	Description *IATIText `xml:"description"`
}

// IATIResult is one result with its indicators.
type IATIResult struct {
	Type       string          `xml:"type,attr"`
	Aggregates bool            `xml:"aggregation-status,attr"`
	Title      IATIText        `xml:"title"`
	References []IATICode      `xml:"reference"`
	Indicators []IATIIndicator `xml:"indicator"`
}

// IATIIndicator is what is measured.
type IATIIndicator struct {
	Measure     string         `xml:"measure,attr"` // 1 unit, 2 percentage, 5 qualitative
	Ascending   bool           `xml:"ascending,attr"`
	Aggregates  bool           `xml:"aggregation-status,attr"`
	Title       IATIText       `xml:"title"`
	Description *IATIText      `xml:"description"`
	References  []IATICode     `xml:"reference"`
	Baselines   []IATIBaseline `xml:"baseline"`
	Periods     []IATIPeriod   `xml:"period"`
}

// IATIBaseline is what it was before.
type IATIBaseline struct {
	Year  string `xml:"year,attr"`
	Date  string `xml:"iso-date,attr,omitempty"`
	Value string `xml:"value,attr,omitempty"`
}

// IATIPeriod is what was to be and what was reached in a period.
type IATIPeriod struct {
	Start   IATIDate    `xml:"period-start"`
	End     IATIDate    `xml:"period-end"`
	Targets []IATIValue `xml:"target"`
	Actuals []IATIValue `xml:"actual"`
}

// IATIValue is a value, of a part if it has a dimension.
type IATIValue struct {
	Value      string          `xml:"value,attr,omitempty"`
	Dimensions []IATIDimension `xml:"dimension"`
	Comment    *IATIText       `xml:"comment"`
}

// IATIDimension says of which part a value is.
type IATIDimension struct {
	Name  string `xml:"name,attr"`
	Value string `xml:"value,attr"`
}

// ErrNoIATI says that a grant is in no IATI data, since it has no identifiers.
var ErrNoIATI = errors.New("the grant has no IATI identifiers of the activity and of who reports")

// WriteIATI writes the results and the budget of a report as an IATI activity. Its error is
// [ErrNoIATI], or says which rules of the standard it would break.
func WriteIATI(w io.Writer, d ReportDocument) error {
	a, err := NewIATI(d)
	if err != nil {
		return err
	}
	known, err := d.Known()
	if err != nil {
		return err
	}
	if broken := a.Broken(DateOf(known, known.Location())); len(broken) > 0 {
		return fmt.Errorf("IATI rules are broken: %s", strings.Join(broken, "; "))
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return err
	}
	e := xml.NewEncoder(w)
	e.Indent("", "  ")
	if err := e.Encode(a); err != nil {
		return err
	}
	_, err = io.WriteString(w, "\n")
	return err
}

// fisheryDevelopment is the purpose code of the OECD that includes aquaculture.
const fisheryDevelopment = "31320"

// sectors returns what the money is for.
func (w ReportGrant) sectors() []IATICode {
	if len(w.Sectors) == 0 {
		return []IATICode{{Vocabulary: "1", Code: fisheryDevelopment, Percentage: "100"}}
	}
	var codes []IATICode
	for _, s := range w.Sectors {
		codes = append(codes, IATICode{Vocabulary: "1", Code: s.Code, Percentage: s.Percent})
	}
	return codes
}

// NewIATI makes an activity of a report.
func NewIATI(d ReportDocument) (IATIActivities, error) {
	g := d.Grant
	if g.Activity == "" || g.Reporter == "" {
		return IATIActivities{}, ErrNoIATI
	}
	money, err := g.grant()
	if err != nil {
		return IATIActivities{}, err
	}
	status, end := "2", IATIDate{"3", g.To.String()}
	if d.To >= g.To {
		status, end.Type = "4", "4"
	}
	a := IATIActivity{Lang: "en", Currency: string(g.Currency), ID: g.Activity, Reporter: IATIOrg{Ref: g.Reporter, Type: "24", Narrative: d.Coop.Name},
		Title: IATIText{g.Title}, Description: IATIText{fmt.Sprintf("%s: results of %s to %s.", d.Title, d.From, d.To)},
		Participants: []IATIOrg{{Type: "60", Role: "1", Narrative: g.Funder}, {Ref: g.Reporter, Type: "24", Role: "4", Narrative: d.Coop.Name}},
		Status:       IATICode{Code: status}, Dates: []IATIDate{{"2", g.From.String()}, end},
		Countries: []IATICode{{Code: d.Coop.Country, Percentage: "100"}}, Sectors: g.sectors(),
		Budgets: iatiBudgets(money)}
	for _, r := range d.Money.Rows {
		if strings.Trim(r.InPeriod, "0.") != "" {
			a.Transactions = append(a.Transactions, IATITransaction{Type: IATICode{Code: "4"}, Date: IATIDate{Date: d.To.String()},
				Value: IATIMoney{string(g.Currency), d.To.String(), r.InPeriod}, Description: &IATIText{r.Title}})
		}
	}
	for _, f := range d.Figures {
		r, err := d.iatiResult(f)
		if err != nil {
			return IATIActivities{}, err
		}
		a.Results = append(a.Results, r)
	}
	return IATIActivities{Version: "2.03", Generated: strings.Split(d.KnownAt, ".")[0] + "Z", Activity: []IATIActivity{a}}, nil
}

// iatiBudgets spreads the budget by days over periods of at most a year each; the parts add
// up to it exactly.
func iatiBudgets(g *Grant) []IATIBudget {
	var total Money
	for _, l := range g.Lines {
		total += l.Amount
	}
	if total == 0 {
		return nil
	}
	whole := SharedCost{From: g.StartsOn, To: g.EndsOn, Amount: total}
	var budgets []IATIBudget
	for from := g.StartsOn; from <= g.EndsOn; {
		to := min(addMonths(from, 12)-1, g.EndsOn)
		budgets = append(budgets, IATIBudget{"1", "2", IATIDate{Date: from.String()}, IATIDate{Date: to.String()},
			IATIMoney{string(g.Currency), from.String(), g.Currency.Format(whole.portion(from, to))}})
		from = to + 1
	}
	return budgets
}

// iatiResult makes a result of an indicator; a ratio is told with what is above and below
// the line, each of which can be added up.
func (d ReportDocument) iatiResult(f ReportFigure) (IATIResult, error) {
	def := d.Definitions[slices.IndexFunc(d.Definitions, func(w ReportDefinition) bool { return w.Code == f.Code })]
	formula, err := def.indicator().Parse()
	if err != nil {
		return IATIResult{}, err
	}
	types := map[string]string{"output": "1", "outcome": "2", "impact": "3"}
	r := IATIResult{Type: types[def.Result], Aggregates: f.Additive, Title: IATIText{def.Title}}
	period := IATIPeriod{Start: IATIDate{Date: d.From.String()}, End: IATIDate{Date: d.To.String()}}
	main := IATIIndicator{Measure: "1", Ascending: def.Direction != "falling", Aggregates: f.Additive, Title: IATIText{def.Title},
		Description: &IATIText{def.Definition + " Unit: " + strings.ReplaceAll(def.Unit, "money", string(d.Coop.Currency)) + "."}, References: []IATICode{{Vocabulary: "99", Code: def.Code}}}
	if def.Measure == "percentage" {
		main.Measure = "2"
	}
	if i := slices.IndexFunc(d.Grant.Measures, func(m ReportMeasure) bool { return m.Code == f.Code }); i >= 0 && d.Grant.Measures[i].Baseline != nil {
		m := d.Grant.Measures[i]
		main.Baselines = []IATIBaseline{{Year: m.BaselineOn.String()[:4], Date: m.BaselineOn.String(), Value: *m.Baseline}}
	}
	shown := period
	if f.Target != nil {
		shown.Targets = []IATIValue{{Value: *f.Target}}
	}
	if f.Value != nil {
		actual := IATIValue{Value: *f.Value}
		if f.Estimated {
			actual.Comment = &IATIText{"Part of it is estimated."}
		}
		shown.Actuals = []IATIValue{actual}
		for _, part := range f.Parts {
			shown.Actuals = append(shown.Actuals, IATIValue{Value: part.Value, Dimensions: []IATIDimension{{"sex", part.Name}}})
		}
	}
	main.Periods = []IATIPeriod{shown}
	r.Indicators = []IATIIndicator{main}
	for _, part := range []*ReportPart{f.Numerator, f.Denominator} {
		if f.Additive || part == nil || formula.Kind != ARatio {
			continue
		}
		p := period
		p.Actuals = []IATIValue{{Value: part.Value}}
		r.Indicators = append(r.Indicators, IATIIndicator{Measure: "1", Ascending: true, Aggregates: part.Name == "denominator" || formula.addsAbove(),
			Title: IATIText{def.Title + ", " + part.Name + " (" + strings.ReplaceAll(part.Unit, "money", string(d.Coop.Currency)) + ")"}, Periods: []IATIPeriod{p}})
	}
	return r, nil
}

// addsAbove reports whether what is above the line is a plain sum.
func (f *Formula) addsAbove() bool {
	t := f.root
	for t.op != '/' || t.right.kind == AConstant {
		if t.left.kind == AConstant {
			t = t.right
		} else {
			t = t.left
		}
	}
	return t.left.kind == ASum
}

// isNumber judges a value of IATI data.
func isNumber(s string) bool {
	_, ok := new(big.Rat).SetString(s)
	return ok && !strings.Contains(s, "/")
}
