package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"shoalbook/api/render"
	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
)

// recordedEntry is an entry of the journal on the wire.
type recordedEntry struct {
	Entry      json.RawMessage `json:"entry"`
	RecordedAt time.Time       `json:"recorded_at"`
	RecordedBy string          `json:"recorded_by"`
	Device     *string         `json:"device,omitempty"`
	Value      string          `json:"value,omitempty"`
	ReversedBy *domain.EntryID `json:"reversed_by,omitempty"`
	on         domain.Date
	id         domain.EntryID
}

func wireEntry(e postgres.RecordedEntry, c domain.Currency) recordedEntry {
	w := recordedEntry{Entry: e.Entry, RecordedAt: e.RecordedAt, RecordedBy: e.RecordedBy, Device: e.Device, ReversedBy: e.ReversedBy, on: e.OccurredOn, id: e.ID}
	if e.Value != nil {
		w.Value = c.Format(*e.Value)
	}
	return w
}

// entryResult is what became of one entry, on the wire.
type entryResult struct {
	Index     int             `json:"index"`
	ID        domain.EntryID  `json:"id"`
	Status    string          `json:"status"`
	Problem   *itemProblem    `json:"problem,omitempty"`
	Questions []entryQuestion `json:"questions,omitempty"`
}

type itemProblem struct {
	Code   string         `json:"code"`
	Title  string         `json:"title"`
	Detail string         `json:"detail"`
	Errors []problemField `json:"errors,omitempty"`
}

type entryQuestion struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

func newItemProblem(e *domain.Error) *itemProblem {
	return &itemProblem{Code: e.Code, Title: titles[e.Code], Detail: e.Detail, Errors: problemFields(e.Fields)}
}

func results(outcomes []postgres.Outcome) []entryResult {
	out := make([]entryResult, len(outcomes))
	for i, o := range outcomes {
		out[i] = entryResult{Index: i, ID: o.ID, Status: o.Status}
		if o.Refusal != nil {
			out[i].Problem = newItemProblem(o.Refusal)
		}
		for _, q := range o.Questions {
			out[i].Questions = append(out[i].Questions, entryQuestion(q))
		}
	}
	return out
}

// entriesRequest is the body of recordEntries, with the entries as they are written.
type entriesRequest struct {
	Entries   []json.RawMessage `json:"entries"`
	OnRefusal string            `json:"on_refusal"`
}

// errDryRun ends a transaction whose work is only shown.
var errDryRun = errors.New("a dry run keeps nothing")

// RecordEntries takes entries into the journal.
func (s *Server) RecordEntries(c *gin.Context, params openapi.RecordEntriesParams) {
	var body entriesRequest
	if err := json.Unmarshal(bodyOf(c), &body); err != nil {
		writeProblem(c, err)
		return
	}
	dry := params.DryRun != nil && *params.DryRun
	var outcomes []postgres.Outcome
	err := s.store.Update(c.Request.Context(), credentialOf(c), func(tx *postgres.Tx) error {
		entries, err := decodeEntries(c.Request.Context(), tx, body.Entries, func(i int) string { return fmt.Sprintf("/entries/%d", i) })
		if err != nil {
			return err
		}
		outcomes, err = tx.Record(c.Request.Context(), postgres.Recording{Entries: entries, Strict: strict(c.Request.Header), Hold: body.OnRefusal == "hold", Kinds: mayRecord})
		if err == nil && dry {
			return errDryRun
		}
		return err
	})
	switch {
	case err == nil, errors.Is(err, errDryRun):
		a, err := jsonReply(http.StatusOK, struct {
			Results []entryResult `json:"results"`
		}{results(outcomes)})
		finish(c, a, err)
	case errors.Is(err, postgres.ErrNotAll):
		p := newProblem(c, err)
		p.Results = results(outcomes)
		p.write(c)
	default:
		writeProblem(c, err)
	}
}

// strict reports whether the client wants all or nothing (RFC 7240).
func strict(h http.Header) bool {
	return strings.Contains(strings.ToLower(strings.Join(h["Prefer"], ",")), "handling=strict")
}

// decodeEntries reads entries by their literal text, and reports every member that
// cannot be read, of any of them; at says where in the body they are.
func decodeEntries(ctx context.Context, tx *postgres.Tx, raw []json.RawMessage, at func(i int) string) ([]domain.Entry, error) {
	currency, err := tx.Currency(ctx)
	if err != nil {
		return nil, err
	}
	entries := make([]domain.Entry, len(raw))
	var bad []domain.FieldError
	for i, r := range raw {
		e, err := domain.DecodeEntry(r, currency)
		var refusal *domain.Error
		if errors.As(err, &refusal) {
			for _, f := range refusal.Fields {
				bad = append(bad, domain.FieldError{Pointer: at(i) + f.Pointer, Detail: f.Detail})
			}
		} else if err != nil {
			return nil, err
		}
		entries[i] = e
	}
	return entries, malformed(bad)
}

// malformed refuses a request for all members that cannot be read.
func malformed(bad []domain.FieldError) error {
	if len(bad) == 0 {
		return nil
	}
	code := "too_precise"
	for _, f := range bad {
		if !strings.HasPrefix(f.Detail, "at most ") {
			code = "invalid_request"
		}
	}
	return &domain.Error{Kind: domain.Invalid, Code: code, Detail: "some members cannot be read as they are written; nothing was recorded", Fields: bad}
}

// ListEntries lists the journal.
func (s *Server) ListEntries(c *gin.Context, params openapi.ListEntriesParams) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		p, err := pageOf(c, params.After, params.Limit, 2)
		if err != nil {
			return reply{}, err
		}
		f, err := entryFilter(params, p)
		if err != nil {
			return reply{}, err
		}
		found, more, err := tx.Entries(ctx, f)
		if err != nil {
			return reply{}, err
		}
		currency, err := tx.Currency(ctx)
		if err != nil {
			return reply{}, err
		}
		items := make([]recordedEntry, len(found))
		for i, e := range found {
			items[i] = wireEntry(e, currency)
		}
		list, err := listReply(c, p, items, more, func(e recordedEntry) []string { return []string{e.on.String(), e.id.String()} })
		if err != nil || wanted(c) == asJSON {
			return list, err
		}
		table, err := entryTable(items, currency)
		if err != nil {
			return reply{}, err
		}
		a, err := documentReply(c, "entries", &render.Document{Lang: "en", Sections: []render.Section{{Blocks: []render.Block{table}}}})
		if next := list.header["Link"]; next != "" {
			a = a.with("Link", strings.Replace(next, "?", ".csv?", 1)) // so that whoever follows it gets CSV again
		}
		return a, err
	})
}

func entryFilter(q openapi.ListEntriesParams, p page) (postgres.EntryFilter, error) {
	f := postgres.EntryFilter{Site: optionalID[domain.SiteFacts](q.SiteID), Batch: optionalID[domain.Batch](q.BatchID), Product: optionalID[domain.Product](q.ProductID),
		Unit: optionalID[domain.Unit](q.UnitID), Party: optionalID[domain.Party](q.PartyID), From: optionalDate(q.From), To: optionalDate(q.To), Limit: p.limit}
	if q.Kind != nil {
		for _, k := range *q.Kind {
			f.Kinds = append(f.Kinds, string(k))
		}
	}
	f.IncludeSite = q.IncludeSite != nil && *q.IncludeSite
	if p.after == nil {
		return f, nil
	}
	on, err := domain.ParseDate(p.after[0])
	if err != nil {
		return f, errCursor
	}
	f.AfterOn = &on
	if f.AfterID, err = domain.ParseID[domain.Entry](p.after[1]); err != nil {
		return f, errCursor
	}
	return f, nil
}

// GetEntry shows one entry.
func (s *Server) GetEntry(c *gin.Context, id openapi.EntryPath) {
	s.view(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		return entryReply(ctx, tx, http.StatusOK, domain.EntryID(id))
	})
}

func entryReply(ctx context.Context, tx *postgres.Tx, status int, id domain.EntryID) (reply, error) {
	e, err := tx.Entry(ctx, id)
	if err != nil {
		return reply{}, err
	}
	currency, err := tx.Currency(ctx)
	if err != nil {
		return reply{}, err
	}
	return jsonReply(status, wireEntry(e, currency))
}

// reversalRequest is the body of reverseEntry.
type reversalRequest struct {
	ID          domain.EntryID  `json:"id"`
	Reason      string          `json:"reason"`
	OccurredOn  *domain.Date    `json:"occurred_on"`
	Replacement json.RawMessage `json:"replacement"`
}

// ReverseEntry takes an entry back, and records what replaces it, both or neither.
func (s *Server) ReverseEntry(c *gin.Context, id openapi.EntryPath, _ openapi.ReverseEntryParams) {
	var body reversalRequest
	if err := json.Unmarshal(bodyOf(c), &body); err != nil {
		writeProblem(c, err)
		return
	}
	s.update(c, func(ctx context.Context, tx *postgres.Tx) (reply, error) {
		entries, err := reversal(ctx, tx, domain.EntryID(id), body)
		if err != nil {
			return reply{}, err
		}
		outcomes, err := tx.Record(ctx, postgres.Recording{Entries: entries, Strict: true, Kinds: mayRecord})
		for i, o := range outcomes {
			if o.Refusal != nil && i == 1 {
				return reply{}, pointed(o.Refusal, func(at string) string { return "/replacement" + at })
			}
			if o.Refusal != nil {
				return reply{}, pointed(o.Refusal, func(at string) string { return strings.Replace(at, "/reverses_id", "/path/id", 1) })
			}
		}
		if err != nil {
			return reply{}, err
		}
		if outcomes[0].Status == "exists" {
			return entryReply(ctx, tx, http.StatusOK, body.ID)
		}
		a, err := entryReply(ctx, tx, http.StatusCreated, body.ID)
		return a.with("Location", "/v1/entries/"+body.ID.String()), err
	})
}

// reversal returns the entries that a request to reverse one stands for.
func reversal(ctx context.Context, tx *postgres.Tx, id domain.EntryID, body reversalRequest) ([]domain.Entry, error) {
	target, err := tx.Target(ctx, id, body.ID)
	if err != nil {
		return nil, err
	}
	b := domain.Reversal{Reverses: id, Reason: body.Reason}
	e := domain.Entry{ID: body.ID, Site: target.Site, On: target.Today}
	if body.OccurredOn != nil {
		e.On = *body.OccurredOn
	}
	if len(body.Replacement) == 0 {
		e.Body = b
		return []domain.Entry{e}, nil
	}
	replacement, err := decodeEntries(ctx, tx, []json.RawMessage{body.Replacement}, func(int) string { return "/replacement" })
	if err != nil {
		return nil, err
	}
	b.Replacement = &replacement[0].ID
	e.Body = b
	return []domain.Entry{e, replacement[0]}, nil
}

// pointed returns a refusal of an entry, by pointers into the request that stands for it.
func pointed(refusal *domain.Error, pointer func(string) string) error {
	whole := *refusal
	whole.Fields = nil
	for _, f := range refusal.Fields {
		whole.Fields = append(whole.Fields, domain.FieldError{Pointer: pointer(f.Pointer), Detail: f.Detail})
	}
	return &whole
}

func optionalID[T any](id *openapi.EntryID) *domain.ID[T] { return (*domain.ID[T])(id) }

func optionalDate(d *openapi.CivilDate) *domain.Date {
	if d == nil {
		return nil
	}
	on := domain.Date(d.Unix() / 86400)
	return &on
}
