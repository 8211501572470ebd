package postgres_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

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

// BenchmarkAdvice: all advice of a co-operative of 1000 sites (25 that were simulated,
// and their copies) and of one of its sites, read through both walls and put in words.
// Budget: 300 ms, and 20 ms for a site.
//
//	go test ./postgres -run '^$' -bench Advice
func BenchmarkAdvice(b *testing.B) {
	db, _ := postgrestest.NewDurable(b)
	store := openAt(b, db.URL, postgres.Options{})
	f, coop := simulated(b, store, simulate.Options{Seed: 11, Sites: 25, Seasons: 2})
	conn, err := pgx.Connect(b.Context(), db.URL)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { conn.Close(context.Background()) })
	copies(b, conn, f.coop, 40)
	var sites, entries int
	if err := conn.QueryRow(b.Context(), `select (select count(*) from site), (select count(*) from entry)`).Scan(&sites, &entries); err != nil {
		b.Fatal(err)
	}
	for name, only := range map[string]*domain.SiteID{"all": nil, "one site": &coop.Sites[3].Facts.ID} {
		b.Run(name, func(b *testing.B) {
			var reading, wording time.Duration
			lines := 0
			for range b.N {
				start := time.Now()
				var views []*domain.SiteView
				var debts []domain.Debt
				err := store.View(b.Context(), f.all, func(tx *postgres.Tx) (err error) {
					if views, err = tx.SiteViews(b.Context(), only, true); err != nil || only != nil {
						return err
					}
					debts, err = tx.Debts(b.Context(), views[0].Day)
					return err
				})
				if err != nil {
					b.Fatal(err)
				}
				reading += time.Since(start)
				start = time.Now()
				lines = 0
				for _, v := range views {
					lines += len(v.Advise(domain.English))
				}
				for _, d := range debts {
					d.Advise(domain.English, "KES", views[0].Day)
				}
				wording += time.Since(start)
			}
			b.ReportMetric(milliseconds(reading, b.N), "ms/reading")
			b.ReportMetric(milliseconds(wording, b.N), "ms/wording")
			b.ReportMetric(float64(lines), "lines")
			b.ReportMetric(float64(sites), "sites")
			b.ReportMetric(float64(entries), "entries")
		})
	}
}
