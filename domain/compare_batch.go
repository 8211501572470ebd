package domain

import "shoalbook/domain/stats"

// ComparedBatch is what a batch gives to comparisons: small, so that those of a whole
// co-operative can be remembered.
type ComparedBatch struct {
	Site     SiteID
	Batch    BatchID
	Species  string
	Season   string   // empty: none
	Tags     []string // its own and those of its site, sorted
	UnitKind string
	Size     string
	Warmth   string
	ClosedOn *Date
	AsOf     Date
	Empty    bool // it never had fish
	Cost     CostSums
	Records  Records
	parts    [14]part // by [Yardsticks]

	site, supplier, feed string // ids; of supplier and feed empty if there is no one
	mixed                bool   // whether fish of several suppliers are in it
}

type part struct {
	stats.Pair
	reason string
}

// BatchFacts are what the registry says of a batch that is compared.
type BatchFacts struct {
	ID       BatchID
	Site     SiteID
	Season   *string
	Tags     []string // its own and those of its site, sorted
	UnitKind string
}

// Compared returns what a batch gives to comparisons.
func (m Measure) Compared(f BatchFacts) ComparedBatch {
	out := ComparedBatch{Site: f.Site, site: f.Site.String(), Batch: f.ID, Species: m.Species, Tags: f.Tags, UnitKind: f.UnitKind, AsOf: m.AsOf}
	if f.Season != nil {
		out.Season = *f.Season
	}
	b := m.State
	if b == nil || b.FirstOn == nil || b.Stocked+b.MovedIn == 0 {
		out.Empty = true
		return out
	}
	c := &contribution{m, b}
	out.ClosedOn = b.ClosedOn
	out.mixed = len(b.Suppliers) > 1
	if len(b.Suppliers) == 1 && b.Suppliers[0] != (PartyID{}) {
		out.supplier = b.Suppliers[0].String()
	}
	for i, g := range b.FeedsG {
		if 2*g > int64(b.FedG) {
			out.feed = b.Feeds[i].String()
		}
	}
	out.Size, out.Warmth = b.sizeClass(), b.warmthClass()
	out.Cost = c.costSums()
	out.Records = b.records(m.AsOf)
	for i, y := range Yardsticks {
		num, den, reason := y.of(c)
		out.parts[i] = part{stats.Pair{Num: num, Den: den}, reason}
	}
	return out
}

// class returns the first class that a value is below the end of.
func class(v float64, ends []float64, names []string) string {
	for i, end := range ends {
		if v < end {
			return names[i]
		}
	}
	return names[len(ends)]
}

const notKnown = "not known"

// sizeClass is that of the fish when they came (common practice, no source: fry,
// fingerlings, advanced fingerlings, juveniles, larger fish).
func (b *BatchState) sizeClass() string {
	if b.StartFish == 0 || b.Unweighed > 0 {
		return notKnown
	}
	return class(float64(b.StartMg)/float64(b.StartFish)/1000, []float64{1, 5, 20, 50},
		[]string{"under 1 g", "1 to 5 g", "5 to 20 g", "20 to 50 g", "50 g and more"})
}

// warmthClass is that of the mean temperature of the water (common practice, no source:
// warm-water fish eat little below 22 °C and do best at 26 to 30).
func (b *BatchState) warmthClass() string {
	if b.HeatDays == 0 {
		return notKnown
	}
	return class(float64(b.Heat)/1000/float64(b.HeatDays), []float64{22, 26, 30},
		[]string{"under 22 °C", "22 to 26 °C", "26 to 30 °C", "30 °C and more"})
}

// Records says how complete the records of some batches are.
type Records struct {
	Batches, Counted, StartWeighed int64
	Days, FedDays, HeatDays        int64
}

func (r *Records) add(o Records) {
	r.Batches += o.Batches
	r.Counted += o.Counted
	r.StartWeighed += o.StartWeighed
	r.Days += o.Days
	r.FedDays += o.FedDays
	r.HeatDays += o.HeatDays
}

func (b *BatchState) records(asOf Date) Records {
	until := asOf
	if b.Closed() {
		until = *b.ClosedOn
	}
	r := Records{Batches: 1, Days: int64(until - *b.FirstOn), FedDays: b.FedDays, HeatDays: b.HeatDays}
	if b.CountedOn != nil {
		r.Counted = 1
	}
	if b.StartFish > 0 && b.Unweighed == 0 {
		r.StartWeighed = 1
	}
	return r
}
