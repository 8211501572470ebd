package domain_test

import (
	"encoding/binary"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"shoalbook/domain"
)

// Everything in these tests happens at one site with two feeds and a few tanks.
var (
	site      = id[domain.SiteFacts](1)
	otherSite = id[domain.SiteFacts](2)

	tank1, tank2, tank3 = id[domain.Unit](11), id[domain.Unit](12), id[domain.Unit](13)
	a, b, c             = id[domain.Batch](21), id[domain.Batch](22), id[domain.Batch](23)

	feed     = id[domain.Product](31) // 32 % protein
	plain    = id[domain.Product](32) // a feed of unknown protein
	salt     = id[domain.Product](33) // a medicine, kept in a store
	mains    = id[domain.Product](34) // electricity, without a store
	pouches  = id[domain.Product](35) // packaging
	hatchery = id[domain.Party](41)
)

// start is the first of the days that tests count.
var start = domain.NewDate(2025, 1, 1)

func day(n int) domain.Date { return start + domain.Date(n) }

func id[T any](n int) (v domain.ID[T]) {
	binary.BigEndian.PutUint64(v[8:], uint64(n))
	v[0] = 1
	return v
}

func facts() domain.Facts {
	return domain.Facts{
		Batches: map[domain.BatchID]domain.Batch{a: {ID: a, Unit: tank1}, b: {ID: b, Unit: tank2}, c: {ID: c, Unit: tank3}},
		Units:   map[domain.UnitID]domain.Unit{tank1: {ID: tank1}, tank2: {ID: tank2}, tank3: {ID: tank3}},
		Products: map[domain.ProductID]domain.ProductFacts{
			feed:    {Category: "feed", Stored: true, Protein: []domain.ProteinFrom{{From: -1 << 31, Percent: new(domain.Thousandths(32_000))}}},
			plain:   {Category: "feed", Stored: true},
			salt:    {Category: "medicine", Stored: true},
			mains:   {Category: "energy", Unit: "kwh"},
			pouches: {Category: "packaging", Stored: true},
		},
	}
}

// journal is the journal of the site in the making.
type journal struct {
	entries []domain.Entry
	next    int
}

// add records an entry on a day. Identifiers grow: entries of one rank on one day
// without a time are folded as they were added.
func (j *journal) add(on domain.Date, body domain.Body) *domain.Entry {
	j.next++
	j.entries = append(j.entries, domain.Entry{ID: id[domain.Entry](1000 + j.next), Site: site, On: on, Body: body})
	return &j.entries[len(j.entries)-1]
}

// at is add at a minute of the day.
func (j *journal) at(on domain.Date, minute domain.Minute, body domain.Body) {
	j.add(on, body).At = &minute
}

// take drops the entries recorded last, n of them.
func (j *journal) take(n int) { j.entries = j.entries[:len(j.entries)-n] }

// folded is the journal folded to its end, with every shared cost in it.
type folded struct {
	*domain.Site
	shared []domain.SharedCost
}

func (j *journal) try() (folded, error) {
	f := folded{Site: domain.NewSite(site, facts())}
	entries := append([]domain.Entry(nil), j.entries...)
	domain.SortEntries(entries)
	err := f.Fold(entries, func(d domain.Day) { f.shared = append(f.shared, d.Shared...) })
	for _, e := range entries { // what was sent has a value now
		for i := range j.entries {
			if j.entries[i].ID == e.ID && err == nil {
				j.entries[i].Fixed = e.Fixed
			}
		}
	}
	return f, err
}

func (j *journal) fold(t testing.TB) folded {
	t.Helper()
	f, err := j.try()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// refused folds the journal, which must be refused with the code.
func (j *journal) refused(t testing.TB, code string) *domain.Error {
	t.Helper()
	_, err := j.try()
	refusal, ok := errors.AsType[*domain.Error](err)
	if !ok || refusal.Code != code {
		t.Fatalf("folding gives %v, want the refusal %s", err, code)
	}
	return refusal
}

// printed are the figures of a batch by name.
type printed struct {
	domain.Performance
	byName map[string]domain.Figure
}

func (f folded) figures(batch domain.BatchID, asOf domain.Date, currency domain.Currency) printed {
	m := domain.Measure{State: f.Batches[batch], AsOf: asOf, Currency: currency, Explain: true}
	if s := domain.ShareOut(asOf, domain.ByGramDays, f.shared, f.Batches).Batches[batch]; s != nil {
		m.Share = *s
	}
	return figuresOf(m)
}

func figuresOf(m domain.Measure) printed {
	p := printed{m.Figures(), map[string]domain.Figure{}}
	for _, f := range p.Figures {
		p.byName[f.Name] = f
	}
	return p
}

// want checks figures that are exact, as they are printed.
func (p printed) want(t testing.TB, literals map[string]string) {
	t.Helper()
	for name, want := range literals {
		f, ok := p.byName[name]
		switch {
		case !ok:
			t.Errorf("there is no figure %s", name)
		case f.Literal != want:
			t.Errorf("%s is %s %s, want %s", name, f.Literal, f.Reason, want)
		}
	}
}

// problems takes what is wrong, of a test or of a property.
type problems interface {
	Helper()
	Errorf(format string, args ...any)
}

// near checks figures to a tolerance.
func (p printed) near(t problems, tolerance float64, values map[string]float64) {
	t.Helper()
	for name, want := range values {
		f := p.byName[name]
		got, err := strconv.ParseFloat(strings.Trim(f.Literal, `"`), 64)
		if err != nil || math.Abs(got-want) > tolerance {
			t.Errorf("%s is %s %s, want %v ± %v", name, f.Literal, f.Reason, want, tolerance)
		}
	}
}

// null checks figures that must not have a value, and why.
func (p printed) null(t testing.TB, reason string, names ...string) {
	t.Helper()
	for _, name := range names {
		f, ok := p.byName[name]
		if !ok || f.Literal != "" || !strings.Contains(f.Reason, reason) {
			t.Errorf("%s is %q, null because %q; want null because of %q", name, f.Literal, f.Reason, reason)
		}
	}
}

func kg(n float64) domain.Grams          { return domain.Grams(math.Round(n * 1000)) }
func qty(n float64) domain.Quantity      { return domain.Quantity(math.Round(n * 1000)) }
func gram(n float64) *domain.Milligrams  { return new(domain.Milligrams(math.Round(n * 1000))) }
func milli(n float64) domain.Thousandths { return domain.Thousandths(math.Round(n * 1000)) }
