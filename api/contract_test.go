package api

import (
	"maps"
	"slices"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"shoalbook/domain"
	"shoalbook/openapi"
)

// Every kind of entry has in the contract the members it has in the domain, and the
// same of them may be left out.
func TestContractHasTheMembersOfEveryKind(t *testing.T) {
	t.Parallel()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		t.Fatal(err)
	}
	entry := doc.Components.Schemas["Entry"].Value
	if got := slices.Sorted(maps.Keys(entry.Discriminator.Mapping)); !slices.Equal(got, slices.Sorted(slices.Values(domain.Kinds()))) {
		t.Fatalf("the contract has the kinds %v", got)
	}
	common := map[string]bool{"id": true, "kind": true, "site_id": true, "occurred_on": true, "occurred_at": false, "note": false}
	for _, alternative := range entry.OneOf {
		schema := alternative.Value
		kind := schema.Properties["kind"].Value.Enum[0].(string)
		names, optional := domain.Members(kind)
		want := maps.Clone(common) // name to whether it is required
		for _, name := range names {
			want[name] = !optional[name]
		}
		got := map[string]bool{}
		for name := range schema.Properties {
			got[name] = slices.Contains(schema.Required, name)
		}
		if !maps.Equal(got, want) {
			t.Errorf("%s has the members %v (true: required) in the contract and %v in the domain", kind, got, want)
		}
	}
}
