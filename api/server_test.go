package api

import (
	"maps"
	"slices"
	"testing"

	"shoalbook/openapi"
)

func TestRoutesAreThoseOfTheContract(t *testing.T) {
	t.Parallel()
	engine, operations, own, err := newEngine(Config{Log: newTestLog(&lockedBuffer{})}, nil)
	if err != nil {
		t.Fatal(err)
	}
	openapi.RegisterHandlersWithOptions(operations, &Server{service: own}, openapi.GinServerOptions{})
	var got, want []string
	for _, r := range engine.Routes() {
		if r.Path != "/docs/*page" { // what the page at /docs consists of
			got = append(got, r.Method+" "+r.Path)
		}
	}
	for key := range maps.Keys(testValidator(t).operations) {
		want = append(want, key.method+" "+key.path)
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("served:\n%q\nin the contract:\n%q", got, want)
	}
}
