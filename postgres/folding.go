package postgres

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"shoalbook/domain"
)

// folding takes the items of one site into its journal.
type folding struct {
	*recorder
	*siteWork
	base     domain.Date // what is folded begins on this day
	states   states      // and goes on from these; not if all items come in time
	journal  []domain.Entry
	accepted []*item
	site     *domain.Site
	days     []dayRows
	refolded bool
}

func (f *folding) run(ctx context.Context) error {
	if f.timely() {
		err := f.fold(f.items)
		if err == nil {
			f.accepted = f.items
			f.save()
			return nil
		}
		if len(f.items) == 1 {
			return f.refuseOrFail(f.items[0], err)
		}
	}
	return f.late(ctx)
}

// timely reports whether all items come after everything that is folded, so that
// the latest states are what they go on from.
func (f *folding) timely() bool {
	first := &f.items[0].entry
	end, any := f.head.position()
	f.base = domain.Date(1 << 20)
	for _, it := range f.items {
		if it.target != nil {
			return false
		}
	}
	if !any {
		return true
	}
	if first.Position().Compare(end) < 0 {
		return false
	}
	if first.On == end.On {
		// Medicine reaches what was harvested, moved or sent on the same day.
		if slices.ContainsFunc(f.items, func(it *item) bool { return it.entry.On == end.On && it.entry.Body.Kind() == "treatment" }) {
			return false
		}
		// A batch that was emptied on the day counts again when more happens on it.
		for _, b := range f.last.Batches {
			if b.ClosedOn != nil && *b.ClosedOn == end.On {
				return false
			}
		}
	}
	return true
}

// late takes items that change the past: everything from the first of their days on
// is folded again.
func (f *folding) late(ctx context.Context) error {
	f.refolded = true
	f.base = f.items[0].entry.On
	for _, it := range f.items {
		if it.target != nil {
			f.base = min(f.base, it.target.OccurredOn)
		}
	}
	var j journal
	f.tx.statesBefore(f.id, f.base, &f.states)
	f.tx.journalFrom(f.id, f.base, forever, &j)
	if err := f.tx.flush(ctx); err != nil {
		return err
	}
	var err error
	if f.journal, err = j.decode(f.currency); err != nil {
		return err
	}
	if err := f.accept(f.items); err != nil || len(f.accepted) == 0 {
		return err
	}
	if len(f.accepted) < len(f.items) { // the last that was tried may be one that was refused
		if err := f.fold(f.accepted); err != nil {
			return err
		}
	}
	f.save()
	return nil
}

// accept takes the items that fit with those accepted already, in their order: all
// of them at once or else each half by itself, down to the ones that do not fit.
func (f *folding) accept(items []*item) error {
	err := f.fold(slices.Concat(f.accepted, items))
	if unfit, ok := errors.AsType[*domain.Unfit](err); ok && len(items) == 1 && f.yield(unfit) {
		return f.accept(items)
	}
	switch {
	case err == nil:
		f.accepted = slices.Concat(f.accepted, items)
		return nil
	case len(items) == 1:
		return f.refuseOrFail(items[0], err)
	}
	half := len(items) / 2
	if err := f.accept(items[:half]); err != nil {
		return err
	}
	return f.accept(items[half:])
}

// yield refuses an accepted harvest, if it is what does not fit: medicine that is
// recorded with it was given, whatever comes of the fish. It reports whether it did.
func (f *folding) yield(unfit *domain.Unfit) bool {
	i := slices.IndexFunc(f.accepted, func(it *item) bool { return it.entry.ID == unfit.Entry })
	var refusal *domain.Error
	if i < 0 || !errors.As(unfit, &refusal) || refusal.Code != "in_withdrawal" {
		return false
	}
	f.refuse(f.accepted[i], refusal)
	f.accepted = slices.Delete(slices.Clone(f.accepted), i, i+1)
	return true
}

// fold folds the journal from the base on, with the items in it.
func (f *folding) fold(items []*item) error {
	reversed := map[domain.EntryID]bool{}
	entries := slices.Clone(f.journal)
	for _, it := range items {
		if it.target != nil {
			if err := f.reversible(it, reversed); err != nil {
				return err
			}
			reversed[it.target.ID] = true
		}
		if it.arriving != nil {
			if err := f.receivable(it); err != nil {
				return err
			}
			it.entry.Fixed = it.arriving.consignment()
		}
		entry := it.entry
		entry.Fresh = true
		entries = append(entries, entry)
	}
	entries = slices.DeleteFunc(entries, func(e domain.Entry) bool { return reversed[e.ID] })
	domain.SortEntries(entries)
	if f.refolded {
		f.site = domain.NewSite(f.id, f.last.Facts)
		f.states.put(f.site) // which copies them, so that they can be folded on again
	} else {
		f.site = copied(f.last)
	}
	f.site.Facts.Prices = f.prices
	f.days = f.days[:0]
	if err := f.site.Fold(entries, keep(f.site, &f.days)); err != nil {
		return err
	}
	for _, it := range items { // what was sent has a value now
		if _, ok := it.entry.Body.(domain.Sent); ok {
			i := slices.IndexFunc(entries, func(e domain.Entry) bool { return e.ID == it.entry.ID })
			it.entry.Fixed = entries[i].Fixed
		}
	}
	return nil
}

func (f *folding) reversible(it *item, reversed map[domain.EntryID]bool) error {
	t := it.target
	switch {
	case t.Kind == "reversal":
		return cannotReverse("not_reversible", "a reversal cannot be reversed: record what is right as a new entry")
	case t.ReversedBy != nil || reversed[t.ID]:
		return cannotReverse("already_reversed", "the entry is reversed already: if that was wrong, record it as a new entry")
	case t.ReceivedID != nil:
		return cannotReverse("not_reversible", "what was sent has been received: its receipt must be reversed there first")
	}
	return nil
}

func cannotReverse(code, detail string) *domain.Error {
	return &domain.Error{Kind: domain.Refused, Code: code, Detail: detail, Fields: []domain.FieldError{{Pointer: "/reverses_id", Detail: "cannot be reversed"}}}
}

func (f *folding) receivable(it *item) error {
	switch c := it.arriving; {
	case c.ToSiteID != f.id:
		return &domain.Error{Kind: domain.Refused, Code: "unknown_reference", Detail: "nothing was sent to this site under that id: look at the id",
			Fields: []domain.FieldError{{Pointer: "/sent_id", Detail: "is not on its way to this site"}}}
	case c.ReceivedID != nil:
		return &domain.Error{Kind: domain.Refused, Code: "unknown_reference", Detail: "this has been received already: if that was a mistake, reverse that entry first",
			Fields: []domain.FieldError{{Pointer: "/sent_id", Detail: "is not on its way any more"}}}
	case it.entry.On < c.SentOn:
		return domain.Refuse("before_batch", "it was sent on %s, so it cannot have arrived on %s", c.SentOn, it.entry.On)
	}
	return nil
}

// refuseOrFail notes a refusal; any other error is a failure of ours.
func (f *folding) refuseOrFail(it *item, err error) error {
	var refusal *domain.Error
	if !errors.As(err, &refusal) {
		return err
	}
	if unfit, ok := errors.AsType[*domain.Unfit](err); ok && unfit.Entry != it.entry.ID {
		refusal = domain.Errorf(refusal.Kind, refusal.Code, "after this the %s of %s would no longer fit (%s): look at the dates and counts, or reverse that entry first", unfit.Kind, unfit.On, refusal.Detail)
	}
	f.refuse(it, refusal)
	return nil
}

// save queues everything that the accepted items change.
func (f *folding) save() {
	f.insert()
	if f.refolded {
		f.tx.clearFrom(f.id, f.base)
	}
	f.tx.saveDays(f.id, f.days)
	f.advance()
	key, version, state := siteKey{f.tx.coop, f.id}, *f.head.Version+1, f.site
	f.tx.kept = append(f.tx.kept, func() { f.tx.store.states.put(key, version, len(state.Batches), state) })
	f.site.Facts.Prices = nil // it is remembered without
	doubts := f.doubts()
	for _, it := range f.accepted {
		switch b := it.entry.Body.(type) {
		case domain.Sent:
			f.send(it, b)
		case domain.Received:
			f.tx.queue(`update transit set received_id = $3, received_on = $4 where coop_id = $1 and own_site(to_site_id) and sent_id = $2`, f.tx.coop, b.Sent, it.entry.ID, it.entry.On)
		case domain.Reversal:
			switch it.target.Kind {
			case "sent":
				f.tx.queue(`update transit set reversed = true where coop_id = $1 and own_site(from_site_id) and sent_id = $2`, f.tx.coop, it.target.ID)
			case "received":
				f.tx.queue(`update transit set received_id = null, received_on = null where coop_id = $1 and own_site(to_site_id) and sent_id = $2`, f.tx.coop, it.target.SentID)
			}
		}
		if it.index < 0 || slices.ContainsFunc(f.held, func(h heldRow) bool { return h.ID == it.entry.ID }) {
			f.tx.queue(`delete from held where coop_id = $1 and own_site(site_id) and id = $2`, f.tx.coop, it.entry.ID)
		}
		if it.index >= 0 {
			f.out[it.index].Status = "created"
			f.out[it.index].Questions = doubts(it)
		}
	}
}

// insert queues the rows of the journal.
func (f *folding) insert() {
	const sql = `
		insert into entry (coop_id, site_id, id, kind, occurred_on, occurred_at, rank, batch_id, to_batch_id, product_id,
			unit_id, party_id, owed, reverses_id, value, note, body, digest)
		values ($1, case when own_site($2) then $2::uuid end, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)`
	// What was held is by the one who sent it, not by the one whose entry made it fit.
	const held = `
		insert into entry (coop_id, site_id, id, kind, occurred_on, occurred_at, rank, batch_id, to_batch_id, product_id,
			unit_id, party_id, owed, reverses_id, value, note, body, digest, recorded_by, token_id, device)
		select $1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, recorded_by, token_id, device
		from held where coop_id = $1 and own_site(site_id) and id = $3`
	for _, it := range f.accepted {
		e := &it.entry
		refs := e.Body.Refs()
		var reverses *domain.EntryID
		if it.target != nil {
			reverses = &it.target.ID
		}
		var value *domain.Money
		if e.Fixed != nil {
			value = &e.Fixed.Value
		}
		statement := sql
		if it.index < 0 {
			statement = held
		}
		f.tx.queue(statement, f.tx.coop, f.id, e.ID, e.Body.Kind(), e.On, e.At, e.Position().Rank, refs.Batch, refs.ToBatch, refs.Product,
			refs.Unit, refs.Party, refs.Owed, reverses, value, e.Note, it.body, it.digest[:])
	}
}

func (f *folding) send(it *item, b domain.Sent) {
	const sql = `
		insert into transit (coop_id, sent_id, from_site_id, to_site_id, sent_on, batch_id, product_id, fish, weight, quantity, value, donated,
			withdraw_until, withdraw_heat)
		values ($1, $2, case when own_site($3) then $3::uuid end, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`
	c := it.entry.Fixed
	f.tx.queue(sql, f.tx.coop, it.entry.ID, f.id, b.ToSite, it.entry.On, c.Batch, c.Product, c.Fish, c.Weight, c.Quantity, c.Value, c.Donated,
		c.WithdrawUntil, c.WithdrawHeat)
	sent := consignmentRow{SentID: it.entry.ID, FromSiteID: f.id, ToSiteID: b.ToSite, SentOn: it.entry.On, BatchID: c.Batch, ProductID: c.Product,
		Fish: c.Fish, Weight: c.Weight, Quantity: c.Quantity, Value: c.Value, Donated: c.Donated,
		WithdrawUntil: c.WithdrawUntil, WithdrawHeat: c.WithdrawHeat}
	for _, w := range f.sites { // it may be received in the same request
		for _, other := range w.items {
			if r, ok := other.entry.Body.(domain.Received); ok && r.Sent == it.entry.ID {
				other.arriving = &sent
			}
		}
	}
}

// advance queues how far the journal of the site is folded now.
func (f *folding) advance() {
	end, any := f.head.position()
	for _, it := range f.accepted {
		if p := it.entry.Position(); it.target == nil && (!any || p.Compare(end) > 0) {
			end, any = p, true
		}
	}
	const sql = `
		update site_head set version = version + 1, last_on = $3, last_rank = $4, last_at = $5, last_id = $6, last_recorded_at = clock_timestamp()
		where coop_id = $1 and own_site($2) and site_id = $2`
	if !any {
		f.tx.queue(sql, f.tx.coop, f.id, nil, nil, nil, nil)
		return
	}
	f.tx.queue(sql, f.tx.coop, f.id, end.On, end.Rank, end.At, end.ID)
}

// doubts queues the keeping of the questions about the entries, and returns those about
// one of them.
func (f *folding) doubts() func(*item) []Doubt {
	about := map[domain.EntryID][]Doubt{}
	for _, q := range f.site.Questions {
		f.tx.keepQuestion(f.id, q)
		about[q.Entry] = append(about[q.Entry], Doubt{q.Code, q.Text})
	}
	return func(it *item) []Doubt {
		list := about[it.entry.ID]
		product := it.entry.Body.Refs().Product
		if product == nil {
			return list
		}
		if st := f.site.Stores[*product]; st != nil && st.BelowSince != nil {
			list = append(list, Doubt{"store_below_zero", fmt.Sprintf("by the book the store has held less than nothing of this product since %s: is a receipt missing?", *st.BelowSince)})
		}
		return list
	}
}

// heldRow is an entry kept outside the journal.
type heldRow struct {
	ID         domain.EntryID
	Kind       string
	OccurredOn domain.Date
	Entry      []byte
	Code       string
	Detail     string
	RecordedAt time.Time
}

func (h heldRow) item(c domain.Currency) (*item, error) {
	e, err := domain.DecodeEntry(h.Entry, c)
	if err != nil {
		return nil, fmt.Errorf("held entry %s: %w", h.ID, err)
	}
	it := &item{index: -1, entry: e, body: domain.EncodeBody(e.Body, c)}
	it.digest = digest(&e, it.body)
	return it, nil
}

// hold queues the keeping of an entry outside the journal, in place of an earlier
// one of the same id.
func (tx *Tx) hold(it *item, why *domain.Error) {
	const sql = `
		insert into held (coop_id, site_id, id, kind, occurred_on, entry, digest, code, detail)
		values ($1, case when own_site($2) then $2::uuid end, $3, $4, $5, $6, $7, $8, $9)
		on conflict (coop_id, id) do update set kind = excluded.kind, occurred_on = excluded.occurred_on, entry = excluded.entry,
			digest = excluded.digest, code = excluded.code, detail = excluded.detail`
	e := &it.entry
	whole := domain.JoinEntry(e.ID, e.Body.Kind(), e.Site, e.On, e.At, e.Note, it.body)
	tx.queue(sql, tx.coop, e.Site, e.ID, e.Body.Kind(), e.On, whole, it.digest[:], why.Code, why.Detail)
}
