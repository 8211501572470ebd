package api

import (
	"errors"
	"fmt"
	"maps"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/gin-gonic/gin"

	"shoalbook/domain"
)

// bulkRoutes may have a body of up to maxBulkBody.
var bulkRoutes = []routeKey{{http.MethodPost, "/v1/entries"}}

// A validator holds requests against the contract, before any handler sees them.
type validator struct {
	operations map[routeKey]*operation
	names      map[string]string // of every member of every schema, see decodeJSON
	kinds      []string          // of entries
	params     *openapi3filter.Options
	body       []openapi3.SchemaValidationOption
}

type routeKey struct{ method, path string }

// An operation is what the contract says of the requests of one route.
type operation struct {
	route        *routers.Route
	public       bool
	roles        []domain.Role // that may ask for it
	produces     []string
	params       []*openapi3.Parameter
	query        map[string]*openapi3.Parameter
	hasPath      bool
	content      map[string]*openapi3.Schema
	mediaTypes   string
	bodyRequired bool
	bodyLimit    int64
}

// newValidator reads the contract. It refuses one that it could not judge by.
func newValidator(contract []byte) (*validator, error) {
	doc, err := openapi3.NewLoader().LoadFromData(contract)
	if err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	if doc.IsOpenAPI31OrLater() {
		return nil, errors.New("the contract is past OpenAPI 3.0: its schemas would be compiled anew for every request")
	}
	formats := openapi3.WithStringFormatValidators(stringFormats)
	v := &validator{
		operations: map[routeKey]*operation{},
		names:      map[string]string{},
		params:     &openapi3filter.Options{MultiError: true, SkipSettingDefaults: true, SchemaValidationOptions: []openapi3.SchemaValidationOption{formats}},
		body:       []openapi3.SchemaValidationOption{openapi3.MultiErrors(), formats},
	}
	if err := doc.WalkSchemas(v.learn); err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	if kinds := doc.Components.Schemas["EntryKind"]; kinds != nil {
		for _, kind := range kinds.Value.Enum {
			v.kinds = append(v.kinds, fmt.Sprint(kind))
		}
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			o, err := newOperation(doc, path, method, item, op)
			if err != nil {
				return nil, fmt.Errorf("read the contract: %s %s: %w", method, path, err)
			}
			key := routeKey{method, strings.NewReplacer("{", ":", "}", "").Replace(path)}
			if slices.Contains(bulkRoutes, key) {
				o.bodyLimit = maxBulkBody
			}
			v.operations[key] = o
		}
	}
	if err := v.checkTables(); err != nil {
		return nil, err
	}
	return v, nil
}

// learn notes the member names of a schema, and refuses one whose errors could
// not be told in words.
func (v *validator) learn(_ string, ref *openapi3.SchemaRef) error {
	s := ref.Value
	for name := range s.Properties {
		v.names[name] = name
	}
	if s.Discriminator != nil && len(s.Discriminator.Mapping) != len(s.OneOf) {
		return fmt.Errorf("the discriminator %s maps %d of %d schemas", s.Discriminator.PropertyName, len(s.Discriminator.Mapping), len(s.OneOf))
	}
	if s.ReadOnly {
		return errors.New("readOnly is not judged; give requests a schema of their own")
	}
	return nil
}

func newOperation(doc *openapi3.T, path, method string, item *openapi3.PathItem, op *openapi3.Operation) (*operation, error) {
	o := &operation{
		route:     &routers.Route{Spec: doc, Path: path, PathItem: item, Method: method, Operation: op},
		public:    op.Security != nil && len(*op.Security) == 0,
		query:     map[string]*openapi3.Parameter{},
		bodyLimit: maxBody,
	}
	roles, _ := op.Extensions["x-roles"].([]any)
	for _, role := range roles {
		o.roles = append(o.roles, domain.Role(fmt.Sprint(role)))
	}
	if err := checkRoles(op.OperationID, o); err != nil {
		return nil, err
	}
	for status, response := range op.Responses.Map() {
		if strings.HasPrefix(status, "2") {
			o.produces = slices.AppendSeq(o.produces, maps.Keys(response.Value.Content))
		}
	}
	slices.Sort(o.produces)
	o.produces = slices.Compact(o.produces)
	for _, ref := range slices.Concat(item.Parameters, op.Parameters) {
		p := ref.Value
		switch p.In {
		case openapi3.ParameterInQuery:
			o.query[p.Name] = p
		case openapi3.ParameterInPath:
			o.hasPath = true
		}
		o.params = append(o.params, p)
	}
	if op.RequestBody != nil {
		body := op.RequestBody.Value
		o.bodyRequired = body.Required
		o.content = map[string]*openapi3.Schema{}
		for mediaType, content := range body.Content {
			o.content[mediaType] = content.Schema.Value
		}
		o.mediaTypes = strings.Join(slices.Sorted(maps.Keys(o.content)), " or ")
	}
	return o, nil
}

// find is the first middleware of a route: it looks up what the contract says of
// it. A route that is served but not in the contract is not served.
func (v *validator) find(c *gin.Context) {
	op := v.operations[routeKey{c.Request.Method, c.FullPath()}]
	if op == nil {
		writeProblem(c, fmt.Errorf("%s %s is served but not in the contract", c.Request.Method, c.FullPath()))
		return
	}
	requestOf(c).operation = op
	c.Next()
}

// receive is the middleware that reads the body of a request, if it may have one, and
// leaves it for [bodyOf].
func (v *validator) receive(kept *bodies) gin.HandlerFunc {
	return func(c *gin.Context) {
		r := requestOf(c)
		if !acceptable(c.Request.Header, r.operation.produces) {
			writeProblem(c, domain.Errorf(notAcceptable, "not_acceptable", "the answer can be had as %s only", strings.Join(r.operation.produces, " or ")))
			return
		}
		if len(r.operation.produces) > 1 {
			c.Writer.Header().Add("Vary", "Accept")
		}
		if err := hasBody(c, r.operation); err != nil {
			writeProblem(c, err)
			return
		}
		if r.operation.content != nil {
			size := int64(0)
			defer func() { kept.drop(r.credential.Coop, size) }()
			err := readAll(c, r.operation.bodyLimit, func(n int) error {
				return kept.keep(r.credential.Coop, &size, int64(n))
			})
			if err != nil {
				writeProblem(c, err)
				return
			}
		}
		c.Next()
	}
}

// validate is the middleware behind which a request is one the contract allows.
func (v *validator) validate(c *gin.Context) {
	op := requestOf(c).operation
	var found complaints
	if err := v.checkParams(c, op, &found); err != nil {
		writeProblem(c, err)
		return
	}
	if err := v.checkBody(c, op, &found); err != nil {
		writeProblem(c, err)
		return
	}
	if err := found.refusal(); err != nil {
		writeProblem(c, err)
		return
	}
	c.Next()
}

// checkParams judges the parameters in path, query and headers, and writes the
// defaults of the contract into the query.
func (v *validator) checkParams(c *gin.Context, op *operation, found *complaints) error {
	r := c.Request
	query, err := readQuery(r.URL.RawQuery, op, found)
	if err != nil {
		return err
	}
	input := openapi3filter.RequestValidationInput{Request: r, QueryParams: query, Route: op.route, Options: v.params}
	if op.hasPath {
		input.PathParams = make(map[string]string, len(c.Params))
		for _, p := range c.Params {
			input.PathParams[p.Key] = p.Value
		}
	}
	for _, p := range op.params {
		switch p.In {
		case openapi3.ParameterInQuery:
			if len(query[p.Name]) == 0 && !p.Required {
				setDefault(r.URL, p)
				continue
			}
		case openapi3.ParameterInHeader:
			given := len(r.Header[http.CanonicalHeaderKey(p.Name)])
			if given == 0 && !p.Required {
				continue
			}
			if given == 0 {
				if err := missingHeader(p.Name); err != nil {
					return err
				}
			}
			if given > 1 && !slices.Contains(listHeaders, p.Name) {
				found.add(pointerTo(p), "must be given once only")
				continue
			}
			if given > 1 {
				r.Header.Set(p.Name, strings.Join(r.Header.Values(p.Name), ", "))
			}
		}
		if err := openapi3filter.ValidateParameter(r.Context(), &input, p); err != nil {
			found.collect(err, p)
		}
	}
	return nil
}

// listHeaders may come in several lines, as one list (RFC 9110, section 5.3).
var listHeaders = []string{"If-Match", "If-None-Match", "Prefer", "Accept"}

// missingHeader returns the refusal of a request without a header that has one
// of its own.
func missingHeader(name string) error {
	switch name {
	case "If-Match":
		return errNoIfMatch
	case "Idempotency-Key":
		return &domain.Error{Kind: domain.Invalid, Code: "idempotency_key_required",
			Detail: "send a header Idempotency-Key, such as a new UUID in quotes, and the same one when you repeat the request",
			Fields: []domain.FieldError{{Pointer: "/header/Idempotency-Key", Detail: "is required"}}}
	}
	return nil
}

// readQuery reads the query string, and complains of parameters that are not in
// the contract or come more often than it says.
func readQuery(raw string, op *operation, found *complaints) (url.Values, error) {
	if raw == "" {
		return nil, nil
	}
	query, err := url.ParseQuery(raw)
	if err != nil {
		return nil, domain.Errorf(domain.Invalid, "invalid_request", "the query cannot be read: in it, %% and ; must be escaped")
	}
	for _, name := range slices.Sorted(maps.Keys(query)) {
		values := query[name]
		p := op.query[name]
		at := pointer("/query", []string{name})
		switch {
		case !utf8.ValidString(name) || slices.ContainsFunc(values, notText):
			return nil, domain.Errorf(domain.Invalid, "invalid_request", "the query must be text in UTF-8, without the character U+0000")
		case p == nil:
			found.unknown(at, slices.Sorted(maps.Keys(op.query)))
		case len(values) > 1 && !p.Schema.Value.Type.Is(openapi3.TypeArray):
			found.add(at, "must be given once only")
		}
	}
	return query, nil
}

func notText(s string) bool { return !utf8.ValidString(s) || strings.IndexByte(s, 0) >= 0 }

// setDefault adds the default of a parameter that was left out, so that the
// contract is the only place that knows it.
func setDefault(u *url.URL, p *openapi3.Parameter) {
	if d := p.Schema.Value.Default; d != nil {
		if u.RawQuery != "" {
			u.RawQuery += "&"
		}
		u.RawQuery += p.Name + "=" + url.QueryEscape(fmt.Sprint(d))
	}
}

// hasBody refuses a body where there is none to be, or of another kind.
func hasBody(c *gin.Context, op *operation) error {
	r := c.Request
	switch {
	case op.content == nil && (r.ContentLength > 0 || len(r.TransferEncoding) > 0):
		return domain.Errorf(domain.Invalid, "invalid_request", "this request has no body")
	case op.content == nil || r.ContentLength == 0 || op.content[mediaType(r.Header)] != nil:
		return nil
	}
	if r.Method == http.MethodPatch {
		c.Header("Accept-Patch", op.mediaTypes)
	}
	return domain.Errorf(domain.Unsupported, "unsupported_media_type", "send the body as %s, and say so in Content-Type", op.mediaTypes)
}

// checkBody judges the body.
func (v *validator) checkBody(c *gin.Context, op *operation, found *complaints) error {
	if op.content == nil {
		return nil
	}
	raw := bodyOf(c)
	schema := op.content[mediaType(c.Request.Header)]
	if len(raw) == 0 {
		return found.noBody(op)
	}
	value, err := decodeJSON(raw, v.names)
	if err != nil {
		if j, ok := errors.AsType[*jsonError](err); ok {
			return j.refusal()
		}
		return err
	}
	if tooLong(value, schema, found) {
		return nil
	}
	// Not as a request: that would copy and visit everything under a oneOf twice,
	// only for readOnly members, which the contract does not have (see learn).
	if err := schema.VisitJSON(value, v.body...); err != nil {
		found.collect(err, nil)
	}
	return nil
}

// tooLong complains of a list with too many items, so that its items are not
// looked at: each could be wrong in many ways.
func tooLong(value any, schema *openapi3.Schema, found *complaints) bool {
	object, _ := value.(map[string]any)
	for name, member := range object {
		list, _ := member.([]any)
		ref := schema.Properties[name]
		if ref != nil && ref.Value.MaxItems != nil && uint64(len(list)) > *ref.Value.MaxItems {
			found.add(pointerTo(nil, name), "must have at most "+count(*ref.Value.MaxItems, "item"))
			return true
		}
	}
	return false
}

// mediaType returns the media type of a body of text in UTF-8, or "".
func mediaType(h http.Header) string {
	values := h["Content-Type"]
	if len(values) != 1 {
		return ""
	}
	if values[0] == "application/json" {
		return values[0]
	}
	t, params, err := mime.ParseMediaType(values[0])
	if err != nil {
		return ""
	}
	if charset, ok := params["charset"]; ok && !strings.EqualFold(charset, "utf-8") {
		return ""
	}
	return t
}
