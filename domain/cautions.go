package domain

import "shoalbook/domain/husbandry"

// What people are told with figures that they may act on.
const (
	CautionFigures     = "These figures support a decision; they do not replace local rules or licensed practice."
	CautionElectricity = "Electricity and water kill: use a residual-current device of 30 mA or less, keep sockets above the splash and the air pump above the water line, and unplug before hands go in. A competent electrician does the wiring."
	CautionChildren    = "Children near the water only with an adult: cover or fence it. A child can drown in a few centimetres."
	CautionSpines      = "Catfish have sharp spines: wear gloves when you handle them."
	CautionMedicine    = "Give medicine only as its label and a veterinarian say. Fish are not eaten or sold before both the days and the degree-days of its withdrawal are over, and local law decides."
	CautionLeaves      = "No manure of warm-blooded animals on leaves that are eaten raw, and wash what you pick."
)

// spiny are the codes of catfish with spines (FAO ASFIS).
var spiny = map[string]bool{husbandry.Catfish: true, "HEL": true, "HEB": true}

// spines is the caution for some species that have them; none for others.
func spines(species ...string) []string {
	for _, s := range species {
		if spiny[s] {
			return []string{CautionSpines}
		}
	}
	return nil
}
