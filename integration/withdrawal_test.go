package integration_test

import (
	"net/http"
	"strings"
	"testing"

	"shoalbook/domain"
)

// medicine is a treatment of a batch with its withdrawal.
func (p pond) medicine(batch, on string, withdrawal members) members {
	m := members{"batch_id": batch, "what": "Oxytetracycline", "dose": "75 mg/kg a day", "reason": "red spots"}
	for name, value := range withdrawal {
		m[name] = value
	}
	return p.entry("treatment", on, m)
}

func (p pond) harvest(batch, on string, more members) members {
	m := members{"batch_id": batch, "weight_kg": 1, "count": 5}
	for name, value := range more {
		m[name] = value
	}
	return p.entry("harvest", on, m)
}

// Fish are not harvested for food before the later of both ends: 500 degree-days at
// 28 °C end on day 18 with 504 (computed).
func TestWithdrawal(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.stocked(day(0), members{"count": 1000, "mean_weight_g": 200})
	p.recorded(p.entry("water", day(0), members{"unit_id": p.a, "temperature_c": 28}),
		p.medicine(batch, day(10), members{"withdrawal_days": 15, "withdrawal_degree_days": 500}))
	p.refused(p.keeper, p.harvest(batch, day(28), nil), "in_withdrawal").says("another 24 degree-days", "record the temperature")
	p.refused(p.keeper, p.harvest(batch, day(25), nil), "in_withdrawal").says("through "+day(25), "another 108 degree-days")
	p.recorded(p.harvest(batch, day(29), nil))
	// For something else they may be taken out at any time.
	p.recorded(p.harvest(batch, day(12), members{"destination": "discarded"}), p.harvest(batch, day(13), members{"destination": "kept"}))
	for _, destination := range []string{"eaten", "sold", "given"} {
		p.refused(p.keeper, p.harvest(batch, day(14), members{"destination": destination}), "in_withdrawal")
	}
	// A coordinator may allow it, and has to say why.
	why := members{"override_withdrawal": "The laboratory found no residue."}
	p.refused(p.keeper, p.harvest(batch, day(14), why), "forbidden").wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/override_withdrawal"})
	p.post(p.coordinator, []members{p.harvest(batch, day(14), why)}).want(http.StatusOK).became("created")
	// What is held waits for nothing: it never fits.
	p.hold("held", p.harvest(batch, day(20), nil))
	p.sound()
}

// Medicine that is recorded late refuses nothing that was recorded before, and is
// itself recorded, also with harvests of the same request.
func TestTreatmentRecordedLate(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.stocked(day(0), members{"count": 1000, "mean_weight_g": 200})
	p.recorded(p.harvest(batch, day(5), nil), p.harvest(batch, day(8), nil))
	p.recorded(p.medicine(batch, day(4), members{"withdrawal_days": 3}))
	p.sound()
	// A week that is sent at once: the harvest is refused, on the day of the medicine too.
	other := p.stocked(day(0), members{"count": 1000, "mean_weight_g": 200})
	sent := []members{p.harvest(other, day(4), nil), p.harvest(other, day(6), nil), p.medicine(other, day(4), members{"withdrawal_days": 3}), p.harvest(other, day(8), nil)}
	p.post(p.keeper, sent).want(http.StatusOK).became("refused refused created created").
		wantAt(map[string]string{"/results/0/problem/code": "in_withdrawal", "/results/1/problem/code": "in_withdrawal"})
	// And in time, on the day of a harvest.
	p.recorded(p.harvest(other, day(20), nil))
	p.recorded(p.medicine(other, day(20), members{"withdrawal_days": 3}))
	p.refused(p.keeper, p.harvest(other, day(20), nil), "in_withdrawal")
	p.sound()
}

func TestTreatmentNeedsAWithdrawal(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	batch := p.stocked(day(0), members{"count": 1000, "mean_weight_g": 200})
	p.refused(p.keeper, p.medicine(batch, day(1), nil), "invalid_request").says("0 where there is no withdrawal").
		wantAt(map[string]string{"/results/0/problem/errors/0/pointer": "/withdrawal_days"})
	p.recorded(p.medicine(batch, day(1), members{"withdrawal_days": 0}), p.harvest(batch, day(1), nil))
}

// The withdrawal of fish that are sent goes with them to the other site.
func TestWithdrawalOfSentFish(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p, q := newPond(s), newPond(s)
	from := p.stocked(day(0), members{"count": 1000, "mean_weight_g": 200})
	to := q.newBatch()
	sent := p.entry("sent", day(6), members{"to_site_id": q.site, "batch_id": from, "count": 100})
	s.recorded(p.entry("water", day(0), members{"unit_id": p.a, "temperature_c": 25}),
		p.medicine(from, day(5), members{"withdrawal_days": 10, "withdrawal_degree_days": 200}), sent)
	s.recorded(q.entry("received", day(7), members{"sent_id": sent["id"], "batch_id": to, "count": 100}))
	s.refused(s.keeper, q.harvest(to, day(30), nil), "in_withdrawal").says("another 200 degree-days")
	s.recorded(q.entry("water", day(7), members{"unit_id": q.a, "temperature_c": 25}))
	s.refused(s.keeper, q.harvest(to, day(14), nil), "in_withdrawal")
	s.refused(s.keeper, q.harvest(to, day(15), nil), "in_withdrawal")
	s.recorded(q.harvest(to, day(16), nil))
	s.sound()
}

// An adviser records visits, takes back the own ones, and records nothing else.
func TestAdviserRecordsVisits(t *testing.T) {
	t.Parallel()
	p := newPond(newService(t))
	adviser := p.token(domain.Adviser)
	visit := p.entry("visit", day(3), members{"findings": "The pump is loud.", "advice": "Clean it.", "unit_id": p.a, "next_on": day(33)})
	p.post(adviser, []members{visit, p.entry("water", day(3), members{"unit_id": p.a, "ph": 7})}).want(http.StatusOK).became("created refused")
	p.refused(p.keeper, p.entry("visit", day(3), members{"findings": "All is well."}), "forbidden")
	p.do("POST", "/v1/entries/"+visit["id"].(string)+"/reversal", adviser, members{"id": newText(), "reason": "another site"}).want(http.StatusCreated)
	p.recorded(p.entry("water", day(3), members{"unit_id": p.a, "ph": 7}))
}

// says complains unless the answer has these words in it.
func (r response) says(words ...string) response {
	r.t.Helper()
	for _, w := range words {
		if !strings.Contains(string(r.body), w) {
			r.t.Errorf("%s: it does not say %q: %s", r.what, w, r.body)
		}
	}
	return r
}
