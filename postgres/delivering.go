package postgres

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// Drops is what was received of one order, to be kept all or not at all.
type Drops struct {
	Order      domain.OrderID
	Deliveries []domain.Delivery
	Kinds      map[string][]domain.Role // see [Recording]
}

// Received is what became of one delivery.
type Received struct {
	ID        domain.DeliveryID
	Status    string // created, exists
	Questions []Doubt
}

// Receive records deliveries of an order: for each the claims that are made for it, the
// batch that takes the fish if it is new, and the entry of the journal that stocks the
// fish or receives the product at what the drop costs. What was recorded before in the
// same words is as it is. Where one of them cannot be, none is.
func (tx *Tx) Receive(ctx context.Context, d Drops) ([]Received, error) {
	o, err := tx.lockOrder(ctx, d.Order)
	if err != nil {
		return nil, err
	}
	r := &receiver{tx: tx, Drops: d, order: o, out: make([]Received, len(d.Deliveries))}
	if err := r.known(ctx); err != nil {
		return nil, err
	}
	if len(r.fresh) == 0 {
		return r.out, nil
	}
	if err := o.Round.Require("a delivery is recorded", domain.RoundOrdered, domain.RoundDelivering); err != nil {
		return nil, err
	}
	if err := r.judge(ctx); err != nil {
		return nil, err
	}
	if err := r.record(ctx); err != nil {
		return nil, err
	}
	r.keep()
	if o.Round.State != domain.RoundDelivering { // it is the first
		_, err = tx.AdvanceRound(ctx, o.Round.ID, domain.RoundDelivering)
	}
	return r.out, err
}

type receiver struct {
	tx *Tx
	Drops
	order    orderRow
	out      []Received
	fresh    []int // of the deliveries, those that are not known
	expected map[domain.RequestID]*domain.ExpectedDrop
	arrivals []*domain.Arrival // of the fresh ones
	entries  []domain.Entry
	of       []int // of each entry, the delivery
}

// orderRow is an order with its round, as far as deliveries and what follows from them
// need to know it.
type orderRow struct {
	ID        domain.OrderID
	PartyID   domain.PartyID
	Version   int64
	OrderedOn domain.Date
	ArrivesOn domain.Date
	ExpiresOn *domain.Date
	Round     domain.Round
	quoted
}

// quoted is what the supplier has offered, as the order has it.
type quoted struct {
	MeanWeight      *domain.Milligrams
	WeightCVPercent *domain.Thousandths
	DeathsPercent   domain.Thousandths
	ShortPercent    domain.Thousandths
}

// lockOrder reads an order and keeps its round for this transaction: what is delivered,
// shared out, credited and settled of one round is so one after the other.
func (tx *Tx) lockOrder(ctx context.Context, id domain.OrderID) (orderRow, error) {
	const sql = `
		select o.id, o.party_id, o.version, o.ordered_on, o.arrives_on, o.expires_on, o.mean_weight, o.weight_cv_percent, o.deaths_percent, o.short_percent,
			r.id as round_id, r.name as round_name, r.species, r.product_id, r.window_from, r.window_to, r.state, r.fees_by
		from purchase_order o join round r on r.coop_id = o.coop_id and r.id = o.round_id
		where o.coop_id = $1 and o.id = $2 for no key update of r`
	found, err := one[struct {
		ID        domain.OrderID
		PartyID   domain.PartyID
		Version   int64
		OrderedOn domain.Date
		ArrivesOn domain.Date
		ExpiresOn *domain.Date
		quoted
		RoundID    domain.RoundID
		RoundName  string
		Species    *string
		ProductID  *domain.ProductID
		WindowFrom domain.Date
		WindowTo   domain.Date
		State      domain.RoundState
		FeesBy     string
	}](ctx, tx, sql, tx.coop, id)
	if errors.Is(err, pgx.ErrNoRows) {
		return orderRow{}, domain.Missing("order")
	}
	round := domain.Round{ID: found.RoundID, Name: found.RoundName, Species: found.Species, Product: found.ProductID, WindowFrom: found.WindowFrom, WindowTo: found.WindowTo,
		State: found.State, FeesBy: found.FeesBy}
	return orderRow{ID: found.ID, PartyID: found.PartyID, Version: found.Version, OrderedOn: found.OrderedOn, ArrivesOn: found.ArrivesOn, ExpiresOn: found.ExpiresOn,
		quoted: found.quoted, Round: round}, err
}

// known finds the deliveries that were recorded before.
func (r *receiver) known(ctx context.Context) error {
	ids := make([]domain.DeliveryID, len(r.Deliveries))
	for i, d := range r.Deliveries {
		ids[i] = d.ID
	}
	found, err := all[struct {
		ID     domain.DeliveryID
		Digest []byte
	}](ctx, r.tx, `select id, digest from delivery where coop_id = $1 and own_site(site_id) and id = any($2)`, r.tx.coop, ids)
	if err != nil {
		return err
	}
	digests := map[domain.DeliveryID][]byte{}
	for _, f := range found {
		digests[f.ID] = f.Digest
	}
	for i := range r.Deliveries {
		d := &r.Deliveries[i]
		r.out[i] = Received{ID: d.ID, Status: "created"}
		said := r.digest(d)
		switch was, ok := digests[d.ID]; {
		case ok && slices.Equal(was, said[:]):
			r.out[i].Status = "exists"
		case ok:
			return at(i, &domain.Error{Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for a delivery that says something else: deliveries are never edited, reverse it and record it anew",
				Fields: []domain.FieldError{{Pointer: "/id", Detail: "is in use"}}})
		default:
			digests[d.ID] = said[:]
			r.fresh = append(r.fresh, i)
		}
	}
	return nil
}

// digest tells a delivery that is sent again from another one with the same id.
func (r *receiver) digest(d *domain.Delivery) [32]byte {
	text, _ := json.Marshal(struct { // of ids, numbers and texts it always can
		Order domain.OrderID
		*domain.Delivery
	}{r.Order, d})
	return sha256.Sum256(text)
}

// at says which delivery of the request a refusal is about.
func at(i int, err error) error {
	var refusal *domain.Error
	if !errors.As(err, &refusal) {
		return err
	}
	whole := *refusal
	whole.Fields = nil
	for _, f := range refusal.Fields {
		whole.Fields = append(whole.Fields, domain.FieldError{Pointer: fmt.Sprintf("/deliveries/%d%s", i, f.Pointer), Detail: f.Detail})
	}
	return &whole
}

// judge holds what came against what is due, and makes the entries.
func (r *receiver) judge(ctx context.Context) error {
	if err := r.expect(ctx); err != nil {
		return err
	}
	for _, i := range r.fresh {
		d := &r.Deliveries[i]
		x := r.expected[d.Request]
		if err := d.Check(x); err != nil {
			return at(i, err)
		}
		a, err := d.Judge(&x.Due)
		if err != nil {
			return at(i, err)
		}
		e, err := d.Entry(x, a)
		if err != nil {
			return at(i, err)
		}
		r.arrivals = append(r.arrivals, a)
		if e != nil {
			r.entries, r.of = append(r.entries, *e), append(r.of, i)
		}
		if err := r.batch(ctx, d, x, a); err != nil {
			return at(i, err)
		}
	}
	return nil
}

// lineRow is a line of an order with what has become of it.
type lineRow struct {
	RequestID  domain.RequestID
	SiteID     domain.SiteID
	UnitID     *domain.UnitID
	Quantity   domain.Pieces
	Allotted   *domain.Pieces
	Goods      domain.Money
	Fees       domain.Money
	ReceivedBy *string // nil: nothing came yet
	RecordedBy *string
	RecordedAt *time.Time
}

// due returns what is to come: what was shared out, else what was ordered.
func (l *lineRow) due() domain.Pieces {
	if l.Allotted != nil {
		return min(*l.Allotted, l.Quantity)
	}
	return l.Quantity
}

// expect reads the lines of the order that the deliveries are for.
func (r *receiver) expect(ctx context.Context) error {
	const sql = `
		select l.request_id, l.site_id, l.unit_id, l.quantity, a.allotted, l.goods, l.order_fee + l.drop_fee + l.route_fee + l.capped as fees,
			d.received_by, d.recorded_by, d.recorded_at
		from order_line l
		left join allotment a on a.coop_id = l.coop_id and own_site(a.site_id) and a.order_id = l.order_id and a.request_id = l.request_id
		left join delivery d on d.coop_id = l.coop_id and own_site(d.site_id) and d.order_id = l.order_id and d.request_id = l.request_id and d.reversed_at is null
		where l.coop_id = $1 and own_site(l.site_id) and l.order_id = $2 and l.version = $3 and l.request_id = any($4)`
	var requests []domain.RequestID
	for _, i := range r.fresh {
		requests = append(requests, r.Deliveries[i].Request)
	}
	found, err := all[lineRow](ctx, r.tx, sql, r.tx.coop, r.Order, r.order.Version, requests)
	if err != nil {
		return err
	}
	r.expected = map[domain.RequestID]*domain.ExpectedDrop{}
	for n, i := range r.fresh {
		k := slices.IndexFunc(found, func(l lineRow) bool { return l.RequestID == requests[n] })
		if k < 0 {
			return at(i, &domain.Error{Kind: domain.Refused, Code: "unknown_reference", Detail: "the order has nothing for this request: look at its id, and at the lines of the order",
				Fields: []domain.FieldError{{Pointer: "/request_id", Detail: "is not in the order"}}})
		}
		l := &found[k]
		if l.RecordedAt != nil || r.expected[l.RequestID] != nil {
			return at(i, received(l))
		}
		r.expected[l.RequestID] = r.order.expect(l)
	}
	return nil
}

// received says who was first to record what came for a line.
func received(l *lineRow) error {
	by := "by another delivery of this request"
	if l.RecordedAt != nil {
		by = fmt.Sprintf("by %s, recorded by %s at %s", *l.ReceivedBy, *l.RecordedBy, l.RecordedAt.UTC().Format("2006-01-02 15:04:05 UTC"))
	}
	return &domain.Error{Kind: domain.Conflict, Code: "already_received", Detail: "this was received already " + by + ": look at what was recorded, and reverse it if it is wrong",
		Fields: []domain.FieldError{{Pointer: "/request_id", Detail: "was received already"}}}
}

// expect returns what a line says of a drop. Of a short delivery the goods cost what was
// shared out at the price of the order.
func (o *orderRow) expect(l *lineRow) *domain.ExpectedDrop {
	due := domain.Due{Quantity: l.due(), Cost: l.Goods.Part(int64(l.due()), int64(l.Quantity)), Fees: l.Fees,
		ShortPercent: o.ShortPercent, DeathsPercent: o.DeathsPercent, MeanWeight: o.MeanWeight, CVPercent: o.WeightCVPercent}
	return &domain.ExpectedDrop{Round: o.Round.Name, Site: l.SiteID, Unit: l.UnitID, Species: o.Round.Species, Product: o.Round.Product,
		Supplier: o.PartyID, ExpiresOn: o.ExpiresOn, Due: due, OrderedOn: o.OrderedOn, ArrivesOn: o.ArrivesOn, WindowFrom: o.Round.WindowFrom, WindowTo: o.Round.WindowTo}
}

// batch makes the batch that takes the fish, or looks at the one that is there.
func (r *receiver) batch(ctx context.Context, d *domain.Delivery, x *domain.ExpectedDrop, a *domain.Arrival) error {
	if b := d.NewBatch(x); b != nil && a.Alive > 0 {
		_, _, err := CreateBatch(ctx, r.tx, *b)
		return renamed(err, map[string]string{"/id": "/batch_id", "/name": "/batch_name"})
	}
	if d.Into == nil {
		return nil
	}
	const sql = `select species from batch where coop_id = $1 and own_site($2) and site_id = $2 and id = $3`
	found, err := all[struct{ Species string }](ctx, r.tx, sql, r.tx.coop, x.Site, *d.Into)
	switch {
	case err != nil:
		return err
	case len(found) == 0:
		missing := unknownAtSite("batch", "/into_batch_id")
		return &missing
	case found[0].Species != *x.Species:
		return &domain.Error{Kind: domain.Refused, Code: "wrong_species", Detail: fmt.Sprintf("the batch is of %s, and what came of %s", found[0].Species, *x.Species),
			Fields: []domain.FieldError{{Pointer: "/into_batch_id", Detail: "is of another species"}}}
	}
	return nil
}

// renamed returns a refusal by the members of the request that stand for those it names.
func renamed(err error, names map[string]string) error {
	var refusal *domain.Error
	if !errors.As(err, &refusal) {
		return err
	}
	whole := *refusal
	whole.Fields = nil
	for _, f := range refusal.Fields {
		if name, ok := names[f.Pointer]; ok {
			f.Pointer = name
		}
		whole.Fields = append(whole.Fields, f)
	}
	return &whole
}

// record takes the entries into the journal.
func (r *receiver) record(ctx context.Context) error {
	if len(r.entries) == 0 {
		return nil
	}
	outcomes, err := r.tx.Record(ctx, Recording{Entries: r.entries, Strict: true, Kinds: r.Kinds})
	for k, o := range outcomes {
		if o.Refusal != nil {
			names := map[string]string{"/count": "/counted", "/quantity": "/counted", "/product_id": "/request_id"}
			if r.Deliveries[r.of[k]].Into != nil {
				names["/batch_id"] = "/into_batch_id"
			}
			return at(r.of[k], renamed(o.Refusal, names))
		}
		if o.Status == "exists" { // somebody has recorded just that by itself
			conflict := violations["delivery_pk"]
			return at(r.of[k], &conflict)
		}
		r.out[r.of[k]].Questions = o.Questions
	}
	return err
}

// keep queues the rows of the deliveries and their claims, after those of the entries.
func (r *receiver) keep() {
	const delivery = `
		insert into delivery (coop_id, id, order_id, request_id, site_id, unit_id, batch_id, entry_id, occurred_on, occurred_at, loaded, counted,
			weight, sample_count, sample_weight, cv_percent, dead, mean_weight, condition, received_by, note, amount, digest)
		values ($1, $2, $3, $4, case when own_site($5) then $5::uuid end, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23)`
	const claim = `
		insert into claim (coop_id, order_id, delivery_id, site_id, kind, quantity, amount, why)
		values ($1, $2, $3, case when own_site($4) then $4::uuid end, $5, $6, $7, $8)`
	for n, i := range r.fresh {
		d, a := &r.Deliveries[i], r.arrivals[n]
		x := r.expected[d.Request]
		var entry *domain.DeliveryID
		batch := d.Batch
		if batch == nil {
			batch = d.Into
		}
		if a.Alive > 0 {
			entry = &d.ID
		} else if d.Into == nil {
			batch = nil // there are no fish for it
		}
		var w struct {
			weight, sample *domain.Milligrams
			count          *domain.Fish
			cv             *domain.Thousandths
		}
		if d.Weighed != nil {
			weight, sample := d.Weighed.Weight.Milligrams(), d.Weighed.SampleWeight.Milligrams()
			w.weight, w.sample, w.count, w.cv = &weight, &sample, &d.Weighed.SampleCount, d.Weighed.CVPercent
		}
		said := r.digest(d)
		r.tx.queue(delivery, r.tx.coop, d.ID, r.Order, d.Request, x.Site, x.Unit, batch, entry, d.On, d.At, d.Loaded, a.Came,
			w.weight, w.count, w.sample, w.cv, d.Dead, a.MeanWeight, d.Condition, d.ReceivedBy, d.Note, a.Landed, said[:])
		for _, q := range d.Questions(x, a) {
			r.tx.keepQuestion(x.Site, q) // about the entry, if there is one
			r.out[i].Questions = append(r.out[i].Questions, Doubt{q.Code, q.Text})
		}
		for _, c := range a.Claims {
			r.tx.queue(claim, r.tx.coop, r.Order, d.ID, x.Site, c.Kind, c.Quantity, c.Amount, c.Why)
		}
	}
}
