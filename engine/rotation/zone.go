// Package rotation gives zones their turns: which windows they visit, how many minutes each gets so that the smallest
// share is as large as possible and then the next smallest, and when each turn starts.
package rotation

import (
	"rillturn.example/rillturn/engine/problem"
)

// Zone is a zone as its rotation sees it.
type Zone = problem.Batch

// Slot is a window of one source of a group.
type Slot struct {
	problem.Slot
	Source int
}

// Group is the zones of sources that must be looked at together, because a service line joins them.
type Group struct {
	Model *problem.Model
	Zones []Zone
	Slots []Slot
	Of    [][]int // slots by source of the problem, in the order of time
	Lines []int   // the service lines of the group's sources that limit anything
	Fixed []Fixed // turns that are not planned any more

	volumes []int64          // by slot: most that may be drawn on its day [µL], -1 for no limit; nil until solved
	open    []bool           // by zone and slot: what canVisit says; nil until solved
	byDay   [][][]int        // by zone and day: slots that it can visit; nil until solved
	most    [][]problem.Span // by zone and day: see potential; nil until solved
	watered []bool           // of gaps
	near    [][]int          // of neighbours
	steps   int64            // of patterns built and turns placed so far, in units of an edge looked at
}

// Fixed is a turn that stays as it is: nobody may move it, or it ran already. Zones are those with a member in it, which
// have to soak from it.
type Fixed struct {
	Zones      []int
	Source     int
	Day        int
	Start, End problem.Instant
	Total      problem.Rate
}

// NewGroup puts together the zones of some sources. Zones of other sources are left out. The slots of a source are
// those of the model unless others are given.
func NewGroup(m *problem.Model, sources []int, zones []Zone, given [][]problem.Slot) *Group {
	if given == nil {
		given = m.Slots
	}
	g := &Group{Model: m, Of: make([][]int, len(m.Sources))}
	for _, s := range sources {
		for _, slot := range given[s] {
			g.Of[s] = append(g.Of[s], len(g.Slots))
			g.Slots = append(g.Slots, Slot{Slot: slot, Source: s})
		}
		for j := range zones {
			if zones[j].Source == s {
				g.Zones = append(g.Zones, zones[j])
				g.Zones[len(g.Zones)-1].Rationed(m)
			}
		}
		if line := m.LineOf[s]; line >= 0 && !contains(g.Lines, line) {
			g.Lines = append(g.Lines, line)
		}
	}
	return g
}

// several tells whether slots of more than one source are in the group.
func (g *Group) several() bool {
	for w := range g.Slots {
		if g.Slots[w].Source != g.Slots[0].Source {
			return true
		}
	}
	return false
}

func contains(list []int, v int) bool {
	for _, w := range list {
		if w == v {
			return true
		}
	}
	return false
}

// visitCap is the most that runs turns of zone j give in slot w, soil aside.
func (g *Group) visitCap(j, w, runs int) problem.Span {
	z, slot := &g.Zones[j], &g.Slots[w]
	return min(problem.Span(runs)*min(z.MaxRun, problem.MaxSpan), slot.Usable-problem.Span(runs-1)*z.Soak)
}

// Visitable tells whether zone j can have a turn in slot w at all.
func (g *Group) Visitable(j, w int) bool { return g.canVisit(j, w) }

// canVisit tells whether zone j can have a turn in slot w at all.
func (g *Group) canVisit(j, w int) bool {
	if g.open != nil {
		return g.open[j*len(g.Slots)+w]
	}
	z, slot := &g.Zones[j], &g.Slots[w]
	if slot.Source != z.Source || !z.Open[slot.Day] || min(g.visitCap(j, w, 1), z.DayRoom(slot.Day)) < g.minRun(j) {
		return false
	}
	if g.volumes != nil && g.volumes[w] >= 0 && z.Op.Total.Volume(g.minRun(j)) > g.volumes[w] {
		return false // its shortest turn draws more than the day has
	}
	for _, f := range g.Fixed {
		if contains(f.Zones, j) && slot.Start < f.End+problem.Instant(z.Soak) && f.Start < slot.End+problem.Instant(z.Soak) {
			return false // would have to soak from or for a turn that stays
		}
	}
	return true
}

// noteVisits keeps what canVisit and potential say, which a search asks for at every step.
func (g *Group) noteVisits() {
	g.open = nil
	open := make([]bool, 0, len(g.Zones)*len(g.Slots))
	for j := range g.Zones {
		for w := range g.Slots {
			open = append(open, g.canVisit(j, w))
		}
	}
	g.open = open
	g.byDay, g.most = make([][][]int, len(g.Zones)), make([][]problem.Span, len(g.Zones))
	for j := range g.Zones {
		g.most[j], g.byDay[j] = g.potential(j), make([][]int, g.Model.Days)
		for _, w := range g.Of[g.Zones[j].Source] {
			if d := g.Slots[w].Day; g.canVisit(j, w) {
				g.byDay[j][d] = append(g.byDay[j][d], w)
			}
		}
	}
}

// potential is the most that zone j can get on each day in the slots of the group.
func (g *Group) potential(j int) []problem.Span {
	z := &g.Zones[j]
	days := make([]problem.Span, g.Model.Days)
	for _, w := range g.Of[z.Source] {
		if slot := &g.Slots[w]; g.canVisit(j, w) {
			days[slot.Day] = min(z.DayRoom(slot.Day), days[slot.Day]+problem.Longest(slot.Slot, z.MaxRun, z.Soak))
		}
	}
	return days
}

func (g *Group) minRun(j int) problem.Span { return max(1, g.Model.Sources[g.Zones[j].Source].MinRun) }

// maxRuns is the most turns of one zone in one window that are considered, builtRuns in the patterns that a search starts from.
const (
	maxRuns   = 16
	builtRuns = 6
)
