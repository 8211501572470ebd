package simulate

import (
	"math"
	"testing"

	"shoalbook/domain"
	"shoalbook/domain/husbandry"
)

// curve is a law of growth: to(weight) rises in a straight line with thermal units.
type curve struct {
	name     string
	to, back func(float64) float64
	slope    func(w float64) float64 // d to ÷ d ln w
}

func power(name string, c float64) curve {
	return curve{name, func(w float64) float64 { return math.Pow(w, c) }, func(x float64) float64 { return math.Pow(max(x, 1e-9), 1/c) },
		func(w float64) float64 { return c * math.Pow(w, c) }}
}

// final is Gompertz's curve towards a final weight in g.
func final(name string, f float64) curve {
	return curve{name, func(w float64) float64 { return -math.Log(math.Log(f / min(w, 0.98*f))) }, func(x float64) float64 { return f * math.Exp(-math.Exp(-x)) },
		func(w float64) float64 { return 1 / math.Log(f/min(w, 0.98*f)) }}
}

func curves() []curve {
	return []curve{
		{"constant SGR", math.Log, math.Exp, func(float64) float64 { return 1 }},
		power("TGC (power 1/3)", 1./3), power("power 1/2", 0.5), power("power 0.65", 0.65), power("linear in weight", 1),
		final("Gompertz to 800 g", 800), final("Gompertz to 1500 g", 1500),
	}
}

// predict fits a curve to weighings by the same filter as the service's, with a prior
// of the rate, and returns the weight expected at a later moment.
func (c curve) predict(w []husbandry.Weighing, heat, rate, spread float64) float64 {
	x, r := c.to(w[0].Weight), rate
	e := c.slope(w[0].Weight) * w[0].Error
	pp, pr, rr, at := e*e, 0., rate*spread*rate*spread, w[0].Heat
	q := 0.24 * rate
	q = q * q / 1000
	for _, y := range w[1:] {
		d := y.Heat - at
		x, at = x+r*d, y.Heat
		pp += 2*d*pr + d*d*rr + q*d*d*d/3
		pr += d*rr + q*d*d/2
		rr += q * d
		e := c.slope(y.Weight) * y.Error
		s := pp + e*e
		kp, kr := pp/s, pr/s
		miss := c.to(y.Weight) - x
		x, r = x+kp*miss, r+kr*miss
		rr -= kr * pr
		pr -= kp * pr
		pp -= kp * pp
	}
	return c.back(x + r*(heat-at))
}

// rates returns the mean and the spread of the rates of a curve over whole series.
func (c curve) rates(all [][]husbandry.Weighing) (mean, spread float64) {
	var list []float64
	for _, w := range all {
		if a, z := w[0], w[len(w)-1]; z.Heat > a.Heat {
			list = append(list, (c.to(z.Weight)-c.to(a.Weight))/(z.Heat-a.Heat))
			mean += list[len(list)-1]
		}
	}
	mean /= float64(len(list))
	for _, r := range list {
		spread += (r - mean) * (r - mean)
	}
	return mean, math.Sqrt(spread/float64(len(list))) / mean
}

// legendre is growth of Clarias gariepinus at 29.5 °C, day and g (Legendre et al. 1992,
// J. Fish Biol. 40:59–79, digitised in open data; read there).
var legendre = [][2]float64{{13, 11.0}, {28, 21.9}, {42, 43.7}, {56, 51.6}, {72, 64.1}, {84, 84.3}, {101, 112}, {113, 137}, {129, 173},
	{137, 182}, {152, 207}, {168, 218}, {183, 254}, {209, 305}, {224, 332}, {237, 358}, {252, 368}}

// TestCurves compares laws of growth by what they say of weighings that were held back:
// the last of each simulated batch, and of the published series every one from the
// sixth on, two ahead. The service keeps the power of one half.
//
//	go test ./domain/simulate -run Curves -v -batches 2000
func TestCurves(t *testing.T) {
	t.Parallel()
	all := map[string][][]husbandry.Weighing{}
	for _, j := range judge(t, 9000, *batches) {
		if w := domain.WeighingsOf(&j.state); len(w) >= 4 {
			all[j.species] = append(all[j.species], w)
		}
	}
	published := make([]husbandry.Weighing, len(legendre))
	for i, p := range legendre {
		published[i] = husbandry.Weighing{Heat: 29.5 * p[0], Weight: p[1], Error: 0.04}
	}
	errors := map[string]map[string]float64{}
	for _, c := range curves() {
		errors[c.name] = map[string]float64{}
		for species, series := range all {
			rate, spread := c.rates(series)
			var sum float64
			for _, w := range series {
				n := len(w) - 1
				miss := math.Log(w[n].Weight / c.predict(w[:n], w[n].Heat, rate, spread))
				sum += miss * miss
			}
			errors[c.name][species] = math.Sqrt(sum / float64(len(series)))
		}
		var sum float64
		n := 0
		for k := 5; k+2 < len(published); k++ {
			rate, _ := c.rates([][]husbandry.Weighing{published[:k+1]})
			miss := math.Log(published[k+2].Weight / c.predict(published[:k+1], published[k+2].Heat, rate, 0.4))
			sum += miss * miss
			n++
		}
		errors[c.name]["published"] = math.Sqrt(sum / float64(n))
		t.Logf("%-20s catfish %.3f, tilapia %.3f, Legendre %.3f", c.name, errors[c.name]["CLZ"], errors[c.name]["TLN"], errors[c.name]["published"])
	}
	for _, on := range []string{"CLZ", "TLN", "published"} {
		if kept, tgc := errors["power 1/2"][on], errors["TGC (power 1/3)"][on]; !(kept < tgc) {
			t.Errorf("%s: the curve that is kept errs by %.3f, thermal-unit growth with the power of one third by %.3f", on, kept, tgc)
		}
	}
}
