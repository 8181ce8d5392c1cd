package hydraulics

import (
	"math"
	"slices"

	"rillturn.example/rillturn/engine/unit"
)

// The plausible ranges of what is seldom measured.
const (
	// leastPlausibleCd and mostPlausibleCd bound round holes drilled in PVC. Source: Hotupan and Hadarean, J. Appl. Eng.
	// Sci. 10 (2020) 133–138, abstract.
	leastPlausibleCd = 0.59
	mostPlausibleCd  = 0.86
	// plausibleSlope is how far from level ground that was called flat may be; common practice, no source.
	plausibleSlope = 0.01
	// plausibleBore is the gap between nominal and average inside diameter of half-inch schedule 40 (two open tables).
	plausibleBore = 0.03
	// plausibleDrill is how far a hole may be off its drill's size; our choice.
	plausibleDrill = 0.05
	// plausibleBranchK is the other end of tee branch coefficients, threaded. Source: LMNO Engineering, table of minor loss
	// coefficients.
	plausibleBranchK = 2.0
	coldWater        = 10 // [°C]
	warmWater        = 30
)

// SensitivityCode names an assumption that was varied.
type SensitivityCode string

// What Assess varies.
const (
	VaryCoefficient SensitivityCode = "discharge_coefficient" // Low and High: Cd
	VaryLevel       SensitivityCode = "level"                 // slopes of everything whose rise nobody measured [-]
	VaryLateralBore SensitivityCode = "lateral_bore"          // share of the inside diameter
	VaryHoseBore    SensitivityCode = "hose_bore"             // share of the inside diameter
	VaryHole        SensitivityCode = "hole_diameter"         // share of the diameter
	VaryBranch      SensitivityCode = "tee_branch"            // K
	VaryWater       SensitivityCode = "water_temperature"     // [°C]
	VarySupply      SensitivityCode = "supply_curve"          // its low and its high end
)

// Outcome is what a person wants to know of a layout at its operating point.
type Outcome struct {
	Flow         unit.Flow
	ManifoldHead unit.Head
	LeastHole    unit.Flow
	Distribution float64 // DU
}

// Sensitivity is the outcome at both ends of an assumption's plausible range. Effect ranks: the largest change of DU plus
// the largest relative change of flow.
type Sensitivity struct {
	Code          SensitivityCode
	Low, High     float64
	AtLow, AtHigh Outcome
	Effect        float64
}

// DistributionRange returns the least and the largest DU over the range of the assumption and the given outcome.
func (s *Sensitivity) DistributionRange(as Outcome) (least, most float64) {
	return min(s.AtLow.Distribution, s.AtHigh.Distribution, as.Distribution),
		max(s.AtLow.Distribution, s.AtHigh.Distribution, as.Distribution)
}

// Assessment is a layout alone on its source, with the assumptions that matter, the strongest first. Those that were
// measured are not among them.
type Assessment struct {
	Outcome       Outcome
	Sensitivities []Sensitivity
}

// Find returns the sensitivity of a code and whether it was varied.
func (a *Assessment) Find(code SensitivityCode) (Sensitivity, bool) {
	for _, s := range a.Sensitivities {
		if s.Code == code {
			return s, true
		}
	}
	return Sensitivity{}, false
}

// outcome returns the outcome of a layout alone on a source.
func outcome(l Layout, o Options, s Supply) (Outcome, error) {
	c, err := Compile(l, o)
	if err != nil {
		return Outcome{}, err
	}
	return c.outcome(s)
}

// outcome is what SolveOn finds, without laying every hole set out.
func (c *Compiled) outcome(s Supply) (Outcome, error) {
	state, err := c.running(s)
	if err != nil {
		return Outcome{}, err
	}
	defer c.spare.Put(state)
	all := state.holes[:0]
	for j := range c.laterals {
		all = c.openHoles(state, j, all)
	}
	u := all.distribution()
	return Outcome{
		Flow: unit.Flow(state.flow), ManifoldHead: unit.Head(state.manifold), LeastHole: unit.Flow(u.Least), Distribution: u.Distribution,
	}, nil
}

// variation changes a layout, its options or its supply to v.
type variation struct {
	code      SensitivityCode
	low, high float64
	change    func(l *Layout, o *Options, s *Supply, v float64)
}

// Assess computes the outcome of a layout alone on its source and how much each assumption moves it: every assumption is
// put to both ends of its plausible range, one at a time.
func Assess(l Layout, o Options, s Supply, a SupplyAssumptions) (Assessment, error) {
	base, err := outcome(l, o, s)
	if err != nil {
		return Assessment{}, err
	}
	result := Assessment{Outcome: base}
	for _, v := range variations(&l, &s, &a) {
		x := Sensitivity{Code: v.code, Low: v.low, High: v.high}
		for _, end := range []struct {
			value float64
			into  *Outcome
		}{{v.low, &x.AtLow}, {v.high, &x.AtHigh}} {
			changed, options, supply := clone(l), o, s
			v.change(&changed, &options, &supply, end.value)
			if *end.into, err = outcome(changed, options, supply); err != nil {
				return Assessment{}, err
			}
			gap := math.Abs(end.into.Distribution - base.Distribution)
			if base.Flow > 0 {
				gap += math.Abs(float64(end.into.Flow/base.Flow) - 1)
			}
			x.Effect = math.Max(x.Effect, gap)
		}
		result.Sensitivities = append(result.Sensitivities, x)
	}
	slices.SortStableFunc(result.Sensitivities, func(a, b Sensitivity) int {
		switch {
		case a.Effect > b.Effect:
			return -1
		case a.Effect < b.Effect:
			return 1
		}
		return 0
	})
	return result, nil
}

// variations lists what may be varied for this layout, in a fixed order.
func variations(l *Layout, s *Supply, a *SupplyAssumptions) []variation {
	var v []variation
	if hasHoles(l) {
		v = append(v,
			variation{VaryCoefficient, leastPlausibleCd, mostPlausibleCd, func(l *Layout, _ *Options, _ *Supply, cd float64) {
				eachPattern(l, func(p *HolePattern) { p.DischargeCoefficient = cd })
			}},
			variation{VaryHole, 1 - plausibleDrill, 1 + plausibleDrill, func(l *Layout, _ *Options, _ *Supply, x float64) {
				eachPattern(l, func(p *HolePattern) { p.HoleDiameter *= unit.Length(x) })
			}})
	}
	v = append(v,
		variation{VaryLevel, -plausibleSlope, plausibleSlope, func(l *Layout, _ *Options, _ *Supply, slope float64) { tilt(l, slope) }},
		variation{VaryLateralBore, 1 - plausibleBore, 1, func(l *Layout, _ *Options, _ *Supply, x float64) {
			eachPiece(l, func(p *Piece) {
				if p.Pipe.InsideDiameter == 0 {
					p.Pipe.InsideDiameter = p.Pipe.Bore() * unit.Length(x)
				}
			})
		}},
		variation{VaryBranch, DefaultTeeBranchK, plausibleBranchK, func(l *Layout, _ *Options, _ *Supply, k float64) { l.Manifold.TeeBranchK = k }},
		variation{VaryWater, coldWater, warmWater, func(_ *Layout, o *Options, _ *Supply, t float64) { o.WaterTemperature = unit.Temperature(t) }})
	if l.Feed.HoseLength > 0 {
		v = append(v, variation{VaryHoseBore, 1 - plausibleBore, 1 + plausibleBore, func(l *Layout, _ *Options, _ *Supply, x float64) {
			l.Feed.HoseDiameter *= unit.Length(x)
		}})
	}
	if low, high := a.Low, a.High; low != high && *s != (Supply{}) {
		v = append(v, variation{VarySupply, 0, 1, func(_ *Layout, _ *Options, s *Supply, end float64) {
			if *s = low; end > 0 {
				*s = high
			}
		}})
	}
	return v
}

func hasHoles(l *Layout) bool {
	found := false
	eachPiece(l, func(p *Piece) { found = found || (p.Pattern != nil && p.Pattern.Rated == nil) })
	return found
}

// eachPiece visits the pieces of all laterals.
func eachPiece(l *Layout, visit func(*Piece)) {
	for i := range l.Manifold.Outlets {
		if lateral := l.Manifold.Outlets[i].Lateral; lateral != nil {
			for p := range lateral.Pieces {
				visit(&lateral.Pieces[p])
			}
		}
	}
}

// eachPattern visits the patterns of drilled holes.
func eachPattern(l *Layout, visit func(*HolePattern)) {
	eachPiece(l, func(p *Piece) {
		if p.Pattern != nil && p.Pattern.Rated == nil {
			visit(p.Pattern)
		}
	})
}

// tilt gives every lateral and the manifold whose level nobody measured the slope.
func tilt(l *Layout, slope float64) {
	if !l.Manifold.RiseKnown {
		l.Manifold.Rise = unit.Length(slope) * l.Manifold.Length
	}
	for i := range l.Manifold.Outlets {
		if lateral := l.Manifold.Outlets[i].Lateral; lateral != nil && !lateral.RiseKnown {
			lateral.Rise = unit.Length(slope) * lateral.Length()
		}
	}
}

// clone copies everything of a layout that may be changed.
func clone(l Layout) Layout {
	l.Manifold.Outlets = slices.Clone(l.Manifold.Outlets)
	for i := range l.Manifold.Outlets {
		if l.Manifold.Outlets[i].Lateral == nil {
			continue
		}
		lateral := *l.Manifold.Outlets[i].Lateral
		lateral.Pieces = slices.Clone(lateral.Pieces)
		lateral.Plugged = slices.Clone(lateral.Plugged)
		for p := range lateral.Pieces {
			if lateral.Pieces[p].Pattern != nil {
				pattern := *lateral.Pieces[p].Pattern
				lateral.Pieces[p].Pattern = &pattern
			}
		}
		l.Manifold.Outlets[i].Lateral = &lateral
	}
	return l
}
