package simulate

import (
	"math"
	"math/rand/v2"

	"shoalbook/domain"
)

// dice are the only source of chance. Every site has its own, so that what
// happens at one does not depend on how many others there are.
type dice struct{ *rand.Rand }

func newDice(seed, stream uint64) dice { return dice{rand.New(rand.NewPCG(seed, stream))} }

func (r dice) chance(p float64) bool { return r.Float64() < p }

func (r dice) between(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// days returns a whole number from lo to hi, both included.
func (r dice) days(lo, hi domain.Date) domain.Date { return lo + domain.Date(r.IntN(int(hi-lo+1))) }

func (r dice) whole(lo, hi int) int { return lo + r.IntN(hi-lo+1) }

// around returns a lognormal value of the given mean and coefficient of variation.
func (r dice) around(mean, cv float64) float64 {
	s := math.Log1p(cv * cv)
	return mean * math.Exp(math.Sqrt(s)*r.NormFloat64()-s/2)
}

// gamma returns a gamma value of the given shape and scale 1, by the method of
// Marsaglia & Tsang 2000 (from memory of the source).
func (r dice) gamma(shape float64) float64 {
	if shape < 1 {
		return r.gamma(shape+1) * math.Pow(1-r.Float64(), 1/shape)
	}
	d := shape - 1./3
	c := 1 / math.Sqrt(9*d)
	for {
		x := r.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(1-r.Float64()) < x*x/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}

// beta returns a beta value of the given mean; the greater the strength (the
// sum of both shapes), the closer to it.
func (r dice) beta(mean, strength float64) float64 {
	a, b := r.gamma(mean*strength), r.gamma((1-mean)*strength)
	return a / (a + b)
}

// binomial returns how many of n events of probability p happen. It leaps from
// one to the next, which for rare events is few leaps.
func (r dice) binomial(n int, p float64) int {
	switch {
	case n <= 0 || !(p > 0): // p may be 0 ÷ 0
		return 0
	case p >= 1:
		return n
	}
	hits, at, miss := 0, 0.0, math.Log1p(-p)
	for {
		at += math.Floor(math.Log(1-r.Float64())/miss) + 1
		if at > float64(n) {
			return hits
		}
		hits++
	}
}

func pick[T any](r dice, from ...T) T { return from[r.IntN(len(from))] }

// newID returns a UUID of version 8 (RFC 9562): its bits are ours to choose.
func newID[T any](r dice) domain.ID[T] {
	var id domain.ID[T]
	hi, lo := r.Uint64(), r.Uint64()
	for i := range 8 {
		id[i], id[8+i] = byte(hi>>(8*i)), byte(lo>>(8*i))
	}
	id[6] = 0x80 | id[6]&0x0f
	id[8] = 0x80 | id[8]&0x3f
	return id
}

// to rounds to a whole number of steps: people write down what a scale or a
// scoop shows.
func to(step, v float64) float64 { return math.Round(v/step) * step }
