package postgres_test

import (
	"context"
	"encoding/json"
	"flag"
	"maps"
	"reflect"
	"slices"
	"testing"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
)

var manyRestated = flag.Int("restated", 4, "how many of the reports are restated after corrections")

// reportedOn is the last day of the sites that reports are made of, so that what there is to
// be seen does not depend on when it is looked at.
var reportedOn = domain.NewDate(2026, 6, 30)

// journals are what was known of each site at two moments, for whoever judges what is said
// of the difference.
type journals struct {
	coop      *simulate.Coop
	then, now map[domain.SiteID][]domain.Entry
	facts     map[domain.SiteID]domain.Facts
	changed   map[domain.EntryID]bool // recorded or reversed since
}

func readJournals(ctx context.Context, t testing.TB, tx *postgres.Tx, coop *simulate.Coop, was, now domain.ReportDocument) journals {
	t.Helper()
	j := journals{coop, map[domain.SiteID][]domain.Entry{}, map[domain.SiteID][]domain.Entry{}, map[domain.SiteID]domain.Facts{}, map[domain.EntryID]bool{}}
	for _, s := range now.Grant.Sites {
		for d, into := range map[*domain.ReportDocument]map[domain.SiteID][]domain.Entry{&was: j.then, &now: j.now} {
			known, err := d.Known()
			if err != nil {
				t.Fatal(err)
			}
			if into[s.ID], j.facts[s.ID], err = tx.JournalKnown(ctx, s.ID, known, d.To); err != nil {
				t.Fatal(err)
			}
		}
		count := map[domain.EntryID]int{}
		for _, e := range slices.Concat(j.then[s.ID], j.now[s.ID]) {
			count[e.ID]++
		}
		for id, n := range count {
			j.changed[id] = n == 1
		}
	}
	maps.DeleteFunc(j.changed, func(_ domain.EntryID, is bool) bool { return !is })
	return j
}

// figures works the figures out with some of the changes only, and reports false where
// these do not go together.
func (j journals) figures(t testing.TB, f domain.ReportFrame, with func(domain.EntryID) bool) (map[string]domain.ReportFigure, bool) {
	t.Helper()
	factors, err := f.FactorsOf()
	if err != nil {
		t.Fatal(err)
	}
	p := domain.Span{From: f.From, To: f.To}
	var sums []domain.SiteSums
	for i := range j.coop.Sites {
		s := &j.coop.Sites[i]
		var entries []domain.Entry
		for _, e := range j.then[s.Facts.ID] {
			if !j.changed[e.ID] || !with(e.ID) { // it was reversed since
				entries = append(entries, e)
			}
		}
		for _, e := range j.now[s.Facts.ID] {
			if j.changed[e.ID] && with(e.ID) {
				entries = append(entries, e)
			}
		}
		domain.SortEntries(entries)
		b, err := domain.BooksOf(s.Facts.ID, entries, j.facts[s.Facts.ID], p)
		if err != nil {
			return nil, false
		}
		b.Water, b.Beds = map[domain.UnitID]domain.Thousandths{}, map[domain.UnitID]domain.Thousandths{}
		for _, u := range s.Units {
			if u.WaterVolumeL != nil {
				b.Water[u.ID] = *u.WaterVolumeL
			}
			if u.BedAreaM2 != nil {
				b.Beds[u.ID] = *u.BedAreaM2
			}
		}
		sums = append(sums, b.Sums(p, factors))
	}
	d, err := domain.Compose(f, sums, nil)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]domain.ReportFigure{}
	for _, figure := range d.Figures {
		found[figure.Code] = figure
	}
	return found, true
}

func sameFigure(a, b domain.ReportFigure) bool {
	return reflect.DeepEqual(a.Value, b.Value) && reflect.DeepEqual(a.Numerator, b.Numerator) && reflect.DeepEqual(a.Denominator, b.Denominator)
}

// judgement is how many figures were judged, and of how many entries.
type judgement struct{ figures, named, changes, exact, unseen int }

// judge holds what a restatement names against the journal. The entries that are named
// explain a figure: they alone make it what it is now, and all others together leave it as
// it was. With exact, none of them can be spared either.
func judge(ctx context.Context, t testing.TB, tx *postgres.Tx, coop *simulate.Coop, id, restatement domain.ReportID, exact bool) (sum judgement) {
	t.Helper()
	kept, err := tx.Copy(ctx, id, "json")
	if err != nil {
		t.Fatal(err)
	}
	var was domain.ReportDocument
	if err := json.Unmarshal(kept.Content, &was); err != nil {
		t.Fatal(err)
	}
	now, err := tx.DraftDocument(ctx, restatement)
	if err != nil {
		t.Fatal(err)
	}
	j := readJournals(ctx, t, tx, coop, was, now)
	of := func(d domain.ReportDocument, code string) domain.ReportFigure {
		return d.Figures[slices.IndexFunc(d.Figures, func(f domain.ReportFigure) bool { return f.Code == code })]
	}
	changes := map[string]domain.ReportChange{}
	for _, c := range now.Restates.Changes {
		changes[c.Code] = c
	}
	sum.changes = len(j.changed)
	for _, figure := range now.Figures {
		c, ok := changes[figure.Code]
		if before := of(was, figure.Code); sameFigure(before, figure) {
			if ok {
				t.Errorf("%s is named as changed, and is not", figure.Code)
			}
			continue
		}
		if !ok {
			t.Errorf("%s is another figure, and not named", figure.Code)
			continue
		}
		sum.figures++
		named := map[domain.EntryID]bool{}
		for _, e := range c.Entries {
			if !j.changed[e.ID] {
				t.Errorf("%s: %s did not change", c.Code, e.ID)
			}
			named[e.ID] = true
		}
		sum.named += len(named)
		explains := func(named map[domain.EntryID]bool) (bool, string) {
			alone, ok := j.figures(t, now.ReportFrame, func(id domain.EntryID) bool { return named[id] })
			if !ok || !sameFigure(alone[c.Code], figure) {
				return false, "they alone do not make it what it is"
			}
			others, ok := j.figures(t, now.ReportFrame, func(id domain.EntryID) bool { return !named[id] })
			if !ok || !sameFigure(others[c.Code], of(was, c.Code)) {
				return false, "the others change it too"
			}
			return true, ""
		}
		if ok, why := explains(named); !ok {
			t.Errorf("%s of %s to %s: %d of %d changes are named, but %s", c.Code, now.From, now.To, len(named), len(j.changed), why)
			continue
		}
		switch {
		case !exact:
			continue
		case figure.Value == nil || of(was, c.Code).Value == nil: // its sums do not show in what there is none of
			sum.unseen += len(named)
			continue
		}
		for id := range named {
			without, fits := j.figures(t, now.ReportFrame, func(other domain.EntryID) bool { return other != id })
			if !fits || !sameFigure(without[c.Code], figure) {
				sum.exact++
				continue
			}
			fewer := maps.Clone(named)
			delete(fewer, id)
			if ok, _ := explains(fewer); ok {
				t.Errorf("%s: %s is named, and could be spared", c.Code, id)
			}
			sum.exact++
		}
	}
	return sum
}

// restated begins a report that takes the place of another one.
func restated(t testing.TB, f farm, id domain.ReportID) domain.ReportID {
	t.Helper()
	made := newID[domain.Report]()
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := tx.Restatement(ctx, id, made, "corrections have come")
		return err
	})
	return made
}

// TestRestatementsExplain: after some corrections of all kinds, each figure that is
// another one is explained by the entries that are named, and by no more than it takes.
func TestRestatementsExplain(t *testing.T) {
	t.Parallel()
	store := open(t)
	f, coop := simulated(t, store, simulate.Options{Seed: 8, Sites: 3, Seasons: 1, Today: reportedOn})
	g := granted(t, f, coop)
	dice := random(8)
	var ids []domain.ReportID
	for _, p := range spans(dice, coop, 3) {
		ids = append(ids, issued(t, f, g.ID, p))
	}
	if made := correct(t, f, coop, dice, 120); made < 90 {
		t.Fatalf("only %d corrections were taken", made)
	}
	var all judgement
	for _, id := range ids {
		again := restated(t, f, id)
		f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
			sum := judge(ctx, t, tx, coop, id, again, true)
			all.figures, all.named, all.changes = all.figures+sum.figures, all.named+sum.named, all.changes+sum.changes
			all.exact, all.unseen = all.exact+sum.exact, all.unseen+sum.unseen
			return nil
		})
	}
	if all.figures < 10 || all.exact+all.unseen != all.named || all.exact < all.unseen || all.named < all.figures {
		t.Errorf("little was shown: %+v", all)
	}
	t.Logf("%d figures of %d reports are others now, by %.1f of %.1f changes on average", all.figures, len(ids), float64(all.named)/float64(all.figures), float64(all.changes)/float64(len(ids)))
}

// TestRestatementNamesFacts: a change of the registry is named with the figures that it
// moved, and with no other.
func TestRestatementNamesFacts(t *testing.T) {
	t.Parallel()
	f, coop := simulated(t, open(t), simulate.Options{Seed: 8, Sites: 2, Seasons: 1, Today: reportedOn})
	g := granted(t, f, coop)
	id := issued(t, f, g.ID, wholeOf(coop))
	var fish, bed domain.Unit
	for _, u := range coop.Sites[0].Units {
		switch {
		case u.Kind == "bed":
			bed = u
		case slices.ContainsFunc(coop.Sites[0].Batches, func(b domain.Batch) bool { return b.Unit == u.ID }):
			fish = u
		}
	}
	since := domain.NewDate(2020, 1, 1)
	revise := func(u domain.Unit, change func(*domain.Unit)) {
		f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
			_, err := postgres.Units.Revise(ctx, tx, u.ID, 1, &since, func(u *domain.Unit) error { change(u); return nil })
			return err
		})
	}
	revise(fish, func(u *domain.Unit) { *u.WaterVolumeL += 500_000 })
	revise(bed, func(u *domain.Unit) { *u.BedAreaM2 += 1_000 })
	if made := correct(t, f, coop, random(9), 60); made < 40 {
		t.Fatalf("only %d corrections were taken", made)
	}
	again := restated(t, f, id)
	var d domain.ReportDocument
	f.view(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		d, err = tx.DraftDocument(ctx, again)
		return err
	})
	got := map[string]string{}
	for _, c := range d.Restates.Changes {
		for _, fact := range c.Facts {
			got[c.Code] += fact.ID
		}
	}
	want := map[string]string{"yield_m3": fish.ID.String(), "gross_margin_m3": fish.ID.String(), "yield_m2": bed.ID.String()}
	if !maps.Equal(got, want) {
		t.Errorf("facts are named with %v, want %v", got, want)
	}
	if len(d.Restates.Changes) < 5 {
		t.Errorf("only %d figures are others", len(d.Restates.Changes))
	}
}
