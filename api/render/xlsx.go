package render

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// XLSX writes a workbook: a first sheet with the title, the key figures and the text,
// then a sheet for each table, with frozen heads, typed values and sums as formulas
// beside their values. Rows are streamed, so that a large table takes little memory.
func (d *Document) XLSX(w io.Writer) (err error) {
	book := excelize.NewFile()
	defer func() {
		if closed := book.Close(); err == nil {
			err = closed
		}
	}()
	stamp := d.Date.UTC().Format(time.RFC3339)
	if err := book.SetDocProps(&excelize.DocProperties{Title: clean(d.Title), Creator: clean(d.Issuer), Language: d.tongue().lang, Created: stamp, Modified: stamp}); err != nil {
		return err
	}
	s := sheets{book: book, words: d.tongue(), styles: map[string]int{}, taken: map[string]bool{}}
	if err := s.front(d); err != nil {
		return err
	}
	for _, t := range d.tables() {
		if err := s.table(t); err != nil {
			return fmt.Errorf("table %s: %w", t.Name, err)
		}
	}
	return book.Write(w)
}

// sheets is a workbook that is being written.
type sheets struct {
	book   *excelize.File
	words  *tongue
	styles map[string]int
	taken  map[string]bool // names of sheets, in lower case: a workbook tells no more apart
}

// add begins a sheet. The first takes the place of the one that a new workbook has.
func (s *sheets) add(name string) (*excelize.StreamWriter, string, error) {
	name = s.name(name)
	if len(s.taken) == 1 {
		if err := s.book.SetSheetName("Sheet1", name); err != nil {
			return nil, "", err
		}
	} else if _, err := s.book.NewSheet(name); err != nil {
		return nil, "", err
	}
	out, err := s.book.NewStreamWriter(name)
	return out, name, err
}

// name makes a name for a sheet that is allowed (at most 31 characters) and not taken.
func (s *sheets) name(wanted string) string {
	wanted = strings.Trim(strings.Map(func(r rune) rune {
		if strings.ContainsRune(`:\/?*[]`, r) {
			return '-'
		}
		return r
	}, clean(wanted)), "' ")
	if wanted == "" {
		wanted = "table"
	}
	name := cut(wanted, 31)
	for i := 2; s.taken[strings.ToLower(name)]; i++ {
		end := "-" + strconv.Itoa(i)
		name = cut(wanted, 31-len(end)) + end
	}
	s.taken[strings.ToLower(name)] = true
	return name
}

// cut returns at most so many characters of a text.
func cut(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return string([]rune(s)[:n])
}

// style returns the number of a style, made when it is first wanted. A unit stands beside
// the number where the head of the column does not have it.
func (s *sheets) style(bold bool, f Format, head, unit bool) (int, error) {
	key := fmt.Sprint(bold, f, head, unit)
	if id, ok := s.styles[key]; ok {
		return id, nil
	}
	style := &excelize.Style{Font: &excelize.Font{Family: "Calibri", Size: 11, Bold: bold}, Alignment: &excelize.Alignment{Vertical: "top", WrapText: head}}
	if head {
		style.Fill = excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{tint}}
		style.Alignment.Vertical = "bottom"
		if f.numeric() {
			style.Alignment.Horizontal = "right"
		}
	} else if code := f.code(); code != "" {
		if unit && f.unit != "" {
			code += ` "` + strings.ReplaceAll(f.unit, `"`, "") + `"`
		}
		style.CustomNumFmt = &code
	}
	if bold && !head {
		style.Border = []excelize.Border{{Type: "top", Color: ink, Style: 1}}
	}
	id, err := s.book.NewStyle(style)
	s.styles[key] = id
	return id, err
}

// code returns the number format of a spreadsheet.
func (f Format) code() string {
	switch {
	case f.kind == date:
		return "yyyy-mm-dd"
	case !f.numeric():
		return ""
	case f.decimals < 0:
		return "General"
	case f.decimals == 0:
		return "#,##0"
	}
	return "#,##0." + strings.Repeat("0", f.decimals)
}

// table writes a table into a sheet of its own.
func (s *sheets) table(t *Table) error {
	name := t.Name
	if name == "" {
		name = t.Title
	}
	out, _, err := s.add(name)
	if err != nil {
		return err
	}
	noted := t.noted()
	for i, width := range t.widths() {
		if err := out.SetColWidth(i+1, i+1, width); err != nil {
			return err
		}
	}
	if noted {
		if err := out.SetColWidth(len(t.Columns)+1, len(t.Columns)+1, 40); err != nil {
			return err
		}
	}
	if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	if err := s.rows(out, t, noted); err != nil {
		return err
	}
	return out.Flush()
}

func (s *sheets) rows(out *excelize.StreamWriter, t *Table, noted bool) error {
	head, plain, strong := make([]any, len(t.Columns)), make([]int, len(t.Columns)), make([]int, len(t.Columns))
	for i, c := range t.Columns {
		id, err := s.style(true, c.As, true, false)
		if err != nil {
			return err
		}
		head[i] = excelize.Cell{StyleID: id, Value: clean(c.titled())}
		if plain[i], err = s.style(false, c.As, false, false); err != nil {
			return err
		}
		if strong[i], err = s.style(true, c.As, false, false); err != nil {
			return err
		}
	}
	if noted {
		head = append(head, excelize.Cell{StyleID: head[0].(excelize.Cell).StyleID, Value: s.words.notes})
	}
	if err := out.SetRow("A1", head); err != nil {
		return err
	}
	at, line := 2, make([]any, len(head))
	for row := range t.Rows {
		clear(line)
		for i, c := range row[:min(len(row), len(t.Columns))] {
			style := plain[i]
			if c.As != (Format{}) {
				var err error
				if style, err = s.style(false, c.As, false, true); err != nil {
					return err
				}
			}
			line[i] = excelize.Cell{StyleID: style, Value: t.Columns[i].of(c).typed(c.Text)}
		}
		if notes := t.notesOf(row); notes != "" {
			line[len(t.Columns)] = notes
		}
		if err := out.SetRow("A"+strconv.Itoa(at), line); err != nil {
			return err
		}
		at++
	}
	total := t.totals(s.words)
	if total == nil {
		return nil
	}
	clear(line)
	for i, c := range total {
		cell := excelize.Cell{StyleID: strong[i], Value: t.Columns[i].of(c).typed(c.Text)}
		if t.Columns[i].Sum && at > 2 {
			column, err := excelize.ColumnNumberToName(i + 1)
			if err != nil {
				return err
			}
			cell.Formula = fmt.Sprintf("SUM(%s2:%s%d)", column, column, at-1)
		}
		line[i] = cell
	}
	return out.SetRow("A"+strconv.Itoa(at), line)
}

// typed returns a literal as what it is in a workbook: a number, a day or a text, which
// stays one whatever it begins with.
func (f Format) typed(literal string) any {
	if literal == "" {
		return nil
	}
	switch f.kind {
	case number, percent:
		if _, ok := parseDecimal(literal); ok {
			if v, err := strconv.ParseFloat(literal, 64); err == nil {
				return v
			}
		}
	case date:
		if d, err := time.Parse(time.DateOnly, literal); err == nil {
			return d
		}
	}
	return cut(clean(literal), excelize.TotalCellChars)
}

// titled returns the title of a column with its unit.
func (c Column) titled() string {
	return c.As.titled(c.Title)
}

// widths returns how wide the columns of a sheet are, in characters, by the first rows.
func (t *Table) widths() []float64 {
	const least, most, looked = 8, 48, 200
	widths := make([]float64, len(t.Columns))
	for i, c := range t.Columns {
		widths[i] = least
		for word := range strings.FieldsSeq(c.titled()) {
			widths[i] = max(widths[i], float64(utf8.RuneCountInString(word)))
		}
	}
	n := 0
	for row := range t.Rows {
		if n++; n > looked {
			break
		}
		for i, c := range row[:min(len(row), len(widths))] {
			widths[i] = max(widths[i], float64(utf8.RuneCountInString(t.Columns[i].show(c, english))))
		}
	}
	for i, s := range t.sums() {
		widths[i] = min(most, max(widths[i], float64(utf8.RuneCountInString(t.Columns[i].As.show(s, english))))+2)
	}
	return widths
}
