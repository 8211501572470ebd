package render

import (
	"fmt"
	"math"
	"time"
)

// charts returns one of each, keyed by name.
func charts() map[string]Chart {
	centre := 81.5
	funnel := &Funnel{Head: Head{"Survival by school", "Two of twelve schools lie outside of what chance alone makes likely."}, What: "Survival", As: Percent(1), Size: "fish stocked", Centre: centre}
	for n := 50.; n <= 5200; n *= 1.12 {
		s := 100 * math.Sqrt(0.815*0.185/n) * 2.2
		funnel.Limits = append(funnel.Limits, Limit{n, centre - 1.96*s, centre + 1.96*s, centre - 3.09*s, centre + 3.09*s})
	}
	cat := &Caterpillar{Head: Head{"Survival with 95 % intervals", "Where intervals overlap the line, nothing is shown to differ."}, What: "Survival", As: Percent(1), Centre: &centre}
	names := []string{"Àkúrẹ́ Secondary School", "Ọ̀ṣogbo Ponds", "Ɗan Kano Girls' College", "Łódź Training Farm", "Île-de-Ré Lycée", "Şanlıurfa Göl", "Ŋorgbe Smallholders of the Upper Basin", "Chilenje", "Kafue", "Mazabuka Boys", "Monze", "Choma Day School"}
	for i, n := range names {
		size, value := 120+float64(i*i)*35, centre+float64(i*7%11)-5
		v := Usual
		if i == 3 {
			v, value = Different, 66.2
		}
		if i == 8 {
			v, value = Look, 88.9
		}
		funnel.Dots = append(funnel.Dots, Dot{n, size, value, v})
		half := 100 * math.Sqrt(0.815*0.185/size) * 2.2 * 1.96
		cat.Rows = append(cat.Rows, Interval{n, value, value - half, value + half, v})
	}
	lines := &Lines{Head: Head{"Growth against forecast: Batch 2026-03 of Chilenje", "The fish are likely to weigh 400 g between 12 and 29 January."}, What: "Mean weight", As: Number(0, "g"), Zero: true,
		Levels: []Level{{"plan 400 g", 400}}, Marks: []Mark{{"today", "2026-11-25"}}}
	b95, b80, mid, seen := Band{Name: "95 %"}, Band{Name: "80 %"}, Series{Name: "expected"}, Series{Name: "weighed", Measured: true}
	day := time.Date(2026, 8, 1, 0, 0, 0, 0, time.UTC)
	for d := 0; d <= 180; d += 4 {
		on, w := day.AddDate(0, 0, d).Format(time.DateOnly), math.Pow(3.1+0.1*float64(d), 2)
		if d%20 == 0 && d <= 108 {
			seen.Points = append(seen.Points, Point{on, w * (1 + 0.04*math.Sin(float64(d)))})
		}
		if d >= 100 {
			e := 0.03 + 0.0022*float64(d-100)
			mid.Points = append(mid.Points, Point{on, w})
			b80.Ranges = append(b80.Ranges, Range{on, w * math.Exp(-1.28*e), w * math.Exp(1.28*e)})
			b95.Ranges = append(b95.Ranges, Range{on, w * math.Exp(-1.96*e), w * math.Exp(1.96*e)})
		}
	}
	lines.Bands, lines.Series = []Band{b95, b80}, []Series{mid, seen}
	bridge := &Bridge{Head: Head{"Why a kilogram costs more at Łódź", "Most of the gap is feed: it costs more, and more of it is needed."}, What: "Cost per kg", As: Money(2, "NGN"),
		From: Step{"Co-operative", "1284.50"}, To: Step{"Łódź Training Farm", "1612.75"},
		Steps: []Step{{"Fingerling price", "41.20"}, {"Survival", "88.05"}, {"Feed price", "120.00"}, {"Feed conversion", "131.90"}, {"Harvest weight", "-62.40"}, {"Energy", "0.00"}, {"Labour", "-15.25"}, {"Transport", "24.75"}}}
	far := *bridge
	far.Head = Head{"Why it costs less than a season ago", ""}
	far.From, far.To = Step{"Season before", "1612.75"}, Step{"This season", "402.10"}
	far.Steps = []Step{{"Fingerling price", "-400.65"}, {"Survival", "-510.00"}, {"Feed", "-300.00"}}
	bars := &Bars{Head: Head{"Budget and spending", ""}, What: "", As: Money(0, "NGN"), Series: []string{"Budget", "Spent"}}
	for i, n := range []string{"Fingerlings", "Feed", "Equipment and repair of tanks", "Training", "Transport", "Returned"} {
		bars.Rows = append(bars.Rows, Bar{n, []string{fmt.Sprint(120000 + i*i*9000), fmt.Sprint(90000 + i*17000)}})
	}
	bars.Rows[5].Values = []string{"", "-30000"}
	return map[string]Chart{"funnel": funnel, "caterpillar": cat, "lines": lines, "bridge": bridge, "bridge-zero": &far, "bars": bars}
}

// illustrated is the sample with all charts.
func illustrated() *Document {
	d, c := sample(12), charts()
	d.Sections = append(d.Sections, Section{Title: "In pictures", Blocks: []Block{c["lines"], c["funnel"], c["caterpillar"], c["bridge"], c["bridge-zero"], c["bars"]}})
	return d
}
