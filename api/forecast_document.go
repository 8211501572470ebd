package api

import (
	"fmt"
	"slices"

	"shoalbook/api/render"
	"shoalbook/domain"
)

// forecastDocument fills a document with how a batch is expected to go on: what JSON
// says of it, and a picture of the weighings beside the growth that is expected.
func forecastDocument(d *render.Document, k *domain.Keeping, p domain.Prospect) *render.Document {
	d.Title, d.Subtitle = "Forecast of "+p.Name, "As it stood on "+inWords(k.Day)
	cautions := render.Box{Kind: render.Caution, Lines: p.Cautions}
	if p.Reason != "" {
		d.Sections = []render.Section{{Blocks: []render.Block{render.Box{Title: "There is no forecast", Lines: []string{p.Reason}},
			growthChart(k, p), daysTable("days", p.Days, 1), cautions}}}
		return d
	}
	blocks := []render.Block{
		render.Figures{
			{Label: "Fish by the book", Value: fmt.Sprint(p.Fish), As: render.Number(0, "")},
			numberFigure("Mean weight", p.Weight, 0), numberFigure("All fish together", p.Biomass, 1),
		},
		growthChart(k, p),
	}
	if p.Plan != nil {
		blocks = append(blocks, render.Box{Title: "The plan", Lines: []string{p.Plan.Says}})
	}
	blocks = append(blocks, render.Box{Title: "When to weigh next", Lines: []string{p.Sampling.Says}}, cautions)
	d.Sections = append(d.Sections, render.Section{Blocks: blocks})
	if p.Goal != nil {
		d.Sections = append(d.Sections, goalSection(k, p.Goal))
	}
	d.Sections = append(d.Sections,
		render.Section{Title: "Week by week", Blocks: []render.Block{daysTable("days", p.Days, 1), daysTable("weeks", p.Days, 7)}},
		render.Section{Title: "What this rests on", Blocks: []render.Block{render.Box{Kind: render.Limits, Lines: []string{
			fmt.Sprintf("%s, the last on %s.", count(uint64(p.Weighings), "weighing"), inWords(p.From)),
			fmt.Sprintf("Closed batches of the species: %d. Published: %s.", p.Behind, p.PriorSource),
			fmt.Sprintf("Water of %.1f °C that goes on: %s.", p.Warmth.Value, p.Warmth.Source),
		}}}})
	return d
}

// goalSection says when a weight is reached, and what it takes.
func goalSection(k *domain.Keeping, g *domain.Goal) render.Section {
	when := render.Figure{Label: "Expected on", As: render.Date(), Note: "not within the time that can be seen"}
	if g.On != nil {
		when.Value, when.Note = g.On.String(), "8 times in 10 "+between(g.From80, g.To80)
	}
	return render.Section{Title: fmt.Sprintf("Until the fish weigh %.0f g", g.WeightG), Blocks: []render.Block{
		render.Figures{when, numberFigure("Feed until then", g.FeedKg, 0), numberFigure("What that feed costs", g.Cost, k.Currency.Digits())}}}
}

// growthChart shows what a batch weighed and what it is expected to weigh.
func growthChart(k *domain.Keeping, p domain.Prospect) *render.Lines {
	c := &render.Lines{Head: render.Head{Title: "Growth of " + p.Name + " against its forecast", Says: p.Reason}, What: "Mean weight of a fish", As: render.Number(0, "g"), Zero: true,
		Marks: []render.Mark{{Name: inWords(k.Day), On: k.Day.String()}}}
	expected, weighed := render.Series{Name: "expected"}, render.Series{Name: "weighed", Measured: true}
	in80, in95 := render.Band{Name: "8 times in 10"}, render.Band{Name: "19 times in 20"}
	if b := k.States[p.ID]; b != nil {
		for i, on := range b.WeighOn {
			weighed.Points = append(weighed.Points, render.Point{On: on.String(), Value: float64(b.WeighMg[i]) / float64(b.WeighFish[i]) / 1000})
		}
	}
	for _, day := range p.Days {
		on, w := day.On.String(), day.WeightG
		expected.Points = append(expected.Points, render.Point{On: on, Value: w.Median})
		in80.Ranges = append(in80.Ranges, render.Range{On: on, Low: w.In80[0], High: w.In80[1]})
		in95.Ranges = append(in95.Ranges, render.Range{On: on, Low: w.In95[0], High: w.In95[1]})
	}
	c.Series = []render.Series{weighed}
	if len(p.Days) > 0 {
		c.Series, c.Bands = []render.Series{expected, weighed}, []render.Band{in95, in80}
	}
	if g := p.Goal; g != nil {
		c.Levels = []render.Level{{Name: fmt.Sprintf("%.0f g", g.WeightG), Value: g.WeightG}}
		c.Says = fmt.Sprintf("%.0f g are not reached within the time that can be seen.", g.WeightG)
		if g.On != nil {
			c.Says = fmt.Sprintf("%.0f g are expected on %s, 8 times in 10 %s.", g.WeightG, inWords(*g.On), between(g.From80, g.To80))
		}
	}
	return c
}

// daysTable has every so many days of a forecast: the narrower interval to be read, all of
// it to be computed with.
func daysTable(name string, days []domain.ExpectedDay, every int) *render.Table {
	t := &render.Table{Name: name, Data: every == 1, Columns: []render.Column{{Name: "on", Title: "Day", As: render.Date()}}}
	add := func(name, title, unit string, decimals int) {
		t.Columns = append(t.Columns, render.Column{Name: name, Title: title, As: render.Number(decimals, unit)})
	}
	add("fish", "Fish", "", 0)
	add("weight_g", "Weight", "g", 0)
	add("weight_g_low_80", "8 times in 10 from", "g", 0)
	add("weight_g_high_80", "to", "g", 0)
	add("biomass_kg", "Together", "kg", 1)
	if t.Data {
		add("weight_g_low_95", "19 times in 20 from", "g", 0)
		add("weight_g_high_95", "to", "g", 0)
		add("biomass_kg_low_80", "Together 8 times in 10 from", "kg", 1)
		add("biomass_kg_high_80", "to", "kg", 1)
		add("biomass_kg_low_95", "Together 19 times in 20 from", "kg", 1)
		add("biomass_kg_high_95", "to", "kg", 1)
	}
	var rows [][]render.Cell
	for i := 0; i < len(days); i += every {
		d, row := days[i], render.Row(days[i].On.String())
		for _, v := range []float64{d.Fish, d.WeightG.Median, d.WeightG.In80[0], d.WeightG.In80[1], d.BiomassKg.Median,
			d.WeightG.In95[0], d.WeightG.In95[1], d.BiomassKg.In80[0], d.BiomassKg.In80[1], d.BiomassKg.In95[0], d.BiomassKg.In95[1]}[:len(t.Columns)-1] {
			row = append(row, render.Cell{Text: domain.Thousandth(v)})
		}
		rows = append(rows, row)
	}
	t.Rows = slices.Values(rows)
	return t
}

// between says between which days something lies; without an end, it may never come.
func between(from, to *domain.Date) string {
	switch {
	case from == nil:
		return "not within the time that can be seen"
	case to == nil:
		return "not before " + inWords(*from)
	}
	return "between " + inWords(*from) + " and " + inWords(*to)
}

// inWords writes a day out, as people say it.
func inWords(d domain.Date) string { return d.Time().Format("2 January 2006") }
