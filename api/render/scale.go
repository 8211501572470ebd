package render

import (
	"math"
	"strconv"
	"time"
)

// A scale places values: lo at from, hi at to, straight between them.
type scale struct{ lo, hi, from, to float64 }

func (s scale) at(v float64) float64 {
	if s.hi == s.lo {
		return (s.from + s.to) / 2
	}
	return s.from + (v-s.lo)/(s.hi-s.lo)*(s.to-s.from)
}

// nice returns round steps of 1, 2 or 5 times a power of ten that take in all from lo to
// hi, some n of them, and how many decimals they have.
func nice(lo, hi float64, n int) (ticks []float64, decimals int) {
	if !(hi > lo) { // equal, or no numbers
		pad := math.Max(math.Abs(lo)*0.1, 1)
		if math.IsNaN(lo) || math.IsInf(lo, 0) {
			lo, hi, pad = 0, 0, 1
		}
		lo, hi = lo-pad, math.Max(lo, hi)+pad
	}
	raw := (hi - lo) / float64(n)
	exponent := math.Floor(math.Log10(raw))
	step, best := 0., math.Inf(1)
	for _, m := range []float64{1, 2, 5, 10} {
		if off := math.Abs(math.Log(m * math.Pow(10, exponent) / raw)); off < best {
			best, step = off, m*math.Pow(10, exponent)
		}
	}
	decimals = max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	for i := math.Floor(lo/step + 1e-9); ; i++ {
		// Through its text, so that it is the number that is written beside it.
		v, err := strconv.ParseFloat(strconv.FormatFloat(i*step, 'f', decimals, 64), 64)
		if err != nil {
			panic(err)
		}
		ticks = append(ticks, v)
		if v >= hi-1e-9*step {
			return ticks, decimals
		}
	}
}

// span takes in values.
type span struct {
	lo, hi float64
	some   bool
}

func (s *span) add(values ...float64) {
	for _, v := range values {
		switch {
		case math.IsNaN(v) || math.IsInf(v, 0):
		case !s.some:
			s.lo, s.hi, s.some = v, v, true
		default:
			s.lo, s.hi = math.Min(s.lo, v), math.Max(s.hi, v)
		}
	}
}

// dayOf returns a civil date as days since 1970; 0 for what is none.
func dayOf(literal string) float64 {
	d, err := time.Parse(time.DateOnly, literal)
	if err != nil {
		return 0
	}
	return float64(d.Unix() / 86400)
}

func dateOf(day float64) time.Time { return time.Unix(int64(day)*86400, 0).UTC() }

// calendar returns days to write at an axis of time between two days: firsts of months,
// Mondays or days, at most n of them.
func calendar(lo, hi float64, n int) []float64 {
	for _, days := range []float64{1, 2, 7, 14} {
		if (hi-lo)/days > float64(n) {
			continue
		}
		first := lo
		if days >= 7 { // day 0 was a Thursday
			first = math.Ceil((lo+3)/7)*7 - 3
		}
		var list []float64
		for d := first; d <= hi; d += days {
			list = append(list, d)
		}
		return list
	}
	for _, months := range []int{1, 2, 3, 6, 12, 24, 60, 120} {
		var list []float64
		first := dateOf(lo)
		for d := time.Date(first.Year(), 1, 1, 0, 0, 0, 0, time.UTC); float64(d.Unix()/86400) <= hi; d = d.AddDate(0, months, 0) {
			if day := float64(d.Unix() / 86400); day >= lo {
				list = append(list, day)
			}
		}
		if len(list) <= n {
			return list
		}
	}
	return nil
}
