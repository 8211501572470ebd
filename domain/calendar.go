package domain

// Period is a time in the calendar of a site: a term or a holiday, both days included.
type Period struct {
	ID       PeriodID
	Site     SiteID
	Kind     string // term, holiday
	Name     string
	StartsOn Date
	EndsOn   Date
	Feeder   *string // who feeds the fish meanwhile; nil: nobody is named
	Kept
}

// Check refuses a period that cannot be.
func (f *Period) Check() error {
	c := &checker{}
	c.oneOf(f.Kind, "/kind", "term", "holiday")
	c.name(f.Name)
	c.require(f.StartsOn >= earliest && f.EndsOn <= latest, "/starts_on", "must be after 1990")
	c.require(f.EndsOn >= f.StartsOn, "/ends_on", "must not be before starts_on")
	c.require(f.EndsOn-f.StartsOn <= 366, "/ends_on", "at most a year")
	c.require(f.Feeder == nil || fits(*f.Feeder, 200), "/feeder", "must be 1 to 200 characters")
	return c.refuse("the period")
}
