package hydraulics

import (
	"fmt"
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// WarningCode says what a layout should be warned of.
type WarningCode string

// The warnings of a result. Value and Limit carry the numbers in the unit that the comment names.
const (
	// WarnPartFull: a hole that would let air in lies above the water line of a pipe that carries water past it; the real
	// pipe runs part full there and the split is not known. Value: lowest such head [m]; Count: hole sets.
	WarnPartFull WarningCode = "part_full_pipe"
	// WarnLowHead: open holes have less than 30 mm of water above them, where surface tension decides. Value: lowest head
	// [m]; Limit: 0.030; Count: holes.
	WarnLowHead WarningCode = "low_head"
	// WarnDryHoles: open holes get nothing. Count: holes; Value: their share of all open holes.
	WarnDryHoles WarningCode = "dry_holes"
	// WarnDryEnd: the last open holes of a lateral get nothing. Value: distance from the tee of the last hole that runs [m];
	// Count: the dry holes beyond it; Limit: all open holes of the lateral.
	WarnDryEnd WarningCode = "dry_end"
	// WarnStarvedEnd: the far end is fed by so little that the last hole runs at less than a tenth of the first. Value:
	// last flow over first [-]; Limit 0.1.
	WarnStarvedEnd WarningCode = "starved_end"
	// WarnVelocity: water is faster than plastic pipe should carry. Value and Limit [m/s].
	WarnVelocity WarningCode = "velocity"
	// WarnRating: pressure above the pipe's rating at its temperature. Value and Limit [m].
	WarnRating WarningCode = "pressure_above_rating"
	// WarnRatingUnknown: the pipe's rating isn't known, by size or by heat. Value: pressure [m].
	WarnRatingUnknown WarningCode = "pressure_rating_unknown"
	// WarnPressFit: joints pushed together may come apart at this head. Value and Limit [m].
	WarnPressFit WarningCode = "press_fit_may_pop"
	// WarnVelocityHead: N·Cd·a/A is large, so velocity head matters and leaving it out understates the far end. Value [-];
	// Limit 0.4.
	WarnVelocityHead WarningCode = "velocity_head_matters"
	// WarnNoOpenHoles: a lateral or the whole layout has no open hole. Count: outlets.
	WarnNoOpenHoles WarningCode = "no_open_holes"
	// WarnOutletBelowRegulation: regulated outlets get less than their least head. Value: lowest head [m]; Limit: that of
	// the outlet; Count: outlets.
	WarnOutletBelowRegulation WarningCode = "below_regulation"
)

// Warning is one thing to tell. Path is the part of the layout it is about, "" for the whole.
type Warning struct {
	Code  WarningCode
	Path  string
	Value float64
	Limit float64
	Count int
}

// The limits of the warnings.
const (
	// ReliableHead is the head [m] below which nothing reliable comes out of a small hole: surface tension alone holds
	// 19 mm over a hole of 1/16 in (4·sigma/(rho·g·d), sigma 0.0728 N/m from memory).
	ReliableHead = 0.030
	// MostVelocity [m/s] in plastic pipe is 5 ft/s. Source: table IR-BH-1 "Friction loss for PVC class 160 pipe".
	MostVelocity = 1.5
	// MostVelocityHeadShare is N·Cd·a/A above which velocity head is worth a flag: its square, the velocity head over the
	// inlet head of a flat lateral, is then 0.16.
	MostVelocityHeadShare = 0.4
	// starvedShare of the first hole's flow at the last one marks a starved end; our choice.
	starvedShare = 0.1
)

// PressFitHead is the head above which joints pushed together without cement can't be trusted: 10 psi, the working limit
// that NRCS practice standard 430HH (May 2002) sets for low-head gated pipe; that joints of this kind behave alike is
// common practice, no source.
var PressFitHead = float64(unit.PSI(10))

// warnings looks for everything that a result should be read with, in a fixed order.
func (c *Compiled) warnings(s *state, r *Result) []Warning {
	var w []Warning
	w = c.closedOutlets(w)
	for j := range c.laterals {
		from := len(w)
		w = lateralWarnings(w, &r.Laterals[j], c.laterals[j].lateral)
		for i := from; i < len(w); i++ {
			w[i].Path = lateralPath(r.Laterals[j].Outlet)
		}
	}
	if r.DryHoles > 0 {
		w = append(w, Warning{
			Code: WarnDryHoles, Count: r.DryHoles, Value: float64(r.DryHoles) / float64(r.OpenHoles),
		})
	}
	w = c.pipeVelocities(w, s)
	if r.ManifoldHead <= 0 && r.Flow > 0 {
		w = append(w, Warning{Code: WarnPartFull, Path: "manifold", Value: float64(r.ManifoldHead), Count: 1})
	}
	return c.pressures(w, float64(r.ManifoldHead), float64(r.ManifoldHead))
}

func lateralPath(outlet int) string { return fmt.Sprintf("manifold.outlets[%d].lateral", outlet) }

// closedOutlets reports open outlets whose lateral has no open hole.
func (c *Compiled) closedOutlets(w []Warning) []Warning {
	for i := range c.layout.Manifold.Outlets {
		o := &c.layout.Manifold.Outlets[i]
		if !o.Plugged && o.Lateral.OpenHoles() == 0 {
			w = append(w, Warning{Code: WarnNoOpenHoles, Path: lateralPath(i), Count: 1})
		}
	}
	if len(c.laterals) == 0 {
		w = append(w, Warning{Code: WarnNoOpenHoles, Count: len(c.layout.Manifold.Outlets)})
	}
	return w
}

// lateralWarnings looks at one lateral. The caller sets the paths.
func lateralWarnings(w []Warning, r *LateralResult, l *lateral) []Warning {
	low := Warning{Code: WarnLowHead, Value: math.Inf(1), Limit: ReliableHead}
	part := Warning{Code: WarnPartFull}
	under := Warning{Code: WarnOutletBelowRegulation, Value: math.Inf(1)}
	fast := Warning{Code: WarnVelocity, Limit: MostVelocity}
	for i := range r.Sets {
		set := &r.Sets[i]
		h := float64(set.Head)
		if v := float64(set.Velocity); v > fast.Value {
			fast.Value = v
		}
		if set.Open == 0 {
			continue
		}
		if h < ReliableHead && l.sets[i].outlet.kind == orifice {
			low.Value, low.Count = math.Min(low.Value, h), low.Count+set.Open
		}
		if o := &l.sets[i].outlet; o.kind == rated && o.exponent == 0 && h < o.head {
			under.Value, under.Limit, under.Count = math.Min(under.Value, h), o.head, under.Count+set.Open
		}
		if h <= 0 && set.Velocity > 0 {
			part.Value, part.Count = math.Min(part.Value, h), part.Count+1
		}
	}
	if part.Count > 0 {
		w = append(w, part)
	}
	if low.Count > 0 {
		w = append(w, low)
	}
	if under.Count > 0 {
		w = append(w, under)
	}
	w = farEnd(w, r)
	if fast.Value > MostVelocity {
		w = append(w, fast)
	}
	return velocityHeadWarning(w, l)
}

// farEnd reports a dry or starved far end.
func farEnd(w []Warning, r *LateralResult) []Warning {
	first, ok := r.First()
	last, _ := r.Last()
	if !ok || first.Flow <= 0 {
		return w
	}
	share := float64(last.Flow) / float64(last.Open) / (float64(first.Flow) / float64(first.Open))
	if last.Flow > 0 {
		if share < starvedShare {
			w = append(w, Warning{Code: WarnStarvedEnd, Value: share, Limit: starvedShare})
		}
		return w
	}
	dry := Warning{Code: WarnDryEnd}
	open := 0
	for _, s := range r.Sets {
		open, dry.Count = open+s.Open, dry.Count+s.Open
		if s.Flow > 0 {
			dry.Value, dry.Count = float64(s.Position), 0
		}
	}
	dry.Limit = float64(open)
	return append(w, dry)
}

// velocityHeadWarning flags a lateral whose holes are large for its pipe.
func velocityHeadWarning(w []Warning, l *lateral) []Warning {
	area := l.chain.nodes[len(l.chain.nodes)-1].pipe.area
	if share := l.openK / math.Sqrt(2*unit.Gravity) / area; share > MostVelocityHeadShare {
		w = append(w, Warning{Code: WarnVelocityHead, Value: share, Limit: MostVelocityHeadShare})
	}
	return w
}

// pipeVelocities reports fast water in manifold and hose.
func (c *Compiled) pipeVelocities(w []Warning, s *state) []Warning {
	fastest := 0.0
	for i := range c.arms {
		for n := range c.arms[i].nodes {
			fastest = math.Max(fastest, c.arms[i].nodes[n].pipe.velocity(s.armRecord[i][n].flow))
		}
	}
	if fastest > MostVelocity {
		w = append(w, Warning{Code: WarnVelocity, Path: "manifold", Value: fastest, Limit: MostVelocity})
	}
	return w
}

// pressures reports pipes above their rating and press-fits that may pop, at the given heads in the manifold.
func (c *Compiled) pressures(w []Warning, rating, joint float64) []Warning {
	if x, ok := c.ratingWarning(c.layout.Manifold.Pipe, rating); ok {
		x.Path = "manifold.pipe"
		w = append(w, x)
	}
	for i := range c.layout.Manifold.Outlets {
		l := c.layout.Manifold.Outlets[i].Lateral
		if l == nil {
			continue
		}
		lowest := math.Min(0, float64(l.Rise)) + float64(c.layout.Manifold.Outlets[i].Rise)
		for p := range l.Pieces {
			if x, ok := c.ratingWarning(l.Pieces[p].Pipe, rating-lowest); ok {
				x.Path = fmt.Sprintf("%s.pieces[%d].pipe", lateralPath(i), p)
				w = append(w, x)
			}
		}
	}
	if c.layout.PressFit && joint > PressFitHead {
		w = append(w, Warning{Code: WarnPressFit, Path: "press_fit", Value: joint, Limit: PressFitHead})
	}
	return w
}

// ratingWarning returns the warning that a pipe under a head deserves, without its path, and whether it does.
func (c *Compiled) ratingWarning(p Pipe, head float64) (Warning, bool) {
	rating, ok := p.RatingAt(c.options.PipeTemperature)
	switch {
	case !ok && head > ratingMatters:
		return Warning{Code: WarnRatingUnknown, Value: head}, true
	case ok && head > float64(rating):
		return Warning{Code: WarnRating, Value: head, Limit: float64(rating)}, true
	}
	return Warning{}, false
}

// ratingMatters is the head [m] under which an unknown rating isn't worth a word: any plastic pipe holds it.
const ratingMatters = 10

// Hazards returns what may happen to the pipes when holes plug, when the valve is opened wide, or when the flow stops:
// the whole static head of the source then stands in them.
func (c *Compiled) Hazards(static unit.Head) []Warning {
	head := float64(static) - c.feed.rise
	return c.pressures(nil, head, head)
}
