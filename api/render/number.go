package render

import (
	"math/big"
	"strings"
	"time"

	"golang.org/x/text/unicode/norm"
)

// A decimal is a literal taken apart: digits with so many of them after the point.
type decimal struct {
	digits   big.Int
	decimals int
}

// parseDecimal reads a literal without exponent, such as -12.340.
func parseDecimal(s string) (d decimal, ok bool) {
	unsigned := strings.TrimPrefix(s, "-")
	whole, fraction, dot := strings.Cut(unsigned, ".")
	if whole == "" || dot && fraction == "" || strings.Trim(whole+fraction, "0123456789") != "" {
		return d, false
	}
	d.decimals = len(fraction)
	d.digits.SetString(whole+fraction, 10)
	if unsigned != s {
		d.digits.Neg(&d.digits)
	}
	return d, true
}

var ten = big.NewInt(10)

func power(n int) *big.Int { return new(big.Int).Exp(ten, big.NewInt(int64(n)), nil) }

// add adds exactly.
func (d *decimal) add(o decimal) {
	if o.decimals > d.decimals {
		d.digits.Mul(&d.digits, power(o.decimals-d.decimals))
		d.decimals = o.decimals
	}
	if o.decimals < d.decimals {
		o.digits.Mul(&o.digits, power(d.decimals-o.decimals))
	}
	d.digits.Add(&d.digits, &o.digits)
}

// String returns the literal.
func (d decimal) String() string { return d.fixed(d.decimals) }

// fixed returns the literal with so many decimals, rounded half away from zero.
func (d decimal) fixed(decimals int) string {
	n := new(big.Int).Abs(&d.digits)
	if decimals < d.decimals {
		by := power(d.decimals - decimals)
		n.Add(n, new(big.Int).Rsh(by, 1))
		n.Quo(n, by)
	} else {
		n.Mul(n, power(decimals-d.decimals))
	}
	s := n.String()
	if len(s) <= decimals {
		s = strings.Repeat("0", decimals+1-len(s)) + s
	}
	if decimals > 0 {
		s = s[:len(s)-decimals] + "." + s[len(s)-decimals:]
	}
	if d.digits.Sign() < 0 && strings.Trim(s, "0.") != "" {
		return "-" + s
	}
	return s
}

const (
	narrow = "\u202f" // between thousands
	wide   = "\u00a0" // before a unit: no line ends there
	minus  = "\u2212"
	dash   = "–"
)

// show returns a literal as people read it, without its unit.
func (f Format) show(literal string, t *tongue) string {
	if literal == "" {
		return dash
	}
	switch f.kind {
	case number, percent:
		if d, ok := parseDecimal(literal); ok && f.decimals < 0 {
			return grouped(d.String(), t)
		} else if ok {
			return grouped(d.fixed(f.decimals), t)
		}
	case date:
		if d, err := time.Parse(time.DateOnly, literal); err == nil {
			return t.day(d)
		}
	}
	return clean(literal)
}

// withUnit is show with the unit behind a number.
func (f Format) withUnit(literal string, t *tongue) string {
	if f.unit == "" || literal == "" {
		return f.show(literal, t)
	}
	return f.show(literal, t) + wide + f.unit
}

// show returns a cell of a column as people read it.
func (c Column) show(cell Cell, t *tongue) string {
	if cell.As != (Format{}) {
		return cell.As.withUnit(cell.Text, t)
	}
	return c.As.show(cell.Text, t)
}

// of returns the format of a cell of a column.
func (c Column) of(cell Cell) Format {
	if cell.As != (Format{}) {
		return cell.As
	}
	return c.As
}

func (f Format) numeric() bool { return f.kind == number || f.kind == percent }

// grouped writes a decimal literal with its thousands apart.
func grouped(literal string, t *tongue) string {
	var b strings.Builder
	if unsigned, negative := strings.CutPrefix(literal, "-"); negative {
		b.WriteString(minus)
		literal = unsigned
	}
	whole, fraction, dot := strings.Cut(literal, ".")
	for i, c := range []byte(whole) {
		if i > 0 && (len(whole)-i)%3 == 0 {
			b.WriteString(narrow)
		}
		b.WriteByte(c)
	}
	if dot {
		b.WriteString(t.point + fraction)
	}
	return b.String()
}

// clean returns a text in composed letters without control characters, which neither
// XML nor a printed page has a place for.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case r < ' ' || r == 0x7f || r == 0xfffe || r == 0xffff:
			return -1
		}
		return r
	}, norm.NFC.String(strings.ToValidUTF8(s, "\ufffd")))
}

// sums returns the sum of each column that wants one; those of the others are empty.
func (t *Table) sums() []string {
	sums := make([]decimal, len(t.Columns))
	for row := range t.Rows {
		for i, c := range row {
			if i >= len(sums) || !t.Columns[i].Sum {
				continue
			}
			if d, ok := parseDecimal(c.Text); ok {
				sums[i].add(d)
			}
		}
	}
	texts := make([]string, len(sums))
	for i := range sums {
		if t.Columns[i].Sum {
			texts[i] = sums[i].String()
		}
	}
	return texts
}

// totals returns the last row of a table, nil if it has none.
func (t *Table) totals(words *tongue) []Cell {
	sums, any := t.sums(), len(t.Total) > 0
	row := make([]Cell, len(t.Columns))
	copy(row, t.Total)
	for i, s := range sums {
		if t.Columns[i].Sum {
			row[i].Text, any = s, true
		}
	}
	if !any {
		return nil
	}
	if row[0].Text == "" {
		row[0].Text = words.total
	}
	return row
}

// float returns about the same number, to draw it.
func (d decimal) float() float64 {
	v, _ := new(big.Rat).SetFrac(&d.digits, power(d.decimals)).Float64()
	return v
}
