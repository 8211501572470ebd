package api

import (
	"context"
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

// ListSeals shows the seals of the co-operative.
func (s *Server) ListSeals(c *gin.Context, params openapi.ListSealsParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, err := pageOf(c, params.After, params.Limit, 1)
		if err != nil {
			return reply{}, err
		}
		after := int64(0)
		if p.after != nil {
			if after, err = strconv.ParseInt(p.after[0], 10, 64); err != nil {
				return reply{}, errCursor
			}
		}
		items, more, err := tx.Seals(ctx, after, p.limit)
		if err != nil {
			return reply{}, err
		}
		return listReply(c, p, items, more, func(s domain.Seal) []string { return []string{strconv.FormatInt(s.Number, 10)} })
	})
}

// GetSeal shows a seal.
func (s *Server) GetSeal(c *gin.Context, number int64) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		seal, err := tx.SealByNumber(ctx, number)
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusOK, seal)
	})
}
