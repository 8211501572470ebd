// Package buying decides, over plain numbers, how what many need is bought together:
// from whom and how much, who gets what of too little, and who pays which part.
package buying

import (
	"errors"
	"fmt"
	"math"
)

// Step is a price for one piece that holds from a quantity of an order on.
type Step struct{ From, Price int64 }

// Seller is one who can be ordered from. All amounts are in one small unit of money.
type Seller struct {
	Steps       []Step // by rising From, at falling prices; the first from 1
	Incremental bool   // the price of a step is for what is above it; else for the whole order
	Fee         int64  // for an order, whatever is in it
	Least       int64  // pieces of an order, if there is one
	Most        int64  // pieces there are
	Pack        int64  // orders are for whole packs of so many pieces
	Group       int    // of all sellers with the same number, but 0, at most one is ordered from

	fills []int64 // by the number of packs: see [Seller.fill]
}

// Lot is what it takes for one seller to meet the need of one buyer.
type Lot struct {
	Pieces int64 // that must be sent; 0: this seller cannot, or must not
	Cost   int64 // besides the price: for the drop, or the way from a meeting point
	Reach  int64 // what the seller's route costs if this stop is the farthest on it
}

// Problem is who needs what, and who can send it. Each buyer is served by one seller:
// fish of two origins in one tank bring each other's diseases, and the bigger ones eat
// the smaller.
type Problem struct {
	Sellers []Seller
	Lots    [][]Lot // by buyer and seller
	Work    int     // about how many times the cost of a lot may be looked at; 0: 600 000 000
}

// Plan is from whom each buyer gets, at the least cost found.
type Plan struct {
	Seller  []int   // by buyer
	Ordered []int64 // pieces, by seller: at least what is sent, more where a step or a pack makes it cheaper
	Cost    int64
	Bound   int64 // no plan costs less
	Nodes   int   // looked at
}

// Gap returns by how much the cost may be above the least one; 0 is proof that it is not.
func (p Plan) Gap() int64 { return p.Cost - p.Bound }

// ErrNone says that no seller, or no choice of sellers, can meet all needs.
var ErrNone = errors.New("the needs cannot all be met by what is offered")

// maxSellers is what fits into the set of sellers kept for each buyer.
const maxSellers = 64

// Check refuses a problem that cannot be solved as it is written.
func (p Problem) Check() error {
	if len(p.Sellers) == 0 || len(p.Sellers) > maxSellers {
		return fmt.Errorf("there must be 1 to %d sellers", maxSellers)
	}
	for i, s := range p.Sellers {
		if len(s.Steps) == 0 || s.Steps[0].From != 1 {
			return fmt.Errorf("seller %d: the first step must be from 1", i)
		}
		for k, step := range s.Steps {
			if step.Price < 0 || k > 0 && (step.From <= s.Steps[k-1].From || step.Price > s.Steps[k-1].Price) {
				return fmt.Errorf("seller %d: steps must begin one after the other, at prices that do not rise", i)
			}
		}
		if s.Pack < 1 || s.Fee < 0 || s.Least < 0 || s.Most < s.Least {
			return fmt.Errorf("seller %d: the pack must be at least 1, fee and least order not negative, and there must be as much as the least order", i)
		}
	}
	for i, lots := range p.Lots {
		if len(lots) != len(p.Sellers) {
			return fmt.Errorf("buyer %d: there must be a lot for every seller", i)
		}
		for _, l := range lots {
			if l.Pieces < 0 || l.Cost < 0 || l.Reach < 0 {
				return fmt.Errorf("buyer %d: pieces and costs must not be negative", i)
			}
		}
	}
	return nil
}

// Price returns what an order of so many pieces costs without the fee.
func (s *Seller) Price(pieces int64) int64 {
	var total int64
	for k, step := range s.Steps {
		if pieces < step.From {
			break
		}
		if !s.Incremental {
			total = step.Price * pieces
			continue
		}
		end := pieces
		if k+1 < len(s.Steps) {
			end = min(end, s.Steps[k+1].From-1)
		}
		total += step.Price * (end - step.From + 1)
	}
	return total
}

// Order returns the cheapest order with which so many pieces can be sent, fee
// included, and whether there is one. It may be for more than is sent.
func (s *Seller) Order(pieces int64) (ordered, cost int64, ok bool) {
	return s.orderWithin(pieces, 0, s.Most)
}

// orderWithin is Order for an order of lo to hi pieces.
func (s *Seller) orderWithin(pieces, lo, hi int64) (ordered, cost int64, ok bool) {
	if pieces == 0 && lo == 0 {
		return 0, 0, true
	}
	cost = math.MaxInt64
	at := func(q int64) {
		q = s.packed(max(q, pieces, lo, s.Least, 1))
		if q > min(hi, s.Most) {
			return
		}
		if c := s.Price(q) + s.Fee; c < cost || c == cost && q < ordered {
			ordered, cost, ok = q, c, true
		}
	}
	at(0)
	for _, step := range s.Steps {
		at(step.From)
	}
	return ordered, cost, ok
}

// rises returns the orders at which a step begins, each with the least cost of it and
// of those after it: buying more than is needed, up to one of them, may be cheaper.
func (s *Seller) rises() []corner {
	var list []corner
	for _, step := range s.Steps {
		if q := s.packed(max(step.From, s.Least)); q <= s.Most {
			list = append(list, corner{q, s.Price(q) + s.Fee, q})
		}
	}
	for k := len(list) - 2; k >= 0; k-- {
		list[k].cost = min(list[k].cost, list[k+1].cost)
	}
	return list
}

func (s *Seller) packed(q int64) int64 {
	if s.Pack == 1 {
		return q
	}
	return (q + s.Pack - 1) / s.Pack * s.Pack
}

// corner is an order that may be the best one for some value of a piece: between
// two of them the price is a straight line.
type corner struct {
	pieces, cost int64
	sent         int64 // of the pieces, at the most
}

// corners returns the corners of the orders of lo to hi pieces; none, if there are
// no such orders.
func (s *Seller) corners(lo, hi int64) []corner {
	first := s.packed(max(lo, s.Least, 1))
	last := min(hi, s.Most) / s.Pack * s.Pack
	if first > last {
		return nil
	}
	list := []corner{{first, s.Price(first) + s.Fee, s.fill(first)}}
	add := func(q int64) {
		if q > list[len(list)-1].pieces && q <= last {
			list = append(list, corner{q, s.Price(q) + s.Fee, s.fill(q)})
		}
	}
	for q := first + s.Pack; q/s.Pack <= int64(len(s.fills)) && q <= last; q += s.Pack {
		add(q)
	}
	for _, step := range s.Steps {
		up := s.packed(step.From)
		add(up - s.Pack)
		add(up)
	}
	add(last)
	return list
}
