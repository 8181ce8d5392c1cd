package hydraulics

import "math"

// Most laterals have drilled holes and nothing else, and most layouts have several alike. A march is one long chain of
// roots and divisions, each waiting for the last, so a processor does two of them in hardly more time than one: alike
// laterals march side by side, and over nodes that hold no more than such a lateral needs.

// hole is a node of a plain chain: an orifice, or a joint with k 0, and the stretch towards the inlet, by Darcy–Weisbach.
type hole struct {
	k                                   float64 // flow per √h
	drop                                float64 // as in node
	reynolds, laminar, turbulent, minor float64 // as in conduit
	factors                             *factorTable
}

// lane is one march among several.
type lane struct {
	marched
	record  *profile // filled on the way, or nil
	begin   float64  // head at node 0
	lateral int      // its place in the layout
}

// plainHoles returns the nodes of a chain without branches, rated outlets, velocity head regained and Hazen–Williams;
// nil for any other.
func plainHoles(nodes []node) []hole {
	holes := make([]hole, len(nodes))
	for i := range nodes {
		n := &nodes[i]
		if n.out.kind != orifice && n.out.kind != noOutlet || n.up > 0 || n.down > 0 || n.pipe.williams > 0 {
			return nil
		}
		p := &n.pipe
		holes[i] = hole{n.out.k, n.drop, p.reynolds, p.laminar, p.turbulent, p.minor, p.factors}
	}
	return holes
}

// marchLanes takes every lane from its head at node 0 to the inlet, as march does.
func (c *chain) marchLanes(lanes []lane) {
	if c.holes == nil {
		for l := range lanes {
			lanes[l].marched = c.march(lanes[l].head, nil, lanes[l].record)
		}
		return
	}
	for i := range c.holes {
		n := &c.holes[i]
		for l := range lanes {
			a := &lanes[l]
			before := a.marched
			a.marched = n.pass(before)
			if a.record != nil {
				a.record.head[i], a.record.out[i], a.record.flow[i] = before.head, n.outflow(before.head), a.flow
			}
		}
	}
}

// outflow returns what leaves at head h.
func (n *hole) outflow(h float64) float64 {
	if h <= 0 {
		return 0
	}
	return n.k * math.Sqrt(h)
}

// pass takes a march past the node.
func (n *hole) pass(m marched) marched {
	if m.head > mostMarchedHead {
		return m
	}
	if m.head > 0 {
		r := math.Sqrt(m.head)
		m.flow += n.k * r
		m.flowSlope += n.k / (2 * r) * m.headSlope
	}
	if m.flow > 0 {
		q := m.flow
		loss, slope := n.minor*q*q, 2*n.minor*q
		if re := n.reynolds * q; re <= laminarLimit {
			loss, slope = loss+n.laminar*q, slope+n.laminar
		} else {
			f, rise := n.factors.at(re)
			quadratic := n.turbulent * q
			loss, slope = loss+f*quadratic*q, slope+(2*f+rise)*quadratic
		}
		m.head += loss
		m.headSlope += slope * m.flowSlope
	}
	m.head += n.drop
	return m
}
