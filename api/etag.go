package api

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"strconv"
	"strings"

	"shoalbook/domain"
)

// gzipSuffix is what a compressed answer carries at the end of its entity tag,
// as another representation must. Behind it is the same version.
const gzipSuffix = "-gzip"

// versionTag returns the strong entity tag of a version of something.
func versionTag(version int64) string { return `"` + strconv.FormatInt(version, 10) + `"` }

// contentTag returns the strong entity tag of bytes that have no version.
func contentTag(b []byte) string {
	sum := sha256.Sum256(b)
	return `"` + hex.EncodeToString(sum[:12]) + `"`
}

// An ifMatch is the condition under which a change is to be made: the versions
// the client knows (RFC 9110, section 13.1.1).
type ifMatch struct {
	any  bool
	tags []string
}

// parseIfMatch reads the condition, which every change must have.
func parseIfMatch(h http.Header) (ifMatch, error) {
	values := h["If-Match"]
	if len(values) == 0 {
		return ifMatch{}, errNoIfMatch
	}
	all := strings.TrimSpace(strings.Join(values, ","))
	if all == "*" {
		return ifMatch{any: true}, nil
	}
	tags, ok := parseTags(all)
	if !ok {
		return ifMatch{}, &domain.Error{Kind: domain.Invalid, Code: "invalid_request", Detail: "the header If-Match cannot be read",
			Fields: []domain.FieldError{{Pointer: "/header/If-Match", Detail: `must be an entity tag in its quotes, such as "3", as the answer gave it in ETag`}}}
	}
	return ifMatch{tags: tags}, nil
}

var errNoIfMatch = domain.Errorf(domain.PreconditionRequired, "if_match_required",
	"say which version you are changing: send back the ETag you read, in the header If-Match")

// check refuses a change of something the client does not know as it is now, with
// that tag.
func (m ifMatch) check(now string) error {
	if m.any {
		return nil
	}
	for _, tag := range m.tags {
		if plainTag(tag) == now { // strong comparison: a weak tag is never equal
			return nil
		}
	}
	return domain.Errorf(domain.Precondition, "version_mismatch", "it was changed since you read it; read it again and repeat your change")
}

// notModified reports whether the client has what carries the tag already
// (If-None-Match, weak comparison). What cannot be read is no condition.
func notModified(h http.Header, tag string) bool {
	values := h["If-None-Match"]
	if len(values) == 0 {
		return false
	}
	all := strings.TrimSpace(strings.Join(values, ","))
	if all == "*" {
		return true
	}
	tags, _ := parseTags(all)
	for _, t := range tags {
		if plainTag(strings.TrimPrefix(t, "W/")) == tag {
			return true
		}
	}
	return false
}

// plainTag takes the mark of a compressed answer off a tag.
func plainTag(tag string) string {
	if plain, ok := strings.CutSuffix(tag, gzipSuffix+`"`); ok {
		return plain + `"`
	}
	return tag
}

// parseTags reads a list of at least one entity tag. Empty places between commas
// are allowed (RFC 9110, section 5.6.1).
func parseTags(s string) (tags []string, ok bool) {
	for {
		s = strings.TrimLeft(s, ", \t")
		if s == "" {
			return tags, len(tags) > 0
		}
		open := 0
		if strings.HasPrefix(s, "W/") {
			open = 2
		}
		if len(s) <= open || s[open] != '"' {
			return nil, false
		}
		length := strings.IndexByte(s[open+1:], '"')
		if length < 0 {
			return nil, false
		}
		end := open + length + 2
		tags = append(tags, s[:end])
		s = strings.TrimLeft(s[end:], " \t")
		if s != "" && s[0] != ',' {
			return nil, false
		}
	}
}
