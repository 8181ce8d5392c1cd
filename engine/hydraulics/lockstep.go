package hydraulics

import "math"

// Most laterals have drilled holes and nothing else, and most layouts have several alike. A march is one long chain of
// roots and products, each waiting for the last, so a processor does several of them in hardly more time than one: alike
// laterals march side by side, and over nodes that hold no more than such a lateral needs.

// hole is a node of a plain chain: an orifice, or a joint with k 0, and the stretch towards the inlet, by Darcy–Weisbach.
type hole struct {
	k                                  float64 // flow per √h
	drop                               float64 // as in node
	reynolds, laminar, friction, minor float64 // as in conduit
	factors                            *factorTable
}

// abreast is the most marches that go side by side. Six already keep the units for roots and divisions busy.
const abreast = 8

// lanes are marches side by side: the first n entries of every array.
type lanes struct {
	n               int
	head, headSlope [abreast]float64
	flow, flowSlope [abreast]float64
	out             [abreast]float64
	record          [abreast]profile // filled on the way, or nil
}

// put adds a march that begins with head h at node 0.
func (p *lanes) put(h float64, record profile) {
	p.head[p.n], p.headSlope[p.n] = h, 1
	p.flow[p.n], p.flowSlope[p.n] = 0, 0
	p.record[p.n] = record
	p.n++
}

// marched returns what lane l has come to.
func (p *lanes) marched(l int) marched {
	return marched{p.head[l], p.headSlope[l], p.flow[l], p.flowSlope[l]}
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
		holes[i] = hole{n.out.k, n.drop, p.reynolds, p.laminar, p.friction, p.minor, p.factors}
	}
	return holes
}

// marchLanes takes every lane from its head at node 0 to the inlet, as march does.
func (c *chain) marchLanes(p *lanes) {
	if c.holes != nil {
		c.marchPlain(p)
		return
	}
	for l := range p.n {
		m := c.march(p.head[l], nil, p.record[l])
		p.head[l], p.headSlope[l], p.flow[l], p.flowSlope[l] = m.head, m.headSlope, m.flow, m.flowSlope
	}
}

// rise returns what the head rises by from the node to the next one towards the inlet: conduit.loss without its slope,
// and the drop.
func (n *hole) rise(q float64) float64 {
	h := n.drop + n.minor*q*q
	re := n.reynolds * q
	if re <= laminarLimit {
		return h + n.laminar*q
	}
	if re >= turbulentLimit && re < tableEnd {
		c, s := n.factors.part(re)
		return h + n.friction*(c[0]+s*c[1]+s*s*(c[2]+s*c[3]))
	}
	g, _ := n.factors.at(re)
	return h + n.friction*g
}

// shiftPlain is shift over plain holes.
func (c *chain) shiftPlain(p profile, over float64) float64 {
	flow := 0.0
	p = p[:len(c.holes)]
	for i := range c.holes {
		at := &p[i]
		at.head += at.headSlope * over
		at.out = 0
		if h := at.head; h > 0 {
			at.out = c.holes[i].k * math.Sqrt(h)
		}
		flow += at.out
		at.flow = flow
	}
	return flow
}

// marchPlain takes every lane from its head at node 0 to the inlet of a chain of plain holes, as march does.
func (c *chain) marchPlain(p *lanes) {
	for i := range c.holes {
		n := &c.holes[i]
		p.letOut(n)
		p.note(i)
		p.carry(n)
	}
}

// letOut lets the node's holes run: outlet.flow written out for every lane.
func (p *lanes) letOut(n *hole) {
	head := p.head[:p.n]
	out, flow := p.out[:len(head)], p.flow[:len(head)]
	headSlope, flowSlope := p.headSlope[:len(head)], p.flowSlope[:len(head)]
	for l, h := range head {
		if h <= 0 || h > mostMarchedHead {
			out[l] = 0
			continue
		}
		r := math.Sqrt(h)
		out[l] = n.k * r
		flow[l] += n.k * r
		flowSlope[l] += n.k / (2 * r) * headSlope[l]
	}
}

// note writes every lane into its record.
func (p *lanes) note(i int) {
	for l, rec := range p.record[:p.n] {
		if i < len(rec) {
			rec[i] = station{p.head[l], p.out[l], p.flow[l], p.headSlope[l]}
		}
	}
}

// carry takes every lane along the stretch behind the node: conduit.loss written out.
func (p *lanes) carry(n *hole) {
	head := p.head[:p.n]
	flow := p.flow[:len(head)]
	headSlope, flowSlope := p.headSlope[:len(head)], p.flowSlope[:len(head)]
	for l, q := range flow {
		if head[l] > mostMarchedHead {
			continue
		}
		if q <= 0 {
			head[l] += n.drop
			continue
		}
		loss, slope := n.minor*q*q, 2*n.minor*q
		switch re := n.reynolds * q; {
		case re <= laminarLimit:
			loss, slope = loss+n.laminar*q, slope+n.laminar
		case re >= turbulentLimit && re < tableEnd:
			c, s := n.factors.part(re)
			g, rise := c[0]+s*c[1]+s*s*(c[2]+s*c[3]), c[1]+s*(2*c[2]+s*(3*c[3]))
			loss, slope = loss+n.friction*g, slope+n.friction*rise*n.reynolds
		default:
			g, rise := n.factors.at(re)
			loss, slope = loss+n.friction*g, slope+n.friction*rise*n.reynolds
		}
		head[l] += loss
		head[l] += n.drop
		headSlope[l] += slope * flowSlope[l]
	}
}
