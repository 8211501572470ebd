package domain

import (
	"cmp"
	"iter"
	"maps"
	"slices"

	"shoalbook/domain/stats"
)

// CostSums are what the cost of a kilogram is made of, summed over closed batches.
type CostSums struct {
	Batches                                            int64
	Fingerlings, Feed, Energy, Labour, Transport, Rest Money
	In                                                 Fish // stocked, and moved in less moved out
	Out                                                Fish // harvested
	Fed                                                Grams
	Harvested                                          Grams // less what was thrown away
}

// Total returns the whole cost.
func (c CostSums) Total() Money {
	return c.Fingerlings + c.Feed + c.Energy + c.Labour + c.Transport + c.Rest
}

// PerKg returns the cost of a kilogram in hundredths of the minor unit. There is none
// of nothing harvested.
func (c CostSums) PerKg() (hundredths int64, ok bool) {
	if c.Harvested <= 0 {
		return 0, false
	}
	return mulDiv(int64(c.Total()), 100*1000, int64(c.Harvested)), true
}

// Add adds the sums of other batches.
func (c *CostSums) Add(o CostSums) {
	c.Batches += o.Batches
	c.Fingerlings += o.Fingerlings
	c.Feed += o.Feed
	c.Energy += o.Energy
	c.Labour += o.Labour
	c.Transport += o.Transport
	c.Rest += o.Rest
	c.In += o.In
	c.Out += o.Out
	c.Fed += o.Fed
	c.Harvested += o.Harvested
}

// costSums are those of a closed batch, none of one that grows. A batch whose fish were
// moved on counts too, with what they took along, so that a family of batches adds up.
func (c *contribution) costSums() CostSums {
	b := c.b
	if !b.Closed() {
		return CostSums{}
	}
	all := c.costs()
	s := CostSums{Batches: 1, Fingerlings: all[Fingerlings], Feed: all[Feed], Energy: all[Energy], Labour: all[HiredLabour] + all[Salaries],
		Transport: all[Transport], In: b.Stocked + b.MovedIn - b.MovedOut, Out: b.Harvested, Fed: b.FedG, Harvested: b.HarvestedG - b.DiscardedG}
	s.Rest = all.Total() - s.Total() + b.CostIn - b.CostOut
	return s
}

// CostDrivers are what a difference in the cost of a kilogram is split into, by their
// names on the wire.
var CostDrivers = [...]string{"fingerling_price", "survival", "harvest_weight", "feed_price", "feed_conversion", "energy", "labour", "transport", "other"}

// drivers returns the drivers of the cost of a kilogram:
//
//	price of a fish ÷ (survival × weight at harvest) + price of feed × feed conversion + energy + labour + transport + other
func (c CostSums) drivers() (d [len(CostDrivers)]float64) {
	kg, in, out, fed := c.Harvested.Kilograms(), float64(c.In), float64(c.Out), c.Fed.Kilograms()
	d = [...]float64{float64(c.Fingerlings) / in, out / in, kg / out, 0, fed / kg,
		float64(c.Energy) / kg, float64(c.Labour) / kg, float64(c.Transport) / kg, float64(c.Rest) / kg}
	if fed > 0 {
		d[3] = float64(c.Feed) / fed
	} else {
		d[8] += float64(c.Feed) / kg // a cost of feed without feed is of no price
	}
	return d
}

func costOf(d [len(CostDrivers)]float64) float64 {
	return d[0]/(d[1]*d[2]) + d[3]*d[4] + d[5] + d[6] + d[7] + d[8]
}

// CostBridge leads from one cost of a kilogram to another, driver by driver, in
// hundredths of the minor unit.
type CostBridge struct {
	From, To int64
	Parts    [len(CostDrivers)]int64 // they sum to To − From
	Before   [len(CostDrivers)]float64
	After    [len(CostDrivers)]float64
	Reason   string // why there is none
}

// BridgeCost splits the difference between two costs of a kilogram among their drivers:
// each gets what it changes on average over all orders in which they could be changed
// one after the other (Shapley 1953), rounded so that the parts sum to the difference
// exactly.
func BridgeCost(from, to CostSums) CostBridge {
	var g CostBridge
	for _, side := range []struct {
		sums CostSums
		of   *int64
		who  string
	}{{to, &g.To, "it"}, {from, &g.From, "what it is compared with"}} {
		perKg, ok := side.sums.PerKg()
		*side.of = perKg
		switch {
		case side.sums.Batches == 0:
			g.Reason = side.who + " has no closed batch in this time"
		case !ok:
			g.Reason = side.who + " has harvested nothing in this time that could be eaten or sold"
		case side.sums.In <= 0 || side.sums.Out <= 0:
			g.Reason = side.who + " has no fish in this time of which it is known how many came and how many were harvested"
		}
		if g.Reason != "" {
			return g
		}
	}
	g.Before, g.After = from.drivers(), to.drivers()
	if from.Fed == 0 { // feed that nobody bought has no price: all of the difference is how much was fed
		g.Before[3] = g.After[3]
	} else if to.Fed == 0 {
		g.After[3] = g.Before[3]
	}
	parts := stats.Shapley(len(CostDrivers), func(changed uint) float64 {
		d := g.Before
		for i := range d {
			if changed>>i&1 == 1 {
				d[i] = g.After[i]
			}
		}
		return 100 * costOf(d)
	})
	copy(g.Parts[:], stats.RoundTo(g.To-g.From, parts))
	return g
}

// CostQuestion says whose cost of a kilogram is compared with whose.
type CostQuestion struct {
	Site        SiteID
	Against     string // coop, site, season
	Other       SiteID // against a site
	Season      string // only batches of it; empty: all, or against a season the last
	OtherSeason string // against a season; empty: the one before
	From, To    *Date  // by the day on which batches were closed
}

// CostAnswer is the difference, with what it was taken of.
type CostAnswer struct {
	CostBridge
	Here, There         CostSums
	Season, OtherSeason string
}

// Answer adds up what batches cost on both sides, and splits the difference.
func (q CostQuestion) Answer(batches iter.Seq[*ComparedBatch]) CostAnswer {
	out := CostAnswer{Season: q.Season, OtherSeason: q.Season}
	if q.Against == "season" {
		seasons := seasonsOf(batches, q.Site)
		if out.Season == "" && len(seasons) > 0 {
			out.Season = seasons[0]
		}
		if out.OtherSeason = q.OtherSeason; out.OtherSeason == "" {
			if i := slices.Index(seasons, out.Season); i >= 0 && i+1 < len(seasons) {
				out.OtherSeason = seasons[i+1]
			}
		}
		if out.Season == "" || out.OtherSeason == "" {
			out.Reason = "the site has no two seasons with a closed batch"
			return out
		}
	}
	for b := range batches {
		if b.ClosedOn == nil || q.From != nil && *b.ClosedOn < *q.From || q.To != nil && *b.ClosedOn > *q.To {
			continue
		}
		if b.Site == q.Site && (out.Season == "" || b.Season == out.Season) {
			out.Here.Add(b.Cost)
		}
		there := q.Against == "coop" || b.Site == q.Other && q.Against == "site" || b.Site == q.Site && q.Against == "season"
		if there && (out.OtherSeason == "" || b.Season == out.OtherSeason) {
			out.There.Add(b.Cost)
		}
	}
	out.CostBridge = BridgeCost(out.There, out.Here)
	return out
}

// seasonsOf returns the seasons of the closed batches of a site, by the day on which the
// first of each was closed, the last first.
func seasonsOf(batches iter.Seq[*ComparedBatch], site SiteID) []string {
	first := map[string]Date{}
	for b := range batches {
		if b.Site != site || b.ClosedOn == nil || b.Season == "" {
			continue
		}
		if on, ok := first[b.Season]; !ok || *b.ClosedOn < on {
			first[b.Season] = *b.ClosedOn
		}
	}
	return slices.SortedFunc(maps.Keys(first), func(a, b string) int {
		return cmp.Or(cmp.Compare(first[b], first[a]), cmp.Compare(a, b))
	})
}
