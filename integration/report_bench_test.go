package integration_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"runtime"
	"runtime/metrics"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
	"shoalbook/postgres"
)

// BenchmarkReport: a report on 1000 sites and the last year, with the whole catalogue of
// indicators, read as a draft in each form over HTTP, and issued, beside the same rows read
// without anything else. Budget: JSON in 300 ms, PDF in 1.5 s, 100 MB of memory for XLSX.
// Stall_ms is how long somebody who recorded one entry after the other had to wait for one
// of them at most, idle_ms the same with nothing else going on; lock_ms is how long the lock
// was not to be had that those who record share.
//
//	go test ./integration -run '^$' -bench Report -benchtime 10x
func BenchmarkReport(b *testing.B) {
	n := newMany(b, 25, 40)
	p := domain.Span{From: n.today - 365, To: n.today - 1}
	grant := n.grant(b, p)
	draft := n.draft(b, grant, p)
	n.whole(b, draft)
	entries := n.count(b, `select count(*) from entry where occurred_on between $1 and $2`, p.From.String(), p.To.String())
	b.Run("bare", func(b *testing.B) {
		for b.Loop() {
			n.bare(b, p)
		}
		b.ReportMetric(entries, "entries")
		b.ReportMetric(float64(len(n.sites)), "sites")
	})
	for _, form := range []string{"json", "html", "pdf", "xlsx", "csv"} {
		b.Run(form, func(b *testing.B) {
			var size, peak float64
			for b.Loop() {
				highest := highWater()
				size = n.read(b, draft, form)
				peak = max(peak, highest())
			}
			b.ReportMetric(size/1e6, "MB")
			b.ReportMetric(peak/1e6, "peak_MB")
		})
	}
	var took, waited, held float64
	b.Run("seal", func(b *testing.B) {
		if took == 0 { // what was never sealed is there once
			stalled, locked, start := n.recording(b), n.locked(b), time.Now()
			if err := n.store.SealMet(b.Context()); err != nil {
				b.Fatal(err)
			}
			took, waited, held = time.Since(start).Seconds(), stalled(), locked()
		}
		b.ReportMetric(0, "ns/op")
		b.ReportMetric(took, "s")
		b.ReportMetric(n.count(b, `select sum(entries + changes)::float8 from seal`), "records")
		b.ReportMetric(waited, "stall_ms")
		b.ReportMetric(held, "lock_ms")
	})
	b.Run("issue", func(b *testing.B) {
		var stall, idle, lock float64
		for b.Loop() {
			b.StopTimer()
			report := n.draft(b, grant, p)
			stalled := n.recording(b)
			time.Sleep(time.Second)
			idle = max(idle, stalled())
			stalled, locked := n.recording(b), n.locked(b)
			b.StartTimer()
			n.issue(b, report)
			stall, lock = max(stall, stalled()), max(lock, locked())
		}
		b.ReportMetric(lock, "lock_ms")
		b.ReportMetric(stall, "stall_ms")
		b.ReportMetric(idle, "idle_ms")
	})
}

// grant adds a grant over all sites, measured by the whole catalogue.
func (n *many) grant(b *testing.B, p domain.Span) domain.GrantID {
	funder := n.parties[slices.IndexFunc(n.parties, func(p domain.Party) bool { return slices.Contains(p.Roles, "funder") })]
	g := domain.Grant{ID: newID[domain.Grant](), Funder: funder.ID, Title: "Fish for schools", StartsOn: p.From, EndsOn: p.To,
		Currency: "EUR", Lines: []domain.BudgetLine{{Code: "feed", Title: "Feed", Amount: 10_000_00}},
		Rates:    []domain.Rate{{From: p.From, Rate: "0.0071", Source: "central bank"}},
		PortionG: 50_000, PortionForm: "fillet", FlagPercent: 25_000}
	for _, s := range n.sites {
		g.Sites = append(g.Sites, domain.GrantSite{Site: s})
	}
	for _, i := range domain.Catalogue() {
		g.Measures = append(g.Measures, domain.GrantMeasure{Code: i.Code})
	}
	n.update(b, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Grants.Create(ctx, tx, g)
		return err
	})
	return g.ID
}

func (n *many) draft(b *testing.B, g domain.GrantID, p domain.Span) domain.ReportID {
	r := domain.Report{ID: newID[domain.Report](), Grant: g, StartsOn: p.From, EndsOn: p.To, Title: "A year", Language: "en", State: domain.ReportDraft,
		Texts: []domain.ReportText{{Kind: "section", Heading: "What went well", Text: "Fish were eaten at every school."}}}
	n.update(b, func(ctx context.Context, tx *postgres.Tx) error {
		_, err := postgres.Reports.Create(ctx, tx, r)
		return err
	})
	return r.ID
}

// read reads a report and returns how long it is.
func (n *many) read(b *testing.B, id domain.ReportID, form string) float64 {
	w := &counted{header: http.Header{}}
	n.handler.ServeHTTP(w, n.request("GET", "/v1/reports/"+id.String()+"/document."+form, ""))
	if w.status != http.StatusOK || w.size < 1_000 {
		b.Fatalf("%d, %d bytes as %s", w.status, w.size, form)
	}
	return float64(w.size)
}

// counted is an answer that goes to somebody, and is not kept here.
type counted struct {
	header       http.Header
	status, size int
}

func (w *counted) Header() http.Header    { return w.header }
func (w *counted) WriteHeader(status int) { w.status = status }
func (w *counted) Write(p []byte) (int, error) {
	w.size += len(p)
	return len(p), nil
}

// whole fails if the report is not of all sites, with all figures and what they are from.
func (n *many) whole(b *testing.B, id domain.ReportID) {
	w := httptest.NewRecorder()
	n.handler.ServeHTTP(w, n.request("GET", "/v1/reports/"+id.String()+"/document.json", ""))
	var d domain.ReportDocument
	if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil {
		b.Fatal(err)
	}
	var none []string
	for _, f := range d.Figures {
		if f.Value == nil || *f.Value == "0" {
			none = append(none, f.Code+" "+f.Reason)
		}
	}
	worked := 0
	for _, s := range d.Sites {
		if slices.ContainsFunc(s.Sums, func(s domain.ReportSiteSum) bool { return s.Name == "labour_hours" }) {
			worked++
		}
	}
	if len(d.Sites) != len(n.sites) || worked < len(n.sites)/2 || len(d.Figures) != len(domain.Catalogue()) || len(none) > len(d.Figures)/4 {
		b.Fatalf("%d sites, %d with work, %d figures, without: %v", len(d.Sites), worked, len(d.Figures), none)
	}
	b.Logf("%d figures, of them without a value or 0: %s", len(d.Figures), strings.Join(none, "; "))
}

func (n *many) issue(b *testing.B, id domain.ReportID) {
	r := n.request("POST", "/v1/reports/"+id.String()+"/issue", "")
	r.Header.Set("Idempotency-Key", uuid.NewString())
	w := httptest.NewRecorder()
	if n.handler.ServeHTTP(w, r); w.Code != http.StatusCreated {
		b.Fatalf("%d %.300s", w.Code, w.Body)
	}
}

// bare reads what a report is worked out of with nothing else to do.
func (n *many) bare(b *testing.B, p domain.Span) {
	from, to := p.From.String(), p.To.String()
	const before = `select d.* from batch_sum s cross join lateral (select * from batch_day d where d.coop_id = s.coop_id and d.batch_id = s.batch_id and d.day < $2 order by d.day desc limit 1) d
		where s.coop_id = $1 and s.day >= $2`
	const own = `select d.* from site s cross join lateral (select * from site_day d where d.coop_id = s.coop_id and d.site_id = s.id and d.day <= $2 order by d.day desc limit 1) d where s.coop_id = $1`
	rows := 0
	for _, q := range []struct {
		sql  string
		args []any
	}{
		{`select * from batch_sum where coop_id = $1 and day <= $3 and (day >= $2 or closed_on is null)`, []any{n.coop, from, to}},
		{before, []any{n.coop, from}},
		{before, []any{n.coop, (p.To + 1).String()}},
		{`select id, species from batch where coop_id = $1`, []any{n.coop}},
		{own, []any{n.coop, (p.From - 1).String()}},
		{own, []any{n.coop, to}},
		{`select site_id, present from site_day where coop_id = $1 and day between $2 and $3 and present_on = day`, []any{n.coop, from, to}},
		{`select * from shared_cost where coop_id = $1 and occurred_on <= $3 and covers_from <= $3 and covers_to >= $2 and (covers_from <> occurred_on or covers_to <> occurred_on)`, []any{n.coop, from, to}},
		{`select l.* from site s cross join lateral (select occurred_on from entry e where e.coop_id = s.coop_id and e.site_id = s.id and e.occurred_on <= $2 order by e.occurred_on desc limit 1) l where s.coop_id = $1`, []any{n.coop, to}},
		{`select site_id, id, facts from revision where coop_id = $1 and noun in ('unit', 'equipment')`, []any{n.coop}},
	} {
		found, err := n.conn.Query(b.Context(), q.sql, q.args...)
		if err != nil {
			b.Fatal(err)
		}
		for found.Next() {
			rows++
		}
		if err := found.Err(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(rows), "rows")
}

// highWater samples how much of the heap is taken and returns what says how much more it
// was at most than before.
func highWater() func() float64 {
	taken := func() float64 {
		s := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
		metrics.Read(s)
		return float64(s[0].Value.Uint64())
	}
	runtime.GC()
	before, done, highest := taken(), make(chan struct{}), make(chan float64)
	go func() {
		most := before
		tick := time.NewTicker(time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				most = max(most, taken())
			case <-done:
				highest <- most - before
				return
			}
		}
	}()
	return func() float64 { close(done); return <-highest }
}

// locked has somebody take the lock of those who record again and again, and returns what
// ends it and says how many milliseconds that took at most.
func (n *many) locked(b *testing.B) func() float64 {
	conn, err := pgx.Connect(b.Context(), n.url)
	if err != nil {
		b.Fatal(err)
	}
	return longest(b, func() error {
		_, err := conn.Exec(context.Background(), `select pg_advisory_xact_lock_shared(hashtextextended($1::uuid::text, 0))`, n.coop.String())
		return err
	}, func() { conn.Close(context.Background()) })
}

// recording has somebody record one entry after the other and returns what ends it and
// says how many milliseconds one of them took at most.
func (n *many) recording(b *testing.B) func() float64 {
	if n.ponds == nil {
		n.update(b, n.addPond)
	}
	return longest(b, func() error {
		return n.do("POST", "/v1/entries", fmt.Sprintf(`{"entries":[%s]}`, n.ponds[0].feeding()), `"created"`)
	}, func() {})
}

// longest does something again and again, until what it returns is called, which says how
// many milliseconds it took at most.
func longest(b *testing.B, do func() error, end func()) func() float64 {
	done, longest := make(chan struct{}), make(chan time.Duration)
	go func() {
		defer end()
		var most time.Duration
		for {
			start := time.Now()
			err := do()
			if most = max(most, time.Since(start)); err != nil {
				b.Error(err)
			}
			select {
			case <-done:
				longest <- most
				return
			case <-time.After(2 * time.Millisecond):
			}
		}
	}()
	return func() float64 { close(done); return float64((<-longest).Microseconds()) / 1000 }
}
