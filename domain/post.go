package domain

import "slices"

// What each kind of entry does to the state of its site.

func (b Stocking) post(s *Site, _ *Entry) error {
	w := b.weight()
	st, err := s.arrive(b.Batch, b.Count, w)
	if err != nil {
		return err
	}
	st.Stocked += b.Count
	if b.Supplier != nil {
		st.cameFrom(*b.Supplier)
	} else {
		st.cameFrom(PartyID{})
	}
	if w != nil {
		st.StockedMg += *w
		st.StartMg, st.StartFish = st.StartMg+*w, st.StartFish+b.Count
	}
	st.Cost[Fingerlings] += b.cost()
	return nil
}

func (b Death) post(s *Site, _ *Entry) error {
	st, err := s.living(b.Batch)
	if err != nil {
		return err
	}
	st.Dead += b.Count
	st.RiskDead += b.Count
	st.died(s.on, b.Count)
	switch w, ok := st.weightOf(b.Count); {
	case b.Weight != nil:
		st.DeadMg += b.Weight.Milligrams()
	case ok:
		st.DeadMg += w
		st.DeadGuessed += b.Count
		st.RiskGuessed, st.RiskGuessedMg = st.RiskGuessed+b.Count, st.RiskGuessedMg+w
	default:
		st.DeadUnweighed += b.Count
		st.RiskGuessed += b.Count
	}
	if b.Empties {
		s.emptied[b.Batch] = true
	}
	return nil
}

func (b Sample) post(s *Site, e *Entry) error {
	st, err := s.living(b.Batch)
	if err != nil {
		return err
	}
	mg, fish, cv := b.weight(), b.Count, Thousandths(0)
	if b.WeightCVPercent != nil {
		cv = *b.WeightCVPercent
	}
	if st.MeasuredOn != nil && *st.MeasuredOn == e.On { // two samples of one day are one
		mg, fish = mg+st.MeasuredMg, fish+st.MeasuredFish
		if cv == 0 && len(st.WeighCV) > 0 {
			cv = Thousandths(st.WeighCV[len(st.WeighCV)-1])
		}
	}
	s.weigh(st, mg, fish, cv)
	if b.MeanLengthCM != nil {
		st.LengthCM, st.LengthType, st.LengthMeanMg = *b.MeanLengthCM, b.LengthType, Milligrams(mulDiv(int64(b.weight()), 1, int64(b.Count)))
	}
	return nil
}

func (b Count) post(s *Site, e *Entry) error {
	st, err := s.living(b.Batch)
	if err != nil {
		return err
	}
	st.Unaccounted += st.OnHand() - b.Count
	st.CountedOn = s.on
	switch {
	case b.Weight != nil:
		s.weigh(st, b.Weight.Milligrams(), b.Count, 0)
	case st.MeasuredOn != nil && *st.MeasuredOn == e.On: // weighed and counted on one day
		st.measure()
	}
	return nil
}

func (b Move) post(s *Site, e *Entry) error {
	st, err := s.living(b.Batch)
	if err != nil {
		return err
	}
	if b.ToUnit != nil {
		if err := s.unit(*b.ToUnit, "/to_unit_id"); err != nil {
			return err
		}
		if *b.ToUnit != st.Unit {
			st.heatTo(s.on, s.Units[st.Unit])
			st.LeftUnits, st.LeftOn = append(slices.Clip(st.LeftUnits), st.Unit), append(slices.Clip(st.LeftOn), s.day)
			st.Unit = *b.ToUnit
			st.handled(s.day, 0)
		}
		if n := st.OnHand(); b.Weight != nil && n > 0 {
			s.weigh(st, b.Weight.Milligrams(), n, 0)
		}
		return nil
	}
	if _, ok := s.Facts.Batches[*b.ToBatch]; !ok {
		return &Error{Kind: Refused, Code: "unknown_reference", Detail: "there is no such batch at this site: look at its id, or record what goes to another site as sent", Fields: []FieldError{{"/to_batch_id", "is not a batch of this site"}}}
	}
	taken := s.withdrawal(st)
	if *b.Count*10 >= st.OnHand() { // all went through the net
		st.handled(s.day, -*b.Count)
	}
	w, cost, donated := s.leave(st, *b.Count, b.Weight)
	if b.Empties {
		s.emptied[b.Batch] = true
		s.emptying = append(s.emptying, emptying{by: e.ID, from: b.Batch, to: b.ToBatch})
	}
	s.today.Moves = append(s.today.Moves, Moved{Entry: e.ID, From: b.Batch, To: *b.ToBatch, Fish: *b.Count, Weight: w, Cost: cost})
	return s.join(*b.ToBatch, *b.Count, w, cost, donated, taken, st.Suppliers...)
}

func (b Harvest) post(s *Site, e *Entry) error {
	st, err := s.living(b.Batch)
	if err != nil {
		return err
	}
	st.heatTo(s.on, s.Units[st.Unit])
	st.HarvestHeat, st.HarvestHeatDays = st.Heat, st.HeatDays
	if st.HarvestOn == nil || *st.HarvestOn != s.day {
		st.HarvestOn, st.LastG, st.LastFish = s.on, 0, 0
	}
	n := max(st.OnHand(), 0)
	switch {
	case b.Count != nil:
		n = *b.Count
		st.LastG, st.LastFish = st.LastG+b.Weight, st.LastFish+n
	case b.Empties:
		st.HarvestGuessed += n
	case st.MeanMg > 0:
		n = min(n, max(1, Fish(mulDiv(int64(b.Weight.Milligrams()), int64(st.MeanFish), int64(st.MeanMg)))))
		st.HarvestGuessed += n
	default:
		return &Error{Kind: Refused, Code: "count_needed", Detail: "the fish were never weighed, so their number cannot be estimated from the weight: give the count",
			Fields: []FieldError{{"/count", "is needed here"}}}
	}
	st.Harvested += n
	st.HarvestedG += b.Weight
	switch {
	case b.food():
		s.eating = append(s.eating, eating{by: e, of: b.Batch, batch: st, weight: b.Weight, override: b.OverrideWithdrawal != nil})
	case *b.Destination == "discarded":
		st.KeptG += b.Weight
		st.DiscardedG += b.Weight
	default:
		st.KeptG += b.Weight
	}
	if b.Empties {
		s.emptied[b.Batch] = true
	}
	return nil
}

func (b Crop) post(s *Site, _ *Entry) error {
	if err := s.unit(b.Unit, "/unit_id"); err != nil {
		return err
	}
	s.count(countCrops, int64(b.Weight))
	return nil
}

func (b Receipt) post(s *Site, _ *Entry) error {
	p, err := s.product(b.Product)
	if err != nil {
		return err
	}
	if !p.Stored {
		return Refuse("unknown_reference", "this product is used without a store: record its use and, apart, the bill as an expense")
	}
	st := s.store(b.Product)
	st.Received += b.Quantity
	if b.Origin == "donated" {
		st.put(b.Quantity, 0, b.cost())
		return nil
	}
	st.Spent += b.cost()
	st.put(b.Quantity, b.cost(), 0)
	return nil
}

func (b Feeding) post(s *Site, e *Entry) error {
	p, err := s.product(b.Product)
	if err != nil {
		return err
	}
	if p.Category != "feed" {
		return &Error{Kind: Refused, Code: "unknown_reference", Detail: "only feed is fed: record other inputs as use", Fields: []FieldError{{"/product_id", "is not a feed"}}}
	}
	st, err := s.living(b.Batch)
	if err != nil {
		return err
	}
	store := s.store(b.Product)
	cost, donated := store.take(Quantity(b.Weight), s.on)
	store.Fed += Quantity(b.Weight)
	st.Cost[Feed] += cost
	st.Donated += donated
	st.FedG += b.Weight
	st.fedOf(b.Product, b.Weight)
	if protein := p.protein(e.On); protein != nil {
		st.FedProtein += Milligrams(mulDiv(int64(b.Weight.Milligrams()), int64(*protein), 100_000))
	} else {
		st.FedBlindG += b.Weight
	}
	if st.FedOn == nil || *st.FedOn != e.On {
		st.FedDays++
		st.FedBefore, st.FedOn, st.FedDayG = st.FedOn, s.on, 0
	}
	st.FedDayG += b.Weight
	return nil
}

// useCategories are the categories of cost of inputs other than feed.
var useCategories = map[string]Category{"medicine": Medicine, "packaging": Packaging, "energy": Energy, "water": WaterSupply}

func (b Use) post(s *Site, e *Entry) error {
	p, err := s.product(b.Product)
	if err != nil {
		return err
	}
	if p.Category == "feed" {
		return &Error{Kind: Refused, Code: "unknown_reference", Detail: "feed is given to a batch: record a feeding", Fields: []FieldError{{"/product_id", "is a feed"}}}
	}
	if b.Batch != nil {
		st, err := s.living(*b.Batch)
		if err != nil {
			return err
		}
		if p.Category == "energy" && p.Unit == "kwh" {
			st.EnergyWh += b.Quantity
		}
	}
	if p.Unit == "kwh" {
		s.count(countEnergy, int64(b.Quantity))
	}
	if !p.Stored { // a meter reading: money comes with the bill
		return nil
	}
	store := s.store(b.Product)
	cost, donated := store.take(b.Quantity, s.on)
	store.Used += b.Quantity
	category, ok := useCategories[p.Category]
	if !ok {
		category = OtherCost
	}
	if err := s.charge(e, b.Batch, category, e.On, e.On, cost); err != nil {
		return err
	}
	return s.charge(e, b.Batch, Donated, e.On, e.On, donated)
}

func (b Stocktake) post(s *Site, e *Entry) error {
	p, err := s.product(b.Product)
	if err != nil {
		return err
	}
	if !p.Stored {
		return Refuse("unknown_reference", "this product is used without a store: there is nothing to count")
	}
	st := s.store(b.Product)
	st.CountedOn = s.on
	lost := st.Balance - b.Quantity
	st.Lost += lost
	switch {
	case lost > 0:
		cost, donated := st.take(lost, s.on)
		s.share(e, Losses, e.On, e.On, cost)
		s.share(e, Donated, e.On, e.On, donated)
	case lost < 0:
		value := st.worth(-lost)
		st.put(-lost, value, 0)
		s.share(e, Losses, e.On, e.On, -value)
	}
	return nil
}

func (b Sent) post(s *Site, e *Entry) error {
	c := &Consignment{Product: b.Product, Batch: b.Batch}
	if b.Product != nil {
		p, err := s.product(*b.Product)
		if err != nil {
			return err
		}
		if !p.Stored {
			return Refuse("unknown_reference", "this product is used without a store: it cannot be sent")
		}
		st := s.store(*b.Product)
		c.Quantity = *b.Quantity
		c.Value, c.Donated = st.take(c.Quantity, s.on)
		st.Sent += c.Quantity
		if e.Fixed != nil {
			st.Revaluation += c.Value - e.Fixed.Value
			return nil
		}
		e.Fixed = c
		return nil
	}
	st, err := s.living(*b.Batch)
	if err != nil {
		return err
	}
	c.Fish = *b.Count
	w := s.withdrawal(st)
	c.WithdrawUntil, c.WithdrawHeat = w.until, w.heat
	c.Weight, c.Value, c.Donated = s.leave(st, c.Fish, b.Weight)
	if b.Empties {
		s.emptied[*b.Batch] = true
		if e.Fixed == nil {
			s.emptying = append(s.emptying, emptying{by: e.ID, from: *b.Batch, sent: c})
		}
	}
	if e.Fixed != nil {
		s.tellOf(*b.Batch, c, e.Fixed)
		st.CostOut += e.Fixed.Value - c.Value // what a later correction makes of it stays here
		st.Donated -= e.Fixed.Donated - c.Donated
		return nil
	}
	e.Fixed = c
	s.sending = append(s.sending, sending{*b.Batch, c})
	return nil
}

func (b Received) post(s *Site, e *Entry) error {
	c := e.Fixed
	if c == nil {
		return &Error{Kind: Refused, Code: "unknown_reference", Detail: "nothing was sent to this site under that id: look at the id, or wait until what was sent is recorded", Fields: []FieldError{{"/sent_id", "is not on its way to this site"}}}
	}
	if b.Batch == nil {
		if c.Product == nil || b.Quantity == nil {
			return Refuse("unknown_reference", "fish were sent, not goods: give the batch that takes them and the count")
		}
		if *b.Quantity > c.Quantity {
			return Refuse("not_enough_fish", "only %s were sent", formatDecimal(int64(c.Quantity), 3, 0))
		}
		if *b.Quantity == 0 {
			s.share(e, Losses, e.On, e.On, c.Value)
			s.share(e, Donated, e.On, e.On, c.Donated)
			return nil
		}
		st := s.store(*c.Product)
		st.Arrived += *b.Quantity
		st.put(*b.Quantity, c.Value, c.Donated)
		return nil
	}
	if c.Batch == nil {
		return Refuse("unknown_reference", "goods were sent, not fish: give the quantity")
	}
	n := *b.Count
	if n > c.Fish {
		return Refuse("not_enough_fish", "only %d fish were sent", c.Fish)
	}
	weight := c.Weight
	switch {
	case b.Weight != nil:
		w := b.Weight.Milligrams()
		weight = &w
	case weight != nil && c.Fish > 0:
		w := Milligrams(mulDiv(int64(*weight), int64(n), int64(c.Fish)))
		weight = &w
	}
	return s.join(*b.Batch, n, weight, c.Value, c.Donated, withdrawal{until: c.WithdrawUntil, heat: c.WithdrawHeat}, PartyID{})
}

func (b Expense) post(s *Site, e *Entry) error {
	from, to := e.On.Month().First(), e.On.Month().Last()
	if b.CoversFrom != nil {
		from, to = *b.CoversFrom, *b.CoversTo
	}
	c, _ := categoryNamed(b.Category)
	return s.charge(e, b.Batch, c, from, to, b.Amount)
}

func (b Labour) post(s *Site, e *Entry) error {
	if b.Batch != nil {
		if _, err := s.batch(*b.Batch); err != nil {
			return err
		}
	}
	s.count(countLabour, int64(b.Hours))
	if b.Amount != nil {
		if err := s.charge(e, b.Batch, HiredLabour, e.On, e.On, *b.Amount); err != nil {
			return err
		}
	}
	if b.UnpaidValue != nil {
		return s.charge(e, b.Batch, Unpaid, e.On, e.On, *b.UnpaidValue)
	}
	return nil
}

func (b Sale) post(s *Site, e *Entry) error {
	if (b.Disposal == "sold" || b.Disposal == "eaten") && b.Amount == nil && b.UnitPrice == nil {
		return &Error{Kind: Refused, Code: "price_needed", Detail: "say for how much it was sold or, if it was eaten here, what it would have been sold for at the gate",
			Fields: []FieldError{{"/amount", "give the amount or the price of a kilogram"}}}
	}
	if b.Batch == nil {
		if b.Disposal == "sold" || b.Disposal == "eaten" {
			s.share(e, ByProduct, e.On, e.On, b.value())
		}
		return nil
	}
	st, err := s.batch(*b.Batch)
	if err != nil {
		return err
	}
	switch b.Disposal {
	case "sold":
		st.SoldG += b.live()
		st.Cash += b.value()
	case "eaten":
		st.EatenG += b.live()
		st.Imputed += b.value()
	case "given":
		st.GivenG += b.live()
		st.Given += b.value()
	case "discarded":
		st.DiscardedG += b.live()
	}
	return nil
}

func (Payment) post(*Site, *Entry) error { return nil }

func (b Incident) post(s *Site, _ *Entry) error {
	if b.Unit != nil {
		if err := s.unit(*b.Unit, "/unit_id"); err != nil {
			return err
		}
	}
	if b.Batch != nil {
		if _, err := s.batch(*b.Batch); err != nil {
			return err
		}
	}
	return nil
}

func (Reversal) post(*Site, *Entry) error { return nil }
