package domain

import (
	"errors"
	"regexp"
	"slices"
)

// Indicator is what a report measures: a definition, of which every change is a version
// of its own. What was reported by one stays as it was.
type Indicator struct {
	ID             IndicatorID
	Code           string // production, own_survey
	Title          string
	Definition     string
	Unit           string   // see [ParseDimension]
	Formula        string   // see [ParseFormula]
	Measure        string   // unit, percentage
	Direction      string   // rising, falling, neither: which way is better
	Disaggregation []string // sex, site
	Source         string   // where the definition is from
	Limits         string   // of the data
	Result         string   // output, outcome, impact
	Kept
}

// Disaggregations are what figures can be told apart by.
var Disaggregations = []string{"sex", "site"}

var indicatorCode = regexp.MustCompile(`^[a-z][a-z0-9_]{1,39}$`)

// Check refuses a definition that makes no sense.
func (f *Indicator) Check() error {
	c := &checker{}
	c.require(indicatorCode.MatchString(f.Code), "/code", "must be 2 to 40 small letters, digits and _, a letter first")
	c.require(fits(f.Title, 200), "/title", "must be 1 to 200 characters")
	c.require(fits(f.Definition, 2000), "/definition", "say what it counts and what not, in 1 to 2000 characters")
	c.require(f.Source == "" || fits(f.Source, 500), "/source", "must be at most 500 characters")
	c.require(f.Limits == "" || fits(f.Limits, 2000), "/limits", "must be at most 2000 characters")
	c.oneOf(f.Measure, "/measure", "unit", "percentage")
	c.oneOf(f.Direction, "/direction", "rising", "falling", "neither")
	c.oneOf(f.Result, "/result", "output", "outcome", "impact")
	for _, d := range f.Disaggregation {
		c.oneOf(d, "/disaggregation", Disaggregations...)
	}
	if err := c.refuse("the indicator"); err != nil {
		return err
	}
	_, err := f.Parse()
	return err
}

// Parse reads the formula and holds its unit against the one that is said.
func (f *Indicator) Parse() (*Formula, error) {
	at := func(pointer string, err error) error {
		refused, ok := errors.AsType[*Error](err)
		if !ok {
			return err
		}
		refusal := *refused
		refusal.Fields = []FieldError{{pointer, refusal.Detail}}
		return &refusal
	}
	formula, err := ParseFormula(f.Formula, sumUnits)
	if err != nil {
		return nil, at("/formula", err)
	}
	unit, err := ParseDimension(f.Unit)
	if err != nil {
		return nil, at("/unit", err)
	}
	switch percent := unit.String() == "%"; {
	case percent != (f.Measure == "percentage"):
		return nil, at("/unit", Refuse("mixed_units", "the unit of a percentage is %%, and of nothing else"))
	case percent && formula.Kind != ARatio:
		return nil, at("/formula", Refuse("no_denominator", "a percentage is of something: the formula needs a denominator"))
	case !equalUnits(unit, formula.Unit):
		return nil, at("/unit", Refuse("mixed_units", "the formula is in %s, and the unit is said to be %s", formula.Unit, unit))
	}
	return formula, nil
}

// Additive reports whether the indicator of the whole is the sum of those of its parts.
func (f *Formula) Additive() bool { return f.Kind == ASum }

// Kinds returns the kinds of entry behind a formula, and whether the registry is behind
// it too.
func (f *Formula) Kinds() (kinds []string, facts bool) {
	for _, name := range f.Sums {
		s, _ := SumNamed(name)
		kinds = append(kinds, s.Kinds...)
		facts = facts || s.Facts
	}
	slices.Sort(kinds)
	return slices.Compact(kinds), facts
}
