package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

// wireParts is what is charged, and what was paid of it.
type wireParts struct {
	Goods    string `json:"goods"`
	OrderFee string `json:"order_fee"`
	DropFee  string `json:"drop_fee"`
	RouteFee string `json:"route_fee"`
	Credit   string `json:"credit"`
	Levelled string `json:"levelled"`
	Charged  string `json:"charged"`
	Paid     string `json:"paid"`
	Owed     string `json:"owed"`
}

func newParts(s *domain.SiteCharge, c domain.Currency) wireParts {
	return wireParts{c.Format(s.Price), c.Format(s.Fee), c.Format(s.Drop), c.Format(s.Route), c.Format(s.Credit), c.Format(s.Level),
		c.Format(s.Charged), c.Format(s.Paid), c.Format(s.Owed())}
}

type wireSiteCharge struct {
	Site     domain.SiteID `json:"site_id"`
	Quantity domain.Pieces `json:"quantity"`
	Alone    *string       `json:"alone,omitempty"`
	Parts    wireParts     `json:"parts"`
}

type wireCharges struct {
	Round    domain.RoundID   `json:"round_id"`
	Basis    string           `json:"basis"`
	Levelled bool             `json:"levelled"`
	Sites    []wireSiteCharge `json:"sites"`
	Total    wireParts        `json:"total"`
}

func newCharges(b *postgres.Bill, c domain.Currency) wireCharges {
	w := wireCharges{Round: b.Round.ID, Basis: b.Basis, Levelled: b.Level, Sites: make([]wireSiteCharge, len(b.Sites))}
	var total domain.SiteCharge
	for i := range b.Sites {
		s := &b.Sites[i]
		total.Add(s)
		w.Sites[i] = wireSiteCharge{Site: s.Site, Quantity: s.Due, Parts: newParts(s, c)}
		if a, ok := b.Alone[s.Site]; ok {
			text := c.Format(a)
			w.Sites[i].Alone = &text
		}
	}
	w.Total = newParts(&total, c)
	return w
}

// GetCharges shows who pays what of a round.
func (s *Server) GetCharges(c *gin.Context, id openapi.RoundPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		b, err := tx.Bill(ctx, domain.RoundID(id))
		if err != nil {
			return reply{}, err
		}
		actor, err := tx.Actor(ctx)
		if err != nil {
			return reply{}, err
		}
		charges := newCharges(b, actor.Currency)
		if wanted(c) == asJSON {
			return jsonReply(http.StatusOK, charges)
		}
		names, err := tx.SiteNames(ctx)
		if err != nil {
			return reply{}, err
		}
		d, err := newDocument(ctx, c, tx)
		if err != nil {
			return reply{}, err
		}
		return documentReply(c, "charges", chargesDocument(d, &b.Round, charges, names, actor.Currency))
	})
}

// RecordRoundPayment records what a site paid for a round.
func (s *Server) RecordRoundPayment(c *gin.Context, id openapi.RoundPath, p openapi.RecordRoundPaymentParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		var body wirePayment
		payment, err := body.decode(bodyOf(c), currency)
		if err != nil {
			return reply{}, err
		}
		made, err := uuid.NewV7()
		if err != nil {
			return reply{}, err
		}
		owed, err := tx.PayRound(ctx, domain.RoundID(id), body.Site, made, payment)
		if err != nil {
			return reply{}, err
		}
		body.ID, body.Amount, body.Owed = made.String(), currency.Format(payment.Amount), currency.Format(owed)
		return jsonReply(http.StatusCreated, body)
	})
}

type wireListedPayment struct {
	ID         domain.ID[postgres.RoundPayment] `json:"id"`
	Site       domain.SiteID                    `json:"site_id"`
	SiteName   string                           `json:"site"`
	Amount     string                           `json:"amount"`
	PaidOn     domain.Date                      `json:"paid_on"`
	Note       *string                          `json:"note,omitempty"`
	RecordedAt time.Time                        `json:"recorded_at"`
}

// ListRoundPayments lists what was paid for a round.
func (s *Server) ListRoundPayments(c *gin.Context, id openapi.RoundPath, q openapi.ListRoundPaymentsParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, after, err := pageAfter[postgres.RoundPayment](c, q.After, q.Limit)
		if err != nil {
			return reply{}, err
		}
		found, more, err := tx.RoundPayments(ctx, domain.RoundID(id), after, p.limit)
		if err != nil {
			return reply{}, err
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireListedPayment, len(found))
		for i, f := range found {
			items[i] = wireListedPayment{f.ID, f.SiteID, f.Site, currency.Format(f.Amount), f.PaidOn, f.Note, f.CreatedAt.UTC()}
		}
		return listReply(c, p, items, more, func(w wireListedPayment) []string { return []string{w.ID.String()} })
	})
}

type wirePayment struct {
	ID     string        `json:"id"`
	Site   domain.SiteID `json:"site_id"`
	Amount string        `json:"amount"`
	PaidOn domain.Date   `json:"paid_on"`
	Note   *string       `json:"note,omitempty"`
	Owed   string        `json:"owed"`
}

func (w *wirePayment) decode(raw []byte, currency domain.Currency) (postgres.RoundPayment, error) {
	if err := json.Unmarshal(raw, w); err != nil {
		return postgres.RoundPayment{}, err
	}
	r := &reading{currency: currency}
	p := postgres.RoundPayment{PaidOn: w.PaidOn, Amount: r.money(w.Amount, "/amount"), Note: w.Note}
	if err := r.refusal(); err != nil {
		return p, err
	}
	if p.Amount == 0 {
		return p, &domain.Error{Kind: domain.Invalid, Code: "invalid_request", Detail: "nothing was paid", Fields: []domain.FieldError{{Pointer: "/amount", Detail: "must not be 0"}}}
	}
	return p, nil
}

type wireStatement struct {
	Round    domain.RoundID         `json:"round_id"`
	Name     string                 `json:"round"`
	Site     domain.SiteID          `json:"site_id"`
	SiteName string                 `json:"site"`
	Basis    string                 `json:"basis"`
	Lines    []wireStatementLine    `json:"lines"`
	Parts    wireParts              `json:"parts"`
	Alone    *string                `json:"alone,omitempty"`
	Payments []wireStatementPayment `json:"payments"`
}

type wireStatementLine struct {
	Order      domain.OrderID   `json:"order_id"`
	Number     string           `json:"order"`
	Supplier   string           `json:"supplier"`
	Request    domain.RequestID `json:"request_id"`
	Ordered    domain.Pieces    `json:"ordered"`
	Due        domain.Pieces    `json:"due"`
	ReceivedOn *domain.Date     `json:"received_on,omitempty"`
	Came       *domain.Pieces   `json:"came,omitempty"`
	Dead       *domain.Pieces   `json:"dead,omitempty"`
	Credit     string           `json:"credit"`
}

type wireStatementPayment struct {
	PaidOn domain.Date `json:"paid_on"`
	Amount string      `json:"amount"`
	Note   *string     `json:"note,omitempty"`
}

func newStatement(s *postgres.Statement, c domain.Currency) wireStatement {
	w := wireStatement{Round: s.Round.ID, Name: s.Round.Name, Site: s.Site.ID, SiteName: s.Site.Name, Basis: s.Basis, Parts: newParts(&s.Charge, c),
		Lines: make([]wireStatementLine, len(s.Lines)), Payments: make([]wireStatementPayment, len(s.Payments))}
	if s.Alone != nil {
		text := c.Format(*s.Alone)
		w.Alone = &text
	}
	for i, l := range s.Lines {
		w.Lines[i] = wireStatementLine{l.OrderID, orderNumber(l.Year, l.Number), l.Supplier, l.RequestID, l.Quantity, l.Due, l.ReceivedOn, l.Came, l.Dead, c.Format(l.Credit)}
	}
	for i, p := range s.Payments {
		w.Payments[i] = wireStatementPayment{p.PaidOn, c.Format(p.Amount), p.Note}
	}
	return w
}

// orderNumber is what people call an order.
func orderNumber(year int16, number int32) string { return fmt.Sprintf("%d-%03d", year, number) }

// GetStatement shows what a site got of a round, pays for it and owes.
func (s *Server) GetStatement(c *gin.Context, id openapi.RoundPath, site openapi.StatementSitePath, params openapi.GetStatementParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		found, err := tx.Statement(ctx, domain.RoundID(id), domain.SiteID(site))
		if err != nil {
			return reply{}, err
		}
		actor, err := tx.Actor(ctx)
		if err != nil {
			return reply{}, err
		}
		statement := newStatement(found, actor.Currency)
		if wanted(c) == asJSON {
			return jsonReply(http.StatusOK, statement)
		}
		d, err := newDocument(ctx, c, tx)
		if err != nil {
			return reply{}, err
		}
		table := ""
		if params.Table != nil {
			table = string(*params.Table)
		}
		return tableReply(c, "statement", statementDocument(d, statement, actor.Currency), table)
	})
}
