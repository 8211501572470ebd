package domain

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"shoalbook/domain/buying"
)

// PlanRound plans a round: which supplier sends how many to whom and when, so that what
// is needed is expected to be there at the least total cost, fees included. The same ask
// has the same plan, in whatever order its requests and quotes come.
//
// What is ordered for a request is its quantity grown for the losses that are expected of
// the supplier: what its record says, else what its quote promises; to day 30, where the
// record says nothing, one in ten of those that arrived. It is less where more would
// arrive than the request can take, down to its least. All of one site come from one
// supplier, unless none can serve all of it: fish of two origins bring each other's
// diseases. One order by a quote arrives on one day, within the round's window, the
// quote's and all its requests'.
//
// No fish are planned to go where the table of loads does not call it fine, as far as it
// can be told: tight is left to people who know the fish. Where there are only so many
// tanks or bags, all of them are judged by the longest way of the order. Where the weight
// of the fish, the water or its temperature is not known, the legs say so. A quote whose
// product expires within [KeepsDays] after the window is left out.
//
// Where less is offered than is needed, few requests go without, or all needs are cut by
// the rule of the ask as far as it takes, nobody's below its least.
//
// The plan is the best one found, and gap 0 the proof that no other costs less; where
// prices are in parts of the minor unit, but for the rounding of each order. Bags that
// are not full may make the plan dearer than the bound without there being a better one.
func PlanRound(ask *PlanAsk) (*RoundPlan, error) {
	a := *ask
	a.Requests, a.Quotes = slices.Clone(a.Requests), slices.Clone(a.Quotes)
	slices.SortFunc(a.Requests, func(x, y Request) int { return x.ID.Compare(y.ID) })
	slices.SortFunc(a.Quotes, func(x, y Quote) int { return x.ID.Compare(y.ID) })
	p := &planning{PlanAsk: &a, per: unit(a.Quotes), needs: make([]Pieces, len(a.Requests)), unmet: map[int]string{}}
	for i := range a.Requests {
		p.needs[i] = a.Requests[i].Quantity
	}
	found, err := p.find()
	if err != nil {
		return nil, err
	}
	return p.tell(found), nil
}

// find finds the plan of all that is needed, or of as much of it as can be.
func (p *planning) find() (chosen, error) {
	if p.Allot != "" {
		return p.allot()
	}
	p.offer()
	p.serve()
	return p.most()
}

// most finds the plan of as many requests as can be met.
func (p *planning) most() (chosen, error) {
	for {
		found, err := p.solve(0)
		if !errors.Is(err, buying.ErrNone) && !errors.Is(err, buying.ErrUndecided) {
			return found, err
		}
		if err := p.leave(); err != nil {
			return chosen{}, err
		}
	}
}

// planning is a plan that is being made.
type planning struct {
	*PlanAsk
	per     int64          // so many parts in which money is counted are one minor unit
	needs   []Pieces       // by request; 0: it gets none
	unmet   map[int]string // by request: why it gets none
	all     [][]way        // by quote: all ways to order by it
	leftOut []string       // by quote: why it is; empty: it is not
	ways    []way
	buyers  [][]int // requests of one site that come from one supplier
}

// mostWays is how many ways to order are looked at, of all quotes together.
const mostWays = 60

// offer finds the ways in which the needs can be met.
func (p *planning) offer() {
	p.all, p.leftOut, p.ways = make([][]way, len(p.Quotes)), make([]string, len(p.Quotes)), nil
	for k := range p.Quotes {
		p.all[k], p.leftOut[k] = p.PlanAsk.ways(k, p.needs)
		useful := p.useful(p.all[k])
		if p.leftOut[k] == "" && len(useful) == 0 {
			p.leftOut[k] = p.whyNone(k)
		}
		p.ways = append(p.ways, useful...)
	}
	if len(p.ways) > mostWays { // one of each quote, then another, first those that serve the most
		serves := func(w way) (n int) {
			for _, l := range w.lots {
				if l.reason == "" {
					n++
				}
			}
			return n
		}
		slices.SortStableFunc(p.ways, func(v, w way) int { return serves(w) - serves(v) })
		place := map[int]int{} // of each way among those of its quote
		order := make([]int, len(p.ways))
		for n, w := range p.ways {
			order[n] = place[w.quote]
			place[w.quote]++
		}
		var kept []way
		for round := 0; len(kept) < mostWays; round++ {
			for n, w := range p.ways {
				if order[n] == round && len(kept) < mostWays {
					kept = append(kept, w)
				}
			}
		}
		p.ways = kept
	}
}

// serve puts together the requests of a site that one supplier can serve, and finds the
// ones that nobody can.
func (p *planning) serve() {
	p.buyers = nil
	of := map[SiteID][]int{} // places among the buyers
	for i := range p.Requests {
		if p.needs[i] == 0 {
			continue
		}
		if !p.served([]int{i}) {
			p.needs[i], p.unmet[i] = 0, p.whyNot(i)
			continue
		}
		site := p.Requests[i].Site
		with := slices.IndexFunc(of[site], func(b int) bool { return p.served(append(slices.Clone(p.buyers[b]), i)) })
		if with >= 0 {
			b := of[site][with]
			p.buyers[b] = append(p.buyers[b], i)
			continue
		}
		of[site] = append(of[site], len(p.buyers))
		p.buyers = append(p.buyers, []int{i})
	}
}

// served reports whether some way serves all of some requests.
func (p *planning) served(requests []int) bool {
	return slices.ContainsFunc(p.ways, func(w way) bool { return p.lot(w, requests).Pieces > 0 })
}

// lot returns what it takes to serve some requests of one site by a way.
func (p *planning) lot(w way, requests []int) buying.Lot {
	var l buying.Lot
	q := &p.Quotes[w.quote]
	for _, i := range requests {
		if w.lots[i].reason != "" {
			return buying.Lot{}
		}
		l.Pieces += w.lots[i].pieces
	}
	if l.Pieces > w.most {
		return buying.Lot{}
	}
	km, _ := q.KmTo(p.Requests[requests[0]].Site)
	l.Cost, l.Reach = int64(q.FeeDrop)*p.per, int64(q.RouteFee(km))*p.per
	return l
}

// chosen is what was found: the way by which each buyer gets its own, and what is ordered.
type chosen struct {
	buying.Plan
	bound int64 // of all plans
}

// problem returns what is to be solved.
func (p *planning) problem(work int) buying.Problem {
	b := buying.Problem{Work: work, Lots: make([][]buying.Lot, len(p.buyers))}
	for k := range p.ways {
		b.Sellers = append(b.Sellers, p.ways[k].seller(&p.Quotes[p.ways[k].quote], p.per))
	}
	for i, requests := range p.buyers {
		for _, w := range p.ways {
			b.Lots[i] = append(b.Lots[i], p.lot(w, requests))
		}
	}
	return b
}

// solve finds the cheapest plan. Where there are not as many bags as it takes, because
// some are not full, it is planned again with less to carry.
func (p *planning) solve(work int) (chosen, error) {
	if len(p.buyers) == 0 {
		return chosen{}, nil
	}
	var c chosen
	for again := range 20 {
		found, err := p.problem(work).Solve()
		if err != nil {
			return c, err
		}
		c.Plan = found
		if again == 0 {
			c.bound = found.Bound
		}
		enough := true
		for k := range p.ways {
			if over := p.overBags(k, c.Seller); over > 0 {
				p.ways[k].most -= over * p.ways[k].each
				enough = false
			}
		}
		if enough {
			return c, nil
		}
		for k := range p.ways { // with too little to carry for the least order
			if least := p.Quotes[p.ways[k].quote].smallest(); p.ways[k].most < least {
				p.ways[k].most = least
				for i := range p.ways[k].lots {
					p.ways[k].lots[i].reason = "it has too few bags"
				}
			}
		}
	}
	return c, buying.ErrNone
}

// overBags returns how many bags more than there are it takes to carry what is chosen.
func (p *planning) overBags(k int, seller []int) int64 {
	w := &p.ways[k]
	if w.each == 0 {
		return 0
	}
	sites := map[SiteID]int64{}
	for b, requests := range p.buyers {
		if seller[b] == k {
			sites[p.Requests[requests[0]].Site] += p.lot(*w, requests).Pieces
		}
	}
	bags := -*p.Quotes[w.quote].Vessels
	for _, n := range sites {
		bags += (n + w.each - 1) / w.each
	}
	return bags
}

// allot plans for all that is needed, or, if that cannot be, for needs that are cut by
// the rule of the ask.
func (p *planning) allot() (chosen, error) {
	for i := range p.needs {
		p.needs[i] = p.Requests[i].Least
	}
	p.offer()
	p.serve() // those whom nobody can serve, however little
	wanted := make([]Wanted, len(p.needs))
	var total Pieces
	for i, n := range p.needs {
		if n > 0 {
			wanted[i] = Wanted{Ordered: p.Requests[i].Quantity, Least: n}
			total += p.Requests[i].Quantity
		}
	}
	pack := total/20_000 + 1
	cut := func(available Pieces) {
		for i, n := range Allot(p.Allot, available, pack, wanted).Gets {
			if p.needs[i] = n; n < wanted[i].Least {
				p.needs[i] = 0
			}
		}
		p.offer()
	}
	lo, hi := Pieces(0), total // what can be, and what cannot
	if cut(total); p.feasible() {
		lo = total
	}
	for hi-lo > max(pack, total/1000) {
		mid := lo + (hi-lo)/2
		if cut(mid); p.feasible() {
			lo = mid
		} else {
			hi = mid
		}
	}
	cut(lo)
	for i, w := range wanted {
		if w.Ordered > 0 && p.needs[i] == 0 {
			p.unmet[i] = fmt.Sprintf("what is offered is too little for all, and its share of it would be less than the %d it can use", w.Least)
		}
	}
	p.serve()
	return p.most()
}

// feasible reports whether a plan is found for all that is needed, without much work.
func (p *planning) feasible() bool {
	unmet := maps.Clone(p.unmet)
	p.serve()
	all := len(p.unmet) == len(unmet)
	p.unmet = unmet
	if !all {
		return false
	}
	_, err := p.solve(20_000_000)
	return err == nil
}

const leftBehind = "what is offered is too little for all, or those who could serve it take no smaller orders: it is one of the few that go without; plan with allot to share it among all"

// leave leaves few requests out, so that the others may be met: one more who serves
// everybody, at a cost above that of any plan, shows which. Where that shows nobody, since
// it does not count bags, the one who takes most goes without.
func (p *planning) leave() error {
	all := p.problem(100_000_000)
	above := int64(1)
	for _, s := range all.Sellers {
		if _, cost, ok := s.Order(s.Most / s.Pack * s.Pack); ok {
			above += cost
		}
	}
	for _, lots := range all.Lots {
		var most int64
		for _, l := range lots {
			most = max(most, l.Cost+l.Reach)
		}
		above += most
	}
	nobody := len(all.Sellers)
	all.Sellers = append(all.Sellers, buying.Seller{Steps: []buying.Step{{From: 1}}, Most: int64(len(p.buyers)), Pack: 1})
	for b := range all.Lots {
		all.Lots[b] = append(all.Lots[b], buying.Lot{Pieces: 1, Cost: above})
	}
	found, err := all.Solve()
	if err != nil {
		return err
	}
	if !slices.Contains(found.Seller, nobody) {
		size := func(b int) (n Pieces) {
			for _, i := range p.buyers[b] {
				n += p.needs[i]
			}
			return n
		}
		biggest := 0
		for b := range p.buyers {
			if size(b) > size(biggest) {
				biggest = b
			}
		}
		found.Seller[biggest] = nobody
	}
	var kept [][]int
	for b, requests := range p.buyers {
		if found.Seller[b] != nobody {
			kept = append(kept, requests)
			continue
		}
		for _, i := range requests {
			p.needs[i], p.unmet[i] = 0, leftBehind
		}
	}
	p.buyers = kept
	return nil
}
