package domain_test

import (
	"testing"

	"shoalbook/domain"
)

// quote offers fish at 10.00 each, 9.00 from 500 and 8.50 from 1000 on.
func quote() domain.Quote {
	return domain.Quote{
		ID: id[domain.Quote](1), Round: id[domain.Round](1), Party: hatchery, MeanWeight: new(gramMg(4)),
		Steps:      []domain.PriceStep{{From: 1, UnitPrice: 1000_0000}, {From: 500, UnitPrice: 900_0000}, {From: 1000, UnitPrice: 850_0000}},
		StepsApply: domain.StepsAllUnits, LeastOrder: 200, Pack: 100, Most: 5000, Earliest: day(30), Latest: day(40),
		FeePerKm: 50_0000, Stops: []domain.Stop{{Site: site, Km: 12_500}, {Site: otherSite, Km: 40_000}}, SpeedKmH: domain.DefaultSpeed,
		CarriedIn: new(domain.CarriedInBag), Litres: new(milli(10)), ValidUntil: day(25), DepositPercent: 30_000,
	}
}

func TestQuoteCheck(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*domain.Quote)
		wrong  string
		code   string
	}{
		"as it should be":     {func(*domain.Quote) {}, "", ""},
		"steps that overlap":  {func(q *domain.Quote) { q.Steps[2].From = 500 }, "/steps/2/from", "price_steps"},
		"steps that fall":     {func(q *domain.Quote) { q.Steps[1].From = 1 }, "/steps/1/from", "price_steps"},
		"prices that rise":    {func(q *domain.Quote) { q.Steps[2].UnitPrice = 901_0000 }, "/steps/2/unit_price", "price_steps"},
		"a gap at first":      {func(q *domain.Quote) { q.Steps = q.Steps[1:] }, "/steps/0/from", "price_steps"},
		"no price":            {func(q *domain.Quote) { q.Steps = nil }, "/steps", "invalid_request"},
		"nobody knows how":    {func(q *domain.Quote) { q.StepsApply = "" }, "/steps_apply", "invalid_request"},
		"stops that fall":     {func(q *domain.Quote) { q.Stops[1].Km = 12_000 }, "/stops/1/km", "impossible_route"},
		"a stop twice":        {func(q *domain.Quote) { q.Stops[1].Site = site }, "/stops/1/site_id", "impossible_route"},
		"a way to nowhere":    {func(q *domain.Quote) { q.Stops = nil }, "/fee_per_km", "impossible_route"},
		"least above most":    {func(q *domain.Quote) { q.LeastOrder = 5001 }, "/least_order", "impossible_quote"},
		"a pack above most":   {func(q *domain.Quote) { q.Pack = 5001 }, "/pack", "impossible_quote"},
		"fish by the tank":    {func(q *domain.Quote) { q.CarriedIn, q.FishPerVessel = new("tank"), new(domain.Fish(5)) }, "/fish_per_vessel", "impossible_quote"},
		"fish of no weight":   {func(q *domain.Quote) { q.MeanWeight = nil }, "/mean_weight_g", "impossible_quote"},
		"fish that expire":    {func(q *domain.Quote) { q.ExpiresOn = new(day(60)) }, "/expires_on", "impossible_quote"},
		"all dead":            {func(q *domain.Quote) { q.DeathsPercent = 100_000 }, "/deaths_percent", "invalid_request"},
		"more than there can": {func(q *domain.Quote) { q.Steps[0].UnitPrice = 1e15 }, "/steps/0/unit_price", "invalid_request"},
	} {
		q, r := quote(), round()
		c.change(&q)
		err := q.Check()
		if err == nil {
			err = q.Fits(&r)
		}
		if wrong, code := refusedFor(err); wrong != c.wrong || code != c.code {
			t.Errorf("a quote %s is refused for %q as %q, want %q as %q", name, wrong, code, c.wrong, c.code)
		}
	}
	r := round()
	r.Species, r.Product = nil, &feed
	q := quote()
	q.WeightCVPercent, q.DeathsPercent = new(milli(12)), 1000
	if wrong, _ := refusedFor(q.Fits(&r)); wrong != "/mean_weight_g /weight_cv_percent /carried_in /deaths_percent" {
		t.Errorf("feed that swims is refused for %q", wrong)
	}
}

// Computed by hand from the steps of [quote].
func TestQuotePrice(t *testing.T) {
	t.Parallel()
	q := quote()
	for n, want := range map[domain.Pieces]domain.Money{1: 1000, 499: 499_000, 500: 450_000, 999: 899_100, 1000: 850_000} {
		if got := q.Price(n); got != want {
			t.Errorf("%d fish cost %d, want %d", n, got, want)
		}
	}
	q.StepsApply = domain.StepsIncremental
	for n, want := range map[domain.Pieces]domain.Money{499: 499_000, 500: 499_900, 1000: 499_000 + 500*900 + 850} {
		if got := q.Price(n); got != want {
			t.Errorf("%d fish cost %d by steps, want %d", n, got, want)
		}
	}
	if got := q.Deposit(500); got != 149_970 {
		t.Errorf("the deposit is %d, want 30 %% of 4999.00", got)
	}
	if km, ok := q.KmTo(otherSite); !ok || q.RouteFee(km) != 2000 {
		t.Errorf("the way of 40 km costs %d, want 20.00", q.RouteFee(km))
	}
	if _, ok := q.KmTo(id[domain.SiteFacts](99)); ok {
		t.Error("a site that is no stop is delivered to")
	}
}

func TestQuoteCheckOrder(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		n    domain.Pieces
		day  domain.Date
		code string
	}{
		{500, day(25), ""}, {500, day(26), "quote_expired"}, {100, day(20), "below_least_order"},
		{5100, day(20), "above_most"}, {550, day(20), "not_whole_packs"},
	} {
		q := quote()
		if _, code := refusedFor(q.CheckOrder(c.n, c.day)); code != c.code {
			t.Errorf("an order of %d is refused as %q, want %q", c.n, code, c.code)
		}
	}
}
