package render

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"strconv"
	"strings"
)

// Widths for which charts are drawn, px: of a page on a screen and in print, and on a
// phone.
const (
	wideChart   = 720
	narrowChart = 330
)

// SVG writes a chart as a picture of its own, in a language as [Document] has it.
func SVG(w io.Writer, c Chart, lang string) error {
	var out bytes.Buffer
	c.draw(wideChart, tongueOf(lang)).svg(&out, "chart", "")
	_, err := w.Write(out.Bytes())
	return err
}

// Chart is one of the blocks that are drawn.
type Chart = chart

// svg writes a drawing. An id makes its parts known on a page with others.
func (d *drawing) svg(out *bytes.Buffer, id, class string) {
	fmt.Fprintf(out, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-t %s-d"`, px(d.width), px(d.height), id, id)
	if class == "" {
		fmt.Fprintf(out, ` width="%s" height="%s"`, px(d.width), px(d.height))
	} else {
		fmt.Fprintf(out, ` class="%s"`, class)
	}
	fmt.Fprintf(out, ` font-family="Inter, system-ui, 'Segoe UI', Roboto, 'Noto Sans', sans-serif"><title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, id, html.EscapeString(d.title), id, html.EscapeString(d.desc))
	if class == "" { // alone, it may be shown on any ground
		fmt.Fprintf(out, `<rect width="100%%" height="100%%" fill="#%s"/>`, paper)
	}
	for _, s := range d.shapes {
		s.svg(out)
	}
	out.WriteString("</svg>\n")
}

func (s shape) svg(out *bytes.Buffer) {
	name := "circle"
	switch s.kind {
	case openLine:
		name = "polyline"
	case closedArea:
		name = "polygon"
	case textAt:
		name = "text"
	}
	out.WriteString("<" + name)
	if s.role != "" {
		fmt.Fprintf(out, ` class="%s"`, s.role)
	}
	switch s.kind {
	case openLine, closedArea:
		var list []string
		for _, p := range s.points {
			list = append(list, px(p.x)+","+px(p.y))
		}
		fmt.Fprintf(out, ` points="%s"`, strings.Join(list, " "))
	case circle:
		fmt.Fprintf(out, ` cx="%s" cy="%s" r="%s"`, px(s.points[0].x), px(s.points[0].y), px(s.r))
	case textAt:
		fmt.Fprintf(out, ` x="%s" y="%s" font-size="%s" fill="#%s"`, px(s.points[0].x), px(s.points[0].y), px(s.l.size), s.l.colour)
		if s.l.bold {
			out.WriteString(` font-weight="600"`)
		}
		if s.align != start {
			fmt.Fprintf(out, ` text-anchor="%s"`, [...]string{"start", "middle", "end"}[s.align])
		}
		if s.halo {
			fmt.Fprintf(out, ` paint-order="stroke" stroke="#%s" stroke-width="%s" stroke-linejoin="round"`, paper, px(2*haloPx))
		}
		fmt.Fprintf(out, ">%s</text>", html.EscapeString(s.text))
		return
	}
	if s.fill == "" {
		out.WriteString(` fill="none"`)
	} else {
		fmt.Fprintf(out, ` fill="#%s"`, s.fill)
	}
	if s.stroke.width > 0 {
		fmt.Fprintf(out, ` stroke="#%s" stroke-width="%s" stroke-linejoin="round"`, s.stroke.colour, px(s.stroke.width))
		if s.stroke.dash != "" {
			fmt.Fprintf(out, ` stroke-dasharray="%s"`, s.stroke.dash)
		}
	}
	if s.label == "" {
		out.WriteString("/>")
		return
	}
	fmt.Fprintf(out, "><title>%s</title></%s>", html.EscapeString(s.label), name)
}

// px prints a length with two decimals at most.
func px(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(strconv.FormatFloat(v, 'f', 2, 64), "0"), ".")
}
