package postgres

import (
	"testing"

	"shoalbook/domain"
)

// What is remembered belongs to one version of one site of one co-operative, an older one
// never takes the place of a newer, and there is never more of it than may be.
func TestRemembered(t *testing.T) {
	t.Parallel()
	var r remembered[string]
	site := func(n byte) siteKey { return siteKey{domain.CoopID{1}, domain.SiteID{n}} }
	knows := func(key siteKey, version int64, want string) {
		t.Helper()
		if got, ok := r.get(key, version); got != want || ok != (want != "") {
			t.Errorf("of version %d it has %q, not %q", version, got, want)
		}
	}
	r.put(site(1), 3, 10, "third")
	r.put(site(1), 2, 10, "second")
	knows(site(1), 3, "third")
	knows(site(1), 2, "")
	knows(siteKey{domain.CoopID{2}, domain.SiteID{1}}, 3, "")
	r.put(site(1), 4, 20, "fourth")
	knows(site(1), 3, "")
	knows(site(1), 4, "fourth")
	r.put(site(2), 1, mostRemembered, "too large")
	knows(site(2), 1, "")
	knows(site(1), 4, "fourth")

	const each = mostRemembered / 10
	for n := byte(1); n < 100; n++ {
		r.put(site(n), 9, each-1, "some")
		knows(site(n), 9, "some")
	}
	batches := 0
	for _, s := range r.sites {
		batches += s.batches
	}
	if batches != r.batches || batches != mostRemembered || len(r.sites) != 10 {
		t.Errorf("%d sites with %d batches are remembered, it says %d", len(r.sites), batches, r.batches)
	}
}
