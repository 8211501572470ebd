package postgres_test

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// TestNobodyWaitsForWhatIsSettled: others record while something is done with what was
// settled, and it knows nothing of that.
func TestNobodyWaitsForWhatIsSettled(t *testing.T) {
	t.Parallel()
	p := stockedPond(t, newFarm(t, open(t)))
	p.settle(t, func(ctx context.Context, tx *postgres.Tx) error {
		p.dead(t, 1, 2) // waits for nobody, or for ever
		s, err := tx.Seal(ctx)
		if err == nil && s.Entries != 1 {
			t.Errorf("%d entries are sealed, one was there", s.Entries)
		}
		return err
	})
	if s := p.seal(t); s.Number != 2 || s.Entries != 2 {
		t.Errorf("seal %d is over %d entries, two came later", s.Number, s.Entries)
	}
	if faults := p.faults(t); len(faults) > 0 {
		t.Error(faults)
	}
	if err := p.store.Update(t.Context(), p.all, func(tx *postgres.Tx) error {
		_, err := tx.Seal(t.Context())
		return err
	}); err == nil {
		t.Error("a seal was made of what is not settled")
	}
}

// TestLocksAreGivenBack: whatever becomes of a settled transaction, others can record, and
// settle, after it.
func TestLocksAreGivenBack(t *testing.T) {
	t.Parallel()
	url := postgrestest.New(t).URL
	p := stockedPond(t, newFarm(t, openAt(t, url, postgres.Options{MaxConns: 2})))
	conn := owner(t, url)
	broken := errors.New("broken")
	for what, run := range map[string]func(ctx context.Context, cancel func(), tx *postgres.Tx) error{
		"it fails": func(context.Context, func(), *postgres.Tx) error { return broken },
		"a statement fails": func(ctx context.Context, _ func(), tx *postgres.Tx) error {
			_, err := postgres.Query[int](ctx, tx, `select 1/0`)
			return err
		},
		"the request is over": func(_ context.Context, cancel func(), _ *postgres.Tx) error { cancel(); return broken },
		"it is over in a statement": func(ctx context.Context, cancel func(), tx *postgres.Tx) error {
			time.AfterFunc(50*time.Millisecond, cancel)
			_, err := postgres.Query[string](ctx, tx, `select pg_sleep(5)::text`)
			return err
		},
		"the connection is cut": func(ctx context.Context, _ func(), tx *postgres.Tx) error {
			_, err := postgres.Query[bool](ctx, tx, `select pg_terminate_backend(pg_backend_pid())`)
			return err
		},
		"all is well":                func(context.Context, func(), *postgres.Tx) error { return nil },
		"who asks may not: no token": nil,
	} {
		ctx, cancel := context.WithCancel(t.Context())
		c := p.all
		if run == nil {
			c.TokenHash[0]++
			run = func(context.Context, func(), *postgres.Tx) error { return nil }
		}
		err := p.store.Settle(ctx, c, func(tx *postgres.Tx) error { return run(ctx, cancel, tx) })
		if (err == nil) != (what == "all is well") {
			t.Errorf("%s: %v", what, err)
		}
		cancel()
		held := func() int64 {
			return column[int64](t, conn, `select count(*) from pg_locks where locktype = 'advisory' and database = (select oid from pg_database where datname = current_database())`)[0]
		}
		for wait := 0; held() > 0 && wait < 100; wait++ { // the server learns of an end a little later
			time.Sleep(20 * time.Millisecond)
		}
		if n := held(); n > 0 {
			t.Errorf("%s: %d locks are held after it", what, n)
		}
		p.dead(t, 1)
		p.seal(t)
	}
}

// TestIssuingWhileOthersRecord: what is recorded while a report is made is wholly in it or
// not at all, and the report says until when: worked out again it is the same.
func TestIssuingWhileOthersRecord(t *testing.T) {
	t.Parallel()
	f, coop := simulated(t, open(t), simulate.Options{Seed: 9, Sites: 3, Seasons: 1})
	g := granted(t, f, coop)
	var today domain.Date
	f.view(t, func(ctx context.Context, tx *postgres.Tx) (err error) {
		today, err = tx.Today(ctx)
		return err
	})
	done := make(chan struct{})
	var writers sync.WaitGroup
	recorded := make([]int, len(coop.Sites))
	for i, site := range coop.Sites {
		writers.Go(func() {
			for {
				select {
				case <-done:
					return
				default:
				}
				entry := domain.Entry{ID: newID[domain.Entry](), Site: site.Facts.ID, On: today - 30 - domain.Date(recorded[i]%5), Body: domain.Labour{Hours: 500, UnpaidValue: ptr(domain.Money(7))}}
				if err := f.store.Update(t.Context(), f.all, func(tx *postgres.Tx) error {
					_, err := tx.Record(t.Context(), postgres.Recording{Strict: true, Entries: []domain.Entry{entry}})
					return err
				}); err != nil {
					t.Error(err)
					return
				}
				recorded[i]++
			}
		})
	}
	var reports []domain.ReportID
	for range 6 {
		reports = append(reports, issued(t, f, g.ID, domain.Span{From: today - 90, To: today - 1}))
	}
	close(done)
	writers.Wait()
	if slices.Min(recorded) < 5 {
		t.Errorf("only %v entries were recorded meanwhile", recorded)
	}
	var hours []domain.Thousandths
	for _, id := range reports {
		f.view(t, func(ctx context.Context, tx *postgres.Tx) error {
			check, err := tx.CheckReport(ctx, id)
			if err == nil && check.Stored != check.Computed {
				t.Errorf("%v is another one: %v", id, check.Differs)
			}
			text, err := tx.Copy(ctx, id, "json")
			if err != nil {
				return err
			}
			var d domain.ReportDocument
			if err := json.Unmarshal(text.Content, &d); err != nil {
				return err
			}
			i := slices.IndexFunc(d.Sums, func(s domain.ReportSum) bool { return s.Name == "labour_hours" })
			worked, err := domain.ParseThousandths(*d.Sums[i].Value)
			hours = append(hours, worked)
			return err
		})
	}
	if !slices.IsSorted(hours) || hours[0] == hours[len(hours)-1] {
		t.Errorf("the reports have %v hours, so that little was shown", hours)
	}
}
