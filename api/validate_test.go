package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"shoalbook/openapi"
)

const (
	siteURL   = "/v1/sites/019ade3a-7c00-7000-8000-000000000001"
	feeding   = `{"id":"019ade3a-7c00-7000-8000-0000000000a9","kind":"feeding","site_id":"019ade3a-7c00-7000-8000-000000000001","occurred_on":"2026-04-02","batch_id":"019ade3a-7c00-7000-8000-000000000061","product_id":"019ade3a-7c00-7000-8000-000000000041","weight_kg":7.6,"response":"good"}`
	mergeType = "application/merge-patch+json"
)

func entries(items ...string) string { return `{"entries":[` + strings.Join(items, ",") + `]}` }

// with returns the feeding entry with one member changed, or left out if value is "".
func with(member, value string) string {
	var e map[string]json.RawMessage
	if err := json.Unmarshal([]byte(feeding), &e); err != nil {
		panic(err)
	}
	delete(e, member)
	if value != "" {
		e[member] = json.RawMessage(value)
	}
	b, err := json.Marshal(e)
	if err != nil {
		panic(err)
	}
	return string(b)
}

func newValidatingServer(t *testing.T) func(method, path, body string, headers ...string) received {
	t.Helper()
	server, _ := newTestServer(t, func(r gin.IRoutes) {
		r.POST("/v1/entries", echo)
		r.GET("/v1/entries", func(c *gin.Context) { c.String(http.StatusOK, c.Request.URL.RawQuery) })
		r.GET("/v1/sites/:id", fine)
		r.POST("/v1/sites", echo)
		r.PATCH("/v1/sites/:id", echo)
		r.GET("/v1/undocumented", fine)
	})
	return func(method, path, body string, headers ...string) received {
		return send(t, server, method, path, []byte(body), headers...)
	}
}

func TestValidRequestsPassUnchanged(t *testing.T) {
	t.Parallel()
	ask := newValidatingServer(t)
	for name, c := range map[string]struct {
		method, path, body string
		headers            []string
	}{
		"entry":           {"POST", "/v1/entries", entries(feeding), nil},
		"spaced":          {"POST", "/v1/entries", " \r\n\t" + entries(feeding) + "\n", nil},
		"escaped":         {"POST", "/v1/entries", entries(with("note", `"caf\u00e9 \ud83d\udc1f \"\\\/\b\f\n\r\t"`)), nil},
		"strict, dry":     {"POST", "/v1/entries?dry_run=true", entries(feeding), []string{"Prefer", "handling=strict"}},
		"charset":         {"POST", "/v1/entries", entries(feeding), []string{"Content-Type", `Application/JSON; charset="UTF-8"`}},
		"Accept any":      {"POST", "/v1/entries", entries(feeding), []string{"Accept", "text/html, */*;q=0.1"}},
		"patch with null": {"PATCH", siteURL, `{"altitude_m":null}`, []string{"Content-Type", mergeType, "If-Match", `"3"`}},
		"create":          {"POST", "/v1/sites", `{"name":"Chisamba school","kind":"school"}`, []string{"Idempotency-Key", "k-1"}},
	} {
		if got := ask(c.method, c.path, c.body, c.headers...); got.status != 200 || string(got.body) != c.body {
			t.Errorf("%s: status %d: %s", name, got.status, got.body)
		}
	}
	got := ask("GET", "/v1/entries?kind=feeding&kind=death&from=2026-01-01&limit=5", "")
	if got.status != 200 || string(got.body) != "kind=feeding&kind=death&from=2026-01-01&limit=5" {
		t.Errorf("status %d: %s", got.status, got.body)
	}
}

func TestDefaultsOfTheContractAreWrittenIntoTheQuery(t *testing.T) {
	t.Parallel()
	ask := newValidatingServer(t)
	for query, want := range map[string]string{"": "limit=100", "?kind=death": "kind=death&limit=100", "?limit=7": "limit=7"} {
		if got := ask("GET", "/v1/entries"+query, ""); string(got.body) != want {
			t.Errorf("%q becomes %q, want %q", query, got.body, want)
		}
	}
}

// Each case is one request that must not reach a handler. Fields are those of the
// problem, "pointer: detail", all of them and in order.
func TestInvalidRequestsAreRefused(t *testing.T) {
	t.Parallel()
	ask := newValidatingServer(t)
	const uuid = "must be a UUID such as 0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8d"
	const kinds = "count, crop, death, expense, feeding, harvest, incident, labour, move, payment, receipt, received, reversal, sale, sample, sent, stocking, stocktake, tally, treatment, use, visit, water"
	deep := strings.Repeat("[", 40) + strings.Repeat("]", 40)
	type fields []string
	const ofEntries = ": this request takes after, batch_id, from, include_site, kind, limit, party_id, product_id, site_id, to, unit_id"
	for name, c := range map[string]struct {
		method, path, body string
		status             int
		code               string
		fields             fields
		headers            []string
	}{
		// Query, path and headers.
		"unknown parameter":        {"GET", "/v1/entries?colour=red", "", 400, "unknown_parameter", fields{"/query/colour: is not known here" + ofEntries}, nil},
		"unknown and wrong":        {"GET", "/v1/entries?colour=red&limit=0", "", 400, "invalid_request", fields{"/query/colour: is not known here" + ofEntries, "/query/limit: must be at least 1"}, nil},
		"wrong case":               {"GET", "/v1/entries?Limit=5", "", 400, "unknown_parameter", fields{"/query/Limit: is not known here" + ofEntries}, nil},
		"parameter twice":          {"GET", "/v1/entries?limit=5&limit=6", "", 400, "invalid_request", fields{"/query/limit: must be given once only"}, nil},
		"not a number":             {"GET", "/v1/entries?limit=ten", "", 400, "invalid_request", fields{"/query/limit: must be a whole number"}, nil},
		"over the most":            {"GET", "/v1/entries?limit=501", "", 400, "invalid_request", fields{"/query/limit: must be at most 500"}, nil},
		"empty parameter":          {"GET", "/v1/entries?limit=", "", 400, "invalid_request", fields{"/query/limit: must not be empty"}, nil},
		"no such kind":             {"GET", "/v1/entries?kind=death&kind=birth", "", 400, "invalid_request", fields{"/query/kind/1: must be one of stocking, death, sample, count, move, harvest, crop, receipt, feeding, use, stocktake, sent, received, expense, labour, sale, payment, water, treatment, visit, tally, incident, reversal"}, nil},
		"no such day":              {"GET", "/v1/entries?from=2026-02-30", "", 400, "invalid_request", fields{"/query/from: must be a date such as 2026-05-31"}, nil},
		"name with a slash":        {"GET", "/v1/entries?a/b~c=1", "", 400, "unknown_parameter", fields{"/query/a~1b~0c: is not known here" + ofEntries}, nil},
		"query not UTF-8":          {"GET", "/v1/entries?from=%ff", "", 400, "invalid_request", nil, nil},
		"query with U+0000":        {"GET", "/v1/entries?from=%00", "", 400, "invalid_request", nil, nil},
		"query broken":             {"GET", "/v1/entries?from=%zz", "", 400, "invalid_request", nil, nil},
		"query with semicolon":     {"GET", "/v1/entries?limit=5;limit=6", "", 400, "invalid_request", nil, nil},
		"path not a UUID":          {"GET", "/v1/sites/1", "", 400, "invalid_request", fields{"/path/id: " + uuid}, nil},
		"nil UUID":                 {"GET", "/v1/sites/00000000-0000-0000-0000-000000000000", "", 400, "invalid_request", fields{"/path/id: " + uuid}, nil},
		"max UUID":                 {"GET", "/v1/sites/ffffffff-ffff-ffff-ffff-ffffffffffff", "", 400, "invalid_request", fields{"/path/id: " + uuid}, nil},
		"no If-Match":              {"PATCH", siteURL, `{"name":"x"}`, 428, "if_match_required", nil, []string{"Content-Type", mergeType}},
		"no Idempotency-Key":       {"POST", "/v1/sites", `{"name":"x","kind":"school"}`, 400, "idempotency_key_required", fields{"/header/Idempotency-Key: is required"}, nil},
		"Accept of something else": {"GET", siteURL, "", 406, "not_acceptable", nil, []string{"Accept", "text/csv"}},
		"Accept of anything but":   {"GET", siteURL, "", 406, "not_acceptable", nil, []string{"Accept", "*/*, application/json;q=0"}},
		"body where none belongs":  {"GET", siteURL, "{}", 400, "invalid_request", nil, nil},
		"not in the contract":      {"GET", "/v1/undocumented", "", 500, "internal", nil, nil},

		// The form of the body.
		"no body":                {"POST", "/v1/entries", "", 400, "invalid_request", nil, nil},
		"no media type":          {"POST", "/v1/entries", entries(feeding), 415, "unsupported_media_type", nil, []string{"Content-Type", ""}},
		"text":                   {"POST", "/v1/entries", entries(feeding), 415, "unsupported_media_type", nil, []string{"Content-Type", "text/plain"}},
		"latin-1":                {"POST", "/v1/entries", entries(feeding), 415, "unsupported_media_type", nil, []string{"Content-Type", "application/json; charset=iso-8859-1"}},
		"patch as plain JSON":    {"PATCH", siteURL, `{}`, 415, "unsupported_media_type", nil, []string{"If-Match", `"3"`}},
		"JSON as patch":          {"POST", "/v1/entries", entries(feeding), 415, "unsupported_media_type", nil, []string{"Content-Type", mergeType}},
		"not JSON":               {"POST", "/v1/entries", `{entries:[]}`, 400, "invalid_json", fields{": there is something unexpected at byte 1"}, nil},
		"cut off":                {"POST", "/v1/entries", `{"entries":[{"id":`, 400, "invalid_json", fields{"/entries/0/id: it ends too early"}, nil},
		"trailing data":          {"POST", "/v1/entries", entries(feeding) + "{}", 400, "invalid_json", nil, nil},
		"member twice":           {"POST", "/v1/entries", `{"entries":[{"kind":"death","kind":"death"}]}`, 400, "invalid_json", fields{"/entries/0/kind: the member is given twice"}, nil},
		"member twice, escaped":  {"POST", "/v1/entries", `{"entries":[{"kind":"death","\u006bind":"death"}]}`, 400, "invalid_json", fields{"/entries/0/kind: the member is given twice"}, nil},
		"too deep":               {"POST", "/v1/entries", `{"entries":` + deep + `}`, 400, "invalid_json", nil, nil},
		"not UTF-8":              {"POST", "/v1/entries", entries(with("note", `"caf"`))[:20] + "\xe9", 400, "invalid_json", fields{": the text is not UTF-8"}, nil},
		"U+0000":                 {"POST", "/v1/entries", entries(with("note", `"a\u0000"`)), 400, "invalid_json", fields{"/entries/0/note: the character U+0000 is not allowed"}, nil},
		"half a surrogate":       {"POST", "/v1/entries", entries(with("note", `"\ud83d"`)), 400, "invalid_json", nil, nil},
		"too many values":        {"POST", "/v1/entries", `{"entries":[` + strings.Repeat("1,", maxValues) + `1]}`, 400, "invalid_json", nil, nil},
		"a number without end":   {"POST", "/v1/entries", entries(with("weight_kg", strings.Repeat("9", 100))), 400, "invalid_json", nil, nil},
		"not the right sort":     {"POST", "/v1/entries", `[]`, 400, "invalid_request", fields{": must be an object"}, nil},
		"null":                   {"POST", "/v1/entries", `null`, 400, "invalid_request", fields{": must be an object"}, nil},
		"nothing in it":          {"POST", "/v1/entries", `{}`, 400, "invalid_request", fields{"/entries: is required"}, nil},
		"unknown member":         {"POST", "/v1/entries", `{"entries":[` + feeding + `],"mode":"fast"}`, 400, "invalid_request", fields{"/mode: is not known here"}, nil},
		"unknown member, quotes": {"POST", "/v1/entries", `{"entries":[` + feeding + `],"a\"b/c":1}`, 400, "invalid_request", fields{`/a"b~1c: is not known here`}, nil},
		"no entries":             {"POST", "/v1/entries", entries(), 400, "invalid_request", fields{"/entries: must have at least 1 item"}, nil},
		"too many entries":       {"POST", "/v1/entries", entries(strings.Split(strings.Repeat(feeding+"\n", 1001), "\n")[:1001]...), 400, "invalid_request", fields{"/entries: must have at most 1000 items"}, nil},

		// One entry.
		"entry is no object":     {"POST", "/v1/entries", entries(feeding, `7`), 400, "invalid_request", fields{"/entries/1: must be an object"}, nil},
		"entry is null":          {"POST", "/v1/entries", entries(`null`), 400, "invalid_request", fields{"/entries/0: must be an object"}, nil},
		"unknown entry member":   {"POST", "/v1/entries", entries(with("colour", `"red"`)), 400, "invalid_request", fields{"/entries/0/colour: is not known here"}, nil},
		"member of other kind":   {"POST", "/v1/entries", entries(with("cause", `"oxygen"`)), 400, "invalid_request", fields{"/entries/0/cause: is not known here"}, nil},
		"missing member":         {"POST", "/v1/entries", entries(feeding, with("weight_kg", "")), 400, "invalid_request", fields{"/entries/1/weight_kg: is required"}, nil},
		"missing kind":           {"POST", "/v1/entries", entries(with("kind", "")), 400, "invalid_request", fields{"/entries/0/kind: is required, as one of " + kinds}, nil},
		"kind of wrong sort":     {"POST", "/v1/entries", entries(with("kind", "1")), 400, "invalid_request", fields{"/entries/0/kind: must be one of " + kinds}, nil},
		"unknown kind":           {"POST", "/v1/entries", entries(with("kind", `"birth"`)), 400, "invalid_request", fields{"/entries/0/kind: must be one of " + kinds}, nil},
		"id not a UUID":          {"POST", "/v1/entries", entries(with("id", `"019ade3a7c007000800000000000000a9"`)), 400, "invalid_request", fields{"/entries/0/id: " + uuid}, nil},
		"weight as text":         {"POST", "/v1/entries", entries(with("weight_kg", `"7.6"`)), 400, "invalid_request", fields{"/entries/0/weight_kg: must be a number"}, nil},
		"no weight":              {"POST", "/v1/entries", entries(with("weight_kg", "0")), 400, "invalid_request", fields{"/entries/0/weight_kg: must be more than 0"}, nil},
		"negative weight":        {"POST", "/v1/entries", entries(with("weight_kg", "-1")), 400, "invalid_request", fields{"/entries/0/weight_kg: must be more than 0"}, nil},
		"weight of a whale":      {"POST", "/v1/entries", entries(with("weight_kg", "1e9")), 400, "invalid_request", fields{"/entries/0/weight_kg: must be at most 1000000"}, nil},
		"weight beyond floats":   {"POST", "/v1/entries", entries(with("weight_kg", "1e999")), 400, "invalid_request", fields{"/entries/0/weight_kg: is too large a number"}, nil},
		"null weight":            {"POST", "/v1/entries", entries(with("weight_kg", "null")), 400, "invalid_request", fields{"/entries/0/weight_kg: must be a number"}, nil},
		"time of day":            {"POST", "/v1/entries", entries(with("occurred_at", `"6:30"`)), 400, "invalid_request", fields{"/entries/0/occurred_at: must be written like 06:30"}, nil},
		"response of wrong sort": {"POST", "/v1/entries", entries(with("response", `"bad"`)), 400, "invalid_request", fields{"/entries/0/response: must be one of good, fair, poor, none"}, nil},
		"blank name":             {"POST", "/v1/sites", `{"name":"  ","kind":"school"}`, 400, "invalid_request", fields{"/name: must not be blank"}, []string{"Idempotency-Key", "k"}},
		"everything": {"POST", "/v1/entries", entries(with("weight_kg", "0"), feeding, with("occurred_on", `"yesterday"`), `{"kind":"feeding"}`), 400, "invalid_request", fields{
			"/entries/0/weight_kg: must be more than 0",
			"/entries/2/occurred_on: must be a date such as 2026-05-31",
			"/entries/3/id: is required", "/entries/3/site_id: is required", "/entries/3/occurred_on: is required",
			"/entries/3/batch_id: is required", "/entries/3/product_id: is required", "/entries/3/weight_kg: is required",
		}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := ask(c.method, c.path, c.body, c.headers...)
			p := got.problem(t)
			if p.Status != c.status || p.Code != c.code {
				t.Errorf("status %d, code %s: %s", p.Status, p.Code, p.Detail)
			}
			var said fields
			for _, f := range p.Errors {
				said = append(said, f.Pointer+": "+f.Detail)
			}
			if c.fields != nil && fmt.Sprintf("%q", said) != fmt.Sprintf("%q", c.fields) {
				t.Errorf("it says\n%q, want\n%q", said, c.fields)
			}
			if p.Detail == "" || len(p.Detail) > 300 {
				t.Errorf("the detail has %d bytes: %s", len(p.Detail), p.Detail)
			}
		})
	}
}

func TestEveryExampleOfTheContractPasses(t *testing.T) {
	t.Parallel()
	v := testValidator(t)
	examples := 0
	for key, op := range v.operations {
		if op.route.Operation.RequestBody == nil {
			continue
		}
		for mediaType, content := range op.route.Operation.RequestBody.Value.Content {
			for name, example := range content.Examples {
				body, err := json.Marshal(example.Value.Value)
				if err != nil {
					t.Fatal(err)
				}
				value, err := decodeJSON(body, v.names)
				if err != nil {
					t.Fatal(err)
				}
				if err := op.content[mediaType].VisitJSON(value, v.body...); err != nil {
					t.Errorf("%v, %s: %v", key, name, err)
				}
				examples++
			}
		}
	}
	if examples < 21 {
		t.Errorf("only %d examples", examples)
	}
}

func TestComplaintsAreBoundedAndNeverRepeatValues(t *testing.T) {
	t.Parallel()
	ask := newValidatingServer(t)
	secret := "s3cr3t-value"
	got := ask("POST", "/v1/entries", entries(strings.Split(strings.Repeat(with("weight_kg", `"`+secret+`"`)+"\n", 1000), "\n")[:1000]...))
	p := got.problem(t)
	if len(p.Errors) != maxComplaints || p.Detail != "1000 things are not as they must be; the first 100 are listed" {
		t.Errorf("%d are listed: %s", len(p.Errors), p.Detail)
	}
	if bytes.Contains(got.body, []byte(secret)) {
		t.Errorf("the answer repeats a value: %s", got.body)
	}
	long := strings.Repeat("é", 10_000)
	got = ask("POST", "/v1/entries", `{"entries":[`+feeding+`],"`+long+`":1}`)
	if p := got.problem(t); len(p.Errors) != 1 || len(p.Errors[0].Pointer) > 500 {
		t.Errorf("the pointer has %d bytes", len(p.Errors[0].Pointer))
	}
	nested := strings.Repeat(`{"`+long[:300]+`":`, 30) + "tru" + strings.Repeat("}", 30)
	got = ask("POST", "/v1/entries", nested)
	if p := got.problem(t); p.Code != "invalid_json" || len(p.Errors[0].Pointer) > 500 {
		t.Errorf("the pointer has %d bytes", len(p.Errors[0].Pointer))
	}
}

func TestHeadersGivenTwice(t *testing.T) {
	t.Parallel()
	server, _ := newTestServer(t, func(r gin.IRoutes) {
		r.POST("/v1/sites", echo)
		r.PATCH("/v1/sites/:id", func(c *gin.Context) { c.String(200, c.GetHeader("If-Match")) })
	})
	ask := func(method, path, body string, headers http.Header) received {
		r, err := http.NewRequestWithContext(t.Context(), method, server.URL+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header = headers
		r.Header.Set("Authorization", "Bearer "+testToken.Text())
		return do(t, server, r)
	}
	got := ask("POST", "/v1/sites", `{"name":"x","kind":"school"}`, http.Header{"Content-Type": {"application/json"}, "Idempotency-Key": {"a", "b"}})
	if p := got.problem(t); p.Status != 400 || len(p.Errors) != 1 || p.Errors[0].Pointer != "/header/Idempotency-Key" {
		t.Errorf("got %+v", p)
	}
	got = ask("PATCH", siteURL, `{}`, http.Header{"Content-Type": {"application/json", mergeType}, "If-Match": {`"1"`}})
	if p := got.problem(t); p.Status != 415 || got.header.Get("Accept-Patch") != mergeType {
		t.Errorf("got %+v, Accept-Patch %q", p, got.header.Get("Accept-Patch"))
	}
	got = ask("PATCH", siteURL, `{"name":"x"}`, http.Header{"Content-Type": {mergeType}, "If-Match": {`"1"`, `"2"`}})
	if got.status != 200 || string(got.body) != `"1", "2"` {
		t.Errorf("status %d: %s", got.status, got.body)
	}
}

func TestContractsThatCannotBeJudgedByAreRefused(t *testing.T) {
	t.Parallel()
	for name, edit := range map[string][2]string{
		"not YAML":               {"openapi: 3.0.3", "openapi: [3.0.3"},
		"past 3.0":               {"openapi: 3.0.3", "openapi: 3.1.0"},
		"a kind without a name":  {"          death: '#/components/schemas/EntryDeath'\n", ""},
		"operation for no one":   {"x-roles: [coordinator, keeper]\n", "x-roles: []\n"},
		"operation for anyone":   {"x-roles: [coordinator, keeper]\n", "x-roles: [anyone]\n"},
		"open, but for a role":   {"x-roles: [anyone]\n", "x-roles: [keeper]\n"},
		"one role too many":      {"x-roles: [coordinator, keeper]\n", "x-roles: [coordinator, keeper, auditor]\n"},
		"without x-roles":        {"      x-roles: [coordinator, keeper]\n", ""},
		"operation without row":  {"operationId: createBatch\n", "operationId: addBatch\n"},
		"kind without row":       {"incident, reversal]", "incident, reversal, treatment]"},
		"member only in answers": {"    Note: {", "    Note: {readOnly: true, "},
	} {
		changed := bytes.Replace(openapi.YAML, []byte(edit[0]), []byte(edit[1]), 1)
		if bytes.Equal(changed, openapi.YAML) {
			t.Errorf("%s: the contract has no %q", name, edit[0])
		}
		if _, err := newValidator(changed); err == nil {
			t.Errorf("%s: is accepted", name)
		}
	}
}
