package hydraulics

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// The march of a layout: stored curves steer, real marches decide. The manifold is solved with each lateral's curve, the
// laterals are then marched at the heads found, and the curves are bent to the marches until both agree.
const (
	// bendTolerance ends the bending when the curves miss their marches by no more than this share of the layout's flow,
	// all laterals together: a tenth of what is promised for the mass balance.
	bendTolerance = 1e-10
	mostBends     = 12
	// bendBack is how much a bend may take from a curve's slope: so little that the curve still rises over any range of
	// heads that one search meets.
	bendBack = 0.02
	// leastFlow [m³/s] and leastHead [m] are what residuals are a share of at least: a drop in half a day, a micrometre.
	leastFlow = 1e-12
	leastHead = 1e-6
)

// state is one calculation under way.
type state struct {
	manifold   float64 // head at the feed in the manifold [m]
	flow       float64 // [m³/s]
	bend       []correction
	arms       [3]settled
	armRecord  [3]*profile
	laterals   []settled
	records    []*profile
	heads      []float64 // at the inlet of each lateral [m]
	iterations int
}

// armsFlow returns the flow of all arms at head h in the manifold at the feed, and its derivative. arms carries their
// states from call to call.
func (c *Compiled) armsFlow(h float64, bend []correction, arms *[3]settled) (q, slope float64) {
	for i := range c.arms {
		if len(c.arms[i].nodes) == 0 {
			continue
		}
		arms[i] = c.arms[i].settle(request{target: h, tolerance: fineTolerance, near: &arms[i], bend: bend})
		q += arms[i].flow
		slope += arms[i].slope
	}
	return q, slope
}

// FlowAt returns the flow [m³/s] that the layout takes at head h [m] at the source's outlet, by real marches.
func (c *Compiled) FlowAt(h float64) float64 { return c.solve(held{h}, h, false).flow }

// offer is the head at the source's outlet while flow q is drawn, and its derivative: held, or a supply that gives way.
type offer interface {
	offered(q float64) (h, slope float64)
}

// held is a head that does not give way.
type held struct{ head float64 }

func (h held) offered(float64) (head, slope float64) { return h.head, 0 }

// solve finds the state of the layout behind an offer, with the profiles of its laterals if asked. near is about the head
// that will be found.
func (c *Compiled) solve(source offer, near float64, record bool) *state {
	n := len(c.laterals)
	s := &state{bend: make([]correction, n), laterals: make([]settled, n), heads: make([]float64, n)}
	if record {
		s.records = make([]*profile, n)
		for j := range c.laterals {
			s.records[j] = newProfile(len(c.laterals[j].lateral.chain.nodes))
		}
	}
	for i := range c.arms {
		s.armRecord[i] = newProfile(len(c.arms[i].nodes))
	}
	dry := c.dry()
	if still, _ := source.offered(0); still-c.feed.rise <= dry {
		s.manifold = still - c.feed.rise
		c.readHeads(s)
		c.marchLaterals(s, fineTolerance)
		return s
	}
	loss, _ := c.feed.loss(c.table.FlowAt(near))
	s.manifold = math.Max(near-c.feed.rise-loss, dry)
	tolerance := coarseTolerance
	for s.iterations = 1; s.iterations <= mostBends; s.iterations++ {
		c.solveManifold(source, s)
		c.readHeads(s)
		if c.marchLaterals(s, tolerance) > bendTolerance {
			continue
		}
		if tolerance == fineTolerance {
			return s
		}
		tolerance = fineTolerance
		if c.marchLaterals(s, tolerance) <= bendTolerance {
			return s
		}
	}
	for j := range s.bend {
		s.bend[j].march = c.laterals[j].lateral
	}
	c.solveManifold(source, s)
	c.readHeads(s)
	c.marchLaterals(s, fineTolerance)
	return s
}

// solveManifold finds the head at the feed: what the source offers less the feed's loss at the flow that head drives.
func (c *Compiled) solveManifold(source offer, s *state) {
	still, _ := source.offered(0)
	lo, hi := c.dry(), still-c.feed.rise
	x := math.Min(s.manifold, hi)
	for range 200 {
		q, slope := c.armsFlow(x, s.bend, &s.arms)
		loss, lossSlope := c.feed.loss(q)
		h, fall := source.offered(q)
		miss := x + loss + c.feed.rise - h
		s.manifold, s.flow = x, q
		if math.Abs(miss) <= fineTolerance*math.Max(math.Abs(x), math.Abs(loss)) {
			return
		}
		if miss > 0 {
			hi = x
		} else {
			lo = x
		}
		next := x - miss/(1+(lossSlope-fall)*slope)
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
		if len(c.arms[i].nodes) == 0 {
			continue
		}
		s.arms[i] = c.arms[i].settle(request{
			target: s.manifold, tolerance: fineTolerance, near: &s.arms[i], bend: s.bend, record: s.armRecord[i],
		})
	}
	for j := range c.laterals {
		p := &c.laterals[j]
		s.heads[j] = s.armRecord[p.arm].head[p.node] - p.rise
	}
}

// marchLaterals marches every lateral at its head, bends its curve to the march and returns how far the curves
// missed, as a share of the layout's flow.
func (c *Compiled) marchLaterals(s *state, tolerance float64) float64 {
	missed, sum := 0.0, 0.0
	for j := range c.laterals {
		l, h := c.laterals[j].lateral, s.heads[j]
		r := request{target: h, tolerance: tolerance, near: &s.laterals[j]}
		if r.near.steps == 0 {
			r.near = l.near(h)
		}
		if tolerance == fineTolerance && s.records != nil {
			r.record = s.records[j]
		}
		exact := l.chain.settle(r)
		s.laterals[j] = exact
		model, _ := s.bend[j].flow(&l.table, h)
		missed += math.Abs(exact.flow - model)
		stored, rise := l.table.flow(h)
		s.bend[j] = correction{h: h, miss: exact.flow - stored, slope: exact.slope - rise}
		if s.bend[j].slope < -bendBack*rise {
			s.bend[j] = correction{h: h, miss: exact.flow, slope: exact.slope, straight: true}
		}
		sum += exact.flow
	}
	s.flow = sum
	return missed / math.Max(sum, leastFlow)
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
	return c.result(c.solve(held{float64(h)}, float64(h), true))
}

// result lays a recorded state out.
func (c *Compiled) result(s *state) Result {
	loss, _ := c.feed.loss(s.flow)
	r := Result{
		SourceHead: unit.Head(s.manifold + loss + c.feed.rise), ManifoldHead: unit.Head(s.manifold), FeedLoss: unit.Head(loss), Flow: unit.Flow(s.flow),
		Laterals: make([]LateralResult, len(c.laterals)),
	}
	var all tally
	for j := range c.laterals {
		r.Laterals[j] = c.lateralResult(s, j, &all)
	}
	r.OpenHoles, r.DryHoles = all.holes, all.dry
	r.Uniformity = all.sorted(c.options.OutletVariation)
	r.Residuals = c.residuals(s)
	r.Warnings = c.warnings(s, &r)
	return r
}

func (c *Compiled) lateralResult(s *state, j int, all *tally) LateralResult {
	l, p := c.laterals[j].lateral, s.records[j]
	nodes := l.chain.nodes
	r := LateralResult{
		Outlet: c.laterals[j].outlet, InletHead: unit.Head(s.heads[j]), Flow: unit.Flow(s.laterals[j].flow),
		Velocity: unit.Velocity(nodes[len(nodes)-1].pipe.velocity(s.laterals[j].flow)),
		Sets:     make([]HoleSetResult, len(l.sets)), DeadEnd: s.laterals[j].dead != nil,
	}
	mine := tally{sets: make([]tallied, 0, len(l.sets))}
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
		}
		r.Sets[i] = out
	}
	r.Uniformity = mine.uniformity(c.options.OutletVariation)
	all.merge(&mine)
	return r
}

// residuals checks the result against the equations, stretch by stretch, without using how it was found.
func (c *Compiled) residuals(s *state) Residuals {
	r := Residuals{Iterations: s.iterations}
	total := 0.0
	for j := range c.laterals {
		l := c.laterals[j].lateral
		l.chain.check(s.records[j], s.heads[j], s.laterals[j].flow, &r)
		total += s.laterals[j].flow
	}
	armed := 0.0
	for i := range c.arms {
		if len(c.arms[i].nodes) == 0 {
			continue
		}
		c.arms[i].check(s.armRecord[i], s.manifold, s.arms[i].flow, &r)
		armed += s.arms[i].flow
	}
	r.Mass = math.Max(r.Mass, math.Abs(armed-total)/math.Max(total, leastFlow))
	return r
}

// check raises the residuals by those of a chain with the given inlet head and inflow.
func (c *chain) check(p *profile, inlet, inflow float64, r *Residuals) {
	scale := math.Max(leastHead, math.Max(math.Abs(inlet), inlet-c.dry))
	sum, before := 0.0, 0.0
	for i := range c.nodes {
		n := &c.nodes[i]
		above := inlet
		if i+1 < len(c.nodes) {
			above = p.head[i+1]
		}
		loss, _ := n.pipe.loss(p.flow[i])
		gain := n.up*p.flow[i]*p.flow[i] - n.down*before*before
		r.Energy = math.Max(r.Energy, math.Abs(above-p.head[i]-n.drop-loss+gain)/scale)
		before = p.flow[i]
		sum += p.out[i]
	}
	r.Mass = math.Max(r.Mass, math.Abs(sum-inflow)/math.Max(inflow, leastFlow))
}
