package buying

import (
	"cmp"
	"math/bits"
	"slices"
)

// list has the ways: of each a row with what is sent by each seller and, if that matters,
// how far its route reaches.
type list struct {
	rows   []int64
	choice []int64 // what the buyers lose to the bound
	total  []int64 // all of it
	steps  []step
}

// step is how a way came to be: from which of the list before, by which seller.
type step struct {
	from   int32
	seller int8
}

// clear empties the table of what was seen, for so many ways.
func (f *finisher) clear(ways int) {
	slots := 1 << bits.Len(uint(2*ways))
	if cap(f.seen) < slots {
		f.seen = make([]int32, slots)
	}
	f.seen = f.seen[:slots]
	for k := range f.seen {
		f.seen[k] = -1
	}
}

// put adds a way to a list, unless there is one that comes to the same and loses less.
func (f *finisher) put(to *list, row []int64, choice, total int64, st step) {
	hash := uint64(14695981039346656037)
	for p, v := range row {
		if p < len(f.level) && f.level[p].hi > 0 {
			v %= f.Sellers[f.sellers[p]].Pack
		}
		hash = (hash ^ uint64(v)) * 1099511628211
		hash ^= hash >> 29
	}
	for slot := hash; ; slot++ {
		k := slot & uint64(len(f.seen)-1)
		w := int(f.seen[k])
		if w < 0 {
			f.seen[k] = int32(len(to.steps))
			break
		}
		there := to.rows[w*len(row) : (w+1)*len(row)]
		if f.same(there, row) {
			if choice < to.choice[w] {
				copy(there, row)
				to.choice[w], to.total[w], to.steps[w] = choice, total, st
			}
			return
		}
	}
	to.rows = append(to.rows, row...)
	to.choice = append(to.choice, choice)
	to.total = append(to.total, total)
	to.steps = append(to.steps, st)
}

func (f *finisher) same(a, b []int64) bool {
	sellers := len(f.sellers)
	for p, v := range a {
		d := v - b[p]
		if d != 0 && (p >= sellers || f.level[p].hi == 0 || d%f.Sellers[f.sellers[p]].Pack != 0) {
			return false
		}
	}
	return true
}

// cut keeps the ways that lose least.
func (f *finisher) cut(l list) list {
	order := make([]int, len(l.steps))
	for w := range order {
		order[w] = w
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(l.total[a], l.total[b]), a-b) })
	f.dropped = min(f.dropped, l.total[order[f.width]])
	var to list
	for _, w := range order[:f.width] {
		to.rows = append(to.rows, l.rows[w*f.size:(w+1)*f.size]...)
		to.choice = append(to.choice, l.choice[w])
		to.total = append(to.total, l.total[w])
		to.steps = append(to.steps, l.steps[w])
	}
	return to
}
