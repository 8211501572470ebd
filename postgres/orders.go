package postgres

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// OrderView is an order as it is in force, as far as the token sees it.
type OrderView struct {
	domain.Order
	Sums     *domain.OrderVersion // nil: the token is for some sites
	Deposits []domain.Deposit
	Lines    []domain.OrderLine
}

// PlaceOrders orders what the last plan of a round says: one order for each supplier, all
// of them or none. The version is that of the plan that was looked at.
func (tx *Tx) PlaceOrders(ctx context.Context, id domain.RoundID, version int64, newID func() (domain.OrderID, error)) error {
	if err := tx.forAll(); err != nil {
		return err
	}
	round, err := Rounds.Hold(ctx, tx, id)
	if err != nil {
		return err
	}
	if err := round.Require("orders are placed", domain.RoundPlanned); err != nil {
		return err
	}
	kept, err := tx.LastPlan(ctx, id)
	if err != nil {
		return err
	}
	if kept.Version != version {
		return domain.Errorf(domain.Conflict, "plan_outdated", "the last plan is number %d: read that one before you order", kept.Version)
	}
	if len(kept.Plan.Orders) == 0 {
		return domain.Refuse("nothing_to_order", "by this plan nobody gets anything")
	}
	if _, err := Coops.Hold(ctx, tx, tx.coop); err != nil { // numbers run one after the other
		return err
	}
	today, err := tx.Today(ctx)
	if err != nil {
		return err
	}
	year := int16(today.Time().Year())
	type last struct{ Number int32 }
	found, err := one[last](ctx, tx, `select coalesce(max(number), 0) as number from purchase_order where coop_id = $1 and year = $2`, tx.coop, year)
	if err != nil {
		return err
	}
	for i := range kept.Plan.Orders {
		p := &kept.Plan.Orders[i]
		quote, err := Quotes.read(ctx, tx, p.Quote, "for share")
		if err != nil {
			return err
		}
		if quote.Version != p.QuoteVersion {
			return domain.Errorf(domain.Conflict, "plan_outdated", "a quote has changed since the plan was made: plan again")
		}
		if err := quote.CheckOrder(p.Ordered, today); err != nil {
			return err
		}
		o := domain.Order{Round: id, Quote: p.Quote, Party: p.Party, PlanVersion: version, Year: year, Number: found.Number + int32(i) + 1, Version: 1, OrderedOn: today, ArrivesOn: p.ArrivesOn,
			MeanWeight: quote.MeanWeight, WeightCVPercent: quote.WeightCVPercent, DeathsPercent: quote.DeathsPercent, ShortPercent: quote.ShortPercent, ExpiresOn: quote.ExpiresOn}
		if o.ID, err = newID(); err != nil {
			return err
		}
		tx.placeOrder(&o, p, kept.Plan.Lines)
	}
	_, err = tx.AdvanceRound(ctx, id, domain.RoundOrdered)
	return err
}

// placeOrder queues an order with its first version.
func (tx *Tx) placeOrder(o *domain.Order, p *domain.PlanOrder, lines []domain.PlanLine) {
	const sql = `
		insert into purchase_order (coop_id, id, round_id, quote_id, party_id, plan_version, year, number, ordered_on, arrives_on,
			mean_weight, weight_cv_percent, deaths_percent, short_percent, expires_on)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`
	tx.queue(sql, tx.coop, o.ID, o.Round, o.Quote, o.Party, o.PlanVersion, o.Year, o.Number, o.OrderedOn, o.ArrivesOn,
		o.MeanWeight, o.WeightCVPercent, o.DeathsPercent, o.ShortPercent, o.ExpiresOn)
	v := &domain.OrderVersion{Order: o.ID, Version: 1, Ordered: p.Ordered, ArrivesOn: p.ArrivesOn, Price: p.Price, FeeOrder: p.FeeOrder, FeeDrop: p.FeeDrop, FeeRoute: p.FeeRoute, Deposit: p.Deposit}
	var own []domain.OrderLine
	for _, l := range lines {
		if l.Quote == p.Quote {
			own = append(own, domain.OrderLine{Order: o.ID, Version: 1, Request: l.Request, Site: l.Site, Unit: l.Unit, Quantity: l.Quantity, ExpectedAlive: l.ExpectedAlive, Km: l.Km,
				Goods: l.Price, OrderFee: l.Fee, DropFee: l.Drop, RouteFee: l.Route, Capped: l.Level})
		}
	}
	tx.addVersion(v, own)
}

// addVersion queues a version of an order with its lines.
func (tx *Tx) addVersion(v *domain.OrderVersion, lines []domain.OrderLine) {
	const version = `
		insert into order_version (coop_id, order_id, version, reason, ordered, arrives_on, price, fee_order, fee_drop, fee_route, deposit)
		select $1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11 where own_site(null)`
	tx.queue(version, tx.coop, v.Order, v.Version, v.Reason, v.Ordered, v.ArrivesOn, v.Price, v.FeeOrder, v.FeeDrop, v.FeeRoute, v.Deposit)
	const line = `
		insert into order_line (coop_id, order_id, version, request_id, site_id, unit_id, quantity, expected_alive, km, goods, order_fee, drop_fee, route_fee, capped)
		values ($1, $2, $3, $4, case when own_site($5) then $5::uuid end, $6, $7, $8, $9, $10, $11, $12, $13, $14)`
	for _, l := range lines {
		tx.queue(line, tx.coop, l.Order, l.Version, l.Request, l.Site, l.Unit, l.Quantity, l.ExpectedAlive, l.Km, l.Goods, l.OrderFee, l.DropFee, l.RouteFee, l.Capped)
	}
}

const (
	orderColumns = `o.id, o.round_id as round, o.quote_id as quote, o.party_id as party, o.plan_version, o.year, o.number, o.version, o.ordered_on, o.arrives_on,
		o.mean_weight, o.weight_cv_percent, o.deaths_percent, o.short_percent, o.expires_on, o.created_at`
	versionColumns = `v.order_id as "order", v.version, v.reason, v.ordered, v.arrives_on, v.price, v.fee_order, v.fee_drop, v.fee_route, v.deposit, v.recorded_at, v.recorded_by`
	lineColumns    = `l.order_id as "order", l.version, l.request_id as request, l.site_id as site, l.unit_id as unit, l.quantity, l.expected_alive, l.km,
		l.goods, l.order_fee, l.drop_fee, l.route_fee, l.capped, a.allotted`
)

// Orders returns the orders of a round by their numbers.
func (tx *Tx) Orders(ctx context.Context, round domain.RoundID) ([]OrderView, error) {
	orders, err := all[domain.Order](ctx, tx, `select `+orderColumns+` from purchase_order o where o.coop_id = $1 and o.round_id = $2 order by o.year, o.number`, tx.coop, round)
	if err != nil {
		return nil, err
	}
	return tx.viewed(ctx, orders)
}

// Order returns one order.
func (tx *Tx) Order(ctx context.Context, id domain.OrderID) (OrderView, error) {
	found, err := one[domain.Order](ctx, tx, `select `+orderColumns+` from purchase_order o where o.coop_id = $1 and o.id = $2`, tx.coop, id)
	if errors.Is(err, pgx.ErrNoRows) {
		return OrderView{}, domain.Missing("order")
	}
	if err != nil {
		return OrderView{}, err
	}
	views, err := tx.viewed(ctx, []domain.Order{found})
	if err != nil {
		return OrderView{}, err
	}
	return views[0], nil
}

// viewed adds what the token sees of orders besides.
func (tx *Tx) viewed(ctx context.Context, orders []domain.Order) ([]OrderView, error) {
	ids := make([]domain.OrderID, len(orders))
	for i, o := range orders {
		ids[i] = o.ID
	}
	var versions []domain.OrderVersion
	var deposits []domain.Deposit
	var lines []domain.OrderLine
	const (
		sums = `
			select ` + versionColumns + ` from purchase_order o
			join order_version v on v.coop_id = o.coop_id and own_site(null) and v.order_id = o.id and v.version = o.version
			where o.coop_id = $1 and o.id = any($2)`
		paid = `select d.id, d.order_id as "order", d.amount, d.paid_on from order_deposit d where d.coop_id = $1 and own_site(null) and d.order_id = any($2) order by d.id`
		own  = `
			select ` + lineColumns + ` from purchase_order o
			join order_line l on l.coop_id = o.coop_id and own_site(l.site_id) and l.order_id = o.id and l.version = o.version
			left join allotment a on a.coop_id = l.coop_id and own_site(a.site_id) and a.order_id = l.order_id and a.request_id = l.request_id
			where o.coop_id = $1 and o.id = any($2) order by l.request_id`
	)
	later(tx, &versions, sums, tx.coop, ids)
	later(tx, &deposits, paid, tx.coop, ids)
	later(tx, &lines, own, tx.coop, ids)
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	views := make([]OrderView, len(orders))
	at := map[domain.OrderID]*OrderView{}
	for i, o := range orders {
		views[i].Order = o
		at[o.ID] = &views[i]
	}
	for i := range versions {
		at[versions[i].Order].Sums = &versions[i]
	}
	for _, d := range deposits {
		at[d.Order].Deposits = append(at[d.Order].Deposits, d)
	}
	for _, l := range lines {
		at[l.Order].Lines = append(at[l.Order].Lines, l)
	}
	return views, nil
}

// OrderVersions returns all versions of an order, the first first, and the lines of each.
func (tx *Tx) OrderVersions(ctx context.Context, id domain.OrderID) ([]domain.OrderVersion, [][]domain.OrderLine, error) {
	if _, err := tx.Order(ctx, id); err != nil {
		return nil, nil, err
	}
	var versions []domain.OrderVersion
	var lines []domain.OrderLine
	later(tx, &versions, `select `+versionColumns+` from order_version v where v.coop_id = $1 and own_site(null) and v.order_id = $2 order by v.version`, tx.coop, id)
	const own = `
		select ` + lineColumns + ` from order_line l
		left join allotment a on a.coop_id = l.coop_id and own_site(a.site_id) and a.order_id = l.order_id and a.request_id = l.request_id
		where l.coop_id = $1 and own_site(l.site_id) and l.order_id = $2 order by l.version, l.request_id`
	later(tx, &lines, own, tx.coop, id)
	if err := tx.flush(ctx); err != nil {
		return nil, nil, err
	}
	of := make([][]domain.OrderLine, len(versions))
	for _, l := range lines {
		if i := int(l.Version) - 1; i < len(of) {
			of[i] = append(of[i], l)
		}
	}
	return versions, of, nil
}

// ChangeOrder makes the next version of an order.
func (tx *Tx) ChangeOrder(ctx context.Context, id domain.OrderID, change *domain.OrderChange) error {
	if err := tx.forAll(); err != nil {
		return err
	}
	was, err := tx.Order(ctx, id)
	if err != nil {
		return err
	}
	round, err := Rounds.Hold(ctx, tx, was.Round)
	if err != nil {
		return err
	}
	if err := round.Require("an order is changed", domain.RoundOrdered, domain.RoundDelivering); err != nil {
		return err
	}
	if was, err = tx.Order(ctx, id); err != nil { // as it is while the round is held
		return err
	}
	found, err := tx.requestsOf(ctx, round.ID)
	if err != nil {
		return err
	}
	requests := map[domain.RequestID]*domain.Request{}
	for i := range found {
		requests[found[i].ID] = &found[i]
	}
	quote, err := Quotes.Get(ctx, tx, was.Quote)
	if err != nil {
		return err
	}
	type drop struct{ Request domain.RequestID }
	drops, err := all[drop](ctx, tx, `select request_id as request from delivery where coop_id = $1 and own_site(site_id) and order_id = $2 and reversed_at is null`, tx.coop, id)
	if err != nil {
		return err
	}
	delivered := map[domain.RequestID]bool{}
	for _, d := range drops {
		delivered[d.Request] = true
	}
	version, lines, err := was.Changed(change, was.Lines, delivered, &quote, requests, round.FeesBy)
	if err != nil {
		return err
	}
	tx.addVersion(version, lines)
	tx.queue(`update purchase_order set version = $3, arrives_on = $4 where coop_id = $1 and id = $2`, tx.coop, id, version.Version, version.ArrivesOn)
	return tx.flush(ctx)
}

// PayDeposit notes what was paid to a supplier with an order.
func (tx *Tx) PayDeposit(ctx context.Context, d domain.Deposit) error {
	if err := tx.forAll(); err != nil {
		return err
	}
	if _, err := tx.Order(ctx, d.Order); err != nil {
		return err
	}
	if err := tx.happened(ctx, d.PaidOn, "/paid_on"); err != nil {
		return err
	}
	if d.Amount <= 0 {
		return invalid("/amount", "must be more than 0")
	}
	tx.queue(`insert into order_deposit (coop_id, id, order_id, amount, paid_on) select $1, $2, $3, $4, $5 where own_site(null)`, tx.coop, d.ID, d.Order, d.Amount, d.PaidOn)
	return tx.flush(ctx)
}

// OrderPaper is what an order to a supplier names, in words.
type OrderPaper struct {
	Coop   string
	Party  string
	Phone  *string
	What   string // species or product
	Unit   string // of the product; empty: fish
	Places map[domain.RequestID]Place
}

// Place is where a line of an order goes to.
type Place struct {
	Request domain.RequestID
	Site    string
	Unit    *string
}

// OrderPaper reads the names for an order.
func (tx *Tx) OrderPaper(ctx context.Context, o *domain.Order) (OrderPaper, error) {
	const head = `
		select c.name as coop, p.name as party, p.phone, coalesce(s.english_name || ' (' || s.scientific_name || ')', t.name) as what, coalesce(t.unit, '') as unit
		from coop c
		join party p on p.coop_id = c.coop_id and p.id = $2
		join round r on r.coop_id = c.coop_id and r.id = $3
		left join species s on s.code = r.species
		left join product t on t.coop_id = r.coop_id and t.id = r.product_id
		where c.coop_id = $1`
	const places = `
		select l.request_id as request, s.name as site, u.name as unit from order_line l
		join site s on s.coop_id = l.coop_id and own_site(s.id) and s.id = l.site_id
		left join unit u on u.coop_id = l.coop_id and own_site(u.site_id) and u.id = l.unit_id
		where l.coop_id = $1 and own_site(l.site_id) and l.order_id = $2 and l.version = $3`
	var found []Place
	later(tx, &found, places, tx.coop, o.ID, o.Version)
	type named struct {
		Coop  string
		Party string
		Phone *string
		What  string
		Unit  string
	}
	n, err := one[named](ctx, tx, head, tx.coop, o.Party, o.Round)
	p := OrderPaper{n.Coop, n.Party, n.Phone, n.What, n.Unit, map[domain.RequestID]Place{}}
	for _, f := range found {
		p.Places[f.Request] = f
	}
	return p, err
}
