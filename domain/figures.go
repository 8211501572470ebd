package domain

import (
	"strconv"
)

// Figure is one number of an answer, printed, or the reason why there is none.
type Figure struct {
	Name    string // such as feed.fcr_economic
	Literal string // a JSON literal; empty: there is no value
	Reason  string // why not
	Why     *Why   // where it comes from, if that was asked for
}

// Why explains a figure: what is divided by what, in which unit, how it is
// rounded, whether it was measured, and which kinds of entry are behind it; none are all of
// the batch.
type Why struct {
	Formula     string
	Numerator   string
	Denominator string
	Unit        string
	Rounding    string
	Estimated   bool
	Source      string
	Kinds       []string
	Site        bool // also those that are about the whole site and no batch
}

// figures gathers figures in the order in which they are printed.
type figures struct {
	list     []Figure
	currency Currency
	explain  bool
}

const exact = "exact"

func (f *figures) put(name, literal string, why *Why) {
	if !f.explain {
		why = nil
	}
	f.list = append(f.list, Figure{Name: name, Literal: literal, Why: why})
}

func (f *figures) null(name, reason string) {
	f.list = append(f.list, Figure{Name: name, Reason: reason})
}

func (f *figures) fish(name string, n Fish, kinds ...string) {
	f.put(name, strconv.FormatInt(int64(n), 10), f.because(&Why{Formula: "sum of fish", Unit: "fish", Rounding: exact, Kinds: kinds}))
}

func (f *figures) number(name string, n int64, unit string) {
	f.put(name, strconv.FormatInt(n, 10), f.because(&Why{Formula: "count", Unit: unit, Rounding: exact}))
}

func (f *figures) mass(name string, m Milligrams, estimated bool, kinds ...string) {
	f.put(name, formatDecimal(int64(m.Grams()), 3, 0), f.because(&Why{Formula: "sum of weights", Unit: "kg", Rounding: "3 decimals, half to even", Estimated: estimated, Kinds: kinds}))
}

func (f *figures) money(name string, m Money, kinds ...string) {
	f.put(name, `"`+f.currency.Format(m)+`"`, f.because(&Why{Formula: "sum of amounts", Unit: string(f.currency), Rounding: "to the minor unit, half to even", Kinds: kinds}))
}

// shared prints an amount to which what was recorded for the whole site adds a share.
func (f *figures) shared(name string, m Money, kinds ...string) {
	f.money(name, m, kinds...)
	if w := f.list[len(f.list)-1].Why; w != nil {
		w.Site = true
	}
}

func (f *figures) text(name, s string) { f.put(name, `"`+s+`"`, nil) }
func (f *figures) flag(name string, v bool) {
	f.put(name, strconv.FormatBool(v), nil)
}

func (f *figures) date(name string, d *Date, reason string) {
	if d == nil {
		f.null(name, reason)
		return
	}
	f.put(name, `"`+d.String()+`"`, nil)
}

// because spares the work of an explanation that nobody asked for.
func (f *figures) because(w *Why) *Why {
	if !f.explain {
		return nil
	}
	return w
}

// quotient is a ratio of two sums, in units of its own.
type quotient struct {
	num, den         int64 // den must not be 0
	numText, denText func(int64) string
	unit, formula    string
	source           string
	estimated        bool
	kinds            []string
	scale            float64 // of the units: value = num ÷ den × scale
}

// ratio prints num ÷ den with six decimals.
func (f *figures) ratio(name string, q quotient) {
	if q.scale == 0 {
		q.scale = 1
	}
	f.real(name, float64(q.num)/float64(q.den)*q.scale, func() *Why {
		return &Why{Formula: q.formula, Numerator: q.numText(q.num), Denominator: q.denText(q.den), Unit: q.unit,
			Estimated: q.estimated, Source: q.source, Kinds: q.kinds}
	})
}

// real prints a number with six decimals.
func (f *figures) real(name string, v float64, why func() *Why) {
	var w *Why
	if f.explain && why != nil {
		w = why()
		w.Rounding = "6 decimals, half to even"
	}
	f.put(name, trimFloat(v), w)
}

func trimFloat(v float64) string {
	s := strconv.FormatFloat(v, 'f', 6, 64)
	for s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// perKg prints an amount per kilogram with two decimals more than the currency has.
func (f *figures) perKg(name string, m Money, weight Milligrams, estimated bool, formula string, kinds ...string) {
	v := mulDiv(int64(m), 100*1_000_000, int64(weight))
	f.put(name, `"`+f.currency.FormatPerKg(v)+`"`, f.because(&Why{
		Formula: formula, Numerator: f.currency.Format(m) + " " + string(f.currency), Denominator: kgText(int64(weight)),
		Unit: string(f.currency) + "/kg", Rounding: "two decimals more than the currency has, half to even", Estimated: estimated, Kinds: kinds, Site: true}))
}

func kgText(mg int64) string   { return formatDecimal(mg, 6, 0) + " kg" }
func fishText(n int64) string  { return strconv.FormatInt(n, 10) + " fish" }
func litreText(l int64) string { return formatDecimal(l, 3, 0) + " L" }
