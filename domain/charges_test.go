package domain

import (
	"testing"

	"pgregory.net/rapid"
)

// at returns the id of the nth site, request or whatever.
func at[T any](n int) ID[T] { return ID[T]{14: byte(n >> 8), 15: byte(n)} }

// Computed by hand. Airport rule, Littlechild & Owen 1973 (published source): ways of
// 8, 11, 13 and 18 cost 2, 3, 4 and 9.
func TestChargeRound(t *testing.T) {
	t.Parallel()
	q := &Quote{FeePerKm: 10_000, FeeDrop: 5, FeeOrder: 10, MeanWeight: ptr(Milligrams(1000))}
	o := OrderDue{Quote: q, Price: 1000}
	for i, km := range []Thousandths{8_000, 11_000, 13_000, 18_000} {
		q.Stops = append(q.Stops, Stop{at[SiteFacts](i + 1), km})
		o.Lines = append(o.Lines, LineDue{Request: at[Request](i + 1), Site: at[SiteFacts](i + 1), Ordered: 25, Due: 25})
	}
	o.Lines[3].Credit = 50
	c := ChargeRound([]OrderDue{o}, FeesByCount, map[SiteID]Money{at[SiteFacts](1): 255, at[SiteFacts](2): 300, at[SiteFacts](3): 300, at[SiteFacts](4): 300})
	want := []LineCharge{
		{Due: 25, Price: 250, Fee: 3, Drop: 5, Route: 2, Level: -5},
		{Due: 25, Price: 250, Fee: 3, Drop: 5, Route: 3, Level: 1},
		{Due: 25, Price: 250, Fee: 2, Drop: 5, Route: 4, Level: 1},
		{Due: 25, Price: 250, Fee: 2, Drop: 5, Route: 9, Credit: 50, Level: 3},
	}
	if !c.Level || len(c.Lines) != len(want) {
		t.Fatalf("%+v", c)
	}
	for i, l := range c.Lines {
		if l.Request, l.Site = (RequestID{}), (SiteID{}); l != want[i] {
			t.Errorf("line %d: %+v, want %+v", i, l, want[i])
		}
	}
	sites := c.BySite(map[SiteID]Money{at[SiteFacts](1): 200, at[SiteFacts](9): 7})
	if len(sites) != 5 || sites[0].Charged != 255 || sites[0].Owed() != 55 || sites[3].Charged != 219 || sites[4].Owed() != -7 {
		t.Errorf("%+v", sites)
	}
}

// Of an order of 100 for 1000 only 60 could be shared out: 600 are due.
func TestChargeOfAShortOrder(t *testing.T) {
	t.Parallel()
	o := OrderDue{Quote: &Quote{}, Price: 1000, Lines: []LineDue{
		{Request: at[Request](1), Site: at[SiteFacts](1), Ordered: 50, Due: 40},
		{Request: at[Request](2), Site: at[SiteFacts](2), Ordered: 30, Due: 20},
		{Request: at[Request](3), Site: at[SiteFacts](3), Ordered: 20},
	}}
	c := ChargeRound([]OrderDue{o}, FeesByCount, nil)
	if len(c.Lines) != 2 || c.Lines[0].Total() != 400 || c.Lines[1].Total() != 200 {
		t.Errorf("%+v", c)
	}
	o.Lines[0].Due, o.Lines[1].Due = 0, 0
	if c = ChargeRound([]OrderDue{o}, FeesByCount, nil); len(c.Lines) != 0 {
		t.Errorf("%+v", c)
	}
}

// By weight the fee of the order goes by what came, and by count by what is due (computed).
func TestFeeByWhatCame(t *testing.T) {
	t.Parallel()
	o := OrderDue{Quote: &Quote{FeeOrder: 90, MeanWeight: ptr(Milligrams(2000))}, Lines: []LineDue{
		{Request: at[Request](1), Site: at[SiteFacts](1), Ordered: 50, Due: 50, Came: ptr(Pieces(40))},
		{Request: at[Request](2), Site: at[SiteFacts](2), Ordered: 50, Due: 50, Came: ptr(Pieces(50))},
	}}
	for by, want := range map[string][2]Money{FeesByWeight: {40, 50}, FeesByCount: {45, 45}} {
		c := ChargeRound([]OrderDue{o}, by, nil)
		if got := [2]Money{c.Lines[0].Fee, c.Lines[1].Fee}; got != want {
			t.Errorf("by %s the fee is shared as %v, want %v", by, got, want)
		}
	}
}

// Fish that came where none were due are billed all the same, and somebody pays: who got
// them. Where nothing was due at all, that is all there is to pay.
func TestChargeOfASurplusWhereNothingWasDue(t *testing.T) {
	t.Parallel()
	o := OrderDue{Quote: &Quote{FeeOrder: 10}, Price: 1000, Lines: []LineDue{
		{Request: at[Request](1), Site: at[SiteFacts](1), Ordered: 50, Due: 50},
		{Request: at[Request](2), Site: at[SiteFacts](2), Ordered: 50, Credit: -70},
	}}
	alone := map[SiteID]Money{at[SiteFacts](1): 500, at[SiteFacts](2): 600}
	sites := ChargeRound([]OrderDue{o}, FeesByCount, alone)
	if got := sites.BySite(nil); len(got) != 2 || got[0].Charged != 500 || got[1].Charged != 80 {
		t.Errorf("%+v", got) // 510 and 70, of which 10 are above alone
	}
	o.Lines[0].Due, o.Lines[0].Credit = 0, 20
	if got := ChargeRound([]OrderDue{o}, FeesByCount, alone); len(got.Lines) != 2 || got.Lines[0].Total()+got.Lines[1].Total() != 50 {
		t.Errorf("%+v", got)
	}
}

// drawOrder draws an order as it may be charged.
func drawOrder(t *rapid.T, sites, first int) OrderDue {
	money := func(name string) Money { return Money(rapid.Int64Range(0, 1e7).Draw(t, name)) }
	q := &Quote{FeeOrder: money("order"), FeeDrop: money("drop"), FeePerKm: UnitPrice(rapid.Int64Range(0, 1e8).Draw(t, "km fee")), MeanWeight: ptr(Milligrams(5000))}
	for i, km := 0, Thousandths(0); i < sites; i++ {
		km += Thousandths(rapid.Int64Range(0, 50_000).Draw(t, "km"))
		q.Stops = append(q.Stops, Stop{at[SiteFacts](i), km})
	}
	o := OrderDue{Quote: q, Price: money("price")}
	for i := range rapid.IntRange(1, 6).Draw(t, "lines") {
		ordered := rapid.Int64Range(1, 1000).Draw(t, "ordered")
		due := rapid.Int64Range(0, ordered).Draw(t, "due")
		l := LineDue{Request: at[Request](first + i), Site: at[SiteFacts](rapid.IntRange(0, sites-1).Draw(t, "site")), Ordered: Pieces(ordered), Due: Pieces(due)}
		if rapid.Bool().Draw(t, "came") {
			l.Came = ptr(Pieces(rapid.Int64Range(0, 1200).Draw(t, "came")))
		}
		o.Lines = append(o.Lines, l)
	}
	return o
}

// Whatever is ordered, shared out, delivered and credited: each part sums to what it is
// of, what one gets off others bear, and nobody pays more than alone or less than nothing.
func TestChargeProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		const sites = 4
		orders := []OrderDue{drawOrder(t, sites, 0)}
		if rapid.Bool().Draw(t, "two orders") {
			orders = append(orders, drawOrder(t, sites, 100))
		}
		feesBy := rapid.SampledFrom([]string{FeesByCount, FeesByWeight}).Draw(t, "fees by")
		alone := map[SiteID]Money{}
		for i := range sites {
			if rapid.IntRange(0, 3).Draw(t, "alone") > 0 {
				alone[at[SiteFacts](i)] = Money(rapid.Int64Range(0, 4e7).Draw(t, "alone"))
			}
		}
		// What was credited is not more than the price.
		for i, c := range ChargeRound(orders, feesBy, alone).Lines {
			for o := range orders {
				for l := range orders[o].Lines {
					if line := &orders[o].Lines[l]; line.Request == c.Request && i%2 == 0 {
						line.Credit = Money(rapid.Int64Range(-100, int64(c.Price)).Draw(t, "credit"))
					}
				}
			}
		}
		var credit, credited Money
		for o := range orders {
			for l := range orders[o].Lines {
				line := &orders[o].Lines[l]
				if line.Due == 0 { // what came all the same
					line.Credit = -Money(rapid.Int64Range(0, 100).Draw(t, "surplus"))
				}
				credit += line.Credit
			}
		}
		c := ChargeRound(orders, feesBy, alone)
		for _, l := range c.Lines {
			credited += l.Credit
		}
		if credited != credit {
			t.Fatalf("%d is credited, and %d of it taken off", credit, credited)
		}
		var level Money
		for _, o := range orders {
			var price, fee, drop, route, farthest, wantPrice, wantDrop Money
			var ordered, due Pieces
			places := map[SiteID]bool{}
			for _, l := range o.Lines {
				ordered, due = ordered+l.Ordered, due+l.Due
				if l.Due > 0 {
					km, _ := o.Quote.KmTo(l.Site)
					farthest, places[l.Site] = max(farthest, o.Quote.RouteFee(km)), true
				}
				for _, got := range c.Lines {
					if got.Request == l.Request {
						price, fee, drop, route = price+got.Price, fee+got.Fee, drop+got.Drop, route+got.Route
					}
				}
			}
			wantFee := o.Quote.FeeOrder
			if wantPrice, wantDrop = Money(mulDiv(int64(o.Price), int64(due), int64(ordered))), o.Quote.FeeDrop*Money(len(places)); due == 0 {
				wantFee = 0
			}
			if price != wantPrice || fee != wantFee || drop != wantDrop || route != farthest {
				t.Fatalf("%d %d %d %d, want %d %d %d %d", price, fee, drop, route, wantPrice, wantFee, wantDrop, farthest)
			}
		}
		for _, l := range c.Lines {
			if level += l.Level; l.Total() < 0 {
				t.Fatalf("%+v pays %d", l, l.Total())
			}
		}
		if level != 0 {
			t.Fatalf("%d more is paid than it costs", level)
		}
		for _, s := range c.BySite(nil) {
			if a, ok := alone[s.Site]; ok && c.Level && s.Charged > a {
				t.Fatalf("%+v pays more than %d", s, a)
			}
		}
	})
}
