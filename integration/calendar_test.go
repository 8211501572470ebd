package integration_test

import (
	"net/http"
	"testing"

	"shoalbook/domain"
)

// The calendar of a site is kept by its keeper and by nobody at another site.
func TestCalendar(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p, q := newPond(s), newPond(s)
	keeper := s.token(domain.Keeper, p.site)
	list := "/v1/sites/" + p.site + "/calendar"
	holiday := members{"kind": "holiday", "name": "April", "starts_on": "2026-04-03", "ends_on": "2026-05-03"}
	r := s.do("POST", list, keeper, holiday, "Idempotency-Key", newText()).want(http.StatusCreated).
		wantAt(map[string]string{"/site_id": p.site, "/kind": "holiday", "/ends_on": "2026-05-03", "/feeder": "", "/archived": "false"})
	one := r.header.Get("Location")
	if one != list+"/"+r.at("/id") {
		t.Errorf("it is said to be at %s", one)
	}
	s.do("PATCH", one, keeper, `{"feeder":"Mr. Banda"}`, "If-Match", r.header.Get("ETag")).want(http.StatusOK).wantAt(map[string]string{"/feeder": "Mr. Banda"})
	s.do("PATCH", one, keeper, `{"feeder":null}`, "If-Match", r.header.Get("ETag")).want(http.StatusPreconditionFailed, "version_mismatch")
	s.do("PATCH", one, keeper, `{"ends_on":"2026-04-01"}`, "If-Match", "*").want(http.StatusBadRequest, "invalid_request").wantAt(map[string]string{"/errors/0/pointer": "/ends_on"})
	s.do("GET", one, keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/feeder": "Mr. Banda", "/starts_on": "2026-04-03"})
	s.create(list, members{"kind": "term", "name": "Term 2", "starts_on": "2026-05-04", "ends_on": "2026-07-31"})
	if ids := s.do("GET", list+"?limit=500", keeper, nil).want(http.StatusOK).ids(); len(ids) != 2 {
		t.Errorf("there are %d times in the calendar", len(ids))
	}
	if next := s.do("GET", list+"?limit=1", keeper, nil).want(http.StatusOK).at("/next"); next == "" {
		t.Error("the calendar has no second page")
	}
	// At another site there is none of it.
	far := "/v1/sites/" + q.site + "/calendar"
	if ids := s.do("GET", far, s.coordinator, nil).want(http.StatusOK).ids(); len(ids) != 0 {
		t.Errorf("the other site has %v", ids)
	}
	s.do("GET", far+"/"+r.at("/id"), s.coordinator, nil).want(http.StatusNotFound, "not_found")
	s.do("PATCH", far+"/"+r.at("/id"), s.coordinator, `{"name":"May"}`, "If-Match", "*").want(http.StatusNotFound, "not_found")
	s.do("GET", far, keeper, nil).want(http.StatusNotFound, "not_found")
	s.do("POST", far, keeper, holiday, "Idempotency-Key", newText()).want(http.StatusNotFound, "not_found")
	s.do("POST", list, s.token(domain.Adviser), holiday, "Idempotency-Key", newText()).want(http.StatusForbidden, "forbidden")
}

// What water is judged by is the co-operative's, with the defaults where it has none.
func TestLimitsOfTheCoop(t *testing.T) {
	t.Parallel()
	s := newService(t)
	const path = "/v1/species/CLZ/limits"
	standard := s.do("GET", path, s.keeper, nil).want(http.StatusOK)
	at := func(r response, parameter string) string {
		var body struct{ Items []struct{ Parameter string } }
		r.into(&body)
		for i, item := range body.Items {
			if item.Parameter == parameter {
				return "/items/" + string(rune('0'+i))
			}
		}
		t.Fatalf("there is no limit of %s: %s", parameter, r.body)
		return ""
	}
	nh3 := at(standard, "nh3")
	standard.wantAt(map[string]string{nh3 + "/high_warn/value": "0.05", nh3 + "/high_warn/provenance": "practice", nh3 + "/high_alarm/value": "0.34",
		nh3 + "/high_alarm/provenance": "memory", nh3 + "/limit_id": "", nh3 + "/unit": "mg/L as N", nh3 + "/low_alarm": ""})
	if standard.at(nh3+"/conflicts/0") == "" || standard.at(nh3+"/high_alarm/source") == "" {
		t.Errorf("the sources, and that they differ, are not told: %s", standard.body)
	}
	own := s.create("/v1/limits", `{"species":"CLZ","parameter":"nh3","high_alarm":0.2,"source":"the veterinarian"}`)
	s.do("GET", path, s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{nh3 + "/high_warn": "", nh3 + "/high_alarm/value": "0.2",
		nh3 + "/high_alarm/provenance": "recorded", nh3 + "/high_alarm/source": "the veterinarian", nh3 + "/limit_id": own})
	s.do("GET", "/v1/species/TLN/limits", s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{at(s.do("GET", "/v1/species/TLN/limits", s.keeper, nil), "nh3") + "/high_alarm/value": "0.3"})
	// There is one for a species and a parameter, until it is archived.
	again := `{"species":"CLZ","parameter":"nh3","high_warn":0.1,"source":"the adviser"}`
	s.do("POST", "/v1/limits", s.coordinator, again, "Idempotency-Key", newText()).want(http.StatusConflict, "already_set")
	s.do("PATCH", "/v1/limits/"+own, s.coordinator, `{"archived":true}`, "If-Match", "*").want(http.StatusOK)
	s.do("GET", path, s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{nh3 + "/high_alarm/value": "0.34"})
	s.create("/v1/limits", again)
	s.do("PATCH", "/v1/limits/"+own, s.coordinator, `{"archived":false}`, "If-Match", "*").want(http.StatusConflict, "already_set")
	s.do("POST", "/v1/limits", s.coordinator, `{"species":"ZZZ","parameter":"nh3","high_warn":0.1,"source":"the adviser"}`, "Idempotency-Key", newText()).want(http.StatusUnprocessableEntity, "unknown_reference")
	s.do("POST", "/v1/limits", s.coordinator, `{"species":"CLZ","parameter":"tan","high_warn":2,"high_alarm":1,"source":"the adviser"}`, "Idempotency-Key", newText()).want(http.StatusBadRequest, "invalid_request")
	s.do("POST", "/v1/limits", s.keeper, again, "Idempotency-Key", newText()).want(http.StatusForbidden, "forbidden")
	// A species of which nothing is known is not judged, and one that there is not is not found.
	s.do("GET", "/v1/species/FCP/limits", s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items": "[]", "/species": "FCP"})
	s.do("GET", "/v1/species/ZZZ/limits", s.keeper, nil).want(http.StatusNotFound, "not_found")
	// A neighbour has the defaults.
	n := s.neighbour()
	n.do("GET", path, n.keeper, nil).want(http.StatusOK).wantAt(map[string]string{nh3 + "/high_warn/value": "0.05"})
}
