package problem

import (
	"slices"
	"sort"
)

// Portion is what one member gets from a turn.
type Portion struct {
	Given, Drawn int64 // µL
	Open         Span
}

// Stretch is a part of a turn in which the same members are open.
type Stretch struct {
	Start, End Instant
	Members    []int // places in the zone of those that are open
	Op         Operation
}

// Stretches cuts a turn of a zone at its closings. Whenever a member is shut, the flows of those that stay open are found
// anew: they rise where the head does. op is the zone's operating point with all members open. Closings that name no
// member or lie outside the turn are left out.
func (m *Model) Stretches(source int, members []int, op Operation, t Turn) []Stretch {
	open := make([]int, len(members))
	for k := range open {
		open[k] = k
	}
	out := []Stretch{{Start: t.Start, End: t.End, Members: open, Op: op}}
	closings := slices.Clone(t.Closings)
	sort.SliceStable(closings, func(a, b int) bool { return closings[a].At < closings[b].At })
	for _, c := range closings {
		at := slices.IndexFunc(members, func(i int) bool { return m.Layouts[i].ID == c.Layout })
		last := &out[len(out)-1]
		if !slices.Contains(last.Members, at) || c.At < t.Start || c.At >= t.End {
			continue
		}
		rest := slices.DeleteFunc(slices.Clone(last.Members), func(k int) bool { return k == at })
		next := Stretch{Start: c.At, End: t.End, Members: rest}
		if len(rest) > 0 {
			still := make([]int, len(rest))
			for k := range rest {
				still[k] = members[rest[k]]
			}
			next.Op = m.Operate(source, still)
		}
		if last.Start == c.At {
			*last = next
		} else {
			last.End = c.At
			out = append(out, next)
		}
	}
	return out
}

// Portions adds up what every member of a zone gets from a turn.
func (m *Model) Portions(source int, members []int, op Operation, t Turn) []Portion {
	out := make([]Portion, len(members))
	for _, s := range m.Stretches(source, members, op, t) {
		length := Span(s.End - s.Start)
		for at, k := range s.Members {
			out[k].Given += s.Op.Delivered[at].Volume(length)
			out[k].Drawn += s.Op.Drawn[at].Volume(length)
			out[k].Open += length
		}
	}
	return out
}
