package hydraulics

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// The friction law is laminar up to laminarLimit, Colebrook from turbulentLimit, and a straight ramp of the factor
// between. Without the ramp the loss would jump by more than half at one Reynolds number, and for heads inside that
// jump no flow would satisfy the equations.
const (
	laminarLimit   = 2040
	turbulentLimit = 2100
)

// FrictionLaw chooses how the loss along a pipe is reckoned.
type FrictionLaw string

const (
	// DarcyWeisbach is the law the engine stands behind at every flow.
	DarcyWeisbach FrictionLaw = "darcy-weisbach"
	// HazenWilliams (C 150, plastic) is kept for comparison with printed tables. It understates the loss of slow flow.
	HazenWilliams FrictionLaw = "hazen-williams"
)

// DarcyFrictionFactor returns the Darcy friction factor [-] at Reynolds number re and relative roughness rel (roughness
// over inside diameter). It is +Inf at re 0, where only the loss itself has a limit.
func DarcyFrictionFactor(re, rel float64) float64 {
	switch {
	case re <= laminarLimit:
		return 64 / re
	case re >= turbulentLimit:
		f, _ := colebrook(re, rel)
		return f
	}
	f, _ := ramp(re, rel)
	return f
}

// colebrook returns the Darcy friction factor f and d ln f / d ln Re from the Colebrook equation
//
//	1/√f = -2·log10(rel/3.7 + 2.51/(Re·√f))
//
// to machine precision for any Re above 1000 and rel from 0 to 0.05. With F = ln(10)/(2√f) the equation reads
// F + ln(x1 + F) = x2; two steps of a quartic iteration solve it.
// Source: D. Clamond, Ind. Eng. Chem. Res. 48 (2009) 3665–3671, eq. 1 and its algorithm (constants rederived).
func colebrook(re, rel float64) (f, slope float64) {
	const halfLn10 = math.Ln10 / 2
	x1 := rel * re * (math.Ln10 / (2 * 3.7 * 2.51))
	x2 := math.Log(re * (halfLn10 / 2.51))
	s := x2 - 0.2
	e := (math.Log(x1+s) - 0.2) / (1 + x1 + s)
	s -= (1 + x1 + s + 0.5*e) * e * (x1 + s) / (1 + x1 + s + e*(1+e/3))
	e = (math.Log(x1+s) + s - x2) / (1 + x1 + s)
	s -= (1 + x1 + s + 0.5*e) * e * (x1 + s) / (1 + x1 + s + e*(1+e/3))
	f = halfLn10 / s
	return f * f, -2 / (1 + x1 + s)
}

// ramp returns the factor and d ln f / d ln Re on the straight line between the two regimes.
func ramp(re, rel float64) (f, slope float64) {
	const low = 64.0 / laminarLimit
	high, _ := colebrook(turbulentLimit, rel)
	rise := (high - low) / (turbulentLimit - laminarLimit)
	f = low + rise*(re-laminarLimit)
	return f, rise * re / f
}

// conduit is a stretch of pipe with everything the loss needs already multiplied out. The zero value loses nothing.
type conduit struct {
	length    float64 // [m]
	diameter  float64 // [m]
	area      float64 // [m²]
	relative  float64 // relative roughness [-]
	reynolds  float64 // Re per flow [s/m³]
	laminar   float64 // loss per flow in laminar flow [s/m²]
	turbulent float64 // loss per f·Q² [s²/m⁵]
	minor     float64 // loss per Q² of fittings [s²/m⁵]
	williams  float64 // loss per Q^1.852; not zero selects Hazen–Williams
}

// water is what the loss needs to know besides the pipe.
type water struct {
	law       FrictionLaw
	viscosity float64 // [m²/s]
}

// newConduit prepares a pipe of length l [m], inside diameter d [m] and roughness eps [m] that carries fittings with a
// total loss coefficient k on its own velocity head.
//
// Darcy–Weisbach: F. M. White, Fluid Mechanics, ch. 6. Hazen–Williams in SI: h = 10.67·L·Q^1.852/(C^1.852·D^4.8704).
func newConduit(w water, l, d, eps, k float64) conduit {
	area := math.Pi / 4 * d * d
	c := conduit{
		length: l, diameter: d, area: area, relative: eps / d,
		reynolds:  d / (area * w.viscosity),
		laminar:   128 * w.viscosity * l / (math.Pi * unit.Gravity * d * d * d * d),
		turbulent: l / (2 * unit.Gravity * d * area * area),
		minor:     k / (2 * unit.Gravity * area * area),
	}
	if w.law == HazenWilliams {
		c.williams = 10.67 * l / (math.Pow(hazenWilliamsC, 1.852) * math.Pow(d, 4.8704))
	}
	return c
}

// hazenWilliamsC is the usual coefficient of plastic pipe. Source: NRCS practice standard 430HH, May 2002.
const hazenWilliamsC = 150

// loss returns the head lost [m] at flow q [m³/s], q >= 0, and its derivative by flow.
func (c *conduit) loss(q float64) (h, slope float64) {
	h, slope = c.minor*q*q, 2*c.minor*q
	if c.williams > 0 {
		friction := c.williams * math.Pow(q, 1.852)
		if q > 0 {
			slope += 1.852 * friction / q
		}
		return h + friction, slope
	}
	re := c.reynolds * q
	if re <= laminarLimit {
		return h + c.laminar*q, slope + c.laminar
	}
	var f, fSlope float64
	if re < turbulentLimit {
		f, fSlope = ramp(re, c.relative)
	} else {
		f, fSlope = colebrook(re, c.relative)
	}
	friction := f * c.turbulent * q
	return h + friction*q, slope + friction*(2+fSlope)
}

// velocity returns the mean velocity [m/s] at flow q [m³/s].
func (c *conduit) velocity(q float64) float64 {
	if c.area == 0 {
		return 0
	}
	return q / c.area
}

// HeadLoss returns the head lost [m] along a straight pipe of the given length, inside diameter and roughness at flow q
// of water at temperature t, by the given law.
func HeadLoss(law FrictionLaw, q unit.Flow, l, d, roughness unit.Length, t unit.Temperature) unit.Head {
	c := newConduit(water{law: law, viscosity: KinematicViscosity(t)}, float64(l), float64(d), float64(roughness), 0)
	h, _ := c.loss(math.Abs(float64(q)))
	return unit.Head(math.Copysign(h, float64(q)))
}
