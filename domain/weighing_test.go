package domain_test

import (
	"reflect"
	"testing"

	"shoalbook/domain"
)

// wantWeighings checks the weighings of a batch: day, mg, fish, CV, heat, days of heat.
func wantWeighings(t *testing.T, s *domain.BatchState, want ...[6]int64) {
	t.Helper()
	var got [][6]int64
	for i, on := range s.WeighOn {
		got = append(got, [6]int64{int64(on - start), s.WeighMg[i], s.WeighFish[i], s.WeighCV[i], s.WeighHeat[i], s.WeighHeatDays[i]})
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("the weighings are %v, want %v", got, want)
	}
}

func TestWeighings(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(0), degrees(tank1, 25))
	j.add(day(10), domain.Sample{Batch: a, Count: 30, WeightG: gram(600), WeightCVPercent: new(milli(22))})
	j.add(day(10), domain.Sample{Batch: a, Count: 10, WeightG: gram(220)}) // of one day they are one
	j.add(day(20), domain.Count{Batch: a, Count: 990, Weight: new(kg(35.64))})
	j.add(day(30), domain.Move{Batch: a, ToUnit: &tank2, Weight: new(kg(50))})
	j.add(day(40), domain.Harvest{Batch: a, Count: fish(90), Weight: kg(9)}) // says nothing of those that stay
	want := [][6]int64{
		{0, 10_000_000, 1000, 0, 0, 0},
		{10, 820_000, 40, 22_000, 250_000, 10},
		{20, 35_640_000, 990, 0, 500_000, 20},
		{30, 50_000_000, 990, 0, 750_000, 30},
	}
	wantWeighings(t, j.fold(t).Batches[a], want...)
	j.add(day(50), domain.Stocking{Batch: a, Origin: "bought", Count: 100, MeanWeight: gram(5)}) // few: the others go on
	wantWeighings(t, j.fold(t).Batches[a], want...)
	j.add(day(50), domain.Stocking{Batch: a, Origin: "bought", Count: 2000, MeanWeight: gram(5)}) // now most are others
	s := j.fold(t).Batches[a]
	if s.MeanFish != 3000 {
		t.Fatalf("%d fish", s.MeanFish)
	}
	wantWeighings(t, s, [6]int64{50, int64(s.MeanMg), 3000, 0, 750_000, 30})
	j.add(day(51), domain.Stocking{Batch: a, Origin: "bought", Count: 9000}) // and of these nobody knows the weight
	wantWeighings(t, j.fold(t).Batches[a])
}

func TestWeighingsOfMovedFish(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.add(day(10), domain.Sample{Batch: a, Count: 30, WeightG: gram(600)})
	j.add(day(20), domain.Move{Batch: a, ToBatch: &b, Count: fish(400)})
	wantWeighings(t, j.fold(t).Batches[b], [6]int64{20, 8_000_000, 400, 0, 0, 0}) // by the last weighing
	j.add(day(20), domain.Sample{Batch: b, Count: 10, WeightG: gram(310)})        // the last of the day wins
	wantWeighings(t, j.fold(t).Batches[b], [6]int64{20, 310_000, 10, 0, 0, 0})
	j = &journal{}
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 100})
	j.add(day(10), domain.Sample{Batch: a, Count: 30, WeightG: gram(600)})
	wantWeighings(t, j.fold(t).Batches[a], [6]int64{10, 600_000, 30, 0, 0, 0})
}
