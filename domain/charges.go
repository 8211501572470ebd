package domain

import (
	"cmp"
	"maps"
	"slices"

	"shoalbook/domain/buying"
)

// OrderDue is an order as it is charged.
type OrderDue struct {
	Order OrderID
	Quote *Quote
	Price Money // of all that was ordered
	Lines []LineDue
}

// LineDue is what one line of an order says, and what is known of its drop.
type LineDue struct {
	Request    RequestID
	Site       SiteID
	Ordered    Pieces
	Due        Pieces      // as it was shared out, else as it was ordered
	Came       *Pieces     // nil: nothing yet
	MeanWeight *Milligrams // of those that came; nil: as quoted
	Credit     Money       // by which the supplier has met claims, less what a surplus cost
}

// LineCharge is what one line of an order costs the site that gets it.
type LineCharge struct {
	Order   OrderID
	Request RequestID
	Site    SiteID
	Due     Pieces
	Price   Money // of the fish or goods
	Fee     Money // its share of the fee of the order
	Drop    Money
	Route   Money
	Credit  Money // is taken off
	Level   Money // is taken off so that nobody pays more than alone, or added to bear that
}

// Total returns what the line costs after all.
func (l *LineCharge) Total() Money { return l.before() + l.Level }

func (l *LineCharge) before() Money { return l.Price + l.Fee + l.Drop + l.Route - l.Credit }

// Charges says who pays what of the orders of a round. The lines sum exactly to what the
// orders cost: their prices, fees and routes, less the credits.
type Charges struct {
	Lines []LineCharge
	// Level says whether nobody pays more than alone. It is false where all of it costs
	// more than all sites would pay alone together.
	Level bool
}

// ChargeRound says who pays what: fish by count at the price of the order, the fee of an
// order by count or weight, what a drop costs whoever gets it, and the way by its stops,
// see [buying.Charge]; then sees to it that nobody pays more than alone, see
// [buying.Cap]. Alone has what the need of each site would have cost alone; a site that
// is not in it could not have bought alone. Of a short delivery the price is what was
// shared out at the price of the order, since the supplier did not keep it.
func ChargeRound(orders []OrderDue, feesBy string, alone map[SiteID]Money) Charges {
	var c Charges
	for i := range orders {
		c.Lines = append(c.Lines, orders[i].charge(feesBy)...)
	}
	c.level(alone)
	return c
}

// charge says who pays what of one order. Lines to which nothing is due pay nothing but a
// surplus that came all the same.
func (o *OrderDue) charge(feesBy string) []LineCharge {
	var charges []LineCharge
	for _, l := range o.Lines {
		if l.Due == 0 && l.Credit != 0 {
			charges = append(charges, LineCharge{Order: o.Order, Request: l.Request, Site: l.Site, Credit: l.Credit})
		}
	}
	lines := slices.DeleteFunc(slices.Clone(o.Lines), func(l LineDue) bool { return l.Due == 0 })
	slices.SortFunc(lines, func(a, b LineDue) int {
		return cmp.Or(a.Site.Compare(b.Site), a.Request.Compare(b.Request))
	})
	var ordered, due Pieces
	for _, l := range o.Lines {
		ordered += l.Ordered
		due += l.Due
	}
	if due == 0 {
		return charges
	}
	price := o.Price.Part(int64(due), int64(ordered))
	var drops []buying.Drop
	var of [][]LineDue // the lines of each drop
	for rest := lines; len(rest) > 0; {
		n := slices.IndexFunc(rest, func(l LineDue) bool { return l.Site != rest[0].Site })
		if n < 0 {
			n = len(rest)
		}
		km, _ := o.Quote.KmTo(rest[0].Site)
		d := buying.Drop{Cost: int64(o.Quote.FeeDrop), Reach: int64(o.Quote.RouteFee(km))}
		for _, l := range rest[:n] {
			d.Pieces += int64(l.Due)
			d.Weight += o.weight(&l, feesBy)
		}
		drops, of, rest = append(drops, d), append(of, rest[:n]), rest[n:]
	}
	for i, p := range buying.Charge(int64(price), int64(o.Quote.FeeOrder), drops) {
		charges = append(charges, o.split(p, of[i], feesBy)...)
	}
	return charges
}

// split shares what one site pays of an order among its lines.
func (o *OrderDue) split(p buying.Part, lines []LineDue, feesBy string) []LineCharge {
	pieces, weights := make([]int64, len(lines)), make([]int64, len(lines))
	for i := range lines {
		pieces[i], weights[i] = int64(lines[i].Due), o.weight(&lines[i], feesBy)
	}
	prices, drops, routes := Shares(p.Price, pieces), Shares(p.Drop, pieces), Shares(p.Route, pieces)
	fees := Shares(p.Fee, weights)
	if fees == nil { // nothing came that has a weight
		fees = Shares(p.Fee, pieces)
	}
	charges := make([]LineCharge, len(lines))
	for i, l := range lines {
		charges[i] = LineCharge{Order: o.Order, Request: l.Request, Site: l.Site, Due: l.Due, Price: Money(prices[i]), Fee: Money(fees[i]), Drop: Money(drops[i]), Route: Money(routes[i]), Credit: l.Credit}
	}
	return charges
}

// weight returns what the fee of the order is shared by: what is due, so that a few fish
// more or less change nobody's share; or what all that came weighs.
func (o *OrderDue) weight(l *LineDue, feesBy string) int64 {
	mean := cmp.Or(l.MeanWeight, o.Quote.MeanWeight)
	if feesBy != FeesByWeight || mean == nil {
		return int64(l.Due)
	}
	n := l.Due
	if l.Came != nil {
		n = *l.Came
	}
	return int64(n) * int64(*mean)
}

// level sees to it that nobody pays more than alone. What a site gets off or bears is
// shared among its lines by what they cost.
func (c *Charges) level(alone map[SiteID]Money) {
	of := map[SiteID][]int{}
	for i, l := range c.Lines {
		of[l.Site] = append(of[l.Site], i)
	}
	sites := slices.SortedFunc(maps.Keys(of), SiteID.Compare)
	pays, most := make([]int64, len(sites)), make([]int64, len(sites))
	for i, s := range sites {
		for _, k := range of[s] {
			pays[i] += int64(c.Lines[k].before())
		}
		most[i] = -1
		if a, ok := alone[s]; ok {
			most[i] = int64(a)
		}
	}
	var capped []int64
	capped, c.Level = buying.Cap(pays, most)
	for i, s := range sites {
		costs, pieces := make([]int64, len(of[s])), make([]int64, len(of[s]))
		for j, k := range of[s] {
			costs[j], pieces[j] = int64(max(0, c.Lines[k].before())), int64(c.Lines[k].Due)
		}
		shares := Shares(capped[i]-pays[i], costs)
		if shares == nil {
			shares = Shares(capped[i]-pays[i], pieces)
		}
		if shares == nil { // it costs nothing, and nothing was due
			shares = Shares(capped[i]-pays[i], slices.Repeat([]int64{1}, len(of[s])))
		}
		for j, k := range of[s] {
			c.Lines[k].Level = Money(shares[j])
		}
	}
}

// SiteCharge is what one site pays of a round.
type SiteCharge struct {
	Site                                            SiteID
	Due                                             Pieces
	Price, Fee, Drop, Route, Credit, Level, Charged Money
	Paid                                            Money
}

// Owed returns what is still to be paid; below 0, what was paid too much.
func (s *SiteCharge) Owed() Money { return s.Charged - s.Paid }

// BySite sums the charges of each site, with what it has paid. A site that has paid and
// gets nothing is there too.
func (c *Charges) BySite(paid map[SiteID]Money) []SiteCharge {
	at := map[SiteID]*SiteCharge{}
	get := func(id SiteID) *SiteCharge {
		if at[id] == nil {
			at[id] = &SiteCharge{Site: id}
		}
		return at[id]
	}
	for i := range c.Lines {
		l := &c.Lines[i]
		s := get(l.Site)
		s.Due += l.Due
		s.Price += l.Price
		s.Fee += l.Fee
		s.Drop += l.Drop
		s.Route += l.Route
		s.Credit += l.Credit
		s.Level += l.Level
		s.Charged += l.Total()
	}
	for id, m := range paid {
		get(id).Paid += m
	}
	all := make([]SiteCharge, 0, len(at))
	for _, id := range slices.SortedFunc(maps.Keys(at), SiteID.Compare) {
		all = append(all, *at[id])
	}
	return all
}

// Add adds what another site pays.
func (s *SiteCharge) Add(o *SiteCharge) {
	s.Due += o.Due
	s.Price += o.Price
	s.Fee += o.Fee
	s.Drop += o.Drop
	s.Route += o.Route
	s.Credit += o.Credit
	s.Level += o.Level
	s.Charged += o.Charged
	s.Paid += o.Paid
}
