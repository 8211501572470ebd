package integration_test

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
)

func TestDatedFacts(t *testing.T) {
	t.Parallel()
	s := newService(t)
	site := s.create("/v1/sites", `{"name":"Mlimani","kind":"school"}`)
	unit := "/v1/units/" + s.create("/v1/units", `{"site_id":"`+site+`","name":"Tank A","kind":"tank","water_volume_l":5000}`)
	revise := func(body string) response {
		t.Helper()
		return s.do("PATCH", unit, s.coordinator, body, "If-Match", "*")
	}
	revise(`{"water_volume_l":6000,"valid_from":"2026-06-01"}`).want(http.StatusOK).wantAt(map[string]string{"/water_volume_l": "6000"})
	revise(`{"water_volume_l":4000.125,"valid_from":"2026-05-01"}`).want(http.StatusOK).wantAt(map[string]string{"/water_volume_l": "6000"})
	revise(`{"name":"Tank 1"}`).want(http.StatusOK).wantAt(map[string]string{"/water_volume_l": "6000", "/name": "Tank 1"})
	// Only what the patch names is changed: what else held on its day stays.
	revise(`{"density_limit_kg_m3":40,"valid_from":"2026-05-01"}`).want(http.StatusOK).wantAt(map[string]string{"/water_volume_l": "6000", "/density_limit_kg_m3": ""})
	revise(`{"water_volume_l":7000,"valid_from":"2199-01-01"}`).want(http.StatusUnprocessableEntity, "in_future").wantAt(map[string]string{"/errors/0/pointer": "/valid_from"})
	revise(`{"valid_from":null,"name":"Tank"}`).want(http.StatusBadRequest, "invalid_request")

	all := s.do("GET", unit+"/revisions", s.keeper, nil).want(http.StatusOK)
	for i, want := range []string{
		` {"water_volume_l":5000}`,
		`2026-05-01 {"water_volume_l":4000.125}`,
		`2026-05-01 {"density_limit_kg_m3":40,"water_volume_l":4000.125}`,
		`2026-06-01 {"water_volume_l":6000}`,
		`2026-06-01 {"water_volume_l":6000}`, // when it got another name
		" ",
	} {
		item := fmt.Sprintf("/items/%d", i)
		if got := all.at(item+"/valid_from") + " " + all.at(item+"/facts"); got != want {
			t.Errorf("revision %d is %q, want %q", i, got, want)
		}
		if want != " " && all.at(item+"/recorded_by") != "test coordinator" {
			t.Errorf("revision %d is recorded by %q", i, all.at(item+"/recorded_by"))
		}
	}
	s.pageRevisions(unit+"/revisions", 5)
	site = "/v1/sites/" + site
	s.do("PATCH", site, s.coordinator, `{"name":"Hill","valid_from":"2026-01-01"}`, "If-Match", "*").want(http.StatusBadRequest, "invalid_request")
	s.do("GET", site+"/revisions", s.coordinator, nil).want(http.StatusNotFound)
}

// pageRevisions reads them two at a time, which gives the same as all at once.
func (s *service) pageRevisions(path string, want int) {
	s.t.Helper()
	all, got := s.do("GET", path, s.keeper, nil).want(http.StatusOK), 0
	for next := path + "?limit=2"; next != ""; {
		page := s.do("GET", next, s.keeper, nil).want(http.StatusOK)
		for i := 0; page.at(fmt.Sprintf("/items/%d", i)) != ""; i++ {
			if page.at(fmt.Sprintf("/items/%d", i)) != all.at(fmt.Sprintf("/items/%d", got)) {
				s.t.Errorf("item %d is not the same on a page: %s", got, page.body)
			}
			got++
		}
		link, _, _ := strings.Cut(strings.TrimPrefix(page.header.Get("Link"), "<"), ">")
		if (link != "") != (page.at("/next") != "") || !strings.Contains(link, page.at("/next")) {
			s.t.Errorf("next is %q, the link %q", page.at("/next"), link)
		}
		next = link
	}
	if got != want {
		s.t.Errorf("%d revisions on pages, want %d", got, want)
	}
}

func TestLoopOfUnit(t *testing.T) {
	t.Parallel()
	s := newService(t)
	site := s.create("/v1/sites", `{"name":"Mlimani","kind":"school"}`)
	loop := s.create("/v1/loops", `{"site_id":"`+site+`","name":"Loop"}`)
	unit := "/v1/units/" + s.create("/v1/units", `{"site_id":"`+site+`","name":"Tank A","kind":"tank","loop_id":"`+loop+`"}`)
	s.do("GET", unit, s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/loop_id": loop})
	s.do("PATCH", unit, s.coordinator, `{"loop_id":null}`, "If-Match", `"1"`).want(http.StatusOK).wantAt(map[string]string{"/loop_id": ""})
	s.do("PATCH", unit, s.coordinator, `{"loop_id":"`+newText()+`"}`, "If-Match", `"2"`).want(http.StatusUnprocessableEntity, "unknown_reference")
	s.do("PATCH", unit, s.coordinator, `{"loop_id":"`+strings.ToUpper(loop)+`"}`, "If-Match", `"2"`).want(http.StatusOK).wantAt(map[string]string{"/loop_id": loop})
}

func TestCoop(t *testing.T) {
	t.Parallel()
	s := newService(t)
	coop := s.do("GET", "/v1/coop", s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{
		"/id": s.coop.String(), "/name": "Kafue Schools", "/currency": "ZMW", "/zone": "Africa/Lusaka", "/country": "ZM", "/share_by": "gram_days",
	})
	if coop.header.Get("ETag") != `"1"` {
		t.Errorf("its version is %s", coop.header.Get("ETag"))
	}
	s.do("GET", "/v1/coop", s.keeper, nil, "If-None-Match", `"1"`).want(http.StatusNotModified)
	s.do("GET", "/v1/coop", s.funder, nil).want(http.StatusForbidden, "forbidden")
	patch := func(token, body string, headers ...string) response {
		t.Helper()
		return s.do("PATCH", "/v1/coop", token, body, headers...)
	}
	patch(s.keeper, `{"name":"Ours"}`, "If-Match", "*").want(http.StatusForbidden, "forbidden")
	patch(s.coordinator, `{"name":"Ours"}`).want(http.StatusPreconditionRequired, "if_match_required")
	patch(s.coordinator, `{"currency":"EUR"}`, "If-Match", "*").want(http.StatusBadRequest, "invalid_request")
	patch(s.coordinator, `{"zone":"Africa/Atlantis"}`, "If-Match", "*").want(http.StatusBadRequest, "invalid_request").wantAt(map[string]string{"/errors/0/pointer": "/zone"})
	patch(s.coordinator, `{"share_by":"unit_days","valid_from":"2026-01-01"}`, "If-Match", `"1"`).want(http.StatusOK).wantAt(map[string]string{"/share_by": "unit_days", "/name": "Kafue Schools"})
	patch(s.coordinator, `{"name":"Ours"}`, "If-Match", `"1"`).want(http.StatusPreconditionFailed, "version_mismatch")
	patch(s.coordinator, `{"name":"Ours","zone":"Africa/Maputo","country":"MZ"}`, "If-Match", `"2"`).want(http.StatusOK).
		wantAt(map[string]string{"/share_by": "unit_days", "/name": "Ours", "/zone": "Africa/Maputo", "/country": "MZ", "/created_at": coop.at("/created_at")})
}

// Of two who change the same version at once, one is told to read again; two who ask
// for no version both change it.
func TestChangesAtOnce(t *testing.T) {
	t.Parallel()
	s := newService(t)
	party := "/v1/parties/" + s.create("/v1/parties", things["party"].body)
	atOnce := func(n int, tag string) map[int]int {
		statuses, mu, wait := map[int]int{}, sync.Mutex{}, sync.WaitGroup{}
		for i := range n {
			wait.Go(func() {
				r := s.do("PATCH", party, s.coordinator, fmt.Sprintf(`{"name":"Name %d %s"}`, i, newText()), "If-Match", tag)
				mu.Lock()
				statuses[r.status]++
				mu.Unlock()
			})
		}
		wait.Wait()
		return statuses
	}
	if got := atOnce(5, `"1"`); got[http.StatusOK] != 1 || got[http.StatusPreconditionFailed] != 4 {
		t.Errorf("changes of one version end as %v", got)
	}
	if got := atOnce(5, "*"); got[http.StatusOK] != 5 {
		t.Errorf("changes of any version end as %v", got)
	}
	if tag := s.do("GET", party, s.keeper, nil).header.Get("ETag"); tag != `"7"` {
		t.Errorf("after six changes the version is %s", tag)
	}
}

func TestSameKeyAtOnce(t *testing.T) {
	t.Parallel()
	s := newService(t)
	key, bodies, mu, wait := newText(), map[string]int{}, sync.Mutex{}, sync.WaitGroup{}
	for range 5 {
		wait.Go(func() {
			r := s.do("POST", "/v1/parties", s.coordinator, things["party"].body, "Idempotency-Key", key).want(http.StatusCreated)
			mu.Lock()
			bodies[string(r.body)]++
			mu.Unlock()
		})
	}
	wait.Wait()
	if len(bodies) != 1 || len(s.do("GET", "/v1/parties", s.coordinator, nil).ids()) != 1 {
		t.Errorf("one key made %v", bodies)
	}
}
