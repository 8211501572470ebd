package domain

import "slices"

// Where the definitions of the catalogue are from.
const (
	fromFeedTheFuture = "Feed the Future Indicator Handbook (from memory of the source)"
	fromWFP           = "WFP Monitoring Handbook, "
	fromFAO           = "FAO Coordinating Working Party on Fishery Statistics (from memory of the source)"
)

// catalogue is the indicators that come with the service, as version 1 of each.
var catalogue = []Indicator{
	{Code: "production", Title: "Fish produced", Definition: "Live weight of the fish harvested in the period: sold, eaten at the site, given away or kept. Dead fish never count.", Unit: "kg", Formula: "harvested_kg", Direction: "rising", Result: "output", Disaggregation: []string{"site"}, Source: fromFAO},
	{Code: "yield_m3", Title: "Harvest yield per m³ of water", Definition: "Fish harvested in the period, by the water of the tanks, ponds and cages that had fish in it.", Unit: "kg/m³", Formula: "harvested_kg / water_m3", Direction: "rising", Result: "outcome", Disaggregation: []string{"site"}, Source: fromFeedTheFuture + ", EG.3-10", Limits: "Water volumes are those of the registry at the end of the period; a tank without one is left out below the line, and said."},
	{Code: "yield_m2", Title: "Vegetables per m² of bed", Definition: "Vegetables and other crops picked in the period, by the area of the grow beds.", Unit: "kg/m²", Formula: "crop_kg / bed_m2", Direction: "rising", Result: "outcome", Disaggregation: []string{"site"}, Source: fromFeedTheFuture + ", EG.3-10", Limits: "Of beds only: ponds have a yield of their own."},
	{Code: "yield_pond_m2", Title: "Harvest yield per m² of pond", Definition: "Fish harvested in the period out of ponds, by the area of the ponds that had fish in it.", Unit: "kg/m²", Formula: "pond_harvest_kg / pond_m2", Direction: "rising", Result: "outcome", Disaggregation: []string{"site"}, Source: fromFeedTheFuture + ", EG.3-10", Limits: "Of ponds whose area is in the registry at the end of the period. The fish of a batch count for the pond they were in last."},
	{Code: "fcr_economic", Title: "Economic feed conversion", Definition: "Feed for a kilogram of net gain, of the batches that were closed in the period, over all their life. Dead fish count as no gain.", Unit: "1", Formula: "closed_feed_kg / closed_gain_kg", Direction: "falling", Result: "outcome", Disaggregation: []string{"site"}, Source: "common definition", Limits: "Batches that still grow are not in it, nor those of which a weight is not known or no feed was recorded."},
	{Code: "survival", Title: "Survival", Definition: "Fish harvested or moved on, of those ever stocked in or moved to the batches that were closed in the period. Whatever is missing counts as lost.", Unit: "%", Formula: "closed_out_fish / closed_in_fish * 100[%]", Measure: "percentage", Direction: "rising", Result: "outcome", Disaggregation: []string{"site"}, Source: "common definition", Limits: "Counts at stocking are often short or over; more than 100 % points to that. Batches that still grow are not in it. Fish that went on to another batch count in each."},
	{Code: "cost_per_kg", Title: "Cost per kilogram", Definition: "All cost of the period, by the live weight harvested in it that was not thrown away.", Unit: "money/kg", Formula: "cost / (harvested_kg - discarded_kg)", Direction: "falling", Result: "outcome", Disaggregation: []string{"site"}, Source: "IAS 2 (from memory of the source), by period", Limits: "Fish that still grow have cost in the period and are harvested later. Unpaid work and donated inputs are not in it."},
	{Code: "gross_margin_m3", Title: "Gross margin per m³ of water", Definition: "Fish harvested at the mean price of the fish sold, less the cost that varies with production, by the water that had fish in it: five data points, each added up first.", Unit: "money/m³", Formula: "(harvested_kg * (sales / sold_kg) - input_cost) / water_m3", Direction: "rising", Result: "outcome", Disaggregation: []string{"site"}, Source: fromFeedTheFuture + ", EG.3-6"},
	{Code: "sales", Title: "Sales of fish", Definition: "What fish were sold for in the period, paid or not.", Unit: "money", Formula: "sales", Direction: "rising", Result: "outcome", Disaggregation: []string{"site"}, Source: fromFeedTheFuture + ", EG.3.2-26"},
	{Code: "farm_gate_value", Title: "Value at the farm gate", Definition: "Fish sold, eaten at the site and given away, at the price of first sale at the gate.", Unit: "money", Formula: "sales + eaten_value + given_value", Direction: "rising", Result: "outcome", Disaggregation: []string{"site"}, Source: fromFAO, Limits: "Fish given away count only where a price was said."},
	{Code: "fish_eaten", Title: "Fish eaten at school", Definition: "Live weight of the fish eaten at the site.", Unit: "kg", Formula: "eaten_kg", Direction: "rising", Result: "output", Disaggregation: []string{"site"}, Source: fromWFP + "T.3"},
	{Code: "portions", Title: "Portions of fish", Definition: "What can be eaten of the fish eaten at the site, in portions of the size that the programme sets.", Unit: "portion", Formula: "edible_kg * 1000[g/kg] / portion_size", Direction: "rising", Result: "output", Source: "worked out by sourced yields", Limits: "Yields are those of the factors in this report; published ones differ by half."},
	{Code: "protein", Title: "Protein of fish eaten", Definition: "Protein in what can be eaten of the fish eaten at the site.", Unit: "kg", Formula: "protein_kg", Direction: "rising", Result: "output", Source: "worked out by sourced yields", Limits: "Yields and protein are those of the factors in this report."},
	{Code: "feeding_days", Title: "Feeding days of school days", Definition: "Days on which meals were served, of the days on which there was school.", Unit: "%", Formula: "feeding_days / school_days * 100[%]", Measure: "percentage", Direction: "rising", Result: "output", Disaggregation: []string{"site"}, Source: fromWFP + "T.14"},
	{Code: "learners", Title: "Learners reached", Definition: "Learners of the schools: of each site the most that a tally of the period counted.", Unit: "person", Formula: "learners", Direction: "rising", Result: "output", Disaggregation: []string{"sex", "site"}, Source: "common practice, no source", Limits: "Learners that came and left within the period are counted by the largest tally only."},
	{Code: "trained", Title: "People trained", Definition: "People trained in the period; who was trained twice counts twice.", Unit: "person", Formula: "trained", Direction: "rising", Result: "output", Disaggregation: []string{"sex", "site"}, Source: "IFAD core indicator 1.1.4 (from memory of the source)"},
	{Code: "meals", Title: "Meals with fish", Definition: "Meals with fish that were served in the period.", Unit: "meal", Formula: "meals", Direction: "rising", Result: "output", Disaggregation: []string{"site"}, Source: "common practice, no source"},
	{Code: "energy_per_kg", Title: "Electricity per kilogram", Definition: "Electricity used in the period, by the live weight harvested in it.", Unit: "kWh/kg", Formula: "energy_kwh / metered_harvest_kg", Direction: "falling", Result: "outcome", Source: "common practice, no source", Limits: "Only of sites that read a meter or measured the power of their pumps."},
	{Code: "water_per_kg", Title: "Water per kilogram", Definition: "Water added to tanks in the period, by the live weight harvested in it.", Unit: "m³/kg", Formula: "water_added_m3 / watered_harvest_kg", Direction: "falling", Result: "outcome", Source: "common practice, no source", Limits: "Only of sites that write down what they add. Rain and streams are not in it."},
	{Code: "active_sites", Title: "Active sites", Definition: "Sites that had fish on at least one day of the period, of all sites of the grant.", Unit: "%", Formula: "active_sites / sites * 100[%]", Measure: "percentage", Direction: "rising", Result: "output", Source: "common practice, no source"},
	{Code: "going_on_sites", Title: "Sites going on without support", Definition: "Sites that had fish in the period, of those whose support had ended before it began.", Unit: "%", Formula: "going_on_sites / support_ended_sites * 100[%]", Measure: "percentage", Direction: "rising", Result: "impact", Source: "common practice, no source"},
	{Code: "jobs", Title: "Jobs", Definition: "People with paid work at the sites: of each site the most that a tally of the period counted.", Unit: "job", Formula: "jobs", Direction: "rising", Result: "outcome", Disaggregation: []string{"sex", "site"}, Source: fromFAO},
	{Code: "labour_days", Title: "Days of work", Definition: "Hours of work in the period, paid and unpaid, as days of 8 hours.", Unit: "day", Formula: "labour_hours / 8[h/day]", Direction: "neither", Result: "output", Source: "days of 8 hours: common practice, no source"},
}

func init() {
	for i := range catalogue {
		if catalogue[i].Measure == "" {
			catalogue[i].Measure = "unit"
		}
		catalogue[i].Version = 1
	}
}

// Catalogue returns the indicators that come with the service.
func Catalogue() []Indicator { return slices.Clone(catalogue) }

// CatalogueIndicator returns an indicator of the catalogue by its code.
func CatalogueIndicator(code string) (Indicator, bool) {
	i := slices.IndexFunc(catalogue, func(f Indicator) bool { return f.Code == code })
	if i < 0 {
		return Indicator{}, false
	}
	return catalogue[i], true
}
