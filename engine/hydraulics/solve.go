package hydraulics

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// The march of a layout: stored curves steer, real marches decide. The manifold is solved with each lateral's curve, the
// laterals are marched to about the heads found, and the curves give way to what the marches say. The manifold is then
// solved anew, and every march is shifted by its own derivatives to the head that came out. The shifted state is held to
// the equations; where it doesn't satisfy them, the laterals march again from there.
const (
	// verified is the largest residual with which a state is accepted: a hundredth of what is promised, for where a hole
	// just starts to run, flows miss by more than heads do.
	verified  = 1e-11
	mostBends = 12
	// bendBack is how much a bend may take from a curve's slope: so little that the curve still rises over any range of
	// heads that one search meets.
	bendBack = 0.02
	// closeCurve is the share of the flow by which a curve may miss its march and a straight line of Q² through the march
	// stand in for it: the heads then move by about as little, and a line errs by less than the square of that.
	closeCurve = 1e-3
	// leastFlow [m³/s] and leastHead [m] are what residuals are a share of at least: a drop in half a day, a micrometre.
	leastFlow = 1e-12
	leastHead = 1e-6
	// closeMarch is the share of its height above the dry level by which a march may miss its head and still steer the
	// next one: Newton's steps from there square it to 1e-4 and 1e-8, sooner than a search of its own.
	closeMarch = 1e-2
	// closeShift is the same for a shift by derivatives: what it errs by goes with the square, and rarely passes the
	// check from farther off.
	closeShift = 1e-5
)

// state is one calculation under way.
type state struct {
	manifold  float64 // head at the feed in the manifold [m]
	flow      float64 // [m³/s]
	bend      []correction
	arms      [3]settled
	armRecord [3]profile
	laterals  []settled
	records   []profile // of the laterals
	heads     []float64 // at the inlet of each lateral [m]
	stations  profile   // all of the above in one piece
	holes     tally     // room for the flows of all open holes
	lanes     lanes
	residuals Residuals
}

// newState returns an empty state, if possible one that was let go.
func (c *Compiled) newState() *state {
	if s, ok := c.spare.Get().(*state); ok {
		s.manifold, s.flow, s.arms, s.residuals = 0, 0, [3]settled{}, Residuals{}
		clear(s.bend)
		clear(s.laterals)
		clear(s.stations)
		return s
	}
	n, nodes := len(c.laterals), 0
	for i := range c.arms {
		nodes += len(c.arms[i].nodes)
	}
	for j := range c.laterals {
		nodes += len(c.laterals[j].lateral.chain.nodes)
	}
	s := &state{
		bend: make([]correction, n), laterals: make([]settled, n), heads: make([]float64, n), records: make([]profile, n),
		stations: make(profile, nodes), holes: make(tally, 0, c.holeSets()),
	}
	room := s.stations
	take := func(n int) profile {
		p := room[:n:n]
		room = room[n:]
		return p
	}
	for i := range c.arms {
		s.armRecord[i] = take(len(c.arms[i].nodes))
	}
	for j := range c.laterals {
		s.records[j] = take(len(c.laterals[j].lateral.chain.nodes))
	}
	return s
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
		arms[i] = c.arms[i].settle(request{target: h, tolerance: tolerance, near: &arms[i], bend: bend, record: records[i]})
		q += arms[i].flow
		slope += arms[i].slope
	}
	return q, slope
}

// FlowAt returns the flow [m³/s] that the layout takes at head h [m] at the source's outlet, by real marches.
func (c *Compiled) FlowAt(h float64) float64 {
	s := c.solve(held(h), h)
	defer c.spare.Put(s)
	return s.flow
}

// held is a source whose head does not give way.
func held(h float64) Supply { return Supply{Static: h} }

// solve finds the state of the layout behind a source, whose flow limit is left out. near is about the head that will be
// found.
func (c *Compiled) solve(source Supply, near float64) *state {
	s := c.newState()
	if still, _ := source.offered(0); still-c.feed.rise <= c.dry() {
		s.manifold = still - c.feed.rise
		c.settleArms(s.manifold, fineTolerance, s.bend, &s.arms, &s.armRecord)
		c.readHeads(s)
		c.settleLaterals(s)
		c.check(source, s)
		return s
	}
	loss, _ := c.feed.loss(c.table.FlowAt(near))
	s.manifold = math.Max(near-c.feed.rise-loss, c.dry())
	tolerance := coarseTolerance // the stored curves are no finer
	for bends := range mostBends {
		s.residuals.Iterations = bends + 1
		c.solveManifold(source, s, tolerance)
		c.readHeads(s)
		if bends > 0 && c.shift(s) && c.check(source, s) {
			return s
		}
		c.marchLaterals(s)
		tolerance = fineTolerance
	}
	for j := range s.bend {
		s.bend[j].march = c.laterals[j].lateral
	}
	c.searchManifold(source, s, fineTolerance)
	c.readHeads(s)
	c.settleLaterals(s)
	c.check(source, s)
	return s
}

// solveManifold finds the head at the feed: what the source offers less the feed's loss at the flow that head drives. The
// arms march together with it, each taken one march nearer by every Newton step; where that does not end, it is searched
// for.
func (c *Compiled) solveManifold(source Supply, s *state, tolerance float64) {
	const most = 12
	x := s.manifold
	for i := range c.arms {
		switch a := &s.arms[i]; {
		case a.dead != nil:
			c.searchManifold(source, s, tolerance)
			return
		case a.steps == 0:
			a.end = x - c.arms[i].lift
		}
	}
	for steps := range most {
		q, slope, off := 0.0, 0.0, 0.0
		for i := range c.arms {
			arm, a := &c.arms[i], &s.arms[i]
			if len(arm.nodes) == 0 {
				continue
			}
			if steps > 0 {
				a.end += (x - a.target) / a.headSlope
			}
			m := arm.march(a.end, s.bend, s.armRecord[i])
			*a = settled{target: m.head, end: a.end, headSlope: m.headSlope, flow: m.flow, slope: m.flowSlope / m.headSlope, steps: 1}
			q += a.flow + a.slope*(x-a.target)
			slope += a.slope
			off = math.Max(off, math.Abs(x-a.target)/arm.tolerance(x, tolerance))
		}
		loss, lossSlope := c.feed.loss(q)
		h, fall := source.offered(q)
		miss := x + loss + c.feed.rise - h
		if off <= 1 && math.Abs(miss) <= tolerance*math.Max(math.Abs(x), math.Abs(loss)) {
			s.manifold, s.flow = x, q
			return
		}
		x -= miss / (1 + (lossSlope-fall)*slope)
		if !(x > c.dry()) {
			break
		}
	}
	s.arms = [3]settled{}
	c.searchManifold(source, s, tolerance)
}

// searchManifold is a bracketed search for the same.
func (c *Compiled) searchManifold(source Supply, s *state, tolerance float64) {
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
		s.heads[j] = s.armRecord[p.arm][p.node].head - p.rise
	}
}

// marchLaterals takes every lateral one march nearer to its head and bends its curve to that march, which is exact for
// the head it arrives at.
func (c *Compiled) marchLaterals(s *state) {
	for first := 0; first < len(c.laterals); {
		end := first + 1
		for end < len(c.laterals) && end < first+abreast && c.laterals[end].lateral == c.laterals[first].lateral {
			end++
		}
		c.marchAlike(s, first, end)
		first = end
	}
	for j := range c.laterals {
		s.bend[j] = c.laterals[j].lateral.bend(&s.laterals[j])
	}
}

// marchAlike marches the laterals from first up to end, which are one lateral, side by side. Those that have no state to
// start from, lie where rounding decides, or arrive too far off, search for their heads.
func (c *Compiled) marchAlike(s *state, first, end int) {
	l := c.laterals[first].lateral
	var begun [abreast]int // the lateral in each lane
	s.lanes.n = 0
	for j := first; j < end; j++ {
		near, known := &s.laterals[j], true
		if near.steps == 0 {
			*near, known = l.near(s.heads[j])
		}
		if !known || near.dead != nil || fineTolerance*(s.heads[j]-l.chain.dry) <= roundingHead*l.chain.scale(s.heads[j]) {
			c.settleLateral(s, j, near)
			continue
		}
		s.laterals[j].end = l.chain.start(request{target: s.heads[j], near: near})
		begun[s.lanes.n] = j
		s.lanes.put(s.laterals[j].end, s.records[j])
	}
	l.chain.marchLanes(&s.lanes)
	for i, j := range begun[:s.lanes.n] {
		m, h := s.lanes.marched(i), s.heads[j]
		if !(m.headSlope > 0) || math.Abs(m.head-h) > closeMarch*(h-l.chain.dry) {
			c.settleLateral(s, j, &s.laterals[j])
			continue
		}
		s.laterals[j] = settled{
			target: m.head, end: s.laterals[j].end, headSlope: m.headSlope, flow: m.flow, slope: m.flowSlope / m.headSlope, steps: 1,
		}
	}
}

// settleLaterals searches for every lateral's state at its head.
func (c *Compiled) settleLaterals(s *state) {
	for j := range c.laterals {
		c.settleLateral(s, j, &s.laterals[j])
	}
}

// settleLateral searches for a lateral's state at its head.
func (c *Compiled) settleLateral(s *state, j int, near *settled) {
	s.laterals[j] = c.laterals[j].lateral.chain.settle(request{
		target: s.heads[j], tolerance: fineTolerance, near: near, record: s.records[j],
	})
}

// bend returns what takes the stored curve through an exact state.
func (l *lateral) bend(exact *settled) correction {
	stored, rise := l.table.flow(exact.target)
	if math.Abs(exact.flow-stored) < closeCurve*stored || exact.slope-rise < -bendBack*rise {
		return correction{h: exact.target, miss: exact.flow * exact.flow, slope: 2 * exact.flow * exact.slope, straight: true}
	}
	return correction{h: exact.target, miss: exact.flow - stored, slope: exact.slope - rise}
}

// shift moves every lateral's march to the head at its inlet by the march's derivatives. It reports false where one lies
// too far off for that.
func (c *Compiled) shift(s *state) bool {
	for j := range c.laterals {
		chain, a := &c.laterals[j].lateral.chain, &s.laterals[j]
		over := s.heads[j] - a.target
		switch {
		case math.Abs(over) <= chain.tolerance(s.heads[j], fineTolerance):
			continue
		case a.steps == 0 && s.heads[j] <= chain.dry:
			a.target = s.heads[j]
			chain.stand(a.target, s.records[j])
			continue
		case a.dead != nil || !(a.headSlope > 0) || math.Abs(over) > closeShift*math.Abs(s.heads[j]-chain.dry):
			return false
		}
		a.target = s.heads[j]
		a.end += over / a.headSlope
		a.flow = chain.shift(s.records[j], over/a.headSlope)
	}
	return true
}

// shift moves the heads of a march as if it had begun with a head higher by over, lets out what these heads drive, and
// returns the inflow.
func (c *chain) shift(p profile, over float64) float64 {
	if c.holes != nil {
		return c.shiftPlain(p, over)
	}
	flow := 0.0
	for i := range p {
		at := &p[i]
		at.head += at.headSlope * over
		at.out, _ = c.nodes[i].out.flow(at.head, nil)
		flow += at.out
		at.flow = flow
	}
	return flow
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
	Mass float64 // worst |inflow - Σ outflow so far - flow| along a lateral or the manifold over the inflow [-]
	// Energy is the worst |inlet head - Σ losses so far - head| along it over the inlet head or its height above dry, or
	// that of the feed over the source's static head [-].
	Energy     float64
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
	return c.result(c.solve(held(float64(h)), float64(h)))
}

// result lays a state out and lets it go.
func (c *Compiled) result(s *state) Result {
	defer c.spare.Put(s)
	loss, _ := c.feed.loss(s.flow)
	r := Result{
		SourceHead: unit.Head(s.manifold + loss + c.feed.rise), ManifoldHead: unit.Head(s.manifold), FeedLoss: unit.Head(loss), Flow: unit.Flow(s.flow),
		Laterals: make([]LateralResult, len(c.laterals)),
	}
	all := s.holes[:0]
	for j := range c.laterals {
		from := len(all)
		r.Laterals[j] = c.lateralResult(s, j)
		all = c.openHoles(s, j, all)
		r.Laterals[j].Uniformity = all[from:].uniformity(c.options.OutletVariation)
	}
	for _, t := range all {
		r.OpenHoles += int(t.holes)
		if t.flow <= 0 {
			r.DryHoles += int(t.holes)
		}
	}
	r.Uniformity = all.uniformity(c.options.OutletVariation)
	r.Residuals = s.residuals
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
	record := s.records[j]
	for _, o := range c.laterals[j].lateral.open {
		q := 0.0
		if o.node >= 0 {
			q = record[o.node].out
		}
		all = append(all, tallied{q * o.share, o.holes})
	}
	return all
}

// lateralResult lays lateral j out, without its uniformity.
func (c *Compiled) lateralResult(s *state, j int) LateralResult {
	l, p := c.laterals[j].lateral, s.records[j]
	nodes := l.chain.nodes
	r := LateralResult{
		Outlet: c.laterals[j].outlet, InletHead: unit.Head(s.heads[j]), Flow: unit.Flow(s.laterals[j].flow),
		Velocity: unit.Velocity(nodes[len(nodes)-1].pipe.velocity(s.laterals[j].flow)),
		Sets:     make([]HoleSetResult, len(l.sets)), DeadEnd: s.laterals[j].dead != nil,
	}
	for i := range l.sets {
		set, out := &l.sets[i], &r.Sets[i]
		*out = HoleSetResult{
			Piece: set.piece, Set: set.set, Position: unit.Length(set.at), Height: unit.Length(set.height),
			Drilled: set.drilled, Open: set.open,
		}
		if set.node >= 0 {
			out.Head, out.Flow = unit.Head(p[set.node].head), unit.Flow(p[set.node].out)
			out.Velocity = unit.Velocity(nodes[set.node].pipe.velocity(p[set.node].flow))
		} else { // standing water
			out.Head = unit.Head(p[0].head + l.chain.lift - set.height)
		}
	}
	return r
}

// check sets the flow and holds the state to the equations, node by node, without using how it was found. It reports
// whether the residuals are as small as asked.
func (c *Compiled) check(source Supply, s *state) bool {
	r := &s.residuals
	r.Mass, r.Energy = 0, 0
	total, missed := 0.0, 0.0
	for j := range c.laterals {
		l := c.laterals[j].lateral
		l.chain.check(s.records[j], s.heads[j], s.laterals[j].flow, r)
		total += s.laterals[j].flow
		model, _ := s.bend[j].flow(&l.table, s.heads[j])
		missed += math.Abs(model - s.laterals[j].flow)
	}
	s.flow = total
	for i := range c.arms {
		if len(c.arms[i].nodes) > 0 {
			c.arms[i].check(s.armRecord[i], s.manifold, s.arms[i].flow, r)
		}
	}
	r.Mass = max(r.Mass, missed/max(total, leastFlow))
	loss, _ := c.feed.loss(total)
	head, _ := source.offered(total)
	r.Energy = max(r.Energy, math.Abs(s.manifold+loss+c.feed.rise-head)/max(leastHead, math.Abs(source.Static), loss))
	return r.Mass <= verified && r.Energy <= verified
}

// check raises the residuals by those of a chain with the given inlet head and inflow.
func (c *chain) check(p profile, inlet, inflow float64, r *Residuals) {
	mass, energy, head, passing := 0.0, 0.0, inlet, inflow // the latter two by the equations
	for i := len(p) - 1; i >= 0; i-- {
		at := &p[i]
		if c.holes != nil {
			head -= c.holes[i].rise(at.flow)
		} else {
			head -= c.rise(p, i)
		}
		if miss := math.Abs(head - at.head); !(miss <= energy) {
			if energy = miss; math.IsNaN(miss) {
				break
			}
		}
		if miss := math.Abs(passing - at.flow); miss > mass {
			mass = miss
		}
		passing -= at.out
	}
	r.Mass = max(r.Mass, mass/max(inflow, leastFlow), math.Abs(passing)/max(inflow, leastFlow))
	r.Energy = max(r.Energy, energy/max(leastHead, math.Abs(inlet), inlet-c.dry))
}

// rise returns what the head rises by from node i to the next one towards the inlet.
func (c *chain) rise(p profile, i int) float64 {
	n, q, before := &c.nodes[i], p[i].flow, 0.0
	if i > 0 {
		before = p[i-1].flow
	}
	loss, _ := n.pipe.loss(q)
	return n.drop + loss - (n.up*q*q - n.down*before*before)
}
