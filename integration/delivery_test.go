package integration_test

import (
	"net/http"
	"strings"
	"testing"
)

// transport asks whether a delivery can be made.
func (s *service) transport(query string) response {
	s.t.Helper()
	return s.do("GET", "/v1/transport?"+query, s.keeper, nil)
}

// K-36, computed on a published source: Dupree & Huner 1984 as printed in SRAC 390.
func TestTransport(t *testing.T) {
	t.Parallel()
	s := newService(t)
	const catfish = "species=CLZ&mean_weight_g=1&"
	s.transport(catfish + "fish=1000&litres=2&hours=1&temperature_c=18").want(http.StatusOK).wantAt(map[string]string{
		"/verdict": "overloaded", "/load_g_l/value": "500", "/most_g_l/value": "443", "/most_g_l/provenance": "read", "/fine_to_g_l/value": "120",
		"/fine_fish/value": "240", "/fine_bags/value": "5", "/size": "within",
	})
	s.transport(catfish + "fish=750&litres=10&hours=24&temperature_c=18").want(http.StatusOK).wantAt(map[string]string{
		"/verdict": "fine", "/load_g_l/value": "75", "/fine_to_g_l/value": "84",
	})
	s.transport(catfish + "fish=750&litres=10&hours=24&temperature_c=28").want(http.StatusOK).wantAt(map[string]string{
		"/verdict": "tight", "/fine_to_g_l/value": "42", "/most_g_l/value": "162",
	})
	s.transport(catfish + "fish=750&litres=10&hours=24&temperature_c=28&bags=2").want(http.StatusOK).wantAt(map[string]string{
		"/verdict": "fine", "/load_g_l/value": "37.5", "/fine_fish/value": "840",
	})
	none := s.transport("species=FCP&fish=10&mean_weight_g=1&litres=10&hours=24&temperature_c=18").want(http.StatusOK).wantAt(map[string]string{
		"/verdict": "unknown", "/fine_to_g_l/value": "null", "/fine_to_g_l/source": "null", "/fine_bags/value": "null",
	})
	if reason := none.at("/fine_to_g_l/reason"); !strings.Contains(reason, "no table for this species") {
		t.Errorf("the reason is %q", reason)
	}
	s.transport(catfish + "fish=10&litres=10&hours=49&temperature_c=18").want(http.StatusOK).wantAt(map[string]string{"/verdict": "unknown", "/table_hours/value": "null"})
}

func TestTransportBadInput(t *testing.T) {
	t.Parallel()
	s := newService(t)
	const good = "species=CLZ&fish=10&mean_weight_g=1&litres=10&hours=24&temperature_c=18"
	s.transport(good).want(http.StatusOK)
	for _, c := range []struct{ member, was, is, code string }{
		{"litres", "litres=10", "litres=0", "invalid_request"},
		{"litres", "litres=10", "litres=-1", "invalid_request"},
		{"litres", "litres=10", "litres=NaN", "invalid_request"},
		{"litres", "litres=10", "litres=0.0001", "too_precise"},
		{"fish", "fish=10", "fish=0", "invalid_request"},
		{"fish", "fish=10", "fish=1.5", "invalid_request"},
		{"hours", "hours=24", "hours=0", "invalid_request"},
		{"hours", "hours=24", "hours=Inf", "invalid_request"},
		{"temperature_c", "temperature_c=18", "temperature_c=82", "invalid_request"},
		{"species", "species=CLZ", "species=catfish", "invalid_request"},
		{"mean_weight_g", "mean_weight_g=1", "mean_weight_g=", "invalid_request"},
	} {
		s.transport(strings.Replace(good, c.was, c.is, 1)).want(http.StatusBadRequest, c.code).wantAt(map[string]string{"/errors/0/pointer": "/query/" + c.member})
	}
	s.transport(strings.Replace(good, "&fish=10", "", 1)).want(http.StatusBadRequest, "invalid_request")
}
