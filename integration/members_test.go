package integration_test

import (
	"bytes"
	"net/http"
	"slices"
	"testing"

	"shoalbook/domain"
)

func TestMembers(t *testing.T) {
	t.Parallel()
	s := newService(t)
	one, two := newPond(s).site, newPond(s).site
	body := members{"name": "Mutale Banda", "role": "keeper", "sites": []string{one}, "phone": "+260 97 0000000"}
	key := newText()
	made := s.do("POST", "/v1/members", s.coordinator, body, "Idempotency-Key", key).want(http.StatusCreated).wantAt(map[string]string{
		"/name": "Mutale Banda", "/role": "keeper", "/sites": `["` + one + `"]`, "/phone": "+260 97 0000000", "/archived": "false",
	})
	address := "/v1/members/" + made.at("/id")
	if made.header.Get("Location") != address {
		t.Errorf("it was made at %s", made.header.Get("Location"))
	}
	again := s.do("POST", "/v1/members", s.coordinator, body, "Idempotency-Key", key).want(http.StatusCreated)
	if !bytes.Equal(again.body, made.body) || again.header.Get("Replayed") != "true" {
		t.Errorf("again it is %v %s", again.header, again.body)
	}
	for _, reader := range []domain.Role{domain.Coordinator, domain.Adviser, domain.Treasurer, domain.Auditor} {
		got := s.do("GET", address, s.token(reader), nil).want(http.StatusOK)
		if !bytes.Equal(got.body, made.body) || got.header.Get("ETag") != made.header.Get("ETag") {
			t.Errorf("the %s reads %s", reader, got.body)
		}
	}
	// Whoever is bound to a site sees nobody, and a neighbour neither.
	other := s.neighbour()
	for _, stranger := range []string{s.token(domain.Coordinator, one), other.coordinator} {
		s.do("GET", address, stranger, nil).want(http.StatusNotFound, "not_found")
		s.do("PATCH", address, stranger, `{"archived":true}`, "If-Match", "*").want(http.StatusNotFound, "not_found")
		if ids := s.do("GET", "/v1/members", stranger, nil).want(http.StatusOK).ids(); len(ids) > 0 {
			t.Errorf("a stranger sees %v", ids)
		}
	}

	patch := func(body, tag string) response {
		t.Helper()
		return s.do("PATCH", address, s.coordinator, body, "If-Match", tag)
	}
	patch(`{"phone":null}`, "").want(http.StatusPreconditionRequired, "if_match_required")
	changed := patch(`{"phone":null,"sites":["`+one+`","`+two+`"]}`, made.header.Get("ETag")).want(http.StatusOK).
		wantAt(map[string]string{"/phone": "", "/sites": `["` + one + `","` + two + `"]`, "/name": "Mutale Banda"})
	patch(`{"name":"x"}`, made.header.Get("ETag")).want(http.StatusPreconditionFailed, "version_mismatch")
	tag := changed.header.Get("ETag")
	patch(`{"sites":null}`, tag).want(http.StatusBadRequest, "invalid_request").wantAt(map[string]string{"/errors/0/pointer": "/sites"})
	patch(`{"sites":["`+newText()+`"]}`, tag).want(http.StatusUnprocessableEntity, "unknown_reference")
	patch(`{"role":"owner"}`, tag).want(http.StatusBadRequest, "invalid_request")
	patch(`{"valid_from":"2026-01-01"}`, tag).want(http.StatusBadRequest)
	patch(`{"role":"adviser","sites":null}`, tag).want(http.StatusOK).wantAt(map[string]string{"/role": "adviser", "/sites": ""})

	for _, wrong := range []members{
		{"name": "x"}, {"role": "keeper", "sites": []string{one}}, {"name": "x", "role": "keeper"}, {"name": " ", "role": "adviser"},
		{"name": "x", "role": "adviser", "sites": []string{}}, {"name": "x", "role": "adviser", "archived": true}, {"name": "x", "role": "adviser", "id": newText()},
	} {
		s.do("POST", "/v1/members", s.coordinator, wrong, "Idempotency-Key", newText()).want(http.StatusBadRequest)
	}
	if ids := s.do("GET", "/v1/members", s.coordinator, nil).want(http.StatusOK).ids(); !slices.Equal(ids, []string{made.at("/id")}) {
		t.Errorf("the members are %v", ids)
	}
}

// Who leaves is out at once, with every token, and may come back to new ones.
func TestArchivedMember(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p := newPond(s)
	id := s.create("/v1/members", members{"name": "Chanda", "role": "keeper", "sites": []string{p.site}})
	address := "/v1/members/" + id
	_, phone := s.issue(members{"member_id": id})
	_, tablet := s.issue(members{"member_id": id, "name": "tablet"})
	s.post(phone, []members{p.entry("water", "2026-01-06", members{"unit_id": p.a, "ph": 7})}).want(http.StatusOK).became("created")
	archived := s.do("PATCH", address, s.coordinator, `{"archived":true}`, "If-Match", "*").want(http.StatusOK).wantAt(map[string]string{"/archived": "true"})
	for _, token := range []string{phone, tablet} {
		s.post(token, []members{p.entry("water", "2026-01-07", members{"unit_id": p.a, "ph": 7})}).want(http.StatusUnauthorized, "unauthenticated")
		s.do("GET", "/v1/sites", token, nil).want(http.StatusUnauthorized, "unauthenticated")
	}
	s.do("POST", "/v1/tokens", s.coordinator, members{"member_id": id}, "Idempotency-Key", newText()).want(http.StatusUnprocessableEntity, "archived").
		wantAt(map[string]string{"/errors/0/pointer": "/member_id"})
	for query, want := range map[string]int{"": 0, "?archived=true": 1, "?archived=false": 0} {
		if ids := s.do("GET", "/v1/members"+query, s.coordinator, nil).want(http.StatusOK).ids(); len(ids) != want {
			t.Errorf("%q lists %d members", query, len(ids))
		}
	}
	s.do("PATCH", address, s.coordinator, `{"archived":false}`, "If-Match", archived.header.Get("ETag")).want(http.StatusOK)
	s.do("GET", "/v1/sites", phone, nil).want(http.StatusUnauthorized, "unauthenticated")
	_, fresh := s.issue(members{"member_id": id})
	s.do("GET", "/v1/sites", fresh, nil).want(http.StatusOK)
}
