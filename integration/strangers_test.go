package integration_test

import (
	"crypto/rand"
	"fmt"
	"net"
	"net/http"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"shoalbook/api"
	"shoalbook/domain"
	"shoalbook/postgres/postgrestest"
)

// madeUp returns a token of the co-operative that has the right form and was never issued.
func (s *service) madeUp() string {
	s.t.Helper()
	token, err := domain.NewToken(s.coop, rand.Reader)
	if err != nil {
		s.t.Fatal(err)
	}
	return token.Text()
}

// begin sends the beginning of a request with a body, and nothing more. What it
// returns is closed with the test.
func (s *service) begin(token, path string) net.Conn {
	s.t.Helper()
	conn, err := net.Dial("tcp", s.server.Listener.Addr().String())
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { conn.Close() })
	_, err = fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: shoalbook\r\nAuthorization: Bearer %s\r\nContent-Type: application/json\r\n"+
		"Idempotency-Key: \"%s\"\r\nContent-Length: 1000\r\n\r\n{", path, token, newText())
	if err != nil {
		s.t.Fatal(err)
	}
	return conn
}

// Who knows no more of a co-operative than its id, which is in every token that was
// ever lost, takes nothing from it: no turn, no request of its limit, and no memory.
func TestStrangersTakeNothing(t *testing.T) {
	t.Parallel()
	s := serveAtRates(t, postgrestest.New(t).URL, api.Rates{PerToken: 1000, PerCoop: 10, AtOnce: 1}).neighbour()
	soon := func(what string) {
		t.Helper()
		start := time.Now()
		s.do("GET", "/v1/coop", s.coordinator, nil).want(http.StatusOK)
		if took := time.Since(start); took > 5*time.Second { // a body may take thirty
			t.Errorf("%s a request took %v", what, took)
		}
	}
	for range 10 {
		conn := s.begin(s.madeUp(), "/v1/parties")
		answer := make([]byte, 12)
		if _, err := conn.Read(answer); err != nil || string(answer) != "HTTP/1.1 401" { // nobody waits for the rest
			t.Errorf("a made-up token is answered %q, %v", answer, err)
		}
	}
	soon("beside the bodies of strangers")
	for range 30 {
		s.do("GET", "/v1/coop?unknown=1", s.madeUp(), nil).want(http.StatusUnauthorized, "unauthenticated")
		s.do("POST", "/v1/parties", s.madeUp(), `{`, "Idempotency-Key", newText()).want(http.StatusUnauthorized, "unauthenticated")
	}
	soon("after the requests of strangers")
}

// A phone on a slow line keeps nobody waiting, though only one request of its
// co-operative is worked on at a time.
func TestSlowPhonesHoldNobodyUp(t *testing.T) {
	t.Parallel()
	s := serveAtRates(t, postgrestest.New(t).URL, api.Rates{AtOnce: 1}).neighbour()
	s.do("GET", "/v1/coop", s.keeper, nil).want(http.StatusOK) // the token is met
	for range 5 {
		s.begin(s.keeper, "/v1/entries")
	}
	time.Sleep(100 * time.Millisecond) // until they are being read
	start := time.Now()
	s.do("GET", "/v1/coop", s.coordinator, nil).want(http.StatusOK)
	if took := time.Since(start); took > 5*time.Second {
		t.Errorf("beside slow phones a request took %v", took)
	}
}

// However many large bodies come at once, only so much of them is kept; who is sent
// away is told that it may come again.
func TestManyLargeBodies(t *testing.T) {
	// Alone, as it looks at the memory of the process.
	s := serveAtRates(t, postgrestest.New(t).URL, api.Rates{AtOnce: 2}).neighbour()
	s.do("GET", "/v1/coop", s.keeper, nil).want(http.StatusOK)
	large := []byte(`{"entries":[]` + strings.Repeat(" ", 5<<20-20) + `}`)
	var most atomic.Uint64
	done := make(chan struct{})
	var watching sync.WaitGroup
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	watching.Go(func() {
		for {
			var now runtime.MemStats
			runtime.ReadMemStats(&now)
			most.Store(max(most.Load(), now.HeapInuse))
			select {
			case <-done:
				return
			case <-time.After(5 * time.Millisecond):
			}
		}
	})
	var wait sync.WaitGroup
	var got [600]atomic.Int64
	for range 100 {
		wait.Go(func() {
			r, err := newRequest(t.Context(), "POST", s.server.URL+"/v1/entries", s.keeper, large, nil)
			if err != nil {
				t.Error(err)
				return
			}
			answer, err := http.DefaultTransport.RoundTrip(r)
			if err != nil {
				return // sent away before all of it was sent
			}
			answer.Body.Close()
			got[answer.StatusCode].Add(1)
			if answer.StatusCode == http.StatusTooManyRequests && answer.Header.Get("Retry-After") == "" {
				t.Error("a 429 does not say when to come back")
			}
		})
	}
	wait.Wait()
	close(done)
	watching.Wait()
	grown := (most.Load() - before.HeapInuse) >> 20
	t.Logf("%d refused for what they say, %d sent away; the heap grew by %d MiB", got[400].Load(), got[429].Load(), grown)
	if grown > 300 { // garbage and what the test sends are in it; all bodies would take a gigabyte
		t.Errorf("a hundred large bodies at once made the heap grow by %d MiB", grown)
	}
	if got[400].Load() == 0 || got[429].Load() == 0 {
		t.Errorf("a hundred large bodies at once: %d refused for what they say, %d sent away", got[400].Load(), got[429].Load())
	}
}
