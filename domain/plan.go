package domain

// PlanAsk is what a plan of a round is made from.
type PlanAsk struct {
	Round    *Round
	Need     string    // [NeedArrival], [NeedDay30]: the round's, or another for a look
	Today    Date      // in the zone of the co-operative: quotes are valid then or not
	Requests []Request // of the round, by id; those that were withdrawn are left out
	Quotes   []Quote   // of the round, by id; those that were withdrawn are left out
	Losses   map[PartyID]PlanLosses
	Allot    string // what to do where less is offered than is needed: [AllotProportional], [AllotMaxMin]; empty: some get all, the others none
}

// PlanLosses is what is expected of the fish of one supplier, by its record; of who has
// none, what its quote promises is expected.
type PlanLosses struct {
	DeathsPercent Thousandths  // dead on arrival
	ShortPercent  Thousandths  // by which counts fall short
	Day30Percent  *Thousandths // dead from the arrival to day 30; nil: not known
}

// RoundPlan is who gets how many from whom and when, at the least cost of all that was
// found, with what it is worth beside other ways.
type RoundPlan struct {
	Need        string
	MadeOn      Date
	Lines       []PlanLine  // by request
	Orders      []PlanOrder // by quote
	Cost        Money       // of all orders, fees included
	Bound       Money       // no plan costs less
	Gap         Money       // by which the cost may be above the least one; 0 is proof that it is not
	Nodes       int         // looked at
	OneSupplier []PlanOneSupplier
	Sites       []PlanSite  // by site
	Unmet       []PlanUnmet // requests that nobody can meet, which are in no line
	LeftOut     []PlanLeftOut
	Level       bool // nobody pays more than alone
}

// PlanLine is what one request gets.
type PlanLine struct {
	Request       RequestID
	Site          SiteID
	Unit          *UnitID
	Quote         QuoteID
	Party         PartyID
	ArrivesOn     Date
	Quantity      Pieces // ordered for it
	ExpectedAlive Pieces // when the need is counted
	Km            Thousandths
	Transport     *TransportCheck // of its leg; nil: it is no fish
	Price         Money           // its share of the price
	Fee           Money           // of the fee of the order
	Drop          Money
	Route         Money
	Level         Money // is taken off so that nobody pays more than alone, or added to bear that
}

// PlanOrder is what is ordered by one quote.
type PlanOrder struct {
	Quote        QuoteID
	QuoteVersion int64 // that was planned by
	Party        PartyID
	ArrivesOn    Date
	Ordered      Pieces // for all its lines: their sum or more, where a pack, the least order or a step makes it so
	Price        Money
	FeeOrder     Money
	FeeDrop      Money // of all drops
	FeeRoute     Money
	Deposit      Money
	Legs         []PlanLeg // in the order of the stops
}

// Cost returns all that the order costs.
func (o *PlanOrder) Cost() Money { return o.Price + o.FeeOrder + o.FeeDrop + o.FeeRoute }

// PlanLeg is the way of an order to one site, with what is still on board.
type PlanLeg struct {
	Site    SiteID
	Km      Thousandths // from the supplier
	Hours   float64     // from the supplier
	Kg      Number      // on board until then
	Verdict string      // as of [TransportCheck]; empty for products
	Says    string
}

// PlanOneSupplier is what it costs to order all from one supplier.
type PlanOneSupplier struct {
	Quote  QuoteID
	Cost   *Money // nil: it cannot
	Reason string // why not
}

// PlanSite is what one site pays, beside what its need had cost alone.
type PlanSite struct {
	Site   SiteID
	Pays   Money
	Alone  *Money // nil: alone it cannot buy
	Reason string // why not
}

// PlanUnmet is a request that nobody can meet.
type PlanUnmet struct {
	Request RequestID
	Reason  string
}

// PlanLeftOut is a quote that a plan does not order by, whatever it costs.
type PlanLeftOut struct {
	Quote  QuoteID
	Reason string // valid until, withdrawn
}
