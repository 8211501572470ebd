package husbandry

import "math"

// LossPrior is what is known of how many fish of a batch are lost before it is
// counted: those that nobody saw go (thieves, birds, bigger fish, a short
// delivery), and all, the dead that were written down included. Losses are
// logarithms of the share that is left, over as many days as batches usually
// take; variances are those between batches.
type LossPrior struct {
	Days                 float64
	Unseen, UnseenSpread float64 // mean and variance
	All, AllSpread       float64
	Batches              int // closed batches that it was learned from
}

// Lost is what became of the fish of a closed batch.
type Lost struct {
	Days   float64
	In     float64 // fish that came
	Unseen float64 // of them, missing in the end; fewer than 0 if there were more
	Dead   float64 // of them, dead by the book
}

// lossWorth is for how many batches the prior stands that [LossPrior.Learn] begins
// with.
const lossWorth = 4.0

// Learn returns what closed batches teach.
func (p LossPrior) Learn(batches []Lost) LossPrior {
	l := LossPrior{Unseen: lossWorth * p.Unseen, All: lossWorth * p.All, UnseenSpread: lossWorth * p.UnseenSpread, AllSpread: lossWorth * p.AllSpread, Days: lossWorth * p.Days}
	n := lossWorth
	for _, b := range batches {
		if b.usable() {
			l.Unseen += gone(b.Unseen / b.In)
			l.All += gone((b.Unseen + b.Dead) / b.In)
			l.Days += b.Days
			l.Batches++
			n++
		}
	}
	l.Unseen, l.All, l.Days = l.Unseen/n, l.All/n, l.Days/n
	for _, b := range batches {
		if b.usable() {
			l.UnseenSpread += math.Pow(gone(b.Unseen/b.In)-l.Unseen, 2)
			l.AllSpread += math.Pow(gone((b.Unseen+b.Dead)/b.In)-l.All, 2)
		}
	}
	l.UnseenSpread, l.AllSpread = l.UnseenSpread/n, l.AllSpread/n
	l.Unseen, l.All = math.Max(l.Unseen, 0), math.Max(l.All, 0) // more fish than came are a miscount
	return l
}

func (b Lost) usable() bool { return b.In > 0 && b.Days > 0 }

// gone returns the logarithm of a share that is lost; what is nearly all counts as
// nine in ten.
func gone(share float64) float64 { return -math.Log1p(-math.Min(share, 0.9)) }

// Left returns the share of the fish of the book that are there in truth, and its
// variance, both as logarithms: of fish that have been in a batch for so many days and
// were last counted (or came) at the age counted, so many days ahead, deaths until then
// taken off. Fish are lost early more than late: as the root of their age. The fish of
// the book are the share 1 ÷ of of those that were there before some were taken out: who
// takes fish out counts them, so that all that are missing are among the rest.
func (p *LossPrior) Left(age, counted, ahead, of float64) (log, variance float64) {
	root := func(days float64) float64 { return math.Sqrt(math.Max(days, 0) / p.Days) }
	unseen, all := max(0, root(age)-root(counted)), root(age+ahead)-root(age)
	missing := min(0.9, -of*math.Expm1(-p.Unseen*unseen))
	return math.Log1p(-missing) - p.All*all, of*of*p.UnseenSpread*unseen + p.AllSpread*all
}
