package api

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"shoalbook/domain"
)

// forFunders is what a funder may ask for: reports that were issued to it.
var forFunders = []string{"listReports", "getReport", "getReportDocument", "checkReport"}

// That a token goes no further than its member rests on this: a coordinator, whose
// tokens may have any role, may do everything that any role may.
func TestCoordinatorsMayDoEverything(t *testing.T) {
	t.Parallel()
	for _, table := range []map[string][]domain.Role{mayAsk, mayRecord} {
		for what, roles := range table {
			if !slices.Contains(roles, domain.Coordinator) {
				t.Errorf("%s is not for a coordinator", what)
			}
			for _, role := range roles {
				if role == domain.Funder && !slices.Contains(forFunders, what) || !slices.Contains(domain.Roles, role) {
					t.Errorf("%s is for a %s", what, role)
				}
			}
		}
	}
	for kind, roles := range mayRecord {
		for _, role := range roles {
			if !slices.Contains(mayAsk["recordEntries"], role) || !slices.Contains(mayAsk["reverseEntry"], role) {
				t.Errorf("a %s may record entries of the kind %s, but not ask for it", role, kind)
			}
		}
	}
}

// The tables and the contract name the same operations and kinds.
func TestTablesOfRolesAreThoseOfTheContract(t *testing.T) {
	t.Parallel()
	served := *testValidator(t)
	if err := served.checkTables(); err != nil {
		t.Error(err)
	}
	for key, o := range served.operations {
		if want := !strings.HasPrefix(key.path, "/v1/"); o.public != want {
			t.Errorf("%s needs no token: %v", key.path, o.public)
		}
	}
	without := served
	without.operations = maps.Clone(served.operations)
	delete(without.operations, routeKey{"GET", "/v1/audit"})
	if err := without.checkTables(); err == nil || !strings.Contains(err.Error(), "listAudit") {
		t.Errorf("a row for what is not there: %v", err)
	}
	for what, kinds := range map[string][]string{
		"a kind without a row": append(slices.Clone(served.kinds), "treatment"),
		"a row without a kind": served.kinds[1:],
	} {
		without = served
		without.kinds = kinds
		if without.checkTables() == nil {
			t.Errorf("%s is accepted", what)
		}
	}
	op := func(public bool, roles ...domain.Role) *operation {
		return &operation{public: public, roles: roles}
	}
	for what, err := range map[string]error{
		"an operation without a row":         checkRoles("readMinds", op(false, domain.Coordinator)),
		"an operation for nobody":            checkRoles("listAudit", op(false)),
		"an operation for fewer":             checkRoles("listAudit", op(false, domain.Coordinator)),
		"an operation for anyone":            checkRoles("listAudit", op(true, "anyone")),
		"an open operation that has a role":  checkRoles("getHealth", op(true, domain.Keeper)),
		"an open operation that has no role": checkRoles("getHealth", op(true)),
	} {
		if err == nil {
			t.Errorf("%s is accepted", what)
		}
	}
	if err := checkRoles("getHealth", op(true, "anyone")); err != nil {
		t.Error(err)
	}
}

// What is sealed is opened by the same token and key alone.
func TestSealedAnswers(t *testing.T) {
	t.Parallel()
	other, err := domain.NewToken(domain.CoopID{15: 1}, strings.NewReader("twenty other bytes.."))
	if err != nil {
		t.Fatal(err)
	}
	holder := func(token domain.Token) map[string][]string {
		return map[string][]string{"Authorization": {"Bearer " + token.Text()}}
	}
	text := []byte(`{"secret":"shoal_"}`)
	kept, err := sealed(holder(testToken), "key")
	if err != nil {
		t.Fatal(err)
	}
	box, err := kept.seal(text)
	if err != nil || strings.Contains(string(box), "secret") {
		t.Errorf("it is kept as %q, %v", box, err)
	}
	if again, _ := kept.seal(text); string(again) == string(box) {
		t.Error("it is kept the same way twice")
	}
	for what, c := range map[string]struct {
		token domain.Token
		key   string
		opens bool
	}{"the same": {testToken, "key", true}, "another key": {testToken, "keys", false}, "another token": {other, "key", false}} {
		k, err := sealed(holder(c.token), c.key)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := k.open(box); (err == nil) != c.opens || c.opens && string(got) != string(text) {
			t.Errorf("%s opens it to %q, %v", what, got, err)
		}
	}
	box[len(box)-1]++
	if _, err := kept.open(box); err == nil {
		t.Error("it opens, though it was changed")
	}
	if _, err := sealed(nil, "key"); err == nil {
		t.Error("nobody can have it kept")
	}
}
