package api

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"shoalbook/api/render"
	"shoalbook/domain"
)

// as returns how values of the measure are shown: proportions as percent.
func (x *comparison) as() render.Format {
	switch {
	case x.Measure.Scale == domain.Proportion:
		return render.Percent(1)
	case x.ofMoney():
		return render.Number(x.currency.Digits(), x.Measure.UnitIn(x.currency))
	}
	return render.Number(2, x.Measure.UnitIn(x.currency))
}

// ofMoney reports whether amounts are compared.
func (x *comparison) ofMoney() bool { return strings.Contains(x.Measure.Unit, "{currency}") }

// shown is a value as [comparison.as] takes it.
func (x *comparison) shown(v float64) float64 {
	if x.Measure.Scale == domain.Proportion {
		return 100 * v
	}
	return v
}

func (x *comparison) literal(v *float64) string {
	if v == nil {
		return ""
	}
	return sixDecimals(x.shown(*v)).String()
}

// ends are the literals of an interval, empty where there is none.
func (x *comparison) ends(in *[2]float64) []string {
	if in == nil || math.IsInf(in[1], 0) {
		return []string{"", ""}
	}
	return []string{x.literal(&in[0]), x.literal(&in[1])}
}

var verdictWords = map[string]string{"": "no verdict", domain.NoDifference: "no difference shown", domain.WorthALook: "worth a look", domain.Different: "different"}

func drawn(verdict string) render.Verdict {
	switch verdict {
	case domain.WorthALook:
		return render.Look
	case domain.Different:
		return render.Different
	}
	return render.Usual
}

// document fills a document with a comparison: what JSON says of it, and pictures.
func (x *comparison) document(d *render.Document) *render.Document {
	d.Title = fmt.Sprintf("%s, compared by %s", x.Measure.Title, strings.ReplaceAll(x.By, "_", " "))
	d.Subtitle = x.asked()
	all := render.Figure{Label: "All together", Value: x.literal(x.All.Value), As: x.as(), Note: x.All.NoValue}
	if in := x.All.Interval; in != nil {
		all.Note = fmt.Sprintf("95 times in 100 between %.4g and %.4g", x.shown(in[0]), x.shown(in[1]))
	}
	blocks := []render.Block{render.Figures{all,
		{Label: "Batches compared", Value: fmt.Sprint(x.All.Batches), As: render.Number(0, ""), Note: fmt.Sprintf("of %d asked for", x.Batches)},
		{Label: "Groups", Value: fmt.Sprint(len(x.Groups)), As: render.Number(0, "")}}}
	if x.NoVerdicts != "" {
		blocks = append(blocks, render.Box{Title: "No verdicts", Lines: []string{x.NoVerdicts}})
	}
	if f := x.funnel(); len(f.Dots) > 0 {
		blocks = append(blocks, f)
	}
	if c := x.caterpillar(); len(c.Rows) > 0 {
		blocks = append(blocks, c)
	}
	d.Sections = []render.Section{{Blocks: blocks},
		{Title: "The groups", Blocks: []render.Block{x.dataTable(), x.groupsTable(), x.recordsTable()}}}
	if len(x.LeftOut) > 0 {
		d.Sections = append(d.Sections, render.Section{Title: "What is left out", Blocks: []render.Block{x.leftOutTable()}})
	}
	d.Sections = append(d.Sections, render.Section{Title: "How it was worked out", Blocks: []render.Block{render.Box{Title: "Method", Lines: x.Method()}, render.Box{Kind: render.Caution, Lines: x.Cautions()}}})
	return d
}

// asked says which batches were asked for.
func (x *comparison) asked() string {
	said := "Closed batches"
	if x.Growing {
		said = "Closed and growing batches"
	}
	if x.Species != "" {
		said += " of " + x.Names[x.Species]
	}
	if x.From != nil {
		said += " from " + inWords(*x.From)
	}
	if x.To != nil {
		said += " to " + inWords(*x.To)
	}
	said += ", as it stood on " + inWords(x.read.AsOf)
	if len(x.Standardise) > 0 {
		said += "; held against batches alike in " + strings.Join(x.Standardise, ", ")
	}
	return said
}

// funnel shows the groups that can be judged, by how many batches they are worth.
func (x *comparison) funnel() *render.Funnel {
	f := &render.Funnel{Head: render.Head{Title: x.Measure.Title + " by the number of batches", Says: x.signals()}, What: x.Measure.Title, As: x.as(), Size: "batches of one size that would say as much"}
	if x.All.Value != nil {
		f.Centre = x.shown(*x.All.Value)
	}
	most := 0.0
	for _, g := range x.Groups {
		if g.Worth != nil {
			most = max(most, *g.Worth)
			f.Dots = append(f.Dots, render.Dot{Name: g.Name, Size: *g.Worth, Value: x.shown(*g.Value), Verdict: drawn(g.Verdict)})
		}
	}
	if len(f.Dots) == 0 {
		return f
	}
	const steps = 60
	for i := range steps + 1 {
		worth := most * math.Pow(40, float64(i)/steps) / 36 // past the smallest and the largest, so that it is seen to be a funnel
		if in95, in998 := x.Funnel(&x.Comparison, worth); in95 != nil {
			f.Limits = append(f.Limits, render.Limit{Size: worth, Low95: x.shown(in95[0]), High95: x.shown(in95[1]), Low998: x.shown(in998[0]), High998: x.shown(in998[1])})
		}
	}
	return f
}

// signals says in a sentence what the verdicts are.
func (x *comparison) signals() string {
	if x.NoVerdicts != "" {
		return "No verdicts: " + x.NoVerdicts + ". Limits: " + string(x.dispersion()) + " overdispersion."
	}
	n := map[string]int{}
	for _, g := range x.Groups {
		n[g.Verdict]++
	}
	return fmt.Sprintf("Different: %d of %d groups. Worth a look: %d. Limits: %s overdispersion.", n[domain.Different], len(x.Groups)-n[""], n[domain.WorthALook], x.dispersion())
}

// caterpillar shows the groups of which the interval is known, by name.
func (x *comparison) caterpillar() *render.Caterpillar {
	c := &render.Caterpillar{Head: render.Head{Title: x.Measure.Title + " with 95 % intervals", Says: "By name, and not by how well they do: intervals that overlap show no order."}, What: x.Measure.Title, As: x.as()}
	if x.All.Value != nil {
		centre := x.shown(*x.All.Value)
		c.Centre = &centre
	}
	for _, g := range x.Groups {
		if g.Interval != nil && !math.IsInf(g.Interval[1], 0) {
			c.Rows = append(c.Rows, render.Interval{Name: g.Name, Value: x.shown(*g.Value), Low: x.shown(g.Interval[0]), High: x.shown(g.Interval[1]), Verdict: drawn(g.Verdict)})
		}
	}
	return c
}

func (x *comparison) groupsTable() *render.Table {
	as, share := x.as(), render.Percent(0)
	t := &render.Table{Name: "overview", Title: "Value, interval and verdict", Columns: []render.Column{{Name: "group", Title: "Group"}, {Name: "batches", Title: "Batches", As: render.Number(0, "")},
		{Name: "value", Title: x.Measure.Title, As: as}, {Name: "verdict", Title: "Verdict"}, {Name: "low_95", Title: "95 times in 100 from", As: as}, {Name: "high_95", Title: "to", As: as},
		{Name: "shrunk", Title: "Drawn to the others", As: as}, {Name: "best_third", Title: "Chance of the best third", As: share}, {Name: "worst_third", Title: "of the worst", As: share}},
		Note: "Where there is a dash, nobody can tell; a single batch has no interval."}
	row := func(name string, g *domain.GroupSum, verdict string) []render.Cell {
		return render.Row(append([]string{name, fmt.Sprint(g.Batches), x.literal(g.Value), verdict}, x.ends(g.Interval)...)...)
	}
	var rows [][]render.Cell
	for _, g := range x.Groups {
		rows = append(rows, append(row(g.Name, &g.GroupSum, verdictWords[g.Verdict]), render.Row(x.literal(g.Shrunk), hundredths(g.Best), hundredths(g.Worst))...))
	}
	t.Rows = slices.Values(append(rows, row("All together", &x.All, "")))
	return t
}

// dataTable has of every group what JSON has, to be computed with.
func (x *comparison) dataTable() *render.Table {
	t := &render.Table{Name: "groups", Data: true}
	for _, name := range []string{"key", "name", "verdict"} {
		t.Columns = append(t.Columns, render.Column{Name: name, Title: name})
	}
	for _, name := range []string{"batches", "numerator", "denominator", "value", "interval_low", "interval_high", "shrunk", "best_third", "worst_third",
		"limits_95_low", "limits_95_high", "limits_998_low", "limits_998_high", "worth_batches"} {
		t.Columns = append(t.Columns, render.Column{Name: name, Title: name, As: render.Number(6, "")})
	}
	t.Columns = append(t.Columns, render.Column{Name: "dispersion", Title: "dispersion"}, render.Column{Name: "currency", Title: "currency"})
	currency := ""
	if x.ofMoney() {
		currency = string(x.currency)
	}
	var rows [][]render.Cell
	for _, g := range x.Groups {
		w := newComparedGroup(&g, x.NoVerdicts)
		row := []string{w.Key, w.Name, w.Verdict, fmt.Sprint(w.Sum.Batches), w.Sum.Numerator.String(), w.Sum.Denominator.String(), digits(w.Sum.Value)}
		row = append(row, bothDigits(w.Sum.Interval)...)
		row = append(row, digits(w.Shrunk), digits(w.Best), digits(w.Worst))
		row = append(append(row, bothDigits(w.In95)...), bothDigits(w.In998)...)
		rows = append(rows, render.Row(append(row, digits(w.Worth), string(x.dispersion()), currency)...))
	}
	t.Rows = slices.Values(rows)
	return t
}

// digits are those of a number as JSON has it, none where there is none.
func digits(n *json.Number) string {
	if n == nil {
		return ""
	}
	return n.String()
}

func bothDigits(n *[2]json.Number) []string {
	if n == nil {
		return []string{"", ""}
	}
	return []string{n[0].String(), n[1].String()}
}

// hundredths prints a chance in percent.
func hundredths(v *float64) string {
	if v == nil {
		return ""
	}
	return sixDecimals(100 * *v).String()
}

func (x *comparison) recordsTable() *render.Table {
	share := render.Percent(0)
	t := &render.Table{Name: "records", Title: "How complete the records are", Columns: []render.Column{{Name: "group", Title: "Group"},
		{Name: "counted", Title: "Batches counted", As: share}, {Name: "start_weighed", Title: "weighed at stocking", As: share},
		{Name: "days_with_feed", Title: "Days with feed", As: share}, {Name: "days_with_temperature", Title: "with a temperature", As: share}}}
	of := func(n, all int64) string {
		if all == 0 {
			return ""
		}
		return sixDecimals(100 * float64(n) / float64(all)).String()
	}
	var rows [][]render.Cell
	for _, g := range x.Groups {
		r := g.Records
		rows = append(rows, render.Row(g.Name, of(r.Counted, r.Batches), of(r.StartWeighed, r.Batches), of(r.FedDays, r.Days), of(r.HeatDays, r.Days)))
	}
	t.Rows = slices.Values(rows)
	return t
}

func (x *comparison) leftOutTable() *render.Table {
	t := &render.Table{Name: "left_out", Title: "Batches that are in no value", Columns: []render.Column{{Name: "group", Title: "Group"}, {Name: "reason", Title: "Why"}, {Name: "batches", Title: "Batches", As: render.Number(0, "")}}}
	var rows [][]render.Cell
	add := func(name string, list []domain.LeftOut) {
		for _, l := range list {
			rows = append(rows, render.Row(name, l.Reason, fmt.Sprint(l.Batches)))
		}
	}
	add("All together", x.LeftOut)
	for _, g := range x.Groups {
		add(g.Name, g.GroupSum.LeftOut)
	}
	t.Rows = slices.Values(rows)
	return t
}

// document fills a document with why a kilogram costs what it costs.
func (x *costComparison) document(d *render.Document) *render.Document {
	d.Title = "Why a kilogram costs what it costs at " + x.name(x.ask.Site)
	d.Subtitle = "Closed batches"
	if x.Season != "" {
		d.Subtitle += " of season " + x.Season
	}
	d.Subtitle += ", compared with " + x.other() + ", as it stood on " + inWords(x.read.AsOf)
	as := x.as()
	section := render.Section{}
	if x.Reason != "" {
		section.Blocks = append(section.Blocks, render.Box{Title: "Nothing to split", Lines: []string{x.Reason}})
	} else {
		section.Blocks = append(section.Blocks, render.Figures{{Label: "A kilogram costs", Value: *x.perKg(x.Here), As: as}, {Label: x.other(), Value: *x.perKg(x.There), As: as},
			{Label: "Difference", Value: x.currency.FormatPerKg(x.To - x.From), As: as}}, x.bridge())
	}
	d.Sections = []render.Section{section,
		{Title: "The drivers", Blocks: []render.Block{x.partsTable()}},
		{Title: "What it is made of", Blocks: []render.Block{x.sumsTable()}},
		{Title: "How it was worked out", Blocks: []render.Block{render.Box{Title: "Method", Lines: domain.CostMethod}, render.Box{Kind: render.Caution, Lines: []string{domain.CautionFigures}}}}}
	return d
}

func (x *costComparison) as() render.Format {
	return render.Money(x.currency.Digits()+2, string(x.currency))
}

// bridge leads from what a kilogram costs there to what it costs here.
func (x *costComparison) bridge() *render.Bridge {
	b := &render.Bridge{Head: render.Head{Title: "Cost of a kilogram: from " + x.other() + " to " + x.name(x.ask.Site), Says: x.Reason}, What: "Cost of a kilogram", As: x.as()}
	if x.Reason != "" {
		return b
	}
	b.From, b.To = render.Step{Name: x.other(), Value: *x.perKg(x.There)}, render.Step{Name: x.name(x.ask.Site), Value: *x.perKg(x.Here)}
	for _, p := range x.List(x.currency) {
		b.Steps = append(b.Steps, render.Step{Name: p.Title, Value: x.currency.FormatPerKg(p.Amount)})
	}
	return b
}

func (x *costComparison) partsTable() *render.Table {
	t := &render.Table{Name: "parts", Title: "What each adds to the difference", Columns: []render.Column{{Name: "driver", Title: "Driver"}, {Name: "amount", Title: "Of the difference", As: x.as(), Sum: true},
		{Name: "here", Title: "Here", As: render.Number(4, "")}, {Name: "there", Title: "There", As: render.Number(4, "")}, {Name: "unit", Title: "Unit"}}}
	var rows [][]render.Cell
	for _, p := range x.List(x.currency) {
		rows = append(rows, render.Row(p.Title, x.currency.FormatPerKg(p.Amount), sixDecimals(p.Here).String(), sixDecimals(p.There).String(), p.Unit))
	}
	t.Rows = slices.Values(rows)
	return t
}

func (x *costComparison) sumsTable() *render.Table {
	money := render.Money(x.currency.Digits(), string(x.currency))
	t := &render.Table{Name: "sums", Title: "All cost of the batches", Columns: []render.Column{{Name: "what", Title: "Cost"}, {Name: "here", Title: "Here", As: money, Sum: true}, {Name: "there", Title: "There", As: money, Sum: true}},
		Note: fmt.Sprintf("Here %d closed batches with %.0f kg harvested, there %d with %.0f kg.", x.Here.Batches, x.Here.Harvested.Kilograms(), x.There.Batches, x.There.Harvested.Kilograms())}
	f := x.currency.Format
	t.Rows = slices.Values([][]render.Cell{
		render.Row("Fingerlings", f(x.Here.Fingerlings), f(x.There.Fingerlings)), render.Row("Feed", f(x.Here.Feed), f(x.There.Feed)),
		render.Row("Energy", f(x.Here.Energy), f(x.There.Energy)), render.Row("Labour", f(x.Here.Labour), f(x.There.Labour)),
		render.Row("Transport", f(x.Here.Transport), f(x.There.Transport)), render.Row("Other", f(x.Here.Rest), f(x.There.Rest))})
	return t
}
