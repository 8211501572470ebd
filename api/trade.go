package api

import (
	"encoding/json"
	"strconv"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireParty struct {
	ID       domain.PartyID `json:"id"`
	Name     string         `json:"name"`
	Roles    []string       `json:"roles"`
	Phone    *string        `json:"phone,omitempty"`
	Archived bool           `json:"archived"`
}

var parties = noun[domain.Party, wireParty]{
	store: &postgres.Parties,
	key:   func(f *domain.Party) (domain.PartyID, int64) { return f.ID, f.Version },
	begin: func(_ *wireParty, id domain.PartyID) domain.Party { return domain.Party{ID: id} },
	read: func(_ *reading, w *wireParty, f *domain.Party) {
		f.Name, f.Roles, f.Phone, f.Archived = w.Name, w.Roles, w.Phone, w.Archived
	},
	write: func(f *domain.Party, _ domain.Currency) wireParty {
		return wireParty{ID: f.ID, Name: f.Name, Roles: f.Roles, Phone: f.Phone, Archived: f.Archived}
	},
}

// ListParties lists parties.
func (s *Server) ListParties(c *gin.Context, q openapi.ListPartiesParams) {
	parties.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreateParty adds a party.
func (s *Server) CreateParty(c *gin.Context, p openapi.CreatePartyParams) {
	parties.create(s, c, p.IdempotencyKey)
}

// GetParty shows a party.
func (s *Server) GetParty(c *gin.Context, id openapi.PartyPath) {
	parties.get(s, c, domain.PartyID(id))
}

// ReviseParty changes a party.
func (s *Server) ReviseParty(c *gin.Context, id openapi.PartyPath, _ openapi.RevisePartyParams) {
	parties.revise(s, c, domain.PartyID(id))
}

type wireProduct struct {
	ID       domain.ProductID `json:"id"`
	Name     string           `json:"name"`
	Category string           `json:"category"`
	Unit     string           `json:"unit"`
	Stored   *bool            `json:"stored"`
	LeadDays *json.Number     `json:"lead_days,omitempty"`
	wireProductFacts
	Archived bool `json:"archived"`
}

type wireProductFacts struct {
	ProteinPercent  *json.Number `json:"protein_percent,omitempty"`
	MoisturePercent *json.Number `json:"moisture_percent,omitempty"`
}

var products = noun[domain.Product, wireProduct]{
	store: &postgres.Products,
	key:   func(f *domain.Product) (domain.ProductID, int64) { return f.ID, f.Version },
	begin: func(w *wireProduct, id domain.ProductID) domain.Product {
		f := domain.Product{ID: id, Category: w.Category, Unit: w.Unit, Stored: w.Category != "energy" && w.Category != "water"}
		if w.Stored != nil {
			f.Stored = *w.Stored
		}
		return f
	},
	read: func(r *reading, w *wireProduct, f *domain.Product) {
		f.Name, f.Archived = w.Name, w.Archived
		f.LeadDays = nil
		if w.LeadDays != nil {
			f.LeadDays = new(r.whole(*w.LeadDays, "/lead_days"))
		}
		f.ProteinPercent = r.decimal(w.ProteinPercent, "/protein_percent")
		f.MoisturePercent = r.decimal(w.MoisturePercent, "/moisture_percent")
	},
	write: func(f *domain.Product, _ domain.Currency) wireProduct {
		facts := wireProductFacts{decimal(f.ProteinPercent), decimal(f.MoisturePercent)}
		w := wireProduct{ID: f.ID, Name: f.Name, Category: f.Category, Unit: f.Unit, Stored: &f.Stored, wireProductFacts: facts, Archived: f.Archived}
		if f.LeadDays != nil {
			w.LeadDays = new(json.Number(strconv.Itoa(int(*f.LeadDays))))
		}
		return w
	},
	dated: func(w *wireProduct) any { return w.wireProductFacts },
}

// ListProducts lists feed and other inputs.
func (s *Server) ListProducts(c *gin.Context, q openapi.ListProductsParams) {
	products.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreateProduct adds a product.
func (s *Server) CreateProduct(c *gin.Context, p openapi.CreateProductParams) {
	products.create(s, c, p.IdempotencyKey)
}

// GetProduct shows a product.
func (s *Server) GetProduct(c *gin.Context, id openapi.ProductPath) {
	products.get(s, c, domain.ProductID(id))
}

// ReviseProduct changes a product.
func (s *Server) ReviseProduct(c *gin.Context, id openapi.ProductPath, _ openapi.ReviseProductParams) {
	products.revise(s, c, domain.ProductID(id))
}

// ListProductRevisions lists what was recorded of the dated facts of a product.
func (s *Server) ListProductRevisions(c *gin.Context, id openapi.ProductPath, q openapi.ListProductRevisionsParams) {
	products.revisions(s, c, domain.ProductID(id), q.After, q.Limit)
}
