package domain_test

import (
	"encoding/json"
	"reflect"
	"testing"

	"shoalbook/domain"
)

// What is read is written, and read again as the same.
func FuzzDecodeEntry(f *testing.F) {
	for _, b := range bodies() {
		f.Add(domain.EncodeEntry(&domain.Entry{ID: id[domain.Entry](1), Site: site, On: day(0), At: new(domain.Minute(9)), Note: "é\n", Body: b}, "KES"))
	}
	f.Add([]byte(benchEntry))
	f.Add([]byte(`{"id":1,"id":{"a":[1,"]}"]},"kind":"count","x/~":null,"count":-1e2,"note":"\ud800\u0041"}`))
	f.Add([]byte(" {}\n"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		e, err := domain.DecodeEntry(raw, "KES")
		if err != nil {
			if _, ok := err.(*domain.Error); !ok {
				t.Fatalf("the error is %T", err)
			}
			return
		}
		if !json.Valid(raw) {
			t.Fatal("this is not JSON")
		}
		written := domain.EncodeEntry(&e, "KES")
		again, err := domain.DecodeEntry(written, "KES")
		if err != nil || !reflect.DeepEqual(again, e) {
			t.Fatalf("%s is read again as %+v, %v; was %+v", written, again, err, e)
		}
		_ = e.Check(day(0)) // judges, and does not panic
		e.Body.Refs()
	})
}

func FuzzParseMoney(f *testing.F) {
	for _, s := range []string{"0", "-0", "12.5", "1819.60", "-0.05", "999999999999999.99", "1e3", "+1", ".5", "1.", "1.0000000", "٣"} {
		f.Add(s, "KES")
		f.Add(s, "UGX")
	}
	f.Fuzz(func(t *testing.T, s, code string) {
		c := domain.Currency(code)
		if m, err := c.Parse(s); err == nil {
			if again, err := c.Parse(c.Format(m)); err != nil || again != m {
				t.Errorf("%q is %d, written %s", s, m, c.Format(m))
			}
		}
		if p, err := c.ParsePrice(s); err == nil {
			if again, err := c.ParsePrice(c.FormatPrice(p)); err != nil || again != p {
				t.Errorf("%q is %d, written %s", s, p, c.FormatPrice(p))
			}
		}
		if v, err := domain.ParseThousandths(s); err == nil {
			if again, err := domain.ParseThousandths(v.Format()); err != nil || again != v {
				t.Errorf("%q is %d, written %s", s, v, v.Format())
			}
		}
	})
}

func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"2026-05-31", "2024-02-29", "2025-02-29", "0001-01-01", "0000-01-01", "9999-12-31", "2026-5-1", " 2026-05-3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := domain.ParseDate(s)
		if err != nil {
			return
		}
		m := d.Month()
		if d.String() != s || d < m.First() || d > m.Last() || m.First().Month() != m || m.Last().Month() != m {
			t.Errorf("%q is %v, from %v to %v", s, d, m.First(), m.Last())
		}
	})
}

func FuzzParseMinute(f *testing.F) {
	for _, s := range []string{"00:00", "23:59", "24:00", "6:30", "06:3", "06:60", "-1:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if m, err := domain.ParseMinute(s); err == nil && (m.String() != s || m < 0 || m >= 24*60) {
			t.Errorf("%q is %d, written %s", s, m, m)
		}
	})
}

func FuzzParseID(f *testing.F) {
	for _, s := range []string{benchEntry[7:43], "00000000-0000-0000-0000-000000000000", "FFFFFFFF-FFFF-FFFF-FFFF-FFFFFFFFFFFF", "0190B2A4-5F3E-7C1A-9D2B-3F4E5A6B7C8D"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := domain.ParseID[domain.Batch](s)
		if err != nil {
			if !v.IsZero() {
				t.Errorf("%q is refused, and %v", s, v)
			}
			return
		}
		if again, err := domain.ParseID[domain.Batch](v.String()); err != nil || again != v || v.IsZero() || v.Compare(again) != 0 {
			t.Errorf("%q is %v, read again as %v, %v", s, v, again, err)
		}
	})
}
