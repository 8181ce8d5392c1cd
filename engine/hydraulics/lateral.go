package hydraulics

import (
	"encoding/binary"
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// lateral is a distinct lateral with its stored curve; layouts share it.
type lateral struct {
	chain  chain
	sets   []holeSet // from the tee to the closed end
	open   []openSet // those of them with open holes
	openK  float64   // flow per √h of all its drilled holes
	table  Table
	states []settled // for each point of the table, to start marches from
	ends   endCurve
}

// holeSet is one drilled position.
type holeSet struct {
	piece, set int
	at         float64 // from the tee [m]
	height     float64 // of the holes above the inlet [m]
	drilled    int
	open       int
	node       int // in the chain; negative in standing water behind the last open hole
	outlet     outlet
}

// openSet is a hole set with open holes.
type openSet struct {
	node  int // as in holeSet
	holes float64
	share float64 // of one of them
}

// lateral returns the compiled lateral with that content, made at the first call.
func (c *Compiler) lateral(l *Lateral, branchK float64) *lateral {
	key := contentKey(l, branchK)
	if have, ok := c.laterals[key]; ok {
		return have
	}
	made := c.compileLateral(l, branchK)
	made.tabulate()
	c.laterals[key] = made
	return made
}

// contentKey is equal for laterals that behave alike: labels, wall names and sides of the drill leave water cold.
func contentKey(l *Lateral, branchK float64) string {
	var b []byte
	put := func(v ...float64) {
		for _, x := range v {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
	}
	put(branchK, float64(l.Rise), l.JointK, l.HoleEdgeK, float64(len(l.Pieces)))
	for i := range l.Pieces {
		p := &l.Pieces[i]
		put(float64(p.Pipe.Bore()), float64(p.Length))
		if h := p.Pattern; h != nil {
			put(float64(h.Sets(p.Length)), float64(h.Spacing), float64(h.FirstOffset), float64(h.HolesPerSet),
				facingHeight(h.Facing), float64(h.HoleDiameter), h.DischargeCoefficient)
			if h.Rated != nil {
				put(float64(h.Rated.Flow), float64(h.Rated.Head), h.Rated.Exponent)
			}
		}
		put(math.NaN())
	}
	for _, g := range l.Plugged {
		put(float64(g.Piece), float64(g.Set), float64(g.Holes))
	}
	return string(b)
}

// facingHeight returns the height of a hole above the axis in inside diameters.
func facingHeight(f Facing) float64 {
	switch f {
	case FacingUp:
		return 0.5
	case FacingDown:
		return -0.5
	case FacingSide:
	}
	return 0
}

// outletOf returns what n holes or rated outlets of a pattern let out together.
func outletOf(p *HolePattern, n int) outlet {
	if n == 0 {
		return outlet{}
	}
	if p.Rated != nil {
		return outlet{kind: rated, k: float64(n) * float64(p.Rated.Flow), head: float64(p.Rated.Head), exponent: p.Rated.Exponent}
	}
	d := float64(p.HoleDiameter)
	// q = n·Cd·A·√(2gh)
	return outlet{kind: orifice, k: float64(n) * p.DischargeCoefficient * math.Pi / 4 * d * d * math.Sqrt(2*unit.Gravity)}
}

// holeSets lists the positions of the lateral.
func holeSets(l *Lateral) []holeSet {
	type place struct{ piece, set int }
	plugged := make(map[place]int, len(l.Plugged))
	for _, g := range l.Plugged {
		plugged[place{g.Piece, g.Set}] = g.Holes
	}
	slope := float64(l.Rise) / float64(l.Length())
	var sets []holeSet
	start := 0.0
	for i := range l.Pieces {
		p := &l.Pieces[i]
		for s := range p.Pattern.Sets(p.Length) {
			at := start + math.Min(float64(p.Pattern.Position(s)), float64(p.Length))
			open := p.Pattern.HolesPerSet - plugged[place{i, s}]
			sets = append(sets, holeSet{
				piece: i, set: s, at: at, drilled: p.Pattern.HolesPerSet, open: open,
				height: slope*at + facingHeight(p.Pattern.Facing)*float64(p.Pipe.Bore()),
				outlet: outletOf(p.Pattern, open),
			})
		}
		start += float64(p.Length)
	}
	return sets
}

// compileLateral builds the chain: a node for each hole set and each joint.
func (c *Compiler) compileLateral(l *Lateral, branchK float64) *lateral {
	made := &lateral{sets: holeSets(l)}
	for i := range made.sets {
		if o := &made.sets[i].outlet; o.kind == orifice {
			made.openK += o.k
		}
	}
	outward := c.outwardNodes(l, made, branchK)
	n := len(outward)
	made.chain.nodes = make([]node, n)
	for i := range outward {
		made.chain.nodes[n-1-i] = outward[i]
		if i+1 < n {
			made.chain.nodes[n-1-i].down = outward[i+1].up
		}
	}
	made.chain.finish()
	for i := range made.sets {
		s := &made.sets[i]
		s.node = len(made.chain.nodes) - 1 - s.node
		if s.open > 0 {
			made.open = append(made.open, openSet{s.node, float64(s.open), 1 / float64(s.open)})
		}
	}
	return made
}

// outwardNodes lists the nodes from the tee outwards. Heights of nodes are those of their holes, so a node's head is
// the head at the hole.
func (c *Compiler) outwardNodes(l *Lateral, made *lateral, branchK float64) []node {
	slope := float64(l.Rise) / float64(l.Length())
	var nodes []node
	at, height, k := 0.0, 0.0, branchK
	put := func(p *Piece, to, z, edgeK float64, o outlet) {
		d := float64(p.Pipe.Bore())
		nodes = append(nodes, node{
			drop: z - height, out: o,
			pipe: newConduit(c.water, to-at, d, float64(c.options.PipeRoughness), k+edgeK),
			up:   velocityHead(math.Pi/4*d*d, c.options.VelocityHeadRegain),
		})
		at, height, k = to, z, 0
	}
	next, start := 0, 0.0
	for i := range l.Pieces {
		p := &l.Pieces[i]
		for ; next < len(made.sets) && made.sets[next].piece == i; next++ {
			s := &made.sets[next]
			s.node = len(nodes)
			put(p, s.at, s.height, l.HoleEdgeK, s.outlet)
		}
		start += float64(p.Length)
		if i+1 < len(l.Pieces) {
			put(p, start, slope*start, l.JointK, outlet{})
		}
	}
	return nodes
}

// endCurve is the head at the far end against that at the inlet, where the end runs: a monotone cubic in the logarithms of
// both, for the end head goes with a power of the inlet head. Slopes come from the secants and not from the marches: a
// march's own slope is that of the ramp of friction which one stretch happens to be on.
type endCurve struct {
	first               int       // the table's point of the first entry
	height, head, slope []float64 // ln inlet head above dry, ln end head, and its derivative by the former
}

// newEndCurve returns the curve through the states from the first on from which all run to the end.
func newEndCurve(dry float64, states []settled) endCurve {
	f := endCurve{first: len(states)}
	for f.first > 1 && states[f.first-1].end > 0 && states[f.first-1].dead == nil {
		f.first--
	}
	n := len(states) - f.first
	f.height, f.head, f.slope = make([]float64, n), make([]float64, n), make([]float64, n)
	for i, s := range states[f.first:] {
		f.height[i], f.head[i] = math.Log(s.target-dry), math.Log(s.end)
	}
	if n > 1 {
		monotoneSlopes(f.height, f.head, f.slope)
	}
	return f
}

// at returns the end head where the inlet stands so high above dry, between entries i and i+1.
func (f *endCurve) at(height float64, i int) float64 {
	w := f.height[i+1] - f.height[i]
	u := (math.Log(height) - f.height[i]) / w
	y, ma, mb := f.head[i+1]-f.head[i], w*f.slope[i], w*f.slope[i+1]
	return math.Exp(f.head[i] + u*(ma+u*(3*y-2*ma-mb+u*(ma+mb-2*y))))
}

// near returns the stored state next to inlet head h, moved to h between both neighbours, and whether there is one.
func (l *lateral) near(h float64) (settled, bool) {
	t, n := &l.table, len(l.states)
	if n < 3 || h <= t.Head[1] {
		return settled{}, false
	}
	if h > t.Head[n-1] {
		return l.states[n-1], true
	}
	lo := max(1, t.interval(h))
	a, b := &l.states[lo], &l.states[lo+1]
	if a.dead != nil || b.dead != nil {
		return *b, true
	}
	s := settled{target: h, steps: 1, headSlope: b.headSlope}
	if lo < l.ends.first {
		s.end = a.end + (h-a.target)/(b.target-a.target)*(b.end-a.end)
	} else {
		s.end = l.ends.at(h-l.chain.dry, lo-l.ends.first)
	}
	return s, true
}
