package postgres

import (
	"fmt"
	"reflect"
	"strings"

	"shoalbook/domain"
)

// The columns of the derived tables are the fields of the states, in their order.
const (
	batchColumns = `unit, left_units, left_on, first_on, closed_on, counted_on, harvest_on, stocked, moved_in, moved_out, dead,
		harvested, unaccounted, harvest_guessed, stocked_mg, moved_in_mg, moved_out_mg, dead_mg,
		harvested_g, unweighed, moved_in_unweighed, moved_unweighed, dead_guessed, dead_unweighed, mean_mg, mean_fish,
		weighed_on, start_mg, start_fish, measured_on, measured_mg, measured_fish, measured_fed_g, measured_protein,
		measured_gain_mg, measured_dead_mg, measured_heat, measured_heat_days,
		weigh_on, weigh_mg, weigh_fish, weigh_cv, weigh_heat, weigh_heat_days, length_cm, length_type,
		length_mean_mg, suppliers, feeds, feeds_g, fed_g, fed_protein, fed_blind_g, fed_days, fed_on, fed_day_g, fed_before, energy_wh, risk_on, at_risk,
		risk_dead, risk_guessed, risk_guessed_mg, survival_before, survival_at, dead_on, dead_days,
		apart_until, apart_dead, apart_fish, watched_on, watch, alarm_on, signal_on, alarm_dead, gram_days, gram_days_guessed, path, heat_through, heat,
		heat_days, cost, cost_in, cost_out, unpaid, donated, cash, imputed, given, sold_g, eaten_g,
		given_g, discarded_g, last_g, last_fish, harvest_heat, harvest_heat_days,
		treated_on, withdraw_until, withdraw_heat, early_g, overridden_g, kept_g`
	storeColumns = `balance, value, donated_v, received, arrived, fed, used, sent, lost, spent, revaluation,
		unit_value, unit_quantity, counted_on, below_since`
	unitColumns = `temperature_on, temperature_sum, readings, read_on, read_value, was_on, was_value`
	siteColumns = `counted, told, day_costs, present_on, present`
)

// columnsOf lists columns with the table they are of.
func columnsOf(table, columns string) string {
	return table + "." + strings.Join(words(columns), ", "+table+".")
}

// The rows of the derived tables.
type (
	batchRow struct {
		BatchID domain.BatchID
		Day     domain.Date
		domain.BatchState
	}
	storeRow struct {
		ProductID domain.ProductID
		Day       domain.Date
		domain.StoreState
	}
	unitRow struct {
		UnitID domain.UnitID
		Day    domain.Date
		domain.UnitState
	}
	siteRow struct {
		Day domain.Date
		domain.SiteState
	}
)

var (
	upsertBatchDay = upsert("batch_day", "coop_id, batch_id, day", "batch_id, day", batchColumns)
	upsertBatchSum = upsert("batch_sum", "coop_id, batch_id", "batch_id", "day, "+batchColumns)
	upsertStoreDay = upsert("store_day", "coop_id, site_id, product_id, day", "product_id, day", storeColumns)
	upsertUnitDay  = upsert("unit_day", "coop_id, unit_id, day", "unit_id, day", unitColumns)
	upsertSiteDay  = upsert("site_day", "coop_id, site_id, day", "day", siteColumns)
)

// words splits a list of columns.
func words(list string) []string {
	return strings.FieldsFunc(list, func(r rune) bool { return strings.ContainsRune(", \n\t", r) })
}

// upsert writes the statement that puts one derived row of a site in its place.
func upsert(table, key, names, columns string) string {
	values := words(names + ", " + columns)
	sets := words(columns)
	for i, c := range sets {
		sets[i] = c + " = excluded." + c
	}
	return fmt.Sprintf(`
		insert into %s (coop_id, site_id, %s) values ($1, case when own_site($2) then $2::uuid end, %s)
		on conflict (%s) do update set %s`,
		table, strings.Join(values, ", "), strings.Join(placeholders(3, len(values)), ", "), key, strings.Join(sets, ", "))
}

// fields returns the values of a state in the order of its columns.
func fields(state any, before ...any) []any {
	v := reflect.ValueOf(state).Elem()
	for i := range v.NumField() {
		f := v.Field(i).Interface()
		switch s := f.(type) { // an empty list is not null
		case []int64:
			if s == nil {
				f = []int64{}
			}
		case []float64:
			if s == nil {
				f = []float64{}
			}
		case []domain.UnitID:
			if s == nil {
				f = []domain.UnitID{}
			}
		case []domain.PartyID:
			if s == nil {
				f = []domain.PartyID{}
			}
		case []domain.ProductID:
			if s == nil {
				f = []domain.ProductID{}
			}
		case []domain.Date:
			if s == nil {
				f = []domain.Date{}
			}
		case domain.Costs:
			f = s[:]
		case [4]float64:
			f = s[:]
		case domain.Counted:
			f = s[:]
		case domain.DayCosts:
			f = s[:]
		case domain.Present:
			f = s[:]
		case domain.Readings:
			f = s[:]
		case domain.ReadingDays:
			f = s[:]
		}
		before = append(before, f)
	}
	return before
}

// dayRows are copies of what changed on one day.
type dayRows struct {
	on      domain.Date
	batches map[domain.BatchID]domain.BatchState
	stores  map[domain.ProductID]domain.StoreState
	units   map[domain.UnitID]domain.UnitState
	own     *domain.SiteState // nil: not changed
	shared  []domain.SharedCost
}

// keep returns a function for [domain.Site.Fold] that copies what changed.
func keep(s *domain.Site, days *[]dayRows) func(domain.Day) {
	return func(d domain.Day) {
		r := dayRows{on: d.On, shared: d.Shared, batches: map[domain.BatchID]domain.BatchState{},
			stores: map[domain.ProductID]domain.StoreState{}, units: map[domain.UnitID]domain.UnitState{}}
		for id := range d.Batches {
			r.batches[id] = *s.Batches[id]
		}
		for id := range d.Stores {
			r.stores[id] = *s.Stores[id]
		}
		for id := range d.Units {
			r.units[id] = *s.Units[id]
		}
		if d.Own {
			own := s.Own
			r.own = &own
		}
		*days = append(*days, r)
	}
}

// saveDays queues the derived rows of some days and, of every batch in them, the
// latest state.
func (tx *Tx) saveDays(site domain.SiteID, days []dayRows) {
	latest := map[domain.BatchID]int{}
	for i, d := range days {
		for id, b := range d.batches {
			tx.queue(upsertBatchDay, fields(&b, tx.coop, site, id, d.on)...)
			latest[id] = i
		}
		for id, s := range d.stores {
			tx.queue(upsertStoreDay, fields(&s, tx.coop, site, id, d.on)...)
		}
		for id, u := range d.units {
			tx.queue(upsertUnitDay, fields(&u, tx.coop, site, id, d.on)...)
		}
		if d.own != nil {
			tx.queue(upsertSiteDay, fields(d.own, tx.coop, site, d.on)...)
		}
		for _, c := range d.shared {
			tx.saveShared(site, c)
		}
	}
	for id, i := range latest {
		b := days[i].batches[id]
		tx.queue(upsertBatchSum, fields(&b, tx.coop, site, id, days[i].on)...)
	}
}

func (tx *Tx) saveShared(site domain.SiteID, c domain.SharedCost) {
	const sql = `
		insert into shared_cost (coop_id, site_id, entry_id, category, occurred_on, covers_from, covers_to, amount)
		values ($1, case when own_site($2) then $2::uuid end, $3, $4, $5, $6, $7, $8)
		on conflict (coop_id, entry_id, category) do update set occurred_on = excluded.occurred_on,
			covers_from = excluded.covers_from, covers_to = excluded.covers_to, amount = excluded.amount`
	tx.queue(sql, tx.coop, site, c.Entry, int16(c.Category), c.On, c.From, c.To, c.Amount)
}

// clearFrom queues the removal of all that is derived of a site from a day on.
// The latest states of its batches are put back to the day before.
func (tx *Tx) clearFrom(site domain.SiteID, from domain.Date) {
	for _, table := range []string{"batch_day", "store_day", "unit_day", "site_day"} {
		tx.queue(`delete from `+table+` where coop_id = $1 and own_site($2) and site_id = $2 and day >= $3`, tx.coop, site, from)
	}
	tx.queue(`delete from shared_cost where coop_id = $1 and own_site($2) and site_id = $2 and occurred_on >= $3`, tx.coop, site, from)
	tx.queue(`delete from batch_sum where coop_id = $1 and own_site($2) and site_id = $2 and day >= $3`, tx.coop, site, from)
	const back = `
		insert into batch_sum (coop_id, site_id, batch_id, day, ` + batchColumns + `)
		select d.coop_id, d.site_id, d.batch_id, d.day, ` + batchColumns + ` from batch b
		cross join lateral (
			select * from batch_day d
			where d.coop_id = b.coop_id and own_site(d.site_id) and d.batch_id = b.id
			order by d.day desc limit 1) d
		where b.coop_id = $1 and own_site($2) and b.site_id = $2
		on conflict do nothing`
	tx.queue(back, tx.coop, site)
}

// states are the rows a fold goes on from.
type states struct {
	batches []batchRow
	stores  []storeRow
	units   []unitRow
	own     []siteRow
}

// put places the states in a site.
func (s states) put(site *domain.Site) {
	for _, r := range s.batches {
		site.Batches[r.BatchID] = &r.BatchState
	}
	for _, r := range s.stores {
		site.Stores[r.ProductID] = &r.StoreState
	}
	for _, r := range s.units {
		site.Units[r.UnitID] = &r.UnitState
	}
	for _, r := range s.own {
		site.Own = r.SiteState
	}
}

// statesBefore queues the reading of the states of a site at the end of the last
// day before one.
func (tx *Tx) statesBefore(site domain.SiteID, day domain.Date, into *states) {
	const batches = `
		select d.batch_id, d.day, ` + batchColumns + ` from batch b
		cross join lateral (
			select * from batch_day d
			where d.coop_id = b.coop_id and own_site(d.site_id) and d.batch_id = b.id and d.day < $3
			order by d.day desc limit 1) d
		where b.coop_id = $1 and own_site($2) and b.site_id = $2`
	later(tx, &into.batches, batches, tx.coop, site, day)
	const stores = `
		select d.product_id, d.day, ` + storeColumns + ` from product p
		cross join lateral (
			select * from store_day d
			where d.coop_id = p.coop_id and own_site($2) and d.site_id = $2 and d.product_id = p.id and d.day < $3
			order by d.day desc limit 1) d
		where p.coop_id = $1`
	later(tx, &into.stores, stores, tx.coop, site, day)
	const units = `
		select d.unit_id, d.day, ` + unitColumns + ` from unit u
		cross join lateral (
			select * from unit_day d
			where d.coop_id = u.coop_id and own_site(d.site_id) and d.unit_id = u.id and d.day < $3
			order by d.day desc limit 1) d
		where u.coop_id = $1 and own_site($2) and u.site_id = $2`
	later(tx, &into.units, units, tx.coop, site, day)
	const own = `
		select day, ` + siteColumns + ` from site_day
		where coop_id = $1 and own_site($2) and site_id = $2 and day < $3
		order by day desc limit 1`
	later(tx, &into.own, own, tx.coop, site, day)
}
