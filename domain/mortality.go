package domain

import "shoalbook/domain/stats"

// deathChart finds the days from which on the fish of a batch die faster than
// they did before in that batch. It is set so that there is at most one false
// alarm in FalseAlarmDays tank-days, for 60 to 4000 fish that die at 0.3 to twice
// the level of the prior and whose daily deaths vary up to twice as much as single
// fish dying each on its own would make them (checked by simulation).
var deathChart = stats.OwnLevel{
	// 85 % survive 180 days (common practice, no source): 0.0902 % a day
	// (computed). The prior is worth one dead fish, so that a batch soon has a
	// level of its own.
	PriorEvents: 1, PriorExposure: 1 / 0.000902,
	// Dead fish are found in twos and threes (common practice, no source).
	Clump: 2, ClumpEvents: 3,
	// An outbreak kills several times as many as usual.
	Ratio: 6, Limit: 8,
}

const (
	// FalseAlarmDays is the tank-days in which the chart of deaths gives at most one
	// false alarm, on average.
	FalseAlarmDays = 1000
	// heavyFish and heavyShare raise the alarm whatever is usual: when so many fish,
	// and such a share of them, are written down dead at once, that is no false alarm
	// even if they would have died anyway (common practice, no source).
	heavyFish  = 5
	heavyShare = 0.03
	// handlingDays are the days after fish came or were moved whose deaths are
	// those of transport and handling (Griffiths 1941): they are told apart.
	handlingDays = 7
	// calmDays is how many days on record without a new signal end an alarm.
	calmDays = 7
	// newLevelDays is how long an alarm lasts before it ends and the batch is to find
	// a new level, which may be higher (common practice, no source).
	newLevelDays = 21
	// gatherDays is for how many days without an entry before it a record of dead
	// fish may stand: over a weekend they are counted on Monday.
	gatherDays = 3
)

// watch takes a day on which something of the batch was written down, and the
// days before it on which nothing was, into the chart of deaths.
func (b *BatchState) watch() {
	day, dead, atRisk := *b.RiskOn, float64(b.RiskDead), float64(b.AtRisk)
	through := day - 1 // of a state from before deaths were watched
	if b.WatchedOn != nil {
		through = *b.WatchedOn
	}
	if b.ApartUntil != nil && day <= *b.ApartUntil {
		b.ApartDead += b.RiskDead
		b.WatchedOn = b.RiskOn
		return
	}
	w := stats.Watched{Sum: b.Watch[0], Events: b.Watch[1], Exposure: b.Watch[2], Spread: b.Watch[3]}
	if b.Alarmed() && day-*b.AlarmOn > newLevelDays {
		w, b.SignalOn = stats.Watched{}, nil
	}
	learn := !b.Alarmed()
	if b.ApartUntil != nil {
		through = max(through, *b.ApartUntil)
	}
	quiet := day - 1
	if dead > 0 {
		quiet = max(through, day-1-gatherDays)
	}
	for d := through; d < quiet; d++ {
		deathChart.Take(&w, 0, atRisk, learn)
	}
	signal := deathChart.Take(&w, dead, atRisk*float64(day-quiet), learn) || b.heavy()
	b.Watch = [4]float64{w.Sum, w.Events, w.Exposure, w.Spread}
	b.WatchedOn = b.RiskOn
	if signal {
		if !b.Alarmed() {
			b.AlarmOn, b.AlarmDead = b.RiskOn, 0
		}
		b.SignalOn = b.RiskOn
	}
	if b.Alarmed() {
		b.AlarmDead += b.RiskDead
	}
}

// heavy reports whether many fish at once were written down dead on the day.
func (b *BatchState) heavy() bool {
	return b.RiskDead >= heavyFish && float64(b.RiskDead) >= heavyShare*float64(b.AtRisk)
}

// Alarmed reports whether, as of the last day taken in, fish die faster than
// they did before.
func (b *BatchState) Alarmed() bool {
	return b.SignalOn != nil && *b.WatchedOn-*b.SignalOn < calmDays && !b.Closed()
}

// Mortality is how the deaths of a batch stand against its own level.
type Mortality struct {
	Through   Date    // the last day that something was written down of the batch
	DailyRate float64 // the batch's own level: deaths ÷ fish ÷ day

	Alarmed bool
	Since   Date // the first day of the alarm
	Signal  Date // its last signal; it ends on the seventh day on record after it
	Dead    Fish // since then

	Apart     bool // the fish came or were moved in the last seven days
	ApartDead Fish // since they did
	ApartFish Fish // those there were then
}

// Mortality returns how the deaths of a batch stand at the end of its last day on
// record. There is nothing to say of a batch without fish.
func (b *BatchState) Mortality() (m Mortality, ok bool) {
	if b.RiskOn == nil || b.Closed() {
		return m, false
	}
	c := *b
	c.watch()
	m = Mortality{Through: *c.WatchedOn, DailyRate: deathChart.Rate(stats.Watched{Events: c.Watch[1], Exposure: c.Watch[2]}), Alarmed: c.Alarmed()}
	if m.Alarmed {
		m.Since, m.Signal, m.Dead = *c.AlarmOn, *c.SignalOn, c.AlarmDead
	}
	if c.ApartUntil != nil && m.Through <= *c.ApartUntil {
		m.Apart, m.ApartDead, m.ApartFish = true, c.ApartDead, c.ApartFish
	}
	return m, true
}

// handled tells the deaths of the next days apart: fish came, or were moved.
func (b *BatchState) handled(d Date, came Fish) {
	if b.ApartUntil == nil || d > *b.ApartUntil {
		b.ApartDead, b.ApartFish = 0, max(0, b.OnHand())
	}
	b.ApartFish += came
	until := d + handlingDays
	b.ApartUntil = &until
	if b.WatchedOn == nil {
		before := d - 1
		b.WatchedOn = &before
	}
}
