package render

import (
	"fmt"
	"slices"
	"strconv"
	"time"
)

// letters that names of people and places have, and signs that figures need.
const foreignLetters = "₦ € £ ẹ ọ ṣ Ẹ Ọ Ṣ ɓ ɗ ƙ Ɓ Ɗ Ƙ Ł ł ŋ Ŋ ğ ş ó é è ç ñ ø å × → ² ³ µ ° ≤ ≥ − – … « » ½ □"

// sample is a document with everything there is.
func sample(rows int) *Document {
	sites := []string{"Àkúrẹ́ Secondary School", "Ọ̀ṣogbo Ponds", "Ɗan Kano Girls' College", "Łódź Training Farm", "Île-de-Ré Lycée", "Şanlıurfa Göl", "Ŋorgbe Smallholders of the Upper Basin"}
	var table [][]Cell
	for i := range rows {
		row := Row(fmt.Sprintf("%03d %s", i+1, sites[i%len(sites)]), strconv.Itoa(400+i*37%900), fmt.Sprintf("%d.%02d", 1200+i*977%90000, i*13%100), fmt.Sprintf("%d.%03d", 60+i*7%39, i*31%1000), "2026-0"+strconv.Itoa(1+i%9)+"-14")
		if i%5 == 3 {
			row[3].Note = "estimated: deaths of three days were not recorded"
		}
		if i == 4 {
			row[3] = Cell{Note: "no fish were counted at harvest"}
		}
		row[0].Link = fmt.Sprintf("https://example.org/v1/sites/%d", i+1)
		table = append(table, row)
	}
	return &Document{
		Title: "Harvest and survival of the school farms, second half of the year", Subtitle: "Northern circle · 1 July to 31 December 2026", Issuer: "Ẹgbẹ́ Aláfẹja Fish Farmers' Co-operative",
		Mark: "sha-256 9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", Date: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC), Lang: "en",
		Sections: []Section{
			{Blocks: []Block{
				Paragraph("Fish of seven schools were harvested in the half year. " + foreignLetters + ". What is said here follows from the journal of the sites and from nothing else.\n\nA second paragraph, so that there are two, with more words than fit on one line of a page or of a phone that somebody holds at the pond."),
				Figures{
					{Label: "Harvested", Value: "12480.512", As: Number(0, "kg"), Note: "8.2 % more than a year before"},
					{Label: "Survival", Value: "83.4162", As: Percent(1), Note: "of 41 200 fish stocked", Link: "#sites"},
					{Label: "Cost of one kilogram", Value: "1284.5", As: Money(2, "NGN")},
					{Label: "Feed conversion", As: Number(2, ""), Note: "no feed was recorded in August"},
				},
				Box{Kind: Caution, Lines: []string{"Survival at three schools rests on fewer than ten batches: differences between them may be chance.", "Prices are as they were entered."}},
			}},
			{Title: "By site", Blocks: []Block{
				&Table{Name: "sites", Title: "Harvest by site", Rows: slices.Values(table), Note: "Sites that harvested nothing are left out.", Columns: []Column{
					{Name: "site", Title: "Site"}, {Name: "fish", Title: "Fish", As: Number(0, ""), Sum: true}, {Name: "cost", Title: "Cost", As: Money(2, "NGN"), Sum: true},
					{Name: "survival_percent", Title: "Survival", As: Percent(1)}, {Name: "harvested_on", Title: "Harvested on", As: Date()}}},
				Box{Kind: Limits, Lines: []string{"Deaths are those that were found and written down."}},
				Links{{"What is meant by survival", "https://example.org/definitions"}, {"The journal of the sites", ""}},
			}},
		},
	}
}
