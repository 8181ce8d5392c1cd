package api

import (
	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/service/file"
)

// maxBody is the most bytes of a request body.
const maxBody = 1 << 20

// scanJSON reads one JSON text as the validator and the generated code want it: objects as map[string]any, numbers as
// json.Number. It refuses what file.Parse refuses.
func scanJSON(body []byte) (any, []gen.ProblemError) {
	value, faults := file.Parse(body)
	var errs []gen.ProblemError
	for _, f := range faults {
		errs = append(errs, gen.ProblemError{Pointer: f.Pointer, Reason: f.Reason})
	}
	return value, errs
}
