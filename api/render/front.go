package render

import (
	"strconv"

	"github.com/xuri/excelize/v2"
)

// front writes the first sheet of a workbook: everything but the tables and the charts.
func (s *sheets) front(d *Document) error {
	out, _, err := s.add(s.words.contents)
	if err != nil {
		return err
	}
	for i, width := range []float64{44, 22, 14, 70} {
		if err := out.SetColWidth(i+1, i+1, width); err != nil {
			return err
		}
	}
	f := frontSheet{sheets: s, out: out}
	f.line(true, d.Title)
	f.line(false, d.Subtitle)
	f.line(false, d.Issuer)
	f.line(false, s.words.day(d.Date))
	f.line(false, d.Mark)
	for _, section := range d.Sections {
		f.at++
		f.line(true, section.Title)
		for _, b := range section.Blocks {
			f.block(b)
		}
	}
	if f.err != nil {
		return f.err
	}
	return out.Flush()
}

type frontSheet struct {
	*sheets
	out *excelize.StreamWriter
	at  int // rows written or left empty
	err error
}

// line writes a row that begins with a text, if there is one.
func (f *frontSheet) line(bold bool, text string, more ...any) {
	if text == "" || f.err != nil {
		return
	}
	id, err := f.style(bold, Format{}, false, false)
	if err != nil {
		f.err = err
		return
	}
	f.at++
	row := append([]any{excelize.Cell{StyleID: id, Value: cut(clean(text), excelize.TotalCellChars)}}, more...)
	f.err = f.out.SetRow("A"+strconv.Itoa(f.at), row)
}

func (f *frontSheet) block(b Block) {
	switch b := b.(type) {
	case Paragraph:
		for _, p := range b.split() {
			f.line(false, p)
		}
	case Figures:
		for _, v := range b {
			id, err := f.style(false, v.As, false, false)
			if err != nil {
				f.err = err
				return
			}
			f.line(false, v.Label, excelize.Cell{StyleID: id, Value: v.As.typed(v.Value)}, v.As.unit, clean(v.Note))
		}
	case Box:
		f.line(true, b.title(f.words))
		for _, l := range b.Lines {
			f.line(false, l)
		}
	case Links:
		for _, l := range b {
			f.line(false, l.Text, clean(l.URL))
		}
	}
}
