package domain

// Expense is money spent, for one batch or for the whole site, over the days it covers.
type Expense struct {
	Category   string
	Amount     Money
	Batch      *BatchID
	Supplier   *PartyID
	CoversFrom *Date
	CoversTo   *Date
	Paid       bool
}

// Labour is work done: hours, the wage paid for them, or what unpaid work would have cost.
type Labour struct {
	Hours       Thousandths
	Amount      *Money
	UnpaidValue *Money
	Batch       *BatchID
}

// Sale says where harvested fish or produce went: sold, eaten at the site, given
// away or thrown away.
type Sale struct {
	Disposal   string // sold, eaten, given, discarded
	Batch      *BatchID
	Crop       *string
	Weight     Grams  // as it left: live, gutted, smoked …
	LiveWeight *Grams // of the fish it was; default: the same
	Count      *Fish
	Form       *string
	Amount     *Money
	UnitPrice  *UnitPrice // for one kilogram as it left
	Buyer      *PartyID
	Paid       bool
}

// Payment is money received from a party, or paid to one.
type Payment struct {
	Party     PartyID
	Direction string // received, paid
	Amount    Money
}

func (Expense) Kind() string { return "expense" }
func (Labour) Kind() string  { return "labour" }
func (Sale) Kind() string    { return "sale" }
func (Payment) Kind() string { return "payment" }

func (Expense) rank() rank { return rankOther }
func (Labour) rank() rank  { return rankOther }
func (Sale) rank() rank    { return rankOther }
func (Payment) rank() rank { return rankOther }

func (b Expense) Refs() Refs {
	r := Refs{Batch: b.Batch, Party: b.Supplier}
	if b.Supplier != nil && !b.Paid {
		r.Owed = -b.Amount
	}
	return r
}
func (b Labour) Refs() Refs { return Refs{Batch: b.Batch} }
func (b Sale) Refs() Refs {
	r := Refs{Batch: b.Batch, Party: b.Buyer}
	if b.Buyer != nil && !b.Paid && b.Disposal == "sold" {
		r.Owed = b.value()
	}
	return r
}
func (b Payment) Refs() Refs {
	r := Refs{Party: &b.Party, Owed: -b.Amount}
	if b.Direction == "paid" {
		r.Owed = b.Amount
	}
	return r
}

func (b Expense) check(c *checker) {
	c.require(b.Amount > 0, "/amount", "must be more than 0")
	c.require((b.CoversFrom == nil) == (b.CoversTo == nil), "/covers_to", "give the first and the last day it covers, or neither")
	if b.CoversFrom != nil && b.CoversTo != nil {
		c.require(*b.CoversFrom <= *b.CoversTo, "/covers_to", "must not be before covers_from")
		c.require(*b.CoversTo-*b.CoversFrom <= 3660, "/covers_to", "at most ten years")
		c.require(*b.CoversFrom >= earliest && *b.CoversTo <= latest, "/covers_from", "must be after 1990")
	}
	if _, ok := categoryNamed(b.Category); !ok {
		c.add("/category", "is not a category of cost")
	}
}

func (b Labour) check(c *checker) {
	c.require(b.Hours > 0, "/hours", "must be more than 0")
	c.require(b.Hours%10 == 0, "/hours", "at most 2 decimals")
	c.require(b.Amount == nil || *b.Amount >= 0, "/amount", "must not be negative")
	c.require(b.UnpaidValue == nil || *b.UnpaidValue >= 0, "/unpaid_value", "must not be negative")
}

func (b Sale) check(c *checker) {
	c.oneOf(b.Disposal, "/disposal", "sold", "eaten", "given", "discarded")
	c.optionalOf(b.Form, "/form", "live", "whole", "gutted", "fillet", "smoked", "other")
	c.require(b.Crop == nil || fits(*b.Crop, 80), "/crop", "must be 1 to 80 characters")
	c.require((b.Batch == nil) != (b.Crop == nil), "/batch_id", "give the batch the fish are from, or the crop, one of the two")
	c.require(b.Weight > 0, "/weight_kg", "must be more than 0")
	c.require(b.LiveWeight == nil || *b.LiveWeight > 0, "/live_weight_kg", "must be more than 0")
	c.require(b.Crop == nil || b.LiveWeight == nil && b.Count == nil, "/live_weight_kg", "a crop has no live weight and no count")
	c.require(b.Count == nil || *b.Count >= 1, "/count", "must be at least 1")
	c.require(b.Amount == nil || b.UnitPrice == nil, "/unit_price", "give the amount or the price of a kilogram, not both")
	c.require(b.Disposal == "sold" || b.Buyer == nil, "/buyer_id", "only what is sold has a buyer")
	c.prices(b.Amount, b.UnitPrice, b.value())
}

func (b Payment) check(c *checker) {
	c.oneOf(b.Direction, "/direction", "received", "paid")
	c.require(b.Amount > 0, "/amount", "must be more than 0")
}

func (b Sale) value() Money { return priceOf(b.Amount, b.UnitPrice, int64(b.Weight)) }

func (b Sale) live() Grams {
	if b.LiveWeight != nil {
		return *b.LiveWeight
	}
	return b.Weight
}
