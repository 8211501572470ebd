package postgres

import (
	"fmt"
	"sync"
	"time"
	_ "time/tzdata" // a container may have no zones of its own

	"shoalbook/domain"
)

// zones caches what was loaded, by name.
var zones sync.Map

func loadZone(name string) (*time.Location, error) {
	if zone, ok := zones.Load(name); ok {
		return zone.(*time.Location), nil
	}
	if name == "" || name == "Local" { // which stand for whatever the machine has
		return nil, fmt.Errorf("no time zone %q", name)
	}
	zone, err := time.LoadLocation(name)
	if err == nil {
		zones.Store(name, zone)
	}
	return zone, err
}

// CheckZone refuses what is not the name of an IANA time zone.
func CheckZone(name string) error {
	if _, err := loadZone(name); err != nil {
		return invalid("/zone", "must be an IANA time zone, such as Africa/Nairobi")
	}
	return nil
}

// today returns the civil date in a zone.
func today(zone string, now time.Time) (domain.Date, error) {
	z, err := loadZone(zone)
	if err != nil {
		return 0, err
	}
	return domain.DateOf(now, z), nil
}
