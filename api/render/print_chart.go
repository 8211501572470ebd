package render

import (
	"strconv"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// chart sets a chart over the width of the page, on one page.
func (p *printer) chart(c chart) {
	for _, part := range split(c) {
		d := part.draw(wideChart, p.words)
		scale := p.inner() / d.width
		if room := p.h - top - bottom; d.height*scale > room {
			scale = room / d.height
		}
		p.room(d.height * scale)
		for _, s := range d.shapes {
			p.shape(s, scale)
		}
		p.y += d.height*scale + 6
	}
	p.pdf.SetDashPattern(nil, 0)
}

// mostRows of a chart are set on one page.
const mostRows = 34

// split parts a chart that is too tall for a page.
func split(c chart) []chart {
	var parts []chart
	switch c := c.(type) {
	case *Caterpillar:
		for rest := c.Rows; len(rest) > mostRows; rest = c.Rows {
			part := *c
			part.Rows, part.all = rest[:mostRows], c.all
			if part.all == nil {
				part.all = rest
			}
			next := *c
			next.Rows, next.all = rest[mostRows:], part.all
			parts, c = append(parts, &part), &next
		}
		return append(parts, c)
	case *Bars:
		most := mostRows / max(1, len(c.Series))
		for rest := c.Rows; len(rest) > most; rest = c.Rows {
			part := *c
			part.Rows, part.all = rest[:most], c.all
			if part.all == nil {
				part.all = rest
			}
			next := *c
			next.Rows, next.all = rest[most:], part.all
			parts, c = append(parts, &part), &next
		}
		return append(parts, c)
	}
	return []chart{c}
}

// shape sets a shape of a drawing below p.y. A px is scale mm.
func (p *printer) shape(s shape, scale float64) {
	x, y := func(at xy) float64 { return side + at.x*scale }, func(at xy) float64 { return p.y + at.y*scale }
	if s.kind == textAt {
		l := s.l
		l.size *= scale / point
		text := p.printable(s.text)
		if s.halo { // as a ground, since letters drawn twice would be read twice
			w, high := l.width(text), s.l.size*scale
			left := x(s.points[0]) - w*s.align.before()
			p.fill(left-haloPx*scale, y(s.points[0])-0.8*high, w+2*haloPx*scale, 1.05*high, paper)
		}
		p.text(x(s.points[0]), y(s.points[0]), text, l, s.align)
		return
	}
	how := ""
	if s.stroke.width > 0 {
		p.pdf.SetDrawColor(rgb(s.stroke.colour))
		p.pdf.SetLineWidth(s.stroke.width * scale)
		p.pdf.SetDashPattern(lengths(s.stroke.dash, scale), 0)
		how = "D"
	}
	if s.fill != "" {
		p.pdf.SetFillColor(rgb(s.fill))
		how = "F" + how
	}
	switch s.kind {
	case circle:
		p.pdf.Circle(x(s.points[0]), y(s.points[0]), s.r*scale, how)
	case closedArea:
		points := make([]fpdf.PointType, len(s.points))
		for i, at := range s.points {
			points[i] = fpdf.PointType{X: x(at), Y: y(at)}
		}
		p.pdf.Polygon(points, how)
	case openLine:
		for i, at := range s.points {
			if i == 0 {
				p.pdf.MoveTo(x(at), y(at))
			} else {
				p.pdf.LineTo(x(at), y(at))
			}
		}
		p.pdf.DrawPath("D")
	}
}

// lengths reads a dash pattern.
func lengths(dash string, scale float64) []float64 {
	var list []float64
	for part := range strings.FieldsSeq(dash) {
		v, err := strconv.ParseFloat(part, 64)
		if err != nil {
			panic(err) // patterns are constants
		}
		list = append(list, v*scale)
	}
	return list
}
