package domain

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func delivered(supplier int, due, came, dead Pieces) Lot {
	return Lot{Supplier: at[Party](supplier), Delivered: &LotDelivered{Due: due, Came: came, Dead: dead}}
}

func figureOf(t *testing.T, figures []SupplierFigure, name string) SupplierFigure {
	t.Helper()
	for _, f := range figures {
		if f.Name == name {
			return f
		}
	}
	t.Fatalf("there is no %s", name)
	return SupplierFigure{}
}

// One lot of 263 with 81 dead: K-44, Newcombe 1998 (from memory of the source): .2553 to
// .3662. Nothing can be said of how lots differ, and nothing to draw it to.
func TestRecordOfOneLot(t *testing.T) {
	t.Parallel()
	records := SupplierRecords([]Lot{delivered(1, 270, 263, 81)})
	f := figureOf(t, records[at[Party](1)], FigureDeaths)
	if math.Abs(*f.From-.2553) > 5e-5 || math.Abs(*f.To-.3662) > 5e-5 || f.Lots != 1 || f.Fish != 263 || f.Shrunk != nil {
		t.Errorf("%+v, %v to %v", f, *f.From, *f.To)
	}
	f = figureOf(t, records[at[Party](1)], FigureShort)
	if math.Abs(f.Value-7./270) > 1e-12 {
		t.Errorf("%+v", f)
	}
	for _, name := range []string{FigureVariation, FigureSurvival7, FigureSurvival30, FigureGrowth} {
		if f := figureOf(t, records[at[Party](1)], name); f.Reason == "" || f.From != nil || f.Lots != 0 {
			t.Errorf("%+v", f)
		}
	}
}

// Computed by hand: two lots of 100 with 2 and 18 dead differ by χ² = 2·8²/(100·.1·.9) =
// 14.22, on one degree of freedom, so that each fish is worth 1 ÷ 14.22.
func TestLotsAreTheUnit(t *testing.T) {
	t.Parallel()
	lots := []Lot{delivered(1, 100, 100, 2), delivered(1, 100, 100, 18), delivered(2, 100, 100, 30)}
	records := SupplierRecords(lots)
	a, b := figureOf(t, records[at[Party](1)], FigureDeaths), figureOf(t, records[at[Party](2)], FigureDeaths)
	lo, hi := wilsonByHand(.1, 200/14.2222222)
	if math.Abs(*a.From-lo) > 1e-9 || math.Abs(*a.To-hi) > 1e-9 {
		t.Errorf("%v to %v, want %v to %v", *a.From, *a.To, lo, hi)
	}
	// The one with fewer fish is drawn further to the other.
	if a.Shrunk == nil || b.Shrunk == nil || *a.Shrunk < .1 || *b.Shrunk > .3 || .3-*b.Shrunk < *a.Shrunk-.1 {
		t.Errorf("%v of .1 and %v of .3", *a.Shrunk, *b.Shrunk)
	}
}

func wilsonByHand(p, n float64) (lo, hi float64) {
	const z = 1.959964
	half := z * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return (p + z*z/(2*n) - half) / (1 + z*z/n), (p + z*z/(2*n) + half) / (1 + z*z/n)
}

// Computed by hand: variations of 20 and 24 % of one supplier have a standard deviation of
// 2.83, and 22 ± 12.706 · 2 (Student's t of one degree of freedom, from memory of tables).
func TestMeansOfLots(t *testing.T) {
	t.Parallel()
	lot := func(supplier int, cv Thousandths) Lot {
		l := delivered(supplier, 100, 100, 0)
		l.Delivered.CVPercent = &cv
		return l
	}
	records := SupplierRecords([]Lot{lot(1, 20_000), lot(1, 24_000), lot(2, 40_000)})
	a, b := figureOf(t, records[at[Party](1)], FigureVariation), figureOf(t, records[at[Party](2)], FigureVariation)
	if math.Abs(a.Value-22) > 1e-9 || math.Abs(*a.From-(22-12.706*2)) > 2e-3 || math.Abs(*a.To-(22+12.706*2)) > 2e-3 || a.Unit != "%" {
		t.Errorf("%+v, %v to %v", a, *a.From, *a.To)
	}
	if !(*a.Shrunk > 22 && *b.Shrunk < 40 && *a.Shrunk < *b.Shrunk) {
		t.Errorf("%v and %v", *a.Shrunk, *b.Shrunk)
	}
}

// Lots that lived to some age count at it, and those that are younger do not.
func TestSurvivalOfLots(t *testing.T) {
	t.Parallel()
	grown := func(stocked Fish, survival ...float64) Lot {
		return Lot{Supplier: at[Party](1), Grown: &LotGrown{Stocked: stocked, Survival: survival}}
	}
	r := SupplierRecords([]Lot{grown(100, .9, .8), grown(300, .7), grown(50)})[at[Party](1)]
	if f := figureOf(t, r, FigureSurvival7); math.Abs(f.Value-.75) > 1e-12 || f.Lots != 2 || f.Fish != 400 {
		t.Errorf("%+v", f)
	}
	if f := figureOf(t, r, FigureSurvival30); math.Abs(f.Value-.8) > 1e-12 || f.Lots != 1 {
		t.Errorf("%+v", f)
	}
}

// Every value is within its interval, what is shrunk lies among the suppliers, and the
// order of the lots makes no difference.
func TestRecordProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lots := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Lot {
			came := rapid.Int64Range(0, 3000).Draw(t, "came")
			return delivered(rapid.IntRange(1, 4).Draw(t, "supplier"), Pieces(came+rapid.Int64Range(-50, 50).Draw(t, "missing")), Pieces(came), Pieces(rapid.Int64Range(0, came).Draw(t, "dead")))
		}), 1, 12).Draw(t, "lots")
		records := SupplierRecords(lots)
		lo, hi := 1., 0.
		for _, r := range records {
			if f := figureOf(&testing.T{}, r, FigureDeaths); f.Reason == "" {
				lo, hi = min(lo, f.Value), max(hi, f.Value)
			}
		}
		for id, r := range records {
			for _, f := range r {
				switch {
				case f.Reason != "":
					continue
				case f.From != nil && !(*f.From <= f.Value+1e-12 && f.Value <= *f.To+1e-12):
					t.Fatalf("%s: %v is not in %v to %v", f.Name, f.Value, *f.From, *f.To)
				case f.Name == FigureDeaths && f.Shrunk != nil && !(*f.Shrunk >= lo-1e-6 && *f.Shrunk <= hi+1e-6):
					t.Fatalf("%v is drawn to %v, and all are between %v and %v", f.Value, *f.Shrunk, lo, hi)
				}
			}
			again := SupplierRecords(rapid.Permutation(lots).Draw(t, "order"))[id]
			for i, f := range again {
				if math.Abs(f.Value-r[i].Value) > 1e-9 || (f.Shrunk == nil) != (r[i].Shrunk == nil) {
					t.Fatalf("in another order it is %+v", f)
				}
			}
		}
	})
}

// A plan expects of a supplier what its record says, drawn to the others.
func TestExpectedLosses(t *testing.T) {
	t.Parallel()
	records := SupplierRecords([]Lot{delivered(1, 1000, 990, 20), delivered(1, 1000, 1000, 30), delivered(2, 1000, 900, 90)})
	for id, r := range records {
		l, ok := ExpectedLosses(r)
		dead := figureOf(t, r, FigureDeaths)
		if !ok || l.Day30Percent != nil || math.Abs(float64(l.DeathsPercent)/100_000-*dead.Shrunk) > 1e-5 || l.ShortPercent < 0 {
			t.Errorf("%s: %+v, %v", id, l, ok)
		}
	}
	if _, ok := ExpectedLosses(SupplierRecords([]Lot{delivered(1, 1000, 990, 20)})[at[Party](1)]); ok {
		t.Error("one supplier alone is drawn to nobody")
	}
}
