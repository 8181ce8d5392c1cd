package hydraulics

import (
	"errors"
	"fmt"
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// Wish is what every hole of a layout should at least get.
type Wish struct {
	Head         unit.Head // at the worst open hole
	Distribution float64   // DU of the layout
}

// granted says whether a result meets the wish.
func (w Wish) granted(r *Result) bool {
	return r.leastHead() >= float64(w.Head) && r.Uniformity.Distribution >= w.Distribution
}

func (r *Result) leastHead() float64 {
	least := math.Inf(1)
	for i := range r.Laterals {
		for _, s := range r.Laterals[i].Sets {
			if s.Open > 0 {
				least = math.Min(least, float64(s.Head))
			}
		}
	}
	return least
}

// mostTried ends the search for how many of something a source carries.
const mostTried = 500

// HowMany is the most of something that a source carries, with the result at that number and whether the search ended at
// its limit instead.
type HowMany struct {
	Count   int
	Result  Result
	AtLimit bool
}

// howMany doubles a number until the wish is not granted and halves the gap from there: the wish is granted at what it
// returns and not at one more. try returns the result for n, or false where n can't be built. A number that asks for more
// than the source gives is not granted; one beyond what a layout may be ends at a limit.
func howMany(w Wish, try func(n int) (Result, bool, error)) (HowMany, error) {
	var best HowMany
	over, atLimit := mostTried+1, true
	for n := 1; best.Count+1 < over; {
		r, possible, err := try(n)
		var much InfeasibleError
		var beyond Faults
		switch {
		case err == nil && possible && w.granted(&r):
			best.Count, best.Result = n, r
		case err == nil, errors.As(err, &much):
			over, atLimit = n, false
		case errors.As(err, &beyond) && n > 1:
			over, atLimit = n, true
		default:
			return HowMany{}, err
		}
		if n = 2 * best.Count; n >= over {
			n = (best.Count + over) / 2
		}
	}
	best.AtLimit = atLimit
	return best, nil
}

// MostLayouts returns how many layouts like c the source carries open together.
func MostLayouts(s Supply, c *Compiled, w Wish) (HowMany, error) {
	return howMany(w, func(n int) (Result, bool, error) {
		op, err := Operate(s, []HeadFlow{multiple{c, float64(n)}})
		if err != nil {
			return Result{}, false, err
		}
		return c.Solve(unit.Head(op.Head)), true, nil
	})
}

// multiple is n equal curves side by side.
type multiple struct {
	one HeadFlow
	n   float64
}

// FlowAt returns the flow of all.
func (m multiple) FlowAt(h float64) float64 { return m.n * m.one.FlowAt(h) }

// MostLaterals returns how many laterals like the first of the layout its manifold carries, spread evenly over its length.
func MostLaterals(s Supply, l Layout, o Options, w Wish) (HowMany, error) {
	first, err := firstLateral(&l)
	if err != nil {
		return HowMany{}, err
	}
	return howMany(w, func(n int) (Result, bool, error) {
		spread := l
		spread.Manifold.Outlets = make([]Outlet, n)
		for i := range spread.Manifold.Outlets {
			at := (float64(i) + 0.5) / float64(n) * float64(l.Manifold.Length)
			spread.Manifold.Outlets[i] = Outlet{At: unit.Length(at), Rise: l.Manifold.Outlets[0].Rise, Lateral: first}
		}
		return alone(s, spread, o)
	})
}

// MostHoleSets returns how many hole sets each lateral of the layout may have if all are made of one piece like the first
// lateral's first, as long as the holes need.
func MostHoleSets(s Supply, l Layout, o Options, w Wish) (HowMany, error) {
	first, err := firstLateral(&l)
	if err != nil {
		return HowMany{}, err
	}
	return howMany(w, func(n int) (Result, bool, error) {
		longer := clone(l)
		for i := range longer.Manifold.Outlets {
			piece := first.Pieces[0]
			pattern := *piece.Pattern
			pattern.Count = n
			piece.Pattern, piece.Length = &pattern, max(pattern.Position(n-1), unit.Length(leastPiece))
			if piece.Length > mostPipeLength {
				return Result{}, false, nil
			}
			longer.Manifold.Outlets[i].Lateral = &Lateral{Pieces: []Piece{piece}}
		}
		return alone(s, longer, o)
	})
}

// leastPiece is the shortest piece that a layout may have [m].
const leastPiece = 0.01

// firstLateral returns the first lateral whose first piece has holes, or Faults.
func firstLateral(l *Layout) (*Lateral, error) {
	if err := l.Validate(); err != nil {
		return nil, err
	}
	for i := range l.Manifold.Outlets {
		if lateral := l.Manifold.Outlets[i].Lateral; lateral != nil && lateral.Pieces[0].Pattern != nil {
			return lateral, nil
		}
	}
	return nil, Faults{{Path: "manifold.outlets[0].lateral.pieces[0].pattern", Code: FaultMissing}}
}

// alone returns the result of a layout alone on a source.
func alone(s Supply, l Layout, o Options) (Result, bool, error) {
	c, err := Compile(l, o)
	if err != nil {
		return Result{}, false, err
	}
	r, err := SolveOn(s, c)
	return r, err == nil, err
}

// HeadError says that a wished head can't be had; Most is the head with the valve wide open.
type HeadError struct {
	Want, Most unit.Head
}

// Error states both heads.
func (e HeadError) Error() string {
	return fmt.Sprintf("a head of %.3g m in the manifold is wanted, at most %.3g m can be had", float64(e.Want), float64(e.Most))
}

// ValveFor returns the loss coefficient of the layout's valve that leaves the wished head in the manifold when the layout
// runs alone, or HeadError.
func ValveFor(s Supply, l Layout, o Options, want unit.Head) (k float64, err error) {
	l.Feed.ValveK = 0
	c, err := Compile(l, o)
	if err != nil {
		return 0, err
	}
	var arms [3]settled
	q, _ := c.armsFlow(float64(want), nil, &arms)
	loss, _ := c.feed.loss(q)
	spare := s.HeadAt(q) - c.feed.rise - loss - float64(want)
	if q <= 0 || q > s.FlowAt(math.Inf(-1)) || spare < 0 {
		op, err := Operate(s, []HeadFlow{c})
		if err != nil {
			return 0, err
		}
		return 0, HeadError{Want: want, Most: c.Solve(unit.Head(op.Head)).ManifoldHead}
	}
	v := c.feed.hose.velocity(q)
	return spare / (v * v / (2 * unit.Gravity)), nil
}

// Standpipe is the height of water above the manifold in a clear open pipe on it: Running while the layout waters alone,
// Shut with every outlet closed and the valve open. A pipe lower than Shut overflows then.
type Standpipe struct {
	Running, Shut unit.Length
}

// StandpipeFor returns the water's heights in a standpipe on the layout's manifold.
func StandpipeFor(s Supply, c *Compiled) (Standpipe, error) {
	r, err := SolveOn(s, c)
	if err != nil {
		return Standpipe{}, err
	}
	return Standpipe{
		Running: unit.Length(r.ManifoldHead), Shut: unit.Length(s.HeadAt(0) - c.feed.rise),
	}, nil
}

// FillSeconds returns how long a hole of the set takes to fill a cup. ok is false where it doesn't run.
func (s HoleSetResult) FillSeconds(cup unit.Volume) (seconds float64, ok bool) {
	if s.Flow <= 0 {
		return 0, false
	}
	return float64(cup) / float64(s.Flow) * float64(s.Open), true
}

// PatternChoice is a hole pattern that comes near a wanted flow.
type PatternChoice struct {
	Pattern HolePattern
	Flow    unit.Flow // of the piece at the head
}

// PatternFor returns the pattern, of the drills, spacings and holes per set at hand, whose flow at the given head comes
// nearest to what the piece should give. Among equals the first named wins. base gives what stays: facing, coefficient,
// sides. ok is false where nothing fits on the piece.
func PatternFor(want unit.Flow, length unit.Length, head unit.Head, base HolePattern, drills, spacings []unit.Length, holes []int) (choice PatternChoice, ok bool) {
	best := math.Inf(1)
	for _, n := range holes {
		for _, d := range drills {
			for _, spacing := range spacings {
				p := base
				p.Count, p.HolesPerSet, p.HoleDiameter, p.Spacing, p.FirstOffset = 0, n, d, spacing, spacing/2
				o := outletOf(&p, p.Sets(length)*n)
				q, _ := o.flow(float64(head), nil)
				if miss := math.Abs(q - float64(want)); q > 0 && miss < best*(1-1e-12) {
					best, choice, ok = miss, PatternChoice{Pattern: p, Flow: unit.Flow(q)}, true
				}
			}
		}
	}
	return choice, ok
}

// OutletsToPlug returns the outlets to plug, one after another, until the wish is granted to the rest: each time the one
// whose plugging lifts the worst head most. ok is false where even one outlet alone does not get it.
func OutletsToPlug(s Supply, l Layout, o Options, w Wish) (plug []int, r Result, ok bool, err error) {
	compiler, err := NewCompiler(o)
	if err != nil {
		return nil, Result{}, false, err
	}
	try := func(l Layout) (Result, error) {
		c, err := compiler.Compile(l)
		if err != nil {
			return Result{}, err
		}
		return SolveOn(s, c)
	}
	left := clone(l)
	for {
		if r, err = try(left); err != nil || w.granted(&r) || len(r.Laterals) <= 1 {
			return plug, r, err == nil && w.granted(&r), err
		}
		best, lift := -1, math.Inf(-1)
		for i := range r.Laterals {
			without := clone(left)
			without.Manifold.Outlets[r.Laterals[i].Outlet].Plugged = true
			next, err := try(without)
			if err != nil {
				return nil, Result{}, false, err
			}
			if h := next.leastHead(); h > lift {
				best, lift = r.Laterals[i].Outlet, h
			}
		}
		left.Manifold.Outlets[best].Plugged = true
		plug = append(plug, best)
	}
}

// OpenHose is a hose that runs into the open, as a curve: somebody washing a spade while a zone waters.
type OpenHose struct {
	Hose TestHose
}

// FlowAt returns what runs out of the hose at head h at the source's outlet.
func (o OpenHose) FlowAt(h float64) float64 {
	if h <= float64(o.Hose.Rise) {
		return 0
	}
	most := 1.0
	q, _ := root(0, most, func(q float64) float64 { return o.Hose.headNeeded(q) - h })
	return q
}

// HoseEffect is a running zone without and with a hose opened on the same source.
type HoseEffect struct {
	Without, With Operation // the hose is the last flow of With
}

// OpenHoseBeside returns what one opened hose does to a running zone.
func OpenHoseBeside(s Supply, zone []HeadFlow, hose TestHose) (HoseEffect, error) {
	without, err := Operate(s, zone)
	if err != nil {
		return HoseEffect{}, err
	}
	with, err := Operate(s, append(append([]HeadFlow(nil), zone...), OpenHose{hose}))
	return HoseEffect{Without: without, With: with}, err
}
