package domain

import (
	"maps"
	"slices"

	"shoalbook/domain/husbandry"
)

// Severity says how soon something is to be done.
type Severity int

// The severities.
const (
	Urgent Severity = 1 + iota // today: fish or people are in danger
	Soon                       // this week
	Later                      // at the next occasion
	Note                       // good to know
)

// Advice is what to do next about one thing, where and why, in one language.
type Advice struct {
	Code     string
	Severity Severity
	Site     SiteID // zero: of the whole co-operative
	SiteName string
	Unit     *UnitID
	Loop     *LoopID
	Batch    *BatchID
	Product  *ProductID
	Party    *PartyID
	Period   *PeriodID
	Measure  string // of water: the parameter

	Since    Date          // the day of what it is about
	Figures  []NamedNumber // that it is drawn from
	Behind   Behind        // the entries it is drawn from
	Call     []Contact     // whom to call, the first first
	Why      string
	Do       string
	Until    string // what ends it
	SMS      string // for the one at the pond, at most 160 characters of a short message
	Cautions []string
}

// Behind says which entries are behind an advice: of its batch, unit, product or
// party, or else of its site. No kinds: it is drawn from the registry.
type Behind struct {
	Kinds []string
	From  *Date
}

// Fed is what a batch was fed, and on how many days.
type Fed struct {
	Feed Grams
	Days int64
}

// Contact is somebody to call.
type Contact struct {
	Name  string
	Phone *string
	Who   string // keeper, supplier, buyer
}

// SiteView is all of a site that advice is drawn from, as of a day.
type SiteView struct {
	*Keeping
	Site       SiteID
	Name       string
	LastOn     *Date // of the last entry
	VisitedOn  *Date // the last visit
	NextVisit  *Date // that was promised then
	Calendar   []Period
	Keepers    []Contact
	FedBefore  map[BatchID]Fed        // fed to each batch by the end of the day feedDays earlier
	UsedBefore map[ProductID]Quantity // fed from the store by then
	Suppliers  map[ProductID]Contact  // from whom each product was last bought
	Hatcheries map[BatchID]Contact    // from whom the fish were bought
	EmptySince map[UnitID]Date        // the day each unit was last emptied, of those that ever held fish
}

// codes lists every code of advice in the order in which advice of one severity is
// given: what kills first is first.
var codes = []string{"deaths", "water", "feed_runs_out", "no_records", "withdrawal", "holiday_feeder", "density", "drain", "turnover",
	"growth_behind", "ready", "ration_change", "unaccounted", "sample_due", "debt_overdue", "empty_unit"}

// AdviceCodes returns the codes of advice.
func AdviceCodes() []string { return slices.Clone(codes) }

// Advise returns what to do next at a site, the most urgent first.
func (o *SiteView) Advise(t Tongue) []Advice {
	a := &adviser{SiteView: o, Tongue: t, forecasts: map[BatchID]*Forecast{}, stocked: map[UnitID][]Stock{}, limits: map[string][]LimitInForce{}}
	a.records()
	a.calendar()
	for _, id := range a.growing() {
		a.deaths(id)
		a.withdrawal(id)
		a.unaccounted(id)
		a.growth(id)
		a.sample(id)
		a.ration(id)
	}
	for _, id := range a.units() {
		a.water(id)
		a.density(id)
		a.empty(id)
	}
	for _, id := range a.loops() {
		a.loop(id)
	}
	a.feed()
	return Sorted(a.told())
}

// adviser gathers the advice of one site.
type adviser struct {
	*SiteView
	Tongue
	list      []Advice
	silent    bool // nothing has been recorded for long: what the book says is old
	forecasts map[BatchID]*Forecast
	stocked   map[UnitID][]Stock
	limits    map[string][]LimitInForce // by species
}

// limit is that of the site, looked up once for each species.
func (a *adviser) limit(species string, p husbandry.Parameter) (husbandry.Limit, bool) {
	limits, known := a.limits[species]
	if !known {
		limits = LimitsInForce(species, a.Limits)
		a.limits[species] = limits
	}
	for _, l := range limits {
		if l.Parameter == p {
			return l.Limit, true
		}
	}
	return husbandry.Limit{}, false
}

// stocks returns the fish in a unit, worked out once.
func (a *adviser) stocks(id UnitID) []Stock {
	found, known := a.stocked[id]
	if !known {
		found = a.Keeping.stocks(id)
		a.stocked[id] = found
	}
	return found
}

// forecast returns how a batch is expected to go on; nil if nobody can say.
func (a *adviser) forecast(id BatchID) *Forecast {
	f, known := a.forecasts[id]
	if !known {
		f, _ = NewForecast(a.States[id], a.Day, a.prior(a.Batches[id].Species))
		a.forecasts[id] = f
	}
	return f
}

// restsOnRecords lists what is not said of a silent site: what rests on daily records alone says nothing then, and
// the one call that is to be made asks for it anyway.
var restsOnRecords = []string{"feed_runs_out", "ration_change", "sample_due", "growth_behind", "ready", "empty_unit"}

// told returns the list without what is noise beside the rest of it.
func (a *adviser) told() []Advice {
	return slices.DeleteFunc(a.list, func(x Advice) bool { return a.silent && slices.Contains(restsOnRecords, x.Code) })
}

// give adds an advice of the site.
func (a *adviser) give(x Advice) {
	x.Site, x.SiteName = a.Site, a.SiteView.Name
	x.Call = append(x.Call, a.Keepers...)
	for i, c := range x.Cautions {
		x.Cautions[i] = a.Caution(c)
	}
	a.list = append(a.list, x)
}

// text writes the short message of an advice about things of the site.
func (a *adviser) text(english, french string, args []any, things ...string) string {
	return sms(append([]string{a.SiteView.Name}, things...), a.say(english, french, args...))
}

func (a *adviser) units() []UnitID { return slices.SortedFunc(maps.Keys(a.Units), UnitID.Compare) }
func (a *adviser) loops() []LoopID { return slices.SortedFunc(maps.Keys(a.Loops), LoopID.Compare) }

// Sorted sorts advice by severity, then by what it is about, then by site.
func Sorted(list []Advice) []Advice {
	type keyed struct {
		key []string
		of  Advice
	}
	sorting := make([]keyed, len(list))
	for i := range list {
		sorting[i] = keyed{list[i].Key(), list[i]}
	}
	slices.SortFunc(sorting, func(a, b keyed) int { return slices.Compare(a.key, b.key) })
	for i := range sorting {
		list[i] = sorting[i].of
	}
	return list
}

// AdviceKeys is how many keys advice is sorted by.
const AdviceKeys = 5

// Key returns what advice is sorted by; no two of a co-operative have the same.
func (x *Advice) Key() []string {
	subject := ""
	switch {
	case x.Batch != nil:
		subject = x.Batch.String()
	case x.Unit != nil:
		subject = x.Unit.String()
	case x.Loop != nil:
		subject = x.Loop.String()
	case x.Product != nil:
		subject = x.Product.String()
	case x.Party != nil:
		subject = x.Party.String()
	case x.Period != nil:
		subject = x.Period.String()
	}
	rank := slices.Index(codes, x.Code)
	return []string{string(rune('0' + x.Severity)), string(rune('a' + rank)), x.Site.String(), subject, x.Measure}
}
