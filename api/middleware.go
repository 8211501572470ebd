package api

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"log/slog"
	"net/http"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/postgres"
)

// A request is what the service itself knows of a request it is answering.
type request struct {
	id    string // in the answer, in every problem and in every line of the log
	trace string // W3C trace id, the client's if it sent one; wherever the id is
	log   *slog.Logger

	operation  *operation          // what the contract says of it, see validator.find
	credential postgres.Credential // who asks, see authenticate
}

type requestKey struct{}

// requestOf returns what [begin] noted of the request.
func requestOf(c *gin.Context) *request {
	if r, ok := c.Get(requestKey{}); ok {
		return r.(*request)
	}
	return &request{log: slog.Default()}
}

// note writes a line of the log that belongs to the request.
func (r *request) note(ctx context.Context, level slog.Level, message string, attrs ...slog.Attr) {
	r.log.LogAttrs(ctx, level, message, append(attrs, slog.String("request_id", r.id), slog.String("trace_id", r.trace))...)
}

// forwarded is the header in which a proxy says whom it asks for.
const forwarded = "X-Forwarded-For"

// begin gives every request an id and a time limit, and logs how it ended. The
// log has neither headers nor query values: they may hold secrets.
func begin(log *slog.Logger, limit time.Duration) gin.HandlerFunc {
	return func(c *gin.Context) {
		start := time.Now()
		if lines := c.Request.Header[forwarded]; len(lines) > 1 { // which are one list, of which the last is the proxy's
			c.Request.Header.Set(forwarded, strings.Join(lines, ", "))
		}
		r := &request{id: inboundID(c.GetHeader("X-Request-Id")), trace: traceID(c.Request.Header["Traceparent"]), log: log}
		c.Set(requestKey{}, r)
		c.Writer.Header().Set("X-Request-Id", r.id)
		if r.trace == "" {
			r.trace = hexText(16)
		}
		c.Writer.Header().Set("Traceparent", "00-"+r.trace+"-"+hexText(8)+"-00")
		ctx, cancel := context.WithTimeout(c.Request.Context(), limit)
		defer cancel()
		c.Request = c.Request.WithContext(ctx)

		defer func() {
			level := slog.LevelInfo
			if c.Writer.Status() >= http.StatusInternalServerError {
				level = slog.LevelError
			}
			attrs := []slog.Attr{
				slog.String("request_id", r.id),
				slog.String("method", knownMethod(c.Request.Method)),
				slog.String("route", c.FullPath()),
				slog.String("path", loggedPath(c.Request.URL.Path)),
				slog.Int("status", c.Writer.Status()),
				slog.Int("bytes", max(c.Writer.Size(), 0)),
				slog.Float64("ms", float64(time.Since(start).Microseconds())/1000),
				slog.String("remote", c.ClientIP()),
				slog.String("trace_id", r.trace),
			}
			log.LogAttrs(ctx, level, "request", attrs...)
		}()
		c.Next()
	}
}

// hexText returns so many random bytes as hexadecimal text.
func hexText(bytes int) string {
	b := make([]byte, bytes)
	rand.Read(b)
	return hex.EncodeToString(b)
}

// inboundID takes over the id a client gave its request, if it is a sane one.
func inboundID(id string) string {
	if len(id) < 1 || len(id) > 64 {
		return rand.Text()
	}
	for i := range len(id) {
		switch c := id[i]; {
		case '0' <= c && c <= '9', 'A' <= c && c <= 'Z', 'a' <= c && c <= 'z', c == '-', c == '_', c == '.':
		default:
			return rand.Text()
		}
	}
	return id
}

var traceparent = regexp.MustCompile(`^([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-[0-9a-f]{2}(-.*)?$`)

// traceID reads the trace id of a traceparent (W3C Trace Context, from memory),
// of its version 00 or of a later one that begins the same way.
func traceID(headers []string) string {
	if len(headers) != 1 {
		return ""
	}
	m := traceparent.FindStringSubmatch(headers[0])
	if m == nil || m[1] == "ff" || m[1] == "00" && m[4] != "" || strings.Trim(m[2], "0") == "" || strings.Trim(m[3], "0") == "" {
		return ""
	}
	return m[2]
}

var tokenText = regexp.MustCompile(`shoal_[0-9A-Za-z]+`)

// loggedPath keeps a token out of the log that somebody put into the path.
func loggedPath(path string) string {
	if strings.HasPrefix(path, sharedPath) {
		return sharedPath + "…"
	}
	if len(path) > 200 {
		path = path[:200]
	}
	if strings.Contains(path, "shoal_") {
		return tokenText.ReplaceAllString(path, "shoal_…")
	}
	return path
}

// knownMethod keeps made-up methods from filling the log and the metrics.
func knownMethod(method string) string {
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
		return method
	}
	return "other"
}

// recovery turns a panic into a problem document, with its stack in the log.
func recovery(c *gin.Context) {
	defer func() {
		v := recover()
		if v == nil {
			return
		}
		if err, ok := v.(error); ok && errors.Is(err, http.ErrAbortHandler) {
			panic(v) // how a handler cuts the connection on purpose
		}
		r := requestOf(c)
		r.note(c.Request.Context(), slog.LevelError, "panic", slog.Any("panic", v), slog.String("stack", string(debug.Stack())))
		writeProblem(c, errPanic)
	}()
	c.Next()
}

var errPanic = errors.New("a handler panicked")

// secure sets the headers that keep browsers and caches from doing harm.
func secure(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cache-Control", "no-store")
	c.Next()
}

// share lets pages of some origins ask from a browser (Fetch standard, CORS). Without
// origins, which is the default, no page may.
func share(origins []string) gin.HandlerFunc {
	return func(c *gin.Context) {
		origin := c.GetHeader("Origin")
		if origin == "" || !slices.Contains(origins, origin) {
			c.Next()
			return
		}
		h := c.Writer.Header()
		h.Set("Access-Control-Allow-Origin", origin)
		h.Add("Vary", "Origin")
		h.Set("Access-Control-Expose-Headers", "ETag, Link, Location, Replayed, Retry-After, RateLimit, RateLimit-Policy, X-Request-Id, Traceparent")
		if c.Request.Method == http.MethodOptions && c.GetHeader("Access-Control-Request-Method") != "" {
			h.Set("Access-Control-Allow-Methods", "GET, POST, PATCH, DELETE")
			h.Set("Access-Control-Allow-Headers", "Authorization, Content-Type, Content-Encoding, If-Match, If-None-Match, Idempotency-Key, Prefer, X-Device, X-Request-Id, Traceparent")
			h.Set("Access-Control-Max-Age", "600")
			c.AbortWithStatus(http.StatusNoContent)
			return
		}
		c.Next()
	}
}

func noRoute(c *gin.Context) {
	writeProblem(c, domain.Errorf(domain.NotFound, "not_found", "there is nothing at this address; /docs lists what there is"))
}

// noMethod relies on the router for the Allow header.
func noMethod(c *gin.Context) {
	allow := c.Writer.Header().Get("Allow")
	if strings.Contains(allow, http.MethodGet) {
		allow += ", " + http.MethodHead
		c.Writer.Header().Set("Allow", allow)
	}
	writeProblem(c, domain.Errorf(methodNotAllowed, "method_not_allowed", "this address allows %s", allow))
}
