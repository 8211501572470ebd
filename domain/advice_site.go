package domain

import "shoalbook/domain/husbandry"

// From when on a site that keeps fish is silent (common practice, no source): over a
// weekend nobody need write, and after a week nobody knows whether the fish are fed.
const (
	quietDays  = 4
	silentDays = 7
)

// records looks for a site from which nothing is heard.
func (a *adviser) records() {
	fish, tanks := Fish(0), map[UnitID]bool{}
	for _, id := range a.growing() {
		fish += a.States[id].OnHand()
		tanks[a.States[id].Unit] = true
	}
	if fish == 0 || a.LastOn == nil || a.Day-*a.LastOn < quietDays {
		return
	}
	last, days := *a.LastOn, a.Day-*a.LastOn
	x := Advice{Code: "no_records", Severity: Soon, Since: last + 1,
		Figures: []NamedNumber{{"days", computed(float64(days), "days", "since the last entry")}, {"fish", computed(float64(fish), "fish", "in the book")}},
		Behind:  Behind{From: &last},
		Why: a.say("Nothing has been recorded since %s, %s ago. There should be %s in %s.", "Rien n'a été noté depuis le %s, il y a %s. Il devrait y avoir %s dans %s.",
			a.date(last), a.days(days), a.fish(fish), a.many(int64(len(tanks)), "tank", "tanks", "bassin", "bassins")),
		Do: a.say("Call the keeper. Ask: are the fish fed every day? Did any die? How does the water look, and is there feed left? Ask for the missing days, from the paper sheet if need be. If nobody answers, go there.",
			"Appelez la personne qui s'occupe des poissons. Demandez : les poissons mangent-ils chaque jour ? Y a-t-il eu des morts ? Comment est l'eau, et reste-t-il de l'aliment ? Faites noter les jours qui manquent, au besoin d'après le cahier. Si personne ne répond, allez-y."),
		Until: a.say("a record of one of the last %d days", "une note de l'un des %d derniers jours", quietDays-1),
		SMS: a.text("no records since %s. Are the fish fed? Any dead? Is the water fine, is there feed? Please send the missing days today.",
			"rien de noté depuis le %s. Les poissons mangent-ils? Des morts? L'eau, l'aliment? Envoyez les jours manquants aujourd'hui.", []any{a.date(last)})}
	if a.silent = days >= silentDays; a.silent {
		x.Severity = Urgent
	}
	a.give(x)
}

// How long before a holiday somebody is to be named who feeds (common practice, no source).
const (
	holidayAhead = 14
	holidayNear  = 7
)

// calendar looks for holidays in which nobody is named who feeds the fish.
func (a *adviser) calendar() {
	if len(a.growing()) == 0 {
		return
	}
	for i := range a.Calendar {
		p := &a.Calendar[i]
		if p.Kind != "holiday" || p.Archived || p.Feeder != nil || p.EndsOn < a.Day || p.StartsOn > a.Day+holidayAhead {
			continue
		}
		x := Advice{Code: "holiday_feeder", Severity: Later, Period: &p.ID, Since: p.StartsOn, Cautions: []string{CautionChildren},
			Figures: []NamedNumber{{"days", computed(float64(p.EndsOn-p.StartsOn+1), "days", "of the holiday, in the calendar of the site")}},
			Why: a.say("The holiday %q runs from %s to %s, and nobody is named who feeds the fish.", "Les vacances « %s » vont du %s au %s, et personne n'est désigné pour nourrir les poissons.",
				p.Name, a.date(p.StartsOn), a.date(p.EndsOn)),
			Do: a.say("Call the head of the school. Ask: who feeds, who has the key to the feed store, who watches the pump, and whom do they call? Write the name into the calendar. Learners do not go to the water alone.",
				"Appelez la direction de l'école. Demandez : qui nourrit, qui a la clé du magasin d'aliment, qui surveille la pompe, et qui appeler en cas de souci ? Inscrivez le nom dans le calendrier. Aucun élève ne va seul près de l'eau."),
			Until: a.say("a name in the calendar, or the end of the holiday on %s", "un nom dans le calendrier, ou la fin des vacances le %s", a.date(p.EndsOn)),
			SMS: a.text("holidays %s to %s: who feeds the fish, watches the pump, has the key? Reply with name and phone. No child alone at the water.",
				"vacances du %s au %s: qui nourrit, surveille la pompe, a la clé? Répondez avec nom et téléphone. Pas d'enfant seul près de l'eau.", []any{a.date(p.StartsOn), a.date(p.EndsOn)})}
		switch {
		case p.StartsOn <= a.Day+1:
			x.Severity = Urgent
		case p.StartsOn <= a.Day+holidayNear:
			x.Severity = Soon
		}
		a.give(x)
	}
}

// emptyDays is how long a tank stands empty before anybody is told (common practice,
// no source): cleaning and waiting for fingerlings takes some weeks.
const emptyDays = 30

// empty looks for a unit that held fish and has stood empty since.
func (a *adviser) empty(id UnitID) {
	u := a.Units[id]
	since, ever := a.EmptySince[id]
	if u.Archived || u.Kind == "bed" || !ever || a.Day-since < emptyDays || len(a.stocks(id)) > 0 {
		return
	}
	x := Advice{Code: "empty_unit", Severity: Note, Unit: &id, Since: since, Cautions: []string{CautionChildren},
		Figures: []NamedNumber{{"days", computed(float64(a.Day-since), "days", "since the last fish left it")}},
		Behind:  Behind{Kinds: []string{"stocking", "harvest", "move"}},
		Why:     a.say("%s has stood empty since %s, %s.", "%s est vide depuis le %s, %s.", u.Name, a.date(since), a.ago(a.Day, since)),
		Do: a.say("Ask the school whether it wants to stock again and when; then order fingerlings for its sites together, and check pump, cover and feed first. If it is given up, archive it. Standing water is covered or drained.",
			"Demandez à l'école si elle veut remettre des poissons, et quand ; commandez alors les alevins avec ceux des autres sites, et vérifiez d'abord pompe, couverture et aliment. Si le bassin est abandonné, archivez-le. L'eau qui reste est couverte ou vidée."),
		Until: a.say("fish in it, or the tank archived", "des poissons dedans, ou le bassin archivé"),
		SMS: a.text("no fish since %s. Will you stock again, and when? Cover it or drain it until then.",
			"sans poisson depuis le %s. Voulez-vous en remettre, et quand? D'ici là, couvrez ou videz.", []any{a.date(since)}, u.Name)}
	a.give(x)
}

// loop looks at the pump and the drains of a loop with fish in it.
func (a *adviser) loop(id LoopID) {
	l := a.Loops[id]
	tanks, beds := a.tanksAndBeds(id)
	fish := false
	for _, u := range tanks {
		fish = fish || len(a.stocks(u.ID)) > 0
	}
	if l.Archived || !fish || l.PumpFlowLH == nil {
		return
	}
	pump := inRegistry(l.PumpFlowLH, "L/h", "the flow of the pump")
	water := sum(tanks, "L", "the water volume", func(u *Unit) *Thousandths { return u.WaterVolumeL })
	if turns, ok := husbandry.Turnover(pump.Value, water.Value); water.Known() && ok && turns < husbandry.LeastTurnover.Value {
		x := Advice{Code: "turnover", Severity: Later, Loop: &id, Since: a.Day, Cautions: []string{CautionElectricity},
			Figures: []NamedNumber{{"pump_flow_l_h", pump}, {"water_volume_l", water}, {"turnover_per_h", computed(turns, "/h", "flow ÷ water of the tanks")}, {"least_turnover_per_h", fact(husbandry.LeastTurnover)}},
			Why: a.say("The pump of %s moves %s L/h for %s L of water: %s times an hour, and once an hour is the least.", "La pompe de %s fait passer %s L/h pour %s L d'eau : %s fois par heure, et une fois par heure est le minimum.",
				l.Name, a.number(pump.Value), a.number(water.Value), a.number(turns)),
			Do: a.say("Ask the keeper to measure the flow with a bucket and a watch, clean the inlet and the filter, and measure again. If it stays low, a bigger pump or fewer fish; write the measured flow into the registry.",
				"Demandez de mesurer le débit avec un seau et une montre, de nettoyer l'entrée d'eau et le filtre, puis de mesurer à nouveau. S'il reste faible : une pompe plus forte ou moins de poissons ; inscrivez le débit mesuré au registre."),
			Until: a.say("a flow of at least %s L/h in the registry", "un débit d'au moins %s L/h au registre", a.number(water.Value)),
			SMS: a.text("the pump is weak. Unplug it, clean inlet and filter, then time how long it takes to fill a bucket, and send litres and seconds.",
				"la pompe est faible. Débranchez, nettoyez l'entrée et le filtre, puis chronométrez un seau; envoyez litres et secondes.", nil, l.Name)}
		if turns == 0 {
			x.Severity = Soon
			x.Why = a.say("By the registry the pump of %s moves no water at all.", "D'après le registre, la pompe de %s ne fait passer aucune eau.", l.Name)
		}
		a.give(x)
	}
	if len(beds) > 0 && l.DrainFlowLH != nil && !husbandry.Drains(float64(*l.DrainFlowLH), float64(*l.PumpFlowLH)) {
		drain := inRegistry(l.DrainFlowLH, "L/h", "the flow of the drain")
		a.give(Advice{Code: "drain", Severity: Soon, Loop: &id, Since: a.Day, Cautions: []string{CautionElectricity, CautionLeaves},
			Figures: []NamedNumber{{"pump_flow_l_h", pump}, {"drain_flow_l_h", drain}},
			Why: a.say("In %s the drain empties %s L/h and the pump brings %s L/h: the siphon never breaks, and the bed stays flooded or runs over.", "Dans %s, l'évacuation vide %s L/h et la pompe en apporte %s : le siphon ne se désamorce jamais, et le bac reste noyé ou déborde.",
				l.Name, a.number(drain.Value), a.number(pump.Value)),
			Do: a.say("Ask the keeper to look for roots and dirt in the siphon and to clean it, or to close the pump's tap until the bed drains; measure both flows with a bucket and a watch. If it does not help, a wider drain.",
				"Demandez de chercher des racines et de la saleté dans le siphon et de le nettoyer, ou de fermer un peu le robinet de la pompe jusqu'à ce que le bac se vide ; mesurez les deux débits avec un seau et une montre. Sinon, une évacuation plus large."),
			Until: a.say("a drain faster than the pump in the registry", "une évacuation plus rapide que la pompe, au registre"),
			SMS: a.text("the drain is slower than the pump. Unplug, clean the siphon of roots, or close the tap a little until the bed empties.",
				"l'évacuation est plus lente que la pompe. Débranchez, nettoyez le siphon, ou fermez un peu le robinet.", nil, l.Name)})
	}
}

// crowdedAhead is how many days ahead a tank is seen to get too full (common practice,
// no source): time to find a buyer or another tank.
const crowdedAhead = 28

// density looks for more fish in a unit than it shall hold, now or soon.
func (a *adviser) density(id UnitID) {
	u := a.Units[id]
	stocks := a.stocks(id)
	if u.WaterVolumeL == nil || len(stocks) == 0 {
		return
	}
	limit := fact(husbandry.SharedWaterDensity)
	switch {
	case u.DensityLimitKgM3 != nil:
		limit = inRegistry(u.DensityLimitKgM3, "kg/m³", "the density limit of "+u.Name)
	case u.Loop == nil:
		return
	}
	kg := biomass(stocks)
	litres := float64(*u.WaterVolumeL) / 1000
	now, ok := husbandry.Density(kg.Value, litres)
	most, _ := husbandry.CarriedByDensity(litres, limit.Value)
	if !kg.Known() || !ok {
		return
	}
	x := Advice{Code: "density", Severity: Soon, Unit: &id, Since: a.Day, Cautions: append([]string{CautionElectricity}, spinesOf(stocks)...),
		Figures: []NamedNumber{{"biomass_kg", kg}, {"water_volume_l", inRegistry(u.WaterVolumeL, "L", "the water volume")}, {"density_kg_m3", computed(now, "kg/m³", "fish ÷ water")}, {"density_limit_kg_m3", limit}},
		Behind:  Behind{Kinds: []string{"stocking", "sample", "count", "death", "move", "harvest"}},
		Until:   a.say("at most %s of fish in it", "%s de poisson au plus", a.mass(most))}
	if now <= limit.Value {
		a.crowded(x, stocks, most)
		return
	}
	x.Why = a.say("%s holds %s of fish in %s L: %s kg/m³, and its limit is %s.", "%s contient %s de poisson dans %s L : %s kg/m³, et sa limite est de %s.",
		u.Name, a.mass(kg.Value), a.number(litres), a.number(now), a.number(limit.Value))
	x.Do = a.say("Ask the keeper how the fish breathe at dawn and how the water is. Harvest or move %s, the biggest first; until then no more feed than before and air day and night. If the power fails, they have little time.",
		"Demandez comment les poissons respirent à l'aube et comment est l'eau. Récoltez ou déplacez %s, les plus gros d'abord ; d'ici là, pas plus d'aliment qu'avant, et de l'air jour et nuit. En cas de coupure de courant, ils ont peu de temps.", a.mass(kg.Value-most))
	x.SMS = a.text("too full: %s kg/m3, limit %s. Harvest or move %s. Air day and night, no more feed than before.",
		"trop plein: %s kg/m3, limite %s. Récoltez ou déplacez %s. De l'air jour et nuit, pas plus d'aliment.", []any{a.number(now), a.number(limit.Value), a.mass(kg.Value - most)}, u.Name)
	a.give(x)
}

// crowded looks for the day on which a unit gets too full.
func (a *adviser) crowded(x Advice, stocks []Stock, most float64) {
	then := func(d Date) (kg float64) {
		for _, s := range stocks {
			if f := a.forecast(s.ID); f != nil {
				kg += f.On(d).BiomassKg
			}
		}
		return kg
	}
	day := a.Day + crowdedAhead
	if then(day) <= most {
		return
	}
	for day > a.Day+1 && then(day-1) > most {
		day--
	}
	name := a.Units[*x.Unit].Name
	x.Severity, x.Measure = Later, "coming"
	x.Figures = append(x.Figures, NamedNumber{"days_to_limit", computed(float64(day-a.Day), "days", "forecast of growth")})
	x.Why = a.say("%s will hold more than its %s about %s, as the fish grow.", "%s contiendra plus que ses %s vers le %s, avec la croissance des poissons.", name, a.mass(most), a.date(day))
	x.Do = a.say("Plan a first harvest or a second tank before %s: ask the keeper what is free, and the kitchen and buyers what they can take.",
		"Prévoyez une première récolte ou un deuxième bassin avant le %s : demandez ce qui est libre, et à la cantine et aux acheteurs ce qu'ils peuvent prendre.", a.date(day))
	x.SMS = a.text("gets too full about %s. Is another tank free, or can we harvest the biggest before? Please reply this week.",
		"sera trop plein vers le %s. Un autre bassin est-il libre, ou récolter les plus gros avant? Répondez cette semaine.", []any{a.date(day)}, name)
	a.give(x)
}

// spinesOf is the caution for fish with spines, if there are any.
func spinesOf(stocks []Stock) []string {
	var species []string
	for _, s := range stocks {
		species = append(species, s.Species)
	}
	return spines(species...)
}
