package domain

// FamilyFigures are the figures of batches that are one family: split from, merged
// with or graded into each other. What they moved among themselves cancels out, so
// they are worked out from the sums of all of them.
func FamilyFigures(members []Measure) []Figure {
	f := &figures{list: make([]Figure, 0, 8)}
	var all BatchState
	var cost Money
	var standing Milligrams
	noGain := ""
	for _, m := range members {
		f.currency = m.Currency
		b := m.State
		if b == nil {
			continue
		}
		all.Stocked += b.Stocked
		all.StockedMg += b.StockedMg
		all.HarvestedG += b.HarvestedG
		all.DiscardedG += b.DiscardedG
		all.FedG += b.FedG
		cost += b.Cost.Total() + m.Share.Cost.Total()
		w, known := b.weightOf(b.OnHand())
		standing += w
		switch {
		case b.Stocked > 0 && b.StartFish < b.Stocked:
			noGain = unknownStart
		case !known && noGain == "": // the same reason in any order
			noGain = "some fish of the family were never weighed"
		}
	}
	f.fish("stocked", all.Stocked)
	f.mass("harvested_kg", all.HarvestedG.Milligrams(), false)
	f.money("cost", cost)
	if eaten := (all.HarvestedG - all.DiscardedG).Milligrams(); eaten > 0 {
		f.perKg("cost_per_kg", cost, eaten, false, "total cost ÷ weight harvested")
	} else {
		f.null("cost_per_kg", "nothing was harvested that could be eaten or sold")
	}
	f.mass("fed_kg", all.FedG.Milligrams(), false)
	gain := all.HarvestedG.Milligrams() + standing - all.StockedMg
	switch {
	case noGain != "":
		f.null("fcr_economic", noGain)
	case gain <= 0:
		f.null("fcr_economic", "there is no gain in weight to divide by")
	case all.FedG == 0:
		f.null("fcr_economic", "no feed was recorded")
	default:
		f.real("fcr_economic", float64(all.FedG.Milligrams())/float64(gain), nil)
	}
	return f.list
}
