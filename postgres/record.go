package postgres

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"maps"
	"slices"

	"shoalbook/domain"
)

// Recording is what a client wants to have recorded, at once.
type Recording struct {
	Entries []domain.Entry
	Strict  bool // all or nothing
	Hold    bool // keep what does not fit outside the journal, until it does

	// Kinds says which roles may record entries of a kind, and reverse them; a
	// coordinator may any.
	Kinds map[string][]domain.Role
}

// Outcome is what became of one entry.
type Outcome struct {
	ID        domain.EntryID
	Status    string // created, exists, conflict, refused, held
	Refusal   *domain.Error
	Questions []Doubt
}

// Doubt is something a person should look at; it refuses nothing.
type Doubt struct{ Code, Text string }

// ErrNotAll makes the transaction of a strict recording leave nothing behind.
var ErrNotAll = &domain.Error{Kind: domain.Refused, Code: "not_all_recorded", Detail: "nothing was recorded, since not every entry could be: see the results"}

// Record takes entries into the journal. The outcomes are in the order of the
// entries. With Strict, an entry that cannot be recorded makes the error
// not_all_recorded, and the transaction must not be kept.
//
// The entries of a request are applied site by site in the order in which they are
// folded, whatever order they came in. Where all of them fit together, all are
// recorded; else those that fit with what comes before them, in that order.
func (tx *Tx) Record(ctx context.Context, r Recording) ([]Outcome, error) {
	rec := &recorder{tx: tx, Recording: r, out: make([]Outcome, len(r.Entries)), first: map[domain.EntryID]*item{}, twins: map[int]int{}}
	if err := rec.run(ctx); err != nil {
		return nil, err
	}
	for i, first := range rec.twins { // become what the other one became
		if rec.out[i] = rec.out[first]; rec.out[i].Status == "created" {
			rec.out[i].Status = "exists"
		}
	}
	if r.Strict && slices.ContainsFunc(rec.out, func(o Outcome) bool { return o.Status == "refused" || o.Status == "conflict" }) {
		return rec.out, ErrNotAll
	}
	return rec.out, nil
}

type recorder struct {
	tx *Tx
	Recording
	out      []Outcome
	currency domain.Currency
	sites    map[domain.SiteID]*siteWork
	names    names
	prices   map[string][]domain.Priced // only if something has a price
	first    map[domain.EntryID]*item   // of each id in the request
	twins    map[int]int                // entries that say again what another one of the request says
}

// siteWork is what is known and done of one site in a recording.
type siteWork struct {
	id    domain.SiteID
	head  headRow
	last  *domain.Site // as of the last entry
	held  []heldRow
	today domain.Date
	items []*item
}

// item is an entry on its way into the journal.
type item struct {
	index    int // in the request; -1: held until now
	entry    domain.Entry
	body     []byte
	digest   [32]byte
	target   *targetRow      // of a reversal
	arriving *consignmentRow // of a received entry
}

type headRow struct {
	SiteID   domain.SiteID
	Zone     *string
	Archived bool
	Version  *int64
	LastOn   *domain.Date
	LastRank *int16
	LastAt   *int16
	LastID   *domain.EntryID
	Holding  bool // some entries are held
}

// position returns where the journal of the site ends.
func (h headRow) position() (domain.Position, bool) {
	if h.LastOn == nil {
		return domain.Position{}, false
	}
	return domain.Position{On: *h.LastOn, Rank: *h.LastRank, At: *h.LastAt, ID: *h.LastID}, true
}

// targetRow is an entry that is to be reversed.
type targetRow struct {
	ID         domain.EntryID
	SiteID     domain.SiteID
	Kind       string
	OccurredOn domain.Date
	ReversedBy *domain.EntryID
	ReceivedID *domain.EntryID
	SentID     *domain.EntryID
}

func (r *recorder) run(ctx context.Context) error {
	var err error
	if r.currency, err = r.tx.Currency(ctx); err != nil {
		return err
	}
	r.sites = map[domain.SiteID]*siteWork{}
	for i := range r.Entries {
		e := &r.Entries[i]
		r.out[i].ID = e.ID
		if r.sites[e.Site] == nil {
			r.sites[e.Site] = &siteWork{id: e.Site}
		}
	}
	ids := slices.SortedFunc(maps.Keys(r.sites), domain.SiteID.Compare)
	if err := r.lookAhead(ctx); err != nil {
		return err
	}
	if err := r.load(ctx, ids); err != nil {
		return err
	}
	// What is received may have been sent in the same request.
	slices.SortStableFunc(ids, func(a, b domain.SiteID) int {
		return cmp.Compare(r.receives(a), r.receives(b))
	})
	for _, id := range ids {
		if err := r.site(ctx, r.sites[id]); err != nil {
			return err
		}
	}
	return nil
}

func (r *recorder) receives(site domain.SiteID) int {
	n := 0
	for _, it := range r.sites[site].items {
		if _, ok := it.entry.Body.(domain.Received); ok {
			n++
		}
	}
	return n
}

// load locks the sites and reads, in one round trip, how far they are and what is
// there already of what is sent.
func (r *recorder) load(ctx context.Context, sites []domain.SiteID) error {
	tx := r.tx
	var heads []headRow
	later(tx, &heads, lockSites, tx.coop, sites)
	var known []struct {
		ID     domain.EntryID
		Digest []byte
	}
	ids := make([]domain.EntryID, len(r.Entries))
	for i, e := range r.Entries {
		ids[i] = e.ID
	}
	if len(ids) == 1 { // never read more than one row for it, even where the planner knows nothing of the table
		later(tx, &known, `select id, digest from entry where coop_id = $1 and own_site(site_id) and id = $2`, tx.coop, ids[0])
	} else {
		later(tx, &known, `select id, digest from entry where coop_id = $1 and own_site(site_id) and id = any($2)`, tx.coop, ids)
	}
	targets, arrivals := r.refer()
	priced := r.pricesBefore()
	if err := tx.flush(ctx); err != nil {
		return err
	}
	if err := r.takePrices(*priced); err != nil {
		return err
	}
	if len(heads) < len(sites) { // the first entry of a site, or there is no such site
		tx.queue(makeHeads, tx.coop, sites)
		later(tx, &heads, lockSites, tx.coop, sites)
		if err := tx.flush(ctx); err != nil {
			return err
		}
	}
	actor, err := tx.Actor(ctx)
	if err != nil {
		return err
	}
	for _, h := range heads {
		w := r.sites[h.SiteID]
		w.head = h
		if w.today, err = today(cmp.Or(deref(h.Zone), actor.Zone), actor.At); err != nil {
			return err
		}
	}
	digests := map[domain.EntryID][]byte{}
	for _, k := range known {
		digests[k.ID] = k.Digest
	}
	for i := range r.Entries {
		r.admit(i, digests, *targets, *arrivals)
	}
	return nil
}

// Writers share a lock that whoever issues a report takes alone: so nothing is in
// flight when it says what is known.
const (
	lockSites = `
		select h.site_id, s.zone, s.archived, h.version, h.last_on, h.last_rank, h.last_at, h.last_id,
			exists (select from held where held.coop_id = h.coop_id and own_site(held.site_id) and held.site_id = h.site_id) as holding
		from site_head h join site s on s.coop_id = h.coop_id and own_site(s.id) and s.id = h.site_id
		where h.coop_id = $1 and own_site(h.site_id) and h.site_id = any($2) and pg_advisory_xact_lock_shared(hashtextextended(h.coop_id::text, 0)) is not null
		order by h.site_id for no key update of h`
	makeHeads = `
		insert into site_head (coop_id, site_id)
		select coop_id, id from site where coop_id = $1 and own_site(id) and id = any($2)
		on conflict do nothing`
)

// refer queues the reading of what entries name by id: the ones to be reversed, and
// the consignments to be received.
func (r *recorder) refer() (*[]targetRow, *[]consignmentRow) {
	var reversed, sent []domain.EntryID
	for _, e := range r.Entries {
		switch b := e.Body.(type) {
		case domain.Reversal:
			reversed = append(reversed, b.Reverses)
		case domain.Received:
			sent = append(sent, b.Sent)
		}
	}
	targets, arrivals := new([]targetRow), new([]consignmentRow)
	if reversed != nil {
		const sql = `
			select e.id, e.site_id, e.kind, e.occurred_on, r.id as reversed_by, t.received_id,
				case e.kind when 'received' then (e.body ->> 'sent_id')::uuid end as sent_id
			from entry e
			left join entry r on r.coop_id = e.coop_id and own_site(r.site_id) and r.reverses_id = e.id
			left join transit t on t.coop_id = e.coop_id and (own_site(t.from_site_id) or own_site(t.to_site_id)) and t.sent_id = e.id
			where e.coop_id = $1 and own_site(e.site_id) and e.id = any($2)`
		later(r.tx, targets, sql, r.tx.coop, reversed)
	}
	if sent != nil {
		later(r.tx, arrivals, consignmentsByID, r.tx.coop, sent)
	}
	return targets, arrivals
}

const consignmentsByID = `
	select ` + consignmentColumns + ` from transit
	where coop_id = $1 and (own_site(from_site_id) or own_site(to_site_id)) and sent_id = any($2) and not reversed
	order by sent_id for no key update`

// arrival reads a consignment that is to be received, if it is known here.
func (tx *Tx) arrival(ctx context.Context, sent domain.EntryID) (*consignmentRow, error) {
	found, err := all[consignmentRow](ctx, tx, consignmentsByID, tx.coop, []domain.EntryID{sent})
	if err != nil || len(found) == 0 {
		return nil, err
	}
	return &found[0], nil
}

// admit judges an entry by itself, and puts it to the work of its site.
func (r *recorder) admit(i int, known map[domain.EntryID][]byte, targets []targetRow, arrivals []consignmentRow) {
	e := r.Entries[i]
	w := r.sites[e.Site]
	it := &item{index: i, entry: e, body: domain.EncodeBody(e.Body, r.currency)}
	it.digest = digest(&e, it.body)
	if digest, ok := known[e.ID]; ok {
		r.repeated(i, it.digest, digest)
		return
	}
	if r.names.taken[e.ID] {
		r.repeated(i, it.digest, nil)
		return
	}
	if first := r.first[e.ID]; first == nil {
		r.first[e.ID] = it
	} else if first.digest == it.digest {
		r.twins[i] = first.index
		return
	} else {
		r.repeated(i, it.digest, first.digest[:])
		return
	}
	if err := cmp.Or(r.allowed(e.Body.Kind()), r.mayOverride(e.Body)); err != nil {
		r.refuse(it, err)
		return
	}
	switch {
	case w.head.Version == nil:
		r.refuse(it, &domain.Error{Kind: domain.Refused, Code: "unknown_reference", Detail: "there is no such site for this token: look at its id, or ask for a token that is for it", Fields: []domain.FieldError{{Pointer: "/site_id", Detail: "there is no such site"}}})
		return
	case w.head.Archived:
		r.refuse(it, domain.Refuse("archived", "the site is archived: bring it back before recording for it"))
		return
	}
	if err := cmp.Or(e.Check(w.today), r.names.check(&e)); err != nil {
		r.refuse(it, err)
		return
	}
	switch b := e.Body.(type) {
	case domain.Reversal:
		k := slices.IndexFunc(targets, func(t targetRow) bool { return t.ID == b.Reverses })
		if k < 0 || targets[k].SiteID != e.Site {
			r.refuse(it, &domain.Error{Kind: domain.Refused, Code: "unknown_reference", Detail: "there is no such entry at this site: look at its id, and at the site", Fields: []domain.FieldError{{Pointer: "/reverses_id", Detail: "there is no such entry at this site"}}})
			return
		}
		if err := r.allowed(targets[k].Kind); err != nil {
			r.refuse(it, err)
			return
		}
		it.target = &targets[k]
	case domain.Received:
		if k := slices.IndexFunc(arrivals, func(c consignmentRow) bool { return c.SentID == b.Sent }); k >= 0 {
			it.arriving = &arrivals[k]
		}
	}
	w.items = append(w.items, it)
}

// allowed refuses entries of a kind that are not for the one who acts.
func (r *recorder) allowed(kind string) error {
	if role := r.tx.actor.Role; role != domain.Coordinator && !slices.Contains(r.Kinds[kind], role) {
		return domain.Errorf(domain.Forbidden, "forbidden", "a token of the role %s is not for entries of the kind %s", role, kind)
	}
	return nil
}

// mayOverride refuses a harvest within a withdrawal that is not for the one who acts to
// allow.
func (r *recorder) mayOverride(b domain.Body) error {
	if h, ok := b.(domain.Harvest); ok && h.OverrideWithdrawal != nil && r.tx.actor.Role != domain.Coordinator {
		return &domain.Error{Kind: domain.Forbidden, Code: "forbidden", Detail: "only a coordinator may let fish be harvested for food within their withdrawal",
			Fields: []domain.FieldError{{Pointer: "/override_withdrawal", Detail: "is for a coordinator"}}}
	}
	return nil
}

func (r *recorder) repeated(i int, digest [32]byte, known []byte) {
	if slices.Equal(digest[:], known) {
		r.out[i].Status = "exists"
		return
	}
	r.out[i].Status = "conflict"
	r.out[i].Refusal = domain.Errorf(domain.Conflict, "id_conflict", "this id is in use for an entry that says something else: entries are never edited, reverse it and record a new one")
}

// refuse notes that an entry cannot be recorded.
func (r *recorder) refuse(it *item, err error) {
	var refusal *domain.Error
	if !errors.As(err, &refusal) {
		refusal = domain.Errorf(domain.Internal, "internal", "the entry could not be judged")
	}
	if it.index < 0 {
		return // it stays held
	}
	o := &r.out[it.index]
	o.Status, o.Refusal = "refused", refusal
	if r.Hold && r.sites[it.entry.Site].head.Version != nil && holdable(it, refusal) {
		o.Status = "held"
		r.tx.hold(it, refusal)
	}
}

// holdable reports whether an entry may fit one day: what it says is possible, only
// something that belongs before it is missing.
func holdable(it *item, refusal *domain.Error) bool {
	if refusal.Kind != domain.Refused || refusal.Code == "archived" {
		return false
	}
	switch it.entry.Body.(type) {
	case domain.Reversal:
		return false
	case domain.Received: // what was sent may be recorded later
		return true
	}
	return refusal.Code != "unknown_reference"
}

// site records what is to be recorded of one site.
func (r *recorder) site(ctx context.Context, w *siteWork) error {
	if len(w.items) == 0 {
		return nil
	}
	if err := r.lastState(ctx, w); err != nil {
		return err
	}
	for _, h := range w.held { // what was held may fit now
		it, err := h.item(r.currency)
		if err != nil {
			return err
		}
		if r.tx.careful || it.entry.Check(w.today) != nil { // it may be what does not fit, or its day has not come
			continue
		}
		if b, ok := it.entry.Body.(domain.Received); ok {
			if it.arriving, err = r.tx.arrival(ctx, b.Sent); err != nil {
				return err
			}
		}
		if !slices.ContainsFunc(r.Entries, func(e domain.Entry) bool { return e.ID == it.entry.ID }) {
			w.items = append(w.items, it)
		}
	}
	slices.SortFunc(w.items, func(a, b *item) int { return a.entry.Position().Compare(b.entry.Position()) })
	f := &folding{recorder: r, siteWork: w}
	return f.run(ctx)
}

// lastState gets the state of a site as of its last entry, from memory if it is
// there, and what is held.
func (r *recorder) lastState(ctx context.Context, w *siteWork) error {
	tx := r.tx
	if known, ok := tx.store.states.get(siteKey{tx.coop, w.id}, *w.head.Version); ok && w.knows(known) { // else something was added to the registry since
		w.last = copied(known)
	}
	if w.last != nil && !w.head.Holding {
		return nil
	}
	if w.head.Holding {
		later(tx, &w.held, `select id, kind, occurred_on, entry, code, detail, recorded_at from held where coop_id = $1 and own_site($2) and site_id = $2`, tx.coop, w.id)
	}
	var facts siteFacts
	var st states
	if w.last == nil {
		tx.factsOf(w.id, forever, &facts)
		tx.statesBefore(w.id, domain.Date(1<<20), &st)
	}
	if err := tx.flush(ctx); err != nil {
		return err
	}
	if w.last == nil {
		w.last = domain.NewSite(w.id, facts.facts())
		st.put(w.last)
	}
	return nil
}

// knows reports whether a state knows everything that the items refer to.
func (w *siteWork) knows(s *domain.Site) bool {
	f := s.Facts
	for _, it := range w.items {
		refs := it.entry.Body.Refs()
		for _, id := range []*domain.BatchID{refs.Batch, refs.ToBatch} {
			if _, ok := f.Batches[deref(id)]; id != nil && !ok {
				return false
			}
		}
		if _, ok := f.Units[deref(refs.Unit)]; refs.Unit != nil && !ok {
			return false
		}
		if _, ok := f.Products[deref(refs.Product)]; refs.Product != nil && !ok {
			return false
		}
	}
	return true
}

// digest tells an entry sent again from another one with the same id.
func digest(e *domain.Entry, body []byte) [32]byte {
	return sha256.Sum256(domain.JoinEntry(e.ID, e.Body.Kind(), e.Site, e.On, e.At, e.Note, body))
}

func deref[T any](p *T) T {
	if p == nil {
		var zero T
		return zero
	}
	return *p
}
