package integration_test

import "slices"

// either lists, by kind of entry, members of which the contract says in words that
// one is given and no other.
var either = map[string][][]string{
	"stocking": {{"mean_weight_g", "weight_kg"}, {"amount", "unit_price"}},
	"sample":   {{"weight_kg", "weight_g"}},
	"move":     {{"to_batch_id", "to_unit_id"}},
	"receipt":  {{"amount", "unit_price"}},
	"sale":     {{"batch_id", "crop"}, {"amount", "unit_price"}},
}

// sensible makes an entry fit what the contract says in words only, and the things
// that it names fit each other. What does not is a refusal of that entry, so it is
// drawn too, but seldom.
func (d *drawer) sensible(kind string, e map[string]any) {
	for _, group := range either[kind] {
		given := slices.DeleteFunc(slices.Clone(group), func(m string) bool { return e[m] == nil })
		for _, m := range given[min(1, len(given)):] {
			delete(e, m)
		}
	}
	together := func(a, b string) {
		if e[a] == nil || e[b] == nil {
			delete(e, a)
			delete(e, b)
		}
	}
	switch kind {
	case "sample":
		together("mean_length_cm", "length_type")
		if e["weight_kg"] == nil && e["weight_g"] == nil {
			e["weight_kg"] = 1.5
		}
	case "expense":
		together("covers_from", "covers_to")
	case "move":
		d.move(e)
	case "sale":
		if e["batch_id"] == nil && e["crop"] == nil {
			e["crop"] = "rape"
		}
		if e["crop"] != nil {
			delete(e, "live_weight_kg")
			delete(e, "count")
		}
		if e["disposal"] != "sold" {
			delete(e, "buyer_id")
		}
	case "sent":
		d.sent(e)
	case "received":
		d.received(e)
	case "water":
		e["temperature_c"] = 25.5
		delete(e, "ph")
		delete(e, "oxygen_mg_l")
	case "tally":
		delete(e, "female")
		delete(e, "male")
	case "death":
		if e["count"] == int64(0) {
			e["empties"] = true
		}
	}
	for _, m := range []string{"batch_id", "unit_id", "reverses_id"} {
		if id, _ := e[m].(string); d.w.place[id] != "" {
			e["site_id"] = d.w.place[id]
		}
	}
}

func (d *drawer) move(e map[string]any) {
	switch {
	case e["to_unit_id"] != nil:
		delete(e, "count")
		delete(e, "empties")
	case e["to_batch_id"] == nil:
		e["to_batch_id"] = d.id("BatchID", "to_batch_id")
		fallthrough
	default:
		if e["count"] == nil {
			e["count"] = int64(1)
		}
	}
}

func (d *drawer) sent(e map[string]any) {
	if e["product_id"] == nil && e["batch_id"] != nil {
		delete(e, "quantity")
		if e["count"] == nil {
			e["count"] = int64(2)
		}
		return
	}
	for _, m := range []string{"batch_id", "count", "weight_kg", "empties"} {
		delete(e, m)
	}
	if e["product_id"] == nil {
		e["product_id"] = d.id("ProductID", "product_id")
	}
	if e["quantity"] == nil {
		e["quantity"] = 3
	}
}

// received takes over one of the things that were sent.
func (d *drawer) received(e map[string]any) {
	if len(d.w.onTheWay) == 0 {
		e["quantity"] = 1
		delete(e, "batch_id")
		delete(e, "count")
		delete(e, "weight_kg")
		return
	}
	sent := pick(d.t, "sent", d.w.onTheWay)
	e["sent_id"], e["site_id"], e["occurred_on"] = sent["id"], sent["to_site_id"], d.w.today.String()
	if sent["product_id"] != nil {
		delete(e, "batch_id")
		delete(e, "count")
		delete(e, "weight_kg")
		e["quantity"] = sent["quantity"]
		return
	}
	delete(e, "quantity")
	delete(e, "weight_kg")
	e["batch_id"], e["count"] = d.id("BatchID", "batch_id"), sent["count"]
}
