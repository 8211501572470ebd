package domain

import (
	"fmt"
	"math"
	"slices"

	"shoalbook/domain/husbandry"
)

// Question is something about an entry that a person should look at: it is possible,
// and seldom so. It refuses nothing.
type Question struct {
	Entry   EntryID
	Code    string
	Text    string
	Figures []NamedValue // the numbers it is asked by
}

// NamedValue is a number with its name, which ends with its unit.
type NamedValue struct {
	Name  string
	Value float64
}

// Text prints the number with six decimals at most.
func (v NamedValue) Text() string { return trimFloat(v.Value) }

// A kind that has questions asks them after it was posted, while it is being recorded;
// before holds the states of what it is about as they were until then.
type asker interface {
	questions(s *Site, e *Entry, was before)
}

// A kind that has bounds which depend on the species is refused for them while it is
// being recorded.
type bounded interface {
	impossible(c *checker, species string)
}

// before is what an entry is about, as it was before.
type before struct {
	batch *BatchState // nil: there was none
	unit  *UnitState
}

// ask notes a question about an entry, once.
func (s *Site) ask(e EntryID, code, text string, figures ...NamedValue) {
	if slices.ContainsFunc(s.Questions, func(q Question) bool { return q.Entry == e && q.Code == code }) {
		return
	}
	s.Questions = append(s.Questions, Question{e, code, text, figures})
}

// bound refuses what is impossible of the species that a new entry is about.
func (s *Site) bound(e *Entry) error {
	b, ok := e.Body.(bounded)
	id := e.Body.Refs().Batch
	if !ok || id == nil {
		return nil
	}
	c := &checker{}
	b.impossible(c, s.Facts.Batches[*id].Species)
	return c.err()
}

// witness keeps how things stand before a new entry is posted.
func (s *Site) witness(e *Entry) (was before) {
	refs := e.Body.Refs()
	if refs.Batch != nil {
		if b := s.Batches[*refs.Batch]; b != nil {
			was.batch = new(*b)
		}
	}
	if refs.Unit != nil {
		if u := s.Units[*refs.Unit]; u != nil {
			was.unit = new(*u)
		}
	}
	return was
}

// record posts an entry that is being recorded now: it is held against what is
// possible, and questions are asked about it.
func (s *Site) record(e *Entry) error {
	if err := s.bound(e); err != nil {
		return err
	}
	was := s.witness(e)
	if err := e.Body.post(s, e); err != nil {
		return err
	}
	for _, full := range []func(*Entry) error{s.crowded, s.overfed} {
		if err := full(e); err != nil {
			return err
		}
	}
	if b, ok := e.Body.(asker); ok {
		b.questions(s, e, was)
	}
	refs := e.Body.Refs()
	for _, id := range []*BatchID{refs.Batch, refs.ToBatch} {
		if id != nil {
			s.fresh[*id] = e.ID
		}
	}
	return nil
}

// kin are species that are judged alike where texts name no species.
type kin struct {
	heaviest, heavy float64 // g; above the one it is refused, above the other asked
	longest, long   float64 // cm
	condition       husbandry.Band
	standard        float64 // standard length, as a share of the total length
	oxygen          float64 // mg/L, below which it is asked
}

// Bounds of weight and length are common practice without a source. Standard length is
// about 0.88 of the total length of catfish and 0.80 of that of tilapia (common
// practice, no source).
var (
	catfishes = kin{heaviest: 60_000, heavy: 3000, longest: 180, long: 80, condition: husbandry.ConditionBand(husbandry.Catfish), standard: 0.88, oxygen: 2}
	tilapias  = kin{heaviest: 5000, heavy: 1200, longest: 65, long: 45, condition: husbandry.ConditionBand(husbandry.Tilapia), standard: 0.80, oxygen: 4}
)

// kinOf returns what fish of a species are judged by, if they are catfish or tilapia.
func kinOf(species string) (kin, bool) {
	switch species {
	case "CLZ", "HEL", "HEB", "XHC":
		return catfishes, true
	case "TLN", "TLM", "OEA", "STA", "ORM":
		return tilapias, true
	}
	return kin{}, false
}

// anyFish has the condition factors that no fish is outside of.
var anyFish = husbandry.ConditionBand("")

// mean returns the mean weight in g of some fish.
func mean(total *Milligrams, n Fish) (float64, bool) {
	if total == nil || n <= 0 {
		return 0, false
	}
	return float64(*total) / float64(n) / 1000, true
}

func ofKg(g *Grams) *Milligrams {
	if g == nil {
		return nil
	}
	return new(g.Milligrams())
}

// tooHeavy refuses a mean weight that no fish of the species has.
func (c *checker) tooHeavy(species, pointer string, total *Milligrams, n Fish) {
	k, known := kinOf(species)
	if w, ok := mean(total, n); known && ok && w > k.heaviest {
		c.add(pointer, fmt.Sprintf("is %s g a fish, and no fish of this species weighs more than %s g: look at the unit (g or kg) and the count", trimFloat(w), trimFloat(k.heaviest)))
	}
}

func (b Stocking) impossible(c *checker, species string) {
	c.tooHeavy(species, "/mean_weight_g", b.weight(), b.Count)
}

func (b Death) impossible(c *checker, species string) {
	c.tooHeavy(species, "/weight_kg", ofKg(b.Weight), b.Count)
}

func (b Count) impossible(c *checker, species string) {
	c.tooHeavy(species, "/weight_kg", ofKg(b.Weight), b.Count)
}

func (b Move) impossible(c *checker, species string) {
	if b.Count != nil {
		c.tooHeavy(species, "/weight_kg", ofKg(b.Weight), *b.Count)
	}
}

func (b Harvest) impossible(c *checker, species string) {
	if b.Count != nil {
		c.tooHeavy(species, "/weight_kg", new(b.Weight.Milligrams()), *b.Count)
	}
}

func (b Received) impossible(c *checker, species string) {
	if b.Count != nil {
		c.tooHeavy(species, "/weight_kg", ofKg(b.Weight), *b.Count)
	}
}

func (b Sample) impossible(c *checker, species string) {
	w := b.weight()
	c.tooHeavy(species, "/weight_kg", &w, b.Count)
	if b.MeanLengthCM == nil {
		return
	}
	k, known := kinOf(species)
	cm := float64(*b.MeanLengthCM) / 1000
	if known && cm > k.longest {
		c.add("/mean_length_cm", fmt.Sprintf("no fish of this species is longer than %s cm", trimFloat(k.longest)))
		return
	}
	if factor, ok := b.condition(); ok && (factor < anyFish.RejectBelow || factor > anyFish.RejectAbove) {
		c.add("/mean_length_cm", fmt.Sprintf("no fish of %s cm weighs %s g%s", trimFloat(cm), trimFloat(b.meanG()), b.slips(k)))
	}
}

func (b Sample) meanG() float64 { return float64(b.weight()) / float64(b.Count) / 1000 }

// condition returns the condition factor by total length.
func (b Sample) condition() (float64, bool) {
	if b.MeanLengthCM == nil || *b.LengthType != "total" {
		return 0, false
	}
	return husbandry.Condition(b.meanG(), float64(*b.MeanLengthCM)/1000)
}

// slips names the slips of the pen that would make an odd weight and length fit: inches
// for cm, standard for total length, g for kg.
func (b Sample) slips(k kin) (text string) {
	factor, _ := b.condition()
	fits := func(change float64) bool {
		return factor*change >= k.condition.QuestionBelow && factor*change <= k.condition.QuestionAbove
	}
	if fits(1 / (2.54 * 2.54 * 2.54)) {
		text += ": is the length in inches?"
	}
	if fits(k.standard * k.standard * k.standard) {
		text += ": is it the standard length (to the root of the tail) and not the total length?"
	}
	if fits(1000) {
		text += ": is the weight in kg and not in g?"
	}
	if fits(1. / 1000) {
		text += ": is the weight in g and not in kg?"
	}
	return text
}

// mostDensity is the weight of fish in kg that no cubic metre of water holds (common
// practice, no source).
const mostDensity = 500

// crowded refuses what would put more fish into a unit than there is room for, and asks
// where there are more than its limit.
func (s *Site) crowded(e *Entry) error {
	refs := e.Body.Refs()
	id := refs.Batch
	switch e.Body.(type) {
	case Stocking, Sample, Count, Received:
	case Move:
		if refs.ToBatch != nil {
			id = refs.ToBatch
		}
	default:
		return nil
	}
	if id == nil || s.Batches[*id] == nil {
		return nil
	}
	facts := s.Facts.Units[s.Batches[*id].Unit]
	if facts.WaterVolumeL == nil {
		return nil
	}
	var mg Milligrams
	for _, b := range s.Batches {
		if b.Unit == s.Batches[*id].Unit && !b.Closed() {
			w, _ := b.weightOf(max(b.OnHand(), 0))
			mg += w
		}
	}
	density := mg.Kilograms() / (float64(*facts.WaterVolumeL) / 1e6)
	said := fmt.Sprintf("by the book there are %s kg of fish in a cubic metre of this water", trimFloat(math.Round(density*10)/10))
	if density > mostDensity {
		return &Error{Kind: Invalid, Code: "invalid_request", Detail: said + ", and there is no room for more than 500: look at the weights, the count and the water volume of the tank",
			Fields: []FieldError{{"/batch_id", "would not have room"}}}
	}
	if l := facts.DensityLimitKgM3; l != nil && density > float64(*l)/1000 {
		s.ask(e.ID, "density", fmt.Sprintf("%s, which is above its limit of %s: is that right, and what is to be done?", said, l.Format()),
			NamedValue{"density_kg_m3", density}, NamedValue{"limit_kg_m3", float64(*l) / 1000})
	}
	return nil
}

// weightNow returns the mean weight of the fish of a batch in g, as it is forecast for
// today from its weighings and published growth, and the most that it may well be.
// Without a forecast a weight stands for some days; after that nobody knows it.
func (s *Site) weightNow(id BatchID, b *BatchState) (w, most float64, ok bool) {
	if f, _ := NewForecast(b, s.day, PublishedPrior(s.Facts.Batches[id].Species)); f != nil {
		o := f.On(s.day)
		return o.WeightG, o.Weight(upperEnd), true
	}
	if b.WeighedOn == nil || s.day-*b.WeighedOn > freshWeight {
		return 0, 0, false
	}
	w, ok = mean(&b.MeanMg, b.MeanFish)
	return w, w, ok
}

// upperEnd is the upper end of a 95 % interval, in standard deviations.
const upperEnd = 1.96
