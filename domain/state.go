package domain

import (
	"iter"
	"math"
	"slices"

	"shoalbook/domain/husbandry"
)

// BatchState is what the journal says of one batch at the end of a day: sums
// that add up, and what is needed to go on from there. Ratios are computed when
// they are read. Its exported fields are the columns of the derived tables.
type BatchState struct {
	Unit      UnitID   // where the fish are
	LeftUnits []UnitID // where they were before
	LeftOn    []Date   // the day they left each

	FirstOn   *Date // first fish
	ClosedOn  *Date // no fish left
	CountedOn *Date // last count, or the closing
	HarvestOn *Date // last harvest

	Stocked, MovedIn, MovedOut, Dead, Harvested, Unaccounted Fish
	HarvestGuessed                                           Fish // harvested fish whose number was estimated

	StockedMg, MovedInMg, MovedOutMg, DeadMg Milligrams
	HarvestedG                               Grams
	Unweighed                                Fish // came in with an unknown weight
	MovedInUnweighed                         Fish // of these, by moves
	MovedUnweighed                           Fish // went out with an unknown weight
	DeadGuessed                              Fish // dead whose weight was estimated
	DeadUnweighed                            Fish // dead whose weight could not even be estimated

	// The mean weight of the fish, as the ratio it was measured as; no fish: unknown.
	MeanMg    Milligrams
	MeanFish  Fish
	WeighedOn *Date // the day of that measurement, stocking included

	// Weights at stocking, or at arrival for a batch made by moves.
	StartMg   Milligrams
	StartFish Fish

	// The last weighing after stocking, and the sums then: feed and gain end together.
	MeasuredOn       *Date
	MeasuredMg       Milligrams
	MeasuredFish     Fish
	MeasuredFedG     Grams
	MeasuredProtein  Milligrams
	MeasuredGainMg   Milligrams
	MeasuredDeadMg   Milligrams
	MeasuredHeat     int64 // thousandths of °C·day
	MeasuredHeatDays int64

	// Every weighing by day, that at stocking or arrival first if it is known: the
	// weight of the fish weighed and their number, how single weights vary
	// (thousandths of a percent, 0: not known), and the heat until then.
	WeighOn       []Date
	WeighMg       []int64
	WeighFish     []int64
	WeighCV       []int64
	WeighHeat     []int64
	WeighHeatDays []int64

	// Condition: the last sample with lengths.
	LengthCM     Thousandths
	LengthType   *string
	LengthMeanMg Milligrams

	// Where the fish came from, in the order in which they came, the zero id for those of
	// whom nobody wrote it down; and the feeds they got, with what of each.
	Suppliers []PartyID
	Feeds     []ProductID
	FeedsG    []int64

	FedG       Grams
	FedProtein Milligrams
	FedBlindG  Grams // feed of unknown protein
	FedDays    int64
	FedOn      *Date
	FedDayG    Grams    // on that day
	FedBefore  *Date    // the last day before it
	EnergyWh   Quantity // electricity recorded for the batch itself

	// Product-limit survival. Fish at risk and deaths are those of RiskOn;
	// SurvivalBefore is the product over earlier days.
	RiskOn         *Date
	AtRisk         Fish
	RiskDead       Fish
	RiskGuessed    Fish // of these dead, those whose weight is estimated
	RiskGuessedMg  Milligrams
	SurvivalBefore float64
	SurvivalAt     []float64 // at the days of SurvivalDays passed so far
	DeadOn         *Date     // the last day with dead fish
	DeadDays       []int64   // the dead of the last days that had any, up to recentDeaths

	// Deaths against the batch's own level, through the day before RiskOn. Those up
	// to ApartUntil are of transport and handling.
	ApartUntil *Date
	ApartDead  Fish
	ApartFish  Fish       // there were when the fish came or were moved
	WatchedOn  *Date      // the last day taken in
	Watch      [4]float64 // sum, deaths, fish-days and spread of a stats.Watched
	AlarmOn    *Date      // the first day of the last alarm
	SignalOn   *Date      // its last signal
	AlarmDead  Fish       // since AlarmOn

	// Biomass-days in whole gram-days, settled up to the last weighing, by month
	// from the month of FirstOn on; and the counts since: day, fish, day, fish …
	GramDays        []int64
	GramDaysGuessed int64 // of it, with an unknown weight at the start
	Path            []int64

	// Water temperature since stocking.
	HeatThrough *Date // summed for the days before
	Heat        int64 // thousandths of °C·day
	HeatDays    int64 // days with a known temperature

	Cost            Costs // direct cost by category
	CostIn, CostOut Money // came and went with moved fish
	Unpaid          Money // value of unpaid work for the batch itself
	Donated         Money // value of donated inputs

	Cash, Imputed, Given              Money
	SoldG, EatenG, GivenG, DiscardedG Grams // live weight
	LastG                             Grams // the last harvest's weight and fish
	LastFish                          Fish
	HarvestHeat                       int64 // Heat and HeatDays at the last harvest
	HarvestHeatDays                   int64

	// Withdrawal: no fish may be harvested for food through WithdrawUntil, nor before
	// the heat reaches WithdrawHeat (0: none).
	TreatedOn     *Date // the last treatment
	WithdrawUntil *Date
	WithdrawHeat  int64
	EarlyG        Grams // harvested for food within a withdrawal that became known later
	OverriddenG   Grams // harvested for food within a withdrawal, as a coordinator allowed
	KeptG         Grams // harvested not for food: kept or thrown away
}

// SurvivalDays are the ages in days for which product-limit survival is kept.
var SurvivalDays = [...]Date{7, 30, 60, 90, 120, 150, 180, 240, 300, 365}

// OnHand returns the fish there are by the book.
func (b *BatchState) OnHand() Fish {
	return b.Stocked + b.MovedIn - b.MovedOut - b.Dead - b.Harvested - b.Unaccounted
}

// Closed reports whether no fish are left.
func (b *BatchState) Closed() bool { return b.ClosedOn != nil }

// Direct returns the cost that belongs to the batch and moves with its fish.
func (b *BatchState) Direct() Money { return b.Cost.Total() + b.CostIn - b.CostOut }

// weightOf returns the weight of n fish at the last measured mean weight.
func (b *BatchState) weightOf(n Fish) (Milligrams, bool) {
	if b.MeanMg == 0 {
		return 0, n == 0
	}
	return Milligrams(mulDiv(int64(b.MeanMg), int64(n), int64(b.MeanFish))), true
}

// Survival returns the product-limit estimate through the last day with an entry.
func (b *BatchState) Survival() float64 {
	if b.AtRisk <= 0 {
		return b.SurvivalBefore
	}
	return b.SurvivalBefore * (1 - float64(b.RiskDead)/float64(b.AtRisk))
}

// StoreState is what the journal says of a product in a site's store at the end
// of a day. The store may go below zero; then the last known unit cost stands in.
type StoreState struct {
	Balance  Quantity
	Value    Money // at moving average cost
	DonatedV Money // value of donated goods in the balance, kept apart

	Received, Arrived, Fed, Used, Sent, Lost Quantity
	Spent                                    Money // paid for what was received
	Revaluation                              Money // what an estimated unit cost was wrong by
	UnitValue                                Money // the last known unit cost, as a ratio
	UnitQuantity                             Quantity
	CountedOn                                *Date
	BelowSince                               *Date
}

// UnitState is what the journal says of the water of a unit: the temperatures of
// the last day that had any, and of every parameter the last reading and the last one
// of an earlier day.
type UnitState struct {
	TemperatureOn  *Date
	TemperatureSum Thousandths
	Readings       int64

	ReadOn    ReadingDays
	ReadValue Readings
	WasOn     ReadingDays
	WasValue  Readings
}

// SharedCost is money, or the value of something, that belongs to a whole site
// and is shared by its batches over the days it covers.
type SharedCost struct {
	Entry    EntryID
	On       Date
	Category Category
	From, To Date
	Amount   Money
}

// OfOneDay reports whether the cost covers the day it is dated only.
func (c SharedCost) OfOneDay() bool { return c.From == c.On && c.To == c.On }

// portion returns what of the cost falls on the days from…to, when it is
// spread evenly by day and rounded cumulatively.
func (c SharedCost) portion(from, to Date) Money {
	from, to = max(from, c.From), min(to, c.To)
	if from > to {
		return 0
	}
	upTo := func(d Date) Money { return Money(mulDiv(int64(c.Amount), int64(d-c.From+1), int64(c.To-c.From+1))) }
	return upTo(to) - upTo(from-1)
}

// Category is a category of cost. The order is the order of the derived
// columns: add at the end.
type Category int16

// The categories of cost. Those from Unpaid on are values kept apart from cost.
const (
	Fingerlings Category = iota
	Feed
	Energy
	WaterSupply
	HiredLabour
	Medicine
	Packaging
	Transport
	Repairs
	Rent
	Salaries
	Depreciation
	Losses
	OtherCost
	categories
	Unpaid
	Donated
	ByProduct
)

var categoryNames = [...]string{"fingerlings", "feed", "energy", "water", "labour", "medicine", "packaging", "transport",
	"repairs", "rent", "salaries", "depreciation", "losses", "other", "", "unpaid_labour", "donated", "by_product"}

// String returns the name of the category on the wire.
func (c Category) String() string { return categoryNames[c] }

// Fixed reports whether the cost is there whatever is produced
// (depreciation, rent, salaries: standard farm budgeting).
func (c Category) Fixed() bool { return c == Rent || c == Salaries || c == Depreciation }

// categoryNamed returns the category of an expense; depreciation and losses are
// computed, never entered.
func categoryNamed(name string) (Category, bool) {
	for c := range categories {
		if categoryNames[c] == name && c != Depreciation && c != Losses {
			return c, true
		}
	}
	return 0, false
}

// Costs are amounts by category.
type Costs [categories]Money

// Total returns the sum of all categories.
func (c Costs) Total() Money {
	var sum Money
	for _, m := range c {
		sum += m
	}
	return sum
}

// settle turns the counts since the last weighing into gram-days up to day d,
// on which the fish weigh newMg ÷ newFish on average. Between weighings the
// weight grows exponentially, so the mean of an interval is the logarithmic
// mean of its ends; from an unknown start it grows in a straight line from 0.
func (b *BatchState) settle(d Date, newMg Milligrams, newFish Fish) {
	if len(b.Path) == 0 || newMg == 0 {
		return
	}
	b.GramDays = slices.Clone(b.GramDays) // states of earlier days share it
	start := Date(b.Path[0])
	w2 := float64(newMg) / float64(newFish)
	w1, known := w2, b.MeanMg > 0
	if known {
		w1 = float64(b.MeanMg) / float64(b.MeanFish)
	}
	at := func(t Date) float64 {
		f := float64(t-start) / float64(d-start)
		if !known {
			return w2 * f
		}
		return w1 * math.Pow(w2/w1, f)
	}
	for s := range b.stretches(d) {
		g := grams(s.fish, at(s.from), at(s.to), s.to-s.from)
		b.addGramDays(s.month, g)
		if !known {
			b.GramDaysGuessed += g
		}
	}
	b.Path = append(b.Path[:0:0], int64(d), int64(b.OnHand()))
}

// grams returns whole gram-days of so many fish whose weight goes from a to b mg.
func grams(fish Fish, a, b float64, days Date) int64 {
	return int64(math.RoundToEven(float64(fish) * husbandry.LogMean(a, b) * float64(days) / 1000))
}

// stretch is some days with a constant count of fish.
type stretch struct {
	from, to Date
	month    Month
	fish     Fish
}

// stretches yields the stretches of constant count since the last weighing up
// to day d, cut at the first of every month.
func (b *BatchState) stretches(d Date) iter.Seq[stretch] {
	return func(yield func(stretch) bool) {
		for i := 0; i < len(b.Path); i += 2 {
			from, end := Date(b.Path[i]), d
			if i+2 < len(b.Path) {
				end = min(end, Date(b.Path[i+2]))
			}
			for m := from.Month(); from < end; m++ {
				to := min(end, (m + 1).First())
				if !yield(stretch{from, to, m, Fish(b.Path[i+1])}) {
					return
				}
				from = to
			}
		}
	}
}

func (b *BatchState) addGramDays(m Month, g int64) {
	i := int(m - b.FirstOn.Month())
	for len(b.GramDays) <= i {
		b.GramDays = append(b.GramDays, 0)
	}
	b.GramDays[i] += g
}

// GramDaysThrough returns the gram-days up to day d by month from the month of
// FirstOn on; after the last weighing the weight is constant.
func (b *BatchState) GramDaysThrough(d Date) []int64 {
	c := BatchState{FirstOn: b.FirstOn, GramDays: append([]int64(nil), b.GramDays...)}
	if b.MeanMg > 0 && !b.Closed() {
		w := float64(b.MeanMg) / float64(b.MeanFish)
		for s := range b.stretches(d) {
			c.addGramDays(s.month, grams(s.fish, w, w, s.to-s.from))
		}
	}
	return c.GramDays
}

// step notes the fish on hand at the end of day d.
func (b *BatchState) step(d Date) {
	path := slices.Clip(b.Path) // states of earlier days share it
	if n := len(path); n >= 2 && path[n-2] == int64(d) {
		path = slices.Clip(path[:n-2])
	}
	if n := len(path); n == 0 || path[n-1] != int64(b.OnHand()) {
		path = append(path, int64(d), int64(b.OnHand()))
	}
	b.Path = path
}

// heatTo sums the water temperature for the days before one.
func (b *BatchState) heatTo(on *Date, u *UnitState) {
	d := *on
	if b.HeatThrough == nil || *b.HeatThrough >= d {
		return
	}
	if u != nil && u.TemperatureOn != nil {
		days := int64(d - *b.HeatThrough)
		b.Heat += mulDiv(int64(u.TemperatureSum), days, u.Readings)
		b.HeatDays += days
	}
	b.HeatThrough = on
}

// risk opens a day for the product-limit estimate, with the fish at hand.
func (b *BatchState) risk(on *Date) {
	if b.RiskOn != nil && *b.RiskOn == *on {
		return
	}
	if b.RiskOn != nil {
		b.watch()
	}
	b.SurvivalAt = b.survivalThrough(*on - 1)
	b.SurvivalBefore = b.Survival()
	b.RiskOn, b.AtRisk, b.RiskDead, b.RiskGuessed, b.RiskGuessedMg = on, b.OnHand(), 0, 0, 0
}

// unitOn returns the unit in which the fish were on a day; on the day of a move,
// where they went.
func (b *BatchState) unitOn(d Date) UnitID {
	for i, left := range b.LeftOn {
		if d < left {
			return b.LeftUnits[i]
		}
	}
	return b.Unit
}

// cameFrom notes from whom fish came.
func (b *BatchState) cameFrom(suppliers ...PartyID) {
	for _, id := range suppliers {
		if !slices.Contains(b.Suppliers, id) {
			b.Suppliers = append(slices.Clip(b.Suppliers), id) // states of earlier days share it
		}
	}
}

// fedOf notes what of a feed was given.
func (b *BatchState) fedOf(feed ProductID, weight Grams) {
	i := slices.Index(b.Feeds, feed)
	b.FeedsG = slices.Clone(b.FeedsG) // states of earlier days share it
	if i < 0 {
		i = len(b.Feeds)
		b.Feeds, b.FeedsG = append(slices.Clip(b.Feeds), feed), append(b.FeedsG, 0)
	}
	b.FeedsG[i] += int64(weight)
}

// survivalThrough returns the estimate at each of SurvivalDays that has passed
// by the end of day d, no entry being made after the last one.
func (b *BatchState) survivalThrough(d Date) []float64 {
	at := b.SurvivalAt[:len(b.SurvivalAt):len(b.SurvivalAt)]
	for b.FirstOn != nil && len(at) < len(SurvivalDays) && *b.FirstOn+SurvivalDays[len(at)] <= d {
		at = append(at, b.Survival())
	}
	return at
}

// UnitCost returns the moving average cost of one unit, or the last known one when
// the store is empty or below zero.
func (st *StoreState) UnitCost() (UnitPrice, bool) {
	value, quantity := st.Value, st.Balance
	if quantity <= 0 {
		value, quantity = st.UnitValue, st.UnitQuantity
	}
	if quantity <= 0 {
		return 0, false
	}
	return UnitPrice(mulDiv(int64(value), 1000*10_000, int64(quantity))), true
}
