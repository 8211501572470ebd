package api

import (
	"bytes"
	"fmt"
	"io"
	"testing"

	"shoalbook/domain"
)

// BenchmarkReport writes a report of 1000 sites and a year in each form, from books that
// were read before. Budget, with the reading: JSON in 300 ms, PDF in 1.5 s, and 100 MB for
// the workbook.
//
//	go test ./api -run '^$' -bench Report -benchmem
func BenchmarkReport(b *testing.B) {
	in := domain.ReportInput{
		Report: domain.Report{StartsOn: domain.NewDate(2025, 1, 1), EndsOn: domain.NewDate(2025, 12, 31), Title: "A year", Language: "en"},
		Grant:  domain.Grant{Title: "Fish", StartsOn: domain.NewDate(2025, 1, 1), EndsOn: domain.NewDate(2025, 12, 31), Currency: "EUR", PortionG: 50_000, PortionForm: "fillet"},
		Coop:   domain.Coop{Name: "Kafue Schools", Country: "ZM", Currency: "ZMW"}, Funder: "Lake Foundation", Definitions: domain.Catalogue(),
		SiteNames: map[domain.SiteID]string{}, KnownAt: domain.NewDate(2026, 1, 15).Time(),
	}
	var sums []domain.SiteSums
	for n := range 1000 {
		id := domain.SiteID{15: byte(n), 14: byte(n >> 8), 0: 1}
		in.Grant.Sites = append(in.Grant.Sites, domain.GrantSite{Site: id})
		in.SiteNames[id] = fmt.Sprint("School ", n)
		s := domain.SiteSums{Site: id, Recorded: true, LastOn: domain.NewDate(2025, 12, 31)}
		for i := range s.Values {
			s.Values[i], s.Known[i] = int64(1000*i+n), true
		}
		sums = append(sums, s)
	}
	d, err := domain.Compose(in.Frame(), sums, nil)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("JSON", func(b *testing.B) {
		for b.Loop() {
			d, err := domain.Compose(in.Frame(), sums, nil)
			if err != nil {
				b.Fatal(err)
			}
			text, err := domain.CanonicalOf(d)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(len(text)), "bytes")
		}
	})
	shown, err := reportPages(d, "")
	if err != nil {
		b.Fatal(err)
	}
	for name, write := range map[string]func(io.Writer) error{"PDF": shown.PDF, "XLSX": shown.XLSX, "HTML": shown.HTML} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				var out bytes.Buffer
				if err := write(&out); err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(out.Len()), "bytes")
			}
		})
	}
}
