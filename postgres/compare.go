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
}

type comparedBatchRow struct {
	ID       domain.BatchID
	SiteID   domain.SiteID
	Season   *string
	Tags     []string
	UnitKind string
}

// Compared reads what batches give to comparisons at a moment. By the latest knowledge
// that is the states of the batches, never the entries behind them, and of sites that
// did not change since it was asked for before it is remembered. As it was known at a
// moment, the journal of every site is folded again.
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
	found := make([]*comparedSite, len(sites))
	days := make([]domain.Date, len(sites))
	var unknown []int
	for i, s := range sites {
		if days[i], _, err = tx.dayAt(ctx, s.Zone, m.AsOf); err != nil {
			return nil, err
		}
		if s.Version != nil && m.KnownAt == nil {
			found[i] = tx.store.folded.comparison(siteKey{tx.coop, s.ID}, *s.Version, days[i])
		}
		if found[i] == nil {
			unknown = append(unknown, i)
		}
	}
	for part := range slices.Chunk(unknown, comparedAtOnce) {
		standings, facts, err := tx.standings(ctx, sites, days, part, m)
		if err != nil {
			return nil, err
		}
		for k, i := range part {
			found[i] = &comparedSite{days[i], comparedOf(standings[k], sites[i], facts)}
			if sites[i].Version != nil && m.KnownAt == nil {
				tx.store.folded.putComparison(siteKey{tx.coop, sites[i].ID}, *sites[i].Version, found[i])
			}
		}
	}
	out.sites = found
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

// standings reads how the batches of some sites stand, and what the registry says of
// these batches now.
func (tx *Tx) standings(ctx context.Context, sites []comparedSiteRow, days []domain.Date, which []int, m Moment) ([]*Standing, map[domain.BatchID]comparedBatchRow, error) {
	const batches = `
		select b.id, b.site_id, b.season, b.tags, u.kind as unit_kind from batch b
		join unit u on u.coop_id = b.coop_id and own_site(u.site_id) and u.id = b.unit_id
		where b.coop_id = $1 and own_site(b.site_id) and b.site_id = any($2)`
	ids := make([]domain.SiteID, len(which))
	for k, i := range which {
		ids[k] = sites[i].ID
	}
	var rows []comparedBatchRow
	later(tx, &rows, batches, tx.coop, ids)
	standings := make([]*Standing, len(which))
	read := make([]standingRows, len(which))
	for k, i := range which {
		if m.KnownAt != nil {
			s, err := tx.Standing(ctx, sites[i].ID, sites[i].Zone, nil, m)
			if err != nil {
				return nil, nil, err
			}
			standings[k] = s
			continue
		}
		standings[k] = &Standing{Site: sites[i].ID, AsOf: days[i], currency: tx.actor.Currency}
		tx.standingLatest(standings[k], &read[k])
	}
	if err := tx.flush(ctx); err != nil {
		return nil, nil, err
	}
	facts := make(map[domain.BatchID]comparedBatchRow, len(rows))
	for _, r := range rows {
		facts[r.ID] = r
	}
	if m.KnownAt == nil {
		for k := range standings {
			standings[k].fill(&read[k])
		}
	}
	return standings, facts, nil
}

// comparedOf returns what the batches of a site give, in the order of their ids. The unit
// of a batch is the one it was stocked into.
func comparedOf(s *Standing, site comparedSiteRow, facts map[domain.BatchID]comparedBatchRow) []domain.ComparedBatch {
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
