package buying

import (
	"cmp"
	"math"
	"slices"
)

// mostPairs bounds the pairs of ways that are looked at in [finisher.join].
const mostPairs = 4_000_000

// join finds the two ways, one of each side, that together lose least, and no more than
// so much. Both began with the row of what is settled. Where that would be too much work
// it gives up, as if all it did not look at were dropped.
func (f *finisher) join(front, back *side, settled []int64, limit int64) (w, v int, ok bool) {
	size := f.size
	f.more = make([]int64, len(f.sellers))
	key := f.key(back, limit)
	byKey, byChoice := counted(len(back.total)), counted(len(front.total))
	found := make([]int64, len(back.total))
	for b := range found {
		found[b] = key.of(back.rows[b*size:])
	}
	slices.SortFunc(byKey, func(a, b int) int { return cmp.Or(cmp.Compare(found[a], found[b]), a-b) })
	slices.SortFunc(byChoice, func(a, b int) int { return cmp.Or(cmp.Compare(front.choice[a], front.choice[b]), a-b) })
	keys := make([]int64, len(byKey))
	for i, b := range byKey {
		keys[i] = found[b]
	}
	least, pairs := slices.Min(back.choice)-f.earned, 0
	for _, a := range byChoice {
		if front.choice[a]+least > limit {
			break
		}
		mine := front.rows[a*size : (a+1)*size]
		for r := range key.want(mine, settled, limit-front.choice[a]-least) {
			at, _ := slices.BinarySearch(keys, r.lo)
			for ; at < len(keys) && keys[at] <= r.hi; at++ {
				b := byKey[at]
				choice := front.choice[a] + back.choice[b] - f.earned
				if pairs++; choice > limit {
					continue
				}
				if pairs > mostPairs {
					f.dropped = 0
					f.work += 20 * pairs
					return w, v, ok
				}
				other := back.rows[b*size:]
				for p := range f.row {
					if p < len(f.sellers) {
						f.row[p] = mine[p] + other[p] - settled[p]
					} else {
						f.row[p] = max(mine[p], other[p])
					}
				}
				lost, onLevel, off := f.lose(f.row)
				if off {
					f.missed = min(f.missed, plus(choice, onLevel))
				}
				total := plus(choice, lost)
				if total <= limit {
					w, v, ok = a, b, true
					limit = total - 1
				}
			}
		}
	}
	f.work += 20 * pairs
	return w, v, ok
}

// counted returns the numbers from 0 on.
func counted(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// key is by what the ways of one side are found that may go with one of the other: what
// some sellers would have to send, in all or to fill their last pack. The last part may be
// anything in a span, of the others each value there may be is looked up.
type key []part

// part is what one seller sends, or what is missing in its last pack.
type part struct {
	place  int
	pack   int64 // 0: all that it sends
	base   int64 // the least of the ways
	size   int64 // how many different ones there may be
	lo, hi int64 // what both sides may send in all, or may be missing in the last pack
	value  int64 // lost for each that is missing in the last pack
}

// lookups is how many keys are looked up for one way at the most.
const lookups = 64

// key returns the key of a side, if no more is lost than so much.
func (f *finisher) key(s *side, room int64) key {
	var parts key
	for p, j := range f.sellers {
		pack, value := f.Sellers[j].Pack, max(1, f.values[j])
		if f.level[p].hi > 0 {
			if most := min(pack-1, room/value); pack > 1 {
				parts = append(parts, part{p, pack, 0, pack, 0, most, value})
			}
			continue
		}
		lo, hi, none := f.within(f.node, j, f.groups[f.group[p]].base, room)
		if lo = f.Sellers[j].fill(lo) - pack - room/value; none {
			lo = 0
		}
		from, to := int64(math.MaxInt64), int64(0)
		for w := range s.total {
			from, to = min(from, s.rows[w*f.size+p]), max(to, s.rows[w*f.size+p])
		}
		parts = append(parts, part{p, 0, from, to - from + 1, lo, hi, 0})
	}
	// Those that may be fewest different ones are looked up one by one, as long as these are
	// not too many, and the next may be any of a span.
	parts = slices.DeleteFunc(parts, func(p part) bool { return 2*(p.hi-p.lo+1) > p.size })
	slices.SortStableFunc(parts, func(a, b part) int { return cmp.Compare(a.hi-a.lo, b.hi-b.lo) })
	many, all := int64(1), int64(1)
	for n, k := range parts {
		if k.size > math.MaxInt64/4/all || many > lookups {
			return parts[:n]
		}
		many, all = many*max(1, k.hi-k.lo+1), all*k.size
	}
	return parts
}

// of returns by what a way is found.
func (k key) of(row []int64) (v int64) {
	for _, p := range k {
		at := row[p.place] - p.base
		if p.pack > 0 {
			at = row[p.place] % p.pack
		}
		v = v*p.size + at
	}
	return v
}

// span is some keys that follow each other.
type span struct{ lo, hi int64 }

// want returns where the ways are found that go with one of the other side, if there is
// so much room left.
func (k key) want(row, settled []int64, room int64) func(yield func(span) bool) {
	return func(yield func(span) bool) { k.spans(0, row, settled, room, yield) }
}

func (k key) spans(v int64, row, settled []int64, room int64, yield func(span) bool) bool {
	if len(k) == 0 {
		return yield(span{v, v})
	}
	p := k[0]
	mine := row[p.place] - settled[p.place]
	if p.pack > 0 {
		for waste := range min(p.hi, room/p.value) + 1 { // pieces that are missing in the last pack
			at := ((-mine-waste)%p.pack + p.pack) % p.pack
			if !k[1:].spans(v*p.size+at, row, settled, room-waste*p.value, yield) {
				return false
			}
		}
		return true
	}
	lo, hi := max(0, p.lo-mine-p.base), min(p.size-1, p.hi-mine-p.base)
	if len(k) == 1 {
		return lo > hi || yield(span{v*p.size + lo, v*p.size + hi})
	}
	for at := lo; at <= hi; at++ {
		if !k[1:].spans(v*p.size+at, row, settled, room, yield) {
			return false
		}
	}
	return true
}
