package domain

import (
	"fmt"
	"strconv"

	"shoalbook/domain/husbandry"
)

// Due is what a line of an order says of one drop, by which what came is judged.
type Due struct {
	Quantity      Pieces      // as it was shared out, else as it was ordered
	Cost          Money       // of the fish or goods, at the price of the order
	Fees          Money       // of order, drop and way, as they are planned for it
	ShortPercent  Thousandths // of the quantity may be missing
	DeathsPercent Thousandths // of those that came may be dead
	MeanWeight    *Milligrams // of one fish, as quoted; nil: a product
	CVPercent     *Thousandths
}

// Drop is what came at one site for one line of an order.
type Drop struct {
	Counted    *Pieces
	Weighed    *Weighed // in place of a count
	Dead       Pieces
	MeanWeight *Milligrams // of one fish; nil: as the sample says
}

// Weighed is a count by weight: all fish are weighed, and some of them counted.
type Weighed struct {
	Weight       Grams
	SampleCount  Fish
	SampleWeight Grams
	CVPercent    *Thousandths // of single weights; nil: as quoted
}

// Arrival is a drop as it is judged.
type Arrival struct {
	Came       Pieces   // dead fish too
	Error      *float64 // standard error of a count by weight, in fish; nil: counted, or nobody knows
	Alive      Pieces
	MeanWeight *Milligrams
	Claims     []DropClaim
	// Landed is what the drop costs by all that is known when it is received: what is due
	// at the price of the order, with the claims as if they were met, and the fees as they
	// are planned. So settling changes it only by what turned out otherwise.
	Landed Money
}

// What a claim can be about.
const (
	ClaimOver    = "over"
	ClaimShort   = "short"
	ClaimDead    = "dead"
	ClaimOffSize = "off_size"
)

// DropClaim is what was not as ordered, beyond what the quote allows. The amount is what
// it is worth at the price of the order: owed by the supplier, and of a surplus owed to
// the supplier.
type DropClaim struct {
	Kind     string
	Quantity Pieces
	Amount   Money
	Why      string
}

// Signed returns the amount as it changes what a drop costs.
func (c DropClaim) Signed() Money { return signed(c.Kind, c.Amount) }

func signed(kind string, amount Money) Money {
	if kind == ClaimOver {
		return amount
	}
	return -amount
}

const (
	// offSize is how far the mean weight may be from the quoted one, besides what the
	// sample leaves unknown: a tenth (common practice, no source).
	offSize = 10

	// doubt is how many standard errors a difference found by weighing must be worth
	// before it is claimed: 95 % of those that are no difference are less.
	doubt = 1.96
)

// Judge holds what came against what is due. More dead than came is refused.
func (d *Drop) Judge(due *Due) (*Arrival, error) {
	if err := d.check(due); err != nil {
		return nil, err
	}
	a := &Arrival{MeanWeight: d.MeanWeight}
	d.count(a, due)
	if d.Dead > a.Came {
		return nil, &Error{Kind: Refused, Code: "more_dead_than_came", Detail: fmt.Sprintf("%d are dead of %d that came: look at both", d.Dead, a.Came),
			Fields: []FieldError{{"/dead", "is more than came"}}}
	}
	a.Alive = a.Came - d.Dead
	a.claim(d, due)
	a.Landed = due.Cost + due.Fees
	for _, c := range a.Claims {
		a.Landed += c.Signed()
	}
	return a, nil
}

func (d *Drop) check(due *Due) error {
	c := &checker{}
	c.require((d.Counted == nil) != (d.Weighed == nil), "/counted", "say how many were counted, or what was weighed, one of the two")
	c.require(d.Counted == nil || *d.Counted >= 0 && *d.Counted <= mostPieces, "/counted", "must be between 0 and 1 000 000 000")
	c.require(d.Dead >= 0 && d.Dead <= mostPieces, "/dead", "must be between 0 and 1 000 000 000")
	if w := d.Weighed; w != nil {
		c.require(w.Weight > 0 && w.Weight <= mostGrams, "/weighed/weight_kg", "must be more than 0, and not too large")
		c.require(w.SampleCount > 0, "/weighed/sample_count", "must be at least 1")
		c.require(w.SampleWeight > 0 && w.SampleWeight <= w.Weight, "/weighed/sample_weight_kg", "must be more than 0 and not more than all of it")
		c.require(mulDiv(int64(w.Weight), int64(w.SampleCount), max(1, int64(w.SampleWeight))) <= int64(mostPieces), "/weighed/sample_count", "makes more fish than there can be")
		c.require(w.CVPercent == nil || *w.CVPercent >= 0 && *w.CVPercent <= 300_000, "/weighed/cv_percent", "must be between 0 and 300")
	}
	if due.MeanWeight == nil {
		c.require(d.Weighed == nil, "/weighed", "is for fish: say how much of the product came")
		c.require(d.Dead == 0, "/dead", "is for fish")
		c.require(d.MeanWeight == nil, "/mean_weight_g", "is for fish")
	}
	c.require(d.MeanWeight == nil || *d.MeanWeight > 0 && *d.MeanWeight <= heaviest, "/mean_weight_g", "must be more than 0 and at most 60 kg")
	return c.refuse("the delivery")
}

// count says how many came, and how well that is known.
func (d *Drop) count(a *Arrival, due *Due) {
	w := d.Weighed
	if w == nil {
		a.Came = *d.Counted
		return
	}
	a.Came = Pieces(mulDiv(int64(w.Weight), int64(w.SampleCount), int64(w.SampleWeight)))
	if a.MeanWeight == nil {
		mean := Milligrams(mulDiv(int64(w.SampleWeight.Milligrams()), 1, int64(w.SampleCount)))
		a.MeanWeight = &mean
	}
	if cv := d.variation(due); cv != nil {
		a.Error = CountError(a.Came, *cv, w.SampleCount)
	}
}

// CountError returns the standard error of a count by weight, in fish, see
// [husbandry.CountError].
func CountError(came Pieces, cv Thousandths, sample Fish) *float64 {
	share, ok := husbandry.CountError(float64(cv)/100_000, int64(sample))
	if !ok {
		return nil
	}
	fish := share * float64(came)
	return &fish
}

// variation returns the coefficient of variation of single weights, if it is known.
func (d *Drop) variation(due *Due) *Thousandths {
	if d.Weighed.CVPercent != nil {
		return d.Weighed.CVPercent
	}
	return due.CVPercent
}

// claim adds what is beyond the allowances of the quote. All that is owed by the supplier
// together is never more than what is due costs.
func (a *Arrival) claim(d *Drop, due *Due) {
	left := due.Cost
	add := func(kind string, quantity Pieces, worth Money, why string, args ...any) {
		if kind != ClaimOver {
			worth = min(worth, left)
			left -= worth
		}
		a.Claims = append(a.Claims, DropClaim{kind, quantity, worth, fmt.Sprintf(why, args...)})
	}
	allowed := share(due.Quantity, due.ShortPercent)
	missing := due.Quantity - a.Came
	switch {
	case a.doubtful(missing):
	case missing > allowed:
		add(ClaimShort, missing-allowed, due.worth(missing-allowed), "%d came of %d, and the quote allows %d fewer", a.Came, due.Quantity, allowed)
	case -missing > allowed:
		add(ClaimOver, -missing-allowed, due.worth(-missing-allowed), "%d came of %d, and the quote allows %d more", a.Came, due.Quantity, allowed)
	}
	if dying := share(a.Came, due.DeathsPercent); d.Dead > dying {
		add(ClaimDead, d.Dead-dying, due.worth(d.Dead-dying), "%d of %d are dead, and the quote allows %d", d.Dead, a.Came, dying)
	}
	if due.MeanWeight == nil || a.MeanWeight == nil || a.Alive == 0 {
		return
	}
	quoted, is := *due.MeanWeight, *a.MeanWeight
	if off := max(quoted-is, is-quoted); float64(off) > float64(quoted)/offSize+a.sampling(d, due)*float64(is) {
		lost := Money(mulDiv(int64(due.worth(a.Alive)), int64(max(0, quoted-is)), int64(quoted)))
		add(ClaimOffSize, a.Alive, lost, "they weigh %s g each, and %s g were quoted", Thousandths(is).Format(), Thousandths(quoted).Format())
	}
}

// doubtful reports whether a difference may be nothing but the error of weighing.
func (a *Arrival) doubtful(difference Pieces) bool {
	return a.Error != nil && float64(max(difference, -difference)) <= doubt**a.Error
}

// sampling returns how far the mean of the sample may be off, as a share of it.
func (a *Arrival) sampling(d *Drop, due *Due) float64 {
	if a.Error == nil || d.MeanWeight != nil {
		return 0
	}
	share, _ := husbandry.CountError(float64(*d.variation(due))/100_000, int64(d.Weighed.SampleCount))
	return doubt * share
}

// share returns a percentage of a quantity, rounded down.
func share(quantity Pieces, percent Thousandths) Pieces {
	return quantity * Pieces(percent) / 100_000
}

// worth returns what a part of the line costs at the price of the order.
func (due *Due) worth(quantity Pieces) Money {
	return due.Cost.Part(int64(quantity), int64(due.Quantity))
}

// String prints how many there are.
func (n Pieces) String() string { return strconv.FormatInt(int64(n), 10) }
