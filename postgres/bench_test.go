package postgres_test

import (
	"context"
	"flag"
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// bareBatch is what survival and feed conversion of a batch are computed from.
type bareBatch struct {
	SiteID                                   domain.SiteID
	Stocked, MovedIn, MovedOut, Harvested    domain.Fish
	FedG, HarvestedG                         domain.Grams
	StockedMg, MovedInMg, MovedOutMg, DeadMg domain.Milligrams
}

const bareColumns = `site_id, stocked, moved_in, moved_out, harvested, fed_g, harvested_g, stocked_mg, moved_in_mg, moved_out_mg, dead_mg`

var mostEntries = flag.Int("entries", 1_000_000, "how many entries the journal has at most when comparisons are measured")

// manySites makes 500 sites with 20 closed batches each, which differ, and what each site
// spent as a whole, out of the first batch of a pond.
func manySites(b *testing.B, p pond, conn *pgx.Conn) {
	b.Helper()
	exec := func(sql string) {
		b.Helper()
		if _, err := conn.Exec(b.Context(), sql); err != nil {
			b.Fatalf("%s: %v", sql, err)
		}
	}
	exec(`set session_replication_role = replica`) // rows of the benchmark need no journal behind them
	copies := func(table, where string, n int, members string) {
		b.Helper()
		exec(fmt.Sprintf(`insert into %s select c.* from %[1]s t cross join generate_series(1, %d) i cross join lateral (select md5('site' || i %% 500) s, md5('unit' || i %% 500) u, md5('batch' || i) b, i %% 97 v) k
			cross join lateral jsonb_populate_record(t, jsonb_build_object(%s)) c where t.coop_id = '%s' and %s`, table, n, members, p.coop, where))
	}
	is := func(column string, id fmt.Stringer) string { return fmt.Sprintf(`t.%s = '%s'`, column, id) }
	copies("site", is("id", p.site), 500, `'id', k.s, 'name', 'School ' || i`)
	copies("site_head", is("site_id", p.site), 500, `'site_id', k.s`)
	copies("unit", is("id", p.units[0]), 500, `'id', k.u, 'site_id', k.s`)
	copies("revision", is("id", p.units[0])+` and t.noun = 'unit'`, 500, `'id', k.u, 'site_id', k.s`)
	copies("batch", is("id", p.fish[0]), 10_000, `'id', k.b, 'site_id', k.s, 'unit_id', k.u`)
	for _, table := range []string{"batch_sum", "batch_day"} {
		copies(table, is("batch_id", p.fish[0])+` and t.closed_on is not null`, 10_000, `'batch_id', k.b, 'site_id', k.s, 'unit', k.u,
			'harvested', t.harvested - k.v, 'dead', t.dead + k.v, 'harvested_g', t.harvested_g - 300 * k.v, 'fed_g', t.fed_g + 700 * (k.v % 31)`)
	}
	exec(fmt.Sprintf(`insert into shared_cost select '%s', md5('site' || s)::uuid, gen_random_uuid(), %d, date '2015-03-01' + 30 * m, date '2015-03-01' + 30 * m, date '2015-03-30' + 30 * m, 10000 + s
		from generate_series(0, 499) s, generate_series(0, 11) m`, p.coop, domain.Energy))
}

// longerJournal copies the first entry of the pond to all sites and batches, until the
// journal has so many. It does so in the order of the indexes, which takes a fraction of
// the time that any other order does.
func longerJournal(b *testing.B, p pond, conn *pgx.Conn, had, wanted int) {
	b.Helper()
	const columns = `
		select string_agg(case attname
			when 'id' then 'lpad(to_hex(i), 32, ''0'')::uuid'
			when 'site_id' then 'md5(''site'' || s % 500)::uuid'
			when 'batch_id' then 'md5(''batch'' || 500 * (k % 20) + s)::uuid'
			when 'occurred_on' then 'date ''2015-03-02'' + d'
			else 'e.' || attname end, ', ' order by attnum)
		from pg_attribute where attrelid = 'entry'::regclass and attnum > 0 and not attisdropped`
	var list string
	if err := conn.QueryRow(b.Context(), columns).Scan(&list); err != nil {
		b.Fatal(err)
	}
	each := (wanted - had) / 500
	for _, sql := range []string{
		fmt.Sprintf(`insert into entry select %s from entry e cross join generate_series(1, 500) s cross join generate_series(0, %d) k
			cross join lateral (select %d + s * %d + k as i, k * 700 / %[4]d as d) x
			where e.site_id = '%[5]s' and e.occurred_on = '%[6]s' order by s, k`, list, each-1, had, each, p.site, dayOne),
		`vacuum analyze`, `checkpoint`,
	} {
		if _, err := conn.Exec(b.Context(), sql); err != nil {
			b.Fatal(err)
		}
	}
}

// addedUp reads the sums of all batches through the walls, and adds them up by site.
func addedUp(ctx context.Context, store *postgres.Store, f farm) (batches int, err error) {
	err = store.View(ctx, f.all, func(tx *postgres.Tx) error {
		found, err := postgres.All[bareBatch](ctx, tx, `select `+bareColumns+` from batch_sum where coop_id = $1 and own_site(site_id)`, f.coop)
		sites := map[domain.SiteID]bareBatch{}
		for _, b := range found {
			s := sites[b.SiteID]
			s.Stocked, s.MovedIn, s.MovedOut, s.Harvested = s.Stocked+b.Stocked, s.MovedIn+b.MovedIn, s.MovedOut+b.MovedOut, s.Harvested+b.Harvested
			s.FedG, s.HarvestedG, s.StockedMg = s.FedG+b.FedG, s.HarvestedG+b.HarvestedG, s.StockedMg+b.StockedMg
			s.MovedInMg, s.MovedOutMg, s.DeadMg = s.MovedInMg+b.MovedInMg, s.MovedOutMg+b.MovedOutMg, s.DeadMg+b.DeadMg
			sites[b.SiteID] = s
		}
		batches = len(found)
		return err
	})
	return batches, err
}

// BenchmarkCompare: the sums of 500 sites with 10 000 batches read through the walls and
// added up; and the sites compared in the service: shared out, judged, shrunk; when every
// site was compared before, when one has changed since, and at first; beside the same rows
// read without walls; with more and more entries in the journal. Budget: at most 25 ms, the same whatever the number of entries.
//
//	go test ./postgres -run '^$' -bench Compare
func BenchmarkCompare(b *testing.B) {
	db, _ := postgrestest.NewDurable(b)
	store := openAt(b, db.URL, postgres.Options{})
	f := newFarm(b, store)
	p := newPond(b, f)
	p.must(b, p.entry(0, domain.Stocking{Batch: p.fish[0], Origin: "bought", Count: 1000, MeanWeight: ptr(domain.Milligrams(5_000)), Amount: ptr(domain.Money(500_000))}))
	p.must(b, p.entry(1, domain.Receipt{Product: p.feed, Quantity: 900_000, Origin: "bought", Amount: ptr(domain.Money(9_000_000))}))
	p.must(b, p.entry(20, domain.Feeding{Batch: p.fish[0], Product: p.feed, Weight: 400_000}))
	p.must(b, p.entry(30, domain.Death{Batch: p.fish[0], Count: 50}))
	p.must(b, p.entry(180, domain.Harvest{Batch: p.fish[0], Weight: 320_000, Count: ptr(domain.Fish(900)), Empties: true}))
	conn, err := pgx.Connect(b.Context(), db.URL)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { conn.Close(context.Background()) })
	manySites(b, p, conn)
	compare := func(b *testing.B, store *postgres.Store, measure string) {
		b.Helper()
		y, _ := domain.YardstickNamed(measure)
		err := store.View(b.Context(), f.all, func(tx *postgres.Tx) error {
			read, err := tx.Compared(b.Context(), postgres.Moment{})
			if err != nil {
				return err
			}
			q := domain.CompareQuestion{Measure: y, By: "site", Names: read.Names}
			if c := q.Compare(read.Batches); c.All.Batches < 10_000 || len(c.Groups) < 500 || c.Groups[3].Verdict == "" {
				b.Fatalf("%d batches in %d groups: %s", c.All.Batches, len(c.Groups), c.NoVerdicts)
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	var bare float64
	measured := func(b *testing.B, run func()) float64 {
		for range b.N {
			run()
		}
		ms := float64(b.Elapsed().Microseconds()) / 1000 / float64(b.N)
		b.ReportMetric(ms, "ms")
		if bare > 0 {
			b.ReportMetric(ms/bare, "×bare")
		}
		return ms
	}
	entries := 0
	for n := 100_000; n <= *mostEntries; n *= 10 {
		longerJournal(b, p, conn, entries, n)
		entries = n
		b.Run(fmt.Sprintf("bare/%d", n), func(b *testing.B) {
			bare = 0
			bare = measured(b, func() {
				rows, _ := conn.Query(b.Context(), `select `+bareColumns+` from batch_sum`)
				if found, err := pgx.CollectRows(rows, pgx.RowToStructByName[bareBatch]); err != nil || len(found) < 10_000 {
					b.Fatal(len(found), err)
				}
			})
		})
		b.Run(fmt.Sprintf("sums/%d", n), func(b *testing.B) {
			measured(b, func() {
				if batches, err := addedUp(b.Context(), store, f); err != nil || batches < 10_000 {
					b.Fatal(batches, err)
				}
			})
		})
		for _, measure := range []string{"survival", "cost_per_kg"} {
			b.Run(fmt.Sprintf("service/%s/%d", measure, n), func(b *testing.B) {
				compare(b, store, measure)
				b.ResetTimer()
				measured(b, func() { compare(b, store, measure) })
			})
		}
		b.Run(fmt.Sprintf("one_changed/%d", n), func(b *testing.B) {
			compare(b, store, "survival")
			b.ResetTimer()
			measured(b, func() {
				if _, err := conn.Exec(b.Context(), `update site_head set version = version + 1 where site_id = md5('site7')::uuid`); err != nil {
					b.Fatal(err)
				}
				compare(b, store, "survival")
			})
		})
		b.Run(fmt.Sprintf("first/%d", n), func(b *testing.B) {
			measured(b, func() {
				b.StopTimer()
				fresh := openAt(b, db.URL, postgres.Options{})
				b.StartTimer()
				compare(b, fresh, "survival")
			})
		})
	}
}
