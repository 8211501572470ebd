package render

import (
	"bytes"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

func workbook(t *testing.T, d *Document) *excelize.File {
	t.Helper()
	var out bytes.Buffer
	if err := d.XLSX(&out); err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { book.Close() })
	return book
}

// cell returns the value of a cell as it is stored, its type, and its formula.
func cell(t *testing.T, book *excelize.File, sheet, at string) (value string, kind excelize.CellType, formula string) {
	t.Helper()
	value, err := book.GetCellValue(sheet, at, excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	if kind, err = book.GetCellType(sheet, at); err != nil {
		t.Fatal(err)
	}
	if formula, err = book.GetCellFormula(sheet, at); err != nil {
		t.Fatal(err)
	}
	return value, kind, formula
}

func TestWorkbookHasTypedCellsAndSums(t *testing.T) {
	t.Parallel()
	book := workbook(t, sample(50))
	if got := book.GetSheetList(); !slices.Equal(got, []string{"Contents", "sites"}) {
		t.Fatalf("the sheets are %v", got)
	}
	if v, kind, _ := cell(t, book, "sites", "C5"); v != "4131.39" || kind != excelize.CellTypeUnset && kind != excelize.CellTypeNumber {
		t.Errorf("the cost is %q of type %v", v, kind)
	}
	if v, err := book.GetCellValue("sites", "C5"); err != nil || v != "4,131.39" {
		t.Errorf("the cost is shown as %q, %v", v, err)
	}
	if v, err := book.GetCellValue("sites", "E5"); err != nil || v != "2026-04-14" {
		t.Errorf("the day is shown as %q, %v", v, err)
	}
	if v, kind, _ := cell(t, book, "sites", "E5"); v != "46126" || kind != excelize.CellTypeUnset && kind != excelize.CellTypeNumber {
		t.Errorf("the day is stored as %q of type %v", v, kind)
	}
	if v, kind, _ := cell(t, book, "sites", "A5"); v != "004 Łódź Training Farm" || kind != excelize.CellTypeInlineString {
		t.Errorf("the site is %q of type %v", v, kind)
	}
	cached, _, formula := cell(t, book, "sites", "C52")
	if formula != "SUM(C2:C51)" {
		t.Errorf("the sum is %q", formula)
	}
	computed, err := book.CalcCellValue("sites", "C52", excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	sum, err := strconv.ParseFloat(computed, 64)
	if err != nil {
		t.Fatal(err)
	}
	if got := strconv.FormatFloat(sum, 'f', 2, 64); got != sample(50).tables()[0].totals(english)[2].Text || got != cached {
		t.Errorf("the sum is %s by the formula, %s beside it, %s by the table", got, cached, sample(50).tables()[0].totals(english)[2].Text)
	}
	panes, err := book.GetPanes("sites")
	if err != nil || !panes.Freeze || panes.YSplit != 1 {
		t.Errorf("the panes are %+v, %v", panes, err)
	}
	if width, err := book.GetColWidth("sites", "A"); err != nil || width < 30 {
		t.Errorf("the first column is %v wide, %v", width, err)
	}
	if v, err := book.GetCellValue("sites", "F5"); err != nil || !strings.HasPrefix(v, "Survival: estimated") {
		t.Errorf("the note is %q, %v", v, err)
	}
}

func TestWorkbookTextsAreNoFormulas(t *testing.T) {
	t.Parallel()
	hostile := []string{`=HYPERLINK("http://x","y")`, "+1", "-1 fish", "@a", "=1", "<b>&\"", "\x01x\ufffe"}
	var rows [][]Cell
	for _, s := range hostile {
		rows = append(rows, Row(s, s))
	}
	table := func(name string) *Table {
		return &Table{Name: name, Columns: []Column{{Title: "=t"}, {Title: "n", As: Number(0, "")}}, Rows: slices.Values(rows)}
	}
	long := strings.Repeat("x", 40)
	book := workbook(t, &Document{Title: "=1+1", Issuer: "=2", Sections: []Section{{Blocks: []Block{table("a[b]:c"), table("A-b--C"), table(long), table(long), table("")}}}})
	if got, want := book.GetSheetList(), []string{"Contents", "a-b--c", "A-b--C-2", long[:31], long[:29] + "-2", "table"}; !slices.Equal(got, want) {
		t.Errorf("the sheets are %q", got)
	}
	for _, at := range []string{"A1", "A2", "B2", "A3", "B4", "A6", "A7"} {
		if v, kind, formula := cell(t, book, "table", at); formula != "" || kind != excelize.CellTypeInlineString {
			t.Errorf("%s is %q of type %v with the formula %q", at, v, kind, formula)
		}
	}
	if v, _, _ := cell(t, book, "table", "A2"); v != hostile[0] {
		t.Errorf("the text became %q", v)
	}
	if v, _, formula := cell(t, book, "Contents", "A1"); v != "=1+1" || formula != "" {
		t.Errorf("the title became %q with the formula %q", v, formula)
	}
}

func TestCellsMayHaveFormatsOfTheirOwn(t *testing.T) {
	t.Parallel()
	d := &Document{Sections: []Section{{Blocks: []Block{&Table{Name: "mixed", Columns: []Column{{Title: "What"}, {Title: "Value", As: Number(2, "")}},
		Rows: slices.Values([][]Cell{{{Text: "fish"}, {Text: "1200.4", As: Number(0, "fish")}}, {{Text: "survival"}, {Text: "83.456", As: Percent(1)}}, {{Text: "ratio"}, {Text: "1.456"}}, {{Text: "sum"}, {Text: "1234.5670", As: Exact("kg")}}})}}}}}
	book := workbook(t, d)
	for at, want := range map[string]string{"B2": "1,200 fish", "B3": "83.5 %", "B4": "1.46"} {
		if got, err := book.GetCellValue("mixed", at); err != nil || got != want {
			t.Errorf("%s is shown as %q, not as %q, %v", at, got, want, err)
		}
	}
	if v, _, _ := cell(t, book, "mixed", "B5"); v != "1234.567" {
		t.Errorf("B5 is %q", v)
	}
	root, _ := page(t, d)
	if got := root.all("tbody")[0].words(); got != "fish 1 200 fish survival 83.5 % ratio 1.46 sum 1 234.5670 kg" {
		t.Errorf("the page has %q", got)
	}
	if all := strings.Join(textOf(t, printed(t, d)), ""); !strings.Contains(all, "1 200 fish") || !strings.Contains(all, "83.5 %") {
		t.Errorf("the print has %q", all)
	}
	var out bytes.Buffer
	if err := d.CSV(&out, ""); err != nil || out.String() != "What,Value\r\nfish,1200.4\r\nsurvival,83.456\r\nratio,1.456\r\nsum,1234.5670\r\n" {
		t.Errorf("CSV has %q, %v", out.String(), err)
	}
}

// TestWorkbookOfManyRowsTakesLittleMemory is not parallel: it looks at the memory of the
// whole program.
func TestWorkbookOfManyRowsTakesLittleMemory(t *testing.T) {
	const rows, columns, most = 100_000, 12, 100 << 20
	d := &Document{Sections: []Section{{Blocks: []Block{manyRows(rows, columns)}}}}
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	var peak atomic.Uint64
	done, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for tick := time.Tick(5 * time.Millisecond); ; {
			var now runtime.MemStats
			runtime.ReadMemStats(&now)
			peak.Store(max(peak.Load(), now.HeapInuse+now.StackInuse))
			select {
			case <-done:
				return
			case <-tick:
			}
		}
	}()
	began := time.Now()
	var out countingWriter
	if err := d.XLSX(&out); err != nil {
		t.Fatal(err)
	}
	close(done)
	<-stopped
	took := peak.Load() - before.HeapInuse
	t.Logf("%d rows of %d columns: %d MB of memory at most, %.1f MB of file, %v", rows, columns, took>>20, float64(out)/1e6, time.Since(began).Round(time.Millisecond))
	if took > most {
		t.Errorf("it took %d MB, more than %d", took>>20, most>>20)
	}
}

type countingWriter int64

func (w *countingWriter) Write(b []byte) (int, error) {
	*w += countingWriter(len(b))
	return len(b), nil
}

// manyRows is a large table that nobody holds in memory.
func manyRows(rows, columns int) *Table {
	t := &Table{Name: "many", Columns: make([]Column, columns)}
	for i := range t.Columns {
		t.Columns[i] = Column{Title: "column " + strconv.Itoa(i), As: Number(2, ""), Sum: i > 2}
		if i < 3 {
			t.Columns[i].As = Format{}
		}
	}
	t.Rows = func(yield func([]Cell) bool) {
		row := make([]Cell, columns)
		for n := range rows {
			for i := range row {
				row[i].Text = strconv.Itoa(n*(i+1)) + ".25"
			}
			if !yield(row) {
				return
			}
		}
	}
	return t
}
