package integration_test

import (
	"cmp"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

// An operation is one of the contract's, with what tests ask of it.
type operation struct {
	*openapi3.Operation
	method, path string
	params       []*openapi3.Parameter // of the path too
	roles        []string
	public       bool
}

var allOperations = sync.OnceValues(func() ([]operation, error) {
	doc, err := document()
	if err != nil {
		return nil, err
	}
	var found []operation
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			o := operation{Operation: op, method: method, path: path, public: op.Security != nil && len(*op.Security) == 0}
			for _, p := range slices.Concat(item.Parameters, op.Parameters) {
				o.params = append(o.params, p.Value)
			}
			for _, role := range op.Extensions["x-roles"].([]any) {
				o.roles = append(o.roles, fmt.Sprint(role))
			}
			found = append(found, o)
		}
	}
	slices.SortFunc(found, func(a, b operation) int { return cmp.Compare(a.OperationID, b.OperationID) })
	return found, nil
})

// operations returns all operations of the contract, by name.
func operations(t testing.TB) []operation {
	t.Helper()
	found, err := allOperations()
	if err != nil {
		t.Fatal(err)
	}
	if len(found) < 40 {
		t.Fatalf("the contract has %d operations only", len(found))
	}
	return found
}

func operationOf(t testing.TB, name string) operation {
	t.Helper()
	all := operations(t)
	i := slices.IndexFunc(all, func(o operation) bool { return o.OperationID == name })
	if i < 0 {
		t.Fatalf("the contract has no operation %s", name)
	}
	return all[i]
}

// address returns the path with an id in it, the same wherever one is to be.
func (o operation) address(id string) string {
	address := o.path
	for _, p := range o.params {
		if p.In == openapi3.ParameterInPath {
			in := id
			if p.Schema.Value.Format != "uuid" {
				in = fmt.Sprint(p.Schema.Value.Example)
			}
			address = strings.Replace(address, "{"+p.Name+"}", in, 1)
		}
	}
	return address
}

// body returns the one body that the operation takes, or nil.
func (o operation) body() *openapi3.MediaType {
	if o.RequestBody != nil {
		for _, m := range o.RequestBody.Value.Content {
			return m
		}
	}
	return nil
}

// example returns an example of the body.
func (o operation) example(t testing.TB) any {
	t.Helper()
	content := o.body()
	if content.Example != nil {
		return content.Example
	}
	for _, name := range slices.Sorted(maps.Keys(content.Examples)) {
		return content.Examples[name].Value.Value
	}
	t.Fatalf("%s has no example", o.OperationID)
	return nil
}

// answers reports whether there is something in what it answers.
func (o operation) answers() bool {
	for status, answer := range o.Responses.Map() {
		if strings.HasPrefix(status, "2") && len(answer.Value.Content) > 0 {
			return true
		}
	}
	return false
}

// takes reports whether there is such a parameter.
func (o operation) takes(name string) bool {
	return slices.ContainsFunc(o.params, func(p *openapi3.Parameter) bool { return p.Name == name })
}

// allows reports whether a role may ask for it.
func (o operation) allows(role string) bool { return o.public || slices.Contains(o.roles, role) }

// needed returns the query that must be there, as the contract shows it.
func (o operation) needed() string {
	q := url.Values{}
	for _, p := range o.params {
		if p.In == openapi3.ParameterInQuery && p.Required {
			q.Set(p.Name, fmt.Sprint(p.Example))
		}
	}
	if len(q) == 0 {
		return ""
	}
	return "?" + q.Encode()
}
