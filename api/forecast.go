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

type wireForecast struct {
	Batch    domain.BatchID     `json:"batch_id"`
	AsOf     domain.Date        `json:"as_of"`
	Species  string             `json:"species"`
	Fish     domain.Fish        `json:"fish"`
	Weight   wireNumber         `json:"mean_weight_g"`
	Biomass  wireNumber         `json:"biomass_kg"`
	Basis    string             `json:"biomass_basis"`
	Reason   *string            `json:"reason"`
	By       *wireForecastBasis `json:"basis"`
	Days     []wireExpectedDay  `json:"days"`
	Target   *wireGoal          `json:"target"`
	Plan     *wirePlanJudged    `json:"plan"`
	Sampling wireSampling       `json:"sampling"`
	Cautions []string           `json:"cautions"`
}

type wireForecastBasis struct {
	Weighed     domain.Date `json:"last_weighed_on"`
	Weighings   int         `json:"weighings"`
	Temperature wireNumber  `json:"temperature_c"`
	Closed      int         `json:"closed_batches"`
	Published   string      `json:"published"`
}

type wireExpectedDay struct {
	On      domain.Date  `json:"on"`
	Fish    json.Number  `json:"fish"`
	Weight  wireExpected `json:"weight_g"`
	Biomass wireExpected `json:"biomass_kg"`
}

type wireExpected struct {
	Median json.Number    `json:"median"`
	In80   [2]json.Number `json:"interval_80"`
	In95   [2]json.Number `json:"interval_95"`
}

type wireGoal struct {
	Weight    json.Number     `json:"weight_g"`
	On        *domain.Date    `json:"on"`
	In80      wireDayInterval `json:"interval_80"`
	In95      wireDayInterval `json:"interval_95"`
	Feed      wireNumber      `json:"feed_kg"`
	FCR       wireNumber      `json:"fcr"`
	FeedPrice wireNumber      `json:"feed_price"`
	Cost      wireNumber      `json:"feed_cost"`
}

type wireDayInterval struct {
	From *domain.Date `json:"from"`
	To   *domain.Date `json:"to"`
}

type wirePlanJudged struct {
	Weight     json.Number    `json:"target_weight_g"`
	On         domain.Date    `json:"target_on"`
	Chance     json.Number    `json:"chance"`
	Needed     wireNumber     `json:"needed_tgc"`
	Seen       [2]json.Number `json:"seen_tgc"`
	Questioned bool           `json:"questioned"`
	Says       string         `json:"says"`
}

type wireSampling struct {
	Fish wireNumber   `json:"fish"`
	CV   wireNumber   `json:"cv_percent"`
	Next *domain.Date `json:"next_on"`
	Says string       `json:"says"`
}

// GetForecast shows how a batch is expected to go on.
func (s *Server) GetForecast(c *gin.Context, id openapi.BatchPath, params openapi.GetForecastParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		r := &queried{c: c}
		asked := domain.Asked{Until: optionalDate(params.Until), Target: r.optional("target_weight_g")}
		if err := r.refusal(); err != nil {
			return reply{}, err
		}
		batch, err := postgres.Batches.Get(ctx, tx, domain.BatchID(id))
		if err != nil {
			return reply{}, err
		}
		k, err := tx.Keeping(ctx, batch.Site, optionalDate(params.AsOf))
		if err != nil {
			return reply{}, err
		}
		p, err := k.Prospect(batch.ID, asked)
		if err != nil {
			return reply{}, err
		}
		return forecastReply(ctx, c, tx, k, p)
	})
}

// forecastReply shows a forecast as it is wanted.
func forecastReply(ctx context.Context, c *gin.Context, tx *postgres.Tx, k *domain.Keeping, p domain.Prospect) (reply, error) {
	switch wanted(c) {
	case asJSON:
		return jsonReply(http.StatusOK, newForecast(k.Day, p))
	case asSVG:
		return chartReply("forecast", growthChart(k, p))
	}
	d, err := newDocument(ctx, c, tx)
	if err != nil {
		return reply{}, err
	}
	return documentReply(c, "forecast", forecastDocument(d, k, p))
}

func newForecast(day domain.Date, p domain.Prospect) wireForecast {
	w := wireForecast{Batch: p.ID, AsOf: day, Species: p.Species, Fish: p.Fish, Weight: sourced(p.Weight), Biomass: sourced(p.Biomass), Basis: p.Basis,
		Reason: optionalText(p.Reason), Days: make([]wireExpectedDay, len(p.Days)), Cautions: texts(p.Cautions),
		Sampling: wireSampling{Fish: sourced(p.Sampling.Fish), CV: sourced(p.Sampling.CV), Next: p.Sampling.NextOn, Says: p.Sampling.Says}}
	if p.Reason != "" {
		return w
	}
	w.By = &wireForecastBasis{Weighed: p.From, Weighings: p.Weighings, Temperature: sourced(p.Warmth), Closed: p.Behind, Published: p.PriorSource}
	for i, d := range p.Days {
		w.Days[i] = wireExpectedDay{On: d.On, Fish: thousandth(d.Fish), Weight: newExpected(d.WeightG), Biomass: newExpected(d.BiomassKg)}
	}
	if g := p.Goal; g != nil {
		w.Target = &wireGoal{Weight: thousandth(g.WeightG), On: g.On, In80: wireDayInterval{g.From80, g.To80}, In95: wireDayInterval{g.From95, g.To95},
			Feed: sourced(g.FeedKg), FCR: sourced(g.FCR), FeedPrice: sourced(g.FeedPrice), Cost: sourced(g.Cost)}
	}
	if j := p.Plan; j != nil {
		w.Plan = &wirePlanJudged{Weight: thousandth(j.WeightG), On: j.On, Chance: thousandth(j.Chance), Needed: sourced(j.NeededTGC),
			Seen: [2]json.Number{thousandth(j.SeenTGC[0]), thousandth(j.SeenTGC[1])}, Questioned: j.Questioned, Says: j.Says}
	}
	return w
}

func newExpected(e domain.Expected) wireExpected {
	return wireExpected{thousandth(e.Median), [2]json.Number{thousandth(e.In80[0]), thousandth(e.In80[1])}, [2]json.Number{thousandth(e.In95[0]), thousandth(e.In95[1])}}
}

// thousandth prints a number that is only expected, with three decimals.
func thousandth(v float64) json.Number { return json.Number(domain.Thousandth(v)) }
