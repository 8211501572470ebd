package api

import (
	"context"
	"encoding/json"
	"strconv"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireRequest struct {
	ID        domain.RequestID      `json:"id"`
	Round     domain.RoundID        `json:"round_id"`
	Site      domain.SiteID         `json:"site_id"`
	Unit      *domain.UnitID        `json:"unit_id,omitempty"`
	Quantity  *json.Number          `json:"quantity"`
	Least     *json.Number          `json:"least"`
	Most      *json.Number          `json:"most"`
	SizeFrom  *json.Number          `json:"size_from_g,omitempty"`
	SizeTo    *json.Number          `json:"size_to_g,omitempty"`
	Earliest  *domain.Date          `json:"earliest"`
	Latest    *domain.Date          `json:"latest"`
	Note      *string               `json:"note,omitempty"`
	Withdrawn bool                  `json:"withdrawn"`
	Questions []wireRequestQuestion `json:"questions,omitzero"` // left out where the books are not asked
}

type wireRequestQuestion struct {
	Code    string      `json:"code"`
	Text    string      `json:"text"`
	Figures []wireNamed `json:"figures"`
}

var requests = noun[domain.Request, wireRequest]{
	store: &postgres.Requests,
	round: true,
	at:    "/v1/requests",
	key:   func(f *domain.Request) (domain.RequestID, int64) { return f.ID, f.Version },
	begin: func(w *wireRequest, id domain.RequestID) domain.Request {
		return domain.Request{ID: id, Site: w.Site, Unit: w.Unit}
	},
	read: func(r *reading, w *wireRequest, f *domain.Request) {
		quantity := r.count(w.Quantity, "/quantity", 0)
		f.Quantity = domain.Pieces(quantity)
		f.Least, f.Most = domain.Pieces(r.count(w.Least, "/least", quantity)), domain.Pieces(r.count(w.Most, "/most", quantity))
		f.SizeFrom = (*domain.Milligrams)(r.decimal(w.SizeFrom, "/size_from_g"))
		f.SizeTo = (*domain.Milligrams)(r.decimal(w.SizeTo, "/size_to_g"))
		f.Earliest, f.Latest, f.Note, f.Withdrawn = valueOr(w.Earliest), valueOr(w.Latest), w.Note, w.Withdrawn
	},
	write: func(f *domain.Request, _ domain.Currency) wireRequest {
		return wireRequest{f.ID, f.Round, f.Site, f.Unit, whole(f.Quantity), whole(f.Least), whole(f.Most), decimal(f.SizeFrom), decimal(f.SizeTo),
			&f.Earliest, &f.Latest, f.Note, f.Withdrawn, nil}
	},
	now: questionsNow,
}

// valueOr returns what there is, or nothing of it.
func valueOr[T any](v *T) (none T) {
	if v == nil {
		return none
	}
	return *v
}

// whole writes a whole number.
func whole[T ~int64](v T) *json.Number {
	n := json.Number(strconv.FormatInt(int64(v), 10))
	return &n
}

// questionsNow adds what somebody should look at about each request, as the books are
// today.
func questionsNow(ctx context.Context, tx *postgres.Tx, shown []wireRequest) error {
	ids := make([]domain.RequestID, len(shown))
	for i, w := range shown {
		ids[i] = w.ID
	}
	asked, err := tx.RequestQuestions(ctx, ids)
	for i := range shown {
		shown[i].Questions = []wireRequestQuestion{}
		for _, q := range asked[shown[i].ID] {
			shown[i].Questions = append(shown[i].Questions, wireRequestQuestion{q.Code, q.Text, named(q.Figures)})
		}
	}
	return err
}

// ListRequests lists what sites ask of a round.
func (s *Server) ListRequests(c *gin.Context, _ openapi.RoundPath, q openapi.ListRequestsParams) {
	requests.list(s, c, asked{q.After, q.Limit, nil, nil})
}

// CreateRequest asks something of a round.
func (s *Server) CreateRequest(c *gin.Context, _ openapi.RoundPath, p openapi.CreateRequestParams) {
	createIn(s, c, &requests, p.IdempotencyKey, (*domain.Request).Complete)
}

// GetRequest shows what a site asks for.
func (s *Server) GetRequest(c *gin.Context, id openapi.RequestPath) {
	requests.get(s, c, domain.RequestID(id))
}

// ReviseRequest changes what a site asks for.
func (s *Server) ReviseRequest(c *gin.Context, id openapi.RequestPath, _ openapi.ReviseRequestParams) {
	requests.revise(s, c, domain.RequestID(id))
}
