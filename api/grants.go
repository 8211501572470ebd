package api

import (
	"encoding/json"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireGrant struct {
	ID          domain.GrantID    `json:"id"`
	Funder      domain.PartyID    `json:"funder_id"`
	Title       string            `json:"title"`
	StartsOn    domain.Date       `json:"starts_on"`
	EndsOn      domain.Date       `json:"ends_on"`
	Currency    domain.Currency   `json:"currency"`
	Lines       []wireBudgetLine  `json:"lines"`
	Sites       []wireGrantSite   `json:"sites"`
	Rates       []wireRate        `json:"rates"`
	Measures    []wireMeasure     `json:"indicators"`
	Others      []wireOther       `json:"other_funds"`
	Members     []domain.MemberID `json:"members"`
	PortionG    *json.Number      `json:"portion_g"`
	PortionForm string            `json:"portion_form"`
	FlagPercent *json.Number      `json:"flag_percent"`
	Activity    *string           `json:"iati_activity,omitempty"`
	Reporter    *string           `json:"iati_reporter,omitempty"`
	Sectors     []wireSector      `json:"iati_sectors"`
	Archived    bool              `json:"archived"`
}

type wireBudgetLine struct {
	Code   string `json:"code"`
	Title  string `json:"title"`
	Amount string `json:"amount"`
}

type wireSector struct {
	Code    string       `json:"code"`
	Percent *json.Number `json:"percent"`
}

type wireGrantSite struct {
	Site         domain.SiteID `json:"site_id"`
	SupportUntil *domain.Date  `json:"support_until,omitempty"`
}

type wireRate struct {
	From   domain.Date `json:"from"`
	Rate   string      `json:"rate"`
	Source string      `json:"source"`
}

type wireMeasure struct {
	Code       string       `json:"code"`
	Baseline   *string      `json:"baseline,omitempty"`
	BaselineOn *domain.Date `json:"baseline_on,omitempty"`
	Targets    []wireTarget `json:"targets,omitempty"`
}

type wireTarget struct {
	From  domain.Date `json:"from"`
	To    domain.Date `json:"to"`
	Value string      `json:"value"`
}

type wireOther struct {
	Source string `json:"source"`
	Kind   string `json:"kind"`
	Amount string `json:"amount"`
}

// What a grant has if nothing is said: portions and flags (common practice, no source, and
// general conditions of EU grants, article 9.4, from memory of the source).
const (
	usualPortion = 50_000
	usualFlag    = 25_000
)

var grants = noun[domain.Grant, wireGrant]{
	store: &postgres.Grants,
	key:   func(f *domain.Grant) (domain.GrantID, int64) { return f.ID, f.Version },
	begin: func(w *wireGrant, id domain.GrantID) domain.Grant {
		return domain.Grant{ID: id, Funder: w.Funder, Currency: w.Currency}
	},
	read:  readGrant,
	write: func(f *domain.Grant, _ domain.Currency) wireGrant { return writeGrant(f) },
}

func readGrant(r *reading, w *wireGrant, f *domain.Grant) {
	money := func(s, pointer string) domain.Money {
		m, err := f.Currency.Parse(s)
		r.note(err, pointer)
		return m
	}
	f.Title, f.StartsOn, f.EndsOn, f.Members, f.Archived = w.Title, w.StartsOn, w.EndsOn, w.Members, w.Archived
	f.Activity, f.Reporter = w.Activity, w.Reporter
	f.Lines, f.Sites, f.Rates, f.Measures, f.Others, f.Sectors = nil, nil, nil, nil, nil, nil
	for _, s := range w.Sectors {
		f.Sectors = append(f.Sectors, domain.Sector{Code: s.Code, Percent: *r.decimal(s.Percent, "/iati_sectors")})
	}
	for _, l := range w.Lines {
		f.Lines = append(f.Lines, domain.BudgetLine{Code: l.Code, Title: l.Title, Amount: money(l.Amount, "/lines")})
	}
	for _, s := range w.Sites {
		f.Sites = append(f.Sites, domain.GrantSite(s))
	}
	for _, x := range w.Rates {
		f.Rates = append(f.Rates, domain.Rate(x))
	}
	for _, m := range w.Measures {
		measure := domain.GrantMeasure{Code: m.Code, Baseline: m.Baseline, BaselineOn: m.BaselineOn}
		for _, t := range m.Targets {
			measure.Targets = append(measure.Targets, domain.Target{Span: domain.Span{From: t.From, To: t.To}, Value: t.Value})
		}
		f.Measures = append(f.Measures, measure)
	}
	for _, o := range w.Others {
		f.Others = append(f.Others, domain.OtherFunds{Source: o.Source, Kind: o.Kind, Amount: money(o.Amount, "/other_funds")})
	}
	f.PortionG, f.FlagPercent, f.PortionForm = usualPortion, usualFlag, "fillet"
	if v := r.decimal(w.PortionG, "/portion_g"); v != nil {
		f.PortionG = *v
	}
	if v := r.decimal(w.FlagPercent, "/flag_percent"); v != nil {
		f.FlagPercent = *v
	}
	if w.PortionForm != "" {
		f.PortionForm = w.PortionForm
	}
}

func writeGrant(f *domain.Grant) wireGrant {
	w := wireGrant{ID: f.ID, Funder: f.Funder, Title: f.Title, StartsOn: f.StartsOn, EndsOn: f.EndsOn, Currency: f.Currency,
		Lines: []wireBudgetLine{}, Sites: []wireGrantSite{}, Rates: []wireRate{}, Measures: []wireMeasure{}, Others: []wireOther{}, Sectors: []wireSector{},
		Members: append([]domain.MemberID{}, f.Members...), PortionG: decimal(&f.PortionG), PortionForm: f.PortionForm,
		FlagPercent: decimal(&f.FlagPercent), Activity: f.Activity, Reporter: f.Reporter, Archived: f.Archived}
	for _, s := range f.Sectors {
		w.Sectors = append(w.Sectors, wireSector{s.Code, decimal(&s.Percent)})
	}
	for _, l := range f.Lines {
		w.Lines = append(w.Lines, wireBudgetLine{l.Code, l.Title, f.Currency.Format(l.Amount)})
	}
	for _, s := range f.Sites {
		w.Sites = append(w.Sites, wireGrantSite(s))
	}
	for _, x := range f.Rates {
		w.Rates = append(w.Rates, wireRate(x))
	}
	for _, m := range f.Measures {
		measure := wireMeasure{Code: m.Code, Baseline: m.Baseline, BaselineOn: m.BaselineOn}
		for _, t := range m.Targets {
			measure.Targets = append(measure.Targets, wireTarget{t.From, t.To, t.Value})
		}
		w.Measures = append(w.Measures, measure)
	}
	for _, o := range f.Others {
		w.Others = append(w.Others, wireOther{o.Source, o.Kind, f.Currency.Format(o.Amount)})
	}
	return w
}

// ListGrants lists grants.
func (s *Server) ListGrants(c *gin.Context, q openapi.ListGrantsParams) {
	grants.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreateGrant adds a grant.
func (s *Server) CreateGrant(c *gin.Context, p openapi.CreateGrantParams) {
	grants.create(s, c, p.IdempotencyKey)
}

// GetGrant shows a grant.
func (s *Server) GetGrant(c *gin.Context, id openapi.GrantPath) {
	grants.get(s, c, domain.GrantID(id))
}

// ReviseGrant changes a grant.
func (s *Server) ReviseGrant(c *gin.Context, id openapi.GrantPath, _ openapi.ReviseGrantParams) {
	grants.revise(s, c, domain.GrantID(id))
}

type wireGrantCost struct {
	ID        domain.GrantCostID  `json:"id"`
	Grant     domain.GrantID      `json:"grant_id"`
	Line      string              `json:"line"`
	Entry     *domain.EntryID     `json:"entry_id,omitempty"`
	Equipment *domain.EquipmentID `json:"equipment_id,omitempty"`
	Percent   *json.Number        `json:"percent"`
	Archived  bool                `json:"archived"`
}

var grantCosts = noun[domain.GrantCost, wireGrantCost]{
	store: &postgres.GrantCosts,
	key:   func(f *domain.GrantCost) (domain.GrantCostID, int64) { return f.ID, f.Version },
	begin: func(w *wireGrantCost, id domain.GrantCostID) domain.GrantCost {
		return domain.GrantCost{ID: id, Grant: w.Grant, Entry: w.Entry, Equipment: w.Equipment}
	},
	read: func(r *reading, w *wireGrantCost, f *domain.GrantCost) {
		f.Line, f.Archived, f.Percent = w.Line, w.Archived, 100_000
		if v := r.decimal(w.Percent, "/percent"); v != nil {
			f.Percent = *v
		}
	},
	write: func(f *domain.GrantCost, _ domain.Currency) wireGrantCost {
		return wireGrantCost{f.ID, f.Grant, f.Line, f.Entry, f.Equipment, decimal(&f.Percent), f.Archived}
	},
}

// ListGrantCosts lists what is charged to grants.
func (s *Server) ListGrantCosts(c *gin.Context, q openapi.ListGrantCostsParams) {
	grantCosts.list(s, c, asked{q.After, q.Limit, q.Archived, nil})
}

// CreateGrantCost charges a cost to a grant.
func (s *Server) CreateGrantCost(c *gin.Context, p openapi.CreateGrantCostParams) {
	grantCosts.create(s, c, p.IdempotencyKey)
}

// GetGrantCost shows a cost of a grant.
func (s *Server) GetGrantCost(c *gin.Context, id openapi.GrantCostPath) {
	grantCosts.get(s, c, domain.GrantCostID(id))
}

// ReviseGrantCost changes a cost of a grant.
func (s *Server) ReviseGrantCost(c *gin.Context, id openapi.GrantCostPath, _ openapi.ReviseGrantCostParams) {
	grantCosts.revise(s, c, domain.GrantCostID(id))
}
