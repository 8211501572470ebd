package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// flowColumns are the columns of the derived rows that the sums of a period are taken
// from.
const flowColumns = `d.unit, d.left_units, d.left_on, d.first_on, d.closed_on, d.stocked, d.moved_in, d.moved_out, d.dead, d.harvested,
	d.harvest_guessed, d.stocked_mg, d.moved_in_mg, d.moved_out_mg, d.harvested_g, d.unweighed, d.moved_unweighed, d.fed_g,
	d.cost, d.cost_in, d.cost_out, d.unpaid, d.donated, d.cash, d.imputed, d.given, d.sold_g, d.eaten_g, d.given_g, d.discarded_g`

// bookRows is what the registry knew.
type bookRows struct{ dated []datedSiteRow }

// datedSiteRow is a revision of a unit or of equipment.
type datedSiteRow struct {
	Noun      string
	Site      domain.SiteID
	ID        [16]byte
	ValidFrom *domain.Date
	Recorded  time.Time

	Water *domain.Thousandths
	Area  *domain.Thousandths
	Pond  *domain.Thousandths

	Cost       *domain.Money
	Salvage    *domain.Money
	LifeMonths *int32
	InUseFrom  *domain.Date
	RetiredOn  *domain.Date
}

// registryOf queues the reading of what the registry knew of units and equipment.
func (tx *Tx) registryOf(sites []domain.SiteID, known time.Time, into *bookRows) {
	const dated = `
		select noun, site_id as site, id, valid_from, recorded_at as recorded, (facts ->> 'water_volume_l')::bigint as water, (facts ->> 'bed_area_m2')::bigint as area, (facts ->> 'pond_area_m2')::bigint as pond,
			(facts ->> 'cost')::bigint as cost, (facts ->> 'salvage')::bigint as salvage, (facts ->> 'life_months')::integer as life_months,
			(facts ->> 'in_use_from')::date as in_use_from, (facts ->> 'retired_on')::date as retired_on
		from revision
		where coop_id = $1 and own_site(site_id) and site_id = any($2) and noun in ('unit', 'equipment') and recorded_at <= $3
		order by noun, site_id, id, valid_from nulls first, version`
	later(tx, &into.dated, dated, tx.coop, sites, known)
}

// put adds what the registry knew to the books of the sites.
func (r bookRows) put(books map[domain.SiteID]*domain.SiteBooks, p domain.Span) {
	for _, b := range books {
		b.Water, b.Beds, b.Ponds = map[domain.UnitID]domain.Thousandths{}, map[domain.UnitID]domain.Thousandths{}, map[domain.UnitID]domain.Thousandths{}
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
		delete(b.Ponds, domain.UnitID(row.ID))
		if row.Water != nil {
			b.Water[domain.UnitID(row.ID)] = *row.Water
		}
		if row.Area != nil {
			b.Beds[domain.UnitID(row.ID)] = *row.Area
		}
		if row.Pond != nil {
			b.Ponds[domain.UnitID(row.ID)] = *row.Pond
		}
	}
	for site, lines := range depreciation(equipment) {
		books[site].Shared = append(books[site].Shared, lines...)
	}
}

// books reads what the sums of sites in a period are taken from, by what is known now.
// Other entries must not come while it reads: the transaction sees one picture, or is alone.
func (tx *Tx) books(ctx context.Context, sites []domain.SiteID, p domain.Span, known time.Time) (map[domain.SiteID]*domain.SiteBooks, error) {
	books := map[domain.SiteID]*domain.SiteBooks{}
	for _, id := range sites {
		books[id] = &domain.SiteBooks{Site: id, Before: map[domain.BatchID]*domain.BatchState{}, After: map[domain.BatchID]*domain.BatchState{},
			Species: map[domain.BatchID]string{}, Present: domain.NobodyCounted}
	}
	var flows flowRows
	tx.flows(sites, p, &flows)
	var was, is []struct {
		SiteID domain.SiteID
		domain.SiteState
	}
	const own = `
		select s.id as site_id, ` + siteColumns + ` from site s
		cross join lateral (
			select ` + siteColumns + ` from site_day d
			where d.coop_id = s.coop_id and own_site(d.site_id) and d.site_id = s.id and d.day <= $3
			order by d.day desc limit 1) d
		where s.coop_id = $1 and own_site(s.id) and s.id = any($2)`
	later(tx, &was, own, tx.coop, sites, p.From-1)
	later(tx, &is, own, tx.coop, sites, p.To)
	var shared []siteSharedRow
	const costs = `
		select site_id, entry_id, category, occurred_on, covers_from, covers_to, amount from shared_cost
		where coop_id = $1 and own_site(site_id) and site_id = any($2) and occurred_on <= $4 and covers_from <= $4 and greatest(covers_to, occurred_on) >= $3
		and (covers_from <> occurred_on or covers_to <> occurred_on)`
	later(tx, &shared, costs, tx.coop, sites, p.From, p.To)
	var present []struct {
		SiteID  domain.SiteID
		Present domain.Present
	}
	const counted = `
		select s.id as site_id, d.present from site s
		cross join lateral (
			select present from site_day d
			where d.coop_id = s.coop_id and own_site(d.site_id) and d.site_id = s.id and d.day between $3 and $4 and d.present_on = d.day) d
		where s.coop_id = $1 and own_site(s.id) and s.id = any($2)`
	later(tx, &present, counted, tx.coop, sites, p.From, p.To)
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
	flows.put(books)
	for i := range was {
		books[was[i].SiteID].Was = was[i].SiteState
	}
	for i := range is {
		books[is[i].SiteID].Is = is[i].SiteState
	}
	for _, c := range shared {
		books[c.SiteID].Shared = append(books[c.SiteID].Shared, c.cost())
	}
	for _, c := range present {
		b := books[c.SiteID]
		b.Present = b.Present.Largest(c.Present)
	}
	for _, l := range last {
		books[l.SiteID].Recorded, books[l.SiteID].LastOn = true, l.LastOn
	}
	registry.put(books, p)
	return books, nil
}

// flowRows are the states of batches before a period and at its end.
type flowRows struct {
	before, latest, after []siteBatchRow
	species               []struct {
		ID      domain.BatchID
		SiteID  domain.SiteID
		Species string
	}
	from domain.Date
}

// flows queues the reading of the states of batches before a period and at its end. The
// latest state of a batch is read by its key; only one of a day before that is looked for.
// A batch that was closed before the period, and of which nothing was told since, is left
// out: nothing of it is in the period.
func (tx *Tx) flows(sites []domain.SiteID, p domain.Span, into *flowRows) {
	into.from = p.From
	read := func(rows *[]siteBatchRow, sql string, args ...any) {
		tx.queue(sql, args...).Query(func(found pgx.Rows) (err error) {
			*rows, err = rowsTo[siteBatchRow](found, true)
			return err
		})
	}
	const latest = `
		select d.site_id, d.batch_id, d.day, ` + flowColumns + ` from batch_sum d
		where d.coop_id = $1 and own_site(d.site_id) and d.site_id = any($2) and d.day <= $4 and (d.day >= $3 or d.closed_on is null)`
	const earlier = `
		select d.site_id, d.batch_id, d.day, ` + flowColumns + ` from batch_sum s
		cross join lateral (
			select * from batch_day d
			where d.coop_id = s.coop_id and own_site(d.site_id) and d.batch_id = s.batch_id and d.day < $3
			order by d.day desc limit 1) d
		where s.coop_id = $1 and own_site(s.site_id) and s.site_id = any($2) and s.day >= $3`
	read(&into.latest, latest, tx.coop, sites, p.From, p.To)
	read(&into.after, earlier, tx.coop, sites, p.To+1)
	read(&into.before, earlier, tx.coop, sites, p.From)
	later(tx, &into.species, `select id, site_id, species from batch where coop_id = $1 and own_site(site_id) and site_id = any($2)`, tx.coop, sites)
}

// put adds the states to the books of the sites.
func (r *flowRows) put(books map[domain.SiteID]*domain.SiteBooks) {
	for i := range r.before {
		d := &r.before[i]
		books[d.SiteID].Before[d.BatchID] = &d.BatchState
	}
	for i := range r.after {
		d := &r.after[i]
		books[d.SiteID].After[d.BatchID] = &d.BatchState
	}
	for i := range r.latest {
		d := &r.latest[i]
		books[d.SiteID].After[d.BatchID] = &d.BatchState
		if d.Day < r.from {
			books[d.SiteID].Before[d.BatchID] = &d.BatchState
		}
	}
	for _, b := range r.species {
		books[b.SiteID].Species[b.ID] = b.Species
	}
}

// booksKnown is books by what was known at a moment: the journal of every site is folded
// again.
func (tx *Tx) booksKnown(ctx context.Context, sites []domain.SiteID, p domain.Span, known time.Time) (map[domain.SiteID]*domain.SiteBooks, error) {
	books := map[domain.SiteID]*domain.SiteBooks{}
	var registry bookRows
	tx.registryOf(sites, known, &registry)
	for _, id := range sites {
		entries, facts, err := tx.journalKnown(ctx, id, known, p.To)
		if err != nil {
			return nil, err
		}
		if books[id], err = domain.BooksOf(id, entries, facts.facts(), p); err != nil {
			return nil, fmt.Errorf("the journal of site %s does not fold: %w", id, err)
		}
	}
	registry.put(books, p)
	return books, nil
}
