package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
)

func contract(t testing.TB) *openapi3.T {
	t.Helper()
	doc, err := loadContract()
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

var loadContract = sync.OnceValues(func() (*openapi3.T, error) { return openapi3.NewLoader().LoadFromData(openapi.YAML) })

func TestTitlesAreThoseOfTheContract(t *testing.T) {
	t.Parallel()
	var want []string
	for _, code := range contract(t).Components.Schemas["ProblemCode"].Value.Enum {
		want = append(want, code.(string))
	}
	slices.Sort(want)
	if got := slices.Sorted(maps.Keys(titles)); !slices.Equal(got, want) {
		t.Errorf("codes with a title:\n%q\ncodes of the contract:\n%q", got, want)
	}
	seen := map[string]string{}
	for code, title := range titles {
		if other, ok := seen[title]; ok || title == "" {
			t.Errorf("%s and %s have the title %q", code, other, title)
		}
		seen[title] = code
	}
}

// failing serves one operation that fails with err.
func failing(err error) func(gin.IRoutes) {
	return func(r gin.IRoutes) {
		r.GET("/v1/coop", func(c *gin.Context) { writeProblem(c, err) })
	}
}

func TestProblemOfEachKind(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		kind   domain.Kind
		code   string
		status int
		header string // that must be there
	}{
		{domain.Invalid, "invalid_request", 400, ""},
		{domain.Unauthenticated, "unauthenticated", 401, `Www-Authenticate: Bearer realm="shoalbook", error="invalid_token"`},
		{domain.Forbidden, "forbidden", 403, `Www-Authenticate: Bearer realm="shoalbook", error="insufficient_scope"`},
		{domain.NotFound, "not_found", 404, ""},
		{notAcceptable, "not_acceptable", 406, ""},
		{domain.Conflict, "id_conflict", 409, ""},
		{domain.Precondition, "version_mismatch", 412, ""},
		{domain.TooLarge, "body_too_large", 413, ""},
		{domain.Unsupported, "unsupported_media_type", 415, ""},
		{domain.Refused, "not_enough_fish", 422, ""},
		{domain.PreconditionRequired, "if_match_required", 428, ""},
		{domain.TooMany, "too_many_requests", 429, "Retry-After: 5"},
		{domain.Unavailable, "unavailable", 503, "Retry-After: 5"},
	} {
		t.Run(c.code, func(t *testing.T) {
			t.Parallel()
			refusal := &domain.Error{Kind: c.kind, Code: c.code, Detail: "words <for> a person",
				Fields: []domain.FieldError{{Pointer: "/entries/0/count", Detail: "is too much"}}}
			server, _ := newTestServer(t, failing(fmt.Errorf("wrapped: %w", refusal)))
			got := send(t, server, "GET", "/v1/coop", nil, "X-Request-Id", "my-own-1", "Traceparent", "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01")
			want := problem{
				Type: "https://shoalbook.example/problems/" + c.code, Title: titles[c.code], Status: c.status,
				Detail: "words <for> a person", Code: c.code, Instance: "/v1/coop", RequestID: "my-own-1", TraceID: "4bf92f3577b34da6a3ce929d0e0e4736",
				Errors: []problemField{{"/entries/0/count", "is too much"}},
			}
			if p := got.problem(t); fmt.Sprint(p) != fmt.Sprint(want) {
				t.Errorf("got  %+v\nwant %+v", p, want)
			}
			if !strings.Contains(string(got.body), "<for>") {
				t.Errorf("words are escaped for HTML: %s", got.body)
			}
			if name, value, _ := strings.Cut(c.header, ": "); got.header.Get(name) != value {
				t.Errorf("%s is %q, want %q", name, got.header.Get(name), value)
			}
			var document any
			if err := json.Unmarshal(got.body, &document); err != nil {
				t.Fatal(err)
			}
			if err := contract(t).Components.Schemas["Problem"].Value.VisitJSON(document); err != nil {
				t.Errorf("not a problem of the contract: %v", err)
			}
		})
	}
}

func TestProblemKeepsInternalErrorsInTheLog(t *testing.T) {
	t.Parallel()
	for name, err := range map[string]error{
		"any error":         errors.New("select secret from somewhere"),
		"of kind internal":  domain.Errorf(domain.Internal, "internal", "select secret from somewhere"),
		"of a kind unknown": domain.Errorf(domain.Kind(99), "not_found", "select nothing from somewhere"),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			server, log := newTestServer(t, failing(err))
			got := send(t, server, "GET", "/v1/coop", nil, "X-Request-Id", "my-own-1")
			if p := got.problem(t); p.Status != 500 || p.Code != "internal" || p.RequestID != "my-own-1" {
				t.Errorf("got %+v", p)
			}
			if strings.Contains(string(got.body), "somewhere") {
				t.Errorf("the answer tells the error: %s", got.body)
			}
			if line := logLine(t, log, "internal error"); line["request_id"] != "my-own-1" || !strings.Contains(fmt.Sprint(line["error"]), "somewhere") {
				t.Errorf("the log says %v", line)
			}
		})
	}
}

func TestProblemOfARequestThatTookTooLong(t *testing.T) {
	t.Parallel()
	server, log := newTestServer(t, failing(fmt.Errorf("query: %w", context.DeadlineExceeded)))
	got := send(t, server, "GET", "/v1/coop", nil)
	if p := got.problem(t); p.Status != 503 || p.Code != "unavailable" {
		t.Errorf("got %+v", p)
	}
	logLine(t, log, "request given up")
}

// An answer that has begun cannot become a problem: the client must see that the
// connection breaks, not a whole document that is not.
func TestProblemInTheMiddleOfAnAnswer(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, func(r gin.IRoutes) {
		r.GET("/v1/coop", func(c *gin.Context) {
			c.Status(http.StatusOK)
			_, _ = c.Writer.WriteString(strings.Repeat("half of it ", 1000))
			c.Writer.Flush()
			writeProblem(c, errors.New("the rest is gone"))
		})
	})
	r, err := http.NewRequestWithContext(t.Context(), "GET", server.URL+"/v1/coop", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+testToken.Text())
	response, err := server.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	got, err := io.ReadAll(response.Body)
	if err == nil || strings.Contains(string(got), "internal") {
		t.Errorf("the answer ends well after %d bytes", len(got))
	}
}
