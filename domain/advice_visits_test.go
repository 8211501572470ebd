package domain_test

import (
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
)

func visit(t *testing.T, name string, s *scene, d int, tongue domain.Tongue) (domain.SiteVisit, bool) {
	t.Helper()
	o := s.at(t, d)
	o.Name = name
	return o.Visit(tongue, o.Advise(tongue))
}

// TestVisits: where fish are in danger first, then where most is to be done, then where
// nobody was for longest; where nothing calls for it nobody goes.
func TestVisits(t *testing.T) {
	t.Parallel()
	const d = 60
	if v, ok := visit(t, "well kept", wellKept(nil), d, domain.English); ok {
		t.Errorf("a visit to a site where all is well: %+v", v)
	}
	hypoxic := wellKept(nil).with(d, domain.Water{Unit: tank1, OxygenMgL: new(milli(3))})
	crowded := wellKept(nil).registry(func(o *domain.SiteView) { o.Units[tank1].DensityLimitKgM3 = new(milli(5)) })
	alone := wellKept(skipping("visit", 0, 200))
	promised := wellKept(skipping("visit", 20, 200)) // on day 15, for day 45
	var visits []domain.SiteVisit
	for name, s := range map[string]*scene{"alone": alone, "crowded": crowded, "hypoxic": hypoxic, "promised": promised} {
		v, ok := visit(t, name, s, d, domain.English)
		if !ok {
			t.Errorf("no visit to %s", name)
		}
		visits = append(visits, v)
	}
	var order []string
	for _, v := range domain.RankVisits(visits) {
		order = append(order, v.SiteName)
	}
	if want := []string{"hypoxic", "crowded", "alone", "promised"}; !slices.Equal(order, want) {
		t.Errorf("the order is %q, want %q", order, want)
	}
	for _, v := range visits {
		t.Log(v.SiteName, v.Why, v.Take)
	}
	first := visits[0]
	if first.Urgent != 1 || !strings.HasPrefix(first.Why, "1 urgent matter; last visited on 15 February, 15 days ago.") || !slices.Contains(first.Take, "water test kit and thermometer") {
		t.Errorf("%s: %d urgent, %q, take %q", first.SiteName, first.Urgent, first.Why, first.Take)
	}
	if v, _ := visit(t, "promised", promised, d, domain.French); v.Why != "Rien d'urgent ; une visite était promise pour le 15 février." || !v.Overdue {
		t.Errorf("%+v", v)
	}
	if _, ok := visit(t, "alone", alone, 40, domain.English); !ok {
		t.Error("nobody ever visited, and no visit is called for")
	}
}
