package integration_test

import (
	"encoding/json"
	"math"
	"net/http"
	"strconv"
	"strings"

	"shoalbook/domain"
)

// members are those of an entry, by their names in the contract.
type members = map[string]any

// entry writes an entry of the site as a phone would.
func (p pond) entry(kind, on string, m members) members {
	e := members{"id": newText(), "kind": kind, "site_id": p.site, "occurred_on": on}
	for name, value := range m {
		e[name] = value
	}
	return e
}

// newBatch makes a batch in the first tank and returns its id.
func (p pond) newBatch() string {
	p.t.Helper()
	id := newText()
	p.do("POST", "/v1/batches", p.keeper, p.batch(id)).want(http.StatusCreated)
	return id
}

// stocked makes a batch and stocks it.
func (p pond) stocked(on string, m members) string {
	p.t.Helper()
	id := p.newBatch()
	m["batch_id"], m["origin"] = id, "bred"
	p.recorded(p.entry("stocking", on, m))
	return id
}

// post sends entries in one request.
func (s *service) post(token string, entries []members, headers ...string) response {
	s.t.Helper()
	return s.do("POST", "/v1/entries", token, members{"entries": entries}, headers...)
}

// recorded sends entries as the keeper, and complains unless all are taken into the
// journal.
func (s *service) recorded(entries ...members) response {
	s.t.Helper()
	return s.post(s.keeper, entries, "Prefer", "handling=strict").want(http.StatusOK).became(strings.Repeat("created ", len(entries)))
}

// refused sends one entry, and complains unless it is refused with this code.
func (s *service) refused(token string, e members, code string) response {
	s.t.Helper()
	return s.post(token, []members{e}).want(http.StatusOK).became("refused").wantAt(map[string]string{"/results/0/problem/code": code})
}

// became complains unless the entries of a request became this, in its order.
func (r response) became(want string) response {
	r.t.Helper()
	var body struct {
		Results []struct {
			Index      int
			ID, Status string
		}
	}
	r.into(&body)
	var got []string
	for i, result := range body.Results {
		if result.Index != i {
			r.t.Errorf("%s: result %d is said to be of entry %d", r.what, i, result.Index)
		}
		got = append(got, result.Status)
	}
	if strings.Join(got, " ") != strings.TrimSpace(want) {
		r.t.Errorf("%s: the entries became %v, want %s: %.2000s", r.what, got, want, r.body)
	}
	return r
}

// performance returns the figures of a batch.
func (s *service) performance(batch, query string) response {
	s.t.Helper()
	return s.do("GET", "/v1/batches/"+batch+"/performance"+query, s.keeper, nil).want(http.StatusOK)
}

// near complains unless the numbers at some pointers are as near to these as the
// tolerance of their source.
func (r response) near(tolerance float64, want map[string]float64) response {
	r.t.Helper()
	for pointer, value := range want {
		if got, err := strconv.ParseFloat(r.at(pointer), 64); err != nil || math.Abs(got-value) > tolerance {
			r.t.Errorf("%s: at %s want %v ± %v, got %q", r.what, pointer, value, tolerance, r.at(pointer))
		}
	}
	return r
}

// null complains unless figures are null for this reason.
func (r response) null(reason string, figures ...string) response {
	r.t.Helper()
	var body struct {
		Missing []struct{ Figure, Reason string }
	}
	r.into(&body)
	reasons := map[string]string{}
	for _, m := range body.Missing {
		reasons[m.Figure] = m.Reason
	}
	for _, f := range figures {
		if got := r.at("/" + strings.ReplaceAll(f, ".", "/")); got != "null" || reasons[f] != reason {
			r.t.Errorf("%s: %s is %s, for the reason %q; want null for %q", r.what, f, got, reasons[f], reason)
		}
	}
	return r
}

// A listed entry, as far as tests add it up.
type listed struct {
	Entry struct {
		ID, Kind   string
		OccurredOn string `json:"occurred_on"`
		BatchID    string `json:"batch_id"`
		Count      int64
		WeightKg   json.Number `json:"weight_kg"`
		Amount     string
	}
	ReversedBy string `json:"reversed_by"`
}

// entries lists entries, following next to the end.
func (s *service) entries(token, query string) []listed {
	s.t.Helper()
	var all []listed
	for after := ""; ; {
		page := s.do("GET", "/v1/entries?limit=500"+query+after, token, nil).want(http.StatusOK)
		var body struct {
			Items []listed
			Next  string
		}
		page.into(&body)
		all = append(all, body.Items...)
		if body.Next == "" {
			return all
		}
		after = "&after=" + body.Next
	}
}

// rows complains unless there are so many entries of the site, and open questions
// besides those about single entries.
func (p pond) rows(entries, questions int) {
	p.t.Helper()
	if got := len(p.entries(p.keeper, "&site_id="+p.site)); got != entries {
		p.t.Errorf("there are %d entries, want %d", got, entries)
	}
	if got := p.do("GET", "/v1/questions?limit=500", p.keeper, nil).want(http.StatusOK); strings.Count(string(got.body), `"since"`)-strings.Count(string(got.body), `"entry_id"`) != questions {
		p.t.Errorf("want %d questions, got %s", questions, got.body)
	}
}

// day returns a day of 2025 or later, counted from 1 January 2025 as day 0.
func day(n int) string { return (domain.NewDate(2025, 1, 1) + domain.Date(n)).String() }
