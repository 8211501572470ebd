package integration_test

import (
	"cmp"
	"context"
	"fmt"
	"slices"
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

// many is a co-operative of very many sites: some that were simulated, and their copies.
type many struct {
	*bench
	conn    *pgx.Conn // of the owner
	sites   []domain.SiteID
	parties []domain.Party
	today   domain.Date
}

// newMany makes a co-operative of so many times so many sites, with two seasons each.
func newMany(b *testing.B, sites, times int) *many {
	b.Helper()
	zone, err := time.LoadLocation("Africa/Nairobi")
	if err != nil {
		b.Fatal(err)
	}
	today := domain.DateOf(time.Now(), zone)
	coop := simulate.New(simulate.Options{Seed: 11, Sites: sites, Seasons: 2, Today: today})
	db, _ := postgrestest.NewDurable(b)
	store, err := postgres.Open(b.Context(), postgres.Options{URL: db.URL})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(store.Close)
	n := &many{bench: &bench{url: db.URL, store: store}, parties: coop.Parties, today: today}
	n.serve(b, api.Rates{})
	n.found(b)
	n.keep(b, coop)
	if n.conn, err = pgx.Connect(b.Context(), n.url); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { n.conn.Close(context.Background()) })
	copies(b, n.conn, n.coop, times)
	rows, _ := n.conn.Query(b.Context(), `select id from site`)
	if n.sites, err = pgx.CollectRows(rows, pgx.RowTo[domain.SiteID]); err != nil {
		b.Fatal(err)
	}
	return n
}

func (n *many) count(b *testing.B, sql string, args ...any) (count float64) {
	b.Helper()
	if err := n.conn.QueryRow(b.Context(), sql, args...).Scan(&count); err != nil {
		b.Fatal(err)
	}
	return count
}

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
		"revision": {"id", "site_id"}, "equipment": {"id", "site_id"}, "shared_cost": {"site_id", "entry_id"}, "audit": {"id", "site_id"},
		"store_day": {"site_id"}, "site_day": {"site_id"}, "unit_day": {"site_id", "unit_id"}, "entry": {"id", "site_id", "batch_id", "to_batch_id", "unit_id", "reverses_id"},
	} {
		var other []string
		for _, c := range columns {
			other = append(other, fmt.Sprintf(`'%[1]s', md5(t.%[1]s::text || i)::uuid`, c))
		}
		of := ""
		if slices.Contains(columns, "site_id") {
			of = "and t.site_id is not null" // what belongs to the whole co-operative is there once
		}
		exec(fmt.Sprintf(`insert into %[1]s select c.* from %[1]s t cross join generate_series(2, %[2]d) i
			cross join lateral jsonb_populate_record(t, jsonb_build_object(%[3]s)) c where t.coop_id = '%[4]s' %[5]s`, table, n, strings.Join(other, ", "), coop, of))
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
			for _, q := range s.Equipment {
				_, e := postgres.Equipment.Create(ctx, tx, q)
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
