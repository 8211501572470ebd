package api

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"shoalbook/domain"
)

// problemType is what the type of every problem starts with; the code follows.
const problemType = "https://shoalbook.example/problems/"

// problemMedia is the media type of RFC 9457.
const problemMedia = "application/problem+json"

// Refusals that only HTTP knows; the domain has no kind for them.
const (
	methodNotAllowed domain.Kind = -1 - iota
	notAcceptable
)

// statuses maps each kind of refusal to its status, here and nowhere else.
var statuses = map[domain.Kind]int{
	domain.Internal:             http.StatusInternalServerError,
	domain.Invalid:              http.StatusBadRequest,
	domain.Unauthenticated:      http.StatusUnauthorized,
	domain.Forbidden:            http.StatusForbidden,
	domain.NotFound:             http.StatusNotFound,
	domain.Conflict:             http.StatusConflict,
	domain.Precondition:         http.StatusPreconditionFailed,
	domain.PreconditionRequired: http.StatusPreconditionRequired,
	domain.TooLarge:             http.StatusRequestEntityTooLarge,
	domain.Unsupported:          http.StatusUnsupportedMediaType,
	domain.Refused:              http.StatusUnprocessableEntity,
	domain.TooMany:              http.StatusTooManyRequests,
	domain.Unavailable:          http.StatusServiceUnavailable,
	methodNotAllowed:            http.StatusMethodNotAllowed,
	notAcceptable:               http.StatusNotAcceptable,
}

// titles holds the title of every code; one code has one title for ever.
var titles = map[string]string{
	"more_dead_than_came":      "More are dead than came",
	"wrong_species":            "It is another species",
	"not_short":                "Nothing is short",
	"credit_too_large":         "More credit than it costs",
	"not_all_received":         "Not everything was received",
	"claims_open":              "Claims are open",
	"cost_not_restated":        "A cost cannot be brought up to date",
	"plan_outdated":            "The plan is outdated",
	"nothing_to_order":         "There is nothing to order",
	"impossible_change":        "The order cannot be changed like this",
	"round_state":              "The round is in another state",
	"deadline_passed":          "The deadline has passed",
	"impossible_round":         "A round cannot be like this",
	"impossible_request":       "A request cannot be like this",
	"impossible_quote":         "A quote cannot be like this",
	"price_steps":              "The price steps do not follow one another",
	"impossible_route":         "The stops do not follow one another",
	"already_requested":        "There is a request already",
	"already_ordered":          "It is ordered already",
	"planned_meanwhile":        "Somebody else has planned meanwhile",
	"changed_meanwhile":        "Somebody else has changed it meanwhile",
	"already_received":         "It is received already",
	"already_credited":         "The claim is answered already",
	"already_settled":          "The round is settled already",
	"quote_withdrawn":          "The quote was withdrawn",
	"quote_expired":            "The quote is not valid any more",
	"below_least_order":        "Below the least order",
	"above_most":               "More than there is",
	"not_whole_packs":          "Not whole packs",
	"charged_already":          "More than there is to be charged",
	"formula_syntax":           "The formula cannot be read",
	"mean_of_ratios":           "Only sums are additive",
	"mixed_units":              "The units do not fit",
	"no_denominator":           "A denominator is missing",
	"not_chargeable":           "Not to be charged to a grant",
	"not_over":                 "The period is not over",
	"report_draft":             "The report is a draft",
	"report_issued":            "The report was issued",
	"report_state":             "Not in this state of the report",
	"unknown_sum":              "There is no such sum",
	"unknown_unit":             "There is no such unit",
	"already_answered":         "The question is already answered",
	"already_reversed":         "The entry is already reversed",
	"already_set":              "There is one already",
	"archived":                 "No longer in use",
	"batch_closed":             "The batch is closed",
	"in_withdrawal":            "The fish must not be eaten yet",
	"beyond_member":            "More than the member may do",
	"no_fish_here":             "A bed for plants holds no fish",
	"before_batch":             "Before the batch was stocked",
	"body_too_large":           "The request is too large",
	"count_needed":             "A count of the fish is needed",
	"forbidden":                "Not allowed with this token",
	"id_conflict":              "The id is in use for something else",
	"idempotency_key_required": "An Idempotency-Key is needed",
	"idempotency_key_reused":   "The Idempotency-Key was used for another request",
	"if_match_required":        "If-Match is needed",
	"in_future":                "The date is in the future",
	"internal":                 "Something went wrong on our side",
	"invalid_cursor":           "The cursor cannot be used here",
	"invalid_json":             "The request is not readable as JSON",
	"invalid_request":          "The request is not valid",
	"method_not_allowed":       "This cannot be done here",
	"not_acceptable":           "No answer of the wanted form",
	"not_all_recorded":         "Nothing was recorded",
	"not_enough_fish":          "Not enough fish",
	"not_enough_harvest":       "Not enough harvested",
	"not_found":                "Not found",
	"not_reversible":           "This entry cannot be reversed",
	"not_settled":              "Not settled yet",
	"price_needed":             "A price is needed",
	"too_many_requests":        "Too many requests",
	"too_precise":              "Too many decimals",
	"unauthenticated":          "A valid token is needed",
	"unavailable":              "Not available at the moment",
	"unknown_parameter":        "Unknown parameter",
	"unknown_reference":        "Something referred to is not there",
	"unsupported_media_type":   "Not a form that is understood here",
	"version_mismatch":         "It has changed in the meantime",
	"wrong_site":               "It belongs to another site",
}

// A problem is the document of RFC 9457 that answers a request which was not
// fulfilled. Results is for the one operation that reports on many items.
type problem struct {
	Type      string         `json:"type"`
	Title     string         `json:"title"`
	Status    int            `json:"status"`
	Detail    string         `json:"detail"`
	Code      string         `json:"code"`
	Instance  string         `json:"instance"`
	RequestID string         `json:"request_id"`
	TraceID   string         `json:"trace_id,omitempty"`
	Errors    []problemField `json:"errors,omitempty"`
	Results   any            `json:"results,omitempty"`
}

// A problemField names one offending member by its JSON pointer.
type problemField struct {
	Pointer string `json:"pointer"`
	Detail  string `json:"detail"`
}

// writeProblem answers the request with the problem document of err and ends
// its handling. A [domain.Error] is shown; of anything else only the log gets
// to know, under the request id that the answer names.
func writeProblem(c *gin.Context, err error) {
	newProblem(c, err).write(c)
}

// newProblem returns the problem document of err, for an answer that says more
// than [writeProblem] does.
func newProblem(c *gin.Context, err error) problem {
	refusal := refusalOf(c, err)
	status := statuses[refusal.Kind]
	return problem{
		Type:      problemType + refusal.Code,
		Title:     titles[refusal.Code],
		Status:    status,
		Detail:    refusal.Detail,
		Code:      refusal.Code,
		Instance:  c.Request.URL.EscapedPath(),
		RequestID: requestOf(c).id,
		TraceID:   requestOf(c).trace,
		Errors:    problemFields(refusal.Fields),
	}
}

// refusalOf returns the refusal within err, or the one that stands for it.
func refusalOf(c *gin.Context, err error) *domain.Error {
	ctx, r := c.Request.Context(), requestOf(c)
	if refusal, ok := errors.AsType[*domain.Error](err); ok && refusal.Kind != domain.Internal && statuses[refusal.Kind] != 0 {
		if refusal.Kind == domain.Unavailable { // its cause is in the error around it
			r.note(ctx, slog.LevelWarn, "unavailable", slog.Any("error", err))
		}
		return refusal
	}
	if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) && ctx.Err() != nil {
		r.note(ctx, slog.LevelWarn, "request given up", slog.Any("error", err))
		return domain.Errorf(domain.Unavailable, "unavailable", "this took too long; it is safe to send the same request again")
	}
	r.note(ctx, slog.LevelError, "internal error", slog.Any("error", err))
	return domain.Errorf(domain.Internal, "internal", "the request could not be carried out; by its request id we can find out why")
}

func problemFields(fields []domain.FieldError) []problemField {
	if len(fields) == 0 {
		return nil
	}
	out := make([]problemField, len(fields))
	for i, f := range fields {
		out[i] = problemField{Pointer: f.Pointer, Detail: f.Detail}
	}
	return out
}

// write sends the document with the headers that its status asks for.
func (p problem) write(c *gin.Context) {
	c.Abort()
	if c.Writer.Written() {
		// Part of another answer is out. Cutting the connection is the only way
		// left to tell the client that it is not whole.
		panic(http.ErrAbortHandler)
	}
	h := c.Writer.Header()
	h.Del("ETag")
	if _, read := c.Request.Body.(*readBody); !read && c.Request.ContentLength != 0 {
		h.Set("Connection", "close") // or the server would wait for the body, and the client for the answer
	}
	switch p.Status {
	case http.StatusUnauthorized:
		h.Set("WWW-Authenticate", challenge(c.Request.Header))
	case http.StatusForbidden:
		h.Set("WWW-Authenticate", `Bearer realm="shoalbook", error="insufficient_scope"`)
	case http.StatusTooManyRequests, http.StatusServiceUnavailable:
		if h.Get("Retry-After") == "" {
			h.Set("Retry-After", "5")
		}
	}
	var body strings.Builder
	enc := json.NewEncoder(&body)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(p); err != nil {
		panic(err) // only Results could do that, and it is of our own making
	}
	c.Data(p.Status, problemMedia, []byte(body.String()))
}

// challenge follows RFC 6750: no error is named where no token was sent.
func challenge(request http.Header) string {
	if len(request["Authorization"]) == 0 {
		return `Bearer realm="shoalbook"`
	}
	return `Bearer realm="shoalbook", error="invalid_token"`
}
