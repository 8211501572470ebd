package husbandry

import "math"

// WithdrawalDays returns how many days a withdrawal of some degree-days lasts in
// water of some °C. The first day after the last dose is day 1, and the fish may
// be eaten from the day after the last. There is none for a negative time, or if
// the water is not above 0 °C: then no degree-days come together.
func WithdrawalDays(degreeDays, celsius float64) (days int64, ok bool) {
	if !(degreeDays >= 0 && celsius > 0) || degreeDays/celsius > math.MaxInt32 {
		return 0, false
	}
	return int64(math.Ceil(degreeDays/celsius - 1e-9)), true
}
