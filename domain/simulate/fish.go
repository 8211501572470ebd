package simulate

import (
	"math"

	"shoalbook/domain"
)

// stock is the fish of a batch: as they are, and as the keeper believes.
type stock struct {
	*species
	id      domain.BatchID
	unit    domain.Unit
	truth   *BatchTruth
	growth  Growth
	frailty float64
	course  course

	since      domain.Date
	came       int     // ever
	lost       int     // dead, stolen, washed away
	limit      float64 // share of came that may be lost
	alive      int
	mean       float64 // g
	weight     float64 // g, the mean of this morning
	cv         float64
	even       float64 // multiplies the spread: fish that were graded are more alike
	graded     bool
	eaten      float64 // by one fish since yesterday morning, as the best feed
	fed        float64 // g today
	unrecorded int
	found      [len(causes)]int // dead fish found and not yet written down

	background float64     // deaths a day without a name
	handled    domain.Date // day on which they were last moved
	outbreak   float64     // deaths a day
	outbreakTo domain.Date
	shock      [len(causes)]float64 // share that today's troubles kill

	book     int
	believed float64 // g
	sampled  domain.Date
	harvests int
	guessed  bool
}

// causes are the causes of death as they are recorded.
var causes = [...]string{"transport", "handling", "disease", "oxygen", "water", "predator", "cannibalism", "power_cut", "other", "unknown"}

const (
	transport = iota
	handling
	disease
	oxygen
	water
	predator
	cannibalism
	powerCut
	other
	unknown
)

// findable says which share of the fish that die of each cause can be found at all:
// what a bird or a bigger fish eats cannot.
var findable = [len(causes)]float64{transport: 1, handling: 0.95, disease: 1, oxygen: 1, water: 1, predator: 0.06, cannibalism: 0.15, powerCut: 1, other: 1, unknown: 0.9}

// worst is the share of fish that may be lost from stocking to the last harvest:
// whoever loses more than this gives up growing fish, and is not in the
// co-operative.
const worst = 0.34

// grow lets a night pass.
func (f *stock) grow(celsius float64) {
	f.mean = max(f.mean+f.growth.Gain(f.mean, celsius, f.eaten), 0.5)
	f.cv = f.even * f.growth.spread(f.mean)
	f.weight, f.eaten = f.mean, 0
	f.believed += 0.85 * f.growth.Potential(f.believed, 26.5) // what the keeper reckons
}

// take removes fish and returns what they weigh together. The choosier, the
// bigger are those that go.
func (f *stock) take(n int, choosy float64) float64 {
	if n >= f.alive {
		n = f.alive
		f.alive = 0
		return float64(n) * f.mean
	}
	share := float64(n) / float64(f.alive)
	theirs := f.mean * (1 + choosy*choose(share)*f.cv)
	f.mean = (f.mean - share*theirs) / (1 - share)
	f.alive -= n
	return float64(n) * theirs
}

// spare returns how many more fish may be lost.
func (f *stock) spare() int { return max(0, int(f.limit*float64(f.came))-f.lost) }

// lose lets fish die, of all that threatens them today.
func (s *school) lose(f *stock) {
	age := s.day - f.since
	rate := f.shock
	rate[unknown] += f.background
	if d := s.day - f.handled; f.handled != 0 && d < 7 {
		rate[handling] += 0.0045 * float64(7-d) / 7
	}
	if !f.graded && age < 60 && f.mean < 60 {
		rate[cannibalism] += f.cannibal
	}
	if f.unit.Kind != "tank" {
		rate[predator] += 0.00035
	}
	if s.day <= f.outbreakTo {
		rate[disease] += f.outbreak
	}
	room := min(1, float64(f.spare())/float64(f.came)/0.12)
	var sum float64
	for c := range rate {
		rate[c] *= f.frailty * room
		sum += rate[c]
	}
	dead := min(f.spare(), s.binomial(f.alive, 1-math.Exp(-sum)))
	s.die(f, dead, rate, sum)
	f.shock = [len(causes)]float64{}
	if s.writes {
		s.bury(f)
	}
}

// die takes dead fish out, spread over the causes by their rates.
func (s *school) die(f *stock, dead int, rate [len(causes)]float64, sum float64) {
	f.alive, f.lost, f.unrecorded = f.alive-dead, f.lost+dead, f.unrecorded+dead
	for c := 0; dead > 0 && c < len(rate); c++ {
		n := s.binomial(dead, rate[c]/sum)
		if c == len(rate)-1 {
			n = dead
		}
		dead, sum = dead-n, sum-rate[c]
		f.found[c] += s.binomial(n, findable[c]*s.truth.Found)
	}
}

// bury writes down the dead fish that were found since the sheet was last kept.
func (s *school) bury(f *stock) {
	for c, n := range f.found {
		if n == 0 {
			continue
		}
		f.found[c] = 0
		f.unrecorded, f.book = f.unrecorded-n, f.book-n
		b := domain.Death{Batch: f.id, Count: domain.Fish(n)}
		if c != unknown || s.chance(0.3) {
			b.Cause = new(causes[c])
		}
		if s.chance(s.weighsDead) {
			b.Weight = new(max(1, grams(float64(n)*f.mean*s.around(1, 0.1))))
		}
		m := s.jot(b)
		// A mistake that would leave fewer fish than are fished out would be
		// noticed at once: only small ones stay.
		if few := f.book / 12; n <= few {
			wrong := b
			wrong.Count += domain.Fish(s.whole(1, max(1, few-n)))
			s.slip(m, wrong, "wrong count of dead fish")
			s.double(m)
		}
	}
}

// sample weighs some fish, in a bucket.
func (s *school) sample(f *stock) {
	n := min(s.whole(30, 50), f.alive)
	var sum float64
	for range n {
		sum += s.around(f.mean, f.cv)
	}
	b := domain.Sample{Batch: f.id, Count: domain.Fish(n)}
	if sum < 1500 {
		b.WeightG = new(domain.Milligrams(math.Round(sum)) * 1000)
	} else {
		b.Weight = new(grams(to(10, sum)))
	}
	if s.chance(0.3) {
		b.WeightCVPercent = new(domain.Thousandths(to(1, 100*f.cv*s.around(1, 0.12))) * 1000)
	}
	if s.chance(0.25) {
		cm := math.Cbrt(100 * f.mean / f.condition)
		b.MeanLengthCM, b.LengthType = new(domain.Thousandths(to(0.1, cm*s.around(1, 0.01))*1000)), new("total")
	}
	s.clock(s.record(b), 7, 11)
	f.believed, f.sampled = sum/float64(n), s.day
}

// count counts all fish. Miscounts are left out: a count that is too low would
// have the service refuse a later harvest, and the keeper count again.
func (s *school) count(f *stock) {
	s.bury(f)
	b := domain.Count{Batch: f.id, Count: domain.Fish(f.alive)}
	if s.chance(0.6) {
		b.Weight = new(grams(to(100, float64(f.alive)*f.mean)))
		f.believed, f.sampled = f.mean, s.day
	}
	s.record(b)
	f.book = f.alive
}
