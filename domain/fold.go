package domain

import (
	"maps"
	"slices"
)

// Site is the running state of a site: what follows from its entries so far,
// taken in order. It knows the registry facts that the entries refer to.
type Site struct {
	ID      SiteID
	Batches map[BatchID]*BatchState
	Stores  map[ProductID]*StoreState
	Units   map[UnitID]*UnitState
	Own     SiteState // of the site itself
	Facts   Facts

	// Questions are asked about the entries that were being recorded.
	Questions []Question

	day      Date
	on       *Date // the day, for states to point to
	started  bool
	today    Day
	emptied  map[BatchID]bool
	emptying []emptying          // by moves, in their order
	eating   []eating            // harvests for food of the day
	sending  []sending           // of fish to other sites, of the day, which are on their way from now on
	fresh    map[BatchID]EntryID // the last entry of the day about each batch that is being recorded
	treating map[BatchID]EntryID // medicine that is being recorded
}

// emptying is a move that leaves no fish behind: what is left of the cost at the
// end of the day goes with it, since other fish may have left on that day too.
type emptying struct {
	by   EntryID
	from BatchID
	to   *BatchID     // or else
	sent *Consignment // to another site
}

// Facts are what the registry says of the things entries refer to. Batches and
// units are those of the site; a batch of another site is not there to be named.
type Facts struct {
	Batches  map[BatchID]Batch
	Units    map[UnitID]Unit
	Products map[ProductID]ProductFacts

	// What new entries are held against.
	AltitudeM *Thousandths
	Limits    []WaterLimit        // of the co-operative
	Prices    map[string][]Priced // by what [PriceOf] says
}

// ProductFacts are what a fold needs to know of a product.
type ProductFacts struct {
	Category string
	Unit     string
	Stored   bool
	Protein  []ProteinFrom // by From, the earliest first
}

// ProteinFrom is the crude protein of a feed from a day on, in thousandths of a percent.
type ProteinFrom struct {
	From    Date
	Percent *Thousandths
}

func (p ProductFacts) protein(d Date) *Thousandths {
	var percent *Thousandths
	for _, f := range p.Protein {
		if f.From <= d {
			percent = f.Percent
		}
	}
	return percent
}

// Day says what changed in the course of one day.
type Day struct {
	On      Date
	Batches map[BatchID]bool
	Stores  map[ProductID]bool
	Units   map[UnitID]bool
	Own     bool // the state of the site itself
	Shared  []SharedCost
	Moves   []Moved
}

// Moved is fish that went from one batch of the site to another.
type Moved struct {
	Entry    EntryID
	From, To BatchID
	Fish     Fish
	Weight   *Milligrams // nil: not known
	Cost     Money       // direct cost that went with them
}

// NewSite returns the state of a site before its first entry.
func NewSite(id SiteID, f Facts) *Site {
	return &Site{ID: id, Facts: f, Batches: map[BatchID]*BatchState{}, Stores: map[ProductID]*StoreState{}, Units: map[UnitID]*UnitState{}, Own: SiteState{Present: NobodyCounted}, treating: map[BatchID]EntryID{}}
}

// Fold takes entries, sorted by [SortEntries], into the state, and calls
// endOfDay after the last entry of each day. What no day may end with (fewer
// than no fish, more fish sold than harvested) is refused with the first such day.
// A sent entry without a fixed value gets one. The error of an entry that does not
// fit is [Unfit].
//
// Folding may go on later on the same day, if no batch was closed on it and what
// comes is no medicine, which reaches what was harvested or moved before.
func (s *Site) Fold(entries []Entry, endOfDay func(Day)) error {
	for i := range entries {
		e := &entries[i]
		if !s.started || e.On != s.day {
			if err := s.endDay(endOfDay); err != nil {
				return err
			}
			day := e.On
			s.day, s.on, s.started = day, &day, true
			s.today = Day{On: e.On, Batches: map[BatchID]bool{}, Stores: map[ProductID]bool{}, Units: map[UnitID]bool{}}
			s.emptied, s.emptying, s.eating, s.sending = map[BatchID]bool{}, nil, nil, nil
			s.fresh = map[BatchID]EntryID{}
		}
		post := s.post
		if e.Fresh {
			post = s.record
		}
		if err := post(e); err != nil {
			return &Unfit{e.ID, e.On, e.Body.Kind(), err}
		}
	}
	return s.endDay(endOfDay)
}

func (s *Site) post(e *Entry) error { return e.Body.post(s, e) }

// Unfit is the refusal of one of the entries that are folded, which may be another
// than the one that is new.
type Unfit struct {
	Entry EntryID
	On    Date
	Kind  string
	err   error
}

// Error returns why the entry does not fit.
func (u *Unfit) Error() string { return u.err.Error() }

// Unwrap returns the refusal.
func (u *Unfit) Unwrap() error { return u.err }

func (s *Site) endDay(report func(Day)) error {
	if !s.started {
		return nil
	}
	s.started = false
	for _, m := range s.emptying {
		s.follow(m)
	}
	for _, h := range s.eating {
		if err := s.judge(h); err != nil {
			return &Unfit{h.by.ID, s.day, h.by.Body.Kind(), err}
		}
	}
	var first error
	var firstBatch BatchID
	for id := range s.today.Batches {
		if err := s.closeDay(s.Batches[id], s.emptied[id]); err != nil {
			if first == nil || id.Compare(firstBatch) < 0 { // the same refusal whatever the order
				first, firstBatch = err, id
			}
		}
	}
	if first != nil {
		return first
	}
	for _, id := range slices.SortedFunc(maps.Keys(s.fresh), BatchID.Compare) {
		s.askClosed(id, s.Batches[id])
	}
	if report != nil {
		report(s.today)
	}
	return nil
}

// closeDay judges a batch at the end of a day and closes it when nothing is left.
func (s *Site) closeDay(b *BatchState, emptied bool) error {
	d := s.day
	if emptied {
		b.Unaccounted += b.OnHand()
		b.CountedOn = s.on
	}
	if n := b.OnHand(); n < 0 {
		return Refuse("not_enough_fish", "on %s the batch would have %d fish fewer than none: look at the dates and counts, or enter a count of the fish first", d, -n)
	}
	if gone := b.SoldG + b.EatenG + b.GivenG + b.DiscardedG; gone > b.HarvestedG {
		return Refuse("not_enough_harvest", "on %s %s kg (live weight) of the batch would have been sold, eaten, given or thrown away, but only %s kg were harvested: record the harvest first, or look at the weights",
			d, formatDecimal(int64(gone), 3, 0), formatDecimal(int64(b.HarvestedG), 3, 0))
	}
	if gone, food := b.SoldG+b.EatenG+b.GivenG, b.HarvestedG-b.KeptG; gone > food {
		return Refuse("not_enough_harvest", "on %s %s kg (live weight) of the batch would have been sold, eaten or given, but only %s kg were harvested for that: what was harvested to be kept or thrown away does not count",
			d, formatDecimal(int64(gone), 3, 0), formatDecimal(int64(food), 3, 0))
	}
	if b.FirstOn != nil && b.OnHand() == 0 && b.ClosedOn == nil {
		b.ClosedOn, b.CountedOn = s.on, s.on
		if b.HarvestOn != nil && *b.HarvestOn == d && b.LastFish > 0 {
			b.settle(d, Grams(b.LastG).Milligrams(), b.LastFish)
		} else if b.MeanMg > 0 {
			b.settle(d, b.MeanMg, b.MeanFish)
		}
		b.Path = nil
	}
	if b.FirstOn != nil && b.ClosedOn == nil {
		b.step(d)
	}
	return nil
}

// batch returns the state of a batch that must be there and have fish, or have had some.
func (s *Site) batch(id BatchID) (*BatchState, error) {
	facts, ok := s.Facts.Batches[id]
	if !ok {
		return nil, &Error{Kind: Refused, Code: "unknown_reference", Detail: "there is no such batch at this site: look at its id, or make the batch first", Fields: []FieldError{{"/batch_id", "is not a batch of this site"}}}
	}
	b := s.Batches[id]
	if b == nil {
		b = &BatchState{Unit: facts.Unit, SurvivalBefore: 1}
		s.Batches[id] = b
	}
	s.today.Batches[id] = true
	return b, nil
}

// living returns a batch that has fish on the day.
func (s *Site) living(id BatchID) (*BatchState, error) {
	b, err := s.batch(id)
	switch {
	case err != nil:
		return nil, err
	case b.FirstOn == nil:
		return nil, Refuse("before_batch", "on %s there are no fish in the batch yet: record its stocking first, or look at the date", s.day)
	case b.ClosedOn != nil:
		return nil, Refuse("batch_closed", "the batch has been empty since %s: if that is wrong, reverse the entry that emptied it", *b.ClosedOn)
	}
	b.risk(s.on)
	return b, nil
}

// arrive puts fish into a batch.
func (s *Site) arrive(id BatchID, n Fish, weight *Milligrams) (*BatchState, error) {
	b, err := s.batch(id)
	if err != nil {
		return nil, err
	}
	if b.ClosedOn != nil {
		return nil, Refuse("batch_closed", "the batch has been empty since %s: make a new batch for new fish", *b.ClosedOn)
	}
	if b.FirstOn == nil {
		b.FirstOn, b.HeatThrough = s.on, s.on
	}
	b.risk(s.on)
	b.handled(s.day, n)
	b.AtRisk += n
	before := max(b.OnHand(), 0)
	standing, known := b.weightOf(before)
	if known && before > 0 {
		b.settle(s.day, b.MeanMg, b.MeanFish)
	}
	switch {
	case n == 0: // none survived the way
	case weight == nil:
		b.Unweighed += n
		b.MeanMg, b.MeanFish, b.WeighedOn = 0, 0, nil
	case known:
		b.MeanMg, b.MeanFish, b.WeighedOn = standing+*weight, before+n, s.on
	}
	if n > before { // most fish are not those that were weighed
		b.forget()
		if b.MeanMg > 0 {
			b.heatTo(s.on, s.Units[b.Unit])
			b.weighed(s.day, b.MeanMg, b.MeanFish, 0)
		}
	}
	return b, nil
}

// leave takes moved fish out of a batch and returns their weight, the direct
// cost that goes with them and the value of donated inputs in it.
func (s *Site) leave(b *BatchState, n Fish, weighed *Grams) (weight *Milligrams, cost, donated Money) {
	before := b.OnHand()
	standing, known := b.weightOf(before)
	if weighed != nil {
		w := weighed.Milligrams()
		weight = &w
	} else if w, ok := b.weightOf(n); ok {
		weight = &w
	}
	part, whole := int64(n), int64(before) // by number, where weights are not known
	if known && weight != nil && *weight < standing {
		part, whole = int64(*weight), int64(standing)
	} // or where some weigh more than all did: the last weighing is out of date
	if n >= before {
		part, whole = 1, 1
	}
	cost = Money(mulDiv(int64(b.Direct()), part, whole))
	donated = Money(mulDiv(int64(b.Donated), part, whole))
	b.MovedOut += n
	if weight != nil {
		b.MovedOutMg += *weight
	} else {
		b.MovedUnweighed += n
	}
	b.CostOut += cost
	b.Donated -= donated
	return weight, cost, donated
}

// follow sends what is left of the cost of an emptied batch after its last fish.
func (s *Site) follow(m emptying) {
	b := s.Batches[m.from]
	cost, donated := b.Direct(), b.Donated
	switch {
	case m.to != nil:
		to := s.Batches[*m.to]
		to.CostIn += cost
		to.Donated += donated
		for i := range s.today.Moves { // the one that emptied the batch
			if moved := &s.today.Moves[i]; moved.Entry == m.by {
				moved.Cost += cost
			}
		}
	default:
		m.sent.Value += cost
		m.sent.Donated += donated
	}
	b.CostOut += cost
	b.Donated -= donated
}

// join puts moved fish into a batch, with what they cost.
func (s *Site) join(id BatchID, n Fish, weight *Milligrams, cost, donated Money, w withdrawal, suppliers ...PartyID) error {
	b, err := s.arrive(id, n, weight)
	if err != nil {
		return err
	}
	if n > 0 {
		s.carry(b, w)
	}
	b.MovedIn += n
	if weight == nil {
		b.MovedInUnweighed += n
	} else {
		b.MovedInMg += *weight
		if b.Stocked == 0 && *b.FirstOn == s.day {
			b.StartMg, b.StartFish = b.StartMg+*weight, b.StartFish+n
		}
	}
	b.CostIn += cost
	b.Donated += donated
	if n > 0 {
		b.cameFrom(suppliers...)
	}
	return nil
}

func (s *Site) product(id ProductID) (ProductFacts, error) {
	p, ok := s.Facts.Products[id]
	if !ok {
		return p, &Error{Kind: Refused, Code: "unknown_reference", Detail: "there is no such product: look at its id, or add it first", Fields: []FieldError{{"/product_id", "is not a product of the co-operative"}}}
	}
	return p, nil
}

func (s *Site) unit(id UnitID, pointer string) error {
	if _, ok := s.Facts.Units[id]; !ok {
		return &Error{Kind: Refused, Code: "unknown_reference", Detail: "there is no such tank or bed at this site: look at its id, or add it first", Fields: []FieldError{{pointer, "is not a unit of this site"}}}
	}
	return nil
}

func (s *Site) store(id ProductID) *StoreState {
	st := s.Stores[id]
	if st == nil {
		st = &StoreState{}
		s.Stores[id] = st
	}
	s.today.Stores[id] = true
	return st
}

// share adds a cost of the whole site.
func (s *Site) share(e *Entry, c Category, from, to Date, amount Money) {
	if amount == 0 {
		return
	}
	cost := SharedCost{Entry: e.ID, On: e.On, Category: c, From: from, To: to, Amount: amount}
	s.today.Shared = append(s.today.Shared, cost)
	if cost.OfOneDay() {
		s.own().DayCosts[c] += amount
	}
}

// charge puts a cost on the batch named, or on the whole site.
func (s *Site) charge(e *Entry, id *BatchID, c Category, from, to Date, amount Money) error {
	if id == nil {
		s.share(e, c, from, to, amount)
		return nil
	}
	b, err := s.batch(*id)
	if err != nil {
		return err
	}
	switch c {
	case Unpaid:
		b.Unpaid += amount
	case Donated:
		b.Donated += amount
	default:
		b.Cost[c] += amount
	}
	return nil
}

// take issues a quantity from a store and returns its cost, at the moving
// average, and the value of donated goods in it.
func (st *StoreState) take(q Quantity, on *Date) (cost, donated Money) {
	held := min(q, max(st.Balance, 0))
	cost = st.worth(q - held)
	if held > 0 {
		cost += Money(mulDiv(int64(st.Value), int64(held), int64(st.Balance)))
		donated = Money(mulDiv(int64(st.DonatedV), int64(held), int64(st.Balance)))
		st.UnitValue, st.UnitQuantity = st.Value, st.Balance
	}
	st.Balance, st.Value, st.DonatedV = st.Balance-q, st.Value-cost, st.DonatedV-donated
	if st.Balance < 0 && st.BelowSince == nil {
		st.BelowSince = on
	}
	return cost, donated
}

// worth returns what a quantity is worth at the moving average or, if there is
// nothing in the store, at the last known unit cost.
func (st *StoreState) worth(q Quantity) Money {
	value, of := st.UnitValue, st.UnitQuantity
	if st.Balance > 0 {
		value, of = st.Value, st.Balance
	}
	if of == 0 {
		return 0
	}
	return Money(mulDiv(int64(value), int64(q), int64(of)))
}

// put brings a quantity into a store. What was issued before it came, at an
// estimated cost, is revalued: the difference stays apart.
func (st *StoreState) put(q Quantity, cost, donated Money) {
	if st.Balance < 0 && q > 0 {
		owed := min(-st.Balance, q) // of this receipt, gone already
		actual := Money(mulDiv(int64(cost), int64(owed), int64(q)))
		assumed := Money(mulDiv(int64(-st.Value), int64(owed), int64(-st.Balance)))
		st.Revaluation += actual - assumed
		st.Value += assumed - actual
	}
	st.Balance, st.Value = st.Balance+q, st.Value+cost
	if q > 0 {
		st.UnitValue, st.UnitQuantity = cost, q
	}
	if st.Balance >= 0 {
		st.BelowSince = nil
	}
	if st.Balance > 0 {
		st.DonatedV += donated
	}
}
