package render

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
)

// Sizes of the page, mm, and of letters, points.
const (
	side, top, bottom = 18., 22., 20. // margins
	point             = 25.4 / 72     // mm

	titleSize, headSize, subSize = 21., 13., 10.
	textSize, smallSize, tiny    = 9.5, 8., 7.
)

// PDF writes an A4 document with its letters embedded.
func (d *Document) PDF(w io.Writer) error {
	p := newPrinter(d)
	p.opening()
	for _, s := range d.Sections {
		if s.Title != "" {
			p.heading(s.Title)
		}
		for _, b := range s.Blocks {
			p.block(b)
		}
	}
	if p.lost {
		p.block(Box{Lines: []string{p.words.lost}})
	}
	p.margins()
	return p.pdf.Output(w)
}

// printer sets text and shapes on pages, from top to bottom. Lengths are in mm.
type printer struct {
	pdf     *fpdf.Fpdf
	doc     *Document
	words   *tongue
	heights []float64 // of the pages
	w, h    float64   // of this page
	y       float64   // where the next block begins
	links   map[string]int
	lost    bool // whether a letter was replaced
}

func newPrinter(d *Document) *printer {
	pdf := fpdf.New("P", "mm", "A4", "")
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(d.Date.UTC())
	pdf.SetModificationDate(d.Date.UTC())
	pdf.SetProducer("shoalbook", true)
	pdf.SetTitle(clean(d.Title), true)
	pdf.SetSubject(clean(d.Subtitle), true)
	pdf.SetAuthor(clean(d.Issuer), true)
	pdf.SetLang(d.tongue().lang)
	pdf.AddUTF8FontFromBytes("inter", "", regularTTF)
	pdf.AddUTF8FontFromBytes("inter", "B", boldTTF)
	pdf.SetMargins(side, top, side)
	pdf.SetAutoPageBreak(false, 0)
	p := &printer{pdf: pdf, doc: d, words: d.tongue(), links: map[string]int{}}
	for _, t := range d.tables() {
		if t.Name != "" && !t.Data {
			p.links["#"+t.Name] = pdf.AddLink()
		}
	}
	p.page(false)
	return p
}

// page begins a page.
func (p *printer) page(landscape bool) {
	orientation := "P"
	if landscape {
		orientation = "L"
	}
	p.pdf.AddPageFormat(orientation, fpdf.SizeType{Wd: 210, Ht: 297})
	p.w, p.h = p.pdf.GetPageSize()
	p.heights = append(p.heights, p.h)
	p.y = top
}

func (p *printer) inner() float64 { return p.w - 2*side }
func (p *printer) left() float64  { return p.h - bottom - p.y }

// room begins a new page if less than so much is left of this one.
func (p *printer) room(height float64) {
	if p.left() < height && p.y > top {
		p.page(p.w > p.h)
	}
}

// type of letters.
type letters struct {
	size   float64 // points
	bold   bool
	colour string
}

func (l letters) face() *face {
	if l.bold {
		return bold()
	}
	return regular()
}

// width returns how wide a text is, mm.
func (l letters) width(s string) float64 { return l.face().width(s, l.size) * point }

func (l letters) wrap(s string, width float64) []string {
	return l.face().wrap(s, l.size, width/point)
}

// lead is the distance of two lines, mm.
func (l letters) lead() float64 { return l.size * point * 1.4 }

// printable cleans a text for print.
func (p *printer) printable(s string) string {
	text, lost := regular().printable(s)
	p.lost = p.lost || lost
	return text
}

// align says which end of a text a place is.
type align int

const (
	start align = iota
	middle
	end
)

// before returns which part of a text is before the point that it is set at.
func (a align) before() float64 { return float64(a) / 2 }

// text sets one line with its base line at y. It expects printable letters.
func (p *printer) text(x, y float64, s string, l letters, a align) {
	switch a {
	case middle:
		x -= l.width(s) / 2
	case end:
		x -= l.width(s)
	}
	p.letters(l)
	if !strings.ContainsFunc(s, func(r rune) bool { return unicode.Is(unicode.Mn, r) }) {
		p.pdf.Text(x, y, s)
		return
	}
	p.marked(x, y, s, l)
}

func (p *printer) letters(l letters) {
	style := ""
	if l.bold {
		style = "B"
	}
	p.pdf.SetFont("inter", style, l.size)
	p.pdf.SetTextColor(rgb(l.colour))
}

// marked sets a text with marks that have no letter of their own with what they stand
// over or below, such as Yoruba ẹ́: each mark in the middle of its letter.
func (p *printer) marked(x, y float64, s string, l letters) {
	f, scale := l.face(), l.size*point/1000
	from, at, letterAt, letter := 0, x, x, glyph{}
	runAt := x
	for i, r := range s {
		g := f.glyph(r)
		if !unicode.Is(unicode.Mn, r) {
			letterAt, letter = at, g
			at += g.advance * scale
			continue
		}
		p.pdf.Text(runAt, y, s[from:i])
		from, runAt = i+len(string(r)), at
		centre := letterAt + (letter.from+letter.upTo)/2*scale
		p.pdf.Text(centre-(g.from+g.upTo)/2*scale, y, string(r))
	}
	p.pdf.Text(runAt, y, s[from:])
}

// lines sets lines of text below each other from p.y on, and moves on.
func (p *printer) lines(x float64, lines []string, l letters) {
	for _, line := range lines {
		p.room(l.lead())
		p.text(x, p.y+l.size*point, line, l, start)
		p.y += l.lead()
	}
}

// flow sets running text over the whole width.
func (p *printer) flow(s string, l letters) { p.lines(side, l.wrap(p.printable(s), p.inner()), l) }

// opening is the head of the first page.
func (p *printer) opening() {
	small := letters{smallSize, true, navy}
	p.text(side, p.y, p.printable(p.doc.Issuer), small, start)
	p.text(p.w-side, p.y, p.words.day(p.doc.Date), letters{smallSize, false, quiet}, end)
	p.y += 6
	p.flow(p.doc.Title, letters{titleSize, true, ink})
	if p.doc.Subtitle != "" {
		p.y += 1
		p.flow(p.doc.Subtitle, letters{subSize + 1, false, quiet})
	}
	p.y += 3
	p.fill(side, p.y, p.inner(), 0.9, navy)
	p.y += 7
}

// heading begins a section, with some of it on the same page.
func (p *printer) heading(s string) {
	p.room(40)
	if p.y > top {
		p.y += 3
	}
	p.pdf.Bookmark(p.printable(s), 0, p.y)
	p.flow(s, letters{headSize, true, navy})
	p.y += 2
}

// margins sets what stands above and below the text, once it is known how many pages
// there are. Heights are of the page, those of fpdf are reckoned by the last page.
func (p *printer) margins() {
	l := letters{tiny, false, quiet}
	count := len(p.heights)
	for i, height := range p.heights {
		p.pdf.SetPage(i + 1)
		p.pdf.SetFont("inter", "B", 1) // the page does not know what the last one had
		p.pdf.SetFillColor(rgb(paper))
		off := p.h - height
		right := 210 - side
		if height < 297 {
			right = 297 - side
		}
		if i > 0 {
			p.text(side, off+12, p.fitting(p.printable(p.doc.Issuer+"  ·  "+p.doc.Title), l, right-side-40), l, start)
			p.text(right, off+12, p.words.day(p.doc.Date), l, end)
			p.line(side, off+14.5, right, off+14.5, 0.15, rule)
		}
		p.line(side, off+height-14.5, right, off+height-14.5, 0.15, rule)
		page := fmt.Sprintf(p.words.page, i+1, count)
		p.text(right, off+height-11, page, l, end)
		p.text(side, off+height-11, p.fitting(p.printable(p.doc.Mark), l, right-side-30), l, start)
	}
}

// fitting returns a text cut to a width, with an ellipsis where something is left out.
func (p *printer) fitting(s string, l letters, width float64) string {
	if l.width(s) <= width {
		return s
	}
	return l.face().fit(s, l.size, (width-l.width("…"))/point) + "…"
}

func (p *printer) fill(x, y, w, h float64, colour string) {
	p.pdf.SetFillColor(rgb(colour))
	p.pdf.Rect(x, y, w, h, "F")
}

func (p *printer) line(x0, y0, x1, y1, width float64, colour string) {
	p.pdf.SetDrawColor(rgb(colour))
	p.pdf.SetLineWidth(width)
	p.pdf.Line(x0, y0, x1, y1)
}

// link makes a place lead to an address, or to a table of this document.
func (p *printer) link(x, y, w, h float64, to string) bool {
	if id, ok := p.links[to]; ok {
		p.pdf.Link(x, y, w, h, id)
		return true
	}
	if to == "" || !address(to) {
		return false
	}
	p.pdf.LinkString(x, y, w, h, to)
	return true
}

// address reports whether a link leads out of the document.
func address(to string) bool {
	return strings.HasPrefix(to, "https://") || strings.HasPrefix(to, "http://") || strings.HasPrefix(to, "mailto:")
}

// rgb returns the parts of a colour.
func rgb(colour string) (r, g, b int) {
	v, err := strconv.ParseUint(colour, 16, 32)
	if err != nil {
		panic(err) // colours are constants
	}
	return int(v >> 16), int(v >> 8 & 0xff), int(v & 0xff)
}
