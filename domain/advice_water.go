package domain

import "shoalbook/domain/husbandry"

// readingDays is for how many days a bad reading of the water is spoken of, if
// nobody reads it again, and changeDays for how many a change that was too fast: it
// has harmed by then, or it has not (common practice, no source).
const (
	readingDays = 14
	changeDays  = 3
)

// remedy is what to do about one parameter at one end of its limits.
type remedy struct {
	ask, demander   string // of the coordinator, who calls
	now, maintenant string // in the short message
	wires           bool   // air pumps or heaters are in play
}

// remedies by parameter, below and above. Where the other end has no name, the
// reading of another parameter tells more, or it is the co-operative's own limit.
var remedies = map[husbandry.Parameter][2]remedy{
	husbandry.Oxygen: {{
		"Call at once. Ask: do the fish gasp at the surface? No feed until it is back; all the air there is, let water fall in from a height, change a quarter of the water. Read again after an hour, and tomorrow before sunrise.",
		"Appelez tout de suite. Demandez : les poissons viennent-ils happer l'air en surface ? Pas d'aliment avant que ce soit rétabli ; tout l'air possible, faites tomber l'eau de haut, changez un quart de l'eau. Mesurez à nouveau au bout d'une heure, et demain avant le lever du soleil.",
		"No feed. All the air there is, change 1/4 of the water. Read again in 1 hour.", "Pas d'aliment. Tout l'air possible, changez 1/4 de l'eau. Mesurez dans 1 h.", true}, {}},
	husbandry.NH3: {{}, {
		"Call. Ask: how do the fish breathe, and what was fed? No feed today; change a third of the water with water as warm as the tank's. No lime and no ash: a higher pH makes it worse. Read ammonia, pH and temperature again tomorrow.",
		"Appelez. Demandez : comment les poissons respirent-ils, et combien d'aliment a été donné ? Pas d'aliment aujourd'hui ; changez un tiers de l'eau, par de l'eau aussi chaude que celle du bassin. Ni chaux ni cendre : un pH plus haut aggrave tout. Mesurez à nouveau ammoniac, pH et température demain.",
		"No feed today, change 1/3 of the water, no lime. Read again tomorrow.", "Pas d'aliment, changez 1/3 de l'eau, pas de chaux. Mesurez demain.", true}},
	husbandry.TAN: {{}, {
		"Ask for pH and temperature, which say how much of it is poisonous. Feed half until it is down, take out what is left of the feed, change a third of the water with water as warm. Read again tomorrow.",
		"Demandez le pH et la température : ils disent quelle part est toxique. Moitié de l'aliment jusqu'à ce que cela baisse, retirez les restes, changez un tiers de l'eau par de l'eau aussi chaude. Mesurez à nouveau demain.",
		"Feed half, change 1/3 of the water. Read ammonia, pH and temperature tomorrow.", "Moitié d'aliment, changez 1/3 de l'eau. Mesurez ammoniac, pH et température demain.", true}},
	husbandry.NO2: {{}, {
		"Ask whether the filter or bed was washed, dried out or is new: the bacteria that break it down are missing. Feed half, change a third of the water today and tomorrow, keep the pump running. Read again tomorrow.",
		"Demandez si le filtre ou le bac a été lavé, a séché ou est neuf : les bactéries qui éliminent les nitrites manquent. Moitié de l'aliment, changez un tiers de l'eau aujourd'hui et demain, ne coupez pas la pompe. Mesurez à nouveau demain.",
		"Feed half, change 1/3 of the water today and tomorrow. Read again tomorrow.", "Moitié d'aliment, changez 1/3 de l'eau aujourd'hui et demain. Mesurez demain.", true}},
	husbandry.NO3: {{}, {
		"Ask when water was last changed and what grows in the beds. Change a third of the water this week, and plant what is empty. Read again in a week.",
		"Demandez quand l'eau a été changée et ce qui pousse dans les bacs. Changez un tiers de l'eau cette semaine, et replantez ce qui est vide. Mesurez à nouveau dans une semaine.",
		"Change 1/3 of the water this week, plant the empty beds. Read again in a week.", "Changez 1/3 de l'eau cette semaine, replantez. Mesurez dans une semaine.", true}},
	husbandry.PH: {{
		"Ask what was put into the water. A little lime or crushed shell at a time, so that it rises by no more than 0.3 a day; too fast is worse than too low. Read every day until it is back.",
		"Demandez ce qui a été mis dans l'eau. Un peu de chaux ou de coquilles broyées à la fois, pour ne pas monter de plus de 0,3 par jour : trop vite est pire que trop bas. Mesurez chaque jour jusqu'au retour à la normale.",
		"A little lime or crushed shell, no more than 0.3 up a day. Read every day.", "Un peu de chaux ou de coquilles, 0,3 de plus par jour au plus. Mesurez chaque jour.", false,
	}, {
		"Ask for ammonia too: at a high pH it is poisonous. No lime, no ash; is the water green or the tank of fresh cement? Shade it, and change a quarter of the water. Read again in the morning and in the afternoon.",
		"Demandez aussi l'ammoniac : à pH élevé il est toxique. Ni chaux ni cendre ; l'eau est-elle verte, le ciment est-il neuf ? Mettez de l'ombre et changez un quart de l'eau. Mesurez à nouveau le matin et l'après-midi.",
		"No lime. Shade the tank, change 1/4 of the water. Read ammonia and pH again.", "Pas de chaux. De l'ombre, changez 1/4 de l'eau. Mesurez ammoniac et pH.", false}},
	husbandry.Temperature: {{
		"Ask whether the fish still come for feed. Below 17 °C none, and little until it is 22 °C; cover the tank at night, and do not handle the fish. Read again every morning.",
		"Demandez si les poissons viennent encore manger. Pas d'aliment en dessous de 17 °C, et peu jusqu'à 22 °C ; couvrez le bassin la nuit, et ne manipulez pas les poissons. Mesurez chaque matin.",
		"No feed below 17 C. Cover the tank at night, leave the fish alone. Read each morning.", "Pas d'aliment sous 17 C. Couvrez la nuit, laissez les poissons. Mesurez chaque matin.", false,
	}, {
		"Ask how the fish breathe: warm water holds less air. Shade the tank, all the air there is, half the feed, early in the morning. Read again this afternoon.",
		"Demandez comment les poissons respirent : l'eau chaude contient moins d'air. De l'ombre, tout l'air possible, moitié de l'aliment, tôt le matin. Mesurez à nouveau cet après-midi.",
		"Shade the tank, all the air there is, half the feed, early. Read again this afternoon.", "De l'ombre, tout l'air possible, moitié d'aliment, tôt. Mesurez cet après-midi.", true}},
}

// milder is what to do where nothing is in danger yet.
var milder = map[husbandry.Parameter]remedy{
	husbandry.Oxygen: {
		"Ask for a reading before sunrise, when there is the least. Feed in the morning and at noon, not in the evening; more air at night, and clean the air stones. Read every morning this week.",
		"Demandez une mesure avant le lever du soleil, au plus bas. Nourrissez le matin et à midi, pas le soir ; plus d'air la nuit, et nettoyez les diffuseurs. Mesurez chaque matin cette semaine.",
		"Feed mornings only, more air at night. Read it before sunrise tomorrow.", "Nourrissez le matin seulement, plus d'air la nuit. Mesurez demain avant le soleil.", true},
	husbandry.NH3: {
		"Ask how much was fed and whether some is left over. Feed half for two days, change a quarter of the water with water as warm as the tank's. No lime and no ash. Read ammonia, pH and temperature again the day after tomorrow.",
		"Demandez combien d'aliment a été donné et s'il en reste. Moitié de l'aliment pendant deux jours, changez un quart de l'eau par de l'eau aussi chaude que celle du bassin. Ni chaux ni cendre. Mesurez à nouveau ammoniac, pH et température après-demain.",
		"Feed half for 2 days, change 1/4 of the water, no lime. Then read again.", "Moitié d'aliment 2 jours, changez 1/4 de l'eau, pas de chaux. Puis mesurez.", true},
}

// others is what to do about a limit that only the co-operative itself has set.
var others = remedy{
	"Ask what was put into the water, and have it read again. Change water a quarter at a time, with water as warm as the tank's.",
	"Demandez ce qui a été mis dans l'eau, et faites mesurer à nouveau. Changez l'eau par quarts, avec de l'eau aussi chaude que celle du bassin.",
	"Read it again. What was put into the water? Change 1/4 of it.", "Mesurez à nouveau. Qu'a-t-on mis dans l'eau? Changez-en 1/4.", false}

// tooFast is what to do when the water changed faster than fish bear.
var tooFast = remedy{
	"Ask what happened: fresh water, rain, lime, a heater? Let it go back slowly, no other change today, and no handling. Read again this evening and tomorrow morning.",
	"Demandez ce qui s'est passé : eau neuve, pluie, chaux, chauffage ? Laissez revenir doucement, aucun autre changement aujourd'hui, et ne manipulez pas les poissons. Mesurez à nouveau ce soir et demain matin.",
	"No other change today, leave the fish alone. Read again tonight.", "Ne changez plus rien aujourd'hui, laissez les poissons tranquilles. Mesurez ce soir.", false}

// words of what is read, in English and French.
var parameterNames = map[husbandry.Parameter][2]string{
	husbandry.Temperature: {"temperature", "température"}, husbandry.Oxygen: {"oxygen", "oxygène"}, husbandry.PH: {"pH", "pH"},
	husbandry.TAN: {"total ammonia", "ammoniac total"}, husbandry.NH3: {"poisonous ammonia (NH3)", "ammoniac toxique (NH3)"},
	husbandry.NO2: {"nitrite", "nitrites"}, husbandry.NO3: {"nitrate", "nitrates"},
	husbandry.Alkalinity: {"alkalinity", "alcalinité"}, husbandry.Salinity: {"salt", "sel"}}

// water judges the readings of a unit for the fish in it.
func (a *adviser) water(id UnitID) {
	stocks := a.stocks(id)
	for p := range WaterParameters {
		parameter := WaterParameter(p)
		value, on, ok := a.Water[id].Reading(parameter)
		if !ok || len(stocks) == 0 || a.Day-on > readingDays || parameter == TAN && a.ammoniaKnown(id, on) {
			continue
		}
		a.reading(id, stocks, parameter, float64(value)/1000, on)
	}
}

// ammoniaKnown reports whether the poisonous part of the ammonia of a day is known,
// which then says more than the total.
func (a *adviser) ammoniaKnown(id UnitID, on Date) bool {
	_, computed, ok := a.Water[id].Reading(NH3)
	return ok && computed >= on
}

// reading judges a reading for the species in the unit that bears the least.
func (a *adviser) reading(id UnitID, stocks []Stock, p WaterParameter, v float64, on Date) {
	name := WaterParameters[p]
	worst, limit := husbandry.Fine, husbandry.Limit{}
	for _, s := range stocks {
		l, ok := a.limit(s.Species, name)
		if !ok {
			continue
		}
		if level, _ := l.Judge(v); level == husbandry.Alarm && worst != husbandry.Alarm || level == husbandry.Warn && worst == husbandry.Fine {
			worst, limit = level, l
		}
	}
	x := Advice{Code: "water", Severity: Soon, Unit: &id, Measure: string(name), Since: on,
		Figures: []NamedNumber{{"reading", measured(v, name.Unit(), "read on "+on.String())}},
		Behind:  Behind{Kinds: []string{"water"}, From: &on}, Cautions: []string{CautionChildren}}
	word, do, saw := a.pick(parameterNames[name][0], parameterNames[name][1]), tooFast, ""
	if worst != husbandry.Fine {
		do, saw = a.outside(&x, worst, limit, word, v)
	} else if saw = a.changed(&x, id, p, word, v); saw == "" {
		return
	}
	if do.wires {
		x.Cautions = append(x.Cautions, CautionElectricity)
	}
	unit := a.Units[id].Name
	x.Why = a.say("%s: %s, read %s.", "%s : %s, mesuré %s.", unit, saw, a.ago(a.Day, on))
	if a.Day-on >= 2 {
		x.Why += a.pick(" Nobody has read it since.", " Personne n'a mesuré depuis.")
	}
	x.Do = a.pick(do.ask, do.demander)
	x.SMS = a.text("%s %s. %s", "%s %s. %s", []any{word, a.number(v), a.pick(do.now, do.maintenant)}, unit)
	a.give(x)
}

// outside says of a reading that passed a limit what is to be done and what is wrong.
func (a *adviser) outside(x *Advice, level husbandry.Level, limit husbandry.Limit, word string, v float64) (remedy, string) {
	_, passed := limit.Judge(v)
	high := v > passed.Value
	name, unit := limit.Parameter, a.unitOf(limit.Parameter)
	x.Figures = append(x.Figures, NamedNumber{"limit", fact(husbandry.Fact{Value: passed.Value, Unit: name.Unit(), Source: passed.Source, Provenance: passed.Provenance})})
	do, ok := milder[name]
	if level == husbandry.Alarm {
		x.Severity, ok = Urgent, false
	}
	if end := remedies[name]; !ok && high {
		do = end[1]
	} else if !ok {
		do = end[0]
	}
	if do.ask == "" {
		do = others
	}
	if high {
		if limit.HighWarn != nil {
			passed = limit.HighWarn // so far it has to come down
		}
		x.Until = a.say("a reading of at most %s%s", "une mesure d'au plus %s%s", a.number(passed.Value), unit)
		return do, a.say("%s %s%s, above the limit of %s", "%s %s%s, au-dessus de la limite de %s", word, a.number(v), unit, a.number(x.Figures[1].Value))
	}
	if limit.LowWarn != nil {
		passed = limit.LowWarn
	}
	x.Until = a.say("a reading of at least %s%s", "une mesure d'au moins %s%s", a.number(passed.Value), unit)
	return do, a.say("%s %s%s, below the limit of %s", "%s %s%s, sous la limite de %s", word, a.number(v), unit, a.number(x.Figures[1].Value))
}

// changed says of a reading how fast it changed, if that is faster than fish bear.
func (a *adviser) changed(x *Advice, id UnitID, p WaterParameter, word string, v float64) string {
	u := a.Water[id]
	before, was, name := float64(u.WasValue[p])/1000, u.WasOn[p], WaterParameters[p]
	most, fast := husbandry.ChangedTooFast(name, before, v, int64(x.Since-was))
	if was == 0 || !fast || a.Day-x.Since >= changeDays {
		return ""
	}
	x.Figures = append(x.Figures, NamedNumber{"reading_before", measured(before, name.Unit(), "read on "+was.String())}, NamedNumber{"most_change_a_day", fact(most)})
	x.Until = a.say("a reading of another day, or %d days", "une mesure d'un autre jour, ou %d jours", changeDays)
	return a.say("%s went from %s to %s%s within a day", "%s de %s à %s%s en un jour", word, a.number(before), a.number(v), a.unitOf(name))
}

// unitOf writes the unit of a parameter behind its number.
func (a *adviser) unitOf(p husbandry.Parameter) string {
	switch p {
	case husbandry.PH:
		return ""
	case husbandry.Temperature:
		return " °C"
	case husbandry.TAN, husbandry.NH3:
		return a.say(" mg/L as N", " mg/L (en N)")
	case husbandry.Alkalinity:
		return a.say(" mg/L as CaCO3", " mg/L (en CaCO3)")
	}
	return " " + p.Unit()
}
