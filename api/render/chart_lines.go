package render

import (
	"fmt"
	"math"
	"slices"
)

// Lines shows how something goes over time: bands between which it lies, lines, and
// what was measured.
type Lines struct {
	Head
	What   string // of the values
	As     Format
	Zero   bool   // whether the axis begins at zero
	Bands  []Band // the widest first
	Series []Series
	Levels []Level
	Marks  []Mark
}

// Band is an area between two lines.
type Band struct {
	Name   string
	Ranges []Range
}

// Range is the ends of a band on a day.
type Range struct {
	On        string // a civil date
	Low, High float64
}

// Series is a line, or the single values that were measured.
type Series struct {
	Name     string
	Measured bool
	Points   []Point
}

// Point is a value on a day.
type Point struct {
	On    string // a civil date
	Value float64
}

// Level is a value to be reached, Mark a day to be minded.
type (
	Level struct {
		Name  string
		Value float64
	}
	Mark struct{ Name, On string }
)

func (*Lines) block() {}

// seriesStrokes are those of the lines, in order.
var seriesStrokes = []stroke{{colour: blue, width: 2.5}, {colour: vermilion, width: 2.5, dash: dashed}, {colour: green, width: 2.5, dash: dotted}, {colour: ink, width: 2}}

// bandFills are those of the bands, the widest first.
var bandFills = []string{palest, pale}

func (c *Lines) draw(width float64, t *tongue) *drawing {
	d := newDrawing(width, c.Head)
	d.legend(c.keys()...)
	days, values := c.spans()
	f := newFrame(d, c.As.titled(c.What), t)
	f.vertical(values, c.As)
	f.calendar(days)
	for i, b := range c.Bands {
		outline := make([]xy, 0, 2*len(b.Ranges))
		for _, r := range b.Ranges {
			outline = append(outline, f.place(dayOf(r.On), r.High))
		}
		for _, r := range slices.Backward(b.Ranges) {
			outline = append(outline, f.place(dayOf(r.On), r.Low))
		}
		d.area(bandFills[min(i, len(bandFills)-1)], stroke{}, "band", b.Name, outline...)
	}
	f.grid()
	for _, l := range c.Levels {
		y := f.y.at(l.Value)
		d.line(stroke{colour: ink, width: 1.25, dash: dashed}, "level", xy{f.x.from, y}, xy{f.x.to, y})
		d.label(f.x.from+4, y-5, clean(l.Name), letters{tickPx, false, ink}, start, "level")
	}
	for _, m := range c.Marks {
		f.mark(dayOf(m.On), clean(m.Name))
	}
	lines := 0
	for _, s := range c.Series {
		points := make([]xy, len(s.Points))
		for i, p := range s.Points {
			points[i] = f.place(dayOf(p.On), p.Value)
		}
		if !s.Measured {
			d.line(seriesStrokes[lines%len(seriesStrokes)], "series", points...)
			lines++
			continue
		}
		for i, p := range s.Points {
			d.add(shape{kind: circle, points: points[i : i+1], r: 4, fill: ink, stroke: stroke{colour: paper, width: 1.5}, role: "measured",
				label: fmt.Sprintf("%s: %s, %s", t.day(dateOf(dayOf(p.On))), clean(s.Name), c.As.withUnit(c.As.literal(p.Value), t))})
		}
	}
	f.axes("")
	d.tell(c.told(t))
	return d
}

func (c *Lines) spans() (days, values span) {
	for _, b := range c.Bands {
		for _, r := range b.Ranges {
			days.add(dayOf(r.On))
			values.add(r.Low, r.High)
		}
	}
	for _, s := range c.Series {
		for _, p := range s.Points {
			days.add(dayOf(p.On))
			values.add(p.Value)
		}
	}
	for _, l := range c.Levels {
		values.add(l.Value)
	}
	for _, m := range c.Marks {
		days.add(dayOf(m.On))
	}
	if c.Zero {
		values.add(0)
	}
	return days, values
}

func (c *Lines) keys() []key {
	var keys []key
	lines := 0
	for _, s := range c.Series {
		if s.Measured {
			keys = append(keys, key{func(d *drawing, x, y float64) {
				d.add(shape{kind: circle, points: []xy{{x + keyWidth/2, y}}, r: 4, fill: ink})
			}, clean(s.Name)})
			continue
		}
		keys = append(keys, lineKey(seriesStrokes[lines%len(seriesStrokes)], clean(s.Name)))
		lines++
	}
	for i, b := range slices.Backward(c.Bands) {
		keys = append(keys, areaKey(bandFills[min(i, len(bandFills)-1)], clean(b.Name)))
	}
	return keys
}

// told says in words where each line begins and ends.
func (c *Lines) told(t *tongue) string {
	s := ""
	for _, line := range c.Series {
		if n := len(line.Points); n > 0 {
			first, last := line.Points[0], line.Points[n-1]
			s += fmt.Sprintf(" %s: %s %s, %s %s.", clean(line.Name), t.day(dateOf(dayOf(first.On))), c.As.withUnit(c.As.literal(first.Value), t),
				t.day(dateOf(dayOf(last.On))), c.As.withUnit(c.As.literal(last.Value), t))
		}
	}
	return s
}

// A frame is the plane of a chart with two axes.
type frame struct {
	d              *drawing
	t              *tongue
	x, y           scale
	yTicks, xTicks []float64
	yTexts, xTexts []string
}

const plotHeight = 250.

// newFrame makes room for the plane, under the title of its vertical axis.
func newFrame(d *drawing, what string, t *tongue) *frame {
	d.height += 4
	d.heading(what, letters{tickPx, false, quiet})
	f := &frame{d: d, t: t}
	f.y.to = d.height + 8
	f.y.from = f.y.to + plotHeight
	f.x.to = d.width - 10
	d.height = f.y.from + 24
	return f
}

// vertical sets the vertical axis by the values that it must take in.
func (f *frame) vertical(values span, as Format) {
	ticks, decimals := nice(values.lo, values.hi, 5)
	f.yTicks = ticks
	f.y.lo, f.y.hi = ticks[0], ticks[len(ticks)-1]
	l, widest := letters{tickPx, false, quiet}, 0.
	for _, v := range ticks {
		s := as.ticked(v, decimals, f.t)
		f.yTexts = append(f.yTexts, s)
		widest = math.Max(widest, l.face().width(s, l.size)*loose)
	}
	f.x.from = widest + 8
}

// calendar sets the horizontal axis by days.
func (f *frame) calendar(days span) {
	f.x.lo, f.x.hi = days.lo, days.hi
	if f.x.lo == f.x.hi {
		f.x.lo, f.x.hi = f.x.lo-1, f.x.hi+1
	}
	f.xTicks = calendar(f.x.lo, f.x.hi, int((f.x.to-f.x.from)/64))
	for _, v := range f.xTicks {
		d := dateOf(v)
		s := fmt.Sprintf("%d%s%s", d.Day(), wide, f.t.months[d.Month()-1])
		if f.x.hi-f.x.lo > 400 && d.Day() == 1 {
			s = fmt.Sprintf("%s%s%d", f.t.months[d.Month()-1], wide, d.Year())
		}
		f.xTexts = append(f.xTexts, s)
	}
}

func (f *frame) place(x, y float64) xy { return xy{f.x.at(x), f.y.at(y)} }

// grid draws the lines across, before what is drawn over them.
func (f *frame) grid() {
	for _, v := range f.yTicks {
		y := f.y.at(v)
		f.d.line(stroke{colour: rule, width: 1}, "grid", xy{f.x.from, y}, xy{f.x.to, y})
	}
}

// axes draws the axes and what stands at them.
func (f *frame) axes(below string) {
	l := letters{tickPx, false, quiet}
	for i, v := range f.yTicks {
		f.d.words(f.x.from-6, f.y.at(v)+4, f.yTexts[i], l, end, "y")
	}
	f.d.line(stroke{colour: ink, width: 1.25}, "axis", xy{f.x.from, f.y.from}, xy{f.x.to, f.y.from})
	for i, v := range f.xTicks {
		x := f.x.at(v)
		f.d.line(stroke{colour: ink, width: 1.25}, "tick", xy{x, f.y.from}, xy{x, f.y.from + 5})
		half := l.face().width(f.xTexts[i], l.size) / 2 * loose
		f.d.words(math.Min(math.Max(x, half), f.d.width-half), f.y.from+18, f.xTexts[i], l, middle, "x")
	}
	if below != "" {
		f.d.words(f.x.to, f.y.from+36, below, l, end, "")
		f.d.height = f.y.from + 42
	}
}

// mark draws a day, or another value of the horizontal axis, from bottom to top.
func (f *frame) mark(v float64, name string) {
	x, l := f.x.at(v), letters{tickPx, false, ink}
	f.d.line(stroke{colour: ink, width: 1.25, dash: dotted}, "mark", xy{x, f.y.from}, xy{x, f.y.to})
	if x+6+l.face().width(name, l.size)*loose > f.x.to {
		f.d.label(x-5, f.y.to+10, name, l, end, "mark")
		return
	}
	f.d.label(x+5, f.y.to+10, name, l, start, "mark")
}
