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
}

// NewGroup puts together the zones of some sources. Zones of other sources are left out.
func NewGroup(m *problem.Model, sources []int, zones []Zone) *Group {
	g := &Group{Model: m, Of: make([][]int, len(m.Sources))}
	for _, s := range sources {
		for _, slot := range m.Slots[s] {
			g.Of[s] = append(g.Of[s], len(g.Slots))
			g.Slots = append(g.Slots, Slot{Slot: slot, Source: s})
		}
		for j := range zones {
			if zones[j].Source == s {
				g.Zones = append(g.Zones, zones[j])
			}
		}
		if line := m.LineOf[s]; line >= 0 && !contains(g.Lines, line) {
			g.Lines = append(g.Lines, line)
		}
	}
	return g
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

// canVisit tells whether zone j can have a turn in slot w at all.
func (g *Group) canVisit(j, w int) bool {
	z, slot := &g.Zones[j], &g.Slots[w]
	return slot.Source == z.Source && z.Open[slot.Day] && min(g.visitCap(j, w, 1), z.DayCap) >= max(1, g.minRun(j))
}

func (g *Group) minRun(j int) problem.Span { return max(1, g.Model.Sources[g.Zones[j].Source].MinRun) }

// maxRuns is the most turns of one zone in one window that are considered.
const maxRuns = 6
