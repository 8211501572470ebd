package simulate

import "fmt"

// The places, schools and firms are invented. Only the codes of money, time
// zone and country are real, since they must be.
const (
	coopName = "Ruvanzo School Fish Growers"
	currency = "KES"
	country  = "KE"

	// Zone is the time zone of all sites, by which Options.Today is to be told.
	Zone = "Africa/Nairobi"
)

var (
	heads   = []string{"Belu", "Chonzo", "Dunze", "Fombra", "Gavuli", "Hamzu", "Joluva", "Kembru", "Lozwi", "Munzoba", "Nyavu", "Owazi", "Pembruwa", "Rovuna", "Suvanga", "Tovu", "Uzelo", "Vumbro", "Wazeli", "Zoluma"}
	tails   = []string{"ri", "mbe", "ndo", "shi", "va", "ko", "tuli", "yo", "ngwe", "li", "pa", "zeni"}
	schools = []string{"Primary School", "Secondary School", "Girls' Secondary School", "Mixed Secondary School", "Boys' Boarding School", "Community School", "Special School", "Technical School"}

	hatcheryNames = []string{"Vumbrova Fingerlings", "Lozwi Springs Hatchery", "Hamzu Ponds Hatchery"}
	sellerNames   = []string{"Tovuli Feeds", "Joluva Agro Store", "Kembruko Mills"}
	buyerNames    = []string{"Zoluma Market Traders", "Owazi Guest House", "Nyavu Fish Fryers", "Gavuli Canteen", "Suvanga Cold Store"}
	funderName    = "Friends of Ruvanzo Schools"
	powerName     = "Ruvanzo Power"
	cropNames     = []string{"spinach", "kale", "tomato", "lettuce", "amaranth"}
)

// schoolName returns a name of its own for each of the first 240 sites, and a
// number after it from there on.
func schoolName(i int) string {
	head, lap := i%len(heads), i/len(heads)
	name := heads[head] + tails[(lap+3*head)%len(tails)] + " " + schools[(i+lap)%len(schools)]
	if n := lap / len(tails); n > 0 {
		name += fmt.Sprintf(" %d", n+1)
	}
	return name
}
