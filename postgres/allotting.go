package postgres

import (
	"context"

	"shoalbook/domain"
)

// Allotting is an order of which less comes than was ordered, with what each request would
// get by each of the rules.
type Allotting struct {
	Ordered   domain.Pieces
	Available domain.Pieces
	Pack      domain.Pieces
	Lines     []AllottedLine
	Rules     []domain.Allotment // of the lines, in their order
}

// AllottedLine is a line of an order that something is shared out to.
type AllottedLine struct {
	RequestID     domain.RequestID
	SiteID        domain.SiteID
	Quantity      domain.Pieces
	Least         domain.Pieces // of the request
	ExpectedAlive domain.Pieces
	Allotted      *domain.Pieces // as it was fixed; nil: it was not
	Rule          *string
	Pack          domain.Pieces
	Received      bool
}

// Wants returns what the line wants of what comes. The least that is of use to a site are
// fish that live: it takes as many more of those that come as were ordered more of all.
func (l *AllottedLine) Wants() domain.Wanted {
	w := domain.Wanted{Ordered: l.Quantity, Least: l.Quantity}
	if l.ExpectedAlive > 0 {
		w.Least = min(l.Quantity, (l.Least*l.Quantity+l.ExpectedAlive-1)/l.ExpectedAlive)
	}
	return w
}

// Allotment says what each request of an order would get of what comes.
func (tx *Tx) Allotment(ctx context.Context, order domain.OrderID, available domain.Pieces) (*Allotting, error) {
	if _, err := tx.order(ctx, order); err != nil {
		return nil, err
	}
	return tx.allotting(ctx, order, available)
}

func (tx *Tx) allotting(ctx context.Context, order domain.OrderID, available domain.Pieces) (*Allotting, error) {
	const sql = `
		select l.request_id, l.site_id, l.quantity, q.least, l.expected_alive, a.allotted, a.rule, p.pack, d.id is not null as received
		from purchase_order o
		join quote p on p.coop_id = o.coop_id and p.id = o.quote_id
		join order_line l on l.coop_id = o.coop_id and own_site(l.site_id) and l.order_id = o.id and l.version = o.version
		join request q on q.coop_id = o.coop_id and own_site(q.site_id) and q.id = l.request_id
		left join allotment a on a.coop_id = o.coop_id and own_site(a.site_id) and a.order_id = o.id and a.request_id = l.request_id
		left join delivery d on d.coop_id = o.coop_id and own_site(d.site_id) and d.order_id = o.id and d.request_id = l.request_id and d.reversed_at is null
		where o.coop_id = $1 and own_site(null) and o.id = $2 order by l.request_id`
	lines, err := all[AllottedLine](ctx, tx, sql, tx.coop, order)
	if err != nil {
		return nil, err
	}
	if len(lines) == 0 { // a token of some sites does not see what others get
		return nil, domain.Errorf(domain.Forbidden, "forbidden", "what comes is shared out by those who see all sites")
	}
	a := &Allotting{Available: available, Lines: lines, Pack: lines[0].Pack}
	wanted := make([]domain.Wanted, len(lines))
	for i := range lines {
		a.Ordered += lines[i].Quantity
		wanted[i] = lines[i].Wants()
	}
	if available >= a.Ordered {
		return nil, &domain.Error{Kind: domain.Refused, Code: "not_short", Detail: "there is enough for everybody who has ordered: nothing has to be shared out",
			Fields: []domain.FieldError{{Pointer: "/available", Detail: "is not less than what was ordered"}}}
	}
	for _, rule := range domain.AllotRules {
		a.Rules = append(a.Rules, domain.Allot(rule, available, a.Pack, wanted))
	}
	return a, nil
}

// Allot fixes what each request of an order gets of what comes, by one of the rules, as
// long as nothing of the order was received.
func (tx *Tx) Allot(ctx context.Context, order domain.OrderID, available domain.Pieces, rule string) (*Allotting, error) {
	o, err := tx.lockOrder(ctx, order)
	if err != nil {
		return nil, err
	}
	if err := o.Round.Require("what comes is shared out", domain.RoundOrdered, domain.RoundDelivering); err != nil {
		return nil, err
	}
	a, err := tx.allotting(ctx, order, available)
	if err != nil {
		return nil, err
	}
	for k := range a.Rules {
		if a.Rules[k].Rule != rule {
			continue
		}
		for i := range a.Lines {
			l := &a.Lines[i]
			if l.Received {
				return nil, domain.Errorf(domain.Conflict, "already_received", "something of this order was received already: what each site gets is not changed any more")
			}
			l.Allotted, l.Rule = &a.Rules[k].Gets[i], &rule
			const sql = `
				insert into allotment (coop_id, order_id, request_id, site_id, allotted, available, rule)
				values ($1, $2, $3, case when own_site($4) then $4::uuid end, $5, $6, $7)
				on conflict on constraint allotment_once do update set allotted = excluded.allotted, available = excluded.available, rule = excluded.rule`
			tx.queue(sql, tx.coop, order, l.RequestID, l.SiteID, *l.Allotted, available, rule)
		}
	}
	return a, nil
}
