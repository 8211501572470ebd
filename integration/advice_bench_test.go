package integration_test

import "testing"

// BenchmarkAdvice: all advice of a co-operative of 1000 sites (25 that were simulated,
// and their copies) and of one of its sites, over HTTP. Budget: 300 ms, and 20 ms for a
// site.
//
//	go test ./integration -run '^$' -bench Advice
func BenchmarkAdvice(b *testing.B) {
	n := newMany(b, 25, 40)
	entries := n.count(b, `select count(*) from entry`)
	for name, query := range map[string]string{"all": "?limit=500", "one site": "?site_id=" + n.sites[3].String()} {
		b.Run(name, func(b *testing.B) {
			for range b.N {
				if err := n.do("GET", "/v1/advice"+query, "", `"severity"`); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(n.sites)), "sites")
			b.ReportMetric(entries, "entries")
		})
	}
}
