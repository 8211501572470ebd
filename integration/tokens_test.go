package integration_test

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"net/http"
	"slices"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// owner connects to the database as the owner of everything.
func (s *service) owner() *pgx.Conn {
	s.t.Helper()
	conn, err := pgx.Connect(s.t.Context(), s.url)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { conn.Close(context.Background()) })
	return conn
}

// column returns the first column of a query.
func column[T any](t testing.TB, conn *pgx.Conn, sql string, args ...any) []T {
	t.Helper()
	rows, _ := conn.Query(t.Context(), sql, args...)
	found, err := pgx.CollectRows(rows, pgx.RowTo[T])
	if err != nil {
		t.Fatal(err)
	}
	return found
}

const everyTable = `select relname::text from pg_class where relnamespace = 'public'::regnamespace and relkind = 'r' order by relname`

// issue makes a token as the coordinator.
func (s *service) issue(body any) (id, secret string) {
	s.t.Helper()
	r := s.do("POST", "/v1/tokens", s.coordinator, body, "Idempotency-Key", newText()).want(http.StatusCreated)
	return r.at("/id"), r.at("/secret")
}

// in returns a moment so far from now.
func in(d time.Duration) string { return time.Now().Add(d).UTC().Format(time.RFC3339Nano) }

func TestTokenLife(t *testing.T) {
	t.Parallel()
	s := newService(t)
	site := newPond(s).site
	member := s.create("/v1/members", members{"name": "Mutale", "role": "keeper", "sites": []string{site}})
	made := s.do("POST", "/v1/tokens", s.coordinator, members{"member_id": member}, "Idempotency-Key", newText()).want(http.StatusCreated).
		wantAt(map[string]string{"/member_id": member, "/name": "Mutale", "/role": "keeper", "/sites": `["` + site + `"]`, "/revoked_at": ""})
	year := time.Now().AddDate(1, 0, 0)
	if end, err := time.Parse(time.RFC3339, made.at("/expires_at")); err != nil || end.Sub(year).Abs() > time.Minute {
		t.Errorf("it ends at %s, %v", made.at("/expires_at"), err)
	}
	if made.header.Get("Location") != "" || made.header.Get("ETag") != "" {
		t.Errorf("it can be read again: %v", made.header)
	}
	token, address := made.at("/secret"), "/v1/tokens/"+made.at("/id")
	s.do("GET", "/v1/sites", token, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/id": site})
	listed := func() response {
		t.Helper()
		r := s.do("GET", "/v1/tokens", s.coordinator, nil).want(http.StatusOK)
		i := slices.Index(r.ids(), made.at("/id"))
		var page struct{ Items []map[string]any }
		if r.into(&page); i < 0 || bytes.Contains(r.body, []byte("shoal_")) || page.Items[i]["hash"] != nil {
			t.Fatalf("the list is %s", r.body)
		}
		return r.item(i)
	}
	for range 100 { // the use is noted beside the work
		if listed().at("/last_used_on") != "" {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	listed().wantAt(map[string]string{"/member_id": member, "/name": "Mutale", "/role": "keeper", "/expires_at": made.at("/expires_at"), "/revoked_at": "", "/last_used_on": time.Now().UTC().Format(time.DateOnly)})

	other := s.neighbour()
	other.do("DELETE", address, other.coordinator, nil).want(http.StatusNotFound, "not_found")
	s.do("DELETE", "/v1/tokens/"+newText(), s.coordinator, nil).want(http.StatusNotFound, "not_found")
	s.do("DELETE", address, token, nil).want(http.StatusForbidden, "forbidden")
	s.do("GET", "/v1/sites", token, nil).want(http.StatusOK)
	for range 2 {
		if r := s.do("DELETE", address, s.coordinator, nil).want(http.StatusNoContent); len(r.body) > 0 || r.header.Get("Content-Type") != "" {
			t.Errorf("nothing is answered as %q of type %q", r.body, r.header.Get("Content-Type"))
		}
		s.do("GET", "/v1/sites", token, nil).want(http.StatusUnauthorized, "unauthenticated")
	}
	if listed().at("/revoked_at") == "" {
		t.Error("the list does not say that it is revoked")
	}
}

// item returns an item of a list.
func (r response) item(i int) response {
	r.t.Helper()
	r.body = []byte(r.at(fmt.Sprintf("/items/%d", i)))
	return r
}

func TestTokensThatGoTooFar(t *testing.T) {
	t.Parallel()
	s := newService(t)
	site, other := newPond(s).site, newPond(s).site
	keeper := s.create("/v1/members", members{"name": "Mutale", "role": "keeper", "sites": []string{site}})
	for _, c := range []struct {
		body   members
		status int
		code   string
		field  string
	}{
		{members{}, 400, "invalid_request", "/name"},
		{members{"name": "x"}, 400, "invalid_request", "/role"},
		{members{"name": "x", "role": "owner"}, 400, "invalid_request", "/role"},
		{members{"name": "x", "role": "keeper"}, 400, "invalid_request", "/sites"},
		{members{"name": "x", "role": "keeper", "sites": []string{}}, 400, "invalid_request", "/sites"},
		{members{"name": "x", "role": "keeper", "sites": []string{site, site}}, 400, "invalid_request", "/sites"},
		{members{"name": "x", "role": "keeper", "sites": []string{newText()}}, 422, "unknown_reference", "/sites"},
		{members{"name": "x", "role": "keeper", "sites": []string{s.neighbour().create("/v1/sites", `{"name":"x","kind":"school"}`)}}, 422, "unknown_reference", "/sites"},
		{members{"name": "x", "role": "adviser", "expires_at": in(-time.Second)}, 400, "invalid_request", "/expires_at"},
		{members{"name": "x", "role": "adviser", "expires_at": in(732 * 24 * time.Hour)}, 400, "invalid_request", "/expires_at"},
		{members{"name": "x", "role": "adviser", "expires_at": "2026-12-31"}, 400, "invalid_request", "/expires_at"},
		{members{"member_id": newText()}, 422, "unknown_reference", "/member_id"},
		{members{"member_id": keeper, "role": "coordinator"}, 422, "beyond_member", ""},
		{members{"member_id": keeper, "sites": []string{site, other}}, 422, "beyond_member", ""},
	} {
		r := s.do("POST", "/v1/tokens", s.coordinator, c.body, "Idempotency-Key", newText()).want(c.status, c.code)
		if c.field != "" && r.at("/errors/0/pointer") != c.field {
			t.Errorf("%v is refused for %s", c.body, r.body)
		}
	}
	// Whoever is bound to some sites hands out no tokens at all.
	s.do("POST", "/v1/tokens", s.token(domain.Coordinator, site), members{"name": "x", "role": "adviser"}, "Idempotency-Key", newText()).want(http.StatusForbidden, "forbidden")
	_, token := s.issue(members{"name": "for two years", "role": "adviser", "expires_at": time.Now().AddDate(2, 0, 0).Add(-time.Minute).Format(time.RFC3339)})
	s.do("GET", "/v1/coop", token, nil).want(http.StatusOK)
}

// A token that has ended is turned away by the very next request, on every instance.
func TestTokensEndEverywhere(t *testing.T) {
	t.Parallel()
	s := newService(t)
	instances := []*service{s, s.twin(), s.twin()}
	works := func(token string) {
		t.Helper()
		for _, at := range instances {
			at.do("GET", "/v1/coop", token, nil).want(http.StatusOK)
		}
	}
	ended := func(token string) {
		t.Helper()
		for _, at := range instances {
			at.do("GET", "/v1/coop", token, nil).want(http.StatusUnauthorized, "unauthenticated")
			at.do("PATCH", "/v1/coop", token, `{"name":"Ours"}`, "If-Match", "*").want(http.StatusUnauthorized, "unauthenticated")
		}
	}
	for i, revoker := range instances {
		id, token := s.issue(members{"name": fmt.Sprint("number ", i), "role": "coordinator"})
		works(token)
		revoker.do("DELETE", "/v1/tokens/"+id, s.coordinator, nil).want(http.StatusNoContent)
		ended(token)
	}
	member := s.create("/v1/members", members{"name": "Chanda", "role": "coordinator"})
	_, first := s.issue(members{"member_id": member})
	_, second := s.issue(members{"member_id": member, "role": "adviser"})
	works(first)
	works(second)
	tag := s.do("GET", "/v1/members/"+member, s.coordinator, nil).header.Get("ETag")
	instances[1].do("PATCH", "/v1/members/"+member, first, `{"archived":true}`, "If-Match", tag).want(http.StatusOK)
	ended(first)
	ended(second)

	_, short := s.issue(members{"name": "short", "role": "coordinator", "expires_at": in(1500 * time.Millisecond)})
	works(short)
	time.Sleep(1600 * time.Millisecond)
	ended(short)
}

// The answer to the same request is the same, to the byte and on every instance, and
// yet nobody who has the whole database has the token.
func TestTokenIsShownAgainAndNotKept(t *testing.T) {
	t.Parallel()
	s := newService(t)
	twin := s.twin()
	key, body := newText(), members{"name": "needle in a haystack", "role": "adviser"}
	made := s.do("POST", "/v1/tokens", s.coordinator, body, "Idempotency-Key", key).want(http.StatusCreated)
	for _, at := range []*service{s, twin} {
		again := at.do("POST", "/v1/tokens", s.coordinator, body, "Idempotency-Key", key).want(http.StatusCreated)
		if !bytes.Equal(again.body, made.body) || again.header.Get("Replayed") != "true" || made.header.Get("Replayed") != "" {
			t.Errorf("again it is %v %s, and was %s", again.header, again.body, made.body)
		}
	}
	s.do("POST", "/v1/tokens", s.coordinator, members{"name": "another", "role": "adviser"}, "Idempotency-Key", key).want(http.StatusUnprocessableEntity, "idempotency_key_reused")
	// A key is the token's own: with another token it is another request.
	other := s.do("POST", "/v1/tokens", s.token(domain.Coordinator), body, "Idempotency-Key", key).want(http.StatusCreated)
	if other.at("/secret") == made.at("/secret") || other.header.Get("Replayed") != "" {
		t.Errorf("another coordinator is shown %s", other.body)
	}
	s.do("GET", "/v1/coop", made.at("/secret"), nil).want(http.StatusOK)

	conn := s.owner()
	secret := made.at("/secret")
	for _, shown := range []string{made.at("/secret"), other.at("/secret"), s.coordinator} {
		if found := s.keeps(conn, []byte(shown)); len(found) > 0 {
			t.Errorf("a token is in %v", found)
		}
		if found := s.keeps(conn, []byte(shown[len("shoal_"):])); len(found) > 0 {
			t.Errorf("a token is in %v", found)
		}
	}
	// The search finds what is there: the name, and of the token the hash.
	token, err := domain.ParseToken(secret)
	if err != nil {
		t.Fatal(err)
	}
	hash := token.Hash()
	if got := s.keeps(conn, hash[:]); !slices.Equal(got, []string{"token"}) {
		t.Errorf("its hash is in %v", got)
	}
	if got := s.keeps(conn, []byte("needle in a haystack")); !slices.Equal(got, []string{"audit", "token"}) {
		t.Errorf("its name is in %v: the stored answer has it sealed", got)
	}
}

// keeps returns the tables with a row in which something stands, as text or as bytes.
func (s *service) keeps(conn *pgx.Conn, needle []byte) (tables []string) {
	s.t.Helper()
	const sql = `select count(*) from %s t where position($1 in t::text) > 0 or position($2 in t::text) > 0 or position($3 in t::text) > 0`
	asBytes, asText := hex.EncodeToString(needle), string(needle)
	if !utf8.Valid(needle) || bytes.IndexByte(needle, 0) >= 0 {
		asText = asBytes
	}
	for _, table := range column[string](s.t, conn, everyTable) {
		n := column[int](s.t, conn, fmt.Sprintf(sql, pgx.Identifier{table}.Sanitize()), asText, asBytes, base64.StdEncoding.EncodeToString(needle))
		if n[0] > 0 {
			tables = append(tables, table)
		}
	}
	return tables
}

func TestTokensArePaged(t *testing.T) {
	t.Parallel()
	s := newService(t)
	for i := range 5 {
		s.issue(members{"name": fmt.Sprint("number ", i), "role": "adviser"})
	}
	all := s.do("GET", "/v1/tokens", s.token(domain.Auditor), nil).want(http.StatusOK).ids()
	if len(all) != 9 { // with those of the test itself
		t.Fatalf("there are %d tokens", len(all))
	}
	var paged []string
	for query := "?limit=2"; ; {
		page := s.do("GET", "/v1/tokens"+query, s.coordinator, nil).want(http.StatusOK)
		paged = append(paged, page.ids()...)
		next := page.at("/next")
		if next == "" {
			break
		}
		query = "?limit=2&after=" + next
	}
	if !slices.Equal(paged, all) {
		t.Errorf("in pages there are %d, %d at once", len(paged), len(all))
	}
	if other := s.neighbour(); len(other.do("GET", "/v1/tokens", other.coordinator, nil).ids()) != 3 {
		t.Error("the neighbour sees other tokens than its own")
	}
}
