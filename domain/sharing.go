package domain

import (
	"maps"
	"slices"
)

// The two ways in which a site's shared cost is shared by its batches.
const (
	ByGramDays = "gram_days" // by the biomass-days of each batch
	ByUnitDays = "unit_days" // by the days each unit was stocked, halved between two batches in it
)

// Share is what a batch bears of its site's shared cost.
type Share struct {
	Cost      Costs
	Unpaid    Money
	Donated   Money
	ByProduct Money
}

func (s *Share) add(c Category, m Money) {
	switch c {
	case Unpaid:
		s.Unpaid += m
	case Donated:
		s.Donated += m
	case ByProduct:
		s.ByProduct += m
	default:
		s.Cost[c] += m
	}
}

// Sharing is how the shared cost of a site falls on its batches. What falls on
// a month in which no unit was stocked is Idle; what falls on days to come is
// Prepaid. The parts add up to what was spent, to the last minor unit.
type Sharing struct {
	Batches map[BatchID]*Share
	Idle    Share
	Prepaid Money
}

// ShareOut shares the costs known on the day asOf by the rule, month by month
// and category by category, with one largest-remainder pass each. The states
// are those of every batch of the site at the end of that day.
func ShareOut(asOf Date, rule string, costs []SharedCost, states map[BatchID]*BatchState) Sharing {
	out := Sharing{Batches: map[BatchID]*Share{}}
	pool := map[Month]*[ByProduct + 1]Money{}
	for _, c := range costs {
		if c.On > asOf {
			continue
		}
		if c.Category < categories && c.Category != Depreciation {
			out.Prepaid += c.portion(asOf+1, c.To)
		}
		for m := c.From.Month(); m <= asOf.Month() && m.First() <= c.To; m++ {
			if p := c.portion(m.First(), min(m.Last(), asOf)); p != 0 {
				if pool[m] == nil {
					pool[m] = new([ByProduct + 1]Money)
				}
				pool[m][c.Category] += p
			}
		}
	}
	ids := slices.SortedFunc(maps.Keys(states), BatchID.Compare)
	weights := weightsByMonth(asOf, rule, ids, states)
	for m, amounts := range pool {
		for c, amount := range amounts {
			if amount == 0 {
				continue
			}
			parts := Shares(int64(amount), weights(m))
			if parts == nil {
				out.Idle.add(Category(c), amount)
			}
			for i, part := range parts {
				if part == 0 {
					continue
				}
				if out.Batches[ids[i]] == nil {
					out.Batches[ids[i]] = &Share{}
				}
				out.Batches[ids[i]].add(Category(c), Money(part))
			}
		}
	}
	return out
}

// weightsByMonth returns the claims of the batches on a month's cost. Where no
// batch has a known weight, days stocked stand in.
func weightsByMonth(asOf Date, rule string, ids []BatchID, states map[BatchID]*BatchState) func(Month) []int64 {
	byGrams := make([][]int64, len(ids))
	if rule != ByUnitDays {
		for i, id := range ids {
			if states[id].FirstOn != nil {
				byGrams[i] = states[id].GramDaysThrough(asOf + 1) // the day itself counts, as it does in the cost
			}
		}
	}
	known := map[Month][]int64{}
	return func(m Month) []int64 {
		if w, ok := known[m]; ok {
			return w
		}
		w := make([]int64, len(ids))
		var sum int64
		for i, id := range ids {
			if f := states[id].FirstOn; f != nil {
				if k := int(m - f.Month()); k >= 0 && k < len(byGrams[i]) {
					w[i] = byGrams[i][k]
					sum += w[i]
				}
			}
		}
		if sum == 0 {
			w = unitDays(m, asOf, ids, states)
		}
		known[m] = w
		return w
	}
}

// shareOfDay is divisible by 1 to 10, so that a day of a unit splits exactly
// between that many batches.
const shareOfDay = 2520

// unitDays returns for each batch the days of the month on which its unit was
// stocked, times shareOfDay, split between the batches that were in it.
func unitDays(m Month, asOf Date, ids []BatchID, states map[BatchID]*BatchState) []int64 {
	w := make([]int64, len(ids))
	first, last := m.First(), min(m.Last(), asOf)
	there := func(b *BatchState, from, to Date) bool {
		return b.FirstOn != nil && *b.FirstOn <= to && (b.ClosedOn == nil || from < *b.ClosedOn)
	}
	var some []int // that are there on some day of the month
	for i, id := range ids {
		if there(states[id], first, last) {
			some = append(some, i)
		}
	}
	in := map[UnitID]int64{}
	for d := first; d <= last && len(some) > 0; d++ {
		clear(in)
		for _, i := range some {
			if b := states[ids[i]]; there(b, d, d) {
				in[b.unitOn(d)]++
			}
		}
		for _, i := range some {
			if b := states[ids[i]]; there(b, d, d) {
				w[i] += shareOfDay / in[b.unitOn(d)]
			}
		}
	}
	return w
}

// DepreciationLines returns the straight-line depreciation of a piece of
// equipment as costs spread by day: cost less salvage over its life, from the
// day it was put to use. A revision changes what is still to be written off
// from its first day on.
func DepreciationLines(revisions []EquipmentFrom) []SharedCost {
	var lines []SharedCost
	var written Money
	for i, r := range revisions {
		e := r.Equipment
		from := max(e.InUseFrom, r.From)
		if i == 0 {
			from = e.InUseFrom
		}
		end := addMonths(e.InUseFrom, int(e.LifeMonths)) - 1
		left := e.Cost - e.Salvage - written
		stop := end
		if i+1 < len(revisions) {
			stop = min(stop, revisions[i+1].From-1)
		}
		if e.RetiredOn != nil {
			stop = min(stop, *e.RetiredOn-1)
		}
		if end < from { // its life is over: what is left is written off at once
			end, stop = from, max(stop, from)
		}
		whole := SharedCost{On: from, Category: Depreciation, From: from, To: end, Amount: left}
		if part := whole.portion(from, stop); stop >= from && part != 0 {
			lines = append(lines, SharedCost{On: from, Category: Depreciation, From: from, To: stop, Amount: part})
			written += part
		}
	}
	return lines
}

// EquipmentFrom is what the registry says of a piece of equipment from a day on.
type EquipmentFrom struct {
	From Date
	Equipment
}

func addMonths(d Date, months int) Date {
	m := d.Month() + Month(months)
	return min(m.First()+(d-d.Month().First()), m.Last()+1)
}
