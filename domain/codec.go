package domain

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"unicode"
	"unicode/utf8"
)

// This file is the one place that knows how an entry is written: as a flat JSON
// object whose members are the fields of its kind, in snake case, with the
// suffix of their unit. A new kind needs nothing here.

// member describes one field of a kind.
type member struct {
	name     string
	index    int
	optional bool
	typ      reflect.Type
}

var (
	plans     = map[string][]member{}
	kindTypes = map[string]reflect.Type{}
	names     = map[string]string{} // of all members, so that reading them makes no new strings
)

func init() {
	for _, n := range []string{"id", "kind", "site_id", "occurred_on", "occurred_at", "note"} {
		names[n] = n
	}
	for _, k := range kinds {
		t := reflect.TypeOf(k)
		kindTypes[k.Kind()] = t
		for i := range t.NumField() {
			f := t.Field(i)
			m := member{index: i, typ: f.Type, name: snake(f.Name)}
			if f.Type.Kind() == reflect.Pointer {
				m.optional, m.typ = true, f.Type.Elem()
			}
			if s := suffix(m.typ); !strings.HasSuffix(m.name, s) {
				m.name += s
			}
			if m.typ.Kind() == reflect.Bool {
				m.optional = true
			}
			plans[k.Kind()] = append(plans[k.Kind()], m)
			names[m.name] = m.name
		}
	}
}

func suffix(t reflect.Type) string {
	switch {
	case t == reflect.TypeFor[Grams]():
		return "_kg"
	case t == reflect.TypeFor[Milligrams]():
		return "_g"
	case t.Kind() == reflect.Array:
		return "_id"
	}
	return ""
}

// snake turns MeanLengthCM into mean_length_cm.
func snake(s string) string {
	var b strings.Builder
	r := []rune(s)
	for i, c := range r {
		if unicode.IsUpper(c) && i > 0 && (unicode.IsLower(r[i-1]) || i+1 < len(r) && unicode.IsLower(r[i+1])) {
			b.WriteByte('_')
		}
		b.WriteRune(unicode.ToLower(c))
	}
	return b.String()
}

// Members returns the names of the members of a kind, without those that every
// kind has, and which of them may be left out.
func Members(kind string) (names []string, optional map[string]bool) {
	optional = map[string]bool{}
	for _, m := range plans[kind] {
		names = append(names, m.name)
		optional[m.name] = m.optional
	}
	return names, optional
}

// EncodeBody writes the members of a body as a JSON object, in the order of its
// type, without those that are absent. Equal bodies are written alike.
func EncodeBody(b Body, c Currency) []byte {
	v := reflect.ValueOf(b)
	out := append(make([]byte, 0, 160), '{')
	for _, m := range plans[b.Kind()] {
		f := v.Field(m.index)
		if f.Kind() == reflect.Pointer {
			if f.IsNil() {
				continue
			}
			f = f.Elem()
		} else if f.Kind() == reflect.Bool && !f.Bool() {
			continue
		}
		if len(out) > 1 {
			out = append(out, ',')
		}
		out = append(append(append(out, '"'), m.name...), '"', ':')
		out = appendValue(out, f, c)
	}
	return append(out, '}')
}

func appendValue(out []byte, f reflect.Value, c Currency) []byte {
	switch v := f.Interface().(type) {
	case Grams:
		return append(out, formatDecimal(int64(v), 3, 0)...)
	case Milligrams:
		return append(out, formatDecimal(int64(v), 3, 0)...)
	case Quantity:
		return append(out, formatDecimal(int64(v), 3, 0)...)
	case Thousandths:
		return append(out, formatDecimal(int64(v), 3, 0)...)
	case Fish:
		return fmt.Append(out, int64(v))
	case Days:
		return fmt.Append(out, int64(v))
	case DegreeDays:
		return fmt.Append(out, int64(v))
	case Money:
		return append(append(append(out, '"'), c.Format(v)...), '"')
	case UnitPrice:
		return append(append(append(out, '"'), c.FormatPrice(v)...), '"')
	case Date:
		return append(append(append(out, '"'), v.String()...), '"')
	case bool:
		return fmt.Append(out, v)
	case string:
		return append(out, quote(v)...)
	}
	b, _ := f.Interface().(interface{ MarshalText() ([]byte, error) }).MarshalText()
	return append(append(append(out, '"'), b...), '"')
}

// quote writes a JSON string without escaping what need not be.
func quote(s string) []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	_ = e.Encode(s) // a string always encodes
	return bytes.TrimRight(b.Bytes(), "\n")
}

// EncodeEntry writes an entry as its sender would: common members first.
func EncodeEntry(e *Entry, c Currency) []byte {
	return JoinEntry(e.ID, e.Body.Kind(), e.Site, e.On, e.At, e.Note, EncodeBody(e.Body, c))
}

// JoinEntry writes an entry whose body is encoded already.
func JoinEntry(id EntryID, kind string, site SiteID, on Date, at *Minute, note string, body []byte) []byte {
	out := make([]byte, 0, len(body)+len(note)+200)
	out = append(out, `{"id":"`...)
	out = append(out, id.String()...)
	out = append(append(out, `","kind":"`...), kind...)
	out = append(append(out, `","site_id":"`...), site.String()...)
	out = append(append(append(out, `","occurred_on":"`...), on.String()...), '"')
	if at != nil {
		out = append(append(append(out, `,"occurred_at":"`...), at.String()...), '"')
	}
	if note != "" {
		out = append(append(out, `,"note":`...), quote(note)...)
	}
	if len(body) > 2 {
		out = append(append(out, ','), body[1:len(body)-1]...)
	}
	return append(out, '}')
}

// DecodeEntry reads an entry as its sender wrote it. Numbers are read from
// their literal text, so nothing is lost; more decimals than the unit has are
// refused, as are members the kind does not have.
func DecodeEntry(raw []byte, c Currency) (Entry, error) {
	d := decoder{currency: c}
	if !d.split(raw) {
		return Entry{}, Errorf(Invalid, "invalid_json", "the entry is not a JSON object")
	}
	var e Entry
	d.value(reflect.ValueOf(&e.ID).Elem(), "id", false)
	d.value(reflect.ValueOf(&e.Site).Elem(), "site_id", false)
	d.value(reflect.ValueOf(&e.On).Elem(), "occurred_on", false)
	d.value(reflect.ValueOf(&e.At).Elem(), "occurred_at", true)
	d.value(reflect.ValueOf(&e.Note).Elem(), "note", true)
	var kind string
	wrong := len(d.fields)
	d.value(reflect.ValueOf(&kind).Elem(), "kind", false)
	if _, ok := kindTypes[kind]; ok {
		e.Body = d.body(kind)
	} else if len(d.fields) == wrong {
		d.add("/kind", "must be one of "+strings.Join(Kinds(), ", "))
	}
	return e, d.err()
}

// DecodeBody reads the members of a kind that [EncodeBody] wrote.
func DecodeBody(kind string, raw []byte, c Currency) (Body, error) {
	if _, ok := kindTypes[kind]; !ok {
		return nil, fmt.Errorf("unknown kind of entry %q", kind)
	}
	d := decoder{currency: c}
	if !d.split(raw) {
		return nil, fmt.Errorf("the body of a %s is not a JSON object", kind)
	}
	b := d.body(kind)
	return b, d.err()
}

// decoder reads a flat JSON object and gathers what is wrong with it.
type decoder struct {
	checker
	currency Currency
	members  []written
	room     [16]written // enough for almost every entry
}

// written is a member as it was written: its value is JSON.
type written struct {
	name  string
	value []byte
	read  bool
}

// split takes the object apart. It reports whether it is one.
func (d *decoder) split(raw []byte) bool {
	d.members = d.room[:0]
	raw = bytes.TrimSpace(raw)
	if !json.Valid(raw) || raw[0] != '{' {
		return false
	}
	rest := skip(raw[1:], ' ')
	for rest[0] != '}' {
		n := token(rest)
		text, _ := unquote(rest[:n])
		name, ok := names[string(text)]
		if !ok {
			name = string(text)
		}
		rest = skip(rest[n:], ':')
		n = token(rest)
		if d.find(name) == nil {
			d.members = append(d.members, written{name: name, value: rest[:n]})
		} else {
			d.add(pointer(name), "is given twice")
		}
		rest = skip(rest[n:], ',')
	}
	return true
}

// skip leaves out white space and a mark.
func skip(s []byte, mark byte) []byte {
	for len(s) > 0 && (s[0] <= ' ' || s[0] == mark) {
		s = s[1:]
	}
	return s
}

// token returns the length of the JSON value that the text begins with.
func token(s []byte) int {
	depth, quoted := 0, false
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case quoted && c == '\\':
			i++
		case c == '"':
			if quoted = !quoted; !quoted && depth == 0 {
				return i + 1
			}
		case quoted:
		case c == '{' || c == '[':
			depth++
		case c == '}' || c == ']':
			if depth == 0 {
				return i
			}
			if depth--; depth == 0 {
				return i + 1
			}
		case depth == 0 && (c == ',' || c <= ' '):
			return i
		}
	}
	return len(s)
}

// pointer returns the JSON pointer of a member (RFC 6901).
func pointer(name string) string {
	return "/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(name)
}

func (d *decoder) find(name string) *written {
	for i := range d.members {
		if d.members[i].name == name {
			return &d.members[i]
		}
	}
	return nil
}

// value reads a member into a field.
func (d *decoder) value(f reflect.Value, name string, optional bool) {
	m := d.find(name)
	if m == nil {
		d.require(optional, "/"+name, "is missing")
		return
	}
	m.read = true
	if f.Kind() == reflect.Pointer {
		f.Set(reflect.New(f.Type().Elem()))
		f = f.Elem()
	}
	if err := setValue(f, m.value, d.currency); err != nil {
		d.add("/"+name, err.Error())
	}
}

// body reads the members of a kind; there must be no others left.
func (d *decoder) body(kind string) Body {
	v := reflect.New(kindTypes[kind]).Elem()
	for _, m := range plans[kind] {
		d.value(v.Field(m.index), m.name, m.optional)
	}
	for _, m := range d.members {
		if !m.read {
			d.add(pointer(m.name), "is not a member of "+kind)
		}
	}
	return v.Interface().(Body)
}

// The largest numbers that are read, in their smallest units: sums of millions
// of them still fit.
const (
	mostFish       = 1_000_000_000
	mostGrams      = 1_000_000_000
	mostMilligrams = 1_000_000_000
	mostQuantity   = 10_000_000_000
	mostOther      = 1_000_000_000_000
	mostMoney      = 1_000_000_000_000_000
)

var errLarge = errors.New("is too large")

func setValue(f reflect.Value, raw []byte, c Currency) (err error) {
	switch p := f.Addr().Interface().(type) {
	case *Grams:
		*p, err = number[Grams](raw, 3, mostGrams)
	case *Milligrams:
		*p, err = number[Milligrams](raw, 3, mostMilligrams)
	case *Quantity:
		*p, err = number[Quantity](raw, 3, mostQuantity)
	case *Thousandths:
		*p, err = number[Thousandths](raw, 3, mostOther)
	case *Fish:
		*p, err = number[Fish](raw, 0, mostFish)
	case *Days:
		*p, err = number[Days](raw, 0, mostFish)
	case *DegreeDays:
		*p, err = number[DegreeDays](raw, 0, mostFish)
	case *bool:
		if *p = string(raw) == "true"; !*p && string(raw) != "false" {
			return errors.New("must be true or false")
		}
	default:
		s, err := unquote(raw)
		if err != nil {
			return err
		}
		switch p := p.(type) {
		case *string:
			*p = string(s)
		case *Minute:
			*p, err = ParseMinute(string(s))
		case *Money:
			if *p, err = c.Parse(string(s)); *p > mostMoney || *p < -mostMoney {
				err = errLarge
			}
		case *UnitPrice:
			if *p, err = c.ParsePrice(string(s)); *p > mostMoney || *p < -mostMoney {
				err = errLarge
			}
		case interface{ UnmarshalText([]byte) error }:
			err = p.UnmarshalText(s)
		}
		return err
	}
	return err
}

func number[T ~int64](raw []byte, digits int, most T) (T, error) {
	v, err := parseDecimal(withoutExponent(string(raw)), digits)
	if err == nil && (v > int64(most) || v < -int64(most)) {
		err = errLarge
	}
	return T(v), err
}

var errText = errors.New("must be a text")

// unquote returns what a JSON string says, perhaps as a part of it.
func unquote(raw []byte) ([]byte, error) {
	if len(raw) < 2 || raw[0] != '"' || !utf8.Valid(raw) {
		return nil, errText
	}
	if s := raw[1 : len(raw)-1]; bytes.IndexByte(s, '\\') < 0 {
		return s, nil
	}
	var s string
	if err := json.Unmarshal(raw, &s); err != nil || strings.ContainsRune(s, 0) {
		return nil, errText
	}
	return []byte(s), nil
}
