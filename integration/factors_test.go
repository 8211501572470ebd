package integration_test

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
)

// TestOwnFactors: a report goes by the factor of the co-operative that holds on its last
// day, says whose it is, and stays by it when another one is set.
func TestOwnFactors(t *testing.T) {
	t.Parallel()
	r := newReporting(newService(t))
	set := `{"species":"CLZ","form":"fillet","yield_percent":40,"protein_g_100g":18,"source":"Weighed at the school"}`
	id := r.create("/v1/factors", set)
	address := "/v1/factors/" + id
	goesBy := func(report, portions, protein, source string) domain.ReportDocument {
		t.Helper()
		d := r.document(report)
		if p, g := figureOf(t, d, "portions"), figureOf(t, d, "protein"); *p.Value != portions || *g.Value != protein {
			t.Errorf("%s portions and %s kg of protein, want %s and %s", *p.Value, *g.Value, portions, protein)
		}
		i := slices.IndexFunc(d.Factors, func(f domain.ReportFactor) bool { return f.Species == "CLZ" })
		if n := len(d.Factors); n != 2 || i < 0 || !strings.Contains(d.Factors[i].Source, source) {
			t.Errorf("the factors are %+v", d.Factors)
		}
		return d
	}
	goesBy(r.report, "2000", "18", "Weighed at the school") // computed: 250 kg × 40 % ÷ 50 g, and × 18 %
	// From August on another one holds, which is no matter for July.
	r.do("PATCH", address, r.coordinator, `{"yield_percent":45.5,"valid_from":"2026-08-01"}`, "If-Match", "*").want(http.StatusOK).wantAt(map[string]string{"/yield_percent": "45.5", "/protein_g_100g": "18"})
	goesBy(r.report, "2000", "18", "Weighed at the school")
	goesBy(r.begins("2026-01-01", "2026-08-31"), "2275", "20.475", "Weighed at the school") // computed: 250 × 45.5 % = 113.75 kg
	r.issues(r.report).want(http.StatusCreated)
	r.do("PATCH", address, r.coordinator, `{"yield_percent":30,"valid_from":"2026-01-01"}`, "If-Match", "*").want(http.StatusOK)
	goesBy(r.report, "2000", "18", "Weighed at the school")
	r.do("GET", "/v1/reports/"+r.report+"/check", r.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/same": "true"})
	goesBy(r.begins("2026-01-01", "2026-07-31"), "1500", "13.5", "Weighed at the school")
	r.do("PATCH", address, r.coordinator, `{"archived":true}`, "If-Match", "*").want(http.StatusOK)
	goesBy(r.begins("2026-01-01", "2026-07-31"), "1545", "14.932425", "Taiwo") // what is published

	r.create("/v1/factors", set)
	r.do("POST", "/v1/factors", r.coordinator, set, "Idempotency-Key", newText()).want(http.StatusConflict, "already_set")
	r.do("PATCH", address, r.coordinator, `{"archived":false}`, "If-Match", "*").want(http.StatusConflict, "already_set")
	r.do("POST", "/v1/factors", r.keeper, set, "Idempotency-Key", newText()).want(http.StatusForbidden, "forbidden")
	for what, wrong := range map[string]string{
		`"yield_percent":40`:               `"yield_percent":101`,
		`"protein_g_100g":18`:              `"protein_g_100g":51`,
		`"source":"Weighed at the school"`: `"source":" "`,
		`"form":"fillet"`:                  `"form":"smoked"`,
	} {
		r.do("POST", "/v1/factors", r.coordinator, strings.Replace(set, what, wrong, 1), "Idempotency-Key", newText()).want(http.StatusBadRequest, "invalid_request")
	}
	r.do("POST", "/v1/factors", r.coordinator, strings.Replace(set, "CLZ", "ZZZ", 1), "Idempotency-Key", newText()).want(http.StatusUnprocessableEntity, "unknown_reference")
}

// TestPondYield: the yield of ponds is by their area, where it is known on the last day.
func TestPondYield(t *testing.T) {
	t.Parallel()
	r := newReporting(newService(t))
	if f := figureOf(t, r.document(r.report), "yield_pond_m2"); f.Value != nil || !strings.Contains(f.Reason, "pond_m2 is 0") {
		t.Errorf("without any area the yield is %v, for the reason %q", f.Value, f.Reason)
	}
	r.do("PATCH", "/v1/units/"+r.a, r.coordinator, `{"pond_area_m2":27.5,"valid_from":"2026-08-01"}`, "If-Match", "*").want(http.StatusOK).wantAt(map[string]string{"/pond_area_m2": "27.5"})
	if f := figureOf(t, r.document(r.report), "yield_pond_m2"); f.Value != nil {
		t.Errorf("with an area from August on the yield of July is %v", *f.Value)
	}
	r.do("PATCH", "/v1/units/"+r.a, r.coordinator, `{"pond_area_m2":20,"valid_from":"2026-01-01"}`, "If-Match", "*").want(http.StatusOK)
	f := figureOf(t, r.document(r.report), "yield_pond_m2")
	if f.Value == nil || *f.Value != "44" || f.Numerator.Value != "880" || f.Denominator.Value != "20" { // computed: 880 kg ÷ 20 m²
		t.Errorf("the yield is %+v", f)
	}
	r.issues(r.report).want(http.StatusCreated)
	r.do("GET", "/v1/reports/"+r.report+"/check", r.coordinator, nil).want(http.StatusOK).wantAt(map[string]string{"/same": "true"})
}
