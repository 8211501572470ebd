package domain

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Of several counts the largest is the same in whatever order they come.
func TestLargestInAnyOrder(t *testing.T) {
	t.Parallel()
	number := rapid.Int64Range(NotTold, 3)
	rapid.Check(t, func(t *rapid.T) {
		counts := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Present {
			return Present{number.Draw(t, "learners"), number.Draw(t, "women"), number.Draw(t, "men"), number.Draw(t, "jobs"), number.Draw(t, "women"), number.Draw(t, "men")}
		}), 1, 6).Draw(t, "counts")
		of := func(counts []Present) Present {
			p := NobodyCounted
			for _, c := range counts {
				p = p.Largest(c)
			}
			return p
		}
		largest := of(counts)
		if other := of(rapid.Permutation(counts).Draw(t, "other order")); other != largest {
			t.Fatalf("%v and %v", largest, other)
		}
		for first := 0; first < 6; first += 3 {
			if !slices.ContainsFunc(counts, func(c Present) bool { return [3]int64(c[first:]) == [3]int64(largest[first:]) }) {
				t.Fatalf("nobody counted %v", largest)
			}
			if slices.ContainsFunc(counts, func(c Present) bool { return c[first] > largest[first] }) {
				t.Fatalf("%v is not the largest of %v", largest, counts)
			}
		}
	})
}
