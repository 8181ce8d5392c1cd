package file

import (
	"errors"
	"strings"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// FlowQuestions is what somebody wants to know of a layout alone on its source, beyond what is always answered.
type FlowQuestions struct {
	Most          *FlowWish       `json:"most,omitempty"`             // how many such layouts, laterals and hole sets the source carries
	ValveForHeadM *float64        `json:"valve_for_head_m,omitempty"` // the valve that leaves this head in the manifold
	Measured      *FlowMeasured   `json:"measured,omitempty"`         // which share of the holes is plugged
	PatternFor    []FlowPieceNeed `json:"pattern_for,omitempty"`      // how to drill pieces
}

// FlowWish is what every hole should at least get.
type FlowWish struct {
	HeadM float64 `json:"head_m" file:"required"` // at the worst open hole
	DU    float64 `json:"du,omitempty"`
}

// FlowMeasured is what somebody measured while the layout ran alone.
type FlowMeasured struct {
	HeadM       *float64 `json:"head_m,omitempty"` // in the manifold at the feed
	HeadErrorM  *float64 `json:"head_error_m,omitempty"`
	FlowLPerMin *float64 `json:"flow_l_per_min,omitempty"`
	FlowError   *float64 `json:"flow_error,omitempty"` // share of the flow
}

// FlowPieceNeed is what one piece should give, with the drills, spacings and holes per set at hand.
type FlowPieceNeed struct {
	Outlet      int       `json:"outlet" file:"required"` // counted from 0, as piece
	Piece       int       `json:"piece" file:"required"`
	FlowLPerH   float64   `json:"flow_l_per_h" file:"required"`
	HeadM       *float64  `json:"head_m,omitempty"` // left out: the head over the piece as it is now
	DrillsMM    []float64 `json:"drills_mm" file:"required"`
	SpacingsM   []float64 `json:"spacings_m" file:"required"`
	HolesPerSet []int     `json:"holes_per_set,omitempty"` // left out: 1
}

// What is taken where a measurement says nothing of its error; common practice, no source.
const (
	usualFlowError = 0.03  // of a bucket test
	usualHeadError = 0.005 // of a clear tube read against a tape [m]
)

// MostResult is how many of something the source carries as wished.
type MostResult struct {
	Wish     FlowWish    `json:"wish"`
	Layouts  CountResult `json:"layouts"`
	Laterals CountResult `json:"laterals"`  // like the first, spread over the manifold
	HoleSets CountResult `json:"hole_sets"` // of each lateral, as the first piece of the first is drilled
}

// CountResult is a number with what the layout gets at it.
type CountResult struct {
	Count      int     `json:"count"`
	AtLimit    bool    `json:"at_limit,omitempty"` // the count ended there, not at the wish
	LeastHeadM float64 `json:"least_head_m"`
	DU         float64 `json:"du"`
}

// ValveResult is the valve's loss coefficient for the head, or the most head with it wide open. A person sets it by a
// clear tube on the manifold, in which water stands head_m high, or by cups under the holes.
type ValveResult struct {
	HeadM     float64     `json:"head_m"`
	ValveK    *float64    `json:"valve_k,omitempty"`
	Cups      []CupResult `json:"cups,omitempty"`        // per open outlet, with the valve set
	MostHeadM *float64    `json:"most_head_m,omitempty"` // left out: the head can be had
}

// PluggedResult is the share of holes that a measurement says are plugged, or what to measure instead.
type PluggedResult struct {
	Share       *[2]float64 `json:"share,omitempty"` // least and most; negative for a leak
	Conductance float64     `json:"conductance,omitempty"`
	Needed      []string    `json:"needed,omitempty"` // what a measurement lacks that would tell
	Sensitivity float64     `json:"sensitivity,omitempty"`
	Spread      float64     `json:"spread,omitempty"`
}

// PatternResult is a hole pattern for one piece; pattern is left out where nothing at hand gives water.
type PatternResult struct {
	Outlet    int            `json:"outlet"`
	Piece     int            `json:"piece"`
	HeadM     float64        `json:"head_m"`
	WantLPerH float64        `json:"want_l_per_h"`
	FlowLPerH float64        `json:"flow_l_per_h,omitempty"`
	Pattern   *LayoutPattern `json:"pattern,omitempty"`
}

func (w FlowWish) engine() hydraulics.Wish {
	return hydraulics.Wish{Head: unit.Head(w.HeadM), Distribution: w.DU}
}

// The ranges of questions. They keep an answer within a moment of reckoning.
const (
	leastWishedHead = 0.001 // [m]
	mostWishedHead  = 100
	mostChoices     = 50 // of drills, of spacings and of holes per set
)

// check notes what is wrong with the questions about a layout.
func (q *FlowQuestions) check(at string, l Layout, faults *Faults) {
	if q.Most != nil {
		between(faults, at+"/most/head_m", q.Most.HeadM, leastWishedHead, mostWishedHead)
		between(faults, at+"/most/du", q.Most.DU, 0, 1)
		if !drilledAtFirst(l) {
			faults.Add(at+"/most", "needs a lateral whose first piece has a pattern")
		}
	}
	if q.ValveForHeadM != nil {
		between(faults, at+"/valve_for_head_m", *q.ValveForHeadM, leastWishedHead, mostWishedHead)
	}
	if m := q.Measured; m != nil {
		between(faults, at+"/measured/head_m", or(m.HeadM, leastWishedHead), leastWishedHead, mostWishedHead)
		between(faults, at+"/measured/head_error_m", or(m.HeadErrorM, 0), 0, mostWishedHead)
		between(faults, at+"/measured/flow_l_per_min", or(m.FlowLPerMin, 1), 0.001, 10000)
		between(faults, at+"/measured/flow_error", or(m.FlowError, 0), 0, 1)
		if m.HeadM == nil && m.FlowLPerMin == nil {
			faults.Add(at+"/measured", "needs flow_l_per_min, head_m or both")
		}
	}
	for i := range q.PatternFor {
		q.PatternFor[i].check(at+Point("pattern_for", i), l, faults)
	}
}

func drilledAtFirst(l Layout) bool {
	for _, o := range l.Manifold.Outlets {
		if o.Lateral != nil && len(o.Lateral.Pieces) > 0 && o.Lateral.Pieces[0].Pattern != nil {
			return true
		}
	}
	return false
}

func (n *FlowPieceNeed) check(at string, l Layout, faults *Faults) {
	outlets := l.Manifold.Outlets
	switch {
	case n.Outlet < 0 || n.Outlet >= len(outlets) || outlets[n.Outlet].Lateral == nil || outlets[n.Outlet].Plugged:
		faults.Add(at+"/outlet", "is %d, which is no open outlet with a lateral", n.Outlet)
	case n.Piece < 0 || n.Piece >= len(outlets[n.Outlet].Lateral.Pieces):
		faults.Add(at+"/piece", "is %d, which is no piece of that lateral", n.Piece)
	}
	between(faults, at+"/flow_l_per_h", n.FlowLPerH, 0.01, 600000)
	if n.HeadM != nil {
		between(faults, at+"/head_m", *n.HeadM, leastWishedHead, mostWishedHead)
	}
	choices(faults, at+"/drills_mm", n.DrillsMM, 0.3, 12)
	choices(faults, at+"/spacings_m", n.SpacingsM, 0.005, 50)
	if n.HolesPerSet != nil {
		choices(faults, at+"/holes_per_set", n.HolesPerSet, 1, 24)
	}
}

// choices notes a list that is empty, too long, or holds values out of range.
func choices[T int | float64](faults *Faults, at string, list []T, least, most float64) {
	if len(list) == 0 || len(list) > mostChoices {
		faults.Add(at, "has %d entries, must have 1 to %d", len(list), mostChoices)
		return
	}
	for i, v := range list {
		between(faults, at+Point(i), float64(v), least, most)
	}
}

func (a *answering) most() error {
	q := a.named.Questions
	if q == nil || q.Most == nil {
		return nil
	}
	wish, options := q.Most.engine(), a.run.file.Options.Engine()
	a.out.Most = &MostResult{Wish: *q.Most}
	for _, x := range []struct {
		into  *CountResult
		count func() (hydraulics.HowMany, error)
	}{
		{&a.out.Most.Layouts, func() (hydraulics.HowMany, error) { return hydraulics.MostLayouts(a.run.supply, a.on, wish) }},
		{&a.out.Most.Laterals, func() (hydraulics.HowMany, error) {
			return hydraulics.MostLaterals(a.run.supply, a.layout, options, wish)
		}},
		{&a.out.Most.HoleSets, func() (hydraulics.HowMany, error) {
			return hydraulics.MostHoleSets(a.run.supply, a.layout, options, wish)
		}},
	} {
		n, err := x.count()
		if err != nil {
			return err
		}
		*x.into = CountResult{Count: n.Count, AtLimit: n.AtLimit, DU: n.Result.Uniformity.Distribution}
		if least, ok := leastHead(&n.Result); ok {
			x.into.LeastHeadM = least
		}
	}
	return nil
}

func (a *answering) valve() error {
	q := a.named.Questions
	if q == nil || q.ValveForHeadM == nil {
		return nil
	}
	a.out.Valve = &ValveResult{HeadM: *q.ValveForHeadM}
	k, err := hydraulics.ValveFor(a.run.supply, a.layout, a.run.file.Options.Engine(), unit.Head(*q.ValveForHeadM))
	var over hydraulics.HeadError
	switch {
	case errors.As(err, &over):
		most := float64(over.Most)
		a.out.Valve.MostHeadM = &most
		return nil
	case err != nil:
		return err
	}
	set := a.layout
	set.Feed.ValveK = k
	throttled, err := a.run.compiler.Compile(set)
	if err != nil {
		return err
	}
	result, err := hydraulics.SolveOn(a.run.supply, throttled)
	if err != nil {
		return err
	}
	a.out.Valve.ValveK, a.out.Valve.Cups = &k, cupsOf(&result)
	return nil
}

func (a *answering) plugged() error {
	q := a.named.Questions
	if q == nil || q.Measured == nil {
		return nil
	}
	m := q.Measured
	share, err := hydraulics.EstimatePlugged(a.layout, a.run.file.Options.Engine(), a.run.supply, hydraulics.Measurement{
		Flow: unit.LitersPerMinute(or(m.FlowLPerMin, 0)), FlowError: or(m.FlowError, usualFlowError),
		Head: unit.Head(or(m.HeadM, 0)), HeadError: unit.Head(or(m.HeadErrorM, usualHeadError)),
	})
	var more hydraulics.MeasureMore
	switch {
	case errors.As(err, &more):
		a.out.Plugged = &PluggedResult{Needed: strings.Split(more.Needed, ","), Sensitivity: more.Sensitivity, Spread: more.Spread}
		return nil
	case err != nil:
		return err
	}
	a.out.Plugged = &PluggedResult{Share: &[2]float64{share.Least, share.Most}, Conductance: share.Conductance}
	return nil
}

func (a *answering) patterns() error {
	q := a.named.Questions
	if q == nil {
		return nil
	}
	for _, need := range q.PatternFor {
		a.out.Patterns = append(a.out.Patterns, a.pattern(need))
	}
	return nil
}

func (a *answering) pattern(n FlowPieceNeed) PatternResult {
	piece := &a.layout.Manifold.Outlets[n.Outlet].Lateral.Pieces[n.Piece]
	base := hydraulics.HolePattern{
		Sides: 1, Facing: hydraulics.FacingSide, DischargeCoefficient: hydraulics.DefaultDischargeCoefficient,
	}
	if p := piece.Pattern; p != nil && p.Rated == nil {
		base = *p
	}
	holes := n.HolesPerSet
	if len(holes) == 0 {
		holes = []int{1}
	}
	r := PatternResult{Outlet: n.Outlet, Piece: n.Piece, WantLPerH: n.FlowLPerH, HeadM: or(n.HeadM, a.headOver(n.Outlet, n.Piece))}
	choice, ok := hydraulics.PatternFor(unit.LitersPerHour(n.FlowLPerH), piece.Length, unit.Head(r.HeadM), base,
		lengths(n.DrillsMM, unit.Millimeters), lengths(n.SpacingsM, func(m float64) unit.Length { return unit.Length(m) }), holes)
	if ok {
		r.Pattern, r.FlowLPerH = patternOf(&choice.Pattern), choice.Flow.LitersPerHour()
	}
	return r
}

// headOver returns the mean head over the hole sets of a piece, or the head at the lateral's inlet where it has none.
func (a *answering) headOver(outlet, piece int) float64 {
	for i := range a.result.Laterals {
		l := &a.result.Laterals[i]
		if l.Outlet != outlet {
			continue
		}
		sum, n := 0.0, 0
		for _, s := range l.Sets {
			if s.Piece == piece {
				sum, n = sum+float64(s.Head), n+1
			}
		}
		if n == 0 {
			return float64(l.InletHead)
		}
		return sum / float64(n)
	}
	return 0
}

func lengths(of []float64, in func(float64) unit.Length) []unit.Length {
	out := make([]unit.Length, len(of))
	for i, v := range of {
		out[i] = in(v)
	}
	return out
}
