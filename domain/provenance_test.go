package domain_test

import (
	"slices"
	"testing"

	"shoalbook/domain"
)

func TestSuppliersAndFeedsOfABatch(t *testing.T) {
	t.Parallel()
	j := &journal{}
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Supplier: &hatchery, Count: 500, MeanWeight: new(domain.Milligrams(5_000))})
	j.add(day(1), domain.Feeding{Batch: a, Product: feed, Weight: 400})
	j.add(day(2), domain.Feeding{Batch: a, Product: plain, Weight: 100})
	j.add(day(2), domain.Feeding{Batch: a, Product: feed, Weight: 300})
	j.add(day(3), domain.Stocking{Batch: b, Origin: "bred", Count: 100, MeanWeight: new(domain.Milligrams(5_000))})
	early := *j.fold(t).Batches[a]
	j.add(day(4), domain.Move{Batch: a, ToBatch: new(b), Count: new(domain.Fish(200))})
	j.add(day(5), domain.Feeding{Batch: a, Product: feed, Weight: 1000})
	s := j.fold(t)
	if got := s.Batches[a]; !slices.Equal(got.Suppliers, []domain.PartyID{hatchery}) || !slices.Equal(got.Feeds, []domain.ProductID{feed, plain}) || !slices.Equal(got.FeedsG, []int64{1700, 100}) {
		t.Errorf("%v, %v, %v", got.Suppliers, got.Feeds, got.FeedsG)
	}
	if got := s.Batches[b]; !slices.Equal(got.Suppliers, []domain.PartyID{{}, hatchery}) || got.Feeds != nil {
		t.Errorf("moved: %v, %v", got.Suppliers, got.Feeds)
	}
	if !slices.Equal(early.FeedsG, []int64{700, 100}) {
		t.Errorf("an earlier state changed: %v", early.FeedsG)
	}
}
