package integration_test

import (
	"crypto/rand"
	"fmt"
	"path"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"shoalbook/domain"
)

// table prints how many places were tried, and fails if one of the contract was not.
func (w *wall) table() {
	w.Helper()
	var b strings.Builder
	total := 0
	fmt.Fprintf(&b, "%-24s %6s %6s %6s %6s %6s %6s %6s\n", "operation", "path", "query", "body", "list", "cursor", "key", "etag")
	for _, o := range operations(w.T) {
		tried := w.tried[o.OperationID]
		fmt.Fprintf(&b, "%-24s %6d %6d %6d %6d %6d %6d %6d\n", o.OperationID, len(tried["path"]), len(tried["query"]), len(tried["body"]), len(tried["list"]), len(tried["cursor"]), len(tried["key"]), len(tried["etag"]))
		for _, places := range tried {
			total += len(places)
		}
	}
	w.Logf("%d places\n%s", total, &b)
}

// whole complains of members of entries that name something and were not tried.
func (w *wall) whole() {
	doc, err := document()
	if err != nil {
		w.Fatal(err)
	}
	tried := w.tried["recordEntries"]["body"]
	for kind, ref := range doc.Components.Schemas["Entry"].Value.Discriminator.Mapping {
		for name, member := range doc.Components.Schemas[path.Base(ref.Ref)].Value.Properties {
			what := fmt.Sprintf("recordEntries body.entries.0.%s of %s", name, kind)
			if member.Value.Format == "uuid" && !slices.Contains(tried, what) {
				w.Errorf("%s was not tried", what)
			}
		}
	}
}

// newWall makes the wall between two co-operatives of a service.
func newWall(s *service) *wall {
	t := s.t.(*testing.T)
	w := &wall{T: t, complain: t.Errorf, me: newStory(s, " of ours"), they: newStory(s.neighbour(), " of the neighbours")}
	w.token = w.me.coordinator
	w.secrets = []string{w.they.mark, w.they.coop.String()}
	for _, id := range w.they.ids {
		w.secrets = append(w.secrets, id)
	}
	return w
}

// What is another co-operative's is, to whoever asks for it in whatever place of a
// request, as what is nowhere; and nothing of it is in any answer.
func TestNeighboursAreNowhere(t *testing.T) {
	t.Parallel()
	w := newWall(newService(t))
	w.tries()
	w.whole()
	for what, matters := range w.matters {
		if !matters {
			w.Errorf("%s: it made no difference what was there", what)
		}
	}
	w.table()
}

// newFarWall makes the wall between sites of a co-operative. Parties, products, limits, factors, rounds
// and orders belong to the whole of it, whoever knows the id of a site may send something there, and the
// same token has told what happened here and there. Members and tokens are not for those
// who are bound to sites.
func newFarWall(s *service) *wall {
	t := s.t.(*testing.T)
	w := &wall{T: t, complain: t.Errorf, me: newStory(s, " of here"), they: newStory(s, " far away")}
	w.token = s.token("coordinator", w.me.id(1), w.me.id(2))
	w.shared = []string{"PartyID", "ProductID", "MemberID", "TokenID", "LimitID", "FactorID", "RoundID", "OrderID"}
	for example, id := range w.they.ids {
		if n := example[len(example)-2:]; n[0] != '3' && n[0] != '4' && n != "02" && n != "59" && n != "82" && n != "84" && n != "86" {
			w.secrets = append(w.secrets, id)
		}
	}
	w.known = map[string]string{}
	for _, kind := range domain.Kinds() {
		w.known["recordEntries body.entries.0.id of "+kind] = "ids are of the co-operative: no two entries have the same"
	}
	for _, o := range []string{"createBatch body.id", "reverseEntry body.id", "reverseEntry body.replacement.id"} {
		w.known[o] = "ids are of the co-operative"
	}
	w.known["recordDeliveries body.deliveries.0.batch_id"] = "ids are of the co-operative"
	w.known["recordEntries body.entries.0.to_site_id of sent"] = "it can be sent to any site"
	return w
}

// What is at a site that a token is not for is, to who has the token, as what is
// nowhere.
func TestFarSitesAreNowhere(t *testing.T) {
	t.Parallel()
	w := newFarWall(newService(t))
	w.tries()
	w.table()
}

// A token that does not hold, or whose role may not ask for something, gets nothing,
// and not even whether what it asks for is there.
func TestTokensThatDoNotFit(t *testing.T) {
	t.Parallel()
	s := newService(t)
	y := newStory(s, "")
	revoked := y.do("POST", "/v1/tokens", y.coordinator, `{"name":"Lost phone","role":"coordinator"}`, "Idempotency-Key", newText()).want(201)
	y.do("DELETE", "/v1/tokens/"+revoked.at("/id"), y.coordinator, nil).want(204)
	stranger, err := domain.NewToken(s.coop, rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	left := s.create("/v1/members", members{"name": "Bwalya", "role": "coordinator"})
	_, ofWhoLeft := s.issue(members{"member_id": left})
	y.do("PATCH", "/v1/members/"+left, y.coordinator, `{"archived":true}`, "If-Match", "*").want(200)
	wrong := map[string]string{"revoked": revoked.at("/secret"), "expired": s.expired(), "made up": stranger.Text(), "of somebody archived": ofWhoLeft}
	byRole := map[string]string{"coordinator": s.coordinator}
	for _, role := range domain.Roles {
		byRole[string(role)] = s.token(role)
	}
	refusals := map[string]bool{}
	cases := 0
	for _, o := range operations(t) {
		if o.public {
			continue
		}
		w := &wall{T: t, complain: t.Errorf, me: y, they: y}
		var body any
		if o.body() != nil {
			body = o.example(t)
		}
		p := place{[]string{"nowhere", ""}, "", ""}
		if strings.Contains(o.path, "{") {
			p = place{[]string{openapi3.ParameterInPath, "id"}, "", ""}
		}
		answer := func(token string, id string) response {
			cases++
			w.token = token
			return w.ask(o, body, p, id)
		}
		own := y.ids[examples[w.sort(o)]]
		for what, token := range wrong {
			is, not := answer(token, own).want(401, "unauthenticated"), answer(token, newText())
			refusals[is.at("/detail")] = true
			if what := o.OperationID + " with a token that is " + what; is.at("/detail") != not.at("/detail") || not.status != 401 {
				t.Errorf("%s: %s and %s", what, is.body, not.body)
			}
		}
		for role, token := range byRole {
			if o.allows(role) {
				continue
			}
			is, not := answer(token, own).want(403, "forbidden"), answer(token, newText())
			if is.at("/detail") != not.at("/detail") || not.status != 403 {
				t.Errorf("%s as %s: %s and %s", o.OperationID, role, is.body, not.body)
			}
		}
	}
	if len(refusals) != 1 {
		t.Errorf("it is told why a token does not hold: %v", refusals)
	}
	if cases < 500 {
		t.Errorf("only %d cases", cases)
	}
	t.Logf("%d cases", cases)
}

// sort returns the schema of what the path of an operation names.
func (w *wall) sort(o operation) string {
	for _, p := range o.params {
		if p.In == openapi3.ParameterInPath {
			return path.Base(p.Schema.Ref)
		}
	}
	return ""
}

// expired makes a token that has ended.
func (s *service) expired() string {
	s.t.Helper()
	token, err := domain.NewToken(s.coop, rand.Reader)
	if err != nil {
		s.t.Fatal(err)
	}
	past := time.Now().Add(-time.Minute)
	facts := domain.TokenFacts{ID: newID[domain.Token](), Name: "of last year", Role: domain.Coordinator, ExpiresAt: &past}
	if _, err := s.store.CreateToken(s.t.Context(), s.coop, facts, token.Hash()); err != nil {
		s.t.Fatal(err)
	}
	return token.Text()
}
