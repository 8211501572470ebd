package postgres

import (
	"context"
	"errors"
	"fmt"

	"shoalbook/domain"
)

// Rounds has the purchases that sites make together. All of the co-operative see them.
var Rounds = Noun[domain.Round, domain.RoundID]{
	name:  "round",
	fixed: []string{"species", "product_id"},
	plain: []string{"name", "deadline", "window_from", "window_to", "need", "fees_by", "note", "state", "reason"},
	id:    func(f *domain.Round) domain.RoundID { return f.ID },
	pack: func(f *domain.Round) []any {
		return []any{f.Species, f.Product, f.Name, f.Deadline, f.WindowFrom, f.WindowTo, f.Need, f.FeesBy, f.Note, f.State, f.Reason}
	},
	check: (*domain.Round).Check,
	admit: func(_ context.Context, _ *Tx, was, is *domain.Round) error {
		if was == nil || was.State != is.State {
			return nil
		}
		return was.TakesChanges()
	},
}

// Requests has what sites ask of rounds.
var Requests = Noun[domain.Request, domain.RequestID]{
	name:  "request",
	site:  "site_id",
	fixed: []string{"round_id", "site_id", "unit_id"},
	plain: []string{"quantity", "least", "most", "size_from", "size_to", "earliest", "latest", "note", "withdrawn"},
	id:    func(f *domain.Request) domain.RequestID { return f.ID },
	pack: func(f *domain.Request) []any {
		return []any{f.Round, f.Site, f.Unit, f.Quantity, f.Least, f.Most, f.SizeFrom, f.SizeTo, f.Earliest, f.Latest, f.Note, f.Withdrawn}
	},
	check: (*domain.Request).Check,
	admit: admitRequest,
}

// admitRequest looks at the round, which is not closed or planned meanwhile, and at the
// unit.
func admitRequest(ctx context.Context, tx *Tx, was, is *domain.Request) error {
	round, err := tx.roundFor(ctx, is.Round)
	if err != nil {
		return err
	}
	if err := round.TakesRequests(tx.actor.At, tx.actor.Role); err != nil {
		return err
	}
	if err := is.Fits(&round); err != nil {
		return err
	}
	if was == nil {
		if err := inUse(ctx, tx, "site", "/site_id", is.Site, is.Site); err != nil {
			return err
		}
	}
	if is.Unit == nil {
		return nil
	}
	if was == nil {
		if err := inUse(ctx, tx, "unit", "/unit_id", *is.Unit, is.Site); err != nil {
			return err
		}
	}
	unit, err := Units.Get(ctx, tx, *is.Unit)
	if err != nil {
		return err
	}
	return is.HasRoom(&unit)
}

// Quotes has what suppliers offer to rounds.
var Quotes = Noun[domain.Quote, domain.QuoteID]{
	name:   "quote",
	forAll: true,
	fixed:  []string{"round_id", "party_id"},
	plain: []string{"mean_weight", "weight_cv_percent", "steps", "steps_apply", "least_order", "pack", "most", "earliest", "latest", "fee_order", "fee_drop", "fee_per_km",
		"stops", "speed_km_h", "carried_in", "litres", "vessels", "fish_per_vessel", "temperature_c", "deaths_percent", "short_percent", "deposit_percent",
		"valid_until", "expires_on", "note", "withdrawn"},
	id: func(f *domain.Quote) domain.QuoteID { return f.ID },
	pack: func(f *domain.Quote) []any {
		return []any{f.Round, f.Party, f.MeanWeight, f.WeightCVPercent, f.Steps, f.StepsApply, f.LeastOrder, f.Pack, f.Most, f.Earliest, f.Latest, f.FeeOrder, f.FeeDrop, f.FeePerKm,
			append([]domain.Stop{}, f.Stops...), f.SpeedKmH, f.CarriedIn, f.Litres, f.Vessels, f.FishPerVessel, f.TemperatureC, f.DeathsPercent, f.ShortPercent, f.DepositPercent,
			f.ValidUntil, f.ExpiresOn, f.Note, f.Withdrawn}
	},
	check: (*domain.Quote).Check,
	admit: func(ctx context.Context, tx *Tx, was, is *domain.Quote) error {
		round, err := tx.roundFor(ctx, is.Round)
		if err != nil {
			return err
		}
		if err := round.TakesQuotes(); err != nil {
			return err
		}
		if err := is.Fits(&round); err != nil {
			return err
		}
		if was == nil {
			if err := tx.supplier(ctx, is.Party); err != nil {
				return err
			}
		}
		return tx.knowsStops(ctx, is.Stops)
	},
}

// roundFor reads a round that is not to change until the transaction ends.
func (tx *Tx) roundFor(ctx context.Context, id domain.RoundID) (domain.Round, error) {
	return Rounds.read(ctx, tx, id, "for share")
}

// supplier refuses to have a quote of somebody who is not there or out of use.
func (tx *Tx) supplier(ctx context.Context, id domain.PartyID) error {
	party, err := Parties.Get(ctx, tx, id)
	var refused *domain.Error
	switch {
	case errors.As(err, &refused) && refused.Kind == domain.NotFound:
		refusal := unknown("party", "/party_id")
		return &refusal
	case err != nil:
		return err
	case party.Archived:
		return &domain.Error{Kind: domain.Refused, Code: "archived", Detail: "the party is out of use",
			Fields: []domain.FieldError{{Pointer: "/party_id", Detail: "is out of use"}}}
	}
	return nil
}

// knowsStops refuses a way by a site that is not there.
func (tx *Tx) knowsStops(ctx context.Context, stops []domain.Stop) error {
	ids := make([]domain.SiteID, len(stops))
	for i, s := range stops {
		ids[i] = s.Site
	}
	type known struct{ ID domain.SiteID }
	found, err := all[known](ctx, tx, `select id from site where coop_id = $1 and own_site(id) and id = any($2) order by id`, tx.coop, ids)
	if err != nil {
		return err
	}
	there := map[domain.SiteID]bool{}
	for _, k := range found {
		there[k.ID] = true
	}
	for i, id := range ids {
		if !there[id] {
			refusal := unknown("site", fmt.Sprintf("/stops/%d/site_id", i))
			return &refusal
		}
	}
	return nil
}

// StepRound puts a round into another state, as a person says it.
func (tx *Tx) StepRound(ctx context.Context, id domain.RoundID, to domain.RoundState, reason *string) (domain.Round, error) {
	round, err := Rounds.Hold(ctx, tx, id)
	if err != nil {
		return round, err
	}
	return Rounds.Revise(ctx, tx, id, round.Version, nil, func(r *domain.Round) error { return r.Step(to, reason) })
}

// AdvanceRound puts a round into the state that comes with work that was done, by
// whoever did it: the first delivery may be recorded by the keeper of one site. The
// round is held until the transaction ends.
func (tx *Tx) AdvanceRound(ctx context.Context, id domain.RoundID, to domain.RoundState) (domain.Round, error) {
	round, err := Rounds.Hold(ctx, tx, id)
	if err != nil {
		return round, err
	}
	was := round.State
	if err := round.Advance(to); err != nil || was == to {
		return round, err
	}
	sql := fmt.Sprintf(`
		with changed as (
			update round n set state = $3, reason = null, version = version + 1
			where coop_id = $1 and id = $2 and ($3 = 'delivering' or own_site(null))
			returning *
		), revised as (
			insert into revision (coop_id, noun, id, version, facts)
			select coop_id, 'round', id, version, to_jsonb(changed) - 'coop_id' from changed
		)
		select %s from changed n`, Rounds.columns("n", "n"))
	return one[domain.Round](ctx, tx, sql, tx.coop, id, to)
}

// RequestQuestions returns what is to be asked about some requests, as the books are
// today.
func (tx *Tx) RequestQuestions(ctx context.Context, ids []domain.RequestID) (map[domain.RequestID][]domain.RequestQuestion, error) {
	asked := map[domain.RequestID][]domain.RequestQuestion{}
	requests, err := all[domain.Request](ctx, tx, `select `+Requests.columns("n", "n")+` from request n where n.coop_id = $1 and own_site(n.site_id) and n.id = any($2)`, tx.coop, ids)
	if err != nil {
		return nil, err
	}
	rounds := map[domain.RoundID]*domain.Round{}
	kept := map[domain.SiteID]*domain.Keeping{}
	for _, q := range requests {
		if rounds[q.Round] == nil {
			round, err := Rounds.Get(ctx, tx, q.Round)
			if err != nil {
				return nil, err
			}
			rounds[q.Round] = &round
		}
		if kept[q.Site] == nil {
			if kept[q.Site], err = tx.Keeping(ctx, q.Site, nil); err != nil {
				return nil, err
			}
		}
		asked[q.ID] = q.Questions(rounds[q.Round], kept[q.Site])
	}
	return asked, nil
}
