package postgres

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"

	"shoalbook/domain"
)

// SQLSTATE codes (PostgreSQL 15 manual, appendix A).
const (
	invalidParameter      = "22023"
	foreignKeyViolation   = "23503"
	uniqueViolation       = "23505"
	insufficientPrivilege = "42501"
	undefinedTable        = "42P01"
	serializationFailure  = "40001"
	deadlockDetected      = "40P01"
	lockNotAvailable      = "55P03"
	tooManyConnections    = "53300"
	queryCanceled         = "57014"
	adminShutdown         = "57P01"
	crashShutdown         = "57P02"
	cannotConnectNow      = "57P03"
	connectionException   = "08"
)

// violations says what the breach of a constraint means to a caller. Constraints
// that are not here guard against mistakes of ours: their breach is internal.
var violations = map[string]domain.Error{
	"coop_pk":      {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another co-operative"},
	"site_pk":      {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another site"},
	"loop_pk":      {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another loop"},
	"unit_pk":      {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another unit"},
	"party_pk":     {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another party"},
	"product_pk":   {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another product"},
	"equipment_pk": {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for other equipment"},
	"batch_pk":     {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another batch"},
	"member_pk":    {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another member"},
	"token_pk":     {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another token"},
	"period_pk":    {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another time of the calendar"},
	"question_pk":  {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another question"},
	"entry_pk":     {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another entry"},
	"held_pk":      {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another entry that is held"},

	"water_limit_pk":   {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another limit"},
	"factor_pk":        {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another factor"},
	"factor_once":      {Kind: domain.Conflict, Code: "already_set", Detail: "there is a factor of this species in this form already: change that one"},
	"water_limit_once": {Kind: domain.Conflict, Code: "already_set", Detail: "there is a limit of this parameter for this species already: change that one"},
	"question_once":    {Kind: domain.Conflict, Code: "id_conflict", Detail: "this was asked about the entry already"},

	"indicator_pk":         {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another indicator"},
	"indicator_code_once":  {Kind: domain.Conflict, Code: "already_set", Detail: "there is an indicator of this code already: make a new version of that one"},
	"funding_pk":           {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another grant"},
	"grant_cost_pk":        {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another cost of a grant"},
	"report_pk":            {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another report"},
	"report_copy_pk":       {Kind: domain.Conflict, Code: "report_issued", Detail: "the report was issued already"},
	"report_link_pk":       {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another link"},
	"report_restated_once": {Kind: domain.Conflict, Code: "report_state", Detail: "there is a restatement of this report already"},

	"funding_funder_fk":       unknown("party", "/funder_id"),
	"grant_cost_grant_fk":     unknown("grant", "/grant_id"),
	"grant_cost_entry_fk":     unknown("entry", "/entry_id"),
	"grant_cost_equipment_fk": unknown("equipment", "/equipment_id"),
	"report_grant_fk":         unknown("grant", "/grant_id"),
	"report_restates_fk":      unknown("report", "/restates_id"),
	"report_copy_report_fk":   unknown("report", "/report_id"),
	"report_link_report_fk":   unknown("report", "/report_id"),

	"entry_reversed_once":   {Kind: domain.Refused, Code: "already_reversed", Detail: "this entry is reversed already"},
	"transit_received_once": {Kind: domain.Refused, Code: "unknown_reference", Detail: "this has been received already"},

	"period_site_fk":         unknown("site", "/site_id"),
	"water_limit_coop_fk":    unknown("coop", "/coop_id"),
	"water_limit_species_fk": unknown("species", "/species"),
	"factor_species_fk":      unknown("species", "/species"),
	"question_site_fk":       unknown("site", "/site_id"),
	"question_entry_fk":      unknown("entry", "/entry_id"),

	"round_pk":              {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another round"},
	"request_pk":            {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another request"},
	"request_once":          {Kind: domain.Conflict, Code: "already_requested", Detail: "there is a request for this in the round already: change that one"},
	"quote_pk":              {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another quote"},
	"round_plan_pk":         {Kind: domain.Conflict, Code: "planned_meanwhile", Detail: "somebody else made a plan at the same moment: read that one first"},
	"purchase_order_pk":     {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another order"},
	"purchase_order_once":   {Kind: domain.Conflict, Code: "already_ordered", Detail: "this was ordered already"},
	"order_version_once":    {Kind: domain.Conflict, Code: "changed_meanwhile", Detail: "somebody else changed the order at the same moment: read it again"},
	"order_deposit_pk":      {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another deposit"},
	"delivery_pk":           {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another delivery"},
	"delivery_once":         {Kind: domain.Conflict, Code: "already_received", Detail: "somebody else has recorded this delivery already"},
	"credit_pk":             {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another credit note"},
	"credit_once":           {Kind: domain.Conflict, Code: "already_credited", Detail: "this claim is answered already"},
	"charge_once":           {Kind: domain.Conflict, Code: "already_settled", Detail: "the round is settled already"},
	"round_payment_pk":      {Kind: domain.Conflict, Code: "id_conflict", Detail: "this id is in use for another payment"},
	"round_species_fk":      unknown("species", "/species"),
	"round_product_fk":      unknown("product", "/product_id"),
	"request_round_fk":      unknown("round", "/round_id"),
	"request_site_fk":       unknown("site", "/site_id"),
	"request_unit_fk":       unknownAtSite("unit", "/unit_id"),
	"quote_round_fk":        unknown("round", "/round_id"),
	"quote_party_fk":        unknown("party", "/party_id"),
	"delivery_request_fk":   unknownAtSite("request", "/request_id"),
	"delivery_batch_fk":     unknownAtSite("batch", "/into_batch_id"),
	"round_payment_site_fk": unknown("site", "/site_id"),

	"loop_site_fk":      unknown("site", "/site_id"),
	"unit_site_fk":      unknown("site", "/site_id"),
	"unit_loop_fk":      unknownAtSite("loop", "/loop_id"),
	"equipment_site_fk": unknown("site", "/site_id"),
	"batch_site_fk":     unknown("site", "/site_id"),
	"batch_unit_fk":     unknownAtSite("unit", "/unit_id"),
	"batch_species_fk":  unknown("species", "/species"),

	"token_member_fk": unknown("member", "/member_id"),

	"entry_site_fk":       unknown("site", "/site_id"),
	"entry_batch_fk":      unknownAtSite("batch", "/batch_id"),
	"entry_to_batch_fk":   unknownAtSite("batch", "/to_batch_id"),
	"entry_product_fk":    unknown("product", "/product_id"),
	"entry_unit_fk":       unknownAtSite("unit", "/unit_id"),
	"entry_party_fk":      unknown("party", "/party_id"),
	"entry_reverses_fk":   unknown("entry", "/reverses_id"),
	"held_site_fk":        unknown("site", "/site_id"),
	"transit_to_site_fk":  unknown("site", "/to_site_id"),
	"transit_batch_fk":    unknownAtSite("batch", "/batch_id"),
	"transit_product_fk":  unknown("product", "/product_id"),
	"revision_site_fk":    unknown("site", "/site_id"),
	"transit_received_fk": unknown("entry", "/sent_id"),
}

func unknown(noun, pointer string) domain.Error {
	return domain.Error{
		Kind: domain.Refused, Code: "unknown_reference", Detail: "there is no such " + noun + ": look at its id, or add it first",
		Fields: []domain.FieldError{{Pointer: pointer, Detail: "there is no such " + noun}},
	}
}

func unknownAtSite(noun, pointer string) domain.Error {
	return domain.Error{
		Kind: domain.Refused, Code: "unknown_reference", Detail: "there is no such " + noun + " at this site: look at its id, or add it first",
		Fields: []domain.FieldError{{Pointer: pointer, Detail: "there is no such " + noun + " at this site"}},
	}
}

// translate turns what the driver reports into a refusal, where a person can do
// something about it. All else stays as it is, and is internal to the caller.
func translate(err error) error {
	if err == nil {
		return nil
	}
	var refused *domain.Error
	if errors.As(err, &refused) || errors.Is(err, context.Canceled) {
		return err
	}
	var failed *pgconn.PgError
	if !errors.As(err, &failed) {
		var connect *pgconn.ConnectError
		var network net.Error
		// A database that is killed says nothing any more, not even goodbye.
		if errors.As(err, &connect) || errors.As(err, &network) || errors.Is(err, net.ErrClosed) ||
			errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) || errors.Is(err, pgconn.ErrConnClosed) {
			return unavailable{err}
		}
		return err
	}
	switch state := failed.Code; {
	case state == uniqueViolation || state == foreignKeyViolation:
		if meaning, ok := violations[failed.ConstraintName]; ok {
			return &meaning
		}
	case state == insufficientPrivilege && strings.Contains(failed.Message, "row-level security"):
		return domain.Errorf(domain.Forbidden, "forbidden", "this token is not for that")
	case state == serializationFailure, state == deadlockDetected, state == lockNotAvailable,
		state == tooManyConnections, state == queryCanceled, state == adminShutdown, state == crashShutdown,
		state == cannotConnectNow, strings.HasPrefix(state, connectionException):
		return unavailable{err}
	}
	return err
}

// unavailable is a fault that passes. Its cause is for the log.
type unavailable struct{ cause error }

func (u unavailable) Error() string { return "unavailable: " + u.cause.Error() }

// As lets the caller see a refusal without the cause in its words.
func (u unavailable) As(target any) bool {
	refused, ok := target.(**domain.Error)
	if ok {
		*refused = domain.Errorf(domain.Unavailable, "unavailable", "the service cannot answer just now, try again in a moment")
	}
	return ok
}

// Unwrap returns the cause.
func (u unavailable) Unwrap() error { return u.cause }

// sqlState returns the SQLSTATE of an error of the database, or nothing.
func sqlState(err error) string {
	var failed *pgconn.PgError
	if errors.As(err, &failed) {
		return failed.Code
	}
	return ""
}

// misnamed reports whether an entry names something of which only a constraint knew
// that it cannot: an id that is in use, or what is not there. When the same is run
// again carefully, that entry is refused by itself.
func misnamed(err error) bool {
	var failed *pgconn.PgError
	if !errors.As(err, &failed) {
		return false
	}
	switch failed.ConstraintName {
	case "entry_pk", "entry_party_fk", "transit_to_site_fk":
		return true
	}
	return false
}

// passes reports whether the same transaction may succeed when it is run again.
func passes(err error) bool {
	state := sqlState(err)
	return state == serializationFailure || state == deadlockDetected
}
