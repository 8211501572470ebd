package api

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireQuestion struct {
	ID         *domain.EntryID `json:"id,omitempty"` // none: it goes away by itself
	Code       string          `json:"code"`
	Site       domain.SiteID   `json:"site_id"`
	EntryID    *domain.EntryID `json:"entry_id,omitempty"`
	Text       string          `json:"text"`
	Figures    json.RawMessage `json:"figures,omitempty"`
	Entry      json.RawMessage `json:"entry,omitempty"`
	Problem    *itemProblem    `json:"problem,omitempty"`
	Since      time.Time       `json:"since"`
	State      string          `json:"state"`
	AnsweredAt *time.Time      `json:"answered_at,omitempty"`
	AnsweredBy *string         `json:"answered_by,omitempty"`
	Reason     *string         `json:"reason,omitempty"`
	ref        domain.EntryID
}

// ListQuestions shows what a person should look at, or has looked at.
func (s *Server) ListQuestions(c *gin.Context, params openapi.ListQuestionsParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, err := pageOf(c, params.After, params.Limit, 3)
		if err != nil {
			return reply{}, err
		}
		f := postgres.QuestionFilter{State: "open", Site: optionalID[domain.SiteFacts](params.SiteID), Limit: p.limit}
		if params.State != nil {
			f.State = string(*params.State)
		}
		if f.After, err = questionAfter(p); err != nil {
			return reply{}, err
		}
		found, more, err := tx.Questions(ctx, f)
		if err != nil {
			return reply{}, err
		}
		items := make([]wireQuestion, len(found))
		for i, q := range found {
			items[i] = newQuestion(q)
		}
		return listReply(c, p, items, more, func(q wireQuestion) []string { return []string{q.Code, q.Site.String(), q.ref.String()} })
	})
}

func questionAfter(p page) (*postgres.Question, error) {
	if p.after == nil {
		return nil, nil
	}
	site, err := domain.ParseID[domain.SiteFacts](p.after[1])
	if err != nil {
		return nil, errCursor
	}
	ref, err := domain.ParseID[domain.Entry](p.after[2])
	if err != nil {
		return nil, errCursor
	}
	return &postgres.Question{Code: p.after[0], SiteID: site, RefID: ref}, nil
}

func newQuestion(q postgres.Question) wireQuestion {
	w := wireQuestion{Code: q.Code, Site: q.SiteID, Since: q.Since.UTC(), State: q.State, ref: q.RefID}
	switch q.Code {
	case "held":
		w.Entry = q.Entry
		w.Problem = newItemProblem(&domain.Error{Code: q.Problem, Detail: q.Detail})
		w.Text = "this record is kept aside and counts nowhere, since it does not fit: " + q.Detail
	case "store_below_zero":
		w.Text = "by the book the store has held less than nothing of " + q.Product + " since " + q.SinceDate.String() + ": is a receipt missing, or was less used?"
	default:
		w.ID, w.EntryID, w.Text, w.Figures = &q.RefID, q.EntryID, q.Text, q.Figures
		w.AnsweredBy, w.Reason = q.AnsweredBy, q.Reason
		if q.AnsweredAt != nil {
			w.AnsweredAt = new(q.AnsweredAt.UTC())
		}
	}
	return w
}

// AnswerQuestion confirms that an entry is right that a question was asked about.
func (s *Server) AnswerQuestion(c *gin.Context, id openapi.QuestionPath, p openapi.AnswerQuestionParams) {
	s.once(c, p.IdempotencyKey, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		var body struct {
			Reason string `json:"reason"`
		}
		if err := json.Unmarshal(bodyOf(c), &body); err != nil {
			return reply{}, err
		}
		answered, err := tx.Answer(ctx, domain.QuestionID(id), body.Reason)
		if err != nil {
			return reply{}, err
		}
		return jsonReply(http.StatusCreated, newQuestion(answered))
	})
}

type wireSaidQuestion struct {
	ID         domain.QuestionID `json:"id"`
	Site       domain.SiteID     `json:"site_id"`
	Entry      domain.EntryID    `json:"entry_id"`
	Code       string            `json:"code"`
	Text       string            `json:"text"`
	AnsweredBy *string           `json:"answered_by,omitempty"`
	Reason     *string           `json:"reason,omitempty"`
}

func saidQuestions(ctx context.Context, tx *postgres.Tx, lines []postgres.LineID, put put) error {
	found, err := tx.SaidOfQuestions(ctx, lines)
	for _, f := range found {
		q := f.Facts
		put(f.Line, f.After, wireSaidQuestion{q.ID, q.SiteID, q.EntryID, q.Code, q.Text, q.AnsweredBy, q.Reason})
	}
	return err
}
