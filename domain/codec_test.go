package domain_test

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"shoalbook/domain"
)

// bodies has one entry body of every kind with every member that it may have.
func bodies() []domain.Body {
	g, mg, n, money := new(kg(12.345)), gram(6.789), fish(40), new(domain.Money(1234_56))
	price, text, on := new(domain.UnitPrice(12_3456)), new("words, \"quoted\" – ~/ü"), new(day(3))
	other, entry := new(id[domain.Batch](24)), id[domain.Entry](51)
	return []domain.Body{
		domain.Stocking{Batch: a, Origin: "bought", Count: 40, MeanWeight: mg, Weight: g, Supplier: &hatchery, Amount: money, UnitPrice: price, Paid: true},
		domain.Death{Batch: a, Count: 40, Weight: g, Cause: text, Empties: true},
		domain.Sample{Batch: a, Count: 40, Weight: g, WeightG: mg, MeanLengthCM: new(milli(12.5)), LengthType: text, WeightCVPercent: new(milli(8.25))},
		domain.Count{Batch: a, Count: 40, Weight: g},
		domain.Move{Batch: a, ToBatch: other, ToUnit: &tank2, Count: n, Weight: g, Empties: true},
		domain.Harvest{Batch: a, Weight: *g, Count: n, Empties: true, SizeClass: text, Destination: new("kept"), OverrideWithdrawal: text},
		domain.Crop{Unit: tank1, Crop: *text, Weight: *g},
		domain.Receipt{Product: feed, Quantity: qty(2.5), Origin: "donated", Supplier: &hatchery, Amount: money, UnitPrice: price, Lot: text, ExpiresOn: on, Paid: true},
		domain.Feeding{Batch: a, Product: feed, Weight: *g, Response: text},
		domain.Use{Product: salt, Quantity: qty(0.001), Batch: &a},
		domain.Stocktake{Product: salt, Quantity: 0},
		domain.Sent{ToSite: otherSite, Product: &feed, Quantity: new(qty(7)), Batch: &a, Count: n, Weight: g, Empties: true},
		domain.Received{Sent: entry, Quantity: new(qty(7)), Batch: &a, Count: n, Weight: g},
		domain.Expense{Category: "rent", Amount: -5, Batch: &a, Supplier: &hatchery, CoversFrom: on, CoversTo: on, Paid: true},
		domain.Labour{Hours: milli(7.25), Amount: money, UnpaidValue: money, Batch: &a},
		domain.Sale{Disposal: "sold", Batch: &a, Crop: text, Weight: *g, LiveWeight: g, Count: n, Form: text, Amount: money, UnitPrice: price, Buyer: &hatchery, Paid: true},
		domain.Payment{Party: hatchery, Direction: "paid", Amount: 100_00},
		domain.Water{Unit: tank1, TemperatureC: new(milli(27.5)), OxygenMgL: new(milli(5.1)), PH: new(milli(7.05)), TANMgL: new(milli(0.5)), TANBasis: new("nh4"),
			NO2MgL: new(milli(0.1)), NO3MgL: new(milli(40)), AlkalinityMgL: new(milli(80)), SalinityPPT: new(milli(0.2)), LitresAdded: new(milli(100))},
		domain.Treatment{Batch: a, Product: &salt, Quantity: new(qty(2)), What: text, Dose: *text, Reason: *text, PrescribedBy: text,
			WithdrawalDays: new(domain.Days(10)), WithdrawalDegreeDays: new(domain.DegreeDays(500))},
		domain.Visit{Findings: *text, Advice: text, Unit: &tank1, Batch: &a, NextOn: on},
		domain.Tally{Measure: "meals", Count: 90, Female: n, Male: n},
		domain.Incident{Type: "theft", Unit: &tank1, Batch: &a, Hours: new(milli(1.5))},
		domain.Reversal{Reverses: entry, Reason: *text, Replacement: &entry},
	}
}

// Every kind is written and read again as it was, full and bare; the members are
// named as the contract has them.
func TestEveryKindRoundTrips(t *testing.T) {
	t.Parallel()
	members := map[string]string{
		"stocking":  "batch_id origin count mean_weight_g weight_kg supplier_id amount unit_price paid",
		"death":     "batch_id count weight_kg cause empties",
		"sample":    "batch_id count weight_kg weight_g mean_length_cm length_type weight_cv_percent",
		"count":     "batch_id count weight_kg",
		"move":      "batch_id to_batch_id to_unit_id count weight_kg empties",
		"harvest":   "batch_id weight_kg count empties size_class destination override_withdrawal",
		"crop":      "unit_id crop weight_kg",
		"receipt":   "product_id quantity origin supplier_id amount unit_price lot expires_on paid",
		"feeding":   "batch_id product_id weight_kg response",
		"use":       "product_id quantity batch_id",
		"stocktake": "product_id quantity",
		"sent":      "to_site_id product_id quantity batch_id count weight_kg empties",
		"received":  "sent_id quantity batch_id count weight_kg",
		"expense":   "category amount batch_id supplier_id covers_from covers_to paid",
		"labour":    "hours amount unpaid_value batch_id",
		"sale":      "disposal batch_id crop weight_kg live_weight_kg count form amount unit_price buyer_id paid",
		"payment":   "party_id direction amount",
		"water":     "unit_id temperature_c oxygen_mg_l ph tan_mg_l tan_basis no2_mg_l no3_mg_l alkalinity_mg_l salinity_ppt litres_added",
		"treatment": "batch_id product_id quantity what dose reason prescribed_by withdrawal_days withdrawal_degree_days",
		"visit":     "findings advice unit_id batch_id next_on",
		"tally":     "measure count female male",
		"incident":  "type unit_id batch_id hours",
		"reversal":  "reverses_id reason replacement_id",
	}
	var kinds []string
	for _, full := range bodies() {
		kind := full.Kind()
		kinds = append(kinds, kind)
		names, optional := domain.Members(kind)
		if got := strings.Join(names, " "); got != members[kind] {
			t.Errorf("%s has the members %s, want %s", kind, got, members[kind])
		}
		bare := reflect.New(reflect.TypeOf(full)).Elem()
		for i, name := range names {
			if !optional[name] {
				bare.Field(i).Set(reflect.ValueOf(full).Field(i))
			}
		}
		for _, body := range []domain.Body{full, bare.Interface().(domain.Body)} {
			raw := domain.EncodeBody(body, "KES")
			back, err := domain.DecodeBody(kind, raw, "KES")
			if err != nil || !reflect.DeepEqual(back, body) || !json.Valid(raw) {
				t.Errorf("%s is read again as %+v, %v", raw, back, err)
			}
			e := domain.Entry{ID: id[domain.Entry](7), Site: site, On: day(40), At: new(domain.Minute(390)), Note: "a <b> & \"c\"\n\t\u2028é", Body: body}
			raw = domain.EncodeEntry(&e, "KES")
			if again, err := domain.DecodeEntry(raw, "KES"); err != nil || !reflect.DeepEqual(again, e) {
				t.Errorf("%s is read again as %+v, %v", raw, again, err)
			}
			if !optionalEqual(raw, e) {
				t.Errorf("%s is not made of its parts", raw)
			}
		}
	}
	if !slices.Equal(kinds, domain.Kinds()) {
		t.Errorf("the kinds are %v, tested are %v", domain.Kinds(), kinds)
	}
}

func optionalEqual(raw []byte, e domain.Entry) bool {
	return string(raw) == string(domain.JoinEntry(e.ID, e.Body.Kind(), e.Site, e.On, e.At, e.Note, domain.EncodeBody(e.Body, "KES")))
}

func TestCanonicalBody(t *testing.T) {
	t.Parallel()
	for written, want := range map[string]string{
		`{"paid":false,"amount":"12.50","origin":"bought","quantity":2.500,"product_id":"01000000-0000-0000-0000-00000000001F"}`:   `{"product_id":"01000000-0000-0000-0000-00000000001f","quantity":2.5,"origin":"bought","amount":"12.50"}`,
		`{ "product_id" : "01000000-0000-0000-0000-00000000001f" , "quantity" : 1e3, "origin":"\u0062ought", "unit_price":"7.1" }`: `{"product_id":"01000000-0000-0000-0000-00000000001f","quantity":1000,"origin":"bought","unit_price":"7.10"}`,
		`{"product_id":"01000000-0000-0000-0000-00000000001f","quantity":0.001,"origin":"opening","lot":"","paid":true}`:           `{"product_id":"01000000-0000-0000-0000-00000000001f","quantity":0.001,"origin":"opening","lot":"","paid":true}`,
	} {
		b, err := domain.DecodeBody("receipt", []byte(written), "KES")
		if err != nil {
			t.Errorf("%s: %v", written, err)
		} else if got := string(domain.EncodeBody(b, "KES")); got != want {
			t.Errorf("%s is written %s, want %s", written, got, want)
		}
	}
}

func TestDecodeEntryRefuses(t *testing.T) {
	t.Parallel()
	const good = `{"id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8d","kind":"receipt","site_id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c01","occurred_on":"2026-05-31","occurred_at":"06:30","note":"n","product_id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c03","quantity":2,"origin":"bought","amount":"5.00","expires_on":"2026-12-31"}`
	if _, err := domain.DecodeEntry([]byte(good), "KES"); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ old, new, pointer string }{
		{`"id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8d",`, ``, "/id"},
		{`"id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8d"`, `"id":"00000000-0000-0000-0000-000000000000"`, "/id"},
		{`"id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8d"`, `"id":"ffffffff-ffff-ffff-ffff-ffffffffffff"`, "/id"},
		{`"id":"0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8d"`, `"id":7`, "/id"},
		{`"receipt"`, `"receipts"`, "/kind"},
		{`"receipt"`, `null`, "/kind"},
		{`"2026-05-31"`, `"2026-02-30"`, "/occurred_on"},
		{`"2026-05-31"`, `"2026-5-31"`, "/occurred_on"},
		{`"06:30"`, `"24:00"`, "/occurred_at"},
		{`"06:30"`, `""`, "/occurred_at"},
		{`"06:30"`, `null`, "/occurred_at"},
		{`"n"`, `null`, "/note"},
		{`"n"`, `"\u0000"`, "/note"},
		{`"n"`, "\"\xff\"", "/note"},
		{`"n"`, `["n"]`, "/note"},
		{`"quantity":2`, `"quantity":"2"`, "/quantity"},
		{`"quantity":2`, `"quantity":2.0001`, "/quantity"},
		{`"quantity":2`, `"quantity":1.5e-4`, "/quantity"},
		{`"quantity":2`, `"quantity":1e300`, "/quantity"},
		{`"quantity":2`, `"quantity":10000001`, "/quantity"},
		{`"quantity":2`, `"quantity":true`, "/quantity"},
		{`"quantity":2`, `"quantity":2,"quantity":3`, "/quantity"},
		{`"quantity":2,`, ``, "/quantity"},
		{`"5.00"`, `5`, "/amount"},
		{`"5.00"`, `"5.001"`, "/amount"},
		{`"5.00"`, `"5,00"`, "/amount"},
		{`"5.00"`, `"100000000000000"`, "/amount"},
		{`"expires_on"`, `"expires"`, "/expires"},
		{`"expires_on"`, `"a/b~c"`, "/a~1b~0c"},
		{`"note":"n"`, `"note":"n","paid":"true"`, "/paid"},
	} {
		raw := strings.Replace(good, c.old, c.new, 1)
		_, err := domain.DecodeEntry([]byte(raw), "KES")
		refusal, ok := err.(*domain.Error)
		if !ok || refusal.Kind != domain.Invalid || refusal.Code != "invalid_request" || len(refusal.Fields) != 1 || refusal.Fields[0].Pointer != c.pointer {
			t.Errorf("%s in place of %s gives %v, want an error at %s", c.new, c.old, err, c.pointer)
		}
	}
	for _, raw := range []string{``, `null`, `[]`, `"x"`, `{`, `{"id":}`, good + `,`, good + good, `{"id" "x"}`, `{'id':1}`} {
		if _, err := domain.DecodeEntry([]byte(raw), "KES"); err == nil || err.(*domain.Error).Code != "invalid_json" {
			t.Errorf("%q gives %v", raw, err)
		}
	}
	if _, err := domain.DecodeEntry([]byte(strings.Replace(good, `"5.00"`, `"5.00","quantitty":1,"id":"x"`, 1)), "KES"); len(err.(*domain.Error).Fields) < 2 {
		t.Errorf("not everything that is wrong is told: %v", err)
	}
	if _, err := domain.DecodeBody("fishing", []byte(`{}`), "KES"); err == nil {
		t.Error("a kind that does not exist is read")
	}
	if _, err := domain.DecodeBody("payment", []byte(`[]`), "KES"); err == nil {
		t.Error("a list is read as a body")
	}
}

// A currency without decimals takes none, and four in a price; one with three has seven.
func TestDecimalsOfACurrency(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		currency domain.Currency
		amount   domain.Money
		text     string
		price    domain.UnitPrice
		priced   string
	}{
		{"UGX", 180, "180", 180_0001, "180.0001"},
		{"KES", 180_05, "180.05", 180_05_0001, "180.050001"},
		{"TND", 180_005, "180.005", 180_005_0001, "180.0050001"},
		{"KES", -5, "-0.05", 5_0000, "0.05"},
	} {
		m, err := c.currency.Parse(c.text)
		p, err2 := c.currency.ParsePrice(c.priced)
		if err != nil || err2 != nil || m != c.amount || p != c.price || c.currency.Format(m) != c.text || c.currency.FormatPrice(p) != c.priced {
			t.Errorf("%s: %s is %d, %v; %s is %d, %v", c.currency, c.text, m, err, c.priced, p, err2)
		}
		if _, err := c.currency.Parse(c.priced); c.price%1_0000 != 0 && err == nil {
			t.Errorf("%s takes the amount %s", c.currency, c.priced)
		}
	}
}

// Any body that can be drawn is read as it was written.
func TestBodiesRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		body := drawBody(t, a, b)
		currency := rapid.SampledFrom([]domain.Currency{"KES", "UGX", "TND"}).Draw(t, "currency")
		raw := domain.EncodeBody(body, currency)
		back, err := domain.DecodeBody(body.Kind(), raw, currency)
		if err != nil || !reflect.DeepEqual(back, body) {
			t.Fatalf("%s is read again as %+v, %v", raw, back, err)
		}
	})
}
