package simulate

import (
	"flag"
	"math"
	"slices"
	"testing"

	"shoalbook/domain"
	"shoalbook/domain/stats"
)

var batches = flag.Int("batches", 250, "how many simulated batches forecasts are judged by")

// judged is a batch at one of its weighings, and what became of it.
type judged struct {
	species string
	state   domain.BatchState // at the end of the day of the weighing
	on      domain.Date
	truth   *BatchTruth
	until   domain.Date // the last day before anything is taken out
	closed  []*domain.BatchState
}

// judge picks one weighing of each batch of some co-operatives, 50 to 120 days old.
// What was closed before it, of the same species, is what is known. Fish are taken out
// on days that do not depend on how they grew.
func judge(t *testing.T, first uint64, atLeast int) []judged {
	t.Helper()
	var all []judged
	for seed := first; len(all) < atLeast; seed++ {
		c := New(Options{Seed: seed, Today: domain.NewDate(2026, 6, 1)})
		taken := map[domain.BatchID]domain.Date{}
		species := map[domain.BatchID]string{}
		for i := range c.Sites {
			for _, b := range c.Sites[i].Batches {
				species[b.ID] = b.Species
			}
			for _, e := range Standing(c.Sites[i].Entries) {
				switch e.Body.(type) {
				case domain.Harvest, domain.Move, domain.Sent:
					if b := e.Body.Refs().Batch; b != nil && taken[*b] == 0 {
						taken[*b] = e.On
					}
				}
			}
		}
		var here []judged
		seen := map[domain.BatchID]bool{}
		sites := fold(t, c, func(_ *Site, site *domain.Site, d domain.Day) {
			for id := range d.Batches {
				b, truth := site.Batches[id], c.Truth.Batches[id]
				if seen[id] || b.MeasuredOn == nil || *b.MeasuredOn != d.On || d.On-*b.FirstOn < 50+domain.Date(id[9]%70) {
					continue
				}
				i, ok := truth.On(d.On)
				if !ok {
					continue
				}
				seen[id] = true
				j := judged{species: species[id], state: *b, on: d.On, truth: truth, until: truth.From + domain.Date(len(truth.Alive)-1)}
				if on := taken[id]; on != 0 {
					j.until = min(j.until, on-1)
				}
				if i > 0 && j.until > j.on {
					here = append(here, j)
				}
			}
		})
		closed := map[string][]*domain.BatchState{}
		for _, s := range sites {
			for id, b := range s.Batches {
				if b.Closed() {
					closed[species[id]] = append(closed[species[id]], b)
				}
			}
		}
		for _, list := range closed {
			slices.SortFunc(list, func(a, b *domain.BatchState) int { return int(*a.ClosedOn - *b.ClosedOn) })
		}
		for i := range here {
			j := &here[i]
			for _, b := range closed[j.species] {
				if *b.ClosedOn < j.on {
					j.closed = append(j.closed, b)
				}
			}
		}
		slices.SortFunc(here, func(a, b judged) int { return int(a.on - b.on) })
		all = append(all, here...)
	}
	return all
}

// tally counts what intervals cover.
type tally struct{ n, in80, in95, below, above int }

func (c *tally) add(truth float64, at func(z float64) float64) {
	c.n++
	if truth >= at(-stats.Z80) && truth <= at(stats.Z80) {
		c.in80++
	}
	switch {
	case truth < at(-stats.Z95):
		c.below++
	case truth > at(stats.Z95):
		c.above++
	default:
		c.in95++
	}
}

func (c tally) shares() (in80, in95 float64) {
	return float64(c.in80) / float64(c.n), float64(c.in95) / float64(c.n)
}

// TestForecastCoverage: how often the truth lies in the intervals of a forecast. The
// constants of the forecast were set on seeds from 100 on; these begin at 5000.
//
//	go test ./domain/simulate -run ForecastCoverage -v -batches 2000
func TestForecastCoverage(t *testing.T) {
	t.Parallel()
	coverage(t, judge(t, 5000, *batches))
}

func coverage(t *testing.T, all []judged) {
	var weight, biomass, biomass14, date tally
	var square float64
	open := 0
	for _, j := range all {
		prior := domain.PublishedPrior(j.species).Learn(j.closed)
		f, reason := domain.NewForecast(&j.state, j.on, prior)
		if f == nil {
			t.Fatalf("no forecast: %s", reason)
		}
		for _, days := range []domain.Date{14, 28} {
			if j.on+days > j.until {
				continue
			}
			i, _ := j.truth.On(j.on + days)
			o := f.On(j.on + days)
			w, kg := float64(j.truth.Weight[i])/1000, float64(j.truth.Weight[i])/1e6*float64(j.truth.Alive[i])
			if days == 14 {
				biomass14.add(kg, o.Biomass)
				continue
			}
			weight.add(w, o.Weight)
			biomass.add(kg, o.Biomass)
			square += math.Pow(math.Log(w/o.WeightG), 2)
		}
		// The day on which they have grown by a fifth, where they have two months for it.
		if j.until < j.on+60 {
			continue
		}
		goal := 1.2 * f.On(j.on).WeightG
		reached := domain.Date(0)
		for d := j.on; d <= j.until && reached == 0; d++ {
			if i, ok := j.truth.On(d); ok && float64(j.truth.Weight[i])/1000 >= goal {
				reached = d
			}
		}
		if reached == 0 { // nobody knows when they would have
			open++
			continue
		}
		date.add(float64(reached), func(z float64) float64 {
			from, to := f.Between(goal, math.Abs(z))
			switch {
			case z < 0 && from != nil:
				return float64(*from)
			case z > 0 && to != nil:
				return float64(*to)
			}
			return math.Inf(1)
		})
	}
	t.Logf("weight after 28 days: error %.3f (standard deviation of the logarithm)", math.Sqrt(square/float64(weight.n)))
	for _, c := range []struct {
		name string
		tally
	}{{"weight after 28 days", weight}, {"biomass after 14 days", biomass14}, {"biomass after 28 days", biomass}, {"day of growing by a fifth", date}} {
		in80, in95 := c.shares()
		if c.name == "day of growing by a fifth" {
			t.Logf("%d batches had not grown by a fifth when fish were taken out, and are left out", open)
		}
		t.Logf("%-26s %4d batches: 80 %% intervals cover %.1f %%, 95 %% ones %.1f %% (%d below, %d above)", c.name, c.n, 100*in80, 100*in95, c.below, c.above)
		chance := func(p float64) float64 { // three standard errors: few batches say little
			return 3 * math.Sqrt(p*(1-p)/float64(c.n))
		}
		if c.n < 20 || math.Abs(in80-0.80) > 0.03+chance(0.8) || math.Abs(in95-0.95) > 0.02+chance(0.95) {
			t.Errorf("%s: the intervals cover %.3f and %.3f of %d", c.name, in80, in95, c.n)
		}
	}
}
