package integration_test

import "strings"

// purchase makes what is asked of a round, or said of one, fit what the contract says
// in words only. What does not is refused, so it is drawn too, but seldom.
func (d *drawer) purchase(r *fuzzed, body map[string]any) {
	operation := r.op.OperationID
	at := func(round string) {
		r.path, r.strangeID = strings.Replace(r.op.path, "{id}", round, 1), false
	}
	drop := func(names ...string) {
		for _, name := range names {
			delete(body, name)
		}
	}
	switch operation {
	case "createRound":
		if delete(body, "product_id"); d.oneIn(4) {
			drop("species", "need")
			body["product_id"] = d.w.id(41)
		} else if body["species"] == nil {
			body["species"] = "CLZ"
		}
		body["deadline"], body["window_from"], body["window_to"] = (d.w.today+10).String()+"T00:00:00Z", (d.w.today + 20).String(), (d.w.today + 30).String()
	case "setRoundState":
		if !d.oneIn(4) {
			body["state"] = pick(d.t, "step", []string{"open", "closed"})
		}
	case "planRound":
		at(d.w.id(35))
	case "createOrders":
		at(d.w.id(35))
		body["plan_version"] = d.between("version", 1, 2)
	case "changeOrder":
		at(d.w.id(36))
		body["lines"] = []any{map[string]any{"request_id": d.w.id(27), "quantity": 100 + d.between("quantity", 1, 60)}}
	case "payDeposit":
		body["amount"], body["paid_on"] = "12.00", d.w.today.String()
	case "createRequest":
		at(d.w.id(34))
		body["site_id"], body["unit_id"] = d.w.id(1), d.w.id(12)
		fallthrough
	case "reviseRequest":
		drop("least", "most", "size_from_g", "size_to_g", "earliest", "latest")
		if body["note"] = "As told."; operation == "reviseRequest" {
			drop("quantity")
		}
	case "createQuote", "reviseQuote":
		drop("most", "expires_on", "least_order", "pack", "stops", "fee_per_km", "fish_per_vessel", "earliest", "latest", "mean_weight_g")
		if operation == "createQuote" {
			body["mean_weight_g"], body["most"], body["earliest"], body["latest"] = 5, 1000, (d.w.today + 20).String(), (d.w.today + 30).String()
		}
		body["steps"], body["steps_apply"] = []any{map[string]any{"from": 1, "unit_price": "0.30"}, map[string]any{"from": d.between("from", 2, 60), "unit_price": "0.20"}}, "incremental"
		for _, name := range []string{"fee_order", "fee_drop"} {
			if body[name] != nil {
				body[name] = "12.00"
			}
		}
	}
}
