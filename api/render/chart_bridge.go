package render

import "math"

// Bridge shows how one amount becomes another, step by step.
type Bridge struct {
	Head
	What  string // of the values
	As    Format
	From  Step // the first amount
	Steps []Step
	To    Step // the last amount, which the steps lead to
}

// Step is an amount, or by how much it changes. Value is a literal.
type Step struct{ Name, Value string }

func (*Bridge) block() {}

// cutShare: where the steps take up less than this share of the amounts, bars from zero
// would hide them.
const cutShare = 1. / 4

func (c *Bridge) draw(width float64, t *tongue) *drawing {
	d := newDrawing(width, c.Head)
	var steps span
	at := float(c.From.Value)
	steps.add(at, float(c.To.Value))
	for _, s := range c.Steps {
		at += float(s.Value)
		steps.add(at)
	}
	fromZero := steps.hi-steps.lo >= cutShare*math.Max(math.Abs(steps.hi), math.Abs(steps.lo))
	if fromZero {
		steps.add(0)
	} else {
		d.heading(t.cutAxis, letters{tickPx, false, quiet})
	}
	names, texts := []string{clean(c.From.Name)}, []string{c.As.show(c.From.Value, t)}
	for _, s := range c.Steps {
		names, texts = append(names, clean(s.Name)), append(texts, c.signed(s.Value, t))
	}
	names, texts = append(names, clean(c.To.Name)), append(texts, c.As.show(c.To.Value, t))
	for i := range names {
		d.tell(names[i] + ": " + texts[i] + ".")
	}
	g := newGutter(d, names, texts, 25)
	g.horizontal(steps, c.As, c.What, t)
	const half = 8.
	total := func(i int, value string) {
		x, y := g.x.at(float(value)), g.row(i)
		if fromZero {
			d.box(g.x.at(0), y-half, x, y+half, blue, stroke{colour: blue, width: 1}, "total", names[i]+": "+texts[i])
			return
		}
		d.line(stroke{colour: blue, width: 4}, "total", xy{x, y - half}, xy{x, y + half})
	}
	total(0, c.From.Value)
	at = float(c.From.Value)
	for i, s := range c.Steps {
		change, y := float(s.Value), g.row(i+1)
		x0, x1 := g.x.at(at), g.x.at(at+change)
		g.join(x0, i, half)
		label := names[i+1] + ": " + texts[i+1]
		switch {
		case change > 0:
			d.box(x0, y-half, x1, y+half, vermilion, stroke{colour: vermilion, width: 1}, "up", label)
		case change < 0:
			d.box(x1, y-half, x0, y+half, paper, stroke{colour: green, width: 1.5}, "down", label)
			d.hatch(x1, y-half, x0, y+half, green)
		default:
			d.line(stroke{colour: quiet, width: 2}, "same", xy{x0, y - half}, xy{x0, y + half})
		}
		at += change
	}
	last := len(c.Steps) + 1
	g.join(g.x.at(at), last-1, half)
	total(last, c.To.Value)
	if fromZero {
		g.upright(level, "zero", 0)
	}
	return d
}

// signed shows a change with its sign.
func (c *Bridge) signed(value string, t *tongue) string {
	if d, ok := parseDecimal(value); ok && d.digits.Sign() > 0 {
		return "+" + c.As.show(value, t)
	}
	return c.As.show(value, t)
}

// join leads from where a row ends to the next, where no text stands between them.
func (g *gutter) join(x float64, row int, half float64) {
	if !g.above {
		g.d.line(stroke{colour: quiet, width: 1, dash: dotted}, "join", xy{x, g.row(row) + half}, xy{x, g.row(row+1) - half})
	}
}
