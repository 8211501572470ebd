package domain

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

func TestMulDiv(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ a, b, c, want int64 }{
		{7, 1, 2, 4}, {5, 1, 2, 2}, {-5, 1, 2, -2}, {-7, 1, 2, -4}, {5, -1, 2, -2}, {5, 1, -2, -2}, {0, 9, 7, 0}, {1, 1, 3, 0}, {2, 1, 3, 1},
		{math.MaxInt64, math.MaxInt64, math.MaxInt64, math.MaxInt64}, {math.MinInt64, 1, 1, math.MinInt64}, {math.MinInt64, 1, 2, math.MinInt64 / 2},
		{1 << 40, 1 << 40, 1 << 20, 1 << 60}, {5, 1 << 40, 1 << 41, 2}, {7, 1 << 40, 1 << 41, 4}, {-5, 1 << 40, 1 << 41, -2},
		{math.MaxInt64, 2, 1, math.MaxInt64}, {math.MaxInt64, -2, 1, math.MinInt64}, {math.MinInt64, -1, 1, math.MaxInt64},
		{1 << 30, 1 << 30, math.MinInt64, 0}, {1 << 31, 1 << 31, math.MinInt64, 0}, {1 << 30, -(1 << 30), 1 << 60, -1},
	} {
		if got := mulDiv(c.a, c.b, c.c); got != c.want {
			t.Errorf("%d × %d ÷ %d is %d, want %d", c.a, c.b, c.c, got, c.want)
		}
	}
}

func TestMulDivIsHalfToEven(t *testing.T) {
	t.Parallel()
	number := rapid.OneOf(rapid.Int64Range(-20, 20), rapid.Int64Range(-1<<32, 1<<32), rapid.Int64())
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := number.Draw(t, "a"), number.Draw(t, "b"), number.Filter(func(n int64) bool { return n != 0 }).Draw(t, "c")
		got := big.NewInt(mulDiv(a, b, c))
		exact := new(big.Rat).SetFrac(new(big.Int).Mul(big.NewInt(a), big.NewInt(b)), big.NewInt(c))
		if limit := new(big.Rat).SetInt64(math.MaxInt64); exact.Cmp(limit) > 0 || exact.Cmp(limit.Neg(limit)) < 0 {
			return // saturates, see above
		}
		off := new(big.Rat).Sub(exact, new(big.Rat).SetInt(got))
		switch off.Abs(off).Cmp(big.NewRat(1, 2)) {
		case 1:
			t.Fatalf("%d × %d ÷ %d is %v, exactly %v", a, b, c, got, exact)
		case 0:
			if got.Bit(0) != 0 {
				t.Fatalf("%d × %d ÷ %d is %v, exactly %v: not even", a, b, c, got, exact)
			}
		}
	})
}

func TestFormatDecimal(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		v            int64
		digits, keep int
		want         string
	}{
		{0, 3, 0, "0"}, {5, 3, 0, "0.005"}, {-5, 3, 0, "-0.005"}, {1500, 3, 0, "1.5"}, {1500, 3, 3, "1.500"}, {100, 2, 2, "1.00"}, {7, 0, 0, "7"}, {-7, 0, 0, "-7"},
		{math.MaxInt64, 3, 0, "9223372036854775.807"}, {math.MinInt64, 2, 2, "-92233720368547758.08"},
	} {
		if got := formatDecimal(c.v, c.digits, c.keep); got != c.want {
			t.Errorf("%d of 10^-%d is %s, want %s", c.v, c.digits, got, c.want)
		}
	}
}
