package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// ClaimRow is a claim with what became of it.
type ClaimRow struct {
	ID         domain.ClaimID
	OrderID    domain.OrderID
	DeliveryID domain.DeliveryID
	SiteID     domain.SiteID
	PartyID    domain.PartyID
	Kind       string
	Quantity   domain.Pieces
	Amount     domain.Money
	Why        string
	Reversed   bool // with its delivery
	CreatedAt  time.Time
	ClaimAnswer
}

// ClaimAnswer is what the supplier says to a claim: a credit note, or why there is none.
type ClaimAnswer struct {
	Number     *string
	Credited   *domain.Money
	CreditedOn *domain.Date
	Declined   *string
}

const claimsFrom = `
	select c.id, c.order_id, c.delivery_id, c.site_id, o.party_id, c.kind, c.quantity, c.amount, c.why, d.reversed_at is not null as reversed, c.created_at,
		k.number, k.amount as credited, k.credited_on, k.declined
	from claim c
	join delivery d on d.coop_id = c.coop_id and own_site(d.site_id) and d.id = c.delivery_id
	join purchase_order o on o.coop_id = c.coop_id and o.id = c.order_id
	left join credit k on k.coop_id = c.coop_id and own_site(k.site_id) and k.claim_id = c.id
	where c.coop_id = $1 and own_site(c.site_id)`

// ClaimsOf returns the claims of some deliveries.
func (tx *Tx) ClaimsOf(ctx context.Context, ids []domain.DeliveryID) (map[domain.DeliveryID][]ClaimRow, error) {
	found, err := all[ClaimRow](ctx, tx, claimsFrom+` and c.delivery_id = any($2) order by c.kind, c.id`, tx.coop, ids)
	of := map[domain.DeliveryID][]ClaimRow{}
	for _, c := range found {
		of[c.DeliveryID] = append(of[c.DeliveryID], c)
	}
	return of, err
}

// Claims returns the claims of a round, in the order of their ids, a page of them.
func (tx *Tx) Claims(ctx context.Context, round domain.RoundID, after *domain.ClaimID, limit int) (found []ClaimRow, more bool, err error) {
	if _, err := Rounds.Get(ctx, tx, round); err != nil {
		return nil, false, err
	}
	found, err = all[ClaimRow](ctx, tx, claimsFrom+` and o.round_id = $2 and ($3::uuid is null or c.id > $3) order by c.id limit $4`, tx.coop, round, after, limit+1)
	return found[:min(len(found), limit)], len(found) > limit, err
}

// AnswerClaim keeps what the supplier says to a claim. It is said once, before the round is
// settled, and all credit notes of a drop are together not more than it costs.
func (tx *Tx) AnswerClaim(ctx context.Context, id domain.ClaimID, credit [16]byte, a ClaimAnswer) (ClaimRow, error) {
	c, err := tx.claim(ctx, id)
	if err != nil {
		return c, err
	}
	o, err := tx.lockOrder(ctx, c.OrderID)
	if err != nil {
		return c, err
	}
	if c, err = tx.claim(ctx, id); err != nil { // as it is now that nobody else answers it
		return c, err
	}
	switch {
	case c.Number != nil || c.Declined != nil:
		return c, domain.Errorf(domain.Conflict, "already_credited", "this claim was answered already: see what the supplier said")
	case c.Reversed:
		return c, domain.Errorf(domain.Conflict, "already_reversed", "the delivery was reversed, and its claims with it")
	}
	if err := o.Round.Require("a claim is answered", domain.RoundDelivering); err != nil {
		return c, err
	}
	if err := tx.creditable(ctx, &c, &a); err != nil {
		return c, err
	}
	if a.CreditedOn != nil {
		if err := tx.happened(ctx, *a.CreditedOn, "/credited_on"); err != nil {
			return c, err
		}
	}
	const sql = `
		insert into credit (coop_id, id, claim_id, site_id, number, amount, credited_on, declined)
		values ($1, $2, $3, case when own_site($4) then $4::uuid end, $5, $6, $7, $8)`
	tx.queue(sql, tx.coop, credit, id, c.SiteID, a.Number, a.Credited, a.CreditedOn, a.Declined)
	return tx.claim(ctx, id)
}

func (tx *Tx) claim(ctx context.Context, id domain.ClaimID) (ClaimRow, error) {
	c, err := one[ClaimRow](ctx, tx, claimsFrom+` and c.id = $2`, tx.coop, id)
	if errors.Is(err, pgx.ErrNoRows) {
		err = domain.Missing("claim")
	}
	return c, err
}

// creditable refuses credit for more than the drop costs, so that nobody comes to be paid
// for fish.
func (tx *Tx) creditable(ctx context.Context, c *ClaimRow, a *ClaimAnswer) error {
	if a.Credited == nil || c.Kind == domain.ClaimOver {
		return nil
	}
	const sql = `
		select l.goods, l.quantity, coalesce(least(a.allotted, l.quantity), l.quantity) as due, coalesce((
			select sum(k.amount) from credit k join claim c on c.coop_id = k.coop_id and own_site(c.site_id) and c.id = k.claim_id
			where k.coop_id = d.coop_id and own_site(k.site_id) and c.delivery_id = d.id and c.kind <> 'over'), 0)::bigint as credited
		from delivery d
		join purchase_order o on o.coop_id = d.coop_id and o.id = d.order_id
		join order_line l on l.coop_id = d.coop_id and own_site(l.site_id) and l.order_id = d.order_id and l.version = o.version and l.request_id = d.request_id
		left join allotment a on a.coop_id = d.coop_id and own_site(a.site_id) and a.order_id = d.order_id and a.request_id = d.request_id
		where d.coop_id = $1 and own_site(d.site_id) and d.id = $2`
	l, err := one[struct {
		Goods         domain.Money
		Quantity, Due domain.Pieces
		Credited      domain.Money
	}](ctx, tx, sql, tx.coop, c.DeliveryID)
	if err != nil {
		return err
	}
	if left := l.Goods.Part(int64(l.Due), int64(l.Quantity)) - l.Credited; *a.Credited > left {
		currency, err := tx.Currency(ctx)
		if err != nil {
			return err
		}
		return &domain.Error{Kind: domain.Refused, Code: "credit_too_large", Detail: "all credit for one drop is at most what its fish or goods cost, of which " + currency.Format(left) + " is left",
			Fields: []domain.FieldError{{Pointer: "/amount", Detail: "is more than " + currency.Format(left)}}}
	}
	return nil
}
