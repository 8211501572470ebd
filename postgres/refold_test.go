package postgres_test

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"shoalbook/domain"
	"shoalbook/postgres"
)

// protein changes what is known of the feed of a pond.
func (p pond) protein(t testing.TB, version int64, from *domain.Date, percent *domain.Thousandths) domain.Product {
	t.Helper()
	var changed domain.Product
	p.update(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		changed, err = postgres.Products.Revise(ctx, tx, p.feed, version, from, func(f *domain.Product) error {
			f.ProteinPercent = percent
			return nil
		})
		return err
	})
	return changed
}

func TestProteinOfFeedReachesTheFigures(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	q := newPond(t, p.farm) // another site, which feeds the same
	q.feed = p.feed
	for _, at := range []pond{p, q} {
		at.must(t,
			at.entry(0, domain.Stocking{Batch: at.fish[0], Origin: "bred", Count: 1000, Weight: ptr(domain.Grams(10_000))}),
			at.entry(1, domain.Feeding{Batch: at.fish[0], Product: at.feed, Weight: 1_000}),
			at.entry(9, domain.Feeding{Batch: at.fish[0], Product: at.feed, Weight: 1_000}),
			at.entry(20, domain.Sample{Batch: at.fish[0], Count: 10, Weight: ptr(domain.Grams(110))}))
	}
	efficiency := func() [2]string {
		t.Helper()
		p.sound(t)
		return [2]string{p.figure(t, p.fish[0], postgres.Moment{}, "feed.protein_efficiency"), q.figure(t, q.fish[0], postgres.Moment{}, "feed.protein_efficiency")}
	}
	// By hand: 1 kg of gain from 2 kg of feed with 32 %, from 1 kg with 32 % and 1 kg
	// with 48 %, then from 2 kg with 48 %.
	if got := efficiency(); got != [2]string{"1.5625", "1.5625"} {
		t.Errorf("with 32 %% in all feed the protein efficiency is %v", got)
	}
	from, before := dayOne+9, dayOne+1
	p.protein(t, 1, &from, ptr(domain.Thousandths(48_000)))
	if got := efficiency(); got != [2]string{"1.25", "1.25"} {
		t.Errorf("with 48 %% from the ninth day on it is %v", got)
	}
	p.protein(t, 2, &before, ptr(domain.Thousandths(48_000)))
	if got := efficiency(); got != [2]string{"1.041667", "1.041667"} {
		t.Errorf("with 48 %% in all feed it is %v", got)
	}
	p.protein(t, 3, &before, nil)
	if got := efficiency(); got[0] == "1.041667" || got[0] != got[1] {
		t.Errorf("with the protein of the first kilogram unknown it is %v", got)
	}
}

// A change of the name alone must not stand in the way of a later change for the past.
func TestNewNameBeginsNothing(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	p.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Products.Revise(ctx, tx, p.feed, 1, nil, func(f *domain.Product) error { f.Name = "grower"; return nil })
		return err
	})
	from := dayOne
	if now := p.protein(t, 2, &from, ptr(domain.Thousandths(40_000))); *now.ProteinPercent != 40_000 || now.Name != "grower" {
		t.Errorf("after a change for the past the feed is %+v", now)
	}
	p.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		history, err := postgres.Products.Revisions(ctx, tx, postgres.History[domain.ProductID]{IDs: []domain.ProductID{p.feed}})
		if err == nil && (len(history) != 3 || history[1].ValidFrom != nil || *history[2].ValidFrom != from) {
			t.Errorf("the history is %+v", history)
		}
		return err
	})
}

// Feedings that are recorded while the feed is changed are worked out with what is
// known of it in the end.
func TestProteinChangedWhileFeeding(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	p.must(t, p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bred", Count: 100, Weight: ptr(domain.Grams(1_000))}))
	feeding := p.entry(5, domain.Feeding{Batch: p.fish[0], Product: p.feed, Weight: 1_000})
	written, done := make(chan struct{}), make(chan error, 1)
	go func() {
		done <- p.store.Update(t.Context(), p.all, func(tx *postgres.Tx) error {
			if _, err := tx.Record(t.Context(), postgres.Recording{Entries: []domain.Entry{feeding}}); err != nil {
				return err
			}
			if _, err := postgres.Query[int](t.Context(), tx, `select 1`); err != nil {
				return err
			}
			close(written)
			time.Sleep(200 * time.Millisecond) // in which the change would go past, if it could
			return nil
		})
	}()
	<-written
	from := dayOne
	p.protein(t, 1, &from, ptr(domain.Thousandths(40_000)))
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	p.sound(t)
}

// Whatever was recorded before and is recorded after, the derived rows are those
// that the journal gives with what is known of the feed.
func TestRefoldedRowsEqualTheJournal(t *testing.T) {
	t.Parallel()
	store := open(t)
	rapid.Check(t, func(rt *rapid.T) {
		p := newPond(t, newFarm(t, store))
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		entries := season(p, rng)
		half := rng.IntN(len(entries))
		p.record(t, postgres.Recording{Entries: entries[:half]})
		for version := range int64(2) {
			from := dayOne + domain.Date(rng.IntN(60))
			var percent *domain.Thousandths
			if rng.IntN(4) > 0 {
				percent = ptr(domain.Thousandths(rng.IntN(50_000)))
			}
			p.protein(t, version+1, &from, percent)
		}
		p.sound(t)
		p.record(t, postgres.Recording{Entries: entries[half:]})
		p.sound(t)
	})
}

func TestWhereabouts(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	p.must(t,
		p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bred", Count: 100, Weight: ptr(domain.Grams(1_000))}),
		p.entry(5, domain.Move{Batch: p.fish[0], ToUnit: &p.units[1]}))
	look := func(want map[domain.BatchID]postgres.Whereabouts) {
		t.Helper()
		p.view(t, func(ctx context.Context, tx *postgres.Tx) error {
			got, err := tx.Whereabouts(ctx, p.fish[:])
			if len(got) != len(want) || got[p.fish[0]] != want[p.fish[0]] {
				t.Errorf("got %v, want %v", got, want)
			}
			return err
		})
	}
	look(map[domain.BatchID]postgres.Whereabouts{p.fish[0]: {Unit: p.units[1]}})
	p.must(t, p.entry(9, domain.Harvest{Batch: p.fish[0], Weight: 9_000, Count: ptr(domain.Fish(100))}))
	look(map[domain.BatchID]postgres.Whereabouts{p.fish[0]: {Unit: p.units[1], Closed: true}})
}
