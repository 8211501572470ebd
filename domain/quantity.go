package domain

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Quantities are integers of the smallest unit that is recorded. Decimals are
// read from their literal text at the edge and printed from integers again.
type (
	// Fish counts single fish.
	Fish int64
	// Grams is the weight of many fish, feed or produce; kilograms with three
	// decimals on the wire.
	Grams int64
	// Milligrams is the weight of single fish or of a small sample; grams with
	// three decimals on the wire.
	Milligrams int64
	// Quantity is thousandths of a product's own unit (kg, L, piece, kWh).
	Quantity int64
	// Thousandths is any other number read with three decimals (a
	// temperature, a pH, hours, kilometres).
	Thousandths int64
	// Days counts whole days.
	Days int64
	// DegreeDays counts whole degree-days: °C of the water times days.
	DegreeDays int64
)

// Milligrams returns the same weight in milligrams.
func (g Grams) Milligrams() Milligrams { return Milligrams(g) * 1000 }

// Kilograms returns the weight as a number, for figures and never for sums.
func (g Grams) Kilograms() float64 { return float64(g) / 1e3 }

// Kilograms returns the weight as a number, for figures and never for sums.
func (m Milligrams) Kilograms() float64 { return float64(m) / 1e6 }

// Grams returns the weight in whole grams, half to even.
func (m Milligrams) Grams() Grams { return Grams(mulDiv(int64(m), 1, 1000)) }

// mulDiv returns a × b ÷ c, rounded half to even, without overflow inside; what
// is too large becomes the largest number there is. The sign follows the usual
// rules; c must not be 0.
func mulDiv(a, b, c int64) int64 {
	const small = 1 << 31
	if a > -small && a < small && b > -small && b < small {
		return roundDiv(a*b, c)
	}
	n := new(big.Int).Mul(big.NewInt(a), big.NewInt(b))
	d := big.NewInt(c)
	q, r := new(big.Int).QuoRem(n, d, new(big.Int))
	twice := r.Abs(r).Lsh(r, 1)
	up := twice.CmpAbs(d)
	if up > 0 || up == 0 && q.Bit(0) == 1 {
		if n.Sign()*d.Sign() < 0 {
			q.Sub(q, big.NewInt(1))
		} else {
			q.Add(q, big.NewInt(1))
		}
	}
	switch {
	case q.IsInt64():
		return q.Int64()
	case q.Sign() < 0:
		return math.MinInt64
	}
	return math.MaxInt64
}

// roundDiv returns n ÷ d, half to even.
func roundDiv(n, d int64) int64 {
	q, r := n/d, n%d
	if r == 0 {
		return q
	}
	if r < 0 {
		r = -r
	}
	half := d
	if half < 0 {
		half = -half
	}
	if r > half-r || r == half-r && q&1 != 0 {
		if (n < 0) != (d < 0) {
			return q - 1
		}
		return q + 1
	}
	return q
}

var errDecimal = errors.New("not a plain decimal number such as 12.5")

// parseDecimal reads a plain decimal number as an integer of 10^-digits.
func parseDecimal(s string, digits int) (int64, error) {
	whole, frac, point := strings.Cut(s, ".")
	neg := strings.HasPrefix(whole, "-")
	whole = strings.TrimPrefix(whole, "-")
	if whole == "" || point && frac == "" || len(whole) > 15 {
		return 0, fmt.Errorf("not a decimal number, or too large")
	}
	if trimmed := strings.TrimRight(frac, "0"); len(trimmed) > digits {
		return 0, TooPrecise(digits)
	} else {
		frac = trimmed
	}
	var v int64
	for _, c := range []byte(whole + frac + strings.Repeat("0", digits-len(frac))) {
		if c < '0' || c > '9' {
			return 0, errDecimal
		}
		if v > (1<<63-1-9)/10 {
			return 0, fmt.Errorf("too large")
		}
		v = v*10 + int64(c-'0')
	}
	if neg {
		v = -v
	}
	return v, nil
}

func decimals(n int) string {
	if n == 1 {
		return "1 decimal"
	}
	return fmt.Sprintf("%d decimals", n)
}

// formatDecimal prints an integer of 10^-digits with at least keep decimals.
func formatDecimal(v int64, digits, keep int) string {
	neg, magnitude := v < 0, uint64(v)
	if neg {
		magnitude = -magnitude
	}
	s := strconv.FormatUint(magnitude, 10)
	if len(s) <= digits {
		s = strings.Repeat("0", digits+1-len(s)) + s
	}
	whole, frac := s[:len(s)-digits], s[len(s)-digits:]
	for len(frac) > keep && frac[len(frac)-1] == '0' {
		frac = frac[:len(frac)-1]
	}
	if neg {
		whole = "-" + whole
	}
	if frac == "" {
		return whole
	}
	return whole + "." + frac
}
