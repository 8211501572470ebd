package domain_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"shoalbook/domain"
)

// bigAsk is a round of many sites and suppliers: requests of 50 to 2000 fish in round
// numbers, steps, order fees, stops with their km, tanks for some.
func bigAsk(seed uint64, quotes, sites int) domain.PlanAsk {
	r := rand.New(rand.NewPCG(seed, 1))
	between := func(lo, hi int) int { return lo + r.IntN(hi-lo+1) }
	a := ask()
	a.Requests, a.Quotes = nil, nil
	var stops []domain.Stop
	km, all := 5, 0
	for i := range sites {
		s := id[domain.SiteFacts](1000 + i)
		km += between(0, 3)
		stops = append(stops, domain.Stop{Site: s, Km: milli(float64(km))})
		n := 50 * between(1, 40)
		all += n
		unit := id[domain.Unit](2000 + i)
		a.Requests = append(a.Requests, domain.Request{ID: id[domain.Request](3000 + i), Site: s, Unit: &unit, Quantity: domain.Pieces(n), Least: domain.Pieces(n / 2), Most: domain.Pieces(n * 3 / 2), Earliest: day(30), Latest: day(between(34, 40))})
	}
	for k := range quotes {
		q := quote()
		q.ID, q.Party = id[domain.Quote](4000+k), id[domain.Party](5000+k)
		price := between(800, 1200)
		q.Steps = nil
		for n, from := range []int{1, all / 40, all / 10, all / 4} {
			q.Steps = append(q.Steps, domain.PriceStep{From: domain.Pieces(from), UnitPrice: domain.UnitPrice(price*(100-7*n)/100) * 1_0000})
		}
		q.FeeOrder = domain.Money(between(20, 400) * 1000)
		q.Pack = domain.Pieces([]int{1, 1, 50, 100}[r.IntN(4)])
		q.LeastOrder = domain.Pieces(500 * between(0, 3))
		q.Most = domain.Pieces(all * between(20, 90) / 100)
		q.DeathsPercent, q.ShortPercent = milli(float64(between(1, 6))), milli(float64(between(0, 2)))
		q.FeePerKm = 0
		q.Stops = stops
		q.Litres, q.TemperatureC = new(milli(30)), new(milli(26))
		if k%3 == 0 {
			q.CarriedIn, q.Litres, q.Vessels = new(domain.CarriedInTank), new(milli(2000)), new(int64(between(2, 6)))
		}
		a.Quotes = append(a.Quotes, q)
	}
	return a
}

// BenchmarkPlanRound plans rounds of 12 quotes and 300 sites, with all that is told beside.
func BenchmarkPlanRound(b *testing.B) {
	for seed := range uint64(5) {
		a := bigAsk(seed, 12, 300)
		b.Run(fmt.Sprint(seed), func(b *testing.B) {
			for b.Loop() {
				began := time.Now()
				p, err := domain.PlanRound(&a)
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(1e6*float64(p.Gap)/float64(p.Cost), "gap_ppm")
				b.ReportMetric(float64(len(p.Unmet)), "unmet")
				b.ReportMetric(float64(len(p.Orders)), "orders")
				b.ReportMetric(time.Since(began).Seconds()*1000, "ms")
			}
		})
	}
}
