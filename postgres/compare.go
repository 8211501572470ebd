package postgres

import (
	"context"
	"slices"
	"time"

	"shoalbook/domain"
)

// Compared is what all batches that the one who asks may see give to comparisons.
type Compared struct {
	AsOf    domain.Date // in the zone of the co-operative
	KnownAt time.Time
	Names   map[string]string // of sites, parties, feeds and species, by id or code
	sites   []*comparedSite
}

// Batches are those of all sites.
func (c *Compared) Batches(yield func(*domain.ComparedBatch) bool) {
	for _, s := range c.sites {
		for i := range s.batches {
			if !yield(&s.batches[i]) {
				return
			}
		}
	}
}

// comparedSite is what the batches of one site give.
type comparedSite struct {
	asOf    domain.Date
	batches []domain.ComparedBatch
}

// comparedAtOnce is of how many sites the states are read in one round trip.
const comparedAtOnce = 100

type comparedSiteRow struct {
	ID      domain.SiteID
	Name    string
	Zone    *string
	Tags    []string
	Version *int64
	gives   *comparedSite
}

type comparedBatchRow struct {
	ID       domain.BatchID
	Season   *string
	Tags     []string
	UnitKind string
}

// Compared reads what batches give to comparisons at a moment. By the latest knowledge
// that is the states of the batches, never the entries behind them, and of sites that
// did not change since it was asked for before, of the same day, it is remembered. As it
// was known at a moment, the journal of every site is folded again.
func (tx *Tx) Compared(ctx context.Context, m Moment) (*Compared, error) {
	day, now, err := tx.dayAt(ctx, nil, m.AsOf)
	if err != nil {
		return nil, err
	}
	out := &Compared{AsOf: day, KnownAt: now}
	if m.KnownAt != nil {
		out.KnownAt = *m.KnownAt
	}
	sites, err := tx.comparedSites(ctx, out)
	if err != nil {
		return nil, err
	}
	var unknown []*comparedSiteRow
	for i := range sites {
		site := &sites[i]
		day, _, err := tx.dayAt(ctx, site.Zone, m.AsOf)
		if err != nil {
			return nil, err
		}
		if site.Version != nil && m.KnownAt == nil {
			if known, ok := tx.store.comparisons.get(siteKey{tx.coop, site.ID}, *site.Version); ok && known.asOf == day {
				site.gives = known
				continue
			}
		}
		site.gives = &comparedSite{asOf: day}
		unknown = append(unknown, site)
	}
	for part := range slices.Chunk(unknown, comparedAtOnce) {
		if err := tx.compareSites(ctx, part, m); err != nil {
			return nil, err
		}
	}
	for _, site := range sites {
		out.sites = append(out.sites, site.gives)
	}
	return out, nil
}

// comparedSites reads the sites, with their versions, and the names of what batches are
// grouped by.
func (tx *Tx) comparedSites(ctx context.Context, out *Compared) ([]comparedSiteRow, error) {
	const sites = `
		select s.id, s.name, s.zone, s.tags, h.version from site s
		left join site_head h on h.coop_id = s.coop_id and own_site(h.site_id) and h.site_id = s.id
		where s.coop_id = $1 and own_site(s.id) order by s.id`
	const others = `
		select id::text as key, name from party where coop_id = $1
		union all select id::text, name from product where coop_id = $1 and category = 'feed'
		union all select code, english_name from species`
	var found []comparedSiteRow
	var names []struct{ Key, Name string }
	later(tx, &found, sites, tx.coop)
	later(tx, &names, others, tx.coop)
	if err := tx.flush(ctx); err != nil {
		return nil, err
	}
	out.Names = make(map[string]string, len(found)+len(names))
	for _, s := range found {
		out.Names[s.ID.String()] = s.Name
	}
	for _, n := range names {
		out.Names[n.Key] = n.Name
	}
	return found, nil
}

// compareSites works out what the batches of some sites give, and remembers it.
func (tx *Tx) compareSites(ctx context.Context, sites []*comparedSiteRow, m Moment) error {
	const batches = `
		select b.id, b.season, b.tags, u.kind as unit_kind from batch b
		join unit u on u.coop_id = b.coop_id and own_site(u.site_id) and u.id = b.unit_id
		where b.coop_id = $1 and own_site(b.site_id) and b.site_id = any($2)`
	ids, standings := make([]domain.SiteID, len(sites)), make([]*Standing, len(sites))
	for i, site := range sites {
		ids[i], standings[i] = site.ID, &Standing{Site: site.ID, AsOf: site.gives.asOf, currency: tx.actor.Currency}
	}
	var rows []comparedBatchRow
	later(tx, &rows, batches, tx.coop, ids)
	if m.KnownAt == nil {
		if err := tx.standingsLatest(ctx, standings); err != nil {
			return err
		}
	} else {
		for i, site := range sites {
			var err error
			if standings[i], err = tx.Standing(ctx, site.ID, site.Zone, nil, m); err != nil {
				return err
			}
		}
	}
	facts := make(map[domain.BatchID]comparedBatchRow, len(rows))
	for _, r := range rows {
		facts[r.ID] = r
	}
	for i, site := range sites {
		site.gives.batches = comparedOf(standings[i], site, facts)
		if site.Version != nil && m.KnownAt == nil {
			tx.store.comparisons.put(siteKey{tx.coop, site.ID}, *site.Version, len(site.gives.batches), site.gives)
		}
	}
	return nil
}

// comparedOf returns what the batches of a site give, in the order of their ids. The unit
// of a batch is the one it was stocked into.
func comparedOf(s *Standing, site *comparedSiteRow, facts map[domain.BatchID]comparedBatchRow) []domain.ComparedBatch {
	out := make([]domain.ComparedBatch, 0, len(s.Batches))
	for id := range s.Batches {
		f := facts[id]
		tags := slices.Concat(f.Tags, site.Tags)
		slices.Sort(tags)
		out = append(out, s.Measure(id, false).Compared(domain.BatchFacts{ID: id, Site: site.ID, Season: f.Season, Tags: slices.Compact(tags), UnitKind: f.UnitKind}))
	}
	slices.SortFunc(out, func(a, b domain.ComparedBatch) int { return a.Batch.Compare(b.Batch) })
	return out
}
