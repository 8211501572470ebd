package integration_test

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"shoalbook/api"
	"shoalbook/domain"
	"shoalbook/domain/simulate"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// copies makes more sites out of those that are there: every identifier of a site's
// things is replaced by another one, the same in every table.
func copies(b *testing.B, conn *pgx.Conn, coop domain.CoopID, n int) {
	b.Helper()
	exec := func(sql string) {
		b.Helper()
		if _, err := conn.Exec(b.Context(), sql); err != nil {
			b.Fatalf("%s: %v", sql, err)
		}
	}
	exec(`set session_replication_role = replica`) // what is copied was audited once
	for table, columns := range map[string][]string{
		"site": {"id"}, "unit": {"id", "site_id", "loop_id"}, "loop": {"id", "site_id"}, "batch": {"id", "site_id", "unit_id"},
		"site_head": {"site_id"}, "batch_sum": {"site_id", "batch_id", "unit"}, "batch_day": {"site_id", "batch_id", "unit"},
		"store_day": {"site_id"}, "unit_day": {"site_id", "unit_id"}, "entry": {"id", "site_id", "batch_id", "to_batch_id", "unit_id", "reverses_id"},
	} {
		var other []string
		for _, c := range columns {
			other = append(other, fmt.Sprintf(`'%[1]s', md5(t.%[1]s::text || i)::uuid`, c))
		}
		exec(fmt.Sprintf(`insert into %[1]s select c.* from %[1]s t cross join generate_series(2, %[2]d) i
			cross join lateral jsonb_populate_record(t, jsonb_build_object(%[3]s)) c where t.coop_id = '%[4]s'`, table, n, strings.Join(other, ", "), coop))
	}
	exec(`reset session_replication_role`)
	exec(`vacuum analyze`)
}

// keep records a whole simulated co-operative, as of today.
func (n *bench) keep(b *testing.B, coop *simulate.Coop) {
	b.Helper()
	n.update(b, func(ctx context.Context, tx *postgres.Tx) error {
		var err error
		for _, p := range coop.Parties {
			_, e := postgres.Parties.Create(ctx, tx, p)
			err = cmp.Or(err, e)
		}
		for _, p := range coop.Products {
			_, e := postgres.Products.Create(ctx, tx, p)
			err = cmp.Or(err, e)
		}
		for _, s := range coop.Sites {
			_, e := postgres.Sites.Create(ctx, tx, s.Facts)
			err = cmp.Or(err, e)
			for _, l := range s.Loops {
				_, e := postgres.Loops.Create(ctx, tx, l)
				err = cmp.Or(err, e)
			}
			for _, u := range s.Units {
				_, e := postgres.Units.Create(ctx, tx, u)
				err = cmp.Or(err, e)
			}
			for _, batch := range s.Batches {
				_, e := postgres.Batches.Create(ctx, tx, batch)
				err = cmp.Or(err, e)
			}
		}
		return err
	})
	for _, entries := range coop.Requests() {
		n.update(b, func(ctx context.Context, tx *postgres.Tx) error {
			_, err := tx.Record(ctx, postgres.Recording{Entries: entries, Strict: true})
			return err
		})
	}
}

// BenchmarkAdvice: all advice of a co-operative of 1000 sites (25 that were simulated,
// and their copies) and of one of its sites, over HTTP. Budget: 300 ms, and 20 ms for a
// site.
//
//	go test ./integration -run '^$' -bench Advice
func BenchmarkAdvice(b *testing.B) {
	zone, err := time.LoadLocation("Africa/Nairobi")
	if err != nil {
		b.Fatal(err)
	}
	coop := simulate.New(simulate.Options{Seed: 11, Sites: 25, Seasons: 2, Today: domain.DateOf(time.Now(), zone)})
	db, _ := postgrestest.NewDurable(b)
	store, err := postgres.Open(b.Context(), postgres.Options{URL: db.URL})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(store.Close)
	n := &bench{url: db.URL, store: store}
	n.serve(b, api.Rates{})
	n.found(b)
	n.keep(b, coop)
	conn, err := pgx.Connect(b.Context(), n.url)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { conn.Close(context.Background()) })
	copies(b, conn, n.coop, 40)
	var sites, entries int
	if err := conn.QueryRow(b.Context(), `select (select count(*) from site), (select count(*) from entry)`).Scan(&sites, &entries); err != nil {
		b.Fatal(err)
	}
	for name, query := range map[string]string{"all": "?limit=500", "one site": "?site_id=" + coop.Sites[3].Facts.ID.String()} {
		b.Run(name, func(b *testing.B) {
			for range b.N {
				if err := n.do("GET", "/v1/advice"+query, "", `"severity"`); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(sites), "sites")
			b.ReportMetric(float64(entries), "entries")
		})
	}
}
