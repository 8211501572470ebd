package api

import (
	"context"
	"encoding/json"
	"math"
	"net/http"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireComparison struct {
	Measure      string              `json:"measure"`
	Title        string              `json:"title"`
	Unit         string              `json:"unit"`
	Formula      string              `json:"formula"`
	Better       string              `json:"better"`
	Group        string              `json:"group"`
	State        string              `json:"state"`
	From         *domain.Date        `json:"from"`
	To           *domain.Date        `json:"to"`
	Species      *string             `json:"species"`
	Standardised []string            `json:"standardised_by"`
	AsOf         domain.Date         `json:"as_of"`
	KnownAt      time.Time           `json:"known_at"`
	Batches      int64               `json:"batches"`
	All          wireComparedSum     `json:"all"`
	Groups       []wireComparedGroup `json:"groups"`
	Funnel       wireFunnel          `json:"funnel"`
	NoVerdicts   *string             `json:"no_verdicts"`
	Method       []string            `json:"method"`
	Cautions     []string            `json:"cautions"`
}

type wireComparedSum struct {
	Batches     int64               `json:"batches"`
	Numerator   json.Number         `json:"numerator"`
	Denominator json.Number         `json:"denominator"`
	Value       *json.Number        `json:"value"`
	Interval    *[2]json.Number     `json:"interval"`
	NoValue     *string             `json:"no_value"`
	NoInterval  *string             `json:"no_interval"`
	LeftOut     []wireLeftOut       `json:"left_out"`
	Records     wireComparedRecords `json:"records"`
}

type wireLeftOut struct {
	Reason  string `json:"reason"`
	Batches int64  `json:"batches"`
}

type wireComparedRecords struct {
	Counted      int64 `json:"counted"`
	StartWeighed int64 `json:"start_weighed"`
	Days         int64 `json:"days"`
	FedDays      int64 `json:"days_with_feed"`
	HeatDays     int64 `json:"days_with_temperature"`
}

type wireComparedGroup struct {
	Key     string          `json:"key"`
	Name    string          `json:"name"`
	Sum     wireComparedSum `json:"sum"`
	Shrunk  *json.Number    `json:"shrunk"`
	Best    *json.Number    `json:"best_third"`
	Worst   *json.Number    `json:"worst_third"`
	In95    *[2]json.Number `json:"limits_95"`
	In998   *[2]json.Number `json:"limits_998"`
	Worth   *json.Number    `json:"worth_batches"`
	Verdict string          `json:"verdict"`
	Better  *bool           `json:"better"`
	Says    string          `json:"says"`
}

type wireFunnel struct {
	Dispersion openapi.Dispersion `json:"dispersion"`
	Scale      string             `json:"scale"`
	Sigma2     *json.Number       `json:"sigma2"`
	Phi        *json.Number       `json:"phi"`
	Tau2       *json.Number       `json:"tau2"`
}

// comparison is a comparison with what was asked, for every representation.
type comparison struct {
	domain.CompareQuestion
	domain.Comparison
	read     *postgres.Compared
	currency domain.Currency
}

// CompareGroups shows groups of batches beside each other.
func (s *Server) CompareGroups(c *gin.Context, params openapi.CompareGroupsParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		x := comparison{CompareQuestion: compareQuestion(params)}
		var err error
		if x.read, err = tx.Compared(ctx, postgres.Moment{AsOf: optionalDate(params.AsOf), KnownAt: params.KnownAt}); err != nil {
			return reply{}, err
		}
		if x.currency, err = tx.Currency(ctx); err != nil {
			return reply{}, err
		}
		x.Names = x.read.Names
		x.Comparison = x.Compare(x.read.Batches)
		return x.reply(ctx, c, tx, params.Chart)
	})
}

// reply shows the comparison as it is wanted.
func (x *comparison) reply(ctx context.Context, c *gin.Context, tx *postgres.Tx, chart *openapi.ComparisonChart) (reply, error) {
	switch wanted(c) {
	case asJSON:
		return jsonReply(http.StatusOK, x.wire())
	case asSVG:
		if chart != nil && *chart == openapi.ComparisonChartCaterpillar {
			return chartReply("comparison", x.caterpillar())
		}
		return chartReply("comparison", x.funnel())
	}
	d, err := newDocument(ctx, c, tx)
	if err != nil {
		return reply{}, err
	}
	return documentReply(c, "comparison", x.document(d))
}

func compareQuestion(params openapi.CompareGroupsParams) domain.CompareQuestion {
	q := domain.CompareQuestion{By: "site", From: optionalDate(params.From), To: optionalDate(params.To)}
	q.Measure, _ = domain.YardstickNamed(string(params.Measure)) // the contract has no other names
	if params.Group != nil {
		q.By = string(*params.Group)
	}
	if params.State != nil {
		q.Growing = *params.State == openapi.ComparedStateAll
	}
	if params.Species != nil {
		q.Species = string(*params.Species)
	}
	q.Multiplicative = params.Dispersion != nil && *params.Dispersion == openapi.DispersionMultiplicative
	if params.Standardise != nil {
		for _, l := range *params.Standardise {
			q.Standardise = append(q.Standardise, string(l))
		}
	}
	return q
}

func (x *comparison) wire() wireComparison {
	w := wireComparison{Measure: x.Measure.Name, Title: x.Measure.Title, Unit: x.Measure.UnitIn(x.currency), Formula: x.Measure.Formula, Better: "lower",
		Group: x.By, State: "closed", From: x.From, To: x.To, Species: optionalText(x.Species), Standardised: texts(x.Standardise),
		AsOf: x.read.AsOf, KnownAt: x.read.KnownAt.UTC(), Batches: x.Batches, All: newComparedSum(&x.All), Groups: make([]wireComparedGroup, len(x.Groups)),
		NoVerdicts: optionalText(x.NoVerdicts), Method: x.Method(), Cautions: x.Cautions(),
		Funnel: wireFunnel{Dispersion: x.dispersion(), Scale: [...]string{"angle", "logarithm", "linear"}[x.Measure.Scale], Sigma2: sixth(&x.Sigma2)}}
	if x.Measure.Higher {
		w.Better = "higher"
	}
	if x.Growing {
		w.State = "all"
	}
	if x.Dispersion.Phi != 0 {
		w.Funnel.Phi, w.Funnel.Tau2 = sixth(&x.Dispersion.Phi), sixth(&x.Dispersion.Tau2)
	}
	for i := range x.Groups {
		w.Groups[i] = newComparedGroup(&x.Groups[i], x.NoVerdicts)
	}
	return w
}

// dispersion names how the limits take in that groups differ.
func (x *comparison) dispersion() openapi.Dispersion {
	if x.Multiplicative {
		return openapi.DispersionMultiplicative
	}
	return openapi.DispersionAdditive
}

func newComparedGroup(g *domain.ComparedGroup, noVerdicts string) wireComparedGroup {
	w := wireComparedGroup{Key: g.Key, Name: g.Name, Sum: newComparedSum(&g.GroupSum), Shrunk: sixth(g.Shrunk), Best: sixth(g.Best), Worst: sixth(g.Worst),
		In95: sixths(g.In95), In998: sixths(g.In998), Worth: sixth(g.Worth), Verdict: "none", Says: g.Says(noVerdicts)}
	if g.Verdict != "" {
		w.Verdict = g.Verdict
	}
	if g.In95 != nil {
		w.Better = &g.Better
	}
	return w
}

func newComparedSum(g *domain.GroupSum) wireComparedSum {
	w := wireComparedSum{Batches: g.Batches, Numerator: sixDecimals(g.Num), Denominator: sixDecimals(g.Den), Value: sixth(g.Value), Interval: sixths(g.Interval),
		NoValue: optionalText(g.NoValue), NoInterval: optionalText(g.NoIntl), LeftOut: make([]wireLeftOut, len(g.LeftOut)),
		Records: wireComparedRecords{g.Records.Counted, g.Records.StartWeighed, g.Records.Days, g.Records.FedDays, g.Records.HeatDays}}
	for i, l := range g.LeftOut {
		w.LeftOut[i] = wireLeftOut(l)
	}
	return w
}

// sixDecimals prints a number that was worked out, with up to six decimals.
func sixDecimals(v float64) json.Number {
	return json.Number(strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64))
}

// sixth is a number that there may not be.
func sixth(v *float64) *json.Number {
	if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
		return nil
	}
	n := sixDecimals(*v)
	return &n
}

func sixths(v *[2]float64) *[2]json.Number {
	if v == nil || math.IsNaN(v[0]) || math.IsInf(v[1], 0) {
		return nil
	}
	return &[2]json.Number{sixDecimals(v[0]), sixDecimals(v[1])}
}
