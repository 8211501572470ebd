package api

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"shoalbook/openapi"
)

func TestContractIsServed(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, nil)
	got := send(t, server, "GET", "/openapi.yaml", nil)
	if got.status != 200 || got.header.Get("Content-Type") != "application/yaml" || !bytes.Equal(got.body, openapi.YAML) {
		t.Errorf("status %d, type %s, %d bytes", got.status, got.header.Get("Content-Type"), len(got.body))
	}
	if got := send(t, server, "GET", "/openapi.yaml", nil, "If-None-Match", got.header.Get("ETag")); got.status != 304 {
		t.Errorf("known, but status %d", got.status)
	}
	if got := send(t, server, "GET", "/openapi.yaml", nil, "If-None-Match", `"other"`); got.status != 200 {
		t.Errorf("not known, but status %d", got.status)
	}
}

var reference = regexp.MustCompile(`(?:src|href)="([^"]+)"`)

// The pages must work without the internet: whatever they refer to is here.
func TestDocsNeedNothingFromElsewhere(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, nil)
	page := send(t, server, "GET", "/docs", nil, "Accept", "text/html")
	if page.status != 200 || !strings.HasPrefix(page.header.Get("Content-Type"), "text/html") || page.header.Get("Content-Security-Policy") != docsPolicy {
		t.Fatalf("status %d, %v", page.status, page.header)
	}
	if !bytes.Contains(page.body, []byte("/openapi.yaml")) {
		t.Error("the page does not name the contract")
	}
	found := reference.FindAllSubmatch(page.body, -1)
	if len(found) < 3 {
		t.Fatalf("only %d references in the page", len(found))
	}
	for _, ref := range found {
		path := string(ref[1])
		if !strings.HasPrefix(path, "/docs/") {
			t.Errorf("the page refers to %s", path)
			continue
		}
		if got := send(t, server, "GET", path, nil); got.status != 200 || len(got.body) == 0 {
			t.Errorf("%s: status %d", path, got.status)
		}
	}
	if got := send(t, server, "GET", "/docs/../openapi.go", nil); got.status != 404 {
		t.Errorf("outside of the pages: status %d", got.status)
	}
}

func TestReadiness(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, nil)
	for _, path := range []string{"/healthz", "/readyz"} {
		if got := send(t, server, "GET", path, nil); got.status != 200 || string(got.body) != `{"status":"ok"}` {
			t.Errorf("%s: status %d: %s", path, got.status, got.body)
		}
	}
	log := &lockedBuffer{}
	engine, operations, own, err := newEngine(Config{
		Log:   newTestLog(log),
		Ready: func(context.Context) error { return errors.New("the database secret is gone") },
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	operations.GET("/readyz", own.GetReadiness)
	operations.GET("/healthz", own.GetHealth)
	operations.GET("/metrics", own.GetMetrics)
	down := newPlainServer(t, wrapped(engine))
	got := send(t, down, "GET", "/readyz", nil)
	if p := got.problem(t); p.Status != 503 || p.Code != "unavailable" || bytes.Contains(got.body, []byte("secret")) || got.header.Get("Retry-After") == "" {
		t.Errorf("%v: %s", got.header, got.body)
	}
	if line := logLine(t, log, "unavailable"); !strings.Contains(fmt.Sprint(line["error"]), "secret is gone") {
		t.Errorf("the log says %v", line)
	}
	if got := send(t, down, "GET", "/healthz", nil); got.status != 200 {
		t.Errorf("alive, but status %d", got.status)
	}
	if got := send(t, down, "GET", "/metrics", nil); got.status != 404 || got.problem(t).Code != "not_found" {
		t.Errorf("switched off, but status %d: %s", got.status, got.body)
	}
}
