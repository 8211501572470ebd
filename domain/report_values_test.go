package domain

import (
	"math/big"
	"testing"
)

// Portions are those that are full; money is printed to the minor unit of its currency,
// half to even (ISO 4217, from memory of the standard: no decimals, two, three).
func TestPrintedValues(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		num, den int64
		unit     string
		currency Currency
		want     string
	}{
		{15459, 10, "portion", "KES", "1545"}, {1545, 1, "portion", "KES", "1545"}, {9, 10, "portion", "KES", "0"},
		{25, 10, "money", "UGX", "2"}, {35, 10, "money", "UGX", "4"}, {12345, 1000, "money", "KES", "12.34"}, {12355, 1000, "money", "KES", "12.36"},
		{-12345, 1000, "money", "KES", "-12.34"}, {12345, 10000, "money", "BHD", "1.234"}, {2, 3, "kg", "KES", "0.666667"},
	} {
		unit, err := ParseDimension(c.unit)
		if err != nil {
			t.Fatal(err)
		}
		if got := printValue(big.NewRat(c.num, c.den), unit, c.currency); got != c.want {
			t.Errorf("%d/%d %s is printed as %s, want %s", c.num, c.den, c.unit, got, c.want)
		}
	}
}
