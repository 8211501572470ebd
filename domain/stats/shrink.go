package stats

import (
	"math"
	"math/rand/v2"
)

// Spreading is how the true values of groups lie: normally, around a mean.
type Spreading struct{ Mean, Tau2 float64 }

// Moments estimates around what, and how far apart, the true values of groups lie, of which
// y are the estimates and s the standard errors, by the method of moments
// (DerSimonian & Laird 1986, Controlled Clinical Trials 7:177–188).
func Moments(y, s []float64) Spreading {
	var w, w2, wy float64
	for i := range y {
		x := 1 / (s[i] * s[i])
		w += x
		w2 += x * x
		wy += x * y[i]
	}
	m := wy / w
	var q float64
	for i := range y {
		q += (y[i] - m) * (y[i] - m) / (s[i] * s[i])
	}
	var p Spreading
	if free := w - w2/w; len(y) > 1 && free > 0 {
		p.Tau2 = max(0, (q-float64(len(y)-1))/free)
	}
	w, wy = 0, 0
	for i := range y {
		x := 1 / (s[i]*s[i] + p.Tau2)
		w += x
		wy += x * y[i]
	}
	p.Mean = wy / w
	return p
}

// Shrink returns an estimate drawn to the others, the more so the less is known of it,
// and how uncertain it is then.
func (p Spreading) Shrink(y, s float64) (mean, sd float64) {
	keep := p.Tau2 / (p.Tau2 + s*s)
	return p.Mean + keep*(y-p.Mean), math.Sqrt(keep) * s
}

// Thirds returns for each of some values, known with an error, the chance that it is
// among the lowest and among the highest third (of 3 to 5 values one, of 6 to 8 two …),
// by draws. Of fewer than three there is none. Values that nobody can tell apart have
// the same chance.
func Thirds(mean, sd []float64, r *rand.Rand) (low, high []float64) {
	n := len(mean)
	if n < 3 {
		return nil, nil
	}
	third := n / 3
	draws := min(2000, max(300, 100_000/n))
	low, high = make([]float64, n), make([]float64, n)
	least := spacing(mean)
	drawn, parted := make([]float64, n), make([]float64, n)
	for range draws {
		for i := range drawn {
			drawn[i] = mean[i] + max(sd[i], least)*r.NormFloat64()
		}
		copy(parted, drawn)
		lowest := nth(parted, third-1)
		highest := nth(parted[third:], n-2*third) // those before are lower
		for i, v := range drawn {
			if v <= lowest {
				low[i]++
			}
			if v >= highest {
				high[i]++
			}
		}
	}
	for i := range n {
		low[i] /= float64(draws)
		high[i] /= float64(draws)
	}
	return low, high
}

// nth returns the value that would be in place k if the values were sorted. It moves them
// about (Hoare's find).
func nth(values []float64, k int) float64 {
	lo, hi := 0, len(values)-1
	for lo < hi {
		pivot := values[(lo+hi)/2]
		i, j := lo, hi
		for i <= j {
			for values[i] < pivot {
				i++
			}
			for values[j] > pivot {
				j--
			}
			if i <= j {
				values[i], values[j] = values[j], values[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return values[k]
		}
	}
	return values[k]
}

// spacing is an error so small that it changes nothing but the order of equal values.
func spacing(mean []float64) float64 {
	most := 1e-300
	for _, m := range mean {
		most = max(most, math.Abs(m))
	}
	return 1e-6 * most
}
