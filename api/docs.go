package api

import (
	"net/http"

	"github.com/gin-gonic/gin"
	"github.com/swaggest/swgui/v5emb"

	"shoalbook/openapi"
)

// docsPolicy lets the pages under /docs run what comes with them, and nothing
// from anywhere else.
const docsPolicy = "default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; frame-ancestors 'none'"

var contractTag = contentTag(openapi.YAML)

// GetContract serves the contract itself.
func (s *service) GetContract(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("ETag", contractTag)
	h.Set("Cache-Control", "no-cache") // may be kept, must be asked for again
	if notModified(c.Request.Header, contractTag) {
		c.Status(http.StatusNotModified)
		return
	}
	c.Data(http.StatusOK, "application/yaml", openapi.YAML)
}

// GetDocs serves pages to read and try the contract with.
func (s *service) GetDocs(c *gin.Context) { s.docs(c) }

// newDocs returns the handler of /docs and of all below it. Everything it needs is
// in the program: it works without the internet.
func newDocs() gin.HandlerFunc {
	pages := v5emb.New("Shoalbook", "/openapi.yaml", "/docs")
	return func(c *gin.Context) {
		h := c.Writer.Header()
		h.Set("Content-Security-Policy", docsPolicy)
		h.Set("Cache-Control", "no-cache")
		pages.ServeHTTP(c.Writer, c.Request)
	}
}
