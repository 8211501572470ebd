package postgres

import (
	"cmp"
	"context"
	"slices"

	"shoalbook/domain"
)

// Family is batches that were split from, merged with or graded into each other.
type Family struct {
	Members  []Member       // by id
	Links    []domain.Moved // by date
	Currency domain.Currency
}

// Member is a batch of a family, with what its figures are computed from.
type Member struct {
	ID      domain.BatchID
	Name    string
	Site    domain.SiteID
	Unit    domain.UnitID // where it was stocked
	Zone    *string
	Measure domain.Measure
}

// familyOf walks all moves between batches, inside sites and between them, from one batch.
const familyOf = `
	with recursive edge (a, b) as (
		select batch_id, to_batch_id from entry e
		where coop_id = $1 and own_site(e.site_id) and kind = 'move' and to_batch_id is not null
		and not exists (select from entry r where r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id)
		union all
		select t.batch_id, e.batch_id from transit t
		join entry e on e.coop_id = t.coop_id and own_site(e.site_id) and e.id = t.received_id
		where t.coop_id = $1 and (own_site(t.from_site_id) or own_site(t.to_site_id)) and t.batch_id is not null
	), family (id) as (
		select $2::uuid
		union
		select case edge.a when family.id then edge.b else edge.a end
		from family join edge on family.id in (edge.a, edge.b)
	)
	select b.id, b.name, b.site_id as site, b.unit_id as unit, s.zone
	from family f
	join batch b on b.coop_id = $1 and own_site(b.site_id) and b.id = f.id
	join site s on s.coop_id = b.coop_id and own_site(b.site_id) and s.id = b.site_id
	order by b.id`

// Family reads the family of a batch at the end of a day; nil is today.
func (tx *Tx) Family(ctx context.Context, id domain.BatchID, asOf *domain.Date) (*Family, error) {
	type row struct {
		ID   domain.BatchID
		Name string
		Site domain.SiteID
		Unit domain.UnitID
		Zone *string
	}
	found, err := all[row](ctx, tx, familyOf, tx.coop, id)
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, domain.Missing("batch")
	}
	f := &Family{}
	standings := map[domain.SiteID]*Standing{}
	members := map[domain.BatchID]bool{}
	for _, r := range found {
		s := standings[r.Site]
		if s == nil {
			if s, err = tx.Standing(ctx, r.Site, r.Zone, nil, Moment{AsOf: asOf}); err != nil {
				return nil, err
			}
			standings[r.Site] = s
		}
		f.Currency = s.currency
		f.Members = append(f.Members, Member{ID: r.ID, Name: r.Name, Site: r.Site, Unit: r.Unit, Zone: r.Zone, Measure: s.Measure(r.ID, false)})
		members[r.ID] = true
	}
	return f, tx.links(ctx, f, standings, members)
}

// links reads the moves between the members of a family, by date.
func (tx *Tx) links(ctx context.Context, f *Family, standings map[domain.SiteID]*Standing, members map[domain.BatchID]bool) error {
	days := map[domain.EntryID]domain.Date{}
	for site, s := range standings {
		_, err := tx.refold(ctx, site, forever, s.AsOf, func(*domain.Site) func(domain.Day) {
			return func(d domain.Day) {
				for _, m := range d.Moves {
					if members[m.From] && members[m.To] {
						f.Links = append(f.Links, m)
						days[m.Entry] = d.On
					}
				}
			}
		})
		if err != nil {
			return err
		}
	}
	const between = `
		select e.id as entry, t.batch_id as "from", e.batch_id as "to", t.fish, t.weight, t.value as cost, e.site_id as site, e.occurred_on as day
		from transit t join entry e on e.coop_id = t.coop_id and own_site(e.site_id) and e.id = t.received_id
		where t.coop_id = $1 and (own_site(t.from_site_id) or own_site(t.to_site_id)) and t.batch_id = any($2) and not t.reversed`
	ids := make([]domain.BatchID, 0, len(members))
	for id := range members {
		ids = append(ids, id)
	}
	sent, err := all[struct {
		domain.Moved
		Site domain.SiteID
		Day  domain.Date
	}](ctx, tx, between, tx.coop, ids)
	for _, m := range sent {
		if s := standings[m.Site]; s != nil && m.Day <= s.AsOf {
			f.Links = append(f.Links, m.Moved)
			days[m.Entry] = m.Day
		}
	}
	slices.SortFunc(f.Links, func(a, b domain.Moved) int {
		return cmp.Or(cmp.Compare(days[a.Entry], days[b.Entry]), a.Entry.Compare(b.Entry))
	})
	return err
}
