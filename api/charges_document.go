package api

import (
	"slices"

	"shoalbook/api/render"
	"shoalbook/domain"
	"shoalbook/postgres"
)

// basisWords say how charges are known.
var basisWords = map[string]string{
	postgres.ChargesOrdered: "As it was ordered and shared out, less the credit so far. It is not settled yet.",
	postgres.ChargesSoFar:   "From what was ordered, received and credited so far. It is not settled yet.",
	postgres.ChargesSettled: "Settled.",
}

// rows returns the parts of a charge as they are read one below the other.
func (p wireParts) rows() [][2]string {
	return [][2]string{{"Fish or goods", p.Goods}, {"Share of the fees of orders", p.OrderFee}, {"Delivery to the site", p.DropFee}, {"Share of the way", p.RouteFee},
		{"Credit of suppliers, taken off", p.Credit}, {"Levelled, so that nobody pays more than alone", p.Levelled}, {"To pay", p.Charged}, {"Paid", p.Paid}, {"Owed", p.Owed}}
}

func statementDocument(d *render.Document, s wireStatement, c domain.Currency) *render.Document {
	money := render.Money(c.Digits(), string(c))
	parts := &render.Table{Name: "charges", Title: "What it costs", Columns: []render.Column{{Title: "What"}, {Title: "Amount", As: money}},
		Rows: func(yield func([]render.Cell) bool) {
			for _, r := range s.Parts.rows() {
				if !yield(render.Row(r[0], r[1])) {
					return
				}
			}
		}}
	figures := render.Figures{{Label: "To pay", Value: s.Parts.Charged, As: money}, {Label: "Paid", Value: s.Parts.Paid, As: money}, {Label: "Owed", Value: s.Parts.Owed, As: money}}
	if s.Alone != nil {
		figures = append(figures, render.Figure{Label: "Alone it would have cost", Value: *s.Alone, As: money, Note: "as it was planned"})
	}
	d.Title, d.Subtitle = "Statement of "+s.SiteName, s.Name
	d.Sections = []render.Section{
		{Blocks: []render.Block{render.Paragraph(basisWords[s.Basis]), figures}},
		{Blocks: []render.Block{parts}},
		{Blocks: []render.Block{s.linesTable(money), s.paymentsTable(money)}},
	}
	return d
}

func (s *wireStatement) linesTable(money render.Format) *render.Table {
	pieces := render.Number(0, "")
	return &render.Table{Name: "lines", Title: "What was ordered, and came",
		Columns: []render.Column{{Name: "order", Title: "Order"}, {Name: "supplier", Title: "Supplier"}, {Name: "ordered", Title: "Ordered", As: pieces}, {Name: "due", Title: "Due", As: pieces},
			{Name: "received_on", Title: "Received on", As: render.Date()}, {Name: "came", Title: "Came", As: pieces}, {Name: "dead", Title: "Dead", As: pieces}, {Name: "credit", Title: "Credit", As: money, Sum: true}},
		Rows: func(yield func([]render.Cell) bool) {
			for _, l := range s.Lines {
				on := ""
				if l.ReceivedOn != nil {
					on = l.ReceivedOn.String()
				}
				if !yield(render.Row(l.Number, l.Supplier, counted(&l.Ordered), counted(&l.Due), on, counted(l.Came), counted(l.Dead), l.Credit)) {
					return
				}
			}
		}}
}

func (s *wireStatement) paymentsTable(money render.Format) *render.Table {
	return &render.Table{Name: "payments", Title: "What was paid", Columns: []render.Column{{Name: "paid_on", Title: "On", As: render.Date()}, {Name: "note", Title: "Note"}, {Name: "amount", Title: "Amount", As: money, Sum: true}},
		Rows: func(yield func([]render.Cell) bool) {
			for _, p := range s.Payments {
				note := ""
				if p.Note != nil {
					note = *p.Note
				}
				if !yield(render.Row(p.PaidOn.String(), note, p.Amount)) {
					return
				}
			}
		}}
}

// counted prints how many there are, or nothing.
func counted(n *domain.Pieces) string {
	if n == nil {
		return ""
	}
	return n.String()
}

func chargesDocument(d *render.Document, round *domain.Round, w wireCharges, names map[domain.SiteID]string, c domain.Currency) *render.Document {
	money := render.Money(c.Digits(), string(c))
	column := func(title string) render.Column { return render.Column{Title: title, As: money, Sum: true} }
	rows := slices.Clone(w.Sites)
	table := &render.Table{Name: "charges", Title: "Who pays what",
		Columns: []render.Column{{Title: "Site"}, {Title: "Quantity", As: render.Number(0, ""), Sum: true}, column("Fish or goods"), column("Order fees"), column("Drops"), column("Way"),
			column("Credit"), column("Levelled"), column("To pay"), column("Paid"), column("Owed"), {Title: "Alone", As: money}},
		Rows: func(yield func([]render.Cell) bool) {
			for _, s := range rows {
				alone := ""
				if s.Alone != nil {
					alone = *s.Alone
				}
				p := s.Parts
				if !yield(render.Row(names[s.Site], counted(&s.Quantity), p.Goods, p.OrderFee, p.DropFee, p.RouteFee, p.Credit, p.Levelled, p.Charged, p.Paid, p.Owed, alone)) {
					return
				}
			}
		}}
	blocks := []render.Block{render.Paragraph(basisWords[w.Basis]), table}
	if !w.Levelled {
		blocks = append(blocks, render.Box{Kind: render.Note, Lines: []string{"All of it costs more than the sites would pay alone together: some pay more than alone, and nothing can be levelled."}})
	}
	d.Title, d.Subtitle = "Who pays what", round.Name
	d.Sections = []render.Section{{Blocks: blocks}}
	return d
}
