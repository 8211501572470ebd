package domain

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// Canonical writes a JSON text in the one way of RFC 8785 (JSON Canonicalization Scheme):
// members in the order of their names, no space, numbers as the nearest double in the
// fewest digits. Texts that say the same have the same bytes, and so the same hash.
func Canonical(text []byte) ([]byte, error) {
	if !json.Valid(text) {
		var v any
		return nil, fmt.Errorf("canonical: %w", json.Unmarshal(text, &v))
	}
	c := canonical{in: text, out: make([]byte, 0, len(text))}
	err := c.value()
	return c.out, err
}

// CanonicalOf is [Canonical] of what a value is as JSON.
func CanonicalOf(v any) ([]byte, error) {
	text, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	return Canonical(text)
}

// canonical reads a valid JSON text from its beginning and writes it as it goes, so that
// no value has to be held in between; only the members of an object are put in order when
// all of them are written.
type canonical struct {
	in, out []byte
	spare   []byte // for putting members in order
}

// canonicalMember is one of an object: its name, and where it is written, name and value.
type canonicalMember struct {
	name     string
	from, to int
}

func (c *canonical) skip() byte {
	for c.in[0] == ' ' || c.in[0] == '\t' || c.in[0] == '\n' || c.in[0] == '\r' {
		c.in = c.in[1:]
	}
	return c.in[0]
}

func (c *canonical) value() error {
	switch c.skip() {
	case '"':
		c.text()
		return nil
	case '{':
		return c.object()
	case '[':
		return c.array()
	}
	n := bytes.IndexAny(c.in, ",]} \t\r\n")
	if n < 0 {
		n = len(c.in)
	}
	literal := c.in[:n]
	c.in = c.in[n:]
	if letter := literal[0]; letter == 't' || letter == 'f' || letter == 'n' || plainNumber(literal) {
		c.out = append(c.out, literal...)
		return nil
	}
	f, err := strconv.ParseFloat(string(literal), 64)
	if err != nil {
		return fmt.Errorf("canonical: %s is no double: %w", literal, err)
	}
	c.out = appendDouble(c.out, f)
	return nil
}

// plainNumber reports whether a number is written in the fewest digits already, since it is a
// whole one that a double can say.
func plainNumber(literal []byte) bool {
	if len(literal) > 15 || literal[0] == '-' {
		return false
	}
	for _, digit := range literal {
		if digit < '0' || digit > '9' {
			return false
		}
	}
	return true
}

func (c *canonical) array() error {
	c.in, c.out = c.in[1:], append(c.out, '[')
	for c.skip() != ']' {
		if c.in[0] == ',' {
			c.in, c.out = c.in[1:], append(c.out, ',')
		}
		if err := c.value(); err != nil {
			return err
		}
	}
	c.in, c.out = c.in[1:], append(c.out, ']')
	return nil
}

func (c *canonical) object() error {
	c.in, c.out = c.in[1:], append(c.out, '{')
	begin := len(c.out)
	var few [24]canonicalMember
	members := few[:0]
	sorted := true
	for c.skip() != '}' {
		if c.in[0] == ',' {
			c.in = c.in[1:]
			c.skip()
		}
		m := canonicalMember{from: len(c.out)}
		m.name = c.text()
		c.skip() // to the colon
		c.in, c.out = c.in[1:], append(c.out, ':')
		if err := c.value(); err != nil {
			return err
		}
		m.to = len(c.out)
		c.out = append(c.out, ',')
		sorted = sorted && (len(members) == 0 || byUTF16(members[len(members)-1].name, m.name) < 0)
		members = append(members, m)
	}
	if !sorted {
		slices.SortStableFunc(members, func(a, b canonicalMember) int { return byUTF16(a.name, b.name) })
		c.spare = append(c.spare[:0], c.out[begin:]...)
		c.out = c.out[:begin]
		for i, m := range members {
			if i+1 < len(members) && members[i+1].name == m.name {
				continue // the last of a name holds
			}
			c.out = append(append(c.out, c.spare[m.from-begin:m.to-begin]...), ',')
		}
	}
	if len(members) > 0 {
		c.out = c.out[:len(c.out)-1] // the last comma
	}
	c.in, c.out = c.in[1:], append(c.out, '}')
	return nil
}

// text writes a text, and returns it.
func (c *canonical) text() string {
	n := 1
	for c.in[n] != '"' {
		if c.in[n] == '\\' {
			n++
		}
		n++
	}
	quoted := c.in[:n+1]
	c.in = c.in[n+1:]
	if inside := quoted[1:n]; bytes.IndexByte(inside, '\\') < 0 && utf8.Valid(inside) {
		c.out = append(c.out, quoted...)
		return string(inside)
	}
	var s string
	if err := json.Unmarshal(quoted, &s); err != nil {
		panic(err) // it was valid
	}
	c.out = appendText(c.out, s)
	return s
}

// byUTF16 orders as RFC 8785 does. It differs from the order of bytes only where there
// are characters outside the basic plane.
func byUTF16(a, b string) int {
	if !beyond(a) && !beyond(b) {
		return cmp.Compare(a, b)
	}
	return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b)))
}

// beyond reports whether a text has characters outside the basic plane, which take four
// bytes.
func beyond(s string) bool {
	for i := range len(s) {
		if s[i] >= 0xf0 {
			return true
		}
	}
	return false
}

const shortEscapes = "\b\t\n\f\r\"\\"

func appendText(to []byte, s string) []byte {
	to = append(to, '"')
	for i := range len(s) {
		c := s[i]
		switch k := strings.IndexByte(shortEscapes, c); {
		case k >= 0:
			to = append(to, '\\', "btnfr\"\\"[k])
		case c < 0x20:
			to = fmt.Appendf(to, `\u%04x`, c)
		default:
			to = append(to, c)
		}
	}
	return append(to, '"')
}

// appendDouble writes a number as ECMAScript does.
func appendDouble(to []byte, f float64) []byte {
	if f == 0 { // also the negative one
		return append(to, '0')
	}
	if size := max(f, -f); size >= 1e-6 && size < 1e21 {
		return strconv.AppendFloat(to, f, 'f', -1, 64)
	}
	text := strconv.FormatFloat(f, 'e', -1, 64)
	digits, exponent, _ := strings.Cut(text, "e")
	to = append(append(to, digits...), 'e', exponent[0])
	return append(to, strings.TrimLeft(exponent[1:], "0")...)
}
