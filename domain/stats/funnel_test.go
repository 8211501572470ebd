package stats

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// Operations and survivors of child heart surgery at twelve hospitals, 1991–95 (K-47:
// data from a published source, Spiegelhalter, The Art of Statistics).
var surgery = []Count{{102, 143}, {162, 187}, {299, 323}, {99, 122}, {139, 164}, {363, 405}, {215, 239}, {429, 482},
	{169, 195}, {152, 177}, {523, 581}, {270, 301}}

// K-47, values computed.
func TestHospitals(t *testing.T) {
	t.Parallel()
	theta := Pooled(surgery)
	var chi2 float64
	for i, c := range surgery {
		z := c.Score(theta)
		chi2 += z * z
		if lo, hi := BinomialLimits(theta, c.N, Z998); (c.Share() < lo || c.Share() > hi) != (i == 0) {
			t.Errorf("hospital %d: %.4f against %.4f to %.4f", i+1, c.Share(), lo, hi)
		}
	}
	lo, _ := BinomialLimits(theta, 143, Z998)
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"θ", theta, 0.880386}, {"χ²", chi2, 58.0662}, {"z of the first", surgery[0].Score(theta), -6.1576}, {"its limit", lo, 0.7965}} {
		if math.Abs(c.got-c.want) > 1e-4 {
			t.Errorf("%s is %.6f, want %.4f", c.what, c.got, c.want)
		}
	}
}

// K-51, computed: θ = 0.85, n = 60; 95 % with z = 1.96.
func TestBinomialLimits(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ z, lo, hi float64 }{{1.96, .7596, .9404}, {Z998, .7075, .9925}} {
		if lo, hi := BinomialLimits(0.85, 60, c.z); math.Abs(lo-c.lo) > 1e-4 || math.Abs(hi-c.hi) > 1e-4 {
			t.Errorf("z %g: %.4f to %.4f, want %.4f to %.4f", c.z, lo, hi, c.lo, c.hi)
		}
	}
	if lo, hi := BinomialLimits(0.98, 20, Z998); lo < 0.8 || hi != 1 {
		t.Errorf("%g to %g is not clipped", lo, hi)
	}
}

// K-46: a published source (Robinson, Introduction to Empirical Bayes).
func TestShrinkByAGivenPrior(t *testing.T) {
	t.Parallel()
	prior := Prior{78.661, 224.875}
	for _, c := range []struct{ x, n, want float64 }{{300, 1000, 0.2905}, {4, 10, 0.264}, {2930, 8173, 0.355}, {516, 3028, 0.178}} {
		if got := prior.Shrink(Count{c.x, c.n}); math.Abs(got-c.want) > 5e-4 {
			t.Errorf("%g of %g: %.5f, want %.4f", c.x, c.n, got, c.want)
		}
	}
}

// K-49, computed by two programs: the same hospitals, all of them.
func TestFitPrior(t *testing.T) {
	t.Parallel()
	p, ok := FitPrior(surgery)
	if !ok || math.Abs(p.Alpha-61.05) > 0.01 || math.Abs(p.Beta-9.262) > 1e-3 {
		t.Fatalf("α %.4f, β %.4f, want 61.05 and 9.262", p.Alpha, p.Beta)
	}
	for i, want := range map[int]float64{0: .7644, 3: .8322, 2: .9154} {
		if got := p.Shrink(surgery[i]); math.Abs(got-want) > 1e-3 {
			t.Errorf("hospital %d: %.4f, want %.4f", i+1, got, want)
		}
	}
}

func TestOneOddGroupDoesNotSetThePrior(t *testing.T) {
	t.Parallel()
	counts := []Count{{90, 100}, {88, 100}, {91, 100}, {89, 100}, {92, 100}, {87, 100}, {90, 100}, {93, 100}, {88, 100}, {91, 100}, {90, 100}, {30, 100}}
	if usual, _ := Usual(counts); len(usual) != 11 {
		t.Fatalf("%d of 12 groups are usual", len(usual))
	}
	// The others differ by less than counting explains, so that there is no prior.
	if _, ok := FitPrior(counts[:11]); ok {
		t.Error("groups that do not differ have a prior")
	}
	for i, got := range Shrunk(counts) {
		want := 989.0 / 1100 // pooled
		if i == 11 {
			want = 0.3
		}
		if math.Abs(got-want) > 1e-12 {
			t.Errorf("group %d is taken for %.4f, want %.4f", i, got, want)
		}
	}
}

// Counts whose dispersion is worked out by hand: four groups of 100, two with 80 and two
// with 90. The tenth percentile of four values two of which are equal is that value, so
// that nothing is winsorised; all weigh the same, so that τ² = (Iφ − (I−1)) ÷ (I−1)w.
func TestDisperseByHand(t *testing.T) {
	t.Parallel()
	d := DisperseCounts([]Count{{80, 100}, {90, 100}, {80, 100}, {90, 100}})
	half := 2 * math.Sqrt(100)
	a, b := (math.Asin(math.Sqrt(.8))-math.Asin(math.Sqrt(.85)))*half, (math.Asin(math.Sqrt(.9))-math.Asin(math.Sqrt(.85)))*half
	phi := (a*a + b*b) / 2
	if tau2 := (4*phi - 3) / (3 * 400); math.Abs(d.Phi-phi) > 1e-9 || math.Abs(d.Tau2-tau2) > 1e-12 {
		t.Errorf("φ %g, τ² %g, want %g, %g", d.Phi, d.Tau2, phi, tau2)
	}
}

// The hospitals of K-47 vary one and a half times as much as counting explains; values
// computed from the definition by another program. Both ways to widen the funnel leave the
// first hospital, with 102 of 143, outside; they cross between it and the largest one.
func TestDispersionOfHospitals(t *testing.T) {
	t.Parallel()
	d := DisperseCounts(surgery)
	s := func(n float64) float64 { return 1 / (2 * math.Sqrt(n)) }
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"φ", d.Phi, 1.561707}, {"τ²", d.Tau2, 0.000651172},
		{"95 %, multiplicative, of 143", d.Multiplicative(s(143), Z95), 0.102412}, {"additive", d.Additive(s(143), Z95), 0.096007},
		{"95 %, multiplicative, of 581", d.Multiplicative(s(581), Z95), 0.050808}, {"additive", d.Additive(s(581), Z95), 0.064455},
		{"99.8 %, multiplicative, of 143", d.Multiplicative(s(143), Z998), 0.161470}, {"additive", d.Additive(s(143), Z998), 0.151372},
	} {
		if math.Abs(c.got-c.want) > 1e-6 {
			t.Errorf("%s is %.6f, want %.6f", c.what, c.got, c.want)
		}
	}
	first, centre := Angle(surgery[0].Share()), Angle(Pooled(surgery))
	if off := centre - first; off < d.Multiplicative(s(143), Z998) || off < d.Additive(s(143), Z998) {
		t.Errorf("the first hospital is off by %g", off)
	}
}

// Straight between values: the definition of type 7, by hand.
func TestQuantile(t *testing.T) {
	t.Parallel()
	values := []float64{1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 2048}
	for p, want := range map[float64]float64{0: 1, 0.1: 2.2, 0.5: 48, 0.9: 972.8, 1: 2048} {
		if got := Quantile(values, p); math.Abs(got-want) > 1e-9 {
			t.Errorf("%g: %g, want %g", p, got, want)
		}
	}
}

func TestLimitsProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := Dispersion{Phi: rapid.Float64Range(0, 20).Draw(t, "phi"), Tau2: rapid.Float64Range(0, 1).Draw(t, "tau2")}
		theta, n := rapid.Float64Range(0.001, 0.999).Draw(t, "theta"), rapid.Float64Range(1, 1e5).Draw(t, "n")
		lo95, hi95 := d.AdditiveLimits(theta, n, Z95)
		lo998, hi998 := d.AdditiveLimits(theta, n, Z998)
		const tol = 1e-12
		if !(0 <= lo998 && lo998 <= lo95+tol && lo95 <= theta+tol && theta <= hi95+tol && hi95 <= hi998+tol && hi998 <= 1) {
			t.Fatalf("%g ≤ %g ≤ %g ≤ %g ≤ %g", lo998, lo95, theta, hi95, hi998)
		}
		if lo, hi := (Dispersion{}).AdditiveLimits(theta, n, Z95); lo < lo95-tol || hi > hi95+tol {
			t.Fatal("dispersion makes limits narrower")
		}
		if s := 1 / (2 * math.Sqrt(n)); d.Multiplicative(s, Z95) < Z95*s {
			t.Fatal("groups close together make limits narrower")
		}
	})
}

// A prior is found again from what it makes.
func TestPriorIsRecovered(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 7))
	counts := make([]Count, 400)
	for i := range counts {
		p := beta(r, 30, 6)
		for range 80 {
			counts[i].N++
			if r.Float64() < p {
				counts[i].X++
			}
		}
	}
	got, ok := FitPrior(counts)
	if mean := got.Alpha / (got.Alpha + got.Beta); !ok || math.Abs(mean-30.0/36) > 0.01 || math.Abs(got.Alpha+got.Beta-36) > 8 {
		t.Errorf("%+v, want 30 and 6", got)
	}
}

// beta draws from a beta distribution of whole parameters, as an order statistic.
func beta(r *rand.Rand, a, b int) float64 {
	var x, y float64
	for range a {
		x += r.ExpFloat64()
	}
	for range b {
		y += r.ExpFloat64()
	}
	return x / (x + y)
}
