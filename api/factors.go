package api

import (
	"encoding/json"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireFactor struct {
	ID       domain.FactorID `json:"id"`
	Species  string          `json:"species"`
	Form     string          `json:"form"`
	Yield    *json.Number    `json:"yield_percent"`
	Protein  *json.Number    `json:"protein_g_100g"`
	Source   string          `json:"source"`
	Archived bool            `json:"archived"`
}

var factors = noun[domain.OwnFactor, wireFactor]{
	store: &postgres.Factors,
	key:   func(f *domain.OwnFactor) (domain.FactorID, int64) { return f.ID, f.Version },
	begin: func(w *wireFactor, id domain.FactorID) domain.OwnFactor {
		return domain.OwnFactor{ID: id, Species: w.Species, Form: w.Form}
	},
	read: func(r *reading, w *wireFactor, f *domain.OwnFactor) {
		f.Yield, f.Protein = *r.decimal(w.Yield, "/yield_percent"), *r.decimal(w.Protein, "/protein_g_100g")
		f.Source, f.Archived = w.Source, w.Archived
	},
	write: func(f *domain.OwnFactor, _ domain.Currency) wireFactor {
		return wireFactor{f.ID, f.Species, f.Form, decimal(&f.Yield), decimal(&f.Protein), f.Source, f.Archived}
	},
}

// ListFactors lists what the co-operative takes to be eaten of its fish.
func (s *Server) ListFactors(c *gin.Context, q openapi.ListFactorsParams) {
	factors.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreateFactor sets a factor in place of the published one.
func (s *Server) CreateFactor(c *gin.Context, p openapi.CreateFactorParams) {
	factors.create(s, c, p.IdempotencyKey)
}

// GetFactor shows a factor of the co-operative.
func (s *Server) GetFactor(c *gin.Context, id openapi.FactorPath) {
	factors.get(s, c, domain.FactorID(id))
}

// ReviseFactor makes a new version of a factor, from a day on.
func (s *Server) ReviseFactor(c *gin.Context, id openapi.FactorPath, _ openapi.ReviseFactorParams) {
	factors.revise(s, c, domain.FactorID(id))
}
