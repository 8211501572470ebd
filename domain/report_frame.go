package domain

import (
	"fmt"
	"reflect"
	"time"
)

// ReportInput is what a report is framed by, as the registry has it.
type ReportInput struct {
	Report      Report
	Grant       Grant
	Coop        Coop
	Funder      string
	SiteNames   map[SiteID]string
	Definitions []Indicator
	Costs       []GrantCost
	Factors     []OwnFactor // as they hold on the last day of the period
	KnownAt     time.Time
	Restates    *ReportRestates
}

// knownAtForm keeps what a database keeps of a time.
const knownAtForm = "2006-01-02T15:04:05.000000Z"

// Frame freezes what of a report does not follow from the journal.
func (in ReportInput) Frame() ReportFrame {
	g := in.Grant
	f := ReportFrame{Format: ReportFormat, ID: in.Report.ID, Title: in.Report.Title, Language: in.Report.Language,
		Coop: ReportCoop{in.Coop.Name, in.Coop.Country, in.Coop.Currency}, From: in.Report.StartsOn, To: in.Report.EndsOn,
		KnownAt: in.KnownAt.UTC().Format(knownAtForm), Texts: []ReportWords{}, Definitions: []ReportDefinition{}, Factors: []ReportFactor{},
		Cautions: []string{CautionFigures}, Restates: in.Restates,
		Grant: ReportGrant{ID: g.ID, Version: g.Version, Title: g.Title, Funder: in.Funder, From: g.StartsOn, To: g.EndsOn, Currency: g.Currency,
			PortionG: g.PortionG.Format(), PortionForm: g.PortionForm, FlagPercent: g.FlagPercent.Format(),
			Lines: []ReportLine{}, Rates: []ReportRate{}, Others: []ReportOther{}, Measures: []ReportMeasure{}, Sites: []ReportCovered{}, Charged: []ReportCharge{}}}
	if g.Activity != nil {
		f.Grant.Activity = *g.Activity
	}
	if g.Reporter != nil {
		f.Grant.Reporter = *g.Reporter
	}
	for _, s := range g.Sectors {
		f.Grant.Sectors = append(f.Grant.Sectors, ReportSector{s.Code, s.Percent.Format()})
	}
	for _, l := range g.Lines {
		f.Grant.Lines = append(f.Grant.Lines, ReportLine{l.Code, l.Title, g.Currency.Format(l.Amount)})
	}
	for _, r := range g.Rates {
		f.Grant.Rates = append(f.Grant.Rates, ReportRate(r))
	}
	for _, o := range g.Others {
		f.Grant.Others = append(f.Grant.Others, ReportOther{o.Source, o.Kind, g.Currency.Format(o.Amount)})
	}
	for _, m := range g.Measures {
		w := ReportMeasure{Code: m.Code, Baseline: m.Baseline, BaselineOn: m.BaselineOn, Targets: []ReportTarget{}}
		for _, t := range m.Targets {
			w.Targets = append(w.Targets, ReportTarget{t.From, t.To, t.Value})
		}
		f.Grant.Measures = append(f.Grant.Measures, w)
	}
	for _, s := range g.Sites {
		f.Grant.Sites = append(f.Grant.Sites, ReportCovered{s.Site, in.SiteNames[s.Site], s.SupportUntil})
	}
	for _, c := range in.Costs {
		f.Grant.Charged = append(f.Grant.Charged, ReportCharge{c.Line, c.Entry, c.Equipment, c.Percent.Format()})
	}
	for _, t := range in.Report.Texts {
		f.Texts = append(f.Texts, ReportWords(t))
	}
	for _, d := range in.Definitions {
		f.Definitions = append(f.Definitions, ReportDefinition{d.Code, d.Version, d.Title, d.Definition, d.Unit, d.Formula, d.Measure,
			d.Direction, d.Result, append([]string{}, d.Disaggregation...), d.Source, d.Limits})
	}
	for _, x := range PublishedFactors(g.PortionForm).In(g.PortionForm, in.Factors) {
		f.Factors = append(f.Factors, ReportFactor{x.Species, x.Form, x.Yield.Format(), x.Protein.Format(), x.Source})
	}
	return f
}

// Known returns the moment by which the report was known.
func (f ReportFrame) Known() (time.Time, error) { return time.Parse(knownAtForm, f.KnownAt) }

func (w ReportDefinition) indicator() *Indicator {
	return &Indicator{Code: w.Code, Title: w.Title, Definition: w.Definition, Unit: w.Unit, Formula: w.Formula, Measure: w.Measure,
		Direction: w.Direction, Result: w.Result, Disaggregation: w.Disaggregation, Source: w.Source, Limits: w.Limits}
}

// grant reads the grant back, as far as the budget needs it.
func (w ReportGrant) grant() (*Grant, error) {
	g := &Grant{ID: w.ID, StartsOn: w.From, EndsOn: w.To, Currency: w.Currency}
	var err error
	if g.FlagPercent, err = ParseThousandths(w.FlagPercent); err != nil {
		return nil, fmt.Errorf("flag_percent: %w", err)
	}
	for _, l := range w.Lines {
		m, err := w.Currency.Parse(l.Amount)
		if err != nil {
			return nil, fmt.Errorf("line %s: %w", l.Code, err)
		}
		g.Lines = append(g.Lines, BudgetLine{l.Code, l.Title, m})
	}
	for _, r := range w.Rates {
		g.Rates = append(g.Rates, Rate(r))
	}
	return g, nil
}

// Differs returns the codes of the figures that are others in another document.
func (d ReportDocument) Differs(other ReportDocument) []string {
	codes := []string{}
	for i, f := range d.Figures {
		if i >= len(other.Figures) || !reflect.DeepEqual(f, other.Figures[i]) {
			codes = append(codes, f.Code)
		}
	}
	if !reflect.DeepEqual(d.Money, other.Money) {
		codes = append(codes, "money")
	}
	return codes
}
