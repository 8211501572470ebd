package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
)

// logLine waits for the line of the log with that message, and returns it.
func logLine(t *testing.T, log *lockedBuffer, message string) map[string]any {
	t.Helper()
	for range 100 {
		for text := range strings.Lines(log.String()) {
			var line map[string]any
			if err := json.Unmarshal([]byte(text), &line); err == nil && line["msg"] == message {
				return line
			}
		}
		time.Sleep(10 * time.Millisecond) // a line is written after its answer is read
	}
	t.Fatalf("no line %q in the log:\n%s", message, log.String())
	return nil
}

func TestRequestIDIsTakenOverIfSane(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, nil)
	for id, taken := range map[string]bool{
		"a":                      true,
		"Phone-7_2026.05.31":     true,
		strings.Repeat("x", 64):  true,
		strings.Repeat("x", 65):  false,
		"two words":              false,
		`{"level":"error"}`:      false,
		"ünïcode":                false,
		"shoal/../../etc/passwd": false,
	} {
		got := send(t, server, "GET", "/healthz", nil, "X-Request-Id", id).header.Get("X-Request-Id")
		if (got == id) != taken {
			t.Errorf("%q is answered with %q", id, got)
		}
		if !taken && len(got) < 20 {
			t.Errorf("made up %q, too short to be unique", got)
		}
	}
	first := send(t, server, "GET", "/healthz", nil).header.Get("X-Request-Id")
	second := send(t, server, "GET", "/healthz", nil).header.Get("X-Request-Id")
	if first == second || first == "" {
		t.Errorf("two requests are both named %q", first)
	}
}

// The values are those of the examples of W3C Trace Context, from memory.
func TestTraceID(t *testing.T) {
	t.Parallel()
	const id = "4bf92f3577b34da6a3ce929d0e0e4736"
	for header, want := range map[string]string{
		"00-" + id + "-00f067aa0ba902b7-01":                       id,
		"00-" + id + "-00f067aa0ba902b7-01-more":                  "",
		"cc-" + id + "-00f067aa0ba902b7-01-more":                  id,
		"ff-" + id + "-00f067aa0ba902b7-01":                       "",
		"00-" + id + "-0000000000000000-01":                       "",
		"00-00000000000000000000000000000000-00f067aa0ba902b7-01": "",
		"00-" + strings.ToUpper(id) + "-00f067aa0ba902b7-01":      "",
		"00-" + id: "",
		"":         "",
	} {
		if got := traceID([]string{header}); got != want {
			t.Errorf("%q gives %q, want %q", header, got, want)
		}
	}
	if got := traceID([]string{"00-" + id + "-00f067aa0ba902b7-01", "00-" + id + "-00f067aa0ba902b7-01"}); got != "" {
		t.Errorf("two of them give %q", got)
	}
}

// Who asks is who the connection is from, or whom a proxy that is trusted names; what
// else stands in the header is from the client, who may write what it likes.
func TestProxiesSayWhoAsks(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		proxies []string
		headers []string
		want    string
	}{
		{nil, nil, "127.0.0.1"},
		{nil, []string{"10.1.1.1"}, "127.0.0.1"},
		{[]string{"192.0.2.0/24"}, []string{"10.1.1.1"}, "127.0.0.1"},
		{[]string{"127.0.0.0/8"}, []string{"10.1.1.1"}, "10.1.1.1"},
		{[]string{"127.0.0.1", "10.1.1.1"}, []string{"6.6.6.6, 8.8.8.8, 10.1.1.1"}, "8.8.8.8"},
		{[]string{"127.0.0.1"}, []string{"6.6.6.6", "10.1.1.1"}, "10.1.1.1"},
		{[]string{"127.0.0.1"}, []string{"not an address"}, "127.0.0.1"},
	} {
		log := &lockedBuffer{}
		engine, operations, own, err := newEngine(Config{Log: newTestLog(log), Proxies: c.proxies}, nil)
		if err != nil {
			t.Fatal(err)
		}
		operations.GET("/healthz", own.GetHealth)
		r := httptest.NewRequest("GET", "/healthz", nil)
		r.RemoteAddr = "127.0.0.1:1234"
		r.Header["X-Forwarded-For"] = c.headers
		r.Header.Set("X-Real-Ip", "9.9.9.9")
		engine.ServeHTTP(httptest.NewRecorder(), r)
		if got := logLine(t, log, "request")["remote"]; got != c.want {
			t.Errorf("behind %v, %v is %v, want %s", c.proxies, c.headers, got, c.want)
		}
	}
	if _, _, _, err := newEngine(Config{Log: newTestLog(&lockedBuffer{}), Proxies: []string{"the one in front"}}, nil); err == nil {
		t.Error("a proxy may have any address")
	}
}

func TestLogHasWhatIsNeededAndNoSecrets(t *testing.T) {
	t.Parallel()
	server, log := newTestServer(t, func(r gin.IRoutes) { r.GET("/v1/sites/:id", fine) })
	send(t, server, "GET", "/v1/sites/"+testToken.Text()+"?access_token="+testToken.Text(), nil,
		"X-Request-Id", "my-own-1", "Traceparent", "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", "Cookie", "s="+testToken.Text())
	line := logLine(t, log, "request")
	for name, want := range map[string]any{
		"request_id": "my-own-1", "trace_id": "4bf92f3577b34da6a3ce929d0e0e4736", "method": "GET",
		"route": "/v1/sites/:id", "path": "/v1/sites/shoal_…", "status": 400.0, "remote": "127.0.0.1",
	} {
		if line[name] != want {
			t.Errorf("%s is %v, want %v", name, line[name], want)
		}
	}
	if _, ok := line["ms"].(float64); !ok || line["bytes"].(float64) < 100 {
		t.Errorf("took %v ms for %v bytes", line["ms"], line["bytes"])
	}
	if strings.Contains(log.String(), testToken.Text()) {
		t.Errorf("the log has the token: %s", log.String())
	}
}

func TestPanicIsAProblemAndTheServiceLives(t *testing.T) {
	t.Parallel()
	server, log := newTestServer(t, func(r gin.IRoutes) {
		r.GET("/v1/coop", func(*gin.Context) { panic("secret of the house") })
	})
	got := send(t, server, "GET", "/v1/coop", nil, "X-Request-Id", "my-own-1")
	p := got.problem(t)
	if p.Status != 500 || p.Code != "internal" || p.RequestID != "my-own-1" || len(p.TraceID) != 32 {
		t.Errorf("got %+v", p)
	}
	if trace := got.header.Get("Traceparent"); !strings.HasPrefix(trace, "00-"+p.TraceID+"-") {
		t.Errorf("the trace %s is answered as %s", p.TraceID, trace)
	}
	if strings.Contains(string(got.body), "secret") {
		t.Errorf("the answer tells of the panic: %s", got.body)
	}
	for _, message := range []string{"panic", "internal error", "request"} {
		if line := logLine(t, log, message); line["request_id"] != "my-own-1" || line["trace_id"] != p.TraceID {
			t.Errorf("of another request or trace: %v", line)
		}
	}
	if line := logLine(t, log, "panic"); line["panic"] != "secret of the house" || !strings.Contains(fmt.Sprint(line["stack"]), "middleware_test.go") {
		t.Errorf("the log says %v", line)
	}
	if line := logLine(t, log, "request"); line["status"] != 500.0 || line["level"] != "ERROR" {
		t.Errorf("the log says %v", line)
	}
	if got := send(t, server, "GET", "/healthz", nil); got.status != 200 {
		t.Errorf("afterwards the service answers %d", got.status)
	}
}

func TestUnknownAddressesAndMethodsAreProblems(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, func(r gin.IRoutes) {
		r.GET("/v1/sites/:id", fine)
		r.PATCH("/v1/sites/:id", fine)
		r.POST("/v1/entries", fine)
	})
	const site = "/v1/sites/019ade3a-7c00-7000-8000-000000000001"
	for _, c := range []struct {
		method, path string
		status       int
		code, allow  string
	}{
		{"GET", "/", 404, "not_found", ""},
		{"GET", "/v2/sites", 404, "not_found", ""},
		{"GET", site + "/", 404, "not_found", ""},
		{"GET", "//v1/entries", 404, "not_found", ""},
		{"DELETE", site, 405, "method_not_allowed", "GET, PATCH, HEAD"},
		{"TRACE", site, 405, "method_not_allowed", "GET, PATCH, HEAD"},
		{"PROPFIND", site, 405, "method_not_allowed", "GET, PATCH, HEAD"},
		{"GET", "/v1/entries", 405, "method_not_allowed", "POST"},
		{"HEAD", "/v1/entries", 405, "", "POST"},
		{"OPTIONS", "/v1/entries", 405, "method_not_allowed", "POST"},
	} {
		got := send(t, server, c.method, c.path, nil)
		if got.status != c.status || got.header.Get("Allow") != c.allow {
			t.Errorf("%s %s: status %d, Allow %q", c.method, c.path, got.status, got.header.Get("Allow"))
		}
		if c.method == "HEAD" {
			if len(got.body) > 0 {
				t.Errorf("HEAD is answered with a body: %s", got.body)
			}
			continue
		}
		if p := got.problem(t); p.Code != c.code || p.Instance != c.path {
			t.Errorf("%s %s: %+v", c.method, c.path, p)
		}
	}
}

func TestHeadIsGetWithoutTheBody(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, nil)
	get := send(t, server, "GET", "/openapi.yaml", nil)
	head := send(t, server, "HEAD", "/openapi.yaml", nil)
	if head.status != 200 || len(head.body) != 0 || head.header.Get("ETag") != get.header.Get("ETag") || head.header.Get("ETag") == "" {
		t.Errorf("HEAD: status %d, %d bytes, %v", head.status, len(head.body), head.header)
	}
}

func TestSecurityHeadersOnEveryAnswer(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, func(r gin.IRoutes) { r.GET("/v1/coop", fine) })
	for _, path := range []string{"/v1/coop", "/v1/coop?x=1", "/nothing", "/healthz"} {
		h := send(t, server, "GET", path, nil).header
		for name, want := range map[string]string{
			"X-Content-Type-Options":  "nosniff",
			"Cache-Control":           "no-store",
			"Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
			"Referrer-Policy":         "no-referrer",
		} {
			if h.Get(name) != want {
				t.Errorf("%s: %s is %q", path, name, h.Get(name))
			}
		}
		if h.Get("Server") != "" || h.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: %v", path, h)
		}
	}
}

func TestMetricsCountByRoute(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, func(r gin.IRoutes) { r.GET("/v1/sites/:id", fine) })
	for i := range 3 {
		send(t, server, "GET", fmt.Sprintf("/v1/sites/019ade3a-7c00-7000-8000-00000000000%d", i), nil)
		send(t, server, "BREW", fmt.Sprintf("/nothing/%d", i), nil)
	}
	got := send(t, server, "GET", "/metrics", nil, "Authorization", "", "Accept", "")
	if got.status != 200 || !strings.HasPrefix(got.header.Get("Content-Type"), "text/plain") {
		t.Fatalf("status %d, type %s", got.status, got.header.Get("Content-Type"))
	}
	for _, want := range []string{
		`http_request_duration_seconds_count{method="GET",route="/v1/sites/:id",status="200"} 3`,
		`http_request_duration_seconds_count{method="other",route="none",status="404"} 3`,
		"go_goroutines ", "process_resident_memory_bytes ",
		"database_connections_in_use 3\n", "database_connections_max 16\n", "database_connection_waits_total 2\n", "database_connection_wait_seconds_total 1.5\n",
	} {
		if !strings.Contains(string(got.body), want) {
			t.Errorf("no %s in\n%s", want, got.body)
		}
	}
}

func TestRequestIsGivenUpAfterItsTime(t *testing.T) {
	t.Parallel()
	gin.SetMode(gin.ReleaseMode)
	engine := gin.New()
	engine.ContextWithFallback = true
	log := &lockedBuffer{}
	engine.Use(begin(newTestLog(log), 20*time.Millisecond))
	engine.GET("/", func(c *gin.Context) {
		<-c.Done() // as a query on the database would
		writeProblem(c, fmt.Errorf("query: %w", c.Err()))
	})
	server := newPlainServer(t, engine)
	got := send(t, server, http.MethodGet, "/", nil)
	if p := got.problem(t); p.Status != 503 || got.header.Get("Retry-After") == "" {
		t.Errorf("got %+v", p)
	}
}
