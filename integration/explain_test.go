package integration_test

import (
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// explanation is how a figure was worked out.
type explanation struct {
	Figure, Value, Formula, Numerator, Denominator, Unit, Rounding, Basis, Source, Entries string
}

// explained returns how one figure was worked out.
func (r response) explained(figure string) explanation {
	r.t.Helper()
	for _, e := range r.explanations() {
		if e.Figure == figure {
			return e
		}
	}
	r.t.Errorf("%s: %s is not explained", r.what, figure)
	return explanation{}
}

func (r response) explanations() []explanation {
	r.t.Helper()
	var body struct{ Explain []explanation }
	r.into(&body)
	return body.Explain
}

// behind lists the entries behind a figure, by the link in its explanation.
func (s *service) behind(e explanation) []listed {
	s.t.Helper()
	query, ok := strings.CutPrefix(e.Entries, "/v1/entries?")
	if !ok {
		s.t.Errorf("the entries behind %s are said to be at %q", e.Figure, e.Entries)
		return nil
	}
	return s.entries(s.keeper, "&"+query)
}

// kinds counts the entries behind a figure by their kind.
func (s *service) kinds(e explanation) map[string]int {
	s.t.Helper()
	kinds := map[string]int{}
	for _, l := range s.behind(e) {
		kinds[l.Entry.Kind]++
	}
	return kinds
}

// Every figure of K-14b (computed; see [pond.budget]) says where it comes from, and
// what it is worked out from can be added up again from the entries it names.
func TestEveryFigureExplainsItself(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.budget()
	// Another batch of the site is behind none of its figures. It comes after all that
	// is shared.
	p.stocked(day(185), members{"count": 7, "weight_kg": 0.7})
	query := "?as_of=" + day(240)
	r := p.performance(batch, query+"&explain=true")
	if plain := p.performance(batch, query); plain.at("/explain") != "" || plain.at("/feed") != r.at("/feed") || plain.at("/cost") != r.at("/cost") {
		t.Errorf("without explanations it is %s", plain.body)
	}
	for figure, want := range map[string]explanation{
		"feed.fcr_economic":   {Value: "1.590698", Numerator: "1368 kg", Denominator: "860 kg", Unit: "kg/kg", Rounding: "6 decimals, half to even", Basis: "measured"},
		"feed.fcr_biological": {Value: "1.547511", Numerator: "1368 kg", Denominator: "884 kg", Unit: "kg/kg", Rounding: "6 decimals, half to even", Basis: "measured"},
		"feed.fcr_on_harvest": {Value: "1.554545", Numerator: "1368 kg", Denominator: "880 kg", Unit: "kg/kg", Rounding: "6 decimals, half to even", Basis: "measured"},
		"survival.by_account": {Value: "0.89", Numerator: "1780 fish", Denominator: "2000 fish", Unit: "of 1", Rounding: "6 decimals, half to even", Basis: "measured"},
		"cost.per_kg":         {Value: "2.0677", Numerator: "1819.60 ZMW", Denominator: "880 kg", Unit: "ZMW/kg", Rounding: "two decimals more than the currency has, half to even", Basis: "measured"},
		"feed.fed_kg":         {Value: "1368", Unit: "kg", Rounding: "3 decimals, half to even", Basis: "measured"},
		"cost.total":          {Value: "1819.60", Unit: "ZMW", Rounding: "to the minor unit, half to even", Basis: "measured"},
		"margin_per_m3":       {Value: "76.0800", Numerator: "380.40 ZMW", Denominator: "5000 L", Unit: "ZMW/m³", Rounding: "two decimals more than the currency has, half to even", Basis: "measured"},
	} {
		got := r.explained(figure)
		want.Figure, want.Formula, want.Source, want.Entries = figure, got.Formula, got.Source, got.Entries
		if got != want {
			t.Errorf("%s is explained as %+v, want %+v", figure, got, want)
		}
	}
	for _, e := range r.explanations() {
		at := "/" + strings.ReplaceAll(e.Figure, ".", "/")
		if e.Value != "" && e.Value != r.at(at) {
			t.Errorf("%s is %s, but explained as %s", e.Figure, r.at(at), e.Value)
		}
		if e.Formula == "" || e.Rounding == "" {
			t.Errorf("%s is explained as %+v", e.Figure, e)
		}
		if n, d := leading(e.Numerator), leading(e.Denominator); !math.IsNaN(n) && d > 0 && e.Value != "" && !strings.Contains(e.Numerator, "→") {
			if e.Unit == "g" || strings.Contains(e.Unit, "/m³") { // of kg, and of litres
				n *= 1000
			}
			if math.Abs(n/d-leading(e.Value)) > 1e-4 {
				t.Errorf("%s is %s, but %s ÷ %s", e.Figure, e.Value, e.Numerator, e.Denominator)
			}
		}
		p.wantBehind(batch, e)
	}
}

// wantBehind complains unless the entries behind a figure of the budget are there, and
// are what it is worked out from.
func (p pond) wantBehind(batch string, e explanation) {
	p.t.Helper()
	link, err := url.Parse(e.Entries)
	if err != nil {
		p.t.Error(err)
		return
	}
	asked := link.Query()["kind"]
	var stocked, dead, harvested int64
	var harvestedKg, fedKg, paid, worth, spent float64
	found := p.behind(e)
	for _, l := range found {
		kg, _ := l.Entry.WeightKg.Float64()
		amount := leading(l.Entry.Amount)
		if len(asked) > 0 && !slices.Contains(asked, l.Entry.Kind) {
			p.t.Errorf("behind %s is listed a %s", e.Figure, l.Entry.Kind)
		}
		if l.Entry.BatchID != batch && l.Entry.BatchID != "" {
			p.t.Errorf("behind %s is listed a %s of another batch", e.Figure, l.Entry.Kind)
		}
		switch l.Entry.Kind {
		case "stocking":
			stocked += l.Entry.Count
			spent += amount
		case "death":
			dead += l.Entry.Count
		case "harvest":
			harvested += l.Entry.Count
			harvestedKg += kg
		case "feeding":
			fedKg += kg
			spent += kg * 0.95
		case "expense", "labour":
			spent += amount
		case "sale":
			if l.Entry.Amount == "" {
				paid += kg * 2.50
			} else {
				worth += amount
			}
		}
	}
	again := map[string]float64{
		"fish.stocked": float64(stocked), "fish.dead": float64(dead), "fish.harvested": float64(harvested),
		"biomass.harvested_kg": harvestedKg, "feed.fed_kg": fedKg,
		"survival.by_account": float64(harvested) / float64(stocked), "survival.by_recorded_deaths": 1 - float64(dead)/float64(stocked),
		"feed.fcr_economic": fedKg / (harvestedKg - 20), "feed.fcr_on_harvest": fedKg / harvestedKg, "feed.efficiency": (harvestedKg - 20) / fedKg,
		"cost.total": spent, "cost.variable": spent, "cost.per_kg": spent / harvestedKg, "cost.per_kg_net": spent / harvestedKg,
		"income.cash": paid, "income.imputed": worth, "margin": paid + worth - spent,
		"growth.mean_weight_g": 1000 * harvestedKg / float64(harvested),
	}
	if want, ok := again[e.Figure]; ok && !(math.Abs(want-leading(e.Value)) < 1e-4) {
		p.t.Errorf("%s is %s, but the %d entries behind it, at %s, make %v", e.Figure, e.Value, len(found), e.Entries, want)
	}
}

// leading reads the number that a text such as 1368 kg begins with.
func leading(text string) float64 {
	first, _, _ := strings.Cut(text, " ")
	f, err := strconv.ParseFloat(first, 64)
	if err != nil {
		return math.NaN()
	}
	return f
}

// What is not measured says so.
func TestEstimatesSayThatTheyAre(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.stocked(day(0), members{"count": 100, "weight_kg": 1})
	p.recorded(
		p.entry("death", day(5), members{"batch_id": batch, "count": 2}),
		p.entry("feeding", day(6), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 1.2}),
		p.entry("sample", day(20), members{"batch_id": batch, "count": 10, "weight_g": 200}),
	)
	// After five days at 27 °C with a TGC of 1.11, between the 1.04 of these fish since
	// they were stocked and the 1.3 that is published, 20 g are 23.5 g (computed).
	p.performance(batch, "?as_of="+day(20)).wantAt(map[string]string{"/biomass/on_hand_kg": "1.96", "/biomass/on_hand_basis": "sampled"})
	r := p.performance(batch, "?explain=true&as_of="+day(25)).wantAt(map[string]string{ // 98 fish that have grown since
		"/biomass/dead_kg": "0.02", "/biomass/dead_estimated": "true", "/biomass/on_hand_kg": "2.304", "/biomass/on_hand_basis": "forecast",
		"/feed/measured_to": day(20), "/completeness/days_since_weighing": "5",
	})
	for _, figure := range []string{"biomass.dead_kg", "biomass.on_hand_kg", "biomass.net_gain_kg", "biomass.biomass_days_kg", "feed.fcr_economic", "feed.fcr_biological"} {
		if e := r.explained(figure); e.Basis != "estimated" {
			t.Errorf("the basis of %s is %s", figure, e.Basis)
		}
	}
	for _, figure := range []string{"fish.dead", "feed.fed_kg", "biomass.stocked_kg", "growth.mean_weight_g"} {
		if e := r.explained(figure); e.Basis != "measured" {
			t.Errorf("the basis of %s is %s", figure, e.Basis)
		}
	}
	p.do("GET", "/v1/batches/"+newText()+"/performance", p.keeper, nil).want(http.StatusNotFound, "not_found")
	p.do("GET", "/v1/batches/"+batch+"/performance", p.neighbour().keeper, nil).want(http.StatusNotFound, "not_found")
	p.do("GET", "/v1/batches/"+batch+"/performance?as_of=2190-01-01", p.keeper, nil).want(http.StatusBadRequest, "in_future").
		wantAt(map[string]string{"/errors/0/pointer": "/query/as_of"})
}
