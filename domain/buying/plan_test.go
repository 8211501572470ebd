package buying

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// brute tries every choice of sellers.
func brute(p Problem) int64 {
	best := int64(math.MaxInt64)
	by := make([]int, len(p.Lots))
	var rec func(i int)
	rec = func(i int) {
		if i < len(p.Lots) {
			for j := range p.Sellers {
				if p.Lots[i][j].Pieces > 0 {
					by[i] = j
					rec(i + 1)
				}
			}
			return
		}
		var total int64
		for j, s := range p.Sellers {
			var sent, reach int64
			for i, k := range by {
				if k == j {
					sent += p.Lots[i][j].Pieces
					reach = max(reach, p.Lots[i][j].Reach)
					total += p.Lots[i][j].Cost
				}
			}
			if sent == 0 {
				continue
			}
			order := int64(math.MaxInt64) // every order there can be
			for q := s.Pack; q <= s.Most; q += s.Pack {
				if q >= sent && q >= s.Least {
					order = min(order, s.Price(q)+s.Fee)
				}
			}
			if order == math.MaxInt64 {
				return
			}
			total += order + reach
		}
		best = min(best, total)
	}
	rec(0)
	return best
}

func random(r *rand.Rand, sellers, buyers, steps int, tight, route bool) Problem {
	p := Problem{Sellers: make([]Seller, sellers), Lots: make([][]Lot, buyers)}
	need := make([]int64, buyers)
	var all int64
	for i := range need {
		need[i] = int64(20 + r.IntN(180))
		all += need[i]
	}
	for j := range p.Sellers {
		s := Seller{Fee: int64(r.IntN(4000)), Pack: []int64{1, 1, 10, 50}[r.IntN(4)], Incremental: r.IntN(3) == 0, Most: all * 3 / 2}
		if tight {
			s.Most = max(250, all*int64(20+r.IntN(60))/100)
		}
		if r.IntN(3) == 0 {
			s.Least = int64(r.IntN(int(all/3 + 1)))
		}
		s.Least = min(s.Least, s.Most)
		price, from := int64(800+r.IntN(500)), int64(1)
		for range steps {
			s.Steps = append(s.Steps, Step{from, price})
			from += int64(1 + r.IntN(int(all)/steps+1))
			price = price * int64(85+r.IntN(15)) / 100
		}
		p.Sellers[j] = s
	}
	route = route && r.IntN(2) == 0
	for i := range p.Lots {
		p.Lots[i] = make([]Lot, sellers)
		for j := range p.Lots[i] {
			if r.IntN(10) == 0 && j > 0 {
				continue
			}
			l := Lot{Pieces: need[i] * int64(100+r.IntN(15)) / 100, Cost: int64(r.IntN(6000))}
			if route && j%2 == 0 {
				l.Reach = int64(i+1) * 700
			}
			p.Lots[i][j] = l
		}
	}
	return p
}

func TestPlanEqualsBruteForce(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	none := 0
	for n := range 1000 {
		p := random(r, 2+n%3, 2+n%6, 1+n%4, n%2 == 0, true)
		want := brute(p)
		got, err := p.Solve()
		if want == math.MaxInt64 {
			none++
			if !errors.Is(err, ErrNone) {
				t.Fatalf("case %d: there is no plan, and Solve says %v, %v", n, got, err)
			}
			continue
		}
		if err != nil || got.Cost != want || got.Gap() != 0 {
			t.Fatalf("case %d: cost %d, bound %d, %v; the least of all choices is %d\n%+v", n, got.Cost, got.Bound, err, want, p)
		}
	}
	t.Logf("%d cases had no plan", none)
}

func TestLarge(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for n := range 10 {
		p := random(r, 12, 300, 4, n%2 == 0, true)
		if n >= 8 {
			p = random(r, 6, 50, 4, n%2 == 0, true)
		}
		start := time.Now()
		got, err := p.Solve()
		t.Logf("%d: cost %d gap %d nodes %d %v %v", n, got.Cost, got.Gap(), got.Nodes, time.Since(start), err)
	}
}
