package domain

import (
	"fmt"
	"strings"
)

// What a comparison says of itself, in words.

// UnitIn returns the unit of a measure for a currency.
func (y *Yardstick) UnitIn(c Currency) string {
	return strings.ReplaceAll(y.Unit, "{currency}", string(c))
}

// Says returns the verdict on a group in words a keeper understands.
func (g *ComparedGroup) Says(noVerdicts string) string {
	side := "worse"
	if g.Better {
		side = "better"
	}
	switch {
	case g.Verdict == Different:
		return fmt.Sprintf("Different: %s than the others by more than chance makes of one group in five hundred.", side)
	case g.Verdict == WorthALook:
		return fmt.Sprintf("Worth a look: %s than the others, as one group in twenty is by chance.", side)
	case g.Verdict == NoDifference:
		return "No difference shown: it lies where groups with so many batches usually do."
	case g.NoValue != "":
		return "No value: " + g.NoValue + "."
	case noVerdicts != "":
		return "No verdict: " + noVerdicts + "."
	}
	return "No verdict: nobody can tell how far such a group may lie off."
}

// Method says how a comparison was worked out.
func (q *CompareQuestion) Method() []string {
	list := []string{"Ratios are of sums; the batch is the unit, since fish of one tank live and die together."}
	switch q.Measure.Scale {
	case Proportion:
		list = append(list, "Intervals: Wilson's, of as many single fish as would vary as its batches do, with Student's critical value.")
	default:
		list = append(list, "Intervals: the delta method, each batch held against the others of its group, with Student's critical value.")
	}
	list = append(list,
		"Funnel: limits of 95 and 99.8 % around all batches together, with the variance of single batches pooled over the groups and "+q.widening()+" (Spiegelhalter 2005). Verdicts go by these limits.",
		"Shrinkage: towards the mean of groups within the 99.8 % limits, by the method of moments (DerSimonian & Laird 1986); chances of thirds by draws of a fixed seed.")
	if len(q.Standardise) > 0 {
		list = append(list, "Like for like: observed over what batches alike in "+strings.Join(q.Standardise, ", ")+" come to on average, times the ratio of all (indirect standardisation). A batch without its like in another group is left out.")
	}
	return list
}

// widening says how the limits of the funnel take in that groups differ.
func (q *CompareQuestion) widening() string {
	if q.Multiplicative {
		return "times φ, how many times as much as that explains groups vary, but once at least: multiplicative overdispersion"
	}
	return "added to it, what groups differ by beyond that: additive overdispersion"
}

// Cautions says what must be minded with a comparison.
func (q *CompareQuestion) Cautions() []string {
	list := []string{CautionFigures, "A verdict says where to look, not who is to blame: bad luck, other fish and other water look the same from here."}
	if q.By == "tag" {
		list = append(list, "A batch with several tags is in several groups: these are not apart.")
	}
	if len(q.Standardise) == 0 && (q.By == "site" || q.By == "supplier") {
		list = append(list, "Groups are compared as they are: with standardise, each batch is held against those that are like it.")
	}
	return list
}

// costTitles and costUnits are those of [CostDrivers]; the amounts are in the currency.
var (
	costTitles = [...]string{"price of a fish stocked", "survival", "weight at harvest", "price of feed", "feed conversion",
		"energy", "labour", "transport", "other"}
	costUnits = [...]string{"{currency}/fish", "of 1", "kg/fish", "{currency}/kg of feed", "kg/kg", "{currency}/kg", "{currency}/kg", "{currency}/kg", "{currency}/kg"}
)

// CostPart is one driver of a bridge.
type CostPart struct {
	Driver, Title, Unit string
	Amount              int64 // hundredths of the minor unit for a kilogram
	Here, There         float64
}

// List returns the parts of a bridge, none if it has a reason not to be.
func (g *CostBridge) List(c Currency) []CostPart {
	if g.Reason != "" {
		return nil
	}
	list := make([]CostPart, len(CostDrivers))
	for i, name := range CostDrivers {
		unit := costUnits[i]
		scale := 1.0
		if strings.HasPrefix(unit, "{currency}") {
			scale = c.major(1)
		}
		list[i] = CostPart{Driver: name, Title: costTitles[i], Unit: strings.ReplaceAll(unit, "{currency}", string(c)), Amount: g.Parts[i], Here: g.After[i] * scale, There: g.Before[i] * scale}
	}
	return list
}

// CostMethod says how a difference in cost was split.
var CostMethod = []string{
	"Cost per kg = price of a fish ÷ (survival × weight at harvest) + price of feed × feed conversion + energy + labour + transport + other, from the sums of closed batches; feed conversion is feed ÷ weight harvested.",
	"Each driver gets what it changes on average over all orders in which the drivers could be changed one after the other (Shapley 1953); rounded so that the parts sum to the difference exactly.",
	"Labour is hired labour and salaries. Other is water, medicine, packaging, repairs, rent, depreciation, losses, and what moved fish brought or took along.",
}
