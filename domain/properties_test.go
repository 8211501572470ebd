package domain_test

import (
	"maps"
	"math/rand"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"shoalbook/domain"
)

// drawJournal draws a journal of up to a few months that folds: entries that the
// fold refuses are left out again.
func drawJournal(t *rapid.T) *journal {
	j := &journal{}
	batch := rapid.SampledFrom([]domain.BatchID{a, b, c})
	for _, id := range []domain.BatchID{a, b, c} {
		s := domain.Stocking{Batch: id, Origin: "bought", Count: domain.Fish(rapid.IntRange(1, 300).Draw(t, "stocked")), Amount: optional(t, money)}
		s.MeanWeight = optional(t, func(t *rapid.T) domain.Milligrams {
			return domain.Milligrams(rapid.IntRange(1, 50_000).Draw(t, "mean"))
		})
		j.add(day(rapid.IntRange(0, 10).Draw(t, "first")), s)
	}
	for range rapid.IntRange(0, 60).Draw(t, "entries") {
		on := day(rapid.IntRange(0, 75).Draw(t, "day"))
		body := drawBody(t, batch.Draw(t, "batch"), batch.Draw(t, "other"))
		if rapid.Bool().Draw(t, "timed") {
			j.at(on, domain.Minute(rapid.IntRange(0, 1439).Draw(t, "minute")), body)
		} else {
			j.add(on, body)
		}
		if _, err := j.try(); err != nil {
			j.take(1)
		}
	}
	return j
}

func optional[T any](t *rapid.T, draw func(*rapid.T) T) *T {
	if rapid.Bool().Draw(t, "given") {
		return new(draw(t))
	}
	return nil
}

func money(t *rapid.T) domain.Money {
	return domain.Money(rapid.IntRange(0, 1_000_00).Draw(t, "money"))
}

func weight(t *rapid.T) domain.Grams { return domain.Grams(rapid.IntRange(1, 5000).Draw(t, "weight")) }

func count(t *rapid.T) domain.Fish { return domain.Fish(rapid.IntRange(1, 120).Draw(t, "count")) }

func quantity(t *rapid.T) domain.Quantity {
	return domain.Quantity(rapid.IntRange(1, 20_000).Draw(t, "quantity"))
}

func drawBody(t *rapid.T, batch, other domain.BatchID) domain.Body {
	product := rapid.SampledFrom([]domain.ProductID{feed, plain}).Draw(t, "product")
	empties := rapid.IntRange(0, 9).Draw(t, "empties") == 0
	of := optional(t, func(*rapid.T) domain.BatchID { return batch })
	switch rapid.IntRange(0, 19).Draw(t, "kind") {
	case 0:
		return domain.Death{Batch: batch, Count: domain.Fish(rapid.IntRange(1, 20).Draw(t, "dead")), Weight: optional(t, weight), Empties: empties}
	case 1:
		return domain.Sample{Batch: batch, Count: count(t), Weight: new(weight(t))}
	case 2:
		return domain.Count{Batch: batch, Count: domain.Fish(rapid.IntRange(0, 300).Draw(t, "counted"))}
	case 3:
		return domain.Count{Batch: batch, Count: count(t), Weight: new(weight(t))}
	case 4:
		return domain.Move{Batch: batch, ToUnit: new(rapid.SampledFrom([]domain.UnitID{tank1, tank2, tank3}).Draw(t, "unit")), Weight: optional(t, weight)}
	case 5, 6:
		if other != batch {
			return domain.Move{Batch: batch, ToBatch: &other, Count: new(count(t)), Weight: optional(t, weight), Empties: empties}
		}
		return domain.Harvest{Batch: batch, Count: new(count(t)), Weight: weight(t), Empties: empties}
	case 7:
		return domain.Harvest{Batch: batch, Count: optional(t, count), Weight: weight(t), Empties: empties,
			Destination: optional(t, func(t *rapid.T) string {
				return rapid.SampledFrom([]string{"eaten", "discarded", "kept"}).Draw(t, "destination")
			})}
	case 8:
		return domain.Receipt{Product: product, Quantity: quantity(t), Origin: rapid.SampledFrom([]string{"bought", "donated", "opening"}).Draw(t, "origin"), Amount: optional(t, money)}
	case 9, 10:
		return domain.Feeding{Batch: batch, Product: product, Weight: weight(t)}
	case 11:
		return domain.Stocktake{Product: product, Quantity: quantity(t)}
	case 12:
		if rapid.Bool().Draw(t, "goods") {
			return domain.Sent{ToSite: otherSite, Product: &product, Quantity: new(quantity(t))}
		}
		return domain.Sent{ToSite: otherSite, Batch: &batch, Count: new(count(t)), Weight: optional(t, weight), Empties: empties}
	case 13:
		return domain.Expense{Category: rapid.SampledFrom([]string{"energy", "rent", "other"}).Draw(t, "category"), Amount: 1 + money(t), Batch: of,
			CoversFrom: new(day(rapid.IntRange(-20, 60).Draw(t, "from"))), CoversTo: new(day(rapid.IntRange(60, 150).Draw(t, "to")))}
	case 14:
		return domain.Labour{Hours: 1000, Amount: optional(t, money), UnpaidValue: optional(t, money), Batch: of}
	case 15:
		return domain.Sale{Batch: &batch, Disposal: rapid.SampledFrom([]string{"sold", "eaten", "given", "discarded"}).Draw(t, "disposal"), Weight: 1 + weight(t)/100, Amount: new(money(t))}
	case 16:
		return domain.Water{Unit: rapid.SampledFrom([]domain.UnitID{tank1, tank2, tank3}).Draw(t, "unit"), TemperatureC: new(domain.Thousandths(rapid.IntRange(20_000, 32_000).Draw(t, "temperature")))}
	case 17:
		reading := func(t *rapid.T) domain.Thousandths {
			return domain.Thousandths(rapid.IntRange(6_000, 9_000).Draw(t, "reading"))
		}
		return domain.Water{Unit: tank1, TemperatureC: optional(t, reading), PH: optional(t, reading), TANMgL: optional(t, reading), TANBasis: new("nh4")}
	case 18:
		return treatment(batch, new(domain.Days(rapid.IntRange(0, 30).Draw(t, "days"))), optional(t, func(t *rapid.T) domain.DegreeDays {
			return domain.DegreeDays(rapid.IntRange(0, 600).Draw(t, "degree-days"))
		}))
	}
	return domain.Expense{Category: "transport", Amount: 1 + money(t), Batch: of}
}

// The order of arrival changes nothing.
func TestOrderOfArrivalDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := drawJournal(t)
		for i := range j.entries {
			j.entries[i].Fixed = nil
		}
		shuffled := &journal{entries: slices.Clone(j.entries)}
		rand.New(rand.NewSource(rapid.Int64().Draw(t, "seed"))).Shuffle(len(shuffled.entries), func(i, k int) {
			shuffled.entries[i], shuffled.entries[k] = shuffled.entries[k], shuffled.entries[i]
		})
		one, errOne := j.try()
		two, errTwo := shuffled.try()
		if errOne != nil || errTwo != nil {
			t.Fatal(errOne, errTwo)
		}
		same(t, one, two)
	})
}

func same(t *rapid.T, one, two folded) {
	for _, pair := range [][2]any{{one.Batches, two.Batches}, {one.Stores, two.Stores}, {one.Units, two.Units}, {one.shared, two.shared}} {
		if reflect.DeepEqual(pair[0], pair[1]) {
			continue
		}
		for id, s := range one.Batches {
			if o := two.Batches[id]; !reflect.DeepEqual(s, o) {
				t.Errorf("batch %s:\n%+v\n%+v", id, s, o)
			}
		}
		t.Fatalf("the states differ: %v\n%v", pair[0], pair[1])
	}
}

// Folding in two parts gives the same as folding at once, cut between two days
// anywhere, or within a day on which no batch was closed and no medicine given. Copies of the states kept
// at the end of a day do not change by folding on.
func TestFoldInParts(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := drawJournal(t)
		whole := folded{Site: domain.NewSite(site, facts())}
		entries := slices.Clone(j.entries)
		for i := range entries {
			entries[i].Fixed = nil
		}
		domain.SortEntries(entries)
		if err := whole.Fold(slices.Clone(entries), func(d domain.Day) { whole.shared = append(whole.shared, d.Shared...) }); err != nil {
			t.Fatal(err)
		}
		cut := rapid.IntRange(0, len(entries)).Draw(t, "cut")

		// As in a database: what a day says has changed is kept, and loaded again.
		first := folded{Site: domain.NewSite(site, facts())}
		second := folded{Site: domain.NewSite(site, facts())}
		report := func(d domain.Day) {
			first.shared = append(first.shared, d.Shared...)
			for id := range d.Batches {
				second.Batches[id] = new(*first.Batches[id])
			}
			for id := range d.Stores {
				second.Stores[id] = new(*first.Stores[id])
			}
			for id := range d.Units {
				second.Units[id] = new(*first.Units[id])
			}
		}
		if err := first.Fold(entries[:cut], report); err != nil {
			return // only the rest of the day makes it possible
		}
		same(t, first, folded{Site: second.Site, shared: first.shared})
		for _, e := range entries[cut:] {
			if cut > 0 && e.On == entries[cut-1].On && e.Body.Kind() == "treatment" {
				return
			}
		}
		for _, s := range first.Batches {
			if cut > 0 && cut < len(entries) && s.ClosedOn != nil && *s.ClosedOn == entries[cut].On {
				return
			}
		}
		second.shared = slices.Clone(first.shared)
		kept := folded{Site: &domain.Site{Batches: deep(first.Batches), Stores: deep(first.Stores), Units: deep(first.Units)}, shared: first.shared}
		rest := slices.Clone(entries[cut:])
		if err := second.Fold(rest, func(d domain.Day) { second.shared = append(second.shared, d.Shared...) }); err != nil {
			t.Fatal(err)
		}
		same(t, whole, second)
		same(t, kept, first)

		// Nor do those of one way to go on by going another way from the same copies.
		kept = folded{Site: &domain.Site{Batches: deep(second.Batches), Stores: deep(second.Stores), Units: deep(second.Units)}, shared: second.shared}
		third := domain.NewSite(site, facts())
		var other []domain.Entry
		for batch, s := range first.Batches {
			third.Batches[batch] = new(*s)
			if s.FirstOn != nil && !s.Closed() {
				for n := range 3 {
					other = append(other, domain.Entry{ID: id[domain.Entry](5000 + n), Site: site, On: day(400 + 10*n), Body: domain.Count{Batch: batch, Count: s.OnHand() + 1 + domain.Fish(n)}})
				}
			}
		}
		domain.SortEntries(other)
		if err := third.Fold(other, nil); err != nil {
			t.Fatal(err)
		}
		same(t, kept, second)
	})
}

// deep copies states with all they point to.
func deep[K comparable, V any](states map[K]*V) map[K]*V {
	out := maps.Clone(states)
	for k, v := range states {
		out[k] = copyOf(reflect.ValueOf(v)).Interface().(*V)
	}
	return out
}

func copyOf(v reflect.Value) reflect.Value {
	out := reflect.New(v.Type()).Elem()
	out.Set(v)
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			out.Set(reflect.New(v.Type().Elem()))
			out.Elem().Set(copyOf(v.Elem()))
		}
	case reflect.Slice:
		if !v.IsNil() {
			out.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
			reflect.Copy(out, v)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			out.Field(i).Set(copyOf(v.Field(i)))
		}
	}
	return out
}

// Fish balance: what came in is on hand, dead, harvested, gone or unaccounted for,
// and no day ends with fewer than none; sums are of the entries.
func TestFishBalance(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := drawJournal(t)
		f := folded{Site: domain.NewSite(site, facts())}
		entries := slices.Clone(j.entries)
		domain.SortEntries(entries)
		if err := f.Fold(entries, func(d domain.Day) {
			for id := range d.Batches {
				s := f.Batches[id]
				if s.OnHand() < 0 || (s.OnHand() == 0 && s.FirstOn != nil) != s.Closed() {
					t.Fatalf("on %v %d fish are left, closed on %v", d.On, s.OnHand(), s.ClosedOn)
				}
				if gone := s.SoldG + s.EatenG + s.GivenG + s.DiscardedG; gone > s.HarvestedG || gone-s.DiscardedG > s.HarvestedG-s.KeptG {
					t.Fatalf("on %v %d g are gone of %d harvested, %d of it kept", d.On, gone, s.HarvestedG, s.KeptG)
				}
				if s.EarlyG+s.OverriddenG+s.KeptG > s.HarvestedG || s.WithdrawHeat < 0 {
					t.Fatalf("on %v withdrawal is %+v", d.On, s)
				}
			}
		}); err != nil {
			t.Fatal(err)
		}
		var in, out, dead, harvested domain.Fish
		var moved, fedG domain.Grams
		for _, e := range entries {
			switch x := e.Body.(type) {
			case domain.Stocking:
				in += x.Count
			case domain.Sent:
				if x.Count != nil {
					out += *x.Count
				}
			case domain.Death:
				dead += x.Count
			case domain.Harvest:
				moved += x.Weight
			case domain.Feeding:
				fedG += x.Weight
			}
		}
		var sum domain.BatchState
		var weightIn, weightOut domain.Milligrams
		for _, s := range f.Batches {
			harvested += s.Harvested
			sum.Stocked, sum.MovedIn, sum.MovedOut, sum.Dead = sum.Stocked+s.Stocked, sum.MovedIn+s.MovedIn, sum.MovedOut+s.MovedOut, sum.Dead+s.Dead
			sum.HarvestedG, sum.FedG, sum.Unaccounted = sum.HarvestedG+s.HarvestedG, sum.FedG+s.FedG, sum.Unaccounted+s.Unaccounted
			weightIn, weightOut = weightIn+s.MovedInMg, weightOut+s.MovedOutMg
			if s.DeadGuessed+s.DeadUnweighed > s.Dead || s.HarvestGuessed > s.Harvested || s.Unweighed < s.MovedInUnweighed || s.DeadMg < 0 || s.DeadUnweighed < 0 {
				t.Fatalf("more is estimated than there is: %+v", s)
			}
		}
		if sum.Stocked != in || sum.Dead != dead || sum.HarvestedG != moved || sum.FedG != fedG || sum.MovedOut != sum.MovedIn+out || weightOut < weightIn {
			t.Fatalf("the batches together are %+v", sum)
		}
		// Feed: received and found is in the store, fed, sent or lost.
		for id, s := range f.Stores {
			if s.Received+s.Arrived != s.Balance+s.Fed+s.Used+s.Sent+s.Lost {
				t.Fatalf("the store of %s does not balance: %+v", id, s)
			}
			if s.Balance == 0 && s.Value != 0 || (s.BelowSince != nil) != (s.Balance < 0) {
				t.Fatalf("the store of %s holds %d at %d, below zero since %v", id, s.Balance, s.Value, s.BelowSince)
			}
		}
	})
}

// Money balance: everything that was spent is with a batch, idle, prepaid, in a
// store, gone to another site, or revaluation, to the last minor unit.
func TestMoneyBalance(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := drawJournal(t)
		asOf := day(rapid.IntRange(75, 160).Draw(t, "as of"))
		rule := rapid.SampledFrom([]string{domain.ByGramDays, domain.ByUnitDays}).Draw(t, "rule")
		f, err := j.try()
		if err != nil {
			t.Fatal(err)
		}
		pump := domain.Equipment{Cost: 1000_00, Salvage: 77_77, LifeMonths: 3, InUseFrom: day(5)}
		lines := domain.DepreciationLines([]domain.EquipmentFrom{{Equipment: pump}})

		life := lines[0].To - lines[0].From + 1
		depreciation := (pump.Cost - pump.Salvage) * domain.Money(min(life, asOf-lines[0].From+1)) / domain.Money(life)
		var spent, unpaid domain.Money
		for _, e := range j.entries {
			switch x := e.Body.(type) {
			case domain.Stocking:
				spent += deref(x.Amount)
			case domain.Receipt:
				if x.Origin != "donated" {
					spent += deref(x.Amount)
				}
			case domain.Expense:
				spent += x.Amount
			case domain.Labour:
				spent += deref(x.Amount)
				unpaid += deref(x.UnpaidValue)
			case domain.Sent:
				spent -= e.Fixed.Value
			}
		}
		sharing := f.sharing(asOf, rule, lines...)
		found := sharing.Idle.Cost.Total() + sharing.Prepaid
		foundUnpaid, written := sharing.Idle.Unpaid, sharing.Idle.Cost[domain.Depreciation]
		for id, s := range f.Batches {
			share := of(sharing, id)
			found += s.Direct() + share.Cost.Total()
			foundUnpaid += s.Unpaid + share.Unpaid
			written += share.Cost[domain.Depreciation]
		}
		for _, s := range f.Stores {
			found += s.Value + s.Revaluation
		}
		if found-written != spent || foundUnpaid != unpaid {
			t.Fatalf("%d was spent, %d is found; unpaid %d and %d", spent, found-written, unpaid, foundUnpaid)
		}
		if d := written - depreciation; d < -1 || d > 1 {
			t.Fatalf("%d is written off, want %d", written, depreciation)
		}
		for id, s := range f.Batches { // figures never panic, and name each figure once
			m := domain.Measure{State: s, AsOf: asOf, Share: of(sharing, id), Currency: "KES", Water: new(milli(1000)), Explain: true}
			names := map[string]bool{}
			for _, figure := range m.Figures().Figures {
				if names[figure.Name] || (figure.Literal == "") == (figure.Reason == "") {
					t.Fatalf("the figure %+v", figure)
				}
				names[figure.Name] = true
			}
		}
	})
}

func deref[T any](p *T) (v T) {
	if p != nil {
		v = *p
	}
	return v
}
