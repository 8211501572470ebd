package postgres

import (
	"cmp"
	"context"
	"fmt"

	"shoalbook/domain"
)

// Settle fixes who pays what of a round, once everything that was ordered was received and
// every claim answered. Where a drop came to cost something else than its fish were
// stocked at, or its product received at, the entry is reversed and one at the final cost
// takes its place. An entry that somebody has reversed by hand is left alone, and returned.
func (tx *Tx) Settle(ctx context.Context, round *domain.Round, newID func() (domain.EntryID, error), kinds map[string][]domain.Role) ([]domain.LeftAlone, error) {
	lines, err := tx.linesDue(ctx, round.ID)
	if err != nil {
		return nil, err
	}
	if err := complete(lines); err != nil {
		return nil, err
	}
	b := &Bill{Round: *round}
	if err := tx.charge(ctx, b); err != nil {
		return nil, err
	}
	left, err := tx.leftAlone(ctx, lines, final(b.lines))
	if err != nil {
		return nil, err
	}
	const sql = `
		insert into charge (coop_id, round_id, site_id, due, goods, order_fee, drop_fee, route_fee, credit, capped, alone)
		values ($1, $2, case when own_site($3) then $3::uuid end, $4, $5, $6, $7, $8, $9, $10, $11)`
	for _, s := range b.lines.BySite(nil) {
		var alone *domain.Money
		if a, ok := b.Alone[s.Site]; ok {
			alone = &a
		}
		tx.queue(sql, tx.coop, round.ID, s.Site, s.Due, s.Price, s.Fee, s.Drop, s.Route, s.Credit, s.Level, alone)
	}
	return left, tx.restate(ctx, round.Name, lines, final(b.lines), newID, kinds)
}

// final returns what each line costs after all.
func final(charges domain.Charges) map[lineKey]domain.Money {
	cost := map[lineKey]domain.Money{}
	for i := range charges.Lines {
		l := &charges.Lines[i]
		cost[lineKey{l.Order, l.Request}] = l.Total()
	}
	return cost
}

// leftAlone returns the entries of deliveries that somebody has reversed by hand.
func (tx *Tx) leftAlone(ctx context.Context, lines []lineDueRow, cost map[lineKey]domain.Money) ([]domain.LeftAlone, error) {
	of := map[domain.EntryID]*lineDueRow{}
	var ids []domain.EntryID
	for i := range lines {
		if l := &lines[i]; l.EntryID != nil {
			of[*l.EntryID] = l
			ids = append(ids, *l.EntryID)
		}
	}
	const sql = `
		select r.reverses_id, s.name as site, r.recorded_by, r.body ->> 'reason' as reason, (r.body ->> 'replacement_id')::uuid as replacement
		from entry r join site s on s.coop_id = r.coop_id and own_site(s.id) and s.id = r.site_id
		where r.coop_id = $1 and own_site(r.site_id) and r.reverses_id = any($2) order by s.name, r.id limit 1000`
	found, err := all[struct {
		ReversesID  domain.EntryID
		Site        string
		RecordedBy  string
		Reason      string
		Replacement *domain.EntryID
	}](ctx, tx, sql, tx.coop, ids)
	var left []domain.LeftAlone
	for _, f := range found {
		l := of[f.ReversesID]
		left = append(left, domain.LeftAlone{Delivery: *l.DeliveryID, Site: l.SiteID, SiteName: f.Site, Entry: f.ReversesID, Replacement: f.Replacement,
			By: f.RecordedBy, Reason: f.Reason, Cost: cost[lineKey{l.OrderID, l.RequestID}]})
	}
	return left, err
}

// complete refuses to settle a round of which something is still open.
func complete(lines []lineDueRow) error {
	missing, open := 0, int64(0)
	for i := range lines {
		if lines[i].DeliveryID == nil && lines[i].due() > 0 {
			missing++
		}
		open += lines[i].Open
	}
	switch {
	case missing > 0:
		return domain.Refuse("not_all_received", "%d of %d lines of the orders were not received yet: record what came, also where nothing came", missing, len(lines))
	case open > 0:
		return domain.Refuse("claims_open", "%d claims are open: record the credit notes of the suppliers, or that they decline", open)
	}
	return nil
}

// restate puts entries at what their drops cost after all in place of those that have
// another amount.
func (tx *Tx) restate(ctx context.Context, name string, lines []lineDueRow, cost map[lineKey]domain.Money, newID func() (domain.EntryID, error), kinds map[string][]domain.Role) error {
	changed := map[domain.EntryID]*lineDueRow{}
	var ids []domain.EntryID
	for i := range lines {
		if l := &lines[i]; l.EntryID != nil && *l.Amount != cost[lineKey{l.OrderID, l.RequestID}] {
			changed[*l.EntryID] = l
			ids = append(ids, *l.EntryID)
		}
	}
	if len(ids) == 0 {
		return nil
	}
	const sql = `
		select e.id, e.site_id, e.kind, e.occurred_on, e.occurred_at, e.note, e.body, e.recorded_at, e.recorded_by, s.zone
		from entry e join site s on s.coop_id = e.coop_id and own_site(s.id) and s.id = e.site_id
		where e.coop_id = $1 and own_site(e.site_id) and e.id = any($2)
		and not exists (select from entry r where r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id)
		order by e.id`
	found, err := all[struct {
		entryRow
		Zone *string
	}](ctx, tx, sql, tx.coop, ids)
	if err != nil {
		return err
	}
	currency, err := tx.Currency(ctx)
	if err != nil {
		return err
	}
	type update struct {
		delivery domain.DeliveryID
		entry    domain.EntryID
		amount   domain.Money
	}
	var entries []domain.Entry
	var updates []update
	for _, f := range found {
		l := changed[f.ID]
		amount := cost[lineKey{l.OrderID, l.RequestID}]
		pair, err := tx.restated(f.entryRow, f.Zone, amount, name, currency, newID)
		if err != nil {
			return err
		}
		entries = append(entries, pair...)
		updates = append(updates, update{*l.DeliveryID, pair[1].ID, amount})
	}
	outcomes, err := tx.Record(ctx, Recording{Entries: entries, Strict: true, Kinds: kinds})
	for _, o := range outcomes {
		if o.Refusal != nil {
			return domain.Refuse("cost_not_restated", "the cost of a drop cannot be brought up to date in the journal: %s", o.Refusal.Detail)
		}
	}
	for _, u := range updates {
		tx.queue(`update delivery set entry_id = $3, amount = $4 where coop_id = $1 and own_site(site_id) and id = $2`, tx.coop, u.delivery, u.entry, u.amount)
	}
	return err
}

// lineKey names a line: a request may be met by two orders.
type lineKey struct {
	order   domain.OrderID
	request domain.RequestID
}

// restated returns the reversal of an entry and what takes its place.
func (tx *Tx) restated(row entryRow, zone *string, amount domain.Money, name string, currency domain.Currency, newID func() (domain.EntryID, error)) ([]domain.Entry, error) {
	e, err := row.entry(currency)
	if err != nil {
		return nil, err
	}
	e.RecordedBy = ""
	e, ok := domain.Repriced(e, amount)
	if !ok {
		return nil, fmt.Errorf("entry %s of a delivery is a %s", row.ID, row.Kind)
	}
	if e.ID, err = newID(); err != nil {
		return nil, err
	}
	reversal := domain.Entry{Site: row.SiteID, Body: domain.Reversal{Reverses: row.ID, Replacement: &e.ID, Reason: "What it cost when the round " + name + " was settled."}}
	if reversal.ID, err = newID(); err != nil {
		return nil, err
	}
	if reversal.On, err = today(cmp.Or(deref(zone), tx.actor.Zone), tx.actor.At); err != nil {
		return nil, err
	}
	return []domain.Entry{reversal, e}, nil
}
