package render

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

func printed(t *testing.T, d *Document) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := d.PDF(&out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// textOf returns the text of a PDF, page by page, as another program reads it.
func textOf(t *testing.T, pdf []byte) []string {
	t.Helper()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("pdftotext is missing")
		}
		t.Skip("the text of the print was not read: pdftotext (poppler-utils) is not here")
	}
	file := filepath.Join(t.TempDir(), "d.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), "pdftotext", "-layout", "-enc", "UTF-8", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.NewReplacer("\u202f", " ", "\u00a0", " ").Replace(string(out)), "\n")
	for i, l := range lines { // one space before each line, whatever stood before
		lines[i] = " " + strings.TrimLeft(l, " ")
	}
	return strings.Split(strings.TrimSuffix(strings.Join(lines, "\n"), "\n \f"), "\f")
}

func TestPrintHasEveryRowOnce(t *testing.T) {
	t.Parallel()
	pages := textOf(t, printed(t, sample(200)))
	all := strings.Join(pages, "\n")
	for i := range 200 {
		if n := strings.Count(all, fmt.Sprintf("\n %03d ", i+1)); n != 1 {
			t.Errorf("row %d is there %d times", i+1, n)
		}
	}
	for i, p := range pages {
		if !strings.Contains(p, fmt.Sprintf("Page %d of %d", i+1, len(pages))) || !strings.Contains(p, "sha-256 9f86") {
			t.Errorf("page %d has no foot: %s", i+1, p)
		}
		if !strings.Contains(p, "Co-operative") || !strings.Contains(p, "25 Nov 2026") {
			t.Errorf("page %d has no head: %s", i+1, p)
		}
		if rows := strings.Contains(p, "Secondary School"); rows && !strings.Contains(p, "Harvested on") {
			t.Errorf("page %d has rows, but no head of the table", i+1)
		}
	}
	if len(pages) < 7 || len(pages) > 9 {
		t.Errorf("%d pages", len(pages))
	}
	if !strings.Contains(all, "Total") || !strings.Contains(all, "no fish were counted at harvest") {
		t.Error("sums or notes are missing")
	}
}

func TestPrintIsTheSameToTheByte(t *testing.T) {
	t.Parallel()
	if one, other := printed(t, sample(60)), printed(t, sample(60)); !bytes.Equal(one, other) {
		t.Error("the same document was printed in two ways")
	}
	later := sample(60)
	later.Date = later.Date.Add(time.Hour)
	if bytes.Equal(printed(t, sample(60)), printed(t, later)) {
		t.Error("the date makes no difference")
	}
}

func TestTypefaceHasTheLetters(t *testing.T) {
	t.Parallel()
	for _, f := range []*face{regular(), bold()} {
		if s, lost := f.printable(foreignLetters + narrow + minus + dash + "¹²³⁴⁵⁶⁷⁸⁹⁰•…·"); lost {
			t.Errorf("letters are missing: %s", s)
		}
	}
	p := newPrinter(sample(1))
	for _, s := range []string{english.lost, french.lost, french.issued, strings.Join(french.months[:], "")} {
		p.printable(s)
	}
	if p.lost {
		t.Error("the words of the program cannot be printed")
	}
	if s := p.printable("fish 🐟 رقم\u200d\ufe0f"); s != "fish □ □□□" || !p.lost {
		t.Errorf("printed as %q, lost %v", s, p.lost)
	}
}

// TestTextIsMeasuredAsItIsSet compares with the library that sets it, which rounds each
// letter.
func TestTextIsMeasuredAsItIsSet(t *testing.T) {
	t.Parallel()
	pdf := fpdf.New("P", "mm", "A4", "")
	pdf.AddUTF8FontFromBytes("inter", "", regularTTF)
	pdf.SetFont("inter", "", 10)
	for _, s := range []string{"Wagon 1 234.50 NGN", foreignLetters, "Ŋorgbe Smallholders of the Upper Basin"} {
		if got, want := (letters{size: 10}).width(s), pdf.GetStringWidth(s); math.Abs(got-want) > 0.002*want {
			t.Errorf("%q is %.3f mm wide, not %.3f", s, got, want)
		}
	}
}

func TestLinesAreNeverTooWide(t *testing.T) {
	t.Parallel()
	text := "A short one, then " + strings.Repeat("Ẹ̀kọ́ọ̀kan", 30) + " and https://example.org/a/very/long/address?with=parameters&that=go&on end"
	lines := regular().wrap(text, 10, 150)
	for _, l := range lines {
		if w := regular().width(l, 10); w > 150 {
			t.Errorf("%q is %.1f wide", l, w)
		}
	}
	squeeze := strings.NewReplacer(" ", "")
	if got, want := squeeze.Replace(strings.Join(lines, "")), squeeze.Replace(text); got != want {
		t.Errorf("wrapping made %q of %q", got, want)
	}
	if got := regular().wrap("", 10, 50); !slices.Equal(got, []string{""}) {
		t.Errorf("nothing is wrapped into %q", got)
	}
	if got := regular().wrap("WWW", 10, 1); !slices.Equal(got, []string{"W", "W", "W"}) {
		t.Errorf("a letter that is too wide is wrapped into %q", got)
	}
}

func TestWideAndTallTablesArePrinted(t *testing.T) {
	t.Parallel()
	columns, row := make([]Column, 16), make([]Cell, 16)
	for i := range columns {
		columns[i] = Column{Title: fmt.Sprintf("Indicator %d", i), As: Money(2, "NGN"), Sum: true}
		row[i].Text = "1234567.89"
	}
	columns[0] = Column{Title: "What"}
	row[0].Text = strings.Repeat("a word or two ", 400) + "finished"
	d := sample(3)
	d.Sections = append(d.Sections, Section{Title: "Wide", Blocks: []Block{&Table{Columns: columns, Rows: slices.Values([][]Cell{row, Row("second")})}, Paragraph("after the table")}})
	pdf := printed(t, d)
	all := strings.Join(textOf(t, pdf), "\n")
	for _, want := range []string{"finished", "second", "after the table", "1 234 567.89"} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if !bytes.Contains(pdf, []byte("841.89 595.28]")) && !bytes.Contains(pdf, []byte("841.89 595.27")) {
		t.Error("no page lies on its side")
	}
}

// No head of a table is broken within a word or has more than three lines where there is
// room, and a short unit stands with a word.
func TestHeadsReadWell(t *testing.T) {
	t.Parallel()
	titles := []string{"Group", "Batches", "Cost per kilogram", "Verdict", "95 times in 100 from", "to", "Drawn to the others", "Chance of the best third", "of the worst"}
	for _, unit := range []string{"KES/kg", "%", "kg", "g", "ZMW/m³", ""} {
		for _, name := range []string{"Tovuli", "Dunzetuli Girls' Secondary School", "Łódź Training Farm of the Upper Basin"} {
			table := &Table{}
			for i, title := range titles {
				c := Column{Title: title, As: Number(2, unit)}
				if i == 0 || i == 3 {
					c.As = Format{}
				} else if i > 6 {
					c.As = Percent(0)
				}
				table.Columns = append(table.Columns, c)
			}
			table.Rows = slices.Values([][]Cell{Row(name, "2", "422.72", "no difference shown", "1.33", "134139.19", "412.84", "14", "30"), Row(name, "12", "0.1", "worth a look", "-3.1", "2.1", "4.1", "100", "0")})
			p := newPrinter(sample(1))
			g := p.grid(table, nil)
			for i, lines := range g.heads {
				got := strings.Join(lines, " ")
				if want := strings.TrimSuffix(titles[i]+", "+g.columns[i].As.unit, ", "); strings.ReplaceAll(got, wide, " ") != want {
					t.Errorf("the head %q is set as %q", want, lines)
				}
				if last := lines[len(lines)-1]; len(lines) > headLines || last == "%" || last == "kg" || last == "g" {
					t.Errorf("a head is set as %q", lines)
				}
			}
		}
	}
}

// A column that is as wide as the word in its head, to the last bit, has it whole.
func TestHeadsAreNotBrokenWithinAWord(t *testing.T) {
	t.Parallel()
	long, p := strings.Repeat("as it was said ", 10), newPrinter(sample(1))
	for n := range 26 * 26 { // widths of all kinds, some of which are rounded down on the way
		word := "wo" + string(rune('a'+n/26)) + string(rune('a'+n%26))
		table := &Table{Columns: []Column{{Title: "a"}, {Title: "b"}, {Title: "c"}, {Title: "d"}, {Title: word, As: Number(0, "KES/kg")}, {Title: "the " + word, As: Percent(0)}, {Title: word}},
			Rows: slices.Values([][]Cell{Row(long, long, long, long, "1", "2", "3")})}
		g := p.grid(table, nil)
		for i, want := range map[int]string{4: word + ", KES/kg", 5: "the " + word + "," + wide + "%", 6: word} {
			if got := strings.Join(g.heads[i], " "); got != want {
				t.Errorf("the head %q is set as %q", want, g.heads[i])
			}
		}
	}
}

func TestDigitsAreOfOneWidth(t *testing.T) {
	t.Parallel()
	for _, f := range []*face{regular(), bold()} {
		for _, r := range "123456789" {
			if f.glyph(r).advance != f.glyph('0').advance {
				t.Errorf("%c is %g wide, 0 is %g", r, f.glyph(r).advance, f.glyph('0').advance)
			}
		}
	}
}
