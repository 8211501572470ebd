package postgres

import (
	"context"
	"slices"

	"shoalbook/domain"
)

// Grants has what funders give.
var Grants = Noun[domain.Grant, domain.GrantID]{
	name:   "funding", // since a grant is a word of SQL
	called: "grant",
	forAll: true,
	fixed:  []string{"funder_id", "currency"},
	plain: []string{"title", "starts_on", "ends_on", "lines", "sites", "rates", "measures", "others", "members", "portion_g", "portion_form",
		"flag_percent", "activity", "reporter", "sectors", "archived"},
	id: func(f *domain.Grant) domain.GrantID { return f.ID },
	pack: func(f *domain.Grant) []any {
		return []any{f.Funder, f.Currency, f.Title, f.StartsOn, f.EndsOn, filled(f.Lines), filled(f.Sites), filled(f.Rates), filled(f.Measures),
			filled(f.Others), filled(f.Members), f.PortionG, f.PortionForm, f.FlagPercent, f.Activity, f.Reporter, filled(f.Sectors), f.Archived}
	},
	check: (*domain.Grant).Check,
	admit: func(ctx context.Context, tx *Tx, _, is *domain.Grant) error {
		if err := tx.forAll(); err != nil {
			return err
		}
		if err := tx.knowsSites(ctx, is.SitesOf()); err != nil {
			return err
		}
		if err := tx.knowsMembers(ctx, is.Members); err != nil {
			return err
		}
		codes := make([]string, len(is.Measures))
		for i, m := range is.Measures {
			codes[i] = m.Code
		}
		_, err := tx.definitions(ctx, codes)
		return err
	},
}

// filled returns an empty list for none.
func filled[T any](items []T) []T {
	if items == nil {
		return []T{}
	}
	return items
}

// knowsMembers refuses a list of members of which one is not there.
func (tx *Tx) knowsMembers(ctx context.Context, members []domain.MemberID) error {
	type count struct{ Known int }
	found, err := one[count](ctx, tx, `select count(*) as known from member where coop_id = $1 and own_site(null) and id = any($2)`, tx.coop, filled(members))
	if err == nil && found.Known != len(members) {
		refusal := unknown("member", "/members")
		return &refusal
	}
	return err
}

// GrantCosts has what is charged to grants.
var GrantCosts = Noun[domain.GrantCost, domain.GrantCostID]{
	name:   "grant_cost",
	called: "cost of a grant",
	forAll: true,
	fixed:  []string{"grant_id", "entry_id", "equipment_id"},
	plain:  []string{"line", "percent", "archived"},
	id:     func(f *domain.GrantCost) domain.GrantCostID { return f.ID },
	pack: func(f *domain.GrantCost) []any {
		return []any{f.Grant, f.Entry, f.Equipment, f.Line, f.Percent, f.Archived}
	},
	check: (*domain.GrantCost).Check,
	admit: func(ctx context.Context, tx *Tx, _, is *domain.GrantCost) error { return tx.chargeable(ctx, is) },
}

// chargeable refuses what cannot be charged to a grant: to a line that it does not have,
// an entry that is no spending or is reversed, and more than there is, over all grants.
func (tx *Tx) chargeable(ctx context.Context, c *domain.GrantCost) error {
	if err := tx.forAll(); err != nil {
		return err
	}
	g, err := Grants.Get(ctx, tx, c.Grant)
	if err != nil {
		refusal := unknown("grant", "/grant_id")
		return &refusal
	}
	if !slices.ContainsFunc(g.Lines, func(l domain.BudgetLine) bool { return l.Code == c.Line }) {
		return &domain.Error{Kind: domain.Refused, Code: "unknown_reference", Detail: "the budget of the grant has no such line",
			Fields: []domain.FieldError{{Pointer: "/line", Detail: "is no line of the budget"}}}
	}
	if c.Entry != nil {
		found, err := tx.Entry(ctx, *c.Entry)
		if err != nil {
			refusal := unknown("entry", "/entry_id")
			return &refusal
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return err
		}
		e, err := domain.DecodeEntry(found.Entry, currency)
		if err != nil {
			return err
		}
		if _, ok := domain.CostOf(e.Body); !ok || found.ReversedBy != nil {
			return &domain.Error{Kind: domain.Refused, Code: "not_chargeable", Detail: "a grant is charged with expenses, paid work, what was bought and fish, while they stand",
				Fields: []domain.FieldError{{Pointer: "/entry_id", Detail: "is no spending, or was reversed"}}}
		}
	}
	const others = `
		select coalesce(sum(percent), 0)::bigint as percent from grant_cost
		where coop_id = $1 and own_site(null) and id <> $2 and not archived and (entry_id = $3 or equipment_id = $4)`
	type share struct{ Percent domain.Thousandths }
	taken, err := one[share](ctx, tx, others, tx.coop, c.ID, c.Entry, c.Equipment)
	if err == nil && !c.Archived && taken.Percent+c.Percent > 100_000 {
		return &domain.Error{Kind: domain.Refused, Code: "charged_already", Detail: "no more than the whole of it can be charged to all grants together; " + taken.Percent.Format() + " % are charged already",
			Fields: []domain.FieldError{{Pointer: "/percent", Detail: "is more than what is left"}}}
	}
	return err
}

// Indicators has what the co-operative measures besides the catalogue.
var Indicators = Noun[domain.Indicator, domain.IndicatorID]{
	name:   "indicator",
	forAll: true,
	fixed:  []string{"code"},
	plain:  []string{"title", "definition", "unit", "formula", "measure", "direction", "disaggregation", "source", "limits", "result", "archived"},
	id:     func(f *domain.Indicator) domain.IndicatorID { return f.ID },
	pack: func(f *domain.Indicator) []any {
		return []any{f.Code, f.Title, f.Definition, f.Unit, f.Formula, f.Measure, f.Direction, list(f.Disaggregation), f.Source, f.Limits, f.Result, f.Archived}
	},
	check: (*domain.Indicator).Check,
	admit: func(_ context.Context, tx *Tx, was, is *domain.Indicator) error {
		if _, ok := domain.CatalogueIndicator(is.Code); ok && was == nil {
			return domain.Errorf(domain.Conflict, "already_set", "there is an indicator %s in the catalogue: choose another code", is.Code)
		}
		return tx.forAll()
	},
}

// definitions returns the latest versions of indicators by their codes, in their order.
func (tx *Tx) definitions(ctx context.Context, codes []string) ([]domain.Indicator, error) {
	own, err := all[domain.Indicator](ctx, tx, `select `+Indicators.columns("n", "n")+` from indicator n where n.coop_id = $1 and own_site(null) and n.code = any($2)`, tx.coop, filled(codes))
	if err != nil {
		return nil, err
	}
	found := make([]domain.Indicator, len(codes))
	for i, code := range codes {
		d, ok := domain.CatalogueIndicator(code)
		if at := slices.IndexFunc(own, func(d domain.Indicator) bool { return d.Code == code }); !ok && at >= 0 {
			d, ok = own[at], true
		}
		if !ok {
			refusal := unknown("indicator "+code, "/indicators")
			return nil, &refusal
		}
		found[i] = d
	}
	return found, nil
}

// Reports has the reports to funders.
var Reports = Noun[domain.Report, domain.ReportID]{
	name:   "report",
	forAll: true,
	fixed:  []string{"grant_id", "starts_on", "ends_on", "restates_id", "reason"},
	plain:  []string{"title", "language", "texts", "state", "known_at", "issued_by", "sha256", "archived"},
	id:     func(f *domain.Report) domain.ReportID { return f.ID },
	pack: func(f *domain.Report) []any {
		return []any{f.Grant, f.StartsOn, f.EndsOn, f.Restates, f.Reason, f.Title, f.Language, filled(f.Texts), f.State, f.KnownAt, f.IssuedBy, f.SHA256, f.Archived}
	},
	check: (*domain.Report).Check,
	admit: func(ctx context.Context, tx *Tx, was, is *domain.Report) error {
		if err := tx.forAll(); err != nil {
			return err
		}
		if was != nil && was.State != domain.ReportDraft && is.State != domain.ReportRestated {
			return domain.Errorf(domain.Conflict, "report_issued", "the report was issued and stays as it is: make a restatement of it")
		}
		if was != nil {
			return nil
		}
		if _, err := Grants.Get(ctx, tx, is.Grant); err != nil {
			refusal := unknown("grant", "/grant_id")
			return &refusal
		}
		return nil
	},
}
