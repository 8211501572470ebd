package husbandry

import (
	"errors"
	"math"
	"testing"
)

// Published source, read: Dupree & Huner 1984 as printed in SRAC 390, at 18 °C.
func TestBagLoads(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ hours, celsius, row, low, high float64 }{
		{1, 18, 1, 120, 443},
		{12, 18, 12, 108, 383},
		{24, 18, 24, 84, 324},
		{48, 18, 48, 36, 156},
		{6, 18, 12, 108, 383}, // the next longer way
		{1.01, 18, 12, 108, 383},
		{24, 10, 24, 84, 324}, // cooler is not more
		{24, 28, 24, 42, 162}, // halved, as K-36 has it
		{24, 38, 24, 21, 81},
	} {
		got, ok := BagLoads(c.hours, c.celsius)
		check(t, "hours", got.Hours, ok, c.row, 0)
		check(t, "low", got.Low, ok, c.low, 1e-9)
		check(t, "high", got.High, ok, c.high, 1e-9)
	}
	for _, c := range [][2]float64{{0, 18}, {-1, 18}, {48.1, 18}, {12, -1}, {12, 41}, {math.NaN(), 18}} {
		if _, ok := BagLoads(c[0], c[1]); ok {
			t.Errorf("%v h at %v °C: loads out of nothing", c[0], c[1])
		}
	}
}

// K-36, computed on a published source: 1000 fish of 1 g in 2 L is 500 g/L, over
// even the limit of 1 h; 750 in 10 L, 75 g/L, is under the lower bound of 24 h at
// 18 °C and inside the halved range (42–162) at 28 °C.
func TestBagLoadJudge(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		fish, litres, hours, celsius float64
		want                         Load
	}{
		{1000, 2, 1, 18, LoadOver},
		{1000, 2, 24, 28, LoadOver},
		{750, 10, 24, 18, LoadFine},
		{750, 10, 24, 28, LoadTight},
		{420, 10, 24, 28, LoadFine}, // on the lower bound
		{1620, 10, 24, 28, LoadTight},
		{1621, 10, 24, 28, LoadOver},
	} {
		loads, ok := BagLoads(c.hours, c.celsius)
		if got := loads.Judge(c.fish * 1 / c.litres); !ok || got != c.want {
			t.Errorf("%v fish in %v L for %v h at %v °C: %s (%v), want %s", c.fish, c.litres, c.hours, c.celsius, got, ok, c.want)
		}
	}
}

func TestOrderSize(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ need, short, died, whole, want int64 }{
		{102, 4, 15, 100, 125}, // computed: exactly 125; floating point gives 126
		{102, 4000, 15000, 100_000, 125},
		{103, 4, 15, 100, 127},
		{1000, 0, 0, 100, 1000},
		{0, 4, 15, 100, 0},
		{1, 0, 99, 100, 100},
	} {
		if got, err := OrderSize(c.need, c.short, c.died, c.whole); err != nil || got != c.want {
			t.Errorf("%+v: %d (%v)", c, got, err)
		}
	}
	died, short := 0.15, 0.04
	if float := math.Ceil(102 / ((1 - died) * (1 - short))); float != 126 {
		t.Errorf("floating point gives %v: the case shows nothing", float)
	}
	for _, c := range [][4]int64{{-1, 0, 0, 100}, {1, 100, 0, 100}, {1, 0, 100, 100}, {1, -1, 0, 100}, {1, 0, -1, 100}, {1, 0, 0, 0}, {math.MaxInt64, 50, 50, 100}} {
		if got, err := OrderSize(c[0], c[1], c[2], c[3]); !errors.Is(err, ErrOrder) {
			t.Errorf("%v: %d (%v)", c, got, err)
		}
	}
}

// K-37, computed: CV 25 % e 10 % → 25; CV 25 % e 5 % → 97; CV 35 % e 10 % → 48.
func TestFishToWeigh(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ cv, e, want float64 }{{25, 10, 25}, {25, 5, 97}, {35, 10, 48}, {0.25, 0.1, 25}, {0, 10, 1}} {
		got, ok := FishToWeigh(c.cv, c.e)
		check(t, "K-37", float64(got), ok, c.want, 0)
	}
	for _, c := range [][2]float64{{25, 0}, {-1, 10}, {25, -1}, {1e9, 1}} {
		got, ok := FishToWeigh(c[0], c[1])
		none(t, "fish to weigh", float64(got), ok)
	}
}

// K-37 read the other way, computed: of 25 fish with a CV of 25 % the count is known to
// ±10 % 19 times out of 20 (1.96 standard errors are 9.8 %); of 97 to ±5 %.
func TestCountError(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		cv   float64
		n    int64
		want float64
	}{{0.25, 25, 0.05}, {0.25, 97, 0.0253837}, {0.35, 49, 0.05}, {0, 1, 0}} {
		got, ok := CountError(c.cv, c.n)
		check(t, "K-37", got, ok, c.want, 1e-6)
	}
	for _, c := range []struct {
		cv float64
		n  int64
	}{{-0.1, 25}, {math.NaN(), 25}, {0.25, 0}} {
		got, ok := CountError(c.cv, c.n)
		none(t, "the error of a count", got, ok)
	}
}

// Computed: the first day after the last dose is day 1; 500 degree-days at 28 °C
// end on day 18 with 504.
func TestWithdrawalDays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ degreeDays, celsius, want float64 }{{500, 28, 18}, {504, 28, 18}, {505, 28, 19}, {0, 28, 0}, {500, 25, 20}} {
		got, ok := WithdrawalDays(c.degreeDays, c.celsius)
		check(t, "days", float64(got), ok, c.want, 0)
	}
	for _, c := range [][2]float64{{500, 0}, {500, -1}, {-1, 28}, {math.NaN(), 28}} {
		got, ok := WithdrawalDays(c[0], c[1])
		none(t, "days", float64(got), ok)
	}
}
