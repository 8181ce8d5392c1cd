package rotation

import (
	"cmp"
	"slices"

	"rillturn.example/rillturn/engine/problem"
)

// raster holds turns that start on the grid, slot by slot, and lengthens them into the minutes that the grid leaves idle.
// A turn followed by another is best as long as a multiple of the grid less the changeover; the last one of a slot is free.
type raster struct {
	g       *Group
	grid    problem.Span
	caps    []volumeCap // of volumes; flow limits are held at every instant
	near    [][]int     // by slot: others whose turns can stand in the way of its own
	runs    [][]Run     // by slot, in the order of time
	given   []problem.Span
	byDay   [][]problem.Span // by zone and day
	placed  Pattern
	others  []Fixed // working of flowUntil
	coupled bool    // a minute of one zone may cost another a minute without standing in its place
}

func (g *Group) newRaster(grid problem.Span, caps []volumeCap, runs []Run) *raster {
	r := &raster{g: g, grid: grid, runs: make([][]Run, len(g.Slots)), near: g.neighbours(), placed: make(Pattern, len(g.Zones))}
	for _, c := range caps {
		if !c.meter {
			r.caps = append(r.caps, c)
		}
		r.coupled = true
	}
	for s := range g.Of {
		r.coupled = r.coupled || len(g.Of[s]) > 0 && g.Model.Sources[s].Reserve > 0
	}
	for _, run := range runs {
		r.runs[run.Slot] = append(r.runs[run.Slot], run)
	}
	r.given, r.byDay = make([]problem.Span, len(g.Zones)), make([][]problem.Span, len(g.Zones))
	for j := range g.Zones {
		r.given[j], r.byDay[j] = g.Zones[j].Done, make([]problem.Span, g.Model.Days)
		r.placed[j] = make([]uint8, len(g.Slots))
	}
	for w := range r.runs {
		slices.SortStableFunc(r.runs[w], func(a, b Run) int { return cmp.Compare(a.Start, b.Start) })
		r.count(w, 1)
	}
	return r
}

// neighbours lists for every slot those whose turns its own must mind: of the same source within a soak, and of the same
// line at the same time.
func (g *Group) neighbours() [][]int {
	if g.near != nil {
		return g.near
	}
	soak := problem.Instant(0)
	for j := range g.Zones {
		soak = max(soak, problem.Instant(g.Zones[j].Soak))
	}
	out := make([][]int, len(g.Slots))
	for w := range g.Slots {
		a := &g.Slots[w]
		for u := range g.Slots {
			b := &g.Slots[u]
			reach, line := soak, g.Model.LineOf[a.Source]
			if a.Source != b.Source {
				if reach = 0; line < 0 || line != g.Model.LineOf[b.Source] {
					continue
				}
			}
			if u != w && a.Start < b.End+reach && b.Start < a.End+reach {
				out[w] = append(out[w], u)
			}
		}
	}
	g.near = out
	return out
}

// count adds the turns of a slot to what zones get, or takes them off.
func (r *raster) count(w int, sign problem.Span) {
	for _, run := range r.runs[w] {
		r.placed[run.Zone][w] += uint8(sign) // wraps around to take off
		r.add(w, run.Zone, sign*problem.Span(run.End-run.Start))
	}
}

func (r *raster) add(w, zone int, time problem.Span) {
	r.given[zone] += time
	r.byDay[zone][r.g.Slots[w].Day] += time
}

// all returns the turns in the order of slots.
func (r *raster) all() []Run {
	var out []Run
	for w := range r.runs {
		out = append(out, r.runs[w]...)
	}
	slices.SortStableFunc(out, func(a, b Run) int { return cmp.Compare(a.Start, b.Start) })
	return out
}

// pause is the least time between two turns of a slot that follow one another.
func (r *raster) pause(before, after *Run) problem.Span {
	if before.Zone == after.Zone {
		return r.g.Zones[after.Zone].Soak
	}
	return r.g.Model.Sources[r.g.Slots[after.Slot].Source].Changeover
}

// room is by how much turn k of slot w can become longer without breaking a limit or giving its zone more than it needs.
func (r *raster) room(w, k int) problem.Span {
	g, run := r.g, &r.runs[w][k]
	z, slot := &g.Zones[run.Zone], &g.Slots[w]
	soak, end := problem.Instant(z.Soak), slot.End
	for n := k + 1; n < len(r.runs[w]); n++ {
		next := &r.runs[w][n]
		if n == k+1 {
			end = min(end, next.Start-problem.Instant(r.pause(run, next)))
		}
		if next.Zone == run.Zone {
			end = min(end, next.Start-soak)
		}
	}
	for _, u := range r.near[w] {
		for n := range r.runs[u] {
			other := &r.runs[u][n]
			if g.Slots[u].Source != slot.Source || other.Start < run.Start {
				continue
			}
			if end = min(end, other.Start); other.Zone == run.Zone {
				end = min(end, other.Start-soak)
			}
		}
	}
	length := problem.Span(run.End - run.Start)
	more := min(problem.Span(end-run.End), z.MaxRun-length, z.Time-r.given[run.Zone],
		z.DayRoom(slot.Day)-r.byDay[run.Zone][slot.Day], slot.Usable-r.used(w))
	more = min(more, r.volumeRoom(w, run.Zone))
	if more <= 0 {
		return 0
	}
	return problem.Span(r.flowUntil(w, run.Zone, run.End, run.End+problem.Instant(more)) - run.End)
}

// used is the time of a slot's turns and of the changeovers between them.
func (r *raster) used(w int) problem.Span {
	sum := problem.Span(0)
	for k := range r.runs[w] {
		run := &r.runs[w][k]
		sum += problem.Span(run.End - run.Start)
		if k > 0 && r.runs[w][k-1].Zone != run.Zone {
			sum += r.g.Model.Sources[r.g.Slots[w].Source].Changeover
		}
	}
	return sum
}

// volumeRoom is how long a zone can still draw in slot w; negative when more than there is is drawn already.
func (r *raster) volumeRoom(w, zone int) problem.Span {
	room := problem.MaxSpan
	for k := range r.caps {
		if c := &r.caps[k]; contains(c.slots, w) {
			left := c.limit
			for _, u := range c.slots {
				for _, run := range r.runs[u] {
					left -= r.g.Zones[run.Zone].Op.Total.Volume(problem.Span(run.End - run.Start))
				}
			}
			if left < 0 {
				return -1
			}
			room = min(room, problem.Span(left/max(1, int64(r.g.Zones[zone].Op.Total))))
		}
	}
	return room
}

// flowUntil is the first moment from which on the line does not carry the zone beside what else runs, or to.
func (r *raster) flowUntil(w, zone int, from, to problem.Instant) problem.Instant {
	m, source := r.g.Model, r.g.Slots[w].Source
	line := m.LineOf[source]
	if line < 0 {
		return to
	}
	others := r.others[:0]
	for _, u := range r.near[w] {
		for _, run := range r.runs[u] {
			if g := r.g.Slots[u].Source; g != source && run.Start < to && from < run.End {
				others = append(others, Fixed{Start: run.Start, End: run.End, Total: r.g.Zones[run.Zone].Op.Total})
			}
		}
	}
	for _, f := range r.g.Fixed {
		if m.LineOf[f.Source] == line && f.Start < to && from < f.End {
			others = append(others, f)
		}
	}
	r.others = others
	carries := func(at problem.Instant) bool {
		sum := r.g.Zones[zone].Op.Total
		for k := range others {
			if others[k].Start <= at && at < others[k].End {
				sum += others[k].Total
			}
		}
		return sum <= m.Lines[line].FlowLimit
	}
	if !carries(from) {
		return from
	}
	for k := range others {
		if at := others[k].Start; at > from && at < to && !carries(at) {
			to = at
		}
	}
	return to
}

// fill lengthens turns of some slots, those of the zone with the smallest share first, until no turn of a zone that goes short
// can become longer by a milli-minute. Where zones take from one another it goes by minutes, so that none gets far ahead.
func (r *raster) fill(slots []int) {
	step := problem.MaxSpan
	if r.coupled {
		step = problem.Minute
	}
	var open []int
	for _, w := range slots {
		for k := range r.runs[w] {
			if j := r.runs[w][k].Zone; !contains(open, j) {
				open = append(open, j)
			}
		}
	}
	for len(open) > 0 {
		j := slices.MinFunc(open, func(a, b int) int { return r.g.lessServed(r.given, a, b) })
		if !r.grow(j, slots, step) {
			open = slices.DeleteFunc(open, func(k int) bool { return k == j })
		}
	}
}

// grow makes the first turn of zone j longer that can be.
func (r *raster) grow(j int, slots []int, step problem.Span) bool {
	for _, w := range slots {
		for k := range r.runs[w] {
			if r.runs[w][k].Zone != j {
				continue
			}
			if more := min(step, r.room(w, k)); more > 0 {
				r.runs[w][k].End += problem.Instant(more)
				r.add(w, j, more)
				return true
			}
		}
	}
	return false
}

// lessServed orders zones by class and share, exactly.
func (g *Group) lessServed(given []problem.Span, a, b int) int {
	za, zb := &g.Zones[a], &g.Zones[b]
	share := func(z *Zone, given problem.Span) Ratio {
		if z.Weight == 0 {
			return Ratio{1, 1}
		}
		return Ratio{int64(min(given, z.Time)), int64(z.Weight)}
	}
	ra, rb := share(za, given[a]), share(zb, given[b])
	switch {
	case za.Class != zb.Class:
		return cmp.Compare(za.Class, zb.Class)
	case ra.Less(rb):
		return -1
	case rb.Less(ra):
		return 1
	}
	return cmp.Compare(a, b)
}

// lost is the time in slot w between the moments at which turns could have started and the next ones on the grid.
func (r *raster) lost(w int) problem.Span {
	sum := problem.Span(0)
	for k := range r.runs[w] {
		run := &r.runs[w][k]
		ready := r.g.Slots[w].Start
		if k > 0 {
			ready = max(ready, r.runs[w][k-1].End+problem.Instant(r.pause(&r.runs[w][k-1], run)))
		}
		for n := range k {
			if before := &r.runs[w][n]; before.Zone == run.Zone {
				ready = max(ready, before.End+problem.Instant(r.g.Zones[run.Zone].Soak))
			}
		}
		sum += problem.Span(onGrid(ready, r.grid) - ready)
	}
	return sum
}
