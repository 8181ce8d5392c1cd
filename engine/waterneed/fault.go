package waterneed

import (
	"fmt"
	"math"
	"strings"
)

// Code is a word for a machine: a rung, a source of a value, a flag. api/render makes sentences of codes.
type Code string

// The reasons of an InputError.
const (
	ReasonMissing    Code = "missing"
	ReasonNotFinite  Code = "not_finite"
	ReasonOutOfRange Code = "out_of_range"
	ReasonUnknown    Code = "unknown"
	ReasonDuplicate  Code = "duplicate"
	ReasonUnit       Code = "unit_doubtful"
	ReasonOrder      Code = "order"
)

// InputError is one value that cannot be used.
type InputError struct {
	// Field is the path of the value, as in weather.tmax_c or plantings[2].crop.stages.mid.
	Field string
	// Reason is one of the Reason codes.
	Reason Code
	// Value is the value refused; Low and High are the limits it had to keep, where the reason has limits.
	Value, Low, High float64
}

// Error names the field, the value and the limits.
func (e InputError) Error() string {
	switch e.Reason {
	case ReasonOutOfRange, ReasonUnit, ReasonOrder:
		return fmt.Sprintf("%s: %s: %g is not between %g and %g", e.Field, e.Reason, e.Value, e.Low, e.High)
	default:
		return fmt.Sprintf("%s: %s", e.Field, e.Reason)
	}
}

// InputErrors are all the values of an input that cannot be used. They are never empty when returned as an error.
type InputErrors []InputError

// Error lists the faults, one a line.
func (e InputErrors) Error() string {
	lines := make([]string, len(e))
	for i, fault := range e {
		lines[i] = fault.Error()
	}
	return strings.Join(lines, "\n")
}

func (e InputErrors) err() error {
	if len(e) == 0 {
		return nil
	}
	return e
}

func (e *InputErrors) add(field string, reason Code) {
	*e = append(*e, InputError{Field: field, Reason: reason})
}

// within notes a value that is not finite or outside low..high, and says whether it is fine.
func (e *InputErrors) within(field string, value, low, high float64) bool {
	return e.check(field, ReasonOutOfRange, value, low, high)
}

func (e *InputErrors) check(field string, reason Code, value, low, high float64) bool {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		*e = append(*e, InputError{Field: field, Reason: ReasonNotFinite, Value: value, Low: low, High: high})
		return false
	}
	if value < low || value > high {
		*e = append(*e, InputError{Field: field, Reason: reason, Value: value, Low: low, High: high})
		return false
	}
	return true
}

// optionalWithin is within for a value that may be unknown.
func optionalWithin[T ~float64](e *InputErrors, field string, v Optional[T], low, high float64) bool {
	return !v.Known || e.within(field, float64(v.Value), low, high)
}

// join adds faults of a part, with the part's path in front.
func (e *InputErrors) join(prefix string, part InputErrors) {
	for _, fault := range part {
		if prefix != "" {
			fault.Field = prefix + "." + fault.Field
		}
		*e = append(*e, fault)
	}
}

// Optional is a value that may be unknown. The zero value is unknown.
type Optional[T any] struct {
	Value T
	Known bool
}

// Given returns a known value.
func Given[T any](v T) Optional[T] { return Optional[T]{Value: v, Known: true} }

// Or returns the value, or instead when it is unknown.
func (o Optional[T]) Or(instead T) T {
	if o.Known {
		return o.Value
	}
	return instead
}

// Validate returns the faults of the place as InputErrors.
func (p Place) Validate() error { return p.faults().err() }

// Validate returns the faults of the crop as InputErrors.
func (c Crop) Validate() error { return c.faults().err() }

// Validate returns the faults of the soil as InputErrors.
func (s Soil) Validate() error { return s.faults().err() }

// Validate returns the faults of the planting as InputErrors.
func (p Planting) Validate() error { return p.faults().err() }

// Validate returns the faults of the unit and all its plantings as InputErrors.
func (u Unit) Validate() error { return u.faults().err() }

// Validate returns the faults of the climate, all its days and normals, as InputErrors.
func (c Climate) Validate() error {
	_, err := c.ladder()
	return err
}
