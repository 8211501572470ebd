package api

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/json"
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"

	"shoalbook/postgres"
)

// Server answers the operations of the contract, one short method each. A handler
// never begins, commits or maps an error: it says what it wants done inside a
// transaction and returns what is to be answered.
type Server struct {
	service
	store *postgres.Store
}

// reply is what a request gets when all went well. It is made inside the
// transaction of the work and sent after it was kept.
type reply struct {
	status int
	media  string // JSON if left out
	header map[string]string
	body   []byte
}

// jsonReply renders a value of the contract's types.
func jsonReply(status int, v any) (reply, error) {
	body, err := json.Marshal(v)
	return reply{status: status, body: body}, err
}

// with adds a header.
func (a reply) with(name, value string) reply {
	if a.header == nil {
		a.header = map[string]string{}
	}
	a.header[name] = value
	return a
}

func (a reply) send(c *gin.Context) {
	for name, value := range a.header {
		c.Header(name, value)
	}
	if tag := a.header["ETag"]; tag != "" && a.status == http.StatusOK && c.Request.Method == http.MethodGet && notModified(c.Request.Header, tag) {
		c.Status(http.StatusNotModified)
		return
	}
	if a.status == http.StatusNoContent {
		c.Status(a.status)
		return
	}
	c.Data(a.status, cmp.Or(a.media, asJSON), a.body)
}

// work is what a handler does inside a transaction.
type work func(ctx context.Context, tx *postgres.Tx) (reply, error)

// view answers a request that changes nothing.
func (s *Server) view(c *gin.Context, do work) {
	var a reply
	err := s.store.View(c.Request.Context(), credentialOf(c), func(tx *postgres.Tx) (err error) {
		a, err = do(c.Request.Context(), tx)
		return err
	})
	finish(c, a, err)
}

// update answers a request that changes something and may be sent twice without
// harm, as its body has an id of its own or names the version it changes.
func (s *Server) update(c *gin.Context, do work) {
	var a reply
	err := s.store.Update(c.Request.Context(), credentialOf(c), func(tx *postgres.Tx) (err error) {
		a, err = do(c.Request.Context(), tx)
		return err
	})
	finish(c, a, err)
}

// settle answers a request by what is settled, see [postgres.Store.Settle].
func (s *Server) settle(c *gin.Context, do work) {
	var a reply
	err := s.store.Settle(c.Request.Context(), credentialOf(c), func(tx *postgres.Tx) (err error) {
		a, err = do(c.Request.Context(), tx)
		return err
	})
	finish(c, a, err)
}

// once answers a request under its Idempotency-Key: the work and its answer are
// kept together, and the same request again gets the same answer again.
func (s *Server) once(c *gin.Context, key string, do work) { s.onceKept(c, key, inClear, do) }

// onceKept is once for an answer that is not to be kept in clear.
func (s *Server) onceKept(c *gin.Context, key string, kept keeping, do work) {
	s.update(c, claiming(c, key, kept, do))
}

// claiming is work under an Idempotency-Key.
func claiming(c *gin.Context, key string, kept keeping, do work) work {
	fingerprint := sha256.Sum256(append([]byte(c.Request.Method+"\n"), bodyOf(c)...))
	return func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		stored, err := tx.ClaimKey(ctx, key, c.Request.URL.Path, fingerprint)
		if err != nil {
			return reply{}, err
		}
		if stored != nil {
			body, err := kept.open(stored.Body)
			return reply{status: stored.Status, header: stored.Header, body: body}.with("Replayed", "true"), err
		}
		a, err := do(ctx, tx)
		if err != nil {
			return reply{}, err
		}
		body, err := kept.seal(a.body)
		if err != nil {
			return reply{}, err
		}
		return a, tx.StoreAnswer(key, postgres.Answer{Status: a.status, Header: a.header, Body: body})
	}
}

func finish(c *gin.Context, a reply, err error) {
	if err != nil {
		writeProblem(c, err)
		return
	}
	a.send(c)
}

// credentialOf returns whose request it is, and who may make it.
func credentialOf(c *gin.Context) postgres.Credential {
	r := requestOf(c)
	cred := postgres.Credential{Coop: r.credential.Coop, TokenHash: r.credential.TokenHash, Roles: r.operation.roles}
	if c.Request.Method != http.MethodGet { // only where something is written is it in the contract, and was judged
		cred.Device = c.GetHeader("X-Device")
	}
	return cred
}

// page is a list as it is asked for: after which keys, and how many.
type page struct {
	list  string
	after []string // nil: from the start
	limit int
}

// pageOf reads where a page of a list begins. Keys says how many keys it is ordered by.
func pageOf(c *gin.Context, after *string, limit *int, keys int) (page, error) {
	p := page{list: listOf(c.FullPath(), c.Request.URL.Query()), limit: 100}
	if limit != nil {
		p.limit = *limit
	}
	if after == nil {
		return p, nil
	}
	var err error
	p.after, err = decodeCursor(*after, p.list, keys)
	return p, err
}

// listReply renders a page of items. The keys of the last item make the cursor of
// the next page, which stands in the body and, the same, in a Link header.
func listReply[T any](c *gin.Context, p page, items []T, more bool, keys func(T) []string) (reply, error) {
	return cautionedReply(c, p, items, nil, more, keys)
}

// cautionedReply is listReply with what must be minded with all of the items.
func cautionedReply[T any](c *gin.Context, p page, items []T, cautions []string, more bool, keys func(T) []string) (reply, error) {
	body := struct {
		Items    []T      `json:"items"`
		Next     string   `json:"next,omitempty"`
		Cautions []string `json:"cautions,omitempty"`
	}{Items: items, Cautions: cautions}
	if items == nil {
		body.Items = []T{}
	}
	if more {
		body.Next = encodeCursor(p.list, keys(items[len(items)-1])...)
	}
	a, err := jsonReply(http.StatusOK, body)
	if more {
		query := c.Request.URL.Query()
		query.Set("after", body.Next)
		query.Set("limit", strconv.Itoa(p.limit))
		a = a.with("Link", "<"+c.Request.URL.Path+"?"+query.Encode()+`>; rel="next"`)
	}
	return a, err
}
