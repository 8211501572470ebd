package domain

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"shoalbook/domain/husbandry"
)

// Bounds of what is asked about fish (common practice, no source).
const (
	leastOfForecast, mostOfForecast = 0.6, 2.5 // of the forecast weight
	leastTGC, mostTGC               = 0.3, 2.0 // between two samples
	leastFCR, mostFCR               = 0.7, 2.5
	fcrGain                         = 0.2   // of its weight a batch must have gained before it is judged
	deathRate                       = 0.005 // of the fish in a day
	fewDeaths, deathTimes           = 5, 3  // times the batch's own median
	mostUnaccounted                 = 0.05
	fewWeighed                      = 5
	mostFed                         = 60 // percent of the weight of the fish in a day: refused
	overTable                       = 1.25
	coldToFeed                      = 17_000 // thousandths of °C; tilapia stop feeding (FAO 589, read)
)

// askWeight asks about the mean weight of fish that were weighed, in g.
func (s *Site) askWeight(e *Entry, id BatchID, was before, total *Milligrams, n Fish) {
	w, ok := mean(total, n)
	if !ok {
		return
	}
	if k, known := kinOf(s.Facts.Batches[id].Species); known && w > k.heavy {
		s.ask(e.ID, "weight", fmt.Sprintf("the fish weigh %s g each, which fish of this species seldom do: are the weight and the count right, and the weight in the right unit?", inWords(w)), NamedValue{"mean_weight_g", w}, NamedValue{"seldom_above_g", k.heavy})
	}
	if was.batch == nil {
		return
	}
	expected, _, ok := s.weightNow(id, was.batch)
	if !ok || *was.batch.FirstOn == s.day {
		return
	}
	if share := w / expected; share < leastOfForecast || share > mostOfForecast {
		slip := ""
		if within(share*1000, leastOfForecast, mostOfForecast) {
			slip = ": is the weight in kg and not in g?"
		} else if within(share/1000, leastOfForecast, mostOfForecast) {
			slip = ": is the weight in g and not in kg?"
		}
		s.ask(e.ID, "weight_forecast", fmt.Sprintf("the fish weigh %s g each, and about %s g was to be expected by their last weighing%s", inWords(w), inWords(expected), cmp.Or(slip, ": are weight and count right?")),
			NamedValue{"mean_weight_g", w}, NamedValue{"forecast_g", expected})
	}
}

func within(v, low, high float64) bool { return v >= low && v <= high }

// inWords prints a number as people say it, with three digits.
func inWords(v float64) string {
	if v == 0 {
		return "0"
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	scale := math.Pow(10, float64(max(digits, 0)))
	return trimFloat(math.Round(v*scale) / scale)
}

func (b Stocking) questions(s *Site, e *Entry, was before) {
	s.askWeight(e, b.Batch, before{}, b.weight(), b.Count)
	s.askPrice(e)
}

func (b Harvest) questions(s *Site, e *Entry, was before) {
	if b.Count != nil {
		s.askWeight(e, b.Batch, was, new(b.Weight.Milligrams()), *b.Count)
	}
}

func (b Received) questions(s *Site, e *Entry, _ before) {
	if b.Count != nil && b.Batch != nil {
		s.askWeight(e, *b.Batch, before{}, ofKg(b.Weight), *b.Count)
	}
}

func (b Move) questions(s *Site, e *Entry, was before) {
	if b.Count != nil {
		s.askWeight(e, b.Batch, was, ofKg(b.Weight), *b.Count)
	}
}

func (b Sample) questions(s *Site, e *Entry, was before) {
	w := b.weight()
	s.askWeight(e, b.Batch, was, &w, b.Count)
	st := s.Batches[b.Batch]
	if all := st.OnHand(); b.Count < fewWeighed && b.Count < all {
		s.ask(e.ID, "sample_small", fmt.Sprintf("%d of %d fish say little of the others: weigh thirty or more, taken at random", b.Count, all), NamedValue{"fish", float64(b.Count)}, NamedValue{"on_hand", float64(all)})
	}
	s.askGrowth(e, st, was)
	s.askConversion(e.ID, st, st.MeasuredFedG, st.MeasuredGainMg)
	k, known := kinOf(s.Facts.Batches[b.Batch].Species)
	if b.MeanLengthCM == nil || !known {
		return
	}
	cm := float64(*b.MeanLengthCM) / 1000
	if cm > k.long {
		s.ask(e.ID, "length", fmt.Sprintf("the fish are %s cm long, which fish of this species seldom are: is the length right, and in cm?", inWords(cm)), NamedValue{"mean_length_cm", cm}, NamedValue{"seldom_above_cm", k.long})
	}
	if factor, ok := b.condition(); ok && (factor < k.condition.QuestionBelow || factor > k.condition.QuestionAbove) {
		s.ask(e.ID, "condition", fmt.Sprintf("fish of %s cm (total length) seldom weigh %s g%s", inWords(cm), inWords(b.meanG()), cmp.Or(b.slips(k), ": are both right?")),
			NamedValue{"condition_factor", factor}, NamedValue{"mean_length_cm", cm}, NamedValue{"mean_weight_g", b.meanG()})
	}
}

func (b Count) questions(s *Site, e *Entry, was before) {
	st := s.Batches[b.Batch]
	if b.Weight != nil {
		s.askWeight(e, b.Batch, was, ofKg(b.Weight), b.Count)
		s.askGrowth(e, st, was)
		s.askConversion(e.ID, st, st.MeasuredFedG, st.MeasuredGainMg)
	}
	if st.Unaccounted != was.batch.Unaccounted {
		s.askMissing(e.ID, st)
	}
}

// askMissing asks where fish are that nobody accounts for.
func (s *Site) askMissing(e EntryID, b *BatchState) {
	in := float64(b.Stocked + b.MovedIn)
	share := float64(b.Unaccounted) / in
	if in == 0 || math.Abs(share) <= mostUnaccounted {
		return
	}
	text := fmt.Sprintf("%d of %d fish are not accounted for: were dead fish not written down, were there thieves or birds, or was the delivery short?", b.Unaccounted, int64(in))
	if share < 0 {
		text = fmt.Sprintf("there are %d fish more than the book says, of %d: was the delivery larger, or did they breed, or is the count wrong?", -b.Unaccounted, int64(in))
	}
	s.ask(e, "unaccounted", text, NamedValue{"unaccounted", float64(b.Unaccounted)}, NamedValue{"came_in", in})
}

// growthDays is how far samples must be apart for their growth to be judged: over fewer
// days it is lost in the error of the samples (common practice, no source).
const growthDays = 7

// askGrowth asks about growth since the weighing before, unless that was the hatchery's.
func (s *Site) askGrowth(e *Entry, b *BatchState, was before) {
	i := len(was.batch.WeighOn) - 1
	if i >= 0 && was.batch.WeighOn[i] == s.day { // another sample of the day
		i--
	}
	n := len(b.WeighOn) - 1
	if i < 0 || n < 0 || was.batch.WeighOn[i] == *b.FirstOn || b.WeighOn[n]-was.batch.WeighOn[i] < growthDays {
		return
	}
	days := int64(b.WeighOn[n] - was.batch.WeighOn[i])
	heat, known := b.WeighHeat[n]-was.batch.WeighHeat[i], b.WeighHeatDays[n]-was.batch.WeighHeatDays[i]
	if 2*known < days { // the water was not read
		return
	}
	w1 := float64(was.batch.WeighMg[i]) / float64(was.batch.WeighFish[i]) / 1000
	w2 := float64(b.WeighMg[n]) / float64(b.WeighFish[n]) / 1000
	tgc, ok := husbandry.TGC(w1, w2, float64(heat)/1000/float64(known)*float64(days))
	if !ok || tgc >= leastTGC && tgc <= mostTGC {
		return
	}
	how := "faster than fish do"
	if tgc < leastTGC {
		how = "slower than fish do that are well"
	}
	s.ask(e.ID, "growth", fmt.Sprintf("by this and the weighing before the fish grew from %s g to %s g in %d days, %s: was one of the samples not like the others?", inWords(w1), inWords(w2), days, how),
		NamedValue{"tgc", tgc}, NamedValue{"from_g", w1}, NamedValue{"to_g", w2}, NamedValue{"days", float64(days)})
}

// askConversion asks about the feed for a kilogram of gain. Before a batch has gained a
// fifth of its weight it says nothing.
func (s *Site) askConversion(e EntryID, b *BatchState, fed Grams, gain Milligrams) {
	came := b.StockedMg + b.MovedInMg
	if b.Unweighed > 0 || b.MovedUnweighed > 0 || !b.Closed() && float64(gain) < fcrGain*float64(came) {
		return
	}
	figures := []NamedValue{{"fed_kg", fed.Kilograms()}, {"gain_kg", gain.Kilograms()}}
	if gain <= 0 {
		s.ask(e, "fcr", fmt.Sprintf("%s kg were fed and the fish together weigh %s kg less than those that came in: is a harvest, a move or a weight missing?", inWords(fed.Kilograms()), inWords(-gain.Kilograms())), figures...)
		return
	}
	fcr := float64(fed.Milligrams()) / float64(gain)
	if fcr < leastFCR || fcr > mostFCR {
		s.ask(e, "fcr", fmt.Sprintf("%s kg of feed for %s kg of gain is %s kg for one, which it seldom is: is feed missing from the book or written twice, or are weights wrong?", inWords(fed.Kilograms()), inWords(gain.Kilograms()), inWords(fcr)),
			append(figures, NamedValue{"fcr", fcr})...)
	}
}

func (b Death) questions(s *Site, e *Entry, was before) {
	st := s.Batches[b.Batch]
	if b.Empties { // nothing is left, and that is told
		return
	}
	median := medianOf(was.batch.DeadDays, was.batch.DeadOn, s.day)
	rate := float64(st.RiskDead) / float64(max(st.AtRisk, 1))
	many := st.RiskDead >= fewDeaths && float64(st.RiskDead) > deathTimes*median
	// In a tank of thirty one fish is more than 0.5 %: that is told by the record itself.
	if (rate <= deathRate || st.RiskDead < 2) && !many {
		return
	}
	s.ask(e.ID, "deaths", fmt.Sprintf("%d of %d fish died on this day (%s %%), where there are usually %s on a day with dead fish: is the count right, and what killed them?", st.RiskDead, st.AtRisk, inWords(100*rate), inWords(median)),
		NamedValue{"dead", float64(st.RiskDead)}, NamedValue{"fish", float64(st.AtRisk)}, NamedValue{"median", median})
}

// medianOf returns the median of deaths on days before one.
func medianOf(counts []int64, last *Date, day Date) float64 {
	if last != nil && *last == day {
		counts = counts[:len(counts)-1]
	}
	if len(counts) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(counts))
	n := len(sorted)
	return float64(sorted[(n-1)/2]+sorted[n/2]) / 2
}

// freshWeight is how many days a weight stands for fish of which no forecast is known
// (common practice, no source).
const freshWeight = 7

func (b Feeding) questions(s *Site, e *Entry, _ before) {
	st := s.Batches[b.Batch]
	species := s.Facts.Batches[b.Batch].Species
	if t, on, ok := s.Units[st.Unit].Reading(Temperature); ok && on >= s.day-1 && t < coldToFeed {
		s.ask(e.ID, "feed_cold", fmt.Sprintf("the water had %s °C, and fish do not feed below 17 °C: were they fed?", t.Format()), NamedValue{"temperature_c", float64(t) / 1000})
	}
	// Asked only where even the heaviest fish they may well be by now would be overfed: of
	// fish that were not weighed for long nobody knows what they should get.
	_, w, ok := s.weightNow(b.Batch, st)
	share := s.fedShare(st, w)
	class, table := husbandry.Ration(species, w)
	if ok && table && share > class.High*overTable {
		s.ask(e.ID, "feed_rate", fmt.Sprintf("%s kg are %s %% of the weight of the fish a day, where the table has at most %s %%: is the weight of the feed right, and the batch?", st.FedDayG.Format(), inWords(share), trimFloat(class.High)),
			NamedValue{"fed_percent", share}, NamedValue{"table_percent", class.High}, NamedValue{"mean_weight_g", w}, NamedValue{"fish", float64(st.OnHand())})
	}
}

// fedShare returns what share of their weight fish of so many grams were fed in a day,
// in percent. Feed is written down daily or, where it is not, for all the days since it
// was before.
func (s *Site) fedShare(b *BatchState, w float64) float64 {
	fish := b.OnHand()
	if fish <= 0 || w <= 0 {
		return 0
	}
	since := *b.FirstOn
	if b.FedBefore != nil {
		since = *b.FedBefore
	}
	return 100 * float64(b.FedDayG) / (w * float64(fish)) / float64(max(s.day-since, 1))
}

// overfed refuses feed that no fish could eat, however well they grew.
func (s *Site) overfed(e *Entry) error {
	b, ok := e.Body.(Feeding)
	if !ok {
		return nil
	}
	st := s.Batches[b.Batch]
	if _, w, ok := s.weightNow(b.Batch, st); ok && s.fedShare(st, w) > mostFed {
		return &Error{Kind: Invalid, Code: "invalid_request", Detail: fmt.Sprintf("%s kg are more than 60 %% of the weight of the fish a day (%d of at most about %s g): look at the weight of the feed, in kg, and at the batch", st.FedDayG.Format(), st.OnHand(), inWords(w)),
			Fields: []FieldError{{"/weight_kg", "is more than the fish could eat"}}}
	}
	return nil
}

// askClosed asks about a batch that is empty now; the entry is the last one of the day
// that is about it.
func (s *Site) askClosed(id BatchID, b *BatchState) {
	e, fresh := s.fresh[id]
	if !fresh || b.ClosedOn == nil || *b.ClosedOn != s.day {
		return
	}
	if b.Harvested > 0 || b.MovedOut > 0 { // else all of them died
		s.askConversion(e, b, b.FedG, b.gain(0))
	}
	s.askMissing(e, b)
}
