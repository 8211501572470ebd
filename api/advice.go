package api

import (
	"context"
	"net/url"
	"slices"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireAdvice struct {
	Code     string            `json:"code"`
	Severity int               `json:"severity"`
	Site     *domain.SiteID    `json:"site_id"`
	SiteName *string           `json:"site"`
	Unit     *domain.UnitID    `json:"unit_id"`
	Loop     *domain.LoopID    `json:"loop_id"`
	Batch    *domain.BatchID   `json:"batch_id"`
	Product  *domain.ProductID `json:"product_id"`
	Party    *domain.PartyID   `json:"party_id"`
	Period   *domain.PeriodID  `json:"period_id"`
	Aspect   *string           `json:"aspect"`
	Since    domain.Date       `json:"since"`
	Why      string            `json:"why"`
	Figures  []wireNamed       `json:"figures"`
	Entries  *string           `json:"entries"`
	Call     []wireContact     `json:"call"`
	Do       string            `json:"do"`
	Until    string            `json:"until"`
	SMS      string            `json:"sms"`
	Cautions []string          `json:"cautions"`
}

type wireContact struct {
	Name  string  `json:"name"`
	Phone *string `json:"phone"`
	Who   string  `json:"who"`
}

// ListAdvice shows what to do next.
func (s *Server) ListAdvice(c *gin.Context, params openapi.ListAdviceParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, err := pageOf(c, params.After, params.Limit, domain.AdviceKeys)
		if err != nil {
			return reply{}, err
		}
		tongue := tongueOf(params.Lang)
		list, err := adviceFor(ctx, tx, (*domain.SiteID)(params.SiteID), tongue)
		if err != nil {
			return reply{}, err
		}
		list = slices.DeleteFunc(list, func(x domain.Advice) bool {
			return params.Severity != nil && int(x.Severity) > *params.Severity || p.after != nil && slices.Compare(x.Key(), p.after) <= 0
		})
		more := len(list) > p.limit
		list = list[:min(len(list), p.limit)]
		items := make([]wireAdvice, len(list))
		for i := range list {
			items[i] = newAdvice(&list[i])
		}
		return cautionedReply(c, p, items, []string{tongue.Caution(domain.CautionFigures)}, more, func(wireAdvice) []string { return list[len(list)-1].Key() })
	})
}

// adviceFor returns all advice for the one who asks, the most urgent first: of what is
// owed only to those who see the accounts, and not where one site is asked for.
func adviceFor(ctx context.Context, tx *postgres.Tx, only *domain.SiteID, t domain.Tongue) ([]domain.Advice, error) {
	actor, err := tx.Actor(ctx)
	if err != nil {
		return nil, err
	}
	office := slices.Contains(offices, actor.Role)
	views, err := tx.SiteViews(ctx, only, office)
	if err != nil {
		return nil, err
	}
	words := advise(views, t) // while the database adds up what is owed
	var debts []domain.Debt
	today, err := tx.Today(ctx)
	if err == nil && office && only == nil {
		debts, err = tx.Debts(ctx, today)
	}
	list := slices.Concat(words()...)
	if err != nil {
		return nil, err
	}
	for i := range debts {
		list = append(list, debts[i].Advise(t, actor.Currency, today))
	}
	return domain.Sorted(list), nil
}

// advise begins to word the advice of each site, and returns what waits for it.
func advise(views []*domain.SiteView, t domain.Tongue) (wait func() [][]domain.Advice) {
	of := make([][]domain.Advice, len(views))
	done := atOnce(len(views), func(i int) { of[i] = views[i].Advise(t) })
	return func() [][]domain.Advice {
		done()
		return of
	}
}

func tongueOf(lang *openapi.Tongue) domain.Tongue {
	if lang == nil {
		return domain.English
	}
	return domain.Tongue(*lang)
}

func newAdvice(x *domain.Advice) wireAdvice {
	w := wireAdvice{Code: x.Code, Severity: int(x.Severity), SiteName: optionalText(x.SiteName), Unit: x.Unit, Loop: x.Loop, Batch: x.Batch, Product: x.Product,
		Party: x.Party, Period: x.Period, Aspect: optionalText(x.Measure), Since: x.Since, Why: x.Why, Figures: named(x.Figures), Entries: entriesBehind(x),
		Call: []wireContact{}, Do: x.Do, Until: x.Until, SMS: x.SMS, Cautions: texts(x.Cautions)}
	if x.Site != (domain.SiteID{}) {
		w.Site = &x.Site
	}
	for _, c := range x.Call {
		w.Call = append(w.Call, wireContact(c))
	}
	return w
}

// entriesBehind returns where the entries behind an advice are listed.
func entriesBehind(x *domain.Advice) *string {
	if x.Behind.Kinds == nil && x.Behind.From == nil {
		return nil
	}
	q := url.Values{}
	if x.Site != (domain.SiteID{}) {
		q.Set("site_id", x.Site.String())
	}
	switch {
	case x.Batch != nil:
		q.Set("batch_id", x.Batch.String())
		q.Set("include_site", "true")
	case x.Unit != nil && slices.Equal(x.Behind.Kinds, []string{"water"}):
		q.Set("unit_id", x.Unit.String())
	case x.Product != nil:
		q.Set("product_id", x.Product.String())
	case x.Party != nil:
		q.Set("party_id", x.Party.String())
	}
	if x.Behind.Kinds != nil {
		q["kind"] = x.Behind.Kinds
	}
	if x.Behind.From != nil {
		q.Set("from", x.Behind.From.String())
	}
	where := "/v1/entries?" + q.Encode()
	return &where
}

type wireVisit struct {
	Site      domain.SiteID    `json:"site_id"`
	SiteName  string           `json:"site"`
	Urgent    int              `json:"urgent"`
	Soon      int              `json:"soon"`
	Later     int              `json:"later"`
	VisitedOn *domain.Date     `json:"visited_on"`
	NextOn    *domain.Date     `json:"next_on"`
	Overdue   bool             `json:"overdue"`
	Why       string           `json:"why"`
	Take      []string         `json:"take"`
	Advice    []wireVisitTopic `json:"advice"`
}

type wireVisitTopic struct {
	Code     string `json:"code"`
	Severity int    `json:"severity"`
	Why      string `json:"why"`
}

// ListVisits shows which site to visit first.
func (s *Server) ListVisits(c *gin.Context, params openapi.ListVisitsParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, err := pageOf(c, params.After, params.Limit, domain.VisitKeys)
		if err != nil {
			return reply{}, err
		}
		views, err := tx.SiteViews(ctx, nil, false)
		if err != nil {
			return reply{}, err
		}
		tongue := tongueOf(params.Lang)
		visits := []domain.SiteVisit{}
		for i, list := range advise(views, tongue)() {
			if v, ok := views[i].Visit(tongue, list); ok && (p.after == nil || slices.Compare(v.Key(), p.after) > 0) {
				visits = append(visits, v)
			}
		}
		visits = domain.RankVisits(visits)
		items := make([]wireVisit, min(len(visits), p.limit))
		for i := range items {
			items[i] = newVisit(&visits[i])
		}
		return cautionedReply(c, p, items, []string{tongue.Caution(domain.CautionFigures)}, len(visits) > p.limit, func(wireVisit) []string { return visits[len(items)-1].Key() })
	})
}

func newVisit(v *domain.SiteVisit) wireVisit {
	w := wireVisit{v.Site, v.SiteName, v.Urgent, v.Soon, v.Later, v.VisitedOn, v.NextOn, v.Overdue, v.Why, texts(v.Take), []wireVisitTopic{}}
	for _, x := range v.Advice {
		w.Advice = append(w.Advice, wireVisitTopic{x.Code, int(x.Severity), x.Why})
	}
	return w
}
