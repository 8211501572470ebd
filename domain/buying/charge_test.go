package buying

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Three schools on one line, computed: 300 fish at 10 and a fee of 100 by the fish, the
// route to 60 as the airport rule has it (30 to the first by three, 30 to the third).
func TestCharge(t *testing.T) {
	t.Parallel()
	got := Charge(3000, 100, []Drop{{Pieces: 150, Weight: 150, Cost: 7, Reach: 30}, {Pieces: 100, Weight: 100, Reach: 30}, {Pieces: 50, Weight: 50, Cost: 7, Reach: 60}})
	want := []Part{{1500, 50, 7, 10}, {1000, 33, 0, 10}, {500, 17, 7, 40}}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if got := Charge(10, 5, []Drop{{}, {}}); !slices.Equal(got, []Part{{Price: 5, Fee: 3}, {Price: 5, Fee: 2}}) {
		t.Errorf("with nothing to share by: %v", got)
	}
	if got := Charge(10, 5, nil); got != nil {
		t.Errorf("with nobody to pay: %v", got)
	}
}

// All computed.
func TestCap(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		pays, alone, want []int64
		ok                bool
	}{
		"nobody is above alone":            {[]int64{10, 20}, []int64{10, 25}, []int64{10, 20}, true},
		"by what the others save":          {[]int64{50, 20, 30}, []int64{41, 40, 40}, []int64{41, 26, 33}, true},
		"all savings are needed":           {[]int64{50, 20, 30}, []int64{30, 31, 39}, []int64{30, 31, 39}, true},
		"the whole is dearer":              {[]int64{50, 20}, []int64{30, 30}, []int64{50, 20}, false},
		"who cannot buy alone bears last":  {[]int64{50, 20, 30, 10}, []int64{30, 25, -1, -1}, []int64{30, 25, 41, 14}, true},
		"who cannot buy alone is left out": {[]int64{50, 20, 30}, []int64{45, 25, -1}, []int64{45, 25, 30}, true},
		"nobody":                           {nil, nil, nil, true},
	} {
		if got, ok := Cap(c.pays, c.alone); !slices.Equal(got, c.want) || ok != c.ok {
			t.Errorf("%s: got %v, %v, want %v, %v", name, got, ok, c.want, c.ok)
		}
	}
}

func TestChargeProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		drops := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Drop {
			few := func(most int64, name string) int64 {
				return rapid.OneOf(rapid.Int64Range(0, 3), rapid.Int64Range(0, most)).Draw(t, name)
			}
			return Drop{few(2000, "pieces"), few(5000, "weight"), few(9000, "cost"), few(90_000, "reach")}
		}), 1, 12).Draw(t, "drops")
		price, fee := rapid.Int64Range(0, 1e9).Draw(t, "price"), rapid.Int64Range(0, 1e6).Draw(t, "fee")
		parts := Charge(price, fee, drops)
		if again := Charge(price, fee, drops); !slices.Equal(parts, again) {
			t.Fatalf("%v, then %v", parts, again)
		}
		var sum Part
		for i, p := range parts {
			sum = Part{sum.Price + p.Price, sum.Fee + p.Fee, sum.Drop + p.Drop, sum.Route + p.Route}
			if p.Price < 0 || p.Fee < 0 || p.Route < 0 || p.Route > drops[i].Reach || p.Drop != drops[i].Cost {
				t.Fatalf("%v pays %v", drops[i], p)
			}
			for k, q := range parts {
				for _, c := range [][4]int64{{drops[i].Pieces, drops[k].Pieces, p.Price, q.Price}, {drops[i].Weight, drops[k].Weight, p.Fee, q.Fee}, {drops[i].Reach, drops[k].Reach, p.Route, q.Route}} {
					if c[0] == c[1] && c[2] > c[3]+1 || c[0] > c[1] && c[2] < c[3] {
						t.Fatalf("not equal, or not in order: %v pays %v, %v pays %v", drops[i], p, drops[k], q)
					}
				}
			}
		}
		var reach, cost int64
		for _, d := range drops {
			reach, cost = max(reach, d.Reach), cost+d.Cost
		}
		if want := (Part{price, fee, cost, reach}); sum != want {
			t.Fatalf("%v sums to %v, not %v", parts, sum, want)
		}
	})
}

func TestCapProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		type of struct{ pays, alone int64 }
		list := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) of {
			return of{rapid.Int64Range(0, 1000).Draw(t, "pays"), rapid.OneOf(rapid.Just(int64(-1)), rapid.Int64Range(0, 1500)).Draw(t, "alone")}
		}), 1, 12).Draw(t, "list")
		pays, alone := make([]int64, len(list)), make([]int64, len(list))
		var paid, saved, others int64
		for i, l := range list {
			pays[i], alone[i] = l.pays, l.alone
			if paid += l.pays; l.alone < 0 {
				others += l.pays
			} else {
				saved += l.alone - l.pays
			}
		}
		capped, ok := Cap(pays, alone)
		if ok != (saved >= 0 || others > 0) {
			t.Fatalf("%v with %v alone: %v", pays, alone, ok)
		}
		if !ok {
			if !slices.Equal(capped, pays) {
				t.Fatalf("%v became %v", pays, capped)
			}
			return
		}
		for i, c := range capped {
			paid -= c
			if alone[i] >= 0 && (c > alone[i] || c < min(pays[i], alone[i])) {
				t.Fatalf("%v with %v alone became %v", pays, alone, capped)
			}
			for k, d := range capped {
				switch less := c - d; {
				case list[i] == list[k] && less > 1,
					alone[i] >= 0 && alone[k] >= 0 && alone[i]-pays[i] > alone[k]-pays[k] && alone[i]-c < alone[k]-d: // saves more, but not after
					t.Fatalf("%v with %v alone became %v: not equal, or not in order", pays, alone, capped)
				}
			}
		}
		if paid != 0 {
			t.Fatalf("%v became %v", pays, capped)
		}
	})
}
