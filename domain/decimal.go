package domain

import "encoding/json"

// TooPrecise is the error of a number with more decimals than what it counts has;
// its value is how many that are.
type TooPrecise int

// Error says how many decimals there may be.
func (n TooPrecise) Error() string { return "at most " + decimals(int(n)) }

// ParseThousandths reads the literal text of a JSON number, so that nothing is lost
// on the way. The error of one with more than three decimals is [TooPrecise].
func ParseThousandths(literal string) (Thousandths, error) {
	return number[Thousandths](json.RawMessage(literal), 3)
}

// Format prints the number as JSON has it, with as many decimals as it needs.
func (t Thousandths) Format() string { return formatDecimal(int64(t), 3, 0) }
