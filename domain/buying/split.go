package buying

import (
	"math"
	"math/bits"
)

// split says how a node is cut in two: at an order of a seller, at the reach of its
// route, or at a buyer.
type split struct {
	kind   byte // o, r, b; 0: it is one plan
	seller int
	buyer  int
	at     int64
}

// choose says where a node is to be cut: at the seller whose orders are cheaper in the
// bound than they can be, or else at the buyer who is served by several.
func (s *search) choose(n *node, e *estimate) split {
	var best split
	room := float64(s.best.Cost - s.whole(n.floor))
	most := room / 1000
	for j := range s.Sellers {
		seller, o := &s.Sellers[j], &n.orders[j]
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
		// What a route costs more is small beside an order, and [search.finish] counts it.
		if miss := float64(reach - o.far); miss > max(most, room/8) {
			best, most = split{kind: 'r', seller: j, at: o.far}, miss
		}
	}
	if best.kind != 0 {
		return best
	}
	if at := s.choosePack(n); at.kind != 0 {
		return at
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

// choosePack says where a node is to be cut between two packs of a seller, around what
// the best plan orders or else in the middle: where all who send anything do so in packs,
// what does not fill them is lost, which the bound does not know before.
func (s *search) choosePack(n *node) split {
	if s.best.Seller == nil {
		return split{}
	}
	best, most := split{}, int64(1)
	for j := range s.Sellers {
		seller, o := &s.Sellers[j], &n.orders[j]
		if o.none {
			continue
		}
		if seller.Pack == 1 && o.lo < o.hi {
			return split{}
		}
		lo, hi := seller.packed(max(o.lo, seller.Least)), o.hi/seller.Pack*seller.Pack
		if lo >= hi || seller.Pack <= most {
			continue
		}
		most = seller.Pack
		at := s.best.Ordered[j] // is to be alone in its part
		switch {
		case at == hi:
			at -= seller.Pack
		case at < lo || at > hi:
			at = (lo + hi) / 2 / seller.Pack * seller.Pack
		}
		best = split{kind: 'o', seller: j, at: at + 1}
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
	if !o.none {
		from = o.corners[0]
		from.cost += o.far
	}
	for i := 0; ; {
		to = from
		slope := math.Inf(1)
		for k := i; k < len(o.corners); k++ {
			c := corner{o.corners[k].pieces, o.corners[k].cost + o.far, o.corners[k].sent}
			if c.sent <= from.sent {
				continue
			}
			if m := float64(c.cost-from.cost) / float64(c.sent-from.sent); m <= slope {
				slope, to, i = m, c, k
			}
		}
		if float64(to.sent) >= wanted || to == from {
			break
		}
		from = to
	}
	if to == from || wanted <= float64(from.sent) {
		return 0, 0, false
	}
	hull := float64(from.cost) + (wanted-float64(from.sent))*float64(to.cost-from.cost)/float64(to.sent-from.sent)
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
	if !ok && from.pieces == 0 && o.none {
		return 0, miss, true
	}
	if q := s.packed(int64(math.Ceil(wanted))); !ok && s.Pack > 1 && q > o.lo && q <= o.hi {
		return q, miss, true
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
		if c.at == 0 { // none, or some
			low.close(c.seller)
			high.orders[c.seller].none = false
			break
		}
		low.orders[c.seller] = orders{o.none, o.lo, c.at - 1, o.far, s.Sellers[c.seller].corners(o.lo, c.at-1)}
		high.orders[c.seller] = orders{false, c.at, o.hi, o.far, s.Sellers[c.seller].corners(c.at, o.hi)}
	case 'r':
		reach := func(i int) int64 { return s.Lots[i][c.seller].Reach }
		next := int64(math.MaxInt64)
		for i := range s.Lots {
			if r := reach(i); r > c.at && n.may[i]&(1<<c.seller) != 0 {
				next = min(next, r)
			}
		}
		for i := range low.may {
			if reach(i) > c.at {
				low.may[i] &^= 1 << c.seller
			}
		}
		if o := &high.orders[c.seller]; next < math.MaxInt64 {
			o.far = next
			o.none = false // without an order there is no reach
		}
	case 'b':
		low.may[c.buyer] = 1 << c.seller
		high.may[c.buyer] &^= 1 << c.seller
	}
	for _, half := range []*node{low, high} {
		if half.settle(s) {
			s.look(half, 150)
		}
	}
}
