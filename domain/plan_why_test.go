package domain

import "testing"

// The most frequent reason comes first, whatever comes first to mind, and of many reasons
// the rarest are only counted.
func TestReasonsAreCounted(t *testing.T) {
	t.Parallel()
	var r reasons
	for _, why := range []string{"a", "b", "c", "d", "e", "f", "b", "c", "b"} {
		r.add(why, "")
	}
	r.add("c", "1 km")
	r.add("c", "2 km")
	r.add("a", "3 km")
	r.add("a", "3 km")
	const want = "4 quotes: c (such as: 1 km); 3 quotes: a (3 km); 3 quotes: b; 1 quote: d; 2 quotes: for other reasons"
	if got := r.tell("quote"); got != want {
		t.Errorf("%q", got)
	}
}
