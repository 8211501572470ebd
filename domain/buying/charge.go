package buying

// Drop is what one buyer gets of an order.
type Drop struct {
	Pieces int64 // by which the price of the order is shared
	Weight int64 // by which its fee is shared: the pieces again, or what they weigh
	Cost   int64 // of this drop and no other
	Reach  int64 // what the route costs if it ends at this drop; 0: there is none
}

// Part is what one buyer pays of an order, in the smallest unit of money.
type Part struct {
	Price int64 // of the pieces
	Fee   int64 // of the order
	Drop  int64
	Route int64
}

// Sum returns all that is paid.
func (p Part) Sum() int64 { return p.Price + p.Fee + p.Drop + p.Route }

// Charge says who pays what of one order: its price by the pieces and its fee by the
// weight of the drops, both by the largest remainder, what a drop costs whoever gets it,
// and the route along its stops by the rule of [Airport]. Each of the four is shared to
// the smallest unit: the prices sum to price, the fees to fee, the routes to the greatest
// reach. Drops that are alike pay the same to one unit in each, whoever has more of
// what a part is shared by pays no less of it; of what is left over the first get more,
// so that callers sort by a stable id. Where no drop has any pieces or weight, it is
// shared equally. Without drops there is nobody to pay, and no part.
func Charge(price, fee int64, drops []Drop) []Part {
	if len(drops) == 0 {
		return nil
	}
	pieces, weights, reaches := make([]int64, len(drops)), make([]int64, len(drops)), make([]int64, len(drops))
	for i, d := range drops {
		pieces[i], weights[i], reaches[i] = d.Pieces, d.Weight, d.Reach
	}
	prices, fees, routes := shareAll(price, pieces), shareAll(fee, weights), Airport(reaches)
	parts := make([]Part, len(drops))
	for i, d := range drops {
		parts[i] = Part{prices[i], fees[i], d.Cost, routes[i]}
	}
	return parts
}

// shareAll is [Shares] that leaves nothing unshared.
func shareAll(total int64, weights []int64) []int64 {
	if shares := Shares(total, weights); shares != nil {
		return shares
	}
	equal := make([]int64, len(weights))
	for i := range equal {
		equal[i] = 1
	}
	return Shares(total, equal)
}

// Cap sees to it that nobody pays more than what they need costs alone: whoever would
// pays that, and what is missing then is borne by those who save, in proportion to
// what they save, so that nobody who saves comes to pay more than alone either. Alone
// below 0 is for those who could not buy alone at all; they bear what the others' savings
// are too small for, in proportion to what they pay. The sum stays what it was.
//
// It returns false, and what is paid as it was, where that is not possible: where the
// whole costs more than all pay alone together, and there is nobody else to bear it.
func Cap(pays, alone []int64) (capped []int64, ok bool) {
	savings, without := make([]int64, len(pays)), make([]int64, len(pays))
	capped = append([]int64(nil), pays...)
	var over, saved int64
	for i, p := range pays {
		switch {
		case alone[i] < 0:
			without[i] = p
		case p > alone[i]:
			over += p - alone[i]
			capped[i] = alone[i]
		default:
			savings[i] = alone[i] - p
			saved += savings[i]
		}
	}
	add := func(total int64, weights []int64) bool {
		shares := Shares(total, weights)
		for i, more := range shares {
			capped[i] += more
		}
		return shares != nil || total == 0
	}
	if !add(min(over, saved), savings) || !add(over-min(over, saved), without) {
		return append([]int64(nil), pays...), false
	}
	return capped, true
}
