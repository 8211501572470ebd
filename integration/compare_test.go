package integration_test

import (
	"bytes"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"shoalbook/api/render/rendertest"
)

// grown records a whole batch of the site, from stocking to the last harvest, and what
// it cost by itself.
func (p pond) grown(name, season string, start int, m grownBatch) string {
	p.t.Helper()
	id := newText()
	p.do("POST", "/v1/batches", p.coordinator, members{"id": id, "site_id": p.site, "unit_id": p.a, "species": "CLZ", "name": name, "season": season, "tags": []string{"red"}}).want(http.StatusCreated)
	hatchery := p.create("/v1/parties", members{"name": "Hatchery of " + name, "roles": []string{"hatchery"}})
	p.recorded(
		p.entry("receipt", day(start), members{"product_id": p.feed, "quantity": m.fed, "origin": "bought", "unit_price": m.feedPrice, "paid": true}),
		p.entry("stocking", day(start), members{"batch_id": id, "origin": "bought", "count": m.in, "mean_weight_g": 10, "unit_price": m.price, "supplier_id": hatchery, "paid": true}),
		p.entry("feeding", day(start+60), members{"batch_id": id, "product_id": p.feed, "weight_kg": m.fed}),
		p.entry("harvest", day(start+180), members{"batch_id": id, "count": m.out, "weight_kg": m.kg, "empties": true}),
		p.entry("expense", day(start+181), members{"batch_id": id, "category": "transport", "amount": m.transport, "paid": true}))
	return id
}

type grownBatch struct {
	in, out          int
	kg, fed          float64
	price, feedPrice string // of a fish and of a kilogram of feed
	transport        string
}

// Two sites, whose figures are worked out by hand.
func TestComparisonOfTwoSites(t *testing.T) {
	t.Parallel()
	s := newService(t)
	a := newPond(s)
	b := newPond(s)
	b.feed = a.feed
	keeper := s.token("keeper", b.site)
	a.grown("one", "first", 0, grownBatch{1000, 900, 360, 525, "0.10", "1.00", "20.00"})
	a.grown("two", "second", 200, grownBatch{1000, 800, 320, 450, "0.10", "1.20", "20.00"})
	b.grown("three", "second", 200, grownBatch{500, 400, 160, 240, "0.20", "1.20", "10.00"})

	// 1700 of 2000 fish; 975 kg of feed for 680 − 20 kg.
	got := s.do("GET", "/v1/comparison?measure=survival", s.coordinator, nil).want(http.StatusOK)
	i, j := "0", "1"
	if got.at("/groups/0/key") != a.site {
		i, j = j, i
	}
	got.wantAt(map[string]string{"/batches": "3", "/all/numerator": "2100", "/all/denominator": "2500", "/all/value": "0.84", "/groups/" + i + "/sum/value": "0.85", "/groups/" + i + "/sum/batches": "2",
		"/groups/" + j + "/sum/value": "0.8", "/groups/" + j + "/sum/interval": "null", "/groups/" + i + "/verdict": "none", "/group": "site", "/state": "closed", "/better": "higher",
		"/groups/" + i + "/sum/records/counted": "2", "/groups/" + i + "/sum/records/start_weighed": "2"})
	if !strings.Contains(got.at("/no_verdicts"), "fewer than 10 groups") || got.at("/groups/"+i+"/sum/interval") == "null" {
		t.Errorf("%s", got.body)
	}
	s.do("GET", "/v1/comparison?measure=fcr_economic&group=site", s.coordinator, nil).want(http.StatusOK).near(1e-6, map[string]float64{"/groups/" + i + "/sum/value": 975.0 / 660, "/groups/" + j + "/sum/value": 240.0 / 155})
	// 100 + 525 + 20 and 100 + 540 + 20 for 680 kg; 100 + 288 + 10 for 160 kg.
	s.do("GET", "/v1/comparison?measure=cost_per_kg", s.coordinator, nil).want(http.StatusOK).near(1e-6, map[string]float64{"/groups/" + i + "/sum/value": 1305.0 / 680, "/groups/" + j + "/sum/value": 398.0 / 160})

	for query, want := range map[string]map[string]string{
		"measure=survival&group=season":                         {"/groups/0/key": "first", "/groups/0/sum/value": "0.9", "/groups/1/sum/value": "0.8", "/groups/2": ""},
		"measure=survival&group=tag":                            {"/groups/0/key": "red", "/groups/0/sum/batches": "3", "/groups/1": ""},
		"measure=survival&group=species&species=CLZ":            {"/batches": "3", "/groups/0/key": "CLZ", "/groups/0/name": "North African catfish"},
		"measure=survival&group=unit_kind&species=TLN":          {"/batches": "0", "/groups": "[]", "/no_verdicts": "no batch is as asked for", "/all/value": "null"},
		"measure=survival&group=supplier":                       {"/all/batches": "3", "/groups/2/sum/batches": "1", "/groups/0/name": "Hatchery of one"},
		"measure=survival&group=feed":                           {"/groups/0/key": a.feed, "/groups/0/sum/batches": "3", "/groups/1": ""},
		"measure=survival&to=" + day(190):                       {"/batches": "1", "/groups/1": ""},
		"measure=survival&as_of=" + day(100):                    {"/batches": "0"},
		"measure=survival&as_of=" + day(100) + "&state=all":     {"/batches": "1", "/all/value": "null", "/all/left_out/0/batches": "1"},
		"measure=energy_per_kg":                                 {"/all/value": "null", "/all/left_out/0/reason": "no electricity was recorded for it by itself", "/all/left_out/0/batches": "3"},
		"measure=survival&standardise=species&standardise=size": {"/all/value": "0.84", "/groups/" + i + "/sum/batches": "2"},
		"measure=survival&group=season&standardise=temperature": {"/all/batches": "3"},
	} {
		s.do("GET", "/v1/comparison?"+query, s.coordinator, nil).want(http.StatusOK).wantAt(want)
	}
	s.do("GET", "/v1/comparison?measure=beauty", s.coordinator, nil).want(http.StatusBadRequest)
	s.do("GET", "/v1/comparison?measure=survival&as_of=2999-01-01", s.coordinator, nil).want(http.StatusBadRequest, "in_future")

	// Asked again, and of another day in between, it is the same.
	again := s.do("GET", "/v1/comparison?measure=survival", s.coordinator, nil).want(http.StatusOK)
	for _, at := range []string{"/groups", "/all", "/funnel"} {
		if again.at(at) != got.at(at) {
			t.Errorf("at %s it was %s and is %s", at, got.at(at), again.at(at))
		}
	}
	// A keeper compares what is theirs, and is told that it is little.
	s.do("GET", "/v1/comparison?measure=survival", keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/batches": "1", "/groups/0/key": b.site, "/groups/1": ""})
}

func TestWhyCostDiffers(t *testing.T) {
	t.Parallel()
	s := newService(t)
	a := newPond(s)
	b := newPond(s)
	keeper := s.token("keeper", b.site)
	cost := "/v1/comparison/cost?site_id=" + a.site
	s.do("GET", cost, s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/difference": "null", "/reason": "it has no closed batch in this time", "/parts": "[]"})
	a.grown("one", "first", 0, grownBatch{1000, 900, 360, 525, "0.10", "1.00", "20.00"})
	s.do("GET", cost+"&against=season", s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/reason": "the site has no two seasons with a closed batch", "/other": "another season"})
	s.do("GET", cost+"&against=site&other_site_id="+b.site, s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/reason": "what it is compared with has no closed batch in this time"})
	// The same but for the price of feed: 0.20 for 525 of 360 kg is 105 ÷ 360.
	a.grown("two", "second", 200, grownBatch{1000, 900, 360, 525, "0.10", "1.20", "20.00"})
	s.do("GET", cost+"&against=season", s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/season": "second", "/other": "season first", "/cost_per_kg": "2.0833", "/other_cost_per_kg": "1.7917",
		"/difference": "0.2916", "/parts/3/driver": "feed_price", "/parts/3/amount": "0.2916", "/parts/0/amount": "0.0000", "/parts/4/amount": "0.0000", "/parts/8/amount": "0.0000", "/sums/cost": "750.00"})
	b.grown("three", "second", 200, grownBatch{500, 380, 160, 260, "0.20", "1.30", "10.00"})
	for _, query := range []string{"", "&against=site&other_site_id=" + b.site, "&season=second", "&from=" + day(300)} {
		got := s.do("GET", cost+query, s.coordinator, nil).want(http.StatusOK)
		var body struct {
			Difference string
			Parts      []struct{ Amount string }
		}
		got.into(&body)
		var sum float64
		for _, p := range body.Parts {
			sum += number(t, p.Amount)
		}
		if d := sum - number(t, body.Difference); len(body.Parts) != 9 || d > 1e-9 || d < -1e-9 {
			t.Errorf("%s: the parts sum to %v, want %s", query, sum, body.Difference)
		}
	}
	s.do("GET", cost+"&against=site", s.coordinator, nil).want(http.StatusBadRequest, "invalid_request").wantAt(map[string]string{"/errors/0/pointer": "/query/other_site_id"})
	s.do("GET", cost, keeper, nil).want(http.StatusNotFound)
	s.do("GET", "/v1/comparison/cost?site_id="+b.site+"&against=site&other_site_id="+a.site, keeper, nil).want(http.StatusNotFound)
	// What a keeper sees of all sites is the own one.
	s.do("GET", "/v1/comparison/cost?site_id="+b.site, keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/difference": "0.0000", "/other": "all sites together"})
}

// As it was known before a batch was corrected.
func TestComparisonAsItWasKnown(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p := newPond(s)
	id := p.stocked(day(0), members{"count": 100, "mean_weight_g": 5})
	death := p.entry("death", day(10), members{"batch_id": id, "count": 40})
	p.recorded(death, p.entry("count", day(20), members{"batch_id": id, "count": 60}))
	ask := "/v1/comparison?measure=survival&state=all"
	s.do("GET", ask, s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/all/value": "0.6"})
	s.do("GET", ask+"&known_at=2020-01-01T00:00:00Z", s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/batches": "0"})
	s.do("GET", ask+"&known_at=2999-01-01T00:00:00Z", s.coordinator, nil).want(http.StatusUnprocessableEntity, "not_settled")
	p.recorded(p.entry("count", day(30), members{"batch_id": id, "count": 50}))
	s.do("GET", ask, s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/all/value": "0.5"}) // what is remembered is not older than the journal
	s.do("GET", ask+"&as_of="+day(25), s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/all/value": "0.6"})
}

// Twelve sites, of which one loses most of its fish: the same numbers as a page, a
// print, a workbook, CSV and pictures.
func TestComparisonInEveryRepresentation(t *testing.T) {
	t.Parallel()
	s := newService(t)
	var first, last pond
	for i := range 12 {
		p := newPond(s)
		s.do("PATCH", "/v1/sites/"+p.site, s.coordinator, members{"name": "School " + string(rune('A'+i))}, "If-Match", "*").want(http.StatusOK)
		if i == 0 {
			first = p
		}
		p.feed = first.feed
		for k := range 3 + i%3 {
			alive := 850 + (i*37+k*61)%97
			if i == 11 {
				alive = 420 + 20*k
			}
			p.grown("batch", "first", 10*k, grownBatch{1000, alive, float64(4*alive) / 10, float64(6*alive/10 + 5*k + i), "0.10", "1.00", "20.00"})
		}
		last = p
	}
	comparison, cost := "/v1/comparison", "/v1/comparison/cost"
	query := map[string]string{comparison: "?measure=survival", cost: "?site_id=" + last.site}
	said := s.do("GET", comparison+query[comparison], s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/groups/11/name": "School L", "/groups/11/verdict": "different", "/groups/11/better": "false", "/groups/0/verdict": "no_difference_shown", "/no_verdicts": "null"})
	for path, q := range query {
		for suffix, media := range map[string]string{".html": "text/html", ".pdf": "application/pdf", ".csv": "text/csv", ".svg": "image/svg+xml", ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"} {
			r := s.do("GET", path+suffix+q, s.coordinator, nil).want(http.StatusOK)
			if got := r.header.Get("Content-Type"); got != media {
				t.Errorf("%s%s is %s", path, suffix, got)
			}
			if dir := os.Getenv("SCREENSHOTS"); dir != "" {
				if err := os.WriteFile(filepath.Join(dir, strings.ReplaceAll(path[4:], "/", "_")+suffix), r.body, 0o600); err != nil {
					t.Error(err)
				}
			}
		}
		page := s.do("GET", path+q, s.coordinator, nil, "Accept", "text/html").want(http.StatusOK)
		rendertest.Page(t, strings.ReplaceAll(path[4:], "/", "_"), page.body, page.header.Get("Content-Security-Policy"), map[string]int{comparison: 2, cost: 1}[path])
		// Where there is nothing to compare it is said in every one.
		for _, suffix := range []string{".html", ".pdf", ".csv", ".svg", ".xlsx"} {
			s.do("GET", path+suffix+q+"&to=2000-01-01", s.coordinator, nil).want(http.StatusOK)
		}
	}
	lines := sheet(t, s.do("GET", comparison+".csv"+query[comparison], s.coordinator, nil))
	if len(lines) != 13 || lines[12][1] != "School L" || lines[12][2] != "different" || lines[0][6] != "value" || lines[12][6] != said.at("/groups/11/sum/value") || lines[12][8] != said.at("/groups/11/sum/interval/1") {
		t.Errorf("%v", lines)
	}
	for address, want := range map[string]string{comparison + ".csv?measure=survival": "", comparison + ".csv?measure=cost_per_kg": "ZMW", cost + ".csv" + query[cost]: "ZMW"} {
		for i, line := range sheet(t, s.do("GET", address, s.coordinator, nil)) {
			if last := line[len(line)-1]; i == 0 && last != "currency" || i > 0 && last != want {
				t.Errorf("line %d of %s ends with %q", i, address, last)
			}
		}
	}
	for query, words := range map[string]string{"": "different", "&chart=caterpillar": "School L"} {
		if svg := s.do("GET", comparison+".svg?measure=survival"+query, s.coordinator, nil).body; !bytes.Contains(svg, []byte(words)) || !bytes.Contains(svg, []byte("<desc")) {
			t.Errorf("the picture %q does not say %s: %.300s", query, words, svg)
		}
	}
}

// workbook returns the text of all cells of a workbook.
func workbook(t *testing.T, body []byte) string {
	t.Helper()
	book, err := excelize.OpenReader(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for _, sheet := range book.GetSheetList() {
		rows, err := book.GetRows(sheet)
		if err != nil {
			t.Fatal(err)
		}
		for _, cells := range rows {
			text.WriteString(strings.Join(cells, "\t") + "\n")
		}
	}
	return text.String()
}

// The funnel is widened by what groups differ by, or by how many times as much they vary;
// every representation says which, and verdicts go by it.
func TestComparisonByEitherDispersion(t *testing.T) {
	t.Parallel()
	s := newService(t)
	var feed string
	for i := range 12 {
		p := newPond(s)
		if i == 0 {
			feed = p.feed
		}
		p.feed = feed
		for k := range 2 + i/2 {
			alive := 840 + 25*(i*5%12-6) + 30*(k%3-1)
			p.grown("batch", "first", 10*k, grownBatch{1000, alive, float64(4*alive) / 10, float64(6 * alive / 10), "0.10", "1.00", "20.00"})
		}
	}
	type funnel struct {
		Funnel struct {
			Dispersion string
			Phi        float64
		}
		All    struct{ Value float64 }
		Groups []struct {
			Worth   float64    `json:"worth_batches"`
			In95    [2]float64 `json:"limits_95"`
			In998   [2]float64 `json:"limits_998"`
			Verdict string
			Sum     struct{ Value float64 }
		}
	}
	read := map[string]funnel{}
	for query, dispersion := range map[string]string{"": "additive", "&dispersion=additive": "additive", "&dispersion=multiplicative": "multiplicative"} {
		ask := "?measure=survival" + query
		var c funnel
		s.do("GET", "/v1/comparison"+ask, s.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/funnel/dispersion": dispersion}).into(&c)
		if known, ok := read[dispersion]; ok && !reflect.DeepEqual(known, c) {
			t.Errorf("%q is not %s: %+v", query, dispersion, c)
		}
		read[dispersion] = c
		for _, g := range c.Groups {
			want := "no_difference_shown"
			switch v := g.Sum.Value; {
			case v < g.In998[0] || v > g.In998[1]:
				want = "different"
			case v < g.In95[0] || v > g.In95[1]:
				want = "worth_a_look"
			}
			if g.Verdict != want {
				t.Errorf("%s: %+v should be %s", dispersion, g, want)
			}
		}
		lines := sheet(t, s.do("GET", "/v1/comparison.csv"+ask, s.coordinator, nil))
		if len(lines) != 13 || lines[0][17] != "dispersion" || lines[12][17] != dispersion {
			t.Errorf("%v", lines)
		}
		pages := map[string]string{".html": string(s.do("GET", "/v1/comparison.html"+ask, s.coordinator, nil).want(http.StatusOK).body),
			".svg":  string(s.do("GET", "/v1/comparison.svg"+ask, s.coordinator, nil).want(http.StatusOK).body),
			".xlsx": workbook(t, s.do("GET", "/v1/comparison.xlsx"+ask, s.coordinator, nil).want(http.StatusOK).body)}
		for suffix, body := range pages {
			other := map[string]string{"additive": "multiplicative", "multiplicative": "additive"}[dispersion]
			if !strings.Contains(body, dispersion+" overdispersion") || strings.Contains(body, other+" overdispersion") {
				t.Errorf("%s%s does not say that it is %s", suffix, query, dispersion)
			}
		}
	}
	// By the factor every group has, on the scale of angles, room as one by the root of what
	// it is worth; the largest has more room by the term, the smallest less.
	room := func(c funnel, i int) float64 {
		angle := func(p float64) float64 { return math.Asin(math.Sqrt(p)) }
		return (angle(c.All.Value) - angle(c.Groups[i].In95[0])) * math.Sqrt(c.Groups[i].Worth)
	}
	a, m := read["additive"], read["multiplicative"]
	small, large := 0, 0
	for i, g := range m.Groups {
		if d := room(m, i) - room(m, 0); math.Abs(d) > 1e-4 || m.Funnel.Phi < 1.5 {
			t.Errorf("φ is %g; the room of group %d is off by %g", m.Funnel.Phi, i, d)
		}
		if g.Worth < m.Groups[small].Worth {
			small = i
		}
		if g.Worth > m.Groups[large].Worth {
			large = i
		}
	}
	if room(a, large) <= room(m, large) || room(a, small) >= room(m, small) {
		t.Errorf("the largest has %g and %g, the smallest %g and %g", room(a, large), room(m, large), room(a, small), room(m, small))
	}
	s.do("GET", "/v1/comparison?measure=survival&dispersion=none", s.coordinator, nil).want(http.StatusBadRequest, "invalid_request").wantAt(map[string]string{"/errors/0/pointer": "/query/dispersion"})
}

// What is remembered of a site is not used once its journal or the registry has changed,
// by whichever instance of the service.
func TestComparisonIsNeverStale(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p := newPond(s)
	id := p.grown("one", "first", 0, grownBatch{1000, 900, 360, 525, "0.10", "1.00", "20.00"})
	twin := s.twin()
	ask := func(query string, want map[string]string) {
		t.Helper()
		for _, instance := range []*service{s, twin} {
			instance.do("GET", "/v1/comparison?"+query, s.coordinator, nil).want(http.StatusOK).wantAt(want)
		}
	}
	ask("measure=cost_per_kg&group=tag", map[string]string{"/groups/0/key": "red", "/all/numerator": "645"})
	ask("measure=net_yield&group=season", map[string]string{"/groups/0/key": "first", "/all/denominator": "5"})

	s.do("PATCH", "/v1/batches/"+id, s.coordinator, members{"season": "second"}, "If-Match", "*").want(http.StatusOK)
	ask("measure=survival&group=season", map[string]string{"/groups/0/key": "second", "/groups/1": ""})
	twin.do("PATCH", "/v1/sites/"+p.site, s.coordinator, members{"tags": []string{"blue"}}, "If-Match", "*").want(http.StatusOK)
	ask("measure=survival&group=tag", map[string]string{"/groups/0/key": "blue", "/groups/1/key": "red"})
	s.do("PATCH", "/v1/units/"+p.a, s.coordinator, members{"water_volume_l": 8000}, "If-Match", "*").want(http.StatusOK)
	ask("measure=net_yield", map[string]string{"/all/denominator": "8"})
	twin.post(s.keeper, []members{p.entry("expense", day(100), members{"category": "energy", "amount": "30.00", "paid": true})}).want(http.StatusOK).became("created")
	ask("measure=cost_per_kg", map[string]string{"/all/numerator": "675"})
	ask("measure=energy_cost_per_kg", map[string]string{"/all/numerator": "30"})
}
