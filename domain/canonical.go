package domain

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
)

// Canonical writes a JSON text in the one way of RFC 8785 (JSON Canonicalization Scheme):
// members in the order of their names, no space, numbers as the nearest double in the
// fewest digits. Texts that say the same have the same bytes, and so the same hash.
func Canonical(text []byte) ([]byte, error) {
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, fmt.Errorf("canonical: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("canonical: there is more than one value")
	}
	return appendCanonical(make([]byte, 0, len(text)), v)
}

// CanonicalOf is [Canonical] of what a value is as JSON.
func CanonicalOf(v any) ([]byte, error) {
	text, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	return Canonical(text)
}

func appendCanonical(to []byte, v any) (_ []byte, err error) {
	switch v := v.(type) {
	case nil:
		return append(to, "null"...), nil
	case bool:
		return strconv.AppendBool(to, v), nil
	case string:
		return appendText(to, v), nil
	case json.Number:
		f, err := v.Float64()
		if err != nil {
			return nil, fmt.Errorf("canonical: %s is no double: %w", v, err)
		}
		return appendDouble(to, f), nil
	case []any:
		to = append(to, '[')
		for i, item := range v {
			if i > 0 {
				to = append(to, ',')
			}
			if to, err = appendCanonical(to, item); err != nil {
				return nil, err
			}
		}
		return append(to, ']'), nil
	case map[string]any:
		names := make([]string, 0, len(v))
		for name := range v {
			names = append(names, name)
		}
		slices.SortFunc(names, byUTF16)
		to = append(to, '{')
		for i, name := range names {
			if i > 0 {
				to = append(to, ',')
			}
			to = append(appendText(to, name), ':')
			if to, err = appendCanonical(to, v[name]); err != nil {
				return nil, err
			}
		}
		return append(to, '}'), nil
	}
	panic("canonical: no value of JSON")
}

// byUTF16 orders as RFC 8785 does. It differs from the order of bytes only where there
// are characters outside the basic plane.
func byUTF16(a, b string) int {
	if strings.IndexFunc(a+b, func(r rune) bool { return r > 0xffff }) < 0 {
		return cmp.Compare(a, b)
	}
	return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b)))
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
