package hydraulics

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// Supply is the head at a source's outlet against the flow drawn there:
//
//	head = Static - Coefficient·(Q + Elsewhere)^Exponent
//
// It is plain data. A Coefficient of 0 is a source whose level does not give way.
type Supply struct {
	Static      float64 // head with nothing drawn [m]
	Coefficient float64 // loss per Q^Exponent [m·(s/m³)^n]
	Exponent    float64 // n [-]
	MaxFlow     float64 // most the source gives [m³/s]; +Inf for no limit of its own
	Elsewhere   float64 // flow drawn on the same line at other outlets [m³/s]
}

// HeadAt returns the head [m] at the outlet while q [m³/s] is drawn. It falls with q and may be negative beyond what the
// source can push out by itself.
func (s Supply) HeadAt(q float64) float64 {
	if s.Coefficient == 0 {
		return s.Static
	}
	return s.Static - s.Coefficient*math.Pow(math.Max(0, q+s.Elsewhere), s.Exponent)
}

// FlowAt returns the most the source gives [m³/s] while its outlet is held at head h [m]: the inverse of HeadAt, never
// above the flow limit nor below 0.
func (s Supply) FlowAt(h float64) float64 {
	most := math.Max(0, s.MaxFlow-s.Elsewhere)
	if !(h < s.Static) {
		return 0
	}
	if s.Coefficient == 0 {
		return most
	}
	return math.Min(most, math.Max(0, math.Pow((s.Static-h)/s.Coefficient, 1/s.Exponent)-s.Elsewhere))
}

// WithElsewhere returns the supply while other outlets of the same line draw q [m³/s] in all. A tap tested alone is read
// at the line's total flow, as if the taps shared every pipe: never optimistic, whatever part of the line they share.
func (s Supply) WithElsewhere(q float64) Supply {
	s.Elsewhere = q
	return s
}

// Tank is an open tank, barrel or pond that feeds by its level.
type Tank struct {
	Level          unit.Length // water surface above the outlet
	OutletDiameter unit.Length // 0 leaves the outlet's loss out
	OutletK        float64     // loss coefficient of the outlet on its velocity; sharp entrance 0.5
	MaxFlow        unit.Flow   // 0 for no limit of its own
}

// Supply returns the tank as a supply curve at its present level.
func (t Tank) Supply() Supply {
	s := Supply{Static: float64(t.Level), Exponent: 2, MaxFlow: math.Inf(1)}
	if t.MaxFlow > 0 {
		s.MaxFlow = float64(t.MaxFlow)
	}
	if t.OutletDiameter > 0 {
		area := math.Pi / 4 * float64(t.OutletDiameter) * float64(t.OutletDiameter)
		s.Coefficient = t.OutletK / (2 * unit.Gravity * area * area)
	}
	return s
}
