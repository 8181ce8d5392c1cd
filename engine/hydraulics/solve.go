package hydraulics

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// The march of a layout: stored curves steer, real marches decide. The manifold is solved with each lateral's curve, the
// laterals are then marched at the heads found, and the curves are bent to the marches until both agree.
const (
	// bendTolerance ends the bending when no lateral's curve misses its march by more than this share of the layout's
	// flow: a thousandth of what is promised for the mass balance.
	bendTolerance = 1e-13
	mostBends     = 100
)

// state is one calculation under way.
type state struct {
	manifold   float64 // head at the feed in the manifold [m]
	flow       float64 // [m³/s]
	bend       []correction
	ends       [3]float64
	arms       [3]settled
	laterals   []settled
	heads      []float64 // at the inlet of each lateral [m]
	iterations int
	miss       float64
}

func (c *Compiled) noGuess() [3]float64 { return [3]float64{math.NaN(), math.NaN(), math.NaN()} }

// armsFlow returns the flow of all arms at head h in the manifold at the feed, and its derivative. ends carries the
// arms' end heads from call to call.
func (c *Compiled) armsFlow(h float64, bend []correction, ends *[3]float64) (q, slope float64) {
	for i := range c.arms {
		if len(c.arms[i].nodes) == 0 {
			continue
		}
		s := c.arms[i].settle(h, ends[i], bend)
		ends[i] = s.end
		if s.from != nil {
			ends[i] = math.NaN()
		}
		q += s.flow
		slope += s.slope
	}
	return q, slope
}

// FlowAt returns the flow [m³/s] that the layout takes at head h [m] at the source's outlet, by real marches.
func (c *Compiled) FlowAt(h float64) float64 {
	s := c.solve(h)
	return s.flow
}

// solve finds the state of the layout with head h at the source's outlet.
func (c *Compiled) solve(h float64) *state {
	n := len(c.laterals)
	s := &state{bend: make([]correction, n), laterals: make([]settled, n), heads: make([]float64, n), ends: c.noGuess()}
	s.manifold = h - c.feed.rise
	if s.manifold <= c.dry() {
		c.readHeads(s)
		c.marchLaterals(s)
		return s
	}
	for s.iterations = 1; s.iterations <= mostBends; s.iterations++ {
		c.solveManifold(h, s)
		c.readHeads(s)
		if s.miss = c.marchLaterals(s); s.miss <= bendTolerance {
			break
		}
	}
	return s
}

// solveManifold finds the head at the feed: what the source offers less the feed's loss at the flow that head drives.
func (c *Compiled) solveManifold(h float64, s *state) {
	lo, hi := c.dry(), h-c.feed.rise
	x := s.manifold
	for range 200 {
		q, slope := c.armsFlow(x, s.bend, &s.ends)
		loss, lossSlope := c.feed.loss(q)
		miss := x + loss - (h - c.feed.rise)
		s.manifold, s.flow = x, q
		if math.Abs(miss) <= marchTolerance*math.Max(math.Abs(x), math.Abs(loss)) {
			return
		}
		if miss > 0 {
			hi = x
		} else {
			lo = x
		}
		next := x - miss/(1+lossSlope*slope)
		if !(next > lo && next < hi) {
			next = lo + (hi-lo)/2
		}
		if next == x || next <= lo || next >= hi {
			return
		}
		x = next
	}
}

// readHeads marches the arms once more and notes the head at each lateral's inlet.
func (c *Compiled) readHeads(s *state) {
	for i := range c.arms {
		arm := &c.arms[i]
		if len(arm.nodes) == 0 {
			continue
		}
		s.arms[i] = arm.settle(s.manifold, s.ends[i], s.bend)
		p := s.arms[i].from
		if p == nil {
			p = newProfile(len(arm.nodes))
			arm.march(s.arms[i].end, s.bend, p)
			s.arms[i].from = p
		}
		for j := range c.laterals {
			if c.laterals[j].arm == i {
				s.heads[j] = p.head[c.laterals[j].node] - c.laterals[j].rise
			}
		}
	}
}

// marchLaterals marches every lateral at its head, bends its curve to the march and returns the largest miss as a
// share of the layout's flow.
func (c *Compiled) marchLaterals(s *state) float64 {
	worst, sum := 0.0, 0.0
	for j := range c.laterals {
		l := c.laterals[j].lateral
		guess := l.guess(s.heads[j])
		if before := s.laterals[j]; before.steps > 0 && before.from == nil {
			guess = before.end
		}
		h := s.heads[j]
		exact := l.chain.settle(h, guess, nil)
		s.laterals[j] = exact
		stored, rise := l.table.flow(h)
		b := &s.bend[j]
		model := math.Max(0, stored+b.miss+b.slope*(h-b.h))
		worst = math.Max(worst, math.Abs(exact.flow-model))
		*b = correction{h: h, miss: exact.flow - stored, slope: math.Max(0, exact.slope-rise)}
		sum += exact.flow
	}
	if s.flow = sum; sum == 0 {
		return 0
	}
	return worst / sum
}

// HoleSetResult is what happens at one drilled position of a lateral.
type HoleSetResult struct {
	Piece, Set int
	Position   unit.Length // from the tee
	Height     unit.Length // of the holes above the lateral's inlet
	Drilled    int
	Open       int
	Head       unit.Head     // water above the holes; negative where the pipe holds less than that
	Flow       unit.Flow     // of the whole set
	Velocity   unit.Velocity // in the pipe just before the set
}

// LateralResult is what happens on one outlet.
type LateralResult struct {
	Outlet     int
	InletHead  unit.Head
	Flow       unit.Flow
	Velocity   unit.Velocity // at the inlet
	Sets       []HoleSetResult
	Uniformity Uniformity
	DeadEnd    bool // the far end had to be solved by Newton's method
}

// First returns the first set with an open hole and whether there is one.
func (l *LateralResult) First() (HoleSetResult, bool) {
	for _, s := range l.Sets {
		if s.Open > 0 {
			return s, true
		}
	}
	return HoleSetResult{}, false
}

// Last returns the last set with an open hole and whether there is one.
func (l *LateralResult) Last() (HoleSetResult, bool) {
	for i := len(l.Sets) - 1; i >= 0; i-- {
		if l.Sets[i].Open > 0 {
			return l.Sets[i], true
		}
	}
	return HoleSetResult{}, false
}

// Residuals says how well a result satisfies the equations.
type Residuals struct {
	Mass       float64 // worst |inflow - Σ outflow| of lateral or layout over the inflow [-]
	Energy     float64 // worst |head drop - loss| of a stretch over the largest head [-]
	Iterations int
}

// Result is a layout at one head of its source.
type Result struct {
	SourceHead   unit.Head
	ManifoldHead unit.Head // above the manifold's axis at the feed
	FeedLoss     unit.Head
	Flow         unit.Flow
	Laterals     []LateralResult // open outlets in the order of the layout; plugged ones are left out
	OpenHoles    int
	DryHoles     int // open holes that get nothing
	Uniformity   Uniformity
	Warnings     []Warning
	Residuals    Residuals
}

// Solve returns everything about the layout with head h at the source's outlet.
func (c *Compiled) Solve(h unit.Head) Result {
	s := c.solve(float64(h))
	loss, _ := c.feed.loss(s.flow)
	r := Result{
		SourceHead: h, ManifoldHead: unit.Head(s.manifold), FeedLoss: unit.Head(loss), Flow: unit.Flow(s.flow),
		Laterals: make([]LateralResult, len(c.laterals)),
	}
	profiles := make([]*profile, len(c.laterals))
	var all tally
	for j := range c.laterals {
		profiles[j] = c.lateralProfile(s, j)
		r.Laterals[j] = c.lateralResult(s, j, profiles[j], &all)
	}
	r.OpenHoles, r.DryHoles = all.holes, all.dry
	r.Uniformity = all.uniformity(c.options.OutletVariation)
	r.Residuals = c.residuals(s, profiles)
	r.Warnings = c.warnings(s, &r, profiles)
	return r
}

func (c *Compiled) lateralProfile(s *state, j int) *profile {
	l := c.laterals[j].lateral
	if s.laterals[j].from != nil {
		return s.laterals[j].from
	}
	p := newProfile(len(l.chain.nodes))
	l.chain.march(s.laterals[j].end, nil, p)
	return p
}

func (c *Compiled) lateralResult(s *state, j int, p *profile, all *tally) LateralResult {
	l := c.laterals[j].lateral
	nodes := l.chain.nodes
	r := LateralResult{
		Outlet: c.laterals[j].outlet, InletHead: unit.Head(s.heads[j]), Flow: unit.Flow(s.laterals[j].flow),
		Velocity: unit.Velocity(nodes[len(nodes)-1].pipe.velocity(s.laterals[j].flow)),
		Sets:     make([]HoleSetResult, len(l.sets)), DeadEnd: s.laterals[j].from != nil,
	}
	var mine tally
	for i := range l.sets {
		set := &l.sets[i]
		out := HoleSetResult{
			Piece: set.piece, Set: set.set, Position: unit.Length(set.at), Height: unit.Length(set.height),
			Drilled: set.drilled, Open: set.open,
		}
		if set.node >= 0 {
			out.Head, out.Flow = unit.Head(p.head[set.node]), unit.Flow(p.out[set.node])
			out.Velocity = unit.Velocity(nodes[set.node].pipe.velocity(p.flow[set.node]))
		} else { // standing water
			out.Head = unit.Head(p.head[0] + l.chain.lift - set.height)
		}
		if set.open > 0 {
			mine.add(float64(out.Flow)/float64(set.open), set.open)
			all.add(float64(out.Flow)/float64(set.open), set.open)
		}
		r.Sets[i] = out
	}
	r.Uniformity = mine.uniformity(c.options.OutletVariation)
	return r
}

// residuals checks the result against the equations, stretch by stretch, without using how it was found.
func (c *Compiled) residuals(s *state, profiles []*profile) Residuals {
	r := Residuals{Iterations: s.iterations}
	total := 0.0
	for j := range c.laterals {
		l := c.laterals[j].lateral
		l.chain.check(profiles[j], s.heads[j], s.laterals[j].flow, &r)
		total += s.laterals[j].flow
	}
	armed := 0.0
	for i := range c.arms {
		if len(c.arms[i].nodes) == 0 || s.arms[i].from == nil {
			continue
		}
		c.arms[i].check(s.arms[i].from, s.manifold, s.arms[i].flow, &r)
		armed += s.arms[i].flow
	}
	if total > 0 {
		r.Mass = math.Max(r.Mass, math.Abs(armed-total)/total)
	}
	return r
}

// check raises the residuals by those of a chain with the given inlet head and inflow.
func (c *chain) check(p *profile, inlet, inflow float64, r *Residuals) {
	scale := math.Max(math.Abs(inlet), inlet-c.dry)
	sum, before := 0.0, 0.0
	for i := range c.nodes {
		n := &c.nodes[i]
		above := inlet
		if i+1 < len(c.nodes) {
			above = p.head[i+1]
		}
		loss, _ := n.pipe.loss(p.flow[i])
		gain := n.up*p.flow[i]*p.flow[i] - n.down*before*before
		if scale > 0 {
			r.Energy = math.Max(r.Energy, math.Abs(above-p.head[i]-n.drop-loss+gain)/scale)
		}
		before = p.flow[i]
		sum += p.out[i]
	}
	if inflow > 0 {
		r.Mass = math.Max(r.Mass, math.Abs(sum-inflow)/inflow)
	}
}
