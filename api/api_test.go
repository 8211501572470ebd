package api

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

var testToken = func() domain.Token {
	token, err := domain.NewToken(domain.CoopID{15: 1}, strings.NewReader("twenty random bytes."))
	if err != nil {
		panic(err)
	}
	return token
}()

// A lockedBuffer is a log that tests read while the server still writes it.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// newTestHandler returns everything around the handlers, with the handlers that
// the test gives it, and the log it writes.
func newTestHandler(t testing.TB, register func(gin.IRoutes)) (http.Handler, *lockedBuffer) {
	t.Helper()
	log := &lockedBuffer{}
	engine, operations, own, err := newEngine(Config{
		Log:   newTestLog(log),
		Ready: func(context.Context) error { return nil },
		Load: func() postgres.Load {
			return postgres.Load{InUse: 3, Max: 16, Waited: 2, WaitedFor: 1500 * time.Millisecond}
		},
		Metrics: true,
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	operations.GET("/healthz", own.GetHealth)
	operations.GET("/readyz", own.GetReadiness)
	operations.GET("/metrics", own.GetMetrics)
	operations.GET("/openapi.yaml", own.GetContract)
	operations.GET("/docs", own.GetDocs)
	if register != nil {
		register(operations)
	}
	return wrapped(engine), log
}

// newTestServer serves what newTestHandler returns over real HTTP.
func newTestServer(t testing.TB, register func(gin.IRoutes)) (*httptest.Server, *lockedBuffer) {
	t.Helper()
	h, log := newTestHandler(t, register)
	return newPlainServer(t, h), log
}

func newPlainServer(t testing.TB, h http.Handler) *httptest.Server {
	t.Helper()
	server := httptest.NewUnstartedServer(nil)
	server.Config = NewHTTPServer(h)
	server.Start()
	t.Cleanup(server.Close)
	return server
}

func newTestLog(log *lockedBuffer) *slog.Logger { return slog.New(slog.NewJSONHandler(log, nil)) }

// A received is a response read to its end.
type received struct {
	status int
	header http.Header
	body   []byte
}

// problem reads the answer as a problem document, and fails where it is not one.
func (a received) problem(t testing.TB) problem {
	t.Helper()
	if got := a.header.Get("Content-Type"); got != problemMedia {
		t.Fatalf("status %d of type %q: %s", a.status, got, a.body)
	}
	var p problem
	decoder := json.NewDecoder(bytes.NewReader(a.body))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&p); err != nil {
		t.Fatalf("%v: %s", err, a.body)
	}
	if p.Status != a.status {
		t.Errorf("status %d says in its body %d", a.status, p.Status)
	}
	return p
}

// send makes a request with a good token and returns its answer. Headers come in
// pairs; one with an empty value is left out.
func send(t testing.TB, server *httptest.Server, method, path string, body []byte, headers ...string) received {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, server.URL+path, bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+testToken.Text())
	if len(body) > 0 {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		r.Header.Del(headers[i])
		if headers[i+1] != "" {
			r.Header.Set(headers[i], headers[i+1])
		}
	}
	return do(t, server, r)
}

func do(t testing.TB, server *httptest.Server, r *http.Request) received {
	t.Helper()
	transport := server.Client().Transport.(*http.Transport).Clone()
	transport.DisableCompression = true // the tests ask for it themselves
	defer transport.CloseIdleConnections()
	response, err := transport.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	b, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return received{response.StatusCode, response.Header, b}
}

// echo answers with the body that passed.
func echo(c *gin.Context) { c.Data(http.StatusOK, "application/json", bodyOf(c)) }

// fine answers with nothing.
func fine(c *gin.Context) { c.JSON(http.StatusOK, openapi.Health{Status: openapi.HealthStatusOk}) }
