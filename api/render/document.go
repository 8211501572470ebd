// Package render shows one [Document] as an HTML page, a PDF to print, an XLSX
// workbook or CSV, and its charts as SVG. It knows nothing of what is shown: numbers
// come as the literals that the service prints elsewhere, so that every representation
// says the same, digit by digit.
package render

import (
	"iter"
	"strings"
	"time"
)

// Document is what is to be shown, in whichever representation.
type Document struct {
	Title    string
	Subtitle string
	Issuer   string    // who says so, at the head of every page
	Mark     string    // by which it can be checked, such as its hash, at the foot of every page
	Date     time.Time // of the document, and of the file: the same document gives the same bytes
	Lang     string    // "en" or "fr": of the words that are added, and of how numbers are written
	Sections []Section
}

// Section is a part of a document under a heading, which may be left out.
type Section struct {
	Title  string
	Blocks []Block
}

// Block is a part of a section: [Paragraph], [Figures], [*Table], [Box] or [Links].
type Block interface{ block() }

// Paragraph is running text. Blank lines part it.
type Paragraph string

// Figures are the few numbers that matter most, each with what it says.
type Figures []Figure

// Figure is one number.
type Figure struct {
	Label string
	Value string // a literal, see [Format]; none is shown as a dash
	As    Format
	Note  string // below it: what it is compared with, or why there is none
	Link  string // where it comes from
}

// Box is text that must not be overlooked, one item a line.
type Box struct {
	Kind  BoxKind
	Title string // a word for the kind if left out
	Lines []string
}

// BoxKind says why a text stands in a box.
type BoxKind int

// The kinds of boxes.
const (
	Note    BoxKind = iota
	Caution         // what can go wrong
	Limits          // of the data: what the figures cannot say
)

// Links are sources and further reading.
type Links []Link

// Link is a text that leads to an address. Without an address it is text.
type Link struct{ Text, URL string }

// Table is rows under typed columns.
type Table struct {
	Name    string // of the sheet, the CSV and the anchor: lower case without spaces
	Title   string
	Columns []Column
	Rows    iter.Seq[[]Cell] // is run through more than once; a row may be shorter than the columns
	Total   []Cell           // of columns that are no sums; its first cell is the word for the row
	Note    string           // below the table
	Data    bool             // for XLSX and CSV alone, too long to be read
}

// Column says what stands in a column of a table.
type Column struct {
	Name  string // in CSV; its title if left out
	Title string
	As    Format
	Sum   bool // whether the last row has its sum, exactly; in XLSX as a formula
}

// Cell is one value of a table.
type Cell struct {
	Text string // a literal, see [Format]; none is shown as a dash
	Link string // where it comes from: an address, or #name of a table of this document
	Note string // what must be known of this value, such as that it is estimated
	As   Format // in place of that of its column, with its unit beside the value
}

// Row makes cells of texts.
func Row(texts ...string) []Cell {
	row := make([]Cell, len(texts))
	for i, t := range texts {
		row[i].Text = t
	}
	return row
}

// Format says what kind of literal a value is, and how it is shown. The zero Format is
// that of words. What is not such a literal is shown as it is.
type Format struct {
	kind     kind
	decimals int
	unit     string
	money    bool // the unit is a currency
}

type kind int

const (
	words kind = iota
	number
	percent
	date
)

// Number is for decimal literals such as "-1234.5", shown with so many decimals,
// rounded half away from zero, and their unit.
func Number(decimals int, unit string) Format {
	return Format{kind: number, decimals: decimals, unit: unit}
}

// Exact is for decimal literals that are shown with the decimals they have.
func Exact(unit string) Format { return Format{kind: number, decimals: -1, unit: unit} }

// Money is for amounts in a currency, by the number of its decimals.
func Money(decimals int, currency string) Format {
	return Format{kind: number, decimals: decimals, unit: currency, money: true}
}

// Percent is for decimal literals that are hundredths.
func Percent(decimals int) Format { return Format{kind: percent, decimals: decimals, unit: "%"} }

// Date is for civil dates, "2026-11-25".
func Date() Format { return Format{kind: date} }

func (Paragraph) block() {}
func (Figures) block()   {}
func (Box) block()       {}
func (Links) block()     {}
func (*Table) block()    {}

// tables returns all tables of a document, in order.
func (d *Document) tables() []*Table {
	var list []*Table
	for _, s := range d.Sections {
		for _, b := range s.Blocks {
			if t, ok := b.(*Table); ok {
				list = append(list, t)
			}
		}
	}
	return list
}

// split returns the paragraphs of a running text.
func (p Paragraph) split() []string {
	var list []string
	for part := range strings.SplitSeq(strings.ReplaceAll(string(p), "\r\n", "\n"), "\n\n") {
		if part = strings.TrimSpace(part); part != "" {
			list = append(list, part)
		}
	}
	return list
}

func (b Box) title(t *tongue) string {
	switch {
	case b.Title != "":
		return b.Title
	case b.Kind == Caution:
		return t.caution
	case b.Kind == Limits:
		return t.limits
	}
	return t.notes
}
