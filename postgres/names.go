package postgres

import (
	"context"

	"shoalbook/domain"
)

// names is what is there of what entries name, besides what a fold knows: nothing
// is known unless the transaction is careful, or what is refused would be held: then
// it must be right in this.
type names struct {
	known   bool
	taken   map[domain.EntryID]bool
	parties map[domain.PartyID]bool
	sites   map[domain.SiteID]bool
}

// lookAhead looks, in a careful transaction, for what the entries name. It looks over
// the wall between the sites of the co-operative, but only to see whether an id is
// there: an entry may be sent to a site that its sender does not see, and an id may
// be in use at one.
func (r *recorder) lookAhead(ctx context.Context) error {
	tx := r.tx
	if !tx.careful && !r.Hold {
		return nil
	}
	var ids []domain.EntryID
	var parties []domain.PartyID
	var sites []domain.SiteID
	for _, e := range r.Entries {
		ids = append(ids, e.ID)
		refs := e.Body.Refs()
		if refs.Party != nil {
			parties = append(parties, *refs.Party)
		}
		if refs.ToSite != nil {
			sites = append(sites, *refs.ToSite)
		}
	}
	var taken, seen []struct{ ID domain.EntryID }
	var there []struct{ ID domain.SiteID }
	var known []struct{ ID domain.PartyID }
	later(tx, &seen, `select id from entry where coop_id = $1 and own_site(site_id) and id = any($2)`, tx.coop, ids)
	later(tx, &known, `select id from party where coop_id = $1 and id = any($2)`, tx.coop, parties)
	tx.queue(`select set_config('app.own_sites', current_setting('app.sites'), true)`)
	tx.queue(`select set_config('app.sites', '*', true)`)
	later(tx, &taken, `select id from entry where coop_id = $1 and id = any($2)`, tx.coop, ids)
	later(tx, &there, `select id from site where coop_id = $1 and id = any($2)`, tx.coop, sites)
	tx.queue(`select set_config('app.sites', current_setting('app.own_sites'), true)`)
	if err := tx.flush(ctx); err != nil {
		return err
	}
	r.names = names{known: true, taken: map[domain.EntryID]bool{}, parties: map[domain.PartyID]bool{}, sites: map[domain.SiteID]bool{}}
	for _, e := range taken {
		r.names.taken[e.ID] = true
	}
	for _, e := range seen { // and can be compared
		delete(r.names.taken, e.ID)
	}
	for _, p := range known {
		r.names.parties[p.ID] = true
	}
	for _, s := range there {
		r.names.sites[s.ID] = true
	}
	return nil
}

// check refuses an entry that names a party or a site that is not there.
func (n names) check(e *domain.Entry) error {
	refs := e.Body.Refs()
	if n.known && refs.Party != nil && !n.parties[*refs.Party] {
		pointer := "/supplier_id"
		switch e.Body.(type) {
		case domain.Sale:
			pointer = "/buyer_id"
		case domain.Payment:
			pointer = "/party_id"
		}
		missing := unknown("party", pointer)
		return &missing
	}
	if n.known && refs.ToSite != nil && !n.sites[*refs.ToSite] {
		missing := unknown("site", "/to_site_id")
		return &missing
	}
	return nil
}
