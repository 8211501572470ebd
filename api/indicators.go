package api

import (
	"context"
	"net/http"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireIndicator struct {
	ID       domain.IndicatorID `json:"id"`
	Code     string             `json:"code"`
	Version  int64              `json:"version"`
	Archived bool               `json:"archived"`
	wireDefinition
}

// wireDefinition is what of an indicator can be changed.
type wireDefinition struct {
	Title          string   `json:"title"`
	Definition     string   `json:"definition"`
	Unit           string   `json:"unit"`
	Formula        string   `json:"formula"`
	Measure        string   `json:"measure"`
	Direction      string   `json:"direction"`
	Result         string   `json:"result"`
	Disaggregation []string `json:"disaggregation"`
	Source         string   `json:"source"`
	Limits         string   `json:"limits"`
}

func definitionOf(f *domain.Indicator) wireDefinition {
	return wireDefinition{f.Title, f.Definition, f.Unit, f.Formula, f.Measure, f.Direction, f.Result, append([]string{}, f.Disaggregation...), f.Source, f.Limits}
}

var indicators = noun[domain.Indicator, wireIndicator]{
	store: &postgres.Indicators,
	key:   func(f *domain.Indicator) (domain.IndicatorID, int64) { return f.ID, f.Version },
	begin: func(w *wireIndicator, id domain.IndicatorID) domain.Indicator {
		return domain.Indicator{ID: id, Code: w.Code}
	},
	read: func(_ *reading, w *wireIndicator, f *domain.Indicator) {
		f.Title, f.Definition, f.Unit, f.Formula, f.Measure, f.Direction = w.Title, w.Definition, w.Unit, w.Formula, w.Measure, w.Direction
		f.Result, f.Disaggregation, f.Source, f.Limits, f.Archived = w.Result, w.Disaggregation, w.Source, w.Limits, w.Archived
	},
	write: func(f *domain.Indicator, _ domain.Currency) wireIndicator {
		return wireIndicator{f.ID, f.Code, f.Version, f.Archived, definitionOf(f)}
	},
}

// ListIndicators lists what the co-operative measures besides the catalogue.
func (s *Server) ListIndicators(c *gin.Context, q openapi.ListIndicatorsParams) {
	indicators.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreateIndicator defines an indicator.
func (s *Server) CreateIndicator(c *gin.Context, p openapi.CreateIndicatorParams) {
	indicators.create(s, c, p.IdempotencyKey)
}

// GetIndicator shows an indicator.
func (s *Server) GetIndicator(c *gin.Context, id openapi.IndicatorPath) {
	indicators.get(s, c, domain.IndicatorID(id))
}

// ReviseIndicator makes a new version of an indicator.
func (s *Server) ReviseIndicator(c *gin.Context, id openapi.IndicatorPath, _ openapi.ReviseIndicatorParams) {
	indicators.revise(s, c, domain.IndicatorID(id))
}

type wireCatalogue struct {
	Items   []wireCatalogueIndicator `json:"items"`
	Sums    []wireSum                `json:"sums"`
	Factors []domain.ReportFactor    `json:"factors"`
}

type wireCatalogueIndicator struct {
	Code    string `json:"code"`
	Version int64  `json:"version"`
	wireDefinition
}

type wireSum struct {
	Name  string   `json:"name"`
	Title string   `json:"title"`
	Unit  string   `json:"unit"`
	Kinds []string `json:"kinds"`
}

// GetIndicatorCatalogue shows the indicators that come with the service, and what formulas
// are made of.
func (s *Server) GetIndicatorCatalogue(c *gin.Context) {
	s.view(c, func(context.Context, *postgres.Tx) (reply, error) {
		var w wireCatalogue
		for _, i := range domain.Catalogue() {
			w.Items = append(w.Items, wireCatalogueIndicator{i.Code, i.Version, definitionOf(&i)})
		}
		for _, sum := range domain.Sums() {
			w.Sums = append(w.Sums, wireSum{sum.Name, sum.Title, sum.Unit, append([]string{}, sum.Kinds...)})
		}
		for _, form := range []string{"fillet", "dressed"} {
			for _, f := range domain.PublishedFactors(form) {
				w.Factors = append(w.Factors, domain.ReportFactor{Species: f.Species, Form: f.Form, Yield: f.Yield.Format(), Protein: f.Protein.Format(), Source: f.Source})
			}
		}
		return jsonReply(http.StatusOK, w)
	})
}
