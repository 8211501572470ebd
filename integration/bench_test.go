package integration_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"shoalbook/api"
	"shoalbook/domain"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

// The benchmarks put each budget beside a raw baseline of the same run: the same
// driver, the same number of clients, durable settings. Read the ratios, not the rates.
//
//	go test ./integration -run '^$' -bench .

// clients is how many write or read at once.
const clients = 16

// bench is the whole service without the network: requests go straight to the handler.
type bench struct {
	url     string
	store   *postgres.Store
	handler http.Handler
	token   string
	coop    domain.CoopID
	ponds   []benchPond
	raw     *pgxpool.Pool

	credential postgres.Credential

	neighbour *bench // another co-operative on the same service
}

// benchPond is a site with a stocked batch and feed; each client has its own.
type benchPond struct {
	site, batch, feed string
	sent, day         int
}

// serve begins anew, with full buckets.
func (n *bench) serve(b *testing.B, rates api.Rates) {
	b.Helper()
	var err error
	n.handler, err = api.New(n.store, api.Config{Log: slog.New(slog.DiscardHandler), Ready: n.store.Ping, Load: n.store.Load, Rates: rates})
	if err != nil {
		b.Fatal(err)
	}
}

func newBench(b *testing.B) *bench {
	b.Helper()
	ctx := b.Context()
	db, _ := postgrestest.NewDurable(b)
	store, err := postgres.Open(ctx, postgres.Options{URL: db.URL, MaxConns: clients})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(store.Close)
	n := &bench{url: db.URL, store: store}
	n.serve(b, api.Rates{})
	n.found(b)
	n.stock(b)
	config, err := pgxpool.ParseConfig(db.URL)
	if err != nil {
		b.Fatal(err)
	}
	config.MaxConns = clients
	if n.raw, err = pgxpool.NewWithConfig(ctx, config); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(n.raw.Close)
	n.exec(b, `create table bare (id uuid primary key, batch uuid not null, day date not null, body jsonb not null)`)
	n.exec(b, "analyze")
	n.neighbour = &bench{url: n.url, store: store, handler: n.handler, raw: n.raw}
	n.neighbour.found(b)
	n.neighbour.stock(b)
	return n
}

// found makes a co-operative.
func (n *bench) found(b *testing.B) {
	b.Helper()
	ctx := b.Context()
	n.coop = newID[domain.Coop]()
	if _, err := n.store.CreateCoop(ctx, domain.Coop{ID: n.coop, Name: "Bench", Currency: "KES", Zone: "Africa/Nairobi", Country: "KE", ShareBy: "gram_days"}); err != nil {
		b.Fatal(err)
	}
	token, _ := domain.NewToken(n.coop, rand.Reader)
	n.token = token.Text()
	if _, err := n.store.CreateToken(ctx, n.coop, domain.TokenFacts{ID: newID[domain.Token](), Name: "bench", Role: domain.Coordinator}, token.Hash()); err != nil {
		b.Fatal(err)
	}
	n.credential = postgres.Credential{Coop: n.coop, TokenHash: token.Hash(), Roles: domain.Roles}
}

// stock makes a pond for each client.
func (n *bench) stock(b *testing.B) {
	b.Helper()
	for range clients {
		n.update(b, n.addPond)
	}
}

func (n *bench) update(b *testing.B, f func(context.Context, *postgres.Tx) error) {
	b.Helper()
	if err := n.store.Update(b.Context(), n.credential, func(tx *postgres.Tx) error { return f(b.Context(), tx) }); err != nil {
		b.Fatal(err)
	}
}

func (n *bench) addPond(ctx context.Context, tx *postgres.Tx) error {
	site, unit, batch, feed := newID[domain.SiteFacts](), newID[domain.Unit](), newID[domain.Batch](), newID[domain.Product]()
	if _, err := postgres.Sites.Create(ctx, tx, domain.SiteFacts{ID: site, Name: "Pond", Kind: "school"}); err != nil {
		return err
	}
	litres, weight, amount := domain.Thousandths(5_000_000), domain.Milligrams(500_000), domain.Money(100_000_000_00)
	if _, err := postgres.Units.Create(ctx, tx, domain.Unit{ID: unit, Site: site, Name: "Tank", Kind: "tank", WaterVolumeL: &litres}); err != nil {
		return err
	}
	if _, err := postgres.Batches.Create(ctx, tx, domain.Batch{ID: batch, Site: site, Unit: unit, Species: "CLZ", Name: "Catfish"}); err != nil {
		return err
	}
	if _, err := postgres.Products.Create(ctx, tx, domain.Product{ID: feed, Name: "Pellets", Category: "feed", Unit: "kg", Stored: true}); err != nil {
		return err
	}
	n.ponds = append(n.ponds, benchPond{site: site.String(), batch: batch.String(), feed: feed.String()})
	_, err := tx.Record(ctx, postgres.Recording{Strict: true, Entries: []domain.Entry{
		{ID: newID[domain.Entry](), Site: site, On: benchDay, Body: domain.Stocking{Batch: batch, Origin: "bought", Count: 1000, MeanWeight: &weight}},
		{ID: newID[domain.Entry](), Site: site, On: benchDay, Body: domain.Receipt{Product: feed, Quantity: 100_000_000, Origin: "bought", Amount: &amount}},
	}})
	return err
}

var benchDay = domain.NewDate(2005, 1, 1)

func (n *bench) exec(b *testing.B, sql string) {
	b.Helper()
	if _, err := n.raw.Exec(b.Context(), sql); err != nil {
		b.Fatal(err)
	}
}

// feeding writes a record as a phone would: ids in the order of time, eight a day.
func (p *benchPond) feeding() string {
	p.sent++
	return fmt.Sprintf(`{"id":"%s","kind":"feeding","site_id":"%s","occurred_on":"%s","batch_id":"%s","product_id":"%s","weight_kg":1.25}`,
		uuid.Must(uuid.NewV7()), p.site, benchDay+1+domain.Date(p.sent/8), p.batch, p.feed)
}

func (n *bench) request(method, path, body string) *http.Request {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Header.Set("Authorization", "Bearer "+n.token)
	r.Header.Set("Content-Type", "application/json")
	return r
}

func (n *bench) do(method, path, body, want string) error {
	w := httptest.NewRecorder()
	n.handler.ServeHTTP(w, n.request(method, path, body))
	if w.Code != http.StatusOK || !bytes.Contains(w.Body.Bytes(), []byte(want)) {
		return fmt.Errorf("%d %.300s", w.Code, w.Body)
	}
	return nil
}

// rate shares b.N calls among the clients and returns calls per second.
func rate(b *testing.B, call func(client int) error) float64 {
	var next atomic.Int64
	b.SetParallelism(max(1, clients/runtime.GOMAXPROCS(0)))
	b.ResetTimer()
	start := time.Now()
	b.RunParallel(func(pb *testing.PB) {
		client := int(next.Add(1)-1) % clients
		for pb.Next() {
			if err := call(client); err != nil {
				b.Error(err)
				return
			}
		}
	})
	per := float64(b.N) / time.Since(start).Seconds()
	b.ReportMetric(per, "calls/s")
	return per
}

// BenchmarkRecord: one entry per request, through authentication, validation, sums
// and both walls. Budget: at least 50 % of a bare one-row insert per transaction.
func BenchmarkRecord(b *testing.B) {
	n := newBench(b)
	var bare float64
	b.Run("bare", func(b *testing.B) {
		bare = rate(b, func(int) error {
			id := uuid.Must(uuid.NewV7())
			_, err := n.raw.Exec(context.Background(), `insert into bare (id, batch, day, body) values ($1, $1, '2025-03-01', '{"weight_kg":1.25}')`, id)
			return err
		})
	})
	b.Run("service", func(b *testing.B) {
		got := rate(b, func(client int) error {
			return n.do("POST", "/v1/entries", `{"entries":[`+n.ponds[client].feeding()+`]}`, `"created"`)
		})
		b.ReportMetric(100*got/bare, "%of_bare")
	})
}

// BenchmarkBulk: a thousand entries per request. Budget: at least 50 % of COPY into
// the same indexes, which is into the same table, as its owner.
func BenchmarkBulk(b *testing.B) {
	n := newBench(b)
	const bulk = 1000
	b.SetParallelism(1)
	var copied float64
	b.Run("copy", func(b *testing.B) {
		pond := n.ponds[0]
		columns := []string{"coop_id", "site_id", "id", "kind", "occurred_on", "rank", "batch_id", "product_id", "body", "digest", "recorded_by", "token_id"}
		var token [16]byte
		if err := n.raw.QueryRow(b.Context(), `select id from token limit 1`).Scan(&token); err != nil {
			b.Fatal(err)
		}
		b.ResetTimer()
		start := time.Now()
		for range b.N {
			_, err := n.raw.CopyFrom(b.Context(), pgx.Identifier{"entry"}, columns, pgx.CopyFromSlice(bulk, func(int) ([]any, error) {
				return []any{n.coop.String(), pond.site, uuid.Must(uuid.NewV7()).String(), "feeding", time.Date(2004, 1, 1, 0, 0, 0, 0, time.UTC), int16(1), pond.batch, pond.feed,
					[]byte(`{"weight_kg":1.25}`), token[:], "bench", token}, nil
			}))
			if err != nil {
				b.Fatal(err)
			}
		}
		copied = float64(b.N*bulk) / time.Since(start).Seconds()
		b.ReportMetric(copied, "entries/s")
	})
	n.exec(b, `alter table entry disable trigger entry_stays`)
	n.exec(b, `delete from entry where occurred_on = '2004-01-01'`)
	b.Run("service", func(b *testing.B) {
		start := time.Now()
		for i := range b.N {
			var body strings.Builder
			body.WriteString(`{"entries":[`)
			for k := range bulk {
				if k > 0 {
					body.WriteByte(',')
				}
				body.WriteString(n.ponds[i%clients].feeding())
			}
			body.WriteString(`]}`)
			if err := n.do("POST", "/v1/entries", body.String(), `"created"`); err != nil {
				b.Fatal(err)
			}
		}
		got := float64(b.N*bulk) / time.Since(start).Seconds()
		b.ReportMetric(got, "entries/s")
		b.ReportMetric(100*got/copied, "%of_copy")
	})
}

// BenchmarkPerformance: every figure of a batch, latest knowledge. Budget: at least
// 40 % of a bare read by primary key.
func BenchmarkPerformance(b *testing.B) {
	n := newBench(b)
	for i := range n.ponds {
		for range 40 {
			if err := n.do("POST", "/v1/entries", `{"entries":[`+n.ponds[i].feeding()+`]}`, `"created"`); err != nil {
				b.Fatal(err)
			}
		}
	}
	n.exec(b, `insert into bare select id, id, occurred_on, body from entry`)
	n.exec(b, "analyze")
	var id [16]byte
	if err := n.raw.QueryRow(b.Context(), `select id from bare limit 1`).Scan(&id); err != nil {
		b.Fatal(err)
	}
	var bare float64
	b.Run("bare", func(b *testing.B) {
		bare = rate(b, func(int) error {
			var batch [16]byte
			return n.raw.QueryRow(context.Background(), `select batch from bare where id = $1`, id).Scan(&batch)
		})
	})
	b.Run("service", func(b *testing.B) {
		got := rate(b, func(client int) error {
			return n.do("GET", "/v1/batches/"+n.ponds[client].batch+"/performance", "", `"state":"growing"`)
		})
		b.ReportMetric(100*got/bare, "%of_bare")
	})
}

// BenchmarkWalls: what authentication, both walls and the audit trail cost, beside a
// handler that needs none of them and the same row read without them.
func BenchmarkWalls(b *testing.B) {
	n := newBench(b)
	site := n.ponds[0].site
	b.Run("bare handler", func(b *testing.B) {
		rate(b, func(int) error { return n.do("GET", "/healthz", "", "ok") })
	})
	b.Run("bare read", func(b *testing.B) {
		rate(b, func(int) error {
			var name string
			return n.raw.QueryRow(context.Background(), `select name from site where coop_id = $1 and id = $2`, n.coop.String(), site).Scan(&name)
		})
	})
	b.Run("read", func(b *testing.B) {
		rate(b, func(int) error { return n.do("GET", "/v1/sites/"+site, "", "Pond") })
	})
	b.Run("bare write", func(b *testing.B) {
		rate(b, func(client int) error {
			_, err := n.raw.Exec(context.Background(), `update site set name = 'Pond' where coop_id = $1 and id = $2`, n.coop.String(), n.ponds[client].site)
			return err
		})
	})
	b.Run("write with revision and audit", func(b *testing.B) {
		rate(b, func(client int) error {
			r := n.request("PATCH", "/v1/sites/"+n.ponds[client].site, `{"name":"Pond"}`)
			r.Header.Set("Content-Type", "application/merge-patch+json")
			r.Header.Set("If-Match", "*")
			w := httptest.NewRecorder()
			if n.handler.ServeHTTP(w, r); w.Code != http.StatusOK {
				return fmt.Errorf("%d %s", w.Code, w.Body)
			}
			return nil
		})
	})
}

// BenchmarkNeighbour: one greedy co-operative does not slow the others. Budget: the
// 99th percentile of a small one, under a neighbour's flood, is at most twice the idle one.
// Each round begins with full buckets, since the flood is turned away once they are
// empty. Read it over many rounds (-benchtime 20x), with nothing else on the machine.
func BenchmarkNeighbour(b *testing.B) {
	n := newBench(b)
	for _, size := range []int{1, 1000} {
		b.Run(fmt.Sprintf("entries=%d", size), func(b *testing.B) { n.flooded(b, size) })
	}
}

func (n *bench) flooded(b *testing.B, size int) {
	path := "/v1/batches/" + n.ponds[0].batch + "/performance"
	ask := func(took []time.Duration) []time.Duration {
		for range 180 {
			start := time.Now()
			if err := n.do("GET", path, "", `"state":"growing"`); err != nil {
				b.Fatal(err)
			}
			took = append(took, time.Since(start))
		}
		return took
	}
	var idle, burst, sustained []time.Duration
	var taken atomic.Int64
	var flooding time.Duration
	for range b.N {
		n.serve(b, api.Rates{PerToken: 600, PerCoop: 6000, AtOnce: clients / 4})
		idle = ask(idle)
		var flood sync.WaitGroup
		stop := make(chan struct{})
		start := time.Now()
		for client := range clients {
			flood.Go(func() {
				for {
					select {
					case <-stop:
						return
					default:
						w := httptest.NewRecorder()
						n.handler.ServeHTTP(w, n.neighbour.request("POST", "/v1/entries", n.neighbour.ponds[client].feedings(size)))
						switch w.Code {
						case http.StatusOK:
							taken.Add(int64(size))
						case http.StatusTooManyRequests: // as a client would that does not listen well
							time.Sleep(10 * time.Millisecond)
						default:
							b.Errorf("%d %.300s", w.Code, w.Body)
						}
					}
				}
			})
		}
		burst = ask(burst) // while the neighbour's buckets still give
		time.Sleep(time.Second)
		sustained = ask(sustained)
		close(stop)
		flood.Wait()
		flooding += time.Since(start)
	}
	p99 := func(took []time.Duration) float64 {
		slices.Sort(took)
		return float64(took[len(took)*99/100].Microseconds())
	}
	b.ReportMetric(p99(idle), "idle_p99_us")
	b.ReportMetric(p99(burst)/p99(idle), "x_idle_burst")
	b.ReportMetric(p99(sustained)/p99(idle), "x_idle_sustained")
	b.ReportMetric(float64(taken.Load())/flooding.Seconds(), "flood_entries/s")
}

// feedings writes a request with so many records of one day.
func (p *benchPond) feedings(n int) string {
	var b strings.Builder
	b.WriteString(`{"entries":[`)
	p.day++
	for i := range n {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, `{"id":"%s","kind":"feeding","site_id":"%s","occurred_on":"%s","batch_id":"%s","product_id":"%s","weight_kg":1.25}`,
			uuid.Must(uuid.NewV7()), p.site, benchDay+1+domain.Date(p.day/8), p.batch, p.feed)
	}
	b.WriteString(`]}`)
	return b.String()
}
