package hydraulics

import (
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// A chain is a pipe closed at one end with things on it that let water out: the holes of a lateral, or the laterals of
// one arm of a manifold. Node 0 is the last one before the closed end; the inlet is the chain's datum. The march starts
// with a head at node 0, which may lie below its outlet, and adds up flow and loss towards the inlet. A dry uphill end
// therefore needs no special case: nothing flows until the march meets the water line.
type chain struct {
	nodes []node
	holes []hole  // the same when drilled holes are all there is, else nil
	lift  float64 // height of node 0 above the inlet [m]
	dry   float64 // head at the inlet up to which nothing flows [m]
}

// node is an outlet and the stretch of pipe from it towards the inlet.
type node struct {
	drop     float64 // height of this node above the next one towards the inlet [m]
	out      outlet
	pipe     conduit
	up, down float64 // velocity head regained per Q², towards the inlet and towards the end [s²/m⁵]
}

type outletKind uint8

const (
	noOutlet outletKind = iota
	orifice
	rated
	branches
)

// outlet is what leaves the pipe at a node.
type outlet struct {
	kind     outletKind
	k        float64 // orifice: flow per √h; rated: flow at head
	head     float64 // rated: head of k
	exponent float64 // rated
	branch   []branch
}

// branch is a lateral on an arm, by its stored curve; solve is its place in the list of corrections.
type branch struct {
	rise  float64 // its inlet above the arm's axis [m]
	curve *Table
	solve int
}

// correction bends a stored curve to the exact march at head h: flow is curve + miss + slope·(x - h), never under 0.
// Where the curve is close to the march or bending would make it fall, a straight line of Q² over h through the march
// stands in for it; where that does not come to rest, the march itself does.
type correction struct {
	h, miss, slope float64 // straight: miss is Q² at h [m⁶/s²], slope its derivative
	straight       bool
	march          *lateral
}

// flow returns what the bent curve gives at head x, and its derivative.
func (c *correction) flow(curve *Table, x float64) (q, slope float64) {
	if c.march != nil {
		r := request{target: x, tolerance: fineTolerance}
		if near, ok := c.march.near(x); ok {
			r.near = &near
		}
		s := c.march.chain.settle(r)
		return s.flow, s.slope
	}
	if c.straight {
		square := c.miss + c.slope*(x-c.h)
		if square <= 0 {
			return 0, 0
		}
		q = math.Sqrt(square)
		return q, c.slope / (2 * q)
	}
	q, slope = curve.flow(x)
	q += c.miss + c.slope*(x-c.h)
	if q < 0 {
		return 0, 0
	}
	return q, slope + c.slope
}

// flow returns the outflow at head h and its derivative.
func (o *outlet) flow(h float64, bend []correction) (q, slope float64) {
	switch o.kind {
	case orifice:
		if h <= 0 {
			return 0, 0
		}
		r := math.Sqrt(h)
		return o.k * r, o.k / (2 * r)
	case rated:
		return o.ratedFlow(h)
	case branches:
		for i := range o.branch {
			b := &o.branch[i]
			x := h - b.rise
			var f, s float64
			if bend == nil {
				f, s = b.curve.flow(x)
			} else {
				f, s = bend[b.solve].flow(b.curve, x)
			}
			q += f
			slope += s
		}
	}
	return q, slope
}

func (o *outlet) ratedFlow(h float64) (q, slope float64) {
	switch {
	case h <= 0:
		return 0, 0
	case o.exponent > 0:
		q = o.k * math.Pow(h/o.head, o.exponent)
		return q, o.exponent * q / h
	case h < o.head:
		q = o.k * math.Sqrt(h/o.head)
		return q, q / (2 * h)
	}
	return o.k, 0
}

// start returns the head at the outlet up to which nothing leaves, +Inf without an outlet.
func (o *outlet) start() float64 {
	switch o.kind {
	case noOutlet:
		return math.Inf(1)
	case branches:
		least := math.Inf(1)
		for i := range o.branch {
			if b := &o.branch[i]; len(b.curve.Head) > 0 {
				least = math.Min(least, b.rise+b.curve.Head[0])
			}
		}
		return least
	default:
		return 0
	}
}

// finish sets what follows from the nodes: it drops the standing water behind the last outlet, sums heights, and finds
// the dry head. Nodes must be in order from the closed end.
func (c *chain) finish() {
	first := 0
	for first < len(c.nodes) && math.IsInf(c.nodes[first].out.start(), 1) {
		first++
	}
	c.nodes = c.nodes[first:]
	if len(c.nodes) > 0 {
		c.nodes[0].down = 0
	}
	height := 0.0
	c.dry = math.Inf(1)
	for i := len(c.nodes) - 1; i >= 0; i-- {
		height += c.nodes[i].drop
		c.dry = math.Min(c.dry, height+c.nodes[i].out.start())
	}
	c.lift = height
	c.holes = plainHoles(c.nodes)
}

// profile is the record of a march, one entry per node.
type profile []station

// station is the state at a node.
type station struct {
	head      float64 // above the node [m]
	out       float64 // leaving there [m³/s]
	flow      float64 // in the stretch towards the inlet [m³/s]
	headSlope float64 // d head / d head at node 0, where a march made it
}

// marched is the state at the inlet and its derivatives by the head at node 0.
type marched struct {
	head, headSlope float64
	flow, flowSlope float64
}

// mostMarchedHead is where a march gives up [m]: a far end begun too high drives heads up a long chain until doubles
// overflow, and no source has as much.
const mostMarchedHead = 1e4

// march goes from head h at node 0 to the inlet, or as far as heads stay under mostMarchedHead. It allocates nothing.
func (c *chain) march(h float64, bend []correction, rec profile) marched {
	m := marched{head: h, headSlope: 1}
	if c.holes != nil {
		var one lanes
		one.put(h, rec)
		c.marchPlain(&one)
		return one.marched(0)
	}
	for i := range c.nodes {
		n := &c.nodes[i]
		q, slope := n.out.flow(m.head, bend)
		before, beforeSlope := m.flow, m.flowSlope
		m.flow += q
		if slope > 0 {
			m.flowSlope += slope * m.headSlope
		}
		if rec != nil {
			rec[i] = station{m.head, q, m.flow, m.headSlope}
		}
		if n.up > 0 {
			m.head -= n.up*m.flow*m.flow - n.down*before*before
			m.headSlope -= 2 * (n.up*m.flow*m.flowSlope - n.down*before*beforeSlope)
		}
		if m.flow > 0 {
			loss, lossSlope := n.pipe.loss(m.flow)
			m.head += loss
			m.headSlope += lossSlope * m.flowSlope
		}
		m.head += n.drop
		if m.head > mostMarchedHead {
			return m
		}
	}
	return m
}

// The marched inlet head must come this near to the wanted one, as a share of its height above the dry level: the fine one is a hundredth of the 1e-9 promised for residuals and above the rounding of a long march; the
// coarse one serves on the way, where the flow is then corrected by its slope.
const (
	fineTolerance   = 1e-11
	coarseTolerance = 1e-6
)

// roundingHead is what adding up heads in doubles may cost, as a share of the heads, and startHead what it may cost where
// a branch just starts to run, whose flow rises infinitely steeply: a tenth of what is promised.
const (
	roundingHead = 1e-14
	startHead    = 1e-10
)

// leastEndHead is the smallest head above the last outlet that the march tries [m]. In laminar flow heads near a starved
// end shrink with the fourth power of distance, so the search goes by the logarithm as far down as doubles reach.
const leastEndHead = 1e-300

// settled is a chain at a given inlet head.
type settled struct {
	target    float64 // inlet head
	end       float64 // head at node 0, for the march that made it
	headSlope float64 // d inlet head / d end head
	flow      float64 // into the inlet [m³/s]
	slope     float64 // dQ/dh at the inlet
	dead      profile // set when the dead end had to be solved another way
	steps     int     // marches or Newton steps; 0 where nothing flows
}

// request says how to settle a chain.
type request struct {
	target    float64
	tolerance float64
	near      *settled // a state to start from, or nil
	bend      []correction
	record    profile // filled by the march that answers, or nil
}

// settle finds the state of the chain at an inlet head.
func (c *chain) settle(r request) settled {
	if len(c.nodes) == 0 || r.target <= c.dry {
		c.stand(r.target, r.record)
		return settled{target: r.target, end: r.target - c.lift}
	}
	steps := 0
	// Under a head with a dead end lie only heads with one.
	if r.near == nil || r.near.dead == nil || r.target > r.near.target {
		s, ok := c.search(r)
		if ok {
			return s
		}
		steps = s.steps
	}
	s := c.settleDeadEnd(r)
	s.steps += steps
	if r.record != nil {
		copy(r.record, s.dead)
	}
	return s
}

// stand records water that stands level up to inlet head h and runs nowhere. A march would, by a rounding error, let
// some out of the lowest hole.
func (c *chain) stand(h float64, record profile) {
	for i := len(record) - 1; i >= 0; i-- {
		h -= c.nodes[i].drop
		record[i] = station{head: h}
	}
}

// start returns the end head to begin with: by the slope from a state close by, in proportion from one farther off.
func (c *chain) start(r request) float64 {
	full := r.target - c.lift
	n := r.near
	if n == nil || n.steps == 0 {
		return full
	}
	if n.dead != nil && c.dry == c.lift { // the end is lowest and most likely dead here too, which one march tells
		return leastEndHead
	}
	if n.dead != nil {
		return full
	}
	h := n.end
	if over := n.target - c.dry; math.Abs(r.target-n.target) < 0.01*over && n.headSlope > 0 {
		h += (r.target - n.target) / n.headSlope
	} else if h > 0 {
		h *= (r.target - c.dry) / over
	} else {
		h += r.target - n.target
	}
	if n.end > 0 && h <= 0 {
		return n.end
	}
	if h == 0 {
		return full
	}
	return h
}

// scale returns the largest head that a march to inlet head h adds up.
func (c *chain) scale(h float64) float64 { return math.Max(math.Abs(h), math.Abs(c.lift)) }

// tolerance returns how near a march must come to inlet head h.
func (c *chain) tolerance(h, share float64) float64 {
	return share*math.Max(0, h-c.dry) + roundingHead*c.scale(h)
}

// search is a Newton iteration on the head at node 0, kept inside a bracket; by the logarithm where that head is
// positive. It reports false where no end head in doubles gives the target.
func (c *chain) search(r request) (settled, bool) {
	tolerance := c.tolerance(r.target, r.tolerance)
	lo, hi := math.Inf(-1), math.Inf(1)
	h := c.start(r)
	const most = 400
	for steps := 1; steps <= most; steps++ {
		m := c.march(h, r.bend, r.record)
		miss := m.head - r.target
		if math.Abs(miss) <= tolerance {
			s := settled{target: r.target, end: h, headSlope: m.headSlope, flow: m.flow, steps: steps}
			if m.headSlope > 0 {
				s.slope = m.flowSlope / m.headSlope
				s.flow = math.Max(0, m.flow-s.slope*miss)
				if next := h - miss/m.headSlope; r.tolerance == coarseTolerance && (next > 0) == (h > 0) {
					s.end = next
				}
			}
			return s, true
		}
		if miss > 0 {
			hi = h
		} else {
			lo = h
		}
		next := c.propose(h, miss, m.headSlope, lo, hi, r.target)
		if next <= lo || next >= hi {
			s := settled{target: r.target, end: h, headSlope: m.headSlope, flow: m.flow, slope: m.flowSlope / m.headSlope, steps: steps}
			return s, math.Abs(miss) <= startHead*math.Max(c.scale(r.target), leastHead)
		}
		h = next
	}
	return settled{steps: most}, false
}

// propose returns the next end head to try: Newton's, when it lies in the bracket, else a halving. It returns lo when
// the bracket has no room left.
func (c *chain) propose(h, miss, slope, lo, hi, target float64) float64 {
	next := h - miss/slope
	if h > 0 {
		next = h * math.Exp(math.Max(-40, math.Min(40, -miss/(slope*h))))
	}
	if next > lo && next < hi && (next >= leastEndHead || h <= 0) {
		return next
	}
	switch {
	case math.IsInf(hi, 1): // velocity head regained can put the inlet under the end
		return math.Max(leastEndHead, math.Max(2*h, target-c.lift))
	case hi > leastEndHead && lo < leastEndHead:
		return leastEndHead
	case hi > leastEndHead:
		return math.Sqrt(lo) * math.Sqrt(hi)
	case math.IsInf(lo, -1): // everything is dry there
		return c.dry - c.lift
	case hi-lo <= math.Max(1e-16*math.Max(math.Abs(lo), math.Abs(hi)), leastEndHead):
		return lo
	}
	return lo + (hi-lo)/2
}

// velocityHead returns the velocity head per Q² [s²/m⁵] times the share regained.
func velocityHead(area, share float64) float64 {
	return share / (2 * unit.Gravity * area * area)
}
