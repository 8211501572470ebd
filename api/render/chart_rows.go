package render

import (
	"fmt"
	"math"
	"slices"
)

// Caterpillar shows values with the intervals in which they lie, one below the other,
// and what they are compared with.
type Caterpillar struct {
	Head
	What   string // of the values
	As     Format
	Centre *float64 // that of all together, if there is one
	Rows   []Interval

	all []Interval // rows on other pages too, for the axis
}

// Interval is a value with the ends between which it lies.
type Interval struct {
	Name             string
	Value, Low, High float64
	Verdict          Verdict
}

func (*Caterpillar) block() {}

func (c *Caterpillar) draw(width float64, t *tongue) *drawing {
	d := newDrawing(width, c.Head)
	var keys []key
	for _, v := range []Verdict{Usual, Look, Different} {
		for _, r := range c.Rows {
			if r.Verdict == v {
				keys = append(keys, verdictKey(v, t))
				break
			}
		}
	}
	if len(keys) == 1 { // nothing to tell apart
		keys = nil
	}
	if c.Centre != nil {
		keys = append(keys, lineKey(stroke{colour: ink, width: 1.25, dash: dashed}, t.centre+" "+c.As.withUnit(c.As.literal(*c.Centre), t)))
	}
	d.legend(keys...)
	var values span
	for _, r := range slices.Concat(c.all, c.Rows) {
		values.add(r.Value, r.Low, r.High)
	}
	if c.Centre != nil {
		values.add(*c.Centre)
	}
	names, texts := make([]string, len(c.Rows)), make([]string, len(c.Rows))
	for i, r := range c.Rows {
		names[i] = clean(r.Name)
		texts[i] = fmt.Sprintf("%s (%s to %s)", c.As.number(r.Value, t), c.As.number(r.Low, t), c.As.number(r.High, t))
		if t.lang != "en" {
			texts[i] = fmt.Sprintf("%s (%s à %s)", c.As.number(r.Value, t), c.As.number(r.Low, t), c.As.number(r.High, t))
		}
		d.tell(names[i] + ": " + texts[i] + ".")
	}
	g := newGutter(d, names, texts, 24)
	g.horizontal(values, c.As, c.What, t)
	if c.Centre != nil {
		g.upright(stroke{colour: ink, width: 1.25, dash: dashed}, "centre", *c.Centre)
	}
	for i, r := range c.Rows {
		y := g.row(i)
		from, to := g.x.at(r.Low), g.x.at(r.High)
		s := stroke{colour: blue, width: 2}
		if r.Verdict != Usual {
			s.colour = vermilion
		}
		d.line(s, "interval", xy{from, y}, xy{to, y})
		for _, x := range []float64{from, to} {
			d.line(s, "end", xy{x, y - 4}, xy{x, y + 4})
		}
		d.marker(g.x.at(r.Value), y, r.Verdict, names[i]+": "+texts[i])
	}
	return d
}

// A gutter is a plane of rows, with a name before each and what it says behind it; on a
// narrow page both stand above.
type gutter struct {
	d            *drawing
	x            scale
	top, bottom  float64
	height       float64 // of a row
	band         float64 // of a row, without the text above
	above        bool
	left, right  float64 // of the texts
	names, texts []string
}

// aboveText is how high a line of text above a row is.
const aboveText = 16.

// newGutter makes room for rows, the bars of which are so many px high with what is
// around them.
func newGutter(d *drawing, names, texts []string, band float64) *gutter {
	l, strong := letters{tickPx, false, ink}, letters{tickPx, true, ink}
	g := &gutter{d: d, top: d.height + 4, height: band, band: band, names: names, texts: texts}
	for i := range names {
		g.left = math.Max(g.left, l.face().width(names[i], l.size)*loose)
		g.right = math.Max(g.right, strong.face().width(texts[i], l.size)*loose)
	}
	g.left = math.Min(g.left, 200)
	g.x.from, g.x.to = g.left+10, d.width-g.right-12
	if g.x.to-g.x.from < 0.45*d.width {
		g.x.from, g.x.to = 8, d.width-12
		g.above, g.height = true, band+aboveText
	}
	g.bottom = g.top + float64(len(names))*g.height + 4
	return g
}

// cutTo returns a text cut to a width, with an ellipsis where something is left out.
func cutTo(s string, l letters, width float64) string {
	if l.face().width(s, l.size)*loose <= width+0.01 {
		return s
	}
	return l.face().fit(s, l.size*loose, width-l.size) + "…"
}

// row returns the height at which a row is drawn.
func (g *gutter) row(i int) float64 { return g.top + float64(i+1)*g.height - g.band/2 }

// upright draws a line from top to bottom, not through the texts.
func (g *gutter) upright(s stroke, role string, v float64) {
	x := g.x.at(v)
	if !g.above {
		g.d.line(s, role, xy{x, g.top}, xy{x, g.bottom})
		return
	}
	for i := range g.names {
		g.d.line(s, role, xy{x, g.row(i) - g.band/2}, xy{x, g.row(i) + g.band/2})
	}
}

// horizontal draws the axis below the rows, and the texts beside them.
func (g *gutter) horizontal(values span, as Format, what string, t *tongue) {
	ticks, decimals := nice(values.lo, values.hi, max(2, int((g.x.to-g.x.from)/85)))
	g.x.lo, g.x.hi = ticks[0], ticks[len(ticks)-1]
	l := letters{tickPx, false, quiet}
	for _, v := range ticks {
		g.upright(stroke{colour: rule, width: 1}, "grid", v)
		text := as.ticked(v, decimals, t)
		half := l.face().width(text, l.size) / 2 * loose
		g.d.words(math.Min(math.Max(g.x.at(v), half), g.d.width-half), g.bottom+15, text, l, middle, "x")
	}
	g.d.line(stroke{colour: ink, width: 1.25}, "axis", xy{g.x.from, g.bottom}, xy{g.x.to, g.bottom})
	g.d.height = g.bottom + 22
	if title := as.titled(clean(what)); title != "" {
		g.d.words((g.x.from+g.x.to)/2, g.bottom+31, cutTo(title, l, g.d.width), l, middle, "")
		g.d.height += 16
	}
	name, value := letters{tickPx, false, ink}, letters{tickPx, true, ink}
	for i := range g.names {
		y := g.row(i)
		if g.above {
			g.d.words(0, y-g.band/2-1, cutTo(g.names[i], name, g.d.width-g.right-6), name, start, "name")
			g.d.words(g.d.width, y-g.band/2-1, g.texts[i], value, end, "value")
			continue
		}
		g.d.words(g.left, y+4, cutTo(g.names[i], name, g.left), name, end, "name")
		g.d.words(g.d.width, y+4, g.texts[i], value, end, "value")
	}
}
