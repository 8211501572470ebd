package postgres

import (
	"context"
	"slices"
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

// datedRows are the registry facts of some sites that figures depend on besides the
// journal.
type datedRows struct {
	equipment []equipmentRow
	units     []struct {
		SiteID    domain.SiteID
		ID        domain.UnitID
		ValidFrom *domain.Date
		Water     *domain.Thousandths
	}
	rules []struct {
		ValidFrom *domain.Date
		ShareBy   string
	}
	batches []struct { // which never change
		SiteID  domain.SiteID
		ID      domain.BatchID
		Species string
	}
}

type equipmentRow struct {
	SiteID     domain.SiteID
	ID         domain.EquipmentID
	ValidFrom  *domain.Date
	Cost       domain.Money
	Salvage    domain.Money
	LifeMonths int32
	InUseFrom  domain.Date
	RetiredOn  *domain.Date
}

// datedFacts queues the reading of the dated facts of some sites, by what was known.
func (tx *Tx) datedFacts(sites []domain.SiteID, known time.Time, into *datedRows) {
	const equipment = `
		select site_id, id, valid_from, (facts ->> 'cost')::bigint as cost, (facts ->> 'salvage')::bigint as salvage,
			(facts ->> 'life_months')::integer as life_months, (facts ->> 'in_use_from')::date as in_use_from,
			(facts ->> 'retired_on')::date as retired_on
		from revision
		where coop_id = $1 and own_site(site_id) and noun = 'equipment' and site_id = any($2) and recorded_at <= $3
		order by id, valid_from nulls first, version`
	later(tx, &into.equipment, equipment, tx.coop, sites, known)
	const units = `
		select site_id, id, valid_from, (facts ->> 'water_volume_l')::bigint as water from revision
		where coop_id = $1 and own_site(site_id) and noun = 'unit' and site_id = any($2) and recorded_at <= $3
		order by id, valid_from nulls first, version`
	later(tx, &into.units, units, tx.coop, sites, known)
	const rules = `
		select valid_from, facts ->> 'share_by' as share_by from revision
		where coop_id = $1 and site_id is null and noun = 'coop' and recorded_at <= $2
		order by valid_from nulls first, version`
	later(tx, &into.rules, rules, tx.coop, known)
	later(tx, &into.batches, `select site_id, id, species from batch where coop_id = $1 and own_site(site_id) and site_id = any($2)`, tx.coop, sites)
}

// rule returns how shared cost is shared on a day.
func (d *datedRows) rule(day domain.Date) string {
	rule := domain.ByGramDays
	for _, r := range d.rules {
		if r.ValidFrom == nil || *r.ValidFrom <= day {
			rule = r.ShareBy
		}
	}
	return rule
}

// depreciation returns the depreciation of the equipment of each site, whose rows are in
// the order of the pieces and their days.
func depreciation(rows []equipmentRow) map[domain.SiteID][]domain.SharedCost {
	lines := map[domain.SiteID][]domain.SharedCost{}
	for i := 0; i < len(rows); {
		var history []domain.EquipmentFrom
		site, id := rows[i].SiteID, rows[i].ID
		for ; i < len(rows) && rows[i].ID == id; i++ {
			r := rows[i]
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
		lines[site] = append(lines[site], domain.DepreciationLines(history)...)
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
		if known, ok := tx.store.standings.get(key, *version); ok && known.AsOf == s.AsOf {
			s.Batches, s.Sharing, s.water, s.species = known.Batches, known.Sharing, known.water, known.species
			return s, nil
		}
	}
	if err := tx.standingsLatest(ctx, []*Standing{s}); err != nil {
		return nil, err
	}
	if version != nil {
		tx.store.standings.put(key, *version, len(s.Batches), s)
	}
	return s, nil
}

// siteBatchRow and siteSharedRow are rows of some sites at once.
type (
	siteBatchRow struct {
		SiteID domain.SiteID
		batchRow
	}
	siteSharedRow struct {
		SiteID domain.SiteID
		sharedRow
	}
)

// standingsLatest reads how the batches of some sites stand, each at the end of its day,
// by the latest knowledge.
func (tx *Tx) standingsLatest(ctx context.Context, list []*Standing) error {
	sites, days := make([]domain.SiteID, len(list)), make([]domain.Date, len(list))
	lines := map[domain.SiteID][]domain.SharedCost{}
	by := map[domain.SiteID]*Standing{}
	for i, s := range list {
		sites[i], days[i], by[s.Site] = s.Site, s.AsOf, s
		s.Batches = map[domain.BatchID]*domain.BatchState{}
	}
	var batches []siteBatchRow
	var costs []siteSharedRow
	var dated datedRows
	const states = `
		select b.site_id, d.batch_id, d.day, ` + batchColumns + ` from unnest($2::uuid[], $3::date[]) s (id, as_of)
		join batch b on b.site_id = s.id
		cross join lateral (
			select * from batch_day d
			where d.coop_id = b.coop_id and own_site(d.site_id) and d.batch_id = b.id and d.day <= s.as_of
			order by d.day desc limit 1) d
		where b.coop_id = $1 and own_site(b.site_id)`
	later(tx, &batches, states, tx.coop, sites, days)
	const shared = `
		select c.site_id, entry_id, category, occurred_on, covers_from, covers_to, amount from unnest($2::uuid[], $3::date[]) s (id, as_of)
		join shared_cost c on c.site_id = s.id and c.occurred_on <= s.as_of
		where c.coop_id = $1 and own_site(c.site_id)`
	later(tx, &costs, shared, tx.coop, sites, days)
	tx.datedFacts(sites, forever, &dated)
	if err := tx.flush(ctx); err != nil {
		return err
	}
	for i := range batches {
		by[batches[i].SiteID].Batches[batches[i].BatchID] = &batches[i].BatchState
	}
	for _, c := range costs {
		lines[c.SiteID] = append(lines[c.SiteID], c.cost())
	}
	dated.share(by, lines)
	return nil
}

// standingKnown folds the journal again as it was known.
func (tx *Tx) standingKnown(ctx context.Context, s *Standing) error {
	var dated datedRows
	tx.datedFacts([]domain.SiteID{s.Site}, s.KnownAt, &dated)
	var lines []domain.SharedCost
	site, err := tx.refold(ctx, s.Site, s.KnownAt, s.AsOf, func(*domain.Site) func(domain.Day) {
		return func(day domain.Day) { lines = append(lines, day.Shared...) }
	})
	if err != nil {
		return err
	}
	s.Batches = site.Batches
	dated.share(map[domain.SiteID]*Standing{s.Site: s}, map[domain.SiteID][]domain.SharedCost{s.Site: lines})
	return nil
}

// share adds what the registry says to the standings of sites, and shares out what each
// site spent as a whole.
func (d *datedRows) share(by map[domain.SiteID]*Standing, spent map[domain.SiteID][]domain.SharedCost) {
	for _, s := range by {
		s.water, s.species = map[domain.UnitID]*domain.Thousandths{}, map[domain.BatchID]string{}
	}
	for _, u := range d.units {
		if s := by[u.SiteID]; u.ValidFrom == nil || *u.ValidFrom <= s.AsOf {
			s.water[u.ID] = u.Water
		}
	}
	for _, b := range d.batches {
		by[b.SiteID].species[b.ID] = b.Species
	}
	worn := depreciation(d.equipment)
	for site, s := range by {
		s.Sharing = domain.ShareOut(s.AsOf, d.rule(s.AsOf), slices.Concat(spent[site], worn[site]), s.Batches)
	}
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
