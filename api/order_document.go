package api

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"shoalbook/api/render"
	"shoalbook/domain"
	"shoalbook/postgres"
)

// orderDocument is an order as its supplier is sent it. For a token of some sites it has
// their lines, and no sums.
func orderDocument(v *postgres.OrderView, names *postgres.OrderPaper, currency domain.Currency) *render.Document {
	d := &render.Document{Title: "Order " + v.Called(), Subtitle: names.What, Issuer: names.Coop, Date: v.OrderedOn.Time(), Lang: "en"}
	figures := render.Figures{
		{Label: "To", Value: names.Party, Note: valueOr(names.Phone)},
		{Label: "Delivered on", Value: v.ArrivesOn.String(), As: render.Date()},
	}
	money := render.Money(currency.Digits(), string(currency))
	unit := cmp.Or(names.Unit, "fish")
	if v.MeanWeight != nil {
		figures = append(figures, render.Figure{Label: "Mean weight, as offered", Value: decimal(v.MeanWeight).String(), As: render.Exact("g")})
	}
	if v.Version > 1 {
		figures = append(figures, render.Figure{Label: "Version", Value: strconv.FormatInt(v.Version, 10), As: render.Number(0, ""), Note: "It takes the place of all earlier ones."})
	}
	d.Sections = append(d.Sections, render.Section{Blocks: []render.Block{figures}}, render.Section{Title: "What goes where", Blocks: []render.Block{orderTable(v, names, unit)}})
	if v.Sums == nil {
		return d
	}
	s := v.Sums
	ordered := render.Figure{Label: "Ordered", Value: strconv.FormatInt(int64(s.Ordered), 10), As: render.Number(0, unit)}
	spare := s.Ordered
	for _, l := range v.Lines {
		spare -= l.Quantity
	}
	if spare > 0 {
		ordered.Note = fmt.Sprintf("%d more than the sites asked for: packs are whole, or more is cheaper", spare)
	}
	total := render.Figures{
		ordered,
		{Label: "To pay", Value: currency.Format(s.Cost()), As: money},
	}
	if s.Deposit > 0 {
		total = append(total, render.Figure{Label: "Of that with the order", Value: currency.Format(s.Deposit), As: money})
	}
	costs := &render.Table{Name: "costs", Title: "What is to be paid for", Columns: []render.Column{{Name: "what", Title: "What"}, {Name: "amount", Title: "Amount", As: money}},
		Total: render.Row("To pay", currency.Format(s.Cost())),
		Rows: slices.Values([][]render.Cell{render.Row("Price", currency.Format(s.Price)), render.Row("For the order", currency.Format(s.FeeOrder)),
			render.Row("For the drops", currency.Format(s.FeeDrop)), render.Row("For the way", currency.Format(s.FeeRoute))})}
	terms := []string{fmt.Sprintf("Dead on arrival: up to %s in 100 are allowed for, as offered.", v.DeathsPercent.Format()),
		fmt.Sprintf("Short counts: up to %s in 100 are allowed for, as offered.", v.ShortPercent.Format())}
	if names.Unit != "" {
		terms = terms[1:]
	}
	if v.ExpiresOn != nil {
		terms = append(terms, "It keeps until "+v.ExpiresOn.String()+" at least.")
	}
	d.Sections = append(d.Sections, render.Section{Title: "What it costs", Blocks: []render.Block{total, costs, render.Box{Kind: render.Note, Title: "Terms", Lines: terms}}})
	return d
}

// orderTable has the lines of an order in the order of the way.
func orderTable(v *postgres.OrderView, names *postgres.OrderPaper, unit string) *render.Table {
	return &render.Table{Name: "lines", Title: "Lines of the order",
		Columns: []render.Column{{Name: "order", Title: "Order"}, {Name: "arrives_on", Title: "Day", As: render.Date()}, {Name: "km", Title: "Way", As: render.Number(1, "km")},
			{Name: "site", Title: "Site"}, {Name: "unit", Title: "Tank"}, {Name: "quantity", Title: "Quantity", As: render.Number(0, unit), Sum: true}},
		Rows: func(yield func([]render.Cell) bool) {
			for _, l := range domain.AlongTheWay(v.Lines) {
				place := names.Places[l.Request]
				if !yield(render.Row(v.Called(), v.ArrivesOn.String(), l.Km.Format(), place.Site, valueOr(place.Unit), strconv.FormatInt(int64(l.Quantity), 10))) {
					return
				}
			}
		}}
}
