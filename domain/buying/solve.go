package buying

import (
	"container/heap"
	"errors"
	"math"
	"math/bits"
)

// ErrUndecided says that the work was not enough to find any plan.
var ErrUndecided = errors.New("no plan was found in the work allowed")

// Solve returns the plan of least cost. The same problem has the same plan.
//
// It is branch and bound. The bound of a node is Lagrange's: a piece of each seller
// gets a value; every buyer then takes the seller of least cost plus value, and every
// seller takes the order that earns most at that value, each for itself. Whatever the
// values are, the sum is a bound, in whole numbers, so that a gap of 0 is a proof.
// Where the two sides disagree most, the node is split: by the size of a seller's
// order, by the reach of its route, or by who serves a buyer.
func (p Problem) Solve() (Plan, error) {
	if err := p.Check(); err != nil {
		return Plan{}, err
	}
	s := &search{Problem: p, best: Plan{Cost: p.ceiling()}}
	if s.Work == 0 {
		s.Work = 20_000
	}
	root := &node{may: make([]uint64, len(p.Lots)), orders: make([]orders, len(p.Sellers)), values: make([]int64, len(p.Sellers))}
	for j, seller := range p.Sellers {
		root.orders[j] = orders{hi: seller.Most, corners: seller.corners(0, seller.Most)}
	}
	for i, lots := range p.Lots {
		for j, lot := range lots {
			if lot.Pieces > 0 && lot.Pieces <= p.Sellers[j].Most && root.orders[j].corners != nil {
				root.may[i] |= 1 << j
			}
		}
		if root.may[i] == 0 {
			return Plan{}, ErrNone
		}
	}
	if len(p.Lots) == 0 {
		return Plan{Ordered: make([]int64, len(p.Sellers))}, nil
	}
	s.rises = make([][]corner, len(p.Sellers))
	for j, seller := range p.Sellers {
		s.rises[j] = seller.rises()
	}
	s.look(root, 1500)
	for len(s.open) > 0 && s.best.Nodes < s.Work && s.open[0].bound < s.best.Cost {
		s.split(heap.Pop(&s.open).(*node))
	}
	s.best.Bound = s.best.Cost
	for _, n := range s.open {
		s.best.Bound = min(s.best.Bound, n.bound)
	}
	switch {
	case s.best.Seller != nil:
		return s.best, nil
	case len(s.open) == 0:
		return Plan{}, ErrNone
	}
	return Plan{}, ErrUndecided
}

// ceiling is more than any plan can cost.
func (p Problem) ceiling() int64 {
	total := int64(1)
	for j, s := range p.Sellers {
		var most, reach int64
		for _, c := range s.corners(0, s.Most) {
			most = max(most, c.cost)
		}
		for i := range p.Lots {
			reach = max(reach, p.Lots[i][j].Reach)
		}
		total += most + reach
	}
	for _, lots := range p.Lots {
		var most int64
		for _, lot := range lots {
			most = max(most, lot.Cost)
		}
		total += most
	}
	return total
}

// node is a part of all plans.
type node struct {
	may    []uint64 // by buyer: the sellers who may serve it, a bit each
	orders []orders // by seller
	values []int64  // of a piece of each seller, at which the bound is best
	bound  int64
	depth  int
	split  split
}

// orders are those of one seller that are in a node.
type orders struct {
	lo, hi  int64 // pieces; an order of 0 is none
	far     int64 // what the route costs at least, if there is an order
	corners []corner
}

// split says how a node is cut in two: at an order of a seller, at the reach of its
// route, or at a buyer.
type split struct {
	kind   byte // o, r, b; 0: it is one plan
	seller int
	buyer  int
	at     int64
}

type search struct {
	Problem
	best  Plan
	open  queue
	rises [][]corner // by seller: the orders at which a step begins, each with the least cost of it and those after it
}

// look bounds a node, looks for plans near it, and keeps it if a better one may be in it.
func (s *search) look(n *node, steps int) {
	s.best.Nodes++
	e, ok := s.ascend(n, steps)
	if !ok || n.bound >= s.best.Cost || !s.narrow(n) {
		return
	}
	n.split = s.choose(n, e)
	if n.split.kind == 0 {
		return // the plan was looked at
	}
	heap.Push(&s.open, n)
}

// estimate is what buyers and sellers do on average over the last steps.
type estimate struct {
	serves [][]float64 // by buyer and seller
	idle   []float64   // of each seller, the share of steps without an order
	cost   []float64   // of each seller's orders, with the least reach of its route
}

// ascend moves the values of the pieces towards the best bound, by subgradients with
// Polyak's steps.
func (s *search) ascend(n *node, steps int) (*estimate, bool) {
	sellers := len(s.Sellers)
	e := &estimate{serves: make([][]float64, len(s.Lots)), idle: make([]float64, sellers), cost: make([]float64, sellers)}
	cells := make([]float64, len(s.Lots)*sellers)
	for i := range e.serves {
		e.serves[i] = cells[i*sellers : (i+1)*sellers]
	}
	at := make([]float64, sellers)
	for j, v := range n.values {
		at[j] = float64(v)
	}
	values, wanted, sold := make([]int64, sellers), make([]int64, sellers), make([]int64, sellers)
	choice := make([]int, len(s.Lots))
	theta, stale := 1.0, 0
	n.bound = math.MinInt64
	const fade = 0.92
	for step := range steps {
		for j, v := range at {
			values[j] = int64(math.Round(v))
			wanted[j] = 0
		}
		var bound int64
		for i, lots := range s.Lots {
			least, by := int64(math.MaxInt64), -1
			for rest := n.may[i]; rest != 0; rest &= rest - 1 {
				j := bits.TrailingZeros64(rest)
				if c := lots[j].Cost + values[j]*lots[j].Pieces; c < least {
					least, by = c, j
				}
			}
			bound += least
			wanted[by] += lots[by].Pieces
			choice[i] = by
			for j := range e.serves[i] {
				e.serves[i][j] *= fade
			}
			e.serves[i][by] += 1 - fade
		}
		for j := range s.Sellers {
			o := &n.orders[j]
			least, pieces, cost := int64(math.MaxInt64), int64(0), int64(0)
			if o.lo == 0 {
				least = 0
			}
			for _, c := range o.corners {
				if v := c.cost + o.far - values[j]*c.pieces; v < least {
					least, pieces, cost = v, c.pieces, c.cost+o.far
				}
			}
			if least == math.MaxInt64 {
				return nil, false
			}
			bound += least
			sold[j] = pieces
			e.idle[j] *= fade
			if pieces == 0 {
				e.idle[j] += 1 - fade
			}
			e.cost[j] = e.cost[j]*fade + (1-fade)*float64(cost)
		}
		if bound > n.bound {
			if n.bound == math.MinInt64 || bound-n.bound > n.bound/1_000_000 {
				stale = 0
			}
			n.bound = bound
			copy(n.values, values)
			if n.bound >= s.best.Cost {
				return e, true
			}
		}
		if stale++; stale > 20 {
			theta, stale = theta/2, 0
			for j, v := range n.values {
				at[j] = float64(v)
			}
			if theta < 1e-4 {
				break
			}
		}
		if n.depth == 0 && step%20 == 19 {
			s.try(n, choice, step%100 == 99)
		}
		var norm float64
		for j := range wanted {
			d := float64(wanted[j] - sold[j])
			norm += d * d
		}
		if norm == 0 {
			break
		}
		goal := float64(s.best.Cost)
		if s.best.Seller == nil {
			goal = min(goal, float64(bound)*1.5+1)
		}
		length := theta * (goal - float64(bound)) / norm
		for j := range at {
			at[j] = max(0, at[j]+length*float64(wanted[j]-sold[j]))
		}
	}
	for i := range choice { // what most steps did
		for j, share := range e.serves[i] {
			if share > e.serves[i][choice[i]] {
				choice[i] = j
			}
		}
	}
	s.try(n, choice, n.depth == 0 || s.best.Seller == nil || s.best.Nodes%16 == 0)
	return e, true
}

// narrow takes away sellers who, serving a buyer, would make every plan of the node
// cost at least as much as the best one known. It reports whether any plan is left.
func (s *search) narrow(n *node) bool {
	room := s.best.Cost - n.bound
	for i, lots := range s.Lots {
		least := int64(math.MaxInt64)
		for rest := n.may[i]; rest != 0; rest &= rest - 1 {
			j := bits.TrailingZeros64(rest)
			least = min(least, lots[j].Cost+n.values[j]*lots[j].Pieces)
		}
		for rest := n.may[i]; rest != 0; rest &= rest - 1 {
			j := bits.TrailingZeros64(rest)
			if lots[j].Cost+n.values[j]*lots[j].Pieces-least >= room {
				n.may[i] &^= 1 << j
			}
		}
		if n.may[i] == 0 {
			return false
		}
	}
	return true
}

// choose says where a node is to be cut: at the seller whose orders are cheaper in the
// bound than they can be, or else at the buyer who is served by several.
func (s *search) choose(n *node, e *estimate) split {
	var best split
	most := float64(s.best.Cost-n.bound) / 1000
	for j, seller := range s.Sellers {
		o := &n.orders[j]
		var wanted float64
		var reach int64
		for i, lots := range s.Lots {
			wanted += e.serves[i][j] * float64(lots[j].Pieces)
			if e.serves[i][j] > 0.3 {
				reach = max(reach, lots[j].Reach)
			}
		}
		if at, miss, ok := seller.cut(o, wanted); ok && miss > most {
			best, most = split{kind: 'o', seller: j, at: at}, miss
		}
		if miss := float64(reach - o.far); miss > most {
			best, most = split{kind: 'r', seller: j, at: o.far}, miss
		}
	}
	if best.kind != 0 {
		return best
	}
	least := 2.0
	for i := range s.Lots {
		if bits.OnesCount64(n.may[i]) < 2 {
			continue
		}
		top, by := -1.0, 0
		for rest := n.may[i]; rest != 0; rest &= rest - 1 {
			if j := bits.TrailingZeros64(rest); e.serves[i][j] > top {
				top, by = e.serves[i][j], j
			}
		}
		if top < least {
			best, least = split{kind: 'b', buyer: i, seller: by}, top
		}
	}
	return best
}

// cut returns where to split the orders of a node if so many pieces are wanted, and by
// how much the bound is below the cost of such an order: in the bound an order costs
// what lies on the lower hull of the corners.
func (s *Seller) cut(o *orders, wanted float64) (at int64, miss float64, ok bool) {
	if o.corners == nil {
		return 0, 0, false
	}
	var from, to corner // of the hull around the wanted
	if o.lo > 0 {
		from = o.corners[0]
		from.cost += o.far
	}
	for i := 0; ; {
		to = from
		slope := math.Inf(1)
		for k := i; k < len(o.corners); k++ {
			c := corner{o.corners[k].pieces, o.corners[k].cost + o.far}
			if c.pieces <= from.pieces {
				continue
			}
			if m := float64(c.cost-from.cost) / float64(c.pieces-from.pieces); m <= slope {
				slope, to, i = m, c, k
			}
		}
		if float64(to.pieces) >= wanted || to == from {
			break
		}
		from = to
	}
	if to == from || wanted <= float64(from.pieces) {
		return 0, 0, false
	}
	hull := float64(from.cost) + (wanted-float64(from.pieces))*float64(to.cost-from.cost)/float64(to.pieces-from.pieces)
	_, cost, can := s.orderWithin(int64(math.Ceil(wanted)), o.lo, o.hi)
	if !can {
		return 0, 0, false
	}
	miss = float64(cost+o.far) - hull
	for _, step := range s.Steps[1:] {
		if q := s.packed(step.From); q > max(from.pieces, o.lo) && q <= to.pieces && q <= o.hi && (!ok || math.Abs(float64(q)-wanted) < math.Abs(float64(at)-wanted)) {
			at, ok = q, true
		}
	}
	if !ok && from.pieces == 0 && o.lo == 0 {
		return 1, miss, true
	}
	return at, miss, ok
}

// split looks at the two halves of a node.
func (s *search) split(n *node) {
	low, high := n.half(), n.half()
	c := n.split
	switch c.kind {
	case 'o':
		o := n.orders[c.seller]
		low.orders[c.seller] = orders{o.lo, c.at - 1, o.far, s.Sellers[c.seller].corners(o.lo, c.at-1)}
		high.orders[c.seller] = orders{c.at, o.hi, o.far, s.Sellers[c.seller].corners(c.at, o.hi)}
		if c.at == 1 {
			low.forbid(func(_, j int) bool { return j == c.seller })
		}
	case 'r':
		reach := func(i int) int64 { return s.Lots[i][c.seller].Reach }
		next := int64(math.MaxInt64)
		for i := range s.Lots {
			if r := reach(i); r > c.at && n.may[i]&(1<<c.seller) != 0 {
				next = min(next, r)
			}
		}
		low.forbid(func(i, j int) bool { return j == c.seller && reach(i) > c.at })
		if o := &high.orders[c.seller]; next < math.MaxInt64 {
			o.far = next
			if o.lo == 0 { // without an order there is no reach
				o.lo = 1
				o.corners = s.Sellers[c.seller].corners(1, o.hi)
			}
		}
	case 'b':
		low.may[c.buyer] = 1 << c.seller
		high.may[c.buyer] &^= 1 << c.seller
	}
	for _, half := range []*node{low, high} {
		if half.possible() {
			s.look(half, 100)
		}
	}
}

func (n *node) half() *node {
	return &node{depth: n.depth + 1, may: append([]uint64(nil), n.may...), orders: append([]orders(nil), n.orders...), values: append([]int64(nil), n.values...)}
}

func (n *node) forbid(f func(buyer, seller int) bool) {
	for i := range n.may {
		for rest := n.may[i]; rest != 0; rest &= rest - 1 {
			if j := bits.TrailingZeros64(rest); f(i, j) {
				n.may[i] &^= 1 << j
			}
		}
	}
}

func (n *node) possible() bool {
	for _, m := range n.may {
		if m == 0 {
			return false
		}
	}
	return true
}

// queue has the node of the least bound first.
type queue []*node

func (q queue) Len() int           { return len(q) }
func (q queue) Less(i, j int) bool { return q[i].bound < q[j].bound }
func (q queue) Swap(i, j int)      { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(n any)        { *q = append(*q, n.(*node)) }
func (q *queue) Pop() any {
	n := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return n
}
