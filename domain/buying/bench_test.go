package buying

import (
	"math/rand/v2"
	"testing"
	"time"
)

// offers draws a round as it comes in practice: requests of 50 to 2000 fish in round
// numbers, prices in a small unit of money that fall at four steps, fees for an order,
// packs, least orders, and as much on offer as it takes several sellers to meet; what
// must be sent is grown for the deaths and the short count of each seller, and not every
// seller can serve everybody. With packs most sell in packs of 50 to 500, with drops each
// seller takes a fee for a drop of its own, with route one for the way to the farthest stop.
func offers(r *rand.Rand, sellers, buyers int, price int64, packs, drops, route bool) Problem {
	pick := func(of ...int64) int64 { return of[r.IntN(len(of))] }
	between := func(lo, hi int64) int64 { return lo + r.Int64N(hi-lo+1) }
	need, all := make([]int64, buyers), int64(0)
	for i := range need {
		need[i] = pick(50, 100, 150, 200, 200, 250, 300, 400, 500, 500, 600, 800, 1000, 1000, 1500, 2000, 10*between(5, 200), 10*between(5, 200))
		all += need[i]
	}
	p := Problem{Sellers: make([]Seller, sellers), Lots: make([][]Lot, buyers)}
	km := make([]int64, buyers)
	for i := range km {
		p.Lots[i] = make([]Lot, sellers)
		km[i] = between(5, 300)
	}
	for j := range p.Sellers {
		s := &p.Sellers[j]
		*s = Seller{Incremental: r.IntN(3) == 0, Fee: price * between(20, 400), Pack: pick(1, 1, 50, 100, 500), Least: pick(0, 0, 500, 1000, 2000)}
		if !packs {
			s.Pack = 1
		}
		s.Most = max(2000, all*between(15, 120)/100/100*100)
		from, at := int64(1), float64(price)*(0.85+0.4*r.Float64())
		for range 4 {
			s.Steps = append(s.Steps, Step{from, max(1, int64(at))})
			from = max(from*2, all*between(2, 20)/100/100*100+from/100*100)
			at *= 0.9 + 0.08*r.Float64()
		}
		lost, short, fee, perKm := between(1, 6), between(0, 2), int64(0), int64(0)
		if drops {
			fee = price * between(5, 60)
		}
		if route {
			perKm = max(1, price/10*between(5, 20)/10)
		}
		for i, n := range need {
			if j > 0 && r.IntN(5) == 0 {
				continue
			}
			left := (100 - lost) * (100 - short)
			p.Lots[i][j] = Lot{Pieces: (n*10_000 + left - 1) / left, Cost: fee, Reach: km[i] * perKm}
		}
	}
	return p
}

// BenchmarkPlan solves 20 rounds of each size as offers draws them, in three currencies,
// and says how many were proven to be the cheapest, how far the worst was from its bound,
// and how long they took each.
func BenchmarkPlan(b *testing.B) {
	for _, size := range []struct {
		name                string
		sellers, buyers     int
		packs, drops, route bool
	}{
		{"12x300", 12, 300, false, false, false},
		{"12x300-packs", 12, 300, true, false, false},
		{"12x300-packs-drops", 12, 300, true, true, false},
		{"6x50-packs-drops", 6, 50, true, true, false},
		{"6x50-packs-drops-route", 6, 50, true, true, true},
	} {
		b.Run(size.name, func(b *testing.B) {
			for b.Loop() {
				const rounds = 20
				proven, worst := 0, 0.0
				var longest, all time.Duration
				for seed := range uint64(rounds) {
					p := offers(rand.New(rand.NewPCG(seed, 9)), size.sellers, size.buyers, []int64{20, 300, 1500}[seed%3], size.packs, size.drops, size.route)
					began := time.Now()
					got, err := p.Solve()
					if err != nil {
						b.Fatal(err)
					}
					took := time.Since(began)
					longest, all = max(longest, took), all+took
					if got.Gap() == 0 {
						proven++
					}
					worst = max(worst, 1e6*float64(got.Gap())/float64(got.Cost))
				}
				b.ReportMetric(float64(proven)/rounds*100, "proven_%")
				b.ReportMetric(worst, "worst_gap_ppm")
				b.ReportMetric(longest.Seconds()*1000, "longest_ms")
				b.ReportMetric(all.Seconds()*1000/rounds, "ms/round")
			}
		})
	}
}
