package buying

import (
	"cmp"
	"math"
	"slices"
)

// draft is a plan that is being made better by small changes.
type draft struct {
	*search
	in    *node   // orders are at least what they are in it; nil: what is sent
	by    []int   // the seller of each buyer
	sent  []int64 // by seller
	reach []int64
	total int64
}

// try makes the best plans it can of a choice of sellers, of it as it is and as the orders
// of a node would have it, and keeps the best so far.
func (s *search) try(n *node, choice []int, effort effort) {
	d := &draft{search: s, by: append([]int(nil), choice...), sent: make([]int64, len(s.Sellers)), reach: make([]int64, len(s.Sellers))}
	for i, j := range d.by {
		d.sent[j] += s.Lots[i][j].Pieces
		d.reach[j] = max(d.reach[j], s.Lots[i][j].Reach)
	}
	if !d.unite() {
		return
	}
	within := d.clone()
	d.better(n, effort)
	within.in = n
	within.total = within.cost()
	for within.move() || effort >= most && within.exchange(n.values) {
	}
	within.in = nil
	within.better(n, effort)
}

// effort is how much is done to make a draft better.
type effort int

const (
	little effort = iota // buyers are moved
	much                 // and swapped
	most                 // and shifted between each two sellers in the best way
)

// better makes a draft better and, if it is a plan and the best one so far, keeps it.
func (d *draft) better(n *node, effort effort) {
	if !d.fit() {
		return
	}
	d.total = d.cost()
	for d.move() || d.close() || effort >= much && d.swap() || effort >= most && d.exchange(n.values) {
	}
	if best := &d.search.best; d.total < best.Cost {
		best.Cost = d.total
		best.Seller = d.by
		best.Ordered = make([]int64, len(d.Sellers))
		for j, seller := range d.Sellers {
			best.Ordered[j], _, _ = seller.Order(d.sent[j])
		}
	}
}

// at is what a seller's order and route cost; what cannot be ordered costs too much.
func (d *draft) at(j int, sent, reach int64) int64 {
	if d.in != nil {
		return d.within(j, sent, reach)
	}
	if sent == 0 {
		return 0
	}
	seller := &d.Sellers[j]
	cost := int64(tooMuch)
	if q := seller.packed(max(sent, seller.Least)); q <= seller.Most {
		cost = seller.Price(q) + seller.Fee
	}
	for _, r := range d.rises[j] {
		if r.pieces >= sent {
			cost = min(cost, r.cost)
			break
		}
	}
	if cost == tooMuch {
		return cost
	}
	return cost + reach
}

// within is at, where the orders are those of a node; what is sent beyond them costs so
// much that it had better be sent by somebody else.
func (d *draft) within(j int, sent, reach int64) int64 {
	o, seller := &d.in.orders[j], &d.Sellers[j]
	if sent == 0 && o.none {
		return 0
	}
	if o.corners == nil {
		return sent * 2 * d.dear
	}
	last := o.corners[len(o.corners)-1].pieces
	_, cost, ok := seller.orderWithin(min(sent, last), o.lo, o.hi)
	if !ok {
		return tooMuch
	}
	return cost + max(reach, o.far) + max(0, sent-last)*2*d.dear
}

const tooMuch = math.MaxInt64 / 8

func (d *draft) cost() int64 {
	var total int64
	for j := range d.Sellers {
		total += d.at(j, d.sent[j], d.reach[j])
	}
	for i, j := range d.by {
		total += d.Lots[i][j].Cost
	}
	return total
}

// blocked reports whether another of the seller's group has the order.
func (d *draft) blocked(j int) bool {
	for _, k := range d.groups[d.group[j]] {
		if k != j && d.sent[k] > 0 {
			return true
		}
	}
	return false
}

// unite leaves one seller of each group with an order, first the one that sends most.
func (d *draft) unite() bool {
	for _, group := range d.groups {
		if len(group) < 2 {
			continue
		}
		sends := slices.Clone(group)
		slices.SortStableFunc(sends, func(a, b int) int { return cmp.Compare(d.sent[b], d.sent[a]) })
		if d.sent[sends[1]] == 0 {
			continue
		}
		united := slices.ContainsFunc(sends, func(j int) bool {
			t := d.clone()
			for _, k := range group {
				if k != j && !t.empty(k, j) {
					return false
				}
			}
			*d = *t
			return true
		})
		if !united {
			return false
		}
	}
	return true
}

func (d *draft) clone() *draft {
	return &draft{search: d.search, in: d.in, by: slices.Clone(d.by), sent: slices.Clone(d.sent), reach: slices.Clone(d.reach)}
}

// fit moves buyers from sellers who have not enough to those who have.
func (d *draft) fit() bool {
	for range 2 * len(d.by) {
		over := -1
		for j := range d.Sellers {
			seller := &d.Sellers[j]
			if d.sent[j] > 0 {
				if seller.packed(d.sent[j]) > seller.Most {
					over = j
				}
			}
		}
		if over < 0 {
			return true
		}
		best, from, to := int64(math.MaxInt64), -1, -1
		for i, j := range d.by {
			if j != over {
				continue
			}
			for k := range d.Sellers {
				if k == over || d.Lots[i][k].Pieces == 0 || d.blocked(k) {
					continue
				}
				more := d.at(k, d.sent[k]+d.Lots[i][k].Pieces, d.reach[k])
				if more >= tooMuch {
					continue
				}
				if c := (more - d.at(k, d.sent[k], d.reach[k]) + d.Lots[i][k].Cost - d.Lots[i][j].Cost) / d.Lots[i][j].Pieces; c < best {
					best, from, to = c, i, k
				}
			}
		}
		if from < 0 {
			return false
		}
		d.put(from, to)
	}
	return false
}

// put gives a buyer to a seller.
func (d *draft) put(i, j int) {
	was := d.by[i]
	d.by[i] = j
	d.sent[was] -= d.Lots[i][was].Pieces
	d.sent[j] += d.Lots[i][j].Pieces
	d.reach[j] = max(d.reach[j], d.Lots[i][j].Reach)
	d.reach[was] = d.reachWithout(-1, was)
}

// reachWithout returns the reach of a seller's route without one of its stops.
func (d *draft) reachWithout(stop, j int) int64 {
	if stop >= 0 && d.Lots[stop][j].Reach < d.reach[j] || d.reach[j] == 0 {
		return d.reach[j]
	}
	var reach int64
	for i, by := range d.by {
		if by == j && i != stop {
			reach = max(reach, d.Lots[i][j].Reach)
		}
	}
	return reach
}

// move gives buyers to other sellers where that costs less.
func (d *draft) move() bool {
	moved := false
	d.work += 10 * len(d.by) * len(d.Sellers)
	for i, j := range d.by {
		lots := d.Lots[i]
		less := d.at(j, d.sent[j], d.reach[j]) - d.at(j, d.sent[j]-lots[j].Pieces, d.reachWithout(i, j)) + lots[j].Cost
		best, to := int64(0), -1
		for k, lot := range lots {
			if k == j || lot.Pieces == 0 || d.blocked(k) {
				continue
			}
			more := d.at(k, d.sent[k]+lot.Pieces, max(d.reach[k], lot.Reach)) - d.at(k, d.sent[k], d.reach[k]) + lot.Cost
			if more-less < best {
				best, to = more-less, k
			}
		}
		if to >= 0 {
			d.put(i, to)
			d.total += best
			moved = true
		}
	}
	return moved
}

// swap exchanges the sellers of two buyers where that costs less.
func (d *draft) swap() bool {
	for i, j := range d.by {
		d.work += 10 * len(d.by)
		for h := i + 1; h < len(d.by); h++ {
			k := d.by[h]
			if k == j || d.Lots[i][k].Pieces == 0 || d.Lots[h][j].Pieces == 0 {
				continue
			}
			was := d.at(j, d.sent[j], d.reach[j]) + d.at(k, d.sent[k], d.reach[k]) + d.Lots[i][j].Cost + d.Lots[h][k].Cost
			is := d.at(j, d.sent[j]-d.Lots[i][j].Pieces+d.Lots[h][j].Pieces, max(d.reachWithout(i, j), d.Lots[h][j].Reach)) +
				d.at(k, d.sent[k]-d.Lots[h][k].Pieces+d.Lots[i][k].Pieces, max(d.reachWithout(h, k), d.Lots[i][k].Reach)) +
				d.Lots[i][k].Cost + d.Lots[h][j].Cost
			if is < was {
				d.put(i, k)
				d.put(h, j)
				d.total += is - was
				return true
			}
		}
	}
	return false
}

// close does without a seller where that costs less, or puts another of its group in
// its place.
func (d *draft) close() bool {
	for j := range d.Sellers {
		if d.sent[j] == 0 {
			continue
		}
		for _, to := range d.groups[d.group[j]] {
			t := d.clone()
			if to == j {
				to = -1
			}
			if !t.empty(j, to) {
				continue
			}
			if t.total = t.cost(); t.total < d.total {
				*d = *t
				return true
			}
		}
	}
	return false
}

// empty gives all buyers of a seller to one of its group, those whom it cannot serve, or
// all if it is -1, to the ones at whom they cost least.
func (d *draft) empty(j, in int) bool {
	for i, by := range d.by {
		if by != j {
			continue
		}
		if in >= 0 && d.Lots[i][in].Pieces > 0 {
			d.put(i, in)
			continue
		}
		best, to := int64(tooMuch), -1
		for k, lot := range d.Lots[i] {
			if k == j || lot.Pieces == 0 || d.blocked(k) {
				continue
			}
			if c := d.at(k, d.sent[k]+lot.Pieces, max(d.reach[k], lot.Reach)) - d.at(k, d.sent[k], d.reach[k]) + lot.Cost; c < best {
				best, to = c, k
			}
		}
		if to < 0 {
			return false
		}
		d.put(i, to)
	}
	return true
}
