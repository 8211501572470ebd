package postgres

import (
	"context"
	"time"

	"shoalbook/domain"
)

// KeptPlan is a plan of a round as it is kept.
type KeptPlan struct {
	Version    int64
	RecordedAt time.Time
	RecordedBy string
	Plan       domain.RoundPlan
}

// PlanAsk reads what a plan of a round is made from.
func (tx *Tx) PlanAsk(ctx context.Context, round *domain.Round, need string) (*domain.PlanAsk, error) {
	if err := tx.forAll(); err != nil {
		return nil, err
	}
	a := &domain.PlanAsk{Round: round, Need: need}
	later(tx, &a.Quotes, `select `+Quotes.columns("n", "n")+` from quote n where n.coop_id = $1 and own_site(null) and n.round_id = $2 and not n.withdrawn order by n.id`, tx.coop, round.ID)
	var err error
	a.Today, err = tx.Today(ctx)
	if err == nil {
		a.Requests, err = tx.requestsOf(ctx, round.ID)
	}
	if err == nil && round.Fish() {
		a.Losses, err = tx.PlanLosses(ctx)
	}
	return a, err
}

// requestsOf returns what sites ask of a round, but for what was withdrawn.
func (tx *Tx) requestsOf(ctx context.Context, round domain.RoundID) ([]domain.Request, error) {
	return all[domain.Request](ctx, tx, `select `+Requests.columns("n", "n")+` from request n where n.coop_id = $1 and own_site(n.site_id) and n.round_id = $2 and not n.withdrawn order by n.id`, tx.coop, round)
}

// KeepPlan keeps a plan as the next version of those of its round, which is planned then.
func (tx *Tx) KeepPlan(ctx context.Context, round domain.RoundID, plan *domain.RoundPlan) (KeptPlan, error) {
	if _, err := tx.AdvanceRound(ctx, round, domain.RoundPlanned); err != nil {
		return KeptPlan{}, err
	}
	const sql = `
		insert into round_plan (coop_id, round_id, version, plan)
		select $1, $2, coalesce((select max(version) from round_plan p where p.coop_id = $1 and own_site(null) and p.round_id = $2), 0) + 1, $3
		where own_site(null)
		returning version, recorded_at, recorded_by, plan`
	return one[KeptPlan](ctx, tx, sql, tx.coop, round, plan)
}

// LastPlan returns the last plan of a round.
func (tx *Tx) LastPlan(ctx context.Context, round domain.RoundID) (KeptPlan, error) {
	const sql = `
		select version, recorded_at, recorded_by, plan from round_plan
		where coop_id = $1 and own_site(null) and round_id = $2 order by version desc limit 1`
	found, err := all[KeptPlan](ctx, tx, sql, tx.coop, round)
	switch {
	case err != nil:
		return KeptPlan{}, err
	case len(found) == 0:
		return KeptPlan{}, domain.Missing("plan of this round")
	}
	return found[0], nil
}
