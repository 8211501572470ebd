package domain

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func ptr[T any](v T) *T { return &v }

// dueFish is 500 fish at 20.00 each and 1 500.00 of fees; 5 % may be missing, 2 % dead.
func dueFish() Due {
	return Due{Quantity: 500, Cost: 1_000_000, Fees: 150_000, ShortPercent: 5_000, DeathsPercent: 2_000, MeanWeight: ptr(Milligrams(5_000)), CVPercent: ptr(Thousandths(25_000))}
}

func judged(t *testing.T, d Drop, due Due) *Arrival {
	t.Helper()
	a, err := d.Judge(&due)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Computed by hand.
func TestClaims(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		drop   Drop
		claims []DropClaim // without the words
		landed Money
	}{
		{"as ordered", Drop{Counted: ptr(Pieces(500)), Dead: 10}, nil, 1_150_000},
		{"short within the allowance", Drop{Counted: ptr(Pieces(475))}, nil, 1_150_000},
		{"short", Drop{Counted: ptr(Pieces(465))}, []DropClaim{{Kind: ClaimShort, Quantity: 10, Amount: 20_000}}, 1_130_000},
		{"over", Drop{Counted: ptr(Pieces(530))}, []DropClaim{{Kind: ClaimOver, Quantity: 5, Amount: 10_000}}, 1_160_000},
		{"dead", Drop{Counted: ptr(Pieces(500)), Dead: 25}, []DropClaim{{Kind: ClaimDead, Quantity: 15, Amount: 30_000}}, 1_120_000},
		{"the allowance of dead is of those that came, rounded down", Drop{Counted: ptr(Pieces(490)), Dead: 10}, []DropClaim{{Kind: ClaimDead, Quantity: 1, Amount: 2_000}}, 1_148_000},
		{"light", Drop{Counted: ptr(Pieces(500)), MeanWeight: ptr(Milligrams(4_000))}, []DropClaim{{Kind: ClaimOffSize, Quantity: 500, Amount: 200_000}}, 950_000},
		{"a tenth lighter", Drop{Counted: ptr(Pieces(500)), MeanWeight: ptr(Milligrams(4_500))}, nil, 1_150_000},
		{"heavy fish are worth no less", Drop{Counted: ptr(Pieces(500)), MeanWeight: ptr(Milligrams(6_000))}, []DropClaim{{Kind: ClaimOffSize, Quantity: 500}}, 1_150_000},
		{"nothing came", Drop{Counted: ptr(Pieces(0))}, []DropClaim{{Kind: ClaimShort, Quantity: 475, Amount: 950_000}}, 200_000},
		{"all are dead", Drop{Counted: ptr(Pieces(500)), Dead: 500}, []DropClaim{{Kind: ClaimDead, Quantity: 490, Amount: 980_000}}, 170_000},
	} {
		a := judged(t, c.drop, dueFish())
		if len(a.Claims) != len(c.claims) || a.Landed != c.landed {
			t.Errorf("%s: %+v, landed %d, want %+v, %d", c.name, a.Claims, a.Landed, c.claims, c.landed)
			continue
		}
		for i, want := range c.claims {
			if got := a.Claims[i]; got.Kind != want.Kind || got.Quantity != want.Quantity || got.Amount != want.Amount || got.Why == "" {
				t.Errorf("%s: %+v, want %+v", c.name, got, want)
			}
		}
	}
}

// K-37 read the other way, computed: of 25 fish with a CV of 25 %, the mean is known to
// ±10 % 19 times out of 20, so the standard error of the count is 5 %.
func TestCountByWeight(t *testing.T) {
	t.Parallel()
	weighed := &Weighed{Weight: 2_500, SampleCount: 25, SampleWeight: 125}
	a := judged(t, Drop{Weighed: weighed}, dueFish())
	if a.Came != 500 || *a.MeanWeight != 5_000 || math.Abs(*a.Error-25) > 1e-9 {
		t.Errorf("%d fish of %d mg, %v", a.Came, *a.MeanWeight, *a.Error)
	}
	// 455 are 45 fewer, and 1.96 standard errors 44.6; 460 are as good as 500.
	weighed.Weight = 2_300
	if a = judged(t, Drop{Weighed: weighed}, dueFish()); a.Came != 460 || len(a.Claims) != 0 {
		t.Errorf("%d came, %+v", a.Came, a.Claims)
	}
	weighed.Weight = 2_275
	if a = judged(t, Drop{Weighed: weighed}, dueFish()); a.Came != 455 || len(a.Claims) != 1 || a.Claims[0].Quantity != 20 {
		t.Errorf("%d came, %+v", a.Came, a.Claims)
	}
	// Without any variation known nobody can say how well it is counted.
	due := dueFish()
	due.CVPercent = nil
	if a = judged(t, Drop{Weighed: weighed}, due); a.Error != nil || len(a.Claims) != 1 {
		t.Errorf("±%v, %+v", a.Error, a.Claims)
	}
}

func TestImpossibleDrops(t *testing.T) {
	t.Parallel()
	goods := Due{Quantity: 100_000, Cost: 50_000}
	for code, drops := range map[string][]struct {
		drop Drop
		due  Due
	}{
		"more_dead_than_came": {{Drop{Counted: ptr(Pieces(10)), Dead: 11}, dueFish()}},
		"invalid_request": {
			{Drop{}, dueFish()},
			{Drop{Counted: ptr(Pieces(1)), Weighed: &Weighed{Weight: 1, SampleCount: 1, SampleWeight: 1}}, dueFish()},
			{Drop{Counted: ptr(Pieces(-1))}, dueFish()},
			{Drop{Counted: ptr(Pieces(1)), Dead: -1}, dueFish()},
			{Drop{Weighed: &Weighed{Weight: 10, SampleCount: 1, SampleWeight: 11}}, dueFish()},
			{Drop{Weighed: &Weighed{Weight: 10, SampleWeight: 5}}, dueFish()},
			{Drop{Counted: ptr(Pieces(5)), MeanWeight: ptr(Milligrams(0))}, dueFish()},
			{Drop{Counted: ptr(Pieces(5)), Dead: 1}, goods},
			{Drop{Weighed: &Weighed{Weight: 10, SampleCount: 1, SampleWeight: 5}}, goods},
		},
	} {
		for _, c := range drops {
			var refused *Error
			if _, err := c.drop.Judge(&c.due); !errors.As(err, &refused) || refused.Code != code || len(refused.Fields) == 0 {
				t.Errorf("%+v: %v, want %s", c.drop, err, code)
			}
		}
	}
}

// What the supplier owes for a drop is never more than what is due costs, a surplus never
// makes it cheaper, and nothing within the allowances is claimed.
func TestClaimProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		due := Due{
			Quantity: Pieces(rapid.Int64Range(1, 100_000).Draw(t, "due")), Cost: Money(rapid.Int64Range(0, 1e12).Draw(t, "cost")), Fees: Money(rapid.Int64Range(0, 1e9).Draw(t, "fees")),
			ShortPercent: Thousandths(rapid.Int64Range(0, 50_000).Draw(t, "short")), DeathsPercent: Thousandths(rapid.Int64Range(0, 50_000).Draw(t, "deaths")),
			MeanWeight: ptr(Milligrams(rapid.Int64Range(1, 100_000).Draw(t, "mean"))),
		}
		came := Pieces(rapid.Int64Range(0, 150_000).Draw(t, "came"))
		d := Drop{Counted: &came, Dead: Pieces(rapid.Int64Range(0, int64(came)).Draw(t, "dead")), MeanWeight: ptr(Milligrams(rapid.Int64Range(1, 100_000).Draw(t, "weight")))}
		a, err := d.Judge(&due)
		if err != nil {
			t.Fatal(err)
		}
		var owed, over Money
		for _, c := range a.Claims {
			switch {
			case c.Amount < 0 || c.Quantity <= 0:
				t.Fatalf("a claim of %+v", c)
			case c.Kind == ClaimOver:
				over += c.Amount
			default:
				owed += c.Amount
			}
		}
		if owed > due.Cost {
			t.Fatalf("%d is claimed of %d", owed, due.Cost)
		}
		if a.Landed != due.Cost+due.Fees-owed+over || a.Landed < due.Fees {
			t.Fatalf("it costs %d", a.Landed)
		}
		if a.Alive+d.Dead != came {
			t.Fatalf("%d alive and %d dead of %d", a.Alive, d.Dead, came)
		}
		if d.Dead == 0 {
			return
		}
		fewer := d
		fewer.Dead--
		if b, err := fewer.Judge(&due); err != nil || b.Landed < a.Landed && *d.MeanWeight >= *due.MeanWeight {
			t.Fatalf("with one dead less it costs %d, not %d (%v)", b.Landed, a.Landed, err)
		}
	})
}

func TestAllotment(t *testing.T) {
	t.Parallel()
	// Max–min: Keshav 1997, demands 2, 2.6, 4, 5 and a capacity of 10 (published source), in
	// tenths: 2, 2.6, 2.7, 2.7.
	lines := []Wanted{{Ordered: 2_000}, {Ordered: 2_600}, {Ordered: 4_000}, {Ordered: 5_000}}
	if a := Allot(AllotMaxMin, 10_000, 100, lines); a.Left != 0 || a.Gets[0] != 2_000 || a.Gets[1] != 2_600 || a.Gets[2] != 2_700 || a.Gets[3] != 2_700 {
		t.Errorf("%+v", a)
	}
	// Computed: a pack of 50 that nobody can use is left, as is what makes no pack.
	if a := Allot(AllotProportional, 130, 50, []Wanted{{Ordered: 100, Least: 100}, {Ordered: 100, Least: 100}}); a.Left != 30 || a.Gets[0]+a.Gets[1] != 100 {
		t.Errorf("%+v", a)
	}
}

func TestAllotmentProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		pack := Pieces(rapid.Int64Range(1, 500).Draw(t, "pack"))
		lines := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Wanted {
			ordered := rapid.Int64Range(0, 5_000).Draw(t, "ordered")
			return Wanted{Pieces(ordered), Pieces(rapid.Int64Range(0, ordered).Draw(t, "least"))}
		}), 1, 8).Draw(t, "lines")
		available := Pieces(rapid.Int64Range(0, 20_000).Draw(t, "available"))
		for _, rule := range AllotRules {
			a := Allot(rule, available, pack, lines)
			sum := a.Left
			for i, got := range a.Gets {
				sum += got
				if got > lines[i].Ordered || got > 0 && got < lines[i].Least || got%pack != 0 && got != lines[i].Ordered {
					t.Fatalf("%s: line %d gets %d", rule, i, got)
				}
			}
			if sum != available || a.Left < 0 || len(a.Keeps) == 0 {
				t.Fatalf("%s: %+v", rule, a)
			}
		}
	})
}
