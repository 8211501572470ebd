package husbandry

import (
	"math"
	"testing"
)

// Of 100 fish 5 are never seen again and 15 are lost in all, in 180 days (computed).
var usualLosses = LossPrior{Days: 180, Unseen: -math.Log(0.95), UnseenSpread: 0.0036, All: -math.Log(0.85), AllSpread: 0.0144}

func TestLeft(t *testing.T) {
	t.Parallel()
	left := func(age, counted, ahead, of float64) (share, sd float64) {
		log, variance := usualLosses.Left(age, counted, ahead, of)
		return math.Exp(log), math.Sqrt(variance)
	}
	share, sd := left(180, 0, 0, 1)
	check(t, "unseen in 180 days", share, true, 0.95, 1e-12)
	check(t, "how sure", sd, true, 0.06, 1e-12)
	share, _ = left(45, 0, 0, 1)
	check(t, "half of that in a quarter of the time", share, true, math.Sqrt(0.95), 1e-12)
	share, sd = left(0, 0, 180, 1)
	check(t, "lost to come", share, true, 0.85, 1e-12)
	check(t, "how sure of what is to come", sd, true, 0.12, 1e-12)
	share, sd = left(100, 100, 0, 1)
	check(t, "counted today", share, true, 1, 0)
	check(t, "sure of the count", sd, true, 0, 0)
	share, _ = left(180, 0, 0, 2) // half were taken out: all that are missing are of the rest
	check(t, "of the rest", share, true, 0.90, 1e-12)
	share, _ = left(180, 0, 0, 1000)
	check(t, "not fewer than a tenth", share, true, 0.1, 1e-12)
}

func TestLearnLosses(t *testing.T) {
	t.Parallel()
	if l := usualLosses.Learn(nil); math.Abs(l.Unseen-usualLosses.Unseen) > 1e-12 || l.Batches != 0 {
		t.Errorf("%+v was learned from nothing", l)
	}
	var many []Lost
	for range 400 {
		many = append(many, Lost{Days: 200, In: 100, Unseen: 10, Dead: 10})
	}
	l := usualLosses.Learn(append(many, Lost{Days: 200}, Lost{In: 100, Unseen: 50}))
	if l.Batches != 400 {
		t.Errorf("learned from %d batches, two of 402 say nothing", l.Batches)
	}
	check(t, "unseen", 1-math.Exp(-l.Unseen), true, 0.10, 0.001)
	check(t, "all", 1-math.Exp(-l.All), true, 0.20, 0.001)
	check(t, "days", l.Days, true, 200, 0.5)
	if l.UnseenSpread > 1e-3 || l.AllSpread > 1e-3 {
		t.Errorf("variances %g and %g of batches that lose the same", l.UnseenSpread, l.AllSpread)
	}
	if l := usualLosses.Learn([]Lost{{Days: 200, In: 100, Unseen: -300}}); l.Unseen < 0 {
		t.Errorf("unseen losses of %g: fish do not come out of nothing", l.Unseen)
	}
}
