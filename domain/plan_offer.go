package domain

import (
	"cmp"
	"fmt"
	"math"
	"math/bits"
	"slices"

	"shoalbook/domain/buying"
	"shoalbook/domain/husbandry"
)

// KeepsDays is for how many days after the last day of delivery a product must keep: a
// month to use it up, common practice, no source.
const KeepsDays = 30

// usualDay30 is how many of the fish that arrived are dead by day 30, of a supplier
// without a record: 10 %, common practice, no source.
const usualDay30 Thousandths = 10_000

// way is one way to order by a quote: to arrive on a day, and going no further than to
// what some row of the table of transport loads is for.
type way struct {
	quote int // in the ask
	on    Date
	hours float64  // the longest way; 0: any
	most  int64    // pieces that can be carried
	each  int64    // pieces in each of so many bags as there are; 0: it does not matter
	lots  []served // by request
}

// served is what one request would get by a way.
type served struct {
	pieces, alive int64
	reason        string // why it cannot; empty: it can
	detail        string // the figures of that, which differ from request to request
}

// losses returns what is expected of the fish of a quote.
func (a *PlanAsk) losses(q *Quote) (short, dead, later Thousandths) {
	short, dead, later = q.ShortPercent, q.DeathsPercent, usualDay30
	if l, ok := a.Losses[q.Party]; ok {
		short, dead = l.ShortPercent, l.DeathsPercent
		if l.Day30Percent != nil {
			later = *l.Day30Percent
		}
	}
	if a.Need != NeedDay30 {
		later = 0
	}
	return short, dead, later
}

// sized returns how many must be ordered by a quote for a need, and how many are
// expected to be alive of them when it is counted; 0 if they would be more on arrival
// than the request can take, and too few if they were not.
func (a *PlanAsk) sized(q *Quote, r *Request, need Pieces) (pieces, alive int64) {
	const whole = 100_000
	short, dead, later := a.losses(q)
	left := int64(whole-dead) * int64(whole-later) // of whole², of those that came
	pieces, err := husbandry.OrderSize(int64(need), int64(short)*whole, whole*whole-left, whole*whole)
	if err != nil {
		return 0, 0
	}
	arrive := func(n int64) int64 {
		return portion(n, int64(whole-short)*int64(whole-dead), whole*whole)
	}
	for pieces > 0 && arrive(pieces) > int64(r.Most) {
		pieces -= max(1, (arrive(pieces)-int64(r.Most))/2)
	}
	alive = portion(pieces, int64(whole-short)*left, whole*whole*whole)
	if alive < int64(r.Least) {
		return 0, 0
	}
	return pieces, alive
}

// portion returns n × part ÷ whole, rounded down; part is at most the whole.
func portion(n, part, whole int64) int64 {
	hi, lo := bits.Mul64(uint64(n), uint64(part))
	quo, _ := bits.Div64(hi, lo, uint64(whole))
	return int64(quo)
}

// ways returns the ways to order by a quote for some needs, by request, and why there is
// none.
func (a *PlanAsk) ways(k int, needs []Pieces) (ways []way, reason string) {
	q := &a.Quotes[k]
	first, last := max(q.Earliest, a.Round.WindowFrom, a.Today), min(q.Latest, a.Round.WindowTo)
	switch {
	case q.Withdrawn:
		return nil, "it was withdrawn"
	case !q.ValidOn(a.Today):
		return nil, fmt.Sprintf("it was valid until %s: ask the supplier for a new one", q.ValidUntil)
	case first > last:
		return nil, fmt.Sprintf("it is delivered from %s to %s, and the round wants it from %s to %s", q.Earliest, q.Latest, max(a.Round.WindowFrom, a.Today), a.Round.WindowTo)
	case q.ExpiresOn != nil && *q.ExpiresOn < a.Round.WindowTo+KeepsDays:
		return nil, fmt.Sprintf("it expires on %s, which is less than %d days after the last day of delivery", *q.ExpiresOn, KeepsDays)
	}
	days := []Date{first}
	for i := range a.Requests {
		if d := a.Requests[i].Earliest; d > first && d <= last && !slices.Contains(days, d) {
			days = append(days, d)
		}
	}
	slices.Sort(days)
	for _, on := range days {
		lots := make([]served, len(a.Requests))
		for i := range a.Requests {
			lots[i] = a.lot(q, i, on, needs)
		}
		ways = append(ways, a.carried(k, on, lots)...)
	}
	return ways, ""
}

// smallest returns the smallest order there can be.
func (q *Quote) smallest() int64 { return int64(ceilDiv(max(q.LeastOrder, 1), q.Pack) * q.Pack) }

// useful leaves out the ways that can serve nobody, and those that another is as good as.
func (a *PlanAsk) useful(ways []way) []way {
	return withoutDouble(slices.DeleteFunc(slices.Clone(ways), func(w way) bool {
		q := &a.Quotes[w.quote]
		return w.most < q.smallest() || !slices.ContainsFunc(w.lots, func(l served) bool { return l.reason == "" })
	}))
}

const (
	otherDays     = "it does not come on the days that were asked for"
	tooSmallShare = "its share of what is offered is less than it can use"
)

// lot returns what a request would get by a quote on a day.
func (a *PlanAsk) lot(q *Quote, i int, on Date, needs []Pieces) served {
	r := &a.Requests[i]
	km, reached := q.KmTo(r.Site)
	switch {
	case r.SizeFrom != nil && q.MeanWeight != nil && *q.MeanWeight < *r.SizeFrom:
		return served{reason: "its fish are too small"}
	case r.SizeTo != nil && q.MeanWeight != nil && *q.MeanWeight > *r.SizeTo:
		return served{reason: "its fish are too big"}
	case !reached:
		return served{reason: "it does not deliver there"}
	case on < r.Earliest || on > r.Latest:
		return served{reason: otherDays}
	}
	pieces, alive := a.sized(q, r, cmp.Or(needs[i], r.Least))
	switch {
	case pieces == 0:
		return served{reason: "so many would have to be ordered for the losses that more may arrive than can be taken"}
	case pieces > int64(q.Most):
		return served{reason: fmt.Sprintf("it offers no more than %d", q.Most)}
	}
	reason, detail := a.unfit(q, q.hours(km))
	if needs[i] == 0 {
		reason = cmp.Or(reason, tooSmallShare)
	}
	return served{pieces, alive, reason, detail}
}

// hours returns how long the way is.
func (q *Quote) hours(km Thousandths) float64 { return float64(km) / float64(q.SpeedKmH) }

// known reports whether it can be told how full the water of the quote is.
func (a *PlanAsk) known(q *Quote) bool {
	if !a.Round.Fish() || q.MeanWeight == nil || q.Litres == nil || q.TemperatureC == nil || q.CarriedIn == nil {
		return false
	}
	_, of := husbandry.Limits(*a.Round.Species)
	return of && float64(*q.MeanWeight) >= husbandry.BagSmall*1000
}

// unfit says why fish cannot go that far in the water of the quote, with the figures;
// empty: they can, or nobody knows.
func (a *PlanAsk) unfit(q *Quote, hours float64) (reason, detail string) {
	if hours == 0 || !a.known(q) {
		return "", ""
	}
	load, ok := husbandry.BagLoads(hours, float64(*q.TemperatureC)/1000)
	if !ok {
		return "its way is too long or its water too warm to say that the fish go well", fmt.Sprintf("the way of %s in water of %s °C is outside the table of loads", several(hours, "hour"), spoken(float64(*q.TemperatureC)/1000))
	}
	each := int64(1)
	if q.FishPerVessel != nil {
		each = int64(*q.FishPerVessel)
	}
	if fine := q.fine(load); each > fine {
		return "it packs the fish too tightly for the way", fmt.Sprintf("%s fish in %s of water go well for no more than %s g in a litre on the way of %s",
			spoken(float64(each)), several(float64(*q.Litres)/1000, "litre"), spoken(load.Low), several(hours, "hour"))
	}
	return "", ""
}

// fineFor returns how many fish go well in one for some hours; 0: nobody knows.
func (q *Quote) fineFor(hours float64) int64 {
	load, ok := husbandry.BagLoads(hours, float64(*q.TemperatureC)/1000)
	if !ok {
		return 0
	}
	return q.fine(load)
}

// fine returns how many fish go well in one bag or tank of the quote.
func (q *Quote) fine(load husbandry.BagLoad) int64 {
	return int64(math.Floor(load.Low*float64(*q.Litres)/float64(*q.MeanWeight) + 1e-9)) // ml and mg
}

// carried returns the ways to carry so much: one, where there are as many bags or tanks
// as it takes; else one for each row of the table, in which no fish go further than the
// row is for and all the water is judged by it, also that of those who do not go as far.
func (a *PlanAsk) carried(k int, on Date, lots []served) []way {
	q := &a.Quotes[k]
	if q.FishPerVessel != nil && q.Vessels != nil {
		each := int64(*q.FishPerVessel)
		return []way{{k, on, 0, min(int64(q.Most), *q.Vessels*each), each, lots}}
	}
	if !a.known(q) || q.Vessels == nil {
		return []way{{k, on, 0, int64(q.Most), 0, lots}}
	}
	rows := map[float64]int64{} // by hours of the row: fish in one
	for i, l := range lots {
		km, _ := q.KmTo(a.Requests[i].Site)
		if load, ok := husbandry.BagLoads(q.hours(km), float64(*q.TemperatureC)/1000); ok && l.reason == "" {
			rows[load.Hours] = q.fine(load)
		}
	}
	var ways []way
	for hours, each := range rows {
		near := slices.Clone(lots)
		for i := range near {
			km, _ := q.KmTo(a.Requests[i].Site)
			if q.hours(km) > hours && near[i].reason == "" {
				near[i].reason = "it carries more than can go that far"
			}
		}
		w := way{k, on, hours, min(int64(q.Most), *q.Vessels*each), 0, near}
		if *q.CarriedIn == CarriedInBag {
			w.each = each
		}
		ways = append(ways, w)
	}
	slices.SortFunc(ways, func(a, b way) int { return int(a.hours - b.hours) })
	if len(ways) == 0 { // collected, by nobody knows how long a way
		return []way{{k, on, 0, int64(q.Most), 0, lots}}
	}
	return ways
}

// withoutDouble leaves out ways that another is as good as: that carries as much, and
// serves all of them.
func withoutDouble(ways []way) []way {
	var kept []way
	for i, w := range ways {
		better := func(k int, v way) bool {
			if v.most < w.most || v.most == w.most && k > i && sameLots(v, w) {
				return false
			}
			return serves(v, w)
		}
		double := false
		for k, v := range ways {
			double = double || k != i && better(k, v)
		}
		if !double {
			kept = append(kept, w)
		}
	}
	return kept
}

// serves reports whether a way serves all that another does.
func serves(v, w way) bool {
	for i := range w.lots {
		if w.lots[i].reason == "" && v.lots[i].reason != "" {
			return false
		}
	}
	return true
}

func sameLots(v, w way) bool { return serves(v, w) && serves(w, v) }

// unit returns the part of the minor unit in which all prices of some quotes are whole,
// so many of which are one.
func unit(quotes []Quote) int64 {
	per := int64(1)
	for i := range quotes {
		for _, s := range quotes[i].Steps {
			for per < 10_000 && int64(s.UnitPrice)*per%10_000 != 0 {
				per *= 10
			}
		}
	}
	return per
}

// seller returns a way as one to buy from, in parts of the minor unit.
func (w *way) seller(q *Quote, per int64) buying.Seller {
	s := q.seller()
	for i := range s.Steps {
		s.Steps[i].Price = s.Steps[i].Price * per / 10_000
	}
	s.Fee, s.Most, s.Group = int64(q.FeeOrder)*per, w.most, w.quote+1
	return s
}
