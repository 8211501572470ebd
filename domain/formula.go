package domain

import (
	"math/big"
	"slices"
	"strings"
	"unicode"
)

// Formula is how an indicator is worked out of additive sums. It was parsed and
// found to make sense: units fit, and nothing is added that is no sum.
//
//	harvested_kg                                            a sum
//	closed_feed_kg / closed_gain_kg                         a ratio of sums
//	feeding_days / school_days * 100[%]                     the same, in percent
//	(harvested_kg * (sales / sold_kg) - input_cost) / water_m3
//
// Only sums may be added, over sites as well as over months, so a ratio is always one
// last division of what was added before. The mean price in the last example values a
// sum; what comes of it holds for the whole and can be divided once, not added up.
type Formula struct {
	Unit Dimension
	Kind FormulaKind
	Sums []string // that it is worked out of, each once, in the order of their names
	text string
	root *term
}

// FormulaKind says what comes of a formula, and so what may be done with it.
type FormulaKind int

// The kinds of what comes of an expression.
const (
	AConstant FormulaKind = iota // a number that is the same for all
	ASum                         // can be added over sites and months
	ATotal                       // a sum valued by a ratio: of the whole only
	ARatio                       // a last division
)

func (k FormulaKind) String() string {
	return [...]string{"a number", "a sum", "a total", "a ratio"}[k]
}

// term is a node of the expression.
type term struct {
	op          byte // + - * / n (number) p (what a programme sets) s (sum)
	left, right *term
	number      *big.Rat
	name        string
	unit        Dimension
	kind        FormulaKind
}

// ParseFormula reads a formula over sums of the given units. Its errors say what is
// wrong in words for the one who wrote it; their codes are formula_syntax,
// unknown_sum, mixed_units, mean_of_ratios and no_denominator.
func ParseFormula(text string, units map[string]Dimension) (*Formula, error) {
	p := &formulaParser{rest: strings.TrimSpace(text), units: units}
	root, err := p.sum()
	if err != nil {
		return nil, err
	}
	if p.rest != "" {
		return nil, p.wrong("nothing is expected any more")
	}
	f := &Formula{Unit: root.unit, Kind: root.kind, text: text, root: root}
	root.sums(&f.Sums)
	slices.Sort(f.Sums)
	f.Sums = slices.Compact(f.Sums)
	if len(f.Sums) == 0 {
		return nil, Refuse("formula_syntax", "the formula names no sum")
	}
	return f, nil
}

// String returns the formula as it was written.
func (f *Formula) String() string { return f.text }

func (t *term) sums(into *[]string) {
	if t == nil {
		return
	}
	if t.op == 's' {
		*into = append(*into, t.name)
	}
	t.left.sums(into)
	t.right.sums(into)
}

type formulaParser struct {
	rest  string
	units map[string]Dimension
	depth int
}

func (p *formulaParser) wrong(what string) error {
	if p.rest == "" {
		return Refuse("formula_syntax", "the formula ends too early: %s", what)
	}
	return Refuse("formula_syntax", "the formula cannot be read at %q: %s", p.rest, what)
}

// take takes one of some signs, if it is next.
func (p *formulaParser) take(signs ...string) (string, bool) {
	for _, s := range signs {
		if rest, ok := strings.CutPrefix(p.rest, s); ok {
			p.rest = strings.TrimSpace(rest)
			return s, true
		}
	}
	return "", false
}

func (p *formulaParser) sum() (*term, error) {
	left, err := p.product()
	for err == nil {
		sign, ok := p.take("+", "-", "−")
		if !ok {
			return left, nil
		}
		var right *term
		if right, err = p.product(); err == nil {
			op := byte('+')
			if sign != "+" {
				op = '-'
			}
			left, err = join(op, left, right)
		}
	}
	return nil, err
}

func (p *formulaParser) product() (*term, error) {
	left, err := p.factor()
	for err == nil {
		sign, ok := p.take("*", "×", "·", "/", "÷")
		if !ok {
			return left, nil
		}
		if p.rest == "" && (sign == "/" || sign == "÷") {
			return nil, Refuse("no_denominator", "there is nothing below the line: a ratio needs a denominator")
		}
		var right *term
		if right, err = p.factor(); err == nil {
			op := byte('*')
			if sign == "/" || sign == "÷" {
				op = '/'
			}
			left, err = join(op, left, right)
		}
	}
	return nil, err
}

// factor reads a number with its unit in brackets, the name of a sum, or what stands in
// parentheses.
func (p *formulaParser) factor() (*term, error) {
	if p.depth++; p.depth > 100 {
		return nil, Refuse("formula_syntax", "the formula is too long")
	}
	if _, ok := p.take("("); ok {
		inner, err := p.sum()
		if err != nil {
			return nil, err
		}
		if _, ok := p.take(")"); !ok {
			return nil, p.wrong("a ) is missing")
		}
		return inner, nil
	}
	end := strings.IndexFunc(p.rest, func(r rune) bool {
		return !unicode.IsLower(r) && !unicode.IsDigit(r) && r != '_' && r != '.'
	})
	if end < 0 {
		end = len(p.rest)
	}
	word := p.rest[:end]
	if word == "" {
		return nil, p.wrong("a sum, a number or a ( is expected")
	}
	p.rest = strings.TrimSpace(p.rest[end:])
	if word[0] >= '0' && word[0] <= '9' {
		return p.number(word)
	}
	if unit, ok := settings[word]; ok {
		return &term{op: 'p', name: word, unit: unit}, nil
	}
	unit, ok := p.units[word]
	if !ok {
		return nil, Refuse("unknown_sum", "there is no sum %s: see the list of sums in the catalogue of indicators", word)
	}
	return &term{op: 's', name: word, unit: unit, kind: ASum}, nil
}

func (p *formulaParser) number(word string) (*term, error) {
	if _, err := parseDecimal(word, 9); err != nil {
		return nil, Refuse("formula_syntax", "%s is no number such as 12.5", word)
	}
	t := &term{op: 'n', unit: Dimension{}}
	t.number, _ = new(big.Rat).SetString(word)
	if _, ok := p.take("["); !ok {
		return t, nil
	}
	unit, rest, ok := strings.Cut(p.rest, "]")
	if !ok {
		return nil, p.wrong("a ] is missing after the unit")
	}
	p.rest = strings.TrimSpace(rest)
	var err error
	t.unit, err = ParseDimension(unit)
	return t, err
}

// join makes one term of two, if that makes sense.
func join(op byte, a, b *term) (*term, error) {
	t := &term{op: op, left: a, right: b}
	switch op {
	case '+', '-':
		if a.kind == ARatio || b.kind == ARatio {
			return nil, Refuse("mean_of_ratios", "a ratio cannot be added or averaged: only sums are additive. Add what is above and what is below the line first, and divide once, at the end")
		}
		if (a.kind == AConstant) != (b.kind == AConstant) {
			return nil, Refuse("mean_of_ratios", "a number cannot be added to a sum: it would be added again for every site")
		}
		if !equalUnits(a.unit, b.unit) {
			return nil, Refuse("mixed_units", "%s and %s cannot be added", a.unit, b.unit)
		}
		t.unit, t.kind = a.unit, max(a.kind, b.kind)
	case '*':
		t.unit = a.unit.times(b.unit, 1)
		switch {
		case a.kind == AConstant || b.kind == AConstant:
			t.kind = max(a.kind, b.kind)
		case a.kind == ASum && b.ofSums() || b.kind == ASum && a.ofSums():
			t.kind = ATotal
		case a.kind == ASum && b.kind == ASum:
			return nil, Refuse("mean_of_ratios", "two sums cannot be multiplied: a sum is valued by a ratio in parentheses, such as harvested_kg * (sales / sold_kg)")
		default:
			return nil, Refuse("mean_of_ratios", "%s cannot be multiplied by %s: only sums are additive, and a ratio is one last division", a.kind, b.kind)
		}
	case '/':
		t.unit = a.unit.times(b.unit, -1)
		switch {
		case b.kind == AConstant && (b.op != 'n' || b.number.Sign() != 0):
			t.kind = a.kind
		case b.kind == AConstant:
			return nil, Refuse("no_denominator", "nothing can be divided by 0")
		case b.kind == ASum && (a.kind == ASum || a.kind == ATotal):
			t.kind = ARatio
		default:
			return nil, Refuse("mean_of_ratios", "%s cannot be divided by %s: a ratio is one last division of what was added up before", a.kind, b.kind)
		}
	}
	return t, nil
}

// ofSums reports whether a ratio is one of plain sums, by which another may be valued.
func (t *term) ofSums() bool {
	switch {
	case t.kind != ARatio:
		return false
	case t.left.kind == ARatio || t.right.kind == ARatio: // with a number
		return t.left.ofSums() || t.right.ofSums()
	}
	return t.left.kind == ASum
}

func equalUnits(a, b Dimension) bool { return a.String() == b.String() }

// Worked is what came of a formula. Value is Numerator ÷ Denominator × Scale; of a sum
// the denominator is nil. The value is nil where there is no denominator, and Reason says
// why.
type Worked struct {
	Value, Numerator, Denominator, Scale *big.Rat
	NumeratorUnit, DenominatorUnit       Dimension
	Reason                               string
}

// settings are numbers that a programme sets, with their units.
var settings = map[string]Dimension{"portion_size": {"g": 1, "portion": -1}}

// Work works a formula out of the values of its sums, and of what the programme sets.
func (f *Formula) Work(sums func(name string) *big.Rat) Worked {
	one := big.NewRat(1, 1)
	w := Worked{Scale: one}
	if f.Kind != ARatio {
		w.NumeratorUnit = f.Unit
		w.Value, w.Reason = f.root.work(sums)
		w.Numerator = w.Value
		return w
	}
	// A ratio may have been multiplied and divided by numbers on the way up.
	t, scale := f.root, one
	for t.op != '/' || t.right.kind == AConstant {
		number, ratio := t.right, t.left
		if t.left.kind == AConstant {
			number, ratio = t.left, t.right
		}
		n, reason := number.work(sums)
		if reason == "" && t.op == '/' && n.Sign() == 0 {
			reason = nothingBelow(number)
		}
		if w.Reason = reason; reason != "" {
			return w
		}
		if t.op == '/' {
			n = new(big.Rat).Inv(n)
		}
		scale = new(big.Rat).Mul(scale, n)
		t = ratio
	}
	w.Scale, w.NumeratorUnit, w.DenominatorUnit = scale, t.left.unit, t.right.unit
	if w.Numerator, w.Reason = t.left.work(sums); w.Reason != "" {
		return w
	}
	w.Denominator, w.Reason = t.right.work(sums)
	switch {
	case w.Reason != "":
	case w.Denominator.Sign() == 0:
		w.Reason = nothingBelow(t.right)
	default:
		w.Value = new(big.Rat).Mul(new(big.Rat).Quo(w.Numerator, w.Denominator), scale)
	}
	return w
}

func (t *term) work(sums func(name string) *big.Rat) (*big.Rat, string) {
	switch t.op {
	case 'n':
		return t.number, ""
	case 's', 'p':
		return sums(t.name), ""
	}
	a, reason := t.left.work(sums)
	if reason != "" {
		return nil, reason
	}
	b, reason := t.right.work(sums)
	if reason != "" {
		return nil, reason
	}
	switch t.op {
	case '+':
		return new(big.Rat).Add(a, b), ""
	case '-':
		return new(big.Rat).Sub(a, b), ""
	case '*':
		return new(big.Rat).Mul(a, b), ""
	}
	if b.Sign() == 0 {
		return nil, nothingBelow(t.right)
	}
	return new(big.Rat).Quo(a, b), ""
}

func nothingBelow(t *term) string { return "there is nothing to divide by: " + t.String() + " is 0" }

// String writes the term as it reads.
func (t *term) String() string {
	switch t.op {
	case 'n':
		return t.number.RatString()
	case 's', 'p':
		return t.name
	}
	return t.left.String() + " " + string(t.op) + " " + t.right.String()
}
