package integration_test

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"testing"
)

// pond is a site with two tanks and a feed.
type pond struct {
	*service
	site, a, b, feed string
}

func newPond(s *service) pond {
	s.t.Helper()
	p := pond{service: s, site: s.create("/v1/sites", `{"name":"Mlimani","kind":"school"}`)}
	p.a = s.create("/v1/units", `{"site_id":"`+p.site+`","name":"Tank A","kind":"tank","water_volume_l":5000}`)
	p.b = s.create("/v1/units", `{"site_id":"`+p.site+`","name":"Tank B","kind":"tank"}`)
	p.feed = s.create("/v1/products", `{"name":"Grower","category":"feed","unit":"kg","protein_percent":32}`)
	return p
}

func (p pond) batch(id string) string {
	return fmt.Sprintf(`{"id":"%s","site_id":"%s","unit_id":"%s","species":"CLZ","name":"December catfish","tags":["first"],"season":"warm 2026","plan":{"target_weight_g":450.125,"target_on":"2026-05-31"}}`, id, p.site, p.a)
}

func TestBatches(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p := newPond(s)
	id := newText()
	address := "/v1/batches/" + id
	keeper := s.token("keeper", p.site)
	made := s.do("POST", "/v1/batches", keeper, p.batch(id)).want(http.StatusCreated).wantAt(map[string]string{
		"/id": id, "/unit_id": p.a, "/state": "growing", "/archived": "false", "/tags": `["first"]`, "/season": "warm 2026", "/plan/target_weight_g": "450.125", "/plan/target_on": "2026-05-31",
	})
	if made.header.Get("Location") != address {
		t.Errorf("it was made at %s", made.header.Get("Location"))
	}
	s.read(address, made)
	again := s.do("POST", "/v1/batches", keeper, p.batch(id)).want(http.StatusOK)
	if !bytes.Equal(again.body, made.body) || again.header.Get("Location") != "" || again.header.Get("ETag") != made.header.Get("ETag") {
		t.Errorf("made again it is %v %s", again.header, again.body)
	}
	other := bytes.Replace([]byte(p.batch(id)), []byte("450.125"), []byte("450.126"), 1)
	s.do("POST", "/v1/batches", keeper, other).want(http.StatusConflict, "id_conflict")
	far := newPond(s)
	far.site, far.a = newText(), newText()
	s.do("POST", "/v1/batches", keeper, far.batch(newText())).want(http.StatusUnprocessableEntity, "unknown_reference")
	s.do("POST", "/v1/batches", s.token("keeper", newPond(s).site), p.batch(newText())).want(http.StatusUnprocessableEntity, "unknown_reference")
	s.do("POST", "/v1/batches", s.funder, p.batch(newText())).want(http.StatusForbidden, "forbidden")
	s.do("POST", "/v1/batches", keeper, bytes.Replace(other, []byte("CLZ"), []byte("ZZZ"), 1)).want(http.StatusConflict, "id_conflict")
	s.do("POST", "/v1/batches", keeper, bytes.Replace([]byte(p.batch(newText())), []byte("CLZ"), []byte("ZZZ"), 1)).want(http.StatusUnprocessableEntity, "unknown_reference").
		wantAt(map[string]string{"/errors/0/pointer": "/species"})
	s.do("POST", "/v1/batches", keeper, bytes.Replace([]byte(p.batch(newText())), []byte("450.125"), []byte("450.1255"), 1)).want(http.StatusBadRequest, "too_precise").
		wantAt(map[string]string{"/errors/0/pointer": "/plan/target_weight_g"})

	// A batch of another site is not there for this keeper.
	q := newPond(s)
	s.do("POST", "/v1/batches", s.keeper, q.batch(newText())).want(http.StatusCreated)
	if ids := s.do("GET", "/v1/batches", keeper, nil).want(http.StatusOK).ids(); !slices.Equal(ids, []string{id}) {
		t.Errorf("the keeper sees the batches %v", ids)
	}
	if ids := s.do("GET", "/v1/batches?site_id="+q.site, s.coordinator, nil).want(http.StatusOK).ids(); len(ids) != 1 || ids[0] == id {
		t.Errorf("at one site there are the batches %v", ids)
	}

	patch := func(token, body, tag string) response {
		t.Helper()
		return s.do("PATCH", address, token, body, "If-Match", tag)
	}
	tag := made.header.Get("ETag")
	patch(s.funder, `{"name":"Mine"}`, tag).want(http.StatusForbidden, "forbidden")
	patch(keeper, `{"unit_id":"`+p.b+`"}`, tag).want(http.StatusBadRequest, "invalid_request")
	patch(keeper, `{"plan":{"target_weight_g":500}}`, tag).want(http.StatusBadRequest, "invalid_request")
	changed := patch(keeper, `{"plan":{"target_weight_g":500.001,"target_on":"2026-06-30"},"tags":[],"season":null}`, tag).want(http.StatusOK).
		wantAt(map[string]string{"/plan/target_weight_g": "500.001", "/plan/target_on": "2026-06-30", "/tags": "[]", "/season": "", "/name": "December catfish"})
	patch(keeper, `{"plan":null}`, tag).want(http.StatusPreconditionFailed, "version_mismatch")
	patch(keeper, `{"plan":null}`, changed.header.Get("ETag")).want(http.StatusOK).wantAt(map[string]string{"/plan": ""})
	// What it was made as is still the same batch.
	s.do("POST", "/v1/batches", keeper, p.batch(id)).want(http.StatusOK).wantAt(map[string]string{"/plan": ""})
	s.archive("/v1/batches", address)
}

// A batch says where it is now and whether fish are left; its entity tag follows.
func TestBatchFollowsTheJournal(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p := newPond(s)
	id := newText()
	address := "/v1/batches/" + id
	s.do("POST", "/v1/batches", s.keeper, p.batch(id)).want(http.StatusCreated)
	entry := func(kind, on string, members map[string]any) {
		t.Helper()
		members["site_id"], members["occurred_on"], members["batch_id"] = p.site, on, id
		s.record(kind, members)
	}
	tags := []string{}
	look := func(unit, state string) {
		t.Helper()
		got := s.do("GET", address, s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/unit_id": unit, "/state": state})
		list := s.do("GET", "/v1/batches", s.keeper, nil).want(http.StatusOK)
		if list.at("/items/0") != got.at("") {
			t.Errorf("it is %s, but listed as %s", got.body, list.body)
		}
		if tag := got.header.Get("ETag"); slices.Contains(tags, tag) {
			t.Errorf("%s has the tag of another answer, %s", got.body, tag)
		} else {
			tags = append(tags, tag)
		}
	}
	look(p.a, "growing")
	entry("stocking", "2026-01-01", map[string]any{"origin": "bred", "count": 100, "weight_kg": 1})
	entry("move", "2026-02-01", map[string]any{"to_unit_id": p.b})
	look(p.b, "growing")
	s.do("PATCH", address, s.keeper, `{"name":"Late"}`, "If-Match", tags[0]).want(http.StatusPreconditionFailed, "version_mismatch")
	s.do("PATCH", address, s.keeper, `{"name":"Late"}`, "If-Match", tags[1]).want(http.StatusOK).wantAt(map[string]string{"/unit_id": p.b})
	look(p.b, "growing")
	entry("harvest", "2026-05-01", map[string]any{"weight_kg": 40, "count": 100})
	look(p.b, "closed")
	s.do("POST", "/v1/batches", s.keeper, p.batch(id)).want(http.StatusOK).wantAt(map[string]string{"/unit_id": p.b, "/state": "closed"})
}

// When more is learned of the protein of a feed, the figures of the fish that ate it
// are right at once.
func TestProteinReachesTheFigures(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p := newPond(s)
	id := newText()
	s.do("POST", "/v1/batches", s.keeper, p.batch(id)).want(http.StatusCreated)
	for _, e := range []struct {
		kind, on string
		members  map[string]any
	}{
		{"stocking", "2026-01-01", map[string]any{"origin": "bred", "count": 1000, "weight_kg": 10}},
		{"feeding", "2026-01-02", map[string]any{"product_id": p.feed, "weight_kg": 1}},
		{"feeding", "2026-01-10", map[string]any{"product_id": p.feed, "weight_kg": 1}},
		{"sample", "2026-01-20", map[string]any{"count": 10, "weight_kg": 0.11}},
	} {
		e.members["site_id"], e.members["occurred_on"], e.members["batch_id"] = p.site, e.on, id
		s.record(e.kind, e.members)
	}
	efficiency := func() string {
		t.Helper()
		return s.do("GET", "/v1/batches/"+id+"/performance", s.keeper, nil).want(http.StatusOK).at("/feed/protein_efficiency")
	}
	// By hand: 1 kg of gain from 2 kg of feed with 32 %, then from 1 kg with 32 % and
	// 1 kg with 48 %.
	before := efficiency()
	s.do("PATCH", "/v1/products/"+p.feed, s.coordinator, `{"protein_percent":48,"valid_from":"2026-01-10"}`, "If-Match", `"1"`).want(http.StatusOK)
	if after := efficiency(); before != "1.5625" || after != "1.25" {
		t.Errorf("the protein efficiency was %s and is %s, want 1.5625 and 1.25", before, after)
	}
	s.do("GET", "/v1/products/"+p.feed+"/revisions", s.keeper, nil).want(http.StatusOK).wantAt(map[string]string{
		"/items/0/valid_from": "", "/items/0/facts": `{"protein_percent":32}`,
		"/items/1/valid_from": "2026-01-10", "/items/1/facts": `{"protein_percent":48}`, "/items/2": "",
	})
}
