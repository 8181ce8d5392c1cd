package rotation

import "math/bits"

// Ratio is an exact fraction with a positive denominator.
type Ratio struct{ Num, Den int64 }

// Less compares two fractions exactly.
func (r Ratio) Less(o Ratio) bool {
	ah, al := bits.Mul64(uint64(max(0, r.Num)), uint64(o.Den))
	bh, bl := bits.Mul64(uint64(max(0, o.Num)), uint64(r.Den))
	return ah < bh || (ah == bh && al < bl)
}

// Float returns the fraction as a number to show or to steer by.
func (r Ratio) Float() float64 { return float64(r.Num) / float64(r.Den) }

// of returns the fraction's part of w, without its remainder.
func (r Ratio) of(w int64) int64 {
	h, l := bits.Mul64(uint64(r.Num), uint64(w))
	q, _ := bits.Div64(h, l, uint64(r.Den))
	return int64(q)
}

// claim is what one zone asks of the shared resources.
type claim struct {
	weight int64 // its level is amount/weight
	need   int64 // it never gets more
	base   int64 // what its visits give at least
	class  int
}

// arc is an opportunity of a claim. group binds the arcs of one claim and day under a common limit; -1 is no group.
type arc struct {
	claim, slot int
	limit       int64
	group       int
}

// shares is a problem of fair division: claims reach slots over arcs, and slots draw on pools.
type shares struct {
	claims   []claim
	arcs     []arc
	groups   []int64 // limit by group
	groupOf  []int   // claim by group
	slots    []int64
	poolOf   []int // by slot; -1 for none
	pools    []int64
	parentOf []int // by pool; -1 for none
}

// Level is one step of the fair division: the claims of a set, and the resources that hold it down.
type Level struct {
	Share    Ratio
	Claims   []int
	Slots    []int  // slots whose whole capacity the set uses
	Arcs     []int  // arcs at their own limit
	Groups   []int  // groups at their limit
	Pools    []int  // pools at their limit
	Taken    int64  // what those limits give to claims settled before
	Room     int64  // what those limits add up to, the least visits of the set included
	Weight   int64  // the set's weights added up; Share = Room / Weight
	Stranded []int  // claims that keep their base, which is above the share, and cannot get more
	Parts    []Part // the room, line by line
	Full     bool   // the set gets all it needs and nothing holds it down
}

// division is the working of fair shares; its memory is reused.
type division struct {
	net     network
	in      *shares
	demand  []int32 // edge by claim
	arcEdge []int32
	grpEdge []int32
	sltEdge []int32
	polEdge []int32
	fixed   []int64 // by node: inflow of sets already settled
	fixEdge []int32 // by node: what brings that; -1 for none
	dead    []bool
	reach   []bool // by node: in the last cut
	level   []Ratio
	settled []bool
	nodes   int
	than    []float64 // sorted shares that those of the division are compared with, from the next open claim on; nil for none
	less    bool      // the first share that differs from them is less
}

const (
	tap  = 0
	sink = 1
)

func (d *division) claimNode(j int) int { return 2 + j }
func (d *division) groupNode(g int) int { return 2 + len(d.in.claims) + g }
func (d *division) slotNode(w int) int  { return d.groupNode(len(d.in.groups)) + w }
func (d *division) poolNode(p int) int  { return d.slotNode(len(d.in.slots)) + p }

func (d *division) build(in *shares) {
	d.in = in
	d.nodes = 2 + len(in.claims) + len(in.groups) + len(in.slots) + len(in.pools)
	d.net.reset(d.nodes)
	d.demand, d.arcEdge, d.grpEdge, d.sltEdge, d.polEdge = d.demand[:0], d.arcEdge[:0], d.grpEdge[:0], d.sltEdge[:0], d.polEdge[:0]
	for j := range in.claims {
		d.demand = append(d.demand, int32(d.net.edge(tap, d.claimNode(j), 0)))
	}
	for g, limit := range in.groups {
		d.grpEdge = append(d.grpEdge, int32(d.net.edge(d.claimNode(in.groupOf[g]), d.groupNode(g), limit)))
	}
	for _, a := range in.arcs {
		from := d.claimNode(a.claim)
		if a.group >= 0 {
			from = d.groupNode(a.group)
		}
		d.arcEdge = append(d.arcEdge, int32(d.net.edge(from, d.slotNode(a.slot), a.limit)))
	}
	for w, limit := range in.slots {
		to := sink
		if p := in.poolOf[w]; p >= 0 {
			to = d.poolNode(p)
		}
		d.sltEdge = append(d.sltEdge, int32(d.net.edge(d.slotNode(w), to, limit)))
	}
	for p, limit := range in.pools {
		to := sink
		if q := in.parentOf[p]; q >= 0 {
			to = d.poolNode(q)
		}
		d.polEdge = append(d.polEdge, int32(d.net.edge(d.poolNode(p), to, limit)))
	}
	d.fixed, d.dead = append(d.fixed[:0], make([]int64, d.nodes)...), append(d.dead[:0], make([]bool, d.nodes)...)
	d.fixEdge = d.fixEdge[:0]
	for range d.nodes {
		d.fixEdge = append(d.fixEdge, -1)
	}
	d.level = append(d.level[:0], make([]Ratio, len(in.claims))...)
	d.settled = append(d.settled[:0], make([]bool, len(in.claims))...)
}

// fair divides the resources so that the vector of shares, sorted, is as large as possible from its smallest entry up,
// class by class. observe sees every level in the order found and stops the division by returning false; it may be nil.
//
// Each level is found by Newton's method on the ratio of a cut (Dinkelbach 1967): start at the highest share that still
// matters, ask for a flow, and when a set of claims cannot be served take the share at which its cut is exactly tight.
// Then the set and the nodes it uses up are taken out, so that every later level is again a ratio of integers.
// Megiddo 1974: the result is the lexicographic optimum.
func (d *division) fair(in *shares, observe func(Level) bool) {
	d.build(in)
	for class, left := 0, len(in.claims); left > 0; {
		open := 0
		for j := range in.claims {
			if !d.settled[j] && in.claims[j].class == class {
				open++
			}
		}
		if open == 0 {
			class = d.nextClass(class)
			if class < 0 {
				return
			}
			continue
		}
		found := d.nextLevel(class)
		left -= len(found.Claims) + len(found.Stranded)
		if observe != nil && !observe(found) {
			return
		}
	}
}

// fairer divides like fair, for claims of one class, and tells whether the sorted shares are no less than others. It gives
// up as soon as they are.
func (d *division) fairer(in *shares, than []float64) bool {
	d.than, d.less = than, false
	d.fair(in, func(l Level) bool {
		// Levels rise, so as long as nobody is stranded above them they are the sorted shares one after the other.
		if l.Full || len(l.Stranded) > 0 {
			d.than = nil
		}
		for range l.Claims {
			if len(d.than) == 0 || d.lost(l.Share) {
				break
			}
			if l.Share.Float() > d.than[0]+shareTolerance {
				d.than = nil
				break
			}
			d.than = d.than[1:]
		}
		return !d.less
	})
	less := d.less
	d.than, d.less = nil, false
	return !less
}

// nearSteps is how finely shares are told apart that a level is looked for at first.
const nearSteps = 1 << 24

// near is a share just above the one that the next level is compared with: most levels of a pattern are those of the pattern
// that it was made of.
func (d *division) near() (Ratio, bool) {
	if len(d.than) == 0 {
		return Ratio{}, false
	}
	return Ratio{int64(d.than[0]*nearSteps) + 3, nearSteps}, true
}

func (d *division) nextClass(after int) int {
	next := -1
	for j, c := range d.in.claims {
		if !d.settled[j] && c.class > after && (next < 0 || c.class < next) {
			next = c.class
		}
	}
	return next
}

// above is what claim j asks over its base at share r, times the denominator of r: nothing where its base is all it needs.
// Of others no share is asked for that is more than they need, see top.
func (d *division) above(j int, r Ratio) int64 {
	c := &d.in.claims[j]
	if c.need <= c.base {
		return 0
	}
	return max(0, r.Num*c.weight-c.base*r.Den)
}

// top is the share at which the first open claim of the class has all it needs. Claims that need nothing, or no more
// than their base, have it already.
func (d *division) top(class int) (Ratio, bool) {
	best, found := Ratio{}, false
	for j := range d.in.claims {
		c := &d.in.claims[j]
		if d.settled[j] || c.class != class || c.weight == 0 || c.need <= c.base {
			continue
		}
		if r := (Ratio{c.need, c.weight}); !found || r.Less(best) {
			best, found = r, true
		}
	}
	return best, found
}

func (d *division) nextLevel(class int) Level {
	share, some := d.top(class)
	if !some {
		return d.settleFull(class, Ratio{1, 1}, true)
	}
	var tight Level
	from := share
	if near, some := d.near(); some && near.Less(share) {
		from = near
	}
	for {
		if d.try(class, from) {
			tight = d.cut(class, from)
			share = tight.Share
			if d.lost(share) {
				return tight
			}
		} else if from == share {
			break
		}
		from = share
	}
	if tight.Claims == nil {
		return d.settleFull(class, share, false)
	}
	d.takeOut(tight)
	tight.Stranded = d.strand()
	return tight
}

// lost tells whether a level of at most the share is less than what it is compared with.
func (d *division) lost(share Ratio) bool {
	d.less = len(d.than) > 0 && share.Float() < d.than[0]-shareTolerance
	return d.less
}

// settleFull settles the claims that have all they need at a share that everybody can get.
func (d *division) settleFull(class int, share Ratio, all bool) Level {
	l := Level{Share: share, Full: true}
	for j := range d.in.claims {
		c := &d.in.claims[j]
		if d.settled[j] || c.class != class {
			continue
		}
		own := Ratio{c.need, max(1, c.weight)}
		if all || c.weight == 0 || c.need <= c.base || !share.Less(own) {
			d.settled[j], d.level[j] = true, own
			if c.weight == 0 {
				d.level[j] = Ratio{1, 1}
			}
			d.fixed[d.claimNode(j)] = max(0, c.need-c.base)
			l.Claims = append(l.Claims, j)
		}
	}
	return l
}

// try asks for a flow that gives every open claim of the class the share, and settled ones what they have. It reports
// whether somebody is left short.
func (d *division) try(class int, r Ratio) bool {
	g := &d.net
	asked := int64(0)
	for j := range d.in.claims {
		e, want := d.demand[j], int64(0)
		switch {
		case d.dead[d.claimNode(j)]:
		case d.settled[j]:
			want = d.fixed[d.claimNode(j)] * r.Den
		case d.in.claims[j].class == class:
			want = d.above(j, r)
		}
		asked += want
		g.limit[e] = want
	}
	g.load(r.Den)
	for _, e := range d.demand {
		g.edges[e].left = g.limit[e]
	}
	for v, e := range d.fixEdge {
		if e < 0 {
			continue
		}
		want := int64(0)
		if !d.dead[v] {
			want = d.fixed[v] * r.Den
		}
		asked += want
		g.edges[e].left = want
	}
	return g.send() < asked
}

// cut reads the set that the last flow left short, and the share at which its cut is exactly tight.
func (d *division) cut(class int, from Ratio) Level {
	g, in := &d.net, d.in
	var l Level
	d.reach = d.reach[:0]
	for v := range d.nodes {
		d.reach = append(d.reach, g.level[v] >= 0)
	}
	reached := func(v int) bool { return d.reach[v] }
	room := int64(0)
	for e := 2 * len(in.claims); e < len(g.edges); e += 2 {
		if u := g.edges[e^1].to; u != tap && reached(int(u)) && !reached(int(g.edges[e].to)) {
			room += g.limit[e]
		}
	}
	for v := range d.fixEdge {
		if reached(v) && !d.dead[v] {
			l.Taken += d.fixed[v]
		}
	}
	room -= l.Taken
	for j := range in.claims {
		if reached(d.claimNode(j)) && !d.settled[j] && in.claims[j].class == class && d.above(j, from) > 0 {
			l.Claims = append(l.Claims, j)
		}
	}
	l.Share = d.settleShare(&l, room)
	for w := range in.slots {
		if e := d.sltEdge[w]; g.limit[e] > 0 && reached(d.slotNode(w)) && !reached(int(g.edges[e].to)) {
			l.Slots = append(l.Slots, w)
		}
	}
	for a := range in.arcs {
		if e := d.arcEdge[a]; g.limit[e] > 0 && reached(int(g.edges[e^1].to)) && !reached(int(g.edges[e].to)) {
			l.Arcs = append(l.Arcs, a)
		}
	}
	for k := range in.groups {
		if e := d.grpEdge[k]; g.limit[e] > 0 && reached(int(g.edges[e^1].to)) && !reached(int(g.edges[e].to)) {
			l.Groups = append(l.Groups, k)
		}
	}
	for p := range in.pools {
		if e := d.polEdge[p]; g.limit[e] > 0 && reached(d.poolNode(p)) && !reached(int(g.edges[e].to)) {
			l.Pools = append(l.Pools, p)
		}
	}
	return l
}

// settleShare finds the share at which the set fills the room: the claims whose base is above it drop out of the set.
func (d *division) settleShare(l *Level, room int64) Ratio {
	for {
		bases, weights := int64(0), int64(0)
		for _, j := range l.Claims {
			bases += d.in.claims[j].base
			weights += d.in.claims[j].weight
		}
		share := Ratio{max(0, room+bases), weights}
		kept := l.Claims[:0]
		for _, j := range l.Claims {
			if d.above(j, share) > 0 || share.Num*d.in.claims[j].weight == d.in.claims[j].base*share.Den {
				kept = append(kept, j)
			}
		}
		l.Room, l.Weight = room+bases, weights
		if len(kept) == len(l.Claims) || len(kept) == 0 {
			return share
		}
		l.Claims = kept
	}
}

// takeOut removes the nodes of the last cut, which its set uses up. What full edges carry to nodes that stay becomes a
// fixed inflow there. A claim of the cut that is not in the set has more at its base than the set's share, and no way to
// get more.
func (d *division) takeOut(l Level) {
	g := &d.net
	for v := 2; v < d.nodes; v++ {
		if !d.reach[v] || d.dead[v] {
			continue
		}
		for e := g.first[v]; e >= 0; e = g.edges[e].next {
			if w := g.edges[e].to; e%2 == 0 && w != sink && !d.reach[w] {
				d.fixed[w] += g.limit[e]
				if d.fixEdge[w] < 0 {
					d.fixEdge[w] = int32(g.edge(tap, int(w), 0))
				}
			}
		}
	}
	for v := 2; v < d.nodes; v++ {
		if !d.reach[v] {
			continue
		}
		d.dead[v] = true
		for e := g.first[v]; e >= 0; e = g.edges[e].next {
			if e%2 == 0 {
				g.limit[e] = 0
			}
		}
	}
	for _, j := range l.Claims {
		d.settled[j], d.level[j] = true, l.Share
	}
}

// strand settles the open claims that a cut leaves at their base.
func (d *division) strand() []int {
	var out []int
	for j := range d.in.claims {
		if c := &d.in.claims[j]; d.dead[d.claimNode(j)] && !d.settled[j] {
			d.settled[j], d.level[j] = true, Ratio{c.base, max(1, c.weight)}
			out = append(out, j)
		}
	}
	return out
}

// deal returns how much each arc carries when every claim gets its amount. Where preferred says what an arc carried
// before, that is used first and changed only as far as it must be.
func (d *division) deal(in *shares, amounts, preferred []int64) ([]int64, bool) {
	d.build(in)
	g := &d.net
	asked := int64(0)
	for j := range in.claims {
		want := max(0, amounts[j]-in.claims[j].base)
		g.limit[d.demand[j]] = want
		asked += want
	}
	g.load(1)
	sent := int64(0)
	if preferred != nil {
		for a, e := range d.arcEdge {
			g.edges[e].left = min(g.limit[e], preferred[a])
		}
		sent = g.send()
		for a, e := range d.arcEdge {
			g.edges[e].left += g.limit[e] - min(g.limit[e], preferred[a])
		}
	}
	sent += g.send()
	given := make([]int64, len(in.arcs))
	for a, e := range d.arcEdge {
		given[a] = g.limit[e] - g.edges[e].left
	}
	return given, sent == asked
}

// amounts returns what each claim gets at its level.
func (d *division) amounts(in *shares) []int64 {
	out := make([]int64, len(in.claims))
	for j := range in.claims {
		c := &in.claims[j]
		out[j] = c.need
		if c.weight > 0 {
			out[j] = min(c.need, d.level[j].of(c.weight))
		}
		out[j] = max(out[j], c.base)
	}
	return out
}
