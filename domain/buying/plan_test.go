package buying

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// brute tries every choice of sellers.
func brute(p Problem) int64 {
	best := int64(math.MaxInt64)
	by := make([]int, len(p.Lots))
	orders := make([][]int64, len(p.Sellers)) // the least cost of every order there can be, by what is sent
	for j, s := range p.Sellers {
		orders[j] = make([]int64, s.Most+2)
		least := int64(math.MaxInt64)
		for q := s.Most; q > 0; q-- {
			if q%s.Pack == 0 && q >= s.Least {
				least = min(least, s.Price(q)+s.Fee)
			}
			orders[j][q] = least
		}
	}
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
		groups := map[int]bool{}
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
			if sent > s.Most || s.Group != 0 && groups[s.Group] {
				return
			}
			groups[s.Group] = true
			order := orders[j][sent]
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
		if n%5 == 0 {
			for j := range p.Sellers {
				p.Sellers[j].Group = r.IntN(3)
			}
		}
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

// warehouses are five places of which each costs 30 to keep open, and ten shops of which
// each must be served by one of them (CSPLib problem 34; the matrix is from memory of the
// source, it reproduces both optima that are published).
func warehouses(room [5]int64) Problem {
	costs := [10][5]int64{{20, 24, 11, 25, 30}, {28, 27, 82, 83, 74}, {74, 97, 71, 96, 70}, {2, 55, 73, 69, 61}, {46, 96, 59, 83, 4},
		{42, 22, 29, 67, 59}, {1, 5, 73, 59, 56}, {10, 73, 13, 43, 96}, {93, 35, 63, 85, 46}, {47, 65, 55, 71, 95}}
	p := Problem{}
	for _, n := range room {
		p.Sellers = append(p.Sellers, Seller{Steps: []Step{{From: 1}}, Fee: 30, Most: n, Pack: 1})
	}
	for _, row := range costs {
		var lots []Lot
		for _, c := range row {
			lots = append(lots, Lot{Pieces: 1, Cost: c})
		}
		p.Lots = append(p.Lots, lots)
	}
	return p
}

// The optimum is 383, and 328 where each place has room for all (published).
func TestPlanPublished(t *testing.T) {
	t.Parallel()
	for want, room := range map[int64][5]int64{383: {1, 4, 2, 1, 3}, 328: {10, 10, 10, 10, 10}} {
		got, err := warehouses(room).Solve()
		if err != nil || got.Cost != want || got.Gap() != 0 {
			t.Errorf("room %v: %d with a gap of %d, %v; want %d", room, got.Cost, got.Gap(), err, want)
		}
	}
}

// Price steps that hold for the whole order, with their best order by the classical
// formula: demand a year × price + orders a year × fee + what stands × holding, the
// holding a share of the step's own price. D 936, S 45, h 25 %: 57 284.10, 57 382.20 and
// 56 998.74 at 500; D 2000, S 20, h 20 %: 4240.00 at 1000 (prices published, totals
// computed).
func TestPriceSteps(t *testing.T) {
	t.Parallel()
	year := func(s Seller, demand, fee, holding float64, order int64) float64 {
		price := float64(s.Price(order)) / float64(order) / 100
		return demand*price + demand/float64(order)*fee + float64(order)/2*holding*price
	}
	one := Seller{Steps: []Step{{1, 6000}, {300, 5880}, {500, 5700}}, Most: 10_000, Pack: 1}
	two := Seller{Steps: []Step{{1, 250}, {200, 240}, {300, 225}, {1000, 200}}, Most: 10_000, Pack: 1}
	for _, c := range []struct {
		s                    Seller
		demand, fee, holding float64
		order                int64
		want                 float64
	}{
		{one, 936, 45, 0.25, 75, 57_284.10}, {one, 936, 45, 0.25, 300, 57_382.20}, {one, 936, 45, 0.25, 500, 56_998.74},
		{two, 2000, 20, 0.20, 1000, 4240.00},
	} {
		if got := year(c.s, c.demand, c.fee, c.holding, c.order); math.Abs(got-c.want) > 0.05 {
			t.Errorf("an order of %d costs %.2f a year, want %.2f", c.order, got, c.want)
		}
	}
	if ordered, cost, ok := one.Order(295); !ok || ordered != 300 || cost != 300*5880 { // 295 × 60 is more
		t.Errorf("295 are ordered as %d for %d", ordered, cost)
	}
	incremental := Seller{Steps: []Step{{1, 10}, {101, 8}}, Incremental: true, Most: 1000, Pack: 50}
	if ordered, cost, ok := incremental.Order(120); !ok || ordered != 150 || cost != 100*10+50*8 {
		t.Errorf("120 are ordered as %d for %d", ordered, cost)
	}
	if _, _, ok := incremental.Order(1001); ok {
		t.Error("more is sold than there is")
	}
}

func TestProblemsThatCannotBe(t *testing.T) {
	t.Parallel()
	good := Seller{Steps: []Step{{1, 10}}, Most: 10, Pack: 1}
	for name, s := range map[string]Seller{
		"no steps": {Most: 1, Pack: 1}, "steps that rise": {Steps: []Step{{1, 5}, {10, 6}}, Most: 1, Pack: 1}, "steps that overlap": {Steps: []Step{{1, 5}, {1, 4}}, Most: 1, Pack: 1},
		"no pack": {Steps: []Step{{1, 5}}, Most: 1}, "less than the least": {Steps: []Step{{1, 5}}, Most: 1, Least: 2, Pack: 1},
	} {
		if _, err := (Problem{Sellers: []Seller{good, s}}).Solve(); err == nil {
			t.Errorf("%s: no complaint", name)
		}
	}
	if _, err := (Problem{Sellers: []Seller{good}, Lots: [][]Lot{{{Pieces: 11}}}}).Solve(); !errors.Is(err, ErrNone) {
		t.Errorf("more is needed than there is: %v", err)
	}
	if got, err := (Problem{Sellers: []Seller{good}}).Solve(); err != nil || got.Cost != 0 || got.Gap() != 0 {
		t.Errorf("nobody needs anything: %+v, %v", got, err)
	}
}

// Two sellers at the end of what they have: there are too many ways to fill them to prove
// that none is better, unless those are left out that cannot come out even.
func TestPlanOfTwoThatRunOut(t *testing.T) {
	t.Parallel()
	p := offers(rand.New(rand.NewPCG(16, 9)), 12, 300, 300, false, false, false)
	if got, err := p.Solve(); err != nil || got.Gap() != 0 {
		t.Errorf("a gap of %d of %d, %v", got.Gap(), got.Cost, err)
	}
}
