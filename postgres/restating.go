package postgres

import (
	"context"
	"encoding/hex"
	"slices"
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
	changes, err := tx.changesSince(ctx, now.ReportFrame, since, known)
	if err != nil {
		return nil, err
	}
	return &domain.ReportRestates{ID: *r.Restates, SHA256: hex.EncodeToString(sum), KnownAt: was.KnownAt, Reason: *r.Reason,
		Changes: domain.Restate(was, now, changes)}, nil
}

// mostFolded is how many entries are folded to find the changes that moved a figure, which
// takes some seconds. At sites whose turn comes after that all are named that could have.
const mostFolded = 2_000_000

// changesSince reads what has changed at the sites of a report between two moments.
func (tx *Tx) changesSince(ctx context.Context, f domain.ReportFrame, since, until time.Time) ([]domain.SiteChanges, error) {
	sites := make([]domain.SiteID, len(f.Grant.Sites))
	for i, s := range f.Grant.Sites {
		sites[i] = s.ID
	}
	factors, err := f.FactorsOf()
	if err != nil {
		return nil, err
	}
	corrections, facts, err := tx.corrections(ctx, sites, since, until, f.To)
	if err != nil {
		return nil, err
	}
	p := domain.Span{From: f.From, To: f.To}
	var all []domain.SiteChanges
	folded := 0
	for _, s := range f.Grant.Sites {
		c := domain.SiteChanges{Entries: corrections[s.ID]}
		for _, r := range facts[s.ID] {
			c.Facts = append(c.Facts, r.wire())
		}
		n := len(c.Entries) + len(c.Facts)
		if n == 0 {
			continue
		}
		if folded < mostFolded {
			h, err := tx.historyOf(ctx, s.ID, since, until, f.To)
			if err != nil {
				return nil, err
			}
			if folded += n * len(h.entries); folded < mostFolded {
				h.changes(corrections[s.ID], facts[s.ID])
				c.Sums = h.sums(s.SupportUntil, p, factors)
			}
		}
		all = append(all, c)
	}
	return all, nil
}

// history is what of a site was known at two moments, and what came between them.
type history struct {
	site     domain.SiteID
	entries  []domain.Entry // known at either, in the order in which they are folded
	facts    domain.Facts
	registry bookRows
	came     map[domain.EntryID]int // where in the changes is what came
	went     map[domain.EntryID]int // what was reversed
	dated    []int                  // of each row of the registry, -1: it was there
}

func (tx *Tx) historyOf(ctx context.Context, site domain.SiteID, since, until time.Time, to domain.Date) (*history, error) {
	h := &history{site: site, came: map[domain.EntryID]int{}, went: map[domain.EntryID]int{}}
	tx.registryOf([]domain.SiteID{site}, until, &h.registry)
	then, _, err := tx.journalKnown(ctx, site, since, to)
	if err != nil {
		return nil, err
	}
	now, facts, err := tx.journalKnown(ctx, site, until, to)
	if err != nil {
		return nil, err
	}
	h.facts, h.entries = facts.facts(), then
	for _, e := range now {
		if e.RecordedAt.After(since) {
			h.entries = append(h.entries, e)
		}
	}
	domain.SortEntries(h.entries)
	return h, nil
}

// changes says where in a list of changes is what came.
func (h *history) changes(entries []domain.Correction, facts []factRow) {
	for i, c := range entries {
		if c.ReversedBy != nil {
			h.went[c.ID] = i
		} else {
			h.came[c.ID] = i
		}
	}
	for _, row := range h.registry.dated {
		at := slices.IndexFunc(facts, func(f factRow) bool { return f.Noun == row.Noun && f.ID == row.ID && f.RecordedAt.Equal(row.Recorded) })
		if at >= 0 {
			at += len(entries)
		}
		h.dated = append(h.dated, at)
	}
}

// sums returns what works out the sums of the site with a part of the changes.
func (h *history) sums(support *domain.Date, p domain.Span, factors domain.Factors) func([]bool) (domain.SiteSums, bool) {
	type answer struct {
		sums domain.SiteSums
		ok   bool
	}
	known := map[string]answer{}
	return func(with []bool) (domain.SiteSums, bool) {
		key := keyOf(with)
		if a, ok := known[key]; ok {
			return a.sums, a.ok
		}
		var a answer
		if b, err := h.books(with, p); err == nil {
			b.SupportUntil = support
			a = answer{b.Sums(p, factors), true}
		}
		known[key] = a
		return a.sums, a.ok
	}
}

func keyOf(with []bool) string {
	key := make([]byte, len(with))
	for i, is := range with {
		if is {
			key[i] = 1
		}
	}
	return string(key)
}

// books folds the journal with a part of the changes.
func (h *history) books(with []bool, p domain.Span) (*domain.SiteBooks, error) {
	entries := make([]domain.Entry, 0, len(h.entries))
	for _, e := range h.entries {
		if i, ok := h.came[e.ID]; ok && !with[i] {
			continue
		}
		if i, ok := h.went[e.ID]; ok && with[i] {
			continue
		}
		entries = append(entries, e)
	}
	b, err := domain.BooksOf(h.site, entries, h.facts, p)
	if err != nil {
		return nil, err
	}
	var rows bookRows
	for i, row := range h.registry.dated {
		if at := h.dated[i]; at < 0 || with[at] {
			rows.dated = append(rows.dated, row)
		}
	}
	rows.put(map[domain.SiteID]*domain.SiteBooks{h.site: b}, p)
	return b, nil
}

// factRow is a revision of the registry.
type factRow struct {
	SiteID     domain.SiteID
	Noun       string
	ID         [16]byte
	RecordedAt time.Time
}

func (f factRow) wire() domain.ReportFact {
	return domain.ReportFact{Noun: f.Noun, ID: domain.UnitID(f.ID).String(), RecordedAt: f.RecordedAt.UTC().Format(time.RFC3339Nano)}
}

// corrections reads the entries of sites that came between two moments and stand, or stood
// at the first and were reversed by the second, and the facts that changed, by site.
func (tx *Tx) corrections(ctx context.Context, sites []domain.SiteID, since, until time.Time, to domain.Date) (map[domain.SiteID][]domain.Correction, map[domain.SiteID][]factRow, error) {
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
	var changed []factRow
	const facts = `
		select site_id, noun, id, recorded_at from revision
		where coop_id = $1 and own_site(site_id) and site_id = any($2) and noun in ('unit', 'equipment') and recorded_at > $3 and recorded_at <= $4
		order by recorded_at, id`
	later(tx, &changed, facts, tx.coop, sites, since, until)
	if err := tx.flush(ctx); err != nil {
		return nil, nil, err
	}
	corrections, bySite := map[domain.SiteID][]domain.Correction{}, map[domain.SiteID][]factRow{}
	for _, r := range rows {
		e, err := r.entry(currency)
		if err != nil {
			return nil, nil, err
		}
		corrections[e.Site] = append(corrections[e.Site], domain.Correction{Entry: e, ReversedBy: r.ReversedBy, ReversedAt: r.ReversedAt})
	}
	for _, c := range changed {
		bySite[c.SiteID] = append(bySite[c.SiteID], c)
	}
	return corrections, bySite, nil
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
