package simulate

import (
	"fmt"
	"math"

	"shoalbook/domain"
)

// world is what the sites have in common.
type world struct {
	Options
	coop       *Coop
	hatcheries []hatchery
	sellers    []seller
	buyers     []domain.PartyID
	funder     domain.PartyID
	power      domain.PartyID
	feeds      []*feed
	kwh        domain.ProductID
	salt       domain.ProductID
	bags       domain.ProductID
}

type hatchery struct {
	id    domain.PartyID
	truth HatcheryTruth
	price float64 // multiplies that of the species
}

type seller struct {
	id    domain.PartyID
	price float64 // multiplies that of the feed
}

// feed is a feed as the fish find it.
type feed struct {
	id    domain.ProductID
	price float64 // of 1 kg
	worth float64 // kg of it that do what 1 kg of the best does
}

// The feeds, in the order of world.feeds.
const (
	starter = iota
	catfishGrower
	tilapiaGrower
	mash
)

func newWorld(o Options) *world {
	r := newDice(o.Seed, 0)
	w := &world{Options: o, coop: &Coop{
		Facts: domain.Coop{ID: newID[domain.Coop](r), Name: coopName, Currency: currency, Zone: Zone, Country: country, ShareBy: domain.ByGramDays},
		Truth: Truth{Hatcheries: map[domain.PartyID]HatcheryTruth{}, Sites: map[domain.SiteID]SiteTruth{}, Batches: map[domain.BatchID]*BatchTruth{}},
	}}
	// From the best to the worst; the worst is the cheapest.
	grades := []HatcheryTruth{
		{DeadOnArrival: 0.010, Short: -0.010, Growth: 1.05, Frailty: 0.85},
		{DeadOnArrival: 0.018, Short: 0.010, Growth: 1.00, Frailty: 1.00},
		{DeadOnArrival: 0.045, Short: 0.035, Growth: 0.93, Frailty: 1.30},
	}
	for i, name := range hatcheryNames {
		h := hatchery{id: w.party(r, name, "hatchery"), truth: grades[i], price: 1.12 - 0.12*float64(i)}
		w.hatcheries = append(w.hatcheries, h)
		w.coop.Truth.Hatcheries[h.id] = h.truth
	}
	for i, name := range sellerNames {
		w.sellers = append(w.sellers, seller{w.party(r, name, "feed_seller"), 1.05 - 0.05*float64(i)})
	}
	for _, name := range buyerNames {
		w.buyers = append(w.buyers, w.party(r, name, "buyer"))
	}
	w.funder = w.party(r, funderName, "funder")
	w.power = w.party(r, powerName, "other")
	for _, f := range []struct {
		name              string
		protein, moisture domain.Thousandths
		price, worth      float64
	}{
		{"Starter crumble 2 mm", 45_000, 9_000, 205, 1.00},
		{"Catfish pellets 4 mm", 40_000, 9_500, 168, 1.04},
		{"Tilapia pellets 3 mm", 32_000, 9_500, 138, 1.05},
		{"Mill mash", 26_000, 12_000, 86, 1.22},
	} {
		id := w.product(r, domain.Product{Name: f.name, Category: "feed", Unit: "kg", Stored: true, ProteinPercent: &f.protein, MoisturePercent: &f.moisture})
		w.feeds = append(w.feeds, &feed{id, f.price, f.worth})
	}
	w.kwh = w.product(r, domain.Product{Name: "Electricity", Category: "energy", Unit: "kwh"})
	w.salt = w.product(r, domain.Product{Name: "Salt", Category: "medicine", Unit: "kg", Stored: true})
	w.bags = w.product(r, domain.Product{Name: "Fish bags", Category: "packaging", Unit: "piece", Stored: true})
	for i := range o.Sites {
		w.coop.Sites = append(w.coop.Sites, Site{Facts: w.place(r, i)})
	}
	return w
}

func (w *world) party(r dice, name, role string) domain.PartyID {
	n := len(w.coop.Parties)
	p := domain.Party{ID: newID[domain.Party](r), Name: name, Roles: []string{role}}
	if role != "funder" {
		p.Phone = new(fmt.Sprintf("0000 555 %03d", 100+n))
	}
	w.coop.Parties = append(w.coop.Parties, p)
	return p.ID
}

func (w *world) product(r dice, p domain.Product) domain.ProductID {
	p.ID = newID[domain.Product](r)
	w.coop.Products = append(w.coop.Products, p)
	return p.ID
}

func (w *world) place(r dice, i int) domain.SiteFacts {
	round := func(v float64) *float64 { return new(math.Round(v*1e4) / 1e4) }
	tags := []string{pick(r, "upper district", "lower district")}
	if i%5 == 2 {
		tags = append(tags, "first feed donated")
	}
	return domain.SiteFacts{
		ID: newID[domain.SiteFacts](r), Name: schoolName(i), Kind: "school", Tags: tags,
		Longitude: round(r.between(36.9, 37.5)), Latitude: round(r.between(-0.9, -0.3)),
		AltitudeM: new(domain.Thousandths(1000 * r.whole(1080, 1420))),
	}
}

// layout is what a site has and what it does with it every season.
type layout struct {
	units  []domain.Unit // names, kinds and sizes
	fish   []fishPlan
	spare  int // the unit that fish from another site go to
	pumped bool
}

// fishPlan is a batch of every season.
type fishPlan struct {
	*species
	unit  int
	count int
	then  string // what becomes of the fish when they outgrow their place
	goal  int    // the unit they go to
}

const (
	grade    = "grade"   // the bigger half becomes a batch of its own
	moveOn   = "move on" // all become a new batch
	change   = "change"  // the batch changes its unit
	stay     = ""
	litres   = domain.Thousandths(1000)
	squareM  = domain.Thousandths(1000)
	watts    = domain.Thousandths(1000)
	perCubic = domain.Thousandths(1000)
)

func tank(name string, volume domain.Thousandths) domain.Unit {
	return domain.Unit{Name: name, Kind: "tank", WaterVolumeL: new(volume * litres), DensityLimitKgM3: new(45 * perCubic)}
}

func pond(name string, volume domain.Thousandths) domain.Unit {
	return domain.Unit{Name: name, Kind: "pond", WaterVolumeL: new(volume * litres), DensityLimitKgM3: new(3 * perCubic)}
}

func bed(name string, area domain.Thousandths) domain.Unit {
	return domain.Unit{Name: name, Kind: "bed", BedAreaM2: new(area * squareM)}
}

var layouts = []layout{
	{ // three tanks and a bed on one pump; catfish are graded
		units: []domain.Unit{tank("Tank 1", 5000), tank("Tank 2", 5000), tank("Tank 3", 5000), bed("Bed 1", 8)},
		fish:  []fishPlan{{catfish, 0, 260, grade, 2}, {tilapia, 1, 160, stay, 0}},
		spare: 2, pumped: true,
	},
	{ // a pond with a cage for the small ones, and a tank
		units: []domain.Unit{{Name: "Nursery cage", Kind: "cage", WaterVolumeL: new(8000 * litres), DensityLimitKgM3: new(25 * perCubic)}, pond("Pond", 220_000), tank("Tank 1", 4500)},
		fish:  []fishPlan{{tilapia, 0, 600, change, 1}, {catfish, 2, 190, stay, 0}},
		spare: 2,
	},
	{ // two ponds
		units: []domain.Unit{pond("Upper pond", 240_000), pond("Lower pond", 180_000)},
		fish:  []fishPlan{{catfish, 0, 520, stay, 0}, {tilapia, 1, 480, stay, 0}},
		spare: 1,
	},
	{ // a tank for the small ones, two more, two beds
		units: []domain.Unit{tank("Nursery tank", 1800), tank("Tank 1", 6000), tank("Tank 2", 5000), bed("Bed 1", 6), bed("Bed 2", 6)},
		fish:  []fishPlan{{catfish, 0, 280, moveOn, 1}, {tilapia, 2, 170, stay, 0}},
		spare: 2, pumped: true,
	},
}

// build gives the site its units, its loop and its equipment.
func (s *school) build() {
	at := s.site.Facts.ID
	var loop *domain.LoopID
	if s.plan.pumped {
		l := domain.Loop{ID: newID[domain.Loop](s.dice), Site: at, Name: "Loop", PumpFlowLH: new(domain.Thousandths(s.whole(30, 50)) * 100 * litres), PumpPowerW: new(domain.Thousandths(s.whole(10, 22)) * 10 * watts)}
		s.site.Loops = append(s.site.Loops, l)
		s.pumpWatts = float64(*l.PumpPowerW / watts)
		loop = &l.ID
	}
	for _, u := range s.plan.units {
		u.ID, u.Site = newID[domain.Unit](s.dice), at
		if u.Kind == "tank" || u.Kind == "bed" {
			u.Loop = loop
		}
		s.site.Units = append(s.site.Units, u)
		if u.Kind == "bed" {
			s.beds = append(s.beds, garden{unit: u.ID, area: float64(*u.BedAreaM2 / squareM), crop: pick(s.dice, cropNames...)})
		}
	}
	equip := func(name string, cost, salvage float64, months int32, age domain.Date) *domain.Equipment {
		s.site.Equipment = append(s.site.Equipment, domain.Equipment{ID: newID[domain.Equipment](s.dice), Site: at, Name: name,
			Cost: shillings(cost), Salvage: shillings(salvage), LifeMonths: months, InUseFrom: s.joined - age})
		return &s.site.Equipment[len(s.site.Equipment)-1]
	}
	equip("Nets and scales", to(100, s.between(9_000, 14_000)), 0, 24, s.days(0, 120))
	if s.plan.pumped {
		equip("Pump", to(100, s.between(18_000, 32_000)), 2_000, 36, s.days(10, 300))
		equip("Tank liners", to(100, s.between(30_000, 48_000)), 0, 60, s.days(30, 400))
		old := equip("Old pump", 15_000, 0, 36, 800)
		old.RetiredOn = new(s.joined + 20)
	} else {
		equip("Pond fence", to(100, s.between(25_000, 60_000)), 5_000, 84, s.days(0, 500))
	}
}
