package hydraulics

import (
	"math"
	"sort"
)

// Near a starved end the head falls with the fourth power of distance in laminar flow: end heads of 1e-12 m and 1e-300 m
// belong to nearly the same inlet head, and a march from the closed end steps over the target. The heads of all nodes
// as unknowns have no such trouble: they are the minimum of a convex function, and its Newton equations are tridiagonal.

// smoothHead is the head [m] under which an outlet's square root is replaced by a straight line, so that the Newton
// equations stay finite: 1e-8 m lets out a ten-thousandth of what 1 m does.
const smoothHead = 1e-8

// leastResistance keeps a stretch without loss in the equations [s/m²]; at 1 L/s it is a loss of a billionth of a metre.
const leastResistance = 1e-6

// negligible is the share that a double rounds away.
const negligible = 1e-17

// mostShare is how far from a known state its heads, in proportion, are still a start: beyond, and above all where the
// known one is a rounding error above dry, a level line is as good.
const mostShare = 1e3

// newtonTolerance ends the iteration when no node's balance misses by more than this share of the inflow: a thousandth
// of what is promised.
const newtonTolerance = 1e-12

// settleDeadEnd solves the chain where the march can't.
func (c *chain) settleDeadEnd(r request) settled {
	if c.regains() {
		return c.startEarlier(r)
	}
	n := newNewton(c, r)
	steps := n.solve()
	p := make(profile, len(c.nodes))
	for i := range p {
		out, _ := smoothFlow(&c.nodes[i].out, n.head[i], r.bend)
		p[i] = station{head: n.head[i], out: out, flow: n.flow[i]}
	}
	last := len(c.nodes) - 1
	return settled{target: r.target, end: n.head[0], flow: n.flow[last], slope: n.inletSlope(), dead: p, steps: steps}
}

func (c *chain) regains() bool {
	for i := range c.nodes {
		if c.nodes[i].up > 0 {
			return true
		}
	}
	return false
}

// startEarlier drops the fewest nodes from the closed end, whose flow doubles can't hold, with which the march reaches
// the target. With velocity head regained there is no convex function to minimise.
func (c *chain) startEarlier(r request) settled {
	steps := 0
	without := func(first int) (rest chain, s settled, tail profile, ok bool) {
		rest = chain{nodes: append([]node(nil), c.nodes[first:]...)}
		rest.finish()
		tail = make(profile, len(rest.nodes))
		s, ok = rest.search(request{target: r.target, tolerance: fineTolerance, bend: r.bend, record: tail})
		steps += s.steps
		return rest, s, tail, ok
	}
	first := 1 + sort.Search(len(c.nodes)-1, func(i int) bool {
		_, _, _, ok := without(i + 1)
		return ok
	})
	if first < len(c.nodes) {
		rest, s, tail, _ := without(first)
		skipped := len(c.nodes) - len(rest.nodes)
		p := make(profile, len(c.nodes))
		copy(p[skipped:], tail)
		for i := skipped - 1; i >= 0; i-- { // standing water at the level of the first node that flows
			p[i].head = p[i+1].head - c.nodes[i].drop
		}
		return settled{target: r.target, end: p[0].head, flow: s.flow, slope: s.slope, dead: p, steps: steps}
	}
	return settled{target: r.target, end: r.target - c.lift, dead: make(profile, len(c.nodes)), steps: steps}
}

type newton struct {
	chain       *chain
	bend        []correction
	target      float64
	head, trial []float64 // above each node
	flow        []float64 // towards each node from the inlet's side
	conductance []float64 // dflow/dhead difference
	balance     []float64 // outflow + passing on - coming in
	diagonal    []float64
	step        []float64
}

func newNewton(c *chain, r request) *newton {
	n := len(c.nodes)
	w := &newton{chain: c, bend: r.bend, target: r.target}
	for _, s := range []*[]float64{&w.head, &w.trial, &w.flow, &w.conductance, &w.balance, &w.diagonal, &w.step} {
		*s = make([]float64, n)
	}
	if r.near != nil && r.near.dead != nil {
		share := (r.target - c.dry) / (r.near.target - c.dry)
		if share > 1/mostShare && share < mostShare {
			for i := range w.head {
				w.head[i] = r.near.dead[i].head * share
			}
			return w
		}
	}
	level := r.target
	for i := n - 1; i >= 0; i-- {
		level -= c.nodes[i].drop
		w.head[i] = level
	}
	return w
}

// smoothFlow is the outlet's flow with the root below smoothHead made straight.
func smoothFlow(o *outlet, h float64, bend []correction) (q, slope float64) {
	start := o.start()
	if over := h - start; over > 0 && over < smoothHead {
		q, _ = o.flow(start+smoothHead, bend)
		return q * over / smoothHead, q / smoothHead
	}
	return o.flow(h, bend)
}

// evaluate fills flows, conductances, balances and the outlets' part of the diagonal at the given heads.
func (n *newton) evaluate(head []float64) {
	nodes := n.chain.nodes
	passing := 0.0
	for i := range nodes {
		above := n.target
		if i+1 < len(nodes) {
			above = head[i+1]
		}
		n.flow[i], n.conductance[i] = nodes[i].pipe.flowFor(above-head[i]-nodes[i].drop, n.flow[i])
		q, slope := smoothFlow(&nodes[i].out, head[i], n.bend)
		n.balance[i] = q + passing - n.flow[i]
		n.diagonal[i] = slope + n.conductance[i]
		if i > 0 {
			n.diagonal[i] += n.conductance[i-1]
		}
		passing = n.flow[i]
	}
}

// solve iterates and returns the number of steps. The line search looks for a sign change of the derivative along the
// step, which a convex function has at most once.
func (n *newton) solve() int {
	const most = 200
	n.evaluate(n.head)
	for steps := 1; steps <= most; steps++ {
		if n.worst() <= newtonTolerance*math.Abs(n.flow[len(n.flow)-1]) {
			return steps
		}
		n.direction()
		before := n.along()
		t := 1.0
		for try := 0; try < 60; try++ {
			for i := range n.trial {
				n.trial[i] = n.head[i] + t*n.step[i]
			}
			n.evaluate(n.trial)
			if n.along() <= 0.5*math.Abs(before) {
				break
			}
			t /= 2
		}
		n.head, n.trial = n.trial, n.head
	}
	return most
}

func (n *newton) worst() float64 {
	worst := 0.0
	for _, b := range n.balance {
		worst = math.Max(worst, math.Abs(b))
	}
	return worst
}

// along returns the derivative of the convex function along the step.
func (n *newton) along() float64 {
	sum := 0.0
	for i, b := range n.balance {
		sum += b * n.step[i]
	}
	return sum
}

// direction solves the tridiagonal Newton equations for the step by elimination from the closed end.
func (n *newton) direction() {
	last := len(n.step) - 1
	for i := range n.step {
		n.step[i] = -n.balance[i]
		if i > 0 {
			ratio := n.conductance[i-1] / n.diagonal[i-1]
			n.diagonal[i] -= ratio * n.conductance[i-1]
			n.step[i] += ratio * n.step[i-1]
		}
	}
	n.step[last] /= n.diagonal[last]
	for i := last - 1; i >= 0; i-- {
		n.step[i] = (n.step[i] + n.conductance[i]*n.step[i+1]) / n.diagonal[i]
	}
}

// inletSlope returns dQ/dh at the inlet from the eliminated equations: the inlet sees the last conductance in series with
// everything behind it.
func (n *newton) inletSlope() float64 {
	n.evaluate(n.head)
	n.direction()
	last := len(n.step) - 1
	g := n.conductance[last]
	return g * (1 - g/n.diagonal[last])
}

// flowFor returns the flow that loses head h along the pipe and its derivative; a negative head turns the flow round.
// near is a flow to start from, such as that of a head close by, or 0.
func (c *conduit) flowFor(h, near float64) (q, slope float64) {
	size := math.Abs(h)
	if c.laminar < leastResistance && c.minor == 0 {
		return h / leastResistance, 1 / leastResistance
	}
	if size == 0 && c.williams == 0 {
		return 0, 1 / math.Max(c.laminar, leastResistance)
	}
	if q := size / c.laminar; c.williams == 0 && c.reynolds*q <= laminarLimit && c.minor*q <= negligible*c.laminar {
		return math.Copysign(q, h), 1 / math.Max(c.laminar, leastResistance)
	}
	// Laminar friction, fittings and Hazen–Williams each alone lose no more than the whole, so each bounds the flow.
	hi := math.Inf(1)
	if c.williams > 0 {
		hi = math.Pow(size/c.williams, 1/1.852)
	} else if c.laminar > 0 {
		hi = size / c.laminar
	}
	if c.minor > 0 {
		hi = math.Min(hi, math.Sqrt(size/c.minor))
	}
	lo := 0.0
	q = hi
	if start := math.Abs(near); start > 0 && start < hi {
		q = start
	}
	var lossSlope float64
	for range 100 {
		var loss float64
		loss, lossSlope = c.loss(q)
		if math.Abs(loss-size) <= 1e-15*size {
			break
		}
		if loss > size {
			hi = q
		} else {
			lo = q
		}
		next := q - (loss-size)/lossSlope
		if !(next > lo && next < hi) {
			next = lo + (hi-lo)/2
		}
		if next == q {
			break
		}
		q = next
	}
	return math.Copysign(q, h), 1 / math.Max(lossSlope, leastResistance)
}
