package domain

import "time"

// Report is what a funder gets: a draft until it is issued, and then as it is for ever.
type Report struct {
	ID       ReportID
	Grant    GrantID
	StartsOn Date
	EndsOn   Date
	Restates *ReportID // the report that it takes the place of
	Reason   *string   // why
	Title    string
	Language string // en, fr
	Texts    []ReportText
	State    string // draft, issued, restated
	KnownAt  *time.Time
	IssuedBy *string
	SHA256   []byte // of the document
	Kept
}

// ReportText is the coordinator's own words: a section, or the caption of a picture.
type ReportText struct {
	Kind    string // section, caption
	Heading string
	Text    string
}

// The states of a report.
const (
	ReportDraft    = "draft"
	ReportIssued   = "issued"
	ReportRestated = "restated" // another one has taken its place
)

// Check refuses a report that cannot be.
func (f *Report) Check() error {
	c := &checker{}
	c.require(fits(f.Title, 200), "/title", "must be 1 to 200 characters")
	c.require(f.StartsOn >= earliest && f.EndsOn <= latest, "/starts_on", "must be after 1990")
	c.require(f.StartsOn <= f.EndsOn, "/ends_on", "the period ends before it starts")
	c.require(f.EndsOn-f.StartsOn <= 3660, "/ends_on", "at most ten years")
	c.oneOf(f.Language, "/language", "en", "fr")
	c.require(len(f.Texts) <= 50, "/texts", "at most 50")
	for _, t := range f.Texts {
		c.oneOf(t.Kind, "/texts", "section", "caption")
		c.require(fits(t.Heading, 200), "/texts", "a heading must be 1 to 200 characters")
		c.require(fits(t.Text, 20_000), "/texts", "a text must be 1 to 20000 characters")
	}
	return c.refuse("the report")
}

// Period returns the days that the report is about.
func (f *Report) Period() Span { return Span{f.StartsOn, f.EndsOn} }

// ReportLink lets whoever has it read one report, until it expires.
type ReportLink struct {
	ID        LinkID
	Report    ReportID
	Name      string
	ExpiresAt time.Time
	RevokedAt *time.Time
	CreatedAt time.Time
}
