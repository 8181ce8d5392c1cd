package hydraulics

import (
	"fmt"
	"strings"
)

// FaultCode says what is wrong with a field.
type FaultCode string

// The codes of layout and supply faults.
const (
	FaultNotFinite      FaultCode = "not_finite"       // NaN or infinite
	FaultOutOfRange     FaultCode = "out_of_range"     // Got is not within Least and Most
	FaultUnknownPipe    FaultCode = "unknown_pipe"     // no such size and wall in the table, and no measured diameter
	FaultBoreTooLarge   FaultCode = "bore_too_large"   // measured inside diameter does not fit the outside; Most is the limit
	FaultMissing        FaultCode = "missing"          // the field is needed
	FaultNotAllowed     FaultCode = "not_allowed"      // the field contradicts another one
	FaultUnknownWord    FaultCode = "unknown_word"     // not one of the words allowed
	FaultBeyondPipe     FaultCode = "beyond_pipe"      // a hole or tee past the end; Most is the last place
	FaultTooManyHoles   FaultCode = "too_many_holes"   // more than one result can hold
	FaultHolesOverlap   FaultCode = "holes_overlap"    // spacing under the diameter of the holes
	FaultNoSuchHole     FaultCode = "no_such_hole"     // a plugged hole that was never drilled
	FaultTwice          FaultCode = "twice"            // given before
	FaultNotUnderStatic FaultCode = "not_under_static" // residual pressure at or above static; Most is static
	FaultNoUsableTest   FaultCode = "no_usable_test"   // no test with a flow
	FaultHoseTakesAll   FaultCode = "hose_takes_all"   // the stated hose would lose more than the source has
)

// Fault is one thing wrong with one field. Path is the field in the layout document, such as
// "manifold.outlets[2].lateral.pieces[0].pattern.spacing_m"; numbers are in the unit that the path ends in.
type Fault struct {
	Path        string
	Code        FaultCode
	Got         float64
	Least, Most float64
}

// Error states the fault for a log; sentences for people are made elsewhere.
func (f Fault) Error() string {
	switch f.Code {
	case FaultOutOfRange, FaultBoreTooLarge, FaultBeyondPipe, FaultTooManyHoles, FaultNoSuchHole, FaultHolesOverlap,
		FaultNotUnderStatic, FaultHoseTakesAll:
		return fmt.Sprintf("%s: %s: got %.6g, want %.6g to %.6g", f.Path, f.Code, f.Got, f.Least, f.Most)
	default:
		return fmt.Sprintf("%s: %s", f.Path, f.Code)
	}
}

// Faults is every fault of a layout or supply, in the order of the document.
type Faults []Fault

// Error lists the faults.
func (f Faults) Error() string {
	s := make([]string, len(f))
	for i := range f {
		s[i] = f[i].Error()
	}
	return strings.Join(s, "; ")
}

// JSONPointer returns the path as an RFC 6901 pointer: "/manifold/outlets/2/at_m".
func (f Fault) JSONPointer() string {
	if f.Path == "" {
		return ""
	}
	return "/" + strings.NewReplacer("[", "/", "]", "", ".", "/").Replace(f.Path)
}
