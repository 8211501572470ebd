package domain

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"shoalbook/domain/buying"
)

// tell says what was chosen, with what it is worth beside other ways.
func (p *planning) tell(c chosen) *RoundPlan {
	plan := &RoundPlan{Need: p.Need, MadeOn: p.Today, Nodes: c.Nodes}
	var dues []OrderDue
	for k := range p.ways {
		if requests := p.of(k, c.Seller); len(requests) > 0 {
			due := p.order(plan, k, requests, Pieces(c.Ordered[k]))
			dues = append(dues, due)
		}
	}
	slices.SortFunc(plan.Lines, func(a, b PlanLine) int { return a.Request.Compare(b.Request) })
	gap := c.Cost - c.bound
	plan.Gap = Money((gap + p.per - 1) / p.per)
	plan.Bound = plan.Cost - plan.Gap
	alone := p.charge(plan, dues)
	for k := range p.Quotes {
		if p.leftOut[k] != "" {
			plan.LeftOut = append(plan.LeftOut, PlanLeftOut{p.Quotes[k].ID, p.leftOut[k]})
		}
		plan.OneSupplier = append(plan.OneSupplier, p.oneSupplier(k))
	}
	for i := range p.Requests {
		if reason, ok := p.unmet[i]; ok {
			plan.Unmet = append(plan.Unmet, PlanUnmet{p.Requests[i].ID, reason})
		}
	}
	for n := range plan.Sites {
		s := &plan.Sites[n]
		if a, ok := alone[s.Site]; ok {
			s.Alone = &a
		} else {
			s.Reason = "no supplier takes so small an order alone"
		}
	}
	return plan
}

// of returns the requests that are served by a way, sorted.
func (p *planning) of(k int, seller []int) []int {
	var list []int
	for b, requests := range p.buyers {
		if seller[b] == k {
			list = append(list, requests...)
		}
	}
	slices.Sort(list)
	return list
}

// order adds the order by a way to the plan, with its lines and legs.
func (p *planning) order(plan *RoundPlan, k int, requests []int, ordered Pieces) OrderDue {
	w := &p.ways[k]
	q := &p.Quotes[w.quote]
	o := PlanOrder{Quote: q.ID, QuoteVersion: q.Version, Party: q.Party, ArrivesOn: w.on, Ordered: ordered,
		Price: q.Price(ordered), FeeOrder: q.FeeOrder, Deposit: q.Deposit(ordered)}
	due := OrderDue{Quote: q, Price: o.Price}
	legs := p.legs(q, w, requests)
	o.FeeDrop = q.FeeDrop * Money(len(legs))
	checks := map[SiteID]*TransportCheck{}
	for i := range legs {
		o.Legs = append(o.Legs, legs[i].PlanLeg)
		checks[legs[i].Site] = legs[i].check
	}
	o.FeeRoute = q.RouteFee(legs[len(legs)-1].Km)
	for _, i := range requests {
		r, lot := &p.Requests[i], w.lots[i]
		km, _ := q.KmTo(r.Site)
		plan.Lines = append(plan.Lines, PlanLine{Request: r.ID, Site: r.Site, Unit: r.Unit, Quote: q.ID, Party: q.Party, ArrivesOn: w.on,
			Quantity: Pieces(lot.pieces), ExpectedAlive: Pieces(lot.alive), Km: km, Transport: checks[r.Site]})
		due.Lines = append(due.Lines, LineDue{Request: r.ID, Site: r.Site, Ordered: Pieces(lot.pieces), Due: Pieces(lot.pieces)})
	}
	plan.Orders = append(plan.Orders, o)
	plan.Cost += o.Cost()
	return due
}

// leg is the way to one stop, and how it was judged.
type leg struct {
	PlanLeg
	check *TransportCheck
	fish  int64 // for this stop
}

// legs returns the way of an order from stop to stop, and judges what is on board on each:
// of tanks all that is left, of bags those for the stop, which nobody opens before.
func (p *planning) legs(q *Quote, w *way, requests []int) []leg {
	var legs []leg
	var board int64
	for _, i := range requests {
		site := p.Requests[i].Site
		n := slices.IndexFunc(legs, func(l leg) bool { return l.Site == site })
		if n < 0 {
			km, _ := q.KmTo(site)
			n, legs = len(legs), append(legs, leg{PlanLeg: PlanLeg{Site: site, Km: km, Hours: q.hours(km)}})
		}
		legs[n].fish += w.lots[i].pieces
		board += w.lots[i].pieces
	}
	slices.SortStableFunc(legs, func(a, b leg) int { return cmp.Or(cmp.Compare(a.Km, b.Km), a.Site.Compare(b.Site)) })
	all, longest := board, legs[len(legs)-1].Hours
	for n := range legs {
		l := &legs[n]
		if !p.Round.Fish() {
			l.Kg = none("kg", "it is no fish")
			continue
		}
		l.Kg = computed(float64(board)*float64(*q.MeanWeight)/1e6, "kg", "fish on board × mean weight")
		t := LiveTransport{Species: *p.Round.Species, Fish: Fish(board), MeanWeightMg: *q.MeanWeight, Hours: Thousandths(math.Ceil(l.Hours * 1000)), Bags: 1}
		if q.Litres != nil {
			t.Litres = *q.Litres
		}
		if q.CarriedIn != nil && *q.CarriedIn == CarriedInBag {
			t.Fish = Fish(l.fish)
			t.Bags = p.vessels(q, w, l.fish, l.Hours)
		} else if q.CarriedIn != nil {
			t.Bags = p.vessels(q, w, all, longest)
		}
		var check TransportCheck
		if q.TemperatureC == nil || q.CarriedIn == nil {
			check = unjudged(*p.Round.Species, "the quote does not say in what water the fish travel, or how warm it is")
		} else {
			t.TemperatureC = *q.TemperatureC
			check = t.Check()
		}
		l.check, l.Verdict, l.Says = &check, check.Verdict, check.Says
		board -= l.fish
	}
	return legs
}

// vessels returns in how many bags or tanks so many fish go: as many as there are, or as
// it takes for a way of some hours.
func (p *planning) vessels(q *Quote, w *way, fish int64, hours float64) int64 {
	each := int64(0)
	switch {
	case q.FishPerVessel != nil:
		each = int64(*q.FishPerVessel)
	case w.each > 0:
		each = w.each
	case q.Vessels != nil && *q.CarriedIn == CarriedInTank:
		return *q.Vessels
	case p.known(q):
		each = q.fineFor(hours)
	}
	if each == 0 {
		return 1
	}
	return (fish + each - 1) / each
}

// unjudged is the check of a delivery of which too little is known.
func unjudged(species, reason string) TransportCheck {
	return TransportCheck{Verdict: TransportUnknown, Says: "Nobody can say whether this goes well: " + reason + ".",
		Load: none("g/L", reason), FineTo: none("g/L", reason), MostAt: none("g/L", reason), TableTime: none("h", reason), FineFish: none("fish", reason), FineBags: none("bags", reason),
		Size: "within", Cautions: append([]string{CautionFigures}, spines(species)...)}
}

// charge says who pays what of the plan, and returns what each site would pay alone.
func (p *planning) charge(plan *RoundPlan, dues []OrderDue) map[SiteID]Money {
	alone := map[SiteID]Money{}
	of := map[SiteID][]int{}
	for b, requests := range p.buyers {
		site := p.Requests[requests[0]].Site
		of[site] = append(of[site], b)
	}
	all := p.problem(2_000_000)
	for site, buyers := range of {
		if cost, ok := p.alone(&all, buyers); ok {
			alone[site] = cost
		}
	}
	charges := ChargeRound(dues, p.Round.FeesBy, alone)
	plan.Level = charges.Level
	at := map[RequestID]*LineCharge{}
	for i := range charges.Lines {
		at[charges.Lines[i].Request] = &charges.Lines[i]
	}
	for i := range plan.Lines {
		l := &plan.Lines[i]
		c := at[l.Request]
		l.Price, l.Fee, l.Drop, l.Route, l.Level = c.Price, c.Fee, c.Drop, c.Route, c.Level
	}
	for _, s := range charges.BySite(nil) {
		plan.Sites = append(plan.Sites, PlanSite{Site: s.Site, Pays: s.Charged})
	}
	return alone
}

// alone returns what the needs of one site would cost if nobody else bought.
func (p *planning) alone(all *buying.Problem, buyers []int) (Money, bool) {
	least, ok := int64(math.MaxInt64), false
	if len(buyers) == 1 { // as most have: one order
		for k, l := range all.Lots[buyers[0]] {
			if l.Pieces == 0 {
				continue
			}
			if _, cost, can := all.Sellers[k].Order(l.Pieces); can && cost+l.Cost+l.Reach < least {
				least, ok = cost+l.Cost+l.Reach, true
			}
		}
	} else {
		one := buying.Problem{Sellers: all.Sellers, Work: all.Work}
		for _, b := range buyers {
			one.Lots = append(one.Lots, all.Lots[b])
		}
		if found, err := one.Solve(); err == nil {
			least, ok = found.Cost, true
		}
	}
	return Money(roundDiv(least, p.per)), ok
}

// oneSupplier says what it costs to order all that is planned by one quote.
func (p *planning) oneSupplier(quote int) PlanOneSupplier {
	one := PlanOneSupplier{Quote: p.Quotes[quote].ID, Reason: cmp.Or(p.leftOut[quote], "it is not planned for anybody")}
	all := p.problem(0)
	least := int64(math.MaxInt64)
	for k := range p.ways {
		if p.ways[k].quote != quote {
			continue
		}
		seller := make([]int, len(p.buyers))
		var sent, cost, reach int64
		not := 0
		for b := range p.buyers {
			l := all.Lots[b][k]
			if seller[b] = k; l.Pieces == 0 {
				not++
			}
			sent, cost, reach = sent+l.Pieces, cost+l.Cost, max(reach, l.Reach)
		}
		_, order, ok := all.Sellers[k].Order(sent)
		switch {
		case not > 0:
			one.Reason = fmt.Sprintf("it cannot serve %s of %d", several(float64(not), "site"), len(p.buyers))
		case !ok || p.overBags(k, seller) > 0:
			one.Reason = fmt.Sprintf("it takes %d, and it cannot send so many", sent)
		case len(p.buyers) > 0:
			least = min(least, order+cost+reach)
		}
	}
	if least < math.MaxInt64 {
		one.Cost, one.Reason = new(Money(roundDiv(least, p.per))), ""
	}
	return one
}
