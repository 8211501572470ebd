package api

import (
	"context"
	"net/http"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireRation struct {
	Batch       domain.BatchID `json:"batch_id"`
	Unit        domain.UnitID  `json:"unit_id"`
	AsOf        domain.Date    `json:"as_of"`
	Species     string         `json:"species"`
	State       string         `json:"state"`
	Says        string         `json:"says"`
	Today       wireNumber     `json:"today_kg"`
	Stops       []wireStop     `json:"stops"`
	Full        wireNumber     `json:"full_kg"`
	Fish        domain.Fish    `json:"fish"`
	Weight      wireNumber     `json:"mean_weight_g"`
	Biomass     wireNumber     `json:"biomass_kg"`
	Basis       string         `json:"biomass_basis"`
	Low         wireNumber     `json:"table_low_percent"`
	High        wireNumber     `json:"table_high_percent"`
	Taken       wireNumber     `json:"table_percent"`
	Temperature wireNumber     `json:"temperature_c"`
	ByWarmth    wireNumber     `json:"temperature_factor"`
	Oxygen      wireNumber     `json:"oxygen_mg_l"`
	ByOxygen    wireNumber     `json:"oxygen_factor"`
	Meals       wireNumber     `json:"meals"`
	Meal        wireNumber     `json:"meal_kg"`
	PelletFrom  wireNumber     `json:"pellet_from_mm"`
	PelletTo    wireNumber     `json:"pellet_to_mm"`
	ProteinFrom wireNumber     `json:"protein_from_percent"`
	ProteinTo   wireNumber     `json:"protein_to_percent"`
	Feeds       []wireFeedLeft `json:"feeds"`
	FeedKg      wireNumber     `json:"feed_kg"`
	DaysLeft    wireNumber     `json:"days_left"`
	Conflicts   []string       `json:"conflicts"`
	Cautions    []string       `json:"cautions"`
}

type wireStop struct {
	Code string `json:"code"`
	Says string `json:"says"`
}

type wireFeedLeft struct {
	Product domain.ProductID `json:"product_id"`
	Name    string           `json:"name"`
	Kg      wireNumber       `json:"kg"`
	Protein wireNumber       `json:"protein_percent"`
	Enough  *bool            `json:"enough_protein"`
}

// GetRation shows what to feed a batch.
func (s *Server) GetRation(c *gin.Context, id openapi.BatchPath, params openapi.GetRationParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		batch, err := postgres.Batches.Get(ctx, tx, domain.BatchID(id))
		if err != nil {
			return reply{}, err
		}
		k, err := tx.Keeping(ctx, batch.Site, optionalDate(params.AsOf))
		if err != nil {
			return reply{}, err
		}
		r, err := k.Ration(batch.ID)
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusOK, newRation(k.Day, r))
	})
}

func newRation(day domain.Date, r domain.Ration) wireRation {
	w := wireRation{Batch: r.ID, Unit: r.Unit, AsOf: day, Species: r.Species, State: r.State, Says: r.Says, Today: sourced(r.TodayKg), Stops: []wireStop{}, Full: sourced(r.FullKg),
		Fish: r.Fish, Weight: sourced(r.Weight), Biomass: sourced(r.Biomass), Basis: r.Basis, Low: sourced(r.LowPct), High: sourced(r.HighPct), Taken: sourced(r.TakenPct),
		Temperature: sourced(r.Warmth), ByWarmth: sourced(r.ByWarmth), Oxygen: sourced(r.OxygenMgL), ByOxygen: sourced(r.ByOxygen), Meals: sourced(r.Meals), Meal: sourced(r.MealKg),
		PelletFrom: sourced(r.PelletMM[0]), PelletTo: sourced(r.PelletMM[1]), ProteinFrom: sourced(r.Protein[0]), ProteinTo: sourced(r.Protein[1]),
		Feeds: []wireFeedLeft{}, FeedKg: sourced(r.FeedKg), DaysLeft: sourced(r.DaysLeft), Conflicts: texts(r.Conflicts), Cautions: texts(r.Cautions)}
	for _, stop := range r.Stops {
		w.Stops = append(w.Stops, wireStop{stop.Code, stop.Says})
	}
	for _, f := range r.Feeds {
		w.Feeds = append(w.Feeds, wireFeedLeft{f.ID, f.Name, sourced(f.Kg), sourced(f.Protein), f.Enough})
	}
	return w
}
