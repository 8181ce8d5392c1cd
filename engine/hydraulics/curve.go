package hydraulics

import "math"

// HeadFlow is the flow [m³/s] that something behind a source takes at head h [m] at the source's outlet. It rises with
// h, strictly where it is positive, and is 0 where nothing flows.
type HeadFlow interface {
	FlowAt(h float64) float64
}

// PowerLaw is the abstract layout of the problem file: q(h) = q0·(h/h0)^x. Exponent 0 is a regulated layout, whose flow
// does not depend on the head.
type PowerLaw struct {
	Flow     float64 // q0 [m³/s]
	Head     float64 // h0 [m]
	Exponent float64 // x [-]
}

// FlowAt returns the flow [m³/s] at head h [m].
func (p PowerLaw) FlowAt(h float64) float64 {
	if p.Exponent == 0 {
		return p.Flow
	}
	if h <= 0 {
		return 0
	}
	return p.Flow * math.Pow(h/p.Head, p.Exponent)
}
