package domain

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"shoalbook/domain/buying"
)

// What price steps apply to.
const (
	StepsAllUnits    = "all_units"   // the price of a step is for the whole order
	StepsIncremental = "incremental" // it is for what is above the step alone
)

// What fish are carried in.
const (
	CarriedInBag  = "bag"
	CarriedInTank = "tank"
)

// mostWorth bounds what all that a quote offers costs, in ten-thousandths of the minor
// unit, so that no sum of several can overflow.
const mostWorth = 100_000_000_000_000_000

// PriceStep is a price for one piece that holds from a quantity of an order on.
type PriceStep struct {
	From      Pieces
	UnitPrice UnitPrice
}

// Stop is a site on the way of a delivery, with the way to it from the supplier.
type Stop struct {
	Site SiteID
	Km   Thousandths
}

// DefaultSpeed is how fast a delivery travels, where the quote does not say: 40 km/h on
// mixed rural roads, common practice, no source.
const DefaultSpeed Thousandths = 40_000

// Quote is what one supplier offers to a round. A supplier may have several.
type Quote struct {
	ID              QuoteID
	Round           RoundID     // never changes
	Party           PartyID     // the supplier; never changes
	MeanWeight      *Milligrams // of one fish; of fish only, which must have it
	WeightCVPercent *Thousandths
	Steps           []PriceStep // by rising From, the first from 1, at prices that do not rise
	StepsApply      string      // [StepsAllUnits], [StepsIncremental]
	LeastOrder      Pieces      // of all sites together; 0: any
	Pack            Pieces      // orders are for whole packs; 1: no packs
	Most            Pieces      // that there are
	Earliest        Date        // of delivery, both days included
	Latest          Date
	FeeOrder        Money     // for the order, whatever is in it
	FeeDrop         Money     // for each site that gets some
	FeePerKm        UnitPrice // for each km to the farthest site that gets some
	Stops           []Stop    // by rising Km; a site that is none is not delivered to. None at all: it is collected, by any site, at 0 km
	SpeedKmH        Thousandths
	CarriedIn       *string      // of fish: [CarriedInBag], [CarriedInTank]; nil: not known
	Litres          *Thousandths // of water in each bag or tank
	Vessels         *int64       // the most bags or tanks for one delivery; nil: as many as it takes
	FishPerVessel   *Fish        // how many are put into each bag; nil: the table says
	TemperatureC    *Thousandths // of the water on the way
	DeathsPercent   Thousandths  // on arrival, that the supplier promises not to go over
	ShortPercent    Thousandths  // by which a count may fall short before it is a claim
	DepositPercent  Thousandths  // of the price of the order, paid with it
	ValidUntil      Date         // the last day on which it can be ordered by, in the zone of the co-operative
	ExpiresOn       *Date        // of products: until when they keep
	Note            *string
	Withdrawn       bool
	Version         int64
	CreatedAt       time.Time
}

// Check refuses a quote that cannot be. What it needs of its round, see [Quote.Fits].
func (q *Quote) Check() error {
	c := &checker{}
	c.require(len(q.Steps) >= 1 && len(q.Steps) <= 20, "/steps", "give 1 to 20 steps")
	for i, s := range q.Steps {
		c.pieces(s.From, fmt.Sprintf("/steps/%d/from", i))
		c.require(s.UnitPrice >= 0 && int64(s.UnitPrice) <= mostWorth/max(1, int64(q.Most)), fmt.Sprintf("/steps/%d/unit_price", i), "must not be negative, or too large")
	}
	c.oneOf(q.StepsApply, "/steps_apply", StepsAllUnits, StepsIncremental)
	c.require(q.LeastOrder >= 0 && q.LeastOrder <= mostPieces, "/least_order", "must be between 0 and 1 000 000 000")
	c.pieces(q.Pack, "/pack")
	c.pieces(q.Most, "/most")
	c.span(q.Earliest, q.Latest, "/earliest", "/latest")
	c.require(q.FeeOrder >= 0 && q.FeeOrder <= 1e12, "/fee_order", "must not be negative, or too large")
	c.require(q.FeeDrop >= 0 && q.FeeDrop <= 1e10, "/fee_drop", "must not be negative, or too large")
	c.require(q.FeePerKm >= 0 && q.FeePerKm <= 1e12, "/fee_per_km", "must not be negative, or too large")
	c.carriage(q)
	for _, p := range []struct {
		value   Thousandths
		most    Thousandths
		pointer string
	}{{q.DeathsPercent, 90_000, "/deaths_percent"}, {q.ShortPercent, 90_000, "/short_percent"}, {q.DepositPercent, 100_000, "/deposit_percent"}} {
		c.require(p.value >= 0 && p.value <= p.most, p.pointer, fmt.Sprintf("must be between 0 and %d", p.most/1000))
	}
	c.require(q.ValidUntil >= earliest && q.ValidUntil <= latest, "/valid_until", "must be after 1990")
	c.require(q.ExpiresOn == nil || *q.ExpiresOn >= earliest && *q.ExpiresOn <= latest, "/expires_on", "must be after 1990")
	c.note(q.Note)
	if err := c.refuse("the quote"); err != nil {
		return err
	}
	return cmp.Or(q.checkSteps(), q.checkRoute(), q.checkBounds())
}

// carriage checks what fish travel in.
func (c *checker) carriage(q *Quote) {
	c.require(len(q.Stops) <= 1000, "/stops", "at most 1000")
	for i, s := range q.Stops {
		c.require(s.Km >= 0 && s.Km <= 5_000_000, fmt.Sprintf("/stops/%d/km", i), "must be between 0 and 5000")
	}
	c.require(q.SpeedKmH >= 1_000 && q.SpeedKmH <= 200_000, "/speed_km_h", "must be between 1 and 200")
	if q.CarriedIn != nil {
		c.oneOf(*q.CarriedIn, "/carried_in", CarriedInBag, CarriedInTank)
	}
	c.positive(q.Litres, "/litres")
	c.require(q.Vessels == nil || *q.Vessels >= 1 && *q.Vessels <= 100_000, "/vessels", "must be between 1 and 100 000")
	c.require(q.FishPerVessel == nil || *q.FishPerVessel >= 1 && *q.FishPerVessel <= 1_000_000, "/fish_per_vessel", "must be between 1 and 1 000 000")
	c.require(q.TemperatureC == nil || *q.TemperatureC >= 0 && *q.TemperatureC <= 45_000, "/temperature_c", "must be between 0 and 45 °C")
	c.require(q.MeanWeight == nil || *q.MeanWeight > 0 && *q.MeanWeight <= heaviest, "/mean_weight_g", "must be more than 0 and at most 60 kg")
	c.require(q.WeightCVPercent == nil || *q.WeightCVPercent >= 0 && *q.WeightCVPercent <= 300_000, "/weight_cv_percent", "must be between 0 and 300")
}

// checkSteps refuses steps that overlap, that have a gap at the beginning or at which
// one piece more gets dearer.
func (q *Quote) checkSteps() error {
	c := &checker{}
	c.require(q.Steps[0].From == 1, "/steps/0/from", "the first step must be from 1")
	for i := 1; i < len(q.Steps); i++ {
		s, before := q.Steps[i], q.Steps[i-1]
		c.require(s.From > before.From, fmt.Sprintf("/steps/%d/from", i), fmt.Sprintf("must be above %d, where the step before begins", before.From))
		c.require(s.UnitPrice <= before.UnitPrice, fmt.Sprintf("/steps/%d/unit_price", i), "must not be above the price of the step before: who buys more pays no more for each")
	}
	return c.deny("price_steps", "the price steps do not follow one another")
}

// checkRoute refuses stops that are not one after the other.
func (q *Quote) checkRoute() error {
	c := &checker{}
	seen := map[SiteID]bool{}
	for i, s := range q.Stops {
		c.require(!seen[s.Site], fmt.Sprintf("/stops/%d/site_id", i), "is a stop already")
		c.require(i == 0 || s.Km >= q.Stops[i-1].Km, fmt.Sprintf("/stops/%d/km", i), "must not be less than at the stop before: km are counted along the way from the supplier")
		seen[s.Site] = true
	}
	c.require(len(q.Stops) > 0 || q.FeePerKm == 0, "/fee_per_km", "needs the stops with their km")
	return c.deny("impossible_route", "the stops do not follow one another")
}

func (q *Quote) checkBounds() error {
	c := &checker{}
	c.require(q.Pack <= q.Most, "/pack", "must not be more than there is")
	c.require(q.LeastOrder <= q.Most, "/least_order", "must not be more than there is")
	c.require(q.FishPerVessel == nil || q.CarriedIn != nil && *q.CarriedIn == CarriedInBag, "/fish_per_vessel", "is of bags")
	return c.deny("impossible_quote", "the quote does not fit together")
}

// Fits refuses a quote that is not of its round's kind.
func (q *Quote) Fits(r *Round) error {
	c := &checker{}
	if r.Fish() {
		c.require(q.MeanWeight != nil, "/mean_weight_g", "say how much a fish weighs")
		c.require(q.ExpiresOn == nil, "/expires_on", "is of products, and the round buys fish")
	} else {
		const ofFish = "is of fish, and the round buys a product"
		c.require(q.MeanWeight == nil, "/mean_weight_g", ofFish)
		c.require(q.WeightCVPercent == nil, "/weight_cv_percent", ofFish)
		c.require(q.CarriedIn == nil && q.Litres == nil && q.Vessels == nil && q.TemperatureC == nil, "/carried_in", ofFish)
		c.require(q.DeathsPercent == 0, "/deaths_percent", ofFish)
	}
	return c.deny("impossible_quote", "the quote is not of what the round buys")
}

// ValidOn reports whether the quote can be ordered by on a day.
func (q *Quote) ValidOn(day Date) bool { return day <= q.ValidUntil }

// KmTo returns the way from the supplier to a site, and whether the quote delivers
// there; who collects has none.
func (q *Quote) KmTo(site SiteID) (km Thousandths, ok bool) {
	if len(q.Stops) == 0 {
		return 0, true
	}
	i := slices.IndexFunc(q.Stops, func(s Stop) bool { return s.Site == site })
	if i < 0 {
		return 0, false
	}
	return q.Stops[i].Km, true
}

// Price returns what an order of so many pieces costs without any fee, half to even.
func (q *Quote) Price(n Pieces) Money {
	s := q.seller()
	return Money(roundDiv(s.Price(int64(n)), 10_000))
}

// Deposit returns what is paid with an order of so many pieces, half to even.
func (q *Quote) Deposit(n Pieces) Money {
	return Money(mulDiv(int64(q.Price(n)), int64(q.DepositPercent), 100_000))
}

// RouteFee returns what the way of a delivery costs whose farthest stop is so far.
func (q *Quote) RouteFee(farthest Thousandths) Money { return q.FeePerKm.times(int64(farthest)) }

// seller is the price of the quote, in ten-thousandths of the minor unit.
func (q *Quote) seller() buying.Seller {
	s := buying.Seller{Incremental: q.StepsApply == StepsIncremental, Least: int64(q.LeastOrder), Most: int64(q.Most), Pack: int64(q.Pack)}
	for _, step := range q.Steps {
		s.Steps = append(s.Steps, buying.Step{From: int64(step.From), Price: int64(step.UnitPrice)})
	}
	return s
}

// CheckOrder refuses an order of so many pieces on a day: past the quote's validity,
// below its least, above what there is, or not of whole packs.
func (q *Quote) CheckOrder(n Pieces, day Date) error {
	switch {
	case q.Withdrawn:
		return Refuse("quote_withdrawn", "the quote was withdrawn")
	case !q.ValidOn(day):
		return Refuse("quote_expired", "the quote was valid until %s: ask the supplier for a new one", q.ValidUntil)
	case n < max(1, q.LeastOrder):
		return Refuse("below_least_order", "%d is below the least order of this supplier, which is %d", n, max(1, q.LeastOrder))
	case n > q.Most:
		return Refuse("above_most", "%d is more than this supplier has, which is %d", n, q.Most)
	case n%q.Pack != 0:
		return Refuse("not_whole_packs", "%d is not whole packs of %d", n, q.Pack)
	}
	return nil
}
