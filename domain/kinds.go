package domain

// The kinds of entry about fish. Optional members are pointers; a member's name
// on the wire is its name here in snake case, with the suffix of its type.

// Stocking puts fish into a batch: bought, bred at the site, or there when the
// site joined.
type Stocking struct {
	Batch      BatchID
	Origin     string // bought, bred, opening
	Count      Fish
	MeanWeight *Milligrams
	Weight     *Grams
	Supplier   *PartyID
	Amount     *Money
	UnitPrice  *UnitPrice // for one fish
	Paid       bool
}

// Death takes dead fish out of a batch. With Empties, nothing is left.
type Death struct {
	Batch   BatchID
	Count   Fish
	Weight  *Grams
	Cause   *string
	Empties bool
}

// Sample is a weighing of some fish of a batch, which go back.
type Sample struct {
	Batch           BatchID
	Count           Fish
	Weight          *Grams      // of all fish weighed
	WeightG         *Milligrams // the same, for small fish
	MeanLengthCM    *Thousandths
	LengthType      *string // total, standard, fork
	WeightCVPercent *Thousandths
}

// Count says how many fish of a batch there are, and perhaps what all of them weigh.
type Count struct {
	Batch  BatchID
	Count  Fish
	Weight *Grams
}

// Move brings fish of a batch to another batch of the site, or the whole batch
// to another unit.
type Move struct {
	Batch   BatchID
	ToBatch *BatchID
	ToUnit  *UnitID
	Count   *Fish
	Weight  *Grams
	Empties bool
}

// Harvest takes fish out to be eaten, sold, given or thrown away. Without a
// count the number is estimated from the last weighing. With Empties, nothing is left.
// Without a destination it is for food, and so refused within a withdrawal, unless a
// coordinator says why it may be.
type Harvest struct {
	Batch              BatchID
	Weight             Grams
	Count              *Fish
	Empties            bool
	SizeClass          *string
	Destination        *string // eaten, sold, given, discarded, kept
	OverrideWithdrawal *string // the reason
}

func (Stocking) Kind() string { return "stocking" }
func (Death) Kind() string    { return "death" }
func (Sample) Kind() string   { return "sample" }
func (Count) Kind() string    { return "count" }
func (Move) Kind() string     { return "move" }
func (Harvest) Kind() string  { return "harvest" }

func (Stocking) rank() rank { return rankIn }
func (Death) rank() rank    { return rankDaily }
func (Sample) rank() rank   { return rankWeighing }
func (Count) rank() rank    { return rankCount }
func (Move) rank() rank     { return rankMove }

func (b Harvest) rank() rank {
	if b.Empties { // it takes what the others of the day leave
		return rankEmptying
	}
	return rankOut
}

func (b Stocking) Refs() Refs {
	r := Refs{Batch: &b.Batch, Party: b.Supplier}
	if b.Supplier != nil && !b.Paid {
		r.Owed = -b.cost()
	}
	return r
}
func (b Death) Refs() Refs   { return Refs{Batch: &b.Batch} }
func (b Sample) Refs() Refs  { return Refs{Batch: &b.Batch} }
func (b Count) Refs() Refs   { return Refs{Batch: &b.Batch} }
func (b Move) Refs() Refs    { return Refs{Batch: &b.Batch, ToBatch: b.ToBatch, Unit: b.ToUnit} }
func (b Harvest) Refs() Refs { return Refs{Batch: &b.Batch} }

func (b Stocking) check(c *checker) {
	c.oneOf(b.Origin, "/origin", "bought", "bred", "opening")
	c.require(b.Count >= 1, "/count", "must be at least 1")
	c.require(b.MeanWeight == nil || b.Weight == nil, "/weight_kg", "give the weight of all fish or of one, not both")
	c.require(b.Amount == nil || b.UnitPrice == nil, "/unit_price", "give the amount or the price for one fish, not both")
	c.fishWeight(b.weight(), b.Count, "/mean_weight_g")
	c.prices(b.Amount, b.UnitPrice, b.cost())
}

func (b Death) check(c *checker) {
	c.optionalOf(b.Cause, "/cause", "transport", "handling", "disease", "oxygen", "water", "predator", "cannibalism", "power_cut", "other", "unknown")
	c.require(b.Count >= 1 || b.Empties && b.Count == 0, "/count", "must be at least 1")
	if b.Weight != nil {
		w := b.Weight.Milligrams()
		c.fishWeight(&w, b.Count, "/weight_kg")
	}
}

func (b Sample) check(c *checker) {
	c.require(b.Count >= 1, "/count", "must be at least 1")
	c.require((b.Weight == nil) != (b.WeightG == nil), "/weight_kg", "give the weight of the fish weighed in kg or in g, one of the two")
	if w := b.weight(); b.Weight != nil || b.WeightG != nil {
		c.fishWeight(&w, b.Count, "/weight_kg")
	}
	c.optionalOf(b.LengthType, "/length_type", "total", "standard", "fork")
	c.require((b.MeanLengthCM == nil) == (b.LengthType == nil), "/length_type", "a length needs its type (total, standard or fork), and a type a length")
	c.require(b.MeanLengthCM == nil || *b.MeanLengthCM > 300 && *b.MeanLengthCM <= 180_000, "/mean_length_cm", "must be more than 0.3 and at most 180 cm")
	c.require(b.WeightCVPercent == nil || *b.WeightCVPercent >= 0 && *b.WeightCVPercent <= 300_000, "/weight_cv_percent", "must be between 0 and 300")
}

func (b Count) check(c *checker) {
	c.require(b.Count >= 0, "/count", "must not be negative")
	c.require(b.Weight == nil || b.Count > 0, "/weight_kg", "no fish have no weight")
	if b.Weight != nil && b.Count > 0 {
		w := b.Weight.Milligrams()
		c.fishWeight(&w, b.Count, "/weight_kg")
	}
}

func (b Move) check(c *checker) {
	c.require((b.ToBatch == nil) != (b.ToUnit == nil), "/to_batch_id", "give the batch the fish go to, or the unit the whole batch goes to")
	c.require(b.ToBatch == nil || *b.ToBatch != b.Batch, "/to_batch_id", "must be another batch")
	if b.ToUnit != nil {
		c.require(b.Count == nil && !b.Empties, "/count", "the whole batch goes to the unit: give no count")
		return
	}
	c.require(b.Count != nil && *b.Count >= 1, "/count", "say how many fish were moved")
	if b.Weight != nil && b.Count != nil {
		w := b.Weight.Milligrams()
		c.fishWeight(&w, *b.Count, "/weight_kg")
	}
}

func (b Harvest) check(c *checker) {
	c.require(b.Weight >= 1, "/weight_kg", "must be more than 0")
	c.require(b.Count == nil || *b.Count >= 1, "/count", "must be at least 1")
	c.require(b.SizeClass == nil || fits(*b.SizeClass, 40), "/size_class", "must be 1 to 40 characters")
	c.optionalOf(b.Destination, "/destination", "eaten", "sold", "given", "discarded", "kept")
	if b.OverrideWithdrawal != nil {
		c.require(len(*b.OverrideWithdrawal) >= 3 && fits(*b.OverrideWithdrawal, 500), "/override_withdrawal", "say why, so that others understand it later")
		c.require(b.food(), "/override_withdrawal", "only a harvest for food needs it")
	}
	if b.Count != nil && *b.Count >= 1 {
		w := b.Weight.Milligrams()
		c.fishWeight(&w, *b.Count, "/weight_kg")
	}
}

// heaviest is the weight above which no fish of the species kept in tanks is
// believed: 60 kg (common practice, no source). mostFishWeight is that above
// which nobody stocked, moved or weighed fish at once.
const (
	heaviest       = Milligrams(60_000_000)
	mostFishWeight = Milligrams(mostGrams * 1000)
)

func (c *checker) fishWeight(total *Milligrams, n Fish, pointer string) {
	if total == nil {
		return
	}
	c.require(*total > 0, pointer, "must be more than 0")
	c.require(*total <= mostFishWeight, pointer, "is too large")
	if n > 0 && *total/Milligrams(n) > heaviest {
		c.add(pointer, "is more than 60 kg a fish: look at the unit (g or kg) and the count")
	}
}

// prices judges an amount, or a price and what comes of it.
func (c *checker) prices(amount *Money, price *UnitPrice, cost Money) {
	c.require(amount == nil || *amount >= 0, "/amount", "must not be negative")
	c.require(price == nil || *price > 0, "/unit_price", "must be more than 0")
	c.require(price == nil || cost <= mostMoney, "/unit_price", "is too large")
}

// optionalOf judges one word of a list that may be left out.
func (c *checker) optionalOf(word *string, pointer string, allowed ...string) {
	if word != nil {
		c.oneOf(*word, pointer, allowed...)
	}
}

// weight returns the weight of all fish stocked, or nil if it is not known.
func (b Stocking) weight() *Milligrams {
	switch {
	case b.MeanWeight != nil:
		w := *b.MeanWeight * Milligrams(b.Count)
		return &w
	case b.Weight != nil:
		w := b.Weight.Milligrams()
		return &w
	}
	return nil
}

func (b Stocking) cost() Money { return priceOf(b.Amount, b.UnitPrice, int64(b.Count)*1000) }

func (b Sample) weight() Milligrams {
	if b.WeightG != nil {
		return *b.WeightG
	}
	if b.Weight != nil {
		return b.Weight.Milligrams()
	}
	return 0
}

// priceOf returns the amount, or else the price of so many thousandths.
func priceOf(amount *Money, price *UnitPrice, thousandths int64) Money {
	switch {
	case amount != nil:
		return *amount
	case price != nil:
		return price.times(thousandths)
	}
	return 0
}
