package api

import (
	"bytes"
	"errors"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/klauspost/compress/gzhttp"
	"github.com/klauspost/compress/gzip"

	"shoalbook/domain"
)

// Bounds on the body of a request, in bytes after decompression.
const (
	maxBody     = 1 << 20
	maxBulkBody = 5 << 20
)

// RequestTimeout is how long a request may take; the work on the database is
// cancelled then.
const RequestTimeout = 30 * time.Second

// NewHTTPServer returns a server of a handler that slow, idle or garrulous
// clients cannot tie up.
func NewHTTPServer(h http.Handler) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       120 * time.Second,
		MaxHeaderBytes:    16 << 10,

		DisableGeneralOptionsHandler: true, // OPTIONS * gets an answer like all else
	}
}

// compressed wraps a handler so that answers worth it are sent as gzip to those
// who accept it. Their entity tags end in [gzipSuffix].
func compressed(h http.Handler) http.Handler {
	wrap, err := gzhttp.NewWrapper(gzhttp.MinSize(1024), gzhttp.EnableZstd(false), gzhttp.SuffixETag(gzipSuffix))
	if err != nil {
		panic(err) // the options are constants
	}
	return wrap(h)
}

// withHead lets HEAD be asked wherever GET can be: the server leaves out the body
// of the answer by itself.
func withHead(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead {
			get := *r
			get.Method = http.MethodGet
			r = &get
		}
		h.ServeHTTP(w, r)
	})
}

// A readBody is the body of a request that was read whole, to be read again.
type readBody struct {
	bytes.Reader
	raw []byte
}

func (*readBody) Close() error { return nil }

// bodyOf returns the body of a request that [validator] has let through. It must
// not be changed.
func bodyOf(c *gin.Context) []byte {
	if body, ok := c.Request.Body.(*readBody); ok {
		return body.raw
	}
	return nil
}

var gzipReaders = sync.Pool{New: func() any { return new(gzip.Reader) }}

// readAll reads the body of a request, decompressed, up to a limit, and leaves
// it to be read again. Kept is told of every piece, and may refuse it.
func readAll(c *gin.Context, limit int64, kept func(n int) error) error {
	r := c.Request
	var from io.Reader = http.MaxBytesReader(c.Writer, r.Body, limit)
	size := r.ContentLength
	switch coding := strings.ToLower(strings.TrimSpace(strings.Join(r.Header["Content-Encoding"], ","))); coding {
	case "", "identity":
		if size > limit {
			return errTooLarge(limit)
		}
	case "gzip", "x-gzip":
		unzip := gzipReaders.Get().(*gzip.Reader)
		defer gzipReaders.Put(unzip)
		if err := unzip.Reset(from); err != nil {
			return bodyError(err, limit)
		}
		from, size = io.LimitReader(unzip, limit+1), -1
	default:
		c.Header("Accept-Encoding", "gzip")
		return domain.Errorf(domain.Unsupported, "unsupported_media_type", "the body must be sent plain or compressed with gzip")
	}
	raw, err := readSized(told{from, kept}, size)
	if err != nil {
		return bodyError(err, limit)
	}
	if int64(len(raw)) > limit {
		return errTooLarge(limit)
	}
	body := &readBody{raw: raw}
	body.Reset(raw)
	r.Body, r.ContentLength = body, int64(len(raw))
	r.Header.Del("Content-Encoding")
	return nil
}

// told tells of every piece that is read.
type told struct {
	io.Reader
	of func(n int) error
}

func (t told) Read(p []byte) (int, error) {
	n, err := t.Reader.Read(p)
	if refused := t.of(n); refused != nil {
		return n, refused
	}
	return n, err
}

// readSized reads everything; size is how much it is said to be, or below 0.
// Memory for more than a little of it is taken only as it arrives.
func readSized(from io.Reader, size int64) ([]byte, error) {
	var b bytes.Buffer
	b.Grow(int(min(max(size, 0), 64<<10)) + bytes.MinRead)
	_, err := b.ReadFrom(from)
	return b.Bytes(), err
}

func bodyError(err error, limit int64) error {
	if refused, ok := errors.AsType[*domain.Error](err); ok {
		return refused
	}
	if _, tooLarge := errors.AsType[*http.MaxBytesError](err); tooLarge {
		return errTooLarge(limit)
	}
	if errors.Is(err, gzip.ErrHeader) || errors.Is(err, gzip.ErrChecksum) {
		return domain.Errorf(domain.Invalid, "invalid_request", "the body is not what gzip makes")
	}
	return domain.Errorf(domain.Invalid, "invalid_request", "the body could not be read to its end")
}

func errTooLarge(limit int64) error {
	return domain.Errorf(domain.TooLarge, "body_too_large", "the body may have up to %d KiB, uncompressed; send less at a time", limit>>10)
}
