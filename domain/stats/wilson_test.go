package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestWilson(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		k      string
		x, n   int64
		z      float64
		lo, hi float64
		tol    float64
	}{
		// K-44, from memory of Newcombe 1998, recomputed.
		{"K-44", 81, 263, Z95, .2553, .3662, 5e-5},
		{"K-44", 15, 148, Z95, .0624, .1605, 5e-5},
		{"K-44", 0, 20, Z95, .0000, .1611, 5e-5},
		{"K-44", 1, 29, Z95, .0061, .1718, 5e-5},
		// K-45, published source, recomputed; z = 1.96 exactly.
		{"K-45", 10, 100, 1.96, .05522854161313612, .1743673043676654, 1e-12},
		{"K-45", 0, 100, 1.96, 0, .03699480747600191, 1e-12},
		{"K-45", 50, 100, 1.96, .40382982859014716, .5961701714098528, 1e-12},
		// K-14b, computed: 1780 of 2000 fish by account; counting error only.
		{"K-14b", 1780, 2000, Z95, 0.8755, 0.9030, 1e-4},
		// Nothing seen excludes nothing.
		{"nothing seen", 0, 0, Z95, 0, 1, 0},
	} {
		lo, hi := Wilson(c.x, c.n, c.z)
		if !(math.Abs(lo-c.lo) <= c.tol && math.Abs(hi-c.hi) <= c.tol) {
			t.Errorf("%s: %d of %d: got %v to %v, want %v to %v", c.k, c.x, c.n, lo, hi, c.lo, c.hi)
		}
	}
}

func TestWilsonOutsideTheCount(t *testing.T) {
	t.Parallel()
	for _, c := range [][2]int64{{-1, 10}, {11, 10}, {0, -1}, {1, 0}, {-2, -1}} {
		if lo, hi := Wilson(c[0], c[1], Z95); !math.IsNaN(lo) || !math.IsNaN(hi) {
			t.Errorf("%d of %d: got %v to %v", c[0], c[1], lo, hi)
		}
	}
}

// The normal distribution itself says what the critical values leave outside.
func TestCriticalValues(t *testing.T) {
	t.Parallel()
	for z, want := range map[float64]float64{Z95: 0.05, Z998: 0.002} {
		if got := math.Erfc(z / math.Sqrt2); math.Abs(got-want) > 1e-8 {
			t.Errorf("%v leaves %v outside, want %v", z, got, want)
		}
	}
}

func TestWilsonProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(1, math.MaxInt64).Draw(t, "n")
		x := rapid.Int64Range(0, n).Draw(t, "x")
		z := rapid.Float64Range(0.1, 5).Draw(t, "z")
		const tol = 1e-14

		lo, hi := Wilson(x, n, z)
		if !(lo >= 0 && hi <= 1) {
			t.Fatalf("%v to %v leaves 0 to 1", lo, hi)
		}
		if p := float64(x) / float64(n); lo > p+tol || hi < p-tol {
			t.Fatalf("%v to %v misses %v", lo, hi, p)
		}
		if x == 0 && lo != 0 || x == n && hi != 1 {
			t.Fatalf("%v to %v does not reach its end", lo, hi)
		}
		if otherLo, otherHi := Wilson(n-x, n, z); math.Abs(otherLo-(1-hi)) > tol || math.Abs(otherHi-(1-lo)) > tol {
			t.Fatalf("%v to %v of the dead, %v to %v of the living", otherLo, otherHi, lo, hi)
		}
		if wideLo, wideHi := Wilson(x, n, z+0.1); wideLo > lo+tol || wideHi < hi-tol {
			t.Fatalf("%v to %v narrows to %v to %v with a larger z", lo, hi, wideLo, wideHi)
		}
	})
}

// The ends solve the equation the interval comes from: |p − θ| = z·√(θ(1−θ)/n).
func TestWilsonEndsAreOnTheScore(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(1, 1e6).Draw(t, "n")
		x := rapid.Int64Range(0, n).Draw(t, "x")
		z := rapid.Float64Range(0.1, 5).Draw(t, "z")
		p := float64(x) / float64(n)
		lo, hi := Wilson(x, n, z)
		for _, theta := range []float64{lo, hi} {
			score := (p - theta) * (p - theta)
			if want := z * z * theta * (1 - theta) / float64(n); math.Abs(score-want) > 1e-12 {
				t.Fatalf("%d of %d: at %v the score is %v, want %v", x, n, theta, score, want)
			}
		}
	})
}
