package integration_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/jackc/pgx/v5"
)

// everyName returns the name of every member of every schema, and what the service
// keeps beside them.
func everyName(t testing.TB) []string {
	t.Helper()
	doc, err := document()
	if err != nil {
		t.Fatal(err)
	}
	names := map[string]bool{}
	for _, name := range []string{"coop_id", "tenant_id", "version", "recorded_at", "recorded_by", "token_id", "hash", "digest", "role", "sites", "owed", "is_admin", "__proto__", "constructor"} {
		names[name] = true
	}
	err = doc.WalkSchemas(func(_ string, ref *openapi3.SchemaRef) error {
		for name := range ref.Value.Properties {
			names[name] = true
		}
		return nil
	})
	if err != nil || len(names) < 200 {
		t.Fatalf("the contract has %d names, %v", len(names), err)
	}
	return slices.Sorted(maps.Keys(names))
}

// objects calls visit for every object in a value, with the members that the contract
// knows it to have.
func objects(at string, s *openapi3.Schema, v any, visit func(at string, object map[string]any, known map[string]*openapi3.SchemaRef)) {
	s = concrete(s, v)
	switch v := v.(type) {
	case map[string]any:
		visit(at, v, s.Properties)
		for name, member := range v {
			objects(at+"/"+name, s.Properties[name].Value, member, visit)
		}
	case []any:
		for i, item := range v {
			objects(fmt.Sprint(at, "/", i), s.Items.Value, item, visit)
		}
	}
}

// contents returns all that is kept, but for when tokens were last used.
func (s *service) contents(conn *pgx.Conn) map[string]string {
	s.t.Helper()
	kept := map[string]string{}
	for _, table := range column[string](s.t, conn, everyTable) {
		sql := fmt.Sprintf(`select count(*) || ' ' || coalesce(md5(string_agg(row, '' order by row)), '') from (select (to_jsonb(t) - 'last_used_on')::text as row from %s t) t`, pgx.Identifier{table}.Sanitize())
		kept[table] = column[string](s.t, conn, sql)[0]
	}
	return kept
}

// Whatever is sent beyond what an operation takes, by the name of anything there is,
// is refused by that name, and nothing of it is kept.
func TestMassAssignment(t *testing.T) {
	t.Parallel()
	s := newService(t)
	conn := s.owner()
	names := everyName(t)
	before := s.contents(conn)
	writes, places, tried := 0, 0, 0
	for _, o := range operations(t) {
		if o.RequestBody == nil {
			continue
		}
		writes++
		media := o.body()
		examples := []any{}
		if media.Example != nil {
			examples = append(examples, media.Example)
		}
		for _, e := range media.Examples {
			examples = append(examples, e.Value.Value)
		}
		for _, example := range examples {
			body := cloned(t, example)
			objects("", media.Schema.Value, body, func(at string, object map[string]any, known map[string]*openapi3.SchemaRef) {
				places++
				unknown := slices.DeleteFunc(slices.Clone(names), func(name string) bool { return known[name] != nil })
				for some := range slices.Chunk(unknown, 90) { // no more are told of at once
					tried += len(some)
					r := s.smuggle(o, body, object, some)
					for _, name := range some {
						if !strings.Contains(string(r.body), fmt.Sprintf("%q", at+"/"+name)) {
							t.Errorf("%s does not refuse %s/%s: %d %s", o.OperationID, at, name, r.status, r.body)
						}
					}
				}
			})
		}
	}
	for table, was := range before {
		if now := s.contents(conn)[table]; now != was {
			t.Errorf("%s has changed from %s to %s", table, was, now)
		}
	}
	if writes < 20 || places < 60 || tried < 10_000 {
		t.Errorf("%d names at %d places of %d operations", tried, places, writes)
	}
	t.Logf("%d names at %d places of %d operations", tried, places, writes)
}

// cloned returns a copy of what JSON can say.
func cloned(t testing.TB, v any) (c any) {
	t.Helper()
	text, err := json.Marshal(v)
	if err == nil {
		err = json.Unmarshal(text, &c)
	}
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// smuggle sends a body with some members more in one of its objects.
func (s *service) smuggle(o operation, body any, object map[string]any, names []string) response {
	s.t.Helper()
	for _, name := range names {
		object[name] = "x"
	}
	text, err := json.Marshal(body)
	for _, name := range names {
		delete(object, name)
	}
	if err != nil {
		s.t.Fatal(err)
	}
	var headers []string
	if o.takes("Idempotency-Key") {
		headers = append(headers, "Idempotency-Key", newText())
	}
	if o.takes("If-Match") {
		headers = append(headers, "If-Match", "*")
	}
	return s.do(o.method, o.address(newText()), s.coordinator, text, headers...).want(http.StatusBadRequest, "invalid_request")
}
