package rotation

import (
	"cmp"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
)

// Run is a turn with its place in time.
type Run struct {
	Zone, Slot int
	Start, End problem.Instant
}

// preference orders the visits that could start at a moment.
type preference int

const (
	longestFirst preference = iota // most turn and soak time still to come
	largestFirst                   // largest flow, which leaves least of the line unused
	inOrder                        // as longestFirst, and sources in their own order
	earlierFirst                   // in the order of the published rota
	onTheClock                     // in that order, and not before the published time
)

// waiting is a visit of which turns are still to be placed.
type waiting struct {
	zone, slot int
	pieces     []problem.Span
	clock      problem.Instant // start in the published rota; -1 for none
}

// placement simulates the sources of a group through the horizon.
type placement struct {
	g        *Group
	rule     preference
	grid     problem.Span
	lastEnd  []problem.Instant // by zone
	lastZone []int             // by source
	lastSlot []int
	free     []problem.Instant // by source: end of its last turn
	runs     []Run
	spent    []problem.Span // by slot: turns and the changeovers between them
	overflow []problem.Span // by slot
	needed   []problem.Span // by slot: working of busiest
	order    []int
	held     []problem.Span // by slot: time in which its source stood still for want of the line's flow
}

// place puts visits into their windows one after the other: in each stretch of the horizon by the first rule by which
// everything fits, else by the one by which most does. What does not fit is cut off and reported by slot.
func (g *Group) place(visits []Visit, rules []preference, grid problem.Span, clock func(zone, slot int) problem.Instant) *placement {
	bySlot := make([][]waiting, len(g.Slots))
	for _, v := range visits {
		if v.Time > 0 {
			at := problem.Instant(-1)
			if clock != nil {
				at = clock(v.Zone, v.Slot)
			}
			bySlot[v.Slot] = append(bySlot[v.Slot], waiting{v.Zone, v.Slot, pieces(v), at})
		}
	}
	current := g.start(grid)
	for _, cluster := range g.clusters() {
		var best *placement
		least := problem.Span(0)
		for _, rule := range rules {
			try := current.clone()
			try.rule = rule
			try.fill(cluster, cloneWaiting(bySlot, cluster))
			over := problem.Span(0)
			for _, w := range cluster {
				over += try.overflow[w]
			}
			if best == nil || over < least {
				best, least = try, over
			}
			if over == 0 {
				break
			}
		}
		current = best
	}
	return current
}

func (g *Group) start(grid problem.Span) *placement {
	p := &placement{
		g: g, grid: grid, spent: make([]problem.Span, len(g.Slots)), overflow: make([]problem.Span, len(g.Slots)), held: make([]problem.Span, len(g.Slots)),
		lastEnd: make([]problem.Instant, len(g.Zones)), lastZone: make([]int, len(g.Model.Sources)),
		lastSlot: make([]int, len(g.Model.Sources)), free: make([]problem.Instant, len(g.Model.Sources)),
	}
	for j := range p.lastEnd {
		p.lastEnd[j] = -problem.Instant(problem.MaxSpan)
	}
	for s := range p.lastZone {
		p.lastZone[s], p.lastSlot[s] = -1, -1
	}
	return p
}

// clone copies what a placement knows, so that a rule can be tried.
func (p *placement) clone() *placement {
	c := *p
	c.lastEnd, c.lastZone, c.lastSlot = slices.Clone(p.lastEnd), slices.Clone(p.lastZone), slices.Clone(p.lastSlot)
	c.free, c.spent, c.overflow = slices.Clone(p.free), slices.Clone(p.spent), slices.Clone(p.overflow)
	c.runs = p.runs[:len(p.runs):len(p.runs)]
	return &c
}

// cloneWaiting copies the waiting visits of a cluster.
func cloneWaiting(bySlot [][]waiting, cluster []int) [][]waiting {
	out := make([][]waiting, len(bySlot))
	for _, w := range cluster {
		out[w] = slices.Clone(bySlot[w])
	}
	return out
}

// pieces divides a visit into equal turns.
func pieces(v Visit) []problem.Span {
	out := make([]problem.Span, v.Runs)
	left := v.Time
	for k := range out {
		out[k] = left / problem.Span(v.Runs-k)
		left -= out[k]
	}
	return out
}

// clusters groups slots that overlap in time and share a line, in the order of time.
func (g *Group) clusters() [][]int {
	order := make([]int, len(g.Slots))
	for w := range order {
		order[w] = w
	}
	sort.SliceStable(order, func(a, b int) bool { return g.Slots[order[a]].Start < g.Slots[order[b]].Start })
	var out [][]int
	end := problem.Instant(0)
	for _, w := range order {
		if len(out) == 0 || g.Slots[w].Start >= end {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], w)
		end = max(end, g.Slots[w].End)
	}
	return out
}

// fill runs the clock through one cluster: whenever a source is free, the preferred visit that may start does.
func (p *placement) fill(cluster []int, bySlot [][]waiting) {
	now := p.g.Slots[cluster[0]].Start
	for {
		next := problem.Instant(-1)
		later := func(t problem.Instant) {
			if t > now && (next < 0 || t < next) {
				next = t
			}
		}
		pending := false
		var held []int
		for _, w := range p.busiest(cluster, bySlot) {
			slot := &p.g.Slots[w]
			if len(bySlot[w]) == 0 {
				continue
			}
			if now >= slot.End {
				p.giveUp(w, bySlot)
				continue
			}
			pending = true
			if now < slot.Start {
				later(slot.Start)
				continue
			}
			later(slot.End)
			if p.tryStart(w, now, bySlot, later) {
				held = append(held, w)
			}
		}
		for s, end := range p.free {
			if p.lastSlot[s] >= 0 && end > now {
				later(end)
			}
		}
		if !pending || next < 0 {
			break
		}
		for _, w := range held {
			p.held[w] += problem.Span(next - now)
		}
		now = next
	}
	for _, w := range cluster {
		p.giveUp(w, bySlot)
	}
}

// busiest orders the slots of a cluster by the time that they need to the end, most first: whoever has most left gets a
// line's flow first. By the clock they come in their own order.
func (p *placement) busiest(cluster []int, bySlot [][]waiting) []int {
	if len(cluster) < 2 || p.rule >= inOrder {
		return cluster
	}
	if p.needed == nil {
		p.needed = make([]problem.Span, len(p.g.Slots))
	}
	left := p.needed
	for _, w := range cluster {
		sum, longest := problem.Span(0), problem.Span(0)
		for k := range bySlot[w] {
			v := &bySlot[w][k]
			z := &p.g.Zones[v.zone]
			rest := remaining(v, z)
			sum, longest = sum+rest-problem.Span(len(v.pieces)-1)*z.Soak, max(longest, rest)
		}
		p.g.steps += int64(placeSteps * len(bySlot[w]))
		left[w] = max(longest, sum+problem.Span(max(0, len(bySlot[w])-1))*p.g.Model.Sources[p.g.Slots[w].Source].Changeover)
	}
	p.order = append(p.order[:0], cluster...)
	slices.SortStableFunc(p.order, func(a, b int) int { return cmp.Compare(left[b], left[a]) })
	return p.order
}

// giveUp reports what is left of a slot's visits when the slot is over.
func (p *placement) giveUp(w int, bySlot [][]waiting) {
	for _, v := range bySlot[w] {
		for _, piece := range v.pieces {
			p.overflow[w] += piece
		}
	}
	bySlot[w] = nil
}

// placeSteps is what looking at one waiting visit costs, against an edge of a flow looked at.
const placeSteps = 10

// tryStart starts the preferred visit of slot w at now, or says when something may be ready. It tells whether the line's flow
// alone kept every visit that was ready from starting.
func (p *placement) tryStart(w int, now problem.Instant, bySlot [][]waiting, later func(problem.Instant)) (held bool) {
	slot := &p.g.Slots[w]
	s := slot.Source
	if p.free[s] > now {
		return false // its end is looked at by the caller
	}
	best := -1
	p.g.steps += int64(placeSteps * len(bySlot[w]))
	for at := range bySlot[w] {
		v := &bySlot[w][at]
		ready := onGrid(max(slot.Start, p.free[s], p.lastEnd[v.zone]+problem.Instant(p.g.Zones[v.zone].Soak)), p.grid)
		if p.lastSlot[s] == w && p.lastZone[s] != v.zone {
			ready = onGrid(max(ready, p.free[s]+problem.Instant(p.g.Model.Sources[s].Changeover)), p.grid)
		}
		if p.rule == onTheClock && v.clock >= 0 {
			ready = max(ready, v.clock)
		}
		if ready > now {
			later(ready)
			continue
		}
		if onGrid(now, p.grid) != now {
			later(onGrid(now, p.grid))
			continue
		}
		if !p.meterAllows(v.zone, now, v.pieces[0]) {
			held = true
			continue
		}
		if best < 0 || p.before(v, &bySlot[w][best]) {
			best = at
		}
	}
	if best >= 0 {
		p.start(w, best, now, bySlot)
		later(p.free[s])
	}
	return held && best < 0
}

// onGrid rounds a moment up to the next one at which a turn may start.
func onGrid(t problem.Instant, grid problem.Span) problem.Instant {
	if grid <= 0 {
		return t
	}
	g := problem.Instant(grid)
	return (t + g - 1) / g * g
}

func (p *placement) start(w, at int, now problem.Instant, bySlot [][]waiting) {
	v := &bySlot[w][at]
	s, slot := p.g.Slots[w].Source, &p.g.Slots[w]
	length, change := v.pieces[0], problem.Span(0)
	if p.lastSlot[s] == w && p.lastZone[s] != v.zone {
		change = p.g.Model.Sources[s].Changeover
	}
	if room := max(0, min(problem.Span(slot.End-now), slot.Usable-p.spent[w]-change)); length > room {
		p.overflow[w] += length - room
		length = room
	}
	if length >= p.g.minRun(v.zone) {
		end := now + problem.Instant(length)
		p.spent[w] += change + length
		p.runs = append(p.runs, Run{Zone: v.zone, Slot: w, Start: now, End: end})
		p.free[s], p.lastZone[s], p.lastSlot[s], p.lastEnd[v.zone] = end, v.zone, w, end
	} else {
		p.overflow[w] += length
	}
	v.clock = -1 // holds for the first turn of a visit
	if v.pieces = v.pieces[1:]; len(v.pieces) == 0 {
		bySlot[w] = append(bySlot[w][:at], bySlot[w][at+1:]...)
	}
}

// meterAllows tells whether the line still carries zone j at now. The simulation goes forward only, so a turn that
// fits at its start fits until its end.
func (p *placement) meterAllows(j int, now problem.Instant, length problem.Span) bool {
	m := p.g.Model
	line := m.LineOf[p.g.Zones[j].Source]
	if line < 0 {
		return true
	}
	sum := p.g.Zones[j].Op.Total
	for s := range m.Sources {
		if m.LineOf[s] == line && p.lastSlot[s] >= 0 && p.free[s] > now {
			sum += p.g.Zones[p.lastZone[s]].Op.Total
		}
	}
	for _, f := range p.g.Fixed {
		if m.LineOf[f.Source] == line && f.Start < now+problem.Instant(length) && now < f.End {
			sum += f.Total
		}
	}
	return sum <= m.Lines[line].FlowLimit
}

func (p *placement) before(a, b *waiting) bool {
	za, zb := &p.g.Zones[a.zone], &p.g.Zones[b.zone]
	if p.rule >= earlierFirst && a.clock != b.clock {
		return a.clock >= 0 && (b.clock < 0 || a.clock < b.clock) // new turns after those that people know
	}
	if p.rule == largestFirst && za.Op.Total != zb.Op.Total {
		return za.Op.Total > zb.Op.Total
	}
	ta, tb := remaining(a, za), remaining(b, zb)
	if ta != tb {
		return ta > tb
	}
	return a.zone < b.zone
}

func remaining(v *waiting, z *Zone) problem.Span {
	sum := problem.Span(len(v.pieces)-1) * z.Soak
	for _, piece := range v.pieces {
		sum += piece
	}
	return sum
}
