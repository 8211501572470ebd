package domain_test

import (
	"testing"

	"shoalbook/domain"
)

// season is half a year of one site with three batches: fed twice a day, read every
// morning, weighed every fortnight, some deaths.
func season() []domain.Entry {
	var j journal
	j.add(day(0), domain.Receipt{Product: feed, Quantity: qty(9000), Origin: "bought", Amount: new(domain.Money(9000_00))})
	for _, batch := range []domain.BatchID{a, b, c} {
		j.add(day(0), domain.Stocking{Batch: batch, Origin: "bought", Count: 5000, MeanWeight: gram(10), Amount: new(domain.Money(500_00))})
		for n := range 180 {
			j.at(day(n), 420, domain.Feeding{Batch: batch, Product: feed, Weight: kg(5)})
			j.at(day(n), 1020, domain.Feeding{Batch: batch, Product: feed, Weight: kg(6)})
			if n%3 == 0 {
				j.add(day(n), domain.Death{Batch: batch, Count: 2})
			}
			if n%14 == 13 {
				j.add(day(n), domain.Sample{Batch: batch, Count: 40, Weight: new(kg(0.4 + float64(n)/10))})
			}
		}
	}
	for n := range 180 {
		j.add(day(n), domain.Water{Unit: tank1, TemperatureC: new(milli(27))})
		if n%30 == 0 {
			j.add(day(n), domain.Expense{Category: "energy", Amount: 60_00})
		}
	}
	domain.SortEntries(j.entries)
	return j.entries
}

func BenchmarkFold(b *testing.B) {
	entries := season()
	b.ReportAllocs()
	for b.Loop() {
		s := domain.NewSite(site, facts())
		if err := s.Fold(entries, func(domain.Day) {}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(entries)), "ns/entry")
}

func BenchmarkSortEntries(b *testing.B) {
	entries := season()
	b.ReportAllocs()
	for b.Loop() {
		domain.SortEntries(entries)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(entries)), "ns/entry")
}

func BenchmarkFigures(b *testing.B) {
	s := domain.NewSite(site, facts())
	if err := s.Fold(season(), nil); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		domain.Measure{State: s.Batches[a], AsOf: day(180), Currency: "KES"}.Figures()
	}
}
