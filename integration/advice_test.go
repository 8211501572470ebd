package integration_test

import (
	"net/http"
	"slices"
	"testing"

	"shoalbook/domain"
)

// school is a site with a tank of 2000 L and tilapia in it, its days counted back from
// today.
type school struct {
	*service
	site, tank, batch, feed string
	today                   domain.Date
}

func newSchool(s *service, feed string) school {
	s.t.Helper()
	y := school{service: s, site: s.create("/v1/sites", `{"name":"Mlimani","kind":"school","altitude_m":1000}`), feed: feed, today: todayAt(s.t.(*testing.T), "Africa/Lusaka")}
	y.tank = s.create("/v1/units", `{"site_id":"`+y.site+`","name":"Tank","kind":"tank","water_volume_l":2000}`)
	y.batch = newText()
	y.do("POST", "/v1/batches", y.keeper, members{"id": y.batch, "site_id": y.site, "unit_id": y.tank, "species": "TLN", "name": "Tilapia",
		"plan": members{"target_weight_g": 400, "target_on": y.ago(-200)}}).want(http.StatusCreated)
	return y
}

func (y school) ago(days int) string { return (y.today - domain.Date(days)).String() }

// wrote takes an entry of so many days ago into the journal, and returns its id.
func (y school) wrote(days int, kind string, m members) string {
	y.t.Helper()
	e := members{"id": newText(), "kind": kind, "site_id": y.site, "occurred_on": y.ago(days)}
	for name, value := range m {
		e[name] = value
	}
	y.post(y.coordinator, []members{e}, "Prefer", "handling=strict").want(http.StatusOK).became("created ")
	return e["id"].(string)
}

func (y school) stocks(days, count int, grams float64) {
	y.t.Helper()
	y.wrote(days, "stocking", members{"batch_id": y.batch, "origin": "bred", "count": count, "mean_weight_g": grams})
}

func (y school) takesBack(id string) {
	y.t.Helper()
	y.do("POST", "/v1/entries/"+id+"/reversal", y.coordinator, members{"id": newText(), "occurred_on": y.ago(0), "reason": "another tank"}).want(http.StatusCreated)
}

func (y school) revises(path, body string) {
	y.t.Helper()
	y.do("PATCH", path, y.coordinator, body, "If-Match", "*").want(http.StatusOK)
}

// advised is one line of advice as a client sees it.
type advised struct {
	Code, Why, Do, Until, SMS string
	Severity                  int
	Entries, Aspect           *string
	Site                      *string `json:"site_id"`
	Cautions                  []string
	Call                      []struct{ Name, Who string }
}

func (y school) advice(query string) []advised {
	y.t.Helper()
	var page struct{ Items []advised }
	y.do("GET", "/v1/advice"+query, y.coordinator, nil).want(http.StatusOK).into(&page)
	return page.Items
}

func withCode(list []advised, code string) (advised, bool) {
	i := slices.IndexFunc(list, func(x advised) bool { return x.Code == code })
	if i < 0 {
		return advised{}, false
	}
	return list[i], true
}

// TestAdvice: each advice is there when it should be and not a day before, and ends by
// what it says ends it.
func TestAdvice(t *testing.T) {
	t.Parallel()
	s := newService(t)
	feed := s.create("/v1/products", `{"name":"Grower","category":"feed","unit":"kg","protein_percent":32}`)
	for _, c := range []struct {
		name, code string
		severity   int
		before     func(y school) // after which it is not there yet
		now        func(y school) // after which it is
		end        func(y school) // after which it is no more
	}{
		{"nothing is written", "no_records", 2,
			func(y school) { y.stocks(4, 100, 50) },
			nil, func(y school) { y.wrote(1, "incident", members{"type": "power_cut"}) }},
		{"oxygen", "water", 1,
			func(y school) {
				y.stocks(20, 100, 50)
				y.wrote(0, "water", members{"unit_id": y.tank, "oxygen_mg_l": 6})
			},
			func(y school) {
				y.wrote(0, "water", members{"unit_id": y.tank, "oxygen_mg_l": 3, "occurred_at": "00:01"})
			},
			func(y school) {
				y.wrote(0, "water", members{"unit_id": y.tank, "oxygen_mg_l": 6.5, "occurred_at": "00:02"})
			}},
		{"many dead", "deaths", 1,
			func(y school) { y.stocks(40, 300, 50); y.wrote(2, "death", members{"batch_id": y.batch, "count": 1}) },
			func(y school) { y.wrote(0, "death", members{"batch_id": y.batch, "count": 14}) }, nil},
		{"feed", "feed_runs_out", 2,
			func(y school) {
				y.stocks(20, 100, 50)
				y.wrote(9, "receipt", members{"product_id": feed, "quantity": 8.4, "origin": "bought"})
				for d := 6; d >= 1; d-- {
					y.wrote(d, "feeding", members{"batch_id": y.batch, "product_id": feed, "weight_kg": 0.6})
				}
			}, // 4.8 kg at 0.514 a day: 9 days
			func(y school) {
				y.wrote(0, "feeding", members{"batch_id": y.batch, "product_id": feed, "weight_kg": 0.6})
			}, // 4.2 kg at 0.6 a day: 7 days
			func(y school) { y.wrote(0, "receipt", members{"product_id": feed, "quantity": 25, "origin": "bought"}) }},
		{"holiday", "holiday_feeder", 2,
			func(y school) { y.stocks(2, 100, 50) },
			func(y school) {
				y.do("POST", "/v1/sites/"+y.site+"/calendar", y.coordinator, members{"kind": "holiday", "name": "Christmas", "starts_on": y.ago(-6), "ends_on": y.ago(-20)}, "Idempotency-Key", newText()).want(http.StatusCreated)
			},
			func(y school) {
				id := y.do("GET", "/v1/sites/"+y.site+"/calendar", y.coordinator, nil).want(http.StatusOK).at("/items/0/id")
				y.revises("/v1/sites/"+y.site+"/calendar/"+id, `{"feeder":"Mr. Banda"}`)
			}},
		{"medicine", "withdrawal", 4, func(y school) { y.stocks(20, 100, 50) }, func(y school) {
			y.wrote(3, "treatment", members{"batch_id": y.batch, "what": "Oxytetracycline", "dose": "55 mg/kg", "reason": "spots", "withdrawal_days": 3})
		}, nil},
		{"too many fish", "density", 2, func(y school) { y.stocks(2, 100, 50) },
			func(y school) { y.revises("/v1/units/"+y.tank, `{"density_limit_kg_m3":2}`) },
			func(y school) { y.revises("/v1/units/"+y.tank, `{"density_limit_kg_m3":40}`) }},
		{"weak pump", "turnover", 3, func(y school) { y.stocks(2, 100, 50) },
			func(y school) {
				loop := y.create("/v1/loops", `{"site_id":"`+y.site+`","name":"Loop","pump_flow_l_h":1500}`)
				y.revises("/v1/units/"+y.tank, `{"loop_id":"`+loop+`"}`)
			},
			func(y school) {
				y.revises("/v1/loops/"+y.do("GET", "/v1/units/"+y.tank, y.coordinator, nil).at("/loop_id"), `{"pump_flow_l_h":2000}`)
			}},
		{"slow drain", "drain", 2, func(y school) { y.stocks(2, 100, 50) },
			func(y school) {
				loop := y.create("/v1/loops", `{"site_id":"`+y.site+`","name":"Loop","pump_flow_l_h":2500,"drain_flow_l_h":2500}`)
				y.revises("/v1/units/"+y.tank, `{"loop_id":"`+loop+`"}`)
				y.create("/v1/units", `{"site_id":"`+y.site+`","name":"Bed","kind":"bed","bed_area_m2":4,"loop_id":"`+loop+`"}`)
			},
			func(y school) {
				y.revises("/v1/loops/"+y.do("GET", "/v1/units/"+y.tank, y.coordinator, nil).at("/loop_id"), `{"drain_flow_l_h":2600}`)
			}},
		{"fish are gone", "unaccounted", 3, func(y school) {
			y.stocks(60, 100, 50)
			y.wrote(31, "count", members{"batch_id": y.batch, "count": 100})
		},
			func(y school) { y.wrote(2, "count", members{"batch_id": y.batch, "count": 80}) },
			func(y school) { y.wrote(1, "visit", members{"findings": "The net is torn"}) }},
		{"not weighed", "sample_due", 3, func(y school) {
			y.stocks(28, 100, 50)
			y.wrote(8, "sample", members{"batch_id": y.batch, "count": 30, "weight_kg": 2})
			y.wrote(1, "incident", members{"type": "other"})
		},
			func(y school) { y.takesBack(y.entries(y.coordinator, "&batch_id="+y.batch+"&kind=sample")[0].Entry.ID) },
			func(y school) { y.wrote(0, "sample", members{"batch_id": y.batch, "count": 30, "weight_kg": 3}) }},
		{"ready", "ready", 3, func(y school) {
			y.stocks(60, 100, 110)
			y.wrote(1, "sample", members{"batch_id": y.batch, "count": 40, "weight_kg": 8})
		},
			func(y school) {
				y.revises("/v1/batches/"+y.batch, `{"plan":{"target_weight_g":205,"target_on":"`+y.ago(-10)+`"}}`)
			},
			func(y school) { y.wrote(0, "harvest", members{"batch_id": y.batch, "weight_kg": 20, "empties": true}) }},
		{"behind", "growth_behind", 3, func(y school) {
			y.stocks(30, 100, 50)
			y.wrote(0, "sample", members{"batch_id": y.batch, "count": 40, "weight_kg": 3})
		},
			func(y school) {
				y.revises("/v1/batches/"+y.batch, `{"plan":{"target_weight_g":400,"target_on":"`+y.ago(-20)+`"}}`)
			},
			func(y school) {
				y.revises("/v1/batches/"+y.batch, `{"plan":{"target_weight_g":400,"target_on":"`+y.ago(-500)+`"}}`)
			}},
		{"too much feed", "ration_change", 3,
			func(y school) {
				y.stocks(20, 100, 100)
				y.wrote(9, "receipt", members{"product_id": feed, "quantity": 100, "origin": "bought"})
				for d := 6; d >= 1; d-- {
					y.wrote(d, "feeding", members{"batch_id": y.batch, "product_id": feed, "weight_kg": 0.3})
				}
			},
			func(y school) {
				y.wrote(1, "feeding", members{"batch_id": y.batch, "product_id": feed, "weight_kg": 3})
			}, nil},
		{"an empty tank", "empty_unit", 4, func(y school) { y.stocks(60, 100, 50) },
			func(y school) { y.wrote(30, "harvest", members{"batch_id": y.batch, "weight_kg": 6, "empties": true}) },
			func(y school) { y.revises("/v1/units/"+y.tank, `{"archived":true}`) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := newSchool(&service{t: t, server: s.server, store: s.store, url: s.url, coop: s.coop, coordinator: s.coordinator, keeper: s.keeper, funder: s.funder}, feed)
			here := "?site_id=" + y.site
			c.before(y)
			if c.now != nil {
				if x, ok := withCode(y.advice(here), c.code); ok {
					t.Errorf("too early: %s", x.Why)
				}
				c.now(y)
			}
			x, ok := withCode(y.advice(here), c.code)
			if !ok || x.Severity != c.severity {
				t.Fatalf("given is %t, the severity %d, want %d", ok, x.Severity, c.severity)
			}
			if french, _ := withCode(y.advice(here+"&lang=fr"), c.code); french.Why == x.Why || french.Severity != x.Severity {
				t.Errorf("in French it is %q", french.Why)
			}
			if x.Entries != nil && len(y.entries(y.coordinator, "&"+(*x.Entries)[len("/v1/entries?"):])) == 0 {
				t.Errorf("there are no entries behind it: %s", *x.Entries)
			}
			if c.end == nil {
				return
			}
			if c.end(y); slices.ContainsFunc(y.advice(here), func(x advised) bool { return x.Code == c.code }) {
				t.Errorf("%s has not ended it", x.Until)
			}
		})
	}
}

// TestAdviceOnDebts: what is owed for 30 days is told to those who see the accounts, and
// no more once it is paid.
func TestAdviceOnDebts(t *testing.T) {
	t.Parallel()
	s := newService(t)
	y := newSchool(s, "")
	buyer := s.create("/v1/parties", `{"name":"Hotel","roles":["buyer"],"phone":"123"}`)
	y.wrote(29, "sale", members{"disposal": "sold", "crop": "spinach", "weight_kg": 1, "amount": "5.00", "buyer_id": buyer})
	if x, ok := withCode(y.advice(""), "debt_overdue"); ok {
		t.Errorf("too early: %s", x.Why)
	}
	y.wrote(30, "sale", members{"disposal": "sold", "crop": "spinach", "weight_kg": 1, "amount": "7.00", "buyer_id": buyer})
	x, ok := withCode(y.advice(""), "debt_overdue")
	if !ok || x.Site != nil || len(x.Call) != 1 || x.Call[0].Name != "Hotel" {
		t.Fatalf("given is %t: %+v", ok, x)
	}
	if len(y.entries(y.coordinator, "&"+(*x.Entries)[len("/v1/entries?"):])) != 2 {
		t.Errorf("the entries behind it: %s", *x.Entries)
	}
	var page struct{ Items []advised }
	s.do("GET", "/v1/advice", s.keeper, nil).want(http.StatusOK).into(&page)
	if _, told := withCode(page.Items, "debt_overdue"); told {
		t.Error("keepers are told of debts")
	}
	y.wrote(0, "payment", members{"party_id": buyer, "direction": "received", "amount": "7.00"})
	if x, ok := withCode(y.advice(""), "debt_overdue"); ok {
		t.Errorf("it was paid: %s", x.Why)
	}
}

// TestAdviceList: the most urgent first, page by page, and only as urgent as asked for;
// the sites to visit in the order of what is to be done there; whom to call only for those
// who may know.
func TestAdviceList(t *testing.T) {
	t.Parallel()
	s := newService(t)
	calm, bad, worse := newSchool(s, ""), newSchool(s, ""), newSchool(s, "")
	for _, y := range []school{calm, bad, worse} {
		y.stocks(2, 100, 50)
		y.wrote(1, "visit", members{"findings": "all is well"})
	}
	bad.revises("/v1/units/"+bad.tank, `{"density_limit_kg_m3":2}`)
	worse.revises("/v1/units/"+worse.tank, `{"density_limit_kg_m3":2}`)
	worse.wrote(0, "water", members{"unit_id": worse.tank, "oxygen_mg_l": 2})
	s.create("/v1/members", members{"name": "Grace", "role": "keeper", "phone": "555", "sites": []string{worse.site}})
	list := calm.advice("")
	if len(list) != 3 || list[0].Code != "water" || list[1].Code != "density" || list[2].Code != "density" {
		t.Fatalf("%+v", list)
	}
	if len(list[0].Call) != 1 || list[0].Call[0].Name != "Grace" || len(list[1].Call)+len(list[2].Call) != 1 {
		t.Errorf("to call are %+v", list[0].Call)
	}
	if urgent := calm.advice("?severity=1"); len(urgent) != 1 || urgent[0].Code != "water" {
		t.Errorf("urgent is %+v", urgent)
	}
	var seen []string
	for path := "/v1/advice?limit=1"; path != ""; {
		var page struct {
			Items []advised
			Next  string
		}
		s.do("GET", path, s.coordinator, nil).want(http.StatusOK).into(&page)
		for _, x := range page.Items {
			seen = append(seen, x.Code+*x.Site)
		}
		if path = ""; page.Next != "" {
			path = "/v1/advice?limit=1&after=" + page.Next
		}
	}
	for i, x := range list {
		if len(seen) != len(list) || seen[i] != x.Code+*x.Site {
			t.Fatalf("page by page it is %q", seen)
		}
	}
	s.do("GET", "/v1/advice/visits", s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{
		"/items/0/site_id": worse.site, "/items/0/urgent": "1", "/items/0/soon": "1", "/items/0/visited_on": worse.ago(1), "/items/0/advice/0/code": "water",
		"/items/1/site_id": bad.site, "/items/1/soon": "1"})
	var keeper struct{ Items []advised }
	s.do("GET", "/v1/advice", s.token(domain.Keeper, worse.site), nil).want(http.StatusOK).into(&keeper)
	if len(keeper.Items) != 2 || len(keeper.Items[0].Call) != 0 {
		t.Errorf("the keeper is told %+v", keeper.Items)
	}
	s.do("GET", "/v1/advice?site_id="+newText(), s.coordinator, nil).want(http.StatusNotFound)
	s.do("GET", "/v1/advice", s.funder, nil).want(http.StatusForbidden)
}
