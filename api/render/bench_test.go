package render

import (
	"io"
	"testing"
)

// BenchmarkRepresentations is a report of 1000 rows with all charts.
func BenchmarkRepresentations(b *testing.B) {
	d := illustrated()
	d.Sections = append(d.Sections, sample(1000).Sections[1])
	for _, r := range []struct {
		name  string
		write func(io.Writer) error
	}{{"HTML", d.HTML}, {"PDF", d.PDF}, {"XLSX", d.XLSX}, {"CSV", func(w io.Writer) error { return d.CSV(w, "") }}} {
		b.Run(r.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := r.write(io.Discard); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
