package openapi_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

// walk calls visit for a schema and everything written inside it. It does not
// follow references: what they lead to is walked under its own name.
func walk(where string, ref *openapi3.SchemaRef, visit func(where string, ref *openapi3.SchemaRef)) {
	if ref == nil {
		return
	}
	visit(where, ref)
	if ref.Ref != "" {
		return
	}
	s := ref.Value
	for name, p := range s.Properties {
		walk(where+"/"+name, p, visit)
	}
	walk(where+"/items", s.Items, visit)
	walk(where+"/additionalProperties", s.AdditionalProperties.Schema, visit)
	walk(where+"/not", s.Not, visit)
	for _, of := range [][]*openapi3.SchemaRef{s.OneOf, s.AnyOf, s.AllOf} {
		for i, p := range of {
			walk(fmt.Sprint(where, "/of/", i), p, visit)
		}
	}
}

// everySchema visits every schema that is written in the contract: components,
// parameters, headers and bodies.
func everySchema(doc *openapi3.T, visit func(where string, ref *openapi3.SchemaRef)) {
	for name, ref := range doc.Components.Schemas {
		walk(name, ref, visit)
	}
	for name, p := range doc.Components.Parameters {
		walk("parameter "+name, p.Value.Schema, visit)
	}
	for name, h := range doc.Components.Headers {
		walk("header "+name, h.Value.Schema, visit)
	}
	content := func(where string, c openapi3.Content) {
		for mediaType, media := range c {
			walk(where+" "+mediaType, media.Schema, visit)
		}
	}
	for name, r := range doc.Components.Responses {
		content("response "+name, r.Value.Content)
	}
	for where, op := range operations(doc) {
		for _, p := range op.Parameters {
			if p.Ref == "" {
				walk(where+" "+p.Value.Name, p.Value.Schema, visit)
			}
		}
		if op.RequestBody != nil {
			content(where, op.RequestBody.Value.Content)
		}
		for status, r := range op.Responses.Map() {
			if r.Ref == "" {
				content(where+" "+status, r.Value.Content)
			}
		}
	}
}

func isObject(s *openapi3.Schema) bool {
	return s.Type.Is("object") || len(s.Properties) > 0 || len(s.OneOf)+len(s.AnyOf)+len(s.AllOf) > 0
}

// An object without a name becomes an anonymous struct in every language.
func TestObjectsHaveNames(t *testing.T) {
	t.Parallel()
	doc := load(t)
	everySchema(doc, func(where string, ref *openapi3.SchemaRef) {
		_, named := doc.Components.Schemas[where]
		if ref.Ref == "" && !named && isObject(ref.Value) {
			t.Errorf("%s is an object without a name", where)
		}
	})
}

// A mistyped member is refused instead of being lost, and an answer has no
// member that the contract does not name.
func TestObjectsAreClosed(t *testing.T) {
	t.Parallel()
	closed := 0
	everySchema(load(t), func(where string, ref *openapi3.SchemaRef) {
		if ref.Ref != "" || !ref.Value.Type.Is("object") {
			return
		}
		if has := ref.Value.AdditionalProperties.Has; has == nil || *has {
			t.Errorf("%s takes any member", where)
		}
		for _, name := range ref.Value.Required {
			if ref.Value.Properties[name] == nil {
				t.Errorf("%s requires %s, which it does not have", where, name)
			}
		}
		if strings.HasSuffix(where, "Patch") && (ref.Value.MinProps == 0 || len(ref.Value.Required) > 0) {
			t.Errorf("%s has to need some member, and none in particular", where)
		}
		closed++
	})
	if closed == 0 {
		t.Error("no object found")
	}
}

func TestEverythingIsDescribed(t *testing.T) {
	t.Parallel()
	doc := load(t)
	for name, ref := range doc.Components.Schemas {
		if ref.Value.Description == "" {
			t.Errorf("%s has no description", name)
		}
		for member, p := range ref.Value.Properties {
			if p.Value.Description == "" {
				t.Errorf("%s/%s has no description", name, member)
			}
		}
	}
	for name, p := range doc.Components.Parameters {
		if p.Value.Description == "" {
			t.Errorf("parameter %s has no description", name)
		}
	}
}

func TestTextsAndListsAreBounded(t *testing.T) {
	t.Parallel()
	everySchema(load(t), func(where string, ref *openapi3.SchemaRef) {
		s := ref.Value
		switch {
		case ref.Ref != "":
		case s.Type.Is("string"):
			fixed := s.Format == "uuid" || s.Format == "date" || s.Format == "date-time"
			if s.MaxLength == nil && len(s.Enum) == 0 && s.Pattern == "" && !fixed {
				t.Errorf("%s may be any text", where)
			}
		case s.Type.Is("array"):
			if s.MaxItems == nil {
				t.Errorf("%s may be any length", where)
			}
		}
	})
}

// Figures may be any number; what is sent may not.
func TestNumbersSentAreBounded(t *testing.T) {
	t.Parallel()
	doc := load(t)
	numbers := 0
	seen := map[string]bool{}
	var check func(where string, ref *openapi3.SchemaRef)
	check = func(where string, ref *openapi3.SchemaRef) {
		if name, ok := strings.CutPrefix(ref.Ref, "#/components/schemas/"); ok && !seen[name] {
			seen[name] = true
			walk(name, doc.Components.Schemas[name], check)
			return
		}
		if ref.Ref == "" && (ref.Value.Type.Is("number") || ref.Value.Type.Is("integer")) {
			numbers++
			if ref.Value.Min == nil || ref.Value.Max == nil {
				t.Errorf("%s has no bounds", where)
			}
		}
	}
	for where, op := range operations(doc) {
		for _, p := range op.Parameters {
			walk(where+" "+p.Value.Name, p.Value.Schema, check)
		}
		if op.RequestBody != nil {
			for _, media := range op.RequestBody.Value.Content {
				walk(where, media.Schema, check)
			}
		}
	}
	if numbers == 0 {
		t.Error("no number found")
	}
}
