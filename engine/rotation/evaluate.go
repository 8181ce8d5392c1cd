package rotation

import (
	"cmp"
	"math"
	"slices"

	"rillturn.example/rillturn/engine/problem"
)

// limits are what the slots and the volumes behind them can give at present. Volume limits are held in minutes of the
// zones that were seen to use them, and corrected when the mix of zones changes.
type limits struct {
	cut    []problem.Span // by slot: taken off its usable time because a placement did not fit
	grid   []problem.Span // by slot: the part of cut that starting on the grid costs; nil without one
	poolOf []int
	pools  []problem.Span
	parent []int
	meter  []int     // by pool: the line whose flow it stands for, -1 for a daily volume
	room   []float64 // by slot, for building patterns
}

// score orders two divisions of the same group: interval limits kept, then shares from the smallest up, class by class,
// then water in time, then distance to the published rota, then room for a missed turn, then fewer turns.
type score struct {
	late   int
	shares []float64
	dry    int64 // what comes late, added up over zones; only of whole rotations
	moved  int
	tense  int // times that a zone is watered on its last allowed day
	turns  int
}

// shareTolerance is the difference of two shares that is not worth another turn. The shares themselves are exact; this
// only stops the search from chasing the last millionth.
const shareTolerance = 1e-7

func (a score) better(b score) bool { return a.betterBy(b, shareTolerance) }

// betterBy compares with another tolerance: a published rota is only changed for a gain that people notice.
func (a score) betterBy(b score, tolerance float64) bool {
	if a.late != b.late {
		return a.late < b.late
	}
	for k := range a.shares {
		if d := a.shares[k] - b.shares[k]; math.Abs(d) > tolerance {
			return d > 0
		}
	}
	if d := a.dry - b.dry; d > lateNoticed || d < -lateNoticed {
		return d < 0
	}
	if a.moved != b.moved {
		return a.moved < b.moved
	}
	if a.tense != b.tense {
		return a.tense < b.tense
	}
	return a.turns < b.turns
}

// evaluator divides the time of a group for one pattern after another.
type evaluator struct {
	g        *Group
	in       shares
	div      division
	limits   limits
	entries  []entry
	groupDay []int // by group
	timing   timing
	busy     []float64
	mix, now []float64 // by pool: the mean flow of the pattern for which pools were held in minutes, and of the one at hand
	untimed  bool      // no regard to when water comes
	count    int
	kept     Pattern                 // the published rota, or nil
	keptTime map[[2]int]problem.Span // by zone and slot
}

// work is all that was done for the group so far, counted in edges of flows looked at. It depends on nothing but the
// problem, so that a plan that ends for want of work is the same on every machine.
func (e *evaluator) work() int64 { return e.g.steps + e.div.net.steps + e.timing.net.steps }

// load states the sharing problem of a pattern, or reports that its shortest turns do not even fit.
func (e *evaluator) load(p Pattern) bool {
	g, in := e.g, &e.in
	in.claims, in.arcs, in.groups, in.groupOf = in.claims[:0], in.arcs[:0], in.groups[:0], in.groupOf[:0]
	e.groupDay, in.slots, in.poolOf = e.groupDay[:0], in.slots[:0], e.limits.poolOf
	in.pools, in.parentOf = in.pools[:0], e.limits.parent
	for w := range g.Slots {
		in.slots = append(in.slots, int64(g.Slots[w].Usable-e.limits.cut[w]))
	}
	e.now = e.mixes(p, e.now)
	for k, limit := range e.limits.pools {
		if e.mix != nil && e.now[k] > 0 && e.mix[k] > 0 {
			limit = problem.Span(float64(limit) * e.mix[k] / e.now[k])
		}
		in.pools = append(in.pools, int64(limit))
	}
	for j := range g.Zones {
		if !e.loadZone(p, j) {
			return false
		}
	}
	for w := range in.slots {
		if in.slots[w] -= int64(g.pauses(p, w)); in.slots[w] < 0 {
			return false
		}
	}
	for _, left := range in.pools {
		if left < 0 {
			return false
		}
	}
	return true
}

// mixes returns by pool the mean flow of the zones that a pattern lets use it, by the time that they need, their turns counted
// alike [mL/min].
func (e *evaluator) mixes(p Pattern, out []float64) []float64 {
	g := e.g
	out = append(out[:0], make([]float64, len(e.limits.pools))...)
	if len(out) == 0 {
		return out
	}
	e.busy = append(e.busy[:0], out...)
	for j := range p {
		turns := 0
		for _, k := range p[j] {
			turns += int(k)
		}
		for w, k := range p[j] {
			if k == 0 {
				continue
			}
			time := float64(g.Zones[j].Time) * float64(k) / float64(turns)
			for pool := e.limits.poolOf[w]; pool >= 0; pool = e.limits.parent[pool] {
				flow := g.Zones[j].Op.Total
				if line := e.limits.meter[pool]; line >= 0 {
					flow = share(g.Model.Lines[line].FlowLimit, flow)
				}
				out[pool] += time * float64(flow)
				e.busy[pool] += time
			}
		}
	}
	for k := range out {
		out[k] /= max(1, e.busy[k])
	}
	return out
}

// remix holds the pools in minutes of the zones of this pattern from here on.
func (e *evaluator) remix(p Pattern) {
	now := slices.Clone(e.mixes(p, e.now))
	for k := range now {
		if e.mix != nil && now[k] > 0 && e.mix[k] > 0 {
			e.limits.pools[k] = problem.Span(float64(e.limits.pools[k]) * e.mix[k] / now[k])
		}
	}
	e.mix = now
}

// pauses is the time between the turns of a slot: a changeover between visits, and within a visit no more than its soak
// asks for, because its next turn may start before anything else could.
func (g *Group) pauses(p Pattern, w int) problem.Span {
	change, sum, visits := g.Model.Sources[g.Slots[w].Source].Changeover, problem.Span(0), 0
	for j := range p {
		if k := p[j][w]; k > 0 {
			visits++
			sum += problem.Span(k-1) * g.Zones[j].Between(g.Model)
		}
	}
	return sum + problem.Span(max(0, visits-1))*change
}

func (e *evaluator) loadZone(p Pattern, j int) bool {
	g, in, z := e.g, &e.in, &e.g.Zones[j]
	c := claim{weight: int64(z.Weight), need: int64(z.Time), base: int64(z.Done), class: z.Class}
	minRun := int64(g.minRun(j))
	slots := g.Of[z.Source]
	for at := 0; at < len(slots); {
		day, first, visits, base := g.Slots[slots[at]].Day, len(in.arcs), 0, int64(0)
		for ; at < len(slots) && g.Slots[slots[at]].Day == day; at++ {
			w := slots[at]
			k := int64(p[j][w])
			if k == 0 {
				continue
			}
			limit := min(int64(g.visitCap(j, w, int(k))), int64(z.DayRoom(day))) - minRun*k
			if limit < 0 {
				return false
			}
			in.arcs = append(in.arcs, arc{claim: j, slot: w, limit: limit, group: -1})
			in.slots[w] -= minRun * k
			for pool := in.poolOf[w]; pool >= 0; pool = in.parentOf[pool] {
				in.pools[pool] -= minRun * k
			}
			visits++
			base += minRun * k
		}
		c.base += base
		room := int64(z.DayRoom(day)) - base
		switch {
		case visits == 0:
		case room < 0:
			return false
		case visits == 1:
			in.arcs[first].limit = min(in.arcs[first].limit, room)
		default:
			for a := first; a < len(in.arcs); a++ {
				in.arcs[a].group = len(in.groups)
			}
			in.groups, in.groupOf, e.groupDay = append(in.groups, room), append(in.groupOf, j), append(e.groupDay, day)
		}
	}
	in.claims = append(in.claims, c)
	return true
}

// evaluate scores a pattern. It gives up as soon as its smallest shares are worse than those of the incumbent.
func (e *evaluator) evaluate(p Pattern, incumbent *score) (score, bool) {
	e.count++
	var s score
	for j := range e.g.Zones {
		late, tense := e.g.gaps(p, j)
		s.late += late
		s.tense += tense
	}
	if incumbent != nil && s.late > incumbent.late {
		return s, false
	}
	if !e.load(p) {
		return s, false
	}
	if incumbent == nil || s.late < incumbent.late || !e.oneClass() {
		e.div.fair(&e.in, nil)
	} else if !e.div.fairer(&e.in, incumbent.shares) {
		return s, false
	}
	s.shares = e.shares()
	s.turns = p.count()
	if e.kept != nil {
		s.moved = distance(p, e.kept)
	}
	return s, true
}

// oneClass tells whether all zones are of one class.
func (e *evaluator) oneClass() bool {
	for j := range e.g.Zones {
		if e.g.Zones[j].Class != e.g.Zones[0].Class {
			return false
		}
	}
	return true
}

// shares returns the sorted shares of all zones, class by class.
func (e *evaluator) shares() []float64 {
	e.entries = e.entries[:0]
	for j, c := range e.in.claims {
		share := 1.0
		if c.weight > 0 {
			share = math.Max(e.div.level[j].Float(), float64(min(c.base, c.need))/float64(c.weight))
		}
		e.entries = append(e.entries, entry{c.class, share})
	}
	return sortedShares(e.entries)
}

// entry is a share and the class in which it counts.
type entry struct {
	class int
	share float64
}

func sortedShares(entries []entry) []float64 {
	slices.SortFunc(entries, func(a, b entry) int {
		return cmp.Or(cmp.Compare(a.class, b.class), cmp.Compare(a.share, b.share))
	})
	out := make([]float64, len(entries))
	for k := range entries {
		out[k] = entries[k].share
	}
	return out
}

// distance counts the turns in which two patterns differ.
func distance(a, b Pattern) int {
	n := 0
	for j := range a {
		for w := range a[j] {
			d := int(a[j][w]) - int(b[j][w])
			n += max(d, -d)
		}
	}
	return n
}

// Visit is the minutes that a zone gets in a slot, in so many turns.
type Visit struct {
	Zone, Slot int
	Runs       int
	Time       problem.Span
}

// visits divides the time of the pattern and returns what every visit gets, with the levels of the division.
func (e *evaluator) visits(p Pattern) ([]Visit, []Level) {
	if !e.load(p) {
		return nil, nil
	}
	var levels []Level
	e.div.fair(&e.in, func(l Level) bool {
		if !l.Full {
			l.Parts = e.parts(&l, p)
		}
		levels = append(levels, l)
		return true
	})
	amounts := e.div.amounts(&e.in)
	e.timing.late = e.timing.late[:0]
	given, timely := []int64(nil), false
	if e.g.rationed() && !e.untimed {
		given, timely = e.inTime(p, amounts)
	}
	if !timely {
		given, _ = e.div.deal(&e.in, amounts, e.preferred(p))
	}
	out := make([]Visit, len(e.in.arcs))
	for a, r := range e.in.arcs {
		runs := int(p[r.claim][r.slot])
		out[a] = Visit{
			Zone: r.claim, Slot: r.slot, Runs: runs,
			Time: problem.Span(given[a]) + problem.Span(runs)*e.g.minRun(r.claim),
		}
	}
	return out, levels
}

// preferred is what each arc carried in the published rota; nil without one.
func (e *evaluator) preferred(p Pattern) []int64 {
	if e.kept == nil {
		return nil
	}
	out := make([]int64, len(e.in.arcs))
	for k, a := range e.in.arcs {
		published := e.keptTime[[2]int{a.claim, a.slot}]
		out[k] = max(0, int64(published-problem.Span(p[a.claim][a.slot])*e.g.minRun(a.claim)))
	}
	return out
}

// PartKind is a code for one of the limits that hold a level down.
type PartKind string

// The kinds of limits.
const (
	PartWindow    PartKind = "window"     // the time of a window that the set uses up
	PartChange    PartKind = "changeover" // less the pauses between its turns
	PartGrid      PartKind = "grid"       // less what starting on the grid leaves unused
	PartPlacement PartKind = "placement"  // less what soak pauses and other sources leave unused
	PartOthers    PartKind = "others"     // less what other zones have there
	PartVisit     PartKind = "visit"      // the longest turns of a zone in a window that the set does not use up
	PartSoil      PartKind = "soil"       // what a zone can take on a day
	PartVolume    PartKind = "volume"     // the minutes that a volume limit lets through
	PartOwn       PartKind = "own"        // the shortest turns of the set outside those windows
	PartHad       PartKind = "had"        // what the set had from turns of the past
	PartSettled   PartKind = "settled"    // turns of the set that stay as they were published
	PartPlaced    PartKind = "placed"     // what turns as placed give less, or more
	PartTurns     PartKind = "turns"      // the turns that a zone has, where no window, soil or volume holds it down
)

// Part is one line of the sum that makes up a level's room.
type Part struct {
	Kind PartKind
	Zone int // -1 where it is not about one zone
	Slot int // -1 where it is not about one slot
	Pool int // -1 where it is not about a volume
	Day  int
	Time problem.Span
}

// parts adds up the room of a level again, in terms of windows, pauses and limits. The parts add up to the room exactly.
func (e *evaluator) parts(l *Level, p Pattern) []Part {
	g, in := e.g, &e.in
	var out []Part
	add := func(kind PartKind, zone, slot, pool, day int, t problem.Span) {
		if t != 0 {
			out = append(out, Part{kind, zone, slot, pool, day, t})
		}
	}
	member := make([]bool, len(g.Zones))
	for _, j := range l.Claims {
		member[j] = true
	}
	others, own, had, settled := problem.Span(l.Taken), problem.Span(0), problem.Span(0), problem.Span(0)
	for _, j := range l.Claims {
		z := &g.Zones[j]
		own, had, settled = own+problem.Span(in.claims[j].base)-z.Done, had+z.Past, settled+z.Done-z.Past
	}
	for _, w := range l.Slots {
		for j := range g.Zones {
			if base := problem.Span(p[j][w]) * g.minRun(j); member[j] {
				own -= base
			} else {
				others += base
			}
		}
		slot := &g.Slots[w]
		add(PartWindow, -1, w, -1, slot.Day, slot.Usable)
		pauses, idle := g.pauses(p, w), e.limits.cut[w]
		if idle < 0 { // a zone soaks in the reserve
			pauses, idle = pauses+idle, 0
		}
		add(PartChange, -1, w, -1, slot.Day, -pauses)
		if e.limits.grid != nil {
			add(PartGrid, -1, w, -1, slot.Day, -e.limits.grid[w])
			idle -= e.limits.grid[w]
		}
		add(PartPlacement, -1, w, -1, slot.Day, -idle)
	}
	for _, a := range l.Arcs {
		w := in.arcs[a].slot
		add(PartVisit, in.arcs[a].claim, w, -1, g.Slots[w].Day, problem.Span(in.arcs[a].limit))
	}
	for _, k := range l.Groups {
		add(PartSoil, in.groupOf[k], -1, -1, e.groupDay[k], problem.Span(in.groups[k]))
	}
	for _, pool := range l.Pools {
		add(PartVolume, -1, -1, pool, -1, problem.Span(in.pools[pool]))
	}
	add(PartOthers, -1, -1, -1, -1, -others)
	add(PartOwn, -1, -1, -1, -1, own)
	add(PartHad, -1, -1, -1, -1, had)
	add(PartSettled, -1, -1, -1, -1, settled)
	return out
}
