package api

import (
	"maps"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/gin-gonic/gin"

	"shoalbook/api/render"
	"shoalbook/openapi"
)

func TestSuffixesAreThoseOfTheContract(t *testing.T) {
	t.Parallel()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		t.Fatal(err)
	}
	said, _ := doc.Extensions["x-suffixes"].(map[string]any)
	want := map[string]any{}
	for media, suffix := range extensions {
		want[suffix] = media
	}
	if !maps.Equal(said, want) {
		t.Errorf("the contract says %v, and %v are taken", said, want)
	}
	for where, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			for _, answer := range op.Responses.Map() {
				for media := range answer.Value.Content {
					if _, ok := extensions[media]; !ok && len(answer.Value.Content) > 1 {
						t.Errorf("%s %s answers with %s, which has no suffix", method, where, media)
					}
				}
			}
		}
	}
}

func TestSuffixIsAnAccept(t *testing.T) {
	t.Parallel()
	var path, escaped, accept string
	h := suffixed(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		path, escaped, accept = r.URL.Path, r.URL.EscapedPath(), r.Header.Get("Accept")
	}))
	for _, c := range []struct{ method, url, path, accept string }{
		{"GET", "/v1/things/1.pdf?as_of=2026-01-01.csv", "/v1/things/1", asPDF},
		{"GET", "/v1/things/a%2Fb.html", "/v1/things/a/b", asHTML},
		{"GET", "/v1/things/1.svg", "/v1/things/1", asSVG},
		{"GET", "/v1/things/1.exe", "/v1/things/1.exe", "image/png"},
		{"GET", "/v1/thi.csv/1", "/v1/thi.csv/1", "image/png"},
		{"GET", "/docs/openapi.json", "/docs/openapi.json", "image/png"},
		{"POST", "/v1/things.csv", "/v1/things.csv", "image/png"},
		{"GET", "/v1/things/.", "/v1/things/.", "image/png"},
	} {
		r := httptest.NewRequest(c.method, c.url, nil)
		r.Header.Set("Accept", "image/png")
		h.ServeHTTP(httptest.NewRecorder(), r)
		if path != c.path || accept != c.accept {
			t.Errorf("%s %s becomes %s as %s", c.method, c.url, path, accept)
		}
		if c.accept == asHTML && escaped != "/v1/things/a%2Fb" {
			t.Errorf("%s is escaped as %s", c.url, escaped)
		}
		if r.Header.Get("Accept") != "image/png" || r.URL.Path == "" {
			t.Error("the request itself was changed")
		}
	}
}

// TestDocumentsAreFiles looks at what goes with each representation of a document.
func TestDocumentsAreFiles(t *testing.T) {
	t.Parallel()
	d := &render.Document{Title: "A title", Date: time.Unix(0, 0), Sections: []render.Section{{Blocks: []render.Block{
		&render.Table{Name: "things", Columns: []render.Column{{Title: "Thing"}}, Rows: func(func([]render.Cell) bool) {}}}}}}
	for media, begins := range map[string]string{asHTML: "<!DOCTYPE html>", asPDF: "%PDF-", asXLSX: "PK", asCSV: "Thing\r\n"} {
		c := newContext(httptest.NewRequest("GET", "/v1/things", nil), asJSON, asHTML, asPDF, asXLSX, asCSV)
		c.Request.Header.Set("Accept", media)
		a, err := documentReply(c, "things", d)
		if err != nil || a.media != media || len(a.body) < len(begins) || string(a.body[:len(begins)]) != begins {
			t.Errorf("%s: %v, %s %.20q", media, err, a.media, a.body)
		}
		if got, want := a.header["Content-Disposition"], `inline; filename="things.`+extensions[media]+`"`; got != want {
			t.Errorf("%s is called %s", media, got)
		}
		if got := a.header["Content-Security-Policy"]; (got == render.ContentSecurityPolicy) != (media == asHTML) {
			t.Errorf("%s has the policy %q", media, got)
		}
	}
	c := newContext(httptest.NewRequest("GET", "/v1/things", nil), asJSON, asHTML)
	if got := wanted(c); got != asJSON {
		t.Errorf("nothing was said, and %s is wanted", got)
	}
	c.Request.Header["Accept"] = []string{"application/json;q=0.1", "text/*;q=0.2"}
	if got := wanted(c); got != asHTML {
		t.Errorf("%s is wanted", got)
	}
}

// newContext is that of a request to an operation that answers in some media types.
func newContext(r *http.Request, produces ...string) *gin.Context {
	c, _ := gin.CreateTestContext(httptest.NewRecorder())
	c.Request = r
	c.Set(requestKey{}, &request{operation: &operation{produces: produces}})
	return c
}
