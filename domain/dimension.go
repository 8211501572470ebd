package domain

import (
	"maps"
	"slices"
	"strconv"
	"strings"
)

// Dimension is a unit as the powers of what it is made of: kg/m³ is kg to the first
// and m to the minus third. Nothing is converted: grams and kilograms are different,
// and a formula says by what one becomes the other.
type Dimension map[string]int

// baseUnits are what units are made of, in the words of the contract.
var baseUnits = []string{"kg", "g", "L", "m", "h", "day", "kWh", "money", "fish", "batch", "person", "job", "meal", "portion", "site", "%"}

// ParseDimension reads a unit such as kg/m³, money/kg, g/portion or 1.
func ParseDimension(text string) (Dimension, error) {
	d := Dimension{}
	sign := 1
	for i, part := range strings.FieldsFunc(strings.NewReplacer("/", " / ", "·", " ").Replace(text), func(r rune) bool { return r == ' ' }) {
		if part == "/" && i > 0 && sign == 1 {
			sign = -1
			continue
		}
		name, power := part, 1
		for suffix, n := range map[string]int{"²": 2, "³": 3, "2": 2, "3": 3} {
			if base, ok := strings.CutSuffix(part, suffix); ok && base != "" {
				name, power = base, n
			}
		}
		if name == "1" && power == 1 {
			continue
		}
		if !slices.Contains(baseUnits, name) {
			return nil, Refuse("unknown_unit", "%q is no unit that is known here: there are %s, with ² and ³, and one / for what comes below the line", part, strings.Join(baseUnits, ", "))
		}
		d.add(name, sign*power)
	}
	if strings.TrimSpace(text) == "" {
		return nil, Refuse("unknown_unit", "the unit is missing: write 1 for a number without one")
	}
	return d, nil
}

func (d Dimension) add(name string, power int) {
	if d[name] += power; d[name] == 0 {
		delete(d, name)
	}
}

// times returns the unit of a product, or of a quotient with the power -1.
func (d Dimension) times(e Dimension, power int) Dimension {
	out := maps.Clone(d)
	for name, n := range e {
		out.add(name, n*power)
	}
	return out
}

// String writes the unit as one reads it: kg/m³.
func (d Dimension) String() string {
	var above, below []string
	for _, name := range slices.SortedFunc(maps.Keys(d), func(a, b string) int {
		return slices.Index(baseUnits, a) - slices.Index(baseUnits, b)
	}) {
		n := d[name]
		to := &above
		if n < 0 {
			n, to = -n, &below
		}
		switch n {
		case 1:
		case 2:
			name += "²"
		case 3:
			name += "³"
		default:
			name += "^" + strconv.Itoa(n)
		}
		*to = append(*to, name)
	}
	switch {
	case len(above)+len(below) == 0:
		return "1"
	case len(below) == 0:
		return strings.Join(above, "·")
	case len(above) == 0:
		above = []string{"1"}
	}
	return strings.Join(above, "·") + "/" + strings.Join(below, "·")
}
