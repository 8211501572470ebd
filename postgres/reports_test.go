package postgres_test

import (
	"bytes"
	"context"
	"flag"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

var (
	manyReports     = flag.Int("reports", 24, "how many reports are issued before corrections come")
	manyCorrections = flag.Int("corrections", 240, "how many corrections come after reports were issued")
)

// granted adds a grant for all sites of a simulated co-operative, measured by the whole
// catalogue.
func granted(t testing.TB, f farm, coop *simulate.Coop) domain.Grant {
	t.Helper()
	funder := domain.Party{ID: newID[domain.Party](), Name: "Lake Foundation", Roles: []string{"funder"}}
	g := domain.Grant{ID: newID[domain.Grant](), Funder: funder.ID, Title: "Fish for schools", StartsOn: domain.NewDate(2020, 1, 1), EndsOn: domain.NewDate(2030, 12, 31),
		Currency: "EUR", Lines: []domain.BudgetLine{{Code: "feed", Title: "Feed", Amount: 10_000_00}},
		Rates:    []domain.Rate{{From: domain.NewDate(2020, 1, 1), Rate: "0.0071", Source: "central bank"}},
		PortionG: 50_000, PortionForm: "fillet", FlagPercent: 25_000}
	for _, s := range coop.Sites {
		g.Sites = append(g.Sites, domain.GrantSite{Site: s.Facts.ID})
	}
	for _, i := range domain.Catalogue() {
		g.Measures = append(g.Measures, domain.GrantMeasure{Code: i.Code})
	}
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		if _, err := postgres.Parties.Create(ctx, tx, funder); err != nil {
			return err
		}
		_, err := postgres.Grants.Create(ctx, tx, g)
		return err
	})
	return g
}

// issued makes a report of a grant and issues it.
func issued(t testing.TB, f farm, g domain.GrantID, p domain.Span) domain.ReportID {
	t.Helper()
	r := domain.Report{ID: newID[domain.Report](), Grant: g, StartsOn: p.From, EndsOn: p.To, Title: "Report", Language: "en", State: domain.ReportDraft,
		Texts: []domain.ReportText{{Kind: "section", Heading: "What went well", Text: "Ŋ̃dwa ẹja ń dàgbà."}}}
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Reports.Create(ctx, tx, r)
		return err
	})
	f.settle(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := tx.IssueReport(ctx, r.ID, nil)
		return err
	})
	return r.ID
}

func random(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, seed)) }

// wholeOf returns the time that a co-operative has entries of, up to yesterday.
func wholeOf(coop *simulate.Coop) (whole domain.Span) {
	for _, s := range coop.Sites {
		for _, e := range s.Entries {
			if whole.From == 0 || e.On < whole.From {
				whole.From = e.On
			}
			whole.To = max(whole.To, e.On)
		}
	}
	whole.To-- // today is not over
	return whole
}

// spans returns periods of different lengths within the time of a co-operative.
func spans(dice *rand.Rand, coop *simulate.Coop, n int) []domain.Span {
	whole := wholeOf(coop)
	out := make([]domain.Span, n)
	for i := range out {
		to := whole.To - domain.Date(dice.IntN(int(whole.To-whole.From)/2))
		out[i] = domain.Span{From: to - 60 - domain.Date(dice.IntN(200)), To: to}
	}
	return out
}

// Reports that were issued are worked out again from the journal, as it was known then,
// after corrections of all kinds have come: to the byte they are as they were. Some are
// restated, and each figure that is another one is explained by the entries that are named.
//
//	go test ./postgres -run ReportsStay -reports 1000 -corrections 10000 -restated 1000 -timeout 2h
func TestReportsStay(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	store := openAt(t, url, postgres.Options{})
	f, coop := simulated(t, store, simulate.Options{Seed: 7, Sites: 3, Seasons: 1, Today: reportedOn})
	analyze(t, url)
	g := granted(t, f, coop)
	dice := random(7)
	var ids []domain.ReportID
	for _, p := range spans(dice, coop, *manyReports) {
		ids = append(ids, issued(t, f, g.ID, p))
	}
	made := correct(t, f, coop, dice, *manyCorrections)
	analyze(t, url)
	if made < *manyCorrections*3/4 {
		t.Errorf("only %d of %d corrections were taken", made, *manyCorrections)
	}
	moved := 0
	for _, id := range ids {
		f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
			check, err := tx.CheckReport(ctx, id)
			if err == nil && check.Stored != check.Computed {
				t.Errorf("report %s is another one now: %v", id, check.Differs)
			}
			return err
		})
		f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
			was, err := tx.Copy(ctx, id, "json")
			if err != nil {
				return err
			}
			d, err := tx.DraftDocument(ctx, id)
			if err != nil {
				return err
			}
			now, err := domain.CanonicalOf(d.Figures)
			if err == nil && !bytes.Contains(was.Content, now) {
				moved++
			}
			return err
		})
	}
	if moved < len(ids)/2 {
		t.Errorf("the corrections would have changed only %d of %d reports, so that little was shown", moved, len(ids))
	}
	t.Logf("%d reports, %d corrections, %d reports would be others now", len(ids), made, moved)
	var all judgement
	for _, id := range ids[:min(len(ids), *manyRestated)] {
		again := restated(t, f, id)
		f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
			sum := judge(ctx, t, tx, coop, id, again, false)
			all.figures, all.named, all.changes = all.figures+sum.figures, all.named+sum.named, all.changes+sum.changes
			return nil
		})
	}
	if all.figures < 2*min(len(ids), *manyRestated) {
		t.Errorf("only %d figures are others, so that little was shown", all.figures)
	}
	t.Logf("%d reports were restated: %d figures, by %.1f of %.1f changes on average", min(len(ids), *manyRestated), all.figures,
		float64(all.named)/float64(all.figures), float64(all.changes)/float64(min(len(ids), *manyRestated)))
}

// analyze does what PostgreSQL does by itself after some minutes: until then its plans are
// those for empty tables.
func analyze(t testing.TB, url string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.Exec(t.Context(), `analyze`); err != nil {
		t.Fatal(err)
	}
}

// otherwise is what may be written in place of an entry.
func otherwise(b domain.Body) (domain.Body, bool) {
	switch b := b.(type) {
	case domain.Feeding:
		b.Weight += 250
		return b, true
	case domain.Death:
		b.Count++
		return b, true
	case domain.Expense:
		b.Amount += 10_00
		return b, true
	case domain.Crop:
		b.Weight += 100
		return b, true
	case domain.Receipt, domain.Stocking, domain.Use, domain.Stocktake, domain.Sale: // to the letter
		return b, true
	}
	return nil, false
}

// correct reverses entries of all kinds, some with a replacement, and returns how many
// corrections were taken.
func correct(t testing.TB, f farm, coop *simulate.Coop, dice *rand.Rand, n int) int {
	t.Helper()
	made := 0
	var all []domain.Entry
	for _, s := range coop.Sites {
		all = append(all, simulate.Standing(s.Entries)...)
	}
	dice.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	// Of tallies and work there can be more again and again.
	var again []domain.Entry
	for _, e := range all {
		if kind := e.Body.Kind(); kind == "tally" || kind == "labour" {
			again = append(again, e)
		}
	}
	for len(all) < 2*n {
		all = append(all, again...)
	}
	for some := range slices.Chunk(all, 200) {
		if made >= n {
			break
		}
		var corrections []domain.Entry
		for _, e := range some {
			if len(corrections)+made >= n {
				break
			}
			e := e
			switch b := e.Body.(type) {
			case domain.Tally:
				b.Count += domain.Fish(dice.IntN(9))
				e.ID, e.Body = newID[domain.Entry](), b // one more of it
				corrections = append(corrections, e)
				continue
			case domain.Labour:
				b.Hours += 500
				e.ID, e.Body = newID[domain.Entry](), b
				corrections = append(corrections, e)
				continue
			}
			corrections = append(corrections, domain.Entry{ID: newID[domain.Entry](), Site: e.Site, On: e.On, Body: domain.Reversal{Reverses: e.ID, Reason: "written twice"}})
			if other, ok := otherwise(e.Body); ok && dice.IntN(2) == 0 && len(corrections)+made < n {
				e.ID, e.Body = newID[domain.Entry](), other
				corrections = append(corrections, e)
			}
		}
		f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
			outcomes, err := tx.Record(ctx, postgres.Recording{Entries: corrections})
			for _, o := range outcomes {
				if o.Status == "created" {
					made++
				}
			}
			return err
		})
	}
	return made
}
