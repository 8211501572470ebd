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

type wirePeriod struct {
	ID       domain.PeriodID `json:"id"`
	Site     domain.SiteID   `json:"site_id"`
	Kind     string          `json:"kind"`
	Name     string          `json:"name"`
	StartsOn domain.Date     `json:"starts_on"`
	EndsOn   domain.Date     `json:"ends_on"`
	Feeder   *string         `json:"feeder,omitempty"`
	Archived bool            `json:"archived"`
}

var periods = noun[domain.Period, wirePeriod]{
	store: &postgres.Periods,
	key:   func(f *domain.Period) (domain.PeriodID, int64) { return f.ID, f.Version },
	home:  func(f *domain.Period) *domain.SiteID { return &f.Site },
	begin: func(_ *wirePeriod, id domain.PeriodID) domain.Period { return domain.Period{ID: id} },
	read: func(_ *reading, w *wirePeriod, f *domain.Period) {
		f.Kind, f.Name, f.StartsOn, f.EndsOn, f.Feeder, f.Archived = w.Kind, w.Name, w.StartsOn, w.EndsOn, w.Feeder, w.Archived
	},
	write: func(f *domain.Period, _ domain.Currency) wirePeriod {
		return wirePeriod{f.ID, f.Site, f.Kind, f.Name, f.StartsOn, f.EndsOn, f.Feeder, f.Archived}
	},
}

// ListPeriods lists the calendar of a site.
func (s *Server) ListPeriods(c *gin.Context, _ openapi.SitePath, q openapi.ListPeriodsParams) {
	periods.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreatePeriod adds a term or holiday to the calendar of a site.
func (s *Server) CreatePeriod(c *gin.Context, _ openapi.SitePath, p openapi.CreatePeriodParams) {
	periods.create(s, c, p.IdempotencyKey)
}

// GetPeriod shows a term or holiday.
func (s *Server) GetPeriod(c *gin.Context, _ openapi.SitePath, id openapi.PeriodPath) {
	periods.get(s, c, domain.PeriodID(id))
}

// RevisePeriod changes a term or holiday.
func (s *Server) RevisePeriod(c *gin.Context, _ openapi.SitePath, id openapi.PeriodPath, _ openapi.RevisePeriodParams) {
	periods.revise(s, c, domain.PeriodID(id))
}

type wireWaterLimit struct {
	ID        domain.LimitID `json:"id"`
	Species   string         `json:"species"`
	Parameter string         `json:"parameter"`
	LowAlarm  *json.Number   `json:"low_alarm,omitempty"`
	LowWarn   *json.Number   `json:"low_warn,omitempty"`
	HighWarn  *json.Number   `json:"high_warn,omitempty"`
	HighAlarm *json.Number   `json:"high_alarm,omitempty"`
	Source    string         `json:"source"`
	Archived  bool           `json:"archived"`
}

var waterLimits = noun[domain.WaterLimit, wireWaterLimit]{
	store: &postgres.WaterLimits,
	key:   func(f *domain.WaterLimit) (domain.LimitID, int64) { return f.ID, f.Version },
	begin: func(w *wireWaterLimit, id domain.LimitID) domain.WaterLimit {
		return domain.WaterLimit{ID: id, Species: w.Species, Parameter: w.Parameter}
	},
	read: func(r *reading, w *wireWaterLimit, f *domain.WaterLimit) {
		f.LowAlarm, f.LowWarn = r.decimal(w.LowAlarm, "/low_alarm"), r.decimal(w.LowWarn, "/low_warn")
		f.HighWarn, f.HighAlarm = r.decimal(w.HighWarn, "/high_warn"), r.decimal(w.HighAlarm, "/high_alarm")
		f.Source, f.Archived = w.Source, w.Archived
	},
	write: func(f *domain.WaterLimit, _ domain.Currency) wireWaterLimit {
		return wireWaterLimit{f.ID, f.Species, f.Parameter, decimal(f.LowAlarm), decimal(f.LowWarn), decimal(f.HighWarn), decimal(f.HighAlarm), f.Source, f.Archived}
	},
}

// ListLimits lists what the co-operative holds good water to be.
func (s *Server) ListLimits(c *gin.Context, q openapi.ListLimitsParams) {
	waterLimits.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreateLimit sets a limit in place of the default.
func (s *Server) CreateLimit(c *gin.Context, p openapi.CreateLimitParams) {
	waterLimits.create(s, c, p.IdempotencyKey)
}

// GetLimit shows a limit of the co-operative.
func (s *Server) GetLimit(c *gin.Context, id openapi.LimitPath) {
	waterLimits.get(s, c, domain.LimitID(id))
}

// ReviseLimit changes a limit of the co-operative.
func (s *Server) ReviseLimit(c *gin.Context, id openapi.LimitPath, _ openapi.ReviseLimitParams) {
	waterLimits.revise(s, c, domain.LimitID(id))
}

type wireLimitInForce struct {
	Parameter string          `json:"parameter"`
	Unit      string          `json:"unit"`
	By        *domain.LimitID `json:"limit_id,omitempty"`
	LowAlarm  *wireBound      `json:"low_alarm,omitempty"`
	LowWarn   *wireBound      `json:"low_warn,omitempty"`
	HighWarn  *wireBound      `json:"high_warn,omitempty"`
	HighAlarm *wireBound      `json:"high_alarm,omitempty"`
	Conflicts []string        `json:"conflicts"`
}

type wireBound struct {
	Value      float64 `json:"value"`
	Source     string  `json:"source"`
	Provenance string  `json:"provenance"`
}

// ListSpeciesLimits lists what readings of the water of a species are judged by.
func (s *Server) ListSpeciesLimits(c *gin.Context, code openapi.SpeciesPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		limits, err := postgres.LimitsFor(ctx, tx, code)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireLimitInForce, len(limits))
		for i, l := range limits {
			b := l.Bounds()
			items[i] = wireLimitInForce{string(l.Parameter), l.Parameter.Unit(), l.By, (*wireBound)(b[0]), (*wireBound)(b[1]),
				(*wireBound)(b[2]), (*wireBound)(b[3]), append([]string{}, l.Conflicts...)}
		}
		return jsonReply(http.StatusOK, struct {
			Species string             `json:"species"`
			Items   []wireLimitInForce `json:"items"`
		}{code, items})
	})
}
