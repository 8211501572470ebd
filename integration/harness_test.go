package integration_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/legacy"

	"shoalbook/api"
	"shoalbook/domain"
	"shoalbook/openapi"
	"shoalbook/postgres"
	"shoalbook/postgres/postgrestest"
)

func TestMain(m *testing.M) { postgrestest.Main(m) }

// A service is all of Shoalbook, on a database of its own, as one co-operative sees
// it over HTTP. The tokens are for all of its sites.
type service struct {
	t      testing.TB
	server *httptest.Server
	store  *postgres.Store
	url    string // of the database
	coop   domain.CoopID

	coordinator, keeper, funder string
}

// newService starts a service with one co-operative, in Zambia.
func newService(t testing.TB) *service {
	t.Helper()
	return serveAt(t, postgrestest.New(t).URL).neighbour()
}

// serveAt starts an instance of the service on a database.
func serveAt(t testing.TB, url string) *service { return serveAtRates(t, url, api.Rates{}) }

// serveAtRates is serveAt with limits on how many requests are taken.
func serveAtRates(t testing.TB, url string, rates api.Rates) *service {
	t.Helper()
	store, err := postgres.Open(t.Context(), postgres.Options{
		URL:      url,
		MaxConns: 8,
		Settle:   time.Millisecond, // tests ask for what was known just now
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	handler, err := api.New(store, api.Config{
		Log:   testLog(t),
		Ready: store.Ping,
		Load:  store.Load,
		Rates: rates,
	})
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewUnstartedServer(nil)
	server.Config = api.NewHTTPServer(handler)
	server.Start()
	t.Cleanup(server.Close)
	return &service{t: t, server: server, store: store, url: url}
}

// twin returns the same co-operative as it is served by another instance.
func (s *service) twin() *service {
	s.t.Helper()
	n := serveAt(s.t, s.url)
	n.coop, n.coordinator, n.keeper, n.funder = s.coop, s.coordinator, s.keeper, s.funder
	return n
}

// testLog shows what goes wrong, and fails the test if anything secret is logged, at
// any level: a token, or a header that holds one.
func testLog(t testing.TB) *slog.Logger {
	return slog.New(slog.NewMultiHandler(
		slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}),
		slog.NewJSONHandler(secretive{t}, &slog.HandlerOptions{Level: slog.LevelDebug}),
	))
}

type secretive struct{ t testing.TB }

var secret = regexp.MustCompile(`shoal_[0-9A-Za-z]{8}|(?i)bearer |authorization`)

func (s secretive) Write(line []byte) (int, error) {
	if found := secret.Find(line); found != nil {
		s.t.Errorf("%q is in the log", found)
	}
	return len(line), nil
}

// neighbour returns the same service as another co-operative sees it, with a currency
// of its own if one is given.
func (s *service) neighbour(currency ...domain.Currency) *service {
	s.t.Helper()
	n := &service{t: s.t, server: s.server, store: s.store, url: s.url, coop: newID[domain.Coop]()}
	facts := domain.Coop{ID: n.coop, Name: "Kafue Schools", Currency: "ZMW", Zone: "Africa/Lusaka", Country: "ZM", ShareBy: "gram_days"}
	if len(currency) > 0 {
		facts.Currency = currency[0]
	}
	if _, err := s.store.CreateCoop(s.t.Context(), facts); err != nil {
		s.t.Fatal(err)
	}
	n.coordinator = n.token(domain.Coordinator)
	n.keeper = n.token(domain.Keeper)
	n.funder = n.token(domain.Funder)
	return n
}

// token makes a token of the co-operative, for some sites or for all.
func (s *service) token(role domain.Role, sites ...string) string {
	s.t.Helper()
	token, err := domain.NewToken(s.coop, rand.Reader)
	if err != nil {
		s.t.Fatal(err)
	}
	facts := domain.TokenFacts{ID: newID[domain.Token](), Name: "test " + string(role), Role: role}
	for _, site := range sites {
		id, err := domain.ParseID[domain.SiteFacts](site)
		if err != nil {
			s.t.Fatal(err)
		}
		facts.Sites = append(facts.Sites, id)
	}
	if _, err := s.store.CreateToken(s.t.Context(), s.coop, facts, token.Hash()); err != nil {
		s.t.Fatal(err)
	}
	return token.Text()
}

// newID makes an id as a phone does: a UUID of version 4.
func newID[T any]() domain.ID[T] {
	var id domain.ID[T]
	rand.Read(id[:])
	id[6], id[8] = id[6]&0x0f|0x40, id[8]&0x3f|0x80
	return id
}

func newText() string { return newID[domain.Entry]().String() }

// A response is an answer, read to its end and found to be as the contract says.
type response struct {
	t      testing.TB
	what   string // the request, for complaints
	status int
	header http.Header
	body   []byte
}

// do makes a request and holds its answer against the contract. The body is JSON
// text, or a value that becomes JSON; nil is none. Without a token there is none in
// the request. Headers come in pairs and replace those that are sent otherwise; one
// with an empty value is left out. It may be called by several goroutines.
func (s *service) do(method, path, token string, body any, headers ...string) response {
	s.t.Helper()
	what := method + " " + path
	request, err := newRequest(s.t.Context(), method, s.server.URL+path, token, body, headers)
	if err != nil {
		s.t.Errorf("%s: %v", what, err)
		return response{t: s.t, what: what}
	}
	answer, err := transport.RoundTrip(request)
	if err != nil {
		s.t.Errorf("%s: %v", what, err)
		return response{t: s.t, what: what}
	}
	defer answer.Body.Close()
	r := response{t: s.t, what: what, status: answer.StatusCode, header: answer.Header}
	if r.body, err = io.ReadAll(answer.Body); err != nil {
		s.t.Errorf("%s: %v", what, err)
	}
	if err := checkAnswer(request, r); err != nil {
		s.t.Errorf("%s: the answer is not as the contract says: %v\n%d %s", what, err, r.status, r.body)
	}
	return r
}

// transport leaves answers as they come over the wire.
var transport = func() *http.Transport {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.DisableCompression = true
	t.MaxIdleConnsPerHost = 8
	return t
}()

func newRequest(ctx context.Context, method, url, token string, body any, headers []string) (*http.Request, error) {
	var raw []byte
	switch b := body.(type) {
	case nil:
	case string:
		raw = []byte(b)
	case []byte:
		raw = b
	default:
		var err error
		if raw, err = json.Marshal(b); err != nil {
			return nil, err
		}
	}
	request, err := http.NewRequestWithContext(ctx, method, url, bytes.NewReader(raw))
	if err != nil {
		return nil, err
	}
	if token != "" {
		request.Header.Set("Authorization", "Bearer "+token)
	}
	if raw != nil {
		request.Header.Set("Content-Type", "application/json")
		if method == http.MethodPatch {
			request.Header.Set("Content-Type", "application/merge-patch+json")
		}
	}
	for i := 0; i < len(headers); i += 2 {
		request.Header.Del(headers[i])
		if headers[i+1] != "" {
			request.Header.Set(headers[i], headers[i+1])
		}
	}
	return request, nil
}

// contract finds the operation of a request.
var contract = sync.OnceValues(func() (routers.Router, error) {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		return nil, err
	}
	doc.Servers = nil // it is wherever the test has it
	return legacy.NewRouter(doc)
})

// suffixes of addresses, to the media types they stand for, as the contract lists them.
var suffixes = sync.OnceValue(func() map[string]any {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		panic(err)
	}
	for _, media := range []string{"text/html", "application/pdf", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "image/svg+xml", "application/xml"} {
		openapi3filter.RegisterBodyDecoder(media, openapi3filter.PlainBodyDecoder)
	}
	listed, _ := doc.Extensions["x-suffixes"].(map[string]any)
	return listed
})

// withoutSuffix returns a request as the contract has it: without a suffix of its address.
func withoutSuffix(r *http.Request) *http.Request {
	at := strings.LastIndexByte(r.URL.Path, '.')
	if at < 0 || suffixes()[r.URL.Path[at+1:]] == nil {
		return r
	}
	plain := r.Clone(r.Context())
	plain.URL.Path, plain.URL.RawPath = r.URL.Path[:at], ""
	return plain
}

// formats are those of the contract. Times are in UTC, and say so by a Z.
var formats = openapi3.WithStringFormatValidators(map[string]openapi3.StringFormatValidator{
	"uuid": openapi3.NewCallbackValidator(func(s string) error { _, err := domain.ParseID[any](s); return err }),
	"date": openapi3.NewCallbackValidator(func(s string) error { _, err := domain.ParseDate(s); return err }),
	"date-time": openapi3.NewCallbackValidator(func(s string) error {
		if _, err := time.Parse(time.RFC3339, s); err != nil || !strings.HasSuffix(s, "Z") {
			return errors.New("not a moment in UTC")
		}
		return nil
	}),
})

// checkAnswer holds an answer against what the contract says of its request. What
// is not in the contract must be answered with a problem.
func checkAnswer(request *http.Request, r response) error {
	router, err := contract()
	if err != nil {
		return err
	}
	request = withoutSuffix(request)
	route, params, err := router.FindRoute(request)
	if err != nil {
		if r.header.Get("Content-Type") != "application/problem+json" {
			return fmt.Errorf("there is no such operation, but a %s", r.header.Get("Content-Type"))
		}
		return nil
	}
	if r.status == http.StatusNotModified {
		if len(r.body) > 0 || r.header.Get("ETag") == "" {
			return errors.New("not modified, with a body or without an entity tag")
		}
		return nil
	}
	if r.header.Get("X-Content-Type-Options") != "nosniff" || r.header.Get("Cache-Control") == "" {
		return errors.New("the headers for browsers and caches are not there")
	}
	return openapi3filter.ValidateResponse(request.Context(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: request, PathParams: params, Route: route},
		Status:                 r.status,
		Header:                 r.header,
		Body:                   io.NopCloser(bytes.NewReader(r.body)),
		Options: &openapi3filter.Options{
			IncludeResponseStatus:   true,
			MultiError:              true,
			SchemaValidationOptions: []openapi3.SchemaValidationOption{formats},
		},
	})
}

// create adds something to a list of the registry as the coordinator, and returns
// its id.
func (s *service) create(path string, body any) string {
	s.t.Helper()
	return s.do("POST", path, s.coordinator, body, "Idempotency-Key", newText()).want(http.StatusCreated).at("/id")
}

// record takes one entry into the journal as the keeper. The members are those of
// its kind, with the site and the day.
func (s *service) record(kind string, members map[string]any) response {
	s.t.Helper()
	entry := map[string]any{"id": newText(), "kind": kind}
	for name, value := range members {
		entry[name] = value
	}
	r := s.do("POST", "/v1/entries", s.keeper, map[string]any{"entries": []any{entry}}).want(http.StatusOK)
	if got := r.at("/results/0/status"); got != "created" {
		s.t.Errorf("the %s is %s: %s", kind, got, r.body)
	}
	return r
}

// want complains unless the answer has this status and, if one is given, is a
// problem with this code.
func (r response) want(status int, code ...string) response {
	r.t.Helper()
	if r.status != status || len(code) > 0 && r.at("/code") != code[0] {
		r.t.Errorf("%s: want status %d %s, got %d: %s", r.what, status, strings.Join(code, ""), r.status, r.body)
	}
	return r
}

// at returns what is at a JSON pointer (RFC 6901): a text as it is, anything else as
// JSON, numbers with the digits they came with; nothing, if it is not there.
func (r response) at(pointer string) string {
	r.t.Helper()
	var v any
	d := json.NewDecoder(bytes.NewReader(r.body))
	d.UseNumber()
	if err := d.Decode(&v); err != nil {
		return ""
	}
	for _, name := range strings.Split(pointer, "/")[1:] {
		switch at := v.(type) {
		case map[string]any:
			next, ok := at[strings.NewReplacer("~1", "/", "~0", "~").Replace(name)]
			if !ok {
				return ""
			}
			v = next
		case []any:
			i, err := strconv.Atoi(name)
			if err != nil || i < 0 || i >= len(at) {
				return ""
			}
			v = at[i]
		default:
			return ""
		}
	}
	if text, ok := v.(string); ok {
		return text
	}
	b, err := json.Marshal(v)
	if err != nil {
		r.t.Error(err)
	}
	return string(b)
}

// wantAt complains unless each pointer leads to its value, see [response.at].
func (r response) wantAt(want map[string]string) response {
	r.t.Helper()
	for pointer, value := range want {
		if got := r.at(pointer); got != value {
			r.t.Errorf("%s: at %s want %q, got %q", r.what, pointer, value, got)
		}
	}
	return r
}

// into reads the answer into a value.
func (r response) into(v any) {
	r.t.Helper()
	if err := json.Unmarshal(r.body, v); err != nil {
		r.t.Errorf("%s: %v: %s", r.what, err, r.body)
	}
}

// ids returns the ids of the items of a list.
func (r response) ids() []string {
	r.t.Helper()
	var list struct {
		Items []struct{ ID string }
	}
	r.into(&list)
	ids := []string{}
	for _, item := range list.Items {
		ids = append(ids, item.ID)
	}
	return ids
}
