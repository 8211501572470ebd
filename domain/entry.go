package domain

import (
	"cmp"
	"slices"
	"time"
)

// Entry is one dated thing that happened at a site. Entries are never edited: a
// mistake is reversed by an entry that names it.
type Entry struct {
	ID   EntryID
	Site SiteID
	On   Date    // civil date at the site
	At   *Minute // time of day, if the sender gave one
	Note string
	Body Body

	// What the service adds when it records the entry.
	RecordedAt time.Time
	RecordedBy string
	Fixed      *Consignment // of a sent or received entry: what crossed, as valued then
	// Fresh says that the entry is being recorded now. What happened is never refused
	// afterwards: fish that were eaten within a withdrawal are refused only of a fresh
	// entry, and questions are asked only about one.
	Fresh bool
}

// Consignment is what goes from one site to another, with its value fixed when
// it was sent: later corrections stay with the sender.
type Consignment struct {
	Batch    *BatchID   // the sender's batch; nil for goods
	Product  *ProductID // nil for fish
	Fish     Fish
	Weight   *Milligrams // of the fish, if it was weighed or could be estimated
	Quantity Quantity    // of the goods
	Value    Money
	Donated  Money // value of donated inputs in it, kept apart

	// Of fish under treatment: the last day of their withdrawal, and the thousandths
	// of °C·day that were left of it.
	WithdrawUntil *Date
	WithdrawHeat  int64
}

// Body is what one kind of entry says. To add a kind, write a type with these
// methods, list it in kinds, and give it a schema and an example in the contract.
type Body interface {
	// Kind returns the name of the kind on the wire.
	Kind() string
	// Refs returns what the entry is about, for finding it again.
	Refs() Refs
	rank() rank
	check(c *checker)
	post(s *Site, e *Entry) error
}

// kinds lists a zero value of every kind.
var kinds = []Body{
	Stocking{}, Death{}, Sample{}, Count{}, Move{}, Harvest{}, Crop{},
	Receipt{}, Feeding{}, Use{}, Stocktake{}, Sent{}, Received{},
	Expense{}, Labour{}, Sale{}, Payment{}, Water{}, Treatment{}, Visit{}, Tally{}, Incident{}, Reversal{},
}

// Kinds returns the names of all kinds of entry, in the order of the contract.
func Kinds() []string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = k.Kind()
	}
	return names
}

// Refs names what an entry is about. Owed is what it adds to what the party
// owes the co-operative; negative, if the co-operative owes the party.
type Refs struct {
	Batch, ToBatch *BatchID
	Unit           *UnitID
	Product        *ProductID
	Party          *PartyID
	ToSite         *SiteID
	Entry          *EntryID // the entry that is reversed, or was sent
	Owed           Money
}

// rank orders the entries of one day: in-flows, then deaths, feed and use, then
// out-flows, then weighings, then counts, then all that changes no fish.
type rank int16

const (
	rankIn rank = iota
	rankDaily
	rankMove
	rankOut
	rankEmptying // harvest of the rest
	rankWeighing
	rankCount
	rankOther
	rankTreatment // degree-days count from the end of the day, so after the water of it
)

// Position is where an entry stands in the order in which a site is folded.
type Position struct {
	On   Date
	Rank int16
	At   int16 // minute of the day; -1 if not given
	ID   EntryID
}

// Position returns where the entry stands in the order of its site.
func (e *Entry) Position() Position {
	p := Position{On: e.On, Rank: int16(e.Body.rank()), At: -1, ID: e.ID}
	if e.At != nil {
		p.At = int16(*e.At)
	}
	return p
}

// Compare orders positions by date, rank, time and id.
func (p Position) Compare(q Position) int {
	return cmp.Or(cmp.Compare(p.On, q.On), cmp.Compare(p.Rank, q.Rank), cmp.Compare(p.At, q.At), p.ID.Compare(q.ID))
}

// SortEntries puts entries of one site into the order in which they are folded.
func SortEntries(entries []Entry) {
	slices.SortFunc(entries, func(a, b Entry) int { return a.Position().Compare(b.Position()) })
}

// Earliest and latest date an entry may carry, whatever the clock says: records
// of fish farming in exercise books do not go back further.
var (
	earliest = NewDate(1990, 1, 1)
	latest   = NewDate(2199, 12, 31)
)

// Check judges what can be judged of an entry on its own: members that exclude
// each other, impossible readings, dates after today at the site.
func (e *Entry) Check(today Date) error {
	c := &checker{}
	switch {
	case e.On > today:
		return &Error{Kind: Refused, Code: "in_future", Detail: "the date is after today at the site (" + today.String() + "): look at the date, and at the clock of the device",
			Fields: []FieldError{{"/occurred_on", "must not be after today"}}}
	case e.On < earliest || e.On > latest:
		c.add("/occurred_on", "must be after 1990")
	}
	c.require(e.Note == "" || fits(e.Note, 1000), "/note", "must be at most 1000 characters")
	if to := e.Body.Refs().ToSite; to != nil && *to == e.Site {
		c.add("/to_site_id", "must be another site")
	}
	e.Body.check(c)
	return c.err()
}

// checker gathers every offending member before it refuses.
type checker struct{ fields []FieldError }

func (c *checker) add(pointer, detail string) {
	c.fields = append(c.fields, FieldError{pointer, detail})
}

func (c *checker) require(ok bool, pointer, detail string) {
	if !ok {
		c.add(pointer, detail)
	}
}

func (c *checker) err() error {
	if len(c.fields) == 0 {
		return nil
	}
	return &Error{Kind: Invalid, Code: "invalid_request", Detail: "the entry cannot be as it is written", Fields: c.fields}
}
