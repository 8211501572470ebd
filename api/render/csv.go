package render

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"
)

// CSV writes the table of that name, or the first if the name is empty, by RFC 4180 in
// UTF-8: numbers and dates as their literals, in full. Notes on values stand in a column
// behind them, if there are any, and last the currency of amounts. Sums are left out: who
// reads it by a program adds up.
func (d *Document) CSV(w io.Writer, name string) error {
	for _, t := range d.tables() {
		if name == "" || t.Name == name {
			return t.csv(w, d.tongue())
		}
	}
	return fmt.Errorf("the document has no table %q", name)
}

func (t *Table) csv(w io.Writer, words *tongue) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	currency, err := t.currency()
	if err != nil {
		return err
	}
	line := make([]string, len(t.Columns), len(t.Columns)+2)
	for i, c := range t.Columns {
		line[i] = harmless(clean(c.name()))
	}
	noted := t.noted()
	if noted {
		line = append(line, strings.ToLower(words.notes))
	}
	if currency != "" {
		line = append(line, "currency")
	}
	if err := out.Write(line); err != nil {
		return err
	}
	for row := range t.Rows {
		for i := range t.Columns {
			line[i] = ""
			if i < len(row) {
				line[i] = t.Columns[i].of(row[i]).csv(row[i].Text)
			}
		}
		if noted {
			line[len(t.Columns)] = harmless(t.notesOf(row))
		}
		if currency != "" {
			line[len(line)-1] = currency
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// currency returns that of the amounts in a table, nothing if it has none.
func (t *Table) currency() (string, error) {
	currency := ""
	for _, c := range t.Columns {
		if !c.As.money {
			continue
		}
		if currency != "" && currency != c.As.unit {
			return "", fmt.Errorf("the table %q has amounts in %s and %s", t.Name, currency, c.As.unit)
		}
		currency = c.As.unit
	}
	return currency, nil
}

func (c Column) name() string {
	if c.Name != "" {
		return c.Name
	}
	return c.Title
}

// csv returns what stands in CSV for a value.
func (f Format) csv(text string) string {
	text = clean(text)
	if _, ok := parseDecimal(text); ok && f.numeric() {
		return text
	}
	return harmless(text)
}

// harmless keeps a spreadsheet from taking a text for a formula. The mark is the one by
// which people tell a spreadsheet that something is text.
func harmless(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

// noted reports whether any value of a table has a note.
func (t *Table) noted() bool {
	for row := range t.Rows {
		for i, c := range row {
			if i < len(t.Columns) && c.Note != "" {
				return true
			}
		}
	}
	return false
}

// notesOf returns the notes on the values of a row, each after the title of its column.
func (t *Table) notesOf(row []Cell) string {
	var notes []string
	for i, c := range row {
		if i < len(t.Columns) && c.Note != "" {
			notes = append(notes, clean(t.Columns[i].Title+": "+c.Note))
		}
	}
	return strings.Join(notes, "; ")
}
