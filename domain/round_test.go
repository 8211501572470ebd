package domain_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"shoalbook/domain"
)

var deadline = day(20).Time().Add(15 * time.Hour)

func round() domain.Round {
	return domain.Round{
		ID: id[domain.Round](1), Species: new("CLZ"), Name: "Long rains", Deadline: deadline, WindowFrom: day(30), WindowTo: day(40),
		Need: domain.NeedArrival, FeesBy: domain.FeesByCount, State: domain.RoundOpen,
	}
}

// refusedFor returns the pointers and the code of a refusal.
func refusedFor(err error) (pointers, code string) {
	var refusal *domain.Error
	if !errors.As(err, &refusal) {
		return "", ""
	}
	var list []string
	for _, f := range refusal.Fields {
		list = append(list, f.Pointer)
	}
	return strings.Join(list, " "), refusal.Code
}

func TestRoundCheck(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*domain.Round)
		wrong  string
	}{
		"as it should be":      {func(*domain.Round) {}, ""},
		"of feed":              {func(r *domain.Round) { r.Species, r.Product = nil, &feed }, ""},
		"of nothing":           {func(r *domain.Round) { r.Species = nil }, "/species"},
		"of two things":        {func(r *domain.Round) { r.Product = &feed }, "/species"},
		"of no species":        {func(r *domain.Round) { r.Species = new("fish") }, "/species"},
		"feed that survives":   {func(r *domain.Round) { r.Species, r.Product, r.Need = nil, &feed, domain.NeedDay30 }, "/need"},
		"window the wrong way": {func(r *domain.Round) { r.WindowTo = day(29) }, "/window_to"},
		"window of two years":  {func(r *domain.Round) { r.WindowTo = day(800) }, "/window_to"},
		"deadline too late":    {func(r *domain.Round) { r.Deadline = day(60).Time() }, "/deadline"},
		"no such rules":        {func(r *domain.Round) { r.Need, r.FeesBy, r.Name, r.Note = "soon", "luck", " ", new("") }, "/name /need /fees_by /note"},
	} {
		r := round()
		c.change(&r)
		if wrong, _ := refusedFor(r.Check()); wrong != c.wrong {
			t.Errorf("a round %s is refused for %q, want %q", name, wrong, c.wrong)
		}
	}
}

// Every step between any two states is taken, or refused with the words for what may
// follow; what people may not say, work may bring.
func TestRoundSteps(t *testing.T) {
	t.Parallel()
	states := []domain.RoundState{domain.RoundOpen, domain.RoundClosed, domain.RoundPlanned, domain.RoundOrdered, domain.RoundDelivering, domain.RoundSettled, domain.RoundCancelled}
	said := map[domain.RoundState]string{
		domain.RoundOpen: "closed cancelled", domain.RoundClosed: "open cancelled", domain.RoundPlanned: "open cancelled",
		domain.RoundOrdered: "cancelled", domain.RoundDelivering: "settled",
	}
	brought := map[domain.RoundState]domain.RoundState{domain.RoundClosed: domain.RoundPlanned, domain.RoundPlanned: domain.RoundOrdered, domain.RoundOrdered: domain.RoundDelivering}
	for _, from := range states {
		for _, to := range states {
			r := round()
			r.State = from
			err := r.Step(to, new("because"))
			if want := slices.Contains(strings.Fields(said[from]), string(to)); (err == nil) != want {
				t.Errorf("from %s to %s as people say it: %v", from, to, err)
			}
			if _, code := refusedFor(err); err != nil && code != "round_state" || err == nil && r.State != to {
				t.Errorf("from %s to %s gives %v and the round is %s", from, to, err, r.State)
			}
			r.State = from
			if want := from == to || brought[from] == to || slices.Contains(strings.Fields(said[from]), string(to)); (r.Advance(to) == nil) != want {
				t.Errorf("from %s to %s by work: want %v", from, to, want)
			}
		}
	}
	r := round()
	if pointer, _ := refusedFor(r.Step(domain.RoundCancelled, nil)); pointer != "/reason" || r.State != domain.RoundOpen {
		t.Errorf("to cancel without a reason is refused for %q", pointer)
	}
	if err := r.Step(domain.RoundPlanned, nil); err == nil || !strings.Contains(err.Error(), "the round is open: it may become closed, cancelled") {
		t.Errorf("the refusal does not say what may follow: %v", err)
	}
}

func TestRoundTakesRequests(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		state domain.RoundState
		after time.Duration // the deadline
		by    domain.Role
		code  string
	}{
		{domain.RoundOpen, 0, domain.Keeper, ""},
		{domain.RoundOpen, time.Second, domain.Keeper, "deadline_passed"},
		{domain.RoundClosed, -time.Hour, domain.Keeper, "round_state"},
		{domain.RoundOpen, time.Hour, domain.Coordinator, ""},
		{domain.RoundClosed, time.Hour, domain.Coordinator, ""},
		{domain.RoundPlanned, -time.Hour, domain.Coordinator, "round_state"},
	} {
		r := round()
		r.State = c.state
		if _, code := refusedFor(r.TakesRequests(deadline.Add(c.after), c.by)); code != c.code {
			t.Errorf("a request of a %s, %v after the deadline of a round that is %s, is refused as %q, want %q", c.by, c.after, c.state, code, c.code)
		}
	}
}

func TestRequestCheck(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*domain.Request)
		wrong  string
		code   string
	}{
		"as it should be":     {func(*domain.Request) {}, "", ""},
		"of nothing":          {func(q *domain.Request) { q.Quantity, q.Least = 0, 0 }, "/quantity /least", "invalid_request"},
		"least above it":      {func(q *domain.Request) { q.Least = 301 }, "/least", "impossible_request"},
		"most below it":       {func(q *domain.Request) { q.Most = 299 }, "/most", "impossible_request"},
		"size the wrong way":  {func(q *domain.Request) { q.SizeFrom, q.SizeTo = new(gramMg(5)), new(gramMg(4)) }, "/size_to_g", "impossible_request"},
		"dates the wrong way": {func(q *domain.Request) { q.Latest = day(29) }, "/latest", "impossible_request"},
		"fish of a tonne":     {func(q *domain.Request) { q.SizeTo = new(gramMg(1e6)) }, "/size_to_g", "invalid_request"},
		"for no tank":         {func(q *domain.Request) { q.Unit = nil }, "/unit_id", "impossible_request"},
	} {
		q := domain.Request{ID: id[domain.Request](1), Round: id[domain.Round](1), Site: site, Unit: &tank1, Quantity: 300, Least: 200, Most: 400, Earliest: day(30), Latest: day(40)}
		c.change(&q)
		r := round()
		err := q.Check()
		if err == nil {
			err = q.Fits(&r)
		}
		if wrong, code := refusedFor(err); wrong != c.wrong || code != c.code {
			t.Errorf("a request %s is refused for %q as %q, want %q as %q", name, wrong, code, c.wrong, c.code)
		}
	}
	r := round()
	r.Species, r.Product = nil, &feed
	q := domain.Request{Unit: &tank1, SizeFrom: new(gramMg(1))}
	if wrong, _ := refusedFor(q.Fits(&r)); wrong != "/unit_id /size_from_g" {
		t.Errorf("feed for a tank is refused for %q", wrong)
	}
}

func gramMg(g float64) domain.Milligrams { return domain.Milligrams(g * 1000) }
