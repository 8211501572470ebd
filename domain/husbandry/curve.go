package husbandry

import (
	"fmt"
	"math"
	"sort"
)

// curveSizes are the weights, in grams, at which a [Curve] is told.
var curveSizes = [...]float64{2, 10, 35, 90, 200, 400, 800, 1500}

// CurveSizes is how many weights a curve is told at.
const CurveSizes = len(curveSizes)

// Curve is thermal-unit growth with a coefficient that depends on size: the
// [TGC] of typical fish of a species at some weights. Between these the
// coefficient goes in a straight line with length (∛ of weight), beyond them it
// stays. One coefficient for all sizes is the plain thermal-unit growth; one that
// falls in a straight line is von Bertalanffy's growth of length.
type Curve struct {
	tgc  [CurveSizes]float64 // a degree-day, of length
	heat [CurveSizes]float64 // degree-days from the first size to each
}

// curveLengths are the lengths of curveSizes.
var curveLengths = func() (l [CurveSizes]float64) {
	for i, w := range curveSizes {
		l[i] = math.Cbrt(w)
	}
	return l
}()

// NewCurve returns the curve of coefficients (k = 1000) at 2, 10, 35, 90, 200, 400,
// 800 and 1500 g, all of which must be positive.
func NewCurve(tgc [CurveSizes]float64) Curve {
	var c Curve
	for i, v := range tgc {
		if !(v > 0) {
			panic(fmt.Sprintf("a coefficient of %g", v))
		}
		c.tgc[i] = v / tgcScale
		if i > 0 {
			c.heat[i] = c.heat[i-1] + heatOver(curveLengths[i]-curveLengths[i-1], c.tgc[i-1], c.tgc[i])
		}
	}
	return c
}

// heatOver returns the degree-days over a length on which the coefficient goes
// from a to b in a straight line.
func heatOver(length, a, b float64) float64 {
	if rise := (b - a) / a; math.Abs(rise) > 1e-9 {
		return length / a * math.Log1p(rise) / rise
	}
	return length / a
}

// segment returns the index of the last size at or before a length; −1 before all.
func segment(length float64) int {
	return sort.SearchFloat64s(curveLengths[:], length+1e-12) - 1
}

// at returns the coefficient at a length, a degree-day.
func (c *Curve) at(length float64) float64 {
	i := segment(length)
	switch {
	case i < 0:
		return c.tgc[0]
	case i == CurveSizes-1:
		return c.tgc[i]
	}
	f := (length - curveLengths[i]) / (curveLengths[i+1] - curveLengths[i])
	return c.tgc[i] + f*(c.tgc[i+1]-c.tgc[i])
}

// TGC returns the coefficient (k = 1000) of typical fish of a weight in grams.
func (c *Curve) TGC(grams float64) float64 { return tgcScale * c.at(math.Cbrt(grams)) }

// Heat returns the degree-days that typical fish need from 2 g to a weight in
// grams; for smaller ones they are negative.
func (c *Curve) Heat(grams float64) float64 {
	length := math.Cbrt(grams)
	i := segment(length)
	if i < 0 {
		return (length - curveLengths[0]) / c.tgc[0]
	}
	return c.heat[i] + heatOver(length-curveLengths[i], c.tgc[i], c.at(length))
}

// Weight returns the weight in grams that typical fish reach after degree-days
// from 2 g on; it is the inverse of Heat, and never less than a thousandth of a gram.
func (c *Curve) Weight(heat float64) float64 {
	i := sort.SearchFloat64s(c.heat[:], heat)
	if i == CurveSizes || i > 0 && c.heat[i] > heat {
		i--
	}
	length := 0.0
	switch {
	case heat < 0:
		length = curveLengths[0] + heat*c.tgc[0]
	case i == CurveSizes-1:
		length = curveLengths[i] + (heat-c.heat[i])*c.tgc[i]
	default: // d length ÷ d heat = tgc + slope·length
		slope := (c.tgc[i+1] - c.tgc[i]) / (curveLengths[i+1] - curveLengths[i])
		if x := slope * (heat - c.heat[i]); math.Abs(x) > 1e-9 {
			length = curveLengths[i] + c.tgc[i]*math.Expm1(x)/slope
		} else {
			length = curveLengths[i] + c.tgc[i]*(heat-c.heat[i])
		}
	}
	length = math.Max(length, 0.1)
	return length * length * length
}

// stretch returns by how many degree-days the heat that typical fish need changes
// for a change of weight by a share of it: d Heat ÷ d ln weight.
func (c *Curve) stretch(grams float64) float64 {
	length := math.Cbrt(grams)
	return length / 3 / c.at(length)
}
