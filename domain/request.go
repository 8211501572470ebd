package domain

import "time"

// Request is what one site needs from a round: fish for one of its units, or a product
// for its store.
type Request struct {
	ID        RequestID
	Round     RoundID // never changes
	Site      SiteID  // never changes
	Unit      *UnitID // of fish: where they are to swim. Never changes.
	Quantity  Pieces  // that it needs: of fish, alive when the round's need is counted
	Least     Pieces  // fewer are of no use to it, and it would rather have none
	Most      Pieces  // it can take
	SizeFrom  *Milligrams
	SizeTo    *Milligrams // of one fish, on average; nil: any
	Earliest  Date        // of delivery, both days included
	Latest    Date
	Note      *string
	Withdrawn bool
	Version   int64
	CreatedAt time.Time
}

// Check refuses a request that cannot be. What it needs of its round, see [Request.Fits].
func (q *Request) Check() error {
	c := &checker{}
	c.pieces(q.Quantity, "/quantity")
	c.pieces(q.Least, "/least")
	c.pieces(q.Most, "/most")
	weight := func(w *Milligrams, pointer string) {
		c.require(w == nil || *w > 0 && *w <= heaviest, pointer, "must be more than 0 and at most 60 kg")
	}
	weight(q.SizeFrom, "/size_from_g")
	weight(q.SizeTo, "/size_to_g")
	c.require(q.Earliest >= earliest && q.Latest <= latest, "/earliest", "must be after 1990")
	c.note(q.Note)
	if err := c.refuse("the request"); err != nil {
		return err
	}
	c.require(q.Least <= q.Quantity, "/least", "must not be more than the quantity")
	c.require(q.Most >= q.Quantity, "/most", "must not be less than the quantity")
	c.require(q.SizeFrom == nil || q.SizeTo == nil || *q.SizeFrom <= *q.SizeTo, "/size_to_g", "must not be less than size_from_g")
	c.require(q.Earliest <= q.Latest, "/latest", "must not be before earliest")
	return c.deny("impossible_request", "the request does not fit together")
}

// Fits refuses a request that is not of its round's kind.
func (q *Request) Fits(r *Round) error {
	c := &checker{}
	if r.Fish() {
		c.require(q.Unit != nil, "/unit_id", "say which tank, pond or cage the fish are for")
	} else {
		c.require(q.Unit == nil, "/unit_id", "a product is for the store of the site, and for no tank")
		c.require(q.SizeFrom == nil && q.SizeTo == nil, "/size_from_g", "is of fish, and the round buys a product")
	}
	return c.deny("impossible_request", "the request is not what the round buys")
}
