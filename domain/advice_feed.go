package domain

import (
	"math"

	"shoalbook/domain/husbandry"
)

const (
	// feedDays is the days over which the use of feed is taken.
	feedDays = 7
	// leadDays is how long a delivery takes of which nobody said how long (common
	// practice, no source).
	leadDays = 7
	// hungryDays is for how many days there must be feed that nobody hurries.
	hungryDays = 3
)

// span is the days over which feed was used, as far as there were fish.
func (a *adviser) span() Date {
	span := Date(1)
	for _, id := range a.growing() {
		span = max(span, min(feedDays, a.Day-*a.States[id].FirstOn+1))
	}
	return span
}

// feed looks for the feed that is the first to run out before a delivery can come.
func (a *adviser) feed() {
	if len(a.growing()) == 0 || a.LastOn == nil {
		return
	}
	span := a.span()
	var first *Advice
	last := math.Inf(1)
	for id, p := range a.Products {
		st := a.Stores[id]
		if p.Category != "feed" || st == nil {
			continue
		}
		used := float64(st.Fed-a.UsedBefore[id]) / 1000
		aDay := used / float64(span)
		if aDay <= 0 {
			continue
		}
		kg := max(0, float64(st.Balance)/1000)
		lead := Date(leadDays)
		if p.LeadDays != nil {
			lead = Date(*p.LeadDays)
		}
		lasts := kg / aDay
		days := Date(lasts)
		if days > lead || lasts > last || lasts == last && first != nil && first.Product.Compare(id) < 0 {
			continue
		}
		x := a.runsOut(id, p, kg, aDay, days, lead)
		first, last = &x, lasts
	}
	if first != nil {
		a.give(*first)
	}
}

func (a *adviser) runsOut(id ProductID, p *Product, kg, aDay float64, days, lead Date) Advice {
	out, comes := a.Day+days+1, a.Day+lead
	x := Advice{Code: "feed_runs_out", Severity: Soon, Product: &id, Since: a.Day,
		Figures: []NamedNumber{{"in_store_kg", computed(kg, "kg", "by the book of the store")}, {"used_kg_a_day", computed(aDay, "kg/day", "mean of the last 7 days")}, {"days_left", computed(float64(days), "days", "in store ÷ use, rounded down")},
			{"lead_days", recorded(float64(lead), "days", "of the product; 7 where nothing is set (common practice, no source)")}},
		Behind: Behind{Kinds: []string{"receipt", "feeding", "stocktake", "sent", "received"}},
		Until:  a.say("feed for more than %s in the store", "de l'aliment pour plus de %s au magasin", a.days(lead))}
	if days < hungryDays {
		x.Severity = Urgent
	}
	if s, ok := a.Suppliers[id]; ok {
		x.Call = []Contact{s}
	}
	if kg == 0 {
		x.Why = a.say("By the book there is no %s left; the fish were fed %s a day.", "D'après le cahier, il n'y a plus de %s ; les poissons en recevaient %s par jour.", p.Name, a.mass(aDay))
		x.SMS = a.text("no %s left by the book. Is that so? Count the bags and send the number. Feed has to be ordered today.",
			"plus de %s d'après le cahier. Est-ce vrai? Comptez les sacs et envoyez le nombre. À commander aujourd'hui.", []any{short(p.Name)})
	} else {
		x.Why = a.say("%s of %s are left and %s a day are fed: the last is fed on %s. What is ordered today comes on %s.", "Il reste %s de %s pour %s par jour : le dernier repas est le %s. Une commande d'aujourd'hui arrive le %s.",
			a.mass(kg), p.Name, a.mass(aDay), a.date(out-1), a.date(comes))
		x.SMS = a.text("%s left of %s, %s a day. Count the bags and send the number today. If it gets short, feed less, not every second day.",
			"il reste %s de %s, %s par jour. Comptez les sacs, envoyez le nombre. Si cela manque, donnez moins, mais chaque jour.", []any{a.mass(kg), short(p.Name), a.mass(aDay)})
	}
	if kg == 0 {
		x.Do = a.pick("Have the keeper count the bags: is a delivery not written down? If there is none, borrow from the nearest site today, order, and ask the seller when it can come.",
			"Faites compter les sacs : une livraison n'est-elle pas notée ? S'il n'y a vraiment plus rien, empruntez aujourd'hui au site le plus proche, commandez, et demandez au vendeur quand il peut livrer.")
		return x
	}
	x.Do = a.say("Have the keeper count the bags, then order today. Ask the seller when it can come; if that is after %s, borrow from the nearest site. Until then a smaller ration every day, rather than none at all.",
		"Faites compter les sacs, puis commandez aujourd'hui. Demandez au vendeur quand il peut livrer ; si c'est après le %s, empruntez au site le plus proche. D'ici là, une ration réduite chaque jour plutôt que rien du tout.", a.date(out-1))
	return x
}

// short cuts a name for a short message.
func short(name string) string {
	const most = 24
	runes := []rune(gsm(name))
	if len(runes) > most {
		return string(runes[:most-1]) + "."
	}
	return string(runes)
}

// How far what is fed may be from the table (common practice, no source): more than
// a quarter above it fouls the water, less than half of it starves the fish. Of a week
// with feed on fewer than fewDays nobody knows whether the rest was not written down.
const (
	mostOfTable  = 1.25
	leastOfTable = 0.5
	fewDays      = 5
)

// ration looks for fish that were fed much more or less than the table says.
func (a *adviser) ration(id BatchID) {
	b := a.States[id]
	before, known := a.FedBefore[id]
	if !known || *b.FirstOn > a.Day-feedDays || b.HarvestOn != nil && *b.HarvestOn > a.Day-feedDays || a.moved(b) || b.TreatedOn != nil && *b.TreatedOn > a.Day-feedDays {
		return
	}
	s := a.stock(id)
	class, ok := husbandry.Ration(s.Species, s.Weight.Value)
	if !ok || !s.Biomass.Known() || a.LastOn == nil || a.Day-*a.LastOn >= quietDays {
		return
	}
	factor := 1.0
	celsius := a.temperature(b.Unit)
	if celsius.Known() {
		factor, _ = husbandry.TemperatureFactor(celsius.Value)
	}
	fed := (b.FedG - before.Feed).Kilograms() / feedDays
	low, high := s.Biomass.Value*class.Low/100*factor, s.Biomass.Value*class.High/100*factor
	tooMuch, tooLittle := fed > mostOfTable*high, celsius.Known() && fed < leastOfTable*low && b.FedDays-before.Days >= fewDays
	if !tooMuch && !tooLittle {
		return
	}
	unit := a.unitName(b.Unit)
	x := Advice{Code: "ration_change", Severity: Later, Batch: &id, Unit: &b.Unit, Since: a.Day, Cautions: []string{CautionChildren},
		Figures: []NamedNumber{{"fed_kg_a_day", computed(fed, "kg/day", "mean of the last 7 days")}, {"table_low_kg_a_day", computed(low, "kg/day", class.Source)}, {"table_high_kg_a_day", computed(high, "kg/day", class.Source)},
			{"biomass_kg", s.Biomass}, {"temperature_c", celsius}},
		Behind: Behind{Kinds: []string{"feeding", "sample", "count", "water"}, From: new(a.Day - feedDays + 1)},
		Until:  a.say("a week's feed within the table", "une semaine d'aliment dans les limites de la table")}
	if tooMuch {
		x.Why = a.say("%s got %s of feed a day in the last week; for %s of fish of %s g the table has %s to %s.", "%s a reçu %s d'aliment par jour cette semaine ; pour %s de poisson de %s g, la table donne %s à %s.",
			unit, a.mass(fed), a.mass(s.Biomass.Value), a.number(s.Weight.Value), a.mass(low), a.mass(high))
		x.Do = a.say("Ask the keeper whether feed is left over after ten minutes; what is not eaten is money in the water and fouls it. Feed %s to %s a day, in %d meals, %s, and stop when they stop.",
			"Demandez s'il reste de l'aliment au bout de dix minutes : ce qui n'est pas mangé, c'est de l'argent à l'eau, et cela la salit. Donnez %s à %s par jour, en %d repas, %s, et arrêtez quand ils arrêtent.",
			a.mass(low), a.mass(high), husbandry.Meals(s.Weight.Value), a.pellets(s.Weight.Value))
		x.SMS = a.text("too much feed: %s a day. From today %s in %d meals, stop when they stop eating. Is feed left over?",
			"trop d'aliment: %s par jour. Désormais %s en %d repas, arrêtez quand ils ne mangent plus. Reste-t-il de l'aliment?", []any{a.mass(fed), a.mass(high), husbandry.Meals(s.Weight.Value)}, unit)
	} else {
		x.Why = a.say("%s got %s of feed a day in the last week; for %s of fish of %s g the table has %s to %s at %s °C.", "%s a reçu %s d'aliment par jour cette semaine ; pour %s de poisson de %s g, la table donne %s à %s à %s °C.",
			unit, a.mass(fed), a.mass(s.Biomass.Value), a.number(s.Weight.Value), a.mass(low), a.mass(high), a.number(celsius.Value))
		x.Do = a.say("Ask the keeper why: is the feed short, was nobody there, or do the fish not eat? If they do not eat, read oxygen and ammonia before anything else. Else go up to %s a day over three days, in %d meals, %s.",
			"Demandez pourquoi : l'aliment manque, il n'y avait personne, ou les poissons ne mangent pas ? S'ils ne mangent pas, mesurez d'abord oxygène et ammoniac. Sinon, montez à %s par jour en trois jours, en %d repas, %s.",
			a.mass(low), husbandry.Meals(s.Weight.Value), a.pellets(s.Weight.Value))
		x.SMS = a.text("little feed: %s a day, should be %s. Do they eat? If not, read oxygen and ammonia. If yes, go up over 3 days.",
			"peu d'aliment: %s par jour au lieu de %s. Mangent-ils? Sinon, mesurez oxygène et ammoniac. Si oui, montez en 3 jours.", []any{a.mass(fed), a.mass(low)}, unit)
	}
	a.give(x)
}

// moved reports whether fish came or were moved within the days that feed is taken over.
func (a *adviser) moved(b *BatchState) bool {
	return b.ApartUntil != nil && *b.ApartUntil-handlingDays > a.Day-feedDays
}

// pellets writes what size of feed fish of a weight get.
func (a *adviser) pellets(weight float64) string {
	switch from, to := husbandry.Pellet(weight); {
	case to == 0:
		return a.say("crumble", "en miettes")
	case from == to:
		return a.say("pellets of %s mm", "granulés de %s mm", a.number(from))
	default:
		return a.say("pellets of %s to %s mm", "granulés de %s à %s mm", a.number(from), a.number(to))
	}
}
