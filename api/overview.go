package api

import (
	"context"
	"encoding/json"
	"math"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireGlance struct {
	Site        domain.SiteID   `json:"site_id"`
	Name        string          `json:"site"`
	LastOn      *domain.Date    `json:"last_record_on"`
	OpenBatches int64           `json:"open_batches"`
	Fish        domain.Fish     `json:"fish"`
	Biomass     json.RawMessage `json:"biomass_kg"`
	Basis       string          `json:"biomass_basis"`
	Feed        json.RawMessage `json:"feed_kg"`
	DaysLeft    *float64        `json:"days_of_feed_left"`
	Questions   int64           `json:"questions"`
}

// GetOverview shows every site the token may see, a line each.
func (s *Server) GetOverview(c *gin.Context, params openapi.GetOverviewParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, after, err := pageAfter[domain.SiteFacts](c, params.After, params.Limit)
		if err != nil {
			return reply{}, err
		}
		found, more, err := tx.Overview(ctx, after, p.limit)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireGlance, len(found))
		for i, g := range found {
			items[i] = newGlance(g)
		}
		return listReply(c, p, items, more, func(g wireGlance) []string { return []string{g.Site.String()} })
	})
}

func newGlance(g postgres.Glance) wireGlance {
	w := wireGlance{Site: g.SiteID, Name: g.Site, LastOn: g.LastOn, OpenBatches: g.OpenBatches, Fish: g.Fish, Questions: g.Questions,
		Biomass: json.RawMessage(g.Biomass.Grams().Format()), Basis: "sampled", Feed: json.RawMessage(g.Feed.Format())}
	switch {
	case g.Unweighed:
		w.Biomass, w.Basis = json.RawMessage("null"), "none"
	case g.Fish == 0:
		w.Basis = "none"
	case g.Counted:
		w.Basis = "counted"
	}
	if days, ok := g.DaysOfFeedLeft(); ok {
		days = math.Round(days*10) / 10
		w.DaysLeft = &days
	}
	return w
}

// pageAfter reads where a page of a list that is ordered by id begins.
func pageAfter[T any](c *gin.Context, after *string, limit *int) (page, *domain.ID[T], error) {
	p, err := pageOf(c, after, limit, 1)
	if err != nil || p.after == nil {
		return p, nil, err
	}
	id, err := domain.ParseID[T](p.after[0])
	if err != nil {
		return p, nil, errCursor
	}
	return p, &id, nil
}

type wireAccount struct {
	Party    domain.PartyID `json:"party_id"`
	Name     string         `json:"party"`
	Sold     string         `json:"sold"`
	Bought   string         `json:"bought"`
	Received string         `json:"received"`
	Paid     string         `json:"paid"`
	Balance  string         `json:"balance"`
}

// ListAccounts shows what is owed between the co-operative and each party.
func (s *Server) ListAccounts(c *gin.Context, params openapi.ListAccountsParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, after, err := pageAfter[domain.Party](c, params.After, params.Limit)
		if err != nil {
			return reply{}, err
		}
		found, more, err := tx.Accounts(ctx, after, p.limit)
		if err != nil {
			return reply{}, err
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireAccount, len(found))
		for i, a := range found {
			items[i] = wireAccount{a.PartyID, a.Party, currency.Format(a.Sold), currency.Format(a.Bought), currency.Format(a.Received), currency.Format(a.Paid), currency.Format(a.Balance())}
		}
		return listReply(c, p, items, more, func(a wireAccount) []string { return []string{a.Party.String()} })
	})
}

type wireStoreItem struct {
	Product     domain.ProductID `json:"product_id"`
	Name        string           `json:"product"`
	Unit        string           `json:"unit"`
	Quantity    json.RawMessage  `json:"quantity"`
	Value       string           `json:"value"`
	UnitCost    *string          `json:"unit_cost"`
	Donated     string           `json:"donated_value"`
	Revaluation string           `json:"revaluation"`
	CountedOn   *domain.Date     `json:"last_counted_on"`
}

// GetStore shows what a site holds.
func (s *Server) GetStore(c *gin.Context, id openapi.SitePath, params openapi.GetStoreParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, after, err := pageAfter[domain.Product](c, params.After, params.Limit)
		if err != nil {
			return reply{}, err
		}
		found, more, err := tx.Store(ctx, domain.SiteID(id), after, p.limit)
		if err != nil {
			return reply{}, err
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireStoreItem, len(found))
		for i, it := range found {
			items[i] = newStoreItem(it, currency)
		}
		return listReply(c, p, items, more, func(it wireStoreItem) []string { return []string{it.Product.String()} })
	})
}

func newStoreItem(it postgres.StoreItem, c domain.Currency) wireStoreItem {
	w := wireStoreItem{Product: it.ProductID, Name: it.Product, Unit: it.Unit, Quantity: json.RawMessage(it.Balance.Format()), Value: c.Format(it.Value),
		Donated: c.Format(it.DonatedV), Revaluation: c.Format(it.Revaluation), CountedOn: it.CountedOn}
	if price, ok := it.UnitCost(); ok {
		text := c.FormatPrice(price)
		w.UnitCost = &text
	}
	return w
}
