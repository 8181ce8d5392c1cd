package fieldwork

import (
	"fmt"
	"math"
	"strings"

	"rillturn.example/rillturn/engine/unit"
)

// FaultCode says what is wrong with a field.
type FaultCode string

// The codes of faults.
const (
	FaultNotFinite  FaultCode = "not_finite"   // NaN or infinite
	FaultOutOfRange FaultCode = "out_of_range" // Got is not within Least and Most
	FaultTooLong    FaultCode = "too_long"     // a piece longer than all pipe there is; Most is the longest
	FaultNoSuch     FaultCode = "no_such"      // names something that is not there
	FaultTwice      FaultCode = "twice"        // an id given before
	FaultMissing    FaultCode = "missing"      // the field is needed
	// FaultTooManyPieces: more pieces of laterals than one request may have; Most is the limit.
	FaultTooManyPieces FaultCode = "too_many_pieces"
)

// Fault is one thing wrong with one field. Path is the field of the request; its number is in the unit that it ends in.
type Fault struct {
	Path        string
	Code        FaultCode
	Got         float64
	Least, Most float64
}

// Error states the fault for a log; sentences for people are made elsewhere.
func (f Fault) Error() string {
	switch f.Code {
	case FaultOutOfRange, FaultTooLong, FaultTooManyPieces:
		return fmt.Sprintf("%s: %s: got %.6g, want %.6g to %.6g", f.Path, f.Code, f.Got, f.Least, f.Most)
	case FaultNotFinite, FaultNoSuch, FaultTwice, FaultMissing:
	}
	return fmt.Sprintf("%s: %s", f.Path, f.Code)
}

// JSONPointer returns the path as an RFC 6901 pointer: "/pieces/2/length_m".
func (f Fault) JSONPointer() string {
	if f.Path == "" {
		return ""
	}
	return "/" + strings.NewReplacer("[", "/", "]", "", ".", "/").Replace(f.Path)
}

// Faults is everything wrong with a request, in its order.
type Faults []Fault

// Error lists the faults.
func (f Faults) Error() string {
	s := make([]string, len(f))
	for i := range f {
		s[i] = f[i].Error()
	}
	return strings.Join(s, "; ")
}

func (f *Faults) add(fault Fault) { *f = append(*f, fault) }

func (f *Faults) within(path string, v, least, most float64) bool {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		f.add(Fault{Path: path, Code: FaultNotFinite})
		return false
	}
	if v < least || v > most {
		f.add(Fault{Path: path, Code: FaultOutOfRange, Got: v, Least: least, Most: most})
		return false
	}
	return true
}

func (f *Faults) count(path string, n, least, most int) {
	f.within(path, float64(n), float64(least), float64(most))
}

func (f Faults) err() error {
	if len(f) == 0 {
		return nil
	}
	return f
}

func at(list string, i int) string { return fmt.Sprintf("%s[%d]", list, i) }

// NotEnoughPipeError says that off-cuts do not suffice for pieces that nothing to be bought is long enough for.
type NotEnoughPipeError struct {
	Need, Have unit.Length
}

// Error states both lengths.
func (e NotEnoughPipeError) Error() string {
	return fmt.Sprintf("pieces of %.3f m in all cannot be cut from off-cuts of %.3f m", float64(e.Need), float64(e.Have))
}
