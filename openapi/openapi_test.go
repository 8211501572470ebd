package openapi_test

import (
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"shoalbook/openapi"
)

func TestValid(t *testing.T) {
	openapi3.DefineStringFormatValidator("uuid", openapi3.NewRegexpFormatValidator(openapi3.FormatOfStringForUUIDOfRFC9562))
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(t.Context(), openapi3.EnableExamplesValidation(), openapi3.EnableSchemaDefaultsValidation()); err != nil {
		t.Fatal(err)
	}
}
