package rotation

import (
	"slices"

	"rillturn.example/rillturn/engine/problem"
)

// volumeCap is a limit on the water drawn in some slots. The division works in minutes, so the limit is held as the
// minutes that it allows with the mix of zones seen last, and corrected from one division to the next.
type volumeCap struct {
	limit int64 // µL
	slots []int
	pool  int // in limits.pools; -1 when the cap is held by cutting its slots
	meter bool
	most  problem.Span // minutes of all sources together, whatever their flows; only for a meter
	line  int          // -1 for a source's own cap
	src   int
	day   int
}

// calibrationRounds is how often pools are corrected before the last correction, which only goes down.
const calibrationRounds = 10

func (g *Group) volumeCaps() []volumeCap {
	var caps []volumeCap
	for _, line := range g.Lines {
		if g.meterBinds(line) {
			caps = append(caps, g.meterCaps(line)...)
		}
	}
	for s := range g.Of {
		if len(g.Of[s]) == 0 {
			continue
		}
		settled := g.settled(func(source int) bool { return source == s })
		for day, limit := range g.Model.DailyLimits(s, settled) {
			if limit >= 0 {
				c := volumeCap{limit: int64(max(0, limit-settled[day])) * 1000, line: -1, src: s, day: day, pool: -1}
				for _, w := range g.Of[s] {
					if g.Slots[w].Day == day {
						c.slots = append(c.slots, w)
					}
				}
				caps = append(caps, c)
			}
		}
	}
	for _, line := range g.Lines {
		limit := g.Model.Lines[line].DailyCap
		settled := g.settled(func(source int) bool { return g.Model.LineOf[source] == line })
		for day := 0; limit > 0 && day < g.Model.Days; day++ {
			c := volumeCap{limit: int64(max(0, limit-settled[day])) * 1000, line: line, src: -1, day: day, pool: -1}
			for w := range g.Slots {
				if g.Slots[w].Day == day && g.Model.LineOf[g.Slots[w].Source] == line {
					c.slots = append(c.slots, w)
				}
			}
			caps = append(caps, c)
		}
	}
	g.limitVolumes(caps)
	return caps
}

// limitVolumes notes for every slot the least of the caps of its day.
func (g *Group) limitVolumes(caps []volumeCap) {
	g.volumes = make([]int64, len(g.Slots))
	for w := range g.volumes {
		g.volumes[w] = -1
	}
	for k := range caps {
		for _, w := range caps[k].slots {
			if !caps[k].meter && (g.volumes[w] < 0 || caps[k].limit < g.volumes[w]) {
				g.volumes[w] = caps[k].limit
			}
		}
	}
}

// settled adds up by day what turns of some sources draw that are not planned any more.
func (g *Group) settled(of func(source int) bool) []problem.Milliliters {
	out := make([]problem.Milliliters, g.Model.Days)
	for k := range g.Fixed {
		if f := &g.Fixed[k]; of(f.Source) {
			out[f.Day] += problem.Milliliters(f.Total.Volume(problem.Span(f.End-f.Start))/1000 + 1)
		}
	}
	return out
}

// meterBinds tells whether zones of different sources can ask more of the line together than it carries.
func (g *Group) meterBinds(line int) bool {
	largest := make([]problem.Rate, len(g.Model.Sources))
	for j := range g.Zones {
		s := g.Zones[j].Source
		largest[s] = max(largest[s], g.Zones[j].Op.Total)
	}
	sum := problem.Rate(0)
	for s, q := range largest {
		if g.Model.LineOf[s] == line {
			sum += q
		}
	}
	return sum > g.Model.Lines[line].FlowLimit
}

func (g *Group) meterCaps(line int) []volumeCap {
	var caps []volumeCap
	for _, cluster := range g.clusters() {
		c := volumeCap{line: line, src: -1, meter: true, pool: -1}
		start, end := problem.Instant(problem.MaxSpan), problem.Instant(0)
		for _, w := range cluster {
			if g.Model.LineOf[g.Slots[w].Source] == line {
				c.slots = append(c.slots, w)
				start, end = min(start, g.Slots[w].Start), max(end, g.Slots[w].End)
				c.day = g.Slots[w].Day
			}
		}
		if len(c.slots) > 1 {
			c.limit = g.Model.Lines[line].FlowLimit.Volume(problem.Span(end - start))
			c.most = problem.Span(g.atOnce(line, c.slots)) * problem.Span(end-start)
			caps = append(caps, c)
		}
	}
	return caps
}

// atOnce is the most sources that the line can feed at the same instant: those with the smallest zones.
func (g *Group) atOnce(line int, slots []int) int {
	smallest := map[int]problem.Rate{}
	var sources []int
	for _, w := range slots {
		if s := g.Slots[w].Source; !contains(sources, s) {
			sources = append(sources, s)
		}
	}
	for j := range g.Zones {
		if q, known := smallest[g.Zones[j].Source]; !known || g.Zones[j].Op.Total < q {
			smallest[g.Zones[j].Source] = g.Zones[j].Op.Total
		}
	}
	var flows []problem.Rate
	for _, s := range sources {
		if q, has := smallest[s]; has {
			flows = append(flows, q)
		}
	}
	slices.Sort(flows)
	sum, n := problem.Rate(0), 0
	for _, q := range flows {
		if sum += q; sum > g.Model.Lines[line].FlowLimit {
			break
		}
		n++
	}
	return max(1, n)
}

// arrange makes pools of the caps. Pools form a tree from slots to lines; a cap that would need a second way down, a
// source's own cap beside a meter, is held by cutting its slots instead.
func (g *Group) arrange(caps []volumeCap) limits {
	l := limits{cut: make([]problem.Span, len(g.Slots)), poolOf: make([]int, len(g.Slots))}
	for w := range l.poolOf {
		l.poolOf[w] = -1
	}
	root := func(w int) int {
		p := l.poolOf[w]
		for p >= 0 && l.parent[p] >= 0 {
			p = l.parent[p]
		}
		return p
	}
	for k := range caps {
		c := &caps[k]
		mean := g.meanFlow(c.slots)
		if c.line < 0 && len(c.slots) > 0 && l.poolOf[c.slots[0]] >= 0 {
			continue
		}
		c.pool = len(l.pools)
		allowed := problem.Span(c.limit / int64(mean))
		if c.meter {
			allowed = min(allowed, c.most)
		}
		l.pools, l.parent, l.meter = append(l.pools, allowed), append(l.parent, -1), append(l.meter, -1)
		if c.meter {
			l.meter[c.pool] = c.line
		}
		for _, w := range c.slots {
			if r := root(w); r < 0 {
				l.poolOf[w] = c.pool
			} else if r != c.pool {
				l.parent[r] = c.pool
			}
		}
	}
	return l
}

// meanFlow is the flow of the zones that can have a turn in one of the slots, by the time that they need.
func (g *Group) meanFlow(slots []int) problem.Rate {
	volume, time := int64(0), problem.Span(0)
	for j := range g.Zones {
		if !slices.ContainsFunc(slots, func(w int) bool { return g.canVisit(j, w) }) {
			continue
		}
		t := max(1, g.Zones[j].Time)
		volume += g.Zones[j].Op.Total.Volume(t)
		time += t
	}
	return max(1, problem.Rate(volume/int64(max(1, time))))
}

// setRoom says how much of each slot a pattern can count on.
func (g *Group) setRoom(l *limits) {
	l.room = make([]float64, len(g.Slots))
	below := make([]float64, len(l.pools))
	for w := range g.Slots {
		l.room[w] = float64(g.Slots[w].Usable - l.cut[w])
		for p := l.poolOf[w]; p >= 0; p = l.parent[p] {
			below[p] += l.room[w]
		}
	}
	for w := range g.Slots {
		factor := 1.0
		for p := l.poolOf[w]; p >= 0; p = l.parent[p] {
			factor = min(factor, float64(l.pools[p])/max(1, below[p]))
		}
		l.room[w] *= factor
	}
}

// used returns the water and the time that visits take in the slots of a cap.
func (g *Group) used(c *volumeCap, visits []Visit) (volume int64, time problem.Span) {
	in := make([]bool, len(g.Slots))
	for _, w := range c.slots {
		in[w] = true
	}
	for _, v := range visits {
		if in[v.Slot] {
			flow := g.Zones[v.Zone].Op.Total
			if c.meter {
				flow = share(g.Model.Lines[c.line].FlowLimit, flow)
			}
			volume += flow.Volume(v.Time)
			time += v.Time
		}
	}
	return volume, time
}

// share is the part of a line's flow that a zone takes from the others: where n like it can be open at once, an nth part.
func share(limit, flow problem.Rate) problem.Rate {
	return limit / max(1, limit/max(1, flow))
}

// calibrate corrects the pools after a division. With downOnly it only lowers pools whose water was exceeded. It tells
// whether every cap was kept.
func (g *Group) calibrate(caps []volumeCap, l *limits, visits []Visit, eta float64, downOnly bool) bool {
	kept := true
	for k := range caps {
		c := &caps[k]
		if c.meter && downOnly {
			continue // the placement holds the flow and reports what did not fit
		}
		volume, time := g.used(c, visits)
		limit := c.limit
		if c.meter {
			limit = int64(float64(limit) * eta)
		}
		if volume > limit {
			kept = false
		}
		if time == 0 || volume == 0 || (downOnly && volume <= limit) {
			continue
		}
		allowed := problem.Span(float64(limit) / float64(volume) * float64(time))
		if c.meter {
			allowed = min(allowed, problem.Span(float64(c.most)*eta))
		}
		switch {
		case c.pool < 0:
			if volume > limit {
				g.cutSlots(c, l, visits, float64(limit)/float64(volume))
			}
		case downOnly:
			l.pools[c.pool] = min(l.pools[c.pool], allowed) - 1
		default: // half of the way, because the mix of zones answers to the pools
			l.pools[c.pool] = (l.pools[c.pool] + allowed) / 2
		}
	}
	return kept
}

// cutSlots lowers the slots of a cap in proportion.
func (g *Group) cutSlots(c *volumeCap, l *limits, visits []Visit, keep float64) {
	used := make([]problem.Span, len(g.Slots))
	for _, v := range visits {
		used[v.Slot] += v.Time
	}
	for _, w := range c.slots {
		l.cut[w] = max(l.cut[w], g.Slots[w].Usable-problem.Span(float64(used[w])*keep))
	}
}
