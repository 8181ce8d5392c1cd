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
	high, _ := colebrook(turbulentLimit, rel)
	const low = 64.0 / laminarLimit
	return low + (high-low)/(turbulentLimit-laminarLimit)*(re-laminarLimit)
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

// conduit is a stretch of pipe with everything the loss needs already multiplied out. The zero value loses nothing.
type conduit struct {
	length   float64 // [m]
	diameter float64 // [m]
	area     float64 // [m²]
	relative float64 // relative roughness [-]
	reynolds float64 // Re per flow [s/m³]
	laminar  float64 // loss per flow in laminar flow [s/m²]
	friction float64 // loss per f·Re² [m]
	minor    float64 // loss per Q² of fittings [s²/m⁵]
	williams float64 // loss per Q^1.852; not zero selects Hazen–Williams
	factors  *factorTable
}

// water is what the loss needs to know besides the pipe. It keeps the friction factors of each roughness it met.
type water struct {
	law       FrictionLaw
	viscosity float64 // [m²/s]
	known     map[float64]*factorTable
}

func newWater(law FrictionLaw, t unit.Temperature) *water {
	return &water{law: law, viscosity: KinematicViscosity(t), known: map[float64]*factorTable{}}
}

// factors returns the table for a relative roughness.
func (w *water) factors(relative float64) *factorTable {
	t, ok := w.known[relative]
	if !ok {
		t = newFactorTable(relative)
		w.known[relative] = t
	}
	return t
}

// A factorTable holds f·Re² by the Colebrook equation for one relative roughness as cubics in Re, so that a march needs
// no logarithm: the loss along a pipe is L·ν²/(2g·D³) times f·Re². Each octave of Re from 2^tableFirst is cut into
// tableParts; within 1e-10 of the equation (tested).
type factorTable struct {
	relative float64
	ramp     [2]float64 // factor at the laminar limit and its rise per Re up to the turbulent limit
	cubic    [tableOctaves * tableParts][4]float64
}

const (
	tableBits    = 6
	tableParts   = 1 << tableBits
	tableFirst   = 11 // Re 2048, under the turbulent limit
	tableOctaves = 9  // up to Re 2^20, one million; beyond, the equation is solved
	mantissaBits = 52
	tableShift   = mantissaBits - tableBits
	tableBase    = (1023 + tableFirst) << tableBits
	tableEnd     = 1 << (tableFirst + tableOctaves)
)

func newFactorTable(relative float64) *factorTable {
	t := &factorTable{relative: relative}
	high, _ := colebrook(turbulentLimit, relative)
	t.ramp = [2]float64{64.0 / laminarLimit, (high - 64.0/laminarLimit) / (turbulentLimit - laminarLimit)}
	for i := range t.cubic {
		a, b := partStart(i), partStart(i+1)
		fa, sa := t.equation(a)
		fb, sb := t.equation(b)
		w := b - a
		secant := (fb - fa) / w
		t.cubic[i] = [4]float64{fa, sa, (3*secant - 2*sa - sb) / w, (sa + sb - 2*secant) / (w * w)}
	}
	return t
}

// partStart returns the Re at which part i of the table begins.
func partStart(i int) float64 { return math.Float64frombits(uint64(tableBase+i) << tableShift) }

// equation returns f·Re² and its derivative by Re from the Colebrook equation.
func (t *factorTable) equation(re float64) (g, rise float64) {
	f, slope := colebrook(re, t.relative)
	return f * re * re, (2 + slope) * f * re
}

// at returns f·Re² and its derivative by Re above the laminar limit.
func (t *factorTable) at(re float64) (g, rise float64) {
	switch {
	case re < turbulentLimit:
		return t.onRamp(re)
	case re < tableEnd:
		c, s := t.part(re)
		return c[0] + s*c[1] + s*s*(c[2]+s*c[3]), c[1] + s*(2*c[2]+s*(3*c[3]))
	}
	return t.equation(re)
}

// part returns the cubic for Re inside the table and how far Re lies past its start. The leading bits of a double are its
// part.
func (t *factorTable) part(re float64) (c *[4]float64, s float64) {
	bits := math.Float64bits(re)
	return &t.cubic[bits>>tableShift-tableBase], re - math.Float64frombits(bits&^(1<<tableShift-1))
}

// onRamp is at between the laminar and the turbulent limit.
func (t *factorTable) onRamp(re float64) (g, rise float64) {
	f := t.ramp[0] + t.ramp[1]*(re-laminarLimit)
	return f * re * re, (2*f + t.ramp[1]*re) * re
}

// newConduit prepares a pipe of length l [m], inside diameter d [m] and roughness eps [m] that carries fittings with a
// total loss coefficient k on its own velocity head.
//
// Darcy–Weisbach: F. M. White, Fluid Mechanics, ch. 6. Hazen–Williams in SI: h = 10.67·L·Q^1.852/(C^1.852·D^4.8704).
func newConduit(w *water, l, d, eps, k float64) conduit {
	area := math.Pi / 4 * d * d
	c := conduit{
		length: l, diameter: d, area: area, relative: eps / d,
		reynolds: d / (area * w.viscosity),
		laminar:  128 * w.viscosity * l / (math.Pi * unit.Gravity * d * d * d * d),
		friction: l * w.viscosity * w.viscosity / (2 * unit.Gravity * d * d * d),
		minor:    k / (2 * unit.Gravity * area * area),
	}
	if c.factors = w.factors(c.relative); w.law == HazenWilliams {
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
	g, rise := c.factors.at(re)
	return h + c.friction*g, slope + c.friction*rise*c.reynolds
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
	c := newConduit(newWater(law, t), float64(l), float64(d), float64(roughness), 0)
	h, _ := c.loss(math.Abs(float64(q)))
	return unit.Head(math.Copysign(h, float64(q)))
}
