package postgres_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// comparedBatch is what survival and feed conversion of a batch are computed from.
type comparedBatch struct {
	SiteID                                   domain.SiteID
	Stocked, MovedIn, MovedOut, Harvested    domain.Fish
	FedG, HarvestedG                         domain.Grams
	StockedMg, MovedInMg, MovedOutMg, DeadMg domain.Milligrams
}

const comparedColumns = `site_id, stocked, moved_in, moved_out, harvested, fed_g, harvested_g, stocked_mg, moved_in_mg, moved_out_mg, dead_mg`

// BenchmarkCompare: the sums of 10 000 batches, read through the walls and added up by
// site, beside the same rows read without them, with 10⁵ and 10⁶ entries in the
// journal. Budget: at most 25 ms, the same whatever the number of entries.
//
//	go test ./postgres -run '^$' -bench Compare
func BenchmarkCompare(b *testing.B) {
	db, _ := postgrestest.NewDurable(b)
	store := openAt(b, db.URL, postgres.Options{})
	f := newFarm(b, store)
	p := newPond(b, f)
	p.must(b, p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bought", Count: 1000, MeanWeight: ptr(domain.Milligrams(5_000))}))
	conn, err := pgx.Connect(b.Context(), db.URL)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { conn.Close(context.Background()) })
	exec := func(sql string) {
		b.Helper()
		if _, err := conn.Exec(b.Context(), sql); err != nil {
			b.Fatal(err)
		}
	}
	exec(`set session_replication_role = replica`) // rows of the benchmark need no journal behind them
	exec(`insert into batch_sum select s.* from batch_sum b cross join generate_series(1, 9999) i
		cross join lateral jsonb_populate_record(b, jsonb_build_object('batch_id', gen_random_uuid(), 'site_id', md5((i % 500)::text)::uuid)) s`)
	entries := 0
	for _, n := range []int{100_000, 1_000_000} {
		exec(fmt.Sprintf(`insert into entry select s.* from entry e cross join generate_series(1, %d) i
			cross join lateral jsonb_populate_record(e, jsonb_build_object('id', gen_random_uuid(), 'occurred_on', date '2015-03-02' + i %% 700)) s
			where e.occurred_on = '%s'`, n-entries, dayOne))
		entries = n
		exec(`analyze`)
		b.Run(fmt.Sprintf("bare/%d", n), func(b *testing.B) {
			for range b.N {
				rows, _ := conn.Query(b.Context(), `select `+comparedColumns+` from batch_sum`)
				if found, err := pgx.CollectRows(rows, pgx.RowToStructByName[comparedBatch]); err != nil || len(found) != 10_000 {
					b.Fatal(len(found), err)
				}
			}
		})
		b.Run(fmt.Sprintf("service/%d", n), func(b *testing.B) {
			start := time.Now()
			for range b.N {
				err := store.View(b.Context(), f.all, func(tx *postgres.Tx) error {
					found, err := postgres.All[comparedBatch](b.Context(), tx, `select `+comparedColumns+` from batch_sum where coop_id = $1`, f.coop)
					if err == nil && len(found) != 10_000 {
						b.Fatal(len(found))
					}
					bySite := map[domain.SiteID]comparedBatch{}
					for _, c := range found {
						sum := bySite[c.SiteID]
						sum.Stocked, sum.MovedIn, sum.MovedOut, sum.Harvested = sum.Stocked+c.Stocked, sum.MovedIn+c.MovedIn, sum.MovedOut+c.MovedOut, sum.Harvested+c.Harvested
						sum.FedG, sum.HarvestedG, sum.StockedMg = sum.FedG+c.FedG, sum.HarvestedG+c.HarvestedG, sum.StockedMg+c.StockedMg
						bySite[c.SiteID] = sum
					}
					return err
				})
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(time.Since(start).Microseconds())/1000/float64(b.N), "ms")
		})
	}
}
