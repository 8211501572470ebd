package postgres

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// glimpse is what the rows of a co-operative say of its sites, as of today at each.
type glimpse struct {
	zone     string // of the co-operative
	at       time.Time
	sites    []siteGlimpse
	units    []domain.Unit
	loops    []domain.Loop
	batches  []domain.Batch
	products []domain.Product
	states   []batchRow
	water    []unitRow
	stores   []storeGlimpse
	fed      []fedGlimpse
	periods  []domain.Period
	visits   []visitGlimpse
	emptied  []emptiedGlimpse
	hatchers []hatcherGlimpse
	sellers  []sellerGlimpse
	keepers  []keeperGlimpse
	limits   []domain.WaterLimit
	ids      []domain.SiteID // of the sites, and of each today there and a week ago
	days     []domain.Date
	weeks    []domain.Date
	priors   map[string]domain.Prior
}

type (
	siteGlimpse struct {
		ID        domain.SiteID
		Name      string
		AltitudeM *domain.Thousandths
		Zone      *string
		LastOn    *domain.Date
	}
	storeGlimpse struct {
		SiteID domain.SiteID
		Before *domain.Quantity
		storeRow
	}
	fedGlimpse struct {
		BatchID domain.BatchID
		FedG    domain.Grams
		FedDays int64
	}
	visitGlimpse struct {
		SiteID domain.SiteID
		On     domain.Date
		NextOn *domain.Date
	}
	emptiedGlimpse struct {
		Unit domain.UnitID
		On   domain.Date
	}
	hatcherGlimpse struct {
		BatchID domain.BatchID
		Name    string
		Phone   *string
	}
	sellerGlimpse struct {
		ProductID domain.ProductID
		Name      string
		Phone     *string
	}
	keeperGlimpse struct {
		Name  string
		Phone *string
		Sites []domain.SiteID
	}
)

// SiteViews reads all that advice is drawn from, of every site of the co-operative or
// of one, as of today at each. Those who keep the sites are named only if asked for.
func (tx *Tx) SiteViews(ctx context.Context, only *domain.SiteID, named bool) ([]*domain.SiteView, error) {
	actor, err := tx.Actor(ctx)
	if err != nil {
		return nil, err
	}
	g := &glimpse{zone: actor.Zone, at: actor.At}
	const sites = `
		select s.id, s.name, s.altitude_m, s.zone, h.last_on from site s
		left join site_head h on h.coop_id = s.coop_id and own_site(h.site_id) and h.site_id = s.id
		where s.coop_id = $1 and own_site(s.id) and ($2::uuid is null and not s.archived or s.id = $2) order by s.id`
	if g.sites, err = all[siteGlimpse](ctx, tx, sites, tx.coop, only); err != nil {
		return nil, err
	}
	if only != nil && len(g.sites) == 0 {
		return nil, domain.Missing("site")
	}
	for _, s := range g.sites {
		day, err := today(cmp.Or(deref(s.Zone), g.zone), g.at)
		if err != nil {
			return nil, err
		}
		g.ids, g.days, g.weeks = append(g.ids, s.ID), append(g.days, day), append(g.weeks, day-7)
	}
	tx.glimpseRegistry(g)
	tx.glimpseStates(g)
	tx.glimpsePeople(g, named)
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	if g.priors, err = tx.priorsOf(ctx, g); err != nil {
		return nil, err
	}
	return g.views(), nil
}

// adviceColumns are those of the state of a batch that advice is drawn from: reading
// all of them takes three times as long.
const adviceColumns = `unit, first_on, closed_on, counted_on, harvest_on, stocked, moved_in, moved_out, dead, harvested, unaccounted,
	mean_mg, mean_fish, weighed_on, weigh_on, weigh_mg, weigh_fish, weigh_cv, weigh_heat, weigh_heat_days, fed_g, fed_days,
	risk_on, at_risk, risk_dead, apart_until, apart_dead, apart_fish, watched_on, watch, alarm_on, signal_on, alarm_dead,
	heat_through, heat, heat_days, treated_on, withdraw_until, withdraw_heat, early_g`

func (tx *Tx) glimpseRegistry(g *glimpse) {
	later(tx, &g.units, `select `+Units.columns("n", "n")+` from unit n where n.coop_id = $1 and own_site(n.site_id) and n.site_id = any($2)`, tx.coop, g.ids)
	later(tx, &g.loops, `select `+Loops.columns("n", "n")+` from loop n where n.coop_id = $1 and own_site(n.site_id) and n.site_id = any($2) and not n.archived`, tx.coop, g.ids)
	later(tx, &g.products, `select `+Products.columns("n", "n")+` from product n where n.coop_id = $1 and n.category = 'feed'`, tx.coop)
	later(tx, &g.batches, `
		select `+Batches.columns("n", "n")+` from batch_sum d
		join batch n on n.coop_id = d.coop_id and own_site(n.site_id) and n.id = d.batch_id
		where d.coop_id = $1 and own_site(d.site_id) and d.site_id = any($2) and d.first_on is not null and d.closed_on is null`, tx.coop, g.ids)
	const states = `
		select batch_id, day, ` + adviceColumns + ` from batch_sum
		where coop_id = $1 and own_site(site_id) and site_id = any($2) and first_on is not null and closed_on is null`
	tx.queue(states, tx.coop, g.ids).Query(func(rows pgx.Rows) (err error) {
		g.states, err = rowsTo[batchRow](rows, true)
		return err
	})
	later(tx, &g.periods, `
		select `+Periods.columns("n", "n")+` from period n
		where n.coop_id = $1 and own_site(n.site_id) and n.site_id = any($2) and n.kind = 'holiday' and not n.archived
		and n.ends_on >= now() - interval '2 days' and n.starts_on <= now() + interval '16 days'`, tx.coop, g.ids)
	tx.limits(&g.limits)
}

// glimpseStates queues the reading of what follows from the journals. Days are bound as
// they are, for an index to be looked up by: to work them out of a zone in the statement
// is nothing that row-level security lets come before it.
func (tx *Tx) glimpseStates(g *glimpse) {
	later(tx, &g.water, `
		select d.unit_id, d.day, `+unitColumns+` from unit u
		cross join lateral (
			select * from unit_day d
			where d.coop_id = u.coop_id and own_site(d.site_id) and d.unit_id = u.id
			order by d.day desc limit 1) d
		where u.coop_id = $1 and own_site(u.site_id) and u.site_id = any($2)`, tx.coop, g.ids)
	later(tx, &g.stores, `
		select s.id as site_id, before.fed as before, d.product_id, d.day, `+columnsOf("d", storeColumns)+`
		from unnest($2::uuid[], $3::date[]) s (id, week)
		cross join product p
		cross join lateral (
			select * from store_day d
			where d.coop_id = $1 and own_site(d.site_id) and d.site_id = s.id and d.product_id = p.id
			order by d.day desc limit 1) d
		left join lateral (
			select fed from store_day b
			where b.coop_id = $1 and own_site(b.site_id) and b.site_id = s.id and b.product_id = p.id and b.day <= s.week and d.day > s.week
			order by b.day desc limit 1) before on true
		where p.coop_id = $1 and p.category = 'feed'`, tx.coop, g.ids, g.weeks)
	later(tx, &g.fed, `
		select d.batch_id, b.fed_g, b.fed_days from unnest($2::uuid[], $3::date[]) s (id, week)
		join batch_sum d on d.site_id = s.id
		cross join lateral (
			select fed_g, fed_days from batch_day b
			where b.coop_id = d.coop_id and own_site(b.site_id) and b.batch_id = d.batch_id and b.day <= s.week
			order by b.day desc limit 1) b
		where d.coop_id = $1 and own_site(d.site_id) and d.first_on is not null and d.closed_on is null`, tx.coop, g.ids, g.weeks)
	later(tx, &g.emptied, `
		select unit, max(on_day) as "on" from (
			select unit, closed_on as on_day from batch_sum
			where coop_id = $1 and own_site(site_id) and site_id = any($2) and closed_on is not null
			union all
			select l.unit, l.on_day from batch_sum b cross join lateral unnest(b.left_units, b.left_on) l (unit, on_day)
			where b.coop_id = $1 and own_site(b.site_id) and b.site_id = any($2)) e
		group by unit`, tx.coop, g.ids)
	later(tx, &g.visits, `
		select s.id as site_id, v.occurred_on as "on", v.next_on from site s
		cross join lateral (
			select e.occurred_on, (e.body ->> 'next_on')::date as next_on from entry e
			where e.coop_id = s.coop_id and own_site(e.site_id) and e.site_id = s.id and e.kind = 'visit'
			and not exists (select from entry r where r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id)
			order by e.occurred_on desc, e.id desc limit 1) v
		where s.coop_id = $1 and own_site(s.id) and s.id = any($2)`, tx.coop, g.ids)
}

// glimpsePeople queues the reading of whom to call.
func (tx *Tx) glimpsePeople(g *glimpse, named bool) {
	later(tx, &g.hatchers, `
		select d.batch_id, p.name, p.phone from batch_sum d
		cross join lateral (
			select e.party_id from entry e
			where e.coop_id = d.coop_id and own_site(e.site_id) and e.batch_id = d.batch_id and e.kind = 'stocking' and e.party_id is not null
			order by e.occurred_on, e.id limit 1) e
		join party p on p.coop_id = d.coop_id and p.id = e.party_id
		where d.coop_id = $1 and own_site(d.site_id) and d.site_id = any($2) and d.first_on >= now() - interval '16 days' and d.closed_on is null`, tx.coop, g.ids)
	later(tx, &g.sellers, `
		select n.id as product_id, p.name, p.phone from product n
		cross join lateral (
			select e.party_id from entry e
			where e.coop_id = n.coop_id and own_site(e.site_id) and e.product_id = n.id and e.kind = 'receipt' and e.party_id is not null
			order by e.occurred_on desc, e.id desc limit 1) e
		join party p on p.coop_id = n.coop_id and p.id = e.party_id
		where n.coop_id = $1 and n.category = 'feed'`, tx.coop)
	if named {
		later(tx, &g.keepers, `select name, phone, sites from member where coop_id = $1 and own_site(null) and role = 'keeper' and not archived order by name, id`, tx.coop)
	}
}

// views puts what was read together by site.
func (g *glimpse) views() []*domain.SiteView {
	views := make([]*domain.SiteView, len(g.sites))
	at := map[domain.SiteID]*domain.SiteView{}
	products := map[domain.ProductID]*domain.Product{}
	for i := range g.products {
		products[g.products[i].ID] = &g.products[i]
	}
	sellers := map[domain.ProductID]domain.Contact{}
	for _, s := range g.sellers {
		sellers[s.ProductID] = domain.Contact{Name: s.Name, Phone: s.Phone, Who: "supplier"}
	}
	hatcheries := map[domain.BatchID]domain.Contact{}
	for _, h := range g.hatchers {
		hatcheries[h.BatchID] = domain.Contact{Name: h.Name, Phone: h.Phone, Who: "supplier"}
	}
	for i, s := range g.sites {
		v := &domain.SiteView{Keeping: &domain.Keeping{Day: g.days[i], AltitudeM: s.AltitudeM, Units: map[domain.UnitID]*domain.Unit{}, Loops: map[domain.LoopID]*domain.Loop{},
			Batches: map[domain.BatchID]*domain.Batch{}, Products: products, States: map[domain.BatchID]*domain.BatchState{}, Water: map[domain.UnitID]*domain.UnitState{},
			Stores: map[domain.ProductID]*domain.StoreState{}, Limits: g.limits, Priors: g.priors},
			Site: s.ID, Name: s.Name, LastOn: s.LastOn, FedBefore: map[domain.BatchID]domain.Fed{}, UsedBefore: map[domain.ProductID]domain.Quantity{},
			Suppliers: sellers, Hatcheries: hatcheries, EmptySince: map[domain.UnitID]domain.Date{}}
		views[i], at[s.ID] = v, v
	}
	g.place(at)
	return views
}

// place puts rows at their sites.
func (g *glimpse) place(at map[domain.SiteID]*domain.SiteView) {
	of := map[domain.UnitID]*domain.SiteView{}
	for i := range g.units {
		u := &g.units[i]
		at[u.Site].Units[u.ID], of[u.ID] = u, at[u.Site]
	}
	for i := range g.loops {
		at[g.loops[i].Site].Loops[g.loops[i].ID] = &g.loops[i]
	}
	batch := map[domain.BatchID]*domain.SiteView{}
	for i := range g.batches {
		b := &g.batches[i]
		at[b.Site].Batches[b.ID], batch[b.ID] = b, at[b.Site]
	}
	for i := range g.states {
		s := &g.states[i]
		batch[s.BatchID].States[s.BatchID] = &s.BatchState
		batch[s.BatchID].FedBefore[s.BatchID] = domain.Fed{}
	}
	for _, f := range g.fed {
		batch[f.BatchID].FedBefore[f.BatchID] = domain.Fed{Feed: f.FedG, Days: f.FedDays}
	}
	for i := range g.water {
		of[g.water[i].UnitID].Water[g.water[i].UnitID] = &g.water[i].UnitState
	}
	for i := range g.stores {
		s := &g.stores[i]
		at[s.SiteID].Stores[s.ProductID] = &s.StoreState
		switch v := at[s.SiteID]; {
		case s.Before != nil:
			v.UsedBefore[s.ProductID] = *s.Before
		case s.Day <= v.Day-7: // nothing was used since
			v.UsedBefore[s.ProductID] = s.Fed
		}
	}
	for i := range g.periods {
		at[g.periods[i].Site].Calendar = append(at[g.periods[i].Site].Calendar, g.periods[i])
	}
	for _, e := range g.emptied {
		if v := of[e.Unit]; v != nil {
			v.EmptySince[e.Unit] = e.On
		}
	}
	for _, v := range g.visits {
		at[v.SiteID].VisitedOn, at[v.SiteID].NextVisit = &v.On, v.NextOn
	}
	for _, k := range g.keepers {
		for _, id := range k.Sites {
			if v := at[id]; v != nil {
				v.Keepers = append(v.Keepers, domain.Contact{Name: k.Name, Phone: k.Phone, Who: "keeper"})
			}
		}
	}
}

// priorsOf reads what closed batches say of the species that are growing.
func (tx *Tx) priorsOf(ctx context.Context, g *glimpse) (map[string]domain.Prior, error) {
	var species []string
	for _, b := range g.batches {
		if !slices.Contains(species, b.Species) {
			species = append(species, b.Species)
		}
	}
	if len(species) == 0 {
		return nil, nil
	}
	day, err := tx.Today(ctx)
	if err != nil {
		return nil, err
	}
	return tx.priors(ctx, species, day)
}

// Debts reads what is overdue between the co-operative and parties as of a day: of each
// party and side what is older than 30 days, less what was paid.
func (tx *Tx) Debts(ctx context.Context, day domain.Date) ([]domain.Debt, error) {
	const side = `e.party_id, e.occurred_on, e.kind = 'payment' as payment, (e.kind = 'sale' or e.kind = 'payment' and e.owed < 0) as theirs`
	const sql = `
		with day as (
			select party_id, theirs, occurred_on, sum(amount) filter (where payment) as paid, sum(amount) filter (where not payment) as due
			from (
				select ` + side + `, abs(e.owed) as amount from entry e
				where e.coop_id = $1 and own_site(e.site_id) and e.party_id is not null and e.owed <> 0
				union all -- less what was taken back
				select ` + side + `, -abs(e.owed) from entry r
				cross join lateral ( -- there are few reversals, and many entries that owe
					select * from entry e
					where e.coop_id = r.coop_id and own_site(e.site_id) and e.id = r.reverses_id and e.party_id is not null and e.owed <> 0
					offset 0) e
				where r.coop_id = $1 and own_site(r.site_id) and r.reverses_id is not null) o
			group by party_id, theirs, occurred_on
		), run as (
			select party_id, theirs, occurred_on, sum(due) over (partition by party_id, theirs order by occurred_on) as due,
				coalesce(sum(paid) over (partition by party_id, theirs), 0) as paid
			from day
		)
		select p.id as party, p.name, p.phone, not r.theirs as ours, (max(r.due) - max(r.paid))::bigint as amount, min(r.occurred_on) as "from"
		from run r join party p on p.coop_id = $1 and p.id = r.party_id
		where r.occurred_on <= $2 and r.due > r.paid
		group by p.id, p.name, p.phone, r.theirs order by p.id, r.theirs`
	return all[domain.Debt](ctx, tx, sql, tx.coop, domain.DebtsDue(day))
}
