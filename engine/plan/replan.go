package plan

import (
	"fmt"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/rotation"
)

// published is the rota that a plan stays close to, in terms of the model.
type published struct {
	zones     [][]int  // members still there
	ids       []string // of those zones
	closed    []bool   // nobody may join them
	intact    bool     // no zone lost or won a member
	freeFrom  problem.Instant
	remaining []problem.Turn // those that may be changed
	fixed     []problem.Turn // those that stay: in the notice period, or locked
}

// clone is the rota for a second search; nil for none.
func (b *published) clone() *published {
	if b == nil {
		return nil
	}
	c := *b
	c.remaining, c.fixed = slices.Clone(b.remaining), slices.Clone(b.fixed)
	return &c
}

// resolvePrevious reads the published rota: which zones live on, which turns stay.
func (p *planner) resolvePrevious() error {
	if p.Previous == nil {
		return nil
	}
	if p.Notice < 0 {
		return &OptionError{Field: "/Notice", Reason: "must not be negative"}
	}
	for _, t := range p.Previous.Turns {
		if p.PreviousEnd > 0 {
			p.PreviousEnd = max(p.PreviousEnd, t.End)
		}
	}
	b := &published{intact: true, freeFrom: p.Now + problem.Instant(p.Notice)}
	p.before = b
	if whole := p.withIdle(p.Previous.Zones); len(whole) > len(p.Previous.Zones) {
		p.Previous = &problem.Schedule{Zones: whole, Turns: p.Previous.Turns}
	}
	b.keepZones(p)
	for i := range p.Layouts {
		if p.Servable[i] && !slices.ContainsFunc(b.zones, func(z []int) bool { return slices.Contains(z, i) }) {
			b.intact = false
			b.admit(p, i)
		}
	}
	for k := range b.ids {
		if b.ids[k] == "" {
			b.ids[k] = b.freeName(p)
		}
	}
	p.sortTurns()
	return nil
}

// keepZones finds what is left of the published zones: without members that are gone, moved, kept apart, or pinned
// elsewhere, and with those that are pinned to them.
func (b *published) keepZones(p *planner) {
	homes := b.homes(p)
	pinned := map[int]bool{}
	for _, pin := range p.pinned {
		for _, i := range pin.members {
			pinned[i] = true
		}
	}
	add := func(id string, zone []int, closed bool) {
		b.zones, b.ids, b.closed = append(b.zones, zone), append(b.ids, id), append(b.closed, closed)
	}
	for n, z := range p.Previous.Zones {
		if p.idle(z) {
			continue
		}
		var zone []int
		closed := false
		for k, pin := range p.pinned {
			if homes[k] != n {
				continue
			}
			if joint := slices.Concat(zone, pin.members); zone == nil || !closed && !pin.alone && p.together(joint) && p.friends(joint) {
				zone, closed = joint, pin.alone
			} else {
				homes[k] = -1
			}
		}
		var others []int
		for _, id := range z.Layouts {
			if i, known := p.LayoutIndex(id); known && p.Servable[i] && !pinned[i] && p.Layouts[i].Source == z.Source {
				others = append(others, i)
			}
		}
		id, least := z.ID, max(1, len(zone))
		if closed {
			add(id, zone, true)
			b.intact = b.intact && sameMembers(p, zone, z)
			id, zone, least = "", nil, 1
		}
		zone = append(zone, others...)
		for len(zone) > least && !(p.together(zone) && p.friends(zone)) {
			zone = zone[:len(zone)-1]
		}
		if len(zone) > 0 {
			add(id, zone, false)
		}
		b.intact = b.intact && (closed && len(zone) == 0 || sameMembers(p, zone, z))
	}
	for k, pin := range p.pinned {
		if homes[k] < 0 {
			add("", slices.Clone(pin.members), pin.alone)
			b.intact = false
		}
	}
}

// homes finds for every pin the published zone that it is in: the one that it names, if its source has that, else the one
// with most of its members, which for a pin that is alone must be more than half of the zone; -1 for none.
func (b *published) homes(p *planner) []int {
	out := make([]int, len(p.pinned))
	for k, pin := range p.pinned {
		out[k] = -1
		most := 0
		for n, z := range p.Previous.Zones {
			common, source := 0, p.Layouts[pin.members[0]].Source
			for _, i := range pin.members {
				if slices.Contains(z.Layouts, p.Layouts[i].ID) {
					common++
				}
			}
			switch {
			case z.Source != source:
			case pin.zone != "" && z.ID == pin.zone:
				out[k], most = n, len(p.Layouts)
			case common > most && (!pin.alone || 2*common > len(z.Layouts)):
				out[k], most = n, common
			}
		}
	}
	return out
}

// sameMembers tells whether a zone is the published one.
func sameMembers(p *planner, zone []int, z problem.Zone) bool {
	return len(zone) == len(z.Layouts) && !slices.ContainsFunc(zone, func(i int) bool { return !slices.Contains(z.Layouts, p.Layouts[i].ID) })
}

// friends tells whether no pair of the members is forbidden.
func (p *planner) friends(members []int) bool {
	for _, f := range p.forbidden {
		if slices.Contains(members, f[0]) && slices.Contains(members, f[1]) {
			return false
		}
	}
	return true
}

func (b *published) freeName(p *planner) string {
	for n := 1; ; n++ {
		id := fmt.Sprintf("Z%d", n)
		idle := slices.ContainsFunc(p.Previous.Zones, func(z problem.Zone) bool { return z.ID == id && p.idle(z) })
		if !idle && !slices.Contains(b.ids, id) {
			return id
		}
	}
}

// admit puts a new layout where it costs least time, without moving anybody else: into a zone that can hold it, or
// into one of its own.
func (b *published) admit(p *planner, i int) {
	s := p.SourceOf[i]
	spend := func(members []int) float64 {
		z := problem.NewBatch(p.Model, s, members, p.Share)
		sp := z.SpendAt(p.Model, 1, true)
		return sp.Time + hurtWeight*sp.Short
	}
	best, least := -1, spend([]int{i})
	for k, zone := range b.zones {
		joint := append(slices.Clone(zone), i)
		if p.SourceOf[zone[0]] != s || b.closed[k] || !p.together(joint) || !p.friends(joint) {
			continue
		}
		if more := spend(joint) - spend(zone); more < least {
			best, least = k, more
		}
	}
	if best < 0 {
		b.zones, b.ids, b.closed = append(b.zones, []int{i}), append(b.ids, ""), append(b.closed, false)
		return
	}
	b.zones[best] = append(b.zones[best], i)
}

// hurtWeight is what a minute counts that a zone's own limits withhold, against a minute of the source's time.
const hurtWeight = 20

// sortTurns parts the published turns into those that stay and those that may change.
func (p *planner) sortTurns() {
	b := p.before
	for _, t := range p.Previous.Turns {
		if t.Start < p.Now {
			continue
		}
		locked := slices.ContainsFunc(p.Locked, func(l problem.Turn) bool {
			return l.Zone == t.Zone && l.Window == t.Window && l.Start == t.Start
		})
		if t.Start >= b.freeFrom && !locked {
			b.remaining = append(b.remaining, t)
			continue
		}
		if t, stays := p.keep(t, b.fixed); stays {
			b.fixed = append(b.fixed, t)
		}
	}
	b.fixed = p.repaired(b.fixed)
}

// keep cuts a turn that may not be moved down to what is still allowed beside others that stay, or drops it.
func (p *planner) keep(t problem.Turn, others []problem.Turn) (problem.Turn, bool) {
	b := p.before
	k := slices.Index(b.ids, t.Zone)
	w, known := p.WindowIndex(t.Window)
	if k < 0 || !known {
		return t, false
	}
	z := p.settledBatch(k, others)
	window, source := &p.Windows[w], &p.Sources[z.Source]
	if !slices.Contains(window.Sources, source.ID) || !z.Open[window.Day] || t.Start < window.Start {
		return t, false
	}
	for _, past := range p.Past { // one that runs late leaves the rest
		if past.Source == source.ID && past.End <= t.End {
			t.Start = max(t.Start, past.End+problem.Instant(source.Changeover))
		}
	}
	shortest := max(1, source.MinRun)
	length := min(t.Length(), z.MaxRun, z.DayRoom(window.Day), problem.Span(window.End-t.Start))
	length = min(length, max(shortest, z.Time-z.Done))
	t.End = t.Start + problem.Instant(length)
	t.Closings = p.stillClosed(t, b.zones[k])
	return t, length >= shortest
}

// settledBatch is zone k with some of its turns settled.
func (p *planner) settledBatch(k int, turns []problem.Turn) problem.Batch {
	b := p.before
	z := problem.NewBatch(p.Model, p.SourceOf[b.zones[k][0]], b.zones[k], p.Share)
	for _, t := range turns {
		if t.Zone == b.ids[k] {
			w, _ := p.WindowIndex(t.Window)
			z.Settle(p.Days, p.Windows[w].Day, t.Length())
		}
	}
	return z
}

// repaired shortens or drops turns that stay until together they keep every limit but those of intervals: limits may have
// become tighter since they were published.
func (p *planner) repaired(turns []problem.Turn) []problem.Turn {
	turns = slices.Clone(turns)
	for len(turns) > 0 {
		s := problem.Schedule{Zones: p.before.named(p), Turns: turns}
		f := sorted(p.Check(s))
		if len(f.broken) == 0 {
			break
		}
		v, at := f.broken[0], -1
		for k := range turns {
			if p.concerns(v, turns[k]) {
				at = k
			}
		}
		if at < 0 {
			at = len(turns) - 1
		}
		cut, shortened := p.lessBy(v, turns[at])
		if turns = slices.Delete(turns, at, at+1); shortened {
			turns = slices.Insert(turns, at, cut)
		}
	}
	return turns
}

// concerns tells whether a violation may come from a turn.
func (p *planner) concerns(v problem.Violation, t problem.Turn) bool {
	k := slices.Index(p.before.ids, t.Zone)
	w, _ := p.WindowIndex(t.Window)
	s := p.SourceOf[p.before.zones[k][0]]
	line := ""
	if l := p.LineOf[s]; l >= 0 {
		line = p.Lines[l].ID
	}
	member := slices.ContainsFunc(p.before.zones[k], func(i int) bool { return p.Layouts[i].ID == v.Layout })
	return (v.Zone == "" || v.Zone == t.Zone) && (v.Window == "" || v.Window == t.Window) && (v.Source == "" || v.Source == p.Sources[s].ID) &&
		(v.Line == "" || v.Line == line) && (v.Layout == "" || member) && v.Day == p.Windows[w].Day
}

// lessBy takes off a turn what a broken limit of volume asks for; it may not be enough for a turn of the least length.
func (p *planner) lessBy(v problem.Violation, t problem.Turn) (problem.Turn, bool) {
	k := slices.Index(p.before.ids, t.Zone)
	z := p.settledBatch(k, nil)
	switch v.Rule {
	case problem.RuleMaxDay, problem.RuleSourceCap, problem.RuleLineCap, problem.RuleTank:
		flow := z.Op.Total
		if v.Rule == problem.RuleMaxDay {
			i, _ := p.LayoutIndex(v.Layout)
			flow = z.Op.Drawn[slices.Index(z.Members, i)]
		}
		t.End -= problem.Instant(problem.Milliliters(v.Have-v.Limit).Over(flow)) + 1
		if v.Rule == problem.RuleTank {
			t.End -= problem.Instant(problem.Milliliters(-v.Have).Over(flow))
		}
		t.Closings = slices.DeleteFunc(slices.Clone(t.Closings), func(c problem.Closing) bool { return c.At >= t.End })
		return t, t.Length() >= max(1, p.Sources[z.Source].MinRun)
	default:
		return t, false
	}
}

// named writes the zones that live on as a schedule has them.
func (b *published) named(p *planner) []problem.Zone {
	var out []problem.Zone
	for k, members := range b.zones {
		zone := problem.Zone{ID: b.ids[k], Source: p.Sources[p.SourceOf[members[0]]].ID}
		for _, i := range members {
			zone.Layouts = append(zone.Layouts, p.Layouts[i].ID)
		}
		sort.Strings(zone.Layouts)
		out = append(out, zone)
	}
	return p.withIdle(out)
}

// frame is what a re-plan may do: which turns stay, from when on others may be put, and how hard to look.
type frame struct {
	fixed     []problem.Turn
	remaining []problem.Turn // published turns that may be changed
	from      problem.Instant
	arcs      int  // work that may go into other visits than the published ones
	fresh     bool // look for visits as if none were published
	starts    bool // look for other starts on the grid too
}

// replan keeps the published zones of a group of sources and divides what is left of its windows.
func (p *planner) replan(sources []int, f frame) solved {
	p.aim = p.bounds
	bound := p.aim.of(sources).Share
	p.tell(PlacingTurns, bound)
	b := p.before
	var zones []rotation.Zone
	var ids []string
	for _, s := range sources {
		for k, members := range b.zones {
			if p.SourceOf[members[0]] == s {
				zones = append(zones, p.settledBatch(k, f.fixed))
				ids = append(ids, b.ids[k])
			}
		}
	}
	g := rotation.NewGroup(p.Model, sources, zones, p.freeSlots(f))
	g.Fixed = p.ran(sources, g.Zones)
	var runs []problem.Turn
	for _, t := range f.fixed {
		if j := slices.Index(ids, t.Zone); j >= 0 {
			w, _ := p.WindowIndex(t.Window)
			g.Fixed = append(g.Fixed, rotation.Fixed{
				Zones: []int{j}, Source: g.Zones[j].Source, Day: p.Windows[w].Day, Start: t.Start, End: t.End, Total: g.Zones[j].Op.Total,
			})
			runs = append(runs, t)
		}
	}
	c := rotation.Config{Level: bound, Budget: f.arcs, Retime: f.arcs, Seed: p.Seed, Grid: p.Grid, Stop: p.halt, Bound: bound, Work: p.allowance(true)}
	if !f.fresh {
		kept, time, clock := p.publishedPattern(g, ids, f.remaining)
		c.Kept, c.KeptTime, c.Starts = kept, time, f.starts
		c.Clock = func(zone, slot int) problem.Instant {
			if at, known := clock[[2]int{zone, slot}]; known {
				return at
			}
			return -1
		}
	}
	r := g.Solve(c)
	p.done(r)
	return solved{group: g, result: r, ids: ids, fixed: runs}
}

// ran lists the turns of the past at the sources as facts of a group of zones.
func (p *planner) ran(sources []int, zones []rotation.Zone) []rotation.Fixed {
	var out []rotation.Fixed
	for i := range p.Past {
		t := &p.Past[i]
		s, _ := p.SourceIndex(t.Source)
		if !slices.Contains(sources, s) {
			continue
		}
		f := rotation.Fixed{Source: s, Day: t.Day, Start: t.Start, End: t.End, Total: t.Flow}
		for j := range zones {
			if slices.ContainsFunc(zones[j].Members, func(i int) bool { return t.Gave(p.Layouts[i].ID) }) {
				f.Zones = append(f.Zones, j)
			}
		}
		out = append(out, f)
	}
	return out
}

// publishedPattern reads the turns that may change as a pattern of the group. Turns whose window is gone are not in it.
func (p *planner) publishedPattern(g *rotation.Group, ids []string, turns []problem.Turn) (rotation.Pattern, map[[2]int]problem.Span, map[[2]int]problem.Instant) {
	kept := make(rotation.Pattern, len(ids))
	for j := range kept {
		kept[j] = make([]uint8, len(g.Slots))
	}
	time, clock := map[[2]int]problem.Span{}, map[[2]int]problem.Instant{}
	for _, t := range turns {
		j := slices.Index(ids, t.Zone)
		if j < 0 {
			continue
		}
		for _, w := range g.Of[g.Zones[j].Source] {
			slot := &g.Slots[w]
			if p.Windows[slot.Window].ID != t.Window || t.Start < slot.Start || t.Start >= slot.End || !g.Visitable(j, w) {
				continue
			}
			at := [2]int{j, w}
			kept[j][w]++
			time[at] += t.Length()
			if old, known := clock[at]; !known || t.Start < old {
				clock[at] = t.Start
			}
		}
	}
	return kept, time, clock
}

// freeSlots cuts out of every window what is past or belongs to a turn that stays, with a changeover on both sides.
func (p *planner) freeSlots(f frame) [][]problem.Slot {
	taken := make([][]stretch, len(p.Sources))
	for i := range p.Past {
		t := &p.Past[i]
		s, _ := p.SourceIndex(t.Source)
		taken[s] = append(taken[s], stretch{t.Window, t.Start, t.End})
	}
	for _, t := range f.fixed {
		s := p.SourceOf[p.before.zones[slices.Index(p.before.ids, t.Zone)][0]]
		taken[s] = append(taken[s], stretch{t.Window, t.Start, t.End})
	}
	out := make([][]problem.Slot, len(p.Sources))
	for s := range p.Sources {
		slices.SortStableFunc(taken[s], func(a, b stretch) int { return int(a.start - b.start) })
		for _, slot := range p.Slots[s] {
			out[s] = append(out[s], p.gaps(s, slot, taken[s], f.from)...)
		}
	}
	return out
}

// stretch is a time at which a source is taken.
type stretch struct {
	window     string
	start, end problem.Instant
}

// gaps are the parts of a window that nothing takes, from a moment on.
func (p *planner) gaps(s int, slot problem.Slot, taken []stretch, from problem.Instant) []problem.Slot {
	pause := problem.Instant(p.Sources[s].Changeover)
	var out []problem.Slot
	begin, used := max(slot.Start, from), problem.Span(0)
	add := func(from, to problem.Instant) {
		if from < to {
			out = append(out, problem.Slot{Window: slot.Window, Day: slot.Day, Start: from, End: to, Usable: problem.Span(to - from)})
		}
	}
	for _, t := range taken {
		if t.end+pause <= slot.Start || t.start-pause >= slot.End {
			continue
		}
		if t.window == p.Windows[slot.Window].ID {
			used += problem.Span(t.end-t.start) + 2*p.Sources[s].Changeover
		}
		add(begin, min(slot.End, t.start-pause))
		begin = max(begin, t.end+pause)
	}
	add(begin, slot.End)
	total := problem.Span(0)
	for _, g := range out {
		total += g.Usable
	}
	if room := max(0, slot.Usable-used); room < total && p.Sources[s].Reserve > 0 {
		for k := range out {
			out[k].Usable = problem.Span(float64(out[k].Usable) * float64(room) / float64(total))
		}
	}
	return out
}
