package domain

import (
	"fmt"
	"strings"
)

// Kind says what sort of refusal an [Error] is. Each kind has one meaning for
// the caller and one status on the wire.
type Kind int

// The kinds of refusal.
const (
	Internal             Kind = iota // a fault of ours: its text is for the log only
	Invalid                          // the request is not of the form it must have
	Unauthenticated                  // no valid token
	Forbidden                        // the token's role does not allow this
	NotFound                         // not there, or not for this caller to know of
	Conflict                         // the id is in use for something else
	Precondition                     // it changed since the caller read it
	PreconditionRequired             // the caller must say which version it changes
	TooLarge                         // over a bound on size
	Unsupported                      // a media type or encoding that is not understood
	Refused                          // understood, and not possible: balances, dates, references
	TooMany                          // over a rate limit
	Unavailable                      // try again
)

// Error is a refusal that a person can act on: a kind, a stable code, words for
// the one at the pond, and every offending member.
type Error struct {
	Kind   Kind
	Code   string
	Detail string
	Fields []FieldError
}

// FieldError names an offending member by its JSON pointer (RFC 6901).
type FieldError struct{ Pointer, Detail string }

// Error returns the code, the words and the members.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Code + ": " + e.Detail)
	for _, f := range e.Fields {
		b.WriteString("; " + f.Pointer + ": " + f.Detail)
	}
	return b.String()
}

// Refuse returns a refusal of kind [Refused].
func Refuse(code, format string, args ...any) *Error {
	return &Error{Kind: Refused, Code: code, Detail: fmt.Sprintf(format, args...)}
}

// Errorf returns a refusal of any kind.
func Errorf(kind Kind, code, format string, args ...any) *Error {
	return &Error{Kind: kind, Code: code, Detail: fmt.Sprintf(format, args...)}
}

// Missing returns the answer for something that is not there or not for the
// caller to know of; the two are the same on purpose.
func Missing(noun string) *Error {
	return Errorf(NotFound, "not_found", "there is no such %s", noun)
}
