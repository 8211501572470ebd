package domain

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// planned is a delivery of catfish of 1 g.
func planned(fish Fish, litres, hours, celsius float64) LiveTransport {
	thousandths := func(v float64) Thousandths { return Thousandths(v * 1000) }
	return LiveTransport{Species: "CLZ", Fish: fish, MeanWeightMg: 1000, Litres: thousandths(litres), Hours: thousandths(hours), TemperatureC: thousandths(celsius), Bags: 1}
}

// K-36, computed on a published source: Dupree & Huner 1984 as printed in SRAC 390.
func TestTransportCheck(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		plan    LiveTransport
		verdict string
		load    float64
		fineTo  float64
		most    float64
		says    string
	}{
		"over even an hour": {planned(1000, 2, 1, 18), TransportOverloaded, 500, 120, 443, "Do not send them like this"},
		"fine when cool":    {planned(750, 10, 24, 18), TransportFine, 75, 84, 324, "This is fine"},
		"tight when warm":   {planned(750, 10, 24, 28), TransportTight, 75, 42, 162, "This is tight"},
	} {
		got := c.plan.Check()
		if got.Verdict != c.verdict || got.Load.Value != c.load || math.Abs(got.FineTo.Value-c.fineTo) > 1e-9 || math.Abs(got.MostAt.Value-c.most) > 1e-9 || !strings.HasPrefix(got.Says, c.says) {
			t.Errorf("%s: %s at %v g/L, fine to %v, never above %v: %s", name, got.Verdict, got.Load.Value, got.FineTo.Value, got.MostAt.Value, got.Says)
		}
		if !slices.Contains(got.Cautions, CautionFigures) || !slices.Contains(got.Cautions, CautionSpines) {
			t.Errorf("%s: the cautions are %q", name, got.Cautions)
		}
	}
}

// What the answer says to do instead is called fine when it is asked for.
func TestTransportCheckSaysWhatIsFine(t *testing.T) {
	t.Parallel()
	for _, plan := range []LiveTransport{planned(1000, 2, 1, 18), planned(750, 10, 24, 28), planned(333, 0.7, 5, 31), planned(1, 0.001, 1, 18)} {
		got := plan.Check()
		fewer := plan
		fewer.Fish = Fish(got.FineFish.Value)
		if v := fewer.Check().Verdict; v != TransportFine {
			t.Errorf("%+v: %v fish are %s", plan, got.FineFish.Value, v)
		}
		fewer.Fish++
		if v := fewer.Check().Verdict; v == TransportFine {
			t.Errorf("%+v: one more than %v fish is fine too", plan, got.FineFish.Value)
		}
		more := plan
		more.Bags = int64(got.FineBags.Value)
		if v := more.Check().Verdict; v != TransportFine {
			t.Errorf("%+v: %v bags are %s", plan, got.FineBags.Value, v)
		}
	}
}

// Where the table says nothing, no verdict and no number comes out of nothing.
func TestTransportCheckOutsideItsTable(t *testing.T) {
	t.Parallel()
	with := func(change func(*LiveTransport)) LiveTransport {
		p := planned(100, 10, 24, 25)
		change(&p)
		return p
	}
	for reason, plan := range map[string]LiveTransport{
		"no table for this species":  with(func(p *LiveTransport) { p.Species = "FCP" }),
		"the table ends at 48 hours": with(func(p *LiveTransport) { p.Hours = 48_001 }),
		"no fish below about 0.2 g":  with(func(p *LiveTransport) { p.MeanWeightMg = 199 }),
		"water of 0 to 40":           with(func(p *LiveTransport) { p.TemperatureC = 41_000 }),
		"time on the way":            with(func(p *LiveTransport) { p.Hours = 0 }),
		"weight of a fish":           with(func(p *LiveTransport) { p.MeanWeightMg = 0 }),
	} {
		got := plan.Check()
		if got.Verdict != TransportUnknown || got.FineTo.Known() || got.MostAt.Known() || got.FineFish.Known() || got.FineBags.Known() {
			t.Errorf("%s: %+v", reason, got)
		}
		if !strings.Contains(got.FineTo.Reason, reason) || !strings.Contains(got.Says, reason) {
			t.Errorf("want the reason %q: %s", reason, got.Says)
		}
	}
	dry := with(func(p *LiveTransport) { p.Litres = 0 }).Check()
	if dry.Verdict != TransportUnknown || dry.Load.Known() || dry.FineBags.Known() || !strings.Contains(dry.Says, "no water") {
		t.Errorf("without water: %+v", dry)
	}
	if got := with(func(p *LiveTransport) { p.Species = "TLN" }).Check(); slices.Contains(got.Cautions, CautionSpines) {
		t.Errorf("tilapia with the spines of catfish: %q", got.Cautions)
	}
}

func TestTransportCheckOfBigFish(t *testing.T) {
	t.Parallel()
	p := planned(10, 100, 1, 18)
	p.MeanWeightMg = 20_000
	got := p.Check()
	if got.Verdict != TransportFine || got.Size != "bigger" || len(got.Conflicts) != 1 || !strings.Contains(got.Conflicts[0], "errs on the safe side") {
		t.Errorf("%+v", got)
	}
}

func TestSpoken(t *testing.T) {
	t.Parallel()
	for v, want := range map[float64]string{0: "0", 0.55: "0.55", 2.25: "2.25", 0.123: "0.12", 12: "12", 12.34: "12.3", 99.96: "100", 443.2: "443", 1500: "1500", 15_000: "15 000", 240_000: "240 000", 1_234_567: "1 234 567", -150_000: "-150 000", -3.456: "-3.46"} {
		if got := spoken(v); got != want {
			t.Errorf("%v is said as %s, want %s", v, got, want)
		}
	}
}
