package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"

	"shoalbook/api/render"
	"shoalbook/domain"
	"shoalbook/postgres"
)

// reportCopies makes what is kept of a report besides its canonical document: a report
// that was issued reads the same for ever, also by a later version of this program.
func reportCopies(d domain.ReportDocument) ([]postgres.ReportCopy, error) {
	text, err := domain.CanonicalOf(d)
	if err != nil {
		return nil, err
	}
	shown, err := reportPages(d, hashOf(text))
	if err != nil {
		return nil, err
	}
	var copies []postgres.ReportCopy
	for media, write := range reportForms(d, shown) {
		var body bytes.Buffer
		err := write(&body)
		if media == asXML && err != nil {
			continue // it has no such form
		}
		if err != nil {
			return nil, fmt.Errorf("as %s: %w", media, err)
		}
		copies = append(copies, postgres.ReportCopy{Format: extensions[media], MediaType: media, Content: body.Bytes()})
	}
	return copies, nil
}

func hashOf(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// reportForms says how a report is written in each form but JSON.
func reportForms(d domain.ReportDocument, shown *render.Document) map[string]func(io.Writer) error {
	return map[string]func(io.Writer) error{
		asHTML: shown.HTML, asPDF: shown.PDF, asXLSX: shown.XLSX,
		asCSV: func(w io.Writer) error { return shown.CSV(w, "") },
		asXML: func(w io.Writer) error { return domain.WriteIATI(w, d) },
	}
}

// reportPages lays a report out. The mark is its hash, none for a draft.
func reportPages(d domain.ReportDocument, mark string) (*render.Document, error) {
	known, err := d.Known()
	if err != nil {
		return nil, err
	}
	p := &render.Document{Title: d.Title, Subtitle: d.Grant.Title + ", " + d.Grant.Funder, Issuer: d.Coop.Name, Mark: "SHA-256 " + mark, Date: known, Lang: d.Language}
	if mark == "" {
		p.Mark = "Draft"
	}
	p.Sections = []render.Section{reportSummary(d, mark)}
	for _, t := range d.Texts {
		title := t.Heading
		if t.Kind == "caption" {
			title = "Picture: " + title
		}
		p.Sections = append(p.Sections, render.Section{Title: title, Blocks: []render.Block{render.Paragraph(t.Text)}})
	}
	p.Sections = append(p.Sections, reportIndicators(d), reportBudget(d))
	if d.Restates != nil {
		p.Sections = append(p.Sections, reportChanges(d))
	}
	p.Sections = append(p.Sections, reportLimits(d), reportDefinitions(d), reportProvenance(d, mark), reportSites(d))
	return p, nil
}

// unitIn says a unit with the currency in place of money.
func unitIn(unit string, c domain.Currency) string {
	if unit == "1" {
		return ""
	}
	return strings.ReplaceAll(unit, "money", string(c))
}

func textOf(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func titleOf(d domain.ReportDocument, code string) string {
	i := slices.IndexFunc(d.Definitions, func(f domain.ReportDefinition) bool { return f.Code == code })
	if i < 0 {
		return code
	}
	return d.Definitions[i].Title
}

// decimalsOf returns how many decimals a literal is shown with: at most two.
func decimalsOf(literal string) int {
	_, decimals, _ := strings.Cut(literal, ".")
	return min(len(decimals), 2)
}

func reportSummary(d domain.ReportDocument, mark string) render.Section {
	state := "This is a draft: its figures change with the journal."
	if mark != "" {
		state = "Known at " + d.KnownAt + ". Whoever has the journal can work it out again and gets the same hash."
	}
	s := render.Section{Blocks: []render.Block{render.Paragraph(fmt.Sprintf("%s reports on %s to %s. Sites: %d. %s", d.Coop.Name, inWords(d.From), inWords(d.To), len(d.Grant.Sites), state))}}
	var best render.Figures
	for _, f := range d.Figures {
		if f.Value == nil || len(best) == 6 {
			continue
		}
		note := fmt.Sprintf("data of %d of %d sites", f.SitesTold, f.SitesAll)
		if f.Target != nil && f.Achieved != nil {
			note = fmt.Sprintf("%s %% of the planned change (target %s)", *f.Achieved, *f.Target)
		}
		if f.Estimated {
			note += ", estimated"
		}
		best = append(best, render.Figure{Label: titleOf(d, f.Code), Value: *f.Value, As: render.Number(decimalsOf(*f.Value), unitIn(f.Unit, d.Coop.Currency)), Note: note, Link: f.Entries})
	}
	if len(best) > 0 {
		s.Blocks = append(s.Blocks, best)
	}
	return s
}

func reportIndicators(d domain.ReportDocument) render.Section {
	main := &render.Table{Name: "indicators", Title: "Indicators of the period", Columns: []render.Column{
		{Name: "indicator", Title: "Indicator"}, {Name: "value", Title: "Value", As: render.Number(2, "")}, {Name: "unit", Title: "Unit"},
		{Name: "baseline", Title: "Baseline", As: render.Number(2, "")}, {Name: "target", Title: "Target", As: render.Number(2, "")},
		{Name: "achieved_percent", Title: "Reached", As: render.Percent(1)}, {Name: "sites", Title: "Sites with data"}},
		Note: "Reached is of the planned change: (value − baseline) ÷ (target − baseline)."}
	main.Rows = func(yield func([]render.Cell) bool) {
		for _, f := range d.Figures {
			value := render.Cell{Text: textOf(f.Value), Link: f.Entries, Note: f.Reason, As: render.Number(decimalsOf(textOf(f.Value)), "")}
			if f.Estimated {
				value.Note = strings.TrimSpace(value.Note + " Estimated.")
			}
			row := []render.Cell{{Text: titleOf(d, f.Code)}, value, {Text: unitIn(f.Unit, d.Coop.Currency)}, {Text: textOf(f.Baseline), As: render.Number(decimalsOf(textOf(f.Baseline)), "")}, {Text: textOf(f.Target), As: render.Number(decimalsOf(textOf(f.Target)), "")},
				{Text: textOf(f.Achieved)}, {Text: fmt.Sprintf("%d of %d", f.SitesTold, f.SitesAll)}}
			if !yield(row) {
				return
			}
		}
	}
	parts := &render.Table{Name: "parts", Title: "What each is made of", Columns: []render.Column{
		{Name: "indicator", Title: "Indicator"}, {Name: "part", Title: "Part"}, {Name: "value", Title: "Value", As: render.Exact("")}, {Name: "unit", Title: "Unit"}}}
	parts.Rows = func(yield func([]render.Cell) bool) {
		for _, f := range d.Figures {
			all := slices.Clone(f.Parts)
			if f.Denominator != nil {
				above, below := *f.Numerator, *f.Denominator
				above.Name, below.Name = "above the line", "below the line"
				all = append([]domain.ReportPart{above, below}, all...)
			}
			for _, part := range all {
				if !yield(render.Row(titleOf(d, f.Code), part.Name, part.Value, unitIn(part.Unit, d.Coop.Currency))) {
					return
				}
			}
		}
	}
	s := render.Section{Title: "What was reached", Blocks: []render.Block{main}}
	bars := &render.Bars{Head: render.Head{Title: "Reached of the planned change"}, As: render.Percent(0)}
	for _, f := range d.Figures {
		if f.Achieved != nil {
			bars.Rows = append(bars.Rows, render.Bar{Name: titleOf(d, f.Code), Values: []string{*f.Achieved}})
		}
	}
	if len(bars.Rows) > 0 {
		s.Blocks = append(s.Blocks, bars)
	}
	s.Blocks = append(s.Blocks, parts)
	return s
}

func reportBudget(d domain.ReportDocument) render.Section {
	c := d.Money.Currency
	money := render.Money(c.Digits(), string(c))
	t := &render.Table{Name: "budget", Title: "Budget and what was spent, " + string(c), Columns: []render.Column{
		{Name: "line", Title: "Line"}, {Name: "budget", Title: "Budget", As: render.Number(c.Digits(), ""), Sum: true}, {Name: "in_period", Title: "In the period", As: render.Number(c.Digits(), ""), Sum: true},
		{Name: "to_date", Title: "To date", As: render.Number(c.Digits(), ""), Sum: true}, {Name: "variance_percent", Title: "Off budget", As: render.Percent(1)},
		{Name: "spent_percent", Title: "Spent", As: render.Percent(1)}, {Name: "flagged", Title: "Flag"}},
		Note: fmt.Sprintf("%s %% of the time of the grant has passed. A line is flagged if what was spent is more than %s %% off the budget for that time.", d.Money.Elapsed, d.Grant.FlagPercent)}
	t.Rows = func(yield func([]render.Cell) bool) {
		for _, r := range d.Money.Rows {
			flag := ""
			if r.Flagged {
				flag = textOf(r.AgainstTime) + " % off for the time"
			}
			if !yield(render.Row(r.Title, r.Budget, r.InPeriod, r.ToDate, textOf(r.VariancePercent), textOf(r.Burn), flag)) {
				return
			}
		}
	}
	s := render.Section{Title: "Money", Blocks: []render.Block{t}}
	if len(d.Money.Rows) > 0 {
		bars := &render.Bars{Head: render.Head{Title: "Budget and spending to date"}, As: money, Series: []string{"Budget", "Spent"}}
		for _, r := range d.Money.Rows {
			bars.Rows = append(bars.Rows, render.Bar{Name: r.Title, Values: []string{r.Budget, r.ToDate}})
		}
		s.Blocks = append(s.Blocks, bars)
	}
	if len(d.Grant.Others) > 0 {
		others := &render.Table{Name: "other_funds", Title: "What others add", Columns: []render.Column{{Title: "From"}, {Title: "As"}, {Title: "Amount", As: money, Sum: true}}}
		others.Rows = func(yield func([]render.Cell) bool) {
			for _, o := range d.Grant.Others {
				if !yield(render.Row(o.Source, strings.ReplaceAll(o.Kind, "_", " "), o.Amount)) {
					return
				}
			}
		}
		s.Blocks = append(s.Blocks, others)
	}
	if len(d.Grant.Rates) > 0 {
		rates := &render.Table{Name: "rates", Title: fmt.Sprintf("Rates of exchange: one %s in %s", d.Coop.Currency, c), Columns: []render.Column{{Title: "From", As: render.Date()}, {Title: "Rate"}, {Title: "Source"}}}
		rates.Rows = func(yield func([]render.Cell) bool) {
			for _, r := range d.Grant.Rates {
				if !yield(render.Row(r.From.String(), r.Rate, r.Source)) {
					return
				}
			}
		}
		s.Blocks = append(s.Blocks, rates)
	}
	return s
}

func reportChanges(d domain.ReportDocument) render.Section {
	r := d.Restates
	t := &render.Table{Name: "changes", Title: "Figures that are others now, and the entries that made the difference", Columns: []render.Column{
		{Title: "Indicator"}, {Title: "Was", As: render.Number(2, "")}, {Title: "Is", As: render.Number(2, "")}, {Title: "Entry"}, {Title: "On", As: render.Date()}, {Title: "What became of it"}}}
	t.Rows = func(yield func([]render.Cell) bool) {
		for _, c := range r.Changes {
			row := render.Row(titleOf(d, c.Code), textOf(c.Was), textOf(c.Now))
			if len(c.Entries) == 0 && !yield(append(row, render.Row("the registry", "", fmt.Sprintf("%d changes", len(c.Facts)))...)) {
				return
			}
			for _, e := range c.Entries {
				cell := render.Cell{Text: e.Kind + " " + e.ID.String()[:8], Link: "/v1/entries/" + e.ID.String()}
				if !yield(append(slices.Clone(row), cell, render.Cell{Text: e.On.String()}, render.Cell{Text: e.What})) {
					return
				}
				row = render.Row("", "", "")
			}
		}
	}
	s := render.Section{Title: "What has changed", Blocks: []render.Block{
		render.Paragraph(fmt.Sprintf("This report takes the place of one that was known at %s (SHA-256 %s). %s", r.KnownAt, r.SHA256, r.Reason))}}
	if len(r.Changes) == 0 {
		s.Blocks = append(s.Blocks, render.Paragraph("No figure is another one now."))
	} else {
		s.Blocks = append(s.Blocks, t)
	}
	return s
}

func reportLimits(d domain.ReportDocument) render.Section {
	s := render.Section{Title: "What to bear in mind", Blocks: []render.Block{}}
	if len(d.Gaps) > 0 {
		s.Blocks = append(s.Blocks, render.Box{Kind: render.Limits, Title: "What is missing", Lines: d.Gaps})
	}
	var limits []string
	for _, f := range d.Definitions {
		if f.Limits != "" {
			limits = append(limits, f.Title+": "+f.Limits)
		}
	}
	if len(limits) > 0 {
		s.Blocks = append(s.Blocks, render.Box{Kind: render.Limits, Lines: limits})
	}
	s.Blocks = append(s.Blocks, render.Box{Kind: render.Caution, Lines: d.Cautions})
	return s
}

func reportDefinitions(d domain.ReportDocument) render.Section {
	t := &render.Table{Name: "definitions", Title: "Definitions", Columns: []render.Column{
		{Name: "indicator", Title: "Indicator"}, {Title: "Definition"}, {Title: "Formula"}, {Title: "Unit"}, {Title: "Source"}}}
	t.Rows = func(yield func([]render.Cell) bool) {
		for _, f := range d.Definitions {
			if !yield(render.Row(fmt.Sprintf("%s (version %d)", f.Title, f.Version), f.Definition, f.Formula, unitIn(f.Unit, d.Coop.Currency), f.Source)) {
				return
			}
		}
	}
	factors := &render.Table{Name: "factors", Title: "Factors for what can be eaten of fish", Columns: []render.Column{
		{Title: "Species"}, {Title: "Form"}, {Title: "Yield", As: render.Percent(1)}, {Title: "Protein, g in 100 g", As: render.Number(2, "")}, {Title: "Source"}}}
	factors.Rows = func(yield func([]render.Cell) bool) {
		for _, f := range d.Factors {
			if !yield(render.Row(f.Species, f.Form, f.Yield, f.Protein, f.Source)) {
				return
			}
		}
	}
	return render.Section{Title: "How it was measured", Blocks: []render.Block{t, factors}}
}

func reportProvenance(d domain.ReportDocument, mark string) render.Section {
	t := &render.Table{Name: "provenance", Title: "Where it comes from", Columns: []render.Column{{Title: "What"}, {Title: "Value"}}}
	rows := [][]render.Cell{render.Row("Report", d.ID.String()), render.Row("Grant", fmt.Sprintf("%s, version %d", d.Grant.ID, d.Grant.Version)),
		render.Row("Known at", d.KnownAt), render.Row("Form of the document", d.Format)}
	if mark != "" {
		rows = append(rows, render.Row("SHA-256 of the canonical document", mark))
	}
	if d.Seal != nil {
		rows = append(rows, render.Row(fmt.Sprintf("Seal %d of the books", d.Seal.Number), d.Seal.Hash))
	}
	t.Rows = slices.Values(rows)
	sums := &render.Table{Name: "sums", Title: "Sums that figures are worked out of", Columns: []render.Column{{Name: "name", Title: "Name"}, {Title: "Sum"}, {Name: "value", Title: "Value", As: render.Exact("")}, {Title: "Unit"}}}
	sums.Rows = func(yield func([]render.Cell) bool) {
		for _, s := range d.Sums {
			if s.Value != nil && !yield(render.Row(s.Name, s.Title, *s.Value, unitIn(s.Unit, d.Coop.Currency))) {
				return
			}
		}
	}
	return render.Section{Title: "Provenance", Blocks: []render.Block{t, sums}}
}

// reportSites has the sums site by site, for whoever adds them up again.
func reportSites(d domain.ReportDocument) render.Section {
	t := &render.Table{Name: "sites", Title: "Site by site", Data: true, Columns: []render.Column{{Name: "site_id", Title: "Id"}, {Name: "site", Title: "Site"}, {Name: "last_entry_on", Title: "Last entry", As: render.Date()}}}
	used := map[string]int{}
	for _, s := range d.Sums {
		if s.Value != nil {
			used[s.Name] = len(t.Columns)
			decimals := decimalsIn(d, s.Name)
			t.Columns = append(t.Columns, render.Column{Name: s.Name, Title: s.Name + " (" + unitIn(s.Unit, d.Coop.Currency) + ")", As: render.Number(decimals, ""), Sum: true})
		}
	}
	names := map[domain.SiteID]string{}
	for _, s := range d.Grant.Sites {
		names[s.ID] = s.Name
	}
	t.Rows = func(yield func([]render.Cell) bool) {
		for _, s := range d.Sites {
			row := make([]render.Cell, len(t.Columns))
			row[0].Text, row[1].Text = s.ID.String(), names[s.ID]
			if s.LastOn != nil {
				row[2].Text = s.LastOn.String()
			}
			for _, sum := range s.Sums {
				if at, ok := used[sum.Name]; ok {
					row[at].Text = sum.Value
				}
			}
			if !yield(row) {
				return
			}
		}
	}
	return render.Section{Blocks: []render.Block{t}}
}

// decimalsIn returns how many decimals the values of a sum have at most.
func decimalsIn(d domain.ReportDocument, name string) int {
	s, _ := domain.SumNamed(name)
	return s.Digits(d.Coop.Currency)
}

// reportName is that of the file.
func reportName(d domain.ReportDocument) string {
	return "report-" + d.From.String() + "-" + d.To.String()
}
