package buying

import "math"

// level is where one piece more costs a seller what it is worth in the bound, which
// nothing it could do else would be above: it does not matter then how many it sends,
// but for those that fill up the last pack.
type level struct{ lo, hi int64 } // pieces in whole packs; 0: nowhere

// levelOf returns the longest level of a seller.
func (f *finisher) levelOf(j int, base int64) level {
	o := &f.orders[j]
	var best level
	for k := 1; !f.exact && k < len(o.corners); k++ {
		a, b := o.corners[k-1], o.corners[k]
		if (a.cost+o.far)*f.scale-f.values[j]*a.pieces == base && (b.cost-a.cost)*f.scale == (b.pieces-a.pieces)*f.values[j] && b.pieces-a.pieces > best.hi-best.lo {
			best = level{a.pieces, b.pieces}
		}
	}
	return best
}

// plus adds losses of which some may be without end.
func plus(a, b int64) int64 {
	if a == math.MaxInt64 || b == math.MaxInt64 {
		return math.MaxInt64
	}
	return a + b
}

// lose returns what all sellers lose to the bound at least, if they send what they do by the
// row and what may still come; also without those who are off their level, and whether
// there are any.
func (f *finisher) lose(row []int64) (lost, onLevel int64, off bool) {
	for g := range f.groups {
		l, o := f.loses(g, row)
		lost = plus(lost, l)
		if o {
			off = true
		} else {
			onLevel = plus(onLevel, l)
		}
	}
	return lost, onLevel, off
}

// loses is lose for one group.
func (f *finisher) loses(g int, row []int64) (lost int64, off bool) {
	group := &f.groups[g]
	p := group.of[0]
	if len(group.of) > 1 || f.routes {
		return f.reckon(group, row)
	}
	t := &f.tables[p]
	if t.slots == nil {
		t.slots = make([]slot, slots)
	}
	if t.more != f.more[p] {
		t.more = f.more[p]
		t.round++
	}
	s := &t.slots[row[p]%slots]
	if s.round != t.round+1 || s.sent != row[p] {
		lost, off = f.reckon(group, row)
		*s = slot{row[p], lost, t.round + 1, off}
	}
	return s.lost, s.off
}

// table is what a seller loses by what it sends, as far as it was worked out: of most
// sellers most ways send the same.
type table struct {
	more  int64 // what may still come
	round int32
	slots []slot
}

const slots = 4096

type slot struct {
	sent, lost int64
	round      int32
	off        bool
}

// reckon works out what a group loses.
func (f *finisher) reckon(group *places, row []int64) (lost int64, off bool) {
	reach := func(p int) int64 {
		if f.routes {
			return row[len(f.sellers)+p]
		}
		return 0
	}
	if p := group.of[0]; f.level[p].hi > 0 {
		j, sent := f.sellers[p], row[p]
		seller := &f.Sellers[j]
		if off = sent > f.level[p].hi || sent+f.more[p] <= f.level[p].lo-seller.Pack; !off {
			lost = max(0, reach(p)-f.orders[j].far) * f.scale
			if f.more[p] == 0 {
				lost += (seller.packed(sent) - sent) * f.values[j]
			}
			return lost, false
		}
	}
	least, none, sending := int64(0), true, -1
	for _, p := range group.of {
		none = none && f.orders[f.sellers[p]].none
		if row[p] > 0 {
			if sending >= 0 {
				return math.MaxInt64, off
			}
			sending = p
		}
	}
	if !none || sending >= 0 {
		least = math.MaxInt64
	}
	for _, p := range group.of {
		if sending < 0 || sending == p {
			least = min(least, f.cheapest(f.sellers[p], row[p], row[p]+f.more[p], reach(p)))
		}
	}
	if least == math.MaxInt64 {
		return least, off
	}
	return least - group.base, off
}

// cheapest returns what the order of a seller costs the bound at least, if from lo to hi
// pieces are sent of it; the value of what is ordered and not sent is lost.
func (f *finisher) cheapest(j int, lo, hi, reach int64) int64 {
	o, seller, value := &f.orders[j], &f.Sellers[j], f.values[j]
	way := max(o.far, reach)
	least := int64(math.MaxInt64)
	at := func(q, cost int64) {
		if q >= lo && q >= o.lo && q <= o.hi && q <= seller.Most {
			least = min(least, (cost+way)*f.scale-value*min(seller.fill(q), hi))
		}
	}
	for _, c := range o.corners {
		at(c.pieces, c.cost)
	}
	for _, q := range [3]int64{seller.packed(max(lo, o.lo, seller.Least, 1)), seller.packed(max(hi, o.lo, seller.Least, 1)), hi / seller.Pack * seller.Pack} {
		if q > 0 && q >= seller.Least {
			at(q, seller.Price(q)+seller.Fee)
		}
	}
	return least
}
