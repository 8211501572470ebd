package api

import (
	"context"
	"encoding/json"
	"net/http"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireAllotting struct {
	Order     domain.OrderID     `json:"order_id"`
	Ordered   domain.Pieces      `json:"ordered"`
	Available domain.Pieces      `json:"available"`
	Pack      domain.Pieces      `json:"pack"`
	Lines     []wireAllottedLine `json:"lines"`
	Rules     []wireRule         `json:"rules"`
}

type wireAllottedLine struct {
	Request      domain.RequestID `json:"request_id"`
	Site         domain.SiteID    `json:"site_id"`
	Ordered      domain.Pieces    `json:"ordered"`
	Least        domain.Pieces    `json:"least"`
	Proportional domain.Pieces    `json:"proportional"`
	MaxMin       domain.Pieces    `json:"max_min"`
	Allotted     *domain.Pieces   `json:"allotted,omitempty"`
	Rule         *string          `json:"rule,omitempty"`
}

type wireRule struct {
	Rule  string        `json:"rule"`
	Left  domain.Pieces `json:"left"`
	Keeps []string      `json:"keeps"`
}

func newAllotting(id domain.OrderID, a *postgres.Allotting) wireAllotting {
	w := wireAllotting{Order: id, Ordered: a.Ordered, Available: a.Available, Pack: a.Pack, Lines: make([]wireAllottedLine, len(a.Lines)), Rules: make([]wireRule, len(a.Rules))}
	for i := range a.Lines {
		l := &a.Lines[i]
		w.Lines[i] = wireAllottedLine{Request: l.RequestID, Site: l.SiteID, Ordered: l.Quantity, Least: l.Wants().Least, Allotted: l.Allotted, Rule: l.Rule}
	}
	for k, r := range a.Rules {
		w.Rules[k] = wireRule{r.Rule, r.Left, r.Keeps}
		for i, n := range r.Gets {
			if r.Rule == domain.AllotProportional {
				w.Lines[i].Proportional = n
			} else {
				w.Lines[i].MaxMin = n
			}
		}
	}
	return w
}

// CompareAllotments shows who would get what of a short delivery.
func (s *Server) CompareAllotments(c *gin.Context, id openapi.OrderPath, q openapi.CompareAllotmentsParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		a, err := tx.Allotment(ctx, domain.OrderID(id), domain.Pieces(q.Available))
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusOK, newAllotting(domain.OrderID(id), a))
	})
}

// FixAllotment shares out a short delivery.
func (s *Server) FixAllotment(c *gin.Context, id openapi.OrderPath, p openapi.FixAllotmentParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var body struct {
			Available *json.Number `json:"available"`
			Rule      string       `json:"rule"`
		}
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		r := &reading{}
		available := r.pieces(body.Available, "/available")
		if err := r.refusal(); err != nil {
			return reply{}, err
		}
		a, err := tx.Allot(ctx, domain.OrderID(id), *available, body.Rule)
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusCreated, newAllotting(domain.OrderID(id), a))
	})
}
