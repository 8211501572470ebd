package api

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/openapi"
)

func gzipped(t testing.TB, b []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	w := gzip.NewWriter(&out)
	if _, err := w.Write(b); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestBodiesUpToTheirBounds(t *testing.T) {
	t.Parallel()
	ask := newValidatingServer(t)
	padded := func(body string, size int) string { return body + strings.Repeat(" ", size-len(body)) }
	site := `{"name":"x","kind":"school"}`
	for _, c := range []struct {
		path, body string
		status     int
	}{
		{"/v1/sites", padded(site, maxBody), 200},
		{"/v1/sites", padded(site, maxBody+1), 413},
		{"/v1/entries", padded(entries(feeding), maxBody+1), 200},
		{"/v1/entries", padded(entries(feeding), maxBulkBody), 200},
		{"/v1/entries", padded(entries(feeding), maxBulkBody+1), 413},
	} {
		for _, coding := range []string{"", "gzip"} {
			body := c.body
			if coding != "" {
				body = string(gzipped(t, []byte(body)))
			}
			got := ask("POST", c.path, body, "Content-Encoding", coding, "Idempotency-Key", "k")
			if got.status != c.status {
				t.Errorf("%s, %d bytes, coding %q: status %d: %.200s", c.path, len(c.body), coding, got.status, got.body)
			}
			if got.status == 200 && string(got.body) != c.body {
				t.Errorf("%s, coding %q: the handler got %d bytes of %d", c.path, coding, len(got.body), len(c.body))
			}
			if got.status == 413 && got.problem(t).Code != "body_too_large" {
				t.Errorf("%s, coding %q: %s", c.path, coding, got.body)
			}
		}
	}
}

func TestBodyWithoutALength(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, func(r gin.IRoutes) { r.POST("/v1/sites", echo) })
	for size, status := range map[int]int{0: 400, 1000: 200, maxBody + 1: 413} {
		site := `{"name":"x","kind":"school"}`
		body := ""
		if size > 0 {
			body = site + strings.Repeat(" ", size-len(site))
		}
		r, err := http.NewRequestWithContext(t.Context(), "POST", server.URL+"/v1/sites", io.MultiReader(strings.NewReader(body)))
		if err != nil {
			t.Fatal(err)
		}
		r.ContentLength = -1
		for name, value := range map[string]string{"Authorization": "Bearer " + testToken.Text(), "Content-Type": "application/json", "Idempotency-Key": "k"} {
			r.Header.Set(name, value)
		}
		if got := do(t, server, r); got.status != status {
			t.Errorf("%d bytes: status %d: %.200s", size, got.status, got.body)
		}
	}
}

func TestBodiesThatAreNotWhatTheySay(t *testing.T) {
	t.Parallel()
	ask := newValidatingServer(t)
	packed := string(gzipped(t, []byte(entries(feeding))))
	if got := ask("POST", "/v1/entries", packed, "Content-Encoding", "GZip"); got.status != 200 {
		t.Errorf("status %d: %s", got.status, got.body)
	}
	for name, c := range map[string]struct {
		coding, body string
		status       int
		code         string
	}{
		"plain as gzip":  {"gzip", entries(feeding), 400, "invalid_request"},
		"cut off":        {"gzip", packed[:len(packed)-5], 400, "invalid_request"},
		"wrong checksum": {"gzip", packed[:len(packed)-8] + "\x00\x00\x00\x00" + packed[len(packed)-4:], 400, "invalid_request"},
		"gzip as plain":  {"", packed, 400, "invalid_json"},
		"deflate":        {"deflate", packed, 415, "unsupported_media_type"},
		"brotli":         {"br", packed, 415, "unsupported_media_type"},
		"twice":          {"gzip, gzip", string(gzipped(t, []byte(packed))), 415, "unsupported_media_type"},
	} {
		got := ask("POST", "/v1/entries", c.body, "Content-Encoding", c.coding)
		if p := got.problem(t); p.Status != c.status || p.Code != c.code {
			t.Errorf("%s: %+v", name, p)
		}
		if c.status == 415 && got.header.Get("Accept-Encoding") != "gzip" {
			t.Errorf("%s: the answer does not say that gzip is accepted", name)
		}
	}
}

// A quarter of a gigabyte of zeros is a megabyte of gzip. It must be refused at the
// bound, not unpacked. Not parallel, so that only its own memory is measured.
func TestGzipBombIsRefusedAtTheBound(t *testing.T) {
	var bomb bytes.Buffer
	w, err := gzip.NewWriterLevel(&bomb, gzip.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	zeros := make([]byte, 1<<20)
	for range 256 {
		if _, err := w.Write(zeros); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	h, _ := newTestHandler(t, func(r gin.IRoutes) { r.POST("/v1/entries", echo) })
	server := newPlainServer(t, h)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	got := send(t, server, "POST", "/v1/entries", bomb.Bytes(), "Content-Encoding", "gzip")
	runtime.ReadMemStats(&after)
	if got.status != 413 {
		t.Errorf("status %d: %.200s", got.status, got.body)
	}
	if taken := after.TotalAlloc - before.TotalAlloc; taken > 50<<20 {
		t.Errorf("%d bytes were allocated on the way", taken)
	}
}

func TestAnswersAreCompressedIfWorthIt(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, nil)
	plain := send(t, server, "GET", "/openapi.yaml", nil, "Accept-Encoding", "identity")
	packed := send(t, server, "GET", "/openapi.yaml", nil, "Accept-Encoding", "gzip")
	small := send(t, server, "GET", "/healthz", nil, "Accept-Encoding", "gzip")
	if h := packed.header; h.Get("Content-Encoding") != "gzip" || !strings.Contains(h.Get("Vary"), "Accept-Encoding") || len(packed.body) > len(plain.body)/4 {
		t.Errorf("%d of %d bytes, %v", len(packed.body), len(plain.body), h)
	}
	if plain.header.Get("Content-Encoding") != "" || small.header.Get("Content-Encoding") != "" {
		t.Errorf("compressed: %v, %v", plain.header, small.header)
	}
	r, err := gzip.NewReader(bytes.NewReader(packed.body))
	if err != nil {
		t.Fatal(err)
	}
	unpacked, err := io.ReadAll(r)
	if err != nil || !bytes.Equal(unpacked, openapi.YAML) {
		t.Errorf("%d bytes come out of it (%v)", len(unpacked), err)
	}
	// Two representations, two tags, and both are known again.
	if plain.header.Get("ETag") == packed.header.Get("ETag") {
		t.Errorf("both have the tag %s", plain.header.Get("ETag"))
	}
	for _, tag := range []string{plain.header.Get("ETag"), packed.header.Get("ETag")} {
		for _, coding := range []string{"identity", "gzip"} {
			if got := send(t, server, "GET", "/openapi.yaml", nil, "Accept-Encoding", coding, "If-None-Match", tag); got.status != 304 || len(got.body) > 0 {
				t.Errorf("%s with %s: status %d", tag, coding, got.status)
			}
		}
	}
}

func TestHeadersThatAreTooLarge(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, nil)
	if got := send(t, server, "GET", "/healthz", nil, "X-Long", strings.Repeat("x", 8<<10)); got.status != 200 {
		t.Errorf("8 KiB: status %d", got.status)
	}
	if got := send(t, server, "GET", "/healthz", nil, "X-Long", strings.Repeat("x", 32<<10)); got.status != 431 {
		t.Errorf("32 KiB: status %d", got.status)
	}
}

// The bounds themselves take too long to wait for; that they are set is what keeps
// slow clients from tying the service up.
func TestServerHasBoundsForSlowClients(t *testing.T) {
	t.Parallel()
	s := NewHTTPServer(http.NotFoundHandler())
	for name, got := range map[string]time.Duration{"header": s.ReadHeaderTimeout, "read": s.ReadTimeout, "write": s.WriteTimeout, "idle": s.IdleTimeout} {
		if got <= 0 || got > 2*time.Minute {
			t.Errorf("%s: %v", name, got)
		}
	}
	if RequestTimeout >= s.WriteTimeout {
		t.Errorf("a request may take %v, but its answer is cut after %v", RequestTimeout, s.WriteTimeout)
	}
}

func TestClientThatSendsItsHeadersSlowlyIsCutOff(t *testing.T) {
	t.Parallel()
	h, _ := newTestHandler(t, nil)
	server := NewHTTPServer(h)
	server.ReadHeaderTimeout = 50 * time.Millisecond
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(func() { _ = server.Close() })
	conn, err := net.Dial("tcp", listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := conn.Write([]byte("GET /healthz HTTP/1.1\r\nHost: x\r\nX-Slow: ")); err != nil {
		t.Fatal(err)
	}
	_ = conn.SetReadDeadline(time.Now().Add(10 * time.Second))
	if b, err := io.ReadAll(conn); errors.Is(err, os.ErrDeadlineExceeded) || strings.Contains(string(b), "200 OK") {
		t.Errorf("after 10 s the connection still stands, with %q", b)
	}
}
