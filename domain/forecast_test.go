package domain_test

import (
	"math"
	"strings"
	"testing"

	"shoalbook/domain"
)

// grown is a journal of 200 catfish in water of 27 °C, weighed every fortnight, that
// grow faster than what is published and by a law of their own: √W rises by 0.0045 a
// °C·day from √10 g (computed).
func grown(days domain.Date) (*journal, func(d domain.Date) float64) {
	j := &journal{}
	weight := func(d domain.Date) float64 { return math.Pow(math.Sqrt(10)+0.0045*27*float64(d), 2) }
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 200, MeanWeight: gram(10)})
	j.add(day(0), domain.Water{Unit: tank1, TemperatureC: new(milli(27))})
	for d := domain.Date(14); d <= days; d += 14 {
		j.add(day(0)+d, domain.Sample{Batch: a, Count: 40, WeightG: new(domain.Milligrams(math.Round(weight(d) * 40_000)))})
	}
	return j, weight
}

func TestForecastFollowsTheFish(t *testing.T) {
	t.Parallel()
	j, weight := grown(84)
	f, reason := domain.NewForecast(j.fold(t).Batches[a], day(84), domain.PublishedPrior("CLZ"))
	if f == nil {
		t.Fatal(reason)
	}
	for _, after := range []domain.Date{0, 14, 42} {
		o := f.On(day(84) + after)
		off := 0.02 + 0.001*float64(after) // the law is not that of the forecast
		if want := weight(84 + after); math.Abs(o.WeightG/want-1) > off || !(o.Weight(-1.96) < want && want < o.Weight(1.96)) {
			t.Errorf("after %d days %g g are expected, between %g and %g; they weigh %g", after, o.WeightG, o.Weight(-1.96), o.Weight(1.96), want)
		}
	}
	// √W = 20 at 400 g is reached on day (20 − √10) ÷ (0.0045 · 27) = 138.6.
	from, to := f.Between(400, 1.28)
	if on, ok := f.Reach(400); !ok || on < day(133) || on > day(145) || from == nil || to == nil || *from > day(139) || *to < day(139) {
		t.Errorf("400 g are expected on %s, between %v and %v; want %s", on, from, to, day(139))
	}
	if c := f.Chance(400, day(139)); c < 0.3 || c > 0.7 {
		t.Errorf("the chance of 400 g on the day they are reached is %g", c)
	}
	if _, ok := f.Reach(60_000); ok {
		t.Error("a weight is reached that is beyond what can be seen")
	}
}

// Nothing comes out of nothing.
func TestNoForecast(t *testing.T) {
	t.Parallel()
	prior := domain.PublishedPrior("CLZ")
	expect := func(b *domain.BatchState, words string) {
		t.Helper()
		if f, reason := domain.NewForecast(b, day(50), prior); f != nil || !strings.Contains(reason, words) {
			t.Errorf("%v, %q; want none, for %q", f, reason, words)
		}
	}
	expect(nil, "no fish in the batch")
	j := &journal{}
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 200})
	expect(j.fold(t).Batches[a], "never weighed")
	j, _ = grown(0)
	expect(j.fold(t).Batches[a], "since they came")
	j.add(day(14), domain.Sample{Batch: a, Count: 40, Weight: new(kg(1))})
	if f, reason := domain.NewForecast(j.fold(t).Batches[a], day(134), prior); f == nil {
		t.Errorf("120 days after a weighing: %s", reason)
	}
	if f, reason := domain.NewForecast(j.fold(t).Batches[a], day(135), prior); f != nil || !strings.Contains(reason, "more than 120 days ago") {
		t.Errorf("%v, %q", f, reason)
	}
	j, _ = grown(0)
	prior.Batches = 5
	if f, reason := domain.NewForecast(j.fold(t).Batches[a], day(50), prior); f == nil {
		t.Errorf("with batches to go by: %s", reason)
	}
	j.add(day(40), domain.Harvest{Batch: a, Weight: kg(10), Empties: true})
	expect(j.fold(t).Batches[a], "closed")
}

// Without temperatures, days stand in at 27 °C: the same fish, the same forecast.
func TestForecastWithoutTemperature(t *testing.T) {
	t.Parallel()
	j, weight := grown(84)
	bare := &journal{}
	for _, e := range j.entries {
		if _, water := e.Body.(domain.Water); !water {
			bare.add(e.On, e.Body)
		}
	}
	f, reason := domain.NewForecast(bare.fold(t).Batches[a], day(84), domain.PublishedPrior("CLZ"))
	if f == nil {
		t.Fatal(reason)
	}
	if o := f.On(day(112)); f.Read || math.Abs(o.WeightG/weight(112)-1) > 0.05 {
		t.Errorf("%g g are expected, they weigh %g; read: %v", o.WeightG, weight(112), f.Read)
	}
}

// A co-operative's own batches weigh more than what is published, the more there are.
func TestPriorLearns(t *testing.T) {
	t.Parallel()
	j, _ := grown(140)
	j.add(day(150), domain.Harvest{Batch: a, Weight: kg(80), Count: fish(150), Empties: true})
	closed := j.fold(t).Batches[a]
	published := domain.PublishedPrior("CLZ")
	one, many := published.Learn([]*domain.BatchState{closed}), published
	many = many.Learn(append([]*domain.BatchState{}, closed, closed, closed, closed, closed, closed, closed, closed, closed, closed))
	if one.Learned || !many.Learned || many.Batches != 10 {
		t.Errorf("of one batch: %t, of ten (%d): %t", one.Learned, many.Batches, many.Learned)
	}
	// dW/dH = 2 · 0.0045 · √W at 100 g is a TGC of 1000 ÷ 3 · 0.09 ÷ 100^⅔ (computed).
	want := 1000. / 3 * 0.09 / math.Pow(100, 2./3)
	if tgc := many.Curve.TGC(100); published.Curve.TGC(100) > 1.1 || math.Abs(tgc/want-1) > 0.05 || many.Spread > published.Spread/2 {
		t.Errorf("TGC %g published, %g of ten batches, spread %g; these grow with %g and alike", published.Curve.TGC(100), tgc, many.Spread, want)
	}
	if !(many.Losses.Unseen > 2*published.Losses.Unseen) { // 50 of 200 fish were never accounted for
		t.Errorf("unseen %g, published %g", many.Losses.Unseen, published.Losses.Unseen)
	}
}

// A plan that wants more than was ever seen is questioned, with the figures: 5 g to 1 kg
// in four months at 27 °C needs a TGC above 2 (common practice, no source, says that
// growers plan so).
func TestPlanIsQuestioned(t *testing.T) {
	t.Parallel()
	j := &journal{}
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 30, MeanWeight: gram(5)})
	j.add(day(0), domain.Water{Unit: tank1, TemperatureC: new(milli(27))})
	j.add(day(3), domain.Sample{Batch: a, Count: 30, WeightG: gram(165)})
	k := aquaponics(j.fold(t), day(3))
	delete(k.Priors, "CLZ")
	k.Batches[a].Plan = domain.Plan{TargetWeight: gram(1000), TargetOn: new(day(120))}
	p, err := k.Prospect(a, domain.Asked{})
	if err != nil {
		t.Fatal(err)
	}
	if p.Plan == nil || !p.Plan.Questioned || p.Plan.NeededTGC.Value < 2 || !strings.Contains(p.Plan.Says, "Is the plan right?") {
		t.Errorf("%+v", p.Plan)
	}
	t.Log(p.Plan.Says)
	k.Batches[a].Plan = domain.Plan{TargetWeight: gram(60), TargetOn: new(day(120))}
	if p, _ = k.Prospect(a, domain.Asked{}); p.Plan.Questioned {
		t.Errorf("%+v", p.Plan)
	}
	t.Log(p.Plan.Says)
}

// How many fish to weigh: CV 25 % and ± 10 % is 25 of an endless stock (computed,
// K-37); of 60 fish that is 18 (computed: 25 ÷ (1 + 24 ÷ 60) = 17.9).
func TestSamplingAdvice(t *testing.T) {
	t.Parallel()
	j := &journal{}
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 60, MeanWeight: gram(5)})
	j.add(day(20), domain.Sample{Batch: a, Count: 30, WeightG: gram(900), WeightCVPercent: new(milli(25))})
	p, err := aquaponics(j.fold(t), day(20)).Prospect(a, domain.Asked{})
	if err != nil {
		t.Fatal(err)
	}
	wantNumber(t, "fish to weigh", p.Sampling.Fish, 18)
	wantNumber(t, "variation", p.Sampling.CV, 25)
	if n := p.Sampling.NextOn; n == nil || *n < day(34) || *n > day(48) {
		t.Errorf("the next time is %v, want two to four weeks after %s", n, day(20))
	}
	t.Log(p.Sampling.Says)
	if p, _ = aquaponics(j.fold(t), day(60)).Prospect(a, domain.Asked{}); !strings.Contains(p.Sampling.Says, "now") {
		t.Error(p.Sampling.Says)
	}
}

func BenchmarkForecast(b *testing.B) {
	j, _ := grown(140)
	state := j.fold(b).Batches[a]
	prior := domain.PublishedPrior("CLZ")
	for b.Loop() {
		f, _ := domain.NewForecast(state, day(150), prior)
		f.On(day(180))
	}
}
