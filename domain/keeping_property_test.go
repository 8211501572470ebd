package domain_test

import (
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"shoalbook/domain"
)

// numbers calls visit for every number in an answer.
func numbers(v reflect.Value, at string, visit func(at string, n domain.Number)) {
	if n, ok := v.Interface().(domain.Number); ok {
		visit(at, n)
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			numbers(v.Elem(), at, visit)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			numbers(v.Field(i), at+"."+v.Type().Field(i).Name, visit)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			numbers(v.Index(i), at, visit)
		}
	}
}

// Whatever is known of a site and whatever is not: a number is finite and has a source,
// or there is none and it has a reason; and the answer says something.
func TestNumbersAreThereOrHaveAReason(t *testing.T) {
	t.Parallel()
	seen := map[bool]int{}
	rapid.Check(t, func(t *rapid.T) {
		maybe := func(name string, most float64) *domain.Thousandths {
			if rapid.Bool().Draw(t, "no "+name) {
				return nil
			}
			v := rapid.Int64Range(1, int64(most*1000)).Draw(t, name)
			return new(domain.Thousandths(v))
		}
		species := rapid.SampledFrom([]string{"CLZ", "TLN", "FCP"})
		j := &journal{}
		for i, batch := range []domain.BatchID{a, b} {
			s := domain.Stocking{Batch: batch, Origin: "bred", Count: rapid.SampledFrom([]domain.Fish{1, 30, 100_000}).Draw(t, "fish")}
			if rapid.Bool().Draw(t, "weighed") {
				s.Weight = new(domain.Grams(rapid.Int64Range(1, 1_000_000).Draw(t, "weight")))
			}
			if rapid.Bool().Draw(t, "stocked") {
				j.add(day(i), s)
			}
		}
		w := domain.Water{Unit: rapid.SampledFrom([]domain.UnitID{tank1, tank2}).Draw(t, "read in"), TemperatureC: maybe("temperature", 45), OxygenMgL: maybe("oxygen", 25), PH: new(milli(7)), SalinityPPT: maybe("salinity", 60)}
		j.add(day(2), w)
		f, err := j.try()
		if err != nil {
			t.Fatal(err)
		}
		k := aquaponics(f, day(rapid.IntRange(2, 12).Draw(t, "day")))
		k.AltitudeM = maybe("altitude", 6000)
		for _, u := range k.Units {
			u.WaterVolumeL, u.BedAreaM2, u.DensityLimitKgM3 = maybe("water", 1e6), maybe("bed", 1e4), maybe("density", 500)
			u.Loop = rapid.SampledFrom([]*domain.LoopID{nil, &water}).Draw(t, "loop")
		}
		l := k.Loops[water]
		l.PumpFlowLH, l.PumpPowerW, l.DrainFlowLH = maybe("pump", 1e6), maybe("power", 1e4), maybe("drain", 1e6)
		for _, batch := range k.Batches {
			batch.Species = species.Draw(t, "species")
		}
		q := domain.CapacityQuestion{TargetG: maybe("target", 5000), RationPercent: maybe("ration", 60)}
		if rapid.Bool().Draw(t, "asked for a species") {
			q.Species = new(species.Draw(t, "species asked for"))
		}
		check := func(at string, n domain.Number) {
			seen[n.Known()]++
			switch {
			case math.IsNaN(n.Value) || math.IsInf(n.Value, 0) || n.Value < 0:
				t.Errorf("%s is %v", at, n.Value)
			case n.Known() && (n.Source == "" || n.Provenance == ""):
				t.Errorf("%s is %v, without a source", at, n.Value)
			case !n.Known() && (n.Value != 0 || n.Source != "" || n.Provenance != ""):
				t.Errorf("%s is not there (%s), and %+v", at, n.Reason, n.Fact)
			}
		}
		c, err := k.Capacity(tank1, q)
		if err != nil || c.Says == "" {
			t.Fatalf("%v: %q", err, c.Says)
		}
		numbers(reflect.ValueOf(c), "capacity", check)
		r, err := k.Ration(a)
		if err != nil || r.Says == "" {
			t.Fatalf("%v: %q", err, r.Says)
		}
		numbers(reflect.ValueOf(r), "ration", check)
	})
	if seen[true] == 0 || seen[false] == 0 {
		t.Errorf("there were %d numbers and %d reasons", seen[true], seen[false])
	}
}
