package api

import (
	"bytes"
	"context"
	"crypto/sha256"
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

// limitedEngine has met the tokens of all co-operatives but those of the number 0, which
// do not hold.
func limitedEngine(r Rates, clock *time.Time) *gin.Engine {
	lim := newLimits(r, func() time.Time { return *clock })
	engine := gin.New()
	op := &operation{}
	engine.Use(func(c *gin.Context) { c.Set(requestKey{}, &request{operation: op}) },
		lim.authenticate(
			func(c postgres.Credential) bool { return c.Coop[0] != '0' },
			func(context.Context, postgres.Credential) error {
				return domain.Errorf(domain.Unauthenticated, "unauthenticated", "no such token")
			}),
		lim.limit)
	engine.GET("/", func(c *gin.Context) { c.Status(http.StatusOK) })
	return engine
}

// askLimited asks with the token of a co-operative that has the name.
func askLimited(t *testing.T, engine http.Handler, address, coop, name string) (int, http.Header) {
	t.Helper()
	var id domain.CoopID
	copy(id[:], coop)
	random := sha256.Sum256([]byte(name))
	token, err := domain.NewToken(id, bytes.NewReader(random[:]))
	if err != nil {
		t.Fatal(err)
	}
	w := httptest.NewRecorder()
	request, _ := http.NewRequest(http.MethodGet, "/", nil)
	request.RemoteAddr = address + ":1234"
	request.Header.Set("Authorization", "Bearer "+token.Text())
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
	if code, h := askLimited(t, engine, "10.0.0.1", "1", "good"); code != 200 {
		t.Errorf("a token that was met before gets %d, %v", code, h)
	}
	if code, _ := askLimited(t, engine, "10.0.0.2", "0", "wrong"); code != 401 {
		t.Errorf("another address gets %d", code)
	}
	clock = clock.Add(10 * time.Second)
	if code, _ := askLimited(t, engine, "10.0.0.1", "0", "wrong"); code != 401 {
		t.Errorf("a little later it is %d", code)
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
