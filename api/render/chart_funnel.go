package render

import (
	"cmp"
	"math"
	"slices"
	"strconv"
)

// Funnel shows groups by their size and their value, and between which limits the
// values of groups of a size lie that do not differ.
type Funnel struct {
	Head
	What   string // of the values
	As     Format
	Size   string // what the size of a group is
	Centre float64
	Limits []Limit // by rising size
	Dots   []Dot
}

// Limit is between what values of groups of a size lie.
type Limit struct {
	Size            float64
	Low95, High95   float64
	Low998, High998 float64
}

// Dot is a group.
type Dot struct {
	Name        string
	Size, Value float64
	Verdict     Verdict
}

func (*Funnel) block() {}

var (
	inner = stroke{colour: blue, width: 1.5, dash: dashed}
	outer = stroke{colour: blue, width: 2}
	level = stroke{colour: ink, width: 1.25}
)

func (c *Funnel) draw(width float64, t *tongue) *drawing {
	d := newDrawing(width, c.Head)
	d.legend(verdictKey(Usual, t), verdictKey(Look, t), verdictKey(Different, t), lineKey(outer, t.limit998), lineKey(inner, t.limit95), lineKey(level, t.centre+" "+c.As.withUnit(c.As.literal(c.Centre), t)))
	f := newFrame(d, c.As.titled(c.What), t)
	f.vertical(c.values(), c.As)
	f.sizes(c.Dots)
	f.grid()
	var limits [][]xy
	for _, l := range []struct {
		s  stroke
		of func(Limit) float64
	}{
		{outer, func(l Limit) float64 { return l.Low998 }}, {outer, func(l Limit) float64 { return l.High998 }},
		{inner, func(l Limit) float64 { return l.Low95 }}, {inner, func(l Limit) float64 { return l.High95 }},
	} {
		var curve []xy
		for _, limit := range c.Limits {
			curve = append(curve, xy{limit.Size, l.of(limit)})
		}
		for _, piece := range f.within(curve) {
			d.line(l.s, "limit", piece...)
			limits = append(limits, piece)
		}
	}
	d.line(level, "centre", f.place(f.x.lo, c.Centre), f.place(f.x.hi, c.Centre))
	f.dots(c.Dots, c.As, append(limits, []xy{f.place(f.x.lo, c.Centre), f.place(f.x.hi, c.Centre)}))
	f.axes(clean(c.Size) + " →")
	d.tell(c.told(t))
	return d
}

// values returns what the vertical axis takes in: all groups, and of the limits, which
// go to any length for small groups, what keeps the groups apart.
func (c *Funnel) values() span {
	var s span
	s.add(c.Centre)
	smallest := math.Inf(1)
	for _, dot := range c.Dots {
		s.add(dot.Value)
		smallest = math.Min(smallest, dot.Size)
	}
	room := 0.5 * (s.hi - s.lo)
	for _, l := range c.Limits {
		if l.Size >= smallest {
			s.add(math.Max(l.Low998, s.lo-room), math.Min(l.High998, s.hi+room))
			break
		}
	}
	if c.As.kind == percent {
		s.lo, s.hi = math.Max(s.lo, 0), math.Min(s.hi, 100)
	}
	return s
}

// sizes sets the horizontal axis: from nothing to more than the largest group.
func (f *frame) sizes(dots []Dot) {
	var s span
	s.add(0)
	for _, dot := range dots {
		s.add(dot.Size)
	}
	if s.hi == 0 {
		s.hi = 1
	}
	ticks, decimals := nice(0, s.hi*1.02, int((f.x.to-f.x.from)/110))
	f.x.lo, f.x.hi, f.xTicks = 0, ticks[len(ticks)-1], ticks
	for _, v := range ticks {
		f.xTexts = append(f.xTexts, grouped(strconv.FormatFloat(v, 'f', decimals, 64), f.t))
	}
}

// within returns the pieces of a curve that are inside of the plane, placed.
func (f *frame) within(curve []xy) (pieces [][]xy) {
	var piece []xy
	inside := func(p xy) bool { return p.y >= f.y.lo && p.y <= f.y.hi && p.x <= f.x.hi && p.x >= f.x.lo }
	for i, p := range curve {
		if i > 0 && inside(p) != inside(curve[i-1]) {
			piece = append(piece, f.edge(curve[i-1], p))
		}
		if inside(p) {
			piece = append(piece, p)
		} else if len(piece) > 0 {
			pieces, piece = append(pieces, piece), nil
		}
	}
	if len(piece) > 0 {
		pieces = append(pieces, piece)
	}
	for _, piece := range pieces {
		for i, p := range piece {
			piece[i] = f.place(p.x, p.y)
		}
	}
	return pieces
}

// edge returns where a line crosses the edge of the plane, one end of it being inside.
func (f *frame) edge(a, b xy) xy {
	share := 1.
	in, out := a, b
	if a.y < f.y.lo || a.y > f.y.hi || a.x < f.x.lo || a.x > f.x.hi {
		in, out = b, a
	}
	for _, e := range []struct{ from, to, limit float64 }{{in.y, out.y, f.y.lo}, {in.y, out.y, f.y.hi}, {in.x, out.x, f.x.lo}, {in.x, out.x, f.x.hi}} {
		if (e.from-e.limit)*(e.to-e.limit) < 0 {
			share = math.Min(share, (e.limit-e.from)/(e.to-e.from))
		}
	}
	return xy{in.x + share*(out.x-in.x), in.y + share*(out.y-in.y)}
}

// dots draws the groups, those that stand out last and by name where there is room, best
// where no line is.
func (f *frame) dots(dots []Dot, as Format, lines [][]xy) {
	sorted := slices.Clone(dots)
	slices.SortStableFunc(sorted, func(a, b Dot) int { return cmp.Compare(a.Verdict, b.Verdict) })
	var taken []rect
	for _, dot := range sorted {
		p := f.place(dot.Size, dot.Value)
		taken = append(taken, rect{p.x - 6, p.y - 6, p.x + 6, p.y + 6})
	}
	for _, dot := range sorted {
		p := f.place(dot.Size, dot.Value)
		f.d.marker(p.x, p.y, dot.Verdict, clean(dot.Name)+": "+as.withUnit(as.literal(dot.Value), f.t))
	}
	l := letters{tickPx, true, ink}
	for _, dot := range slices.Backward(sorted) {
		if dot.Verdict == Usual {
			continue
		}
		p, name := f.place(dot.Size, dot.Value), clean(dot.Name)
		w := l.face().width(name, l.size) * loose
		free := func(r rect) bool {
			return r.x0 >= f.x.from && r.x1 <= f.d.width && r.y0 >= f.y.to-12 && r.y1 <= f.y.from && !slices.ContainsFunc(taken, r.meets)
		}
		places := []place{{p.x + 9, p.y + 4, start}, {p.x - 9, p.y + 4, end}, {p.x, p.y - 11, middle}, {p.x, p.y + 19, middle},
			{p.x + 7, p.y - 8, start}, {p.x - 7, p.y - 8, end}, {p.x + 7, p.y + 17, start}, {p.x - 7, p.y + 17, end}}
		at := slices.IndexFunc(places, func(at place) bool {
			r := at.room(w)
			return free(r) && !slices.ContainsFunc(lines, r.crossed)
		})
		if at < 0 {
			at = slices.IndexFunc(places, func(at place) bool { return free(at.room(w)) })
		}
		if at >= 0 {
			taken = append(taken, places[at].room(w))
			f.d.label(places[at].x, places[at].y, name, l, places[at].align, "name")
		}
	}
}

// A place is where a name may stand.
type place struct {
	x, y  float64
	align align
}

// room returns what a name of a width takes up.
func (at place) room(w float64) rect {
	left := at.x - w*at.align.before()
	return rect{left, at.y - 10, left + w, at.y + 3}
}

type rect struct{ x0, y0, x1, y1 float64 }

// crossed reports whether a line runs through it.
func (r rect) crossed(line []xy) bool {
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		from, to := max(r.x0, min(a.x, b.x)), min(r.x1, max(a.x, b.x))
		if from > to {
			continue
		}
		y0, y1 := a.y, b.y
		if a.x != b.x {
			rise := (b.y - a.y) / (b.x - a.x)
			y0, y1 = a.y+rise*(from-a.x), a.y+rise*(to-a.x)
		}
		if max(y0, y1) > r.y0 && min(y0, y1) < r.y1 {
			return true
		}
	}
	return false
}

func (r rect) meets(o rect) bool { return r.x0 < o.x1 && o.x0 < r.x1 && r.y0 < o.y1 && o.y0 < r.y1 }

// told says in words which groups stand out.
func (c *Funnel) told(t *tongue) string {
	s := ""
	for _, v := range []Verdict{Different, Look} {
		names := ""
		for _, dot := range c.Dots {
			if dot.Verdict == v {
				names += ", " + clean(dot.Name) + " " + c.As.withUnit(c.As.literal(dot.Value), t)
			}
		}
		if names != "" {
			s += " " + v.words(t) + ": " + names[2:] + "."
		}
	}
	return s
}
