package integration_test

import "shoalbook/domain"

// entry makes up an entry, of any kind, on any day, which mostly fits.
func (c *client) entry() members {
	x := some(c.random, c.sites[:])
	e := members{"id": newText(), "kind": some(c.random, domain.Kinds()), "site_id": x.id, "occurred_on": day(1 + c.random.IntN(70))}
	if c.oneIn(2) { // or in time, after all that is recorded
		e["occurred_on"] = day(int(80 + c.days.Add(1)/3))
	}
	if c.oneIn(4) {
		e["occurred_at"] = some(c.random, []string{"06:30", "12:00", "17:45"})
	}
	batch := some(c.random, x.batches)
	switch e["kind"] {
	case "reversal":
		return c.entry() // has a way of its own
	case "stocking":
		e["batch_id"], e["origin"], e["count"] = batch, some(c.random, []string{"bought", "bred", "opening"}), 1+c.random.IntN(50)
		if c.oneIn(2) {
			e["weight_kg"], e["amount"] = c.kg(0, 2), c.money()
		}
	case "death":
		e["batch_id"], e["count"] = some(c.random, x.all), 1+c.random.IntN(5)
		if c.oneIn(3) {
			e["weight_kg"] = c.kg(0, 1)
		}
		if c.oneIn(60) {
			e["empties"] = true
		}
	case "sample":
		e["batch_id"], e["count"], e["weight_kg"] = some(c.random, x.all), 20, c.kg(1, 5)
		if c.oneIn(3) {
			e["mean_length_cm"], e["length_type"] = 15.5, "total"
		}
	case "count":
		e["batch_id"], e["count"] = some(c.random, x.all), 1500+c.random.IntN(700)
		if c.oneIn(2) {
			e["weight_kg"] = c.kg(100, 300)
		}
	case "move":
		e["batch_id"] = batch
		if c.oneIn(3) {
			e["to_unit_id"] = some(c.random, x.tanks)
			break
		}
		e["to_batch_id"], e["count"] = some(c.random, x.batches), 1+c.random.IntN(60)
		if c.oneIn(2) {
			e["weight_kg"] = c.kg(0, 6)
		}
	case "harvest":
		e["batch_id"], e["weight_kg"] = some(c.random, x.all), c.kg(1, 10)
		if c.oneIn(2) {
			e["count"] = 1 + c.random.IntN(80)
		}
		if c.oneIn(4) {
			e["destination"] = some(c.random, []string{"eaten", "discarded", "kept"})
		}
	case "treatment":
		e["batch_id"], e["what"], e["dose"], e["reason"] = x.all[2], "Oxytetracycline", "75 mg/kg", "red spots" // of which nothing crosses
		e["withdrawal_days"], e["withdrawal_degree_days"] = c.random.IntN(20), c.random.IntN(600)
	case "visit":
		e["findings"], e["batch_id"] = "All is well.", batch
	case "crop":
		e["unit_id"], e["crop"], e["weight_kg"] = x.bed, "spinach", c.kg(0, 20)
	case "incident":
		e["type"], e["unit_id"] = "power_cut", some(c.random, x.tanks)
	case "water":
		e["unit_id"], e["temperature_c"] = some(c.random, x.tanks), c.kg(20, 30)
		if c.oneIn(2) {
			e["ph"], e["tan_mg_l"], e["tan_basis"] = c.kg(6, 8), c.kg(0, 2), some(c.random, []string{"n", "nh3", "nh4"})
		}
	case "tally":
		e["measure"], e["count"] = "meals", c.random.IntN(90)
	default:
		c.trade(e, x, batch)
	}
	return e
}

// trade makes up the rest of an entry about goods or money.
func (c *client) trade(e members, x farm, batch string) {
	product := some(c.random, []string{c.feed, c.feed, c.gift, c.salt})
	switch e["kind"] {
	case "receipt":
		e["product_id"], e["quantity"], e["origin"] = product, c.kg(0, 200), "bought"
		switch {
		case product == c.gift:
			e["origin"], e["amount"] = "donated", c.money()
		case c.oneIn(2):
			e["unit_price"], e["supplier_id"] = "0.98765", c.seller
		default:
			e["amount"] = c.money()
		}
	case "feeding":
		e["batch_id"], e["product_id"], e["weight_kg"] = batch, c.feed, c.kg(0, 12)
		if c.oneIn(4) { // with gifts, of which nothing crosses
			e["batch_id"], e["product_id"] = x.all[2], c.gift
		}
	case "use":
		e["product_id"], e["quantity"] = some(c.random, []string{c.salt, c.power}), c.kg(0, 10)
		if c.oneIn(2) {
			e["batch_id"] = batch
		}
	case "stocktake":
		e["product_id"], e["quantity"] = product, c.kg(0, 300)
	case "sent":
		e["to_site_id"] = c.sites[0].id
		if x.id == c.sites[0].id {
			e["to_site_id"] = c.sites[1].id
		}
		if c.oneIn(2) {
			e["product_id"], e["quantity"] = c.feed, c.kg(0, 30)
			break
		}
		e["batch_id"], e["count"], e["weight_kg"] = batch, 10+c.random.IntN(40), c.kg(1, 4)
	case "received":
		c.receive(e, x)
	case "expense":
		e["category"], e["amount"] = some(c.random, []string{"energy", "transport", "rent", "repairs"}), c.money()
		switch {
		case c.oneIn(3):
			e["batch_id"] = batch
		case c.oneIn(2):
			e["covers_from"], e["covers_to"] = day(c.random.IntN(40)), day(40+c.random.IntN(60))
		}
		if c.oneIn(3) {
			e["supplier_id"] = c.seller
		}
	case "labour":
		e["hours"], e["amount"], e["unpaid_value"] = 2.25, c.money(), c.money()
		if c.oneIn(2) {
			e["batch_id"] = batch
		}
	case "sale":
		e["disposal"], e["weight_kg"] = some(c.random, []string{"sold", "eaten", "given", "discarded"}), c.kg(0, 1)
		if e["disposal"] == "sold" || e["disposal"] == "eaten" {
			e["unit_price"] = "3.0125"
		}
		if c.oneIn(3) {
			e["crop"] = "spinach"
			break
		}
		e["batch_id"] = some(c.random, x.all)
	case "payment":
		e["party_id"], e["direction"], e["amount"] = c.buyer, some(c.random, []string{"received", "paid"}), c.money()
	}
}

// receive makes up the receipt of something that was sent.
func (c *client) receive(e members, x farm) {
	sent := c.onTheWay()
	if sent == nil {
		e["sent_id"], e["quantity"] = newText(), 1
		return
	}
	e["sent_id"], e["site_id"], e["occurred_on"] = sent["id"], sent["to_site_id"], day(72+c.random.IntN(5))
	if sent["product_id"] != nil {
		if e["quantity"] = sent["quantity"]; c.oneIn(2) { // the rest was lost on the way
			e["quantity"] = 0.001
		}
		return
	}
	for _, other := range c.sites {
		if other.id == sent["to_site_id"] {
			e["batch_id"] = other.all[3]
		}
	}
	e["count"] = sent["count"].(int) - c.random.IntN(3)
	if c.oneIn(2) {
		e["weight_kg"] = c.kg(1, 3)
	}
}
