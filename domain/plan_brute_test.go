package domain_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"shoalbook/domain"
)

// The plan of a tiny round costs what the cheapest of all choices of suppliers does, each
// with every day and every size of an order tried; computed with nothing of the planner.
func TestPlanRoundEqualsBruteForce(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := someAsk(t, 3)
		a.Allot = ""
		for i := range a.Requests { // one of each site, and room for all that may arrive
			r := &a.Requests[i]
			r.Site, r.Most, r.Least = []domain.SiteID{site, otherSite, id[domain.SiteFacts](77)}[i], 10_000, 1
		}
		for i := range a.Quotes { // as many bags as it takes
			q := &a.Quotes[i]
			q.Vessels, q.FishPerVessel, q.TemperatureC = nil, nil, new(milli(20))
		}
		best := domain.Money(math.MaxInt64)
		by := make([]int, len(a.Requests))
		var choose func(i int)
		choose = func(i int) {
			if i < len(by) {
				for by[i] = range a.Quotes {
					choose(i + 1)
				}
				return
			}
			total := domain.Money(0)
			for k := range a.Quotes {
				cost, ok := orderBrute(&a, k, by)
				if !ok {
					return
				}
				total += cost
			}
			best = min(best, total)
		}
		choose(0)
		p, err := domain.PlanRound(&a)
		if err != nil {
			t.Fatal(err)
		}
		if found := len(p.Unmet) == 0; found != (best < math.MaxInt64) || found && (p.Cost != best || p.Gap != 0) {
			t.Fatalf("the plan costs %d with a gap of %d and %d unmet, the best of all choices %d", p.Cost, p.Gap, len(p.Unmet), best)
		}
	})
}

// orderBrute returns the least that an order by a quote can cost for those who chose it.
func orderBrute(a *domain.PlanAsk, k int, by []int) (domain.Money, bool) {
	q := &a.Quotes[k]
	var sent, drops int64
	var far domain.Thousandths
	possible := map[domain.Date]bool{}
	for d := a.Round.WindowFrom; d <= a.Round.WindowTo; d++ {
		possible[d] = d >= q.Earliest && d <= q.Latest
	}
	for i := range a.Requests {
		if by[i] != k {
			continue
		}
		r := &a.Requests[i]
		km, ok := q.KmTo(r.Site)
		if !ok || r.SizeFrom != nil && *q.MeanWeight < *r.SizeFrom {
			return 0, false
		}
		n, later := int64(0), int64(0)
		if a.Need == domain.NeedDay30 {
			later = 10_000
		}
		for n*(100_000-int64(q.ShortPercent))/1000*((100_000-int64(q.DeathsPercent))/1000)*((100_000-later)/1000) < int64(r.Quantity)*1_000_000 {
			n++
		}
		for d := range possible {
			possible[d] = possible[d] && d >= r.Earliest && d <= r.Latest
		}
		sent, drops, far = sent+n, drops+1, max(far, km)
	}
	if sent == 0 {
		return 0, true
	}
	day := false
	for _, ok := range possible {
		day = day || ok
	}
	cost := domain.Money(math.MaxInt64)
	for n := sent; n <= int64(q.Most) && day; n++ {
		if n%int64(q.Pack) == 0 && n >= int64(q.LeastOrder) {
			cost = min(cost, q.Price(domain.Pieces(n)))
		}
	}
	return cost + q.FeeOrder + q.FeeDrop*domain.Money(drops) + q.RouteFee(far), cost < math.MaxInt64
}
