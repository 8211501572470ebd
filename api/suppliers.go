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

type wireSupplierFigure struct {
	Name   string       `json:"name"`
	Unit   string       `json:"unit"`
	Lots   int          `json:"lots"`
	Fish   int64        `json:"fish"`
	Value  *json.Number `json:"value"`
	From   *json.Number `json:"from"`
	To     *json.Number `json:"to"`
	Shrunk *json.Number `json:"shrunk"`
	Reason string       `json:"reason,omitempty"`
	Source string       `json:"source,omitempty"`
}

func newSupplierFigure(f domain.SupplierFigure) wireSupplierFigure {
	w := wireSupplierFigure{Name: f.Name, Unit: f.Unit, Lots: f.Lots, Fish: f.Fish, From: sixth(f.From), To: sixth(f.To), Shrunk: sixth(f.Shrunk), Reason: f.Reason, Source: f.Source}
	if f.Reason == "" {
		w.Value = sixth(&f.Value)
	}
	return w
}

// GetSupplierRecord shows how fish of a supplier came and did.
func (s *Server) GetSupplierRecord(c *gin.Context, id openapi.PartyPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		party, err := postgres.Parties.Get(ctx, tx, domain.PartyID(id))
		if err != nil {
			return reply{}, err
		}
		records, err := tx.SupplierRecords(ctx)
		if err != nil {
			return reply{}, err
		}
		figures := make([]wireSupplierFigure, len(records[party.ID]))
		for i, f := range records[party.ID] {
			figures[i] = newSupplierFigure(f)
		}
		return jsonReply(http.StatusOK, struct {
			Party   domain.PartyID       `json:"party_id"`
			Figures []wireSupplierFigure `json:"figures"`
		}{party.ID, figures})
	})
}
