package api

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireCostComparison struct {
	Site       domain.SiteID  `json:"site_id"`
	Name       string         `json:"site"`
	Season     *string        `json:"season"`
	Against    string         `json:"against"`
	Other      string         `json:"other"`
	AsOf       domain.Date    `json:"as_of"`
	KnownAt    time.Time      `json:"known_at"`
	Currency   string         `json:"currency"`
	Here       *string        `json:"cost_per_kg"`
	There      *string        `json:"other_cost_per_kg"`
	Difference *string        `json:"difference"`
	Reason     *string        `json:"reason"`
	Parts      []wireCostPart `json:"parts"`
	Sums       wireCostSums   `json:"sums"`
	OtherSums  wireCostSums   `json:"other_sums"`
	Method     []string       `json:"method"`
	Cautions   []string       `json:"cautions"`
}

type wireCostPart struct {
	Driver string      `json:"driver"`
	Title  string      `json:"title"`
	Amount string      `json:"amount"`
	Here   json.Number `json:"here"`
	There  json.Number `json:"there"`
	Unit   string      `json:"unit"`
}

type wireCostSums struct {
	Batches     int64       `json:"batches"`
	Cost        string      `json:"cost"`
	Fingerlings string      `json:"fingerlings"`
	Feed        string      `json:"feed"`
	Energy      string      `json:"energy"`
	Labour      string      `json:"labour"`
	Transport   string      `json:"transport"`
	Other       string      `json:"other"`
	In          domain.Fish `json:"fish_in"`
	Out         domain.Fish `json:"fish_harvested"`
	Fed         json.Number `json:"fed_kg"`
	Harvested   json.Number `json:"harvested_kg"`
}

// costComparison is a difference in cost with what was asked, for every representation.
type costComparison struct {
	domain.CostAnswer
	ask      domain.CostQuestion
	read     *postgres.Compared
	currency domain.Currency
}

// CompareCost shows why a kilogram costs what it costs.
func (s *Server) CompareCost(c *gin.Context, params openapi.CompareCostParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		x := costComparison{ask: costQuestion(params)}
		if x.ask.Against == "site" && params.OtherSiteID == nil {
			return reply{}, &domain.Error{Kind: domain.Invalid, Code: "invalid_request", Detail: "say which other site it is compared with",
				Fields: []domain.FieldError{{Pointer: "/query/other_site_id", Detail: "is needed against a site"}}}
		}
		var err error
		if x.read, err = tx.Compared(ctx, postgres.Moment{AsOf: optionalDate(params.AsOf), KnownAt: params.KnownAt}); err != nil {
			return reply{}, err
		}
		if x.currency, err = tx.Currency(ctx); err != nil {
			return reply{}, err
		}
		if x.name(x.ask.Site) == "" || x.ask.Against == "site" && x.name(x.ask.Other) == "" {
			return reply{}, domain.Missing("site")
		}
		x.CostAnswer = x.ask.Answer(x.read.Batches)
		return x.reply(ctx, c, tx)
	})
}

// reply shows the difference as it is wanted.
func (x *costComparison) reply(ctx context.Context, c *gin.Context, tx *postgres.Tx) (reply, error) {
	switch wanted(c) {
	case asJSON:
		return jsonReply(http.StatusOK, x.wire())
	case asSVG:
		return chartReply("cost", x.bridge())
	}
	d, err := newDocument(ctx, c, tx)
	if err != nil {
		return reply{}, err
	}
	return documentReply(c, "cost", x.document(d))
}

func costQuestion(params openapi.CompareCostParams) domain.CostQuestion {
	q := domain.CostQuestion{Site: domain.SiteID(params.SiteID), Against: "coop", From: optionalDate(params.From), To: optionalDate(params.To)}
	if params.OtherSiteID != nil {
		q.Against, q.Other = "site", domain.SiteID(*params.OtherSiteID)
	}
	if params.Against != nil {
		q.Against = string(*params.Against)
	}
	if params.Season != nil {
		q.Season = *params.Season
	}
	if params.OtherSeason != nil {
		q.OtherSeason = *params.OtherSeason
	}
	return q
}

func (x *costComparison) name(site domain.SiteID) string { return x.read.Names[site.String()] }

// other says what the site is compared with.
func (x *costComparison) other() string {
	switch {
	case x.ask.Against == "site":
		return x.name(x.ask.Other)
	case x.ask.Against == "season" && x.OtherSeason != "":
		return "season " + x.OtherSeason
	case x.ask.Against == "season":
		return "another season"
	}
	return "all sites together"
}

func (x *costComparison) wire() wireCostComparison {
	w := wireCostComparison{Site: x.ask.Site, Name: x.name(x.ask.Site), Season: optionalText(x.Season), Against: x.ask.Against, Other: x.other(),
		AsOf: x.read.AsOf, KnownAt: x.read.KnownAt.UTC(), Currency: string(x.currency), Here: x.perKg(x.Here), There: x.perKg(x.There),
		Reason: optionalText(x.Reason), Parts: []wireCostPart{}, Sums: x.sums(x.Here), OtherSums: x.sums(x.There),
		Method: domain.CostMethod, Cautions: []string{domain.CautionFigures}}
	for _, p := range x.List(x.currency) {
		w.Parts = append(w.Parts, wireCostPart{p.Driver, p.Title, x.currency.FormatPerKg(p.Amount), sixDecimals(p.Here), sixDecimals(p.There), p.Unit})
	}
	if x.Reason == "" {
		d := x.currency.FormatPerKg(x.To - x.From)
		w.Difference = &d
	}
	return w
}

func (x *costComparison) perKg(c domain.CostSums) *string {
	v, ok := c.PerKg()
	if !ok {
		return nil
	}
	return optionalText(x.currency.FormatPerKg(v))
}

func (x *costComparison) sums(c domain.CostSums) wireCostSums {
	f := x.currency.Format
	return wireCostSums{c.Batches, f(c.Total()), f(c.Fingerlings), f(c.Feed), f(c.Energy), f(c.Labour), f(c.Transport), f(c.Rest), c.In, c.Out,
		sixDecimals(c.Fed.Kilograms()), sixDecimals(c.Harvested.Kilograms())}
}
