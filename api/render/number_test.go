package render

import (
	"testing"
)

func TestNumbersAreRoundedAndGrouped(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		as            Format
		literal, want string
		in            *tongue
	}{
		{Number(2, ""), "1234567.005", "1 234 567.01", english},
		{Number(2, ""), "-0.005", "−0.01", english},
		{Number(2, ""), "-0.004", "0.00", english}, // no minus before nothing
		{Number(0, ""), "999.5", "1 000", english},
		{Number(3, ""), "0.1", "0.100", english},
		{Number(1, ""), "-1234.25", "−1 234,3", french},
		{Money(2, "NGN"), "90071992547409931.17", "90 071 992 547 409 931.17", english}, // more digits than a float has
		{Exact("kg"), "-1234.500", "−1 234.500", english},
		{Percent(1), "83.45", "83.5", english},
		{Number(2, ""), "", "–", english},
		{Number(2, ""), "many", "many", english},
		{Number(2, ""), "1e5", "1e5", english},
		{Date(), "2026-08-05", "5\u00a0août\u00a02026", french},
		{Date(), "soon", "soon", english},
		{Format{}, "e\u0323\u0301", "ẹ\u0301", english}, // composed as far as there are letters
		{Format{}, "a\x00b\nc", "ab c", english},
	} {
		want := ""
		for _, r := range c.want {
			if r == ' ' && c.as.numeric() {
				r = '\u202f'
			}
			want += string(r)
		}
		if got := c.as.show(c.literal, c.in); got != want {
			t.Errorf("%q is shown as %q, not as %q", c.literal, got, want)
		}
	}
	if got, want := Money(0, "UGX").withUnit("4500", english), "4\u202f500\u00a0UGX"; got != want {
		t.Errorf("with unit %q, not %q", got, want)
	}
}

func TestSumsAreExact(t *testing.T) {
	t.Parallel()
	table := &Table{Columns: []Column{{Title: "a"}, {Title: "b", As: Number(2, ""), Sum: true}}, Rows: func(yield func([]Cell) bool) {
		for range 10 {
			if !yield(Row("x", "0.1")) {
				return
			}
		}
		yield(Row("y"))
		yield(Row("z", "90071992547409931.017"))
	}}
	if got, want := table.totals(english)[1].Text, "90071992547409932.017"; got != want {
		t.Errorf("the sum is %s, not %s", got, want)
	}
	if got := table.totals(english)[0].Text; got != "Total" {
		t.Errorf("the row is called %q", got)
	}
}
