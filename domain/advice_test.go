package domain_test

import (
	"slices"
	"testing"

	"shoalbook/domain"
)

// situation is something that goes wrong at a site where else nothing does, and the
// advice that is to come of it: on which days, how severe on the first, and with which
// cautions.
type situation struct {
	name     string
	scene    *scene
	code     string
	measure  string
	days     []int // first and last of each stretch of days with the advice
	slack    int   // by how many days the first may differ, where a forecast says which it is
	severity domain.Severity
	beside   []string // other codes that may be there too
	cautions []string
}

func after(d int) func(int, string) bool { return func(on int, _ string) bool { return on > d } }

func skipping(kind string, from, to int) func(int, string) bool {
	return func(d int, k string) bool { return k == kind && d >= from && d <= to }
}

func situations() []situation {
	const (
		urgent, soon, later, note    = domain.Urgent, domain.Soon, domain.Later, domain.Note
		children, electricity, spine = domain.CautionChildren, domain.CautionElectricity, domain.CautionSpines
		medicine, leaves             = domain.CautionMedicine, domain.CautionLeaves
	)
	catfish := func(o *domain.SiteView) { o.Batches[a].Species = "CLZ" }
	looped := func(pump, drain float64) func(*domain.SiteView) {
		return func(o *domain.SiteView) {
			o.Units[tank1].Loop = &water
			o.Units[bed1] = &domain.Unit{ID: bed1, Name: "Bed 1", Kind: "bed", BedAreaM2: new(milli(8)), Loop: &water}
			o.Loops[water] = &domain.Loop{ID: water, Name: "Loop", PumpFlowLH: new(milli(pump)), DrainFlowLH: new(milli(drain))}
		}
	}
	more := func(d int, factor float64) *scene { // feeds more or less on the days from d to d+6
		s := wellKept(skipping("feeding", d, d+6))
		for i := d; i < d+7; i++ {
			if i%14 != 0 {
				s.with(i, domain.Feeding{Batch: a, Product: feed, Weight: domain.Grams(factor * float64(tableFeed(i)))})
			}
		}
		return s
	}
	holiday := domain.Period{ID: id[domain.Period](61), Site: site, Kind: "holiday", Name: "April holidays", StartsOn: day(60), EndsOn: day(80)}
	inHolidays := func(feeder *string) func(*domain.SiteView) {
		return func(o *domain.SiteView) {
			fed := holiday
			fed.Feeder = feeder
			o.Calendar = []domain.Period{fed}
		}
	}
	tan := func(d int, mg, ph float64) domain.Water {
		return domain.Water{Unit: tank1, TemperatureC: new(milli(28)), PH: new(milli(ph)), TANMgL: new(milli(mg)), TANBasis: new("n")}
	}
	reads := func(w domain.Water) domain.Water { w.Unit = tank1; return w }
	return []situation{
		{name: "nobody writes for 20 days", scene: wellKept(func(d int, _ string) bool { return d > 60 && d < 80 }),
			code: "no_records", days: []int{64, 79}, severity: soon, beside: []string{"visit"}},
		{name: "a holiday without a feeder", scene: wellKept(nil).registry(inHolidays(nil)),
			code: "holiday_feeder", days: []int{46, 80}, severity: later, cautions: []string{children}},
		{name: "a holiday with a feeder", scene: wellKept(nil).registry(inHolidays(new("Mr Otieno"))), code: "holiday_feeder"},
		{name: "oxygen is low", scene: wellKept(nil).with(60, reads(domain.Water{OxygenMgL: new(milli(3.1))})).with(62, reads(domain.Water{OxygenMgL: new(milli(6.2))})),
			code: "water", measure: "oxygen", days: []int{60, 61}, severity: urgent, cautions: []string{children, electricity}},
		{name: "oxygen is rather low, and nobody reads it again", scene: wellKept(nil).with(60, reads(domain.Water{OxygenMgL: new(milli(4.6))})),
			code: "water", measure: "oxygen", days: []int{60, 74}, severity: soon, cautions: []string{children, electricity}},
		// 3.1 mg/L of total ammonia at pH 8.2 and 28 °C: 0.31 mg/L NH3-N (Emerson; computed).
		{name: "poisonous ammonia", scene: wellKept(nil).with(60, tan(60, 3.1, 8.2)).with(63, tan(63, 0.4, 8.2)),
			code: "water", measure: "nh3", days: []int{60, 62}, severity: urgent, cautions: []string{children, electricity}},
		{name: "ammonia of unknown pH", scene: wellKept(nil).with(60, reads(domain.Water{TANMgL: new(milli(2)), TANBasis: new("n")})).with(61, reads(domain.Water{TANMgL: new(milli(0.5)), TANBasis: new("n")})),
			code: "water", measure: "tan", days: []int{60, 60}, severity: soon, cautions: []string{children, electricity}},
		{name: "nitrite", scene: wellKept(nil).with(60, reads(domain.Water{NO2MgL: new(milli(1.5))})).with(64, reads(domain.Water{NO2MgL: new(milli(0.8))})),
			code: "water", measure: "no2", days: []int{60, 63}, severity: soon, cautions: []string{children, electricity}},
		{name: "nitrate", scene: wellKept(nil).with(60, reads(domain.Water{NO3MgL: new(milli(450))})).with(64, reads(domain.Water{NO3MgL: new(milli(300))})),
			code: "water", measure: "no3", days: []int{60, 63}, severity: soon, cautions: []string{children, electricity}},
		{name: "sour water", scene: wellKept(nil).with(60, reads(domain.Water{PH: new(milli(6.2))})).with(61, reads(domain.Water{PH: new(milli(6.5))})),
			code: "water", measure: "ph", days: []int{60, 60}, severity: soon, cautions: []string{children}},
		{name: "alkaline water", scene: wellKept(nil).with(60, reads(domain.Water{PH: new(milli(8.9))})).with(62, reads(domain.Water{PH: new(milli(8.4))})),
			code: "water", measure: "ph", days: []int{60, 61}, severity: urgent, cautions: []string{children}},
		{name: "pH that jumps", scene: wellKept(nil).with(59, reads(domain.Water{PH: new(milli(7))})).with(60, reads(domain.Water{PH: new(milli(7.5))})).with(62, reads(domain.Water{PH: new(milli(7.4))})),
			code: "water", measure: "ph", days: []int{60, 61}, severity: soon, cautions: []string{children}},
		{name: "hot water", scene: wellKept(skipping("water", 60, 61)).with(60, reads(domain.Water{TemperatureC: new(milli(33.2))})).with(61, reads(domain.Water{TemperatureC: new(milli(32))})),
			code: "water", measure: "temperature", days: []int{60, 60}, severity: soon, cautions: []string{children, electricity}},
		{name: "cold water", scene: wellKept(skipping("water", 60, 61)).with(60, reads(domain.Water{TemperatureC: new(milli(13))})).with(61, reads(domain.Water{TemperatureC: new(milli(13))})),
			code: "water", measure: "temperature", days: []int{60, 62}, severity: urgent, beside: []string{"ration_change"}, cautions: []string{children}},
		{name: "an outbreak", scene: wellKept(nil).with(60, domain.Death{Batch: a, Count: 8}).with(61, domain.Death{Batch: a, Count: 6}).registry(catfish),
			code: "deaths", days: []int{60, 67}, severity: urgent, beside: []string{"ration_change"}, cautions: []string{medicine, children, spine}},
		{name: "dead on arrival", scene: wellKept(nil).with(1, domain.Death{Batch: a, Count: 8}).registry(catfish),
			code: "deaths", days: []int{1, 14}, severity: soon, beside: []string{"ration_change"}, cautions: []string{children, spine}},
		{name: "dead of being moved", scene: wellKept(nil).with(60, domain.Move{Batch: a, ToUnit: &tank2}).with(61, domain.Death{Batch: a, Count: 8}),
			code: "deaths", days: []int{61, 74}, severity: soon, beside: []string{"ration_change"}, cautions: []string{children}},
		{name: "under withdrawal by degree-days that nobody reads", scene: wellKept(skipping("water", 0, 200)).with(60, domain.Treatment{Batch: a, What: new("Oxytetracycline"), Dose: "55 mg/kg", Reason: "spots", WithdrawalDegreeDays: new(domain.DegreeDays(500))}),
			code: "withdrawal", days: []int{60, sceneDays}, severity: soon, cautions: []string{medicine}},
		{name: "under withdrawal", scene: wellKept(nil).with(60, treated(10)), code: "withdrawal", days: []int{60, 70}, severity: note, cautions: []string{medicine}},
		{name: "under withdrawal by degree-days", scene: wellKept(nil).with(60, domain.Treatment{Batch: a, What: new("Oxytetracycline"), Dose: "55 mg/kg", Reason: "spots", WithdrawalDegreeDays: new(domain.DegreeDays(500))}),
			code: "withdrawal", days: []int{60, 77}, severity: note, cautions: []string{medicine}}, // 500 ÷ 28: through day 18 (computed)
		{name: "eaten too early", scene: wellKept(nil).with(60, treated(10)).with(66, domain.Harvest{Batch: a, Weight: kg(2), Count: new(domain.Fish(15))}).registry(catfish),
			code: "withdrawal", measure: "early", days: []int{66, 80}, severity: urgent, beside: []string{"withdrawal", "ration_change"}, cautions: []string{medicine}},
		{name: "harvest planned under withdrawal", scene: wellKept(nil).with(60, treated(30)).registry(func(o *domain.SiteView) { o.Batches[a].TargetOn = new(day(80)) }),
			code: "withdrawal", days: []int{60, 90}, severity: note, beside: []string{"growth_behind"}, cautions: []string{medicine}},
		{name: "fish are gone", scene: wellKept(nil).with(60, domain.Count{Batch: a, Count: 80}).registry(catfish),
			code: "unaccounted", days: []int{60, 74}, severity: later, beside: []string{"ration_change"}, cautions: []string{spine}}, // a visit on day 75
		{name: "fish are gone, and nobody comes", scene: wellKept(skipping("visit", 61, 200)).with(60, domain.Count{Batch: a, Count: 92}),
			code: "unaccounted", days: []int{60, 90}, severity: later},
		{name: "a count as exact as counts are", scene: wellKept(nil).with(60, domain.Count{Batch: a, Count: 95}), code: "unaccounted"},
		{name: "not weighed", scene: wellKept(skipping("sample", 29, 69)).registry(catfish),
			code: "sample_due", days: []int{51, 69}, slack: 5, severity: later, beside: []string{"ration_change"}, cautions: []string{children, spine}},
		{name: "feed runs out", scene: wellKept(skipping("receipt", 0, 149)).with(0, domain.Receipt{Product: feed, Quantity: qty(20), Origin: "bought"}).with(83, domain.Receipt{Product: feed, Quantity: qty(50), Origin: "bought"}),
			code: "feed_runs_out", days: feedOut(20_000, 82), severity: soon},
		// A table of 1.5 to 3.5 %, of which 2.5 % are fed: six of seven days at 2.2 times that.
		{name: "no feed in the book", scene: wellKept(skipping("receipt", 0, 200)), code: "feed_runs_out", days: []int{1, sceneDays}, severity: urgent},
		{name: "too much feed", scene: more(60, 2.2), code: "ration_change", days: []int{65, 67}, severity: later, cautions: []string{children}},
		{name: "little feed", scene: more(60, 0.1), code: "ration_change", days: []int{65, 67}, severity: later, cautions: []string{children}},
		{name: "too many fish", scene: wellKept(nil).registry(func(o *domain.SiteView) { catfish(o); o.Units[tank1].DensityLimitKgM3 = new(milli(6)) }),
			code: "density", days: []int{30, sceneDays}, slack: 9, severity: later, beside: []string{"ration_change", "growth_behind"}, cautions: []string{electricity, spine}}, // 100 of 120 g in 2 m³ on day 58
		{name: "far too many fish", scene: wellKept(nil).registry(func(o *domain.SiteView) { o.Units[tank1].DensityLimitKgM3 = new(milli(2)) }),
			code: "density", days: []int{0, sceneDays}, severity: soon, cautions: []string{electricity}},
		{name: "behind the plan", scene: wellKept(nil).registry(func(o *domain.SiteView) { catfish(o); o.Batches[a].TargetOn = new(day(120)) }),
			code: "growth_behind", days: []int{28, sceneDays}, slack: 14, severity: later, beside: []string{"ration_change"}, cautions: []string{spine}},
		{name: "ready", scene: wellKept(after(139)).with(140, domain.Harvest{Batch: a, Weight: kg(21), Empties: true}).registry(func(o *domain.SiteView) {
			catfish(o)
			o.Batches[a].Plan = domain.Plan{TargetWeight: gram(200), TargetOn: new(day(130))}
		}),
			code: "ready", days: []int{100, 139}, slack: 12, severity: later, beside: []string{"ration_change", "growth_behind"}, cautions: []string{children, spine}}, // 200 g on day 124
		{name: "a weak pump", scene: wellKept(nil).registry(looped(1500, 2000)), code: "turnover", days: []int{0, sceneDays}, severity: later, cautions: []string{electricity}},
		{name: "a pump that stands still", scene: wellKept(nil).registry(looped(0, 2000)), code: "turnover", days: []int{0, sceneDays}, severity: soon, cautions: []string{electricity}},
		{name: "a slow drain", scene: wellKept(nil).registry(looped(2500, 2500)), code: "drain", days: []int{0, sceneDays}, severity: soon, cautions: []string{electricity, leaves}},
		{name: "a pump and a drain that do", scene: wellKept(nil).registry(looped(2000, 2001)), code: "turnover"},
		{name: "an empty tank", scene: wellKept(after(59)).with(60, domain.Harvest{Batch: a, Weight: kg(12), Count: new(domain.Fish(100))}).
			with(100, domain.Stocking{Batch: b, Origin: "bred", Count: 50, MeanWeight: gram(60)}).with(100, domain.Move{Batch: b, ToUnit: &tank1}).with(101, domain.Receipt{Product: feed, Quantity: qty(50), Origin: "bought"}).with(103, domain.Water{Unit: tank1, TemperatureC: new(milli(28))}),
			code: "empty_unit", days: []int{90, 99}, severity: note, beside: []string{"no_records", "sample_due"}, cautions: []string{children}},
	}
}

func treated(days int32) domain.Treatment {
	return domain.Treatment{Batch: a, What: new("Oxytetracycline"), Dose: "55 mg/kg", Reason: "spots", WithdrawalDays: new(domain.Days(days))}
}

// feedOut are the days on which feed lasts no more than the five days of a delivery:
// so many g, less what was fed, against the mean of seven days.
func feedOut(left float64, end int) []int {
	fed := make([]float64, end+1)
	for d := 1; d <= end; d++ {
		if d%14 != 0 {
			fed[d] = float64(tableFeed(d))
		}
		left -= fed[d]
		week := 0.0
		for i := max(1, d-6); i <= d; i++ {
			week += fed[i]
		}
		if d >= 7 && int(left/(week/7)) <= 5 {
			return []int{d, end}
		}
	}
	return nil
}

// TestAdviceOnItsDays: each advice is given on the days on which it should be, on no
// other, and nothing else is said meanwhile.
func TestAdviceOnItsDays(t *testing.T) {
	t.Parallel()
	for _, s := range situations() {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			first, last := -1, -1
			for d := 0; d <= sceneDays; d++ {
				list := s.scene.at(t, d).Advise(domain.English)
				x, given := found(list, s.code, s.measure)
				want := false
				for i := 0; i+1 < len(s.days); i += 2 {
					want = want || d >= s.days[i] && d <= s.days[i+1]
				}
				if given != want && (s.slack == 0 || d < s.days[0]-s.slack || d > s.days[0]+s.slack) {
					t.Errorf("day %d: given is %t, want %t", d, given, want)
				}
				if given && last >= 0 && last < d-1 && len(s.days) == 2 {
					t.Errorf("day %d: given again", d)
				}
				if given {
					last = d
				}
				if given && first < 0 {
					first = d
					if x.Severity != s.severity {
						t.Errorf("day %d: the severity is %d, want %d", d, x.Severity, s.severity)
					}
				}
				for _, other := range list {
					if (other.Code != s.code || s.measure != "" && other.Measure != s.measure) && !slices.Contains(s.beside, other.Code) {
						t.Errorf("day %d: also %s: %s", d, other.Code, other.Why)
					}
				}
			}
		})
	}
}

// TestSeverityRises: what is coming is worse when it is there.
func TestSeverityRises(t *testing.T) {
	t.Parallel()
	holiday := domain.Period{ID: id[domain.Period](61), Kind: "holiday", Name: "April holidays", StartsOn: day(60), EndsOn: day(80)}
	crowded := wellKept(nil).registry(func(o *domain.SiteView) { o.Units[tank1].DensityLimitKgM3 = new(milli(6)) })
	for _, c := range []struct {
		code  string
		scene *scene
		on    map[int]domain.Severity
	}{
		{"no_records", wellKept(after(60)), map[int]domain.Severity{64: domain.Soon, 66: domain.Soon, 67: domain.Urgent, 90: domain.Urgent}},
		{"holiday_feeder", wellKept(nil).registry(func(o *domain.SiteView) { o.Calendar = []domain.Period{holiday} }), map[int]domain.Severity{52: domain.Later, 53: domain.Soon, 58: domain.Soon, 59: domain.Urgent, 80: domain.Urgent}},
		{"feed_runs_out", wellKept(skipping("receipt", 0, 200)).with(0, domain.Receipt{Product: feed, Quantity: qty(20), Origin: "bought"}), map[int]domain.Severity{feedOut(20_000, 82)[0]: domain.Soon, feedOut(20_000, 82)[0] + 4: domain.Urgent}},
		{"density", crowded, map[int]domain.Severity{50: domain.Later, 63: domain.Soon}}, // 120 g on day 58
		{"withdrawal", wellKept(nil).with(60, treated(30)).registry(func(o *domain.SiteView) { o.Batches[a].TargetOn = new(day(80)) }), map[int]domain.Severity{65: domain.Note, 66: domain.Soon}},
	} {
		for d, want := range c.on {
			if x, ok := found(c.scene.at(t, d).Advise(domain.English), c.code, ""); !ok || x.Severity != want {
				t.Errorf("%s on day %d: given is %t, the severity %d, want %d", c.code, d, ok, x.Severity, want)
			}
		}
	}
}

// TestSilentSite: of a site from which nothing is heard only that is said which does not
// rest on what it should have written.
func TestSilentSite(t *testing.T) {
	t.Parallel()
	s := wellKept(after(60)).registry(func(o *domain.SiteView) { o.Batches[a].TargetOn = new(day(100)) })
	for d := 67; d <= sceneDays; d++ {
		if list := s.at(t, d).Advise(domain.English); len(list) != 1 || list[0].Code != "no_records" {
			t.Fatalf("day %d: %d lines, the first %s", d, len(list), list[0].Code)
		}
	}
}

// TestNothingToSay: where nothing is wrong nothing is said, on any day.
func TestNothingToSay(t *testing.T) {
	t.Parallel()
	s := wellKept(nil)
	for d := range sceneDays + 1 {
		for _, x := range s.at(t, d).Advise(domain.English) {
			t.Errorf("day %d: %s: %s", d, x.Code, x.Why)
		}
	}
}
