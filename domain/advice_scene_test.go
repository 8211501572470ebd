package domain_test

import (
	"slices"
	"sync"
	"testing"

	"shoalbook/domain"
)

// scene is a site whose journal is written for many days, to be seen as of any of
// them; what the registry says can be changed.
type scene struct {
	journal
	change  func(o *domain.SiteView)
	folding sync.Once
	days    []standing // from the seventh day before the first one on
}

const sceneDays = 150

// feeding of the day in g: what the table has for 100 tilapia of the weight last sampled.
func tableFeed(d int) domain.Grams {
	w := sceneWeight(d - d%14)
	percent := 3.75 // 50–100 g
	if w >= 100 {
		percent = 2.5 // 100–250 g
	}
	return domain.Grams(100 * w * percent / 100)
}

// sceneWeight is the mean weight in g on a day.
func sceneWeight(d int) float64 { return 51 + 1.2*float64(d) }

// wellKept is a journal in which nothing is wrong: 100 tilapia of 51 g in a tank of
// 2000 L, fed by the table, weighed every second week, their water read every day,
// with feed in the store and a visit a month. What skips is left out of it.
func wellKept(skips func(d int, kind string) bool) *scene {
	s := &scene{change: func(*domain.SiteView) {}}
	add := func(d int, body domain.Body) {
		if skips == nil || !skips(d, body.Kind()) {
			s.add(day(d), body)
		}
	}
	add(0, domain.Stocking{Batch: a, Origin: "bought", Count: 100, MeanWeight: gram(51), Supplier: &hatchery, Amount: new(domain.Money(100_00))})
	for d := 0; d <= sceneDays; d++ {
		if d%50 == 0 {
			add(d, domain.Receipt{Product: feed, Quantity: qty(50), Origin: "bought", Amount: new(domain.Money(50_00))})
		}
		if d%30 == 15 {
			add(d, domain.Visit{Findings: "all is well", NextOn: new(day(d + 30))})
		}
		if d%14 == 0 && d > 0 {
			add(d, domain.Sample{Batch: a, Count: 30, WeightG: gram(30 * sceneWeight(d))})
		} else if d > 0 {
			add(d, domain.Feeding{Batch: a, Product: feed, Weight: tableFeed(d)})
		}
		add(d, domain.Water{Unit: tank1, TemperatureC: new(milli(28))})
	}
	return s
}

// with adds an entry to the scene.
func (s *scene) with(d int, body domain.Body) *scene {
	s.add(day(d), body)
	return s
}

// registry changes what the registry says.
func (s *scene) registry(change func(o *domain.SiteView)) *scene {
	s.change = change
	return s
}

// standing is how a site stands at the end of a day.
type standing struct {
	batches map[domain.BatchID]*domain.BatchState
	stores  map[domain.ProductID]*domain.StoreState
	units   map[domain.UnitID]*domain.UnitState
	lastOn  *domain.Date
	visit   *domain.Visit
	visited *domain.Date
}

// fold folds the scene once and keeps how it stands at the end of each of its days.
func (s *scene) fold(t testing.TB) {
	t.Helper()
	s.folding.Do(func() {
		entries := slices.Clone(s.entries)
		domain.SortEntries(entries)
		site := domain.NewSite(site, facts())
		now := standing{}
		for d := -7; d <= sceneDays; d++ {
			n := slices.IndexFunc(entries, func(e domain.Entry) bool { return e.On > day(d) })
			if n < 0 {
				n = len(entries)
			}
			if err := site.Fold(entries[:n], nil); err != nil {
				t.Fatal(err)
			}
			for _, e := range entries[:n] {
				now.lastOn = &e.On
				if v, ok := e.Body.(domain.Visit); ok {
					now.visit, now.visited = &v, &e.On
				}
			}
			entries = entries[n:]
			now.batches, now.stores, now.units = copied(site.Batches), copied(site.Stores), copied(site.Units)
			s.days = append(s.days, now)
		}
	})
}

// copied copies the states of a map.
func copied[K comparable, V any](m map[K]*V) map[K]*V {
	c := make(map[K]*V, len(m))
	for k, v := range m {
		c[k] = new(*v)
	}
	return c
}

// at is the site as of a day.
func (s *scene) at(t testing.TB, d int) *domain.SiteView {
	t.Helper()
	s.fold(t)
	now, earlier := s.days[d+7], s.days[d]
	o := &domain.SiteView{
		Keeping: &domain.Keeping{Day: day(d), AltitudeM: new(milli(1000)),
			Units: map[domain.UnitID]*domain.Unit{tank1: {ID: tank1, Name: "Tank 1", Kind: "tank", WaterVolumeL: new(milli(2000))}, tank2: {ID: tank2, Name: "Tank 2", Kind: "tank"}},
			Loops: map[domain.LoopID]*domain.Loop{},
			Batches: map[domain.BatchID]*domain.Batch{
				a: {ID: a, Unit: tank1, Species: "TLN", Name: "Tilapia 2025", Plan: domain.Plan{TargetWeight: gram(400), TargetOn: new(day(300))}},
				b: {ID: b, Unit: tank1, Species: "TLN", Name: "Tilapia 2026"}},
			Products: map[domain.ProductID]*domain.Product{feed: {ID: feed, Name: "Tilapia grower", Category: "feed", LeadDays: new(int32(5))}},
			States:   now.batches, Water: now.units, Stores: now.stores},
		Site: site, Name: "Kisumu Primary", LastOn: now.lastOn, VisitedOn: now.visited,
		Keepers:    []domain.Contact{{Name: "Grace Achieng", Phone: new("+254 700 000001"), Who: "keeper"}},
		Suppliers:  map[domain.ProductID]domain.Contact{feed: {Name: "Lake Feeds", Phone: new("+254 700 000002"), Who: "supplier"}},
		Hatcheries: map[domain.BatchID]domain.Contact{a: {Name: "Nyanza Hatchery", Who: "supplier"}},
		FedBefore:  map[domain.BatchID]domain.Fed{}, UsedBefore: map[domain.ProductID]domain.Quantity{}, EmptySince: map[domain.UnitID]domain.Date{}}
	if now.visit != nil {
		o.NextVisit = now.visit.NextOn
	}
	for id, b := range now.batches {
		o.FedBefore[id] = domain.Fed{}
		if was := earlier.batches[id]; was != nil {
			o.FedBefore[id] = domain.Fed{Feed: was.FedG, Days: was.FedDays}
		}
		if b.ClosedOn != nil {
			o.EmptySince[b.Unit] = *b.ClosedOn
		}
	}
	for id := range now.stores {
		if was := earlier.stores[id]; was != nil {
			o.UsedBefore[id] = was.Fed
		}
	}
	s.change(o)
	return o
}

// found returns the advice of a code, and of a measure if one is given.
func found(list []domain.Advice, code, measure string) (domain.Advice, bool) {
	i := slices.IndexFunc(list, func(x domain.Advice) bool { return x.Code == code && (measure == "" || x.Measure == measure) })
	if i < 0 {
		return domain.Advice{}, false
	}
	return list[i], true
}
