package api

import (
	"context"
	"encoding/json"
	"net/http"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireOrder struct {
	ID              domain.OrderID  `json:"id"`
	Number          string          `json:"number"`
	Round           domain.RoundID  `json:"round_id"`
	Quote           *domain.QuoteID `json:"quote_id,omitempty"`
	Party           domain.PartyID  `json:"party_id"`
	PlanVersion     int64           `json:"plan_version"`
	Version         int64           `json:"version"`
	OrderedOn       domain.Date     `json:"ordered_on"`
	ArrivesOn       domain.Date     `json:"arrives_on"`
	MeanWeight      *json.Number    `json:"mean_weight_g,omitempty"`
	WeightCVPercent *json.Number    `json:"weight_cv_percent,omitempty"`
	DeathsPercent   *json.Number    `json:"deaths_percent"`
	ShortPercent    *json.Number    `json:"short_percent"`
	ExpiresOn       *domain.Date    `json:"expires_on,omitempty"`
	Sums            *wireOrderSums  `json:"sums,omitempty"`
	Deposits        []wireDeposit   `json:"deposits,omitzero"`
	Lines           []wireOrderLine `json:"lines"`
}

type wireOrderSums struct {
	wireSums
	DepositPaid string `json:"deposit_paid"`
}

type wireDeposit struct {
	ID     domain.DepositID `json:"id"`
	Amount string           `json:"amount"`
	PaidOn domain.Date      `json:"paid_on"`
}

type wireOrderLine struct {
	Request       domain.RequestID `json:"request_id"`
	Site          domain.SiteID    `json:"site_id"`
	Unit          *domain.UnitID   `json:"unit_id,omitempty"`
	Quantity      domain.Pieces    `json:"quantity"`
	ExpectedAlive domain.Pieces    `json:"expected_alive"`
	Km            *json.Number     `json:"km"`
	wireLineCost
	Allotted *domain.Pieces `json:"allotted,omitempty"`
}

type wireOrderVersion struct {
	Version    int64       `json:"version"`
	Reason     *string     `json:"reason,omitempty"`
	RecordedAt time.Time   `json:"recorded_at"`
	RecordedBy string      `json:"recorded_by"`
	ArrivesOn  domain.Date `json:"arrives_on"`
	wireSums
	Lines []wireOrderLine `json:"lines"`
}

func versionSums(v *domain.OrderVersion, c domain.Currency) wireSums {
	return wireSums{v.Ordered, c.Format(v.Price), c.Format(v.FeeOrder), c.Format(v.FeeDrop), c.Format(v.FeeRoute), c.Format(v.Cost()), c.Format(v.Deposit)}
}

func orderLines(lines []domain.OrderLine, c domain.Currency) []wireOrderLine {
	shown := make([]wireOrderLine, len(lines))
	for i, l := range lines {
		shown[i] = wireOrderLine{l.Request, l.Site, l.Unit, l.Quantity, l.ExpectedAlive, decimal(&l.Km), lineCost(c, l.Goods, l.OrderFee, l.DropFee, l.RouteFee, l.Capped), l.Allotted}
	}
	return shown
}

func newOrder(v *postgres.OrderView, c domain.Currency) wireOrder {
	w := wireOrder{ID: v.ID, Number: v.Called(), Round: v.Round, Party: v.Party, PlanVersion: v.PlanVersion, Version: v.Version, OrderedOn: v.OrderedOn, ArrivesOn: v.ArrivesOn,
		MeanWeight: decimal(v.MeanWeight), WeightCVPercent: decimal(v.WeightCVPercent), DeathsPercent: decimal(&v.DeathsPercent), ShortPercent: decimal(&v.ShortPercent),
		ExpiresOn: v.ExpiresOn, Lines: orderLines(v.Lines, c)}
	if v.Sums == nil {
		return w
	}
	w.Quote = &v.Quote
	var paid domain.Money
	w.Deposits = []wireDeposit{}
	for _, d := range v.Deposits {
		paid += d.Amount
		w.Deposits = append(w.Deposits, wireDeposit{d.ID, c.Format(d.Amount), d.PaidOn})
	}
	w.Sums = &wireOrderSums{versionSums(v.Sums, c), c.Format(paid)}
	return w
}

// ordersReply answers with the orders of a round.
func ordersReply(ctx context.Context, tx *postgres.Tx, status int, round domain.RoundID) (reply, error) {
	found, err := tx.Orders(ctx, round)
	if err != nil {
		return reply{}, err
	}
	currency, err := tx.Currency(ctx)
	if err != nil {
		return reply{}, err
	}
	items := make([]wireOrder, len(found))
	for i := range found {
		items[i] = newOrder(&found[i], currency)
	}
	return jsonReply(status, struct {
		Items []wireOrder `json:"items"`
	}{items})
}

// ListOrders lists the orders of a round.
func (s *Server) ListOrders(c *gin.Context, _ openapi.RoundPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		round, err := roundOf(ctx, tx, c)
		if err != nil {
			return reply{}, err
		}
		return ordersReply(ctx, tx, http.StatusOK, round.ID)
	})
}

// CreateOrders orders what was planned.
func (s *Server) CreateOrders(c *gin.Context, id openapi.RoundPath, p openapi.CreateOrdersParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var body struct {
			PlanVersion json.Number `json:"plan_version"`
		}
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		r := &reading{}
		version := r.count(&body.PlanVersion, "/plan_version", 0)
		if err := r.refusal(); err != nil {
			return reply{}, err
		}
		if err := tx.PlaceOrders(ctx, domain.RoundID(id), version, newID[domain.Order]); err != nil {
			return reply{}, err
		}
		return ordersReply(ctx, tx, http.StatusCreated, domain.RoundID(id))
	})
}

// orderReply answers with an order as it is in force.
func orderReply(ctx context.Context, tx *postgres.Tx, status int, id domain.OrderID) (reply, error) {
	found, err := tx.Order(ctx, id)
	if err != nil {
		return reply{}, err
	}
	currency, err := tx.Currency(ctx)
	if err != nil {
		return reply{}, err
	}
	return jsonReply(status, newOrder(&found, currency))
}

// GetOrder shows an order, or what its supplier is sent.
func (s *Server) GetOrder(c *gin.Context, id openapi.OrderPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		found, err := tx.Order(ctx, domain.OrderID(id))
		if err != nil {
			return reply{}, err
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		tag := `"` + strconv.FormatInt(found.Version, 10) + "-" + strconv.Itoa(len(found.Deposits)) + `"`
		if wanted(c) == asJSON {
			a, err := jsonReply(http.StatusOK, newOrder(&found, currency))
			return a.with("ETag", tag), err
		}
		names, err := tx.OrderPaper(ctx, &found.Order)
		if err != nil {
			return reply{}, err
		}
		a, err := documentReply(c, "order-"+found.Called(), orderDocument(&found, &names, currency))
		return a.with("ETag", tag), err
	})
}

// ListOrderVersions lists what an order was for.
func (s *Server) ListOrderVersions(c *gin.Context, id openapi.OrderPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		versions, lines, err := tx.OrderVersions(ctx, domain.OrderID(id))
		if err != nil {
			return reply{}, err
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireOrderVersion, len(versions))
		for i := range versions {
			v := &versions[i]
			items[i] = wireOrderVersion{v.Version, v.Reason, v.RecordedAt.UTC(), v.RecordedBy, v.ArrivesOn, versionSums(v, currency), orderLines(lines[i], currency)}
		}
		return jsonReply(http.StatusOK, struct {
			Items []wireOrderVersion `json:"items"`
		}{items})
	})
}

// ChangeOrder makes the next version of an order.
func (s *Server) ChangeOrder(c *gin.Context, id openapi.OrderPath, p openapi.ChangeOrderParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var body struct {
			Reason    string       `json:"reason"`
			ArrivesOn *domain.Date `json:"arrives_on"`
			Lines     []struct {
				Request  domain.RequestID `json:"request_id"`
				Quantity json.Number      `json:"quantity"`
			} `json:"lines"`
		}
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		r := &reading{}
		change := &domain.OrderChange{Reason: body.Reason, ArrivesOn: body.ArrivesOn}
		for i, l := range body.Lines {
			change.Lines = append(change.Lines, domain.OrderChangeLine{Request: l.Request, Quantity: domain.Pieces(r.count(&l.Quantity, "/lines/"+strconv.Itoa(i)+"/quantity", 0))})
		}
		if err := r.refusal(); err != nil {
			return reply{}, err
		}
		if err := tx.ChangeOrder(ctx, domain.OrderID(id), change); err != nil {
			return reply{}, err
		}
		return orderReply(ctx, tx, http.StatusCreated, domain.OrderID(id))
	})
}

// PayDeposit notes what was paid with an order.
func (s *Server) PayDeposit(c *gin.Context, id openapi.OrderPath, p openapi.PayDepositParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var body struct {
			Amount string      `json:"amount"`
			PaidOn domain.Date `json:"paid_on"`
		}
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		r := &reading{currency: currency}
		d := domain.Deposit{Order: domain.OrderID(id), Amount: r.money(body.Amount, "/amount"), PaidOn: body.PaidOn}
		if err := r.refusal(); err != nil {
			return reply{}, err
		}
		if d.ID, err = newID[domain.Deposit](); err != nil {
			return reply{}, err
		}
		if err := tx.PayDeposit(ctx, d); err != nil {
			return reply{}, err
		}
		return orderReply(ctx, tx, http.StatusCreated, domain.OrderID(id))
	})
}
