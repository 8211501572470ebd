package api

import (
	"encoding/json"
	"fmt"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireQuote struct {
	ID              domain.QuoteID  `json:"id"`
	Round           domain.RoundID  `json:"round_id"`
	Party           domain.PartyID  `json:"party_id"`
	MeanWeight      *json.Number    `json:"mean_weight_g,omitempty"`
	WeightCVPercent *json.Number    `json:"weight_cv_percent,omitempty"`
	Steps           []wireQuoteStep `json:"steps"`
	StepsApply      *string         `json:"steps_apply"`
	LeastOrder      *json.Number    `json:"least_order"`
	Pack            *json.Number    `json:"pack"`
	Most            *json.Number    `json:"most"`
	Earliest        domain.Date     `json:"earliest"`
	Latest          domain.Date     `json:"latest"`
	FeeOrder        *string         `json:"fee_order"`
	FeeDrop         *string         `json:"fee_drop"`
	FeePerKm        *string         `json:"fee_per_km"`
	Stops           []wireQuoteStop `json:"stops"`
	SpeedKmH        *json.Number    `json:"speed_km_h"`
	CarriedIn       *string         `json:"carried_in,omitempty"`
	Litres          *json.Number    `json:"litres,omitempty"`
	Vessels         *json.Number    `json:"vessels,omitempty"`
	FishPerVessel   *json.Number    `json:"fish_per_vessel,omitempty"`
	TemperatureC    *json.Number    `json:"temperature_c,omitempty"`
	DeathsPercent   *json.Number    `json:"deaths_percent"`
	ShortPercent    *json.Number    `json:"short_percent"`
	DepositPercent  *json.Number    `json:"deposit_percent"`
	ValidUntil      domain.Date     `json:"valid_until"`
	ExpiresOn       *domain.Date    `json:"expires_on,omitempty"`
	Note            *string         `json:"note,omitempty"`
	Withdrawn       bool            `json:"withdrawn"`
}

type wireQuoteStep struct {
	From      json.Number `json:"from"`
	UnitPrice string      `json:"unit_price"`
}

type wireQuoteStop struct {
	Site domain.SiteID `json:"site_id"`
	Km   json.Number   `json:"km"`
}

var quotes = noun[domain.Quote, wireQuote]{
	store: &postgres.Quotes,
	round: true,
	at:    "/v1/quotes",
	key:   func(f *domain.Quote) (domain.QuoteID, int64) { return f.ID, f.Version },
	begin: func(w *wireQuote, id domain.QuoteID) domain.Quote { return domain.Quote{ID: id, Party: w.Party} },
	read:  readQuote,
	write: func(f *domain.Quote, currency domain.Currency) wireQuote {
		w := wireQuote{ID: f.ID, Round: f.Round, Party: f.Party, MeanWeight: decimal(f.MeanWeight), WeightCVPercent: decimal(f.WeightCVPercent),
			StepsApply: &f.StepsApply, LeastOrder: whole(f.LeastOrder), Pack: whole(f.Pack), Most: whole(f.Most), Earliest: f.Earliest, Latest: f.Latest,
			FeeOrder: new(currency.Format(f.FeeOrder)), FeeDrop: new(currency.Format(f.FeeDrop)), FeePerKm: new(currency.FormatPrice(f.FeePerKm)),
			Steps: []wireQuoteStep{}, Stops: []wireQuoteStop{}, SpeedKmH: decimal(&f.SpeedKmH), CarriedIn: f.CarriedIn, Litres: decimal(f.Litres),
			TemperatureC: decimal(f.TemperatureC), DeathsPercent: decimal(&f.DeathsPercent), ShortPercent: decimal(&f.ShortPercent),
			DepositPercent: decimal(&f.DepositPercent), ValidUntil: f.ValidUntil, ExpiresOn: f.ExpiresOn, Note: f.Note, Withdrawn: f.Withdrawn}
		if f.Vessels != nil {
			w.Vessels = whole(*f.Vessels)
		}
		if f.FishPerVessel != nil {
			w.FishPerVessel = whole(*f.FishPerVessel)
		}
		for _, s := range f.Steps {
			w.Steps = append(w.Steps, wireQuoteStep{*whole(s.From), currency.FormatPrice(s.UnitPrice)})
		}
		for _, s := range f.Stops {
			w.Stops = append(w.Stops, wireQuoteStop{s.Site, *decimal(&s.Km)})
		}
		return w
	},
}

func readQuote(r *reading, w *wireQuote, f *domain.Quote) {
	f.MeanWeight = (*domain.Milligrams)(r.decimal(w.MeanWeight, "/mean_weight_g"))
	f.WeightCVPercent = r.decimal(w.WeightCVPercent, "/weight_cv_percent")
	f.Steps = make([]domain.PriceStep, len(w.Steps))
	for i, s := range w.Steps {
		at := fmt.Sprintf("/steps/%d", i)
		f.Steps[i] = domain.PriceStep{From: domain.Pieces(r.count(&s.From, at+"/from", 0)), UnitPrice: r.price(s.UnitPrice, at+"/unit_price")}
	}
	f.StepsApply = valueOr(w.StepsApply)
	if w.StepsApply == nil && len(w.Steps) == 1 { // there is nothing to choose
		f.StepsApply = domain.StepsAllUnits
	}
	f.LeastOrder, f.Pack, f.Most = domain.Pieces(r.count(w.LeastOrder, "/least_order", 0)), domain.Pieces(r.count(w.Pack, "/pack", 1)), domain.Pieces(r.count(w.Most, "/most", 0))
	f.Earliest, f.Latest, f.ValidUntil, f.ExpiresOn, f.Note, f.Withdrawn = w.Earliest, w.Latest, w.ValidUntil, w.ExpiresOn, w.Note, w.Withdrawn
	f.FeeOrder, f.FeeDrop, f.FeePerKm = r.optionalMoney(w.FeeOrder, "/fee_order"), r.optionalMoney(w.FeeDrop, "/fee_drop"), 0
	if w.FeePerKm != nil {
		f.FeePerKm = r.price(*w.FeePerKm, "/fee_per_km")
	}
	f.Stops = make([]domain.Stop, len(w.Stops))
	for i, s := range w.Stops {
		f.Stops[i] = domain.Stop{Site: s.Site, Km: valueOr(r.decimal(&s.Km, fmt.Sprintf("/stops/%d/km", i)))}
	}
	f.SpeedKmH = domain.DefaultSpeed
	if w.SpeedKmH != nil {
		f.SpeedKmH = *r.decimal(w.SpeedKmH, "/speed_km_h")
	}
	f.CarriedIn, f.Litres, f.TemperatureC, f.Vessels, f.FishPerVessel = w.CarriedIn, r.decimal(w.Litres, "/litres"), r.decimal(w.TemperatureC, "/temperature_c"), nil, nil
	if w.Vessels != nil {
		f.Vessels = new(r.count(w.Vessels, "/vessels", 0))
	}
	if w.FishPerVessel != nil {
		f.FishPerVessel = new(domain.Fish(r.count(w.FishPerVessel, "/fish_per_vessel", 0)))
	}
	f.DeathsPercent = valueOr(r.decimal(w.DeathsPercent, "/deaths_percent"))
	f.ShortPercent = valueOr(r.decimal(w.ShortPercent, "/short_percent"))
	f.DepositPercent = valueOr(r.decimal(w.DepositPercent, "/deposit_percent"))
}

// ListQuotes lists what suppliers offer to a round.
func (s *Server) ListQuotes(c *gin.Context, _ openapi.RoundPath, q openapi.ListQuotesParams) {
	quotes.list(s, c, asked{q.After, q.Limit, nil, nil})
}

// CreateQuote adds what a supplier offers to a round.
func (s *Server) CreateQuote(c *gin.Context, _ openapi.RoundPath, p openapi.CreateQuoteParams) {
	createIn(s, c, &quotes, p.IdempotencyKey, func(q *domain.Quote, r *domain.Round) { q.Round = r.ID })
}

// GetQuote shows what a supplier offers.
func (s *Server) GetQuote(c *gin.Context, id openapi.QuotePath) {
	quotes.get(s, c, domain.QuoteID(id))
}

// ReviseQuote changes what a supplier offers.
func (s *Server) ReviseQuote(c *gin.Context, id openapi.QuotePath, _ openapi.ReviseQuoteParams) {
	quotes.revise(s, c, domain.QuoteID(id))
}
