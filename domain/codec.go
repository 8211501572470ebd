package domain

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"unicode"
)

// This file is the one place that knows how an entry is written: as a flat JSON
// object whose members are the fields of its kind, in snake case, with the
// suffix of their unit. A new kind needs nothing here.

// common are the members that every kind of entry has.
var common = []string{"id", "kind", "site_id", "occurred_on", "occurred_at", "note"}

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
)

func init() {
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
	members := map[string]json.RawMessage{}
	if err := json.Unmarshal(raw, &members); err != nil {
		return Entry{}, Errorf(Invalid, "invalid_json", "the entry is not a JSON object")
	}
	ck := &checker{}
	var e Entry
	text := func(name string, required bool) (string, bool) {
		r, ok := members[name]
		if !ok {
			ck.require(!required, "/"+name, "is missing")
			return "", false
		}
		s, err := unquote(r)
		if err != nil {
			ck.add("/"+name, err.Error())
			return "", false
		}
		return s, true
	}
	var err error
	if s, ok := text("id", true); ok {
		if e.ID, err = ParseID[Entry](s); err != nil {
			ck.add("/id", err.Error())
		}
	}
	if s, ok := text("site_id", true); ok {
		if e.Site, err = ParseID[SiteFacts](s); err != nil {
			ck.add("/site_id", err.Error())
		}
	}
	if s, ok := text("occurred_on", true); ok {
		if e.On, err = ParseDate(s); err != nil {
			ck.add("/occurred_on", err.Error())
		}
	}
	if s, ok := text("occurred_at", false); ok {
		m, err := ParseMinute(s)
		if err != nil {
			ck.add("/occurred_at", err.Error())
		}
		e.At = &m
	}
	e.Note, _ = text("note", false)
	kind, _ := text("kind", true)
	if _, ok := kindTypes[kind]; !ok {
		ck.add("/kind", "must be one of "+strings.Join(Kinds(), ", "))
		return e, ck.err()
	}
	for name := range members {
		if !slices.Contains(common, name) && !slices.ContainsFunc(plans[kind], func(m member) bool { return m.name == name }) {
			ck.add("/"+name, "is not a member of "+kind)
		}
	}
	e.Body = decodeBody(kind, members, c, ck)
	slices.SortFunc(ck.fields, func(a, b FieldError) int { return strings.Compare(a.Pointer, b.Pointer) })
	return e, ck.err()
}

// DecodeBody reads the members of a kind that [EncodeBody] wrote.
func DecodeBody(kind string, raw []byte, c Currency) (Body, error) {
	members := map[string]json.RawMessage{}
	if _, ok := kindTypes[kind]; !ok {
		return nil, fmt.Errorf("unknown kind of entry %q", kind)
	}
	if err := json.Unmarshal(raw, &members); err != nil {
		return nil, fmt.Errorf("body of %s: %w", kind, err)
	}
	ck := &checker{}
	b := decodeBody(kind, members, c, ck)
	return b, ck.err()
}

func decodeBody(kind string, members map[string]json.RawMessage, c Currency, ck *checker) Body {
	v := reflect.New(kindTypes[kind]).Elem()
	for _, m := range plans[kind] {
		raw, ok := members[m.name]
		if !ok {
			ck.require(m.optional, "/"+m.name, "is missing")
			continue
		}
		f := v.Field(m.index)
		if f.Kind() == reflect.Pointer {
			f.Set(reflect.New(m.typ))
			f = f.Elem()
		}
		if err := setValue(f, raw, c); err != nil {
			ck.add("/"+m.name, err.Error())
		}
	}
	return v.Interface().(Body)
}

func setValue(f reflect.Value, raw json.RawMessage, c Currency) (err error) {
	switch p := f.Addr().Interface().(type) {
	case *Grams:
		*p, err = number[Grams](raw, 3)
	case *Milligrams:
		*p, err = number[Milligrams](raw, 3)
	case *Quantity:
		*p, err = number[Quantity](raw, 3)
	case *Thousandths:
		*p, err = number[Thousandths](raw, 3)
	case *Fish:
		*p, err = number[Fish](raw, 0)
	case *bool:
		if *p = string(raw) == "true"; !*p && string(raw) != "false" {
			return fmt.Errorf("must be true or false")
		}
	default:
		s, err := unquote(raw)
		if err != nil {
			return err
		}
		switch p := p.(type) {
		case *string:
			*p = s
		case *Money:
			*p, err = c.Parse(s)
		case *UnitPrice:
			*p, err = c.ParsePrice(s)
		case interface{ UnmarshalText([]byte) error }:
			err = p.UnmarshalText([]byte(s))
		}
		return err
	}
	return err
}

func number[T ~int64](raw json.RawMessage, digits int) (T, error) {
	s := string(raw)
	if strings.ContainsAny(s, "eE") { // 1e3 is a JSON number too
		d := json.NewDecoder(strings.NewReader(s))
		var f float64
		if err := d.Decode(&f); err != nil || f != float64(int64(f)) || f > 1e15 || f < -1e15 {
			return 0, fmt.Errorf("not a plain decimal number such as 12.5")
		}
		s = fmt.Sprintf("%d", int64(f))
	}
	v, err := parseDecimal(s, digits)
	return T(v), err
}

func unquote(raw json.RawMessage) (string, error) {
	var s *string
	d := json.NewDecoder(bytes.NewReader(raw))
	if err := d.Decode(&s); err != nil || s == nil {
		return "", fmt.Errorf("must be a text")
	}
	if _, err := d.Token(); err != io.EOF {
		return "", fmt.Errorf("must be a text")
	}
	return *s, nil
}
