package buying

import (
	"cmp"
	"math"
	"slices"
)

// window is how far what two sellers send may be shifted at once by [draft.exchange].
const window = 2500

// exchange shifts buyers between each two of the sellers who send something, in the best
// of all ways that shift no more than the window: a knapsack over the buyers of both, in
// which each state keeps the way that loses least at the values of a piece. So orders
// come to fill their packs, and what there is to the last piece.
func (d *draft) exchange(values []int64) bool {
	better := false
	for j := range d.Sellers {
		for k := range d.Sellers {
			if j < k && d.sends(j) && d.sends(k) && d.shift(j, k, values) {
				better = true
			}
		}
	}
	return better
}

// sends reports whether a seller sends something, or must.
func (d *draft) sends(j int) bool { return d.sent[j] > 0 || d.in != nil && !d.in.orders[j].none }

// swing is what comes of giving a buyer to the other of two sellers.
type swing struct {
	buyer      int
	from, to   int64 // pieces more that the first and that the second sends
	cost, loss int64 // loss is at the values; scaled
}

// widely is how many swings are looked at together, those that lose least.
const widely = 80

// swings returns what may be given to the other of two sellers. A piece is worth what it
// is in the bound, and at least its lowest price.
func (d *draft) swings(j, k int, values []int64) []swing {
	worth := func(j int) int64 {
		steps := d.Sellers[j].Steps
		return max(values[j], steps[len(steps)-1].Price*d.scale)
	}
	var list []swing
	for i, by := range d.by {
		a, b := d.Lots[i][j], d.Lots[i][k]
		if by != j && by != k || a.Pieces == 0 || b.Pieces == 0 || max(a.Pieces, b.Pieces) > window {
			continue
		}
		w := swing{buyer: i, from: a.Pieces, to: -b.Pieces, cost: a.Cost - b.Cost}
		if by == j {
			w.from, w.to, w.cost = -w.from, -w.to, -w.cost
		}
		w.loss = w.cost*d.scale + worth(j)*w.from + worth(k)*w.to
		list = append(list, w)
	}
	slices.SortStableFunc(list, func(a, b swing) int { return cmp.Compare(a.loss, b.loss) })
	return list[:min(len(list), widely)]
}

// shift gives buyers of two sellers to the other where that costs less.
func (d *draft) shift(j, k int, values []int64) bool {
	const none = math.MaxInt64
	var states [2*window + 1]struct{ loss, to, cost int64 } // by what the first sends more
	for at := range states {
		states[at].loss = none
	}
	states[window].loss = 0
	swings := d.swings(j, k, values)
	taken := make([][len(states)]bool, len(swings))
	d.work += len(states) * len(swings) / 6
	lo, hi := window, window // the states there are
	for n, w := range swings {
		step := int(w.from)
		take := func(at int) {
			was, is := &states[at], &states[at+step]
			if was.loss != none && was.loss+w.loss < is.loss {
				is.loss, is.to, is.cost = was.loss+w.loss, was.to+w.to, was.cost+w.cost
				taken[n][at+step] = true
			}
		}
		if step > 0 {
			for at := min(hi, len(states)-1-step); at >= lo; at-- {
				take(at)
			}
			hi = min(hi+step, len(states)-1)
		} else {
			for at := max(lo, -step); at <= hi; at++ {
				take(at)
			}
			lo = max(lo+step, 0)
		}
	}
	was := d.at(j, d.sent[j], d.reach[j]) + d.at(k, d.sent[k], d.reach[k])
	least, best := int64(0), -1
	for at, s := range states {
		if s.loss == none || d.sent[k]+s.to < 0 {
			continue
		}
		if c := d.at(j, d.sent[j]+int64(at-window), d.reach[j]) + d.at(k, d.sent[k]+s.to, d.reach[k]) + s.cost - was; c < least {
			least, best = c, at
		}
	}
	if best < 0 {
		return false
	}
	t := d.clone()
	for n, at := len(swings)-1, best; n >= 0; n-- {
		if !taken[n][at] {
			continue
		}
		at -= int(swings[n].from)
		if i := swings[n].buyer; t.by[i] == j {
			t.put(i, k)
		} else {
			t.put(i, j)
		}
	}
	if t.total = t.cost(); t.total >= d.total { // a route may have become longer
		return false
	}
	*d = *t
	return true
}
