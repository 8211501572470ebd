package domain

import (
	"fmt"
	"slices"
)

// Priced is a price that was paid or got on a day.
type Priced struct {
	On    Date
	Price float64 // minor units for one
}

// PriceDays is how far back prices are compared (common practice, no source).
const PriceDays = 90

const (
	fewPrices  = 3 // below which there is nothing to compare with
	priceShare = 0.5
)

// PriceOf returns what an entry has a price of, and the price of one of it in minor
// units: of a fish of a species, of a unit of a product, of a kilogram of fish or crop
// in the form it was sold in. Gifts and what was eaten have none.
func PriceOf(body Body, species string) (of string, price float64, ok bool) {
	var cost Money
	var n float64
	switch b := body.(type) {
	case Stocking:
		of, cost, n = "stocking "+species, b.cost(), float64(b.Count)
		ok = b.Origin == "bought"
	case Receipt:
		of, cost, n = "receipt "+b.Product.String(), b.cost(), float64(b.Quantity)/1000
		ok = b.Origin == "bought"
	case Sale:
		form := "whole"
		if b.Form != nil {
			form = *b.Form
		}
		if b.Crop != nil {
			of = "sale of " + *b.Crop
		} else {
			of = "sale " + species + " " + form
		}
		cost, n = b.value(), float64(b.Weight)/1000
		ok = b.Disposal == "sold"
	}
	if !ok || cost <= 0 || n <= 0 {
		return "", 0, false
	}
	return of, float64(cost) / n, true
}

// askPrice asks about a price far from the median of the last months.
func (s *Site) askPrice(e *Entry) {
	species := ""
	if id := e.Body.Refs().Batch; id != nil {
		species = s.Facts.Batches[*id].Species
	}
	of, price, ok := PriceOf(e.Body, species)
	if !ok {
		return
	}
	var known []float64
	for _, p := range s.Facts.Prices[of] {
		if p.On > e.On-PriceDays && p.On <= e.On {
			known = append(known, p.Price)
		}
	}
	if len(known) < fewPrices {
		return
	}
	slices.Sort(known)
	median := (known[(len(known)-1)/2] + known[len(known)/2]) / 2
	if within(price/median, 1-priceShare, 1+priceShare) {
		return
	}
	s.ask(e.ID, "price", fmt.Sprintf("the price of one is %s %% of what it usually was in the last %d days: are the amount and the quantity right?", inWords(100*price/median), PriceDays),
		NamedValue{"share_of_median", price / median}, NamedValue{"prices", float64(len(known))})
}

func (b Receipt) questions(s *Site, e *Entry, _ before) { s.askPrice(e) }
func (b Sale) questions(s *Site, e *Entry, _ before)    { s.askPrice(e) }
