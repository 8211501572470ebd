package domain

import (
	"fmt"
	"slices"
)

// weigh takes a measured mean weight of the fish of a batch, and how single weights
// vary (0: not known).
func (s *Site) weigh(b *BatchState, mg Milligrams, fish Fish, cv Thousandths) {
	b.settle(s.day, mg, fish)
	if len(b.Path) == 0 {
		b.step(s.day)
	}
	b.heatTo(s.on, s.Units[b.Unit])
	b.MeanMg, b.MeanFish, b.WeighedOn = mg, fish, s.on
	b.MeasuredOn, b.MeasuredMg, b.MeasuredFish = s.on, mg, fish
	b.MeasuredHeat, b.MeasuredHeatDays = b.Heat, b.HeatDays
	b.weighed(s.day, mg, fish, cv)
	b.guessDead()
	b.measure()
}

// weighed adds a weighing to the others, in place of one of the same day.
func (b *BatchState) weighed(d Date, mg Milligrams, fish Fish, cv Thousandths) {
	n := len(b.WeighOn)
	if n > 0 && b.WeighOn[n-1] == d {
		n--
	} // states of earlier days share what is before
	b.WeighOn = append(b.WeighOn[:n:n], d)
	b.WeighMg = append(b.WeighMg[:n:n], int64(mg))
	b.WeighFish = append(b.WeighFish[:n:n], int64(fish))
	b.WeighCV = append(b.WeighCV[:n:n], int64(cv))
	b.WeighHeat = append(b.WeighHeat[:n:n], b.Heat)
	b.WeighHeatDays = append(b.WeighHeatDays[:n:n], b.HeatDays)
}

// forget drops the weighings of fish that are the fewer now.
func (b *BatchState) forget() {
	b.WeighOn, b.WeighMg, b.WeighFish, b.WeighCV, b.WeighHeat, b.WeighHeatDays = nil, nil, nil, nil, nil, nil
}

// guessDead estimates the weight of the dead of the day, which were not weighed,
// again: a weighing of the day itself is nearer to them than an earlier one.
func (b *BatchState) guessDead() {
	w, ok := b.weightOf(b.RiskGuessed)
	if !ok || b.RiskGuessed == 0 || *b.RiskOn != *b.MeasuredOn {
		return
	}
	if b.RiskGuessedMg == 0 { // there was nothing to estimate it by
		n := min(b.RiskGuessed, b.DeadUnweighed)
		b.DeadUnweighed, b.DeadGuessed = b.DeadUnweighed-n, b.DeadGuessed+n
	}
	b.DeadMg += w - b.RiskGuessedMg
	b.RiskGuessedMg = w
}

// measure notes the sums that feed conversion ends with.
func (b *BatchState) measure() {
	standing, _ := b.weightOf(b.OnHand())
	b.MeasuredFedG, b.MeasuredProtein, b.MeasuredDeadMg = b.FedG, b.FedProtein, b.DeadMg
	b.MeasuredGainMg = b.gain(standing)
}

// gain returns the net gain with so much standing.
func (b *BatchState) gain(standing Milligrams) Milligrams {
	return b.HarvestedG.Milligrams() + standing + b.MovedOutMg - b.StockedMg - b.MovedInMg
}

// weighing is the end of growth: the fish weighed, and the water until then.
type weighing struct {
	mg             Milligrams
	fish           Fish
	on             *Date
	heat, heatDays int64
}

// lastWeighing returns the end of growth: the harvest of a batch that is closed, unless
// its fish were moved on or died, and else the last sample.
func (b *BatchState) lastWeighing() weighing {
	if b.Closed() && b.Harvested > 0 {
		return weighing{b.HarvestedG.Milligrams(), b.Harvested, b.HarvestOn, b.HarvestHeat, b.HarvestHeatDays}
	}
	return weighing{b.MeasuredMg, b.MeasuredFish, b.MeasuredOn, b.MeasuredHeat, b.MeasuredHeatDays}
}

// noGain returns why there is no net gain, if there is none: whether the weight of the
// fish on hand is known is for the one who asks.
func (b *BatchState) noGain(known bool) string {
	switch {
	case b.FirstOn == nil:
		return "there are no fish in the batch yet"
	case b.Unweighed > 0:
		return unknownStart
	case b.MovedUnweighed > 0:
		return fmt.Sprintf("the weight of %d fish that were moved out is not known", b.MovedUnweighed)
	case !known:
		return neverWeighed
	}
	return ""
}

// recentDeaths is of how many days with dead fish the counts are kept.
const recentDeaths = 15

// died notes dead fish beside those of earlier days.
func (b *BatchState) died(on *Date, n Fish) {
	counts := b.DeadDays // states of earlier days share them
	today := int64(n)
	switch last := len(counts) - 1; {
	case b.DeadOn != nil && *b.DeadOn == *on:
		today += counts[last]
		counts = counts[:last]
	case len(counts) == recentDeaths:
		counts = counts[1:]
	}
	b.DeadOn, b.DeadDays = on, append(slices.Clip(counts), today)
}
