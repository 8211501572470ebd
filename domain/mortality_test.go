package domain_test

import (
	"testing"

	"shoalbook/domain"
)

// watched is a journal of 1000 fish that are fed every day, of which one dies every
// fifth day, through the given day.
func watched(through int) *journal {
	j := stocked()
	for d := 1; d <= through; d++ {
		j.fedOn(d)
		if d > 7 && d%5 == 0 {
			j.die(d, 1)
		}
	}
	return j
}

func (j *journal) fedOn(d int) {
	j.add(day(d), domain.Feeding{Batch: a, Product: feed, Weight: 500})
}

func (j *journal) die(d int, n domain.Fish) { j.add(day(d), domain.Death{Batch: a, Count: n}) }

func (j *journal) mortality(t *testing.T) domain.Mortality {
	t.Helper()
	m, ok := j.fold(t).Batches[a].Mortality()
	if !ok {
		t.Fatal("there is nothing to say of a batch with fish")
	}
	return m
}

func TestDeathsAboveTheOwnLevel(t *testing.T) {
	t.Parallel()
	j := watched(60)
	if m := j.mortality(t); m.Alarmed || m.DailyRate < 0.0001 || m.DailyRate > 0.0005 {
		t.Fatalf("in a tank in which one of 1000 dies every fifth day: %+v", m)
	}
	j.die(61, 12)
	if m := j.mortality(t); !m.Alarmed || m.Since != day(61) || m.Signal != day(61) || m.Dead != 12 {
		t.Errorf("on the day on which 12 die: %+v", m)
	}
	j.die(62, 15)
	level := 0.0
	for d := 63; d <= 69; d++ {
		j.fedOn(d)
		m := j.mortality(t)
		last := day(62) // the last day on which many died, whenever the chart signalled last
		if over := !m.Alarmed; over != (m.Through >= last+7) {
			t.Errorf("on day %d: %+v", d, m)
		}
		if m.Alarmed && m.Dead != 27 {
			t.Errorf("on day %d, %d are dead since the alarm began", d, m.Dead)
		}
		level = m.DailyRate
	}
	if level > 0.0005 {
		t.Errorf("the batch has taken the outbreak for its own level: %g", level)
	}
}

// An alarm does not end because nobody writes any more.
func TestSilenceEndsNoAlarm(t *testing.T) {
	t.Parallel()
	j := watched(60)
	j.die(61, 20)
	if m := j.mortality(t); !m.Alarmed || m.Through != day(61) {
		t.Fatalf("%+v", m)
	}
	j.fedOn(90)
	if m := j.mortality(t); m.Alarmed {
		t.Errorf("29 days later all is well: %+v", m)
	}
}

// The fish that came die in the first days of the way here, not of the tank.
func TestDeathsOfTransportAreApart(t *testing.T) {
	t.Parallel()
	j := stocked()
	j.die(0, 20)
	j.die(3, 30)
	j.die(7, 10)
	m := j.mortality(t)
	if m.Alarmed || !m.Apart || m.ApartDead != 60 || m.ApartFish != 1000 {
		t.Errorf("%+v", m)
	}
	rate := m.DailyRate
	j.fedOn(8)
	if m := j.mortality(t); m.Apart || m.Alarmed || m.DailyRate > rate {
		t.Errorf("on day 8: %+v", m)
	}
	j.die(9, 25)
	if m := j.mortality(t); !m.Alarmed || m.Dead != 25 {
		t.Errorf("on day 9: %+v", m)
	}
}

// So do those of a move of all fish, or of a part that had to be netted out of all.
func TestDeathsOfHandlingAreApart(t *testing.T) {
	t.Parallel()
	for name, move := range map[string]domain.Move{
		"to another tank": {Batch: a, ToUnit: &tank2},
		"graded":          {Batch: a, ToBatch: &b, Count: new(domain.Fish(400))},
	} {
		j := watched(60)
		j.add(day(61), move)
		j.die(62, 12)
		if m := j.mortality(t); m.Alarmed || !m.Apart || m.ApartDead != 12 {
			t.Errorf("%s: %+v", name, m)
		}
	}
	j := watched(60)
	j.add(day(61), domain.Move{Batch: a, ToBatch: &b, Count: new(domain.Fish(20))})
	j.die(62, 12)
	if m := j.mortality(t); !m.Alarmed {
		t.Errorf("a few were taken out: %+v", m)
	}
}

// What is written down on Monday may have died over the weekend.
func TestDeathsOfTheWeekend(t *testing.T) {
	t.Parallel()
	daily, weekend := watched(60), watched(60)
	for d := 61; d <= 64; d++ {
		daily.fedOn(d)
	}
	daily.die(64, 7)
	weekend.die(64, 7)
	if m := daily.mortality(t); !m.Alarmed {
		t.Errorf("seven of a day: %+v", m)
	}
	if m := weekend.mortality(t); m.Alarmed {
		t.Errorf("seven of four days: %+v", m)
	}
}

// Days without deaths, and without any entry, bring the sum down, so that single
// deaths weeks apart never add up.
func TestQuietDaysCount(t *testing.T) {
	t.Parallel()
	often, seldom := watched(60), watched(60)
	alarms := 0
	for i := range 12 {
		often.die(61+i, 2)
		seldom.die(61+14*i, 2)
		if often.mortality(t).Alarmed {
			alarms++
		}
		if m := seldom.mortality(t); m.Alarmed {
			t.Errorf("two every second week: %+v", m)
		}
	}
	if alarms == 0 {
		t.Error("two every day raise no alarm")
	}
}

// What has lasted for weeks is what the batch is like now: the alarm ends, and the
// level is higher.
func TestNewLevel(t *testing.T) {
	t.Parallel()
	j := watched(60)
	last := 0
	for d := 61; d <= 180; d++ {
		j.die(d, 3)
		if d%10 == 0 && j.mortality(t).Alarmed {
			last = d
		}
	}
	m := j.mortality(t)
	if last < 80 || m.Alarmed || m.DailyRate < 0.001 {
		t.Errorf("alarmed on day %d last: %+v", last, m)
	}
}
