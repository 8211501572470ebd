package husbandry

// Provenance says how far a number can be trusted.
type Provenance string

// The provenances of a number, from the trade's texts and from the journal.
const (
	Read     Provenance = "read"     // read in the source that is named
	Memory   Provenance = "memory"   // from memory of the source that is named
	Practice Provenance = "practice" // common practice, no source
	Computed Provenance = "computed" // follows from the other numbers
	Measured Provenance = "measured" // read, weighed or counted at the site
	Recorded Provenance = "recorded" // what the co-operative set or wrote down
)

// Fact is a number of the trade with what it is worth.
type Fact struct {
	Value      float64
	Unit       string
	Source     string
	Provenance Provenance
}

// Names of sources that several facts share.
const (
	fao589   = "FAO Fisheries and Aquaculture Technical Paper 589 (Somerville et al. 2014)"
	timmons  = "Timmons and Ebeling, Recirculating Aquaculture"
	practice = "common practice, no source"
)

// Codes of the species of which there are tables (FAO ASFIS).
const (
	Catfish = "CLZ" // Clarias gariepinus
	Tilapia = "TLN" // Oreochromis niloticus
)
