package postgres

import (
	"context"
	"encoding/hex"
	"time"

	"shoalbook/domain"
)

// restates says what has become another number since the report that is restated.
func (tx *Tx) restates(ctx context.Context, r domain.Report, now domain.ReportDocument, known time.Time) (*domain.ReportRestates, error) {
	was, sum, err := tx.stored(ctx, *r.Restates)
	if err != nil {
		return nil, err
	}
	since, err := was.Known()
	if err != nil {
		return nil, err
	}
	sites := make([]domain.SiteID, len(now.Grant.Sites))
	for i, s := range now.Grant.Sites {
		sites[i] = s.ID
	}
	corrections, facts, err := tx.corrections(ctx, sites, since, known, now.To)
	if err != nil {
		return nil, err
	}
	return &domain.ReportRestates{ID: *r.Restates, SHA256: hex.EncodeToString(sum), KnownAt: was.KnownAt, Reason: *r.Reason,
		Changes: domain.Restate(was, now, corrections, facts)}, nil
}

// corrections reads the entries of sites that came between two moments and stand, or stood
// at the first and were reversed by the second, and the facts that changed.
func (tx *Tx) corrections(ctx context.Context, sites []domain.SiteID, since, until time.Time, to domain.Date) ([]domain.Correction, []domain.ReportFact, error) {
	currency, err := tx.Currency(ctx)
	if err != nil {
		return nil, nil, err
	}
	type row struct {
		entryRow
		ReversedBy *domain.EntryID
		ReversedAt *time.Time
	}
	const columns = `select e.id, e.site_id, e.kind, e.occurred_on, e.occurred_at, e.note, e.body, e.recorded_at, e.recorded_by, r.id as reversed_by, r.recorded_at as reversed_at`
	const sql = columns + ` from entry e
		left join entry r on r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id and r.recorded_at <= $4
		where e.coop_id = $1 and own_site(e.site_id) and e.recorded_at > $3 and e.recorded_at <= $4 and e.site_id = any($2)
		and e.kind <> 'reversal' and e.occurred_on <= $5 and r.id is null
		union all ` + columns + ` from entry r
		join entry e on e.coop_id = r.coop_id and own_site(e.site_id) and e.id = r.reverses_id
		where r.coop_id = $1 and own_site(r.site_id) and r.recorded_at > $3 and r.recorded_at <= $4 and e.recorded_at <= $3
		and e.site_id = any($2) and e.occurred_on <= $5
		order by occurred_on, id`
	var rows []row
	later(tx, &rows, sql, tx.coop, sites, since, until, to)
	var changed []struct {
		Noun       string
		ID         domain.UnitID
		RecordedAt time.Time
	}
	const facts = `
		select noun, id, recorded_at from revision
		where coop_id = $1 and own_site(site_id) and site_id = any($2) and noun in ('unit', 'equipment') and recorded_at > $3 and recorded_at <= $4
		order by recorded_at, id`
	later(tx, &changed, facts, tx.coop, sites, since, until)
	if err := tx.flush(ctx); err != nil {
		return nil, nil, err
	}
	corrections := make([]domain.Correction, len(rows))
	for i, r := range rows {
		e, err := r.entry(currency)
		if err != nil {
			return nil, nil, err
		}
		corrections[i] = domain.Correction{Entry: e, ReversedBy: r.ReversedBy, ReversedAt: r.ReversedAt}
	}
	wire := make([]domain.ReportFact, len(changed))
	for i, c := range changed {
		wire[i] = domain.ReportFact{Noun: c.Noun, ID: c.ID.String(), RecordedAt: c.RecordedAt.UTC().Format(time.RFC3339Nano)}
	}
	return corrections, wire, nil
}

// replaced marks the report that another one has taken the place of.
func (tx *Tx) replaced(ctx context.Context, by domain.Report) error {
	if by.Restates == nil {
		return nil
	}
	old, err := Reports.Hold(ctx, tx, *by.Restates)
	if err != nil {
		return err
	}
	_, err = Reports.Revise(ctx, tx, old.ID, old.Version, nil, func(f *domain.Report) error {
		f.State = domain.ReportRestated
		return nil
	})
	return err
}

// Restatement begins a report that is to take the place of an issued one.
func (tx *Tx) Restatement(ctx context.Context, id, made domain.ReportID, reason string) (domain.Report, error) {
	old, err := Reports.Hold(ctx, tx, id)
	if err != nil {
		return old, err
	}
	if old.State != domain.ReportIssued {
		return old, domain.Errorf(domain.Conflict, "report_state", "the report is %s: only one that is issued, and not restated yet, can be restated", old.State)
	}
	return Reports.Create(ctx, tx, domain.Report{ID: made, Grant: old.Grant, StartsOn: old.StartsOn, EndsOn: old.EndsOn, Restates: &id, Reason: &reason,
		Title: old.Title, Language: old.Language, Texts: old.Texts, State: domain.ReportDraft})
}
