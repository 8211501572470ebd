package api

import (
	"cmp"
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

// A noun is one kind of thing in the registry, as the handlers need to know it: T is
// its facts, W the same on the wire.
type noun[T, W any] struct {
	store *postgres.Noun[T, domain.ID[T]]
	key   func(*T) (id domain.ID[T], version int64)      //
	begin func(*W, domain.ID[T]) T                       // makes a new thing, with what no change can reach
	read  func(*reading, *W, *T)                         // takes over all that can be changed
	write func(*T, domain.Currency) W                    //
	dated func(*W) any                                   // the part that has revisions, if there is one
	now   func(context.Context, *postgres.Tx, []W) error // adds what only the journal says, if there is such
	tag   func(w *W, version int64) (entityTag string)   // nil: of the version alone
	home  func(*T) *domain.SiteID                        // of what is listed under its site, and has no site in its body
	round bool                                           // it is listed under its round
	at    string                                         // where one is, if not under its list
}

// asked is what a list can be asked for.
type asked struct {
	after    *string
	limit    *int
	archived *bool
	site     *openapi.SiteID
}

func (n *noun[T, W]) list(s *Server, c *gin.Context, q asked) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, after, err := pageAfter[T](c, q.after, q.limit)
		if err != nil {
			return reply{}, err
		}
		site := optionalID[domain.SiteFacts](q.site)
		if n.home != nil {
			here, err := siteOf(ctx, tx, c)
			if err != nil {
				return reply{}, err
			}
			site = &here
		}
		var round *domain.RoundID
		if n.round {
			r, err := roundOf(ctx, tx, c)
			if err != nil {
				return reply{}, err
			}
			round = &r.ID
		}
		found, more, err := n.store.List(ctx, tx, postgres.Filter[domain.ID[T]]{After: after, Limit: p.limit, Archived: q.archived, Site: site, Round: round})
		if err != nil {
			return reply{}, err
		}
		items, err := n.show(ctx, tx, found...)
		if err != nil {
			return reply{}, err
		}
		return listReply(c, p, items, more, func(W) []string { return []string{n.id(&found[len(found)-1]).String()} })
	})
}

func (n *noun[T, W]) get(s *Server, c *gin.Context, id domain.ID[T]) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		found, err := n.store.Get(ctx, tx, id)
		if err = cmp.Or(err, n.isHere(c, &found)); err != nil {
			return reply{}, err
		}
		return n.answer(ctx, tx, http.StatusOK, found)
	})
}

// create adds a thing under an id that is made here.
func (n *noun[T, W]) create(s *Server, c *gin.Context, key string) {
	s.once(c, key, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		id, err := uuid.NewV7()
		if err != nil {
			return reply{}, err
		}
		facts, err := n.decode(ctx, tx, bodyOf(c), domain.ID[T](id))
		if err == nil && n.home != nil {
			*n.home(&facts), err = siteOf(ctx, tx, c)
		}
		if err != nil {
			return reply{}, err
		}
		made, err := n.store.Create(ctx, tx, facts)
		if err != nil {
			return reply{}, err
		}
		return n.created(ctx, tx, c, made)
	})
}

// siteOf returns the site in the path, which must be there.
func siteOf(ctx context.Context, tx *postgres.Tx, c *gin.Context) (domain.SiteID, error) {
	id, err := domain.ParseID[domain.SiteFacts](c.Param("id"))
	if err != nil {
		return id, domain.Missing("site")
	}
	_, err = postgres.Sites.Get(ctx, tx, id)
	return id, err
}

// isHere refuses a thing that is at another site than the one in the path.
func (n *noun[T, W]) isHere(c *gin.Context, thing *T) error {
	if n.home == nil {
		return nil
	}
	if id, err := domain.ParseID[domain.SiteFacts](c.Param("id")); err != nil || id != *n.home(thing) {
		return n.store.Missing()
	}
	return nil
}

// revise changes what a merge patch names, from the day it names on.
func (n *noun[T, W]) revise(s *Server, c *gin.Context, id domain.ID[T]) {
	s.update(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		version, err := n.match(ctx, tx, c, id)
		if err != nil {
			return reply{}, err
		}
		var body struct {
			ValidFrom *domain.Date `json:"valid_from"`
		}
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		change := func(f *T) error { return n.patch(f, bodyOf(c), currency) }
		changed, err := n.store.Revise(ctx, tx, id, version, body.ValidFrom, change)
		if err != nil {
			return reply{}, err
		}
		return n.answer(ctx, tx, http.StatusOK, changed)
	})
}

// match returns the version of a thing that may be changed, since it is the one the
// client has read. Nobody else changes it meanwhile.
func (n *noun[T, W]) match(ctx context.Context, tx *postgres.Tx, c *gin.Context, id domain.ID[T]) (int64, error) {
	condition, err := parseIfMatch(c.Request.Header)
	if err != nil {
		return 0, err
	}
	held, err := n.store.Hold(ctx, tx, id)
	if err = cmp.Or(err, n.isHere(c, &held)); err != nil {
		return 0, err
	}
	shown, err := n.show(ctx, tx, held)
	if err != nil {
		return 0, err
	}
	_, version := n.key(&held)
	return version, condition.check(n.entityTag(&shown[0], version))
}

// patch merges a patch into the facts.
func (n *noun[T, W]) patch(f *T, patch json.RawMessage, currency domain.Currency) error {
	was, err := json.Marshal(n.write(f, currency))
	if err != nil {
		return err
	}
	is, err := mergePatch(was, patch)
	if err != nil {
		return err
	}
	var w W
	if err := json.Unmarshal(is, &w); err != nil {
		return err
	}
	r := &reading{currency: currency}
	n.read(r, &w, f)
	return r.refusal()
}

// wireRevision is what was recorded of the dated facts of a thing.
type wireRevision struct {
	ValidFrom  *domain.Date `json:"valid_from,omitempty"`
	RecordedAt time.Time    `json:"recorded_at"`
	RecordedBy string       `json:"recorded_by"`
	Facts      any          `json:"facts"`
	version    int64
}

func (n *noun[T, W]) revisions(s *Server, c *gin.Context, id domain.ID[T], after *string, limit *int) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, err := pageOf(c, after, limit, 1)
		if err != nil {
			return reply{}, err
		}
		if _, err := n.store.Get(ctx, tx, id); err != nil {
			return reply{}, err
		}
		items, err := n.history(ctx, tx, id)
		if err != nil {
			return reply{}, err
		}
		key := func(r wireRevision) []string { return []string{strconv.FormatInt(r.version, 10)} }
		if p.after != nil {
			at := slices.IndexFunc(items, func(r wireRevision) bool { return slices.Equal(key(r), p.after) })
			if at < 0 {
				return reply{}, errCursor
			}
			items = items[at+1:]
		}
		return listReply(c, p, items[:min(p.limit, len(items))], len(items) > p.limit, key)
	})
}

// history returns all revisions of a thing, in the order of the days they hold from.
func (n *noun[T, W]) history(ctx context.Context, tx *postgres.Tx, id domain.ID[T]) ([]wireRevision, error) {
	currency, err := tx.Currency(ctx)
	if err != nil {
		return nil, err
	}
	found, err := n.store.Revisions(ctx, tx, postgres.History[domain.ID[T]]{IDs: []domain.ID[T]{id}})
	items := make([]wireRevision, len(found))
	for i, r := range found {
		w := n.write(&r.Facts, currency)
		_, version := n.key(&r.Facts)
		items[i] = wireRevision{ValidFrom: r.ValidFrom, RecordedAt: r.RecordedAt.UTC(), RecordedBy: r.RecordedBy, Facts: n.dated(&w), version: version}
	}
	return items, err
}

// decode reads a new thing as its sender wrote it.
func (n *noun[T, W]) decode(ctx context.Context, tx *postgres.Tx, body []byte, id domain.ID[T]) (facts T, err error) {
	var w W
	if err := json.Unmarshal(body, &w); err != nil {
		return facts, err
	}
	currency, err := tx.Currency(ctx)
	if err != nil {
		return facts, err
	}
	facts = n.begin(&w, id)
	r := &reading{currency: currency}
	n.read(r, &w, &facts)
	return facts, r.refusal()
}

// show returns things as they are on the wire.
func (n *noun[T, W]) show(ctx context.Context, tx *postgres.Tx, things ...T) ([]W, error) {
	currency, err := tx.Currency(ctx)
	if err != nil {
		return nil, err
	}
	shown := make([]W, len(things))
	for i := range things {
		shown[i] = n.write(&things[i], currency)
	}
	if n.now != nil {
		err = n.now(ctx, tx, shown)
	}
	return shown, err
}

// created renders a new thing with its address, which is mostly under that of its list.
func (n *noun[T, W]) created(ctx context.Context, tx *postgres.Tx, c *gin.Context, thing T) (reply, error) {
	a, err := n.answer(ctx, tx, http.StatusCreated, thing)
	return a.with("Location", cmp.Or(n.at, c.Request.URL.Path)+"/"+n.id(&thing).String()), err
}

// answer renders one thing.
func (n *noun[T, W]) answer(ctx context.Context, tx *postgres.Tx, status int, thing T) (reply, error) {
	shown, err := n.show(ctx, tx, thing)
	if err != nil {
		return reply{}, err
	}
	a, err := jsonReply(status, shown[0])
	_, version := n.key(&thing)
	return a.with("ETag", n.entityTag(&shown[0], version)), err
}

func (n *noun[T, W]) entityTag(w *W, version int64) string {
	if n.tag == nil {
		return versionTag(version)
	}
	return n.tag(w, version)
}

func (n *noun[T, W]) id(thing *T) domain.ID[T] {
	id, _ := n.key(thing)
	return id
}
