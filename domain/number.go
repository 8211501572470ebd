package domain

import (
	"cmp"
	"math"

	"shoalbook/domain/husbandry"
)

// Number is one number of an answer with what it is worth, or the reason why there
// is none.
type Number struct {
	husbandry.Fact
	Reason string // why there is no value; empty: there is one
}

// Known reports whether there is a value.
func (n Number) Known() bool { return n.Reason == "" }

// fact is a number from a source.
func fact(f husbandry.Fact) Number { return Number{Fact: f} }

// computed is a number that follows from others, as how says.
func computed(v float64, unit, how string) Number {
	return Number{Fact: husbandry.Fact{Value: v, Unit: unit, Source: how, Provenance: husbandry.Computed}}
}

// none is a number that is not there.
func none(unit, reason string) Number {
	return Number{Fact: husbandry.Fact{Unit: unit}, Reason: reason}
}

// from returns what follows from other numbers, or the first reason why one of them
// is not there. The function gets their values and returns false if nothing follows;
// otherwise says why then, and must say something if that can be.
func from(unit, how, otherwise string, do func(v []float64) (float64, bool), of ...Number) Number {
	values := make([]float64, len(of))
	for i, n := range of {
		if !n.Known() {
			return none(unit, n.Reason)
		}
		values[i] = n.Value
	}
	v, ok := do(values)
	if !ok || math.IsNaN(v) || math.IsInf(v, 0) {
		return none(unit, cmp.Or(otherwise, "it does not follow from these numbers"))
	}
	return computed(v, unit, how)
}

// Literal returns the value as a JSON number of at most six decimals; null if there
// is none.
func (n Number) Literal() string {
	if !n.Known() {
		return "null"
	}
	return trimFloat(n.Value)
}

// spoken returns a number as one says it: no more digits than anybody needs.
func spoken(v float64) string {
	decimals := 2
	switch {
	case math.Abs(v) >= 100:
		decimals = 0
	case math.Abs(v) >= 10:
		decimals = 1
	}
	s := trimFloat(round(v, decimals))
	for i := len(s) - 3; decimals == 0 && len(s) > 4 && i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + " " + s[i:]
	}
	return s
}

// several says a number of things that are named with an s.
func several(v float64, thing string) string {
	if v == 1 {
		return "1 " + thing
	}
	return spoken(v) + " " + thing + "s"
}

func round(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Round(v*p) / p
}

// recorded is a number that the co-operative set, where it says.
func recorded(v float64, unit, where string) Number {
	return Number{Fact: husbandry.Fact{Value: v, Unit: unit, Source: where, Provenance: husbandry.Recorded}}
}

// measured is a number that was read, weighed or counted at the site.
func measured(v float64, unit, how string) Number {
	return Number{Fact: husbandry.Fact{Value: v, Unit: unit, Source: how, Provenance: husbandry.Measured}}
}

// inRegistry is a number of the registry, or the reason for which it is needed.
func inRegistry(v *Thousandths, unit, what string) Number {
	if v == nil {
		return none(unit, what+" is not in the registry")
	}
	return recorded(float64(*v)/1000, unit, what+", in the registry")
}

// NamedNumber is a number that another is worked out from.
type NamedNumber struct {
	Name string
	Number
}

// Thousandth prints a number with three decimals at most.
func Thousandth(v float64) string { return trimFloat(round(v, 3)) }
