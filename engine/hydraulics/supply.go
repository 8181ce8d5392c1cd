package hydraulics

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// Supply is the head at a source's outlet against the flow drawn there, with a part of the loss in pipes that it shares
// with other outlets of its line and a part in pipes of its own:
//
//	head = Static - Coefficient·((1-Own)·(Q + Elsewhere)^Exponent + Own·Q^Exponent)
//
// It is plain data. A Coefficient of 0 is a source whose level does not give way. Own is 0 unless a test with other
// outlets open showed what is shared.
type Supply struct {
	Static      float64 // head with nothing drawn [m]
	Coefficient float64 // loss per Q^Exponent [m·(s/m³)^n]
	Exponent    float64 // n [-]
	MaxFlow     float64 // most that may be drawn at this outlet [m³/s]; +Inf for no limit of its own
	Elsewhere   float64 // flow drawn on the same line at other outlets [m³/s]
	Own         float64 // share of Coefficient in pipes that no other outlet draws through, 0 to 1
}

// HeadAt returns the head [m] at the outlet while q [m³/s] is drawn. It falls with q and may be negative beyond what the
// source can push out by itself.
func (s Supply) HeadAt(q float64) float64 {
	if s.Coefficient == 0 {
		return s.Static
	}
	return s.Static - s.Coefficient*s.power(math.Max(0, q))
}

// power is what the Coefficient is multiplied by at flow q.
func (s Supply) power(q float64) float64 {
	shared := math.Pow(q+s.Elsewhere, s.Exponent)
	if s.Own == 0 || s.Elsewhere == 0 {
		return shared
	}
	return (1-s.Own)*shared + s.Own*math.Pow(q, s.Exponent)
}

// FlowAt returns the most the source gives [m³/s] while its outlet is held at head h [m]: the inverse of HeadAt, never
// above the flow limit nor below 0.
func (s Supply) FlowAt(h float64) float64 {
	if !(h < s.Static) {
		return 0
	}
	if s.Coefficient == 0 {
		return s.MaxFlow
	}
	power := (s.Static - h) / s.Coefficient
	most := math.Pow(power, 1/s.Exponent) // with nothing drawn elsewhere
	if s.Own == 0 || s.Elsewhere == 0 {
		return math.Min(s.MaxFlow, math.Max(0, most-s.Elsewhere))
	}
	most = math.Min(most, s.MaxFlow)
	if math.IsInf(power, 1) || s.power(most) <= power {
		return most
	}
	q, _ := root(0, most, func(q float64) float64 { return s.power(q) - power })
	return q
}

// offered returns the head at the outlet and its derivative while q [m³/s] is drawn.
func (s Supply) offered(q float64) (h, slope float64) {
	if s.Coefficient == 0 || q+s.Elsewhere <= 0 {
		return s.Static, 0
	}
	n, total := s.Exponent, q+s.Elsewhere
	loss := s.Coefficient * math.Exp(n*math.Log(total)) // math.Pow takes four times as long
	if s.Own == 0 || s.Elsewhere == 0 {
		return s.Static - loss, -n * loss / total
	}
	own := s.Own * s.Coefficient * math.Pow(math.Max(0, q), n)
	loss *= 1 - s.Own
	slope = -n * loss / total
	if q > 0 {
		slope -= n * own / q
	}
	return s.Static - loss - own, slope
}

// WithElsewhere returns the supply while other outlets of the same line draw q [m³/s] in all. A tap that was tested alone
// is read at the line's total flow, as if the taps shared every pipe: never optimistic, whatever part of the line they
// share. The most it gives falls to what then comes out of its open outlet.
func (s Supply) WithElsewhere(q float64) Supply {
	if s.Elsewhere = q; q > 0 {
		s.MaxFlow = s.FlowAt(0)
	}
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
