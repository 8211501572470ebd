package postgres

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// Keeping reads what a site keeps its fish with and how all of it stands at the end
// of a day; nil is today at the site.
func (tx *Tx) Keeping(ctx context.Context, site domain.SiteID, asOf *domain.Date) (*domain.Keeping, error) {
	facts, err := Sites.Get(ctx, tx, site)
	if err != nil {
		return nil, err
	}
	day, _, err := tx.dayAt(ctx, facts.Zone, asOf)
	if err != nil {
		return nil, err
	}
	k := &domain.Keeping{Day: day, AltitudeM: facts.AltitudeM, Units: map[domain.UnitID]*domain.Unit{}, Loops: map[domain.LoopID]*domain.Loop{},
		Batches: map[domain.BatchID]*domain.Batch{}, Products: map[domain.ProductID]*domain.Product{}, States: map[domain.BatchID]*domain.BatchState{},
		Water: map[domain.UnitID]*domain.UnitState{}, Stores: map[domain.ProductID]*domain.StoreState{}}
	var st states
	var batches []domain.Batch
	tx.statesBefore(site, day+1, &st)
	tx.limits(&k.Limits)
	later(tx, &batches, `select `+Batches.columns("n", "n")+` from batch n where n.coop_id = $1 and own_site($2) and n.site_id = $2`, tx.coop, site)
	units, err := Units.Revisions(ctx, tx, History[domain.UnitID]{Site: &site})
	if err != nil {
		return nil, err
	}
	loops, err := Loops.Revisions(ctx, tx, History[domain.LoopID]{Site: &site})
	if err != nil {
		return nil, err
	}
	products, err := Products.Revisions(ctx, tx, History[domain.ProductID]{})
	if err != nil {
		return nil, err
	}
	held(units, day, k.Units, func(f *domain.Unit) domain.UnitID { return f.ID })
	held(loops, day, k.Loops, func(f *domain.Loop) domain.LoopID { return f.ID })
	held(products, day, k.Products, func(f *domain.Product) domain.ProductID { return f.ID })
	for i := range batches {
		k.Batches[batches[i].ID] = &batches[i]
	}
	for i := range st.batches {
		k.States[st.batches[i].BatchID] = &st.batches[i].BatchState
	}
	for i := range st.units {
		k.Water[st.units[i].UnitID] = &st.units[i].UnitState
	}
	for i := range st.stores {
		k.Stores[st.stores[i].ProductID] = &st.stores[i].StoreState
	}
	k.Currency = tx.actor.Currency
	var species []string
	for id, b := range k.States {
		if facts := k.Batches[id]; facts != nil && b.OnHand() > 0 && !slices.Contains(species, facts.Species) {
			species = append(species, facts.Species)
		}
	}
	k.Priors, err = tx.priors(ctx, species, day)
	return k, err
}

// priorBatches is how many closed batches of a species a forecast learns from.
const priorBatches = 200

// priorColumns are those of the state of a closed batch that a prior learns from.
const priorColumns = `first_on, closed_on, stocked, moved_in, moved_out, dead, harvested, unaccounted, stocked_mg, moved_in_mg, moved_out_mg,
	harvested_g, harvest_guessed, harvest_on, harvest_heat, harvest_heat_days, unweighed, moved_unweighed, fed_g, weigh_on, weigh_mg, weigh_fish, weigh_cv, weigh_heat, weigh_heat_days, heat, heat_days`

// priors returns what the closed batches of the co-operative say of some species, as far
// as the token may see them: those that were over by a day, the last ones first.
func (tx *Tx) priors(ctx context.Context, species []string, day domain.Date) (map[string]domain.Prior, error) {
	sql := `
		select s.code as species, h.batch_id, h.day, ` + columnsOf("h", priorColumns) + ` from unnest($2::text[]) s (code)
		cross join lateral (
			select p.batch_id from batch_sum p
			cross join lateral ( -- from the last one back, until there are enough
				select from batch b
				where b.coop_id = p.coop_id and own_site(b.site_id) and b.id = p.batch_id and b.species = s.code
				offset 0) b
			where p.coop_id = $1 and own_site(p.site_id) and p.closed_on <= $3
			order by p.closed_on desc, p.batch_id limit $4) c
		join batch_sum h on h.coop_id = $1 and own_site(h.site_id) and h.batch_id = c.batch_id`
	type closedRow struct {
		Species string
		batchRow
	}
	var found []closedRow
	tx.queue(sql, tx.coop, species, day, priorBatches).Query(func(rows pgx.Rows) (err error) {
		found, err = rowsTo[closedRow](rows, true)
		return err
	})
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	closed := map[string][]*domain.BatchState{}
	for i := range found {
		closed[found[i].Species] = append(closed[found[i].Species], &found[i].BatchState)
	}
	priors := map[string]domain.Prior{}
	for _, s := range species {
		priors[s] = domain.PublishedPrior(s).Learn(closed[s])
	}
	return priors, nil
}

// held puts the facts of each thing as they hold on a day in their place. The
// histories are ordered by id.
func held[T any, K comparable](revisions []domain.Revision[T], day domain.Date, into map[K]*T, id func(*T) K) {
	for len(revisions) > 0 {
		n := 1
		for n < len(revisions) && id(&revisions[n].Facts) == id(&revisions[0].Facts) {
			n++
		}
		if facts, ok := domain.FactsOn(revisions[:n], day); ok {
			into[id(&facts)] = &facts
		}
		revisions = revisions[n:]
	}
}

// dayAt returns the day figures are asked for at a site, which is today if nil, and
// the moment of the request. A day to come is refused.
func (tx *Tx) dayAt(ctx context.Context, zone *string, asOf *domain.Date) (domain.Date, time.Time, error) {
	actor, err := tx.Actor(ctx)
	if err != nil {
		return 0, time.Time{}, err
	}
	day, err := today(cmp.Or(deref(zone), actor.Zone), actor.At)
	if err != nil || asOf == nil {
		return day, actor.At, err
	}
	if *asOf > day {
		return 0, actor.At, &domain.Error{Kind: domain.Invalid, Code: "in_future", Detail: "the date is after today at the site (" + day.String() + ")", Fields: []domain.FieldError{{Pointer: "/query/as_of", Detail: "must not be after today"}}}
	}
	return *asOf, actor.At, nil
}

// Today returns the civil date in the zone of the co-operative.
func (tx *Tx) Today(ctx context.Context) (domain.Date, error) {
	day, _, err := tx.dayAt(ctx, nil, nil)
	return day, err
}
