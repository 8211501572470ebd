package integration_test

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
)

// An entry that comes late counts from its own day on, and the book holds on every
// later one.
func TestLateEntries(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.newBatch()
	p.recorded(
		p.entry("receipt", day(0), members{"product_id": p.feed, "quantity": 100, "origin": "bought", "amount": "1000"}),
		p.entry("stocking", day(0), members{"batch_id": batch, "origin": "bred", "count": 100, "weight_kg": 1}),
		p.entry("sample", day(30), members{"batch_id": batch, "count": 10, "weight_g": 300}),
		p.entry("harvest", day(60), members{"batch_id": batch, "count": 60, "weight_kg": 6}),
		p.entry("count", day(70), members{"batch_id": batch, "count": 35}),
	)
	look := func(asOf int, want map[string]string) {
		t.Helper()
		p.performance(batch, "?as_of="+day(asOf)).wantAt(want)
	}
	look(75, map[string]string{"/fish/on_hand": "35", "/fish/unaccounted": "5", "/fish/dead": "0", "/survival/by_account": "0.95"})
	// Late deaths explain some of what was unaccounted; they change nothing of what is there.
	p.recorded(p.entry("death", day(20), members{"batch_id": batch, "count": 3}))
	look(75, map[string]string{"/fish/on_hand": "35", "/fish/unaccounted": "2", "/fish/dead": "3", "/survival/by_account": "0.95", "/survival/by_recorded_deaths": "0.97",
		"/biomass/dead_kg": "0.03"}) // 10 g each: the mean of that day, not of a later one
	look(19, map[string]string{"/fish/on_hand": "100", "/fish/dead": "0"})
	look(20, map[string]string{"/fish/on_hand": "97", "/fish/dead": "3"})
	// On no day are there fewer than none: 97 on day 20, 37 after the harvest of day 60.
	r := p.refused(p.keeper, p.entry("harvest", day(40), members{"batch_id": batch, "count": 38, "weight_kg": 3}), "not_enough_fish")
	if detail := r.at("/results/0/problem/detail"); !strings.Contains(detail, "on "+day(60)+" the batch would have 1 fish fewer than none") {
		t.Errorf("the first day with too few fish is not named: %s", detail)
	}
	// Fed between two receipts, at the price of that day.
	p.recorded(
		p.entry("receipt", day(50), members{"product_id": p.feed, "quantity": 100, "origin": "bought", "amount": "2000"}),
		p.entry("feeding", day(51), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 10}), // 150.00
	)
	look(75, map[string]string{"/cost/total": "150.00"})
	p.recorded(p.entry("feeding", day(40), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 50})) // 500.00; then 2500 ÷ 150 × 10
	look(75, map[string]string{"/cost/total": "666.67", "/feed/fed_kg": "60"})
	look(50, map[string]string{"/cost/total": "500.00", "/feed/fed_kg": "50"})
	// A late count: 5 more were lost before it, so the later count finds 3 too many.
	p.recorded(p.entry("count", day(50), members{"batch_id": batch, "count": 92}))
	look(75, map[string]string{"/fish/on_hand": "35", "/fish/unaccounted": "2"})
	look(65, map[string]string{"/fish/on_hand": "32", "/fish/unaccounted": "5"})
	look(49, map[string]string{"/fish/on_hand": "97", "/fish/unaccounted": "null"})
	// The stocking itself, late: the batch began earlier.
	p.recorded(p.entry("stocking", "2024-12-25", members{"batch_id": batch, "origin": "bred", "count": 10, "weight_kg": 0.1}))
	look(75, map[string]string{"/fish/stocked": "110", "/fish/unaccounted": "12", "/completeness/days": "82"})
}

// Fish may be harvested by weight alone: their number is then worked out from the last
// weighing, and said to be estimated.
func TestHarvestByWeight(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.newBatch()
	blind := p.entry("harvest", day(50), members{"batch_id": batch, "weight_kg": 9})
	p.recorded(p.entry("stocking", day(0), members{"batch_id": batch, "origin": "bought", "count": 100, "amount": "50"}))
	p.refused(p.keeper, blind, "count_needed").wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/count"})
	p.recorded(
		p.entry("sample", day(40), members{"batch_id": batch, "count": 20, "weight_kg": 6}), // 300 g
		blind, // 30 fish
	)
	p.performance(batch, "?as_of="+day(40)).wantAt(map[string]string{"/fish/on_hand": "100", "/biomass/on_hand_kg": "30"})
	// Those that stay have grown since: 300 g are 344.5 g after 15 days at 27 °C with the
	// published TGC of 0.78 (computed).
	p.performance(batch, "?as_of="+day(55)).wantAt(map[string]string{"/fish/harvested": "30", "/fish/estimated": "true", "/fish/on_hand": "70", "/biomass/harvested_kg": "9", "/biomass/on_hand_kg": "24.117"})
	// The rest, weighed and not counted.
	p.recorded(p.entry("harvest", day(60), members{"batch_id": batch, "weight_kg": 20, "empties": true}))
	r := p.performance(batch, "?explain=true&as_of="+day(90)).wantAt(map[string]string{"/state": "closed", "/fish/harvested": "100", "/fish/estimated": "true", "/fish/on_hand": "0",
		"/biomass/harvested_kg": "29", "/growth/mean_weight_g": "290", "/cost/per_kg": "1.7241", "/fish/unaccounted": "0"})
	if e := r.explained("growth.mean_weight_g"); e.Basis != "estimated" {
		t.Errorf("the mean weight is explained as %+v", e)
	}
	// Heavier than all of them were thought to be: not more fish than there are.
	heavy := p.stocked(day(0), members{"count": 10, "weight_kg": 1})
	p.recorded(p.entry("harvest", day(30), members{"batch_id": heavy, "weight_kg": 5}))
	p.performance(heavy, "?as_of="+day(30)).wantAt(map[string]string{"/state": "closed", "/fish/harvested": "10", "/biomass/harvested_kg": "5"})
}

// The journal is listed by day and then by id, in pages, by any of its filters.
func TestListOfEntries(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p, q := newPond(s), newPond(s)
	buyer := s.create("/v1/parties", `{"name":"Buyer","roles":["buyer"]}`)
	a, b := p.newBatch(), p.newBatch()
	all := []members{
		p.entry("stocking", day(0), members{"batch_id": a, "origin": "bred", "count": 100, "occurred_at": "23:59"}),
		p.entry("water", day(0), members{"unit_id": p.a, "ph": 7.25}),
		p.entry("receipt", day(0), members{"product_id": p.feed, "quantity": 10, "origin": "opening"}),
		p.entry("feeding", day(1), members{"batch_id": a, "product_id": p.feed, "weight_kg": 1.5, "response": "good"}),
		p.entry("move", day(2), members{"batch_id": a, "to_batch_id": b, "count": 40, "occurred_at": "07:00"}),
		p.entry("move", day(2), members{"batch_id": b, "to_unit_id": p.b, "occurred_at": "07:30"}),
		p.entry("harvest", day(3), members{"batch_id": b, "count": 40, "weight_kg": 10, "size_class": "large"}),
		p.entry("sale", day(4), members{"batch_id": b, "disposal": "sold", "weight_kg": 8.5, "live_weight_kg": 10, "form": "gutted", "amount": "300", "buyer_id": buyer, "note": "“Fresh” <ice> & salt"}),
		p.entry("tally", day(4), members{"measure": "learners", "count": 31, "female": 16, "male": 15}),
		p.entry("crop", day(5), members{"unit_id": p.b, "crop": "Kale", "weight_kg": 2}),
		q.entry("incident", day(5), members{"type": "power_cut", "hours": 3.25}),
	}
	s.recorded(all...)
	ids := func(query string) []string {
		t.Helper()
		got := []string{}
		for _, l := range s.entries(s.keeper, query) {
			got = append(got, l.Entry.ID)
		}
		return got
	}
	for query, want := range map[string][]int{
		"":                                       {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10},
		"&site_id=" + q.site:                     {10},
		"&batch_id=" + a:                         {0, 3, 4},
		"&batch_id=" + b:                         {4, 5, 6, 7},
		"&batch_id=" + a + "&include_site=true":  {0, 1, 2, 3, 4, 8, 9},
		"&batch_id=" + a + "&include_site=false": {0, 3, 4},
		"&product_id=" + p.feed:                  {2, 3},
		"&unit_id=" + p.a:                        {1},
		"&unit_id=" + p.b:                        {5, 9},
		"&party_id=" + buyer:                     {7},
		"&kind=move":                             {4, 5},
		"&kind=move&kind=tally":                  {4, 5, 8},
		"&from=" + day(3) + "&to=" + day(4):      {6, 7, 8},
		"&to=" + day(0):                          {0, 1, 2},
		"&from=" + day(6):                        {},
		"&batch_id=" + b + "&kind=harvest&site_id=" + p.site + "&from=" + day(3): {6},
		"&batch_id=" + newText():                        {},
		"&batch_id=" + newText() + "&include_site=true": {},
		"&batch_id=" + a + "&site_id=" + q.site:         {},
	} {
		chosen := []members{}
		for _, i := range want {
			chosen = append(chosen, all[i])
		}
		slices.SortFunc(chosen, func(x, y members) int {
			return strings.Compare(x["occurred_on"].(string)+x["id"].(string), y["occurred_on"].(string)+y["id"].(string))
		})
		wanted := []string{}
		for _, e := range chosen {
			wanted = append(wanted, e["id"].(string))
		}
		if got := ids(query); !slices.Equal(got, wanted) {
			t.Errorf("with %q there are %d entries %v, want %v", query, len(got), got, wanted)
		}
	}
	// Each is as it was sent, by itself and in the list.
	list := s.do("GET", "/v1/entries", s.keeper, nil).want(http.StatusOK)
	for i := range all {
		item := fmt.Sprintf("/items/%d", i)
		id := list.at(item + "/entry/id")
		if one := s.do("GET", "/v1/entries/"+id, s.keeper, nil).want(http.StatusOK); one.at("") != list.at(item) {
			t.Errorf("it is %s, but listed as %s", one.body, list.at(item))
		}
		k := slices.IndexFunc(all, func(e members) bool { return e["id"] == id })
		if k < 0 {
			t.Fatalf("nobody sent %s", list.at(item))
		}
		for name, value := range all[k] {
			if got := list.at(item + "/entry/" + name); got != fmt.Sprint(value) && !(name == "amount" && got == "300.00") {
				t.Errorf("%s was sent as %v and is %s", name, value, got)
			}
		}
		if list.at(item+"/recorded_by") != "test keeper" || list.at(item+"/recorded_at") == "" {
			t.Errorf("it is %s", list.at(item))
		}
	}
	// Pages of four: the same, and the link leads to the next.
	path, pages, got := "/v1/entries?limit=4&from="+day(0), 0, []string{}
	for ; path != ""; pages++ {
		page := s.do("GET", path, s.keeper, nil).want(http.StatusOK)
		for i := 0; page.at(fmt.Sprintf("/items/%d", i)) != ""; i++ {
			got = append(got, page.at(fmt.Sprintf("/items/%d/entry/id", i)))
		}
		link, _, _ := strings.Cut(strings.TrimPrefix(page.header.Get("Link"), "<"), ">")
		if (link == "") != (page.at("/next") == "") {
			t.Errorf("next is %q, the link %q", page.at("/next"), link)
		}
		path = link
		if path != "" {
			s.recorded(p.entry("tally", day(0), members{"measure": "meals", "count": 1})) // what comes before the page moves nothing
		}
	}
	want := []string{}
	for i := range all {
		want = append(want, list.at(fmt.Sprintf("/items/%d/entry/id", i)))
	}
	if pages != 3 || !slices.Equal(got, want) {
		t.Errorf("%d pages with %v, want 3 with %v", pages, got, want)
	}
	if empty := s.do("GET", "/v1/entries?from=2031-01-01", s.keeper, nil).want(http.StatusOK); !bytes.Equal(empty.body, []byte(`{"items":[]}`)) {
		t.Errorf("a list of nothing is %s", empty.body)
	}
}
