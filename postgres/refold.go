package postgres

import (
	"context"
	"fmt"

	"shoalbook/domain"
)

// Refold folds the journal of a site again from a day on, after a change of the
// registry that what follows from the entries depends on.
func (tx *Tx) Refold(ctx context.Context, site domain.SiteID, from domain.Date) error {
	currency, err := tx.Currency(ctx)
	if err != nil {
		return err
	}
	var st states
	var j journal
	var facts siteFacts
	// The lock comes first, so that nobody writes between what is read after it.
	const lock = `select from site_head where coop_id = $1 and own_site($2) and site_id = $2 for no key update`
	tx.queue(lock, tx.coop, site)
	tx.factsOf(site, forever, &facts)
	tx.statesBefore(site, from, &st)
	tx.journalFrom(site, from, forever, &j)
	if err := tx.flush(ctx); err != nil {
		return err
	}
	entries, err := j.decode(currency)
	if err != nil {
		return err
	}
	domain.SortEntries(entries)
	s := domain.NewSite(site, facts.facts())
	st.put(s)
	var days []dayRows
	if err := s.Fold(entries, keep(s, &days)); err != nil {
		return fmt.Errorf("the journal of site %s does not fold any more: %w", site, err)
	}
	tx.clearFrom(site, from)
	tx.saveDays(site, days)
	tx.queue(`update site_head set version = version + 1 where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, site)
	return nil
}

// alone waits until nobody records, and lets nobody record until the transaction ends.
func (tx *Tx) alone() {
	tx.queue(`select pg_advisory_xact_lock(hashtextextended($1::uuid::text, 0))`, tx.coop)
}

// refoldFeedings folds again whatever was fed of a product from a day on. The
// transaction must be alone: a feeding that is on its way was worked out with what was
// known of the feed before, and could not be seen from here.
func (tx *Tx) refoldFeedings(ctx context.Context, product domain.ProductID, from domain.Date) error {
	const fed = `
		select distinct site_id as id from entry
		where coop_id = $1 and own_site(site_id) and product_id = $2 and kind = 'feeding' and occurred_on >= $3
		order by site_id`
	sites, err := all[struct{ ID domain.SiteID }](ctx, tx, fed, tx.coop, product, from)
	if err != nil {
		return err
	}
	for _, s := range sites {
		if err := tx.Refold(ctx, s.ID, from); err != nil {
			return err
		}
	}
	return nil
}
