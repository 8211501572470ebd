package render

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"html/template"
	"io"
	"iter"
	"strconv"
	"strings"
	"time"
)

var (
	//go:embed page.css
	css string
	//go:embed page.html
	pageText string

	pageTemplate = template.Must(template.New("page").Parse(pageText))
)

// ContentSecurityPolicy is what a page may do in a browser: be styled by itself, and
// nothing else.
var ContentSecurityPolicy = func() string {
	sum := sha256.Sum256([]byte(css))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
}()

// HTML writes one page that needs nothing else: no script, no font, no picture.
func (d *Document) HTML(w io.Writer) error {
	p := htmlPage{Lang: d.tongue().lang, Title: clean(d.Title), Subtitle: clean(d.Subtitle), Issuer: clean(d.Issuer), Mark: clean(d.Mark),
		Day: d.Date.Format(time.DateOnly), Date: d.tongue().day(d.Date), Style: template.HTML("<style>" + css + "</style>")}
	shown := map[string]bool{}
	for _, t := range d.tables() {
		shown["#"+t.Name] = !t.Data && t.Name != ""
	}
	h := htmlWriter{words: d.tongue(), shown: shown}
	for _, s := range d.Sections {
		section := htmlSection{Title: clean(s.Title)}
		for _, b := range s.Blocks {
			if view, ok := h.block(b); ok {
				section.Blocks = append(section.Blocks, view)
			}
		}
		p.Sections = append(p.Sections, section)
	}
	return pageTemplate.Execute(w, p)
}

// What the template of the page shows.
type (
	htmlPage struct {
		Lang, Title, Subtitle, Issuer, Mark, Day, Date string
		Style                                          template.HTML
		Sections                                       []htmlSection
	}
	htmlSection struct {
		Title  string
		Blocks []htmlBlock
	}
	htmlBlock struct {
		ID         string
		Paragraphs []string
		Figures    []htmlText
		Box        *htmlBox
		Links      []htmlText
		Table      *htmlTable
		Chart      template.HTML
	}
	htmlText struct{ Label, Text, Link, Note, Class, Mark string }
	htmlBox  struct {
		Class, Title string
		Lines        []string
	}
	htmlTable struct {
		ID, Title, Label string
		Heads            []htmlHead
		Rows             iter.Seq[[]htmlText]
		Total            []htmlText
		notes            footnotes
		note             string
	}
	htmlHead struct{ Title, Unit, Class string }
)

// Notes are those on values, numbered while the rows are written, and that below the
// table.
func (t *htmlTable) Notes() []string {
	var list []string
	for i, n := range t.notes.texts {
		list = append(list, superscript(i+1)+" "+n)
	}
	if t.note != "" {
		list = append(list, t.note)
	}
	return list
}

type htmlWriter struct {
	words  *tongue
	shown  map[string]bool // tables that can be led to
	charts int
}

func (h *htmlWriter) block(b Block) (view htmlBlock, ok bool) {
	switch b := b.(type) {
	case Paragraph:
		for _, s := range b.split() {
			view.Paragraphs = append(view.Paragraphs, clean(s))
		}
		return view, len(view.Paragraphs) > 0
	case Figures:
		for _, f := range b {
			view.Figures = append(view.Figures, htmlText{Label: clean(f.Label), Text: clean(f.As.withUnit(f.Value, h.words)), Note: clean(f.Note), Link: h.link(f.Link)})
		}
		return view, len(b) > 0
	case Box:
		view.Box = &htmlBox{Class: [...]string{"plain", "caution", "limits"}[b.Kind], Title: clean(b.title(h.words))}
		for _, l := range b.Lines {
			view.Box.Lines = append(view.Box.Lines, clean(l))
		}
		return view, true
	case Links:
		for _, l := range b {
			view.Links = append(view.Links, htmlText{Text: clean(l.Text), Link: h.link(l.URL)})
		}
		return view, len(b) > 0
	case *Table:
		if b.Data || len(b.Columns) == 0 {
			return view, false
		}
		view.Table = h.table(b)
		return view, true
	case chart:
		var out bytes.Buffer
		for _, size := range []struct {
			class string
			width float64
		}{{"large", wideChart}, {"small", narrowChart}} {
			h.charts++
			b.draw(size.width, h.words).svg(&out, "chart-"+strconv.Itoa(h.charts), size.class)
		}
		view.Chart = template.HTML(out.String())
		return view, true
	}
	return view, false
}

// link returns an address if it leads somewhere: out of the page, to a path of the
// service, or to a table of the page.
func (h *htmlWriter) link(to string) string {
	if address(to) || strings.HasPrefix(to, "/") || h.shown[to] {
		return to
	}
	return ""
}

func (h *htmlWriter) table(t *Table) *htmlTable {
	view := &htmlTable{ID: t.Name, Title: clean(t.Title), note: clean(t.Note)}
	if view.Label = view.Title; view.Label == "" {
		view.Label = clean(t.Name)
	}
	for _, c := range t.Columns {
		head := htmlHead{clean(c.Title), strings.TrimPrefix(c.headed(), c.Title), c.As.class()}
		if len(strings.Fields(head.Title)) > headLines {
			head.Class = strings.TrimSpace(head.Class + " long")
		}
		view.Heads = append(view.Heads, head)
	}
	view.Rows = func(yield func([]htmlText) bool) {
		line := make([]htmlText, len(t.Columns))
		for row := range t.Rows {
			clear(line)
			for i := range t.Columns {
				var c Cell
				if i < len(row) {
					c = row[i]
				}
				line[i] = h.cell(t.Columns[i], c, &view.notes)
			}
			if !yield(line) {
				return
			}
		}
	}
	for i, c := range t.totals(h.words) {
		cell := h.cell(t.Columns[i], c, &view.notes)
		if c.Text == "" {
			cell.Text = ""
		}
		view.Total = append(view.Total, cell)
	}
	return view
}

func (h *htmlWriter) cell(column Column, c Cell, notes *footnotes) htmlText {
	v := htmlText{Text: column.show(c, h.words), Link: h.link(c.Link), Class: column.As.class()}
	if c.Note != "" {
		v.Mark = strconv.Itoa(notes.number(clean(c.Note)))
	}
	return v
}

func (f Format) class() string {
	switch {
	case f.numeric():
		return "number"
	case f.kind == words:
		return "words"
	}
	return ""
}
