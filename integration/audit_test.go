package integration_test

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
)

// A trailLine is a line of the audit trail.
type trailLine struct {
	At        time.Time
	By        struct{ Name, TokenID, MemberID string }
	Device    string
	SiteID    string
	What      struct{ Noun, ID, Action, Kind string }
	ValidFrom string
	Before    map[string]any
	After     map[string]any
	EntryID   string
}

func (l trailLine) String() string {
	return fmt.Sprintf("%s %s%s by %s", l.What.Noun, l.What.Action, l.What.Kind, l.By.Name)
}

// trail returns the lines that a query finds, in pages of so many.
func (s *service) trail(token string, query url.Values, limit int) (lines []trailLine) {
	s.t.Helper()
	asked := url.Values{"limit": {fmt.Sprint(limit)}}
	for name, values := range query {
		asked[name] = values
	}
	for {
		r := s.do("GET", "/v1/audit?"+asked.Encode(), token, nil).want(http.StatusOK)
		var page struct {
			Items []struct {
				At time.Time
				By struct {
					Name     string
					TokenID  string `json:"token_id"`
					MemberID string `json:"member_id"`
				}
				Device    string
				SiteID    string `json:"site_id"`
				What      struct{ Noun, ID, Action, Kind string }
				ValidFrom string `json:"valid_from"`
				Before    map[string]any
				After     map[string]any
				EntryID   string `json:"entry_id"`
			}
			Next string
		}
		r.into(&page)
		for _, i := range page.Items {
			lines = append(lines, trailLine{i.At, struct{ Name, TokenID, MemberID string }(i.By), i.Device, i.SiteID, i.What, i.ValidFrom, i.Before, i.After, i.EntryID})
		}
		if page.Next == "" || r.status != http.StatusOK {
			return lines
		}
		asked.Set("after", page.Next)
	}
}

// every line there is, at most 500.
func (s *service) wholeTrail() []trailLine {
	s.t.Helper()
	return s.trail(s.coordinator, nil, 500)
}

// Every write of the contract that is not an entry leaves one line: who, when, from
// which device, what, and how it was before and after.
func TestEveryWriteLeavesALine(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p := newPond(s)
	member := s.create("/v1/members", members{"name": "Bwalya Phiri", "role": "coordinator"})
	tokenID, token := s.issue(members{"member_id": member, "name": "office"})
	loop := s.create("/v1/loops", members{"site_id": p.site, "name": "North"})
	party := s.create("/v1/parties", members{"name": "Market", "roles": []string{"buyer"}})
	pump := s.create("/v1/equipment", members{"site_id": p.site, "name": "Pump", "cost": "100.00", "life_months": 12, "in_use_from": "2026-01-01"})
	spare, _ := s.issue(members{"name": "spare", "role": "adviser"})
	batch := p.newBatch()
	person := s.create("/v1/members", members{"name": "Chanda", "role": "adviser"})
	newBatch := newText()
	period := s.create("/v1/sites/"+p.site+"/calendar", `{"kind":"term","name":"Term 2","starts_on":"2026-05-11","ends_on":"2026-08-06"}`)
	limit := s.create("/v1/limits", `{"species":"CLZ","parameter":"oxygen","low_warn":4,"source":"the adviser"}`)

	s.recorded(p.entry("water", "2026-02-01", members{"unit_id": p.a, "ph": 9}))
	question := s.do("GET", "/v1/questions", s.keeper, nil).want(http.StatusOK).at("/items/0/id")

	call := newCall(s)
	asked := s.create("/v1/rounds/"+call.round+"/requests", call.asks(nil))
	quoted := s.create("/v1/rounds/"+call.round+"/quotes", call.quotes(nil))

	funder := s.create("/v1/parties", members{"name": "Lake Foundation", "roles": []string{"funder"}})
	granted := members{"funder_id": funder, "title": "Fish for schools", "starts_on": "2026-01-01", "ends_on": "2026-12-31", "currency": "EUR",
		"sites": []members{{"site_id": p.site}}, "lines": []members{{"code": "pumps", "title": "Pumps", "amount": "90.00"}}}
	grant := s.create("/v1/grants", granted)
	cost := s.create("/v1/grant-costs", members{"grant_id": grant, "line": "pumps", "equipment_id": pump, "percent": 50})
	reported := members{"grant_id": grant, "starts_on": "2026-01-01", "ends_on": "2026-01-31", "title": "January"}
	report, old := s.create("/v1/reports", reported), s.create("/v1/reports", reported)
	s.do("POST", "/v1/reports/"+old+"/issue", s.coordinator, nil, "Idempotency-Key", newText()).want(http.StatusCreated)
	link := s.do("POST", "/v1/reports/"+old+"/links", s.coordinator, `{"name":"the board","expires_at":"2099-01-01T00:00:00Z"}`, "Idempotency-Key", newText()).want(http.StatusCreated).at("/id")
	indicator := members{"code": "eaten", "title": "Eaten", "definition": "Fish eaten.", "unit": "kg", "formula": "eaten_kg", "measure": "unit", "direction": "rising", "result": "output"}
	defined := s.create("/v1/indicators", indicator)
	indicator["code"] = "eaten_or_given"
	eaten := s.create("/v1/factors", `{"species":"TLN","form":"fillet","yield_percent":33,"protein_g_100g":19.2,"source":"weighed here"}`)

	tried := map[string]bool{}
	for _, c := range []struct {
		operation string
		id        string // of what is changed; none: of what is made
		body      any
		site      string
		before    string // member=value, of what is changed
		after     string
	}{
		{"reviseCoop", s.coop.String(), `{"name":"Kafue Schools Trust"}`, "", "name=Kafue Schools", "name=Kafue Schools Trust"},
		{"createSite", "", `{"name":"Chisamba","kind":"school","tags":["north"]}`, "itself", "", "tags=[north]"},
		{"reviseSite", p.site, `{"altitude_m":1180.5}`, p.site, "altitude_m=<nil>", "altitude_m=1180.5"},
		{"createUnit", "", members{"site_id": p.site, "name": "Pond", "kind": "pond", "water_volume_l": 90000}, p.site, "", "water_volume_l=90000"},
		{"reviseUnit", p.a, `{"water_volume_l":4800.25,"valid_from":"2026-01-10"}`, p.site, "water_volume_l=5000", "water_volume_l=4800.25"},
		{"createLoop", "", members{"site_id": p.site, "name": "South", "pump_power_w": 65}, p.site, "", "pump_power_w=65"},
		{"reviseLoop", loop, `{"archived":true}`, p.site, "archived=false", "archived=true"},
		{"createParty", "", `{"name":"Hatchery","roles":["hatchery"]}`, "", "", "roles=[hatchery]"},
		{"reviseParty", party, `{"phone":"+260 97 0000000"}`, "", "phone=<nil>", "phone=+260 97 0000000"},
		{"createProduct", "", `{"name":"Salt","category":"other","unit":"kg"}`, "", "", "unit=kg"},
		{"reviseProduct", p.feed, `{"protein_percent":30}`, "", "protein_percent=32", "protein_percent=30"},
		{"createEquipment", "", members{"site_id": p.site, "name": "Net", "cost": "12.50", "life_months": 24, "in_use_from": "2026-01-01"}, p.site, "", "cost=12.50"},
		{"reviseEquipment", pump, `{"cost":"110.00"}`, p.site, "cost=100.00", "cost=110.00"},
		{"createBatch", newBatch, p.batch(newBatch), p.site, "", "species=CLZ"},
		{"reviseBatch", batch, `{"season":"cold 2026"}`, p.site, "season=warm 2026", "season=cold 2026"},
		{"createMember", "", `{"name":"Mutale","role":"auditor"}`, "", "", "role=auditor"},
		{"reviseMember", person, `{"role":"treasurer"}`, "", "role=adviser", "role=treasurer"},
		{"createPeriod", "", `{"kind":"holiday","name":"August","starts_on":"2026-08-07","ends_on":"2026-09-06"}`, p.site, "", "ends_on=2026-09-06"},
		{"revisePeriod", period, `{"feeder":"the caretaker"}`, p.site, "feeder=<nil>", "feeder=the caretaker"},
		{"createLimit", "", `{"species":"CLZ","parameter":"no2","high_warn":0.5,"source":"the adviser"}`, "", "", "high_warn=0.5"},
		{"reviseLimit", limit, `{"low_warn":4.5}`, "", "low_warn=4", "low_warn=4.5"},
		{"answerQuestion", question, `{"reason":"The pond is green."}`, p.site, "reason=<nil>", "reason=The pond is green."},
		{"createRound", "", call.call(members{"name": "More feed", "species": nil, "product_id": p.feed}), "", "", "fees_by=count"},
		{"reviseRound", call.round, `{"fees_by":"weight"}`, "", "fees_by=count", "fees_by=weight"},
		{"createRequest", "", call.asks(members{"unit_id": call.b}), call.site, "", "quantity=300"},
		{"reviseRequest", asked, `{"quantity":280}`, call.site, "quantity=300", "quantity=280"},
		{"createQuote", "", call.quotes(nil), "", "", "fee_order=20.00"},
		{"reviseQuote", quoted, `{"fee_order":"25.00"}`, "", "fee_order=20.00", "fee_order=25.00"},
		{"setRoundState", call.round, `{"state":"closed"}`, "", "state=open", "state=closed"},
		{"createIndicator", "", indicator, "", "", "code=eaten_or_given"},
		{"reviseIndicator", defined, `{"formula":"eaten_kg + given_kg"}`, "", "formula=eaten_kg", "formula=eaten_kg + given_kg"},
		{"createFactor", "", `{"species":"CLZ","form":"fillet","yield_percent":40,"protein_g_100g":18,"source":"weighed here"}`, "", "", "yield_percent=40"},
		{"reviseFactor", eaten, `{"yield_percent":34}`, "", "yield_percent=33", "yield_percent=34"},
		{"createGrant", "", granted, "", "", "currency=EUR"},
		{"reviseGrant", grant, `{"portion_g":60}`, "", "portion_g=50", "portion_g=60"},
		{"createGrantCost", "", members{"grant_id": grant, "line": "pumps", "equipment_id": pump, "percent": 10}, "", "", "percent=10"},
		{"reviseGrantCost", cost, `{"percent":20}`, "", "percent=50", "percent=20"},
		{"createReport", "", reported, "", "", "state=draft"},
		{"reviseReport", report, `{"title":"The first month"}`, "", "title=January", "title=The first month"},
		{"issueReport", report, nil, "", "state=draft", "state=issued"},
		{"createRestatement", "", `{"reason":"One sale was missing."}`, "", "", "reason=One sale was missing."},
		{"createReportLink", "", `{"name":"the minister","expires_at":"2099-01-01T00:00:00Z"}`, "", "", "name=the minister"},
		{"revokeReportLink", link, nil, "", "revoked_at=<nil>", "name=the board"},
		{"createToken", "", `{"name":"screen","role":"adviser"}`, "", "", "name=screen"},
		{"revokeToken", spare, nil, "", "revoked_at=<nil>", "name=spare"},
	} {
		o := operationOf(t, c.operation)
		tried[c.operation] = true
		lines := len(s.wholeTrail())
		headers := []string{"X-Device", "desk of " + c.operation}
		if o.takes("Idempotency-Key") {
			headers = append(headers, "Idempotency-Key", newText())
		}
		if o.takes("If-Match") {
			headers = append(headers, "If-Match", "*")
		}
		start := time.Now()
		home := c.id
		switch {
		case strings.HasSuffix(c.operation, "Period"):
			home = c.site
		case c.operation == "createRequest" || c.operation == "createQuote":
			home = call.round
		case c.operation == "createRestatement" || c.operation == "createReportLink":
			home = old
		}
		r := s.do(o.method, strings.NewReplacer("{id}", home, "{period_id}", c.id).Replace(o.path), token, c.body, headers...)
		if r.status >= 300 {
			t.Errorf("%s: status %d: %s", c.operation, r.status, r.body)
			continue
		}
		id := c.id
		if id == "" {
			id = r.at("/id")
		}
		after := s.wholeTrail()
		if len(after) != lines+1 {
			t.Errorf("%s leaves %d lines", c.operation, len(after)-lines)
			continue
		}
		l := after[lines]
		noun := strings.ToLower(c.operation[len(c.operation)-len(strings.TrimLeft(c.operation, "abcdefghijklmnopqrstuvwxyz")):])
		switch noun {
		case "limit":
			noun = "water_limit"
		case "roundstate":
			noun = "round"
		case "grant":
			noun = "funding"
		case "grantcost":
			noun = "grant_cost"
		case "restatement":
			noun = "report"
		case "reportlink":
			noun = "report_link"
		}
		action := map[bool]string{true: "created", false: "changed"}[strings.HasPrefix(c.operation, "create")]
		site := c.site
		if site == "itself" {
			site = id
		}
		if l.By != (struct{ Name, TokenID, MemberID string }{"office", tokenID, member}) || l.Device != "desk of "+c.operation || l.SiteID != site ||
			l.What.Noun != noun || l.What.ID != id || l.What.Action != action || l.At.Before(start.Add(-time.Minute)) || l.At.After(time.Now().Add(time.Minute)) {
			t.Errorf("%s leaves the line %+v", c.operation, l)
		}
		if (l.Before == nil) != (action == "created") || c.before != "" && !says(l.Before, c.before) || !says(l.After, c.after) || l.After["id"] != id {
			t.Errorf("%s: before %v, after %v", c.operation, l.Before, l.After)
		}
		if want := map[bool]string{true: "2026-01-10"}[c.operation == "reviseUnit"]; want != "" && l.ValidFrom != want {
			t.Errorf("%s holds from %s", c.operation, l.ValidFrom)
		}
	}
	// What is done in several tables leaves several lines.
	var order string
	for _, c := range []struct {
		operation string
		body      any
		nouns     string
	}{
		{"planRound", members{}, "round"},
		{"createOrders", members{"plan_version": 1}, "purchase_order order_version order_line round"},
		{"changeOrder", members{"reason": "Fewer.", "lines": []members{{"request_id": asked, "quantity": 200}}}, "order_version order_line purchase_order"},
		{"payDeposit", members{"amount": "12.00", "paid_on": "2026-02-01"}, "order_deposit"},
	} {
		tried[c.operation] = true
		o := operationOf(t, c.operation)
		lines := len(s.wholeTrail())
		home := map[bool]string{true: order, false: call.round}[strings.HasPrefix(o.path, "/v1/orders/")]
		r := s.do(o.method, strings.Replace(o.path, "{id}", home, 1), token, c.body, "Idempotency-Key", newText(), "X-Device", "desk of "+c.operation).want(http.StatusCreated)
		if c.operation == "createOrders" {
			order = r.at("/items/0/id")
		}
		var nouns []string
		for _, l := range s.wholeTrail()[lines:] {
			if !slices.Contains(nouns, l.What.Noun) {
				nouns = append(nouns, l.What.Noun)
			}
			if l.By.TokenID != tokenID || l.Device != "desk of "+c.operation || l.After == nil {
				t.Errorf("%s leaves the line %+v", c.operation, l)
			}
		}
		slices.Sort(nouns)
		if want := slices.Sorted(slices.Values(strings.Fields(c.nouns))); !slices.Equal(nouns, want) {
			t.Errorf("%s leaves lines of %v, want %v", c.operation, nouns, want)
		}
	}
	bought := newPurchase(s)
	came := bought.drop(0, members{"counted": 300})
	claimed := func() string { // the one whose delivery was not reversed
		r := s.do("GET", "/v1/rounds/"+bought.round+"/claims", s.coordinator, nil)
		if r.at("/items/0/reversed") == "true" {
			return r.at("/items/1/id")
		}
		return r.at("/items/0/id")
	}
	for _, c := range []struct {
		operation string
		of        func() string
		body      members
		nouns     string
	}{
		{"fixAllotment", func() string { return bought.order }, members{"available": 900, "rule": "max_min"}, "allotment"},
		{"recordDeliveries", func() string { return bought.order }, members{"deliveries": []members{came}}, "batch claim delivery entry round"},
		{"reverseDelivery", func() string { return came["id"].(string) }, members{"reason": "Wrong."}, "delivery entry"},
		{"recordDeliveries", func() string { return bought.order }, members{"deliveries": []members{bought.drop(0, members{"counted": 300})}}, "batch claim delivery entry"},
		{"answerClaim", claimed, members{"declined": "No."}, "credit"},
		{"recordRoundPayment", func() string { return bought.round }, members{"site_id": bought.sites[0], "amount": "1.00", "paid_on": "2025-02-01"}, "round_payment"},
	} {
		tried[c.operation] = true
		o := operationOf(t, c.operation)
		lines := len(s.wholeTrail())
		headers := []string{"X-Device", "desk of " + c.operation}
		if o.takes("Idempotency-Key") {
			headers = append(headers, "Idempotency-Key", newText())
		}
		s.do(o.method, strings.Replace(o.path, "{id}", c.of(), 1), token, c.body, headers...).want(http.StatusCreated)
		nouns := map[string]bool{}
		for _, l := range s.wholeTrail()[lines:] {
			nouns[l.What.Noun] = true
			if l.By.TokenID != tokenID || l.Device != "desk of "+c.operation {
				t.Errorf("%s leaves the line %+v", c.operation, l)
			}
		}
		if got := strings.Join(slices.Sorted(maps.Keys(nouns)), " "); got != c.nouns {
			t.Errorf("%s leaves lines of %s, want %s", c.operation, got, c.nouns)
		}
	}
	for _, o := range operations(t) {
		entries := o.OperationID == "recordEntries" || o.OperationID == "reverseEntry"
		if o.method != http.MethodGet && !entries && !tried[o.OperationID] {
			t.Errorf("%s was not tried", o.OperationID)
		}
		if o.method != http.MethodGet && !o.takes("X-Device") {
			t.Errorf("%s takes no X-Device", o.OperationID)
		}
	}
	// What is refused or read leaves nothing, and neither does what changes nothing.
	lines := len(s.wholeTrail())
	s.do("POST", "/v1/sites", token, `{"name":"x"}`, "Idempotency-Key", newText()).want(http.StatusBadRequest)
	s.do("POST", "/v1/units", token, members{"site_id": newText(), "name": "x", "kind": "tank"}, "Idempotency-Key", newText()).want(http.StatusUnprocessableEntity)
	s.do("PATCH", "/v1/parties/"+party, token, `{"name":"Market"}`, "If-Match", "*").want(http.StatusOK)
	s.do("DELETE", "/v1/tokens/"+spare, token, nil).want(http.StatusNoContent)
	if n := len(s.wholeTrail()) - lines; n != 0 {
		t.Errorf("nothing was changed, and there are %d lines", n)
	}
}

// says reports whether a member has a value; <nil> if it is not there.
func says(facts map[string]any, what string) bool {
	name, value, _ := strings.Cut(what, "=")
	return fmt.Sprint(facts[name]) == value
}

// Entries stand in the same trail, with who sent them and from where; one that was
// held is by the one who sent it, whoever made it fit.
func TestEntriesInTheTrail(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p := newPond(s)
	keeperID, keeper := s.issue(members{"name": "Mutale", "role": "keeper", "sites": []string{p.site}})
	batch := p.newBatch()
	death := p.entry("death", "2026-01-08", members{"batch_id": batch, "count": 3})
	stocking := p.entry("stocking", "2026-01-05", members{"batch_id": batch, "origin": "bred", "count": 1000, "weight_kg": 10})
	lines := len(s.wholeTrail())
	s.do("POST", "/v1/entries", keeper, members{"entries": []members{death}, "on_refusal": "hold"}, "X-Device", "phone at the pond").want(http.StatusOK).became("held")
	s.do("POST", "/v1/entries?dry_run=true", s.coordinator, members{"entries": []members{stocking}}).want(http.StatusOK).became("created")
	s.post(s.coordinator, []members{stocking}, "X-Device", "office").want(http.StatusOK).became("created")
	got := s.wholeTrail()[lines:]
	var short []string
	for _, l := range got {
		short = append(short, l.String()+" on "+l.Device)
	}
	slices.Sort(short[1:]) // of one transaction
	want := []string{
		"held created by Mutale on phone at the pond",
		"entry recordeddeath by Mutale on phone at the pond", "entry recordedstocking by test coordinator on office", "held removed by test coordinator on office",
	}
	if !slices.Equal(short, want) {
		t.Fatalf("the trail is %q, want %q", short, want)
	}
	for _, l := range got {
		switch l.What.Noun + l.What.Kind {
		case "entrydeath":
			if l.By.TokenID != keeperID || l.EntryID != death["id"] || l.What.ID != death["id"] || l.SiteID != p.site || l.Before != nil || !says(l.After, "count=3") || l.After["id"] != death["id"] {
				t.Errorf("the entry is %+v", l)
			}
		case "held":
			facts := l.After
			if l.What.Action == "removed" {
				facts = l.Before
			}
			entry, _ := facts["entry"].(map[string]any)
			problem, _ := facts["problem"].(map[string]any)
			if l.EntryID != "" || l.What.ID != death["id"] || !says(entry, "count=3") || !says(problem, "code=before_batch") && !says(problem, "code=not_enough_fish") {
				t.Errorf("what is held is %+v", l)
			}
		}
	}
	s.do("GET", fmt.Sprint("/v1/entries/", death["id"]), keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/device": "phone at the pond", "/recorded_by": "Mutale"})
	without := p.entry("water", "2026-01-08", members{"unit_id": p.a, "ph": 7})
	s.recorded(without)
	s.do("GET", fmt.Sprint("/v1/entries/", without["id"]), keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/device": ""})
	for _, device := range []string{strings.Repeat("x", 101), "phöne", "a\tb", "x ", " "} {
		r := s.post(keeper, []members{p.entry("water", "2026-01-08", members{"unit_id": p.a, "ph": 7})}, "X-Device", device)
		if trimmed := strings.TrimSpace(device); trimmed == "x" { // spaces around are not of the value
			r.want(http.StatusOK).became("created")
			continue
		}
		r.want(http.StatusBadRequest, "invalid_request")
	}
}

// The filters narrow the one trail together, and pages of it lose and repeat nothing.
func TestTrailIsFilteredAndPaged(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p, q := newPond(s), newPond(s)
	member := s.create("/v1/members", members{"name": "Mutale", "role": "keeper", "sites": []string{p.site}})
	firstID, first := s.issue(members{"member_id": member, "name": "phone"})
	secondID, second := s.issue(members{"member_id": member, "name": "tablet"})
	for i, token := range []string{first, second, first} {
		s.post(token, []members{
			p.entry("water", day(i), members{"unit_id": p.a, "ph": 7}), p.entry("expense", day(i), members{"category": "rent", "amount": "1.00"}),
		}).want(http.StatusOK).became("created created")
	}
	s.recorded(q.entry("water", day(9), members{"unit_id": q.a, "ph": 7}))
	s.do("POST", "/v1/batches", second, p.batch(newText())).want(http.StatusCreated)
	all := s.wholeTrail()
	for i := range all[1:] {
		if all[i+1].At.Before(all[i].At) {
			t.Errorf("line %d was written before line %d", i+1, i)
		}
	}
	middle := all[len(all)/2].At
	for name, c := range map[string]struct {
		query url.Values
		want  func(trailLine) bool
	}{
		"all":           {nil, func(trailLine) bool { return true }},
		"site":          {url.Values{"site_id": {q.site}}, func(l trailLine) bool { return l.SiteID == q.site }},
		"token":         {url.Values{"who": {firstID}}, func(l trailLine) bool { return l.By.TokenID == firstID }},
		"member":        {url.Values{"who": {member}}, func(l trailLine) bool { return l.By.MemberID == member }},
		"nobody":        {url.Values{"who": {newText()}}, func(trailLine) bool { return false }},
		"noun":          {url.Values{"noun": {"unit"}}, func(l trailLine) bool { return l.What.Noun == "unit" }},
		"nouns":         {url.Values{"noun": {"unit", "entry"}}, func(l trailLine) bool { return l.What.Noun == "unit" || l.What.Noun == "entry" }},
		"entries":       {url.Values{"noun": {"entry"}}, func(l trailLine) bool { return l.EntryID != "" }},
		"kind":          {url.Values{"kind": {"water"}}, func(l trailLine) bool { return l.What.Kind == "water" }},
		"kind of a":     {url.Values{"kind": {"water", "death"}, "site_id": {p.site}}, func(l trailLine) bool { return l.What.Kind == "water" && l.SiteID == p.site }},
		"noun and kind": {url.Values{"kind": {"water"}, "noun": {"unit"}}, func(trailLine) bool { return false }},
		"from":          {url.Values{"from": {middle.Format(time.RFC3339Nano)}}, func(l trailLine) bool { return !l.At.Before(middle) }},
		"to":            {url.Values{"to": {middle.Format(time.RFC3339Nano)}}, func(l trailLine) bool { return l.At.Before(middle) }},
		"who and what":  {url.Values{"who": {secondID}, "noun": {"batch"}}, func(l trailLine) bool { return l.By.TokenID == secondID && l.What.Noun == "batch" }},
	} {
		var want []string
		for _, l := range all {
			if c.want(l) {
				want = append(want, l.What.ID+l.String())
			}
		}
		for _, limit := range []int{1, 3, 500} {
			var got []string
			for _, l := range s.trail(s.coordinator, c.query, limit) {
				got = append(got, l.What.ID+l.String())
			}
			if !slices.Equal(got, want) {
				t.Errorf("%s, %d at a time: %d lines, want %d", name, limit, len(got), len(want))
			}
		}
		if none := name == "nobody" || name == "noun and kind"; none == (len(want) > 0) {
			t.Errorf("%s finds %d lines", name, len(want))
		}
	}
	// An auditor of one site reads of that site; nobody reads of a neighbour.
	bound := s.trail(s.token(domain.Auditor, q.site), nil, 2)
	if len(bound) == 0 || slices.ContainsFunc(bound, func(l trailLine) bool { return l.SiteID != q.site }) {
		t.Errorf("the auditor of a site reads %v", bound)
	}
	other := s.neighbour()
	for _, l := range other.trail(other.coordinator, url.Values{}, 500) {
		if l.What.Noun != "coop" && l.What.Noun != "token" {
			t.Errorf("the neighbour reads %v", l)
		}
	}
	for _, query := range []url.Values{{"site_id": {p.site}}, {"who": {member}}, {"who": {firstID}}} {
		if lines := other.trail(other.coordinator, query, 500); len(lines) > 0 {
			t.Errorf("the neighbour finds %v by %v", lines, query)
		}
	}
	cursor := s.do("GET", "/v1/audit?limit=1", s.coordinator, nil).at("/next")
	s.do("GET", "/v1/audit?noun=unit&after="+cursor, s.coordinator, nil).want(http.StatusBadRequest, "invalid_cursor")
}
