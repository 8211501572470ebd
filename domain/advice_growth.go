package domain

import (
	"math"

	"shoalbook/domain/stats"
)

// Fish that were never weighed are due after firstSampleDays; others when their
// forecast asks for it, with graceDays that nobody is reminded who is about to do it
// (common practice, no source).
const (
	firstSampleDays = 14
	graceDays       = 7
)

// sample looks for fish that were not weighed for long.
func (a *adviser) sample(id BatchID) {
	b, facts := a.States[id], a.Batches[id]
	f := a.forecast(id)
	how := a.sampling(b, f, a.prior(facts.Species))
	last, due := *b.FirstOn, *b.FirstOn+firstSampleDays
	if f != nil {
		last, due = f.From, min(*how.NextOn+graceDays, f.From+atLatest)
	}
	if a.Day < due || !how.Fish.Known() || facts.TargetOn != nil && *facts.TargetOn-a.Day <= 7 {
		return
	}
	unit, n := a.unitName(b.Unit), int64(how.Fish.Value)
	why := a.say("%s: the fish were last weighed on %s, %s.", "%s : dernière pesée le %s, %s.", unit, a.date(last), a.ago(a.Day, last))
	if f == nil {
		why = a.say("%s: the fish came on %s and were not weighed since.", "%s : poissons arrivés le %s, jamais pesés depuis.", unit, a.date(last))
	}
	a.give(Advice{Code: "sample_due", Severity: Later, Batch: &id, Unit: &b.Unit, Since: due, Cautions: append([]string{CautionChildren}, spines(facts.Species)...),
		Figures: []NamedNumber{{"days", computed(float64(a.Day-last), "days", "since the last weighing")}, {"weigh_fish", how.Fish}, {"weight_cv_percent", how.CV}},
		Behind:  Behind{Kinds: []string{"sample", "count", "stocking"}},
		Why:     why,
		Do: a.say("Ask the keeper to weigh %d fish this week, in the cool of the morning, before feeding: bucket with water on the scale, add fish, note kg and count. Net from several places, not only the slow ones. No feed on that day.",
			"Demandez de peser %d poissons cette semaine, à la fraîche, avant le repas : seau d'eau sur la balance, ajoutez les poissons, notez kg et nombre. Pêchez à plusieurs endroits, pas seulement les plus lents. Pas d'aliment ce jour-là.", n),
		Until: a.say("a weighing", "une pesée"),
		SMS: a.text("please weigh %d fish this week, early, before feeding. Note kg and count. Net from several places. No feed that day.",
			"pesez %d poissons cette semaine, tôt, avant le repas. Notez kg et nombre. Pêchez à plusieurs endroits. Pas d'aliment ce jour.", []any{n}, unit)})
}

// readyAhead is how long before the first day on which fish may have their weight it
// is spoken of, and behindChance how likely the plan must at least be (both common
// practice, no source).
const (
	readyAhead   = 14
	behindChance = 0.1
)

// growth holds the forecast of a batch against its plan: nearly ready, or behind it.
func (a *adviser) growth(id BatchID) {
	b, facts := a.States[id], a.Batches[id]
	if facts.TargetWeight == nil {
		return
	}
	f := a.forecast(id)
	if f == nil {
		return
	}
	target := float64(*facts.TargetWeight) / 1000
	if f.On(a.Day+readyAhead+1).Weight(stats.Z80) >= target { // or else it is not worth asking for the days
		if from, to := f.Between(target, stats.Z80); from != nil && *from <= a.Day+readyAhead {
			a.ready(id, f, target, max(*from, a.Day), to)
			return
		}
	}
	if on := *facts.TargetOn; len(b.WeighOn) > 1 && (on < a.Day || f.Chance(target, on) < behindChance) {
		a.behind(id, f, target)
	}
}

// ready says from when to when fish are likely to have their weight.
func (a *adviser) ready(id BatchID, f *Forecast, target float64, from Date, to *Date) {
	b, facts := a.States[id], a.Batches[id]
	unit, now := a.unitName(b.Unit), f.On(a.Day)
	kg := math.Floor(f.On(from).BiomassKg)
	x := Advice{Code: "ready", Severity: Later, Batch: &id, Unit: &b.Unit, Since: from, Cautions: append([]string{CautionChildren}, spines(facts.Species)...),
		Figures: []NamedNumber{{"target_weight_g", recorded(target, "g", "plan of the batch")}, {"weight_g", computed(now.WeightG, "g", "forecast of growth, for today")}, {"biomass_kg", computed(f.On(from).BiomassKg, "kg", "forecast, for the first of these days")},
			{"days_to_first", computed(float64(from-a.Day), "days", "9 of 10 batches reach the weight later")}},
		Behind: Behind{Kinds: []string{"stocking", "sample", "count", "death", "water"}},
		Until:  a.pick("the harvest of the last fish, or another plan", "la récolte des derniers poissons, ou un autre plan")}
	switch {
	case to == nil:
		x.Why = a.say("%s: the fish may weigh %s g from %s on; now about %s g.", "%s : les poissons peuvent peser %s g à partir du %s ; environ %s g aujourd'hui.", unit, a.number(target), a.date(from), a.number(now.WeightG))
	case *to <= a.Day:
		x.Since = *to
		x.Why = a.say("%s: the fish have most likely had their %s g since %s; now about %s g.", "%s : les poissons ont très probablement leurs %s g depuis le %s ; environ %s g aujourd'hui.", unit, a.number(target), a.date(*to), a.number(now.WeightG))
	default:
		x.Figures = append(x.Figures, NamedNumber{"days_to_last", computed(float64(*to-a.Day), "days", "9 of 10 batches have reached the weight by then")})
		x.Why = a.say("%s: the fish reach %s g between %s and %s, most likely; now about %s g.", "%s : les poissons atteignent %s g entre le %s et le %s, très probablement ; environ %s g aujourd'hui.",
			unit, a.number(target), a.date(from), a.date(*to), a.number(now.WeightG))
	}
	x.Do = a.say("Weigh thirty fish to be sure, then agree with buyers and the kitchen on about %s, and on the day. No feed for a day before; nets, ice and buckets ready. Order the next fingerlings.",
		"Pesez trente poissons pour en être sûr, puis convenez d'environ %s avec les acheteurs et la cantine, et du jour. Pas d'aliment la veille ; filets, glace et seaux prêts. Commandez les prochains alevins.", a.mass(kg))
	if b.WithdrawUntil != nil && *b.WithdrawUntil >= a.Day || b.WithdrawHeat > b.Heat {
		x.Cautions = append(x.Cautions, CautionMedicine)
		x.Do += a.pick(" Not before the withdrawal of the medicine is over.", " Pas avant la fin du délai d'attente du médicament.")
	}
	x.SMS = a.text("fish soon ready (%s g), about %s. Weigh 30 to be sure. Who buys, which day? No feed for a day before the harvest.",
		"poissons bientôt prêts (%s g), environ %s. Pesez-en 30. Qui achète, quel jour? Pas d'aliment la veille.", []any{a.number(target), a.mass(kg)}, unit)
	a.give(x)
}

// behind says that the fish will hardly have the weight of their plan on its day.
func (a *adviser) behind(id BatchID, f *Forecast, target float64) {
	b, facts := a.States[id], a.Batches[id]
	unit, on := a.unitName(b.Unit), *facts.TargetOn
	then := f.On(max(on, a.Day))
	reached, ok := f.Reach(target)
	when := a.pick("nobody can say when", "personne ne peut dire quand")
	if ok {
		when = a.say("about %s", "vers le %s", a.date(reached))
	}
	x := Advice{Code: "growth_behind", Severity: Later, Batch: &id, Unit: &b.Unit, Since: f.From, Cautions: spines(facts.Species),
		Figures: []NamedNumber{{"target_weight_g", recorded(target, "g", "plan of the batch")}, {"expected_weight_g", computed(then.WeightG, "g", "forecast of growth, for the day of the plan")},
			{"expected_low_g", computed(then.Weight(-stats.Z80), "g", "80 % interval")}, {"expected_high_g", computed(then.Weight(stats.Z80), "g", "80 % interval")}, {"chance", computed(f.Chance(target, on), "of 1", "that the plan is reached on its day")}},
		Behind: Behind{Kinds: []string{"stocking", "sample", "count", "feeding", "water"}},
		Why: a.say("%s: the plan is %s g on %s, and %s to %s g are likely; %s g: %s.", "%s : le plan prévoit %s g le %s, et %s à %s g sont probables ; %s g : %s.",
			unit, a.number(target), a.date(on), a.number(then.Weight(-stats.Z80)), a.number(then.Weight(stats.Z80)), a.number(target), when),
		Do: a.pick("Ask the keeper: are the fish fed every day, on weekends too? Does the size of the pellets fit, and is the feed dry and fresh? How warm is the water at noon? If all that is well, the plan was too bold: set a new day, and tell the buyers.",
			"Demandez : les poissons mangent-ils chaque jour, le week-end aussi ? La taille des granulés convient-elle, l'aliment est-il sec et frais ? Quelle est la température à midi ? Si tout va bien, le plan était trop ambitieux : fixez une nouvelle date et prévenez les acheteurs."),
		Until: a.pick("a weighing that makes the plan likely again, or a new plan", "une pesée qui rend le plan à nouveau probable, ou un nouveau plan"),
		SMS: a.text("fish grow slower than planned. Fed every day, weekends too? Pellet size, fresh feed? Water temperature at noon? Please reply.",
			"croissance plus lente que prévu. Nourris chaque jour, week-end aussi? Granulés, aliment frais? Température à midi?", nil, unit)}
	a.give(x)
}
