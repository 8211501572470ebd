package api

import (
	"context"
	"encoding/json"
	"maps"
	"slices"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

type wireLine struct {
	At        time.Time       `json:"at"`
	By        wireActor       `json:"by"`
	Device    *string         `json:"device,omitempty"`
	Site      *domain.SiteID  `json:"site_id,omitempty"`
	What      wireSubject     `json:"what"`
	ValidFrom *domain.Date    `json:"valid_from,omitempty"`
	Before    any             `json:"before,omitempty"`
	After     any             `json:"after,omitempty"`
	Entry     *domain.ID[any] `json:"entry_id,omitempty"`
	id        postgres.LineID
}

type wireActor struct {
	Name   string           `json:"name"`
	Token  *domain.TokenID  `json:"token_id,omitempty"`
	Member *domain.MemberID `json:"member_id,omitempty"`
}

type wireSubject struct {
	Noun   string         `json:"noun"`
	ID     domain.ID[any] `json:"id"`
	Action string         `json:"action"`
	Kind   *string        `json:"kind,omitempty"`
}

// ListAudit shows who changed or recorded what.
func (s *Server) ListAudit(c *gin.Context, q openapi.ListAuditParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, err := pageOf(c, q.After, q.Limit, 2)
		if err != nil {
			return reply{}, err
		}
		f, err := lineFilter(q, p)
		if err != nil {
			return reply{}, err
		}
		found, more, err := tx.Audit(ctx, f)
		if err != nil {
			return reply{}, err
		}
		items, err := newLines(ctx, tx, found)
		if err != nil {
			return reply{}, err
		}
		return listReply(c, p, items, more, func(w wireLine) []string { return []string{w.At.Format(time.RFC3339Nano), w.id.String()} })
	})
}

func lineFilter(q openapi.ListAuditParams, p page) (postgres.LineFilter, error) {
	f := postgres.LineFilter{Site: optionalID[domain.SiteFacts](q.SiteID), Who: optionalID[any](q.Who), From: q.From, To: q.To, Limit: p.limit}
	if q.Noun != nil {
		for _, noun := range *q.Noun {
			f.Nouns = append(f.Nouns, string(noun))
		}
	}
	if q.Kind != nil {
		for _, kind := range *q.Kind {
			f.Kinds = append(f.Kinds, string(kind))
		}
	}
	if p.after == nil {
		return f, nil
	}
	at, err := time.Parse(time.RFC3339Nano, p.after[0])
	if err != nil {
		return f, errCursor
	}
	f.AfterAt = &at
	if f.AfterID, err = domain.ParseID[postgres.Line](p.after[1]); err != nil {
		return f, errCursor
	}
	return f, nil
}

// newLines renders lines, with what they say of each thing as it is shown elsewhere.
func newLines(ctx context.Context, tx *postgres.Tx, found []postgres.Line) ([]wireLine, error) {
	items := make([]wireLine, len(found))
	at := map[postgres.LineID]*wireLine{}
	ofNoun := map[string][]postgres.LineID{}
	for i, l := range found {
		items[i] = wireLine{At: l.RecordedAt.UTC(), By: wireActor{l.RecordedBy, l.TokenID, l.MemberID}, Device: l.Device, Site: l.SiteID,
			What: wireSubject{l.Noun, l.Subject, l.Action, l.Kind}, ValidFrom: l.ValidFrom, id: l.ID}
		switch l.Noun {
		case "entry":
			items[i].Entry, items[i].After = &l.Subject, json.RawMessage(l.After)
		case "held":
			var err error
			if items[i].Before, items[i].After, err = heldFacts(l); err != nil {
				return nil, err
			}
		default:
			if sayings[l.Noun] == nil { // part of something greater
				var err error
				if items[i].Before, items[i].After, err = keptFacts(l); err != nil {
					return nil, err
				}
				continue
			}
			at[l.ID] = &items[i]
			ofNoun[l.Noun] = append(ofNoun[l.Noun], l.ID)
		}
	}
	for noun, lines := range ofNoun {
		err := sayings[noun](ctx, tx, lines, func(line postgres.LineID, after bool, facts any) {
			if after {
				at[line].After = facts
			} else {
				at[line].Before = facts
			}
		})
		if err != nil {
			return nil, err
		}
	}
	return items, nil
}

// put takes what a line says of a thing, before the change or after.
type put func(line postgres.LineID, after bool, facts any)

// sayings renders what lines say, by noun. An entry and one that is held are kept as
// they are shown.
var sayings = map[string]func(context.Context, *postgres.Tx, []postgres.LineID, put) error{
	"coop":        coops.said,
	"site":        sites.said,
	"unit":        units.said,
	"loop":        loops.said,
	"party":       parties.said,
	"product":     products.said,
	"equipment":   equipment.said,
	"batch":       batches.said,
	"member":      members.said,
	"period":      periods.said,
	"water_limit": waterLimits.said,
	"factor":      factors.said,
	"question":    saidQuestions,
	"round":       rounds.said,
	"request":     requests.said,
	"quote":       quotes.said,
	"funding":     grants.said,
	"grant_cost":  grantCosts.said,
	"indicator":   indicators.said,
	"report":      reports.said,
	"report_link": func(ctx context.Context, tx *postgres.Tx, lines []postgres.LineID, put put) error {
		found, err := tx.SaidOfLinks(ctx, lines)
		for _, f := range found {
			put(f.Line, f.After, newWireReportLink(f.Facts))
		}
		return err
	},
	"token": func(ctx context.Context, tx *postgres.Tx, lines []postgres.LineID, put put) error {
		found, err := tx.SaidOfTokens(ctx, lines)
		for _, f := range found {
			put(f.Line, f.After, newWireToken(f.Facts))
		}
		return err
	},
}

func (n *noun[T, W]) said(ctx context.Context, tx *postgres.Tx, lines []postgres.LineID, put put) error {
	currency, err := tx.Currency(ctx)
	if err != nil {
		return err
	}
	found, err := n.store.Said(ctx, tx, lines)
	for _, f := range found {
		put(f.Line, f.After, n.write(&f.Facts, currency))
	}
	return err
}

type wireKept struct {
	Columns []wireColumn `json:"columns"`
}

type wireColumn struct {
	Column string `json:"column"`
	Value  string `json:"value"`
}

// keptFacts renders rows of what has no form of its own, column by column; what is
// null is left out.
func keptFacts(l postgres.Line) (before, after any, err error) {
	read := func(row []byte) (any, error) {
		if row == nil {
			return nil, nil
		}
		var columns map[string]json.RawMessage
		if err := json.Unmarshal(row, &columns); err != nil {
			return nil, err
		}
		kept := wireKept{Columns: []wireColumn{}}
		for _, name := range slices.Sorted(maps.Keys(columns)) {
			value := string(columns[name])
			var text string
			if json.Unmarshal(columns[name], &text) == nil {
				value = text
			}
			if string(columns[name]) != "null" {
				kept.Columns = append(kept.Columns, wireColumn{name, value})
			}
		}
		return kept, nil
	}
	if before, err = read(l.Before); err != nil {
		return nil, nil, err
	}
	after, err = read(l.After)
	return before, after, err
}

type wireHeld struct {
	Entry   json.RawMessage `json:"entry"`
	Problem *itemProblem    `json:"problem"`
}

func heldFacts(l postgres.Line) (before, after any, err error) {
	read := func(row []byte) (any, error) {
		if row == nil {
			return nil, nil
		}
		var held struct {
			Entry        json.RawMessage
			Code, Detail string
		}
		err := json.Unmarshal(row, &held)
		return wireHeld{held.Entry, newItemProblem(&domain.Error{Code: held.Code, Detail: held.Detail})}, err
	}
	if before, err = read(l.Before); err != nil {
		return nil, nil, err
	}
	after, err = read(l.After)
	return before, after, err
}
