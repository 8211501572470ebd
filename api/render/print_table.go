package render

import (
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

const cellPad = 1.3 // mm, beside and above what stands in a cell

// A grid is a table with everything decided but the pages.
type grid struct {
	columns   []Column
	widths    []float64
	size      float64 // of letters, points
	heads     [][]string
	marks     []bool // whether a value of the column has a note
	landscape bool
	wide      float64 // of all columns
}

// table sets a table, its head again on each page.
func (p *printer) table(t *Table) {
	if len(t.Columns) == 0 {
		return
	}
	total := t.totals(p.words)
	g := p.grid(t, total)
	turned := g.landscape && p.w < p.h
	if turned {
		p.page(true)
	}
	p.room(26)
	if id, ok := p.links["#"+t.Name]; ok {
		p.pdf.SetLink(id, p.y, -1)
	}
	if t.Title != "" {
		p.flow(t.Title, letters{subSize, true, ink})
		p.y += 1
	}
	p.gridHead(g)
	notes := footnotes{}
	for row := range t.Rows {
		p.gridRow(g, row, &notes, false)
	}
	if total != nil {
		p.gridRow(g, total, &notes, true)
	}
	p.y += 1.5
	for i, n := range notes.texts {
		p.flow(superscript(i+1)+" "+n, letters{tiny, false, quiet})
	}
	if t.Note != "" {
		p.flow(t.Note, letters{tiny, false, quiet})
	}
	p.y += 4
	if turned {
		p.page(false)
	}
}

// grid decides how wide columns are: as their values want if there is room, else texts
// are wrapped; with smaller letters, and across, if that is not enough.
func (p *printer) grid(t *Table, total []Cell) *grid {
	upright, across := 210-2*side, 297-2*side
	sizes := []struct {
		size  float64
		width float64
	}{{8.5, upright}, {7.5, upright}, {8, across}, {7, across}, {6, across}, {5, across}, {4, across}}
	g := &grid{columns: t.Columns}
	for i, try := range sizes {
		g.size, g.wide, g.landscape = try.size, try.width, try.width == across
		least, want, wish := p.wanted(g, t, total)
		if sum(least) <= g.wide || i == len(sizes)-1 {
			g.widths = spread(g.wide, least, p.tidy(g, least), want, wish)
			break
		}
	}
	head := letters{g.size, true, ink}
	for i, c := range g.columns {
		g.heads = append(g.heads, head.wrap(p.printable(c.headed()), g.widths[i]-2*cellPad+0.01))
	}
	return g
}

// wanted returns how wide columns must be at least, how wide they would be for their
// values, and how wide for their heads too.
func (p *printer) wanted(g *grid, t *Table, total []Cell) (least, want, wish []float64) {
	const longest, comfortable = 26., 60. // mm of a text
	text, head := letters{g.size, false, ink}, letters{g.size, true, ink}
	least, want, wish = make([]float64, len(g.columns)), make([]float64, len(g.columns)), make([]float64, len(g.columns))
	g.marks = make([]bool, len(g.columns))
	see := func(i int, l letters, c Cell) {
		column := g.columns[i]
		s, _ := regular().printable(column.show(c, p.words))
		full := l.width(s)
		want[i] = max(want[i], full)
		if _, ok := parseDecimal(c.Text); ok && column.of(c).numeric() || column.of(c).kind == date {
			least[i] = max(least[i], full)
		} else {
			for word := range wordsOf(s) {
				least[i] = max(least[i], min(longest, l.width(word)))
			}
		}
		g.marks[i] = g.marks[i] || c.Note != ""
	}
	for row := range t.Rows {
		for i, c := range row[:min(len(row), len(g.columns))] {
			see(i, text, c)
		}
	}
	for i, c := range total {
		see(i, head, c)
	}
	for i, c := range g.columns {
		for word := range wordsOf(c.headed()) {
			least[i] = max(least[i], head.width(word))
		}
		want[i] = max(min(want[i], comfortable), least[i])
		wish[i] = max(want[i], min(head.width(c.headed()), comfortable/2))
		extra := 2 * cellPad
		if g.marks[i] {
			extra += g.markRoom()
		}
		least[i], want[i], wish[i] = least[i]+extra, want[i]+extra, wish[i]+extra
	}
	return least, want, wish
}

// headLines is in how many lines a head is set, where there is room.
const headLines = 3

// tidy returns the least widths by which no head has more lines than that.
func (p *printer) tidy(g *grid, least []float64) []float64 {
	l, widths := letters{g.size, true, ink}, slices.Clone(least)
	for i, c := range g.columns {
		head := p.printable(c.headed())
		for full := l.width(head) + 2*cellPad; widths[i] < full && len(l.wrap(head, widths[i]-2*cellPad+0.01)) > headLines; {
			widths[i] += 0.5
		}
	}
	return widths
}

// headed is the title of a column with its unit; a short one stays with the word before.
func (c Column) headed() string {
	title := c.titled()
	if before, ok := strings.CutSuffix(title, " "+c.As.unit); ok && utf8.RuneCountInString(c.As.unit) <= 2 {
		return before + wide + c.As.unit
	}
	return title
}

// markRoom is what a number of a note needs behind a value.
func (g *grid) markRoom() float64 { return letters{g.size, false, ink}.width("¹²") }

// spread gives columns widths that fill a width together: as much as there is room for
// of what they must have and of what they would have, one after the other, none less than
// it has.
func spread(wide float64, least []float64, more ...[]float64) []float64 {
	widths := slices.Clone(least)
	if sum(least) > wide {
		for i := range widths {
			widths[i] *= wide / sum(least)
		}
		return widths
	}
	for _, list := range more {
		aim := slices.Clone(list)
		for i := range aim {
			aim[i] = max(aim[i], widths[i])
		}
		have, asked := sum(widths), sum(aim)
		if asked <= wide {
			widths = aim
			continue
		}
		for i := range widths {
			widths[i] += (aim[i] - widths[i]) * (wide - have) / (asked - have)
		}
		return widths
	}
	grow := wide / sum(widths)
	for i := range widths {
		widths[i] *= grow
	}
	return widths
}

func sum(list []float64) float64 {
	total := 0.
	for _, v := range list {
		total += v
	}
	return total
}

func (p *printer) gridHead(g *grid) {
	l := letters{g.size, true, ink}
	most := 0
	for _, h := range g.heads {
		most = max(most, len(h))
	}
	height := float64(most)*l.lead() + 2*cellPad
	p.fill(side, p.y, g.wide, height, tint)
	x := side
	for i, h := range g.heads {
		y := p.y + height - cellPad - float64(len(h))*l.lead()
		for _, s := range h {
			y += l.lead()
			g.set(p, x, y-l.lead()*0.28, i, s, l)
		}
		x += g.widths[i]
	}
	p.line(side, p.y+height, side+g.wide, p.y+height, 0.35, navy)
	p.y += height
}

// set sets a line of a cell on the side on which its column has it.
func (g *grid) set(p *printer, x, y float64, column int, s string, l letters) {
	if !g.columns[column].As.numeric() {
		p.text(x+cellPad, y, s, l, start)
		return
	}
	right := x + g.widths[column] - cellPad
	if g.marks[column] {
		right -= g.markRoom()
	}
	p.text(right, y, s, l, end)
}

// gridRow sets a row on one page, if it is not taller than a page.
func (p *printer) gridRow(g *grid, row []Cell, notes *footnotes, strong bool) {
	l := letters{g.size, strong, ink}
	lines, marks := make([][]string, len(g.columns)), make([]string, len(g.columns))
	tallest := 1
	for i, c := range row[:min(len(row), len(g.columns))] {
		width := g.widths[i] - 2*cellPad
		if g.marks[i] {
			width -= g.markRoom()
		}
		if strong && c.Text == "" {
			lines[i] = []string{""}
		} else {
			lines[i] = l.wrap(p.printable(g.columns[i].show(c, p.words)), width+0.01)
		}
		if c.Note != "" {
			marks[i] = superscript(notes.number(p.printable(c.Note)))
		}
		tallest = max(tallest, len(lines[i]))
	}
	for from := 0; from < tallest; {
		n := tallest - from
		if height := float64(n)*l.lead() + 2*cellPad; p.left() < height {
			if fresh := p.h - top - bottom - 30; height < fresh || p.left() < 4*l.lead() {
				p.page(g.landscape)
				p.gridHead(g)
			}
			n = min(n, int((p.left()-2*cellPad)/l.lead()))
		}
		p.gridLines(g, row, lines, marks, l, from, from+n)
		from += n
	}
}

// gridLines sets some of the lines of a row.
func (p *printer) gridLines(g *grid, row []Cell, lines [][]string, marks []string, l letters, from, to int) {
	height := float64(to-from)*l.lead() + 2*cellPad
	if l.bold {
		p.line(side, p.y, side+g.wide, p.y, 0.35, navy)
	}
	x := side
	for i := range g.columns {
		this := l
		if i < len(row) && p.link(x, p.y, g.widths[i], height, row[i].Link) {
			this.colour = blue
		}
		for n := from; n < min(to, len(lines[i])); n++ {
			y := p.y + cellPad + float64(n-from)*l.lead() + l.size*point*1.02
			g.set(p, x, y, i, lines[i][n], this)
			if n == len(lines[i])-1 && marks[i] != "" {
				at := x + g.widths[i] - cellPad - g.markRoom()
				if !g.columns[i].As.numeric() {
					at = x + cellPad + l.width(lines[i][n])
				}
				p.text(at+0.3, y, marks[i], l, start)
			}
		}
		x += g.widths[i]
	}
	p.y += height
	if !l.bold {
		p.line(side, p.y, side+g.wide, p.y, 0.12, rule)
	}
}

// footnotes numbers notes, the same text once.
type footnotes struct {
	texts []string
	known map[string]int
}

func (f *footnotes) number(text string) int {
	if n, ok := f.known[text]; ok {
		return n
	}
	if f.known == nil {
		f.known = map[string]int{}
	}
	f.texts = append(f.texts, text)
	f.known[text] = len(f.texts)
	return len(f.texts)
}

var raised = strings.NewReplacer("0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹")

func superscript(n int) string { return raised.Replace(strconv.Itoa(n)) }
