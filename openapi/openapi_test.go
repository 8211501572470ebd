package openapi_test

import (
	"fmt"
	"iter"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"shoalbook/openapi"
)

func TestMain(m *testing.M) {
	// The validator's own pattern refuses UUIDs of version 7.
	openapi3.DefineStringFormatValidator("uuid", openapi3.NewRegexpFormatValidator(openapi3.FormatOfStringForUUIDOfRFC9562))
	os.Exit(m.Run())
}

// load reads the contract. It fails on a reference that leads nowhere.
func load(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// operations yields every operation with its method and path.
func operations(doc *openapi3.T) iter.Seq2[string, *openapi3.Operation] {
	return func(yield func(string, *openapi3.Operation) bool) {
		for path, item := range doc.Paths.Map() {
			for method, op := range item.Operations() {
				if !yield(method+" "+path, op) {
					return
				}
			}
		}
	}
}

func TestContractIsValid(t *testing.T) {
	t.Parallel()
	doc := load(t)
	if err := doc.Validate(t.Context(), openapi3.EnableExamplesValidation(), openapi3.EnableSchemaDefaultsValidation(), openapi3.EnableSchemaFormatValidation()); err != nil {
		t.Error(err)
	}
	if doc.OpenAPI != "3.0.3" {
		t.Errorf("openapi is %s; the request validator compiles the schemas of a 3.1 document on every call", doc.OpenAPI)
	}
}

func TestComponentsAreUsed(t *testing.T) {
	t.Parallel()
	text := string(openapi.YAML)
	c := load(t).Components
	for section, names := range map[string][]string{
		"schemas":    slices.Collect(maps.Keys(c.Schemas)),
		"parameters": slices.Collect(maps.Keys(c.Parameters)),
		"headers":    slices.Collect(maps.Keys(c.Headers)),
		"responses":  slices.Collect(maps.Keys(c.Responses)),
		"examples":   slices.Collect(maps.Keys(c.Examples)),
	} {
		if len(names) == 0 {
			t.Errorf("no %s found", section)
		}
		for _, name := range names {
			if !strings.Contains(text, fmt.Sprintf("'#/components/%s/%s'", section, name)) {
				t.Errorf("components/%s/%s is never used", section, name)
			}
		}
	}
}

func TestOperations(t *testing.T) {
	t.Parallel()
	doc := load(t)
	lowerCamel := regexp.MustCompile(`^[a-z]+([A-Z][a-z]+)+$`)
	seen := map[string]string{}
	for where, op := range operations(doc) {
		if !lowerCamel.MatchString(op.OperationID) {
			t.Errorf("%s: operationId %q is not lowerCamel", where, op.OperationID)
		}
		if other, ok := seen[op.OperationID]; ok {
			t.Errorf("%s and %s share the operationId %s", where, other, op.OperationID)
		}
		seen[op.OperationID] = where
		if op.Summary == "" || len(op.Tags) != 1 {
			t.Errorf("%s: needs a summary and one tag", where)
		}

		public := op.Security != nil && len(*op.Security) == 0
		if public == strings.Contains(where, " /v1/") {
			t.Errorf("%s: what is under /v1 needs a token, and nothing else does", where)
		}
		roles := list(op.Extensions["x-roles"])
		switch {
		case public && !slices.Equal(roles, []string{"anyone"}):
			t.Errorf("%s: x-roles is %v, want [anyone]", where, roles)
		case !public && (len(roles) == 0 || roles[0] != "coordinator"):
			t.Errorf("%s: x-roles is %v, and a coordinator may do everything", where, roles)
		}
	}
	if len(seen) != 141 {
		t.Errorf("%d operations, want 140", len(seen))
	}
}

// list returns the texts of an extension that is a list.
func list(v any) []string {
	var out []string
	items, _ := v.([]any)
	for _, item := range items {
		out = append(out, fmt.Sprint(item))
	}
	return out
}

func TestResponses(t *testing.T) {
	t.Parallel()
	for where, op := range operations(load(t)) {
		want := []string{"400", "500"}
		if op.Security == nil {
			want = append(want, "401", "403", "406", "429", "503")
		}
		if strings.Contains(where, "{id}") {
			want = append(want, "404")
		}
		if op.RequestBody != nil {
			want = append(want, "413", "415", "422")
			if !op.RequestBody.Value.Required {
				t.Errorf("%s: the body is not required", where)
			}
		}
		switch method, _, _ := strings.Cut(where, " "); {
		case method == "PATCH":
			want = append(want, "412", "428")
		case method == "POST" && op.OperationID != "recordEntries":
			want = append(want, "201", "409")
		}
		for _, status := range want {
			if op.Responses.Value(status) == nil {
				t.Errorf("%s: no response %s", where, status)
			}
		}

		success := false
		for status, r := range op.Responses.Map() {
			if r.Value.Headers["X-Request-Id"] == nil {
				t.Errorf("%s: response %s has no X-Request-Id", where, status)
			}
			if r.Value.Headers["Traceparent"] == nil {
				t.Errorf("%s: response %s has no Traceparent", where, status)
			}
			if strings.HasPrefix(status, "2") {
				success = true
				continue
			}
			problem := r.Value.Content.Get("application/problem+json")
			if len(r.Value.Content) != 1 || problem == nil {
				t.Errorf("%s: response %s is not a problem document", where, status)
			} else if want := "Problem"; !strings.HasSuffix(problem.Schema.Ref, want) {
				t.Errorf("%s: response %s has schema %s", where, status, problem.Schema.Ref)
			}
			retry := status == "429" || status == "503"
			if (r.Value.Headers["Retry-After"] != nil) != retry {
				t.Errorf("%s: response %s: a Retry-After stands where a retry can help, and only there", where, status)
			}
		}
		if !success {
			t.Errorf("%s: no success documented", where)
		}
	}
}

func TestParameters(t *testing.T) {
	t.Parallel()
	for where, op := range operations(load(t)) {
		var names []string
		for _, p := range op.Parameters {
			names = append(names, p.Value.Name)
		}
		method, _, _ := strings.Cut(where, " ")
		if patch := method == "PATCH"; patch != slices.Contains(names, "If-Match") {
			t.Errorf("%s: If-Match belongs to every PATCH, and to nothing else", where)
		}
		ownID := slices.Contains([]string{"recordEntries", "reverseEntry", "createBatch", "recordDeliveries"}, op.OperationID)
		if keyed := method == "POST" && !ownID; keyed != slices.Contains(names, "Idempotency-Key") {
			t.Errorf("%s: Idempotency-Key belongs to every POST whose body has no id of its own", where)
		} else if keyed && op.Responses.Value("201").Value.Headers["Replayed"] == nil {
			t.Errorf("%s: the answer has no Replayed header", where)
		}
		if isList := slices.Contains(names, "limit"); isList != slices.Contains(names, "after") {
			t.Errorf("%s: after and limit go together", where)
		} else if isList && op.Responses.Value("200").Value.Headers["Link"] == nil {
			t.Errorf("%s: the page has no Link header", where)
		}
	}
}

func TestEveryRequestBodyHasAnExample(t *testing.T) {
	t.Parallel()
	bodies := 0
	for where, op := range operations(load(t)) {
		if op.RequestBody == nil {
			continue
		}
		for mediaType, media := range op.RequestBody.Value.Content {
			bodies++
			values := map[string]any{}
			if media.Example != nil {
				values["example"] = media.Example
			}
			for name, e := range media.Examples {
				values[name] = e.Value.Value
			}
			if len(values) == 0 {
				t.Errorf("%s %s: no example", where, mediaType)
			}
			for name, v := range values {
				if err := media.Schema.Value.VisitJSON(v, openapi3.VisitAsRequest(), openapi3.EnableFormatValidation()); err != nil {
					t.Errorf("%s %s, example %s: %v", where, mediaType, name, err)
				}
			}
		}
	}
	if bodies == 0 {
		t.Error("no request body found")
	}
}

func TestEntryKinds(t *testing.T) {
	t.Parallel()
	doc := load(t)
	schemas := doc.Components.Schemas
	entry := schemas["Entry"].Value
	mapping := entry.Discriminator.Mapping
	examples := doc.Paths.Find("/v1/entries").Post.RequestBody.Value.Content.Get("application/json").Examples

	var kinds []string
	for _, k := range schemas["EntryKind"].Value.Enum {
		kinds = append(kinds, fmt.Sprint(k))
	}
	if len(kinds) != len(mapping) || len(kinds) != len(entry.OneOf) || len(kinds) != len(examples) {
		t.Errorf("%d kinds, %d in the mapping, %d in oneOf, %d examples", len(kinds), len(mapping), len(entry.OneOf), len(examples))
	}
	for _, kind := range kinds {
		name := "Entry" + strings.ToUpper(kind[:1]) + kind[1:]
		if got := mapping[kind].Ref; got != "#/components/schemas/"+name {
			t.Errorf("%s is mapped to %q", kind, got)
		}
		s := schemas[name]
		if s == nil {
			t.Errorf("no schema %s", name)
			continue
		}
		if got := s.Value.Properties["kind"].Value.Enum; len(got) != 1 || got[0] != kind {
			t.Errorf("%s: kind may be %v", name, got)
		}
		for _, common := range []string{"id", "kind", "site_id", "occurred_on"} {
			if !slices.Contains(s.Value.Required, common) {
				t.Errorf("%s: %s is not required", name, common)
			}
		}
		for _, common := range []string{"occurred_at", "note"} {
			if s.Value.Properties[common] == nil || slices.Contains(s.Value.Required, common) {
				t.Errorf("%s: %s has to be there and optional", name, common)
			}
		}
		if e := examples[kind]; e == nil || !hasKind(e.Value.Value, kind) {
			t.Errorf("no example of %s", kind)
		}
	}
}

// hasKind reports whether a body of POST /v1/entries has an entry of the kind.
func hasKind(body any, kind string) bool {
	m, _ := body.(map[string]any)
	entries, _ := m["entries"].([]any)
	return slices.ContainsFunc(entries, func(e any) bool {
		entry, _ := e.(map[string]any)
		return entry["kind"] == kind
	})
}
