package domain

import "strings"

// A withdrawal is how long fish under treatment must not be eaten. The day of the
// last dose is day 0; it lasts through the last day by date, and through the day on
// which the degree-days since day 0 are reached, whichever is later. Days of unknown
// temperature add no degree-days.
type withdrawal struct {
	until *Date
	heat  int64 // thousandths of °C·day that are left after the days before today
}

// withdrawal returns what is left of a batch's withdrawal, which fish that leave it
// today take with them.
func (s *Site) withdrawal(b *BatchState) withdrawal {
	if b.WithdrawUntil == nil && b.WithdrawHeat == 0 {
		return withdrawal{}
	}
	b.heatTo(s.on, s.Units[b.Unit])
	w := withdrawal{heat: max(0, b.WithdrawHeat-b.Heat)}
	if b.WithdrawUntil != nil && *b.WithdrawUntil >= s.day {
		w.until = b.WithdrawUntil
	}
	return w
}

// carry puts fish that are under withdrawal into a batch, which then is under it.
func (s *Site) carry(b *BatchState, w withdrawal) {
	if w.until != nil && (b.WithdrawUntil == nil || *w.until > *b.WithdrawUntil) {
		b.WithdrawUntil = w.until
	}
	if w.heat > 0 {
		b.heatTo(s.on, s.Units[b.Unit])
		b.WithdrawHeat = max(b.WithdrawHeat, b.Heat+w.heat)
	}
}

// food reports whether the fish are taken out to be eaten by somebody.
func (b Harvest) food() bool {
	return b.Destination == nil || *b.Destination != "discarded" && *b.Destination != "kept"
}

// eating is a harvest for food. It is judged at the end of its day, when all that was
// given to the fish on that day is known.
type eating struct {
	by       *Entry
	of       BatchID
	batch    *BatchState
	weight   Grams
	override bool
}

// judge refuses a harvest for food within a withdrawal if it is being recorded now,
// and else marks the batch.
func (s *Site) judge(h eating) error {
	b := h.batch
	byDate := b.WithdrawUntil != nil && *b.WithdrawUntil >= s.day
	byHeat := b.WithdrawHeat > 0 && b.HarvestHeat < b.WithdrawHeat
	switch {
	case !byDate && !byHeat:
	case h.override:
		b.OverriddenG += h.weight
	case !h.by.Fresh:
		b.EarlyG += h.weight
		if e, ok := s.treating[h.of]; ok {
			s.ask(e, "harvested_early", "on "+s.day.String()+" fish of this batch were harvested for food within this withdrawal: are they eaten or sold already, and who must be told?", NamedValue{"harvested_kg", h.weight.Kilograms()})
		}
	default:
		return b.inWithdrawal(byDate, byHeat)
	}
	return nil
}

func (b *BatchState) inWithdrawal(byDate, byHeat bool) error {
	var lasts []string
	if byDate {
		lasts = append(lasts, "through "+b.WithdrawUntil.String())
	}
	if byHeat {
		lasts = append(lasts, "until another "+formatDecimal(b.WithdrawHeat-b.HarvestHeat, 3, 0)+" degree-days have come together (record the temperature of the water: days without any do not count)")
	}
	return &Error{Kind: Refused, Code: "in_withdrawal",
		Detail: "the fish were given medicine and must not be eaten yet: their withdrawal lasts " + strings.Join(lasts, ", and ") + ". If they are not for food, say so in the destination (kept or discarded)",
		Fields: []FieldError{{"/occurred_on", "is within the withdrawal of a treatment"}}}
}

// post gives medicine to a batch. Its withdrawal counts from the end of the day.
func (b Treatment) post(s *Site, e *Entry) error {
	st, err := s.living(b.Batch)
	if err != nil {
		return err
	}
	if b.Product != nil {
		if err := b.dispense(s, st); err != nil {
			return err
		}
	}
	st.TreatedOn = s.on
	if e.Fresh {
		s.treating[b.Batch] = e.ID
	}
	w := withdrawal{}
	if d := b.WithdrawalDays; d != nil && *d > 0 {
		until := e.On + Date(*d)
		w.until = &until
	}
	if h := b.WithdrawalDegreeDays; h != nil {
		w.heat = int64(*h) * 1000
	}
	s.withhold(st, w)
	// Fish that left on this day may have been given it before they left.
	reached := map[BatchID]bool{b.Batch: true}
	for _, m := range s.today.Moves {
		if reached[m.From] && !reached[m.To] {
			reached[m.To] = true
			s.withhold(s.Batches[m.To], w)
		}
	}
	for _, sent := range s.sending {
		if reached[sent.from] {
			sent.consignment.take(w)
		}
	}
	return nil
}

// withhold puts a batch under a withdrawal that counts from the end of today.
func (s *Site) withhold(b *BatchState, w withdrawal) {
	tomorrow := s.day + 1
	if w.heat > 0 {
		b.heatTo(&tomorrow, s.Units[b.Unit])
	}
	s.carry(b, w)
}

// sending is fish of a batch that leave for another site.
type sending struct {
	from        BatchID
	consignment *Consignment
}

// take puts fish on their way under a withdrawal.
func (c *Consignment) take(w withdrawal) {
	if w.until != nil && (c.WithdrawUntil == nil || *w.until > *c.WithdrawUntil) {
		c.WithdrawUntil = w.until
	}
	c.WithdrawHeat = max(c.WithdrawHeat, w.heat)
}

// dispense takes the medicine out of the store, at its cost.
func (b Treatment) dispense(s *Site, st *BatchState) error {
	p, err := s.product(*b.Product)
	if err != nil {
		return err
	}
	if p.Category == "feed" && b.Quantity != nil {
		return &Error{Kind: Refused, Code: "unknown_reference", Detail: "feed is given to a batch as a feeding: record that, and the treatment without a quantity", Fields: []FieldError{{"/product_id", "is a feed"}}}
	}
	if b.Quantity == nil || !p.Stored {
		return nil
	}
	store := s.store(*b.Product)
	cost, donated := store.take(*b.Quantity, s.on)
	store.Used += *b.Quantity
	st.Cost[Medicine] += cost
	st.Donated += donated
	return nil
}

// tellOf asks somebody to tell the other site of medicine that is recorded only after
// fish were sent there. What they took along is fixed.
func (s *Site) tellOf(batch BatchID, now, then *Consignment) {
	e, ok := s.treating[batch]
	longer := now.WithdrawUntil != nil && (then.WithdrawUntil == nil || *now.WithdrawUntil > *then.WithdrawUntil) || now.WithdrawHeat > then.WithdrawHeat
	if ok && longer {
		s.ask(e, "sent_early", "on "+s.day.String()+" fish of this batch were sent to another site, which does not know of this withdrawal: record the treatment there too, with what is left of it", NamedValue{"fish", float64(now.Fish)})
	}
}

// withdrawal puts the figures of the medicine that the fish were given, and returns
// what must be told with them.
func (r *reckoning) withdrawal() (cautions []string) {
	b := r.b
	r.date("withdrawal.treated_on", b.TreatedOn, "no medicine was recorded")
	r.date("withdrawal.until", b.WithdrawUntil, "no withdrawal by date was recorded")
	left := max(0, b.WithdrawHeat-b.Heat)
	if b.WithdrawHeat == 0 {
		r.null("withdrawal.degree_days_left", "no withdrawal by degree-days was recorded")
	} else {
		r.put("withdrawal.degree_days_left", formatDecimal(left, 3, 0), r.because(&Why{Formula: "degree-days of the withdrawal − sum of the temperature of the days since the medicine, up to the last reading of the water",
			Unit: "°C·day", Rounding: exact, Kinds: []string{"treatment", "water", "move", "received"}, Site: true}))
	}
	running := b.WithdrawUntil != nil && *b.WithdrawUntil >= r.AsOf || left > 0
	r.flag("withdrawal.over", !running)
	r.mass("withdrawal.overridden_kg", b.OverriddenG.Milligrams(), false, "harvest", "treatment")
	r.mass("withdrawal.harvested_inside_kg", b.EarlyG.Milligrams(), false, "harvest", "treatment")
	r.mass("withdrawal.not_for_food_kg", b.KeptG.Milligrams(), false, "harvest")
	if running && !b.Closed() {
		cautions = append(cautions, "The withdrawal of the medicine that the fish were given is not over: they must not be eaten or sold.", CautionMedicine)
	}
	if b.OverriddenG > 0 {
		cautions = append(cautions, b.OverriddenG.Format()+" kg were harvested for food within the withdrawal of a medicine, as a coordinator allowed.")
	}
	if b.EarlyG > 0 {
		cautions = append(cautions, b.EarlyG.Format()+" kg were harvested for food within the withdrawal of a medicine that was recorded only afterwards.")
	}
	return cautions
}
