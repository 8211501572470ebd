package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireBatch struct {
	ID       domain.BatchID `json:"id"`
	Site     domain.SiteID  `json:"site_id"`
	Unit     domain.UnitID  `json:"unit_id"` // in answers, where it is now
	Species  string         `json:"species"`
	Name     string         `json:"name"`
	Tags     []string       `json:"tags"`
	Season   *string        `json:"season,omitempty"`
	Plan     *wirePlan      `json:"plan,omitempty"`
	State    string         `json:"state,omitempty"` // left out where the journal is not asked
	Archived bool           `json:"archived"`
}

type wirePlan struct {
	TargetWeightG *json.Number `json:"target_weight_g"`
	TargetOn      *domain.Date `json:"target_on"`
}

var batches = noun[domain.Batch, wireBatch]{
	store: &postgres.Batches,
	key:   func(f *domain.Batch) (domain.BatchID, int64) { return f.ID, f.Version },
	begin: func(w *wireBatch, id domain.BatchID) domain.Batch {
		return domain.Batch{ID: id, Site: w.Site, Unit: w.Unit, Species: w.Species}
	},
	read: func(r *reading, w *wireBatch, f *domain.Batch) {
		f.Name, f.Tags, f.Season, f.Plan, f.Archived = w.Name, w.Tags, w.Season, domain.Plan{}, w.Archived
		if w.Plan != nil {
			f.TargetWeight = (*domain.Milligrams)(r.decimal(w.Plan.TargetWeightG, "/plan/target_weight_g"))
			f.TargetOn = w.Plan.TargetOn
		}
	},
	write: func(f *domain.Batch, _ domain.Currency) wireBatch {
		w := wireBatch{ID: f.ID, Site: f.Site, Unit: f.Unit, Species: f.Species, Name: f.Name, Tags: f.Tags, Season: f.Season, Archived: f.Archived}
		if f.TargetOn != nil {
			w.Plan = &wirePlan{decimal(f.TargetWeight), f.TargetOn}
		}
		return w
	},
	now: whereabouts,
	// What the journal says of a batch changes without a new version of it.
	tag: func(w *wireBatch, version int64) string {
		return fmt.Sprintf(`"%d-%s-%s"`, version, w.State, w.Unit)
	},
}

// whereabouts adds where the batches are now, and whether fish are left.
func whereabouts(ctx context.Context, tx *postgres.Tx, shown []wireBatch) error {
	ids := make([]domain.BatchID, len(shown))
	for i, w := range shown {
		ids[i] = w.ID
	}
	now, err := tx.Whereabouts(ctx, ids)
	for i := range shown {
		shown[i].State = "growing"
		w, ok := now[shown[i].ID]
		if !ok {
			continue
		}
		shown[i].Unit = w.Unit
		if w.Closed {
			shown[i].State = "closed"
		}
	}
	return err
}

// ListBatches lists batches.
func (s *Server) ListBatches(c *gin.Context, q openapi.ListBatchesParams) {
	batches.list(s, c, asked{q.After, q.Limit, q.Archived, q.SiteID})
}

// CreateBatch adds a batch under the id that its sender made.
func (s *Server) CreateBatch(c *gin.Context, _ openapi.CreateBatchParams) {
	s.update(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var body struct {
			ID domain.BatchID `json:"id"`
		}
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		facts, err := batches.decode(ctx, tx, bodyOf(c), body.ID)
		if err != nil {
			return reply{}, err
		}
		made, created, err := postgres.CreateBatch(ctx, tx, facts)
		if err != nil {
			return reply{}, err
		}
		if !created {
			return batches.answer(ctx, tx, http.StatusOK, made)
		}
		return batches.created(ctx, tx, c, made)
	})
}

// GetBatch shows a batch.
func (s *Server) GetBatch(c *gin.Context, id openapi.BatchPath) {
	batches.get(s, c, domain.BatchID(id))
}

// ReviseBatch changes a batch.
func (s *Server) ReviseBatch(c *gin.Context, id openapi.BatchPath, _ openapi.ReviseBatchParams) {
	batches.revise(s, c, domain.BatchID(id))
}
