package domain

import "math/big"

// Sites with given sums, for tests outside.

// SiteWith returns the sums of a site at which something was recorded.
func SiteWith(id SiteID, values map[string]int64) SiteSums {
	s := SiteSums{Site: id, Recorded: true}
	for i := range allSums {
		s.Known[i] = !allSums[i].Told
	}
	for name, v := range values {
		s.Values[sumIndex(name)], s.Known[sumIndex(name)] = v, true
	}
	return s
}

// SumUnits are the units of the sums.
func SumUnits() map[string]Dimension { return sumUnits }

// DecimalOf prints a number.
func DecimalOf(r *big.Rat, digits int) string { return decimalOf(r, digits) }

// ValueOf returns a sum of a site.
func (s SiteSums) ValueOf(name string) int64 { return s.Values[sumIndex(name)] }
