package husbandry

import (
	"errors"
	"math"
	"math/big"
)

// BagLoad is the g of fish that go in 1 L of water of a bag with oxygen.
type BagLoad struct {
	Hours     float64 // up to so many on the way
	Low, High float64 // g/L: fine up to Low, never more than High
}

// bagTable is for fingerlings of 1–2 inches in water of 18 °C.
var bagTable = []BagLoad{{1, 120, 443}, {12, 108, 383}, {24, 84, 324}, {48, 36, 156}}

// BagSource is where the loads of [BagLoads] are from.
const BagSource = "Dupree and Huner 1984 as printed in SRAC 390, bags with oxygen, fingerlings of 1–2 inches, 18 °C"

// What the table of bags is for.
const (
	BagHours   = 48.  // the longest way in it
	BagCelsius = 18.  // warmer water takes half for every 10 °C more
	BagSmall   = 0.2  // g, about 2.5 cm
	BagBig     = 1.3  // g, about 5 cm; for bigger fish the table errs on the safe side
	bagDoubles = 10.  // °C in which what fish use doubles
	bagWarmest = 40.  // °C
	bagPrecise = 1e-9 // sums of decimals must not tip over an edge
)

// BagLoads returns what goes in a litre for some hours on the way in water of
// some °C: the row of the table for that time or the next longer one, halved for
// every 10 °C above 18 °C. Cooler water gets no more than the table. There is
// none for no time, more than 48 hours or water outside 0–40 °C.
func BagLoads(hours, celsius float64) (BagLoad, bool) {
	if !(hours > 0 && celsius >= 0 && celsius <= bagWarmest) {
		return BagLoad{}, false
	}
	cut := math.Pow(2, -max(0, celsius-BagCelsius)/bagDoubles)
	for _, row := range bagTable {
		if hours <= row.Hours {
			return BagLoad{row.Hours, row.Low * cut, row.High * cut}, true
		}
	}
	return BagLoad{}, false
}

// Load is how full a bag is.
type Load string

// The loads of a bag. Only one under the lower bound is fine.
const (
	LoadFine  Load = "fine"
	LoadTight Load = "tight"
	LoadOver  Load = "overloaded"
)

// Judge returns how full a bag with some g of fish a litre is.
func (b BagLoad) Judge(gramsPerLitre float64) Load {
	switch {
	case gramsPerLitre <= b.Low+bagPrecise:
		return LoadFine
	case gramsPerLitre <= b.High+bagPrecise:
		return LoadTight
	}
	return LoadOver
}

// ErrOrder says that there is no number of fish to order.
var ErrOrder = errors.New("a number of fish that is not negative, and shares from 0 to below the whole")

// OrderSize returns how many fish to order so that need are left, when a share
// of those ordered does not come and a share of those that came dies; shares are
// parts of whole. It is exact: need ÷ ((1 − died) (1 − short)), rounded up.
func OrderSize(need, short, died, whole int64) (fish int64, err error) {
	if need < 0 || whole <= 0 || short < 0 || short >= whole || died < 0 || died >= whole {
		return 0, ErrOrder
	}
	left := new(big.Int).Mul(big.NewInt(whole-short), big.NewInt(whole-died))
	all := new(big.Int).Mul(big.NewInt(whole), big.NewInt(whole))
	all.Mul(all, big.NewInt(need))
	n, rest := all.QuoRem(all, left, new(big.Int))
	if rest.Sign() > 0 {
		n.Add(n, big.NewInt(1))
	}
	if !n.IsInt64() {
		return 0, ErrOrder
	}
	return n.Int64(), nil
}
