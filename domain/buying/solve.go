package buying

import (
	"container/heap"
	"errors"
	"math"
	"math/bits"
	"slices"
)

// ErrUndecided says that the work was not enough to find any plan.
var ErrUndecided = errors.New("no plan was found in the work allowed")

// Solve returns the plan of least cost. The same problem has the same plan.
//
// It is branch and bound. The bound of a node is Lagrange's: a piece of each seller
// gets a value; every buyer then takes the seller of least cost plus value, and every
// seller takes the order that earns most at that value, each for itself. Whatever the
// values are, the sum is a bound, in whole numbers, so that a gap of 0 is a proof. To it
// comes what small orders lose since the lots do not come out as they do ([search.count]). What
// a plan costs above the bound is the sum of what each buyer and each seller loses by
// doing otherwise than in the bound; so whoever would lose more than the best plan known
// is above it is settled, and few enough that are not are listed (see [search.finish]).
// Else, where the two sides disagree most, the node is split: by the size of a seller's
// order, by the reach of its route, or by who serves a buyer.
func (p Problem) Solve() (Plan, error) {
	if err := p.Check(); err != nil {
		return Plan{}, err
	}
	s := newSearch(p)
	root := &node{floor: math.MinInt64, may: make([]uint64, len(p.Lots)), orders: make([]orders, len(p.Sellers)), values: make([]int64, len(p.Sellers))}
	for j, seller := range s.Sellers {
		root.orders[j] = orders{none: true, lo: 1, hi: seller.Most, corners: seller.corners(0, seller.Most)}
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
	s.look(root, 1000)
	for len(s.open) > 0 && s.work < s.Work && s.open[0].floor <= s.most() {
		n := heap.Pop(&s.open).(*node)
		if n.split.kind == 'b' && n.width > 0 && n.width < widest {
			if n.width *= 4; !s.finish(n, n.width) {
				heap.Push(&s.open, n)
			}
			continue
		}
		s.split(n)
	}
	s.best.Bound = s.best.Cost
	for _, n := range s.open {
		s.best.Bound = min(s.best.Bound, s.whole(n.floor))
	}
	switch {
	case s.best.Seller != nil:
		return s.best, nil
	case len(s.open) == 0:
		return Plan{}, ErrNone
	}
	return Plan{}, ErrUndecided
}

// search is what is known while a problem is being solved.
type search struct {
	Problem
	best   Plan
	open   queue
	work   int
	rises  [][]corner // by seller: the orders at which a step begins, each with the least cost of it and those after it
	groups [][]int    // the sellers of each group; one without a group is one alone
	group  []int      // of each seller
	scale  int64      // values and bounds are in such parts of the unit of money
	dear   int64      // the highest price of a piece
	top    int64      // the greatest value of a piece
}

func newSearch(p Problem) *search {
	s := &search{Problem: p, best: Plan{Cost: p.ceiling()}, rises: make([][]corner, len(p.Sellers)), group: make([]int, len(p.Sellers))}
	if s.Work == 0 {
		s.Work = 600_000_000
	}
	s.Sellers = slices.Clone(p.Sellers)
	of := map[int]int{}
	pieces := int64(1)
	for j := range s.Sellers {
		seller := &s.Sellers[j]
		seller.fills = p.fills(j)
		s.rises[j] = seller.rises()
		s.dear = max(s.dear, seller.Steps[0].Price)
		g, known := of[seller.Group]
		if !known || seller.Group == 0 {
			g = len(s.groups)
			s.groups = append(s.groups, nil)
			of[seller.Group] = g
		}
		s.groups[g], s.group[j] = append(s.groups[g], j), g
		pieces += seller.Most
	}
	for _, lots := range p.Lots {
		var most int64
		for _, lot := range lots {
			most = max(most, lot.Pieces)
		}
		pieces += most
	}
	const all = 1 << 60
	for s.scale = 1 << 20; s.scale > 1 && s.scale > all/s.best.Cost; s.scale /= 2 {
	}
	s.top = all / pieces
	return s
}

// most is the greatest bound below which there may be a better plan than the best one.
func (s *search) most() int64 { return (s.best.Cost - 1) * s.scale }

// whole returns the least whole cost that is not below a bound.
func (s *search) whole(bound int64) int64 {
	cost := bound / s.scale
	if cost*s.scale < bound {
		cost++
	}
	return cost
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
	values []int64  // of a piece of each seller, at which the bound is best; scaled
	bound  int64    // at these values; scaled
	waste  []int64  // by seller: what it loses besides, since the lots do not come out as its orders; scaled
	wasted int64    // all of it
	floor  int64    // no plan of the node costs less, by this bound or that of the node it was split from
	listed int      // buyers who were not settled when its plans were last listed in vain
	width  int      // and how many ways were gone on with; 0: none
	depth  int
	split  split
}

// orders are those of one seller that are in a node.
type orders struct {
	none    bool  // there may be no order
	lo, hi  int64 // pieces, if there is one
	far     int64 // what the route costs at least, if there is an order
	corners []corner
}

// look bounds a node, looks for plans near it, and keeps it if a better one may be in it.
func (s *search) look(n *node, steps int) {
	s.best.Nodes++
	e := s.ascend(n, steps)
	if e == nil {
		return
	}
	s.count(n)
	n.floor = max(n.floor, n.bound+n.wasted)
	if n.floor > s.most() || !s.narrow(n) {
		return
	}
	n.split = s.choose(n, e)
	if n.split.kind == 'b' || n.split.kind == 0 {
		s.try(n, e.picked, most)
		if n.floor > s.most() || !s.narrow(n) {
			return
		}
	}
	if n.width = s.widen(n); n.width > 0 && s.finish(n, n.width) || n.split.kind == 0 {
		return
	}
	heap.Push(&s.open, n)
}

// widest is how many ways to finish a node are listed at the most, before it is split by
// the buyers.
const widest = 64_000

// widen says how many ways to finish a node are listed at first; 0: it is too early.
func (s *search) widen(n *node) int {
	open := 0
	for _, m := range n.may {
		if m&(m-1) != 0 {
			open++
		}
	}
	switch {
	case n.split.kind == 0:
		return 1 << 20
	case open <= 24 && n.split.kind != 'b':
		return 200
	case n.split.kind == 'b' && (n.listed == 0 || open < n.listed*3/4):
		n.listed = open
		return 1_000_000 / open
	}
	return 0
}

// narrow takes away the sellers who, serving a buyer, and the orders that, for one
// seller, would make every plan of the node cost at least as much as the best one known.
// It reports whether any plan is left.
func (s *search) narrow(n *node) bool {
	room := s.most() - n.bound
	for i, lots := range s.Lots {
		least := int64(math.MaxInt64)
		for rest := n.may[i]; rest != 0; rest &= rest - 1 {
			j := bits.TrailingZeros64(rest)
			least = min(least, lots[j].Cost*s.scale+n.values[j]*lots[j].Pieces)
		}
		for rest := n.may[i]; rest != 0; rest &= rest - 1 {
			j := bits.TrailingZeros64(rest)
			if lots[j].Cost*s.scale+n.values[j]*lots[j].Pieces-least > room-n.wasted+n.waste[j] {
				n.may[i] &^= 1 << j
			}
		}
		if n.may[i] == 0 {
			return false
		}
	}
	for _, group := range s.groups {
		base := s.earn(n, group).least
		for _, j := range group {
			o := &n.orders[j]
			if o.corners == nil {
				continue
			}
			lo, hi, none := s.within(n, j, base, room-n.wasted+n.waste[j])
			none = none && s.earn(n, slices.DeleteFunc(slices.Clone(group), func(k int) bool { return k == j })).least-base <= room-n.wasted+n.waste[j]
			switch {
			case lo <= hi && (none != o.none || lo > o.lo || hi < o.hi):
				*o = orders{none, lo, hi, o.far, s.Sellers[j].corners(lo, hi)}
			case lo > hi && none:
				n.close(j)
			case lo > hi:
				return false
			}
		}
	}
	return n.settle(s)
}

// within returns from where to where the orders of a seller are that lose no more than the
// room, given what its group makes the bound, and whether it may have none. There are
// none where lo is above hi.
func (s *search) within(n *node, j int, base, room int64) (lo, hi int64, none bool) {
	o := &n.orders[j]
	lo = math.MaxInt64
	was := corner{-1, 0, 0}       // its cost is the loss
	for _, c := range o.corners { // between two of them the loss is a straight line
		loss := (c.cost+o.far)*s.scale - n.values[j]*c.sent - base
		if loss <= room {
			lo, hi = min(lo, c.pieces), max(hi, c.pieces)
		}
		if was.pieces >= 0 && (loss <= room) != (was.cost <= room) {
			at := was.pieces + int64(float64(c.pieces-was.pieces)*(float64(room-was.cost)/float64(loss-was.cost)))
			if loss <= room { // falls into the room
				lo = min(lo, max(was.pieces, at-1))
			} else {
				hi = max(hi, min(c.pieces, at+1))
			}
		}
		was = corner{c.pieces, loss, 0}
	}
	return lo, hi, o.none
}

// close takes a seller out of a node.
func (n *node) close(j int) {
	n.orders[j] = orders{none: true}
	for i := range n.may {
		n.may[i] &^= 1 << j
	}
}

// settle closes the others of a group of which one must have an order, and reports
// whether any plan may be left.
func (n *node) settle(s *search) bool {
	for _, group := range s.groups {
		used := -1
		for _, j := range group {
			if !n.orders[j].none {
				if used >= 0 {
					return false
				}
				used = j
			}
		}
		if used < 0 {
			continue
		}
		for _, j := range group {
			if j != used && n.orders[j].corners != nil {
				n.close(j)
			}
		}
	}
	for _, m := range n.may {
		if m == 0 {
			return false
		}
	}
	return true
}

func (n *node) half() *node {
	return &node{depth: n.depth + 1, floor: n.floor, listed: n.listed, may: append([]uint64(nil), n.may...), orders: append([]orders(nil), n.orders...), values: append([]int64(nil), n.values...)}
}

// queue has the node of the least bound first.
type queue []*node

func (q queue) Len() int           { return len(q) }
func (q queue) Less(i, j int) bool { return q[i].floor < q[j].floor }
func (q queue) Swap(i, j int)      { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(n any)        { *q = append(*q, n.(*node)) }
func (q *queue) Pop() any {
	n := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return n
}
