package postgres

import (
	"context"
	"time"

	"shoalbook/domain"
)

// DeliveryRow is a delivery as it is kept.
type DeliveryRow struct {
	ID           domain.DeliveryID
	OrderID      domain.OrderID
	RequestID    domain.RequestID
	SiteID       domain.SiteID
	UnitID       *domain.UnitID
	BatchID      *domain.BatchID
	EntryID      *domain.EntryID
	OccurredOn   domain.Date
	OccurredAt   *domain.Minute
	Loaded       *domain.Pieces
	Counted      domain.Pieces
	Weight       *domain.Milligrams
	SampleCount  *domain.Fish
	SampleWeight *domain.Milligrams
	CVPercent    *domain.Thousandths // as measured, else as quoted
	Dead         domain.Pieces
	MeanWeight   *domain.Milligrams
	Condition    *string
	ReceivedBy   string
	Note         *string
	Amount       domain.Money
	RecordedAt   time.Time
	RecordedBy   string
	ReversedAt   *time.Time
	ReversedBy   *string
	Reason       *string
}

// CountError returns the standard error of a count by weight, in fish; nil where they were
// counted, or nobody knows how their weights vary.
func (d *DeliveryRow) CountError() *float64 {
	if d.SampleCount == nil || d.CVPercent == nil {
		return nil
	}
	return domain.CountError(d.Counted, *d.CVPercent, *d.SampleCount)
}

const deliveryColumns = `
	d.id, d.order_id, d.request_id, d.site_id, d.unit_id, d.batch_id, d.entry_id, d.occurred_on, d.occurred_at, d.loaded, d.counted, d.weight,
	d.sample_count, d.sample_weight, case when d.weight is not null then coalesce(d.cv_percent, o.weight_cv_percent) end as cv_percent, d.dead,
	d.mean_weight, d.condition, d.received_by, d.note, d.amount, d.recorded_at, d.recorded_by, d.reversed_at, d.reversed_by, d.reason`

// Deliveries returns those of an order, in the order of their ids, a page of them.
func (tx *Tx) Deliveries(ctx context.Context, order domain.OrderID, after *domain.DeliveryID, limit int) (found []DeliveryRow, more bool, err error) {
	if _, err := tx.order(ctx, order); err != nil {
		return nil, false, err
	}
	const sql = `
		select ` + deliveryColumns + `
		from delivery d join purchase_order o on o.coop_id = d.coop_id and o.id = d.order_id
		where d.coop_id = $1 and own_site(d.site_id) and d.order_id = $2 and ($3::uuid is null or d.id > $3) order by d.id limit $4`
	found, err = all[DeliveryRow](ctx, tx, sql, tx.coop, order, after, limit+1)
	return found[:min(len(found), limit)], len(found) > limit, err
}

// DeliveriesByID returns some deliveries in the order of their ids.
func (tx *Tx) DeliveriesByID(ctx context.Context, ids ...domain.DeliveryID) ([]DeliveryRow, error) {
	const sql = `
		select ` + deliveryColumns + `
		from delivery d join purchase_order o on o.coop_id = d.coop_id and o.id = d.order_id
		where d.coop_id = $1 and own_site(d.site_id) and d.id = any($2) order by d.id`
	return all[DeliveryRow](ctx, tx, sql, tx.coop, ids)
}

// order reads an order without keeping its round.
func (tx *Tx) order(ctx context.Context, id domain.OrderID) (domain.RoundID, error) {
	found, err := all[struct{ RoundID domain.RoundID }](ctx, tx, `select round_id from purchase_order where coop_id = $1 and id = $2`, tx.coop, id)
	if err == nil && len(found) == 0 {
		err = domain.Missing("order")
	}
	if err != nil {
		return domain.RoundID{}, err
	}
	return found[0].RoundID, nil
}

// ReverseDelivery takes a delivery back, with the entry that came of it: what it was for
// can be received anew. What the supplier has answered a claim for stays.
func (tx *Tx) ReverseDelivery(ctx context.Context, id domain.DeliveryID, reason string, entry domain.EntryID, kinds map[string][]domain.Role) error {
	rows, err := tx.DeliveriesByID(ctx, id)
	if err != nil {
		return err
	}
	if len(rows) == 0 {
		return domain.Missing("delivery")
	}
	o, err := tx.lockOrder(ctx, rows[0].OrderID)
	if err != nil {
		return err
	}
	const sql = `
		select d.reversed_by, d.entry_id, r.id as undone, exists (
			select from claim c join credit k on k.coop_id = c.coop_id and own_site(k.site_id) and k.claim_id = c.id
			where c.coop_id = d.coop_id and own_site(c.site_id) and c.delivery_id = d.id) as answered
		from delivery d
		left join entry r on r.coop_id = d.coop_id and own_site(r.site_id) and r.reverses_id = d.entry_id
		where d.coop_id = $1 and own_site(d.site_id) and d.id = $2`
	now, err := one[struct {
		ReversedBy *string
		EntryID    *domain.EntryID
		Undone     *domain.EntryID
		Answered   bool
	}](ctx, tx, sql, tx.coop, id)
	switch {
	case err != nil:
		return err
	case now.ReversedBy != nil:
		return domain.Errorf(domain.Conflict, "already_reversed", "this delivery was reversed already by %s", *now.ReversedBy)
	case now.Answered:
		return domain.Errorf(domain.Conflict, "already_credited", "the supplier has answered a claim for this delivery: it stays")
	}
	if err := o.Round.Require("a delivery is reversed", domain.RoundDelivering); err != nil {
		return err
	}
	if now.EntryID != nil && now.Undone == nil {
		if err := tx.undo(ctx, *now.EntryID, entry, reason, nil, kinds); err != nil {
			return err
		}
	}
	const reverse = `
		update delivery set reversed_at = clock_timestamp(), reversed_by = current_actor(), reason = $3
		where coop_id = $1 and own_site(site_id) and id = $2`
	tx.queue(reverse, tx.coop, id, reason)
	return nil
}

// undo reverses an entry, and records what replaces it if there is something.
func (tx *Tx) undo(ctx context.Context, id, reversal domain.EntryID, reason string, replacement *domain.Entry, kinds map[string][]domain.Role) error {
	target, err := tx.Target(ctx, id, reversal)
	if err != nil {
		return err
	}
	body := domain.Reversal{Reverses: id, Reason: reason}
	entries := []domain.Entry{{ID: reversal, Site: target.Site, On: target.Today}}
	if replacement != nil {
		body.Replacement = &replacement.ID
		entries = append(entries, *replacement)
	}
	entries[0].Body = body
	outcomes, err := tx.Record(ctx, Recording{Entries: entries, Strict: true, Kinds: kinds})
	for _, o := range outcomes {
		if o.Refusal != nil {
			refusal := *o.Refusal
			refusal.Fields = nil // they are of no member of the request
			return &refusal
		}
	}
	return err
}
