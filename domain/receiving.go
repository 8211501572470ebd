package domain

import "fmt"

// Delivery is a drop as whoever received it wrote it down: what came to one site for one
// line of an order.
type Delivery struct {
	ID         DeliveryID // also of the entry of the journal that comes of it
	Request    RequestID
	On         Date
	At         *Minute
	Loaded     *Pieces // by the paper of the supplier
	Condition  *string
	ReceivedBy string
	Note       *string
	Batch      *BatchID // that is made for the fish, under this id
	BatchName  *string  // nil: as the round
	Into       *BatchID // that takes the fish, and is there
	Drop
}

// ExpectedDrop is a line of an order as it is received.
type ExpectedDrop struct {
	Round     string // its name
	Site      SiteID
	Unit      *UnitID    // of fish
	Species   *string    // nil: a product
	Product   *ProductID // nil: fish
	Supplier  PartyID
	ExpiresOn *Date
	Due       Due

	// When it was ordered, was to come, and the round wanted it.
	OrderedOn, ArrivesOn, WindowFrom, WindowTo Date
}

// daysOff is how many days before or after it was to come a delivery is not asked about
// (common practice, no source).
const daysOff = 3

// Questions returns what is to be asked about a delivery that is possible, and seldom so.
func (d *Delivery) Questions(x *ExpectedDrop, a *Arrival) (asked []Question) {
	ask := func(code, text string, figures ...NamedValue) {
		asked = append(asked, Question{EntryID(d.ID), code, text, figures})
	}
	from, to := min(x.WindowFrom, x.ArrivesOn), max(x.WindowTo, x.ArrivesOn)
	wanted := fmt.Sprintf("This came on %s. It was ordered on %s for %s, and the round wanted it from %s to %s", d.On, x.OrderedOn, x.ArrivesOn, x.WindowFrom, x.WindowTo)
	switch {
	case d.On < x.OrderedOn:
		ask("delivery_day", wanted+": did it come before it was ordered?", NamedValue{"days_before_the_order", float64(x.OrderedOn - d.On)})
	case d.On < from-daysOff:
		ask("delivery_day", wanted+": is the date right?", NamedValue{"days_early", float64(from - d.On)})
	case d.On > to+daysOff:
		ask("delivery_day", wanted+": is the date right?", NamedValue{"days_late", float64(d.On - to)})
	}
	if due := x.Due.Quantity; a.Came > 2*due || a.Came > 0 && 2*a.Came < due {
		ask("delivery_count", fmt.Sprintf("%d came, and %d were due: is the number right?", a.Came, due), NamedValue{"came", float64(a.Came)}, NamedValue{"due", float64(due)})
	}
	return asked
}

// Check refuses a delivery that cannot be of what is expected.
func (d *Delivery) Check(x *ExpectedDrop) error {
	c := &checker{}
	c.require(d.ReceivedBy != "" && fits(d.ReceivedBy, 200), "/received_by", "must be 1 to 200 characters")
	c.require(d.Condition == nil || fits(*d.Condition, 500), "/condition", "must be 1 to 500 characters")
	c.note(d.Note)
	c.require(d.BatchName == nil || fits(*d.BatchName, 200), "/batch_name", "must be 1 to 200 characters")
	c.require(d.BatchName == nil || d.Batch != nil, "/batch_name", "is for a new batch")
	c.require(d.Loaded == nil || *d.Loaded >= 0 && *d.Loaded <= mostPieces, "/loaded", "must be between 0 and 1 000 000 000")
	c.require(d.Batch == nil || d.Into == nil, "/into_batch_id", "give a new batch, or one that is there, not both")
	if x.Species == nil {
		c.require(d.Batch == nil && d.Into == nil, "/batch_id", "is for fish: a product goes to the store")
	}
	return c.refuse("the delivery")
}

// NewBatch returns the batch that is made for the fish, or nil.
func (d *Delivery) NewBatch(x *ExpectedDrop) *Batch {
	if d.Batch == nil || x.Unit == nil || x.Species == nil {
		return nil
	}
	b := &Batch{ID: *d.Batch, Site: x.Site, Unit: *x.Unit, Species: *x.Species, Name: x.Round}
	if d.BatchName != nil {
		b.Name = *d.BatchName
	}
	return b
}

// Entry returns what becomes of a delivery in the journal: the living fish are stocked, or
// the product is received, at what the drop costs. Where nothing is left there is none.
func (d *Delivery) Entry(x *ExpectedDrop, a *Arrival) (*Entry, error) {
	if a.Alive == 0 {
		return nil, nil
	}
	e := &Entry{ID: EntryID(d.ID), Site: x.Site, On: d.On, At: d.At}
	if d.Note != nil {
		e.Note = *d.Note
	}
	landed, supplier := a.Landed, x.Supplier
	if x.Product != nil {
		e.Body = Receipt{Product: *x.Product, Quantity: Quantity(a.Alive) * 1000, Origin: "bought", Supplier: &supplier, Amount: &landed, ExpiresOn: x.ExpiresOn}
		return e, nil
	}
	batch := d.Batch
	if batch == nil {
		batch = d.Into
	}
	if batch == nil {
		return nil, invalidMember("the delivery", "/batch_id", "say which batch takes the living fish: a new one, or into_batch_id")
	}
	e.Body = Stocking{Batch: *batch, Origin: "bought", Count: Fish(a.Alive), MeanWeight: a.MeanWeight, Supplier: &supplier, Amount: &landed}
	return e, nil
}

// Repriced returns an entry as it was, at another amount: what replaces it where it turned
// out to cost something else.
func Repriced(e Entry, amount Money) (Entry, bool) {
	switch b := e.Body.(type) {
	case Stocking:
		b.Amount, b.UnitPrice = &amount, nil
		e.Body = b
	case Receipt:
		b.Amount, b.UnitPrice = &amount, nil
		e.Body = b
	default:
		return e, false
	}
	return e, true
}

// LeftAlone is an entry of a delivery that somebody has reversed by hand before its round
// was settled. Settling does not touch it: whoever did so knows what the fish or goods are.
type LeftAlone struct {
	Delivery    DeliveryID
	Site        SiteID
	SiteName    string
	Entry       EntryID
	Replacement *EntryID // in its place, by hand
	By, Reason  string
	Cost        Money // of the drop, after all
}

// Says tells what was left, and what to look at.
func (l *LeftAlone) Says(c Currency) string {
	cost := c.Format(l.Cost) + " " + string(c)
	says := fmt.Sprintf("At %s, %s has reversed the entry of this delivery by hand (“%s”), and it was left so. The site is charged %s", l.SiteName, l.By, l.Reason, cost)
	if l.Replacement != nil {
		return says + ": look whether the entry in its place says what came, and that amount."
	}
	return says + ", and the journal has no entry with that cost: if the fish or goods are there, record them by hand at that amount."
}
