package plan

import (
	"sort"

	"rillturn.example/rillturn/engine/problem"
)

// closeEarly shuts members that have a valve of their own when they have enough, last turns first: water that nobody
// needs is not given. A turn never gets shorter for a member than the shortest turn of its source, so its watering days
// stay. Turns before now are facts. The flow of the others is counted as if nobody had shut: never more than they get.
func closeEarly(m *problem.Model, s problem.Schedule, now problem.Instant) problem.Schedule {
	out := problem.Schedule{Zones: s.Zones, Turns: append([]problem.Turn(nil), s.Turns...)}
	for _, z := range s.Zones {
		source, _ := m.SourceIndex(z.Source)
		members := make([]int, len(z.Layouts))
		for k, id := range z.Layouts {
			members[k], _ = m.LayoutIndex(id)
		}
		if len(members) < 2 {
			continue // to shut the only member is to end the turn
		}
		op := m.Operate(source, members)
		for k, i := range members {
			if l := &m.Layouts[i]; l.OwnValve {
				trim(out.Turns, z.ID, l.ID, l.Need.Over(op.Delivered[k]), m.Sources[source].MinRun, now)
			}
		}
	}
	return out
}

// trim shuts one member in the zone's turns so that it is open no longer than it needs in all.
func trim(turns []problem.Turn, zone, layout string, need, shortest problem.Span, now problem.Instant) {
	spare := -need
	var own []int
	for k := range turns {
		if turns[k].Zone == zone {
			spare += turns[k].Length()
			own = append(own, k)
		}
	}
	for n := len(own) - 1; n >= 0 && spare > 0; n-- {
		t := &turns[own[n]]
		cut := min(spare, t.Length()-max(1, shortest))
		if t.Start < now || cut <= 0 {
			continue
		}
		t.Closings = append(append([]problem.Closing(nil), t.Closings...), problem.Closing{Layout: layout, At: t.End - problem.Instant(cut)})
		sort.SliceStable(t.Closings, func(a, b int) bool { return t.Closings[a].At < t.Closings[b].At })
		spare -= cut
	}
}
