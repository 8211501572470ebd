package domain

import (
	"math/big"
	"slices"
)

// Sum is one of the additive sums that indicators are worked out of: what a site
// recorded in a period, added over sites.
type Sum struct {
	Name  string
	Title string
	Unit  string // see [ParseDimension]
	// Kinds are the kinds of entry behind it. Facts says that the registry is behind it
	// as well, Told that a site of which nothing was recorded is not 0 but not known.
	Kinds []string
	Facts bool
	Told  bool

	digits  int // decimals of the integer it is kept as; -1: those of the currency
	touched func(e *Entry, p Span) bool
}

// Span is the days of a period, both included.
type Span struct{ From, To Date }

// Holds reports whether a day is in the period.
func (p Span) Holds(d Date) bool { return p.From <= d && d <= p.To }

// Days returns how many days the period has.
func (p Span) Days() int64 { return int64(p.To-p.From) + 1 }

// The sums, in the order of the list. Add at the end: reports that were issued name them.
const (
	sumHarvested = iota
	sumHarvestedFish
	sumDiscarded
	sumSold
	sumSales
	sumEaten
	sumEatenValue
	sumGiven
	sumGivenValue
	sumCropSales
	sumFeed
	sumStocked
	sumDead
	sumClosedBatches
	sumClosedIn
	sumClosedOut
	sumClosedFeed
	sumClosedGain
	sumCost
	sumInputCost
	sumUnpaid
	sumDonated
	sumWaterVolume
	sumBedArea
	sumCrops
	sumEdible
	sumProtein
	sumLearners
	sumLearnersFemale
	sumLearnersMale
	sumTrained
	sumTrainedFemale
	sumTrainedMale
	sumMeals
	sumSchoolDays
	sumFeedingDays
	sumJobs
	sumJobsFemale
	sumJobsMale
	sumLabour
	sumEnergy
	sumWaterAdded
	sumActive
	sumSites
	sumSupportEnded
	sumGoingOn
	sumMeteredKg
	sumWateredKg
	sumPondHarvest
	sumPondArea
	manySums
)

// Kinds of entry from which a state follows that a figure is taken from.
var (
	closedKinds = []string{"stocking", "death", "count", "move", "sent", "received", "harvest"}
	spentKinds  = []string{"stocking", "receipt", "feeding", "use", "stocktake", "treatment", "expense", "labour", "sent", "received"}
)

// allSums is the list of all sums. What was harvested counts when it was harvested, what was
// sold when it was sold; of batches that were closed in the period the whole life counts.
var allSums = [manySums]Sum{
	sumHarvested:      {Name: "harvested_kg", Title: "Live weight of the fish harvested, whatever became of them", Unit: "kg", Kinds: []string{"harvest"}, digits: 3},
	sumHarvestedFish:  {Name: "harvested_fish", Title: "Fish harvested", Unit: "fish", Kinds: []string{"harvest"}},
	sumDiscarded:      {Name: "discarded_kg", Title: "Live weight of fish that were thrown away", Unit: "kg", Kinds: []string{"sale", "harvest"}, digits: 3, touched: disposed("discarded")},
	sumSold:           {Name: "sold_kg", Title: "Live weight of the fish sold", Unit: "kg", Kinds: []string{"sale"}, digits: 3, touched: disposed("sold")},
	sumSales:          {Name: "sales", Title: "Sales of fish, paid or not", Unit: "money", Kinds: []string{"sale"}, digits: -1, touched: disposed("sold")},
	sumEaten:          {Name: "eaten_kg", Title: "Live weight of the fish eaten at the site", Unit: "kg", Kinds: []string{"sale"}, digits: 3, touched: disposed("eaten")},
	sumEatenValue:     {Name: "eaten_value", Title: "What the fish eaten at the site would have been sold for at the gate", Unit: "money", Kinds: []string{"sale"}, digits: -1, touched: disposed("eaten")},
	sumGiven:          {Name: "given_kg", Title: "Live weight of the fish given away", Unit: "kg", Kinds: []string{"sale"}, digits: 3, touched: disposed("given")},
	sumGivenValue:     {Name: "given_value", Title: "What the fish given away would have been sold for at the gate, where that was said", Unit: "money", Kinds: []string{"sale"}, digits: -1, touched: disposed("given")},
	sumCropSales:      {Name: "crop_sales", Title: "Vegetables and other crops sold, or eaten at the site at their price at the gate", Unit: "money", Kinds: []string{"sale"}, digits: -1, touched: ofCrop},
	sumFeed:           {Name: "feed_kg", Title: "Feed given, as fed", Unit: "kg", Kinds: []string{"feeding"}, digits: 3},
	sumStocked:        {Name: "stocked_fish", Title: "Fish stocked", Unit: "fish", Kinds: []string{"stocking"}},
	sumDead:           {Name: "dead_fish", Title: "Dead fish that were counted", Unit: "fish", Kinds: []string{"death"}},
	sumClosedBatches:  {Name: "closed_batches", Title: "Batches of which the last fish left in the period", Unit: "batch", Kinds: closedKinds, touched: untilEnd},
	sumClosedIn:       {Name: "closed_in_fish", Title: "Fish that were ever stocked in or moved to the batches closed in the period", Unit: "fish", Kinds: closedKinds, touched: untilEnd},
	sumClosedOut:      {Name: "closed_out_fish", Title: "Fish that were ever harvested or moved from the batches closed in the period", Unit: "fish", Kinds: closedKinds, touched: untilEnd},
	sumClosedFeed:     {Name: "closed_feed_kg", Title: "Feed that the batches closed in the period had in all their life", Unit: "kg", Kinds: slices.Concat(closedKinds, []string{"feeding"}), digits: 3, touched: untilEnd},
	sumClosedGain:     {Name: "closed_gain_kg", Title: "Net gain of the batches closed in the period in all their life: harvested and moved out, less stocked and moved in, where feed was recorded", Unit: "kg", Kinds: slices.Concat(closedKinds, []string{"feeding"}), digits: 6, touched: untilEnd},
	sumCost:           {Name: "cost", Title: "All cost of the period: of the batches when it arose, of the whole site by the days it covers, those before its date with its date, and depreciation", Unit: "money", Kinds: spentKinds, Facts: true, digits: -1, touched: spent},
	sumInputCost:      {Name: "input_cost", Title: "The part of the cost that varies with production: fingerlings, feed, energy, hired labour, medicine and the like", Unit: "money", Kinds: spentKinds, digits: -1, touched: spent},
	sumUnpaid:         {Name: "unpaid_value", Title: "What the unpaid work would have cost", Unit: "money", Kinds: []string{"labour"}, digits: -1},
	sumDonated:        {Name: "donated_value", Title: "Value of donated inputs that were used", Unit: "money", Kinds: []string{"receipt", "feeding", "use", "stocktake"}, digits: -1, touched: spent},
	sumWaterVolume:    {Name: "water_m3", Title: "Water of the tanks, ponds and cages that had fish in the period", Unit: "m³", Kinds: closedKinds, Facts: true, digits: 6, touched: untilEnd},
	sumBedArea:        {Name: "bed_m2", Title: "Area of the grow beds", Unit: "m²", Facts: true, digits: 3},
	sumCrops:          {Name: "crop_kg", Title: "Vegetables and other crops picked", Unit: "kg", Kinds: []string{"crop"}, digits: 3},
	sumEdible:         {Name: "edible_kg", Title: "What can be eaten of the fish eaten at the site, by the yield of their species in the form of the programme", Unit: "kg", Kinds: []string{"sale"}, Facts: true, digits: 6, touched: disposed("eaten")},
	sumProtein:        {Name: "protein_kg", Title: "Protein in what can be eaten of the fish eaten at the site", Unit: "kg", Kinds: []string{"sale"}, Facts: true, digits: 6, touched: disposed("eaten")},
	sumLearners:       {Name: "learners", Title: "Learners: of each site the most that a tally of the period counted", Unit: "person", Kinds: []string{"tally"}, Told: true, touched: counted("learners")},
	sumLearnersFemale: {Name: "learners_female", Title: "Of these learners, girls and women", Unit: "person", Kinds: []string{"tally"}, Told: true, touched: counted("learners")},
	sumLearnersMale:   {Name: "learners_male", Title: "Of these learners, boys and men", Unit: "person", Kinds: []string{"tally"}, Told: true, touched: counted("learners")},
	sumTrained:        {Name: "trained", Title: "People trained", Unit: "person", Kinds: []string{"tally"}, Told: true, touched: counted("trained")},
	sumTrainedFemale:  {Name: "trained_female", Title: "Of these people trained, girls and women", Unit: "person", Kinds: []string{"tally"}, Told: true, touched: counted("trained")},
	sumTrainedMale:    {Name: "trained_male", Title: "Of these people trained, boys and men", Unit: "person", Kinds: []string{"tally"}, Told: true, touched: counted("trained")},
	sumMeals:          {Name: "meals", Title: "Meals with fish", Unit: "meal", Kinds: []string{"tally"}, Told: true, touched: counted("meals")},
	sumSchoolDays:     {Name: "school_days", Title: "Days on which there was school", Unit: "day", Kinds: []string{"tally"}, Told: true, touched: counted("school_days")},
	sumFeedingDays:    {Name: "feeding_days", Title: "Days on which meals were served", Unit: "day", Kinds: []string{"tally"}, Told: true, touched: counted("feeding_days")},
	sumJobs:           {Name: "jobs", Title: "Jobs: of each site the most that a tally of the period counted", Unit: "job", Kinds: []string{"tally"}, Told: true, touched: counted("jobs")},
	sumJobsFemale:     {Name: "jobs_female", Title: "Of these jobs, those of women", Unit: "job", Kinds: []string{"tally"}, Told: true, touched: counted("jobs")},
	sumJobsMale:       {Name: "jobs_male", Title: "Of these jobs, those of men", Unit: "job", Kinds: []string{"tally"}, Told: true, touched: counted("jobs")},
	sumLabour:         {Name: "labour_hours", Title: "Hours of work, paid and unpaid", Unit: "h", Kinds: []string{"labour"}, Told: true, digits: 3},
	sumEnergy:         {Name: "energy_kwh", Title: "Electricity by meters and measured power", Unit: "kWh", Kinds: []string{"use"}, Told: true, digits: 3},
	sumWaterAdded:     {Name: "water_added_m3", Title: "Water added to tanks, where it was written down", Unit: "m³", Kinds: []string{"water"}, Told: true, digits: 6, touched: watered},
	sumActive:         {Name: "active_sites", Title: "Sites that had fish on at least one day of the period", Unit: "site", Kinds: closedKinds, touched: untilEnd},
	sumSites:          {Name: "sites", Title: "Sites of the grant", Unit: "site"},
	sumSupportEnded:   {Name: "support_ended_sites", Title: "Sites whose support had ended before the period began", Unit: "site"},
	sumMeteredKg:      {Name: "metered_harvest_kg", Title: "Live weight harvested at the sites whose electricity is known", Unit: "kg", Kinds: []string{"harvest", "use"}, digits: 3},
	sumWateredKg:      {Name: "watered_harvest_kg", Title: "Live weight harvested at the sites that wrote down what water they added", Unit: "kg", Kinds: []string{"harvest", "water"}, digits: 3},
	sumPondHarvest:    {Name: "pond_harvest_kg", Title: "Live weight harvested of the fish that were last in ponds of known area", Unit: "kg", Kinds: closedKinds, Facts: true, digits: 3, touched: untilEnd},
	sumPondArea:       {Name: "pond_m2", Title: "Area of the ponds that had fish in the period, as far as it is known", Unit: "m²", Kinds: closedKinds, Facts: true, digits: 3, touched: untilEnd},
	sumGoingOn:        {Name: "going_on_sites", Title: "Of these sites, those that had fish on at least one day of the period", Unit: "site", Kinds: closedKinds, touched: untilEnd},
}

// Sums returns the list of all sums.
func Sums() []Sum { return allSums[:] }

// SumNamed returns a sum by its name.
func SumNamed(name string) (Sum, bool) {
	i := sumIndex(name)
	if i < 0 {
		return Sum{}, false
	}
	return allSums[i], true
}

func sumIndex(name string) int {
	return slices.IndexFunc(allSums[:], func(s Sum) bool { return s.Name == name })
}

// Digits returns how many decimals the sum is kept with.
func (s Sum) Digits(c Currency) int {
	if s.digits < 0 {
		return c.Digits()
	}
	return s.digits
}

// TouchedBy reports whether an entry is, or could be, behind the sum of its site in a
// period: whether the sum can be another one without it.
func (s Sum) TouchedBy(e *Entry, p Span) bool {
	if !slices.Contains(s.Kinds, e.Body.Kind()) {
		return false
	}
	if s.touched == nil {
		return p.Holds(e.On)
	}
	return s.touched(e, p)
}

func disposed(how string) func(*Entry, Span) bool {
	return func(e *Entry, p Span) bool {
		switch b := e.Body.(type) {
		case Sale:
			return p.Holds(e.On) && b.Batch != nil && b.Disposal == how
		case Harvest:
			return p.Holds(e.On) && b.Destination != nil && *b.Destination == how
		}
		return false
	}
}

func ofCrop(e *Entry, p Span) bool {
	b, ok := e.Body.(Sale)
	return ok && p.Holds(e.On) && b.Batch == nil && (b.Disposal == "sold" || b.Disposal == "eaten")
}

func counted(measure string) func(*Entry, Span) bool {
	return func(e *Entry, p Span) bool {
		b, ok := e.Body.(Tally)
		return ok && p.Holds(e.On) && b.Measure == measure
	}
}

func watered(e *Entry, p Span) bool {
	b, ok := e.Body.(Water)
	return ok && p.Holds(e.On) && b.LitresAdded != nil
}

// untilEnd is of sums over the whole life of a batch.
func untilEnd(e *Entry, p Span) bool { return e.On <= p.To }

// spent is of cost: what is issued from a store is worth what was paid for it before, and
// for how much of it was still there; an expense counts on the days it covers, those
// before it was dated with the day it is dated.
func spent(e *Entry, p Span) bool {
	switch b := e.Body.(type) {
	case Receipt, Stocktake, Feeding, Use, Sent, Received:
		return e.On <= p.To
	case Expense:
		if b.Batch == nil && b.CoversFrom != nil {
			return e.On <= p.To && *b.CoversFrom <= p.To && max(e.On, *b.CoversTo) >= p.From
		}
		if b.Batch == nil {
			return e.On <= p.To && e.On.Month().Last() >= p.From
		}
	}
	return p.Holds(e.On)
}

// sumUnits are the units of what a formula can name: the sums, and what a programme sets.
var sumUnits = func() map[string]Dimension {
	units := map[string]Dimension{}
	for _, s := range allSums {
		d, err := ParseDimension(s.Unit)
		if err != nil {
			panic(err) // a mistake in the list above
		}
		units[s.Name] = d
	}
	return units
}()

// rational returns an integer of 10^-digits as a number.
func rational(v int64, digits int) *big.Rat {
	scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(digits)), nil)
	return new(big.Rat).SetFrac(big.NewInt(v), scale)
}

// decimalOf prints a number with at most so many decimals, half to even.
func decimalOf(r *big.Rat, digits int) string {
	scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(digits)), nil)
	n := new(big.Int).Mul(r.Num(), scale)
	q, rest := new(big.Int).QuoRem(n, r.Denom(), new(big.Int))
	twice := new(big.Int).Lsh(new(big.Int).Abs(rest), 1)
	if c := twice.Cmp(r.Denom()); c > 0 || c == 0 && q.Bit(0) == 1 {
		q.Add(q, big.NewInt(int64(n.Sign())))
	}
	if !q.IsInt64() {
		return new(big.Rat).SetFrac(q, scale).FloatString(digits)
	}
	return formatDecimal(q.Int64(), digits, 0)
}
