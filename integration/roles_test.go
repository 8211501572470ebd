package integration_test

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
)

// ask asks for an operation as the contract shows it, about things that are not there.
func (s *service) ask(o operation, token string) response {
	s.t.Helper()
	var headers []string
	if o.takes("Idempotency-Key") {
		headers = append(headers, "Idempotency-Key", newText())
	}
	if o.takes("If-Match") {
		headers = append(headers, "If-Match", `"1"`)
	}
	var body any
	if o.RequestBody != nil {
		body = o.example(s.t)
	}
	return s.do(o.method, o.address(newText())+o.needed(), token, body, headers...)
}

// Every role asks for every operation: what the contract gives it is done or refused
// for another reason, and what it does not is forbidden.
func TestRolesByOperations(t *testing.T) {
	t.Parallel()
	s := newService(t)
	tokens := map[domain.Role]string{}
	for _, role := range domain.Roles {
		tokens[role] = s.token(role)
	}
	var table strings.Builder
	for _, o := range operations(t) {
		if o.public {
			continue
		}
		fmt.Fprintf(&table, "\n%-24s", o.OperationID)
		for _, role := range domain.Roles {
			got := s.ask(o, tokens[role])
			if !o.allows(string(role)) {
				got.want(http.StatusForbidden, "forbidden")
			} else if got.status == http.StatusForbidden || got.status == http.StatusUnauthorized || got.status == http.StatusBadRequest || got.status >= 500 {
				t.Errorf("%s as %s: status %d: %s", o.OperationID, role, got.status, got.body)
			}
			fmt.Fprintf(&table, "%12s %d", role, got.status)
			forFunder := slices.Contains([]string{"listReports", "getReport", "getReportDocument", "checkReport"}, o.OperationID)
			if o.allows(string(role)) && (role == domain.Funder && !forFunder || role == domain.Auditor && o.method != http.MethodGet) {
				t.Errorf("the contract lets the %s ask for %s", role, o.OperationID)
			}
		}
		s.ask(o, "").want(http.StatusUnauthorized, "unauthenticated")
	}
	t.Log(table.String())
	unchanged := s.do("GET", "/v1/sites", s.coordinator, nil).want(http.StatusOK)
	if n := len(unchanged.ids()); n != 1 {
		t.Errorf("%d sites were added, of which the coordinator added 1", n)
	}
}

// Money is what a treasurer records; all else is for those who are at the site.
var moneyKinds = []string{"receipt", "expense", "labour", "sale", "payment"}

// Every role records every kind of entry.
func TestRolesByKinds(t *testing.T) {
	t.Parallel()
	s := newService(t)
	o := operationOf(t, "recordEntries")
	examples := o.body().Examples
	kinds := 0
	for _, role := range domain.Roles {
		if !o.allows(string(role)) {
			continue
		}
		token := s.token(role)
		for kind, example := range examples {
			kinds++
			got := s.do("POST", "/v1/entries?dry_run=true", token, example.Value.Value).want(http.StatusOK)
			// A reversal is forbidden for what it reverses, which is not there.
			may := kind == "reversal"
			switch role {
			case domain.Treasurer:
				may = may || slices.Contains(moneyKinds, kind)
			case domain.Adviser:
				may = may || kind == "visit"
			case domain.Keeper:
				may = kind != "visit"
			default:
				may = true
			}
			want := map[bool]string{true: "unknown_reference", false: "forbidden"}[may]
			got.wantAt(map[string]string{"/results/0/status": "refused", "/results/0/problem/code": want})
		}
	}
	if kinds != 4*23 {
		t.Errorf("%d of 92 were tried", kinds)
	}
}

func TestTreasurerRecordsMoney(t *testing.T) {
	t.Parallel()
	s := newService(t)
	p := newPond(s)
	treasurer := s.token(domain.Treasurer)
	batch := p.stocked("2026-01-05", members{"count": 1000, "weight_kg": 10})
	party := s.create("/v1/parties", `{"name":"Market","roles":["buyer"]}`)
	expense := p.entry("expense", "2026-01-06", members{"category": "rent", "amount": "100.00"})
	payment := p.entry("payment", "2026-01-06", members{"party_id": party, "direction": "received", "amount": "10.00"})
	feeding := p.entry("feeding", "2026-01-06", members{"batch_id": batch, "product_id": p.feed, "weight_kg": 1})
	s.post(treasurer, []members{expense, feeding, payment}).want(http.StatusOK).became("created refused created").
		wantAt(map[string]string{"/results/1/problem/code": "forbidden"})
	// All or nothing counts what is forbidden, and it is not kept aside either.
	water := p.entry("water", "2026-01-07", members{"unit_id": p.a, "ph": 7})
	labour := p.entry("labour", "2026-01-07", members{"hours": 3, "amount": "9.00"})
	s.post(treasurer, []members{labour, water}, "Prefer", "handling=strict").want(http.StatusUnprocessableEntity, "not_all_recorded")
	s.do("POST", "/v1/entries", treasurer, members{"entries": []members{water}, "on_refusal": "hold"}).want(http.StatusOK).became("refused")
	s.recorded(feeding, water)
	s.post(treasurer, []members{labour}).want(http.StatusOK).became("created")

	reverse := func(e members, replacement any) (string, members) {
		body := members{"id": newText(), "reason": "written twice"}
		if replacement != nil {
			body["replacement"] = replacement
		}
		return "/v1/entries/" + e["id"].(string) + "/reversal", body
	}
	try := func(token string, e members, replacement any) response {
		address, body := reverse(e, replacement)
		return s.do("POST", address, token, body)
	}
	try(treasurer, feeding, nil).want(http.StatusForbidden, "forbidden")
	try(treasurer, expense, p.entry("water", "2026-01-06", members{"unit_id": p.a, "ph": 7})).want(http.StatusForbidden, "forbidden")
	try(treasurer, expense, p.entry("expense", "2026-01-06", members{"category": "rent", "amount": "90.00"})).want(http.StatusCreated)
	bulk := p.entry("reversal", "2026-01-08", members{"reverses_id": feeding["id"], "reason": "written twice"})
	s.refused(treasurer, bulk, "forbidden")
	s.recorded(bulk)
	// To send what is there again is not to record it.
	s.post(treasurer, []members{bulk, labour}).want(http.StatusOK).became("exists exists")
}

// A keeper records at the own sites and nowhere else, whatever the kind.
func TestKeeperRecordsAtOwnSites(t *testing.T) {
	t.Parallel()
	s := newService(t)
	own, other := newPond(s), newPond(s)
	keeper := s.token(domain.Keeper, own.site)
	amount := members{"category": "rent", "amount": "5.00"}
	s.post(keeper, []members{own.entry("expense", "2026-01-06", amount), other.entry("expense", "2026-01-06", amount)}).want(http.StatusOK).
		became("created refused").wantAt(map[string]string{"/results/1/problem/code": "unknown_reference"})
}
