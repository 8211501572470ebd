package buying

import (
	"math"
	"math/bits"
	"slices"
)

// earned is what the sellers of a group make the bound, at the order that earns most.
type earned struct {
	least  int64 // scaled
	seller int   // -1: no order
	pieces int64
}

// earn returns the best order of a group at the values of a node. The least is
// math.MaxInt64 if there must be one and can be none.
func (s *search) earn(n *node, group []int) earned {
	best := earned{seller: -1}
	for _, j := range group {
		if !n.orders[j].none {
			best.least = math.MaxInt64
		}
	}
	for _, j := range group {
		o := &n.orders[j]
		for _, c := range o.corners {
			if v := (c.cost+o.far)*s.scale - n.values[j]*c.sent; v < best.least {
				best = earned{v, j, c.sent}
			}
		}
	}
	return best
}

// relax returns the bound at the values of a node, and how it comes about: the pieces
// that are wanted of each seller beyond those it sells, and the choice of each buyer.
func (s *search) relax(n *node, missing []float64, choice []int) (bound int64, ok bool) {
	s.work += len(s.Lots) * len(s.Sellers)
	clear(missing)
	for i, lots := range s.Lots {
		least, by := int64(math.MaxInt64), -1
		for rest := n.may[i]; rest != 0; rest &= rest - 1 {
			j := bits.TrailingZeros64(rest)
			if c := lots[j].Cost*s.scale + n.values[j]*lots[j].Pieces; c < least {
				least, by = c, j
			}
		}
		bound += least
		missing[by] += float64(lots[by].Pieces)
		choice[i] = by
	}
	for _, group := range s.groups {
		g := s.earn(n, group)
		if g.least == math.MaxInt64 {
			return 0, false
		}
		bound += g.least
		if g.seller >= 0 {
			missing[g.seller] -= float64(g.pieces)
		}
	}
	return bound, true
}

// ascend moves the values of the pieces towards the best bound, and estimates what the
// relaxed problem does there; there is no estimate if there can be no plan. There are few
// sellers, so that climbing costs little beside the bound itself.
func (s *search) ascend(n *node, steps int) *estimate {
	sellers := len(s.Sellers)
	at, slope, choice := make([]float64, sellers), make([]float64, sellers), make([]int, len(s.Lots))
	e := &estimate{values: slices.Clone(n.values), picked: make([]int, len(s.Lots))}
	n.bound = math.MinInt64
	seen, looks, ok, shorter := &bundle{}, 0, true, 1.0
	look := func() {
		for j, v := range at {
			n.values[j] = int64(math.Round(min(max(0, v), float64(s.top))))
		}
		var bound int64
		if bound, ok = s.relax(n, slope, choice); !ok {
			return
		}
		seen.add(bound, n.values, slope, choice)
		for j, v := range at {
			if v < 0 {
				slope[j] = max(slope[j], 0) + 1000
			}
		}
		if bound > n.bound {
			n.bound = bound
			copy(e.values, n.values)
			copy(e.picked, choice)
		}
		if looks++; n.depth == 0 && looks%100 == 0 {
			s.try(n, choice, much)
		} else if n.depth == 0 && looks%20 == 0 {
			s.try(n, choice, little)
		}
	}
	for range 3 {
		for j, v := range e.values {
			at[j] = float64(v)
		}
		if look(); !ok {
			return nil
		}
		goal := float64(s.most())
		if s.best.Seller == nil {
			goal = min(goal, float64(n.bound)*1.5+1)
		}
		length, limit, before := (goal-float64(n.bound))/(norm(slope)+1)/shorter, looks+steps, n.bound
		climb(at, slope, length, look, func() bool {
			if looks >= limit && n.bound-before >= (s.most()-n.bound)/20 { // it still rises
				before, limit = n.bound, limit+50
			}
			return looks < limit && n.bound <= s.most()
		})
		copy(n.values, e.values)
		if seen.weigh(n, s, e); e.missing < 50 || n.bound > s.most() {
			break
		}
		steps, shorter = 100, 10
	}
	s.snap(n, slope, choice)
	switch {
	case n.depth == 0:
		s.try(n, e.picked, most)
	case s.best.Seller == nil || s.best.Nodes%16 == 0:
		s.try(n, e.picked, much)
	default:
		s.try(n, e.picked, little)
	}
	return e
}

// snap puts the values that are near the price of a step on it, where that costs the
// bound next to nothing: there one piece more or less makes no difference to the seller.
func (s *search) snap(n *node, slope []float64, choice []int) {
	for j := range s.Sellers {
		was := n.values[j]
		for _, step := range s.Sellers[j].Steps {
			at := step.Price * s.scale
			if far := at - was; n.orders[j].corners == nil || far == 0 || far > at/100 || -far > at/100 {
				continue
			}
			n.values[j] = at
			if bound, ok := s.relax(n, slope, choice); ok && bound >= n.bound-max(0, s.most()-n.bound)/1000 {
				n.bound = bound
				break
			}
			n.values[j] = was
		}
	}
}
