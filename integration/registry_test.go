package integration_test

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
)

// thing is one noun of the registry, as a test goes through it.
type thing struct {
	path    string
	body    string            // to create it; %s is the id of the site
	made    map[string]string // what it then looks like, besides the body
	patch   string
	patched map[string]string
	refused string // a body that has more decimals than are kept
	at      string // where it has them
}

var things = map[string]thing{
	"site": {
		path:    "/v1/sites",
		body:    `{"name":"Tumbawe School","kind":"school","location":{"type":"Point","coordinates":[28.41,-14.92]},"altitude_m":1180.125,"zone":"Africa/Lusaka","tags":["north","pilot"]}`,
		made:    map[string]string{"/altitude_m": "1180.125", "/location/coordinates": "[28.41,-14.92]", "/tags": `["north","pilot"]`, "/zone": "Africa/Lusaka"},
		patch:   `{"location":null,"altitude_m":null,"zone":null,"tags":["south"],"kind":"hatchery"}`,
		patched: map[string]string{"/location": "", "/altitude_m": "", "/zone": "", "/tags": `["south"]`, "/kind": "hatchery", "/name": "Tumbawe School"},
		refused: `{"name":"Tumbawe School","kind":"school","altitude_m":1180.0005}`, at: "/altitude_m",
	},
	"unit": {
		path:    "/v1/units",
		body:    `{"site_id":"%s","name":"Tank A","kind":"tank","water_volume_l":12000.5,"bed_area_m2":2.25,"density_limit_kg_m3":80.0}`,
		made:    map[string]string{"/water_volume_l": "12000.5", "/bed_area_m2": "2.25", "/density_limit_kg_m3": "80"},
		patch:   `{"water_volume_l":1.2e4,"bed_area_m2":null,"name":"Tank 1"}`,
		patched: map[string]string{"/water_volume_l": "12000", "/bed_area_m2": "", "/density_limit_kg_m3": "80", "/name": "Tank 1", "/kind": "tank"},
		refused: `{"site_id":"%s","name":"Tank A","kind":"tank","water_volume_l":12000.0005}`, at: "/water_volume_l",
	},
	"loop": {
		path:    "/v1/loops",
		body:    `{"site_id":"%s","name":"Loop A","pump_flow_l_h":1000000.001,"pump_power_w":65}`,
		made:    map[string]string{"/pump_flow_l_h": "1000000.001", "/pump_power_w": "65"},
		patch:   `{"pump_flow_l_h":null,"pump_power_w":0.125}`,
		patched: map[string]string{"/pump_flow_l_h": "", "/pump_power_w": "0.125", "/name": "Loop A"},
		refused: `{"site_id":"%s","name":"Loop A","pump_power_w":65.1234}`, at: "/pump_power_w",
	},
	"party": {
		path:    "/v1/parties",
		body:    `{"name":"Kafue Hatchery","roles":["hatchery","feed_seller"],"phone":"+260 97 0000000"}`,
		made:    map[string]string{"/roles": `["hatchery","feed_seller"]`, "/phone": "+260 97 0000000"},
		patch:   `{"roles":["buyer"],"phone":null}`,
		patched: map[string]string{"/roles": `["buyer"]`, "/phone": "", "/name": "Kafue Hatchery"},
	},
	"product": {
		path:    "/v1/products",
		body:    `{"name":"Grower 4 mm","category":"feed","unit":"kg","protein_percent":35.5,"moisture_percent":9.125}`,
		made:    map[string]string{"/protein_percent": "35.5", "/moisture_percent": "9.125", "/stored": "true", "/unit": "kg"},
		patch:   `{"protein_percent":38,"moisture_percent":null}`,
		patched: map[string]string{"/protein_percent": "38", "/moisture_percent": "", "/category": "feed", "/unit": "kg", "/stored": "true"},
		refused: `{"name":"Grower 4 mm","category":"feed","unit":"kg","protein_percent":35.12345}`, at: "/protein_percent",
	},
	"equipment": {
		path:    "/v1/equipment",
		body:    `{"site_id":"%s","name":"Air blower","cost":"4800.5","life_months":60,"in_use_from":"2025-11-01"}`,
		made:    map[string]string{"/cost": "4800.50", "/salvage": "0.00", "/life_months": "60", "/in_use_from": "2025-11-01", "/retired_on": ""},
		patch:   `{"retired_on":"2026-02-28","salvage":"300.00","life_months":6e1}`,
		patched: map[string]string{"/cost": "4800.50", "/salvage": "300.00", "/life_months": "60", "/retired_on": "2026-02-28"},
		refused: `{"site_id":"%s","name":"Air blower","cost":"4800.005","life_months":60,"in_use_from":"2025-11-01"}`, at: "/cost",
	},
}

// filled returns a body with the id of the site, where there is a place for it.
func filled(body, site string) string { return strings.Replace(body, "%s", site, 1) }

func TestRegistry(t *testing.T) {
	t.Parallel()
	s := newService(t)
	site := s.create("/v1/sites", `{"name":"Mlimani","kind":"school"}`)
	for name, x := range things {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := *s
			s.t = t
			body := filled(x.body, site)
			made := s.do("POST", x.path, s.coordinator, body, "Idempotency-Key", newText()).want(http.StatusCreated).wantAt(x.made).wantAt(map[string]string{"/archived": "false"})
			address := x.path + "/" + made.at("/id")
			if made.header.Get("Location") != address || made.header.Get("ETag") != `"1"` {
				t.Errorf("it was made at %q as %s", made.header.Get("Location"), made.header.Get("ETag"))
			}
			s.read(address, made)
			s.change(address, x)
			s.archive(x.path, address)
			s.keep(x.path, address, body)
			if x.refused != "" {
				s.do("POST", x.path, s.coordinator, filled(x.refused, site), "Idempotency-Key", newText()).want(http.StatusBadRequest, "too_precise").
					wantAt(map[string]string{"/errors/0/pointer": x.at, "/errors/1": ""})
			}
		})
	}
}

// read reads what was made, in every way there is.
func (s *service) read(address string, made response) {
	s.t.Helper()
	path, id, _ := strings.Cut(address[len("/v1/"):], "/")
	path = "/v1/" + path
	for _, token := range []string{s.coordinator, s.keeper} {
		got := s.do("GET", address, token, nil).want(http.StatusOK)
		if !bytes.Equal(got.body, made.body) || got.header.Get("ETag") != made.header.Get("ETag") {
			s.t.Errorf("made %s, got %s", made.body, got.body)
		}
	}
	tag := made.header.Get("ETag")
	s.do("GET", address, s.keeper, nil, "If-None-Match", tag).want(http.StatusNotModified)
	s.do("GET", address, s.keeper, nil, "If-None-Match", "W/"+tag).want(http.StatusNotModified)
	s.do("GET", address, s.keeper, nil, "If-None-Match", `"0"`).want(http.StatusOK)
	list := s.do("GET", path, s.keeper, nil).want(http.StatusOK)
	at := slices.Index(list.ids(), id)
	if at < 0 || list.at(fmt.Sprintf("/items/%d", at)) != made.at("") {
		s.t.Errorf("%s is not in the list as it was made: %s", id, list.body)
	}
	for _, token := range []string{"", strings.Replace(s.keeper, "shoal_", "shoal_0", 1)} {
		s.do("GET", address, token, nil).want(http.StatusUnauthorized, "unauthenticated")
	}
	s.do("GET", address, s.funder, nil).want(http.StatusForbidden, "forbidden")
	s.do("GET", path+"/"+newText(), s.coordinator, nil).want(http.StatusNotFound, "not_found")
	n := s.neighbour()
	s.do("GET", address, n.coordinator, nil).want(http.StatusNotFound, "not_found")
	s.do("PATCH", address, n.coordinator, `{"name":"mine"}`, "If-Match", "*").want(http.StatusNotFound, "not_found")
	if ids := s.do("GET", path, n.coordinator, nil).want(http.StatusOK).ids(); slices.Contains(ids, id) {
		s.t.Errorf("a neighbour sees %s", id)
	}
}

// change revises it, from its first version to its fourth.
func (s *service) change(address string, x thing) {
	s.t.Helper()
	patch := func(token, body string, headers ...string) response {
		s.t.Helper()
		return s.do("PATCH", address, token, body, headers...)
	}
	patch(s.coordinator, x.patch).want(http.StatusPreconditionRequired, "if_match_required")
	patch(s.coordinator, x.patch, "If-Match", `"2"`).want(http.StatusPreconditionFailed, "version_mismatch")
	patch(s.coordinator, x.patch, "If-Match", `2`).want(http.StatusBadRequest, "invalid_request")
	patch(s.coordinator, x.patch, "If-Match", `"1"`, "Content-Type", "application/json").want(http.StatusUnsupportedMediaType, "unsupported_media_type")
	patch(s.keeper, x.patch, "If-Match", `"1"`).want(http.StatusForbidden, "forbidden")
	patch(s.coordinator, `{"id":"`+newText()+`"}`, "If-Match", `"1"`).want(http.StatusBadRequest, "invalid_request").wantAt(map[string]string{"/errors/0/pointer": "/id"})
	changed := patch(s.coordinator, x.patch, "If-Match", `"1"`).want(http.StatusOK).wantAt(x.patched)
	if tag := changed.header.Get("ETag"); tag != `"2"` {
		s.t.Errorf("the changed version is %s", tag)
	}
	if again := patch(s.coordinator, x.patch, "If-Match", `"1", "2"`).want(http.StatusOK); !bytes.Equal(again.body, changed.body) {
		s.t.Errorf("changed again in the same way it is %s", again.body)
	}
	patch(s.coordinator, `{"name":"Jina jipya"}`, "If-Match", "*").want(http.StatusOK).wantAt(map[string]string{"/name": "Jina jipya"})
	patch(s.coordinator, `{"name":"other"}`, "If-Match", `"1"`).want(http.StatusPreconditionFailed, "version_mismatch")
	s.do("GET", address, s.keeper, nil).wantAt(map[string]string{"/name": "Jina jipya"})
}

// archive takes it out of use and brings it back.
func (s *service) archive(path, address string) {
	s.t.Helper()
	id := address[len(path)+1:]
	listed := func() [2]bool {
		s.t.Helper()
		inUse := s.do("GET", path+"?limit=500", s.keeper, nil).want(http.StatusOK).ids()
		archived := s.do("GET", path+"?limit=500&archived=true", s.keeper, nil).want(http.StatusOK).ids()
		return [2]bool{slices.Contains(inUse, id), slices.Contains(archived, id)}
	}
	for _, archived := range []bool{true, false} {
		s.do("PATCH", address, s.coordinator, fmt.Sprintf(`{"archived":%t}`, archived), "If-Match", "*").want(http.StatusOK).wantAt(map[string]string{"/archived": fmt.Sprint(archived)})
		if got := listed(); got != [2]bool{!archived, archived} {
			s.t.Errorf("with archived %t it is listed in use and archived: %v", archived, got)
		}
	}
}

// keep sends the same request again, and others with the same key.
func (s *service) keep(path, address, body string) {
	s.t.Helper()
	key := newText()
	post := func(path, token, body, key string) response {
		s.t.Helper()
		return s.do("POST", path, token, body, "Idempotency-Key", key)
	}
	post(path, s.coordinator, body, "").want(http.StatusBadRequest, "idempotency_key_required")
	post(path, s.keeper, body, key).want(http.StatusForbidden, "forbidden")
	first := post(path, s.coordinator, body, key).want(http.StatusCreated)
	again := post(path, s.coordinator, body, key).want(http.StatusCreated)
	if !bytes.Equal(first.body, again.body) || again.header.Get("Replayed") != "true" || first.header.Get("Replayed") != "" {
		s.t.Errorf("first %s, then %v %s", first.body, again.header, again.body)
	}
	for _, name := range []string{"Location", "ETag", "Content-Type"} {
		if first.header.Get(name) != again.header.Get(name) {
			s.t.Errorf("first %s %s, then %s", name, first.header.Get(name), again.header.Get(name))
		}
	}
	if path+"/"+first.at("/id") == address {
		s.t.Error("another key gave the thing that was there")
	}
	other := strings.Replace(body, `"name":"`, `"name":"An`, 1)
	post(path, s.coordinator, other, key).want(http.StatusUnprocessableEntity, "idempotency_key_reused")
	elsewhere := "/v1/parties"
	if path == elsewhere {
		elsewhere = "/v1/products"
	}
	for name, x := range things {
		if x.path == elsewhere {
			if r := post(elsewhere, s.coordinator, things[name].body, key); r.status != http.StatusUnprocessableEntity {
				s.t.Errorf("the same key at another address gives %d", r.status)
			}
		}
	}
	n := s.neighbour()
	post("/v1/parties", n.coordinator, things["party"].body, key).want(http.StatusCreated) // keys belong to the token
}

// A request that was refused is not remembered: the same key serves once it is right.
func TestRefusedRequestFreesItsKey(t *testing.T) {
	t.Parallel()
	s := newService(t)
	key, unit := newText(), `{"site_id":"%s","name":"Tank A","kind":"tank"}`
	s.do("POST", "/v1/units", s.coordinator, filled(unit, newText()), "Idempotency-Key", key).want(http.StatusUnprocessableEntity, "unknown_reference").
		wantAt(map[string]string{"/errors/0/pointer": "/site_id"})
	site := s.create("/v1/sites", `{"name":"Mlimani","kind":"school"}`)
	s.do("POST", "/v1/units", s.coordinator, filled(unit, site), "Idempotency-Key", key).want(http.StatusCreated)
}

func TestRegistryRefusals(t *testing.T) {
	t.Parallel()
	s := newService(t)
	site, other := s.create("/v1/sites", `{"name":"Mlimani","kind":"school"}`), s.create("/v1/sites", `{"name":"Ziwani","kind":"school"}`)
	loop := s.create("/v1/loops", `{"site_id":"`+other+`","name":"Loop"}`)
	foreign := s.neighbour().create("/v1/sites", `{"name":"Far away","kind":"school"}`)
	post := func(path, body string) response {
		t.Helper()
		return s.do("POST", path, s.coordinator, body, "Idempotency-Key", newText())
	}
	for _, c := range []struct {
		path, body, code, pointer string
	}{
		{"/v1/sites", `{"name":"Mars","kind":"school","zone":"Mars/Olympus"}`, "invalid_request", "/zone"},
		{"/v1/sites", `{"name":"Pole","kind":"school","location":{"type":"Point","coordinates":[0,91]}}`, "invalid_request", "/location/coordinates/1"},
		{"/v1/sites", `{"name":"Line","kind":"school","location":{"type":"Point","coordinates":[0]}}`, "invalid_request", "/location/coordinates"},
		{"/v1/sites", `{"name":" ","kind":"school"}`, "invalid_request", "/name"},
		{"/v1/sites", `{"name":"Mlimani","kind":"school","archived":true}`, "invalid_request", "/archived"},
		{"/v1/units", `{"site_id":"` + foreign + `","name":"Tank","kind":"tank"}`, "unknown_reference", "/site_id"},
		{"/v1/units", `{"site_id":"` + site + `","name":"Tank","kind":"tank","loop_id":"` + loop + `"}`, "wrong_site", "/loop_id"},
		{"/v1/units", `{"site_id":"` + site + `","name":"Tank","kind":"tank","loop_id":"` + newText() + `"}`, "unknown_reference", "/loop_id"},
		{"/v1/loops", `{"site_id":"` + site + `","name":"Loop","pump_power_w":1e-40}`, "invalid_request", "/pump_power_w"},
		{"/v1/products", `{"name":"Feed","category":"feed","unit":"piece"}`, "invalid_request", "/unit"},
		{"/v1/products", `{"name":"Feed","category":"feed","unit":"kg","stored":false}`, "invalid_request", "/stored"},
		{"/v1/products", `{"name":"Feed","category":"feed","unit":"kg","protein_percent":100.001}`, "invalid_request", "/protein_percent"},
		{"/v1/products", `{"name":"Feed","category":"feed","unit":"kg","protein_percent":"35"}`, "invalid_request", "/protein_percent"},
		{"/v1/equipment", `{"site_id":"` + site + `","name":"Pump","cost":"10","salvage":"11","life_months":12,"in_use_from":"2026-01-01"}`, "invalid_request", "/salvage"},
		{"/v1/equipment", `{"site_id":"` + site + `","name":"Pump","cost":"10","life_months":12.5,"in_use_from":"2026-01-01"}`, "invalid_request", "/life_months"},
		{"/v1/equipment", `{"site_id":"` + site + `","name":"Pump","cost":"10","life_months":12,"in_use_from":"2026-02-30"}`, "invalid_request", "/in_use_from"},
		{"/v1/equipment", `{"site_id":"` + site + `","name":"Pump","cost":"10","life_months":12,"in_use_from":"2026-02-01","retired_on":"2026-01-31"}`, "invalid_request", "/retired_on"},
	} {
		status := http.StatusBadRequest
		if c.code != "invalid_request" {
			status = http.StatusUnprocessableEntity
		}
		post(c.path, c.body).want(status, c.code).wantAt(map[string]string{"/errors/0/pointer": c.pointer})
	}
	s.do("PATCH", "/v1/sites/"+other, s.coordinator, `{"archived":true}`, "If-Match", "*").want(http.StatusOK)
	post("/v1/loops", `{"site_id":"`+other+`","name":"Loop"}`).want(http.StatusUnprocessableEntity, "archived")
}

func TestStoredByCategory(t *testing.T) {
	t.Parallel()
	s := newService(t)
	for body, stored := range map[string]string{
		`{"name":"Grid","category":"energy","unit":"kwh"}`:               "false",
		`{"name":"Borehole","category":"water","unit":"l"}`:              "false",
		`{"name":"Diesel","category":"energy","unit":"l","stored":true}`: "true",
		`{"name":"Salt","category":"medicine","unit":"kg"}`:              "true",
		`{"name":"Lime","category":"other","unit":"kg","stored":false}`:  "false",
		`{"name":"Bags","category":"packaging","unit":"piece"}`:          "true",
		`{"name":"Starter","category":"feed","unit":"kg","stored":true}`: "true",
	} {
		s.do("POST", "/v1/products", s.coordinator, body, "Idempotency-Key", newText()).want(http.StatusCreated).wantAt(map[string]string{"/stored": stored})
	}
}

// A keeper sees the own sites, what is at them, and what belongs to all.
func TestKeeperSeesOwnSites(t *testing.T) {
	t.Parallel()
	s := newService(t)
	mine, theirs := s.create("/v1/sites", `{"name":"Mlimani","kind":"school"}`), s.create("/v1/sites", `{"name":"Ziwani","kind":"school"}`)
	keeper := s.token("keeper", mine)
	s.do("GET", "/v1/sites/"+theirs, keeper, nil).want(http.StatusNotFound, "not_found")
	if ids := s.do("GET", "/v1/sites", keeper, nil).want(http.StatusOK).ids(); !slices.Equal(ids, []string{mine}) {
		t.Errorf("the sites of the keeper are %v, want %s", ids, mine)
	}
	for _, name := range []string{"unit", "loop", "equipment"} {
		x := things[name]
		own, other := s.create(x.path, filled(x.body, mine)), s.create(x.path, filled(x.body, theirs))
		if ids := s.do("GET", x.path, keeper, nil).want(http.StatusOK).ids(); !slices.Equal(ids, []string{own}) {
			t.Errorf("the keeper sees in %s %v, want %s", x.path, ids, own)
		}
		s.do("GET", x.path+"/"+own, keeper, nil).want(http.StatusOK)
		s.do("GET", x.path+"/"+own+"/revisions", keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/1": ""})
		s.do("GET", x.path+"/"+other, keeper, nil).want(http.StatusNotFound, "not_found")
		s.do("GET", x.path+"/"+other+"/revisions", keeper, nil).want(http.StatusNotFound, "not_found")
		for filter, want := range map[string][]string{mine: {own}, theirs: {}, newText(): {}} {
			if ids := s.do("GET", x.path+"?site_id="+filter, keeper, nil).want(http.StatusOK).ids(); !slices.Equal(ids, want) {
				t.Errorf("the keeper sees in %s of site %s %v, want %v", x.path, filter, ids, want)
			}
		}
		if ids := s.do("GET", x.path+"?site_id="+theirs, s.coordinator, nil).want(http.StatusOK).ids(); !slices.Equal(ids, []string{other}) {
			t.Errorf("the coordinator sees in %s of one site %v, want %s", x.path, ids, other)
		}
	}
	for _, name := range []string{"party", "product"} {
		x := things[name]
		id := s.create(x.path, x.body)
		s.do("GET", x.path+"/"+id, keeper, nil).want(http.StatusOK)
	}
	// A coordinator for some sites changes nothing that belongs to all of them.
	some := s.token("coordinator", mine)
	s.do("POST", "/v1/parties", some, things["party"].body, "Idempotency-Key", newText()).want(http.StatusForbidden, "forbidden")
	s.do("POST", "/v1/sites", some, things["site"].body, "Idempotency-Key", newText()).want(http.StatusForbidden, "forbidden")
	s.do("PATCH", "/v1/coop", some, `{"name":"Mine"}`, "If-Match", "*").want(http.StatusForbidden, "forbidden")
	s.do("PATCH", "/v1/sites/"+mine, some, `{"name":"Mlimani Hill"}`, "If-Match", "*").want(http.StatusOK)
}

func TestPaging(t *testing.T) {
	t.Parallel()
	s := newService(t)
	var want []string
	for i := range 7 {
		want = append(want, s.create("/v1/parties", fmt.Sprintf(`{"name":"Buyer %d","roles":["buyer"]}`, i)))
	}
	slices.Sort(want)
	got, pages := []string{}, 0
	for path := "/v1/parties?limit=3"; path != ""; pages++ {
		page := s.do("GET", path, s.keeper, nil).want(http.StatusOK)
		got = append(got, page.ids()...)
		next := page.at("/next")
		path = ""
		if link := page.header.Get("Link"); next != "" {
			path = "/v1/parties?limit=3&after=" + next
			if link != "</v1/parties?after="+next+`&archived=false&limit=3>; rel="next"` {
				t.Errorf("next is %s, the link %s", next, link)
			}
			target, _, _ := strings.Cut(strings.TrimPrefix(link, "<"), ">")
			if linked := s.do("GET", target, s.keeper, nil).want(http.StatusOK); !bytes.Equal(linked.body, s.do("GET", path, s.keeper, nil).body) {
				t.Errorf("the link leads to %s", linked.body)
			}
			s.do("GET", path+"&archived=true", s.keeper, nil).want(http.StatusBadRequest, "invalid_cursor")
			s.do("GET", "/v1/products?after="+next, s.keeper, nil).want(http.StatusBadRequest, "invalid_cursor")
		} else if link != "" {
			t.Errorf("the last page links to %s", link)
		}
	}
	if pages != 3 || !slices.Equal(got, want) {
		t.Errorf("%d pages with %v, want 3 with %v", pages, got, want)
	}
	s.do("GET", "/v1/parties?limit=7", s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/next": ""})
	s.do("GET", "/v1/parties?limit=0", s.keeper, nil).want(http.StatusBadRequest, "invalid_request")
	s.do("GET", "/v1/parties?limit=501", s.keeper, nil).want(http.StatusBadRequest, "invalid_request")
	s.do("GET", "/v1/parties?name=Buyer", s.keeper, nil).want(http.StatusBadRequest, "unknown_parameter")
	s.do("GET", "/v1/parties?after=abc", s.keeper, nil).want(http.StatusBadRequest, "invalid_cursor")
	if empty := s.do("GET", "/v1/parties?archived=true", s.keeper, nil).want(http.StatusOK); string(empty.body) != `{"items":[]}` {
		t.Errorf("a list of nothing is %s", empty.body)
	}
}

func TestSpecies(t *testing.T) {
	t.Parallel()
	s := newService(t)
	list := s.do("GET", "/v1/species", s.keeper, nil).want(http.StatusOK)
	var species struct {
		Items []map[string]string
	}
	list.into(&species)
	if !slices.IsSortedFunc(species.Items, func(a, b map[string]string) int { return strings.Compare(a["code"], b["code"]) }) {
		t.Errorf("the species are not by code: %s", list.body)
	}
	at := slices.IndexFunc(species.Items, func(s map[string]string) bool { return s["code"] == "CLZ" })
	// published source: ASFIS list of species, 2020.
	if at < 0 || species.Items[at]["scientific_name"] != "Clarias gariepinus" || species.Items[at]["english_name"] != "North African catfish" || species.Items[at]["source"] == "" {
		t.Errorf("the species are %s", list.body)
	}
}
