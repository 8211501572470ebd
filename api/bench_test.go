package api

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
)

func testValidator(t testing.TB) *validator {
	t.Helper()
	v, err := ownContract()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// nowhere is a response that nobody reads.
type nowhere struct{ header http.Header }

func (n nowhere) Header() http.Header         { return n.header }
func (n nowhere) Write(b []byte) (int, error) { return len(b), nil }
func (n nowhere) WriteHeader(int)             {}

// BenchmarkRequest measures what stands around a handler that does nothing but
// take the body: nothing, the validation alone, and everything.
func BenchmarkRequest(b *testing.B) {
	routes := func(r gin.IRoutes) {
		take := func(c *gin.Context) {
			if bodyOf(c) == nil && c.Request.Body != nil {
				_, _ = readSized(c.Request.Body, c.Request.ContentLength)
			}
			c.Status(http.StatusNoContent)
		}
		r.GET("/v1/sites/:id", take)
		r.GET("/v1/entries", take)
		r.POST("/v1/entries", take)
	}
	gin.SetMode(gin.ReleaseMode)
	bare := gin.New()
	routes(bare)
	v := testValidator(b)
	validated := gin.New()
	routes(validated.Group("", func(c *gin.Context) { c.Set(requestKey{}, &request{}) }, v.find, v.validate))
	everything, _ := newTestHandler(b, routes)

	for _, request := range []struct{ name, method, target, body string }{
		{"get one", "GET", siteURL, ""},
		{"get list", "GET", "/v1/entries?kind=death&from=2026-01-01&to=2026-03-31&limit=50", ""},
		{"post one entry", "POST", "/v1/entries", entries(feeding)},
		{"post thousand entries", "POST", "/v1/entries", entries(strings.Split(strings.Repeat(feeding+"\n", 1000), "\n")[:1000]...)},
	} {
		for _, around := range []struct {
			name string
			h    http.Handler
		}{{"bare", bare}, {"validated", validated}, {"everything", everything}} {
			b.Run(request.name+"/"+around.name, func(b *testing.B) {
				b.ReportAllocs()
				auth := "Bearer " + testToken.Text()
				for b.Loop() {
					r := httptest.NewRequest(request.method, request.target, strings.NewReader(request.body))
					r.Header.Set("Authorization", auth)
					if request.body != "" {
						r.Header.Set("Content-Type", "application/json")
					}
					around.h.ServeHTTP(nowhere{http.Header{}}, r)
				}
			})
		}
	}
}
