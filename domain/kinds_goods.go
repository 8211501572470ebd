package domain

// Receipt brings a product into the site's store.
type Receipt struct {
	Product   ProductID
	Quantity  Quantity
	Origin    string // bought, donated, opening
	Supplier  *PartyID
	Amount    *Money // of a donation: its value, kept apart from cost
	UnitPrice *UnitPrice
	Lot       *string
	ExpiresOn *Date
	Paid      bool
}

// Feeding gives feed from the store to a batch.
type Feeding struct {
	Batch    BatchID
	Product  ProductID
	Weight   Grams
	Response *string // good, fair, poor, none
}

// Use takes an input other than feed from the store, for a batch or for the
// whole site. Electricity and water are used without a store.
type Use struct {
	Product  ProductID
	Quantity Quantity
	Batch    *BatchID
}

// Stocktake says how much of a product the store holds.
type Stocktake struct {
	Product  ProductID
	Quantity Quantity
}

// Sent hands goods or fish over for another site of the co-operative.
type Sent struct {
	ToSite   SiteID
	Product  *ProductID
	Quantity *Quantity
	Batch    *BatchID
	Count    *Fish
	Weight   *Grams
	Empties  bool
}

// Received takes over what another site sent. What is less than was sent was
// lost on the way.
type Received struct {
	Sent     EntryID
	Quantity *Quantity
	Batch    *BatchID
	Count    *Fish
	Weight   *Grams
}

// Crop is what was picked from a grow bed.
type Crop struct {
	Unit   UnitID
	Crop   string
	Weight Grams
}

func (Receipt) Kind() string   { return "receipt" }
func (Feeding) Kind() string   { return "feeding" }
func (Use) Kind() string       { return "use" }
func (Stocktake) Kind() string { return "stocktake" }
func (Sent) Kind() string      { return "sent" }
func (Received) Kind() string  { return "received" }
func (Crop) Kind() string      { return "crop" }

func (Receipt) rank() rank   { return rankIn }
func (Feeding) rank() rank   { return rankDaily }
func (Use) rank() rank       { return rankDaily }
func (Stocktake) rank() rank { return rankCount }
func (Sent) rank() rank      { return rankOut }
func (Received) rank() rank  { return rankIn }
func (Crop) rank() rank      { return rankOther }

func (b Receipt) Refs() Refs {
	r := Refs{Product: &b.Product, Party: b.Supplier}
	if b.Supplier != nil && !b.Paid && b.Origin == "bought" {
		r.Owed = -b.cost()
	}
	return r
}
func (b Feeding) Refs() Refs   { return Refs{Batch: &b.Batch, Product: &b.Product} }
func (b Use) Refs() Refs       { return Refs{Batch: b.Batch, Product: &b.Product} }
func (b Stocktake) Refs() Refs { return Refs{Product: &b.Product} }
func (b Sent) Refs() Refs      { return Refs{Batch: b.Batch, Product: b.Product, ToSite: &b.ToSite} }
func (b Received) Refs() Refs  { return Refs{Batch: b.Batch, Entry: &b.Sent} }
func (b Crop) Refs() Refs      { return Refs{Unit: &b.Unit} }

func (b Receipt) check(c *checker) {
	c.oneOf(b.Origin, "/origin", "bought", "donated", "opening")
	c.require(b.Quantity > 0, "/quantity", "must be more than 0")
	c.require(b.Lot == nil || fits(*b.Lot, 60), "/lot", "must be 1 to 60 characters")
	c.require(b.Amount == nil || b.UnitPrice == nil, "/unit_price", "give the amount or the price for one unit, not both")
	c.prices(b.Amount, b.UnitPrice, b.cost())
}

func (b Feeding) check(c *checker) {
	c.require(b.Weight > 0, "/weight_kg", "must be more than 0")
	c.optionalOf(b.Response, "/response", "good", "fair", "poor", "none")
}

func (b Use) check(c *checker) {
	c.require(b.Quantity > 0, "/quantity", "must be more than 0")
}

func (b Stocktake) check(c *checker) {
	c.require(b.Quantity >= 0, "/quantity", "must not be negative")
}

func (b Sent) check(c *checker) {
	goods, fish := b.Product != nil, b.Batch != nil
	c.require(goods != fish, "/product_id", "give the product or the batch that was sent, one of the two")
	if goods {
		c.require(b.Quantity != nil && *b.Quantity > 0, "/quantity", "say how much was sent")
		c.require(b.Count == nil && b.Weight == nil && !b.Empties, "/count", "goods have no count of fish")
	}
	if fish {
		c.require(b.Count != nil && *b.Count >= 1, "/count", "say how many fish were sent")
		c.require(b.Quantity == nil, "/quantity", "fish are sent by count and weight_kg")
		if b.Weight != nil && b.Count != nil {
			w := b.Weight.Milligrams()
			c.fishWeight(&w, *b.Count, "/weight_kg")
		}
	}
}

func (b Received) check(c *checker) {
	c.require((b.Quantity != nil) != (b.Batch != nil), "/quantity", "give the quantity of goods, or the batch that takes the fish")
	c.require(b.Quantity == nil || *b.Quantity >= 0, "/quantity", "must not be negative")
	if b.Batch != nil {
		c.require(b.Count != nil && *b.Count >= 0, "/count", "say how many fish arrived alive")
		c.require(b.Weight == nil || b.Count == nil || *b.Count > 0, "/weight_kg", "no fish have no weight")
		if b.Weight != nil && b.Count != nil {
			w := b.Weight.Milligrams()
			c.fishWeight(&w, *b.Count, "/weight_kg")
		}
	} else {
		c.require(b.Count == nil && b.Weight == nil, "/count", "goods have no count of fish")
	}
}

func (b Crop) check(c *checker) {
	c.require(b.Weight > 0, "/weight_kg", "must be more than 0")
	c.require(fits(b.Crop, 80), "/crop", "say what was picked, in 1 to 80 characters")
}

func (b Receipt) cost() Money { return priceOf(b.Amount, b.UnitPrice, int64(b.Quantity)) }
