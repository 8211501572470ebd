package api

import (
	"cmp"
	"context"
	"encoding/json"
	"net/http"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireRoundPlan struct {
	Round       domain.RoundID        `json:"round_id"`
	Version     int64                 `json:"version,omitempty"`
	MadeOn      domain.Date           `json:"made_on"`
	MadeBy      string                `json:"made_by,omitempty"`
	Need        string                `json:"need"`
	Cost        string                `json:"cost"`
	Bound       string                `json:"bound"`
	Gap         string                `json:"gap"`
	Nodes       int                   `json:"nodes"`
	Level       bool                  `json:"nobody_above_alone"`
	Lines       []wirePlanLine        `json:"lines"`
	Orders      []wirePlanOrder       `json:"orders"`
	OneSupplier []wirePlanOneSupplier `json:"one_supplier"`
	Sites       []wirePlanSite        `json:"sites"`
	Unmet       []wirePlanUnmet       `json:"unmet"`
	LeftOut     []wirePlanLeftOut     `json:"left_out"`
}

type wirePlanLine struct {
	Request       domain.RequestID   `json:"request_id"`
	Site          domain.SiteID      `json:"site_id"`
	Unit          *domain.UnitID     `json:"unit_id,omitempty"`
	Quote         domain.QuoteID     `json:"quote_id"`
	Party         domain.PartyID     `json:"party_id"`
	ArrivesOn     domain.Date        `json:"arrives_on"`
	Quantity      domain.Pieces      `json:"quantity"`
	ExpectedAlive domain.Pieces      `json:"expected_alive"`
	Km            *json.Number       `json:"km"`
	Transport     *wirePlanTransport `json:"transport,omitempty"`
	wireLineCost
}

// wireLineCost is what the site of a line is to bear of its order.
type wireLineCost struct {
	Price    string `json:"price"`
	OrderFee string `json:"order_fee"`
	DropFee  string `json:"drop_fee"`
	RouteFee string `json:"route_fee"`
	Level    string `json:"level"`
	Cost     string `json:"cost"`
}

func lineCost(c domain.Currency, price, order, drop, route, level domain.Money) wireLineCost {
	return wireLineCost{c.Format(price), c.Format(order), c.Format(drop), c.Format(route), c.Format(level), c.Format(price + order + drop + route + level)}
}

type wirePlanTransport struct {
	Verdict string `json:"verdict"`
	Says    string `json:"says"`
}

type wirePlanOrder struct {
	Quote     domain.QuoteID `json:"quote_id"`
	Party     domain.PartyID `json:"party_id"`
	ArrivesOn domain.Date    `json:"arrives_on"`
	wireSums
	Legs []wirePlanLeg `json:"legs"`
}

// wireSums is what an order costs.
type wireSums struct {
	Ordered  domain.Pieces `json:"ordered"`
	Price    string        `json:"price"`
	FeeOrder string        `json:"fee_order"`
	FeeDrop  string        `json:"fee_drop"`
	FeeRoute string        `json:"fee_route"`
	Cost     string        `json:"cost"`
	Deposit  string        `json:"deposit"`
}

type wirePlanLeg struct {
	Site      domain.SiteID      `json:"site_id"`
	Km        *json.Number       `json:"km"`
	Hours     json.Number        `json:"hours"`
	Kg        wireNumber         `json:"kg"`
	Transport *wirePlanTransport `json:"transport,omitempty"`
}

type wirePlanOneSupplier struct {
	Quote  domain.QuoteID `json:"quote_id"`
	Cost   *string        `json:"cost"`
	Reason *string        `json:"reason"`
}

type wirePlanSite struct {
	Site   domain.SiteID `json:"site_id"`
	Pays   string        `json:"pays"`
	Alone  *string       `json:"alone"`
	Saving *string       `json:"saving"`
	Reason *string       `json:"reason"`
}

type wirePlanUnmet struct {
	Request domain.RequestID `json:"request_id"`
	Reason  string           `json:"reason"`
}

type wirePlanLeftOut struct {
	Quote  domain.QuoteID `json:"quote_id"`
	Reason string         `json:"reason"`
}

// PlanRound works out who gets how many from whom, and keeps it unless it is only to be
// shown.
func (s *Server) PlanRound(c *gin.Context, _ openapi.RoundPath, p openapi.PlanRoundParams) {
	if valueOr(p.DryRun) {
		s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
			round, err := roundOf(ctx, tx, c)
			if err != nil {
				return reply{}, err
			}
			plan, err := planned(ctx, tx, c, &round)
			if err != nil {
				return reply{}, err
			}
			return planReply(ctx, tx, http.StatusOK, round.ID, postgres.KeptPlan{Plan: *plan})
		})
		return
	}
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		round, err := roundOf(ctx, tx, c)
		if err == nil {
			round, err = postgres.Rounds.Hold(ctx, tx, round.ID)
		}
		if err != nil {
			return reply{}, err
		}
		if err := round.Require("a plan is made", domain.RoundClosed, domain.RoundPlanned); err != nil {
			return reply{}, err
		}
		plan, err := planned(ctx, tx, c, &round)
		if err != nil {
			return reply{}, err
		}
		kept, err := tx.KeepPlan(ctx, round.ID, plan)
		if err != nil {
			return reply{}, err
		}
		return planReply(ctx, tx, http.StatusCreated, round.ID, kept)
	})
}

// planned works out a plan as it is asked for.
func planned(ctx context.Context, tx *postgres.Tx, c *gin.Context, round *domain.Round) (*domain.RoundPlan, error) {
	var body struct {
		Need  string `json:"need"`
		Allot string `json:"allot"`
	}
	if err := json.Unmarshal(bodyOf(c), &body); err != nil {
		return nil, err
	}
	ask, err := tx.PlanAsk(ctx, round, cmp.Or(body.Need, round.Need))
	if err != nil {
		return nil, err
	}
	ask.Allot = body.Allot
	return domain.PlanRound(ask)
}

// GetPlan shows the last plan of a round.
func (s *Server) GetPlan(c *gin.Context, _ openapi.RoundPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		round, err := roundOf(ctx, tx, c)
		if err != nil {
			return reply{}, err
		}
		kept, err := tx.LastPlan(ctx, round.ID)
		if err != nil {
			return reply{}, err
		}
		return planReply(ctx, tx, http.StatusOK, round.ID, kept)
	})
}

func planReply(ctx context.Context, tx *postgres.Tx, status int, round domain.RoundID, kept postgres.KeptPlan) (reply, error) {
	currency, err := tx.Currency(ctx)
	if err != nil {
		return reply{}, err
	}
	w := newPlan(&kept.Plan, currency)
	w.Round, w.Version, w.MadeBy = round, kept.Version, kept.RecordedBy
	return jsonReply(status, w)
}

func newPlan(p *domain.RoundPlan, c domain.Currency) wireRoundPlan {
	w := wireRoundPlan{MadeOn: p.MadeOn, Need: p.Need, Cost: c.Format(p.Cost), Bound: c.Format(p.Bound), Gap: c.Format(p.Gap), Nodes: p.Nodes, Level: p.Level,
		Lines: []wirePlanLine{}, Orders: []wirePlanOrder{}, OneSupplier: []wirePlanOneSupplier{}, Sites: []wirePlanSite{}, Unmet: []wirePlanUnmet{}, LeftOut: []wirePlanLeftOut{}}
	for _, l := range p.Lines {
		line := wirePlanLine{Request: l.Request, Site: l.Site, Unit: l.Unit, Quote: l.Quote, Party: l.Party, ArrivesOn: l.ArrivesOn, Quantity: l.Quantity, ExpectedAlive: l.ExpectedAlive,
			Km: decimal(&l.Km), wireLineCost: lineCost(c, l.Price, l.Fee, l.Drop, l.Route, l.Level)}
		if l.Transport != nil {
			line.Transport = &wirePlanTransport{l.Transport.Verdict, l.Transport.Says}
		}
		w.Lines = append(w.Lines, line)
	}
	for _, o := range p.Orders {
		order := wirePlanOrder{Quote: o.Quote, Party: o.Party, ArrivesOn: o.ArrivesOn, Legs: []wirePlanLeg{},
			wireSums: wireSums{o.Ordered, c.Format(o.Price), c.Format(o.FeeOrder), c.Format(o.FeeDrop), c.Format(o.FeeRoute), c.Format(o.Cost()), c.Format(o.Deposit)}}
		for _, l := range o.Legs {
			leg := wirePlanLeg{Site: l.Site, Km: decimal(&l.Km), Hours: json.Number(domain.Thousandth(l.Hours)), Kg: sourced(l.Kg)}
			if l.Verdict != "" {
				leg.Transport = &wirePlanTransport{l.Verdict, l.Says}
			}
			order.Legs = append(order.Legs, leg)
		}
		w.Orders = append(w.Orders, order)
	}
	for _, o := range p.OneSupplier {
		w.OneSupplier = append(w.OneSupplier, wirePlanOneSupplier{o.Quote, optionalMoney(c, o.Cost), optionalText(o.Reason)})
	}
	for _, s := range p.Sites {
		site := wirePlanSite{Site: s.Site, Pays: c.Format(s.Pays), Alone: optionalMoney(c, s.Alone), Reason: optionalText(s.Reason)}
		if s.Alone != nil {
			site.Saving = new(c.Format(*s.Alone - s.Pays))
		}
		w.Sites = append(w.Sites, site)
	}
	for _, u := range p.Unmet {
		w.Unmet = append(w.Unmet, wirePlanUnmet{u.Request, u.Reason})
	}
	for _, l := range p.LeftOut {
		w.LeftOut = append(w.LeftOut, wirePlanLeftOut{l.Quote, l.Reason})
	}
	return w
}

// optionalMoney writes an amount, if there is one.
func optionalMoney(c domain.Currency, m *domain.Money) *string {
	if m == nil {
		return nil
	}
	return new(c.Format(*m))
}
