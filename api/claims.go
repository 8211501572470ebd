package api

import (
	"context"
	"encoding/json"
	"net/http"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireClaim struct {
	ID       domain.ClaimID    `json:"id"`
	Order    domain.OrderID    `json:"order_id"`
	Delivery domain.DeliveryID `json:"delivery_id"`
	Site     domain.SiteID     `json:"site_id"`
	Party    domain.PartyID    `json:"party_id"`
	Kind     string            `json:"kind"`
	Quantity domain.Pieces     `json:"quantity"`
	Amount   string            `json:"amount"`
	Why      string            `json:"why"`
	Reversed bool              `json:"reversed"`
	Credit   *wireCredit       `json:"credit,omitempty"`
	Declined *string           `json:"declined,omitempty"`
}

type wireCredit struct {
	Number     string      `json:"number"`
	Amount     string      `json:"amount"`
	CreditedOn domain.Date `json:"credited_on"`
}

func newClaim(c *postgres.ClaimRow, currency domain.Currency) wireClaim {
	w := wireClaim{ID: c.ID, Order: c.OrderID, Delivery: c.DeliveryID, Site: c.SiteID, Party: c.PartyID, Kind: c.Kind, Quantity: c.Quantity,
		Amount: currency.Format(c.Amount), Why: c.Why, Reversed: c.Reversed, Declined: c.Declined}
	if c.Number != nil {
		w.Credit = &wireCredit{*c.Number, currency.Format(*c.Credited), *c.CreditedOn}
	}
	return w
}

// ListClaims lists what was not as it was ordered in a round.
func (s *Server) ListClaims(c *gin.Context, id openapi.RoundPath, q openapi.ListClaimsParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, after, err := pageAfter[domain.DropClaim](c, q.After, q.Limit)
		if err != nil {
			return reply{}, err
		}
		found, more, err := tx.Claims(ctx, domain.RoundID(id), after, p.limit)
		if err != nil {
			return reply{}, err
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireClaim, len(found))
		for i := range found {
			items[i] = newClaim(&found[i], currency)
		}
		return listReply(c, p, items, more, func(w wireClaim) []string { return []string{w.ID.String()} })
	})
}

// AnswerClaim records what the supplier says to a claim.
func (s *Server) AnswerClaim(c *gin.Context, id openapi.ClaimPath, p openapi.AnswerClaimParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		answer, err := decodeCredit(bodyOf(c), currency)
		if err != nil {
			return reply{}, err
		}
		credit, err := uuid.NewV7()
		if err != nil {
			return reply{}, err
		}
		answered, err := tx.AnswerClaim(ctx, domain.ClaimID(id), credit, answer)
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusCreated, newClaim(&answered, currency))
	})
}

func decodeCredit(raw []byte, currency domain.Currency) (postgres.ClaimAnswer, error) {
	var body struct {
		Number     *string      `json:"number"`
		Amount     *string      `json:"amount"`
		CreditedOn *domain.Date `json:"credited_on"`
		Declined   *string      `json:"declined"`
	}
	if err := json.Unmarshal(raw, &body); err != nil {
		return postgres.ClaimAnswer{}, err
	}
	a := postgres.ClaimAnswer{Number: body.Number, CreditedOn: body.CreditedOn, Declined: body.Declined}
	r := &reading{currency: currency}
	if body.Amount != nil {
		m := r.money(*body.Amount, "/amount")
		a.Credited = &m
	}
	if err := r.refusal(); err != nil {
		return a, err
	}
	whole := body.Number != nil && body.Amount != nil && body.CreditedOn != nil
	none := body.Number == nil && body.Amount == nil && body.CreditedOn == nil
	if !(whole && body.Declined == nil || none && body.Declined != nil) {
		return a, &domain.Error{Kind: domain.Invalid, Code: "invalid_request", Detail: "give number, amount and credited_on of a credit note, or declined: one of the two",
			Fields: []domain.FieldError{{Pointer: "/declined", Detail: "stands in place of a credit note"}}}
	}
	return a, nil
}
