package domain

import (
	"slices"
	"testing"
)

// changesOf are changes at a site of which some entries were known before.
func changesOf(t *testing.T, p Span, before []Entry, since ...Correction) SiteChanges {
	t.Helper()
	return SiteChanges{Entries: since, Sums: func(with []bool) (SiteSums, bool) {
		entries := slices.Clone(before)
		for i, c := range since {
			switch {
			case !with[i]:
			case c.ReversedBy != nil:
				entries = slices.DeleteFunc(entries, func(e Entry) bool { return e.ID == c.ID })
			default:
				entries = append(entries, c.Entry)
			}
		}
		entries = slices.DeleteFunc(entries, func(e Entry) bool { return e.On > p.To })
		SortEntries(entries)
		b, err := BooksOf(SiteID{1}, entries, Facts{}, p)
		if err != nil {
			return SiteSums{}, false
		}
		return b.Sums(p, nil), true
	}}
}

func TestWhatMovedASum(t *testing.T) {
	t.Parallel()
	from := NewDate(2026, 3, 1)
	p := Span{from, from + 30}
	n := byte(0)
	entry := func(day Date, b Body) Entry {
		n++
		return Entry{ID: EntryID{n}, Site: SiteID{1}, On: from + day, Body: b}
	}
	came := func(day Date, b Body) Correction { return Correction{Entry: entry(day, b)} }
	learners := func(n Fish) Tally { return Tally{Measure: "learners", Count: n} }
	meals := func(n Fish) Tally { return Tally{Measure: "meals", Count: n} }
	first := entry(1, meals(40))
	gone := Correction{Entry: first, ReversedBy: &EntryID{99}}
	for what, c := range map[string]struct {
		sum    string
		before []Entry
		since  []Correction
		want   []int
	}{
		"each that adds": {"meals", []Entry{first}, []Correction{came(2, meals(5)), came(3, meals(0)), came(40, meals(5)), came(4, learners(9)), came(5, meals(7))}, []int{0, 4}},
		"what was reversed, and what came for it": {"meals", []Entry{first}, []Correction{gone, came(1, meals(41)), came(9, learners(1))}, []int{0, 1}},
		"nothing, where all that came is undone":  {"meals", []Entry{first}, []Correction{gone, came(1, meals(40))}, nil},
		"the largest, and what would have done":   {"learners", []Entry{entry(1, learners(50))}, []Correction{came(2, learners(49)), came(3, learners(60)), came(4, learners(59)), came(5, meals(60))}, []int{1, 2}},
		"both that say the same":                  {"learners", []Entry{entry(1, learners(50))}, []Correction{came(2, learners(60)), came(3, learners(60)), came(4, learners(10))}, []int{0, 1}},
	} {
		named := changesOf(t, p, c.before, c.since...).moved([]string{c.sum}, p)
		var got []int
		for i, is := range named {
			if is {
				got = append(got, i)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %v moved %s, want %v", what, got, c.sum, c.want)
		}
	}
	many := changesOf(t, p, nil, came(2, meals(5)), came(3, learners(5)), came(3, meals(0)), came(50, meals(1)))
	many.Sums = nil // too many to try
	if got := many.moved([]string{"meals"}, p); !slices.Equal(got, []bool{true, false, true, false}) {
		t.Errorf("of too many to try %v could have moved meals", got)
	}
}

// A report of an earlier version of this program, which knew fewer sums, is worked out
// again to what it was.
func TestSumsOfAnEarlierReport(t *testing.T) {
	t.Parallel()
	whole := ReportDocument{Sums: []ReportSum{{Name: "sales"}, {Name: "meals"}, {Name: "pond_m2"}},
		Sites: []ReportSite{{ID: SiteID{1}, Sums: []ReportSiteSum{{"meals", "3"}, {"pond_m2", "20"}}}, {ID: SiteID{2}, Sums: []ReportSiteSum{{"pond_m2", "5"}}}}}
	earlier := ReportDocument{Sums: []ReportSum{{Name: "sales"}, {Name: "meals"}},
		Sites: []ReportSite{{ID: SiteID{1}, Sums: []ReportSiteSum{{"meals", "3"}}}, {ID: SiteID{2}, Sums: []ReportSiteSum{}}}}
	text := func(d ReportDocument) string {
		t.Helper()
		out, err := CanonicalOf(d)
		if err != nil {
			t.Fatal(err)
		}
		return string(out)
	}
	if got, want := text(whole.SumsOf(earlier)), text(earlier); got != want {
		t.Errorf("%s, want %s", got, want)
	}
	if text(whole.SumsOf(whole)) != text(whole) {
		t.Error("a document has not the sums of itself")
	}
}

// TestNoChangeIsSparedTooLate: a change that was needed while others were named with it is
// not named when it can be spared without them. Here 0 is needed beside 1 to 4, and not
// beside 2 and 4 alone.
func TestNoChangeIsSparedTooLate(t *testing.T) {
	t.Parallel()
	const was, now, other = 1, 2, 3
	worth := map[string]int64{
		"": was, "1": was, "13": was, "013": was,
		"01234": now, "1234": now, "0234": now, "0134": now, "0124": now, "0123": now, "024": now, "24": now,
	}
	c := SiteChanges{Facts: make([]ReportFact, 5), Sums: func(with []bool) (SiteSums, bool) {
		key := ""
		for i, is := range with {
			if is {
				key += string(rune('0' + i))
			}
		}
		var s SiteSums
		s.Values[sumBedArea] = other
		if v, ok := worth[key]; ok {
			s.Values[sumBedArea] = v
		}
		return s, true
	}}
	if got := c.moved([]string{"bed_m2"}, Span{}); !slices.Equal(got, []bool{false, false, true, false, true}) {
		t.Errorf("named are %v, want only 2 and 4", got)
	}
}
