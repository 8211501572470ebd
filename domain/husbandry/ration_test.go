package husbandry

import "testing"

// Catfish: common practice, no source; shape from memory of Hogendoorn et al.
// 1983. Tilapia: from memory of SRAC 283. Classes are half-open; below the first
// row its upper value, above the last its lower value.
func TestRation(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		species           string
		weight, low, high float64
	}{
		{Catfish, 0.5, 10, 15},
		{Catfish, 1, 6, 10},
		{Catfish, 4.999, 6, 10},
		{Catfish, 5, 5, 7},
		{Catfish, 20, 4, 5},
		{Catfish, 50, 3, 4},
		{Catfish, 100, 2, 3},
		{Catfish, 300, 1.5, 2},
		{Catfish, 799.9, 1.5, 2},
		{Catfish, 800, 1, 1.5},
		{Catfish, 5000, 1, 1.5},
		{Tilapia, 0.1, 15, 15},
		{Tilapia, 0.5, 10, 15},
		{Tilapia, 5, 7, 10},
		{Tilapia, 20, 4, 7},
		{Tilapia, 50, 3.5, 4},
		{Tilapia, 100, 1.5, 3.5},
		{Tilapia, 250, 1, 1.5},
		{Tilapia, 450, 1, 1},
	} {
		got, ok := Ration(c.species, c.weight)
		check(t, c.species+" low", got.Low, ok, c.low, 0)
		check(t, c.species+" high", got.High, ok, c.high, 0)
		if got.Source == "" || got.Provenance == "" {
			t.Errorf("%s of %v g: a ration without source", c.species, c.weight)
		}
	}
	if _, ok := Ration("FCP", 100); ok {
		t.Error("a ration for a species without a table")
	}
	if _, ok := Ration(Catfish, 0); ok {
		t.Error("a ration for fish without weight")
	}
}

// A bigger fish never eats a greater share of its weight.
func TestRationFallsWithWeight(t *testing.T) {
	t.Parallel()
	for species, table := range rationTables {
		for i := 1; i < len(table); i++ {
			if table[i].From != table[i-1].To {
				t.Errorf("%s: a gap at %v g", species, table[i].From)
			}
			if table[i].Middle() > table[i-1].Middle() {
				t.Errorf("%s: more from %v g on", species, table[i].From)
			}
		}
	}
}

func TestDailyFeed(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name                     string
		grams, fish, share, want float64
		tol                      float64
	}{
		// K-8, published source, recomputed: extension note.
		{"K-8", 105, 1000, 10, 10_500, 0},
		// K-10, published source, recomputed.
		{"K-10", 35, 100, 5.5, 192.5, 0.1},
	} {
		got, ok := DailyFeed(c.grams*c.fish, c.share)
		check(t, c.name, got, ok, c.want, c.tol)
	}
	got, ok := DailyFeed(-1, 1)
	none(t, "fish of less than nothing", got, ok)
}

// Common practice, no source; that tilapia stop feeding below 17 °C is read in
// FAO 589.
func TestTemperatureFactor(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		celsius, want float64
		hot           bool
	}{
		{16.9, 0, false}, {17, 0.1, false}, {18, 0.2, false}, {20, 0.4, false}, {22, 0.6, false}, {24, 0.8, false},
		{25.9, 0.8, false}, {26, 1, false}, {32.9, 1, false}, {33, 0.5, true}, {36, 0.5, true},
	} {
		if got, hot := TemperatureFactor(c.celsius); got != c.want || hot != c.hot {
			t.Errorf("%v °C: %v, hot %v", c.celsius, got, hot)
		}
	}
}

// Common practice, no source: feed stops below the alarm.
func TestOxygenFactor(t *testing.T) {
	t.Parallel()
	tilapia, _ := LimitOf(Tilapia, Oxygen)
	catfish, _ := LimitOf(Catfish, Oxygen)
	for _, c := range []struct {
		limit     Limit
		mgL, want float64
	}{{tilapia, 6, 1}, {tilapia, 4, 1}, {tilapia, 3.9, 0}, {catfish, 3.9, 1}, {catfish, 1.9, 0}} {
		if got := OxygenFactor(c.mgL, c.limit); got != c.want {
			t.Errorf("%v mg/L: %v, want %v", c.mgL, got, c.want)
		}
	}
}

// Common practice, no source: pellets by size of fish.
func TestPellet(t *testing.T) {
	t.Parallel()
	for _, c := range [][3]float64{{0.5, 0, 0}, {1, 1, 1.5}, {5, 2, 2}, {20, 3, 3}, {60, 4, 4.5}, {249.9, 4, 4.5}, {250, 6, 8}} {
		if from, to := Pellet(c[0]); from != c[1] || to != c[2] {
			t.Errorf("%v g: %v–%v mm", c[0], from, to)
		}
	}
}

// Published source, read: Hecht, FAO 583 (catfish to 5 g); FAO feed information
// page (grow-out); FAO 589, section 8 (aquaponics).
func TestProtein(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		species          string
		weight, from, to float64
	}{{Catfish, 5, 50, 0}, {Catfish, 5.1, 40, 42}, {Tilapia, 1, 35, 35}, {Tilapia, 100, 32, 32}} {
		from, to, ok := Protein(c.species, c.weight)
		check(t, "from", from.Value, ok, c.from, 0)
		check(t, "to", to.Value, ok, c.to, 0)
		if from.Source == "" || from.Provenance != Read {
			t.Errorf("%s of %v g: %+v is without source", c.species, c.weight, from)
		}
	}
	if _, _, ok := Protein("FCP", 100); ok {
		t.Error("protein for a species without a table")
	}
}

// Common practice, no source: smaller fish, more meals.
func TestMeals(t *testing.T) {
	t.Parallel()
	for weight, want := range map[float64]int{0.5: 6, 1: 4, 19.9: 4, 20: 3, 99: 3, 100: 2, 900: 2} {
		if got := Meals(weight); got != want {
			t.Errorf("%v g: %d meals, want %d", weight, got, want)
		}
	}
}
