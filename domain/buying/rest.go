package buying

import (
	"math"
	"math/bits"
)

// rest is what is lost at least by all that is still to be settled, as far as one seller
// goes: it and the buyers lose, to the bound, at least what they do in the best of all sets
// of buyers it may serve, a knapsack.
type rest struct {
	place int        // of the seller
	base  int64      // pieces it sends before any of the buyers is settled
	shift int        // by which the losses are shortened
	least [][]uint16 // by how many buyers are settled, by pieces above the base
}

const (
	never       = math.MaxUint16
	foreseeable = 40_000_000 // entries there may be of all sellers
)

// foresee works out the rest of each seller for whom it matters how much it sends, if
// nothing is settled but the first row.
func (f *finisher) foresee(first []int64) {
	var entries int
	for g := range f.groups {
		if p := f.groups[g].of[0]; len(f.groups[g].of) == 1 && f.level[p].hi == 0 {
			o := &f.orders[f.sellers[p]]
			most := min(first[p]+f.more[p], o.hi, f.Sellers[f.sellers[p]].Most)
			if entries += max(0, int(most-first[p])+1) * len(f.buyers); entries > foreseeable || most < first[p] {
				return
			}
			f.rests = append(f.rests, f.foreseeOne(g, first[p], most))
		}
	}
}

// foreseeOne is foresee for the seller of a group, who may send so much at the most.
func (f *finisher) foreseeOne(g int, base, most int64) rest {
	p, n := f.groups[g].of[0], len(f.buyers)
	r := rest{p, base, max(0, bits.Len64(uint64(f.room))-15), make([][]uint16, n+1)}
	more := f.more[p]
	f.more[p] = 0
	now := make([]int64, most-base+1)
	clear(f.row)
	for x := range now {
		f.row[p] = base + int64(x)
		now[x], _ = f.reckon(&f.groups[g], f.row)
	}
	f.more[p] = more
	for k := n; ; k-- {
		live := now[:min(int64(len(now)), more+1)]
		r.least[k] = make([]uint16, len(live))
		for x, lost := range live {
			r.least[k][x] = never
			if lost <= f.room {
				r.least[k][x] = uint16(max(0, lost) >> r.shift)
			}
		}
		f.work += len(live) / 2
		if k == 0 {
			return r
		}
		more -= f.add(live, f.buyers[k-1], f.sellers[p])
	}
}

// add adds a buyer to those still to be settled, and returns the pieces the seller may
// send it.
func (f *finisher) add(now []int64, i, j int) int64 {
	take, other := int64(math.MaxInt64), int64(math.MaxInt64)
	for may := f.may[i]; may != 0; may &= may - 1 {
		if k := bits.TrailingZeros64(may); k == j {
			take = f.loss(i, k)
		} else {
			other = min(other, f.loss(i, k))
		}
	}
	least := min(take, other)
	var pieces int64
	if f.may[i]&(1<<j) != 0 {
		pieces = f.Lots[i][j].Pieces
	}
	for x := range now {
		lost := plus(now[x], other-least)
		if at := x + int(pieces); pieces > 0 && at < len(now) {
			lost = min(lost, plus(now[at], take-least))
		}
		now[x] = lost
	}
	return pieces
}

// beyond reports whether the way in the row, with so many buyers settled, loses more than
// the room with all that is still to be settled.
func (f *finisher) beyond(settled int, total int64) bool {
	for k := range f.rests {
		r := &f.rests[k]
		least := r.least[settled]
		x := f.row[r.place] - r.base
		if x >= int64(len(least)) || least[x] == never {
			return true
		}
		if lost, _ := f.loses(f.group[r.place], f.row); total-lost+int64(least[x])<<r.shift > f.room {
			return true
		}
	}
	return false
}
