package postgres

import (
	"context"
	"time"

	"shoalbook/domain"
)

// Moment says for when figures are wanted. Nil is now: today at the site, and all
// that is known.
type Moment struct {
	AsOf    *domain.Date
	KnownAt *time.Time
}

// Standing is what the figures of a site's batches are computed from.
type Standing struct {
	Site    domain.SiteID
	AsOf    domain.Date
	KnownAt time.Time
	Batches map[domain.BatchID]*domain.BatchState
	Sharing domain.Sharing
	water   map[domain.UnitID]*domain.Thousandths
	species map[domain.BatchID]string

	currency domain.Currency
}

// Measure returns what the figures of one batch are computed from.
func (s *Standing) Measure(id domain.BatchID, explain bool) domain.Measure {
	m := domain.Measure{State: s.Batches[id], AsOf: s.AsOf, Species: s.species[id], Currency: s.currency, Explain: explain}
	if share := s.Sharing.Batches[id]; share != nil {
		m.Share = *share
	}
	if m.State != nil {
		m.Water = s.water[m.State.Unit]
	}
	return m
}

// datedRows are the registry facts that figures depend on besides the journal.
type datedRows struct {
	equipment []equipmentRow
	units     []struct {
		ID        domain.UnitID
		ValidFrom *domain.Date
		Water     *domain.Thousandths
	}
	rules []struct {
		ValidFrom *domain.Date
		ShareBy   string
	}
	batches []struct { // which never change
		ID      domain.BatchID
		Species string
	}
}

type equipmentRow struct {
	ID         domain.EquipmentID
	ValidFrom  *domain.Date
	Cost       domain.Money
	Salvage    domain.Money
	LifeMonths int32
	InUseFrom  domain.Date
	RetiredOn  *domain.Date
}

// datedFacts queues the reading of the dated facts of a site, by what was known.
func (tx *Tx) datedFacts(site domain.SiteID, known time.Time, into *datedRows) {
	const equipment = `
		select id, valid_from, (facts ->> 'cost')::bigint as cost, (facts ->> 'salvage')::bigint as salvage,
			(facts ->> 'life_months')::integer as life_months, (facts ->> 'in_use_from')::date as in_use_from,
			(facts ->> 'retired_on')::date as retired_on
		from revision
		where coop_id = $1 and own_site($2) and noun = 'equipment' and site_id = $2 and recorded_at <= $3
		order by id, valid_from nulls first, version`
	later(tx, &into.equipment, equipment, tx.coop, site, known)
	const units = `
		select id, valid_from, (facts ->> 'water_volume_l')::bigint as water from revision
		where coop_id = $1 and own_site($2) and noun = 'unit' and site_id = $2 and recorded_at <= $3
		order by id, valid_from nulls first, version`
	later(tx, &into.units, units, tx.coop, site, known)
	const rules = `
		select valid_from, facts ->> 'share_by' as share_by from revision
		where coop_id = $1 and site_id is null and noun = 'coop' and recorded_at <= $2
		order by valid_from nulls first, version`
	later(tx, &into.rules, rules, tx.coop, known)
	later(tx, &into.batches, `select id, species from batch where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
}

// rule returns how shared cost is shared on a day.
func (d datedRows) rule(day domain.Date) string {
	rule := domain.ByGramDays
	for _, r := range d.rules {
		if r.ValidFrom == nil || *r.ValidFrom <= day {
			rule = r.ShareBy
		}
	}
	return rule
}

// water returns the water volumes of the units on a day.
func (d datedRows) water(day domain.Date) map[domain.UnitID]*domain.Thousandths {
	litres := map[domain.UnitID]*domain.Thousandths{}
	for _, r := range d.units {
		if r.ValidFrom == nil || *r.ValidFrom <= day {
			litres[r.ID] = r.Water
		}
	}
	return litres
}

// depreciation returns the depreciation of the site's equipment.
func (d datedRows) depreciation() []domain.SharedCost {
	var lines []domain.SharedCost
	for i := 0; i < len(d.equipment); {
		var history []domain.EquipmentFrom
		for id := d.equipment[i].ID; i < len(d.equipment) && d.equipment[i].ID == id; i++ {
			r := d.equipment[i]
			e := domain.EquipmentFrom{Equipment: domain.Equipment{Cost: r.Cost, Salvage: r.Salvage, LifeMonths: r.LifeMonths, InUseFrom: r.InUseFrom, RetiredOn: r.RetiredOn}}
			e.From = r.InUseFrom
			if r.ValidFrom != nil {
				e.From = *r.ValidFrom
			}
			if n := len(history); n > 0 && history[n-1].From >= e.From { // of the same day, the last
				history = history[:n-1]
			}
			history = append(history, e)
		}
		lines = append(lines, domain.DepreciationLines(history)...)
	}
	return lines
}

// Standing reads how the batches of a site stand at a moment. With the version of the
// site, what was asked for before is remembered; nil is not known.
func (tx *Tx) Standing(ctx context.Context, site domain.SiteID, zone *string, version *int64, m Moment) (*Standing, error) {
	day, now, err := tx.dayAt(ctx, zone, m.AsOf)
	if err != nil {
		return nil, err
	}
	s := &Standing{Site: site, AsOf: day, KnownAt: now, currency: tx.actor.Currency}
	if m.KnownAt != nil {
		s.KnownAt = *m.KnownAt
		if s.KnownAt.After(now.Add(-tx.store.settle)) {
			return nil, domain.Errorf(domain.Refused, "not_settled", "entries of the last %s may still be on their way: ask again later, or leave known_at out for the latest", tx.store.settle)
		}
		return s, tx.standingKnown(ctx, s)
	}
	key := siteKey{tx.coop, site}
	if version != nil {
		if known := tx.store.folded.standing(key, *version, s.AsOf); known != nil {
			s.Batches, s.Sharing, s.water, s.species = known.Batches, known.Sharing, known.water, known.species
			return s, nil
		}
	}
	var rows standingRows
	tx.standingLatest(s, &rows)
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	s.fill(&rows)
	if version != nil {
		tx.store.folded.putStanding(key, *version, s)
	}
	return s, nil
}

// standingRows are what is read of a site to see how its batches stand.
type standingRows struct {
	batches []batchRow
	dated   datedRows
	costs   []sharedRow
}

// standingLatest queues the reading of a site by the latest knowledge.
func (tx *Tx) standingLatest(s *Standing, into *standingRows) {
	tx.batchesBefore(s.Site, s.AsOf+1, &into.batches)
	tx.datedFacts(s.Site, forever, &into.dated)
	const shared = `
		select entry_id, category, occurred_on, covers_from, covers_to, amount from shared_cost
		where coop_id = $1 and own_site($2) and site_id = $2 and occurred_on <= $3`
	later(tx, &into.costs, shared, tx.coop, s.Site, s.AsOf)
}

// fill takes what was read.
func (s *Standing) fill(rows *standingRows) {
	s.Batches = map[domain.BatchID]*domain.BatchState{}
	for i := range rows.batches {
		s.Batches[rows.batches[i].BatchID] = &rows.batches[i].BatchState
	}
	lines := rows.dated.depreciation()
	for _, c := range rows.costs {
		lines = append(lines, c.cost())
	}
	s.share(rows.dated, lines)
}

// standingKnown folds the journal again as it was known.
func (tx *Tx) standingKnown(ctx context.Context, s *Standing) error {
	var d datedRows
	tx.datedFacts(s.Site, s.KnownAt, &d)
	lines := []domain.SharedCost{}
	site, err := tx.refold(ctx, s.Site, s.KnownAt, s.AsOf, func(*domain.Site) func(domain.Day) {
		return func(day domain.Day) { lines = append(lines, day.Shared...) }
	})
	if err != nil {
		return err
	}
	s.Batches = site.Batches
	s.share(d, append(lines, d.depreciation()...))
	return nil
}

func (s *Standing) share(d datedRows, lines []domain.SharedCost) {
	s.water = d.water(s.AsOf)
	s.species = map[domain.BatchID]string{}
	for _, b := range d.batches {
		s.species[b.ID] = b.Species
	}
	s.Sharing = domain.ShareOut(s.AsOf, d.rule(s.AsOf), lines, s.Batches)
}

type sharedRow struct {
	EntryID    domain.EntryID
	Category   int16
	OccurredOn domain.Date
	CoversFrom domain.Date
	CoversTo   domain.Date
	Amount     domain.Money
}

func (r sharedRow) cost() domain.SharedCost {
	return domain.SharedCost{Entry: r.EntryID, On: r.OccurredOn, Category: domain.Category(r.Category), From: r.CoversFrom, To: r.CoversTo, Amount: r.Amount}
}

// Performance is the standing of a batch's site, with the batch.
type Performance struct {
	Batch domain.BatchID
	*Standing
}

// Performance reads how a batch stands at a moment.
func (tx *Tx) Performance(ctx context.Context, id domain.BatchID, m Moment) (*Performance, error) {
	const sql = `
		select b.site_id, s.zone, h.version from batch b
		join site s on s.coop_id = b.coop_id and own_site(b.site_id) and s.id = b.site_id
		left join site_head h on h.coop_id = b.coop_id and own_site(b.site_id) and h.site_id = b.site_id
		where b.coop_id = $1 and own_site(b.site_id) and b.id = $2`
	found, err := all[struct {
		SiteID  domain.SiteID
		Zone    *string
		Version *int64
	}](ctx, tx, sql, tx.coop, id)
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, domain.Missing("batch")
	}
	s, err := tx.Standing(ctx, found[0].SiteID, found[0].Zone, found[0].Version, m)
	if err != nil {
		return nil, err
	}
	return &Performance{Batch: id, Standing: s}, nil
}
