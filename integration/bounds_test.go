package integration_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"shoalbook/domain/husbandry"
)

// A tankful is a tank with a batch in it, at a site of its own.
type tankful struct {
	pond
	unit, batch string
}

// newTankful makes a tank of 1000 L, with a limit of 400 kg/m³, and a batch of a species.
func (s *service) newTankful(species string) tankful {
	s.t.Helper()
	b := tankful{pond: newPond(s), batch: newText()}
	b.unit = s.create("/v1/units", members{"site_id": b.site, "name": "Tank C", "kind": "tank", "water_volume_l": 1000, "density_limit_kg_m3": 400})
	s.do("POST", "/v1/batches", s.coordinator, members{"id": b.batch, "site_id": b.site, "unit_id": b.unit, "species": species, "name": "Fish"}).want(http.StatusCreated)
	return b
}

// at makes an entry about the batch or the tank.
func (b tankful) at(on int, kind string, m members) members {
	e := b.entry(kind, day(on), m)
	if kind == "water" {
		e["unit_id"] = b.unit
	} else if e["product_id"] == nil || kind == "feeding" {
		e["batch_id"] = b.batch
	}
	return e
}

func (b tankful) stock(m members) members {
	m["origin"] = "bred"
	return b.at(0, "stocking", m)
}

// codes returns the questions about the first entry of an answer.
func (r response) codes() (codes []string) {
	r.t.Helper()
	var body struct {
		Results []struct{ Questions []struct{ Code, Text string } }
	}
	r.into(&body)
	for _, q := range body.Results[0].Questions {
		codes = append(codes, q.Code)
	}
	return codes
}

// asked are the questions of a site in some state, by entry and code.
func (b tankful) asked(state string) map[string]string {
	b.t.Helper()
	var body struct {
		Items []struct {
			ID, Code, State string
			EntryID         string `json:"entry_id"`
		}
	}
	b.do("GET", "/v1/questions?limit=500&state="+state+"&site_id="+b.site, b.keeper, nil).want(http.StatusOK).into(&body)
	ids := map[string]string{}
	for _, q := range body.Items {
		if q.State != state {
			b.t.Errorf("the question %s is %s, and %s ones were asked for", q.Code, q.State, state)
		}
		ids[q.EntryID+" "+q.Code] = q.ID
	}
	return ids
}

func written(v float64) json.Number { return json.Number(fmt.Sprintf("%.3f", v)) }

// Every bound of what is asked about, just inside and just outside. They are common
// practice without a source, unless one is named.
func TestQuestionBounds(t *testing.T) {
	t.Parallel()
	s := newService(t)
	hundred := func(b tankful) []members { return []members{b.stock(members{"count": 100, "mean_weight_g": 100})} }
	read := func(m members) func(tankful) []members {
		return func(b tankful) []members { return append(hundred(b), b.at(4, "water", m)) }
	}
	weighed := func(b tankful) []members { // in water of 25 °C
		return append(hundred(b), b.at(0, "water", members{"temperature_c": 25}), b.at(10, "sample", members{"count": 30, "weight_kg": 3}))
	}
	died := func(fish int, days ...int) func(tankful) []members {
		return func(b tankful) []members {
			list := []members{b.stock(members{"count": fish, "mean_weight_g": 1})}
			for i, n := range days {
				list = append(list, b.at(3+i, "death", members{"count": n}))
			}
			return list
		}
	}
	fed := func(kg float64) func(tankful) []members { // 20 kg of gain with the harvest
		return func(b tankful) []members {
			return []members{b.stock(members{"count": 100, "mean_weight_g": 10}), b.at(90, "feeding", members{"product_id": b.feed, "weight_kg": kg})}
		}
	}
	gained := func(b tankful) []members {
		return []members{b.stock(members{"count": 100, "mean_weight_g": 10}), b.at(9, "feeding", members{"product_id": b.feed, "weight_kg": 3})}
	}
	bought := func(prices ...string) func(tankful) []members {
		return func(b tankful) (list []members) {
			for i, p := range prices {
				list = append(list, b.at(i, "receipt", members{"product_id": b.feed, "quantity": 10, "origin": "bought", "unit_price": p}))
			}
			return list
		}
	}
	sample := func(count int, g, cm float64) members {
		return members{"count": count, "weight_g": written(g * float64(count)), "mean_length_cm": written(cm), "length_type": "total"}
	}
	full, _ := husbandry.OxygenSaturation(25, 0, 0) // Benson & Krause 1984
	fraction, _ := husbandry.UnionisedFraction(28, 8.2, 0)
	ammonia := func(nh3 float64) members {
		return members{"temperature_c": 28, "ph": 8.2, "tan_basis": "n", "tan_mg_l": written(nh3 / fraction)}
	}
	for _, c := range []struct {
		code, species   string
		before          func(tankful) []members
		kind            string
		on              int
		inside, outside members
	}{
		{"weight", "CLZ", nil, "stocking", 0, members{"count": 10, "origin": "bred", "mean_weight_g": 3000}, members{"count": 10, "origin": "bred", "mean_weight_g": 3000.001}},
		{"weight", "TLN", nil, "stocking", 0, members{"count": 10, "origin": "bred", "mean_weight_g": 1200}, members{"count": 10, "origin": "bred", "mean_weight_g": 1200.001}},
		{"weight_forecast", "CLZ", hundred, "sample", 1, members{"count": 30, "weight_kg": 1.9}, members{"count": 30, "weight_kg": 1.7}},
		{"weight_forecast", "CLZ", hundred, "sample", 1, members{"count": 30, "weight_kg": 7.4}, members{"count": 30, "weight_kg": 7.8}},
		{"weight_forecast", "CLZ", hundred, "count", 1, members{"count": 100, "weight_kg": 7}, members{"count": 100, "weight_kg": 5.5}},
		{"weight_forecast", "CLZ", hundred, "harvest", 1, members{"count": 10, "weight_kg": 2.4}, members{"count": 10, "weight_kg": 2.6}},
		{"length", "CLZ", hundred, "sample", 1, sample(10, 5000, 80), sample(10, 5000, 80.001)},
		{"length", "TLN", hundred, "sample", 1, sample(10, 1500, 45), sample(10, 1500, 45.001)},
		// Condition factors: read for catfish, common practice for tilapia.
		{"condition", "CLZ", hundred, "sample", 1, sample(10, 40, 20), sample(10, 39.9, 20)},
		{"condition", "CLZ", hundred, "sample", 1, sample(10, 120, 20), sample(10, 120.1, 20)},
		{"condition", "TLN", hundred, "sample", 1, sample(10, 96, 20), sample(10, 95.9, 20)},
		{"condition", "TLN", hundred, "sample", 1, sample(10, 200, 20), sample(10, 200.1, 20)},
		{"sample_small", "CLZ", hundred, "sample", 1, members{"count": 5, "weight_kg": 0.5}, members{"count": 4, "weight_kg": 0.4}},
		{"growth", "CLZ", weighed, "sample", 40, members{"count": 30, "weight_kg": 6.94}, members{"count": 30, "weight_kg": 6.97}}, // TGC 2: 231.66 g (computed)
		{"growth", "CLZ", weighed, "sample", 40, members{"count": 30, "weight_kg": 3.46}, members{"count": 30, "weight_kg": 3.45}}, // TGC 0.3: 115.26 g (computed)
		{"feed_rate", "CLZ", func(b tankful) []members { return []members{b.stock(members{"count": 100, "mean_weight_g": 150})} }, "feeding", 0,
			members{"weight_kg": 0.55}, members{"weight_kg": 0.57}}, // 3 % (from memory of Hogendoorn et al. 1983) × 1.25 of 15 kg: 0.5625
		{"feed_cold", "TLN", read(members{"temperature_c": 17}), "feeding", 5, members{"weight_kg": 0.1}, nil},
		{"feed_cold", "TLN", read(members{"temperature_c": 16.999}), "feeding", 5, nil, members{"weight_kg": 0.1}},
		{"deaths", "CLZ", died(1000, 4, 4, 4), "death", 9, members{"count": 4}, members{"count": 5}}, // 4 and 5 of 988: 0.40 and 0.51 %
		{"deaths", "CLZ", died(10_000, 4, 4, 4), "death", 9, members{"count": 12}, members{"count": 13}},
		{"deaths", "CLZ", died(10_000, 1), "death", 9, members{"count": 4}, members{"count": 5}},
		{"fcr", "CLZ", fed(50), "harvest", 100, members{"weight_kg": 21, "empties": true}, nil},
		{"fcr", "CLZ", fed(50.1), "harvest", 100, nil, members{"weight_kg": 21, "empties": true}},
		{"fcr", "CLZ", fed(14), "harvest", 100, members{"weight_kg": 21, "empties": true}, nil},
		{"fcr", "CLZ", fed(13.9), "harvest", 100, nil, members{"weight_kg": 21, "empties": true}},
		{"fcr", "CLZ", fed(14), "harvest", 100, nil, members{"weight_kg": 0.9, "empties": true}},
		{"fcr", "CLZ", gained, "sample", 10, members{"count": 50, "weight_g": 599}, members{"count": 50, "weight_g": 600}}, // a fifth gained
		{"density", "CLZ", nil, "stocking", 0, members{"count": 1000, "origin": "bred", "weight_kg": 400}, members{"count": 1000, "origin": "bred", "weight_kg": 400.001}},
		{"unaccounted", "CLZ", died(1000), "count", 9, members{"count": 950}, members{"count": 949}},
		{"unaccounted", "CLZ", died(1000), "count", 9, members{"count": 1050}, members{"count": 1051}},
		{"price", "CLZ", bought("10", "9", "11"), "receipt", 80, members{"quantity": 10, "origin": "bought", "amount": "150"}, members{"quantity": 10, "origin": "bought", "amount": "150.10"}},
		{"price", "CLZ", bought("10", "9", "11"), "receipt", 80, members{"quantity": 10, "origin": "bought", "unit_price": "5"}, members{"quantity": 10, "origin": "bought", "unit_price": "4.99"}},
		{"temperature", "CLZ", hundred, "water", 5, members{"temperature_c": 20}, members{"temperature_c": 19.999}},
		{"temperature", "CLZ", hundred, "water", 5, members{"temperature_c": 33}, members{"temperature_c": 33.001}},
		{"temperature_change", "CLZ", read(members{"temperature_c": 25}), "water", 5, members{"temperature_c": 30}, members{"temperature_c": 30.001}},
		{"ph", "CLZ", hundred, "water", 5, members{"ph": 6}, members{"ph": 5.999}},
		{"ph", "CLZ", hundred, "water", 5, members{"ph": 8.8}, members{"ph": 8.801}},
		{"ph_change", "CLZ", read(members{"ph": 7.2}), "water", 5, members{"ph": 7.5}, members{"ph": 7.501}}, // FAO 589, section 7, read
		{"oxygen", "TLN", hundred, "water", 5, members{"oxygen_mg_l": 4}, members{"oxygen_mg_l": 3.999}},
		{"oxygen", "CLZ", hundred, "water", 5, members{"oxygen_mg_l": 2}, members{"oxygen_mg_l": 1.999}},
		{"oxygen_saturation", "CLZ", hundred, "water", 5, members{"temperature_c": 25, "oxygen_mg_l": written(1.2*full - 0.001)}, members{"temperature_c": 25, "oxygen_mg_l": written(1.2*full + 0.001)}},
		{"tan", "CLZ", hundred, "water", 5, members{"tan_mg_l": 1, "tan_basis": "n"}, members{"tan_mg_l": 1.001, "tan_basis": "n"}},
		{"nh3", "CLZ", hundred, "water", 5, ammonia(0.05), ammonia(0.051)},
		{"no2", "CLZ", hundred, "water", 5, members{"no2_mg_l": 1}, members{"no2_mg_l": 1.001}},
		{"no3", "CLZ", hundred, "water", 5, members{"no3_mg_l": 400}, members{"no3_mg_l": 400.001}},
		{"salinity", "CLZ", hundred, "water", 5, members{"salinity_ppt": 10}, members{"salinity_ppt": 10.001}},
		{"contradiction", "CLZ", hundred, "water", 5, members{"ph": 4.5, "alkalinity_mg_l": 10}, members{"ph": 4.499, "alkalinity_mg_l": 10}},
	} {
		for _, side := range []struct {
			m    members
			want bool
		}{{c.inside, false}, {c.outside, true}} {
			if side.m == nil {
				continue
			}
			b := s.newTankful(c.species)
			if c.before != nil {
				b.recorded(c.before(b)...)
			}
			m := members{}
			for name, v := range side.m {
				m[name] = v
			}
			if c.kind == "feeding" || c.kind == "receipt" {
				m["product_id"] = b.feed
			}
			e := b.at(c.on, c.kind, m)
			r := b.recorded(e)
			if got := slices.Contains(r.codes(), c.code); got != side.want {
				t.Errorf("%s of %s, %v: asked %v, want %v", c.code, c.species, side.m, r.codes(), side.want)
			}
			if _, kept := b.asked("open")[e["id"].(string)+" "+c.code]; kept != side.want {
				t.Errorf("%s of %s, %v: it is kept: %v, want %v", c.code, c.species, side.m, kept, side.want)
			}
		}
	}
}

// What no fish and no water can be is refused at the door, and what is next to it is not.
func TestImpossibleBounds(t *testing.T) {
	t.Parallel()
	s := newService(t)
	sample := func(count int, g, cm float64) members {
		return members{"count": count, "weight_g": written(g * float64(count)), "mean_length_cm": written(cm), "length_type": "total"}
	}
	stock := func(g float64) members { return members{"count": 1, "origin": "bred", "mean_weight_g": written(g)} }
	for _, c := range []struct {
		species, kind   string
		inside, outside members
		pointer, says   string
	}{
		{"CLZ", "stocking", stock(60_000), stock(60_000.001), "/mean_weight_g", "look at the unit (g or kg)"},
		{"TLN", "stocking", stock(5000), stock(5000.001), "/mean_weight_g", "look at the unit (g or kg)"},
		{"TLN", "sample", members{"count": 1, "weight_kg": 5}, members{"count": 1, "weight_kg": 5.001}, "/weight_kg", "look at the unit (g or kg)"},
		{"TLN", "death", members{"count": 1, "weight_kg": 5}, members{"count": 1, "weight_kg": 5.001}, "/weight_kg", "5000 g"},
		{"TLN", "count", members{"count": 100, "weight_kg": 500}, members{"count": 99, "weight_kg": 499.9}, "/weight_kg", "5000 g"},
		{"TLN", "harvest", members{"count": 1, "weight_kg": 5}, members{"count": 1, "weight_kg": 5.001}, "/weight_kg", "5000 g"},
		{"CLZ", "sample", sample(2, 55_000, 180), sample(2, 55_000, 180.001), "/mean_length_cm", "180 cm"},
		{"TLN", "sample", sample(2, 4900, 65), sample(2, 4900, 65.001), "/mean_length_cm", "65 cm"},
		{"CLZ", "sample", sample(10, 0.001, 0.301), sample(10, 0.001, 0.3), "/mean_length_cm", "0.3"},
		{"CLZ", "sample", sample(10, 16, 20), sample(10, 15.9, 20), "/mean_length_cm", "no fish of 20 cm weighs"},
		{"CLZ", "sample", sample(10, 320, 20), sample(10, 320.1, 20), "/mean_length_cm", "no fish of 20 cm weighs"},
		{"CLZ", "feeding", members{"weight_kg": 5.9}, members{"weight_kg": 9}, "/weight_kg", "60 % of the weight of the fish"},
		{"CLZ", "stocking", members{"count": 1000, "origin": "bred", "weight_kg": 490}, members{"count": 1000, "origin": "bred", "weight_kg": 490.001}, "/batch_id", "no room for more than 500"},
		{"CLZ", "water", members{"temperature_c": 45}, members{"temperature_c": 45.001}, "/temperature_c", "between 0 and 45"},
		{"CLZ", "water", members{"temperature_c": 0}, members{"temperature_c": -0.001}, "/temperature_c", "between 0 and 45"},
		{"CLZ", "water", members{"oxygen_mg_l": 25}, members{"oxygen_mg_l": 25.001}, "/oxygen_mg_l", "between 0 and 25"},
		{"CLZ", "water", members{"ph": 2}, members{"ph": 1.999}, "/ph", "between 2 and 12"},
		{"CLZ", "water", members{"ph": 12}, members{"ph": 12.001}, "/ph", "between 2 and 12"},
		{"CLZ", "water", members{"tan_mg_l": 100, "tan_basis": "n"}, members{"tan_mg_l": 100.001, "tan_basis": "n"}, "/tan_mg_l", "between 0 and 100"},
		{"CLZ", "water", members{"no2_mg_l": 100}, members{"no2_mg_l": 100.001}, "/no2_mg_l", "between 0 and 100"},
		{"CLZ", "water", members{"no3_mg_l": 3000}, members{"no3_mg_l": 3000.001}, "/no3_mg_l", "between 0 and 3000"},
		{"CLZ", "water", members{"alkalinity_mg_l": 2000}, members{"alkalinity_mg_l": 2000.001}, "/alkalinity_mg_l", "between 0 and 2000"},
		{"CLZ", "water", members{"salinity_ppt": 45}, members{"salinity_ppt": 45.001}, "/salinity_ppt", "between 0 and 45"},
		{"CLZ", "death", members{"count": 100}, members{"count": 101}, "", "enter a count of the fish first"},
		{"CLZ", "receipt", members{"quantity": 1, "origin": "bought", "unit_price": "0.01"}, members{"quantity": 1, "origin": "bought", "unit_price": "0"}, "/unit_price", "more than 0"},
		// Slips of the pen, named.
		{"CLZ", "water", nil, members{"temperature_c": 82}, "/temperature_c", "Fahrenheit?"},
		{"CLZ", "water", nil, members{"oxygen_mg_l": 85}, "/oxygen_mg_l", "% saturation?"},
		{"CLZ", "water", nil, members{"ph": 74}, "/ph", "is the decimal point missing?"},
		{"CLZ", "water", nil, members{"tan_mg_l": 1}, "/tan_basis", "what the kit prints ammonia as"},
		{"CLZ", "sample", nil, sample(10, 450, 14), "/mean_length_cm", "is the length in inches?"}, // 14 inches, common practice
		{"CLZ", "sample", nil, sample(10, 0.1, 20), "/mean_length_cm", "is the weight in kg and not in g?"},
		{"CLZ", "sample", nil, members{"count": 10, "weight_kg": 50, "mean_length_cm": 8, "length_type": "total"}, "/mean_length_cm", "is the weight in g and not in kg?"},
		{"CLZ", "sample", nil, members{"count": 30, "weight_kg": 4500}, "/weight_kg", "look at the unit (g or kg)"},
	} {
		b := s.newTankful(c.species)
		count := 100
		if c.inside["count"] == 2 { // of which a hundred have no room
			count = 2
		}
		b.recorded(b.stock(members{"count": count, "mean_weight_g": 100}))
		about := func(m members) members {
			if c.kind == "feeding" || c.kind == "receipt" {
				m["product_id"] = b.feed
			}
			return b.at(1, c.kind, m)
		}
		r := b.post(b.keeper, []members{about(c.outside)}).want(http.StatusOK).became("refused").says(c.says)
		if got := r.at("/results/0/problem/errors/0/pointer"); got != c.pointer {
			t.Errorf("%s %v is refused for %s, want %s", c.kind, c.outside, got, c.pointer)
		}
		if c.inside != nil {
			b.recorded(about(c.inside))
		}
	}
}

// Slips of the pen that are possible are named in the question.
func TestSlipsAreNamed(t *testing.T) {
	t.Parallel()
	s := newService(t)
	for _, c := range []struct {
		species string
		grams   float64 // at stocking
		sample  members
		says    string
	}{
		{"CLZ", 100, members{"count": 30, "weight_g": 3}, "is the weight in kg and not in g?"},
		{"CLZ", 3, members{"count": 20, "weight_kg": 60}, "is the weight in g and not in kg?"},
		// 140 g at 20 cm, of which 16 are without the tail (common practice, no source).
		{"TLN", 100, members{"count": 20, "weight_kg": 2.8, "mean_length_cm": 16, "length_type": "total"}, "is it the standard length"},
	} {
		b := s.newTankful(c.species)
		b.recorded(b.stock(members{"count": 100, "mean_weight_g": c.grams}))
		b.recorded(b.at(2, "sample", c.sample)).says(c.says)
	}
}

// What the co-operative has set is asked by, in place of what is usual.
func TestQuestionsGoByTheCoop(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.create("/v1/limits", `{"species":"CLZ","parameter":"no2","high_warn":0.2,"high_alarm":0.5,"source":"the veterinarian"}`)
	b, c := s.newTankful("CLZ"), s.newTankful("TLN")
	for _, x := range []tankful{b, c} {
		x.recorded(x.stock(members{"count": 100, "mean_weight_g": 50}))
	}
	read := func(x tankful, on int, no2 float64, want bool) response {
		t.Helper()
		r := x.recorded(x.at(on, "water", members{"no2_mg_l": no2}))
		if got := slices.Contains(r.codes(), "no2"); got != want {
			t.Errorf("%v mg/L: asked %v, want %v", no2, r.codes(), want)
		}
		return r
	}
	read(b, 1, 0.2, false)
	read(b, 1, 0.201, true).says("by the limit of the co-operative")
	read(b, 1, 0.501, true).says("above 0.5 fish are in danger")
	read(c, 1, 0.9, false) // of tilapia it has set nothing
	// What is set later holds at once, though the state of the site is remembered.
	s.create("/v1/limits", `{"species":"TLN","parameter":"no2","high_alarm":0.5,"source":"the veterinarian"}`)
	read(c, 2, 0.9, true)
	s.do("PATCH", "/v1/units/"+b.unit, s.coordinator, `{"density_limit_kg_m3":4}`, "If-Match", "*").want(http.StatusOK)
	if r := b.recorded(b.at(3, "sample", members{"count": 30, "weight_kg": 1.5})); !slices.Contains(r.codes(), "density") {
		t.Errorf("the new limit of the tank is not asked by: %v", r.codes())
	}
}

// Without enough to compare with, nobody is asked about a price.
func TestPricesNeedOthers(t *testing.T) {
	t.Parallel()
	s := newService(t)
	b := s.newTankful("CLZ")
	buyer := s.create("/v1/parties", `{"name":"Market","roles":["buyer"]}`)
	receipt := func(on int, price string) members {
		return b.at(on, "receipt", members{"product_id": b.feed, "quantity": 10, "origin": "bought", "unit_price": price})
	}
	for i, e := range []members{receipt(0, "10"), receipt(1, "30"), receipt(2, "10"), receipt(95, "90"), // the others are too old
		b.at(3, "receipt", members{"product_id": b.feed, "quantity": 10, "origin": "donated", "amount": "9000"})} {
		if r := b.recorded(e); len(r.codes()) > 0 {
			t.Errorf("entry %d: asked %v", i, r.codes())
		}
	}
	b.recorded(b.stock(members{"count": 100, "mean_weight_g": 500}), b.at(20, "harvest", members{"count": 90, "weight_kg": 60}))
	sale := func(price, form string) members {
		return b.at(21, "sale", members{"disposal": "sold", "weight_kg": 1, "unit_price": price, "form": form, "buyer_id": buyer})
	}
	b.recorded(sale("4", "smoked"), sale("4", "smoked"), sale("4", "smoked"))
	if r := b.recorded(sale("9", "smoked")); !slices.Contains(r.codes(), "price") {
		t.Errorf("twice the price: asked %v", r.codes())
	}
	if r := b.recorded(sale("9", "live")); len(r.codes()) > 0 { // another thing
		t.Errorf("another form: asked %v", r.codes())
	}
}

// Medicine that is recorded late asks who ate the fish, and who has them now.
func TestLateMedicineIsAskedAbout(t *testing.T) {
	t.Parallel()
	s := newService(t)
	b, far := s.newTankful("CLZ"), s.newTankful("CLZ")
	b.recorded(b.stock(members{"count": 100, "mean_weight_g": 500}), b.at(5, "harvest", members{"count": 10, "weight_kg": 5}),
		b.at(6, "sent", members{"to_site_id": far.site, "count": 10}))
	r := b.recorded(b.at(4, "treatment", members{"what": "Oxytetracycline", "dose": "75 mg/kg", "reason": "spots", "withdrawal_days": 20}))
	if got := r.codes(); !slices.Equal(got, []string{"harvested_early", "sent_early"}) {
		t.Errorf("asked %v", got)
	}
	r.says("on "+day(5), "on "+day(6))
	if n := len(b.asked("open")); n != 2 {
		t.Errorf("%d questions are kept", n)
	}
}

func TestQuestionsAreAnswered(t *testing.T) {
	t.Parallel()
	s := newService(t)
	b, other := s.newTankful("CLZ"), s.newTankful("CLZ")
	keeper, stranger := s.token("keeper", b.site), s.token("keeper", other.site)
	hot := b.at(1, "water", members{"temperature_c": 34, "ph": 9})
	cold := b.at(2, "water", members{"temperature_c": 15})
	b.recorded(hot, cold)
	id := func(e members, code string) string { return b.asked("open")[e["id"].(string)+" "+code] }
	if n := len(b.asked("open")); n != 4 { // cold after hot is a jump
		t.Errorf("%d questions are open: %v", n, b.asked("open"))
	}
	s.do("GET", "/v1/overview", keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/questions": "4", "/items/1": ""})
	answer := func(token, question string) response {
		return s.do("POST", "/v1/questions/"+question+"/answer", token, `{"reason":"Read twice, the same."}`, "Idempotency-Key", newText())
	}
	ph := id(hot, "ph")
	answer(s.token("treasurer"), ph).want(http.StatusForbidden, "forbidden")
	answer(stranger, ph).want(http.StatusNotFound, "not_found")
	answer(keeper, newText()).want(http.StatusNotFound, "not_found")
	s.do("POST", "/v1/questions/"+ph+"/answer", keeper, `{"reason":"ok"}`, "Idempotency-Key", newText()).want(http.StatusBadRequest, "invalid_request")
	key := newText()
	first := s.do("POST", "/v1/questions/"+ph+"/answer", keeper, `{"reason":"Green water at noon."}`, "Idempotency-Key", key).want(http.StatusCreated).
		wantAt(map[string]string{"/id": ph, "/state": "confirmed", "/code": "ph", "/reason": "Green water at noon.", "/answered_by": "test keeper", "/entry_id": hot["id"].(string), "/figures/0/name": "ph", "/figures/0/value": "9"})
	if again := s.do("POST", "/v1/questions/"+ph+"/answer", keeper, `{"reason":"Green water at noon."}`, "Idempotency-Key", key).want(http.StatusCreated); string(again.body) != string(first.body) {
		t.Errorf("sent again it is answered with %s", again.body)
	}
	answer(s.token("adviser"), ph).want(http.StatusUnprocessableEntity, "already_answered")
	// To reverse the entry is to answer, with who and why.
	s.do("POST", "/v1/entries/"+hot["id"].(string)+"/reversal", s.coordinator, members{"id": newText(), "reason": "The thermometer lay in the sun."}).want(http.StatusCreated)
	reversed := b.asked("reversed")
	if len(reversed) != 2 || len(b.asked("confirmed")) != 0 || len(b.asked("open")) != 2 {
		t.Errorf("reversed %v, confirmed %v, open %v", reversed, b.asked("confirmed"), b.asked("open"))
	}
	s.do("GET", "/v1/questions?state=reversed&site_id="+b.site, keeper, nil).want(http.StatusOK).
		wantAt(map[string]string{"/items/0/reason": "The thermometer lay in the sun.", "/items/0/answered_by": "test coordinator"})
	answer(keeper, reversed[hot["id"].(string)+" temperature"]).want(http.StatusUnprocessableEntity, "already_answered")
	s.do("GET", "/v1/overview", keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/questions": "2"})
	// Elsewhere there is nothing to see of it, and pages go on.
	if n := len(other.asked("open")); n != 0 {
		t.Errorf("the other site has %d questions", n)
	}
	if got := s.do("GET", "/v1/questions", stranger, nil).want(http.StatusOK).at("/items/0"); got != "" {
		t.Errorf("a stranger sees %s", got)
	}
	next := s.do("GET", "/v1/questions?limit=1", keeper, nil).want(http.StatusOK).at("/next")
	s.do("GET", "/v1/questions?limit=1&after="+next, keeper, nil).want(http.StatusOK).wantAt(map[string]string{"/items/0/code": "temperature_change", "/next": ""})
	// An entry sent again, late or reversed elsewhere asks nothing twice.
	b.post(b.keeper, []members{cold}).became("exists")
	b.recorded(b.at(0, "water", members{"temperature_c": 25}))
	if n := len(b.asked("open")); n != 2 {
		t.Errorf("%d questions are open", n)
	}
	if !strings.Contains(fmt.Sprint(s.trail(s.coordinator, map[string][]string{"noun": {"question"}}, 500)), "question changed") {
		t.Error("the answer is not in the trail")
	}
}
