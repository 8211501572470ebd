package domain_test

import (
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
	"shoalbook/domain/husbandry"
)

func TestCheckWaterLimit(t *testing.T) {
	t.Parallel()
	m := func(v float64) *domain.Thousandths { return new(milli(v)) }
	for wrong, f := range map[string]domain.WaterLimit{
		"":                      {Species: "CLZ", Parameter: "ph", LowAlarm: m(6), LowWarn: m(6.5), HighWarn: m(8.5), HighAlarm: m(9), Source: "the adviser"},
		"/low_alarm":            {Species: "CLZ", Parameter: "ph", Source: "the adviser"},
		"/high_alarm":           {Species: "CLZ", Parameter: "tan", HighWarn: m(2), HighAlarm: m(1), Source: "the adviser"},
		"/high_warn":            {Species: "CLZ", Parameter: "tan", LowAlarm: m(2), HighWarn: m(1), Source: "the adviser"},
		"/low_warn":             {Species: "CLZ", Parameter: "tan", LowWarn: m(-1), Source: "the adviser"},
		"/species /parameter":   {Species: "fish", Parameter: "colour", LowWarn: m(1), Source: "the adviser"},
		"/source":               {Species: "CLZ", Parameter: "tan", LowWarn: m(1)},
		"/low_alarm /low_warn":  {Species: "CLZ", Parameter: "tan", LowAlarm: m(-1), LowWarn: m(-2), Source: "the adviser"},
		"/parameter /low_alarm": {Species: "CLZ", Parameter: "", Source: "the adviser"},
	} {
		got := fieldsOf(f.Check())
		want := strings.Fields(wrong)
		if slices.Sort(want); !slices.Equal(slices.Compact(got), want) {
			t.Errorf("%+v is refused for %v, want %v", f, got, want)
		}
	}
}

func TestCheckPeriod(t *testing.T) {
	t.Parallel()
	on := domain.NewDate(2026, 4, 3)
	for wrong, f := range map[string]domain.Period{
		"":             {Kind: "holiday", Name: "April", StartsOn: on, EndsOn: on, Feeder: new("Mr. Banda")},
		"/kind /name":  {Kind: "week", StartsOn: on, EndsOn: on + 366},
		"/ends_on":     {Kind: "term", Name: "Term 1", StartsOn: on, EndsOn: on - 1},
		"/ends_on  ":   {Kind: "term", Name: "Term 1", StartsOn: on, EndsOn: on + 367},
		"/feeder":      {Kind: "term", Name: "Term 1", StartsOn: on, EndsOn: on, Feeder: new("")},
		"/starts_on  ": {Kind: "term", Name: "Term 1", StartsOn: 0, EndsOn: 5},
	} {
		got := fieldsOf(f.Check())
		want := strings.Fields(wrong)
		if slices.Sort(want); !slices.Equal(slices.Compact(got), want) {
			t.Errorf("%+v is refused for %v, want %v", f, got, want)
		}
	}
}

func fieldsOf(err error) (pointers []string) {
	if refusal, ok := err.(*domain.Error); ok {
		for _, f := range refusal.Fields {
			pointers = append(pointers, f.Pointer)
		}
	}
	slices.Sort(pointers)
	return pointers
}

func TestLimitsInForce(t *testing.T) {
	t.Parallel()
	own := []domain.WaterLimit{
		{ID: id[domain.WaterLimit](1), Species: "CLZ", Parameter: "nh3", HighAlarm: new(milli(0.2)), Source: "the vet"},
		{ID: id[domain.WaterLimit](2), Species: "CLZ", Parameter: "no2", HighWarn: new(milli(0.2)), Source: "the vet", Kept: domain.Kept{Archived: true}},
		{ID: id[domain.WaterLimit](3), Species: "TLN", Parameter: "tan", HighWarn: new(milli(9)), Source: "the vet"},
		{ID: id[domain.WaterLimit](4), Species: "FCP", Parameter: "alkalinity", LowWarn: new(milli(20)), Source: "the vet"},
	}
	for _, l := range domain.LimitsInForce("CLZ", own) {
		standard, _ := husbandry.LimitOf("CLZ", l.Parameter)
		switch {
		case l.Parameter == husbandry.NH3:
			if *l.By != own[0].ID || l.HighWarn != nil || *l.HighAlarm != (husbandry.Bound{Value: 0.2, Source: "the vet", Provenance: husbandry.Recorded}) {
				t.Errorf("the limit of ammonia is %+v", l)
			}
			if !slices.Equal(l.Conflicts, standard.Conflicts) || len(l.Conflicts) == 0 {
				t.Errorf("that sources differ is not told: %q", l.Conflicts)
			}
		case l.By != nil || l.HighWarn != nil && l.HighWarn.Provenance == husbandry.Recorded:
			t.Errorf("the limit of %s is %+v, and nobody set it", l.Parameter, l)
		}
	}
	if got := domain.LimitsInForce("FCP", own); len(got) != 1 || got[0].Parameter != husbandry.Alkalinity {
		t.Errorf("carp, of which nothing is known, have the limits %+v", got)
	}
	if got := domain.LimitsInForce("HTN", nil); got != nil {
		t.Errorf("there are limits of nothing: %+v", got)
	}
}

// Where the co-operative has set a limit, verdicts go by it.
func TestVerdictsGoByTheCoop(t *testing.T) {
	t.Parallel()
	j := thirty()
	j.add(day(5), domain.Water{Unit: tank1, NO2MgL: new(milli(0.8)), AlkalinityMgL: new(milli(15))})
	k := aquaponics(j.fold(t), day(5))
	levels := func(species string) (all [2]string) {
		for _, v := range k.Verdicts(tank1, domain.Text{Value: species}) {
			if v.Parameter == "no2" {
				all[0] = v.Level
			}
			if v.Parameter == "alkalinity" {
				all[1] = v.Level
			}
		}
		return all
	}
	if got := levels("CLZ"); got != [2]string{"ok", "unknown"} {
		t.Errorf("by the defaults it is %v", got)
	}
	for _, species := range []string{"CLZ", "FCP"} { // of carp nothing else is known
		k.Limits = append(k.Limits, domain.WaterLimit{Species: species, Parameter: "no2", HighAlarm: new(milli(0.7))},
			domain.WaterLimit{Species: species, Parameter: "alkalinity", LowWarn: new(milli(20))})
		if got := levels(species); got != [2]string{"alarm", "warn"} {
			t.Errorf("%s: by the limits of the co-operative it is %v", species, got)
		}
	}
}
