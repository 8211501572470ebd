package postgres

import (
	"context"

	"shoalbook/domain"
)

// Glance is one site at a glance.
type Glance struct {
	SiteID      domain.SiteID
	Site        string
	LastOn      *domain.Date // of the last entry
	OpenBatches int64
	Fish        domain.Fish
	Biomass     domain.Milligrams
	Unweighed   bool            // of some fish the weight is not known
	Counted     bool            // all of them were counted and weighed on one day
	Feed        domain.Quantity // in the store
	Recent      domain.Grams    // fed on RecentDays up to the last entry
	RecentDays  int64
	Questions   int64
}

// DaysOfFeedLeft returns how long the feed lasts at the pace of the last days.
func (g Glance) DaysOfFeedLeft() (float64, bool) {
	if g.Recent <= 0 || g.RecentDays <= 0 {
		return 0, false
	}
	return max(0, float64(g.Feed)) * float64(g.RecentDays) / float64(g.Recent), true
}

// latestStore is the state of each store of a site, to be joined with site s.
const latestStore = `
	product p cross join lateral (
		select balance, below_since from store_day d
		where d.coop_id = p.coop_id and own_site(s.id) and d.site_id = s.id and d.product_id = p.id
		order by d.day desc limit 1) d`

// Overview lists the sites at a glance by id, and reports whether there are more.
func (tx *Tx) Overview(ctx context.Context, after *domain.SiteID, limit int) ([]Glance, bool, error) {
	const sql = `
		select s.id as site_id, s.name as site, h.last_on, b.open_batches, b.fish, b.biomass, b.unweighed, b.counted,
			f.feed, b.recent, b.recent_days, f.below + q.held + o.open as questions
		from site s
		left join site_head h on h.coop_id = s.coop_id and own_site(s.id) and h.site_id = s.id
		cross join lateral (
			select count(*) as open_batches, coalesce(sum(n.on_hand), 0)::bigint as fish,
				coalesce(sum(round(b.mean_mg::numeric * n.on_hand / nullif(b.mean_fish, 0))), 0)::bigint as biomass,
				coalesce(bool_or(b.mean_fish = 0 and n.on_hand > 0), false) as unweighed,
				coalesce(bool_and(b.counted_on is not null and b.counted_on = b.weighed_on), false) as counted,
				coalesce(sum(b.fed_g - coalesce(p.fed_g, 0)), 0)::bigint as recent,
				coalesce(least(14, h.last_on - min(b.first_on) + 1), 0)::bigint as recent_days
			from batch_sum b
			cross join lateral (
				select b.stocked + b.moved_in - b.moved_out - b.dead - b.harvested - b.unaccounted as on_hand) n
			left join lateral (
				select fed_g from batch_day d
				where d.coop_id = b.coop_id and own_site(d.site_id) and d.batch_id = b.batch_id and d.day <= h.last_on - 14
				order by d.day desc limit 1) p on true
			where b.coop_id = s.coop_id and own_site(s.id) and b.site_id = s.id and b.first_on is not null and b.closed_on is null) b
		cross join lateral (
			select coalesce(sum(d.balance) filter (where p.category = 'feed'), 0)::bigint as feed, count(d.below_since) as below
			from ` + latestStore + ` where p.coop_id = s.coop_id) f
		cross join lateral (select count(*) as held from held where coop_id = s.coop_id and own_site(s.id) and held.site_id = s.id) q
		cross join lateral (
			select count(*) as open from question q
			where q.coop_id = s.coop_id and own_site(s.id) and q.site_id = s.id and q.answered_at is null and not ` + reversedQuestion + `) o
		where s.coop_id = $1 and own_site(s.id) and not s.archived and ($2::uuid is null or s.id > $2)
		order by s.id limit $3`
	found, err := all[Glance](ctx, tx, sql, tx.coop, after, limit+1)
	return found[:min(len(found), limit)], len(found) > limit, err
}

// Account is what is owed between a party and the co-operative.
type Account struct {
	PartyID  domain.PartyID
	Party    string
	Sold     domain.Money // on credit
	Bought   domain.Money // on credit
	Received domain.Money
	Paid     domain.Money
}

// Balance returns what the party owes; below 0 the co-operative owes it.
func (a Account) Balance() domain.Money { return a.Sold - a.Received - a.Bought + a.Paid }

// Accounts lists the accounts with parties by id, and reports whether there are more.
func (tx *Tx) Accounts(ctx context.Context, after *domain.PartyID, limit int) ([]Account, bool, error) {
	const sql = `
		select p.id as party_id, p.name as party,
			coalesce(sum(e.owed) filter (where e.kind = 'sale'), 0)::bigint as sold,
			coalesce(-sum(e.owed) filter (where e.kind not in ('sale', 'payment')), 0)::bigint as bought,
			coalesce(-sum(e.owed) filter (where e.kind = 'payment' and e.owed < 0), 0)::bigint as received,
			coalesce(sum(e.owed) filter (where e.kind = 'payment' and e.owed > 0), 0)::bigint as paid
		from (
			select id, name from party where coop_id = $1 and ($2::uuid is null or id > $2)
			order by id limit $3) p
		left join entry e on e.coop_id = $1 and own_site(e.site_id) and e.party_id = p.id and e.owed <> 0 and not exists (
			select from entry r where r.coop_id = $1 and own_site(r.site_id) and r.reverses_id = e.id)
		group by p.id, p.name order by p.id`
	found, err := all[Account](ctx, tx, sql, tx.coop, after, limit+1)
	return found[:min(len(found), limit)], len(found) > limit, err
}

// StoreItem is what a site holds of a product.
type StoreItem struct {
	ProductID domain.ProductID
	Product   string
	Unit      string
	domain.StoreState
}

// Store lists what a site holds, by product id, and reports whether there is more.
func (tx *Tx) Store(ctx context.Context, site domain.SiteID, after *domain.ProductID, limit int) ([]StoreItem, bool, error) {
	const sql = `
		select p.id as product_id, p.name as product, p.unit, d.* from product p
		cross join lateral (
			select ` + storeColumns + ` from store_day d
			where d.coop_id = p.coop_id and own_site($2) and d.site_id = $2 and d.product_id = p.id
			order by d.day desc limit 1) d
		where p.coop_id = $1 and ($3::uuid is null or p.id > $3)
		order by p.id limit $4`
	if _, err := Sites.Get(ctx, tx, site); err != nil {
		return nil, false, err
	}
	found, err := all[StoreItem](ctx, tx, sql, tx.coop, site, after, limit+1)
	return found[:min(len(found), limit)], len(found) > limit, err
}
