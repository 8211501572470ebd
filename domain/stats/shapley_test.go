package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The airport game (Littlechild & Owen 1973): costs 8, 11, 13, 18 are borne 2, 3, 4, 9
// (published source), and the split of a product of two factors, computed by hand:
// from 2·3 to 4·5, the first bears 2·(3+5)/2 and the second 2·(2+4)/2.
func TestShapley(t *testing.T) {
	t.Parallel()
	costs := []float64{8, 11, 13, 18}
	got := Shapley(4, func(in uint) (most float64) {
		for i, c := range costs {
			if in>>i&1 == 1 {
				most = max(most, c)
			}
		}
		return most
	})
	for i, want := range []float64{2, 3, 4, 9} {
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("airport: %v", got)
			break
		}
	}
	got = Shapley(2, func(in uint) float64 { return (2 + 2*float64(in&1)) * (3 + 2*float64(in>>1)) })
	if math.Abs(got[0]-8) > 1e-12 || math.Abs(got[1]-6) > 1e-12 {
		t.Errorf("product: %v", got)
	}
}

func TestShapleyProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 6).Draw(t, "drivers")
		values := rapid.SliceOfN(rapid.Float64Range(-100, 100), 1<<n, 1<<n).Draw(t, "values")
		f := func(in uint) float64 { return values[in&^1] } // the first driver changes nothing
		parts := Shapley(n, f)
		var sum float64
		for _, p := range parts {
			sum += p
		}
		if math.Abs(sum-(f(1<<n-1)-f(0))) > 1e-9 {
			t.Fatalf("the parts sum to %g, want %g", sum, f(1<<n-1)-f(0))
		}
		if parts[0] != 0 {
			t.Fatalf("a driver that changes nothing gets %g", parts[0])
		}
		swapped := Shapley(n, func(in uint) float64 { // the last two change places
			a, b := in>>(n-1)&1, in>>(n-2)&1
			return f(in&^(3<<(n-2)) | b<<(n-1) | a<<(n-2))
		})
		if math.Abs(swapped[n-1]-parts[n-2]) > 1e-9 && n > 2 {
			t.Fatalf("by another name %g becomes %g", parts[n-2], swapped[n-1])
		}
	})
}

func TestRoundTo(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 1, 12).Draw(t, "parts")
		var sum float64
		for _, p := range parts {
			sum += p
		}
		total := int64(math.Round(sum))
		var got int64
		for i, w := range RoundTo(total, parts) {
			if got += w; math.Abs(float64(w)-parts[i]) > 1+1e-6 {
				t.Fatalf("%g becomes %d", parts[i], w)
			}
		}
		if got != total {
			t.Fatalf("the parts sum to %d, want %d", got, total)
		}
	})
}
