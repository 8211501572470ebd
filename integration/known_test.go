package integration_test

import (
	"bytes"
	"fmt"
	"math/big"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strconv"
	"testing"
)

// What was known once can be printed again, byte for byte, whatever is recorded later:
// late entries, reversals, what happens at other sites, and other facts in the registry.
func TestKnownAt(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p, q := newPond(s), newPond(s)
	pump := "/v1/equipment/" + s.create("/v1/equipment", `{"site_id":"`+p.site+`","name":"Blower","cost":"3650","life_months":12,"in_use_from":"2025-01-01"}`)
	batch, other, far := p.newBatch(), p.newBatch(), q.newBatch()
	feeding := p.entry("feeding", day(20), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 12.5})
	expense := p.entry("expense", day(25), members{"category": "rent", "amount": "100", "covers_from": day(0), "covers_to": day(99)})
	sent := p.entry("sent", day(40), members{"to_site_id": q.site, "batch_id": batch, "count": 30})
	s.recorded(
		p.entry("receipt", day(0), members{"product_id": p.feed, "quantity": 100, "origin": "bought", "unit_price": "8.25"}),
		p.entry("stocking", day(0), members{"batch_id": batch, "origin": "bought", "count": 400, "weight_kg": 4, "amount": "200"}),
		p.entry("stocking", day(10), members{"batch_id": other, "origin": "bought", "count": 100, "weight_kg": 3, "amount": "70"}),
		p.entry("water", day(1), members{"unit_id": p.a, "temperature_c": 27.5}),
		p.entry("death", day(15), members{"batch_id": batch, "count": 7}),
		feeding, expense,
		p.entry("sample", day(30), members{"batch_id": batch, "count": 40, "weight_kg": 1.23}),
		p.entry("move", day(35), members{"batch_id": batch, "to_batch_id": other, "count": 50}),
		sent,
		p.entry("harvest", day(50), members{"batch_id": batch, "count": 100, "weight_kg": 5.5}),
		p.entry("sale", day(51), members{"batch_id": batch, "disposal": "sold", "weight_kg": 5, "unit_price": "40"}),
	)
	s.recorded(q.entry("received", day(41), members{"sent_id": sent["id"], "batch_id": far, "count": 29}))
	var known []snapshot
	look := func() {
		t.Helper()
		for _, b := range []string{batch, other, far} {
			for _, asOf := range []string{day(33), day(60)} {
				known = append(known, s.snapshot(b, asOf))
			}
		}
		for i, k := range known {
			k.again(s, fmt.Sprintf("snapshot %d", i))
		}
	}
	look()

	// Corrections: late, reversed, replaced.
	s.recorded(
		p.entry("death", day(5), members{"batch_id": batch, "count": 3, "weight_kg": 0.04}),
		p.entry("sample", day(32), members{"batch_id": batch, "count": 10, "weight_kg": 0.4}),
		p.entry("receipt", day(0), members{"product_id": p.feed, "quantity": 50, "origin": "bought", "unit_price": "9"}),
		p.entry("reversal", day(55), members{"reverses_id": expense["id"], "reason": "Paid by the school."}),
	)
	look()
	s.do("POST", "/v1/entries/"+feeding["id"].(string)+"/reversal", s.keeper, members{"id": newText(), "reason": "Half of it.", "occurred_on": day(55),
		"replacement": p.entry("feeding", day(20), members{"batch_id": batch, "product_id": p.feed, "weight_kg": 6.25})}).want(http.StatusCreated)
	look()
	// The registry, with effect for the past.
	revise := func(address, body string) {
		t.Helper()
		s.do("PATCH", address, s.coordinator, body, "If-Match", "*").want(http.StatusOK)
		look()
	}
	revise("/v1/units/"+p.a, `{"water_volume_l":4000,"valid_from":"2025-01-01"}`)
	revise("/v1/products/"+p.feed, `{"protein_percent":48,"valid_from":"2025-01-10"}`)
	revise(pump, `{"cost":"7300","valid_from":"2025-01-20"}`)
	revise("/v1/coop", `{"share_by":"unit_days","valid_from":"2025-01-01"}`)
	revise("/v1/batches/"+other, `{"name":"Renamed"}`)
	s.create("/v1/equipment", `{"site_id":"`+p.site+`","name":"Net","cost":"100","life_months":10,"in_use_from":"2025-01-05"}`)
	look()
	third := p.stocked(day(3), members{"count": 50, "weight_kg": 2}) // it bears a share of what the others bore
	s.recorded(p.entry("feeding", day(4), members{"batch_id": third, "product_id": p.feed, "weight_kg": 1}))
	look()
	s.recorded(q.entry("harvest", day(59), members{"batch_id": far, "weight_kg": 2, "empties": true}))
	look()
	// What went between the sites is taken back, at both ends.
	for _, kind := range []string{"harvest", "received"} {
		for _, l := range s.entries(s.keeper, "&kind="+kind+"&site_id="+q.site) {
			s.recorded(q.entry("reversal", day(60), members{"reverses_id": l.Entry.ID, "reason": "It never came."}))
			look()
		}
	}
	s.recorded(p.entry("reversal", day(60), members{"reverses_id": sent["id"], "reason": "It never left."}))
	look()
	// Each is another one than the first was, so that there was something to keep; only the
	// batch that the fish had not reached by then had nothing.
	for i := range 6 {
		if last := known[len(known)-6+i]; bytes.Equal(figuresOf(known[i].body), figuresOf(last.body)) && i != 4 {
			t.Errorf("snapshot %d is still the same: %s", i, last.body)
		}
	}
	s.do("GET", "/v1/batches/"+batch+"/performance?known_at=2199-01-01T00:00:00Z", s.keeper, nil).want(http.StatusUnprocessableEntity, "not_settled")
	before := s.performance(batch, "?as_of="+day(60)+"&known_at=2020-01-01T00:00:00Z")
	before.wantAt(map[string]string{"/fish/stocked": "0", "/cost/total": "0.00", "/known_at": "2020-01-01T00:00:00Z"})
}

// figuresOf leaves out when the figures were known.
func figuresOf(body []byte) []byte {
	_, after, _ := bytes.Cut(body, []byte(`"state"`))
	return after
}

// snapshot is the figures of a batch as they were known at a moment.
type snapshot struct {
	batch, asOf, knownAt string
	body                 []byte
}

func (s *service) snapshot(batch, asOf string) snapshot {
	s.t.Helper()
	r := s.performance(batch, "?explain=true&as_of="+asOf)
	return snapshot{batch, asOf, r.at("/known_at"), r.body}
}

// again complains unless the figures are printed again as they were known.
func (k snapshot) again(s *service, what string) {
	s.t.Helper()
	r := s.performance(k.batch, "?explain=true&as_of="+k.asOf+"&known_at="+url.QueryEscape(k.knownAt))
	if !bytes.Equal(r.body, k.body) {
		s.t.Errorf("%s, known at %s:\n%s\nis now\n%s", what, k.knownAt, k.body, r.body)
	}
}

// tank is what a client keeps of a batch by itself.
type tank struct {
	stocked, dead, harvested, fish int64
	fed, harvestedG, days          int64
	feed                           stock
	cost                           int64
}

// stock is feed at moving average cost: grams, and minor units.
type stock struct{ grams, value int64 }

// take issues feed: value × grams ÷ balance, half to even; the last gram takes the rest.
func (s *stock) take(grams int64) int64 {
	cost := halfEven(s.value*grams, s.grams)
	s.grams, s.value = s.grams-grams, s.value-cost
	return cost
}

func halfEven(a, b int64) int64 {
	q, r := new(big.Int).QuoRem(big.NewInt(a), big.NewInt(b), new(big.Int))
	if c := r.Lsh(r, 1).Cmp(big.NewInt(b)); c > 0 || c == 0 && q.Bit(0) == 1 {
		return q.Int64() + 1
	}
	return q.Int64()
}

// The figures at the end of each day are those that a client works out by itself from
// the same entries, in whatever order they were sent.
func TestSeriesOfDays(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.newBatch()
	const days = 45
	random := rand.New(rand.NewPCG(7, 11))
	var entries []members
	var want []tank
	b := tank{}
	add := func(kind string, d int, m members) {
		m["batch_id"] = batch
		entries = append(entries, p.entry(kind, day(d), m))
	}
	for d := range days {
		switch {
		case d == 0:
			b.stocked, b.fish = 1500, 1500
			add("stocking", d, members{"origin": "bred", "count": 1500, "weight_kg": 15})
		case d%20 == 0:
			b.stocked, b.fish = b.stocked+100, b.fish+100
			add("stocking", d, members{"origin": "bred", "count": 100})
		}
		if d%9 == 0 {
			grams, price := 20_000+random.Int64N(20_000), 500+random.Int64N(500)
			b.feed.grams, b.feed.value = b.feed.grams+grams, b.feed.value+halfEven(price*grams, 1000)
			entries = append(entries, p.entry("receipt", day(d), members{"product_id": p.feed, "origin": "bought", "quantity": float64(grams) / 1000, "unit_price": fmt.Sprintf("%d.%02d", price/100, price%100)}))
		}
		if n := random.Int64N(4); n > 0 {
			b.dead, b.fish = b.dead+n, b.fish-n
			add("death", d, members{"count": n})
		}
		if random.IntN(3) > 0 && b.feed.grams > 3000 {
			grams := 500 + random.Int64N(2500)
			b.cost += b.feed.take(grams)
			b.fed, b.days = b.fed+grams, b.days+1
			add("feeding", d, members{"product_id": p.feed, "weight_kg": float64(grams) / 1000})
		}
		if d > 30 && d%4 == 0 {
			n := 20 + random.Int64N(20)
			b.harvested, b.harvestedG, b.fish = b.harvested+n, b.harvestedG+n*55, b.fish-n
			add("harvest", d, members{"count": n, "weight_kg": float64(n*55) / 1000})
		}
		want = append(want, b)
	}
	total := len(entries)
	random.Shuffle(total, func(i, j int) { entries[i], entries[j] = entries[j], entries[i] })
	for len(entries) > 0 { // phones send when they can; what does not fit yet is held
		n := min(len(entries), 1+random.IntN(20))
		r := p.do("POST", "/v1/entries", p.keeper, members{"entries": entries[:n], "on_refusal": "hold"}).want(http.StatusOK)
		if r.at("/results/0/status") == "refused" {
			t.Errorf("refused: %s", r.body)
		}
		entries = entries[n:]
	}
	p.rows(total, 0)
	check := func(d int) {
		t.Helper()
		b := want[d]
		p.performance(batch, "?as_of="+day(d)).wantAt(map[string]string{
			"/fish/stocked": itoa(b.stocked), "/fish/dead": itoa(b.dead), "/fish/harvested": itoa(b.harvested), "/fish/on_hand": itoa(b.fish),
			"/feed/fed_kg": kilos(b.fed), "/biomass/harvested_kg": kilos(b.harvestedG), "/completeness/days_with_feed": itoa(b.days),
			"/completeness/days": itoa(int64(d)), "/cost/total": cents(b.cost), "/as_of": day(d),
		})
	}
	for d := range days {
		check(d)
	}
	check(days - 1)
}

func itoa(n int64) string { return strconv.FormatInt(n, 10) }

func kilos(grams int64) string { return strconv.FormatFloat(float64(grams)/1000, 'f', -1, 64) }

func cents(n int64) string { return fmt.Sprintf("%d.%02d", n/100, n%100) }
