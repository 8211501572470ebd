package domain

import (
	"math"

	"shoalbook/domain/husbandry"
)

// claimShare is the share of delivered fish dead within a week above which the
// hatchery is to answer for it (common practice, no source; 5 % is compensated in the
// ornamental trade). claimDays is how long after the delivery it is spoken of.
const (
	claimShare = 0.05
	claimDays  = 14
)

// deaths looks for a batch whose fish die faster than they did before, or died of the
// way here.
func (a *adviser) deaths(id BatchID) {
	b, facts := a.States[id], a.Batches[id]
	m, ok := b.Mortality()
	if !ok {
		return
	}
	unit := a.unitName(b.Unit)
	if m.Alarmed {
		usual := m.DailyRate * float64(b.OnHand()+m.Dead)
		a.give(Advice{Code: "deaths", Severity: Urgent, Batch: &id, Unit: &b.Unit, Since: m.Since, Cautions: append([]string{CautionMedicine, CautionChildren}, spines(facts.Species)...),
			Figures: []NamedNumber{{"dead", computed(float64(m.Dead), "fish", "since the alarm began")}, {"fish", computed(float64(b.OnHand()), "fish", "in the book")},
				{"usual_a_day", computed(usual, "fish/day", "this batch's own level, transport and handling apart")},
				{"tank_days_per_false_alarm", computed(FalseAlarmDays, "tank-days", "at least so many to one false alarm, by simulation")}},
			Behind: Behind{Kinds: []string{"death", "count", "incident", "water"}, From: &m.Since},
			Why: a.say("%s: %s dead since %s, %d left. Usual in this batch: %s.", "%s : %s depuis le %s, il en reste %d. D'habitude dans ce lot : %s.",
				unit, a.dead(m.Dead), a.date(m.Since), int64(b.OnHand()), a.pace(usual)),
			Do: a.say("Call now. Ask: do the others come for feed, do they gasp, what do the dead look like? No feed today. Read oxygen, pH and ammonia. Take the dead out, count them, bury them with lime away from the water; do not eat or sell them. No medicine before the veterinarian or fisheries officer has seen fish or photos: call them today.",
				"Appelez tout de suite. Demandez : les autres viennent-ils manger, happent-ils l'air, à quoi ressemblent les morts ? Pas d'aliment aujourd'hui. Mesurez oxygène, pH et ammoniac. Retirez les morts, comptez-les, enterrez-les avec de la chaux loin de l'eau ; ils ne se mangent ni ne se vendent. Aucun médicament avant que le vétérinaire ou l'agent des pêches ait vu les poissons ou des photos : appelez-le aujourd'hui."),
			Until: a.say("%d days on record without more deaths than usual", "%d jours notés sans plus de morts que d'habitude", calmDays),
			SMS: a.text("%s dead since %s. No feed today. Read oxygen, pH, ammonia. Bury the dead. No medicine before the vet says so. Call me.",
				"%s depuis le %s. Pas d'aliment. Mesurez oxygène, pH, ammoniac. Enterrez les morts. Pas de médicament sans vétérinaire. Appelez.", []any{a.dead(m.Dead), a.date(m.Since)}, unit)})
		return
	}
	a.arrival(id, m)
}

// dead counts dead fish.
func (a *adviser) dead(n Fish) string {
	if a.Tongue == English {
		return a.number(float64(n))
	}
	return a.many(int64(n), "", "", "mort", "morts")
}

// arrival looks for fish of which too many died of the way here or of being handled.
func (a *adviser) arrival(id BatchID, m Mortality) {
	b, facts := a.States[id], a.Batches[id]
	if b.ApartFish == 0 || a.Day > *b.ApartUntil-handlingDays+claimDays {
		return
	}
	dead := b.ApartDead
	if m.Apart {
		dead = m.ApartDead
	}
	share := float64(dead) / float64(b.ApartFish)
	if share <= claimShare {
		return
	}
	on := *b.ApartUntil - handlingDays
	x := Advice{Code: "deaths", Severity: Soon, Batch: &id, Unit: &b.Unit, Since: on, Cautions: append([]string{CautionChildren}, spines(facts.Species)...),
		Figures: []NamedNumber{{"dead", computed(float64(dead), "fish", "within a week of coming or being moved")}, {"fish", computed(float64(b.ApartFish), "fish", "there were then")}, {"share", computed(share, "of 1", "dead ÷ fish")}},
		Behind:  Behind{Kinds: []string{"stocking", "received", "move", "death"}, From: &on}}
	unit, percent := a.unitName(b.Unit), a.number(round(100*share, 0))
	x.Until = a.say("%d days after they came or were moved", "%d jours après l'arrivée ou le déplacement", claimDays)
	hatchery, bought := a.Hatcheries[id]
	if bought && *b.FirstOn == on {
		x.Call = []Contact{hatchery}
		x.Why = a.say("%s: %s of the %d fish that came on %s are dead, %s %%. 1 to 2 %% are usual.", "%s : %s sur les %d arrivés le %s, soit %s %%. D'habitude 1 à 2 %%.", unit, a.dead(dead), int64(b.ApartFish), a.date(on), percent)
		x.Do = a.say("Ask the keeper for photos and the count of the dead. Call the hatchery (%s) and claim what is above 5 %%: ask for replacement or money back, and how long the fish were in the bags. Keep the delivery note.",
			"Demandez les photos et le compte des morts. Appelez l'écloserie (%s) et réclamez ce qui dépasse 5 %% : remplacement ou remboursement, et combien de temps les poissons sont restés dans les sacs. Gardez le bon de livraison.", hatchery.Name)
		x.SMS = a.text("%s of %d new fish dead. Count the dead each day, send photos, keep the delivery note: we claim from the hatchery.",
			"%s sur %d nouveaux poissons. Comptez les morts chaque jour, envoyez des photos, gardez le bon: nous réclamons.", []any{a.dead(dead), int64(b.ApartFish)}, unit)
	} else {
		x.Why = a.say("%s: %s of %d fish are dead since they came or were moved on %s, %s %%.", "%s : %s sur %d poissons depuis leur arrivée ou déplacement le %s, soit %s %%.", unit, a.dead(dead), int64(b.ApartFish), a.date(on), percent)
		x.Do = a.say("Ask the keeper how they were caught and carried, and whether wounds or white patches are seen. Leave them alone, little feed, all the air there is. If more die tomorrow, call the veterinarian or fisheries officer.",
			"Demandez comment ils ont été pris et transportés, et si l'on voit des blessures ou des taches blanches. Laissez-les tranquilles, peu d'aliment, tout l'air possible. Si d'autres meurent demain, appelez le vétérinaire ou l'agent des pêches.")
		x.SMS = a.text("%s of %d moved fish dead. Leave them alone, little feed, all the air there is. Count the dead each day and write them down.",
			"%s sur %d poissons déplacés. Laissez-les tranquilles, peu d'aliment, tout l'air possible. Notez les morts chaque jour.", []any{a.dead(dead), int64(b.ApartFish)}, unit)
	}
	a.give(x)
}

// unitName returns the name of a unit of the site.
func (a *adviser) unitName(id UnitID) string {
	if u := a.Units[id]; u != nil {
		return u.Name
	}
	return a.say("a tank", "un bassin")
}

// earlyDays is how long fish that went to be eaten too early are spoken of (common
// practice, no source): so long somebody may still have them.
const earlyDays = 14

// withdrawal looks for a batch that may not be eaten yet, or was eaten too early.
func (a *adviser) withdrawal(id BatchID) {
	b, facts := *a.States[id], a.Batches[id]
	unit := a.unitName(b.Unit)
	if b.EarlyG > 0 && b.HarvestOn != nil && a.Day-*b.HarvestOn <= earlyDays {
		a.give(Advice{Code: "withdrawal", Severity: Urgent, Batch: &id, Unit: &b.Unit, Since: *b.HarvestOn, Measure: "early", Cautions: []string{CautionMedicine},
			Figures: []NamedNumber{{"harvested_inside_kg", computed(b.EarlyG.Kilograms(), "kg", "harvested for food inside the withdrawal")}},
			Behind:  Behind{Kinds: []string{"treatment", "harvest", "sale"}},
			Why: a.say("%s: %s were harvested for food before the medicine was out of the fish; the last harvest was on %s.", "%s : %s ont été récoltés pour être mangés avant la fin du délai d'attente du médicament ; dernière récolte le %s.",
				unit, a.mass(b.EarlyG.Kilograms()), a.date(*b.HarvestOn)),
			Do: a.say("Call now: where are these fish? What is not eaten yet is not eaten and not sold. Tell the buyers and the cook, and ask the veterinarian what it means for those who ate them.",
				"Appelez tout de suite : où sont ces poissons ? Ce qui n'est pas encore mangé ne se mange pas et ne se vend pas. Prévenez les acheteurs et la cantine, et demandez au vétérinaire ce que cela veut dire pour ceux qui en ont mangé."),
			Until: a.say("%d days after that harvest", "%d jours après cette récolte", earlyDays),
			SMS: a.text("fish harvested on %s still had medicine in them. Do not eat or sell what is left. Where did they go? Call me.",
				"les poissons du %s avaient encore du médicament. Ne pas manger ni vendre le reste. Où sont-ils allés? Appelez.", []any{a.date(*b.HarvestOn)}, unit)})
	}
	tomorrow := a.Day + 1
	b.heatTo(&tomorrow, a.Water[b.Unit])
	byDate, left := b.WithdrawUntil != nil && *b.WithdrawUntil >= a.Day, max(0, b.WithdrawHeat-b.Heat)
	if !byDate && left == 0 {
		return
	}
	x := Advice{Code: "withdrawal", Severity: Note, Batch: &id, Unit: &b.Unit, Since: a.Day, Cautions: append([]string{CautionMedicine}, spines(facts.Species)...),
		Behind: Behind{Kinds: []string{"treatment", "water", "harvest"}, From: b.TreatedOn}}
	if b.TreatedOn != nil {
		x.Since = *b.TreatedOn
	}
	end, known := a.Day, true
	if byDate {
		end = *b.WithdrawUntil
	}
	if left > 0 {
		degreeDays := float64(left) / 1000
		x.Figures = append(x.Figures, NamedNumber{"degree_days_left", computed(degreeDays, "°C·day", "of the withdrawal, days of unknown temperature not counted")})
		celsius := a.temperature(b.Unit)
		days, ok := husbandry.WithdrawalDays(degreeDays, celsius.Value)
		if known = celsius.Known() && ok; known {
			end = max(end, a.Day+Date(days))
		}
	}
	switch {
	case known && left == 0:
		x.Why = a.say("%s: medicine was given; its withdrawal lasts through %s.", "%s : un médicament a été donné ; le délai d'attente dure jusqu'au %s inclus.", unit, a.date(end))
	case known:
		x.Why = a.say("%s: medicine was given; in water as warm as now its withdrawal lasts until about %s.", "%s : un médicament a été donné ; à la température actuelle, le délai d'attente dure jusqu'au %s environ.", unit, a.date(end))
	default:
		x.Why = a.say("%s: medicine was given, and another %s degree-days must come together; no temperature is on record, so they do not.", "%s : un médicament a été donné, et il manque encore %s degrés-jours ; aucune température n'est notée, donc rien ne s'ajoute.",
			unit, a.number(float64(left)/1000))
	}
	if known {
		x.Figures = append(x.Figures, NamedNumber{"days_left", computed(float64(end-a.Day), "days", "by date, and by degree-days at the temperature last read")})
	}
	x.Do = a.pick("Remind the keeper and the cook: nothing is harvested to eat, sell or give away before it is over.",
		"Rappelez à la personne responsable et à la cantine : rien n'est récolté pour être mangé, vendu ou donné avant la fin.")
	x.Until = a.say("the end of the withdrawal, by date and by degree-days", "la fin du délai d'attente, en jours et en degrés-jours")
	note := ""
	if left > 0 {
		x.Do += a.pick(" The temperature of the water is read and written down every day: days without it do not count.", " La température de l'eau se mesure et se note chaque jour : les jours sans mesure ne comptent pas.")
		note = a.pick(" Read the temperature every day and write it down.", " Notez la température chaque jour.")
	}
	x.SMS = a.text("medicine in the fish: not to be eaten, sold or given away%s.%s", "médicament dans les poissons: ne pas manger, vendre ni donner%s.%s", []any{a.before(end, known, left > 0), note}, unit)
	if target := facts.TargetOn; target != nil && *target <= end && *target-a.Day <= holidayAhead || !known {
		x.Severity = Soon
		if target != nil && known {
			x.Do += a.say(" The plan has the harvest on %s: put it off, and tell the buyers.", " Le plan prévoit la récolte le %s : repoussez-la et prévenez les acheteurs.", a.date(*target))
		}
	}
	a.give(x)
}

// before says until when something must not be.
func (a *adviser) before(end Date, known, about bool) string {
	switch {
	case !known:
		return a.pick(" until I tell you", " avant mon accord")
	case about:
		return a.say(" before about %s", " avant le %s environ", a.date(end+1))
	}
	return a.say(" before %s", " avant le %s", a.date(end+1))
}

// What a count may be wrong by: two counts of some hundred fish by net and bucket,
// each within 2 %, differ by 5.5 % nineteen times in twenty (computed; the 2 % are
// common practice, no source). lostDays is how long a count is spoken of.
const (
	countingError = 0.02
	lostDays      = 30
)

// unaccounted looks for a count that shows fish gone without a record.
func (a *adviser) unaccounted(id BatchID) {
	b, facts := a.States[id], a.Batches[id]
	came := b.Stocked + b.MovedIn
	if b.CountedOn == nil || a.Day-*b.CountedOn > lostDays || came == 0 || a.VisitedOn != nil && *a.VisitedOn >= *b.CountedOn {
		return
	}
	explained := 1.96 * math.Sqrt2 * countingError * float64(came)
	if float64(b.Unaccounted) <= explained || b.Unaccounted < 5 {
		return
	}
	share := float64(b.Unaccounted) / float64(came)
	unit := a.unitName(b.Unit)
	a.give(Advice{Code: "unaccounted", Severity: Later, Batch: &id, Unit: &b.Unit, Since: *b.CountedOn, Cautions: spines(facts.Species),
		Figures: []NamedNumber{{"unaccounted", computed(float64(b.Unaccounted), "fish", "book − counted")}, {"came", computed(float64(came), "fish", "stocked and moved in")}, {"share", computed(share, "of 1", "unaccounted ÷ came")},
			{"counting_error_explains", computed(explained, "fish", "1.96 × √2 × 2 % of them (2 %: common practice, no source)")}},
		Behind: Behind{Kinds: []string{"stocking", "death", "count", "move", "harvest", "incident"}},
		Why: a.say("%s: the count of %s found %s fewer fish than the book (%s %% of those that came); counting error explains %s.", "%s : le comptage du %s en a trouvé %s de moins que le cahier (%s %% des arrivés) ; l'erreur de comptage en explique %s.",
			unit, a.date(*b.CountedOn), a.number(float64(b.Unaccounted)), a.number(round(100*share, 0)), a.number(math.Round(explained))),
		Do: a.say("Ask the keeper, without blame: were dead fish not written down, birds or otters seen, fish given away or stolen, fewer delivered than on the note? Look at net, cover and lock at the next visit, and count the next delivery.",
			"Demandez, sans accuser : des morts non notés, des oiseaux ou des loutres, des poissons donnés ou volés, une livraison plus petite que sur le bon ? À la prochaine visite, regardez filet, couverture et cadenas ; comptez la prochaine livraison."),
		Until: a.say("a visit to the site, or %d days after the count", "une visite du site, ou %d jours après le comptage", lostDays),
		SMS: a.text("%s fewer fish than in the book. Any dead not written down? Birds, theft, fish given away? Check net, cover and lock.",
			"%s poissons de moins que dans le cahier. Morts non notés? Oiseaux, vol, dons? Regardez filet, couverture, cadenas.", []any{a.number(float64(b.Unaccounted))}, unit)})
}
