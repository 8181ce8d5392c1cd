package api

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/openapi"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// operation is what the contract says about one route, ready for checking requests.
type operation struct {
	id        string
	route     *routers.Route
	queries   []string // names of the query parameters
	produces  []string // media types of the answer, the preferred one first
	body      *openapi3.Schema
	form      bool               // the body is a form, not JSON
	bodiless  bool               // a request without a body says what an empty object says
	public    bool               // needs no token
	feed      bool               // takes the token from the query too
	links     []service.Document // what links open it
	creates   bool               // takes an Idempotency-Key
	parameter []*openapi3.Parameter
}

// contract is the OpenAPI document, by route.
type contract struct {
	doc        *openapi3.T
	json       []byte
	operations map[string]*operation // by method and route pattern of the router
}

// loadContract reads the embedded document. It is part of the program, so a fault in it stops the program.
func loadContract() (*contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Document)
	if err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	text, err := doc.MarshalJSON()
	if err != nil {
		return nil, fmt.Errorf("write the contract: %w", err)
	}
	// The library checks a 3.1 document by compiling a JSON Schema for every value it sees. The contract uses only
	// keywords that mean the same in 3.0 (a test holds it to that), and for 3.0 the library walks the schema itself.
	doc.OpenAPI = "3.0.3"
	c := &contract{doc: doc, json: text, operations: map[string]*operation{}}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			c.operations[method+" "+pattern(path)] = newOperation(doc, path, item, method, op)
		}
	}
	return c, nil
}

// pattern writes a path of the contract as the router does: /plots/{plot} as /plots/:plot.
func pattern(path string) string {
	return strings.NewReplacer("{", ":", "}", "").Replace(path)
}

func newOperation(doc *openapi3.T, path string, item *openapi3.PathItem, method string, op *openapi3.Operation) *operation {
	o := &operation{
		id:     op.OperationID,
		route:  &routers.Route{Spec: doc, Path: path, PathItem: item, Method: method, Operation: op},
		public: op.Security != nil && len(*op.Security) == 0,
	}
	links, _ := op.Extensions["x-link"].([]any)
	for _, d := range links {
		o.links = append(o.links, service.Document(d.(string)))
	}
	for _, ref := range op.Parameters {
		p := ref.Value
		o.parameter = append(o.parameter, p)
		switch {
		case p.In == openapi3.ParameterInQuery:
			o.queries = append(o.queries, p.Name)
			o.feed = o.feed || p.Name == feedToken
		case p.Name == idempotencyHeader:
			o.creates = true
		}
	}
	for status, ref := range op.Responses.Map() {
		if strings.HasPrefix(status, "2") {
			for media := range ref.Value.Content {
				o.produces = append(o.produces, media)
			}
		}
	}
	slices.SortFunc(o.produces, func(a, b string) int { // JSON is preferred
		return strings.Compare(strings.TrimPrefix(a, "application/"), strings.TrimPrefix(b, "application/"))
	})
	if i := slices.Index(o.produces, jsonMedia); i > 0 {
		o.produces[0], o.produces[i] = o.produces[i], o.produces[0]
	}
	if op.RequestBody != nil {
		content := op.RequestBody.Value.Content
		o.form = content[formMedia] != nil
		o.body = content[o.takes()].Schema.Value
		o.bodiless = !op.RequestBody.Value.Required
	}
	return o
}

// takes is the media type of the body.
func (o *operation) takes() string {
	if o.form {
		return formMedia
	}
	return jsonMedia
}

const (
	jsonMedia         = "application/json"
	formMedia         = "application/x-www-form-urlencoded"
	feedToken         = "token"
	idempotencyHeader = "Idempotency-Key"
)

type operationKey struct{}

// operationOf returns what the contract says about the request's route.
func operationOf(ctx context.Context) *operation { return ctx.Value(operationKey{}).(*operation) }

// checkRequest refuses what the contract doesn't allow, all faults at once, and hands the decoded body on.
func checkRequest(c *gin.Context) {
	op := operationOf(c)
	if len(op.produces) > 0 && negotiate(strings.Join(c.Request.Header.Values("Accept"), ","), op.produces) == "" {
		write(c, refuse(notAcceptable, "This operation answers in %s.", strings.Join(op.produces, ", ")))
		return
	}
	faults := checkParameters(c, op)
	raw, value, bodyFaults, err := readBody(c, op)
	if err != nil {
		write(c, err)
		return
	}
	if faults = append(faults, bodyFaults...); len(faults) > 0 {
		write(c, refuseAll(badRequest, faults))
		return
	}
	if op.body != nil {
		c.Request.Body = decodedBody{io.NopCloser(strings.NewReader(string(raw))), value}
	}
	if key := c.GetHeader(idempotencyHeader); op.creates && key != "" {
		hash := sha256.New()
		_, _ = fmt.Fprintf(hash, "%s\n%s\n", c.Request.Method, c.Request.URL.Path)
		_, _ = hash.Write(raw) // a hash never fails
		idem := service.Idempotency{Key: key, Fingerprint: [sha256.Size]byte(hash.Sum(nil))}
		c.Request = c.Request.WithContext(service.WithIdempotency(c.Request.Context(), idem))
	}
	c.Next()
}

// decodedBody is a request body that was decoded while it was checked. The generated code asks for ValidatedValue and
// binds it, so the handler gets exactly what was checked.
type decodedBody struct {
	io.ReadCloser
	value any
}

func (b decodedBody) ValidatedValue() any { return b.value }

// readBody reads, decodes and checks the body. An error refuses the request at once, before single faults matter.
func readBody(c *gin.Context, op *operation) (raw []byte, value any, faults []gen.ProblemError, err error) {
	raw, err = io.ReadAll(http.MaxBytesReader(c.Writer, c.Request.Body, maxBody))
	var over *http.MaxBytesError
	switch {
	case errors.As(err, &over):
		return nil, nil, nil, refuse(tooLarge, "The body is larger than %d bytes.", maxBody)
	case err != nil:
		return nil, nil, nil, refuse(badRequest, "The body could not be read to its end.")
	case op.body == nil && len(raw) > 0:
		return nil, nil, []gen.ProblemError{{Reason: "this operation takes no body"}}, nil
	case op.body == nil:
		return nil, nil, nil, nil
	case op.bodiless && len(raw) == 0:
		return []byte("{}"), map[string]any{}, nil, nil
	}
	media, params, err := mime.ParseMediaType(c.GetHeader("Content-Type"))
	if charset := params["charset"]; err != nil || media != op.takes() || charset != "" && !strings.EqualFold(charset, "utf-8") {
		return nil, nil, nil, refuse(wrongMediaType, "Send the body as %s in UTF-8.", op.takes())
	}
	if op.form {
		raw, value, faults = scanForm(raw, op.body)
	} else {
		value, faults = scanJSON(raw)
	}
	if len(faults) == 0 {
		faults = schemaFaults("", op.body.VisitJSON(value, append(visitOptions, openapi3.VisitAsRequest())...))
	}
	return raw, value, faults, nil
}

// checkParameters checks path, query and header parameters.
func checkParameters(c *gin.Context, op *operation) []gen.ProblemError {
	query, err := url.ParseQuery(c.Request.URL.RawQuery)
	if err != nil {
		return []gen.ProblemError{{Pointer: "#query", Reason: "is not a query: " + err.Error()}}
	}
	faults := plainValues("#query", query, op.queries, "parameter")
	in := &openapi3filter.RequestValidationInput{
		Request: c.Request, PathParams: make(map[string]string, len(c.Params)), QueryParams: query, Route: op.route,
		Options: &openapi3filter.Options{MultiError: true, SkipSettingDefaults: true, SchemaValidationOptions: visitOptions},
	}
	for _, p := range c.Params {
		in.PathParams[p.Key] = p.Value
	}
	for _, p := range op.parameter {
		if err := openapi3filter.ValidateParameter(c, in, p); err != nil {
			faults = append(faults, parameterFaults(p, err)...)
		}
	}
	return faults
}

// plainValues refuses names that the operation doesn't know, names given twice, and text that no parameter or field may hold.
func plainValues(at string, given url.Values, known []string, what string) []gen.ProblemError {
	var faults []gen.ProblemError
	for name, values := range given {
		at := at + file.Point(strings.ToValidUTF8(name, "\uFFFD"))
		switch {
		case !slices.Contains(known, name):
			reason := "is not a " + what + " of this operation"
			if len(known) > 0 {
				reason += "; it takes " + strings.Join(known, ", ")
			}
			faults = append(faults, gen.ProblemError{Pointer: at, Reason: reason})
		case len(values) > 1:
			faults = append(faults, gen.ProblemError{Pointer: at, Reason: "is given " + strconv.Itoa(len(values)) + " times"})
		case strings.ContainsFunc(values[0], unicode.IsControl) || strings.ToValidUTF8(values[0], "") != values[0]:
			faults = append(faults, gen.ProblemError{Pointer: at, Reason: "is not plain UTF-8 text"})
		}
	}
	slices.SortFunc(faults, func(a, b gen.ProblemError) int { return strings.Compare(a.Pointer, b.Pointer) })
	return faults
}

func parameterFaults(p *openapi3.Parameter, err error) []gen.ProblemError {
	at := "#" + p.In + "/" + p.Name
	var request *openapi3filter.RequestError
	if errors.As(err, &request) && request.Err != nil {
		err = request.Err
	}
	var parse *openapi3filter.ParseError
	if errors.As(err, &parse) {
		return []gen.ProblemError{{Pointer: at, Reason: "must be " + article(p.Schema.Value)}}
	}
	return schemaFaults(at, err)
}

func article(s *openapi3.Schema) string {
	if s.Type.Is(openapi3.TypeInteger) {
		return "a whole number"
	}
	return "a " + strings.Join(s.Type.Slice(), " or ")
}

// schemaFaults lists the leaves of a validator's error with their pointers below at.
func schemaFaults(at string, err error) []gen.ProblemError {
	var many openapi3.MultiError
	var one *openapi3.SchemaError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &many):
		var faults []gen.ProblemError
		for _, e := range many {
			faults = append(faults, schemaFaults(at, e)...)
		}
		return faults
	case errors.As(err, &one):
		for _, token := range one.JSONPointer() {
			at += file.Point(token)
		}
		return []gen.ProblemError{reason(at, one)}
	default:
		return []gen.ProblemError{{Pointer: at, Reason: err.Error()}}
	}
}

// reason says a fault in words that follow the field's name.
func reason(at string, e *openapi3.SchemaError) gen.ProblemError {
	switch e.SchemaField {
	case "required":
		return gen.ProblemError{Pointer: at, Reason: "is required"}
	case "properties":
		name, _ := strings.CutPrefix(e.Reason, "property ")
		if name, err := strconv.Unquote(strings.TrimSuffix(name, " is unsupported")); err == nil {
			return gen.ProblemError{Pointer: at + file.Point(name), Reason: "is not a known field"}
		}
	case "format":
		if e.Origin != nil {
			return gen.ProblemError{Pointer: at, Reason: e.Origin.Error()}
		}
	case "pattern":
		return gen.ProblemError{Pointer: at, Reason: "must match " + e.Schema.Pattern}
	}
	return gen.ProblemError{Pointer: at, Reason: e.Reason}
}

// visitOptions make the validator list every fault and check formats to the letter: a date that no calendar has, or a
// time without zone, would fail later and with a worse message.
var visitOptions = []openapi3.SchemaValidationOption{
	openapi3.MultiErrors(),
	openapi3.EnableFormatValidation(),
	openapi3.WithStringFormatValidators(map[string]openapi3.StringFormatValidator{
		"uuid": openapi3.NewCallbackValidator(func(s string) error {
			if len(s) != 36 || uuid.Validate(s) != nil {
				return errors.New("must be a UUID such as 01985c00-0000-7000-8000-000000000001")
			}
			return nil
		}),
		"date": openapi3.NewCallbackValidator(func(s string) error {
			if _, err := time.Parse(time.DateOnly, s); err != nil {
				return errors.New("must be a date such as 2026-07-06")
			}
			return nil
		}),
		"date-time": openapi3.NewCallbackValidator(func(s string) error {
			if t, err := time.Parse(time.RFC3339, s); err != nil || t.Year() < 1 {
				return errors.New("must be an instant such as 2026-07-06T06:30:00Z")
			}
			return nil
		}),
	}),
}
