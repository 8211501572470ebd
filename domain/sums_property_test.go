package domain_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"shoalbook/domain"
)

// What reports of consecutive periods say sums to what performance says of all batches at
// the end of the last, with what fell on no batch: each cost and each kilogram is in one
// period, also of a bill that came after the days it is for.
func TestPeriodsSumToPerformance(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := drawJournal(t)
		f, err := j.try()
		if err != nil {
			t.Fatal(err)
		}
		last := day(rapid.IntRange(76, 170).Draw(t, "last"))
		sum := map[string]int64{}
		for from := day(-60); from <= last; {
			to := min(last, from+domain.Date(rapid.IntRange(0, 90).Draw(t, "days")))
			for name, v := range j.sums(t, domain.Span{From: from, To: to}) {
				sum[name] += v
			}
			from = to + 1
		}
		rule := rapid.SampledFrom([]string{domain.ByGramDays, domain.ByUnitDays}).Draw(t, "rule")
		sharing := f.sharing(last, rule)
		want := map[string]int64{"crop_sales": int64(sharing.Idle.ByProduct), "cost": int64(sharing.Idle.Cost.Total()),
			"unpaid_value": int64(sharing.Idle.Unpaid), "donated_value": int64(sharing.Idle.Donated)}
		for id, b := range f.Batches {
			share := of(sharing, id)
			for name, v := range map[string]int64{
				"harvested_kg": int64(b.HarvestedG), "harvested_fish": int64(b.Harvested), "discarded_kg": int64(b.DiscardedG),
				"sold_kg": int64(b.SoldG), "sales": int64(b.Cash), "eaten_kg": int64(b.EatenG), "eaten_value": int64(b.Imputed),
				"given_kg": int64(b.GivenG), "feed_kg": int64(b.FedG), "stocked_fish": int64(b.Stocked), "dead_fish": int64(b.Dead),
				"cost": int64(b.Direct() + share.Cost.Total()), "unpaid_value": int64(b.Unpaid + share.Unpaid),
				"donated_value": int64(b.Donated + share.Donated), "crop_sales": int64(share.ByProduct)} {
				want[name] += v
			}
		}
		for name, v := range want {
			if sum[name] != v {
				t.Fatalf("%s is %d in the periods, %d by the batches", name, sum[name], v)
			}
		}
	})
}

// books returns what the sums of a period are taken from.
func (j *journal) books(t rapid.TB, p domain.Span) *domain.SiteBooks {
	entries := make([]domain.Entry, 0, len(j.entries))
	for _, e := range j.entries {
		if e.On <= p.To {
			entries = append(entries, e)
		}
	}
	domain.SortEntries(entries)
	b, err := domain.BooksOf(site, entries, facts(), p)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// sums returns the sums of a period, by name.
func (j *journal) sums(t rapid.TB, p domain.Span) map[string]int64 {
	s, byName := j.books(t, p).Sums(p, nil), map[string]int64{}
	for _, sum := range domain.Sums() {
		byName[sum.Name] = s.ValueOf(sum.Name)
	}
	return byName
}

// A bill for March that is dated in April is in the report of April to June, since the one
// of January to March did not know of it.
func TestBillAfterTheDaysItIsFor(t *testing.T) {
	t.Parallel()
	j := &journal{}
	j.add(domain.NewDate(2025, 4, 5), domain.Expense{Category: "energy", Amount: 31_00,
		CoversFrom: new(domain.NewDate(2025, 3, 1)), CoversTo: new(domain.NewDate(2025, 3, 31))})
	for _, c := range []struct {
		from, to domain.Date
		want     int64
	}{{domain.NewDate(2025, 1, 1), domain.NewDate(2025, 3, 31), 0}, {domain.NewDate(2025, 4, 1), domain.NewDate(2025, 6, 30), 31_00}} {
		if got := j.sums(t, domain.Span{From: c.from, To: c.to})["cost"]; got != c.want {
			t.Errorf("the cost from %s to %s is %d, want %d", c.from, c.to, got, c.want)
		}
	}
}

// A comparison of the batches that were closed in a period and a report of the period
// divide the same sums: what one leaves out for want of a weight or of feed, the other does.
func TestReportsDivideWhatComparisonsDivide(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := drawJournal(t)
		for _, id := range []domain.BatchID{a, b, c} {
			if j.add(day(76), domain.Death{Batch: id, Count: 1, Empties: true}); rapid.Bool().Draw(t, "grows") {
				j.take(1)
			} else if _, err := j.try(); err != nil {
				j.take(1)
			}
		}
		f, err := j.try()
		if err != nil {
			t.Fatal(err)
		}
		p := domain.Span{From: day(rapid.IntRange(0, 76).Draw(t, "from")), To: day(80)}
		sums := j.sums(t, p)
		for measure, of := range map[string]struct{ num, den float64 }{
			"survival":     {float64(sums["closed_out_fish"]), float64(sums["closed_in_fish"])},
			"fcr_economic": {float64(sums["closed_feed_kg"]) / 1e3, float64(sums["closed_gain_kg"]) / 1e6},
		} {
			y, ok := domain.YardstickNamed(measure)
			if !ok {
				t.Fatalf("there is no measure %s", measure)
			}
			q := domain.CompareQuestion{Measure: y, By: "site", From: &p.From, To: &p.To}
			all := q.Compare(func(yield func(*domain.ComparedBatch) bool) {
				for id, state := range f.Batches {
					m := domain.Measure{State: state, AsOf: p.To, Currency: "KES"}
					if given := m.Compared(domain.BatchFacts{ID: id, Site: site}); !yield(&given) {
						return
					}
				}
			}).All
			if math.Abs(all.Num-of.num) > 1e-6 || math.Abs(all.Den-of.den) > 1e-6 {
				t.Fatalf("%s is %v ÷ %v in the comparison, %v ÷ %v in the report", measure, all.Num, all.Den, of.num, of.den)
			}
		}
	})
}

// What a comparison says a closed batch cost and brought is what its performance says, and
// what all of them cost and took in is what the site spent on them: what moves between them
// counts once.
func TestComparisonsCostWhatPerformanceCosts(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := drawJournal(t)
		for _, id := range []domain.BatchID{a, b, c} {
			j.add(day(76), domain.Harvest{Batch: id, Weight: kg(1), Count: new(domain.Fish(1)), Empties: true})
			if _, err := j.try(); err != nil {
				j.take(1)
			}
		}
		f, err := j.try()
		if err != nil {
			t.Fatal(err)
		}
		asOf := day(100)
		sharing := f.sharing(asOf, domain.ByGramDays)
		var compared []domain.ComparedBatch
		var cost domain.Money
		var in domain.Fish
		for id, state := range f.Batches {
			m := domain.Measure{State: state, AsOf: asOf, Share: of(sharing, id), Currency: "UGX", Water: new(milli(1000))} // of no decimals
			given := m.Compared(domain.BatchFacts{ID: id, Site: site})
			p := figuresOf(m)
			if !state.Closed() {
				continue
			}
			compared = append(compared, given)
			cost += state.Direct() + of(sharing, id).Cost.Total()
			in += state.Stocked + state.MovedIn - state.MovedOut
			for measure, figure := range map[string]string{"cost_per_kg": "cost.total", "margin_per_m3": "margin"} {
				all := question(measure, "site").Compare(each([]domain.ComparedBatch{given})).All
				if all.Batches == 0 {
					continue // with a reason
				}
				p.near(t, 1e-6, map[string]float64{figure: all.Num})
			}
		}
		answer := domain.CostQuestion{Site: site, Against: "coop"}.Answer(each(compared))
		if answer.There.Total() != cost || answer.There.In != in {
			t.Fatalf("%d fish cost %d, and %d cost %d by the batches", answer.There.In, answer.There.Total(), in, cost)
		}
	})
}
