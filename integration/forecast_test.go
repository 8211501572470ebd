package integration_test

import (
	"fmt"
	"math"
	"net/http"
	"testing"
)

// fortnights records a season of catfish that are weighed every fortnight and whose √W
// rises by 0.0045 a °C·day in water of 27 °C, from √10 g.
func (y backyard) fortnights(on int, until int) (batch string, weight func(days int) float64) {
	y.t.Helper()
	weight = func(days int) float64 { return math.Pow(math.Sqrt(10)+0.0045*27*float64(days), 2) }
	batch = y.stocks(day(on), 200, 2)
	y.recorded(y.entry("water", day(on), members{"unit_id": y.tank, "temperature_c": 27}))
	for d := 14; d <= until; d += 14 {
		y.recorded(y.entry("sample", day(on+d), members{"batch_id": batch, "count": 40, "weight_g": math.Round(40 * weight(d))}))
	}
	return batch, weight
}

func (y backyard) forecast(batch, query string) response {
	y.t.Helper()
	return y.do("GET", "/v1/batches/"+batch+"/forecast"+query, y.keeper, nil)
}

// TestForecast: what is expected of fish that grow by a known law.
func TestForecast(t *testing.T) {
	t.Parallel()
	y := newBackyard(newService(t))
	batch, weight := y.fortnights(0, 84)
	r := y.forecast(batch, "?as_of="+day(84)+"&until="+day(126)+"&target_weight_g=400").want(http.StatusOK)
	r.wantAt(map[string]string{"/fish": "200", "/biomass_basis": "sampled", "/reason": "null", "/basis/last_weighed_on": day(84), "/basis/weighings": "7",
		"/basis/temperature_c/value": "27", "/basis/closed_batches": "0", "/days/42/on": day(126), "/target/weight_g": "400", "/plan/questioned": "false"})
	var f struct {
		Days []struct {
			On     string
			Weight struct {
				Median float64
				In80   [2]float64 `json:"interval_80"`
				In95   [2]float64 `json:"interval_95"`
			} `json:"weight_g"`
		}
		Target struct{ On string }
	}
	r.into(&f)
	for _, d := range []int{0, 14, 42} {
		w := f.Days[d].Weight
		off := 0.02 + 0.001*float64(d) // the law of these fish is not that of the forecast
		if want := weight(84 + d); math.Abs(w.Median/want-1) > off || !(w.In95[0] < w.In80[0] && w.In80[0] < want && want < w.In80[1] && w.In80[1] < w.In95[1]) {
			t.Errorf("on day %d %+v is expected, and they weigh %g", 84+d, w, want)
		}
	}
	if len(f.Days) != 43 || f.Target.On < day(133) || f.Target.On > day(145) { // day 138.6 by their law
		t.Errorf("%d days, 400 g on %s", len(f.Days), f.Target.On)
	}
	r.because("no feed was given yet", "/target/feed_price", "/target/feed_cost")

	// A week later, what stands is the forecast, in performance and ration too.
	y.forecast(batch, "?as_of="+day(91)).wantAt(map[string]string{"/biomass_basis": "forecast", "/mean_weight_g/provenance": "computed"})
	y.do("GET", "/v1/batches/"+batch+"/performance?as_of="+day(91), y.keeper, nil).wantAt(map[string]string{"/biomass/on_hand_basis": "forecast"})
	y.ration(batch, "?as_of="+day(91)).wantAt(map[string]string{"/biomass_basis": "forecast"})
	standing := leading(y.do("GET", "/v1/batches/"+batch+"/performance?as_of="+day(91), y.keeper, nil).at("/biomass/on_hand_kg"))
	if want := 0.2 * weight(91); math.Abs(standing/want-1) > 0.03 {
		t.Errorf("%g kg stand, and the fish weigh %g", standing, want)
	}

	// What is closed of the species is learned from; by a later day only.
	y.recorded(y.entry("harvest", day(140), members{"batch_id": batch, "weight_kg": 80, "count": 190, "empties": true}))
	y.forecast(batch, "?as_of="+day(140)).wantAt(map[string]string{"/reason": "the batch is closed: no fish are left", "/days": "[]", "/basis": "null", "/target": "null"})
	next, _ := y.fortnights(150, 28)
	y.forecast(next, "?as_of="+day(190)).wantAt(map[string]string{"/basis/closed_batches": "1"})
	y.forecast(batch, "?as_of="+day(100)).wantAt(map[string]string{"/basis/closed_batches": "0"})
}

// TestForecastOfNothing: no number comes out of nothing, and no question without an answer.
func TestForecastOfNothing(t *testing.T) {
	t.Parallel()
	y := newBackyard(newService(t))
	batch := y.stocks(day(0), 30, 0.3)
	r := y.forecast(batch, "?as_of="+day(10)).want(http.StatusOK)
	r.wantAt(map[string]string{"/reason": "no fish were weighed since they came, and there are too few batches to go by: weigh some of them", "/days": "[]", "/plan": "null", "/sampling/next_on": day(10)})
	y.recorded(y.entry("sample", day(10), members{"batch_id": batch, "count": 1, "weight_g": 12}))
	y.forecast(batch, "?as_of="+day(10)).wantAt(map[string]string{"/reason": "null", "/basis/weighings": "2"})
	r = y.forecast(batch, "?as_of="+day(131)).want(http.StatusOK)
	r.wantAt(map[string]string{"/reason": fmt.Sprintf("the fish were last weighed on %s, more than 120 days ago: weigh some of them", day(10))})
	y.forecast(batch, "?as_of="+day(20)+"&until="+day(19)).want(http.StatusBadRequest, "invalid_request")
	y.forecast(batch, "?as_of="+day(20)+"&until="+day(387)).want(http.StatusBadRequest, "invalid_request")
	y.forecast(batch, "?target_weight_g=0").want(http.StatusBadRequest, "invalid_request")
	y.forecast(newText(), "").want(http.StatusNotFound, "not_found")
}
