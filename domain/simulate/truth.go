package simulate

import "shoalbook/domain"

// Truth is what really happened and why. No entry tells it.
type Truth struct {
	Hatcheries map[domain.PartyID]HatcheryTruth
	Sites      map[domain.SiteID]SiteTruth
	Batches    map[domain.BatchID]*BatchTruth
}

// HatcheryTruth is how good the fish of a hatchery are.
type HatcheryTruth struct {
	DeadOnArrival float64 // share of those delivered, on average
	Short         float64 // share of those on the delivery note that never came, on average; negative: more came
	Growth        float64 // multiplies the rate of growth
	Frailty       float64 // multiplies deaths
}

// SiteTruth is how well a site is kept.
type SiteTruth struct {
	FeedWaste float64 // feed given for what the fish could eat, as the keeper sees them; below 1 they go hungry
	Frailty   float64 // multiplies deaths
	Found     float64 // share of dead fish that somebody finds
	Warmth    float64 // °C, against the district
	Price     float64 // multiplies prices at the gate
}

// BatchTruth is what really became of a batch. The slices have an item for
// every day from From on, to the day it was emptied or the last day of all.
type BatchTruth struct {
	From       domain.Date
	Alive      []domain.Fish       // at the end of the day
	Weight     []domain.Milligrams // mean of those alive, before what was harvested that day went
	Fed        []domain.Grams      // whatever was written down
	Unrecorded []domain.Fish       // gone by the end of the day without an entry up to that day that tells of it
	Thefts     []Theft
	Outbreaks  []Outbreak
	Shocks     []domain.Date // days on which a power cut or a still night killed some
	Growth     Growth
	Frailty    float64 // multiplies deaths, the hatchery's included, the site's not
}

// Outbreak is a disease, both days included.
type Outbreak struct{ From, To domain.Date }

// Theft is fish that vanished.
type Theft struct {
	On   domain.Date
	Fish domain.Fish
}

// On returns the place of a day in the slices, and whether it has one.
func (t *BatchTruth) On(d domain.Date) (i int, ok bool) {
	return int(d - t.From), d >= t.From && int(d-t.From) < len(t.Alive)
}
