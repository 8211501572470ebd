package postgres_test

import (
	"context"
	"crypto/rand"
	"runtime"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// writers is how many clients write or read at once in every benchmark here.
const writers = 16

// BenchmarkRecord measures one entry per request, with its sums and both walls, and
// in the same run what a bare one-row insert per transaction takes.
func BenchmarkRecord(b *testing.B) {
	url, store, ponds := benchPonds(b, writers)
	bare := bareTable(b, url)
	b.Run("bare", func(b *testing.B) {
		parallel(b, func(int) error {
			var id [16]byte
			rand.Read(id[:])
			_, err := bare.Exec(context.Background(), `insert into bare (id, batch, day, body) values ($1, $1, '2025-03-01', '{"weight_kg":1.25}')`, id)
			return err
		})
	})
	var sent [writers]int
	b.Run("record", func(b *testing.B) {
		parallel(b, func(w int) error {
			p := ponds[w]
			e := p.entry(10+sent[w]/8, domain.Feeding{Batch: p.fish[0], Product: p.feed, Weight: 1_250})
			e.ID = domain.EntryID(uuid.Must(uuid.NewV7())) // as phones make them: in the order of time
			sent[w]++
			return store.Update(context.Background(), p.all, func(tx *postgres.Tx) error {
				_, err := tx.Record(context.Background(), postgres.Recording{Entries: []domain.Entry{e}})
				return err
			})
		})
	})
}

func benchPonds(b *testing.B, n int) (string, *postgres.Store, []pond) {
	b.Helper()
	db, _ := postgrestest.NewDurable(b)
	store := openAt(b, db.URL, postgres.Options{MaxConns: writers})
	f := newFarm(b, store)
	ponds := make([]pond, n)
	for i := range ponds {
		ponds[i] = newPond(b, f)
		ponds[i].must(b, ponds[i].entry(0, domain.Stocking{Batch: ponds[i].fish[0], Origin: "bought", Count: 1000, MeanWeight: ptr(domain.Milligrams(5_000))}),
			ponds[i].entry(0, domain.Receipt{Product: ponds[i].feed, Quantity: 1_000_000_000, Origin: "bought", Amount: ptr(domain.Money(1_000_000_000))}))
	}
	analyze(b, db.URL)
	return db.URL, store, ponds
}

// analyze tells the planner what is there, as autovacuum does after a while.
func analyze(b *testing.B, url string) {
	b.Helper()
	conn, err := pgx.Connect(b.Context(), url)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(b.Context())
	if _, err := conn.Exec(b.Context(), "analyze"); err != nil {
		b.Fatal(err)
	}
}

func bareTable(b *testing.B, url string) *pgxpool.Pool {
	b.Helper()
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		b.Fatal(err)
	}
	config.MaxConns = writers
	pool, err := pgxpool.NewWithConfig(b.Context(), config)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(pool.Close)
	if _, err := pool.Exec(b.Context(), `create table bare (id uuid primary key, batch uuid not null, day date not null, body jsonb not null)`); err != nil {
		b.Fatal(err)
	}
	return pool
}

// parallel shares b.N calls among the writers and reports calls per second.
func parallel(b *testing.B, call func(writer int) error) {
	var next atomic.Int64
	b.SetParallelism(max(1, writers/runtime.GOMAXPROCS(0)))
	b.ResetTimer()
	b.RunParallel(func(pb *testing.PB) {
		w := int(next.Add(1)-1) % writers
		for pb.Next() {
			if err := call(w); err != nil {
				b.Error(err)
				return
			}
		}
	})
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "calls/s")
}
