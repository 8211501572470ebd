package api

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
)

func TestBearer(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, func(r gin.IRoutes) {
		r.GET("/v1/coop", func(c *gin.Context) {
			if got := requestOf(c).credential; got.Coop != testToken.Coop || got.TokenHash != testToken.Hash() {
				t.Errorf("the handler sees %v", got)
			}
			fine(c)
		})
	})
	text := testToken.Text()
	for name, c := range map[string]struct {
		headers   []string
		status    int
		challenge string
	}{
		"good":            {[]string{"Bearer " + text}, 200, ""},
		"scheme in lower": {[]string{"bearer " + text}, 200, ""},
		"none":            {nil, 401, `Bearer realm="shoalbook"`},
		"empty":           {[]string{""}, 401, `Bearer realm="shoalbook", error="invalid_token"`},
		"twice":           {[]string{"Bearer " + text, "Bearer " + text}, 401, `Bearer realm="shoalbook", error="invalid_token"`},
		"Basic":           {[]string{"Basic c2hvYWw6c2hvYWw="}, 401, `Bearer realm="shoalbook", error="invalid_token"`},
		"scheme only":     {[]string{"Bearer"}, 401, `Bearer realm="shoalbook", error="invalid_token"`},
		"no scheme":       {[]string{text}, 401, `Bearer realm="shoalbook", error="invalid_token"`},
		"two spaces":      {[]string{"Bearer  " + text}, 401, `Bearer realm="shoalbook", error="invalid_token"`},
		"two in one":      {[]string{"Bearer " + text + ", Bearer " + text}, 401, `Bearer realm="shoalbook", error="invalid_token"`},
		"mistyped":        {[]string{"Bearer " + text[:len(text)-1] + "!"}, 401, `Bearer realm="shoalbook", error="invalid_token"`},
		"cut":             {[]string{"Bearer " + text[:20]}, 401, `Bearer realm="shoalbook", error="invalid_token"`},
	} {
		r, err := http.NewRequestWithContext(t.Context(), "GET", server.URL+"/v1/coop", nil)
		if err != nil {
			t.Fatal(err)
		}
		if c.headers != nil {
			r.Header["Authorization"] = c.headers
		}
		got := do(t, server, r)
		if got.status != c.status || got.header.Get("WWW-Authenticate") != c.challenge {
			t.Errorf("%s: status %d, %q", name, got.status, got.header.Get("WWW-Authenticate"))
		}
		if c.status == 401 {
			if p := got.problem(t); p.Code != "unauthenticated" || strings.Contains(string(got.body), text) {
				t.Errorf("%s: %s", name, got.body)
			}
		}
	}
}

// No token in the address, and none asked for where the contract says so; what is
// wrong with a request is told only to those who have one.
func TestWhereATokenIsNeeded(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, func(r gin.IRoutes) { r.GET("/v1/entries", fine) })
	for path, status := range map[string]int{
		"/v1/entries": 401,
		"/v1/entries?access_token=" + testToken.Text(): 401,
		"/v1/entries?limit=0":                          401,
		"/healthz":                                     200,
		"/readyz":                                      200,
		"/metrics":                                     200,
		"/openapi.yaml":                                200,
		"/docs":                                        200,
	} {
		if got := send(t, server, "GET", path, nil, "Authorization", ""); got.status != status {
			t.Errorf("%s: status %d", path, got.status)
		}
	}
}

// Whom the contract lets do something is what the transaction is told.
func TestRolesFollowTheContract(t *testing.T) {
	t.Parallel()
	var seen []domain.Role
	server, _ := newTestServer(t, func(r gin.IRoutes) {
		handle := func(c *gin.Context) {
			seen = requestOf(c).credential.Roles
			fine(c)
		}
		r.GET("/v1/coop", handle)
		r.PATCH("/v1/coop", handle)
	})
	send(t, server, "GET", "/v1/coop", nil)
	if want := []domain.Role{domain.Coordinator, domain.Adviser, domain.Keeper, domain.Treasurer, domain.Auditor}; !slices.Equal(seen, want) {
		t.Errorf("reading takes one of %q, want %q", seen, want)
	}
	send(t, server, "PATCH", "/v1/coop", []byte(`{"name":"x"}`), "Content-Type", mergeType, "If-Match", `"1"`)
	if want := []domain.Role{domain.Coordinator}; !slices.Equal(seen, want) {
		t.Errorf("changing takes one of %q, want %q", seen, want)
	}
}
