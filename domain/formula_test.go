package domain_test

import (
	"errors"
	"math/big"
	"testing"

	"shoalbook/domain"
)

func TestFormulaThatMakesNoSense(t *testing.T) {
	t.Parallel()
	for formula, code := range map[string]string{
		"harvested_kg + sales":                              "mixed_units",
		"harvested_kg - harvested_fish":                     "mixed_units",
		"sales / sold_kg + sales / sold_kg":                 "mean_of_ratios",
		"(sales / sold_kg + cost / harvested_kg) / 2":       "mean_of_ratios",
		"sales / sold_kg / harvested_kg":                    "mean_of_ratios",
		"harvested_kg * sold_kg":                            "mean_of_ratios",
		"harvested_kg * sales / sold_kg":                    "mean_of_ratios", // which is to be written with parentheses
		"(sales / sold_kg) * (cost / harvested_kg)":         "mean_of_ratios",
		"harvested_kg + 1[kg]":                              "mean_of_ratios", // for each site again
		"1 / harvested_kg":                                  "mean_of_ratios",
		"harvested_kg / (harvested_kg * (sales / sold_kg))": "mean_of_ratios",
		"harvested_kg /":                                    "no_denominator",
		"harvested_kg / 0":                                  "no_denominator",
		"profit / harvested_kg":                             "unknown_sum",
		"harvested_kg sold_kg":                              "formula_syntax",
		"(harvested_kg":                                     "formula_syntax",
		"":                                                  "formula_syntax",
		"8[h/day]":                                          "formula_syntax",
		"1.2.3 * harvested_kg":                              "formula_syntax",
		"labour_hours / 8[h/week]":                          "unknown_unit",
		"labour_hours / 8[h/day":                            "formula_syntax",
	} {
		_, err := domain.ParseFormula(formula, domain.SumUnits())
		var refused *domain.Error
		if !errors.As(err, &refused) || refused.Code != code {
			t.Errorf("%s: %v, want %s", formula, err, code)
		}
	}
}

// Worked values: see each.
func TestFormulasByHand(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		formula, unit, value string
		sums                 map[string]int64
	}{
		// Computed: 880 × (1500 ÷ 600) − 1450 = 750 over 12 m³ (five data points, Feed the Future, from memory of the source).
		"gross margin": {"(harvested_kg * (sales / sold_kg) - input_cost) / water_m3", "money/m³", "62.5",
			map[string]int64{"harvested_kg": 880, "sales": 1500, "sold_kg": 600, "input_cost": 1450, "water_m3": 12}},
		// Computed: two schools, 152 of 190 and 90 of 100 days, are 242 of 290, and not the mean 85
		// (WFP indicator T.14, published source).
		"feeding days": {"feeding_days / school_days * 100[%]", "%", "83.448276", map[string]int64{"feeding_days": 152 + 90, "school_days": 190 + 100}},
		// Computed: (1500, 1000) with (60, 20); the mean of the ratios, 2.25, would be wrong.
		"feed conversion": {"closed_feed_kg / closed_gain_kg", "1", "1.529412", map[string]int64{"closed_feed_kg": 1560, "closed_gain_kg": 1020}},
		// Computed: 223.52 kg in portions of 50 g.
		"portions":    {"edible_kg * 1000[g/kg] / portion_size", "portion", "4470.4", map[string]int64{"edible_kg": 22352, "portion_size": 50_00}},
		"days":        {"labour_hours / 8[h/day]", "day", "2.5", map[string]int64{"labour_hours": 20}},
		"twice a sum": {"2 * (sold_kg + eaten_kg)", "kg", "10", map[string]int64{"sold_kg": 2, "eaten_kg": 3}},
	} {
		f, err := domain.ParseFormula(c.formula, domain.SumUnits())
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		w := f.Work(func(sum string) *big.Rat {
			v := big.NewRat(c.sums[sum], 1)
			if name == "portions" {
				v.Quo(v, big.NewRat(100, 1))
			}
			return v
		})
		if w.Value == nil || domain.DecimalOf(w.Value, 6) != c.value || f.Unit.String() != c.unit {
			t.Errorf("%s is %v %s, %q; want %s %s", name, w.Value, f.Unit, w.Reason, c.value, c.unit)
		}
	}
	f, err := domain.ParseFormula("(harvested_kg * (sales / sold_kg) - input_cost) / water_m3", domain.SumUnits())
	if err != nil {
		t.Fatal(err)
	}
	none := f.Work(func(string) *big.Rat { return new(big.Rat) })
	if none.Value != nil || none.Reason != "there is nothing to divide by: sold_kg is 0" {
		t.Errorf("with nothing sold it is %v: %s", none.Value, none.Reason)
	}
}

func TestCatalogueMakesSense(t *testing.T) {
	t.Parallel()
	all := domain.Catalogue()
	seen := map[string]bool{}
	for _, i := range all {
		if err := i.Check(); err != nil {
			t.Errorf("%s: %v", i.Code, err)
		}
		if seen[i.Code] || i.Source == "" || i.Result == "" {
			t.Errorf("%s is there twice, or says too little", i.Code)
		}
		seen[i.Code] = true
	}
	for _, code := range []string{"production", "yield_m3", "yield_m2", "fcr_economic", "survival", "cost_per_kg", "gross_margin_m3", "sales", "farm_gate_value",
		"fish_eaten", "portions", "protein", "feeding_days", "learners", "trained", "meals", "energy_per_kg", "water_per_kg", "active_sites", "going_on_sites", "jobs", "labour_days"} {
		if !seen[code] {
			t.Errorf("there is no %s", code)
		}
	}
	bad := all[0]
	bad.Unit = "g"
	var refused *domain.Error
	if err := bad.Check(); !errors.As(err, &refused) || refused.Code != "mixed_units" {
		t.Errorf("kilograms said to be grams: %v", err)
	}
	bad.Unit, bad.Measure = "%", "percentage"
	if err := bad.Check(); !errors.As(err, &refused) || refused.Code != "no_denominator" {
		t.Errorf("a percentage of nothing: %v", err)
	}
}

// 108.57 % is the published worked example of IATI's guidance: baseline 15, target 50,
// actual 53.
func TestAchievement(t *testing.T) {
	t.Parallel()
	a, ok := domain.Achievement(big.NewRat(15, 1), big.NewRat(50, 1), big.NewRat(53, 1))
	if !ok || domain.DecimalOf(a, 2) != "108.57" {
		t.Errorf("%v, %v", a, ok)
	}
	if _, ok := domain.Achievement(big.NewRat(50, 1), big.NewRat(50, 1), big.NewRat(53, 1)); ok {
		t.Error("of no planned change something was reached")
	}
}

// What comes to nothing below the line may be there only when it is worked out: then there
// is no value, and the reason says so.
func TestFormulaThatDividesByNothing(t *testing.T) {
	t.Parallel()
	for _, formula := range []string{
		"harvested_kg / (1 - 1)",
		"feeding_days / school_days / (1 - 1)",
		"feeding_days / school_days * (1 / (1 - 1))",
		"(1 / (2 - 1 - 1)) * (feeding_days / school_days)",
		"feeding_days / (school_days / (1 - 1))",
		"feeding_days / school_days / (0 * 5)",
	} {
		f, err := domain.ParseFormula(formula, domain.SumUnits())
		if err != nil {
			continue // refused is as good
		}
		if w := f.Work(func(string) *big.Rat { return big.NewRat(3, 1) }); w.Value != nil || w.Reason == "" {
			t.Errorf("%s is %v, %q", formula, w.Value, w.Reason)
		}
	}
}
