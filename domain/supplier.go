package domain

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"shoalbook/domain/husbandry"
	"shoalbook/domain/stats"
)

// Lot is fish of one supplier that came to a site at once, and what became of them.
type Lot struct {
	Supplier  PartyID
	Delivered *LotDelivered // nil: it did not come by an order
	Grown     *LotGrown     // nil: nobody can tell these fish from others
}

// LotDelivered is a lot as it came.
type LotDelivered struct {
	Due, Came, Dead Pieces
	CVPercent       *Thousandths // of single weights, where it was measured
}

// LotGrown is a lot that is a batch of its own.
type LotGrown struct {
	Stocked  Fish
	Survival []float64 // product-limit, at the first of [SurvivalDays], as far as they have passed
	TGC      *float64  // from the stocking to the last weighing
}

// The figures of a supplier's record.
const (
	FigureDeaths     = "deaths_on_arrival"
	FigureShort      = "short_count"
	FigureVariation  = "size_variation"
	FigureSurvival7  = "survival_day_7"
	FigureSurvival30 = "survival_day_30"
	FigureGrowth     = "growth_tgc"
)

// SupplierFigure is one figure of a supplier's record.
type SupplierFigure struct {
	Name   string
	Unit   string
	Lots   int
	Fish   int64
	Reason string // why there is no value; empty: there is one
	Value  float64
	From   *float64 // 95 % interval, the lot as the unit; nil: too few lots
	To     *float64
	Shrunk *float64 // drawn to all suppliers, the more so the less is known; nil: there are no others
	Source string
}

// SupplierRecords returns the record of every supplier of whom there are lots. All lots of
// the co-operative are needed for any of them, since what is known of the others says how
// far a few lots can be believed.
func SupplierRecords(lots []Lot) map[PartyID][]SupplierFigure {
	of := map[PartyID][]Lot{}
	for _, l := range lots {
		of[l.Supplier] = append(of[l.Supplier], l)
	}
	s := suppliers{of: of, ids: slices.SortedFunc(maps.Keys(of), PartyID.Compare), figures: map[PartyID][]SupplierFigure{}}
	s.shares(FigureDeaths, "no fish of theirs came by an order yet", func(l *Lot) (stats.Count, bool) {
		d := l.Delivered
		return count(d != nil && d.Came > 0, func() (float64, float64) { return float64(d.Dead), float64(d.Came) })
	})
	s.shares(FigureShort, "nothing of theirs came by an order yet", func(l *Lot) (stats.Count, bool) {
		d := l.Delivered
		return count(d != nil && d.Due > 0, func() (float64, float64) { return float64(max(0, d.Due-d.Came)), float64(d.Due) })
	})
	s.means(FigureVariation, "%", "the weights of single fish were not measured when they came", func(l *Lot) (float64, bool) {
		if l.Delivered == nil || l.Delivered.CVPercent == nil {
			return 0, false
		}
		return float64(*l.Delivered.CVPercent) / 1000, true
	})
	for i, name := range []string{FigureSurvival7, FigureSurvival30} {
		s.shares(name, fmt.Sprintf("no batch of their fish alone is %d days old yet", SurvivalDays[i]), func(l *Lot) (stats.Count, bool) {
			g := l.Grown
			return count(g != nil && g.Stocked > 0 && len(g.Survival) > i, func() (float64, float64) { return g.Survival[i] * float64(g.Stocked), float64(g.Stocked) })
		})
	}
	s.means(FigureGrowth, "", "no batch of their fish alone was weighed again in water of a known temperature", func(l *Lot) (float64, bool) {
		if l.Grown == nil || l.Grown.TGC == nil {
			return 0, false
		}
		return *l.Grown.TGC, true
	})
	return s.figures
}

func count(ok bool, of func() (x, n float64)) (stats.Count, bool) {
	if !ok {
		return stats.Count{}, false
	}
	x, n := of()
	return stats.Count{X: x, N: n}, true
}

// suppliers works figures out for all suppliers at once.
type suppliers struct {
	ids     []PartyID
	of      map[PartyID][]Lot
	figures map[PartyID][]SupplierFigure
}

// shares adds a figure that is a share of fish. Fish of one lot live and die together, so
// that a fish is worth less than one: as much less as lots of one supplier differ more
// than so many single fish would.
func (s *suppliers) shares(name, reason string, of func(*Lot) (stats.Count, bool)) {
	lots := make([][]stats.Count, len(s.ids))
	for i, id := range s.ids {
		for k := range s.of[id] {
			if c, ok := of(&s.of[id][k]); ok {
				lots[i] = append(lots[i], c)
			}
		}
	}
	clump, free := clumping(lots)
	var known []stats.Count
	var at []int
	for i, of := range lots {
		var sum stats.Count
		for _, c := range of {
			sum.X, sum.N = sum.X+c.X, sum.N+c.N
		}
		f := SupplierFigure{Name: name, Lots: len(of), Fish: int64(math.Round(sum.N))}
		if len(of) == 0 {
			f.Reason = reason
		} else {
			f.Value, f.Source = sum.Share(), wilsonSource(clump, free)
			lo, hi := stats.WilsonOf(stats.Count{X: sum.X / clump, N: sum.N / clump}, stats.Z95)
			f.From, f.To = &lo, &hi
			known, at = append(known, stats.Count{X: sum.X / clump, N: sum.N / clump}), append(at, i)
		}
		s.figures[s.ids[i]] = append(s.figures[s.ids[i]], f)
	}
	if len(known) < 2 {
		return
	}
	for k, v := range stats.Shrunk(known) {
		s.last(at[k]).Shrunk = &v
	}
}

func (s *suppliers) last(i int) *SupplierFigure {
	list := s.figures[s.ids[i]]
	return &list[len(list)-1]
}

func wilsonSource(clump float64, free int) string {
	if free < 1 {
		return "Wilson score interval, 95 %: counting error of single fish only, since no supplier has two lots; lots differ more"
	}
	return fmt.Sprintf("Wilson score interval, 95 %%, each fish worth 1 ÷ %s, since lots of one supplier differ so much more than single fish would", spoken(clump))
}

// clumping returns the variance of counts of lots as a multiple of that of single things,
// pooled over the suppliers (Pearson's χ² ÷ degrees of freedom), at least 1.
func clumping(of [][]stats.Count) (clump float64, free int) {
	var chi2 float64
	for _, lots := range of {
		p := stats.Pooled(lots)
		if len(lots) < 2 || !(p > 0 && p < 1) {
			continue
		}
		for _, c := range lots {
			z := c.Score(p)
			chi2 += z * z
		}
		free += len(lots) - 1
	}
	if free == 0 {
		return 1, 0
	}
	return max(1, chi2/float64(free)), free
}

// means adds a figure that is a mean of lots.
func (s *suppliers) means(name, unit, reason string, of func(*Lot) (float64, bool)) {
	lots := make([][]float64, len(s.ids))
	fish := make([]int64, len(s.ids))
	for i, id := range s.ids {
		for k := range s.of[id] {
			if v, ok := of(&s.of[id][k]); ok {
				lots[i] = append(lots[i], v)
				fish[i] += s.of[id][k].fish()
			}
		}
	}
	sd, free := scatter(lots)
	var y, se []float64
	var at []int
	for i, values := range lots {
		f := SupplierFigure{Name: name, Unit: unit, Lots: len(values), Fish: fish[i]}
		if len(values) == 0 {
			f.Reason = reason
		} else {
			f.Value, f.Source = average(values), "mean of the lots; nothing says how far lots of one supplier differ, since none has two"
			at, y = append(at, i), append(y, f.Value)
		}
		if len(values) > 0 && free > 0 {
			s := sd / math.Sqrt(float64(len(values)))
			half := stats.Student95(free) * s
			lo, hi := f.Value-half, f.Value+half
			f.From, f.To = &lo, &hi
			f.Source = fmt.Sprintf("mean of the lots ± Student's t of %d degrees of freedom × the standard deviation of lots of one supplier ÷ √lots", free)
			se = append(se, s)
		}
		s.figures[s.ids[i]] = append(s.figures[s.ids[i]], f)
	}
	if len(y) < 2 || len(se) != len(y) || sd == 0 {
		return
	}
	spread := stats.Moments(y, se)
	for k, i := range at {
		v, _ := spread.Shrink(y[k], se[k])
		s.last(i).Shrunk = &v
	}
}

// scatter returns the standard deviation of lots around the mean of their supplier.
func scatter(of [][]float64) (sd float64, free int) {
	var squares float64
	for _, values := range of {
		m := average(values)
		for _, v := range values {
			squares += (v - m) * (v - m)
		}
		free += max(0, len(values)-1)
	}
	if free == 0 {
		return 0, 0
	}
	return math.Sqrt(squares / float64(free)), free
}

func (l *Lot) fish() int64 {
	if l.Grown != nil {
		return int64(l.Grown.Stocked)
	}
	return int64(l.Delivered.Came)
}

func average(values []float64) float64 {
	var sum float64
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// GrownLot says what became of fish that were stocked together and are a batch of their
// own. At an age that it did not reach since all were taken out it says nothing, unless
// they died before.
func GrownLot(b *BatchState, today Date) *LotGrown {
	g := &LotGrown{Stocked: b.Stocked, TGC: b.grown()}
	for i, s := range b.survivalThrough(today) {
		if b.Closed() && *b.FirstOn+SurvivalDays[i] > *b.ClosedOn && s > 0 {
			break
		}
		g.Survival = append(g.Survival, s)
	}
	return g
}

// grown returns the thermal growth coefficient from the first weighing to the last, where
// the water was read on half of the days at least.
func (b *BatchState) grown() *float64 {
	n := len(b.WeighOn) - 1
	if n < 1 || b.WeighOn[n]-b.WeighOn[0] < growthDays {
		return nil
	}
	days := float64(b.WeighOn[n] - b.WeighOn[0])
	heat, known := float64(b.WeighHeat[n]-b.WeighHeat[0])/1000, float64(b.WeighHeatDays[n]-b.WeighHeatDays[0])
	if 2*known < days {
		return nil
	}
	grams := func(i int) float64 { return float64(b.WeighMg[i]) / float64(b.WeighFish[i]) / 1000 }
	tgc, ok := husbandry.TGC(grams(0), grams(n), heat/known*days)
	if !ok {
		return nil
	}
	return &tgc
}

// ExpectedLosses returns what a plan expects of the fish of a supplier by its record, drawn
// to all suppliers. Without others to draw it to there is none, and the plan expects what
// the quote promises.
func ExpectedLosses(figures []SupplierFigure) (l PlanLosses, ok bool) {
	percent := func(name string, of func(share float64) float64) *Thousandths {
		for _, f := range figures {
			if f.Name == name && f.Shrunk != nil {
				v := Thousandths(math.Round(100_000 * min(0.9, max(0, of(*f.Shrunk)))))
				return &v
			}
		}
		return nil
	}
	same := func(share float64) float64 { return share }
	dead, short := percent(FigureDeaths, same), percent(FigureShort, same)
	if dead == nil || short == nil {
		return l, false
	}
	return PlanLosses{DeathsPercent: *dead, ShortPercent: *short, Day30Percent: percent(FigureSurvival30, func(share float64) float64 { return 1 - share })}, true
}
