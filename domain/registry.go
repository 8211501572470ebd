package domain

import (
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// Kept is what the registry itself says of each of its things: how often it was
// changed, starting at 1, and whether it is out of use. Nothing is deleted.
type Kept struct {
	Archived  bool
	Version   int64
	CreatedAt time.Time
}

// Coop is a co-operative.
type Coop struct {
	ID        CoopID
	Name      string
	Currency  Currency // never changes: every amount is in its minor unit
	Zone      string   // IANA time zone of the sites that name none
	Country   string   // ISO 3166-1 alpha-2
	ShareBy   string   // gram_days, unit_days: what the shared cost of a site is shared by
	Version   int64
	CreatedAt time.Time
}

// SiteFacts is a school or farm, as the registry has it.
type SiteFacts struct {
	ID        SiteID
	Name      string
	Kind      string   // school, smallholder, hatchery, other
	Longitude *float64 // WGS 84, degrees; both or neither
	Latitude  *float64
	AltitudeM *Thousandths
	Zone      *string // IANA time zone; nil: the co-operative's
	Tags      []string
	Kept
}

// Unit is a tank, pond, cage or grow bed.
type Unit struct {
	ID               UnitID
	Site             SiteID
	Name             string
	Kind             string // tank, pond, cage, bed
	WaterVolumeL     *Thousandths
	BedAreaM2        *Thousandths
	PondAreaM2       *Thousandths // of the water of a pond
	DensityLimitKgM3 *Thousandths // the most fish it shall hold
	Loop             *LoopID
	Kept
}

// Loop is units that share water, with their pump.
type Loop struct {
	ID          LoopID
	Site        SiteID
	Name        string
	PumpFlowLH  *Thousandths // litres an hour
	PumpPowerW  *Thousandths
	DrainFlowLH *Thousandths // litres an hour that the drains or siphons of its beds can empty
	Kept
}

// Party is a hatchery, feed seller, buyer or funder.
type Party struct {
	ID    PartyID
	Name  string
	Roles []string // hatchery, feed_seller, buyer, funder, other
	Phone *string
	Kept
}

// Product is feed or another input.
type Product struct {
	ID              ProductID
	Name            string
	Category        string // feed, energy, water, medicine, packaging, seed, other
	Unit            string // kg, l, piece, kwh; never changes: quantities are in it
	Stored          bool   // whether sites keep a store of it
	ProteinPercent  *Thousandths
	MoisturePercent *Thousandths
	LeadDays        *int32 // from ordering it to having it
	Kept
}

// Equipment is what is written off over its life.
type Equipment struct {
	ID         EquipmentID
	Site       SiteID
	Name       string
	Cost       Money
	Salvage    Money // what it is worth at the end
	LifeMonths int32
	InUseFrom  Date
	RetiredOn  *Date
	Kept
}

// Batch is fish stocked together.
type Batch struct {
	ID      BatchID
	Site    SiteID
	Unit    UnitID // where it is stocked; moves are in the journal
	Species string // ASFIS 3-alpha code
	Name    string
	Tags    []string
	Season  *string
	Plan
	Kept
}

// Plan is what a batch is grown for; both members or neither.
type Plan struct {
	TargetWeight *Milligrams // of one fish
	TargetOn     *Date
}

// Species is a kind of fish, by its ASFIS 3-alpha code, with the names its source prints.
type Species struct {
	Code           string
	ScientificName string
	EnglishName    string
	FrenchName     *string
	Source         string
}

// Revision is what the registry knew of a thing from one change to the next.
type Revision[T any] struct {
	Facts      T
	ValidFrom  *Date // nil: since ever
	RecordedAt time.Time
	RecordedBy string
}

// FactsOn returns what held on a day: of the revisions not valid from a later
// day, the one of the latest day, and among those the last recorded. The history
// is of one thing, ordered by valid from and then by version.
func FactsOn[T any](history []Revision[T], day Date) (T, bool) {
	for _, r := range slices.Backward(history) {
		if r.ValidFrom == nil || *r.ValidFrom <= day {
			return r.Facts, true
		}
	}
	var none T
	return none, false
}

// Check refuses a co-operative that cannot be. Whether the zone exists is for the
// one who has the zones.
func (f *Coop) Check() error {
	c := &checker{}
	c.name(f.Name)
	c.require(f.Currency.Known(), "/currency", "must be the ISO 4217 code of a currency in use, such as KES")
	c.require(isCode(f.Country, 2), "/country", "must be an ISO 3166-1 code of two letters, such as KE")
	c.require(f.Zone != "", "/zone", "must be an IANA time zone, such as Africa/Nairobi")
	c.oneOf(f.ShareBy, "/share_by", "gram_days", "unit_days")
	return c.refuse("the co-operative")
}

// Check refuses a site that cannot be.
func (f *SiteFacts) Check() error {
	c := &checker{}
	c.name(f.Name)
	c.oneOf(f.Kind, "/kind", "school", "smallholder", "hatchery", "other")
	c.require((f.Longitude == nil) == (f.Latitude == nil), "/location", "needs a longitude and a latitude")
	c.require(f.Longitude == nil || *f.Longitude >= -180 && *f.Longitude <= 180, "/location/coordinates/0", "must be a longitude between -180 and 180")
	c.require(f.Latitude == nil || *f.Latitude >= -90 && *f.Latitude <= 90, "/location/coordinates/1", "must be a latitude between -90 and 90")
	c.require(f.AltitudeM == nil || *f.AltitudeM >= -500_000 && *f.AltitudeM <= 6_000_000, "/altitude_m", "must be between -500 and 6000 m")
	c.require(f.Zone == nil || *f.Zone != "", "/zone", "must be an IANA time zone, such as Africa/Nairobi")
	c.tags(f.Tags)
	return c.refuse("the site")
}

// Check refuses a unit that cannot be.
func (f *Unit) Check() error {
	c := &checker{}
	c.name(f.Name)
	c.oneOf(f.Kind, "/kind", "tank", "pond", "cage", "bed")
	c.positive(f.WaterVolumeL, "/water_volume_l")
	c.positive(f.BedAreaM2, "/bed_area_m2")
	c.positive(f.PondAreaM2, "/pond_area_m2")
	c.positive(f.DensityLimitKgM3, "/density_limit_kg_m3")
	return c.refuse("the unit")
}

// Check refuses a loop that cannot be.
func (f *Loop) Check() error {
	c := &checker{}
	c.name(f.Name)
	c.require(f.PumpFlowLH == nil || *f.PumpFlowLH >= 0, "/pump_flow_l_h", "must not be negative")
	c.require(f.PumpPowerW == nil || *f.PumpPowerW >= 0, "/pump_power_w", "must not be negative")
	c.require(f.DrainFlowLH == nil || *f.DrainFlowLH >= 0, "/drain_flow_l_h", "must not be negative")
	return c.refuse("the loop")
}

// Check refuses a party that cannot be.
func (f *Party) Check() error {
	c := &checker{}
	c.name(f.Name)
	for _, role := range f.Roles {
		c.oneOf(role, "/roles", "hatchery", "feed_seller", "buyer", "funder", "other")
	}
	c.require(len(f.Roles) == len(slices.Compact(slices.Sorted(slices.Values(f.Roles)))), "/roles", "must not repeat")
	c.require(f.Phone == nil || fits(*f.Phone, 40), "/phone", "must be 1 to 40 characters")
	return c.refuse("the party")
}

// Check refuses a product that cannot be.
func (f *Product) Check() error {
	c := &checker{}
	c.name(f.Name)
	c.oneOf(f.Category, "/category", "feed", "energy", "water", "medicine", "packaging", "seed", "other")
	c.oneOf(f.Unit, "/unit", "kg", "l", "piece", "kwh")
	c.require(f.Category != "feed" || f.Unit == "kg", "/unit", "feed is in kg")
	c.require(f.Category != "feed" || f.Stored, "/stored", "feed is kept in a store")
	c.percent(f.ProteinPercent, "/protein_percent")
	c.percent(f.MoisturePercent, "/moisture_percent")
	c.require(f.LeadDays == nil || *f.LeadDays >= 0 && *f.LeadDays <= 365, "/lead_days", "must be between 0 and 365")
	return c.refuse("the product")
}

// Check refuses equipment that cannot be.
func (f *Equipment) Check() error {
	c := &checker{}
	c.name(f.Name)
	c.require(f.Cost >= 0, "/cost", "must not be negative")
	c.require(f.Salvage >= 0 && f.Salvage <= f.Cost, "/salvage", "must be between 0 and the cost")
	c.require(f.LifeMonths >= 1 && f.LifeMonths <= 1200, "/life_months", "must be between 1 and 1200")
	c.require(f.InUseFrom >= earliest && f.InUseFrom <= latest, "/in_use_from", "must be after 1990")
	c.require(f.RetiredOn == nil || *f.RetiredOn >= f.InUseFrom, "/retired_on", "must not be before in_use_from")
	return c.refuse("the equipment")
}

// Check refuses a batch that cannot be.
func (f *Batch) Check() error {
	c := &checker{}
	c.name(f.Name)
	c.require(isCode(f.Species, 3), "/species", "must be an ASFIS code of three letters, such as CLZ")
	c.tags(f.Tags)
	c.require(f.Season == nil || fits(*f.Season, 40), "/season", "must be 1 to 40 characters")
	c.require((f.TargetWeight == nil) == (f.TargetOn == nil), "/plan", "needs a target weight and its date")
	c.require(f.TargetWeight == nil || *f.TargetWeight > 0 && *f.TargetWeight <= heaviest, "/plan/target_weight_g", "must be more than 0 and at most 60 kg")
	c.require(f.TargetOn == nil || *f.TargetOn >= earliest && *f.TargetOn <= latest, "/plan/target_on", "must be after 1990")
	return c.refuse("the batch")
}

func (c *checker) refuse(what string) error {
	if len(c.fields) == 0 {
		return nil
	}
	return &Error{Kind: Invalid, Code: "invalid_request", Detail: what + " cannot be as it is written", Fields: c.fields}
}

func (c *checker) name(s string) {
	c.require(fits(s, 200) && strings.TrimSpace(s) != "", "/name", "must be 1 to 200 characters")
}

func (c *checker) oneOf(s, pointer string, allowed ...string) {
	c.require(slices.Contains(allowed, s), pointer, "must be one of "+strings.Join(allowed, ", "))
}

func (c *checker) positive(v *Thousandths, pointer string) {
	c.require(v == nil || *v > 0, pointer, "must be more than 0")
}

func (c *checker) percent(v *Thousandths, pointer string) {
	c.require(v == nil || *v >= 0 && *v <= 100_000, pointer, "must be between 0 and 100")
}

func (c *checker) tags(tags []string) {
	c.require(len(tags) <= 20, "/tags", "at most 20")
	for _, tag := range tags {
		c.require(fits(tag, 40), "/tags", "must be 1 to 40 characters each")
	}
}

func fits(s string, most int) bool {
	n := utf8.RuneCountInString(s)
	return n >= 1 && n <= most && utf8.ValidString(s) && !strings.ContainsRune(s, 0)
}

func isCode(s string, length int) bool {
	if len(s) != length {
		return false
	}
	for i := range len(s) {
		if s[i] < 'A' || s[i] > 'Z' {
			return false
		}
	}
	return true
}
