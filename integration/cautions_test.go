package integration_test

import (
	"net/http"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"shoalbook/domain"
)

// What must be said with each answer that people may act on, when it is about
// catfish in tanks with a pump.
var mustCaution = map[string][]string{
	"getPerformance":    {domain.CautionFigures},
	"listAdvice":        {domain.CautionFigures},
	"listVisits":        {domain.CautionFigures},
	"compareGroups":     {domain.CautionFigures},
	"compareCost":       {domain.CautionFigures},
	"checkTransport":    {domain.CautionFigures, domain.CautionSpines},
	"getCapacity":       {domain.CautionFigures, domain.CautionElectricity, domain.CautionChildren, domain.CautionSpines, domain.CautionLeaves},
	"getForecast":       {domain.CautionFigures, domain.CautionSpines},
	"getRation":         {domain.CautionFigures, domain.CautionElectricity, domain.CautionChildren, domain.CautionSpines, domain.CautionMedicine},
	"getReportDocument": {domain.CautionFigures},
	"getSharedReport":   {domain.CautionFigures},
}

// cautious returns the operations whose answers have cautions, by the contract.
func cautious(t *testing.T) map[string]operation {
	t.Helper()
	found := map[string]operation{}
	for _, o := range operations(t) {
		answer := o.Responses.Value("200")
		if answer == nil || answer.Value.Content.Get("application/json") == nil {
			continue
		}
		if hasMember(answer.Value.Content.Get("application/json").Schema.Value, "cautions", 0) {
			found[o.OperationID] = o
		}
	}
	return found
}

// hasMember reports whether an object of the schema, or one not far inside, has a
// member of the name.
func hasMember(s *openapi3.Schema, name string, depth int) bool {
	if s == nil || depth > 3 {
		return false
	}
	if s.Properties[name] != nil || s.Items != nil && hasMember(s.Items.Value, name, depth+1) {
		return true
	}
	for _, p := range s.Properties {
		if hasMember(p.Value, name, depth+1) {
			return true
		}
	}
	return false
}

// Every operation whose answer can have cautions is in the table, and its answer has
// those of the table.
func TestAnswersCarryTheirCautions(t *testing.T) {
	t.Parallel()
	y := newStory(newService(t), " of caution")
	all := cautious(t)
	for name := range mustCaution {
		if _, ok := all[name]; !ok {
			t.Errorf("the answer to %s has no cautions in the contract", name)
		}
	}
	for name, o := range all {
		must, ok := mustCaution[name]
		if !ok {
			t.Errorf("nothing says which cautions %s must carry", name)
			continue
		}
		address := o.path
		for _, p := range o.params {
			if p.In == openapi3.ParameterInPath {
				address = strings.Replace(address, "{"+p.Name+"}", y.ids[examples[path.Base(p.Schema.Ref)]], 1)
			}
		}
		needed := o.needed()
		for example, made := range y.ids {
			needed = strings.ReplaceAll(needed, example, made)
		}
		token := y.keeper
		if !o.allows("keeper") {
			token = y.coordinator
		}
		got := y.do(o.method, address+needed, token, nil).want(http.StatusOK)
		var body struct{ Cautions []string }
		got.into(&body)
		for _, c := range must {
			if !slices.Contains(body.Cautions, c) {
				t.Errorf("%s does not say %q: %q", name, c, body.Cautions)
			}
		}
	}
}
