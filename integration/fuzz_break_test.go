package integration_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

// A fuzzed request is one that was drawn, before it is sent.
type fuzzed struct {
	op          operation
	path        string
	query       url.Values
	headers     []string
	body        any
	raw         []byte // what is sent; of the body, if it is not set
	role, token string
	sees        string // the one site that the token is for, if it is not for all
	strangeID   bool   // the id in the path is of nothing that is known
	follows     bool   // a link that an answer gave
	repeats     bool   // byte for byte what was sent before

	broken string // what is not as the contract says; empty: nothing
	want   int    // the status of the answer to what is broken
}

// breaks breaks a request in one way, which it names.
func (d *drawer) breaks(r *fuzzed) {
	type way struct {
		how    string
		status int
		do     func()
	}
	ways := []way{
		{"an unknown parameter", 400, func() { r.query.Set("colour", "blue") }},
	}
	add := func(how string, status int, do func()) { ways = append(ways, way{how, status, do}) }
	if r.op.answers() {
		add("an answer of another type", 406, func() { r.headers = append(r.headers, "Accept", "image/png") })
	}
	if !r.op.public {
		add("no token", 401, func() { r.token = "" })
		add("half a token", 401, func() { r.token = r.token[:len(r.token)/2] })
	}
	for _, p := range r.op.params {
		switch {
		case p.In == openapi3.ParameterInPath:
			add("an id that is none in the path", 400, func() {
				r.path = strings.Replace(r.op.path, "{"+p.Name+"}", pick(d.t, "not an id", []string{"0", "nil", "00000000-0000-0000-0000-000000000000", "%20", "0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8"}), 1)
			})
		case p.In == openapi3.ParameterInHeader && p.Required:
			status := map[string]int{"If-Match": http.StatusPreconditionRequired, "Idempotency-Key": http.StatusBadRequest}[p.Name]
			add("no "+p.Name, status, func() { r.headers = append(r.headers, p.Name, "") })
		case p.In == openapi3.ParameterInHeader:
			add("an unreadable "+p.Name, 400, func() { r.headers = append(r.headers, p.Name, strings.Repeat("x", 256)) })
		case p.In == openapi3.ParameterInQuery:
			unreadable := []string{"", "\x00", "\xff"}
			if s := p.Schema.Value; !s.Type.Is(openapi3.TypeString) || s.Format != "" || s.Pattern != "" && s.Pattern != `\S` || s.Enum != nil { // it is not a text of any kind
				unreadable = append(unreadable, "so so", "-1")
			}
			add("an unreadable "+p.Name, 400, func() { r.query.Set(p.Name, pick(d.t, "unreadable", unreadable)) })
			if !p.Schema.Value.Type.Is(openapi3.TypeArray) {
				add(p.Name+" twice", 400, func() { r.query[p.Name] = []string{"1", "1"} })
			}
		}
	}
	if r.op.takes("after") {
		add("a cursor that was not given", 400, func() { r.query.Set("after", pick(d.t, "after", []string{"x", "AQ", strings.Repeat("-", 512)})) })
	}
	if r.body == nil {
		add("a body", 400, func() { r.raw = []byte("{}") })
	} else {
		d.spots = append(d.spots, spot{"the body", r.op.body().Schema.Value, r.body, func(v any) bool { r.body = v; return true }})
		add("no body", 400, func() { r.raw = []byte{} })
		add("half a body", 400, func() { r.raw = marshal(r.body); r.raw = r.raw[:len(r.raw)/2] })
		add("two bodies", 400, func() { r.raw = append(marshal(r.body), marshal(r.body)...) })
		add("a member twice", 400, func() { r.raw = append([]byte(`{"x":1,"x":1,`), marshal(r.body)[1:]...) })
		add("another type of body", 415, func() { r.headers = append(r.headers, "Content-Type", "text/csv") })
		for range 5 { // most of what can be wrong is in bodies
			add("a part", 400, func() { r.broken = d.breakPart() })
		}
	}
	w := pick(d.t, "break", ways)
	r.broken, r.want = w.how, w.status
	w.do()
}

func marshal(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err) // it was made here
	}
	return b
}

// breakPart breaks one part of the body, and says how.
func (d *drawer) breakPart() string {
	for range 20 {
		s := pick(d.t, "part", d.spots)
		if how, v := d.wrong(s); how != "" && s.set(v) {
			return how + ": " + s.where
		}
	}
	root := d.spots[len(d.spots)-1]
	root.set([]any{})
	return "a list for a body"
}

// wrong returns a value that must not be where the spot is, and what is wrong with it.
func (d *drawer) wrong(s spot) (string, any) {
	schema := concrete(s.schema, s.value)
	if object, ok := s.value.(map[string]any); ok && d.oneIn(2) {
		changed := make(map[string]any, len(object))
		for name, member := range object {
			changed[name] = member
		}
		if len(schema.Required) > 0 && d.oneIn(2) {
			gone := pick(d.t, "without", schema.Required)
			delete(changed, gone)
			return "without " + gone, changed
		}
		changed["tomatoes"] = 1
		return "a member too much", changed
	}
	if precise := tooPrecise(s); precise != nil && d.oneIn(3) {
		return "too precise", precise
	}
	v := pick(d.t, "wrong value", wrongValues(schema))
	if schema.VisitJSON(v, openapi3.MultiErrors(), formats) == nil {
		return "", nil
	}
	return "not allowed", v
}

// tooPrecise returns a number with more places than are kept, if places are counted.
func tooPrecise(s spot) any {
	switch {
	case s.schema.Type == nil || s.where == "coordinates":
		return nil
	case s.schema.Type.Is(openapi3.TypeNumber):
		return json.Number("5.0001")
	case s.schema.Pattern == `^[0-9]{1,12}(\.[0-9]{1,3})?$`: // the currency has two
		return "5.001"
	}
	return nil
}

func wrongValues(s *openapi3.Schema) []any {
	values := []any{nil, map[string]any{"a": 1}, 7, true, "§", "", []any{}, -1, 1.5, 1e15, strings.Repeat("x", 1001)}
	if s.MaxItems != nil && *s.MaxItems < 30 {
		values = append(values, slices.Repeat([]any{"x"}, int(*s.MaxItems)+1))
	}
	if s.Max != nil {
		values = append(values, *s.Max+1)
	}
	if s.Min != nil {
		values = append(values, *s.Min-1)
	}
	return values
}

// concrete returns the form of a schema that a value has.
func concrete(s *openapi3.Schema, v any) *openapi3.Schema {
	object, _ := v.(map[string]any)
	kind, _ := object["kind"].(string)
	if s.Discriminator == nil {
		return s
	}
	i := slices.IndexFunc(s.OneOf, func(r *openapi3.SchemaRef) bool { return r.Ref == s.Discriminator.Mapping[kind].Ref })
	return s.OneOf[max(0, i)].Value
}
