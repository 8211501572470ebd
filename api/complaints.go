package api

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"

	"shoalbook/domain"
)

// maxComplaints bounds the answer to a request in which everything is wrong.
const maxComplaints = 100

// complaints are what is wrong with one request, in words for the person who has
// to put it right. They never repeat a value: it may be a secret.
type complaints struct {
	fields      []domain.FieldError
	more        int
	onlyUnknown bool // nothing but unknown parameters so far
}

func (f *complaints) add(pointer, detail string) {
	f.onlyUnknown = false
	f.put(pointer, detail)
}

// unknown complains of a parameter that is not among those there are.
func (f *complaints) unknown(pointer string, known []string) {
	f.onlyUnknown = f.onlyUnknown || len(f.fields) == 0
	takes := "none"
	if len(known) > 0 {
		takes = strings.Join(known, ", ")
	}
	f.put(pointer, "is not known here: this request takes "+takes)
}

func (f *complaints) put(pointer, detail string) {
	if len(f.fields) == maxComplaints {
		f.more++
		return
	}
	f.fields = append(f.fields, domain.FieldError{Pointer: pointer, Detail: detail})
}

func (f *complaints) noBody(op *operation) error {
	if !op.bodyRequired {
		return nil
	}
	return domain.Errorf(domain.Invalid, "invalid_request", "this request needs a body, as %s", op.mediaTypes)
}

// refusal returns all complaints as one answer, or nil if there are none.
func (f *complaints) refusal() error {
	if len(f.fields) == 0 {
		return nil
	}
	refusal := &domain.Error{Kind: domain.Invalid, Code: "invalid_request", Fields: f.fields}
	if f.onlyUnknown {
		refusal.Code = "unknown_parameter"
	}
	switch {
	case f.more > 0:
		refusal.Detail = fmt.Sprintf("%d things are not as they must be; the first %d are listed", len(f.fields)+f.more, len(f.fields))
	case len(f.fields) > 1:
		refusal.Detail = fmt.Sprintf("%d things are not as they must be", len(f.fields))
	default:
		refusal.Detail = strings.TrimSpace(f.fields[0].Pointer + " " + f.fields[0].Detail)
	}
	return refusal
}

// pointer returns the JSON pointer (RFC 6901) to a member, behind a prefix. Names
// that clients made up can be long; what is over 400 bytes helps nobody.
func pointer(prefix string, path []string) string {
	var p strings.Builder
	p.WriteString(prefix)
	for _, name := range path {
		const most = 100
		if len(name) > most {
			name = strings.ToValidUTF8(name[:most], "") + "…"
		}
		if p.Len()+len(name) > 4*most {
			p.WriteString("/…")
			break
		}
		p.WriteByte('/')
		_, _ = pointerEscapes.WriteString(&p, name)
	}
	return p.String()
}

var pointerEscapes = strings.NewReplacer("~", "~0", "/", "~1")

// pointerTo returns the pointer to a parameter, or to a member of one or, if p is
// nil, of the body.
func pointerTo(p *openapi3.Parameter, path ...string) string {
	if p == nil {
		return pointer("", path)
	}
	return pointer("/"+p.In, append([]string{p.Name}, path...))
}

// collect adds the errors of a parameter, or of the body if p is nil.
func (f *complaints) collect(err error, p *openapi3.Parameter) {
	switch e := err.(type) { //nolint:errorlint // it goes down the tree itself, layer by layer
	case openapi3.MultiError:
		for _, each := range e {
			f.collect(each, p)
		}
	case *openapi3filter.RequestError:
		f.collect(e.Err, p)
	case *openapi3.SchemaError:
		f.schemaError(e, p)
	default:
		f.add(pointerTo(p), paramWords(err, p))
	}
}

func paramWords(err error, p *openapi3.Parameter) string {
	switch {
	case errors.Is(err, openapi3filter.ErrInvalidRequired):
		return "is required"
	case errors.Is(err, openapi3filter.ErrInvalidEmptyValue):
		return "must not be empty"
	case p != nil:
		return typeWords(p.Schema.Value)
	}
	return "is not as it must be"
}

func (f *complaints) schemaError(e *openapi3.SchemaError, p *openapi3.Parameter) {
	path := e.JSONPointer()
	var inner openapi3.MultiError
	switch e.SchemaField {
	case "allOf":
		if errors.As(e.Origin, &inner) {
			f.collect(inner, p)
			return
		}
	case "oneOf":
		// With a discriminator only the chosen schema was tried: its errors are the
		// errors. Without, they are those of every other form and would confuse.
		if e.Schema.Discriminator != nil {
			if _, object := e.Value.(map[string]any); !object {
				f.add(pointerTo(p, path...), "must be an object")
				return
			}
			if errors.As(e.Origin, &inner) {
				f.collect(inner, p)
				return
			}
		}
	case "discriminator":
		name := e.Schema.Discriminator.PropertyName
		f.add(pointerTo(p, append(path, name)...), discriminatorWords(e))
		return
	case "properties":
		// The one error that names the member in its text only.
		if quoted := strings.SplitN(e.Reason, `"`, 2); len(quoted) == 2 {
			if name, err := strconv.QuotedPrefix(`"` + quoted[1]); err == nil {
				name, _ = strconv.Unquote(name)
				path = append(path, name)
			}
		}
	case "minimum":
		if e.Schema.ExclusiveMin.IsTrue() {
			return // exclusiveMinimum says it better
		}
	case "maximum":
		if e.Schema.ExclusiveMax.IsTrue() {
			return
		}
	}
	f.add(pointerTo(p, path...), words(e))
}

func discriminatorWords(e *openapi3.SchemaError) string {
	kinds := strings.Join(slices.Sorted(maps.Keys(e.Schema.Discriminator.Mapping)), ", ")
	if e.Value == nil {
		return "is required, as one of " + kinds
	}
	return "must be one of " + kinds
}

// words says what a value must be, given the keyword of the contract it fails.
func words(e *openapi3.SchemaError) string {
	s := e.Schema
	switch e.SchemaField {
	case "required":
		return "is required"
	case "properties":
		return "is not known here"
	case "type", "nullable":
		if e.SchemaField == "type" && e.Origin != nil {
			return "is too large a number"
		}
		return typeWords(s)
	case "enum":
		return "must be " + oneOf(s.Enum)
	case "minimum":
		return "must be at least " + number(*s.Min)
	case "maximum":
		return "must be at most " + number(*s.Max)
	case "exclusiveMinimum":
		return "must be more than " + number(*s.Min)
	case "exclusiveMaximum":
		return "must be less than " + number(*s.Max)
	case "multipleOf":
		return multipleWords(*s.MultipleOf)
	case "minLength":
		if s.MinLength == 1 {
			return "must not be empty"
		}
		return fmt.Sprintf("must have at least %d characters", s.MinLength)
	case "maxLength":
		return fmt.Sprintf("must have at most %d characters", *s.MaxLength)
	case "minItems":
		return fmt.Sprintf("must have at least %s", count(s.MinItems, "item"))
	case "maxItems":
		return fmt.Sprintf("must have at most %s", count(*s.MaxItems, "item"))
	case "uniqueItems":
		return "must not name anything twice"
	case "minProperties":
		return fmt.Sprintf("must have at least %s", count(s.MinProps, "member"))
	case "maxProperties":
		return fmt.Sprintf("must have at most %s", count(*s.MaxProps, "member"))
	case "format":
		return formatWords(s)
	case "pattern":
		switch {
		case s.Example != nil:
			return fmt.Sprintf("must be written like %v", s.Example)
		case s.Pattern == `\S`:
			return "must not be blank"
		}
		return "is not written as it must be"
	case "oneOf":
		return "must have exactly one of " + choices(s.OneOf)
	case "anyOf":
		return "must have at least one of " + choices(s.AnyOf)
	case "not":
		return "must not have together: " + strings.Join(s.Not.Value.Required, ", ")
	}
	return "is not as it must be"
}

// typeWords says what sort of value a schema asks for.
func typeWords(s *openapi3.Schema) string {
	if s.Type == nil {
		return "must not be null"
	}
	switch (*s.Type)[0] {
	case openapi3.TypeInteger:
		return "must be a whole number"
	case openapi3.TypeNumber:
		return "must be a number"
	case openapi3.TypeBoolean:
		return "must be true or false"
	case openapi3.TypeArray:
		return "must be a list"
	case openapi3.TypeObject:
		return "must be an object"
	}
	if s.Format != "" {
		return formatWords(s)
	}
	if s.Example != nil {
		return fmt.Sprintf("must be text, written like %v", s.Example)
	}
	return "must be text"
}

func formatWords(s *openapi3.Schema) string {
	switch s.Format {
	case "date":
		return "must be a date such as 2026-05-31"
	case "date-time":
		return "must be an instant such as 2026-05-31T08:00:00Z"
	case "uuid":
		return "must be a UUID such as 0190b2a4-5f3e-7c1a-9d2b-3f4e5a6b7c8d"
	}
	if s.Example != nil {
		return fmt.Sprintf("must be written like %v", s.Example)
	}
	return "must be text"
}

// multipleWords tells the steps 0.1, 0.01 and so on as decimals.
func multipleWords(step float64) string {
	if step == 1 {
		return "must be a whole number"
	}
	if decimals := -math.Log10(step); decimals > 0 && math.Abs(decimals-math.Round(decimals)) < 1e-9 {
		return "must have at most " + count(uint64(math.Round(decimals)), "decimal")
	}
	return "must be a multiple of " + number(step)
}

// choices lists what each of the forms of an object asks for.
func choices(forms openapi3.SchemaRefs) string {
	var names []string
	for _, form := range forms {
		if required := form.Value.Required; len(required) > 0 {
			names = append(names, strings.Join(required, " with "))
		}
	}
	return strings.Join(names, ", ")
}

func oneOf(values []any) string {
	if len(values) == 1 {
		return fmt.Sprint(values[0])
	}
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = fmt.Sprint(v)
	}
	return "one of " + strings.Join(texts, ", ")
}

func number(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

func count(n uint64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.FormatUint(n, 10) + " " + noun + "s"
}
