package postgres

import (
	"context"
	"time"

	"shoalbook/domain"
)

// Statement is what one site got of a round and pays for it.
type Statement struct {
	Round    domain.Round
	Site     domain.SiteFacts
	Basis    string
	Charge   domain.SiteCharge
	Alone    *domain.Money
	Lines    []StatementLine
	Payments []RoundPayment
}

// StatementLine is what was ordered for the site, and what came of it.
type StatementLine struct {
	OrderID    domain.OrderID
	Year       int16
	Number     int32
	Supplier   string
	RequestID  domain.RequestID
	Quantity   domain.Pieces
	Due        domain.Pieces
	ReceivedOn *domain.Date
	Came       *domain.Pieces
	Dead       *domain.Pieces
	Credit     domain.Money // less what a surplus costs
}

// RoundPayment is what a site paid for a round.
type RoundPayment struct {
	PaidOn domain.Date
	Amount domain.Money
	Note   *string
}

// Statement returns what one site got of a round, pays for it and has paid.
func (tx *Tx) Statement(ctx context.Context, round domain.RoundID, site domain.SiteID) (*Statement, error) {
	b, err := tx.Bill(ctx, round)
	if err != nil {
		return nil, err
	}
	facts, err := Sites.Get(ctx, tx, site)
	if err != nil {
		return nil, err
	}
	s := &Statement{Round: b.Round, Site: facts, Basis: b.Basis, Charge: domain.SiteCharge{Site: site}}
	for _, c := range b.Sites {
		if c.Site == site {
			s.Charge = c
		}
	}
	if a, ok := b.Alone[site]; ok {
		s.Alone = &a
	}
	const lines = `
		select o.id as order_id, o.year, o.number, p.name as supplier, l.request_id, l.quantity, coalesce(least(a.allotted, l.quantity), l.quantity) as due,
			d.occurred_on as received_on, d.counted as came, d.dead, coalesce((
				select sum(case c.kind when 'over' then -k.amount else k.amount end)
				from claim c join credit k on k.coop_id = c.coop_id and own_site(k.site_id) and k.claim_id = c.id
				where c.coop_id = o.coop_id and own_site(c.site_id) and c.delivery_id = d.id), 0)::bigint as credit
		from purchase_order o
		join party p on p.coop_id = o.coop_id and p.id = o.party_id
		join order_line l on l.coop_id = o.coop_id and own_site(l.site_id) and l.order_id = o.id and l.version = o.version
		left join allotment a on a.coop_id = o.coop_id and own_site(a.site_id) and a.order_id = o.id and a.request_id = l.request_id
		left join delivery d on d.coop_id = o.coop_id and own_site(d.site_id) and d.order_id = o.id and d.request_id = l.request_id and d.reversed_at is null
		where o.coop_id = $1 and o.round_id = $2 and l.site_id = $3 order by o.year, o.number, l.request_id`
	later(tx, &s.Lines, lines, tx.coop, round, site)
	const payments = `
		select paid_on, amount, note from round_payment
		where coop_id = $1 and own_site(site_id) and round_id = $2 and site_id = $3 order by paid_on, id`
	later(tx, &s.Payments, payments, tx.coop, round, site)
	return s, tx.flush(ctx)
}

// PaidRow is a payment for a round, as it is listed.
type PaidRow struct {
	ID        domain.ID[RoundPayment]
	SiteID    domain.SiteID
	Site      string
	CreatedAt time.Time
	RoundPayment
}

// RoundPayments returns what was paid for a round, in the order of its ids, a page of it.
func (tx *Tx) RoundPayments(ctx context.Context, round domain.RoundID, after *domain.ID[RoundPayment], limit int) (found []PaidRow, more bool, err error) {
	if _, err := Rounds.Get(ctx, tx, round); err != nil {
		return nil, false, err
	}
	const sql = `
		select p.id, p.site_id, s.name as site, p.created_at, p.paid_on, p.amount, p.note
		from round_payment p join site s on s.coop_id = p.coop_id and own_site(s.id) and s.id = p.site_id
		where p.coop_id = $1 and own_site(p.site_id) and p.round_id = $2 and ($3::uuid is null or p.id > $3) order by p.id limit $4`
	found, err = all[PaidRow](ctx, tx, sql, tx.coop, round, after, limit+1)
	return found[:min(len(found), limit)], len(found) > limit, err
}

// paidBy refuses a payment of a site that has asked for nothing, or of a day to come.
func (tx *Tx) paidBy(ctx context.Context, round domain.RoundID, site domain.SiteID, on domain.Date) error {
	asked, err := all[struct{ ID domain.RequestID }](ctx, tx, `select id from request where coop_id = $1 and own_site(site_id) and round_id = $2 and site_id = $3 limit 1`, tx.coop, round, site)
	if err != nil {
		return err
	}
	if len(asked) == 0 {
		return &domain.Error{Kind: domain.Refused, Code: "unknown_reference", Detail: "this site has asked for nothing in the round: look whether another site or another round is meant",
			Fields: []domain.FieldError{{Pointer: "/site_id", Detail: "has no part in the round"}}}
	}
	return tx.happened(ctx, on, "/paid_on")
}

// happened refuses a day after today.
func (tx *Tx) happened(ctx context.Context, on domain.Date, pointer string) error {
	today, err := tx.Today(ctx)
	if err == nil && on > today {
		err = &domain.Error{Kind: domain.Refused, Code: "in_future", Detail: "the date is after today (" + today.String() + "): look at the date",
			Fields: []domain.FieldError{{Pointer: pointer, Detail: "must not be after today"}}}
	}
	return err
}

// PayRound keeps what a site has paid for a round, and returns what it owes then. A round
// of which nothing was ordered is not paid for.
func (tx *Tx) PayRound(ctx context.Context, round domain.RoundID, site domain.SiteID, id [16]byte, p RoundPayment) (domain.Money, error) {
	r, err := Rounds.Get(ctx, tx, round)
	if err != nil {
		return 0, err
	}
	if err := inUse(ctx, tx, "site", "/site_id", site, site); err != nil {
		return 0, err
	}
	if err := r.Require("a site pays", domain.RoundOrdered, domain.RoundDelivering, domain.RoundSettled); err != nil {
		return 0, err
	}
	if err := tx.paidBy(ctx, round, site, p.PaidOn); err != nil {
		return 0, err
	}
	const sql = `
		insert into round_payment (coop_id, id, round_id, site_id, amount, paid_on, note)
		values ($1, $2, $3, case when own_site($4) then $4::uuid end, $5, $6, $7)`
	tx.queue(sql, tx.coop, id, round, site, p.Amount, p.PaidOn, p.Note)
	s, err := tx.Statement(ctx, round, site)
	if err != nil {
		return 0, err
	}
	return s.Charge.Owed(), nil
}
