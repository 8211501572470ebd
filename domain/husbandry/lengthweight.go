package husbandry

import "math"

// Condition returns the condition factor (Fulton's K),
//
//	100 · weight in g ÷ (length in cm)³
//
// of one fish or of the means of a sample. The result belongs to the type of
// the length (total, standard or fork): a K of one type does not compare with a
// K of another, and every band of K in this project is of total length. There
// is none unless both are positive.
func Condition(weightG, lengthCM float64) (k float64, ok bool) {
	if !(weightG > 0 && lengthCM > 0) {
		return 0, false
	}
	return 100 * weightG / (lengthCM * lengthCM * lengthCM), true
}

// LengthWeight is the relation W = A · L^B of a species between the weight in
// grams and the length in centimetres, of one type of length.
type LengthWeight struct {
	A, B float64
}

// Relations of total length. They are starting values of a species; what is
// fitted to a co-operative's own fish takes their place.
var (
	// NileTilapia is Oreochromis niloticus: a FishBase value, read as quoted
	// in open energy-budget data.
	NileTilapia = LengthWeight{A: 0.01905, B: 2.97}
	// AfricanCatfish is Clarias gariepinus: from memory, of low confidence.
	AfricanCatfish = LengthWeight{A: 0.0068, B: 3.03}
)

// Weight returns the weight in grams of a fish of a length in centimetres.
// There is none unless the length is positive.
func (r LengthWeight) Weight(lengthCM float64) (grams float64, ok bool) {
	if !(lengthCM > 0) {
		return 0, false
	}
	return r.A * math.Pow(lengthCM, r.B), true
}

// Band is the bounds of a plausible number: outside Reject it cannot be, outside
// Question somebody should look again.
type Band struct {
	RejectBelow, QuestionBelow, QuestionAbove, RejectAbove float64
}

// ConditionBand returns the bounds of [Condition] of a species, by its ASFIS
// code, for total lengths (common practice, no source; read for catfish: wild
// 0.37–0.89, tank juveniles 1.06–1.15, fingerlings 0.99–1.00). Without a table
// there is nothing to question, only what cannot be of any fish.
func ConditionBand(species string) Band {
	switch species {
	case Catfish:
		return Band{0.2, 0.5, 1.5, 4}
	case Tilapia:
		return Band{0.2, 1.2, 2.5, 4}
	}
	return Band{0.2, 0.2, 4, 4}
}

// LengthWeightOf returns the relation of a species by its ASFIS code.
func LengthWeightOf(species string) (LengthWeight, bool) {
	switch species {
	case Catfish:
		return AfricanCatfish, true
	case Tilapia:
		return NileTilapia, true
	}
	return LengthWeight{}, false
}

// PlausibleExponent reports whether a fitted B can be that of a fish (from memory
// of Froese 2006).
func (r LengthWeight) PlausibleExponent() bool { return r.B >= 2.5 && r.B <= 3.5 }
