package render

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// chart is a block that is drawn.
type chart interface {
	Block
	draw(width float64, t *tongue) *drawing
}

// Head is what every chart has: a title, and what is to be seen in it, in words. Both
// stand above the chart, and are read to those who do not see it.
type Head struct {
	Title string
	Says  string
}

// A drawing is a chart as shapes, in px: how it looks is decided once, for the screen and
// for print.
type drawing struct {
	width, height float64
	title, desc   string // what it says to those who do not see it
	shapes        []shape
}

type xy struct{ x, y float64 }

// A shape is a line through points, an area between them, a circle around one, or a text
// at one.
type shape struct {
	kind   shapeKind
	points []xy
	r      float64 // of a circle
	fill   string  // colour; none if empty
	stroke stroke
	text   string
	l      letters // their size in px
	align  align
	halo   bool   // of a text, so that it is read across lines
	label  string // told when it is pointed at
	role   string // class in SVG, by which tests and readers find it
}

type shapeKind int

const (
	openLine shapeKind = iota
	closedArea
	circle
	textAt
)

type stroke struct {
	colour string
	width  float64
	dash   string // lengths, as SVG has them
}

// The ways in which lines differ besides their colour.
const (
	dashed = "7 4"
	dotted = "2 3"
)

const (
	titlePx = 15.
	bodyPx  = 12.5
	tickPx  = 12.
	loose   = 1.15 // letters of a browser may be wider than those measured
)

func newDrawing(width float64, h Head) *drawing {
	d := &drawing{width: width, title: clean(h.Title), desc: clean(h.Says)}
	d.heading(h.Title, letters{titlePx, true, ink})
	d.heading(h.Says, letters{bodyPx, false, quiet})
	d.height += 6
	return d
}

// tell adds a sentence to what the chart says to those who do not see it.
func (d *drawing) tell(s string) {
	if d.desc != "" && !strings.ContainsRune(".!?…", rune(d.desc[len(d.desc)-1])) {
		d.desc += "."
	}
	d.desc = strings.TrimSpace(d.desc + " " + strings.TrimSpace(s))
}

// heading sets text over the whole width, below what is there.
func (d *drawing) heading(s string, l letters) {
	if s == "" {
		return
	}
	for _, line := range l.face().wrap(clean(s), l.size*loose, d.width) {
		d.height += l.size * 1.4
		d.words(0, d.height-l.size*0.35, line, l, start, "")
	}
}

// add adds a shape without points that are nowhere, where a value is no number.
func (d *drawing) add(s shape) {
	least := map[shapeKind]int{openLine: 2, closedArea: 3, circle: 1, textAt: 1}[s.kind]
	nowhere := func(p xy) bool { return math.IsNaN(p.x+p.y) || math.IsInf(p.x+p.y, 0) }
	if slices.ContainsFunc(s.points, nowhere) {
		s.points = slices.DeleteFunc(slices.Clone(s.points), nowhere)
	}
	if len(s.points) >= least {
		d.shapes = append(d.shapes, s)
	}
}

func (d *drawing) words(x, y float64, s string, l letters, a align, role string) {
	d.add(shape{kind: textAt, points: []xy{{x, y}}, text: s, l: l, align: a, role: role})
}

// label is words over what is drawn, with a halo of paper.
func (d *drawing) label(x, y float64, s string, l letters, a align, role string) {
	d.add(shape{kind: textAt, points: []xy{{x, y}}, text: s, l: l, align: a, halo: true, role: role})
}

// haloPx is how far a halo reaches.
const haloPx = 2.

func (d *drawing) line(s stroke, role string, points ...xy) {
	d.add(shape{kind: openLine, points: points, stroke: s, role: role})
}

func (d *drawing) area(fill string, s stroke, role, label string, points ...xy) {
	d.add(shape{kind: closedArea, points: points, fill: fill, stroke: s, role: role, label: label})
}

func (d *drawing) box(x0, y0, x1, y1 float64, fill string, s stroke, role, label string) {
	d.area(fill, s, role, label, xy{x0, y0}, xy{x1, y0}, xy{x1, y1}, xy{x0, y1})
}

// hatch draws slanted lines in a box, which tell it from others without colour.
func (d *drawing) hatch(x0, y0, x1, y1 float64, colour string) {
	x0, x1 = math.Min(x0, x1), math.Max(x0, x1)
	height := y1 - y0
	for at := x0 - height + 3; at < x1; at += 5 { // from the lower edge up to the right
		from, to := math.Max(at, x0), math.Min(at+height, x1)
		if to > from {
			d.line(stroke{colour: colour, width: 1}, "hatch", xy{from, y1 - (from - at)}, xy{to, y1 - (to - at)})
		}
	}
}

// A verdict says how a value stands out, by marker and colour.
type Verdict int

// What can be said of a value among others.
const (
	Usual     Verdict = iota // no difference shown
	Look                     // worth a look
	Different                // different
)

func (v Verdict) words(t *tongue) string { return t.verdicts[v] }

// marker draws a value: a ring, a diamond or a full square.
func (d *drawing) marker(x, y float64, v Verdict, label string) {
	const r = 4.5
	switch v {
	case Look:
		d.area(paper, stroke{colour: vermilion, width: 2}, "look", label, xy{x, y - r - 1.5}, xy{x + r + 1.5, y}, xy{x, y + r + 1.5}, xy{x - r - 1.5, y})
	case Different:
		d.box(x-r, y-r, x+r, y+r, vermilion, stroke{colour: ink, width: 1}, "different", label)
	default:
		d.add(shape{kind: circle, points: []xy{{x, y}}, r: r, fill: paper, stroke: stroke{colour: blue, width: 2}, role: "usual", label: label})
	}
}

// A key is an entry of a legend.
type key struct {
	sample func(d *drawing, x, y float64) // in a room of keyWidth, around y
	text   string
}

const keyWidth = 26.

// legend sets keys in rows, below what is there.
func (d *drawing) legend(keys ...key) {
	l := letters{tickPx, false, ink}
	x, y := 0., d.height+9
	for _, k := range keys {
		w := keyWidth + 6 + l.face().width(k.text, l.size)*loose + 18
		if x > 0 && x+w-18 > d.width {
			x, y = 0, y+19
		}
		k.sample(d, x, y)
		d.words(x+keyWidth+6, y+4, k.text, l, start, "key")
		x += w
	}
	if len(keys) > 0 {
		d.height = y + 14
	}
}

func lineKey(s stroke, text string) key {
	return key{func(d *drawing, x, y float64) { d.line(s, "", xy{x, y}, xy{x + keyWidth, y}) }, text}
}

func areaKey(fill, text string) key {
	return key{func(d *drawing, x, y float64) {
		d.box(x, y-5, x+keyWidth, y+5, fill, stroke{colour: blue, width: 0.5}, "", "")
	}, text}
}

func verdictKey(v Verdict, t *tongue) key {
	return key{func(d *drawing, x, y float64) { d.marker(x+keyWidth/2, y, v, "") }, v.words(t)}
}

// literal prints a number for a format; what is none is nothing.
func (f Format) literal(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(v, 'f', f.decimals, 64)
}

// number shows a number without its unit.
func (f Format) number(v float64, t *tongue) string { return f.show(f.literal(v), t) }

// ticked shows the numbers of an axis with as many decimals as their steps have.
func (f Format) ticked(v float64, decimals int, t *tongue) string {
	return grouped(strconv.FormatFloat(v, 'f', decimals, 64), t)
}

// titled puts a unit behind what is measured.
func (f Format) titled(s string) string {
	switch {
	case f.unit == "":
		return s
	case s == "":
		return f.unit
	}
	return s + ", " + f.unit
}
