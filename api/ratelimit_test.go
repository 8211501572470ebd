package api

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/postgres"
)

func init() { gin.SetMode(gin.ReleaseMode) }

// limitedEngine answers 200, or 401 for tokens of the co-operative 0.
func limitedEngine(r Rates, clock *time.Time) *gin.Engine {
	lim := newLimits(r, func() time.Time { return *clock })
	engine := gin.New()
	op := &operation{}
	engine.Use(func(c *gin.Context) {
		var coop domain.CoopID
		coop[0] = c.GetHeader("Coop")[0] - '0'
		var hash [32]byte
		copy(hash[:], c.GetHeader("Token"))
		c.Set(requestKey{}, &request{operation: op, credential: postgres.Credential{Coop: coop, TokenHash: hash}})
	}, lim.strangers, lim.limit)
	engine.GET("/", func(c *gin.Context) {
		if c.GetHeader("Coop") == "0" {
			writeProblem(c, domain.Errorf(domain.Unauthenticated, "unauthenticated", "no such token"))
			return
		}
		c.Status(http.StatusOK)
	})
	return engine
}

func askLimited(t *testing.T, engine http.Handler, address, coop, token string) (int, http.Header) {
	t.Helper()
	w := httptest.NewRecorder()
	request, _ := http.NewRequest(http.MethodGet, "/", nil)
	request.RemoteAddr = address + ":1234"
	request.Header.Set("Coop", coop)
	request.Header.Set("Token", token)
	engine.ServeHTTP(w, request)
	return w.Code, w.Header()
}

func TestTokenIsLimited(t *testing.T) {
	t.Parallel()
	clock := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	engine := limitedEngine(Rates{PerToken: 6, PerCoop: 100}, &clock)
	for i := range 6 {
		code, h := askLimited(t, engine, "10.0.0.1", "1", "a")
		if code != 200 || h.Get("RateLimit-Policy") != `"token";q=6;w=60` || !strings.HasPrefix(h.Get("RateLimit"), fmt.Sprintf(`"token";r=%d;t=`, 5-i)) {
			t.Fatalf("request %d: %d, %v", i, code, h)
		}
	}
	code, h := askLimited(t, engine, "10.0.0.1", "1", "a")
	if code != 429 || h.Get("Retry-After") != "10" {
		t.Fatalf("over the limit: %d, %v", code, h)
	}
	if code, _ := askLimited(t, engine, "10.0.0.1", "1", "b"); code != 200 {
		t.Errorf("another token gets %d", code)
	}
	clock = clock.Add(10 * time.Second)
	if code, _ := askLimited(t, engine, "10.0.0.1", "1", "a"); code != 200 {
		t.Errorf("after the time that Retry-After says: %d", code)
	}
}

// A co-operative has its own bucket; made-up tokens do not take from it.
func TestCoopIsLimited(t *testing.T) {
	t.Parallel()
	clock := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	engine := limitedEngine(Rates{PerCoop: 10}, &clock)
	for i := range 20 {
		code, _ := askLimited(t, engine, "10.0.0.1", "1", strconv.Itoa(i))
		if want := map[bool]int{true: 200, false: 429}[i < 10]; code != want {
			t.Fatalf("request %d: %d, want %d", i, code, want)
		}
	}
	if code, _ := askLimited(t, engine, "10.0.0.1", "2", "x"); code != 200 {
		t.Errorf("another co-operative gets %d", code)
	}
}

func TestWrongTokensAreLimitedByAddress(t *testing.T) {
	t.Parallel()
	clock := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	engine := limitedEngine(Rates{PerToken: 100, PerCoop: 100, Wrong: 30}, &clock)
	turned := map[int]int{}
	for i := range 1000 {
		code, _ := askLimited(t, engine, "10.0.0.1", "0", strconv.Itoa(i))
		turned[code]++
	}
	if turned[401] != 30 || turned[429] != 970 {
		t.Errorf("1000 wrong tokens got %v", turned)
	}
	if code, _ := askLimited(t, engine, "10.0.0.2", "1", "good"); code != 200 {
		t.Errorf("another address gets %d", code)
	}
}

func TestBucketsForget(t *testing.T) {
	t.Parallel()
	clock := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	b := newBuckets(60)
	for range 3 {
		for range mostBuckets / 2 {
			b.take(strconv.FormatUint(rand.Uint64(), 36), clock)
		}
	}
	if n := len(b.byKey); n > mostBuckets {
		t.Errorf("%d buckets are kept", n)
	}
	clock = clock.Add(2 * time.Minute)
	b.take("x", clock)
	if n := len(b.byKey); n != 1 {
		t.Errorf("two minutes later %d buckets are kept", n)
	}
}

// Of a greedy co-operative only so many are let in; another one need not wait.
func TestTurnstiles(t *testing.T) {
	t.Parallel()
	gates := turnstiles{most: 2}
	greedy, small := domain.CoopID{1}, domain.CoopID{2}
	var leave []func()
	for range 2 {
		l, err := gates.enter(t.Context(), greedy)
		if err != nil {
			t.Fatal(err)
		}
		leave = append(leave, l)
	}
	over, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := gates.enter(over, greedy); err == nil {
		t.Fatal("a third one was let in")
	}
	l, err := gates.enter(over, small)
	if err != nil {
		t.Fatalf("another co-operative waits: %v", err)
	}
	l()
	leave[0]()
	if l, err = gates.enter(t.Context(), greedy); err != nil {
		t.Fatalf("after one has left: %v", err)
	}
	l()
	leave[1]()
	if len(gates.byCoop) != 0 {
		t.Errorf("%d gates are kept for nobody", len(gates.byCoop))
	}
}
