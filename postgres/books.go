package postgres

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// flowColumns are the columns of the derived rows that the sums of a period are taken
// from.
const flowColumns = `d.unit, d.left_units, d.left_on, d.first_on, d.closed_on, d.stocked, d.moved_in, d.moved_out, d.dead, d.harvested,
	d.harvest_guessed, d.stocked_mg, d.moved_in_mg, d.moved_out_mg, d.harvested_g, d.unweighed, d.moved_unweighed, d.fed_g,
	d.cost, d.cost_in, d.cost_out, d.unpaid, d.donated, d.cash, d.imputed, d.given, d.sold_g, d.eaten_g, d.given_g, d.discarded_g`

// bookRows is what is read to take the sums of sites.
type bookRows struct {
	dated  []datedSiteRow
	energy []struct{ ID domain.ProductID }
}

// datedSiteRow is a revision of a unit or of equipment.
type datedSiteRow struct {
	Noun      string
	Site      domain.SiteID
	ID        [16]byte
	ValidFrom *domain.Date

	Water *domain.Thousandths
	Area  *domain.Thousandths

	Cost       *domain.Money
	Salvage    *domain.Money
	LifeMonths *int32
	InUseFrom  *domain.Date
	RetiredOn  *domain.Date
}

// registryOf queues the reading of what the registry knew of units, equipment and
// electricity.
func (tx *Tx) registryOf(sites []domain.SiteID, known time.Time, into *bookRows) {
	const dated = `
		select noun, site_id as site, id, valid_from, (facts ->> 'water_volume_l')::bigint as water, (facts ->> 'bed_area_m2')::bigint as area,
			(facts ->> 'cost')::bigint as cost, (facts ->> 'salvage')::bigint as salvage, (facts ->> 'life_months')::integer as life_months,
			(facts ->> 'in_use_from')::date as in_use_from, (facts ->> 'retired_on')::date as retired_on
		from revision
		where coop_id = $1 and own_site(site_id) and site_id = any($2) and noun in ('unit', 'equipment') and recorded_at <= $3
		order by noun, site_id, id, valid_from nulls first, version`
	later(tx, &into.dated, dated, tx.coop, sites, known)
	const energy = `
		select id from (
			select distinct on (id) id, facts from revision
			where coop_id = $1 and site_id is null and noun = 'product' and recorded_at <= $2
			order by id, version desc) p
		where facts ->> 'category' = 'energy' and facts ->> 'unit' = 'kwh'`
	later(tx, &into.energy, energy, tx.coop, known)
}

// put adds what the registry knew to the books of the sites.
func (r bookRows) put(books map[domain.SiteID]*domain.SiteBooks, p domain.Span) {
	for _, b := range books {
		b.Water, b.Beds = map[domain.UnitID]domain.Thousandths{}, map[domain.UnitID]domain.Thousandths{}
	}
	var equipment []equipmentRow
	for _, row := range r.dated {
		b := books[row.Site]
		if row.Noun == "equipment" {
			equipment = append(equipment, equipmentRow{row.Site, domain.EquipmentID(row.ID), row.ValidFrom,
				*row.Cost, *row.Salvage, *row.LifeMonths, *row.InUseFrom, row.RetiredOn})
			continue
		}
		if row.ValidFrom != nil && *row.ValidFrom > p.To {
			continue
		}
		delete(b.Water, domain.UnitID(row.ID))
		delete(b.Beds, domain.UnitID(row.ID))
		if row.Water != nil {
			b.Water[domain.UnitID(row.ID)] = *row.Water
		}
		if row.Area != nil {
			b.Beds[domain.UnitID(row.ID)] = *row.Area
		}
	}
	for site, lines := range depreciation(equipment) {
		books[site].Shared = append(books[site].Shared, lines...)
	}
}

func (r bookRows) isEnergy(id domain.ProductID) bool {
	return slices.ContainsFunc(r.energy, func(p struct{ ID domain.ProductID }) bool { return p.ID == id })
}

// books reads what the sums of sites in a period are taken from, by what is known now.
// Other entries must not come while it reads: the transaction sees one picture, or is alone.
func (tx *Tx) books(ctx context.Context, sites []domain.SiteID, p domain.Span, known time.Time) (map[domain.SiteID]*domain.SiteBooks, error) {
	currency, err := tx.Currency(ctx)
	if err != nil {
		return nil, err
	}
	books := map[domain.SiteID]*domain.SiteBooks{}
	for _, id := range sites {
		books[id] = &domain.SiteBooks{Site: id, Before: map[domain.BatchID]*domain.BatchState{}, After: map[domain.BatchID]*domain.BatchState{}, Species: map[domain.BatchID]string{}}
	}
	type flowRow struct {
		SiteID  domain.SiteID
		Species string
		batchRow
	}
	var before, after []flowRow
	const states = `
		select b.site_id, b.species, b.id as batch_id, d.day, ` + flowColumns + ` from batch b
		cross join lateral (
			select * from batch_day d
			where d.coop_id = b.coop_id and own_site(d.site_id) and d.batch_id = b.id and d.day <= $3
			order by d.day desc limit 1) d
		where b.coop_id = $1 and own_site(b.site_id) and b.site_id = any($2)`
	flows := func(into *[]flowRow, day domain.Date) {
		tx.queue(states, tx.coop, sites, day).Query(func(rows pgx.Rows) (err error) {
			*into, err = pgx.CollectRows(rows, pgx.RowToStructByNameLax[flowRow])
			return err
		})
	}
	flows(&before, p.From-1)
	flows(&after, p.To)
	var shared []siteSharedRow
	const costs = `
		select site_id, entry_id, category, occurred_on, covers_from, covers_to, amount from shared_cost
		where coop_id = $1 and own_site(site_id) and site_id = any($2) and occurred_on <= $4 and covers_from <= $4 and covers_to >= $3`
	later(tx, &shared, costs, tx.coop, sites, p.From, p.To)
	type countedRow struct {
		SiteID domain.SiteID
		Kind   string
		Body   []byte
	}
	var counted []countedRow
	const counts = `
		select e.site_id, e.kind, e.body from entry e
		where e.coop_id = $1 and own_site(e.site_id) and e.site_id = any($2) and e.occurred_on between $3 and $4
		and (e.kind in ('tally', 'labour', 'crop', 'use') or e.kind = 'water' and e.body ? 'litres_added')
		and not exists (select from entry r where r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id)`
	later(tx, &counted, counts, tx.coop, sites, p.From, p.To)
	var last []struct {
		SiteID domain.SiteID
		LastOn domain.Date
	}
	const recorded = `
		select s.id as site_id, l.occurred_on as last_on from site s
		cross join lateral (
			select e.occurred_on from entry e
			where e.coop_id = s.coop_id and own_site(e.site_id) and e.site_id = s.id and e.occurred_on between $3 and $4 and e.kind <> 'reversal'
			and not exists (select from entry r where r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id)
			order by e.occurred_on desc limit 1) l
		where s.coop_id = $1 and own_site(s.id) and s.id = any($2)`
	later(tx, &last, recorded, tx.coop, sites, p.From, p.To)
	var registry bookRows
	tx.registryOf(sites, known, &registry)
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	for i := range before {
		books[before[i].SiteID].Before[before[i].BatchID] = &before[i].BatchState
	}
	for i := range after {
		b := books[after[i].SiteID]
		b.After[after[i].BatchID], b.Species[after[i].BatchID] = &after[i].BatchState, after[i].Species
	}
	for _, c := range shared {
		books[c.SiteID].Shared = append(books[c.SiteID].Shared, c.cost())
	}
	for _, c := range counted {
		body, err := domain.DecodeBody(c.Kind, c.Body, currency)
		if err != nil {
			return nil, err
		}
		books[c.SiteID].Counts.Add(body, registry.isEnergy)
	}
	for _, l := range last {
		books[l.SiteID].Recorded, books[l.SiteID].LastOn = true, l.LastOn
	}
	registry.put(books, p)
	return books, nil
}

// booksKnown is books by what was known at a moment: the journal of every site is folded
// again.
func (tx *Tx) booksKnown(ctx context.Context, sites []domain.SiteID, p domain.Span, known time.Time) (map[domain.SiteID]*domain.SiteBooks, error) {
	books := map[domain.SiteID]*domain.SiteBooks{}
	var registry bookRows
	tx.registryOf(sites, known, &registry)
	for _, id := range sites {
		b := &domain.SiteBooks{Site: id, Before: map[domain.BatchID]*domain.BatchState{}, Species: map[domain.BatchID]string{}}
		books[id] = b
		entries, facts, err := tx.journalKnown(ctx, id, known, p.To)
		if err != nil {
			return nil, err
		}
		site, err := foldKnown(id, entries, facts, func(s *domain.Site) func(domain.Day) {
			return func(day domain.Day) {
				b.Shared = append(b.Shared, day.Shared...)
				if day.On >= p.From {
					return
				}
				for batch := range day.Batches {
					state := *s.Batches[batch]
					b.Before[batch] = &state
				}
			}
		})
		if err != nil {
			return nil, err
		}
		b.After = site.Batches
		for batch, f := range site.Facts.Batches {
			b.Species[batch] = f.Species
		}
		for i := range entries {
			if e := &entries[i]; p.Holds(e.On) {
				b.Recorded, b.LastOn = true, max(b.LastOn, e.On)
				b.Counts.Add(e.Body, registry.isEnergy)
			}
		}
	}
	registry.put(books, p)
	return books, nil
}
