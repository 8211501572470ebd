package buying

import "math"

// climb goes from a place along slopes that are stretched step by step across the ridges
// it comes over (Shor's r-algorithm), until it stands still or is not to go on. look puts
// the slope of the place as it is into slope.
func climb(at, slope []float64, length float64, look func(), goOn func() bool) {
	r, was := newRidges(len(at)), make([]float64, len(at))
	for goOn() {
		copy(was, slope)
		dir := r.direction(slope)
		if dir == nil {
			return
		}
		strides := 0
		for {
			for j := range at {
				at[j] += length * dir[j]
			}
			look()
			strides++
			if strides%3 == 0 {
				length *= 1.2
			}
			if dot(dir, slope) <= 0 || !goOn() {
				break
			}
		}
		if strides == 1 {
			length *= 0.9
		}
		if length*norm(dir)*float64(strides) < 1e-9*norm(at) {
			return
		}
		r.stretch(slope, was)
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

// estimate is what is known of the relaxed problem at the best values.
type estimate struct {
	values  []int64     // the best ones, of a piece of each seller
	picked  []int       // the seller of each buyer at them
	serves  [][]float64 // by buyer and seller: the part of the buyer that is served
	missing float64     // pieces, where the parts do not come out as the orders
}

// bundle is the last looks at the bound.
type bundle struct {
	looks [64]struct {
		bound  int64
		values []int64
		slope  []float64
		choice []int
	}
	next, known int
}

func (b *bundle) add(bound int64, values []int64, slope []float64, choice []int) {
	l := &b.looks[b.next]
	l.bound = bound
	l.values = append(l.values[:0], values...)
	l.slope = append(l.slope[:0], slope...)
	l.choice = append(l.choice[:0], choice...)
	b.next = (b.next + 1) % len(b.looks)
	b.known = min(b.known+1, len(b.looks))
}

// weigh estimates who serves whom from the looks: they are weighed such that as little as
// possible is missing of any seller or left, in looks that are near the best bound (the
// shortest convex combination of slopes, by steps of Frank and Wolfe between two of them).
func (b *bundle) weigh(n *node, s *search, e *estimate) {
	far := make([]float64, b.known) // how far the slope of a look is from one at the best values
	room := math.Abs(float64(s.most()-n.bound)) + 1
	first := 0
	for m := range far {
		l := &b.looks[m]
		far[m] = float64(l.bound - n.bound)
		for j, g := range l.slope {
			far[m] += g * float64(n.values[j]-l.values[j])
		}
		if far[m] = 10 * max(0, far[m]) / room; far[m] < far[first] {
			first = m
		}
	}
	weight := make([]float64, b.known)
	weight[first] = 1
	sum := append([]float64(nil), b.looks[first].slope...)
	size := dot(sum, sum) + 1
	for range 400 {
		to, from := -1, -1
		var least, most float64
		for m, w := range weight {
			v := dot(sum, b.looks[m].slope)/size + far[m]
			if to < 0 || v < least {
				to, least = m, v
			}
			if w > 0 && (from < 0 || v > most) {
				from, most = m, v
			}
		}
		if to == from || most-least < 1e-12 {
			break
		}
		step, square := weight[from], 0.0
		for j, g := range b.looks[to].slope {
			square += (g - b.looks[from].slope[j]) * (g - b.looks[from].slope[j])
		}
		if square > 0 {
			step = min(step, (most-least)*size/square)
		}
		weight[to] += step
		weight[from] -= step
		for j, g := range b.looks[to].slope {
			sum[j] += step * (g - b.looks[from].slope[j])
		}
	}
	for j := range sum {
		if n.values[j] == 0 {
			sum[j] = max(0, sum[j]) // what is worth nothing may be left
		}
	}
	e.missing = norm(sum)
	e.serves = make([][]float64, len(s.Lots))
	cells := make([]float64, len(s.Lots)*len(s.Sellers))
	for i := range e.serves {
		e.serves[i] = cells[i*len(s.Sellers) : (i+1)*len(s.Sellers)]
		for m, w := range weight {
			e.serves[i][b.looks[m].choice[i]] += w
		}
	}
}
