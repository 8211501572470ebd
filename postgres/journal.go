package postgres

import (
	"context"
	"fmt"
	"time"

	"shoalbook/domain"
)

// entryRow is an entry as it is folded.
type entryRow struct {
	ID         domain.EntryID
	SiteID     domain.SiteID
	Kind       string
	OccurredOn domain.Date
	OccurredAt *domain.Minute
	Note       string
	Body       []byte
	RecordedAt time.Time
	RecordedBy string
}

func (r entryRow) entry(c domain.Currency) (domain.Entry, error) {
	body, err := domain.DecodeBody(r.Kind, r.Body, c)
	if err != nil {
		return domain.Entry{}, fmt.Errorf("entry %s: %w", r.ID, err)
	}
	return domain.Entry{ID: r.ID, Site: r.SiteID, On: r.OccurredOn, At: r.OccurredAt, Note: r.Note, Body: body, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}, nil
}

// consignmentRow is what goes between sites.
type consignmentRow struct {
	SentID     domain.EntryID
	FromSiteID domain.SiteID
	ToSiteID   domain.SiteID
	SentOn     domain.Date
	BatchID    *domain.BatchID
	ProductID  *domain.ProductID
	Fish       domain.Fish
	Weight     *domain.Milligrams
	Quantity   domain.Quantity
	Value      domain.Money
	Donated    domain.Money
	ReceivedID *domain.EntryID
	Reversed   bool

	WithdrawUntil *domain.Date
	WithdrawHeat  int64
}

func (r consignmentRow) consignment() *domain.Consignment {
	return &domain.Consignment{Batch: r.BatchID, Product: r.ProductID, Fish: r.Fish, Weight: r.Weight, Quantity: r.Quantity, Value: r.Value, Donated: r.Donated,
		WithdrawUntil: r.WithdrawUntil, WithdrawHeat: r.WithdrawHeat}
}

const consignmentColumns = `sent_id, from_site_id, to_site_id, sent_on, batch_id, product_id, fish, weight, quantity, value, donated, received_id, reversed,
	withdraw_until, withdraw_heat`

// journal is what is read of a site's journal in order to fold it.
type journal struct {
	entries      []entryRow
	consignments []consignmentRow
}

// forever is a knowledge of everything that was ever recorded.
var forever = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// journalFrom queues the reading of the entries of a site from a day on that stand
// by what was known at an instant: recorded, and not reversed.
func (tx *Tx) journalFrom(site domain.SiteID, from domain.Date, known time.Time, into *journal) {
	const entries = `
		select id, site_id, kind, occurred_on, occurred_at, note, body, recorded_at, recorded_by from entry e
		where coop_id = $1 and own_site($2) and e.site_id = $2 and occurred_on >= $3 and kind <> 'reversal' and recorded_at <= $4
		and not exists (
			select from entry r
			where r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id and r.recorded_at <= $4)`
	later(tx, &into.entries, entries, tx.coop, site, from, known)
	const consignments = `
		select ` + consignmentColumns + ` from transit
		where coop_id = $1 and (own_site(from_site_id) or own_site(to_site_id)) and (from_site_id = $2 or to_site_id = $2)`
	later(tx, &into.consignments, consignments, tx.coop, site)
}

// decode returns the entries, unsorted, with what they sent or received.
func (j journal) decode(c domain.Currency) ([]domain.Entry, error) {
	bySent := map[domain.EntryID]*domain.Consignment{}
	for _, r := range j.consignments {
		bySent[r.SentID] = r.consignment()
	}
	entries := make([]domain.Entry, len(j.entries))
	for i, r := range j.entries {
		e, err := r.entry(c)
		if err != nil {
			return nil, err
		}
		switch b := e.Body.(type) {
		case domain.Sent:
			e.Fixed = bySent[e.ID]
		case domain.Received:
			e.Fixed = bySent[b.Sent]
		}
		entries[i] = e
	}
	return entries, nil
}

// siteFacts are the registry facts of a site that a fold refers to.
type siteFacts struct {
	batches []struct {
		ID       domain.BatchID
		Unit     domain.UnitID
		Species  string
		Archived bool
	}
	units []struct {
		ID               domain.UnitID
		WaterVolumeL     *domain.Thousandths
		DensityLimitKgM3 *domain.Thousandths
	}
	products []struct {
		ID       domain.ProductID
		Category string
		Unit     string
		Stored   bool
	}
	protein []struct {
		ID        domain.ProductID
		ValidFrom *domain.Date
		Percent   *domain.Thousandths
	}
	site   []struct{ AltitudeM *domain.Thousandths }
	limits []domain.WaterLimit
}

// factsOf queues the reading of the facts of a site, by what was known at an instant.
func (tx *Tx) factsOf(site domain.SiteID, known time.Time, into *siteFacts) {
	later(tx, &into.batches, `select id, unit_id as unit, species, archived from batch where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
	later(tx, &into.units, `select id, water_volume_l, density_limit_kg_m3 from unit where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
	later(tx, &into.products, `select id, category, unit, stored from product where coop_id = $1`, tx.coop)
	const protein = `
		select id, valid_from, (facts ->> 'protein_percent')::bigint as percent from revision
		where coop_id = $1 and site_id is null and noun = 'product' and recorded_at <= $2
		order by id, valid_from nulls first, version`
	later(tx, &into.protein, protein, tx.coop, known)
	later(tx, &into.site, `select altitude_m from site where coop_id = $1 and own_site($2) and id = $2`, tx.coop, site)
	tx.limits(&into.limits)
}

func (f siteFacts) facts() domain.Facts {
	out := domain.Facts{Batches: map[domain.BatchID]domain.Batch{}, Units: map[domain.UnitID]domain.Unit{}, Products: map[domain.ProductID]domain.ProductFacts{}}
	for _, b := range f.batches {
		out.Batches[b.ID] = domain.Batch{ID: b.ID, Unit: b.Unit, Species: b.Species, Kept: domain.Kept{Archived: b.Archived}}
	}
	for _, u := range f.units {
		out.Units[u.ID] = domain.Unit{ID: u.ID, WaterVolumeL: u.WaterVolumeL, DensityLimitKgM3: u.DensityLimitKgM3}
	}
	for _, s := range f.site {
		out.AltitudeM = s.AltitudeM
	}
	out.Limits = f.limits
	for _, p := range f.products {
		out.Products[p.ID] = domain.ProductFacts{Category: p.Category, Unit: p.Unit, Stored: p.Stored}
	}
	for _, r := range f.protein {
		p := out.Products[r.ID]
		from := domain.Date(-1 << 31)
		if r.ValidFrom != nil {
			from = *r.ValidFrom
		}
		p.Protein = append(p.Protein, domain.ProteinFrom{From: from, Percent: r.Percent})
		out.Products[r.ID] = p
	}
	return out
}

// refold folds the whole journal of a site as it was known at an instant, up to a day.
func (tx *Tx) refold(ctx context.Context, site domain.SiteID, known time.Time, until domain.Date, endOfDay func(*domain.Site) func(domain.Day)) (*domain.Site, error) {
	entries, facts, err := tx.journalKnown(ctx, site, known, until)
	if err != nil {
		return nil, err
	}
	return foldKnown(site, entries, facts, endOfDay)
}

// journalKnown reads the entries of a site that stood by what was known at an instant, up
// to a day, in the order in which they are folded.
func (tx *Tx) journalKnown(ctx context.Context, site domain.SiteID, known time.Time, until domain.Date) ([]domain.Entry, siteFacts, error) {
	var facts siteFacts
	currency, err := tx.Currency(ctx)
	if err != nil {
		return nil, facts, err
	}
	var j journal
	tx.journalFrom(site, domain.Date(-1<<20), known, &j)
	tx.factsOf(site, known, &facts)
	if err := tx.flush(ctx); err != nil {
		return nil, facts, err
	}
	entries, err := j.decode(currency)
	if err != nil {
		return nil, facts, err
	}
	kept := entries[:0]
	for _, e := range entries {
		if e.On <= until {
			kept = append(kept, e)
		}
	}
	domain.SortEntries(kept)
	return kept, facts, nil
}

func foldKnown(site domain.SiteID, entries []domain.Entry, facts siteFacts, endOfDay func(*domain.Site) func(domain.Day)) (*domain.Site, error) {
	s := domain.NewSite(site, facts.facts())
	var report func(domain.Day)
	if endOfDay != nil {
		report = endOfDay(s)
	}
	if err := s.Fold(entries, report); err != nil {
		return nil, fmt.Errorf("the journal of site %s does not fold: %w", site, err)
	}
	return s, nil
}
