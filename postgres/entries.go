package postgres

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"shoalbook/domain"
)

// RecordedEntry is an entry as it stands in the journal.
type RecordedEntry struct {
	ID         domain.EntryID
	OccurredOn domain.Date
	Entry      []byte // as its sender would write it
	RecordedAt time.Time
	RecordedBy string
	Device     *string         // what its sender called the device it was sent from
	Value      *domain.Money   // of what was sent or received, fixed then
	ReversedBy *domain.EntryID // nil: it stands
}

type recordedRow struct {
	entryRow
	Device     *string
	Value      *domain.Money
	ReversedBy *domain.EntryID
}

const recordedColumns = `e.id, e.site_id, e.kind, e.occurred_on, e.occurred_at, e.note, e.body, e.recorded_at, e.recorded_by, e.device, e.value, r.id as reversed_by`

func (r recordedRow) recorded() RecordedEntry {
	return RecordedEntry{ID: r.ID, OccurredOn: r.OccurredOn, Entry: domain.JoinEntry(r.ID, r.Kind, r.SiteID, r.OccurredOn, r.OccurredAt, r.Note, r.Body),
		RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy, Device: r.Device, Value: r.Value, ReversedBy: r.ReversedBy}
}

// Entry reads one entry of the journal.
func (tx *Tx) Entry(ctx context.Context, id domain.EntryID) (RecordedEntry, error) {
	const sql = `
		select ` + recordedColumns + ` from entry e
		left join entry r on r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id
		where e.coop_id = $1 and own_site(e.site_id) and e.id = $2`
	found, err := all[recordedRow](ctx, tx, sql, tx.coop, id)
	switch {
	case err != nil:
		return RecordedEntry{}, err
	case len(found) == 0:
		return RecordedEntry{}, domain.Missing("entry")
	}
	return found[0].recorded(), nil
}

// EntryFilter chooses entries; what is nil chooses all.
type EntryFilter struct {
	Site  *domain.SiteID
	Batch *domain.BatchID
	// With Batch: also what is about its whole site and no batch.
	IncludeSite bool
	Product     *domain.ProductID
	Unit        *domain.UnitID
	Party       *domain.PartyID
	Kinds       []string
	From, To    *domain.Date
	AfterOn     *domain.Date // with AfterID: only entries behind this one
	AfterID     domain.EntryID
	Limit       int
}

// Entries lists entries by date and id, and reports whether there are more.
func (tx *Tx) Entries(ctx context.Context, f EntryFilter) ([]RecordedEntry, bool, error) {
	where := []string{}
	args := []any{tx.coop}
	add := func(condition string, values ...any) {
		for _, v := range values {
			args = append(args, v)
			condition = strings.Replace(condition, "?", fmt.Sprintf("$%d", len(args)), 1)
		}
		where = append(where, " and "+condition)
	}
	own := "own_site(e.site_id)"
	if f.Site != nil {
		own = "own_site($2)"
		add("e.site_id = ?", *f.Site)
	}
	switch {
	case f.Batch != nil && f.IncludeSite:
		const site = `(select site_id from batch b where b.coop_id = e.coop_id and own_site(b.site_id) and b.id = ?)`
		add("(e.batch_id = ? or e.to_batch_id = ? or e.batch_id is null and e.site_id = "+site+")", *f.Batch, *f.Batch, *f.Batch)
	case f.Batch != nil:
		add("(e.batch_id = ? or e.to_batch_id = ?)", *f.Batch, *f.Batch)
	}
	if f.Product != nil {
		add("e.product_id = ?", *f.Product)
	}
	if f.Unit != nil {
		add("e.unit_id = ?", *f.Unit)
	}
	if f.Party != nil {
		add("e.party_id = ?", *f.Party)
	}
	if f.Kinds != nil {
		add("e.kind = any(?)", f.Kinds)
	}
	if f.From != nil {
		add("e.occurred_on >= ?", *f.From)
	}
	if f.To != nil {
		add("e.occurred_on <= ?", *f.To)
	}
	if f.AfterOn != nil {
		add("(e.occurred_on, e.id) > (?, ?)", *f.AfterOn, f.AfterID)
	}
	sql := `
		select ` + recordedColumns + ` from entry e
		left join entry r on r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id
		where e.coop_id = $1 and ` + own + strings.Join(where, "") + fmt.Sprintf(`
		order by e.occurred_on, e.id limit %d`, f.Limit+1)
	rows, err := all[recordedRow](ctx, tx, sql, args...)
	if err != nil {
		return nil, false, err
	}
	more := len(rows) > f.Limit
	rows = rows[:min(len(rows), f.Limit)]
	out := make([]RecordedEntry, len(rows))
	for i, r := range rows {
		out[i] = r.recorded()
	}
	return out, more, nil
}

// Target is an entry that is to be reversed: where it is, and the day a reversal of
// it is dated if its sender gives none.
type Target struct {
	Site  domain.SiteID
	Today domain.Date
}

// Target reads where an entry is that is to be reversed. A reversal that is there
// already keeps its day, so that it can be sent again.
func (tx *Tx) Target(ctx context.Context, id, reversal domain.EntryID) (Target, error) {
	const sql = `
		select e.site_id, s.zone, r.occurred_on from entry e
		join site s on s.coop_id = e.coop_id and own_site(s.id) and s.id = e.site_id
		left join entry r on r.coop_id = e.coop_id and own_site(r.site_id) and r.id = $3
		where e.coop_id = $1 and own_site(e.site_id) and e.id = $2`
	found, err := all[struct {
		SiteID     domain.SiteID
		Zone       *string
		OccurredOn *domain.Date
	}](ctx, tx, sql, tx.coop, id, reversal)
	if err != nil {
		return Target{}, err
	}
	if len(found) == 0 {
		return Target{}, domain.Missing("entry")
	}
	t := Target{Site: found[0].SiteID}
	if d := found[0].OccurredOn; d != nil {
		t.Today = *d
		return t, nil
	}
	t.Today, err = today(cmp.Or(deref(found[0].Zone), tx.actor.Zone), tx.actor.At)
	return t, err
}
