package api

import (
	"encoding/json"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/service/file"
)

// scanForm reads the fields of a form as scanJSON reads an object: numbers as json.Number where the schema wants numbers. Browsers
// send a field that was left empty as an empty text; it is left out, of the value and of the form that the generated code binds.
func scanForm(body []byte, s *openapi3.Schema) (clean []byte, value any, faults []gen.ProblemError) {
	given, err := url.ParseQuery(string(body))
	if err != nil {
		return nil, nil, []gen.ProblemError{{Reason: "is not a form: " + err.Error()}}
	}
	faults = plainValues("", given, slices.Sorted(maps.Keys(s.Properties)), "field")
	fields := map[string]any{}
	for name, values := range given {
		text := strings.TrimSpace(values[0])
		if p := s.Properties[name]; p != nil && text != "" {
			fields[name] = text
			if p.Value.Type.Is(openapi3.TypeNumber) {
				fault := gen.ProblemError{Pointer: file.Point(name), Reason: "must be a number, such as 25"}
				if _, err := strconv.ParseFloat(text, 64); err != nil || !json.Valid([]byte(text)) {
					faults = append(faults, fault)
				}
				fields[name] = json.Number(text)
			}
		}
		given.Set(name, text)
		if text == "" {
			given.Del(name)
		}
	}
	slices.SortFunc(faults, func(a, b gen.ProblemError) int { return strings.Compare(a.Pointer, b.Pointer) })
	return []byte(given.Encode()), fields, faults
}
