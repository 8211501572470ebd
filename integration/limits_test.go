package integration_test

import (
	"bytes"
	"compress/gzip"
	"crypto/rand"
	"net/http"
	"runtime"
	"strings"
	"testing"
	"time"

	"shoalbook/api"
	"shoalbook/domain"
	"shoalbook/postgres/postgrestest"
)

// A thousand wrong tokens from one address: after some, no new one from there is looked
// at any more, be it right. A token that was met before is taken all the same: its owner may
// share a proxy with whoever tries.
func TestWrongTokensAreThrottled(t *testing.T) {
	t.Parallel()
	s := serveAtRates(t, postgrestest.New(t).URL, api.Rates{PerToken: 100, PerCoop: 1000, Wrong: 20}).neighbour()
	s.do("GET", "/v1/coop", s.coordinator, nil).want(http.StatusOK, "")
	got := map[int]int{}
	for range 1000 {
		token, err := domain.NewToken(s.coop, rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		r := s.do("GET", "/v1/coop", token.Text(), nil)
		got[r.status]++
		if r.status == http.StatusTooManyRequests && r.header.Get("Retry-After") == "" {
			t.Fatal("a 429 does not say when to come back")
		}
	}
	if got[401] < 20 || got[401] > 40 || got[401]+got[429] != 1000 {
		t.Errorf("a thousand wrong tokens got %v", got)
	}
	s.do("GET", "/v1/coop", s.keeper, nil).want(http.StatusTooManyRequests, "too_many_requests")
	s.do("GET", "/v1/coop", s.coordinator, nil).want(http.StatusOK, "")
	s.do("GET", "/healthz", "", nil).want(http.StatusOK, "")
}

// The limits of a token are in its answers, and one co-operative's are not another's.
func TestRatesAreTold(t *testing.T) {
	t.Parallel()
	s := serveAtRates(t, postgrestest.New(t).URL, api.Rates{PerToken: 5, PerCoop: 1000, AtOnce: 2}).neighbour()
	n := s.neighbour()
	for range 5 {
		r := s.do("GET", "/v1/coop", s.coordinator, nil).want(http.StatusOK, "")
		if r.header.Get("RateLimit-Policy") != `"token";q=5;w=60` || !strings.HasPrefix(r.header.Get("RateLimit"), `"token";r=`) {
			t.Errorf("the limits are told as %v", r.header)
		}
	}
	s.do("GET", "/v1/coop", s.coordinator, nil).want(http.StatusTooManyRequests, "too_many_requests")
	s.do("GET", "/v1/coop", s.keeper, nil).want(http.StatusOK, "")
	n.do("GET", "/v1/coop", n.coordinator, nil).want(http.StatusOK, "")
}

// What is sent to do harm gets a problem soon, and little memory.
func TestHostileRequestsAreCheap(t *testing.T) {
	// Alone, as it looks at the memory of the process.
	s := newService(t)
	var bomb bytes.Buffer
	z := gzip.NewWriter(&bomb)
	for range 1 << 10 {
		if _, err := z.Write(make([]byte, 1<<20)); err != nil { // a gigabyte of nothing
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	for name, ask := range map[string]func() response{
		"gzip bomb": func() response {
			return s.do("POST", "/v1/entries", s.coordinator, bomb.Bytes(), "Content-Encoding", "gzip")
		},
		"deep JSON": func() response {
			return s.do("POST", "/v1/entries", s.coordinator, `{"entries":`+strings.Repeat("[", 100_000))
		},
		"long token": func() response { return s.do("GET", "/v1/coop", strings.Repeat("a", 10_000), nil) },
		"wrong form": func() response { return s.do("GET", "/v1/coop", "shoal_"+strings.Repeat("0", 54), nil) },
		"no bearer":  func() response { return s.do("GET", "/v1/coop", "", nil, "Authorization", "Basic YTpi") },
		"long key": func() response {
			return s.do("POST", "/v1/sites", s.coordinator, `{"name":"A","kind":"school"}`, "Idempotency-Key", strings.Repeat("k", 10_000))
		},
		"many elements": func() response {
			return s.do("POST", "/v1/entries", s.coordinator, `{"entries":[`+strings.Repeat("1,", 1_000_000)+`1]}`)
		},
	} {
		runtime.GC()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		start := time.Now()
		r := ask()
		took := time.Since(start)
		runtime.ReadMemStats(&after)
		if r.status < 400 || r.status >= 500 {
			t.Errorf("%s gets %d", name, r.status)
		}
		t.Logf("%s: %d after %v", name, r.status, took)
		if took > 5*time.Second { // the race detector and a busy machine are slow; alone it is below one
			t.Errorf("%s took %v", name, took)
		}
		if grown := int64(after.Sys) - int64(before.Sys); grown > 50<<20 {
			t.Errorf("%s made the process grow by %d MiB", name, grown>>20)
		}
	}
}
