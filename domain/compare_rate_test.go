package domain_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"shoalbook/domain"
	"shoalbook/domain/stats"
)

var coops = flag.Int("coops", 30, "how many invented co-operatives comparisons are judged by")

// herd is an invented co-operative of which the truth is known: sites with batches that
// die and grow in clumps.
type herd struct {
	r        *rand.Rand
	sites    int
	between  float64              // how the true survival of sites differs: standard deviation on the scale of log odds
	odd      map[int]float64      // sites that differ by a known step of log odds
	batches  func(*rand.Rand) int // of a site
	size     func(site int) (grams, survives float64)
	price    func(site int) domain.Money // of a kilogram of feed
	survival []float64                   // the truth of each site
	fcr      []float64
	lived    [][]stats.Pair // fish alive and stocked, of the batches of each site
	list     []domain.ComparedBatch
}

// rho is how alike fish of one batch are in living or dying: the variance of the
// survival of batches as a share of p(1−p). At 0.85 they vary by 0.09.
const rho = 0.06

func (h *herd) make() *herd {
	for i := range h.sites {
		odds := math.Log(0.85/0.15) + h.between*h.r.NormFloat64() + h.odd[i]
		p := 1 / (1 + math.Exp(-odds))
		fcr := 1.4 * math.Exp(0.5*h.between*h.r.NormFloat64())
		h.survival, h.fcr, h.lived = append(h.survival, p), append(h.fcr, fcr), append(h.lived, nil)
		for range h.batches(h.r) {
			h.list = append(h.list, h.batch(i, p, fcr))
		}
	}
	return h
}

func (h *herd) batch(site int, p, fcr float64) domain.ComparedBatch {
	n := domain.Fish(200 + h.r.IntN(1800))
	grams, factor := 5.0, 1.0
	if h.size != nil {
		grams, factor = h.size(site)
	}
	alive := h.clumped(p*factor, n)
	h.lived[site] = append(h.lived[site], stats.Pair{Num: float64(alive), Den: float64(n)})
	gain := domain.Grams(float64(alive) * 400)
	fed := domain.Grams(fcr * float64(gain) * math.Exp(0.2*h.r.NormFloat64()-0.02))
	closed := day(200)
	b := &domain.BatchState{FirstOn: new(day(0)), ClosedOn: &closed, CountedOn: &closed, HarvestOn: &closed, Stocked: n, Dead: n - alive, Harvested: alive,
		StockedMg: domain.Milligrams(float64(n) * grams * 1000), StartMg: domain.Milligrams(grams * 1000), StartFish: 1, SurvivalBefore: 1, FedG: fed}
	b.HarvestedG = gain + b.StockedMg.Grams()
	b.Cost[domain.Fingerlings] = 500 * domain.Money(n)
	if h.price != nil {
		b.Cost[domain.Feed] = h.price(site) * domain.Money(fed) / 1000
	}
	return domain.Measure{State: b, AsOf: day(300), Species: "CLZ", Currency: "KES"}.
		Compared(domain.BatchFacts{ID: id[domain.Batch](len(h.list)), Site: id[domain.SiteFacts](site), UnitKind: "tank"})
}

// clumped draws how many of n fish of a batch live: beta-binomial.
func (h *herd) clumped(p float64, n domain.Fish) domain.Fish {
	worth := 1/rho - 1
	own := gamma(h.r, p*worth)
	own /= own + gamma(h.r, (1-p)*worth)
	mean, sd := own*float64(n), math.Sqrt(own*(1-own)*float64(n))
	return domain.Fish(min(float64(n), max(0, math.Round(mean+sd*h.r.NormFloat64()))))
}

// gamma draws from a gamma distribution (Marsaglia & Tsang 2000).
func gamma(r *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gamma(r, shape+1) * math.Pow(r.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	for {
		x := r.NormFloat64()
		v := math.Pow(1+x/math.Sqrt(9*d), 3)
		if v > 0 && math.Log(1-r.Float64()) < 0.5*x*x+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}

func (h *herd) compare(measure string, standardise ...string) domain.Comparison {
	q := question(measure, "site")
	q.Standardise = standardise
	return q.Compare(each(h.list))
}

// multiplicative compares survival by the other limits.
func (h *herd) multiplicative() domain.Comparison {
	q := question("survival", "site")
	q.Multiplicative = true
	return q.Compare(each(h.list))
}

// signals counts the groups outside the limits.
type signals struct{ look, different tally }

func (s *signals) take(groups []domain.ComparedGroup) {
	for _, g := range groups {
		s.look.take(g.Verdict != domain.NoDifference)
		s.different.take(g.Verdict == domain.Different)
	}
}

func (s *signals) String() string {
	return fmt.Sprintf("outside 95 %%: %s; outside 99.8 %%: %s", s.look, s.different)
}

func siteOf(g domain.ComparedGroup) int {
	for i := range 1000 {
		if id[domain.SiteFacts](i).String() == g.Key {
			return i
		}
	}
	panic(g.Key)
}

type tally struct{ hits, of int }

func (t *tally) take(hit bool) {
	t.of++
	if hit {
		t.hits++
	}
}

func (t tally) percent() float64 { return 100 * float64(t.hits) / float64(max(1, t.of)) }
func (t tally) String() string   { return fmt.Sprintf("%.1f %% of %d", t.percent(), t.of) }

// slack is how far a share of n may be off by chance: three standard errors, in percent.
func slack(p float64, n int) float64 { return 300 * math.Sqrt(p*(1-p)/float64(n)) }

var classes = []struct{ from, to int }{{2, 2}, {3, 4}, {5, 9}, {10, 19}, {20, 40}}

// Intervals of 95 % cover the truth of 93 to 97 % of the groups with ten batches and
// more.
func TestComparisonCoverage(t *testing.T) {
	t.Parallel()
	for _, measure := range []string{"survival", "fcr_economic"} {
		covered := make([]tally, len(classes))
		for seed := range *coops {
			h := (&herd{r: rand.New(rand.NewPCG(uint64(seed), 1)), sites: 24, between: 0.3, batches: func(r *rand.Rand) int { return 2 + r.IntN(39) }}).make()
			for _, g := range h.compare(measure).Groups {
				truth := h.survival[siteOf(g)]
				if measure == "fcr_economic" {
					truth = h.fcr[siteOf(g)]
				}
				for k, c := range classes {
					if n := int(g.Batches); n >= c.from && n <= c.to {
						covered[k].take(g.Interval[0] <= truth && truth <= g.Interval[1])
					}
				}
			}
		}
		for k, c := range classes {
			t.Logf("%s, %d to %d batches: %s", measure, c.from, c.to, covered[k])
			if p, s := covered[k].percent(), slack(0.95, covered[k].of); c.from >= 10 && (p < 93-s || p > 97+s) {
				t.Errorf("%s, %d to %d batches: 95 %% intervals cover %s", measure, c.from, c.to, covered[k])
			}
		}
	}
}

// Why intervals are not those of the bootstrap: of few batches it covers too little.
func TestBootstrapCoverage(t *testing.T) {
	t.Parallel()
	covered := make([]tally, len(classes))
	for seed := range *coops {
		h := (&herd{r: rand.New(rand.NewPCG(uint64(seed), 1)), sites: 24, between: 0.3, batches: func(r *rand.Rand) int { return 2 + r.IntN(39) }}).make()
		for i, units := range h.lived {
			lo, hi := stats.Bootstrap(units, 0.95, 400, h.r)
			for k, c := range classes {
				if n := len(units); n >= c.from && n <= c.to {
					covered[k].take(lo <= h.survival[i] && h.survival[i] <= hi)
				}
			}
		}
	}
	for k, c := range classes {
		t.Logf("survival by the bootstrap, %d to %d batches: %s", c.from, c.to, covered[k])
	}
	if covered[1].percent() > 90 || covered[4].percent() < 90 {
		t.Errorf("the bootstrap covers %s of 3 to 4 batches and %s of many", covered[1], covered[4])
	}
}

// Where sites do not differ, one in twenty is outside the 95 % limits and one in five
// hundred outside those of 99.8 %, although fish of one tank die together; of limits
// that know only single fish most sites are outside.
func TestFalseSignals(t *testing.T) {
	t.Parallel()
	var additive, multiplicative signals
	var plain95, plain998 tally
	for seed := range *coops {
		h := (&herd{r: rand.New(rand.NewPCG(uint64(seed), 2)), sites: 24, batches: func(r *rand.Rand) int { return 3 + r.IntN(18) }}).make()
		c := h.compare("survival")
		additive.take(c.Groups)
		multiplicative.take(h.multiplicative().Groups)
		for _, g := range c.Groups {
			lo, hi := stats.BinomialLimits(*c.All.Value, g.Den, stats.Z95)
			plain95.take(*g.Value < lo || *g.Value > hi)
			lo, hi = stats.BinomialLimits(*c.All.Value, g.Den, stats.Z998)
			plain998.take(*g.Value < lo || *g.Value > hi)
		}
	}
	t.Logf("signals where there are none: %s; by multiplicative limits %s; by plain binomial limits %s and %s", &additive, &multiplicative, plain95, plain998)
	for limits, s := range map[string]*signals{"additive": &additive, "multiplicative": &multiplicative} {
		if p := s.look.percent(); p > 6+slack(0.05, s.look.of) || p < 3-slack(0.05, s.look.of) {
			t.Errorf("%s of sites that do not differ are outside the %s 95 %% limits", s.look, limits)
		}
		if s.different.percent() > 0.5+slack(0.002, s.different.of) {
			t.Errorf("%s of sites that do not differ are called different by %s limits", s.different, limits)
		}
	}
	if plain95.percent() < 50 || plain998.percent() < 30 {
		t.Errorf("plain limits were expected to fail: %s, %s", plain95, plain998)
	}
}

// Where all sites differ as sites do, being outside the limits is to be unlike the others
// even so. The winsorised φ of the published method takes sites for a little more alike
// than they are, so that more are outside than one in twenty and one in five hundred.
func TestSignalsAmongSitesThatDiffer(t *testing.T) {
	t.Parallel()
	var additive, multiplicative signals
	for seed := range *coops {
		h := (&herd{r: rand.New(rand.NewPCG(uint64(seed), 7)), sites: 24, between: 0.3, batches: func(r *rand.Rand) int { return 3 + r.IntN(18) }}).make()
		additive.take(h.compare("survival").Groups)
		multiplicative.take(h.multiplicative().Groups)
	}
	t.Logf("sites that all differ by 0.3 of log odds: %s; by multiplicative limits %s", &additive, &multiplicative)
	for limits, s := range map[string]*signals{"additive": &additive, "multiplicative": &multiplicative} {
		if s.look.percent() > 12+slack(0.12, s.look.of) || s.different.percent() > 2+slack(0.02, s.different.of) {
			t.Errorf("%s and %s of sites are outside the %s limits", s.look, s.different, limits)
		}
	}
}

// A site that is truly worse is found, the surer the more batches it has.
func TestWorseSiteIsFound(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		batches   int
		odds      float64
		look, bad float64 // at least these shares are worth a look, and different
	}{{5, -1, 50, 20}, {10, -1, 80, 50}, {20, -1, 95, 85}} {
		var look, different tally
		for seed := range *coops {
			h := (&herd{r: rand.New(rand.NewPCG(uint64(seed), 3)), sites: 24, odd: map[int]float64{0: c.odds}, batches: func(*rand.Rand) int { return c.batches }}).make()
			for _, g := range h.compare("survival").Groups {
				if siteOf(g) == 0 {
					look.take(g.Verdict != domain.NoDifference && !g.Better)
					different.take(g.Verdict == domain.Different && !g.Better)
				}
			}
		}
		t.Logf("a site with survival 0.68 among 0.85, %d batches each: worth a look %s, different %s", c.batches, look, different)
		if look.percent() < c.look-slack(c.look/100, look.of) || different.percent() < c.bad-slack(c.bad/100, different.of) {
			t.Errorf("%d batches: %s and %s, want %g and %g %%", c.batches, look, different, c.look, c.bad)
		}
	}
}

// Shrunken estimates are nearer to the truth than raw ones.
func TestShrinkageIsNearerToTheTruth(t *testing.T) {
	t.Parallel()
	for _, measure := range []string{"survival", "fcr_economic"} {
		var raw, shrunk float64
		n := 0
		for seed := range *coops {
			h := (&herd{r: rand.New(rand.NewPCG(uint64(seed), 4)), sites: 24, between: 0.3, batches: func(r *rand.Rand) int { return 1 + r.IntN(12) }}).make()
			for _, g := range h.compare(measure).Groups {
				truth := h.survival[siteOf(g)]
				if measure == "fcr_economic" {
					truth = h.fcr[siteOf(g)]
				}
				raw += (*g.Value - truth) * (*g.Value - truth)
				shrunk += (*g.Shrunk - truth) * (*g.Shrunk - truth)
				n++
			}
		}
		t.Logf("%s: error of raw estimates %.4f, of shrunken ones %.4f (root mean square of %d)", measure, math.Sqrt(raw/float64(n)), math.Sqrt(shrunk/float64(n)), n)
		if shrunk >= raw {
			t.Errorf("%s: shrunken estimates are no better", measure)
		}
	}
}

// Half of the sites stock fry, of which fewer live. Raw, they seem worse; held against
// batches of their own size they do not.
func TestStandardisationRemovesSize(t *testing.T) {
	t.Parallel()
	var raw, like tally
	var gapRaw, gapLike float64
	for seed := range *coops {
		h := (&herd{r: rand.New(rand.NewPCG(uint64(seed), 5)), sites: 24, batches: func(r *rand.Rand) int { return 8 + r.IntN(8) },
			size: func(site int) (float64, float64) {
				if site%2 == 0 {
					return 0.5, 0.75
				}
				return 10, 1
			}}).make()
		for _, c := range []struct {
			standardise []string
			signals     *tally
			gap         *float64
		}{{nil, &raw, &gapRaw}, {[]string{"size"}, &like, &gapLike}} {
			var sum [2]float64
			for _, g := range h.compare("survival", c.standardise...).Groups {
				c.signals.take(g.Verdict != domain.NoDifference)
				sum[siteOf(g)%2] += *g.Value / 12
			}
			*c.gap += (sum[1] - sum[0]) / float64(*coops)
		}
	}
	t.Logf("a planted effect of size: raw, sites with fry differ by %.4f and %s have a signal; standardised by %.4f and %s", gapRaw, raw, gapLike, like)
	if gapRaw < 0.18 || math.Abs(gapLike) > 0.01 || like.percent() > 7+slack(0.05, like.of) {
		t.Errorf("the effect of size is %.4f raw and %.4f standardised; signals %s", gapRaw, gapLike, like)
	}
}

// A site that pays a quarter more for feed, and where fewer live, has a higher cost for
// these two reasons, by as much as the truth without chance says.
func TestCostSplitRecoversPlantedDrivers(t *testing.T) {
	t.Parallel()
	price := func(site int) domain.Money {
		if site == 0 {
			return 15_000
		}
		return 12_000
	}
	truth := func(alive, price float64) domain.CostSums { // of 1000 fish of which that share lives
		kg := alive*400 + 5
		return domain.CostSums{Batches: 1, Fingerlings: 500_000, In: 1000, Out: domain.Fish(1000 * alive), Fed: domain.Grams(1.4 * alive * 400_000), Feed: domain.Money(1.4 * alive * 400 * price), Harvested: domain.Grams(1000 * kg)}
	}
	lives := 1 / (1 + math.Exp(-math.Log(0.85/0.15)+1))
	want := domain.BridgeCost(truth(0.85, 12_000), truth(lives, 15_000))
	var got, squares [9]float64
	n := float64(*coops)
	for seed := range *coops {
		h := (&herd{r: rand.New(rand.NewPCG(uint64(seed), 6)), sites: 24, odd: map[int]float64{0: -1}, price: price, batches: func(*rand.Rand) int { return 20 }}).make()
		q := domain.CostQuestion{Site: id[domain.SiteFacts](0), Against: "site", Other: id[domain.SiteFacts](1)}
		for i, p := range q.Answer(each(h.list)).Parts {
			got[i] += float64(p) / n
			squares[i] += float64(p) * float64(p) / n
		}
	}
	gap := float64(want.To - want.From)
	for i, driver := range domain.CostDrivers {
		t.Logf("%s: %.1f %% of the gap by the truth, %.1f %% on average", driver, 100*float64(want.Parts[i])/gap, 100*got[i]/gap)
		chance := 4 * math.Sqrt(max(0, squares[i]-got[i]*got[i])/n)
		if off := math.Abs(got[i] - float64(want.Parts[i])); off > chance+0.01*gap {
			t.Errorf("%s: %.0f on average, want %d of %.0f", driver, got[i], want.Parts[i], gap)
		}
	}
}
