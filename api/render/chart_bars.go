package render

import (
	"math"
	"slices"
)

// Bars shows amounts as bars from zero, of one series or a few beside each other.
type Bars struct {
	Head
	What   string // of the values
	As     Format
	Series []string // names; none is needed for one
	Rows   []Bar

	all []Bar // rows on other pages too, for the axis
}

// Bar is the values of one row, a literal for each series; an empty one has no bar.
type Bar struct {
	Name   string
	Values []string
}

func (*Bars) block() {}

func (c *Bars) draw(width float64, t *tongue) *drawing {
	d := newDrawing(width, c.Head)
	var keys []key
	for i, name := range c.Series {
		keys = append(keys, key{func(d *drawing, x, y float64) { d.bar(x, y-5, x+keyWidth, y+5, i, "", "") }, clean(name)})
	}
	if len(keys) > 1 {
		d.legend(keys...)
	}
	series, values := 1, span{some: true} // zero is always there
	for _, r := range slices.Concat(c.all, c.Rows) {
		series = max(series, len(r.Values))
		for _, v := range r.Values {
			values.add(float(v))
		}
	}
	const thick = 13.
	names, texts := make([]string, len(c.Rows)), make([]string, len(c.Rows))
	for i, r := range c.Rows {
		names[i] = clean(r.Name)
		for s, v := range r.Values {
			if s > 0 {
				texts[i] += " / "
			}
			texts[i] += c.As.show(v, t)
		}
		d.tell(names[i] + ": " + texts[i] + ".")
	}
	g := newGutter(d, names, texts, float64(series)*thick+11)
	g.horizontal(values, c.As, c.What, t)
	for i, r := range c.Rows {
		y := g.row(i) - float64(series)*thick/2
		for s, v := range r.Values {
			if v != "" {
				d.bar(g.x.at(0), y, g.x.at(float(v)), y+thick-2, s, "bar", names[i]+": "+c.As.withUnit(v, t))
			}
			y += thick
		}
	}
	g.upright(level, "zero", 0)
	return d
}

// bar draws a bar of a series: full, hatched, or empty.
func (d *drawing) bar(x0, y0, x1, y1 float64, series int, role, label string) {
	x0, x1 = math.Min(x0, x1), math.Max(x0, x1)
	switch series % 3 {
	case 0:
		d.box(x0, y0, x1, y1, blue, stroke{colour: blue, width: 1}, role, label)
	case 1:
		d.box(x0, y0, x1, y1, paper, stroke{colour: vermilion, width: 1.25}, role, label)
		d.hatch(x0, y0, x1, y1, vermilion)
	default:
		d.box(x0, y0, x1, y1, paper, stroke{colour: ink, width: 1.5}, role, label)
	}
}

// float returns where a literal is drawn; 0 for what is no number.
func float(literal string) float64 {
	d, ok := parseDecimal(literal)
	if !ok {
		return 0
	}
	return d.float()
}
