package plan

import (
	"fmt"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/rotation"
)

// ChangeKind is a code for what became of a published turn.
type ChangeKind string

// The kinds of changes.
const (
	Resized ChangeKind = "resized" // same zone and window, another length, or a start a little earlier or later
	Moved   ChangeKind = "moved"   // same zone and window, another time of day
	Dropped ChangeKind = "dropped"
	Added   ChangeKind = "added"
)

// Change is a difference between the published turns that were still to come and those of the plan. Was is empty for an
// added turn, Now for a dropped one.
type Change struct {
	Kind ChangeKind
	Was  problem.Turn
	Now  problem.Turn
}

// published is the rota that a plan stays close to, in terms of the model.
type published struct {
	zones     [][]int  // members still there
	ids       []string // of those zones
	intact    bool     // no zone lost or won a member
	freeFrom  problem.Instant
	remaining []problem.Turn // those that may be changed
	fixed     []problem.Turn // those that stay: ran, in the notice period, or locked
}

// resolvePrevious reads the published rota: which zones live on, which turns stay.
func (p *planner) resolvePrevious() error {
	if p.Previous == nil {
		return nil
	}
	if p.Now < 0 || p.Notice < 0 {
		return &OptionError{Field: "/Now", Reason: "moment and notice must not be negative"}
	}
	b := &published{intact: true, freeFrom: p.Now + problem.Instant(p.Notice)}
	inZone := map[int]bool{}
	for _, members := range p.pinned {
		for _, i := range members {
			inZone[i] = true
		}
	}
	for _, z := range p.Previous.Zones {
		var kept []int
		for _, id := range z.Layouts {
			if i, known := p.LayoutIndex(id); known && p.Servable[i] && p.Layouts[i].Source == z.Source && !inZone[i] {
				kept = append(kept, i)
			}
		}
		for len(kept) > 1 && !(p.together(kept) && p.friends(kept)) {
			kept = kept[:len(kept)-1]
		}
		b.intact = b.intact && len(kept) == len(z.Layouts)
		for _, i := range kept {
			inZone[i] = true
		}
		if len(kept) > 0 {
			b.zones, b.ids = append(b.zones, kept), append(b.ids, z.ID)
		}
	}
	for _, members := range p.pinned {
		b.zones, b.ids = append(b.zones, members), append(b.ids, "")
	}
	for i := range p.Layouts {
		if p.Servable[i] && !inZone[i] {
			b.intact = false
			b.admit(p, i)
		}
	}
	for k := range b.ids {
		if b.ids[k] == "" {
			b.ids[k] = b.freeName()
		}
	}
	p.before = b
	return p.sortTurns()
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

func (b *published) freeName() string {
	for n := 1; ; n++ {
		if id := fmt.Sprintf("Z%d", n); !slices.Contains(b.ids, id) {
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
		if p.SourceOf[zone[0]] != s || b.ids[k] == "" || !p.together(joint) || !p.friends(joint) {
			continue
		}
		if more := spend(joint) - spend(zone); more < least {
			best, least = k, more
		}
	}
	if best < 0 {
		b.zones, b.ids = append(b.zones, []int{i}), append(b.ids, b.freeName())
		return
	}
	b.zones[best] = append(b.zones[best], i)
}

// hurtWeight is what a minute counts that a zone's own limits withhold, against a minute of the source's time.
const hurtWeight = 20

// sortTurns parts the published turns into those that stay and those that may change.
func (p *planner) sortTurns() error {
	b := p.before
	for k, t := range p.Frozen {
		if !slices.Contains(b.ids, t.Zone) {
			continue // of a zone that is gone; its water is in nobody's account here
		}
		if _, known := p.WindowIndex(t.Window); !known || t.End <= t.Start {
			return &OptionError{Field: fmt.Sprintf("/Frozen/%d", k), Reason: "names no window of the problem or has no length"}
		}
		b.fixed = append(b.fixed, t)
	}
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
		if t, stays := p.keep(t); stays {
			b.fixed = append(b.fixed, t)
		}
	}
	return nil
}

// keep cuts a turn that may not be moved down to what is still allowed, or drops it.
func (p *planner) keep(t problem.Turn) (problem.Turn, bool) {
	b := p.before
	k := slices.Index(b.ids, t.Zone)
	w, known := p.WindowIndex(t.Window)
	if k < 0 || !known {
		return t, false
	}
	z := problem.NewBatch(p.Model, p.SourceOf[b.zones[k][0]], b.zones[k], p.Share)
	window := &p.Windows[w]
	if !slices.Contains(window.Sources, p.Sources[z.Source].ID) || !z.Open[window.Day] || t.Start < window.Start {
		return t, false
	}
	used, done := problem.Span(0), problem.Span(0)
	for _, f := range b.fixed {
		if f.Zone == t.Zone {
			done += f.Length()
			if fw, _ := p.WindowIndex(f.Window); p.Windows[fw].Day == window.Day {
				used += f.Length()
			}
		}
	}
	shortest := max(1, p.Sources[z.Source].MinRun)
	length := min(t.Length(), z.MaxRun, z.DayCap-used, problem.Span(window.End-t.Start))
	length = min(length, max(shortest, z.Time-done))
	t.End = t.Start + problem.Instant(length)
	t.Closings = nil
	return t, length >= shortest
}

// replan keeps the published zones of a group of sources and divides what is left of its windows. arcs is the work that
// may go into other visits than the published ones.
func (p *planner) replan(sources []int, arcs int) solved {
	b := p.before
	var zones []rotation.Zone
	var ids []string
	for _, s := range sources {
		for k, members := range b.zones {
			if p.SourceOf[members[0]] == s {
				zones = append(zones, problem.NewBatch(p.Model, s, members, p.Share))
				ids = append(ids, b.ids[k])
			}
		}
	}
	g := rotation.NewGroup(p.Model, sources, zones, p.freeSlots(sources))
	var runs []problem.Turn
	for _, t := range b.fixed {
		j := slices.Index(ids, t.Zone)
		if j < 0 {
			continue
		}
		w, _ := p.WindowIndex(t.Window)
		g.Zones[j].Settle(p.Days, p.Windows[w].Day, t.Length())
		g.Fixed = append(g.Fixed, rotation.Fixed{
			Zone: j, Source: g.Zones[j].Source, Day: p.Windows[w].Day, Start: t.Start, End: t.End, Total: g.Zones[j].Op.Total,
		})
		runs = append(runs, t)
	}
	kept, time, clock := p.publishedPattern(g, ids)
	r := g.Solve(rotation.Config{
		Level: p.bound.Share, Budget: arcs, Seed: p.Seed, Grid: p.Grid, Kept: kept, KeptTime: time, Stop: p.halt,
		Bound: p.bound.Share,
		Clock: func(zone, slot int) problem.Instant {
			if at, known := clock[[2]int{zone, slot}]; known {
				return at
			}
			return -1
		},
	})
	p.evaluated += r.Evaluated
	return solved{group: g, result: r, ids: ids, fixed: runs}
}

// publishedPattern reads the turns that may change as a pattern of the group. Turns whose window is gone are not in it.
func (p *planner) publishedPattern(g *rotation.Group, ids []string) (rotation.Pattern, map[[2]int]problem.Span, map[[2]int]problem.Instant) {
	kept := make(rotation.Pattern, len(ids))
	for j := range kept {
		kept[j] = make([]uint8, len(g.Slots))
	}
	time, clock := map[[2]int]problem.Span{}, map[[2]int]problem.Instant{}
	for _, t := range p.before.remaining {
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
func (p *planner) freeSlots(sources []int) [][]problem.Slot {
	out := make([][]problem.Slot, len(p.Sources))
	for _, s := range sources {
		var taken []problem.Turn
		for _, t := range p.before.fixed {
			if k := slices.Index(p.before.ids, t.Zone); p.SourceOf[p.before.zones[k][0]] == s {
				taken = append(taken, t)
			}
		}
		sort.SliceStable(taken, func(a, b int) bool { return taken[a].Start < taken[b].Start })
		for _, slot := range p.Slots[s] {
			out[s] = append(out[s], p.gaps(s, slot, taken)...)
		}
	}
	return out
}

func (p *planner) gaps(s int, slot problem.Slot, taken []problem.Turn) []problem.Slot {
	pause := problem.Instant(p.Sources[s].Changeover)
	var out []problem.Slot
	begin, used := max(slot.Start, p.before.freeFrom), problem.Span(0)
	add := func(from, to problem.Instant) {
		if from < to {
			out = append(out, problem.Slot{Window: slot.Window, Day: slot.Day, Start: from, End: to, Usable: problem.Span(to - from)})
		}
	}
	for _, t := range taken {
		if t.End+pause <= slot.Start || t.Start-pause >= slot.End {
			continue
		}
		if t.Window == p.Windows[slot.Window].ID {
			used += t.Length() + 2*p.Sources[s].Changeover
		}
		add(begin, min(slot.End, t.Start-pause))
		begin = max(begin, t.End+pause)
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

// stay returns the published rota itself, if it still holds and the next plan is not noticeably better.
func (p *planner) stay(next *Plan) (Plan, bool) {
	if !p.before.intact {
		return Plan{}, false
	}
	old := *next
	old.Schedule = problem.Schedule{
		Zones: p.Previous.Zones, Turns: append(slices.Clone(p.Frozen), afterNow(p.Previous.Turns, p.Now)...),
	}
	late, broken := p.split(p.Check(old.Schedule))
	if len(broken) > 0 || len(late) > len(next.Late) {
		return Plan{}, false
	}
	old.Shares, old.Late, old.ToCome = shares(p.Model, old.Schedule), late, len(afterNow(p.Previous.Turns, p.Now))
	old.measure()
	return old, len(late) == len(next.Late) && !gains(next.Shares, old.Shares) && !saves(next, &old)
}

func afterNow(turns []problem.Turn, now problem.Instant) []problem.Turn {
	var out []problem.Turn
	for _, t := range turns {
		if t.Start >= now {
			out = append(out, t)
		}
	}
	return out
}

// noticed is the least difference in a share, or in the water given beyond need, for which people are asked to change
// their habits.
const noticed = 0.01

// gains tells whether sorted shares are better by more than anybody would overlook.
func gains(next, old []Share) bool {
	a, b := fractions(next), fractions(old)
	for k := range a {
		if d := a[k] - b[k]; d > noticed || d < -noticed {
			return d > 0
		}
	}
	return false
}

func fractions(shares []Share) []float64 {
	var out []float64
	for _, s := range shares {
		if s.Zone != "" {
			out = append(out, s.Fraction)
		}
	}
	sort.Float64s(out)
	return out
}

// saves tells whether the next plan gives the same shares with noticeably less water beyond need.
func saves(next, old *Plan) bool {
	need := problem.Milliliters(0)
	for _, s := range old.Shares {
		need += s.Need
	}
	return !gains(old.Shares, next.Shares) && float64(old.Over-next.Over) > noticed*float64(need)
}

// littleLater is the shift of a start up to which people come at the same time.
const littleLater = 15 * problem.Instant(problem.Minute)

// compare lists what became of the published turns that were still to come.
func (p *planner) compare(turns []problem.Turn) []Change {
	type visit struct{ zone, window string }
	was := map[visit][]problem.Turn{}
	for _, t := range afterNow(p.Previous.Turns, p.Now) {
		v := visit{t.Zone, t.Window}
		was[v] = append(was[v], t)
	}
	var out []Change
	for _, t := range turns {
		if t.Start < p.Now {
			continue
		}
		v := visit{t.Zone, t.Window}
		if len(was[v]) == 0 {
			out = append(out, Change{Kind: Added, Now: t})
			continue
		}
		old := was[v][0]
		was[v] = was[v][1:]
		switch {
		case t.Start-old.Start > littleLater || old.Start-t.Start > littleLater:
			out = append(out, Change{Kind: Moved, Was: old, Now: t})
		case old.Start != t.Start || old.End != t.End:
			out = append(out, Change{Kind: Resized, Was: old, Now: t})
		}
	}
	for _, t := range afterNow(p.Previous.Turns, p.Now) {
		v := visit{t.Zone, t.Window}
		if slices.ContainsFunc(was[v], func(o problem.Turn) bool { return o.Start == t.Start }) {
			out = append(out, Change{Kind: Dropped, Was: t})
		}
	}
	return out
}
