package domain

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// Order is what was ordered from one supplier by one quote: what everybody may know of
// it. What it is for in all is in its versions, of which the last is in force.
type Order struct {
	ID              OrderID
	Round           RoundID
	Quote           QuoteID
	Party           PartyID
	PlanVersion     int64
	Year            int16 // with Number, what it is called by
	Number          int32 // running in the co-operative and the year
	Version         int64 // in force
	OrderedOn       Date
	ArrivesOn       Date
	MeanWeight      *Milligrams // of one fish, as offered; the rest too
	WeightCVPercent *Thousandths
	DeathsPercent   Thousandths
	ShortPercent    Thousandths
	ExpiresOn       *Date
	CreatedAt       time.Time
}

// Called returns what the order is called by, such as 2026-014.
func (o *Order) Called() string { return fmt.Sprintf("%d-%03d", o.Year, o.Number) }

// OrderVersion is what an order was for from one change to the next.
type OrderVersion struct {
	Order      OrderID
	Version    int64
	Reason     *string // for the change; nil: it is the first
	Ordered    Pieces  // for all lines: their sum or more
	ArrivesOn  Date
	Price      Money
	FeeOrder   Money
	FeeDrop    Money // of all drops
	FeeRoute   Money
	Deposit    Money // that is due with it
	RecordedAt time.Time
	RecordedBy string
}

// Cost returns all that a version costs.
func (v *OrderVersion) Cost() Money { return v.Price + v.FeeOrder + v.FeeDrop + v.FeeRoute }

// OrderLine is what of a version is for one request. The amounts are what its site is to
// bear; those of all lines add up to those of the version, and those of Capped to
// nothing in the round as it was ordered.
type OrderLine struct {
	Order         OrderID
	Version       int64
	Request       RequestID
	Site          SiteID
	Unit          *UnitID
	Quantity      Pieces
	ExpectedAlive Pieces // when the need is counted
	Km            Thousandths
	Goods         Money
	OrderFee      Money
	DropFee       Money
	RouteFee      Money
	Capped        Money
	Allotted      *Pieces // of an order of which less comes; nil: it was not said
}

// Cost returns what the site is to bear.
func (l *OrderLine) Cost() Money { return l.Goods + l.OrderFee + l.DropFee + l.RouteFee + l.Capped }

// Deposit is what was paid to a supplier with an order.
type Deposit struct {
	ID     DepositID
	Order  OrderID
	Amount Money
	PaidOn Date
}

// AlongTheWay returns lines in the order in which their sites are reached.
func AlongTheWay(lines []OrderLine) []OrderLine {
	return slices.SortedFunc(slices.Values(lines), func(a, b OrderLine) int {
		return cmp.Or(cmp.Compare(a.Km, b.Km), a.Site.Compare(b.Site), a.Request.Compare(b.Request))
	})
}
