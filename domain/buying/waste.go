package buying

import (
	"math"
	"math/bits"
)

// small is up to how many pieces it is worked out how far the lots can fill an order.
const small = 4000

// fills returns, by the number of packs, how much of an order of a seller can be sent at
// the most, for small orders of one who sells in packs.
func (p Problem) fills(j int) []int64 {
	pack := p.Sellers[j].Pack
	if pack == 1 {
		return nil
	}
	var can [small + 1]bool // be sent exactly
	can[0] = true
	for _, lots := range p.Lots {
		if n := lots[j].Pieces; n > 0 {
			for at := int64(small); at >= n; at-- {
				can[at] = can[at] || can[at-n]
			}
		}
	}
	var list []int64
	for q := int64(0); q <= small; q += pack {
		n := q
		for !can[n] {
			n--
		}
		list = append(list, n)
	}
	return list
}

// fill returns how much of an order can be sent at the most, as far as that is known.
func (s *Seller) fill(q int64) int64 {
	if n := q / s.Pack; n < int64(len(s.fills)) {
		return s.fills[n]
	}
	return q
}

// countable is up to how large an order it is worked out what its seller wastes.
const countable = 15_000

// count works out what the sellers waste whose orders in a node are small. A seller and
// the buyers it serves lose, to the bound, at least what they do in the best of all its
// orders and all sets of buyers, a knapsack; and since each buyer is served by one seller,
// what several of them lose adds up.
func (s *search) count(n *node) {
	n.waste, n.wasted = make([]int64, len(s.Sellers)), 0
	room := s.most() - n.bound
	for j := range s.Sellers {
		o, group := &n.orders[j], s.groups[s.group[j]]
		if room <= 0 || o.corners == nil || len(group) > 1 || o.corners[len(o.corners)-1].pieces > countable {
			continue
		}
		lost := s.serve(n, j, o.corners[len(o.corners)-1].pieces, room)
		least, base := room+1, s.earn(n, group).least
		if o.none {
			least = min(least, lost[0]-base)
		}
		for i, loss := range lost[1:] {
			if loss > room {
				continue
			}
			sent := int64(i) + 1
			if _, cost, ok := s.Sellers[j].orderWithin(sent, o.lo, o.hi); ok {
				least = min(least, loss+(cost+o.far)*s.scale-n.values[j]*sent-base)
			}
		}
		n.waste[j] = max(0, least)
		n.wasted += n.waste[j]
	}
}

// serve returns what the buyers of a seller lose to the bound at least if it sends so many
// pieces, up to most of them; more than the room where it cannot be.
func (s *search) serve(n *node, j int, most, room int64) []int64 {
	const never = math.MaxInt64 / 4
	lost := make([]int64, most+1)
	for sent := range lost {
		lost[sent] = never
	}
	lost[0] = 0
	var top int64
	for i, lots := range s.Lots {
		pieces := lots[j].Pieces
		if n.may[i]&(1<<j) == 0 || pieces > most {
			continue
		}
		least := int64(math.MaxInt64)
		for rest := n.may[i]; rest != 0; rest &= rest - 1 {
			k := bits.TrailingZeros64(rest)
			least = min(least, lots[k].Cost*s.scale+n.values[k]*lots[k].Pieces)
		}
		more := lots[j].Cost*s.scale + n.values[j]*pieces - least
		if more > room {
			continue
		}
		top = min(top+pieces, most)
		s.work += int(top) / 4
		if n.may[i] == 1<<j { // is served by nobody else
			copy(lost[pieces:], lost)
			for sent := range lost[:pieces] {
				lost[sent] = never
			}
			continue
		}
		for sent := top; sent >= pieces; sent-- {
			lost[sent] = min(lost[sent], lost[sent-pieces]+more)
		}
	}
	return lost
}
