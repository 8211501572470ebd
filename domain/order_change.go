package domain

import (
	"fmt"
	"maps"
)

// Order returns the cheapest order with which so many pieces can be sent, its price
// without fees, and whether there is one. It may be for more than is sent.
func (q *Quote) Order(n Pieces) (ordered Pieces, price Money, ok bool) {
	s := q.seller()
	o, _, ok := s.Order(int64(n))
	return Pieces(o), q.Price(Pieces(o)), ok
}

// OrderChange is what an order is to be for from now on.
type OrderChange struct {
	Reason    string
	ArrivesOn *Date // nil: as before
	Lines     []OrderChangeLine
}

// OrderChangeLine is what one request is to get.
type OrderChangeLine struct {
	Request  RequestID
	Quantity Pieces
}

// Changed returns the next version of an order by its quote, with its lines, from those
// that were. Quantities of lines that were delivered stay as they were: to change one is
// a conflict. Requests are those of the round that were not withdrawn. What keeps sites
// from paying more than alone is worked out again when the round is settled.
func (o *Order) Changed(c *OrderChange, was []OrderLine, delivered map[RequestID]bool, q *Quote, requests map[RequestID]*Request, feesBy string) (*OrderVersion, []OrderLine, error) {
	before := map[RequestID]*OrderLine{}
	for i := range was {
		before[was[i].Request] = &was[i]
	}
	v := &OrderVersion{Order: o.ID, Version: o.Version + 1, Reason: &c.Reason, ArrivesOn: o.ArrivesOn, FeeOrder: q.FeeOrder}
	if c.ArrivesOn != nil {
		v.ArrivesOn = *c.ArrivesOn
	}
	rest := maps.Clone(delivered)
	check := &checker{}
	var lines []OrderLine
	seen := map[RequestID]bool{}
	var sum Pieces
	for i, l := range c.Lines {
		at := fmt.Sprintf("/lines/%d", i)
		request := requests[l.Request]
		if request == nil {
			check.add(at+"/request_id", "is no request of this round")
			continue
		}
		km, reached := q.KmTo(request.Site)
		check.require(reached, at+"/request_id", "is of a site where the supplier does not deliver")
		check.require(!seen[l.Request], at+"/request_id", "is there already")
		check.require(!delivered[l.Request] || before[l.Request] != nil && before[l.Request].Quantity == l.Quantity, at+"/quantity", "was delivered, and cannot be changed")
		seen[l.Request] = true
		delete(rest, l.Request)
		lines = append(lines, OrderLine{Order: o.ID, Version: v.Version, Request: l.Request, Site: request.Site, Unit: request.Unit, Quantity: l.Quantity,
			ExpectedAlive: q.alive(l.Quantity, before[l.Request]), Km: km})
		sum += l.Quantity
	}
	check.require(len(rest) == 0, "/lines", "must have what was delivered")
	if err := check.deny("impossible_change", "the order cannot be changed like this"); err != nil {
		return nil, nil, err
	}
	ordered, price, ok := q.Order(sum)
	if !ok {
		return nil, nil, Refuse("above_most", "%d is more than this supplier has, which is %d", sum, q.Most)
	}
	v.Ordered, v.Price, v.Deposit = ordered, price, q.Deposit(ordered)
	o.share(v, lines, q, feesBy)
	return v, lines, nil
}

// alive returns how many of so many are expected to be alive: the share that was planned
// for the request, else what the quote promises.
func (q *Quote) alive(n Pieces, before *OrderLine) Pieces {
	if before != nil {
		return Pieces(int64(n) * int64(before.ExpectedAlive) / int64(before.Quantity))
	}
	const whole = 100_000
	left := int64(n) * (whole - int64(q.ShortPercent)) / whole
	return Pieces(left * (whole - int64(q.DeathsPercent)) / whole)
}

// share says who is to bear what of a version.
func (o *Order) share(v *OrderVersion, lines []OrderLine, q *Quote, feesBy string) {
	due := OrderDue{Quote: q, Price: v.Price}
	sites := map[SiteID]bool{}
	var farthest Thousandths
	for i := range lines {
		l := &lines[i]
		due.Lines = append(due.Lines, LineDue{Request: l.Request, Site: l.Site, Ordered: l.Quantity, Due: l.Quantity})
		sites[l.Site] = true
		farthest = max(farthest, l.Km)
	}
	v.FeeDrop, v.FeeRoute = q.FeeDrop*Money(len(sites)), q.RouteFee(farthest)
	charges := map[RequestID]LineCharge{}
	for _, c := range ChargeRound([]OrderDue{due}, feesBy, nil).Lines {
		charges[c.Request] = c
	}
	for i := range lines {
		c := charges[lines[i].Request]
		lines[i].Goods, lines[i].OrderFee, lines[i].DropFee, lines[i].RouteFee = c.Price, c.Fee, c.Drop, c.Route
	}
}
