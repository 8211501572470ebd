package buying

import (
	"math"
	"math/bits"
)

// estimate is what buyers do on average over the last steps.
type estimate struct {
	serves [][]float64 // by buyer and seller
}

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
			if v := (c.cost+o.far)*s.scale - n.values[j]*c.pieces; v < best.least {
				best = earned{v, j, c.pieces}
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

// ascend moves the values of the pieces towards the best bound, along subgradients in a
// space that is stretched step by step across the ridges it comes over (Shor's
// r-algorithm): there are few sellers, so that this costs little beside the bound itself.
func (s *search) ascend(n *node, steps int) (*estimate, bool) {
	sellers := len(s.Sellers)
	e := &estimate{serves: make([][]float64, len(s.Lots))}
	cells := make([]float64, len(s.Lots)*sellers)
	for i := range e.serves {
		e.serves[i] = cells[i*sellers : (i+1)*sellers]
	}
	at, best := make([]float64, sellers), append([]int64(nil), n.values...)
	for j, v := range n.values {
		at[j] = float64(v)
	}
	choice, picked := make([]int, len(s.Lots)), make([]int, len(s.Lots))
	n.bound = math.MinInt64
	weight, looks := 1.0, 0
	look := func(slope []float64) bool {
		for j, v := range at {
			n.values[j] = int64(math.Round(min(max(0, v), float64(s.top))))
		}
		bound, ok := s.relax(n, slope, choice)
		if !ok {
			return false
		}
		for j, v := range at {
			if v < 0 {
				slope[j] = max(slope[j], 0) + 1000
			}
		}
		if bound > n.bound {
			n.bound = bound
			copy(best, n.values)
			copy(picked, choice)
		}
		for i, j := range choice {
			e.serves[i][j] += weight
		}
		weight /= 0.92
		if looks++; n.depth == 0 && looks%20 == 0 {
			s.try(n, choice, looks%100 == 0)
		}
		return true
	}
	slope, was := make([]float64, sellers), make([]float64, sellers)
	if !look(slope) {
		return nil, false
	}
	r := newRidges(sellers)
	goal := float64(s.best.Cost) * float64(s.scale)
	if s.best.Seller == nil {
		goal = min(goal, float64(n.bound)*1.5+1)
	}
	length := (goal - float64(n.bound)) / (norm(slope) + 1)
	for looks < steps && n.bound <= s.most() {
		copy(was, slope)
		dir := r.direction(slope)
		if dir == nil {
			break
		}
		strides := 0
		for {
			for j := range at {
				at[j] += length * dir[j]
			}
			look(slope)
			strides++
			if strides%3 == 0 {
				length *= 1.2
			}
			if dot(dir, slope) <= 0 || looks >= steps {
				break
			}
		}
		if strides == 1 {
			length *= 0.9
		}
		if length*norm(dir)*float64(strides) < 0.5 {
			break
		}
		r.stretch(slope, was)
	}
	copy(n.values, best)
	s.snap(n, slope, choice)
	for i := range e.serves {
		var sum float64
		for _, share := range e.serves[i] {
			sum += share
		}
		for j := range e.serves[i] {
			e.serves[i][j] /= sum
		}
	}
	s.try(n, picked, n.depth == 0 || s.best.Seller == nil || s.best.Nodes%16 == 0)
	return e, true
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

// ridges is the stretched space of Shor's algorithm, a square matrix.
type ridges struct {
	rows     [][]float64
	dir, tmp []float64
}

func newRidges(n int) *ridges {
	r := &ridges{rows: make([][]float64, n), dir: make([]float64, n), tmp: make([]float64, n)}
	for i := range r.rows {
		r.rows[i] = make([]float64, n)
		r.rows[i][i] = 1
	}
	return r
}

// turned returns a slope as it is in the stretched space, of length 1; nil if it is flat.
func (r *ridges) turned(slope []float64) []float64 {
	for k := range r.tmp {
		r.tmp[k] = 0
		for i, row := range r.rows {
			r.tmp[k] += row[k] * slope[i]
		}
	}
	length := norm(r.tmp)
	if length < 1e-12 {
		return nil
	}
	for k := range r.tmp {
		r.tmp[k] /= length
	}
	return r.tmp
}

// direction returns where to go along a slope.
func (r *ridges) direction(slope []float64) []float64 {
	t := r.turned(slope)
	if t == nil {
		return nil
	}
	for i, row := range r.rows {
		r.dir[i] = dot(row, t)
	}
	return r.dir
}

// stretch makes steps across the ridge between two slopes smaller by half.
func (r *ridges) stretch(slope, was []float64) {
	for i := range was {
		was[i] -= slope[i]
	}
	t := r.turned(was)
	if t == nil {
		return
	}
	for _, row := range r.rows {
		across := dot(row, t) / 2
		for k := range row {
			row[k] -= across * t[k]
		}
	}
}

func dot(a, b []float64) float64 {
	var sum float64
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}

func norm(a []float64) float64 { return math.Sqrt(dot(a, a)) }
