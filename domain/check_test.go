package domain_test

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
)

// pointers returns what an entry is refused for.
func pointers(t *testing.T, on domain.Date, body domain.Body) []string {
	t.Helper()
	e := domain.Entry{ID: id[domain.Entry](1), Site: site, On: on, Body: body}
	err := e.Check(day(365))
	if err == nil {
		return nil
	}
	refusal := err.(*domain.Error)
	if want := map[bool]domain.Kind{true: domain.Refused, false: domain.Invalid}[refusal.Code == "in_future"]; refusal.Kind != want {
		t.Errorf("%s is refused as %v", body.Kind(), refusal.Kind)
	}
	var list []string
	for _, f := range refusal.Fields {
		list = append(list, cmp.Or(f.Pointer, "whole"))
	}
	return list
}

func TestCheck(t *testing.T) {
	t.Parallel()
	n, g, m := fish(3), new(kg(1)), new(domain.Money(5))
	price, long, when := new(domain.UnitPrice(5)), new(strings.Repeat("x", 81)), new(day(3))
	for _, c := range []struct {
		body  domain.Body
		wrong string // pointers
	}{
		{domain.Stocking{Batch: a, Origin: "bought", Count: 3}, ""},
		{domain.Stocking{Batch: a, Origin: "stolen", Count: 0, MeanWeight: gram(0), Weight: g, Amount: new(domain.Money(-1)), UnitPrice: price}, "/origin /count /weight_kg /unit_price /mean_weight_g /amount"},
		{domain.Stocking{Batch: a, Origin: "bred", Count: 10, MeanWeight: gram(60_001)}, "/mean_weight_g"},
		{domain.Stocking{Batch: a, Origin: "bred", Count: 1e9, MeanWeight: gram(1e6)}, "/mean_weight_g /mean_weight_g"},
		{domain.Stocking{Batch: a, Origin: "bought", Count: 1e9, UnitPrice: new(domain.UnitPrice(1e15))}, "/unit_price"},
		{domain.Death{Batch: a, Count: 1}, ""},
		{domain.Death{Batch: a, Count: 0, Empties: true}, ""},
		{domain.Death{Batch: a, Count: 0, Cause: new("boredom")}, "/cause /count"},
		{domain.Death{Batch: a, Count: 1, Weight: new(kg(61))}, "/weight_kg"},
		{domain.Sample{Batch: a, Count: 3, Weight: g}, ""},
		{domain.Sample{Batch: a, Count: 3}, "/weight_kg"},
		{domain.Sample{Batch: a, Count: 3, Weight: g, WeightG: gram(3)}, "/weight_kg"},
		{domain.Sample{Batch: a, Count: 3, WeightG: gram(0), MeanLengthCM: new(milli(0.3))}, "/weight_kg /length_type /mean_length_cm"},
		{domain.Sample{Batch: a, Count: 3, Weight: g, LengthType: new("nose"), MeanLengthCM: new(milli(181)), WeightCVPercent: new(milli(301))}, "/length_type /mean_length_cm /weight_cv_percent"},
		{domain.Count{Batch: a, Count: 0}, ""},
		{domain.Count{Batch: a, Count: 0, Weight: g}, "/weight_kg"},
		{domain.Count{Batch: a, Count: -1}, "/count"},
		{domain.Move{Batch: a, ToBatch: &b, Count: n}, ""},
		{domain.Move{Batch: a, ToUnit: &tank2}, ""},
		{domain.Move{Batch: a, ToBatch: &b}, "/count"},
		{domain.Move{Batch: a, ToBatch: &a, Count: n}, "/to_batch_id"},
		{domain.Move{Batch: a, Count: n}, "/to_batch_id"},
		{domain.Move{Batch: a, ToBatch: &b, ToUnit: &tank2, Count: n}, "/to_batch_id /count"},
		{domain.Move{Batch: a, ToUnit: &tank2, Empties: true}, "/count"},
		{domain.Harvest{Batch: a, Weight: 1}, ""},
		{domain.Harvest{Batch: a, Weight: 0, Count: fish(0), SizeClass: new(strings.Repeat("é", 41))}, "/weight_kg /count /size_class"},
		{domain.Harvest{Batch: a, Weight: 1, SizeClass: new(strings.Repeat("é", 40))}, ""},
		{domain.Crop{Unit: tank1, Crop: "kale", Weight: 1}, ""},
		{domain.Crop{Unit: tank1, Crop: *long}, "/weight_kg /crop"},
		{domain.Receipt{Product: feed, Quantity: 1, Origin: "opening"}, ""},
		{domain.Receipt{Product: feed, Quantity: 0, Origin: "bred", Lot: new(""), Amount: m, UnitPrice: new(domain.UnitPrice(0))}, "/origin /quantity /lot /unit_price /unit_price"},
		{domain.Receipt{Product: feed, Quantity: 1e10, Origin: "bought", UnitPrice: new(domain.UnitPrice(1e15))}, "/unit_price"},
		{domain.Feeding{Batch: a, Product: feed, Weight: 0, Response: new("greedy")}, "/weight_kg /response"},
		{domain.Use{Product: salt, Quantity: 0}, "/quantity"},
		{domain.Stocktake{Product: salt, Quantity: 0}, ""},
		{domain.Stocktake{Product: salt, Quantity: -1}, "/quantity"},
		{domain.Sent{ToSite: otherSite, Product: &feed, Quantity: new(qty(1))}, ""},
		{domain.Sent{ToSite: otherSite, Batch: &a, Count: n, Weight: g}, ""},
		{domain.Sent{ToSite: otherSite}, "/product_id"},
		{domain.Sent{ToSite: otherSite, Product: &feed, Count: n}, "/quantity /count"},
		{domain.Sent{ToSite: otherSite, Batch: &a, Quantity: new(qty(1))}, "/count /quantity"},
		{domain.Received{Quantity: new(qty(0))}, ""},
		{domain.Received{Batch: &a, Count: fish(0)}, ""},
		{domain.Received{Batch: &a, Count: fish(0), Weight: g}, "/weight_kg"},
		{domain.Received{Batch: &a}, "/count"},
		{domain.Received{}, "/quantity"},
		{domain.Received{Quantity: new(qty(1)), Count: n}, "/count"},
		{domain.Expense{Category: "rent", Amount: 1, CoversFrom: when, CoversTo: when}, ""},
		{domain.Expense{Category: "depreciation", Amount: 0, CoversFrom: when}, "/amount /covers_to /category"},
		{domain.Expense{Category: "rent", Amount: 1, CoversFrom: new(day(9)), CoversTo: when}, "/covers_to"},
		{domain.Expense{Category: "rent", Amount: 1, CoversFrom: when, CoversTo: new(day(4000))}, "/covers_to"},
		{domain.Expense{Category: "rent", Amount: 1, CoversFrom: new(domain.NewDate(1980, 1, 1)), CoversTo: new(domain.NewDate(1980, 1, 1))}, "/covers_from"},
		{domain.Labour{Hours: 1500}, ""},
		{domain.Labour{Hours: 1505, Amount: new(domain.Money(-1)), UnpaidValue: new(domain.Money(-1))}, "/hours /amount /unpaid_value"},
		{domain.Sale{Disposal: "given", Batch: &a, Weight: 1}, ""},
		{domain.Sale{Disposal: "lost", Weight: 0, LiveWeight: new(kg(0)), Count: fish(0), Form: new("raw"), Amount: m, UnitPrice: price, Buyer: &hatchery}, "/disposal /form /batch_id /weight_kg /live_weight_kg /count /unit_price /buyer_id"},
		{domain.Sale{Disposal: "sold", Crop: long, Weight: 1, LiveWeight: g}, "/crop /live_weight_kg"},
		{domain.Payment{Party: hatchery, Direction: "paid", Amount: 1}, ""},
		{domain.Payment{Party: hatchery, Direction: "lent"}, "/direction /amount"},
		{domain.Water{Unit: tank1, PH: new(milli(7))}, ""},
		{domain.Water{Unit: tank1}, "whole"},
		{domain.Water{Unit: tank1, TemperatureC: new(milli(45.001)), OxygenMgL: new(milli(25.001)), PH: new(milli(1.999)), LitresAdded: new(milli(-1))}, "/temperature_c /oxygen_mg_l /ph /litres_added"},
		{domain.Water{Unit: tank1, TANMgL: new(milli(100)), TANBasis: new("n"), NO2MgL: new(milli(100)), NO3MgL: new(milli(3000)), AlkalinityMgL: new(milli(2000)), SalinityPPT: new(milli(45))}, ""},
		{domain.Water{Unit: tank1, TANMgL: new(milli(100.001)), TANBasis: new("no2"), NO2MgL: new(milli(100.001)), NO3MgL: new(milli(3000.001)), AlkalinityMgL: new(milli(2000.001)), SalinityPPT: new(milli(45.001))},
			"/tan_mg_l /tan_basis /no2_mg_l /no3_mg_l /alkalinity_mg_l /salinity_ppt"},
		{domain.Water{Unit: tank1, TANMgL: new(milli(-1)), NO2MgL: new(milli(-1)), NO3MgL: new(milli(-1)), AlkalinityMgL: new(milli(-1)), SalinityPPT: new(milli(-1))},
			"/tan_mg_l /tan_basis /no2_mg_l /no3_mg_l /alkalinity_mg_l /salinity_ppt"},
		{domain.Water{Unit: tank1, PH: new(milli(7)), TANBasis: new("n")}, "/tan_basis"},
		{treatment(a, new(domain.Days(0)), nil), ""},
		{treatment(a, nil, new(domain.DegreeDays(0))), ""},
		{treatment(a, nil, nil), "/withdrawal_days"},
		{treatment(a, new(domain.Days(366)), new(domain.DegreeDays(10_001))), "/withdrawal_days /withdrawal_degree_days"},
		{treatment(a, new(domain.Days(-1)), new(domain.DegreeDays(-1))), "/withdrawal_days /withdrawal_degree_days"},
		{domain.Treatment{Batch: a, Product: &salt, What: new(""), Quantity: new(qty(0)), PrescribedBy: new(""), WithdrawalDays: new(domain.Days(1))},
			"/product_id /quantity /what /dose /reason /prescribed_by"},
		{domain.Treatment{Batch: a, Quantity: new(qty(1)), Dose: "a pinch", Reason: "spots", WithdrawalDays: new(domain.Days(1))}, "/product_id /quantity"},
		{domain.Visit{Findings: "all well"}, ""},
		{domain.Visit{Advice: new(""), NextOn: new(domain.NewDate(1980, 1, 1))}, "/findings /advice /next_on"},
		{domain.Harvest{Batch: a, Weight: 1, Destination: new("eaten"), OverrideWithdrawal: new("the vet agrees")}, ""},
		{domain.Harvest{Batch: a, Weight: 1, Destination: new("kept"), OverrideWithdrawal: new("x")}, "/override_withdrawal /override_withdrawal"},
		{domain.Harvest{Batch: a, Weight: 1, Destination: new("stolen")}, "/destination"},
		{domain.Tally{Measure: "meals", Count: 5, Female: fish(3), Male: fish(2)}, ""},
		{domain.Tally{Measure: "goals", Count: 5, Female: fish(3), Male: fish(3)}, "/measure /count"},
		{domain.Incident{Type: "theft"}, ""},
		{domain.Incident{Type: "fire", Hours: new(milli(-1))}, "/type /hours"},
		{domain.Reversal{Reason: "a typing mistake"}, ""},
		{domain.Reversal{Reason: "no"}, "/reason"},
		{domain.Reversal{Reason: "no\x00no"}, "/reason"},
	} {
		got := pointers(t, day(5), c.body)
		slices.Sort(got)
		want := strings.Fields(c.wrong)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%+v is refused for %v, want %v", c.body, got, want)
		}
	}
}

func TestCheckDates(t *testing.T) {
	t.Parallel()
	body := domain.Count{Batch: a, Count: 1}
	for on, want := range map[domain.Date]string{
		day(365): "", day(366): "/occurred_on", domain.NewDate(1990, 1, 1): "", domain.NewDate(1989, 12, 31): "/occurred_on", math.MinInt32: "/occurred_on",
	} {
		if got := strings.Join(pointers(t, on, body), " "); got != want {
			t.Errorf("on %v it is refused for %s, want %s", on, got, want)
		}
	}
	e := domain.Entry{ID: id[domain.Entry](1), On: day(0), Note: strings.Repeat("é", 1001), Body: body}
	if err := e.Check(day(0)); err == nil || err.(*domain.Error).Fields[0].Pointer != "/note" {
		t.Errorf("a long note gives %v", err)
	}
}

// Readings in another unit are asked about, not only refused.
func TestCheckAsksAboutUnits(t *testing.T) {
	t.Parallel()
	for words, body := range map[string]domain.Water{
		"Fahrenheit":   {TemperatureC: new(milli(82))},
		"% saturation": {OxygenMgL: new(milli(85))},
	} {
		e := domain.Entry{ID: id[domain.Entry](1), On: day(0), Body: body}
		if err := e.Check(day(0)); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%+v gives %v, which does not ask about %s", body, err, words)
		}
	}
	e := domain.Entry{ID: id[domain.Entry](1), On: day(0), Body: domain.Water{TemperatureC: new(milli(50))}}
	if err := e.Check(day(0)); err == nil || strings.Contains(err.Error(), "Fahrenheit") {
		t.Errorf("50 °C gives %v", err)
	}
}
