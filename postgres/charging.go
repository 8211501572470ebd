package postgres

import (
	"context"
	"slices"

	"shoalbook/domain"
)

// How the charges of a round are known.
const (
	ChargesOrdered = "ordered" // as it was ordered and shared out, with the credit so far
	ChargesSoFar   = "so_far"  // from all orders, deliveries and credit there are
	ChargesSettled = "settled" // fixed
)

// Bill is who pays what of a round.
type Bill struct {
	Round domain.Round
	Basis string
	Level bool // nobody pays more than alone
	Sites []domain.SiteCharge
	Alone map[domain.SiteID]domain.Money // of sites that could have bought alone
	lines domain.Charges
}

// Bill returns who pays what of a round. What was settled is as it was fixed. Before that
// it is worked out from all there is; a token that does not see all of it gets what its
// sites are to pay as it was ordered.
func (tx *Tx) Bill(ctx context.Context, id domain.RoundID) (*Bill, error) {
	round, err := Rounds.Get(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	paid, err := tx.paid(ctx, id)
	if err != nil {
		return nil, err
	}
	b := &Bill{Round: round}
	switch {
	case round.State == domain.RoundSettled:
		return b, tx.settledBill(ctx, b, paid)
	case tx.sites != nil:
		return b, tx.orderedBill(ctx, b, paid)
	}
	if err := tx.charge(ctx, b); err != nil {
		return nil, err
	}
	b.Sites = b.lines.BySite(paid)
	return b, nil
}

// aloneCost returns what the sites of a round would have paid alone, as it was planned; those
// that could not have bought alone are not in it.
func (tx *Tx) aloneCost(ctx context.Context, round domain.RoundID) (map[domain.SiteID]domain.Money, error) {
	const sql = `
		select (s ->> 'Site')::uuid as site, (s ->> 'Alone')::bigint as alone
		from round_plan p cross join lateral jsonb_array_elements(p.plan -> 'Sites') s
		where p.coop_id = $1 and own_site(null) and p.round_id = $2 and s ->> 'Alone' is not null
		and p.version = (select max(o.plan_version) from purchase_order o where o.coop_id = p.coop_id and o.round_id = p.round_id)`
	found, err := all[struct {
		Site  domain.SiteID
		Alone domain.Money
	}](ctx, tx, sql, tx.coop, round)
	by := map[domain.SiteID]domain.Money{}
	for _, f := range found {
		by[f.Site] = f.Alone
	}
	return by, err
}

// paid returns what the sites have paid for a round.
func (tx *Tx) paid(ctx context.Context, id domain.RoundID) (map[domain.SiteID]domain.Money, error) {
	const sql = `select site_id, sum(amount)::bigint as paid from round_payment where coop_id = $1 and own_site(site_id) and round_id = $2 group by site_id`
	found, err := all[struct {
		SiteID domain.SiteID
		Paid   domain.Money
	}](ctx, tx, sql, tx.coop, id)
	by := map[domain.SiteID]domain.Money{}
	for _, f := range found {
		by[f.SiteID] = f.Paid
	}
	return by, err
}

// settledBill reads what was fixed.
func (tx *Tx) settledBill(ctx context.Context, b *Bill, paid map[domain.SiteID]domain.Money) error {
	const sql = `
		select site_id, due, goods, order_fee, drop_fee, route_fee, credit, capped, alone from charge
		where coop_id = $1 and own_site(site_id) and round_id = $2 order by site_id`
	found, err := all[struct {
		SiteID                                             domain.SiteID
		Due                                                domain.Pieces
		Goods, OrderFee, DropFee, RouteFee, Credit, Capped domain.Money
		Alone                                              *domain.Money
	}](ctx, tx, sql, tx.coop, b.Round.ID)
	b.Basis, b.Level, b.Alone = ChargesSettled, true, map[domain.SiteID]domain.Money{}
	var c domain.Charges
	for _, f := range found {
		c.Lines = append(c.Lines, domain.LineCharge{Site: f.SiteID, Due: f.Due, Price: f.Goods, Fee: f.OrderFee, Drop: f.DropFee, Route: f.RouteFee, Credit: f.Credit, Level: f.Capped})
		if f.Alone != nil {
			b.Alone[f.SiteID] = *f.Alone
			b.Level = b.Level && c.Lines[len(c.Lines)-1].Total() <= *f.Alone
		}
	}
	b.Sites = c.BySite(paid)
	return err
}

// lineDueRow is a line of an order as it is charged.
type lineDueRow struct {
	OrderID    domain.OrderID
	RequestID  domain.RequestID
	SiteID     domain.SiteID
	Quantity   domain.Pieces
	Allotted   *domain.Pieces
	Goods      domain.Money
	OrderFee   domain.Money
	DropFee    domain.Money
	RouteFee   domain.Money
	Capped     domain.Money
	DeliveryID *domain.DeliveryID
	EntryID    *domain.EntryID
	Amount     *domain.Money
	Came       *domain.Pieces
	MeanWeight *domain.Milligrams
	Credit     domain.Money // less what a surplus costs
	Open       int64        // claims that nobody has answered
}

func (l *lineDueRow) due() domain.Pieces {
	r := lineRow{Quantity: l.Quantity, Allotted: l.Allotted}
	return r.due()
}

// linesDue reads the lines of the orders of a round that are in force.
func (tx *Tx) linesDue(ctx context.Context, round domain.RoundID) ([]lineDueRow, error) {
	const sql = `
		select l.order_id, l.request_id, l.site_id, l.quantity, a.allotted, l.goods, l.order_fee, l.drop_fee, l.route_fee, l.capped,
			d.id as delivery_id, d.entry_id, d.amount, d.counted as came, d.mean_weight, k.credit, k.open
		from purchase_order o
		join order_line l on l.coop_id = o.coop_id and own_site(l.site_id) and l.order_id = o.id and l.version = o.version
		left join allotment a on a.coop_id = o.coop_id and own_site(a.site_id) and a.order_id = o.id and a.request_id = l.request_id
		left join delivery d on d.coop_id = o.coop_id and own_site(d.site_id) and d.order_id = o.id and d.request_id = l.request_id and d.reversed_at is null
		cross join lateral (
			select coalesce(sum(case c.kind when 'over' then -k.amount else k.amount end), 0)::bigint as credit, count(*) filter (where k.id is null and c.id is not null) as open
			from claim c left join credit k on k.coop_id = c.coop_id and own_site(k.site_id) and k.claim_id = c.id
			where c.coop_id = o.coop_id and own_site(c.site_id) and c.delivery_id = d.id) k
		where o.coop_id = $1 and o.round_id = $2 order by l.site_id, l.request_id`
	return all[lineDueRow](ctx, tx, sql, tx.coop, round)
}

// orderedBill says what sites are to pay as it was ordered and shared out.
func (tx *Tx) orderedBill(ctx context.Context, b *Bill, paid map[domain.SiteID]domain.Money) error {
	lines, err := tx.linesDue(ctx, b.Round.ID)
	var c domain.Charges
	for i := range lines {
		l := &lines[i]
		c.Lines = append(c.Lines, domain.LineCharge{Request: l.RequestID, Site: l.SiteID, Due: l.due(), Price: l.Goods.Part(int64(l.due()), int64(l.Quantity)),
			Fee: l.OrderFee, Drop: l.DropFee, Route: l.RouteFee, Credit: l.Credit, Level: l.Capped})
	}
	b.Basis, b.Level, b.Sites = ChargesOrdered, true, c.BySite(paid)
	return err
}

// charge works out who pays what from all orders, deliveries and credit of the round.
func (tx *Tx) charge(ctx context.Context, b *Bill) error {
	var quotes []domain.Quote
	later(tx, &quotes, `select `+Quotes.columns("n", "n")+` from quote n where n.coop_id = $1 and own_site(null) and n.round_id = $2`, tx.coop, b.Round.ID)
	const orders = `
		select o.id, o.quote_id, v.price
		from purchase_order o
		join order_version v on v.coop_id = o.coop_id and own_site(null) and v.order_id = o.id and v.version = o.version
		where o.coop_id = $1 and o.round_id = $2 order by o.id`
	var found []struct {
		ID      domain.OrderID
		QuoteID domain.QuoteID
		Price   domain.Money
	}
	later(tx, &found, orders, tx.coop, b.Round.ID)
	lines, err := tx.linesDue(ctx, b.Round.ID)
	if err != nil {
		return err
	}
	if b.Alone, err = tx.aloneCost(ctx, b.Round.ID); err != nil {
		return err
	}
	due := make([]domain.OrderDue, len(found))
	for i, o := range found {
		k := slices.IndexFunc(quotes, func(q domain.Quote) bool { return q.ID == o.QuoteID })
		due[i] = domain.OrderDue{Order: o.ID, Quote: &quotes[k], Price: o.Price}
		for k := range lines {
			if l := &lines[k]; l.OrderID == o.ID {
				due[i].Lines = append(due[i].Lines, domain.LineDue{Request: l.RequestID, Site: l.SiteID, Ordered: l.Quantity, Due: l.due(), Came: l.Came, MeanWeight: l.MeanWeight, Credit: l.Credit})
			}
		}
	}
	b.lines = domain.ChargeRound(due, b.Round.FeesBy, b.Alone)
	b.Basis, b.Level = ChargesSoFar, b.lines.Level
	return nil
}

// SiteNames returns the names of the sites of the token.
func (tx *Tx) SiteNames(ctx context.Context) (map[domain.SiteID]string, error) {
	found, err := all[struct {
		ID   domain.SiteID
		Name string
	}](ctx, tx, `select id, name from site where coop_id = $1 and own_site(id)`, tx.coop)
	names := map[domain.SiteID]string{}
	for _, f := range found {
		names[f.ID] = f.Name
	}
	return names, err
}
