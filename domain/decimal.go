package domain

import (
	"strconv"
	"strings"
)

// TooPrecise is the error of a number with more decimals than what it counts has;
// its value is how many that are.
type TooPrecise int

// Error says how many decimals there may be.
func (n TooPrecise) Error() string { return "at most " + decimals(int(n)) }

// ParseThousandths reads the literal text of a JSON number, so that nothing is lost
// on the way. The error of one with more than three decimals is [TooPrecise].
func ParseThousandths(literal string) (Thousandths, error) {
	v, err := parseDecimal(withoutExponent(literal), 3)
	return Thousandths(v), err
}

// Format prints the number as JSON has it, with as many decimals as it needs.
func (t Thousandths) Format() string { return formatDecimal(int64(t), 3, 0) }

// withoutExponent writes 1.25e1 as 12.5. What is no such number, or has an exponent
// that nobody writes, stays as it is.
func withoutExponent(literal string) string {
	const most = 30
	at := strings.IndexAny(literal, "eE")
	if at < 0 {
		return literal
	}
	exponent, err := strconv.Atoi(literal[at+1:])
	if err != nil || exponent < -most || exponent > most {
		return literal
	}
	unsigned, negative := strings.CutPrefix(literal[:at], "-")
	whole, frac, _ := strings.Cut(unsigned, ".")
	if whole == "" {
		return literal
	}
	point := len(whole) + exponent
	digits := strings.Repeat("0", max(0, 1-point)) + whole + frac
	point = max(1, point)
	digits += strings.Repeat("0", max(0, point-len(digits)))
	s := strings.TrimLeft(digits[:point-1], "0") + digits[point-1:point]
	if negative {
		s = "-" + s
	}
	if point < len(digits) {
		s += "." + digits[point:]
	}
	return s
}

// Format prints kilograms as JSON has them, with as many decimals as they need.
func (g Grams) Format() string { return formatDecimal(int64(g), 3, 0) }

// Format prints the quantity in the product's unit, with as many decimals as it needs.
func (q Quantity) Format() string { return formatDecimal(int64(q), 3, 0) }
