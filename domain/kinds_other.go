package domain

// Tally counts people, meals or days; by sex where it applies.
type Tally struct {
	Measure string // learners, trained, meals, school_days, feeding_days, jobs
	Count   Fish
	Female  *Fish
	Male    *Fish
}

// Incident is something that went wrong, told in the note.
type Incident struct {
	Type  string // power_cut, theft, flood, predator, disease, equipment, other
	Unit  *UnitID
	Batch *BatchID
	Hours *Thousandths
}

// Reversal takes another entry back, as if it had never been made. Only one
// reversal of an entry can stand, and a reversal cannot be reversed: record
// what is right as a new entry.
type Reversal struct {
	Reverses    EntryID
	Reason      string
	Replacement *EntryID
}

func (Tally) Kind() string    { return "tally" }
func (Incident) Kind() string { return "incident" }
func (Reversal) Kind() string { return "reversal" }

func (Tally) rank() rank    { return rankOther }
func (Incident) rank() rank { return rankOther }
func (Reversal) rank() rank { return rankOther }

func (b Tally) Refs() Refs    { return Refs{} }
func (b Incident) Refs() Refs { return Refs{Unit: b.Unit, Batch: b.Batch} }
func (b Reversal) Refs() Refs { return Refs{Entry: &b.Reverses} }

func (b Tally) check(c *checker) {
	c.oneOf(b.Measure, "/measure", "learners", "trained", "meals", "school_days", "feeding_days", "jobs")
	c.require(b.Count >= 0, "/count", "must not be negative")
	var known Fish
	for _, n := range []*Fish{b.Female, b.Male} {
		if n != nil {
			c.require(*n >= 0, "/count", "must not be negative")
			known += *n
		}
	}
	c.require(known <= b.Count, "/count", "is less than female and male together")
}

func (b Incident) check(c *checker) {
	c.oneOf(b.Type, "/type", "power_cut", "theft", "flood", "predator", "disease", "equipment", "other")
	c.require(b.Hours == nil || *b.Hours >= 0, "/hours", "must not be negative")
}

func (b Reversal) check(c *checker) {
	c.require(len(b.Reason) >= 3 && fits(b.Reason, 500), "/reason", "say why, so that others understand it later")
}
