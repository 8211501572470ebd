package domain

import (
	"math"
	"math/rand/v2"
	"testing"

	"shoalbook/domain/stats"
)

// tank draws the deaths of a tank day by day. They come in clumps: the variance of
// a day's count is clump times its mean (a gamma mixture of Poisson counts).
type tank struct {
	*rand.Rand
	fish, clump float64
}

func (k tank) deaths(rate float64) Fish {
	mean := rate * k.fish
	if k.clump > 1 {
		mean = (k.clump - 1) * k.gamma(mean/(k.clump-1))
	}
	return k.poisson(mean)
}

func (k tank) poisson(mean float64) Fish {
	var n Fish
	for t := k.ExpFloat64(); t < mean; t += k.ExpFloat64() {
		n++
	}
	return n
}

// gamma draws from the gamma distribution of scale 1 (Marsaglia & Tsang 2000).
func (k tank) gamma(shape float64) float64 {
	if shape < 1 {
		return k.gamma(shape+1) * math.Pow(1-k.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	for {
		x := k.NormFloat64()
		v := 1 + x/math.Sqrt(9*d)
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(1-k.Float64()) < x*x/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}

// live takes the deaths of a tank of some days into the state of a batch, and
// returns how many alarms began, how many of them because many died at once, and on
// which of the days the first did; -1 for none.
func (k tank) live(b *BatchState, from Date, days int, rate float64) (alarms, heavy, first int) {
	first = -1
	for i := range days {
		on := from + Date(i)
		b.risk(&on)
		b.RiskDead = k.deaths(rate) // the tank is topped up: it always holds as many
		if m, _ := b.Mortality(); m.Alarmed && m.Since == on {
			if alarms++; first < 0 {
				first = i
			}
			if b.heavy() {
				heavy++
			}
		}
	}
	return alarms, heavy, first
}

func (k tank) stocked(on Date) *BatchState {
	b := &BatchState{Stocked: Fish(k.fish), SurvivalBefore: 1}
	b.handled(on, b.Stocked)
	return b
}

// usual is the level of the prior, deaths a fish and day.
func usual() float64 { return deathChart.PriorEvents / deathChart.PriorExposure }

// TestFalseAlarms: in tanks in which nothing happens there is at most one alarm in
// FalseAlarmDays tank-days, whatever their size, their own level (two tanks of one
// kind differ by a gamma distribution of shape 2) and how their deaths come together.
func TestFalseAlarms(t *testing.T) {
	t.Parallel()
	const tanks, days = 400, 180
	var total, atOnce, tankDays float64
	for _, fish := range []float64{60, 300, 1000, 4000} {
		for _, clump := range []float64{1, 1.5, 2} {
			for _, level := range []float64{0.3, 1, 2} {
				k := tank{rand.New(rand.NewPCG(uint64(fish), uint64(10*clump+level))), fish, clump}
				count := 0
				for range tanks {
					n, heavy, _ := k.live(k.stocked(0), 0, days, level*usual()*k.gamma(2)/2)
					count += n - heavy
					atOnce += float64(heavy)
				}
				watched := float64(tanks * (days - handlingDays - 1))
				total, tankDays = total+float64(count), tankDays+watched
				// Of these few tanks by chance not many more than are expected: 3.3
				// standard errors of a Poisson count.
				if most := watched / FalseAlarmDays; float64(count) > most+3.3*math.Sqrt(most) {
					t.Errorf("%g fish, clump %g, level %g: %d false alarms in %g tank-days, at most %.0f are stated", fish, clump, level, count, watched, most)
				}
			}
		}
	}
	t.Logf("%.0f false alarms in %.0f tank-days: one in %.0f; stated is at most one in %d. Besides, in %.0f tanks 5 fish and 3 %% died at once",
		total, tankDays, tankDays/total, FalseAlarmDays, atOnce)
	if total+atOnce > tankDays/FalseAlarmDays || total < tankDays/20/FalseAlarmDays {
		t.Errorf("%.0f false alarms in %.0f tank-days, and %.0f because many died at once", total, tankDays, atOnce)
	}
}

// TestPoissonAlarmsTooOften: the same chart that takes deaths for Poisson counts
// alarms several times as often in a tank whose deaths come in threes.
func TestPoissonAlarmsTooOften(t *testing.T) {
	t.Parallel()
	plain := deathChart
	plain.Clump, plain.ClumpEvents = 1, 1e12
	k := tank{rand.New(rand.NewPCG(3, 3)), 1000, 3}
	var clumped, poisson int
	for range 200 {
		var a, b stats.Watched
		for range 180 {
			dead := float64(k.deaths(usual()))
			if deathChart.Take(&a, dead, k.fish, true) {
				clumped++
			}
			if plain.Take(&b, dead, k.fish, true) {
				poisson++
			}
		}
	}
	if poisson < 5*clumped || poisson < 36000/FalseAlarmDays*5 {
		t.Errorf("%d signals of the plain chart, %d of this one", poisson, clumped)
	}
}

// TestOutbreakIsFound: an outbreak that kills 1 % a day, in a tank at its own usual
// level for 90 days, raises the alarm soon: the delays stated in DEVELOPERS.md.
func TestOutbreakIsFound(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		fish, clump, rate float64
		median, late      int // days by which half and 95 % of the outbreaks are found
	}{
		{100, 2, 0.03, 4, 7},
		{300, 1, 0.01, 3, 6},
		{300, 2, 0.01, 5, 10},
		{300, 2, 0.03, 2, 3},
		{1000, 1, 0.01, 2, 3},
		{1000, 2, 0.01, 3, 4},
		{1000, 2, 0.03, 1, 2},
		{4000, 2, 0.01, 1, 2},
	} {
		k := tank{rand.New(rand.NewPCG(uint64(c.fish), 7)), c.fish, c.clump}
		const outbreaks = 1000
		within := map[int]int{}
		for range outbreaks {
			b := k.stocked(0)
			k.live(b, 0, 90, usual())
			b.AlarmOn, b.SignalOn = nil, nil // a false alarm of the last days would hide this one
			_, _, found := k.live(b, 90, 30, usual()+c.rate)
			for d := found + 1; found >= 0 && d <= 30; d++ {
				within[d]++
			}
		}
		t.Logf("%g fish, clump %g, %g %% a day more: found within %d days %.1f %%, within %d days %.1f %%", c.fish, c.clump, 100*c.rate,
			c.median, 100*float64(within[c.median])/outbreaks, c.late, 100*float64(within[c.late])/outbreaks)
		if within[c.median] < outbreaks/2 || within[c.late] < outbreaks*95/100 {
			t.Errorf("%g fish, clump %g: too late", c.fish, c.clump)
		}
	}
}
