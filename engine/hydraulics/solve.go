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
	// closeMarch is the share of its height above the dry level by which a march may miss its head and still steer the
	// next one: Newton's steps from there square it to 1e-4 and 1e-8, sooner than a search of its own.
	closeMarch = 1e-2
)

// state is one calculation under way.
type state struct {
	manifold   float64 // head at the feed in the manifold [m]
	flow       float64 // [m³/s]
	bend       []correction
	arms       [3]settled
	armRecord  [3]profile
	laterals   []settled
	records    []profile // of the laterals; nil where nobody asked
	heads      []float64 // at the inlet of each lateral [m]
	lanes      []lane
	iterations int
}

func (c *Compiled) newState(record bool) *state {
	n, nodes := len(c.laterals), 0
	for i := range c.arms {
		nodes += len(c.arms[i].nodes)
	}
	if record {
		for j := range c.laterals {
			nodes += len(c.laterals[j].lateral.chain.nodes)
		}
	}
	room := make([]float64, n+3*nodes)
	take := func(n int) profile {
		p := profile{room[:n:n], room[n : 2*n : 2*n], room[2*n : 3*n : 3*n]}
		room = room[3*n:]
		return p
	}
	s := &state{bend: make([]correction, n), laterals: make([]settled, n), heads: room[:n:n], lanes: make([]lane, 0, n)}
	room = room[n:]
	for i := range c.arms {
		s.armRecord[i] = take(len(c.arms[i].nodes))
	}
	if record {
		s.records = make([]profile, n)
		for j := range c.laterals {
			s.records[j] = take(len(c.laterals[j].lateral.chain.nodes))
		}
	}
	return s
}

// record returns where the march of lateral j is written, or nil.
func (s *state) record(j int) *profile {
	if s.records == nil {
		return nil
	}
	return &s.records[j]
}

// armsFlow returns the flow of all arms at head h in the manifold at the feed, and its derivative. arms carries their
// states from call to call.
func (c *Compiled) armsFlow(h float64, bend []correction, arms *[3]settled) (q, slope float64) {
	return c.settleArms(h, fineTolerance, bend, arms, &[3]profile{})
}

// settleArms is armsFlow with a choice of tolerance and a record of each arm that has room for it.
func (c *Compiled) settleArms(h, tolerance float64, bend []correction, arms *[3]settled, records *[3]profile) (q, slope float64) {
	for i := range c.arms {
		if len(c.arms[i].nodes) == 0 {
			continue
		}
		r := request{target: h, tolerance: tolerance, near: &arms[i], bend: bend}
		if records[i].head != nil {
			r.record = &records[i]
		}
		arms[i] = c.arms[i].settle(r)
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
	s := c.newState(record)
	if still, _ := source.offered(0); still-c.feed.rise <= c.dry() {
		s.manifold = still - c.feed.rise
		c.settleArms(s.manifold, fineTolerance, s.bend, &s.arms, &s.armRecord)
		c.readHeads(s)
		c.marchLaterals(s)
		return s
	}
	loss, _ := c.feed.loss(c.table.FlowAt(near))
	s.manifold = math.Max(near-c.feed.rise-loss, c.dry())
	tolerance := coarseTolerance // the stored curves are no finer
	for s.iterations = 1; s.iterations <= mostBends; s.iterations++ {
		c.solveManifold(source, s, tolerance)
		c.readHeads(s)
		if c.marchLaterals(s) && tolerance == fineTolerance {
			return s
		}
		tolerance = fineTolerance
	}
	for j := range s.bend {
		s.bend[j].march = c.laterals[j].lateral
	}
	c.solveManifold(source, s, fineTolerance)
	c.readHeads(s)
	for j := range c.laterals {
		c.settleLateral(s, j, &s.laterals[j])
	}
	s.sum()
	return s
}

// solveManifold finds the head at the feed: what the source offers less the feed's loss at the flow that head drives.
func (c *Compiled) solveManifold(source offer, s *state, tolerance float64) {
	still, _ := source.offered(0)
	lo, hi := c.dry(), still-c.feed.rise
	x := math.Min(s.manifold, hi)
	for range 200 {
		q, slope := c.settleArms(x, tolerance, s.bend, &s.arms, &s.armRecord)
		loss, lossSlope := c.feed.loss(q)
		h, fall := source.offered(q)
		miss := x + loss + c.feed.rise - h
		s.manifold, s.flow = x, q
		if math.Abs(miss) <= tolerance*math.Max(math.Abs(x), math.Abs(loss)) {
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

// readHeads notes the head at each lateral's inlet.
func (c *Compiled) readHeads(s *state) {
	for j := range c.laterals {
		p := &c.laterals[j]
		s.heads[j] = s.armRecord[p.arm].head[p.node] - p.rise
	}
}

// marchLaterals takes every lateral one march nearer to its head and bends its curve to that march, which is exact for
// the head it arrives at. It reports whether all arrived at their heads and the curves missed them by no more than
// bendTolerance of the layout's flow.
func (c *Compiled) marchLaterals(s *state) bool {
	for first := 0; first < len(c.laterals); {
		end := first + 1
		for end < len(c.laterals) && c.laterals[end].lateral == c.laterals[first].lateral {
			end++
		}
		c.marchAlike(s, first, end)
		first = end
	}
	missed, arrived := 0.0, true
	for j := range c.laterals {
		l, exact := c.laterals[j].lateral, &s.laterals[j]
		over := s.heads[j] - exact.target
		arrived = arrived && math.Abs(over) <= l.chain.tolerance(s.heads[j], fineTolerance)
		model, _ := s.bend[j].flow(&l.table, s.heads[j])
		missed += math.Abs(exact.flow + over*exact.slope - model)
		s.bend[j] = l.bend(exact)
	}
	s.sum()
	return arrived && missed <= bendTolerance*math.Max(s.flow, leastFlow)
}

// marchAlike marches the laterals from first up to end, which are one lateral, side by side. Those that have no state to
// start from, lie where rounding decides, or arrive too far off, search for their heads.
func (c *Compiled) marchAlike(s *state, first, end int) {
	l := c.laterals[first].lateral
	s.lanes = s.lanes[:0]
	for j := first; j < end; j++ {
		near := &s.laterals[j]
		if near.steps == 0 {
			if near = l.near(s.heads[j]); near != nil {
				s.laterals[j] = *near
			}
		}
		if near == nil || near.dead != nil || fineTolerance*(s.heads[j]-l.chain.dry) <= roundingHead*l.chain.scale(s.heads[j]) {
			c.settleLateral(s, j, near)
			continue
		}
		begin := l.chain.start(request{target: s.heads[j], near: near})
		s.lanes = append(s.lanes, lane{lateral: j, begin: begin, marched: marched{head: begin, headSlope: 1}, record: s.record(j)})
	}
	l.chain.marchLanes(s.lanes)
	for i := range s.lanes {
		a := &s.lanes[i]
		h := s.heads[a.lateral]
		if !(a.headSlope > 0) || math.Abs(a.head-h) > closeMarch*(h-l.chain.dry) {
			c.settleLateral(s, a.lateral, &s.laterals[a.lateral])
			continue
		}
		s.laterals[a.lateral] = settled{
			target: a.head, end: a.begin, headSlope: a.headSlope, flow: a.flow, slope: a.flowSlope / a.headSlope, steps: 1,
		}
	}
}

// settleLateral searches for a lateral's state at its head.
func (c *Compiled) settleLateral(s *state, j int, near *settled) {
	s.laterals[j] = c.laterals[j].lateral.chain.settle(request{
		target: s.heads[j], tolerance: fineTolerance, near: near, record: s.record(j),
	})
}

// bend returns what takes the stored curve through an exact state.
func (l *lateral) bend(exact *settled) correction {
	stored, rise := l.table.flow(exact.target)
	if exact.slope-rise < -bendBack*rise {
		return correction{h: exact.target, miss: exact.flow, slope: exact.slope, straight: true}
	}
	return correction{h: exact.target, miss: exact.flow - stored, slope: exact.slope - rise}
}

// sum sets the flow to that of all laterals.
func (s *state) sum() {
	s.flow = 0
	for j := range s.laterals {
		s.flow += s.laterals[j].flow
	}
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
	n := c.holeSets()
	sets, all := make([]HoleSetResult, n), make(tally, 0, n)
	for j := range c.laterals {
		n, from := len(c.laterals[j].lateral.sets), len(all)
		r.Laterals[j] = c.lateralResult(s, j, sets[:n:n])
		sets, all = sets[n:], c.openHoles(s, j, all)
		r.Laterals[j].Uniformity = all[from:].uniformity(c.options.OutletVariation)
	}
	for _, t := range all {
		r.OpenHoles += int(t.holes)
		if t.flow <= 0 {
			r.DryHoles += int(t.holes)
		}
	}
	r.Uniformity = all.uniformity(c.options.OutletVariation)
	r.Residuals = c.residuals(s)
	r.Warnings = c.warnings(s, &r)
	return r
}

// holeSets returns the number of hole sets on all open outlets.
func (c *Compiled) holeSets() int {
	n := 0
	for j := range c.laterals {
		n += len(c.laterals[j].lateral.sets)
	}
	return n
}

// openHoles adds the open holes of lateral j to a tally.
func (c *Compiled) openHoles(s *state, j int, all tally) tally {
	l, out := c.laterals[j].lateral, s.records[j].out
	for i := range l.sets {
		set := &l.sets[i]
		if set.open == 0 {
			continue
		}
		n, q := float64(set.open), 0.0
		if set.node >= 0 {
			q = out[set.node]
		}
		all = append(all, tallied{q / n, n})
	}
	return all
}

// lateralResult lays lateral j out in the room given, without its uniformity.
func (c *Compiled) lateralResult(s *state, j int, sets []HoleSetResult) LateralResult {
	l, p := c.laterals[j].lateral, &s.records[j]
	nodes := l.chain.nodes
	r := LateralResult{
		Outlet: c.laterals[j].outlet, InletHead: unit.Head(s.heads[j]), Flow: unit.Flow(s.laterals[j].flow),
		Velocity: unit.Velocity(nodes[len(nodes)-1].pipe.velocity(s.laterals[j].flow)),
		Sets:     sets, DeadEnd: s.laterals[j].dead != nil,
	}
	for i := range l.sets {
		set, out := &l.sets[i], &sets[i]
		*out = HoleSetResult{
			Piece: set.piece, Set: set.set, Position: unit.Length(set.at), Height: unit.Length(set.height),
			Drilled: set.drilled, Open: set.open,
		}
		if set.node >= 0 {
			out.Head, out.Flow = unit.Head(p.head[set.node]), unit.Flow(p.out[set.node])
			out.Velocity = unit.Velocity(nodes[set.node].pipe.velocity(p.flow[set.node]))
		} else { // standing water
			out.Head = unit.Head(p.head[0] + l.chain.lift - set.height)
		}
	}
	return r
}

// residuals checks the result against the equations, stretch by stretch, without using how it was found.
func (c *Compiled) residuals(s *state) Residuals {
	r := Residuals{Iterations: s.iterations}
	total := 0.0
	for j := range c.laterals {
		l := c.laterals[j].lateral
		l.chain.check(&s.records[j], s.heads[j], s.laterals[j].flow, &r)
		total += s.laterals[j].flow
	}
	armed := 0.0
	for i := range c.arms {
		if len(c.arms[i].nodes) == 0 {
			continue
		}
		c.arms[i].check(&s.armRecord[i], s.manifold, s.arms[i].flow, &r)
		armed += s.arms[i].flow
	}
	r.Mass = math.Max(r.Mass, math.Abs(armed-total)/math.Max(total, leastFlow))
	return r
}

// check raises the residuals by those of a chain with the given inlet head and inflow.
func (c *chain) check(p *profile, inlet, inflow float64, r *Residuals) {
	scale := max(leastHead, max(math.Abs(inlet), inlet-c.dry))
	sum, before := 0.0, 0.0
	for i := range c.nodes {
		n := &c.nodes[i]
		above := inlet
		if i+1 < len(c.nodes) {
			above = p.head[i+1]
		}
		loss, _ := n.pipe.loss(p.flow[i])
		gain := n.up*p.flow[i]*p.flow[i] - n.down*before*before
		r.Energy = max(r.Energy, math.Abs(above-p.head[i]-n.drop-loss+gain)/scale)
		before = p.flow[i]
		sum += p.out[i]
	}
	r.Mass = max(r.Mass, math.Abs(sum-inflow)/max(inflow, leastFlow))
}
