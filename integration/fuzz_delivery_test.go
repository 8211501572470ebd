package integration_test

// delivered makes what is said of an order fit what the contract says in words only. What
// does not is refused, so it is drawn too, but seldom.
func (d *drawer) delivered(operation string, body map[string]any) {
	switch operation {
	case "recordDeliveries":
		items, _ := body["deliveries"].([]any)
		if len(items) == 0 {
			return
		}
		m := items[0].(map[string]any)
		for _, name := range []string{"weighed", "into_batch_id", "batch_id", "batch_name", "mean_weight_g"} {
			delete(m, name)
		}
		m["request_id"], m["occurred_on"] = d.w.id(65), d.w.today.String()
		m["counted"], m["dead"], m["batch_id"] = d.between("counted", 1, 210), 0, d.fresh("batch")
		body["deliveries"] = items[:1]
	case "fixAllotment":
		body["available"] = d.between("available", 0, 400)
	case "answerClaim":
		if body["declined"] == nil || d.oneIn(2) {
			delete(body, "declined")
			body["number"], body["amount"], body["credited_on"] = "CN", "0.50", d.w.today.String()
			return
		}
		for _, name := range []string{"number", "amount", "credited_on"} {
			delete(body, name)
		}
	case "recordRoundPayment":
		body["site_id"], body["amount"] = d.w.id(1), "12.00"
	}
}
