package render

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strings"
	"testing"
)

func TestCSVHasEveryRowAndItsLiterals(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	if err := sample(50).CSV(&out, "sites"); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(out.String(), "\r\n"); n != 51 { // RFC 4180: lines end with CRLF
		t.Errorf("%d lines end with CRLF", n)
	}
	lines, err := csv.NewReader(&out).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"site", "fish", "cost", "survival_percent", "harvested_on", "notes", "currency"}; !slices.Equal(lines[0], want) {
		t.Errorf("the head is %v", lines[0])
	}
	if want := []string{"004 Łódź Training Farm", "511", "4131.39", "81.093", "2026-04-14", "Survival: estimated: deaths of three days were not recorded", "NGN"}; !slices.Equal(lines[4], want) {
		t.Errorf("row 4 is %q", lines[4])
	}
	if err := sample(1).CSV(&out, "nothing"); err == nil {
		t.Error("a table that is not there was written")
	}
}

// Amounts say in which money they are, and a table is of one.
func TestCSVNamesTheCurrency(t *testing.T) {
	t.Parallel()
	written := func(formats ...Format) (string, error) {
		table := &Table{Rows: slices.Values([][]Cell{Row("1.50", "2.00"), Row("3.00")})}
		for i, f := range formats {
			table.Columns = append(table.Columns, Column{Title: string(rune('a' + i)), As: f})
		}
		d := &Document{Sections: []Section{{Blocks: []Block{table}}}}
		var out bytes.Buffer
		err := d.CSV(&out, "")
		return out.String(), err
	}
	if s, err := written(Money(2, "KES"), Money(2, "KES")); err != nil || s != "a,b,currency\r\n1.50,2.00,KES\r\n3.00,,KES\r\n" {
		t.Errorf("amounts: %q, %v", s, err)
	}
	if s, err := written(Number(2, "kg"), Exact("KES")); err != nil || s != "a,b\r\n1.50,2.00\r\n3.00,\r\n" {
		t.Errorf("no amounts: %q, %v", s, err)
	}
	if s, err := written(Money(2, "KES"), Money(2, "EUR")); err == nil {
		t.Errorf("two currencies: %q", s)
	}
}

func TestCSVTextsAreNoFormulas(t *testing.T) {
	t.Parallel()
	d := &Document{Sections: []Section{{Blocks: []Block{&Table{
		Columns: []Column{{Title: "=name"}, {Title: "n", As: Number(0, "")}},
		Rows:    slices.Values([][]Cell{Row(`=1+1,"x"`, "-5"), Row("+a", "=2"), Row("\tx", "@y"), Row("-2 fish", "")}),
	}}}}}
	var out bytes.Buffer
	if err := d.CSV(&out, ""); err != nil {
		t.Fatal(err)
	}
	if want := "'=name,n\r\n\"'=1+1,\"\"x\"\"\",-5\r\n'+a,'=2\r\n\" x\",'@y\r\n'-2 fish,\r\n"; out.String() != want {
		t.Errorf("written was %q", out.String())
	}
}
