package api

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"shoalbook/domain"
)

// Bounds on a JSON document, far above what any operation needs. Without them a
// small body could ask for much memory.
const (
	maxDepth  = 32
	maxValues = 40_000
	maxNumber = 64 // characters
)

// decodeJSON reads a document in one pass, stricter than encoding/json: it
// refuses a member given twice, anything after the document, text that is not
// Unicode or holds U+0000 (PostgreSQL has no place for it), and what is over
// the bounds above. Objects become map[string]any, lists []any, and numbers keep
// their digits as [json.Number]. The names are shared with the result; they
// save an allocation for each member they hold.
func decodeJSON(b []byte, names map[string]string) (any, error) {
	if !utf8.Valid(b) {
		return nil, &jsonError{detail: "the text is not UTF-8"}
	}
	d := jsonDecoder{b: b, names: names}
	v, err := d.value()
	if err != nil {
		return nil, err
	}
	d.space()
	if d.i < len(b) {
		return nil, d.syntax("there is something after its end, at byte %d", d.i)
	}
	return v, nil
}

// A jsonError says what is wrong with a document, and where.
type jsonError struct {
	path   []string // innermost first
	detail string
}

func (e *jsonError) Error() string { return e.detail }

func (e *jsonError) in(name string) *jsonError {
	e.path = append(e.path, name)
	return e
}

// refusal returns the error as an answer for the client.
func (e *jsonError) refusal() *domain.Error {
	slices.Reverse(e.path)
	return &domain.Error{Kind: domain.Invalid, Code: "invalid_json", Detail: "the body cannot be read as JSON: " + e.detail,
		Fields: []domain.FieldError{{Pointer: pointer("", e.path), Detail: e.detail}}}
}

type jsonDecoder struct {
	b             []byte
	i             int
	depth, values int
	names         map[string]string
}

func (d *jsonDecoder) syntax(format string, args ...any) *jsonError {
	return &jsonError{detail: fmt.Sprintf(format, args...)}
}

func (d *jsonDecoder) unexpected() *jsonError {
	if d.i >= len(d.b) {
		return d.syntax("it ends too early")
	}
	return d.syntax("there is something unexpected at byte %d", d.i)
}

func (d *jsonDecoder) space() {
	for d.i < len(d.b) {
		switch d.b[d.i] {
		case ' ', '\t', '\n', '\r':
			d.i++
		default:
			return
		}
	}
}

// next skips space and consumes c, if c is there.
func (d *jsonDecoder) next(c byte) bool {
	d.space()
	if d.i < len(d.b) && d.b[d.i] == c {
		d.i++
		return true
	}
	return false
}

func (d *jsonDecoder) value() (any, *jsonError) {
	if d.values++; d.values > maxValues {
		return nil, d.syntax("it holds more than %d values", maxValues)
	}
	d.space()
	if d.i >= len(d.b) {
		return nil, d.unexpected()
	}
	switch c := d.b[d.i]; c {
	case '{', '[':
		if d.depth++; d.depth > maxDepth {
			return nil, d.syntax("it is nested more than %d deep", maxDepth)
		}
		d.i++
		var v any
		var err *jsonError
		if c == '{' {
			v, err = d.object()
		} else {
			v, err = d.list()
		}
		d.depth--
		return v, err
	case '"':
		s, err := d.text()
		if err != nil {
			return nil, err
		}
		return string(s), nil
	case 't':
		return d.word("true", true)
	case 'f':
		return d.word("false", false)
	case 'n':
		return d.word("null", nil)
	default:
		return d.number()
	}
}

func (d *jsonDecoder) word(w string, v any) (any, *jsonError) {
	if string(d.b[d.i:min(d.i+len(w), len(d.b))]) != w {
		return nil, d.unexpected()
	}
	d.i += len(w)
	return v, nil
}

func (d *jsonDecoder) object() (any, *jsonError) {
	object := make(map[string]any, 8)
	if d.next('}') {
		return object, nil
	}
	for {
		d.space()
		if d.i >= len(d.b) || d.b[d.i] != '"' {
			return nil, d.unexpected()
		}
		raw, err := d.text()
		if err != nil {
			return nil, err
		}
		name, known := d.names[string(raw)]
		if !known {
			name = string(raw)
		}
		if !d.next(':') {
			return nil, d.unexpected()
		}
		v, err := d.value()
		if err != nil {
			return nil, err.in(name)
		}
		before := len(object)
		if object[name] = v; len(object) == before {
			return nil, d.syntax("the member is given twice").in(name)
		}
		if d.next('}') {
			return object, nil
		}
		if !d.next(',') {
			return nil, d.unexpected()
		}
	}
}

func (d *jsonDecoder) list() (any, *jsonError) {
	list := []any{}
	if d.next(']') {
		return list, nil
	}
	for {
		v, err := d.value()
		if err != nil {
			return nil, err.in(strconv.Itoa(len(list)))
		}
		list = append(list, v)
		if d.next(']') {
			return list, nil
		}
		if !d.next(',') {
			return nil, d.unexpected()
		}
	}
}

// number reads a number by the grammar of RFC 8259, section 6.
func (d *jsonDecoder) number() (any, *jsonError) {
	start := d.i
	d.accept('-')
	if !d.accept('0') && !d.digits() {
		return nil, d.unexpected()
	}
	if d.accept('.') && !d.digits() {
		return nil, d.unexpected()
	}
	if d.accept('e') || d.accept('E') {
		if !d.accept('+') {
			d.accept('-')
		}
		if !d.digits() {
			return nil, d.unexpected()
		}
	}
	if d.i-start > maxNumber {
		return nil, d.syntax("a number has more than %d characters", maxNumber)
	}
	return json.Number(d.b[start:d.i]), nil
}

func (d *jsonDecoder) accept(c byte) bool {
	if d.i < len(d.b) && d.b[d.i] == c {
		d.i++
		return true
	}
	return false
}

func (d *jsonDecoder) digits() bool {
	start := d.i
	for d.i < len(d.b) && d.b[d.i]-'0' <= 9 {
		d.i++
	}
	return d.i > start
}

// text reads a string. What it returns may be part of the document.
func (d *jsonDecoder) text() ([]byte, *jsonError) {
	d.i++
	start := d.i
	for d.i < len(d.b) {
		switch c := d.b[d.i]; {
		case c == '"':
			d.i++
			return d.b[start : d.i-1], nil
		case c == '\\':
			return d.escaped(start)
		case c < ' ':
			return nil, d.unexpected()
		}
		d.i++
	}
	return nil, d.unexpected()
}

// escaped goes on with a string at its first escape.
func (d *jsonDecoder) escaped(start int) ([]byte, *jsonError) {
	s := append([]byte(nil), d.b[start:d.i]...)
	for d.i < len(d.b) {
		c := d.b[d.i]
		switch {
		case c == '"':
			d.i++
			return s, nil
		case c < ' ':
			return nil, d.unexpected()
		case c != '\\':
			s = append(s, c)
			d.i++
			continue
		}
		d.i++
		if d.i >= len(d.b) {
			return nil, d.unexpected()
		}
		const from, to = `"\/bfnrt`, "\"\\/\b\f\n\r\t"
		if at := strings.IndexByte(from, d.b[d.i]); at >= 0 {
			s = append(s, to[at])
			d.i++
			continue
		}
		r, ok := d.unicode()
		if !ok {
			return nil, d.unexpected()
		}
		if utf16.IsSurrogate(r) {
			low := rune(-1)
			if d.accept('\\') {
				low, _ = d.unicode()
			}
			if r = utf16.DecodeRune(r, low); r == utf8.RuneError {
				return nil, d.syntax("half of a surrogate pair stands alone before byte %d", d.i)
			}
		}
		if r == 0 {
			return nil, d.syntax("the character U+0000 is not allowed")
		}
		s = utf8.AppendRune(s, r)
	}
	return nil, d.unexpected()
}

// unicode reads an escape of four digits, after its backslash.
func (d *jsonDecoder) unicode() (rune, bool) {
	if len(d.b)-d.i < 5 || d.b[d.i] != 'u' {
		return -1, false
	}
	v, err := strconv.ParseUint(string(d.b[d.i+1:d.i+5]), 16, 16)
	if err != nil {
		return -1, false
	}
	d.i += 5
	return rune(v), true
}
