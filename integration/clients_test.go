package integration_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"

	"shoalbook/domain"
)

// TestServiceEqualsModel has four clients of two instances record entries of every
// kind at two sites, all at once and in no order of days, hold what does not fit and
// take back what they have recorded, while the facts of the registry change. What the
// service prints afterwards must be, to the last digit, what follows from its journal.
func TestServiceEqualsModel(t *testing.T) {
	t.Parallel()
	s := newService(t)
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	farms := newFarms(s)
	instances := []*service{s, s.twin()}
	var clients sync.WaitGroup
	for i := range 4 {
		c := &client{farms: farms, via: instances[i%2], random: rand.New(rand.NewPCG(seed, uint64(i)))}
		clients.Go(func() {
			for range 50 {
				c.act()
			}
		})
	}
	farms.change()
	clients.Wait()
	farms.protein(3, members{"protein_percent": 44, "valid_from": day(5)}) // which is all that is late now
	farms.finish(instances)

	journal := s.journal()
	figures := 0
	for _, f := range farms.sites {
		m := farms.model(f, journal)
		for _, n := range asOfs {
			figures += m.compare(s, dateOf(n))
		}
		figures += m.compare(s, todayAt(t, "Africa/Lusaka"))
	}
	s.sound()
	if n := deadlocks(t, s.url); n > 0 {
		t.Errorf("there were %d deadlocks: locks are not taken in one order", n)
	}
	kinds := kindsIn(journal)
	t.Logf("%d figures are those of the model; entries: %s, %d reversed", figures, marshal(kinds), farms.reversed)
	if len(kinds) < 16 || farms.reversed == 0 { // of 20 that stand
		t.Error("too little was recorded")
	}
}

// asOfs are days that figures are asked for.
var asOfs = []int{200, 20, 45, 75}

// deadlocks returns how many there were in a database.
func deadlocks(t *testing.T, url string) (n int) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if err := conn.QueryRow(t.Context(), `select deadlocks from pg_stat_database where datname = current_database()`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// farms are the two sites of a co-operative.
type farms struct {
	*service
	sites                   [2]farm
	feed, gift, salt, power string
	hatchery, seller, buyer string
	days                    atomic.Int64
	mu                      sync.Mutex // guards what follows
	made                    []members  // entries that were recorded
	reversed                int
}

type farm struct {
	id, pump string
	tanks    []string
	bed      string
	batches  []string
	all      []string // with those that are fed with gifts, or that fish are sent to
}

func dateOf(n int) domain.Date { return domain.NewDate(2025, 1, 1) + domain.Date(n) }

func newFarms(s *service) *farms {
	s.t.Helper()
	f := &farms{service: s}
	f.feed = s.create("/v1/products", `{"name":"Grower","category":"feed","unit":"kg","protein_percent":32}`)
	f.gift = s.create("/v1/products", `{"name":"Gift","category":"feed","unit":"kg","protein_percent":28.5}`)
	f.salt = s.create("/v1/products", `{"name":"Salt","category":"other","unit":"kg"}`)
	f.power = s.create("/v1/products", `{"name":"Power","category":"energy","unit":"kwh"}`)
	f.hatchery = s.create("/v1/parties", `{"name":"Hatchery","roles":["hatchery"]}`)
	f.seller = s.create("/v1/parties", `{"name":"Seller","roles":["feed_seller"]}`)
	f.buyer = s.create("/v1/parties", `{"name":"Buyer","roles":["buyer"]}`)
	var stock []members
	for i := range f.sites {
		x := &f.sites[i]
		x.id = s.create("/v1/sites", members{"name": fmt.Sprint("Site ", i), "kind": "school"})
		for n := range 3 {
			x.tanks = append(x.tanks, s.create("/v1/units", members{"site_id": x.id, "name": fmt.Sprint("Tank ", n), "kind": "tank", "water_volume_l": 1000 * (n + 3)}))
		}
		x.bed = s.create("/v1/units", members{"site_id": x.id, "name": "Bed", "kind": "bed"})
		x.pump = s.create("/v1/equipment", members{"site_id": x.id, "name": "Pump", "cost": "730.00", "life_months": 24, "in_use_from": day(-10)})
		for n := range 4 {
			id := newText()
			s.do("POST", "/v1/batches", s.coordinator, members{"id": id, "site_id": x.id, "unit_id": x.tanks[n%3], "species": "CLZ", "name": fmt.Sprint("Batch ", n)}).want(http.StatusCreated)
			x.all = append(x.all, id)
			if n < 3 { // the last one waits for what is sent
				stock = append(stock, members{"id": newText(), "kind": "stocking", "site_id": x.id, "occurred_on": day(0), "batch_id": id, "origin": "bought",
					"count": 2000 + 100*n, "mean_weight_g": 12, "supplier_id": f.hatchery, "unit_price": "0.1234"})
			}
		}
		x.batches = x.all[:2] // fed with what was bought
	}
	s.recorded(stock...)
	return f
}

// change changes dated facts that figures depend on, while others record.
func (f *farms) change() {
	f.protein(1, members{"protein_percent": 40, "valid_from": day(30)})
	f.protein(2, members{"protein_percent": 36, "valid_from": day(15)})
	f.do("PATCH", "/v1/coop", f.coordinator, members{"share_by": "unit_days", "valid_from": day(60)}, "If-Match", "*").want(http.StatusOK)
	for _, x := range f.sites {
		f.do("PATCH", "/v1/equipment/"+x.pump, f.coordinator, members{"cost": "500.00", "retired_on": day(70), "valid_from": day(40)}, "If-Match", "*").want(http.StatusOK)
		f.do("PATCH", "/v1/units/"+x.tanks[0], f.coordinator, members{"water_volume_l": 2500.5, "valid_from": day(50)}, "If-Match", "*").want(http.StatusOK)
	}
}

// finish has two instances record in turn, in time, so that nothing is folded again,
// and print figures in between, which they must not remember for too long.
func (f *farms) finish(instances []*service) {
	f.t.Helper()
	for i := range 12 {
		via := instances[i%2]
		for _, x := range f.sites {
			on := day(185 + i)
			via.recorded(
				members{"id": newText(), "kind": "receipt", "site_id": x.id, "occurred_on": on, "product_id": f.feed, "origin": "bought", "quantity": 2.5, "amount": "7.01"},
				members{"id": newText(), "kind": "expense", "site_id": x.id, "occurred_on": on, "category": "energy", "amount": "31.07"})
			via.do("GET", "/v1/batches/"+x.all[i%4]+"/performance?as_of="+dateOf(asOfs[0]).String(), f.coordinator, nil).want(http.StatusOK)
		}
	}
}

// protein changes the protein of the feed, of which a version is known.
func (f *farms) protein(version int, change members) {
	f.t.Helper()
	f.do("PATCH", "/v1/products/"+f.feed, f.coordinator, change, "If-Match", fmt.Sprintf(`"%d"`, version)).want(http.StatusOK)
}

// model returns the model of a site, of what the registry was told.
func (f *farms) model(x farm, journal map[domain.SiteID][]domain.Entry) *model {
	site := id[domain.SiteFacts](x.id)
	m := &model{site: site, currency: "ZMW", entries: journal[site], water: map[domain.UnitID][]domain.Revision[*domain.Thousandths]{}}
	m.facts = domain.Facts{Batches: map[domain.BatchID]domain.Batch{}, Units: map[domain.UnitID]domain.Unit{}, Products: map[domain.ProductID]domain.ProductFacts{
		id[domain.Product](f.feed): {Category: "feed", Unit: "kg", Stored: true, Protein: []domain.ProteinFrom{
			{From: -1 << 20, Percent: new(domain.Thousandths(32_000))}, {From: dateOf(5), Percent: new(domain.Thousandths(44_000))}, {From: dateOf(15), Percent: new(domain.Thousandths(36_000))}, {From: dateOf(30), Percent: new(domain.Thousandths(40_000))}}},
		id[domain.Product](f.gift):  {Category: "feed", Unit: "kg", Stored: true, Protein: []domain.ProteinFrom{{From: -1 << 20, Percent: new(domain.Thousandths(28_500))}}},
		id[domain.Product](f.salt):  {Category: "other", Unit: "kg", Stored: true, Protein: []domain.ProteinFrom{{From: -1 << 20}}},
		id[domain.Product](f.power): {Category: "energy", Unit: "kwh", Protein: []domain.ProteinFrom{{From: -1 << 20}}},
	}}
	litres := func(n int) domain.Revision[*domain.Thousandths] {
		return domain.Revision[*domain.Thousandths]{Facts: new(domain.Thousandths(n))}
	}
	for n, tank := range x.tanks {
		unit := id[domain.Unit](tank)
		m.facts.Units[unit] = domain.Unit{ID: unit}
		m.water[unit] = append(m.water[unit], litres(1_000_000*(n+3)))
	}
	later := litres(2_500_500)
	later.ValidFrom = new(dateOf(50))
	m.water[id[domain.Unit](x.tanks[0])] = append(m.water[id[domain.Unit](x.tanks[0])], later)
	m.facts.Units[id[domain.Unit](x.bed)] = domain.Unit{}
	for n, b := range x.all {
		batch := id[domain.Batch](b)
		m.facts.Batches[batch] = domain.Batch{ID: batch, Unit: id[domain.Unit](x.tanks[n%3]), Species: "CLZ"}
	}
	pump := domain.Equipment{Cost: 730_00, LifeMonths: 24, InUseFrom: dateOf(-10)}
	revised := pump
	revised.Cost, revised.RetiredOn = 500_00, new(dateOf(70))
	m.equipment = domain.DepreciationLines([]domain.EquipmentFrom{{From: dateOf(-10), Equipment: pump}, {From: dateOf(40), Equipment: revised}})
	m.rules = []domain.Revision[string]{{Facts: domain.ByGramDays}, {Facts: domain.ByUnitDays, ValidFrom: new(dateOf(60))}}
	return m
}

// id reads an id that the service has given.
func id[T any](text string) domain.ID[T] {
	v, err := domain.ParseID[T](text)
	if err != nil {
		panic(err)
	}
	return v
}

// A client records what comes into its mind.
type client struct {
	*farms
	via    *service // one of the instances
	random *rand.Rand
}

func (c *client) oneIn(n int) bool { return c.random.IntN(n) == 0 }

func some[T any](r *rand.Rand, from []T) T { return from[r.IntN(len(from))] }

func (c *client) money() string {
	return fmt.Sprintf("%d.%02d", c.random.IntN(90), 1+c.random.IntN(99))
}

// kg makes up a weight of at least and at most so many kg.
func (c *client) kg(least, most int) json.Number {
	grams := least*1000 + 1 + c.random.IntN((most-least)*1000)
	return json.Number(fmt.Sprintf("%d.%03d", grams/1000, grams%1000))
}

// act sends one request: some entries, or a reversal.
func (c *client) act() {
	if c.oneIn(6) {
		c.reverse()
		return
	}
	var entries []members
	for range 1 + c.random.IntN(4) {
		entries = append(entries, c.entry())
	}
	body := members{"entries": entries}
	if !slices.ContainsFunc(entries, func(e members) bool { return e["site_id"] == c.sites[0].id }) {
		body["on_refusal"] = "hold" // where some are held, all is folded again with each that comes
	}
	r := c.via.do("POST", "/v1/entries", c.coordinator, body).want(http.StatusOK)
	c.mu.Lock()
	defer c.mu.Unlock()
	for i, e := range entries {
		if r.at(fmt.Sprintf("/results/%d/status", i)) == "created" {
			c.made = append(c.made, e)
		}
	}
}

// reverse takes back one of the entries that were recorded, if the books allow it.
func (c *client) reverse() {
	c.mu.Lock()
	if len(c.made) == 0 {
		c.mu.Unlock()
		return
	}
	e := some(c.random, c.made)
	c.mu.Unlock()
	body := members{"id": newText(), "reason": "It was not so."}
	if c.oneIn(2) {
		replacement := c.entry()
		replacement["site_id"] = e["site_id"]
		body["replacement"] = replacement
	}
	r := c.via.do("POST", "/v1/entries/"+e["id"].(string)+"/reversal", c.coordinator, body)
	switch r.status {
	case http.StatusCreated:
		c.mu.Lock()
		c.reversed++
		c.mu.Unlock()
	case http.StatusUnprocessableEntity, http.StatusBadRequest, http.StatusConflict:
	default:
		c.t.Errorf("a reversal is answered with %d %s", r.status, r.body)
	}
}

// onTheWay returns an entry of something that was sent, if there is one.
func (c *client) onTheWay() members {
	c.mu.Lock()
	defer c.mu.Unlock()
	sent := slices.DeleteFunc(slices.Clone(c.made), func(e members) bool { return e["kind"] != "sent" })
	if len(sent) == 0 {
		return nil
	}
	return some(c.random, sent)
}
