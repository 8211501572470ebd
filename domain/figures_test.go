package domain_test

import (
	"math"
	"testing"

	"shoalbook/domain"
)

// K-12, computed.
func TestFiguresOfAGrowingBatch(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Receipt{Product: feed, Quantity: qty(200), Origin: "bought", Amount: new(domain.Money(200_00))})
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 200, MeanWeight: gram(5)})
	j.add(day(10), domain.Death{Batch: a, Count: 12, Weight: new(kg(1.2))})
	j.add(day(20), domain.Move{Batch: a, ToBatch: &b, Count: new(domain.Fish(20)), Weight: new(kg(3))})
	j.add(day(90), domain.Harvest{Batch: a, Count: new(domain.Fish(150)), Weight: kg(120)})
	j.add(day(90), domain.Feeding{Batch: a, Product: feed, Weight: kg(180)})
	j.add(day(90), domain.Count{Batch: a, Count: 10, Weight: new(kg(8))})
	p := j.fold(t).figures(a, day(90), "KES")
	p.want(t, map[string]string{
		"state": `"growing"`, "fish.stocked": "200", "fish.dead": "12", "fish.moved_out": "20", "fish.harvested": "150",
		"fish.on_hand": "10", "fish.unaccounted": "8",
		"biomass.stocked_kg": "1", "biomass.dead_kg": "1.2", "biomass.dead_estimated": "false", "biomass.moved_out_kg": "3",
		"biomass.harvested_kg": "120", "biomass.on_hand_kg": "8", "biomass.on_hand_basis": `"counted"`, "biomass.net_gain_kg": "130",
		"survival.by_account": "0.9", "survival.by_recorded_deaths": "0.94", "feed.fcr_on_harvest": "1.5",
		"feed.measured_to": `"` + day(90).String() + `"`,
	})
	p.near(t, 1e-4, map[string]float64{"feed.fcr_biological": 1.3720, "feed.fcr_economic": 1.3846, "feed.protein_efficiency": 2.2778})
	p.near(t, 1e-6, map[string]float64{"feed.efficiency": 130.0 / 180})
}

// K-14b, computed.
func TestFiguresOfAClosedBatch(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Receipt{Product: feed, Quantity: qty(1368), Origin: "bought", UnitPrice: new(domain.UnitPrice(95_0000))})
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 2000, MeanWeight: gram(10), Amount: new(domain.Money(240_00))})
	j.add(day(60), domain.Death{Batch: a, Count: 160, Weight: new(kg(24))})
	for n := range 171 {
		j.add(day(n), domain.Feeding{Batch: a, Product: feed, Weight: kg(8)}) // 1368 kg in all
	}
	j.add(day(30), domain.Labour{Hours: 100_000, Amount: new(domain.Money(180_00)), Batch: &a})
	j.add(day(31), domain.Expense{Category: "transport", Amount: 60_00, Batch: &a})
	j.add(day(32), domain.Expense{Category: "other", Amount: 40_00}) // of the site: the only batch bears it
	j.add(day(150), domain.Harvest{Batch: a, Count: new(domain.Fish(900)), Weight: kg(405)})
	j.add(day(180), domain.Harvest{Batch: a, Count: new(domain.Fish(880)), Weight: kg(475), Empties: true})
	f := j.fold(t)
	p := f.figures(a, day(240), "KES")
	p.want(t, map[string]string{
		"state": `"closed"`, "fish.harvested": "1780", "biomass.harvested_kg": "880", "fish.unaccounted": "60", "fish.on_hand": "0",
		"survival.by_account": "0.89", "survival.by_recorded_deaths": "0.92", "feed.fed_kg": "1368", "growth.days": "180",
		"cost.total": `"1819.60"`, "cost.per_kg": `"2.0677"`, "cost.per_kg_basis": `"harvested"`, "cost.provisional": "false",
		"completeness.days_with_feed": "171", "completeness.days": "180",
	})
	p.near(t, 1e-4, map[string]float64{"feed.fcr_economic": 1.5907, "feed.fcr_biological": 1.5475, "growth.sgr": 2.1671, "growth.daily_gain_g": 2.6910})
	if i := p.Interval; i == nil || math.Abs(i[0]-0.8755) > 1e-4 || math.Abs(i[1]-0.9030) > 1e-4 {
		t.Errorf("the interval of survival is %v, want 0.8755–0.9030", i)
	}
	by := map[string]domain.Money{}
	for _, c := range p.ByCategory {
		by[c.Category.String()] = c.Amount
	}
	for name, want := range map[string]domain.Money{"feed": 1299_60, "fingerlings": 240_00, "labour": 180_00, "transport": 60_00, "other": 40_00} {
		if by[name] != want {
			t.Errorf("%s cost %d, want %d", name, by[name], want)
		}
	}
	// Shared cost may still move until the month of the closing is over.
	f.figures(a, day(180), "KES").want(t, map[string]string{"cost.provisional": "true"})
	f.figures(a, day(180).Month().Last(), "KES").want(t, map[string]string{"cost.provisional": "true"})
	f.figures(a, day(180).Month().Last()+1, "KES").want(t, map[string]string{"cost.provisional": "false"})
}

// K-24, published and recomputed: Isyagi, Veverica, Asiimwe & Daniels 2009, Manual
// for the Commercial Pond Production of the African Catfish in Uganda, Table 10.6,
// system B (farm-made feed). Uganda's shilling has no decimals.
func TestFiguresOfAPublishedBudget(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Receipt{Product: plain, Quantity: qty(32_524.8), Origin: "bought", UnitPrice: new(domain.UnitPrice(950_0000))})
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 11_550, UnitPrice: new(domain.UnitPrice(180_0000))})
	j.add(day(20), domain.Death{Batch: a, Count: 1386}) // survival 88 %
	j.add(day(100), domain.Feeding{Batch: a, Product: plain, Weight: kg(32_524.8)})
	j.add(day(240), domain.Harvest{Batch: a, Count: new(domain.Fish(10_164)), Weight: kg(8131.2), Empties: true})
	j.add(day(241), domain.Sale{Batch: &a, Disposal: "sold", Weight: kg(8131.2), UnitPrice: new(domain.UnitPrice(3000_0000))})
	p := j.fold(t).figures(a, day(300), "UGX")
	p.want(t, map[string]string{
		"cost.total": `"32977560"`, "cost.variable": `"32977560"`, "cost.fixed": `"0"`, "income.cash": `"24393600"`, "margin": `"-8583960"`,
		"feed.fcr_on_harvest": "4", "survival.by_recorded_deaths": "0.88", "survival.by_account": "0.88", "fish.unaccounted": "0",
	})
	p.near(t, 0.05, map[string]float64{"cost.per_kg": 4055.7})
	for _, c := range p.ByCategory {
		if share := float64(c.Amount) / 32_977_560; c.Category == domain.Feed && (c.Amount != 30_898_560 || math.Abs(share-0.94) > 0.005) {
			t.Errorf("feed cost %d, %v of all", c.Amount, share)
		}
		if c.Category == domain.Fingerlings && c.Amount != 2_079_000 {
			t.Errorf("fingerlings cost %d", c.Amount)
		}
	}
	p.null(t, "the weight of the fish at stocking or arrival is not known", "growth.sgr", "growth.daily_gain_g", "growth.tgc",
		"biomass.net_gain_kg", "feed.fcr_economic", "feed.fcr_biological", "feed.efficiency", "feed.protein_efficiency", "biomass.biomass_days_kg")
	p.null(t, "the weight of 11550 of these fish is not known", "biomass.stocked_kg")
	p.null(t, "the weight of 1386 of these fish is not known", "biomass.dead_kg")
	p.want(t, map[string]string{"growth.days": "240", "growth.mean_weight_g": "800"})
}

// Legendre et al. 1992, J. Fish Biol. 40:59–79, digitised in open data: the points
// of K-20 on civil dates, 42 days apart (computed on them).
func TestGrowthOfAPublishedSeries(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(42), domain.Stocking{Batch: a, Origin: "bought", Count: 1000, MeanWeight: gram(43.739)})
	j.add(day(42), domain.Water{Unit: tank1, TemperatureC: new(milli(29.5))})
	j.add(day(84), domain.Sample{Batch: a, Count: 1, WeightG: gram(84.341)})
	p := j.fold(t).figures(a, day(84), "KES")
	p.near(t, 1e-4, map[string]float64{"growth.sgr": 1.5634, "growth.daily_gain_g": 0.9667, "growth.tgc": 0.6958, "growth.mean_weight_g": 84.341})
	p.want(t, map[string]string{"growth.days": "42", "biomass.on_hand_basis": `"sampled"`, "biomass.on_hand_kg": "84.341"})
	if w := p.byName["growth.tgc"].Why; w == nil || w.Estimated || w.Denominator != "1239 °C·day" {
		t.Errorf("the growth by temperature is explained by %+v", w)
	}
}

// K-9, computed: the log-mean of 1, 20, 75, 128 kg on days 0, 60, 120, 180, not the
// trapezoid 9570.
func TestBiomassDays(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 1000, MeanWeight: gram(1)})
	for n, weight := range map[int]float64{60: 20, 120: 75, 180: 128} {
		j.add(day(n), domain.Sample{Batch: a, Count: 1000, Weight: new(kg(weight))})
	}
	f := j.fold(t)
	f.figures(a, day(180), "KES").near(t, 0.01, map[string]float64{"biomass.biomass_days_kg": 8826.24})
	// After the last weighing the weight is constant.
	f.figures(a, day(190), "KES").near(t, 0.01, map[string]float64{"biomass.biomass_days_kg": 8826.24 + 1280})
}

// K-S, computed: 0.95 × 0.80 by the product limit, where deaths alone say 0.85;
// then 4 more of 40.
func TestSurvivalToDay(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 100, MeanWeight: gram(5)})
	j.add(day(3), domain.Death{Batch: a, Count: 5})
	j.add(day(10), domain.Harvest{Batch: a, Count: new(domain.Fish(45)), Weight: kg(9)})
	j.add(day(20), domain.Death{Batch: a, Count: 10})
	j.add(day(60), domain.Death{Batch: a, Count: 4}) // of 40, on the day itself
	f := j.fold(t)
	p := f.figures(a, day(95), "KES")
	p.want(t, map[string]string{"survival.by_recorded_deaths": "0.81", "survival.by_book": "0.81"})
	p.null(t, "never counted", "survival.by_account", "survival.interval", "fish.unaccounted")
	want := []domain.SurvivalToDay{{Day: 7, Survival: 0.95}, {Day: 30, Survival: 0.76}, {Day: 60, Survival: 0.684}, {Day: 90, Survival: 0.684}}
	if len(p.ToDay) != len(want) {
		t.Fatalf("survival to day is %v, want %v", p.ToDay, want)
	}
	for i, w := range want {
		if got := p.ToDay[i]; got.Day != w.Day || math.Abs(got.Survival-w.Survival) > 1e-12 {
			t.Errorf("survival to day is %v, want %v", got, w)
		}
	}
}

// Fish at risk and censoring of the product limit: fish that leave are at risk on
// their last day, those that arrive on their first, those not found until the count.
func TestSurvivalRiskSet(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 100, MeanWeight: gram(5)})
	j.add(day(0), domain.Stocking{Batch: b, Origin: "bought", Count: 100, MeanWeight: gram(5)})
	j.add(day(2), domain.Death{Batch: a, Count: 10})                                       // of 100 + 20
	j.add(day(2), domain.Move{Batch: b, ToBatch: &a, Count: new(domain.Fish(20))})         // arrive on that day
	j.add(day(2), domain.Harvest{Batch: a, Count: new(domain.Fish(30)), Weight: kg(0.15)}) // after the deaths
	j.add(day(4), domain.Death{Batch: a, Count: 8})                                        // of 80
	j.add(day(5), domain.Death{Batch: a, Count: 2})                                        // of 72, before the count
	j.add(day(5), domain.Count{Batch: a, Count: 40})                                       // 30 are missing
	j.add(day(6), domain.Death{Batch: a, Count: 4})                                        // of 40
	f := j.fold(t)
	want := (110.0 / 120) * (72.0 / 80) * (70.0 / 72) * (36.0 / 40)
	if got := f.Batches[a].Survival(); math.Abs(got-want) > 1e-12 {
		t.Errorf("survival is %v, want %v", got, want)
	}
}

// Ratios are of sums (computed): 1500 kg of feed for a gain of 1000 kg and 60 kg for
// 20 kg make 1.5294, not the mean 2.25 of 1.5 and 3.
func TestRatiosAreOfSums(t *testing.T) {
	t.Parallel()
	var j journal
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 2000, MeanWeight: gram(10)})
	j.add(day(1), domain.Feeding{Batch: a, Product: feed, Weight: kg(1500)})
	j.add(day(100), domain.Harvest{Batch: a, Count: new(domain.Fish(1900)), Weight: kg(1018)})
	j.add(day(100), domain.Count{Batch: a, Count: 100, Weight: new(kg(2))})
	j.fold(t).figures(a, day(100), "KES").want(t, map[string]string{"feed.fcr_economic": "1.5", "biomass.net_gain_kg": "1000"})
	j.add(day(101), domain.Feeding{Batch: a, Product: feed, Weight: kg(60)})
	j.add(day(150), domain.Harvest{Batch: a, Count: new(domain.Fish(100)), Weight: kg(22), Empties: true})
	j.fold(t).figures(a, day(150), "KES").near(t, 1e-4, map[string]float64{"feed.fcr_economic": 1.5294})
}

func TestFiguresWithoutADenominator(t *testing.T) {
	t.Parallel()
	empty := figuresOf(domain.Measure{AsOf: day(0), Currency: "KES"})
	empty.null(t, "no fish were stocked", "survival.by_account", "survival.by_book", "survival.by_recorded_deaths", "growth.sgr", "growth.days", "completeness.days")
	empty.null(t, "there are no fish in the batch yet", "biomass.net_gain_kg", "feed.fcr_economic", "cost.per_kg")
	empty.want(t, map[string]string{"fish.on_hand": "0", "state": `"growing"`, "cost.total": `"0.00"`})

	var j journal
	j.add(day(0), domain.Stocking{Batch: a, Origin: "bought", Count: 100, MeanWeight: gram(5)})
	p := j.fold(t).figures(a, day(10), "KES")
	p.null(t, "not weighed since they were stocked", "growth.sgr", "growth.daily_gain_g", "growth.tgc", "growth.days", "feed.fcr_economic", "feed.fcr_biological", "feed.measured_to")
	p.null(t, "nothing was harvested yet", "feed.fcr_on_harvest")
	p.null(t, "no lengths were measured", "growth.condition_factor")
	p.null(t, "no gain in weight yet", "cost.per_kg", "cost.per_kg_net", "cost.per_kg_with_unpaid", "cost.per_kg_with_donated", "cost.per_kg_basis")
	p.null(t, "water volume", "biomass.net_yield_kg_m3", "biomass.harvest_yield_kg_m3", "margin_per_m3")

	j.add(day(20), domain.Sample{Batch: a, Count: 10, WeightG: gram(40)}) // they lost weight
	p = j.fold(t).figures(a, day(20), "KES")
	p.null(t, "no gain in weight to divide by", "feed.fcr_economic", "feed.fcr_biological")
	p.null(t, "no water temperature", "growth.tgc")
	p.want(t, map[string]string{"biomass.net_gain_kg": "-0.1"})
	p.near(t, 1e-4, map[string]float64{"growth.sgr": 100 * math.Log(4.0/5) / 20})
}
