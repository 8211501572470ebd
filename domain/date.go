package domain

import (
	"errors"
	"time"
)

// Date is a civil date at the site, as days since 1 January 1970.
type Date int32

// Month is a calendar month, as months since January of year 0.
type Month int32

var errDate = errors.New("not a date such as 2026-05-31")

// NewDate returns the date of a year, month and day.
func NewDate(year int, month time.Month, day int) Date {
	return Date(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// DateOf returns the civil date of an instant in a zone.
func DateOf(t time.Time, zone *time.Location) Date {
	y, m, d := t.In(zone).Date()
	return NewDate(y, m, d)
}

// ParseDate reads a date of the years 1 to 9999 in the form 2026-05-31.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil || t.Year() < 1 || len(s) != 10 {
		return 0, errDate
	}
	return Date(t.Unix() / 86400), nil
}

// Time returns midnight UTC of the date.
func (d Date) Time() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// String returns the form 2026-05-31.
func (d Date) String() string { return d.Time().Format(time.DateOnly) }

// MarshalText returns the form 2026-05-31.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads the form 2026-05-31.
func (d *Date) UnmarshalText(b []byte) error {
	v, err := ParseDate(string(b))
	if err == nil {
		*d = v
	}
	return err
}

// Month returns the month the date falls in.
func (d Date) Month() Month {
	y, m, _ := d.Time().Date()
	return Month(y*12 + int(m) - 1)
}

// First returns the first day of the month.
func (m Month) First() Date { return NewDate(int(m)/12, time.Month(int(m)%12+1), 1) }

// Last returns the last day of the month.
func (m Month) Last() Date { return (m + 1).First() - 1 }

// Minute is a time of day, as minutes since midnight.
type Minute int16

// ParseMinute reads a time of day in the form 06:30.
func ParseMinute(s string) (Minute, error) {
	t, err := time.Parse("15:04", s)
	if err != nil || len(s) != 5 {
		return 0, errors.New("not a time of day such as 06:30")
	}
	return Minute(t.Hour()*60 + t.Minute()), nil
}

// String returns the form 06:30.
func (m Minute) String() string {
	return time.Unix(int64(m)*60, 0).UTC().Format("15:04")
}
