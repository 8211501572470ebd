package domain_test

import (
	"iter"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"shoalbook/domain"
)

// raised is a closed batch at a site: so many fish came, lived, weighed and ate.
func raised(site, n int, in, out domain.Fish, gain, fed domain.Grams) domain.ComparedBatch {
	closed := day(180)
	b := &domain.BatchState{FirstOn: new(day(0)), ClosedOn: &closed, CountedOn: &closed, HarvestOn: &closed, Stocked: in, Dead: in - out, Harvested: out,
		StockedMg: domain.Milligrams(in) * 10_000, StartMg: 10_000, StartFish: 1, HarvestedG: gain + domain.Grams(in)*10, FedG: fed, SurvivalBefore: 1, SurvivalAt: []float64{0.95, 0.9}}
	b.Cost[domain.Fingerlings] = domain.Money(in) * 500
	b.Cost[domain.Feed] = domain.Money(fed) * 12
	return domain.Measure{State: b, AsOf: day(300), Species: "CLZ", Currency: "KES"}.
		Compared(domain.BatchFacts{ID: id[domain.Batch](n), Site: id[domain.SiteFacts](site), UnitKind: "tank", Tags: []string{"red"}})
}

func each(batches []domain.ComparedBatch) iter.Seq[*domain.ComparedBatch] {
	return func(yield func(*domain.ComparedBatch) bool) {
		for i := range batches {
			if !yield(&batches[i]) {
				return
			}
		}
	}
}

func question(measure, by string) *domain.CompareQuestion {
	y, _ := domain.YardstickNamed(measure)
	return &domain.CompareQuestion{Measure: y, By: by}
}

// Computed: 1500 kg of feed for 1000 kg, and 60 for 20, are 1.5294 together.
func TestComparisonIsOfSums(t *testing.T) {
	t.Parallel()
	c := question("fcr_economic", "site").Compare(each([]domain.ComparedBatch{
		raised(1, 1, 2000, 1800, 1_000_000, 1_500_000), raised(1, 2, 100, 60, 20_000, 60_000), raised(2, 3, 500, 450, 200_000, 300_000)}))
	if len(c.Groups) != 2 || math.Abs(*c.Groups[0].Value-1.5294) > 5e-5 || c.Groups[0].Interval == nil || c.Groups[0].Records.Counted != 2 {
		t.Fatalf("%+v", c.Groups[0])
	}
	if one := c.Groups[1]; one.Interval != nil || one.NoIntl == "" || *one.Value != 1.5 {
		t.Errorf("one batch: %+v", one)
	}
	if c.NoVerdicts == "" || c.Groups[0].Verdict != "" {
		t.Error("there is a verdict on one of two groups")
	}
}

// What nobody can say anything of has no interval, and a reason; no end of one is infinite.
// Of three batches one lost almost what another gained.
func TestNoIntervalWithoutEnd(t *testing.T) {
	t.Parallel()
	for _, lost := range []domain.Grams{900_000, 990_000, 999_000, 999_900, 999_999} {
		c := question("fcr_economic", "site").Compare(each([]domain.ComparedBatch{
			raised(1, 1, 1000, 900, 1_000_000, 1_000_000), raised(1, 2, 1000, 900, 1_000_000, 1_000_000), raised(1, 3, 1000, 900, -lost, 1_000_000)}))
		for _, g := range []domain.GroupSum{c.All, c.Groups[0].GroupSum} {
			if g.Value == nil || (g.Interval == nil) != (g.NoIntl != "") || g.Interval != nil && !(g.Interval[0] > 0 && g.Interval[1] < 1e9) {
				t.Errorf("a loss of %d: %v, %v, %q", lost, g.Value, g.Interval, g.NoIntl)
			}
		}
	}
}

// A group that does better than all batches like it can come to more than all of its fish:
// that is not for a short count.
func TestStandardisedAboveAll(t *testing.T) {
	t.Parallel()
	batches := []domain.ComparedBatch{}
	for i := range 6 { // of site 1 all live where few do, and of site 2 few
		batches = append(batches, raised(1+i%2, i+1, 1000, domain.Fish(990-i-700*(i%2)), 400_000, 600_000))
	}
	for i := range 4 { // of another kind of fish nearly all live everywhere
		in := domain.Fish(100 + 20_000*(i%2))
		other := raised(1+i%2, 10+i, in, in-domain.Fish(1+i), 400_000, 600_000)
		other.Species = "TLN"
		batches = append(batches, other)
	}
	q := question("survival", "site")
	q.Standardise = []string{"species"}
	for _, g := range q.Compare(each(batches)).Groups {
		if *g.Value > 1 && (g.Interval != nil || strings.Contains(g.NoIntl, "short counts")) {
			t.Errorf("%v: %q", *g.Value, g.NoIntl)
		} else if *g.Value > 1 {
			return
		}
	}
	t.Error("no group is above all")
}

func TestEveryMeasureSaysWhatItLeavesOut(t *testing.T) {
	t.Parallel()
	batches := []domain.ComparedBatch{raised(1, 1, 1000, 900, 400_000, 600_000), raised(1, 2, 1000, 800, 380_000, 0), raised(2, 3, 1000, 850, 390_000, 570_000)}
	for _, y := range domain.Yardsticks {
		c := question(y.Name, "site").Compare(each(batches))
		var left int64
		for _, l := range c.LeftOut {
			if left += l.Batches; l.Reason == "" {
				t.Errorf("%s: %d batches are left out for no reason", y.Name, l.Batches)
			}
		}
		if c.All.Batches+left != 3 || c.Batches != 3 {
			t.Errorf("%s: %d taken, %d left out, %d asked for", y.Name, c.All.Batches, left, c.Batches)
		}
		if c.All.Value == nil && c.All.NoValue == "" {
			t.Errorf("%s has neither a value nor a reason", y.Name)
		}
	}
	if c := question("fcr_economic", "site").Compare(each(batches)); c.All.Batches != 2 || c.LeftOut[0].Reason != "no feed was recorded" {
		t.Errorf("%+v", c.LeftOut)
	}
	if c := question("margin_per_m3", "site").Compare(each(batches)); c.All.Value != nil || c.All.NoValue == "" {
		t.Errorf("%+v", c.All)
	}
	if c := question("survival_30", "site").Compare(each(batches)); math.Abs(*c.All.Value-0.9) > 1e-12 {
		t.Errorf("survival to day 30 is %v", *c.All.Value)
	}
}

func TestComparisonOfNothing(t *testing.T) {
	t.Parallel()
	for _, batches := range [][]domain.ComparedBatch{nil, {raised(1, 1, 1000, 900, 400_000, 600_000)}} {
		q := question("survival", "supplier")
		q.From = new(day(1000))
		c := q.Compare(each(batches))
		if c.Batches != 0 || len(c.Groups) != 0 || c.NoVerdicts == "" || c.All.NoValue == "" {
			t.Errorf("%+v", c)
		}
	}
	c := question("survival", "supplier").Compare(each([]domain.ComparedBatch{raised(1, 1, 1000, 900, 400_000, 600_000)}))
	if len(c.LeftOut) != 1 || c.LeftOut[0].Reason != "the supplier of its fish is not known" {
		t.Errorf("%+v", c.LeftOut)
	}
}

// One site that is not like the others is not drawn to them.
func TestOddGroupKeepsItsOwnValue(t *testing.T) {
	t.Parallel()
	var batches []domain.ComparedBatch
	for i := range 48 {
		alive := domain.Fish(870 + i%5*10)
		if i%12 == 11 {
			alive = 420 + domain.Fish(i)
		}
		batches = append(batches, raised(i%12, i, 1000, alive, 400_000, 600_000))
	}
	c := question("survival", "site").Compare(each(batches))
	g := c.Groups[11]
	if g.Verdict != domain.Different || g.Better || math.Abs(*g.Shrunk-*g.Value) > 1e-9 || *g.Worst < 0.99 {
		t.Errorf("%s, better: %v, %v shrunk to %v, in the worst third with %v", g.Verdict, g.Better, *g.Value, *g.Shrunk, *g.Worst)
	}
	for _, g := range c.Groups[:11] {
		if g.Verdict != domain.NoDifference || *g.Shrunk < 0.87 || *g.Shrunk > 0.91 {
			t.Errorf("%s: %s, shrunk to %v", g.Name, g.Verdict, *g.Shrunk)
		}
	}
}

// Twelve sites that differ, of two to 24 batches. By the multiplicative limits a group
// has, on the scale, room in proportion to one by the root of what it is worth; by the
// additive ones the larger groups have more than that, the smaller less. Verdicts go by the
// limits that were asked for, and here they are not the same.
func TestVerdictsGoByTheLimitsAskedFor(t *testing.T) {
	t.Parallel()
	var batches []domain.ComparedBatch
	for site := range 12 {
		for k := range 2 * (site + 1) {
			alive := 800 + 25*(site*11%12-6) + 30*(k%3-1)
			batches = append(batches, raised(site, len(batches), 1000, domain.Fish(alive), 400_000, 600_000))
		}
	}
	angle := func(p float64) float64 { return math.Asin(math.Sqrt(p)) }
	verdicts := map[bool]string{}
	for _, multiplicative := range []bool{false, true} {
		q := question("survival", "site")
		q.Multiplicative = multiplicative
		c := q.Compare(each(batches))
		if c.Dispersion.Phi < 2 || c.Dispersion.Tau2 <= 0 || c.NoVerdicts != "" {
			t.Fatalf("%+v %s", c.Dispersion, c.NoVerdicts)
		}
		var least, most float64
		for _, g := range c.Groups {
			half := angle(g.In95[1]) - angle(*c.All.Value)
			room := half * math.Sqrt(*g.Worth)
			if least == 0 {
				least, most = room, room
			}
			least, most = min(least, room), max(most, room)
			want := domain.NoDifference
			switch v := *g.Value; {
			case v < g.In998[0] || v > g.In998[1]:
				want = domain.Different
			case v < g.In95[0] || v > g.In95[1]:
				want = domain.WorthALook
			}
			if g.Verdict != want {
				t.Errorf("multiplicative %v: %g within %v and %v is %s", multiplicative, *g.Value, *g.In95, *g.In998, g.Verdict)
			}
			if in95, in998 := q.Funnel(&c, *g.Worth); math.Abs(in95[0]-g.In95[0]) > 1e-12 || math.Abs(in998[1]-g.In998[1]) > 1e-12 {
				t.Errorf("multiplicative %v: the funnel is drawn through %v and %v, the group is judged by %v and %v", multiplicative, *in95, *in998, *g.In95, *g.In998)
			}
			verdicts[multiplicative] += g.Verdict + " "
		}
		if multiplicative != (most-least < 1e-9) {
			t.Errorf("multiplicative %v: the room of groups is %g to %g", multiplicative, least, most)
		}
		if said := strings.Join(q.Method(), " "); strings.Contains(said, "multiplicative") != multiplicative || strings.Contains(said, "additive overdispersion") == multiplicative {
			t.Errorf("multiplicative %v: %s", multiplicative, said)
		}
	}
	if verdicts[true] == verdicts[false] {
		t.Errorf("both limits judge alike: %s", verdicts[true])
	}
}

// What is said of a group does not depend on the order of the batches, and all groups
// together are the co-operative.
func TestComparisonProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		var batches []domain.ComparedBatch
		for i := range rapid.IntRange(1, 60).Draw(t, "batches") {
			in := domain.Fish(50 + r.IntN(1000))
			batches = append(batches, raised(r.IntN(14), i, in, domain.Fish(r.Int64N(int64(in)+1)), domain.Grams(r.IntN(500_000)), domain.Grams(r.IntN(900_000))))
		}
		q := question(rapid.SampledFrom(domain.Yardsticks).Draw(t, "measure").Name, "site")
		c := q.Compare(each(batches))
		r.Shuffle(len(batches), func(i, j int) { batches[i], batches[j] = batches[j], batches[i] })
		again := q.Compare(each(batches))
		var num, den float64
		for i, g := range c.Groups {
			num, den = num+g.Num, den+g.Den
			o := again.Groups[i]
			if g.Key != o.Key || g.Batches != o.Batches || math.Abs(g.Num-o.Num) > 1e-6*(1+math.Abs(g.Num)) || g.Verdict != o.Verdict {
				t.Fatalf("%+v becomes %+v", g, o)
			}
			if in := g.Interval; in != nil && !(in[0] <= *g.Value+1e-12 && *g.Value <= in[1]+1e-12) {
				t.Fatalf("%g is not within %v", *g.Value, *in)
			}
			if g.Best != nil && (*g.Best < 0 || *g.Best+*g.Worst > 1+1e-9) {
				t.Fatalf("best %g, worst %g", *g.Best, *g.Worst)
			}
		}
		if math.Abs(num-c.All.Num) > 1e-6*(1+math.Abs(num)) || math.Abs(den-c.All.Den) > 1e-6*(1+den) {
			t.Fatalf("groups sum to %g ÷ %g, all are %g ÷ %g", num, den, c.All.Num, c.All.Den)
		}
	})
}

func sums(r *rand.Rand) domain.CostSums {
	m := func(most int64) domain.Money { return domain.Money(r.Int64N(most)) }
	return domain.CostSums{Batches: 3, Fingerlings: m(2_000_000), Feed: m(9_000_000), Energy: m(500_000), Labour: m(900_000), Transport: m(300_000), Rest: m(700_000) - 200_000,
		In: 500 + domain.Fish(r.IntN(5000)), Out: 1 + domain.Fish(r.IntN(4000)), Fed: domain.Grams(r.IntN(2_000_000)), Harvested: domain.Grams(1 + r.IntN(1_500_000))}
}

// The parts sum to the difference to the last hundredth of the minor unit, and the way
// back is the same with the other sign.
func TestCostBridgeIsExactAndSymmetric(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		a, b := sums(r), sums(r)
		there, back := domain.BridgeCost(a, b), domain.BridgeCost(b, a)
		var sum int64
		for i, p := range there.Parts {
			sum += p
			if d := p + back.Parts[i]; d < -1 || d > 1 { // rounded each by itself
				t.Fatalf("%s is %d there and %d back", domain.CostDrivers[i], p, back.Parts[i])
			}
		}
		if there.Reason != "" || sum != there.To-there.From {
			t.Fatalf("the parts sum to %d, want %d", sum, there.To-there.From)
		}
		if same := domain.BridgeCost(a, a); same.Parts != [9]int64{} {
			t.Fatalf("nothing differs, but %v", same.Parts)
		}
	})
}

// Two sites that differ in one driver alone differ by that one alone.
func TestCostBridgeFindsThePlantedDriver(t *testing.T) {
	t.Parallel()
	base := domain.CostSums{Batches: 2, Fingerlings: 500_000, Feed: 6_000_000, Energy: 300_000, Labour: 700_000, Transport: 100_000, Rest: 50_000, In: 1000, Out: 800, Fed: 600_000, Harvested: 400_000}
	for driver, change := range map[string]func(*domain.CostSums){
		"fingerling_price": func(c *domain.CostSums) { c.Fingerlings *= 2 },
		"survival":         func(c *domain.CostSums) { c.In = 1250; c.Fingerlings = 625_000 },
		"harvest_weight":   func(c *domain.CostSums) { c.Harvested, c.Fed = 200_000, 300_000; half(c) },
		"feed_price":       func(c *domain.CostSums) { c.Feed *= 2 },
		"feed_conversion":  func(c *domain.CostSums) { c.Fed, c.Feed = 900_000, 9_000_000 },
		"energy":           func(c *domain.CostSums) { c.Energy *= 3 },
		"labour":           func(c *domain.CostSums) { c.Labour = 0 },
		"transport":        func(c *domain.CostSums) { c.Transport *= 5 },
		"other":            func(c *domain.CostSums) { c.Rest -= 90_000 },
	} {
		other := base
		change(&other)
		g := domain.BridgeCost(base, other)
		i := slices.Index(domain.CostDrivers[:], driver)
		for k, p := range g.Parts {
			if k != i && p != 0 || k == i && (p != g.To-g.From || p == 0) {
				t.Errorf("%s was planted: %v, want %d", driver, g.Parts, g.To-g.From)
				break
			}
		}
	}
}

// half makes what does not depend on the weight of a fish the same for a kilogram.
func half(c *domain.CostSums) {
	c.Feed, c.Energy, c.Labour, c.Transport, c.Rest = c.Feed/2, c.Energy/2, c.Labour/2, c.Transport/2, c.Rest/2
}

func TestCostBridgeSaysWhyThereIsNone(t *testing.T) {
	t.Parallel()
	whole := domain.CostSums{Batches: 1, Feed: 100, In: 10, Out: 10, Fed: 10, Harvested: 10}
	for _, c := range []domain.CostSums{{}, {Batches: 1, Feed: 100, In: 10}, {Batches: 1, Feed: 100, Harvested: 10}} {
		if domain.BridgeCost(whole, c).Reason == "" || domain.BridgeCost(c, whole).Reason == "" {
			t.Errorf("%+v has a bridge", c)
		}
	}
}

// BenchmarkComparison: 10 000 batches in 500 groups.
func BenchmarkComparison(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	var batches []domain.ComparedBatch
	for i := range 10_000 {
		batches = append(batches, raised(i%500, i, 1000, domain.Fish(700+r.IntN(300)), domain.Grams(300_000+r.IntN(90_000)), domain.Grams(400_000+r.IntN(200_000))))
	}
	q := question("survival", "site")
	for b.Loop() {
		q.Compare(each(batches))
	}
}
