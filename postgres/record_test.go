package postgres_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"shoalbook/domain"
	"shoalbook/postgres"
)

// pond is a site with two tanks, two batches and a feed.
type pond struct {
	farm
	site  domain.SiteID
	units [2]domain.UnitID
	fish  [2]domain.BatchID
	feed  domain.ProductID
}

func newPond(t testing.TB, f farm) pond {
	t.Helper()
	p := pond{farm: f, site: f.site(t)}
	for i := range p.units {
		p.units[i] = f.unit(t, p.site)
	}
	f.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		for i := range p.fish {
			p.fish[i] = newID[domain.Batch]()
			if _, err := postgres.Batches.Create(ctx, tx, domain.Batch{ID: p.fish[i], Site: p.site, Unit: p.units[i], Species: "CLZ", Name: "catfish"}); err != nil {
				return err
			}
		}
		p.feed = newID[domain.Product]()
		_, err := postgres.Products.Create(ctx, tx, domain.Product{ID: p.feed, Name: "grower 4 mm", Category: "feed", Unit: "kg", Stored: true, ProteinPercent: ptr(domain.Thousandths(32_000))})
		return err
	})
	return p
}

var dayOne = domain.NewDate(2015, 3, 1)

func (p pond) entry(day int, b domain.Body) domain.Entry {
	return domain.Entry{ID: newID[domain.Entry](), Site: p.site, On: dayOne + domain.Date(day), Body: b}
}

func (p pond) record(t testing.TB, r postgres.Recording) []postgres.Outcome {
	t.Helper()
	var out []postgres.Outcome
	p.update(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		out, err = tx.Record(ctx, r)
		return err
	})
	return out
}

// must records entries that all fit.
func (p pond) must(t testing.TB, entries ...domain.Entry) {
	t.Helper()
	for i, o := range p.record(t, postgres.Recording{Entries: entries}) {
		if o.Status != "created" {
			t.Fatalf("entry %d, %s, is %s: %v", i, entries[i].Body.Kind(), o.Status, o.Refusal)
		}
	}
}

func (p pond) figure(t testing.TB, batch domain.BatchID, m postgres.Moment, name string) string {
	t.Helper()
	var got string
	p.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		perf, err := tx.Performance(ctx, batch, m)
		if err != nil {
			return err
		}
		for _, f := range perf.Measure(batch, false).Figures().Figures {
			if f.Name == name {
				got = f.Literal + f.Reason
			}
		}
		return nil
	})
	return got
}

// sound fails the test if the derived rows are not what the journal says.
func (p pond) sound(t testing.TB) {
	t.Helper()
	p.view(t, func(ctx context.Context, tx *postgres.Tx) error {
		found, err := tx.Verify(ctx, false)
		for _, d := range found {
			t.Error(d)
		}
		return err
	})
}

func TestRecordGivesFigures(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	entries := []domain.Entry{
		p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bought", Count: 1000, MeanWeight: ptr(domain.Milligrams(10_000)), Amount: ptr(domain.Money(1_000_00))}),
		p.entry(0, domain.Receipt{Product: p.feed, Quantity: 500_000, Origin: "bought", Amount: ptr(domain.Money(5_000_00))}),
		p.entry(1, domain.Feeding{Batch: p.fish[0], Product: p.feed, Weight: 2_000}),
		p.entry(5, domain.Death{Batch: p.fish[0], Count: 50}),
		p.entry(30, domain.Sample{Batch: p.fish[0], Count: 30, Weight: ptr(domain.Grams(1_500))}),
	}
	p.must(t, entries...)
	p.sound(t)
	for name, want := range map[string]string{
		"fish.on_hand": "950", "biomass.on_hand_kg": "47.5", "cost.total": `"1020.00"`, "biomass.dead_kg": "0.5", "feed.fcr_economic": "0.053333",
	} {
		if got := p.figure(t, p.fish[0], postgres.Moment{}, name); got != want {
			t.Errorf("%s is %s, want %s", name, got, want)
		}
	}
	asOf := dayOne + 4
	if got := p.figure(t, p.fish[0], postgres.Moment{AsOf: &asOf}, "fish.on_hand"); got != "1000" {
		t.Errorf("four days earlier there were %s fish, want 1000", got)
	}
	for _, o := range p.record(t, postgres.Recording{Entries: entries}) {
		if o.Status != "exists" {
			t.Errorf("sent again, an entry is %s", o.Status)
		}
	}
	other := entries[2]
	other.Body = domain.Feeding{Batch: p.fish[0], Product: p.feed, Weight: 2_001}
	if o := p.record(t, postgres.Recording{Entries: []domain.Entry{other}})[0]; o.Status != "conflict" {
		t.Errorf("the same id with other content is %s", o.Status)
	}
}

func TestLateEntriesAndReversalsKeepTheBooks(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	p.must(t, p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bought", Count: 100, Weight: ptr(domain.Grams(1_000)), Amount: ptr(domain.Money(300_00))}))
	harvest := p.entry(100, domain.Harvest{Batch: p.fish[0], Weight: 50_000, Count: ptr(domain.Fish(95))})
	p.must(t, harvest)
	out := p.record(t, postgres.Recording{Entries: []domain.Entry{p.entry(50, domain.Death{Batch: p.fish[0], Count: 6})}})
	if out[0].Status != "refused" || out[0].Refusal.Code != "not_enough_fish" || !strings.Contains(out[0].Refusal.Detail, (dayOne+100).String()) {
		t.Errorf("a death that leaves too few fish for a later harvest is %+v", out[0])
	}
	p.must(t, p.entry(50, domain.Death{Batch: p.fish[0], Count: 5}))
	p.sound(t)
	if got := p.figure(t, p.fish[0], postgres.Moment{}, "state"); got != `"closed"` {
		t.Errorf("with all fish gone the batch is %s", got)
	}
	undo := p.entry(101, domain.Reversal{Reverses: harvest.ID, Reason: "wrong tank"})
	p.must(t, undo)
	p.sound(t)
	if got := p.figure(t, p.fish[0], postgres.Moment{}, "fish.on_hand"); got != "95" {
		t.Errorf("with the harvest reversed there are %s fish", got)
	}
	again := p.entry(101, domain.Reversal{Reverses: harvest.ID, Reason: "wrong tank"})
	if o := p.record(t, postgres.Recording{Entries: []domain.Entry{again}})[0]; o.Status != "refused" || o.Refusal.Code != "already_reversed" {
		t.Errorf("a second reversal is %+v", o)
	}
	of := p.entry(101, domain.Reversal{Reverses: undo.ID, Reason: "no, it was right"})
	if o := p.record(t, postgres.Recording{Entries: []domain.Entry{of}})[0]; o.Status != "refused" || o.Refusal.Code != "not_reversible" {
		t.Errorf("a reversal of a reversal is %+v", o)
	}
}

func TestHeldEntryIsRecordedOnceItFits(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	feeding := p.entry(3, domain.Feeding{Batch: p.fish[0], Product: p.feed, Weight: 500})
	if o := p.record(t, postgres.Recording{Entries: []domain.Entry{feeding}, Hold: true})[0]; o.Status != "held" || o.Refusal.Code != "before_batch" {
		t.Fatalf("feeding before the stocking is %+v", o)
	}
	p.must(t, p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bred", Count: 100}))
	if got := p.figure(t, p.fish[0], postgres.Moment{}, "feed.fed_kg"); got != "0.5" {
		t.Errorf("after the stocking %s kg are fed, want 0.5", got)
	}
	p.sound(t)
}

func TestWhatDoesNotFitIsLeftOut(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	entries := []domain.Entry{
		p.entry(5, domain.Harvest{Batch: p.fish[0], Weight: 40_000, Count: ptr(domain.Fish(80))}),
		p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bred", Count: 100, Weight: ptr(domain.Grams(1_000))}),
		p.entry(6, domain.Harvest{Batch: p.fish[0], Weight: 20_000, Count: ptr(domain.Fish(40))}),
	}
	out := p.record(t, postgres.Recording{Entries: entries})
	if got := []string{out[0].Status, out[1].Status, out[2].Status}; !slices.Equal(got, []string{"created", "created", "refused"}) {
		t.Errorf("outcomes are %v", got)
	}
	p.sound(t)
	err := p.store.Update(t.Context(), p.all, func(tx *postgres.Tx) error {
		_, err := tx.Record(t.Context(), postgres.Recording{Entries: []domain.Entry{entries[2], p.entry(7, domain.Death{Batch: p.fish[0], Count: 1})}, Strict: true})
		return err
	})
	wantCode(t, err, domain.Refused, "not_all_recorded")
	if got := p.figure(t, p.fish[0], postgres.Moment{}, "fish.on_hand"); got != "20" {
		t.Errorf("after a strict request that failed there are %s fish", got)
	}
}

// The rows that are kept with each write are those that a fold of the whole journal
// gives, whatever order entries come in, with reversals among them.
func TestDerivedRowsEqualTheJournal(t *testing.T) {
	t.Parallel()
	store := open(t)
	rapid.Check(t, func(rt *rapid.T) {
		p := newPond(t, newFarm(t, store))
		seed := rapid.Uint64().Draw(rt, "seed")
		rng := rand.New(rand.NewPCG(seed, 1))
		entries := season(p, rng)
		rng.Shuffle(len(entries), func(i, j int) { entries[i], entries[j] = entries[j], entries[i] })
		for chunk := range slices.Chunk(entries, 1+rng.IntN(12)) {
			p.record(t, postgres.Recording{Entries: chunk, Hold: rng.IntN(2) == 0})
			if rng.IntN(6) == 0 {
				p.record(t, postgres.Recording{Entries: []domain.Entry{p.entry(60, domain.Reversal{Reverses: chunk[0].ID, Reason: "written twice"})}})
			}
		}
		p.sound(t)
	})
}

// season returns entries of sixty days, of which some do not fit.
func season(p pond, rng *rand.Rand) []domain.Entry {
	entries := []domain.Entry{
		p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bought", Count: 500, MeanWeight: ptr(domain.Milligrams(8_000)), Amount: ptr(domain.Money(50_000))}),
		p.entry(2, domain.Receipt{Product: p.feed, Quantity: 40_000, Origin: "bought", Amount: ptr(domain.Money(400_000))}),
		p.entry(20, domain.Receipt{Product: p.feed, Quantity: 10_000, Origin: "donated", Amount: ptr(domain.Money(90_000))}),
		p.entry(31, domain.Expense{Category: "energy", Amount: 12_345}),
	}
	for range 30 {
		day := rng.IntN(60)
		var b domain.Body
		switch rng.IntN(9) {
		case 0, 1:
			b = domain.Feeding{Batch: p.fish[rng.IntN(2)], Product: p.feed, Weight: domain.Grams(100 + rng.IntN(5000))}
		case 2:
			b = domain.Death{Batch: p.fish[rng.IntN(2)], Count: domain.Fish(1 + rng.IntN(9))}
		case 3:
			n := domain.Fish(5 + rng.IntN(30))
			b = domain.Sample{Batch: p.fish[rng.IntN(2)], Count: n, Weight: ptr(domain.Grams(n) * domain.Grams(8+day))}
		case 4:
			b = domain.Move{Batch: p.fish[0], ToBatch: &p.fish[1], Count: ptr(domain.Fish(1 + rng.IntN(90)))}
		case 5:
			n := domain.Fish(1 + rng.IntN(150))
			b = domain.Harvest{Batch: p.fish[rng.IntN(2)], Count: &n, Weight: domain.Grams(n) * 60, Empties: rng.IntN(8) == 0}
		case 6:
			b = domain.Count{Batch: p.fish[rng.IntN(2)], Count: domain.Fish(rng.IntN(400))}
		case 7:
			b = domain.Water{Unit: p.units[rng.IntN(2)], TemperatureC: ptr(domain.Thousandths(24_000 + rng.IntN(6000)))}
		case 8:
			b = domain.Stocktake{Product: p.feed, Quantity: domain.Quantity(rng.IntN(50_000))}
		}
		entries = append(entries, p.entry(day, b))
	}
	return entries
}

func TestVerifyFindsAndRepairs(t *testing.T) {
	t.Parallel()
	p := newPond(t, newFarm(t, open(t)))
	p.must(t, season(p, rand.New(rand.NewPCG(1, 1)))[0])
	p.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Query[int](ctx, tx, `update batch_day set stocked = stocked + 1 where coop_id = $1 returning 1`, p.coop)
		return err
	})
	p.update(t, func(ctx context.Context, tx *postgres.Tx) error {
		found, err := tx.Verify(ctx, true)
		if len(found) != 1 || found[0].Table != "batch_day" || !strings.Contains(found[0].String(), "Stocked=501") {
			t.Errorf("one row was changed, found %v", found)
		}
		return err
	})
	p.sound(t)
}
