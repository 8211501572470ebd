package api

import (
	"cmp"
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireRound struct {
	ID         domain.RoundID      `json:"id"`
	Name       string              `json:"name"`
	Species    *string             `json:"species,omitempty"`
	Product    *domain.ProductID   `json:"product_id,omitempty"`
	Deadline   time.Time           `json:"deadline"`
	WindowFrom domain.Date         `json:"window_from"`
	WindowTo   domain.Date         `json:"window_to"`
	Need       string              `json:"need"`
	FeesBy     string              `json:"fees_by"`
	Note       *string             `json:"note,omitempty"`
	State      domain.RoundState   `json:"state,omitempty"`
	Reason     *string             `json:"reason,omitempty"`
	MayBecome  []domain.RoundState `json:"may_become"`
}

// wireSettled is a round with what settling it has left alone.
type wireSettled struct {
	wireRound
	LeftAlone []wireLeftAlone `json:"left_alone,omitempty"`
}

type wireLeftAlone struct {
	Delivery   domain.DeliveryID `json:"delivery_id"`
	Site       domain.SiteID     `json:"site_id"`
	Entry      domain.EntryID    `json:"entry_id"`
	ReplacedBy *domain.EntryID   `json:"replaced_by,omitempty"`
	Amount     string            `json:"amount"`
	Says       string            `json:"says"`
}

var rounds = noun[domain.Round, wireRound]{
	store: &postgres.Rounds,
	key:   func(f *domain.Round) (domain.RoundID, int64) { return f.ID, f.Version },
	begin: func(w *wireRound, id domain.RoundID) domain.Round {
		return domain.Round{ID: id, Species: w.Species, Product: w.Product, State: domain.RoundOpen}
	},
	read: func(_ *reading, w *wireRound, f *domain.Round) {
		f.Name, f.Deadline, f.WindowFrom, f.WindowTo, f.Note = w.Name, w.Deadline, w.WindowFrom, w.WindowTo, w.Note
		f.Need, f.FeesBy = cmp.Or(w.Need, domain.NeedArrival), cmp.Or(w.FeesBy, domain.FeesByCount)
	},
	write: func(f *domain.Round, _ domain.Currency) wireRound {
		return wireRound{f.ID, f.Name, f.Species, f.Product, f.Deadline.UTC(), f.WindowFrom, f.WindowTo, f.Need, f.FeesBy, f.Note,
			f.State, f.Reason, append([]domain.RoundState{}, f.State.Next()...)}
	},
}

// ListRounds lists what sites buy together.
func (s *Server) ListRounds(c *gin.Context, q openapi.ListRoundsParams) {
	rounds.list(s, c, asked{q.After, q.Limit, nil, nil})
}

// CreateRound opens a round.
func (s *Server) CreateRound(c *gin.Context, p openapi.CreateRoundParams) {
	rounds.create(s, c, p.IdempotencyKey)
}

// GetRound shows a round.
func (s *Server) GetRound(c *gin.Context, id openapi.RoundPath) {
	rounds.get(s, c, domain.RoundID(id))
}

// ReviseRound changes a round.
func (s *Server) ReviseRound(c *gin.Context, id openapi.RoundPath, _ openapi.ReviseRoundParams) {
	rounds.revise(s, c, domain.RoundID(id))
}

// SetRoundState takes the step of a round that a person says.
func (s *Server) SetRoundState(c *gin.Context, id openapi.RoundPath, p openapi.SetRoundStateParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var body struct {
			State  domain.RoundState `json:"state"`
			Reason *string           `json:"reason"`
		}
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		round, err := tx.StepRound(ctx, domain.RoundID(id), body.State, body.Reason)
		if err != nil {
			return reply{}, err
		}
		if round.State == domain.RoundSettled {
			return settled(ctx, tx, round)
		}
		return rounds.answer(ctx, tx, http.StatusCreated, round)
	})
}

// settled settles a round, and says what was left alone.
func settled(ctx context.Context, tx *postgres.Tx, round domain.Round) (reply, error) {
	left, err := tx.Settle(ctx, &round, newID[domain.Entry], mayRecord)
	if err != nil {
		return reply{}, err
	}
	currency, err := tx.Currency(ctx)
	if err != nil {
		return reply{}, err
	}
	shown := wireSettled{wireRound: rounds.write(&round, currency)}
	for i := range left {
		l := &left[i]
		shown.LeftAlone = append(shown.LeftAlone, wireLeftAlone{l.Delivery, l.Site, l.Entry, l.Replacement, currency.Format(l.Cost), l.Says(currency)})
	}
	a, err := jsonReply(http.StatusCreated, shown)
	return a.with("ETag", rounds.entityTag(&shown.wireRound, round.Version)), err
}

// roundOf returns the round in the path, which must be there.
func roundOf(ctx context.Context, tx *postgres.Tx, c *gin.Context) (domain.Round, error) {
	id, err := domain.ParseID[domain.Round](c.Param("id"))
	if err != nil {
		return domain.Round{}, postgres.Rounds.Missing()
	}
	return postgres.Rounds.Get(ctx, tx, id)
}

// createIn adds a thing to the round in the path, which complete may take facts from.
func createIn[T, W any](s *Server, c *gin.Context, n *noun[T, W], key string, complete func(*T, *domain.Round)) {
	s.once(c, key, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		round, err := roundOf(ctx, tx, c)
		if err != nil {
			return reply{}, err
		}
		id, err := newID[T]()
		if err != nil {
			return reply{}, err
		}
		facts, err := n.decode(ctx, tx, bodyOf(c), id)
		if err != nil {
			return reply{}, err
		}
		complete(&facts, &round)
		made, err := n.store.Create(ctx, tx, facts)
		if err != nil {
			return reply{}, err
		}
		return n.created(ctx, tx, c, made)
	})
}

// newID makes the id of something new, in the order of time.
func newID[T any]() (domain.ID[T], error) {
	id, err := uuid.NewV7()
	return domain.ID[T](id), err
}
