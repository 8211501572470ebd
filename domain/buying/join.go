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
	sellers, size := len(f.sellers), len(settled)
	f.more = make([]int64, sellers)
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
	least, pairs := slices.Min(back.choice), 0
	row := make([]int64, size)
	for _, a := range byChoice {
		if front.choice[a]+least > limit {
			break
		}
		mine := front.rows[a*size : (a+1)*size]
		for r := range key.want(mine, settled, limit-front.choice[a]-least) {
			at, _ := slices.BinarySearch(keys, r.lo)
			for ; at < len(keys) && keys[at] <= r.hi; at++ {
				b := byKey[at]
				lost := front.choice[a] + back.choice[b]
				if pairs++; lost > limit {
					continue
				}
				if pairs > mostPairs {
					f.dropped = 0
					f.work += 20 * pairs
					return w, v, ok
				}
				other := back.rows[b*size:]
				for p := range sellers {
					row[p] = mine[p] + other[p] - settled[p]
					row[sellers+p] = max(mine[sellers+p], other[sellers+p])
				}
				total, onLevel, left := lost, lost, false
				for g := range f.groups {
					lost, off := f.lose(g, row)
					if total = plus(total, lost); !off {
						onLevel = plus(onLevel, lost)
					}
					left = left || off
				}
				if left {
					f.missed = min(f.missed, onLevel)
				}
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

// key is by what the ways of one side are found that may go with one of the other: what a
// seller on its level would have to send to fill its last pack, and what another sends in
// all, each the one that leaves the fewest.
type key struct {
	pack, sum int   // places of the two; -1: there is none
	size      int64 // of a pack
	value     int64 // of a piece of it, lost for each that is missing in the last pack
	lo, hi    int64 // of the sum
}

// sums are below it in a key.
const sums = 1 << 40

// key returns the key of a side, if no more is lost than so much.
func (f *finisher) key(s *side, room int64) key {
	k := key{pack: -1, sum: -1, size: 1}
	width := 2*len(f.sellers) + len(f.groups)
	mod, all := 1.0, math.Inf(1)
	for p, j := range f.sellers {
		pack := f.Sellers[j].Pack
		if f.level[p].hi > 0 {
			if part := (float64(room)/float64(max(1, f.values[j])) + 1) / float64(pack); part < mod {
				mod, k.pack, k.size, k.value = part, p, pack, max(1, f.values[j])
			}
			continue
		}
		lo, hi, none := f.within(f.node, j, f.groups[f.group[p]].base, room)
		if lo -= pack + room/max(1, f.values[j]); none {
			lo = 0
		}
		from, to := int64(math.MaxInt64), int64(0)
		for w := range s.total {
			from, to = min(from, s.rows[w*width+p]), max(to, s.rows[w*width+p])
		}
		if part := float64(hi-lo+1) / float64(to-from+1); part < all {
			all, k.sum, k.lo, k.hi = part, p, lo, hi
		}
	}
	return k
}

// of returns by what a way is found.
func (k *key) of(row []int64) (v int64) {
	if k.pack >= 0 {
		v = row[k.pack] % k.size * sums
	}
	if k.sum >= 0 {
		v += row[k.sum]
	}
	return v
}

// span is some keys that follow each other.
type span struct{ lo, hi int64 }

// want returns where the ways are found that go with one of the other side, if there is
// so much room left.
func (k *key) want(row, settled []int64, room int64) func(yield func(span) bool) {
	all := span{0, sums - 1}
	if k.sum >= 0 {
		mine := row[k.sum] - settled[k.sum]
		all = span{max(0, k.lo-mine), min(k.hi-mine, sums-1)}
	}
	return func(yield func(span) bool) {
		if k.pack < 0 {
			yield(all)
			return
		}
		mine := row[k.pack] - settled[k.pack]
		for waste := range min(k.size, room/k.value+1) { // pieces that are missing in the last pack
			at := ((-mine-waste)%k.size + k.size) % k.size * sums
			if !yield(span{at + all.lo, at + all.hi}) {
				return
			}
		}
	}
}
