package domain

import (
	"encoding/binary"
	"slices"
	"time"
)

// SiteChanges are the entries and facts of the registry that came since a report at a
// site, or were reversed since.
type SiteChanges struct {
	Entries []Correction
	Facts   []ReportFact
	// Sums works out the sums of the site with a part of the changes, first of the entries
	// and then of the facts, and reports false where they do not go together. Nil: there
	// are too many changes to try.
	Sums func(with []bool) (SiteSums, bool)
}

// Restate names, figure by figure, what has become another number since a report, and the
// changes since then that moved it, in the order of their days.
func Restate(was, now ReportDocument, sites []SiteChanges) []ReportChange {
	changes := []ReportChange{}
	p := Span{now.From, now.To}
	for _, figure := range now.Figures {
		i := slices.IndexFunc(was.Figures, func(f ReportFigure) bool { return f.Code == figure.Code })
		if i < 0 {
			continue
		}
		before := was.Figures[i]
		if same(before.Value, figure.Value) && sameWorth(before.Numerator, figure.Numerator) && sameWorth(before.Denominator, figure.Denominator) {
			continue
		}
		c := ReportChange{Code: figure.Code, Was: before.Value, Now: figure.Value, Entries: []ReportEntry{}, Facts: []ReportFact{}}
		d := now.Definitions[slices.IndexFunc(now.Definitions, func(d ReportDefinition) bool { return d.Code == figure.Code })]
		formula, err := d.indicator().Parse()
		if err != nil {
			continue // it was parsed to work the figure out
		}
		var moved []Correction
		for _, s := range sites {
			for i, is := range s.moved(formula.Sums, p) {
				switch {
				case !is:
				case i < len(s.Entries):
					moved = append(moved, s.Entries[i])
				default:
					c.Facts = append(c.Facts, s.Facts[i-len(s.Entries)])
				}
			}
		}
		slices.SortFunc(moved, func(a, b Correction) int { return a.Position().Compare(b.Position()) })
		for _, e := range moved {
			c.Entries = append(c.Entries, e.wire())
		}
		changes = append(changes, c)
	}
	return changes
}

// moved reports which changes moved some sums of the site.
//
// A change did if the sums are others when it alone is left out, or if the other changes
// do not go together without it. Where that does not explain all of the difference, others
// matter beside it or only together, as where learners were counted twice: of those as many
// are named as it takes. So the sums are what they are now with what is named alone, and
// what they were with all else alone, and none of them can be spared.
func (c SiteChanges) moved(sums []string, p Span) []bool {
	n := len(c.Entries) + len(c.Facts)
	named, with, without := make([]bool, n), make([]bool, n), make([]bool, n)
	var could []int
	for i := range n {
		with[i] = true
		if c.could(i, sums, p) {
			could = append(could, i)
		}
	}
	if c.Sums == nil {
		for _, i := range could {
			named[i] = true
		}
		return named
	}
	now, fits := c.worth(with, sums)
	was, fitted := c.worth(without, sums)
	if fits && fitted && now == was {
		return named
	}
	for _, i := range could {
		with[i] = false
		other, ok := c.worth(with, sums)
		named[i] = !ok || other != now
		with[i] = true
	}
	suffices := func() bool {
		for i := range n {
			without[i] = !named[i]
		}
		alone, ok := c.worth(named, sums)
		others, fit := c.worth(without, sums)
		return ok && fit && alone == now && others == was
	}
	if suffices() {
		return named
	}
	var together []int
	for _, from := range [][]int{could, numbers(n)} { // the second in case that others could as well
		for _, i := range from {
			if !named[i] {
				together = append(together, i)
				named[i] = true
			}
		}
		if suffices() {
			break
		}
	}
	for size := (len(together) + 1) / 2; size > 0; {
		var needed []int
		for some := range slices.Chunk(together, size) {
			for _, i := range some {
				named[i] = false
			}
			if suffices() {
				continue
			}
			for _, i := range some {
				named[i] = true
			}
			needed = append(needed, some...)
		}
		if size > 1 || len(needed) == len(together) { // one alone may be spared once others are
			size /= 2
		}
		together = needed
	}
	return named
}

func numbers(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// could reports whether a change is such that it can be behind sums of the period.
func (c SiteChanges) could(i int, sums []string, p Span) bool {
	return slices.ContainsFunc(sums, func(name string) bool {
		s, _ := SumNamed(name)
		if i < len(c.Entries) {
			return s.TouchedBy(&c.Entries[i].Entry, p)
		}
		return s.Facts
	})
}

// worth returns what some sums of the site are, and which are known, with a part of the
// changes.
func (c SiteChanges) worth(with []bool, names []string) (string, bool) {
	s, ok := c.Sums(with)
	if !ok {
		return "", false
	}
	var text []byte
	for _, name := range names {
		i := sumIndex(name)
		text = binary.AppendVarint(text, s.Values[i])
		if s.Known[i] {
			text = append(text, 1)
		} else {
			text = append(text, 0)
		}
	}
	return string(text), true
}

// Correction is an entry that was recorded since a report, or reversed.
type Correction struct {
	Entry
	ReversedBy *EntryID
	ReversedAt *time.Time
}

func (c Correction) wire() ReportEntry {
	e := ReportEntry{ID: c.ID, Kind: c.Body.Kind(), Site: c.Site, On: c.On, What: "recorded", RecordedAt: c.RecordedAt.UTC().Format(knownAtForm)}
	if c.ReversedBy != nil {
		e.What, e.By, e.RecordedAt = "reversed", c.ReversedBy, c.ReversedAt.UTC().Format(knownAtForm)
	}
	return e
}

func same(a, b *string) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }

func sameWorth(a, b *ReportPart) bool {
	return (a == nil) == (b == nil) && (a == nil || a.Value == b.Value)
}
