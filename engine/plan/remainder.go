package plan

import (
	"slices"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/zoning"
)

// remainder is what is left of a garden after its past: the windows from now on, and for a share what every layout still has
// to get of it. What ran is a fact, also where it broke limits or ran outside windows that were closed since.
type remainder struct {
	*problem.Model
	had  []problem.Milliliters
	most []float64 // by layout: the share that it can reach
}

func newRemainder(m *problem.Model, now problem.Instant) *remainder {
	rest := *m
	r := &remainder{Model: &rest, had: make([]problem.Milliliters, len(m.Layouts)), most: make([]float64, len(m.Layouts))}
	rest.Layouts, rest.Past, rest.Had = slices.Clone(m.Layouts), nil, make([][]problem.Had, len(m.Layouts))
	rest.Slots = make([][]problem.Slot, len(m.Sources))
	for s := range m.Slots {
		for _, slot := range m.Slots[s] {
			if slot.Start = max(slot.Start, now); slot.Start < slot.End {
				slot.Usable = min(slot.Usable, problem.Span(slot.End-slot.Start))
				rest.Slots[s] = append(rest.Slots[s], slot)
			}
		}
	}
	for i := range m.Layouts {
		l := &rest.Layouts[i]
		r.had[i] = m.HadInAll(i)
		last := -l.DaysSince
		for d, h := range m.Had[i] {
			if h.Time > 0 {
				last = d
			}
		}
		next := max(last+l.MaxInterval, firstDay(rest.Slots[m.SourceOf[i]]))
		l.DaysSince = l.MaxInterval - next // counted from the start of the horizon
		if r.most[i] = 1; l.Need > 0 {
			r.most[i] = min(1, problem.Most(&rest, i)+float64(r.had[i])/float64(l.Need))
		}
	}
	return r
}

// firstDay is the day of the first of some slots; 0 without any.
func firstDay(slots []problem.Slot) int {
	if len(slots) == 0 {
		return 0
	}
	return slots[0].Day
}

// due is what layout i still has to get so that it reaches the share, or as much of it as it can reach.
func (r *remainder) due(i int, share float64) problem.Milliliters {
	return max(0, problem.Milliliters(min(share, r.most[i])*float64(r.Layouts[i].Need))-r.had[i])
}

// at is the remainder with what is due at a share as all the need.
func (r *remainder) at(share float64) *problem.Model {
	m := *r.Model
	m.Layouts = slices.Clone(m.Layouts)
	for i := range m.Layouts {
		m.Layouts[i].Need = r.due(i, share)
	}
	return &m
}

// bounds of the shares that plans can reach from now on. They rest on the layered bound, on soils and on volumes; there is
// nothing to tighten.
func (r *remainder) bounds(intervals bool) *bounds {
	m := r.Model
	b := &bounds{
		m: m, intervals: intervals, most: r.most, bySource: make([]Bound, len(m.Sources)), bySoil: make([]Bound, len(m.Sources)),
		byLine: make([]Bound, len(m.Lines)), conflicts: make([]conflict, len(m.Lines)),
		tight: make([]bool, len(m.Sources)), columns: make([]*zoning.Configuration, len(m.Sources)),
	}
	for s := range m.Sources {
		b.tight[s] = true
		b.bySource[s] = r.sourceBound(s, intervals)
		var soil []Bound
		for _, i := range m.Members[s] {
			soil = append(soil, Bound{Share: r.most[i], Reason: BoundSoil, Layout: m.Layouts[i].ID, Source: m.Sources[s].ID})
		}
		b.bySoil[s] = least(soil)
	}
	for k := range m.Lines {
		b.byLine[k] = least(r.lineBounds(k))
	}
	return b
}

func (r *remainder) sourceBound(s int, intervals bool) Bound {
	m := r.Model
	if len(m.Members[s]) == 0 {
		return least(nil)
	}
	time := func(layouts []int, days []bool) float64 {
		return zoning.LargestShare(func(share float64) float64 {
			l := zoning.NewLeast(r.at(share), s, layouts, intervals)
			return l.Time(1)
		}, windowTime(m, s, days))
	}
	all := []Bound{{Share: time(m.Members[s], nil), Reason: BoundTime, Source: m.Sources[s].ID}}
	for _, set := range daySets(m, s) {
		all = append(all, Bound{
			Share: time(set.within, set.days), Reason: BoundDays, Source: m.Sources[s].ID, Layout: m.Layouts[set.layout].ID,
		})
	}
	if volume, limited := sourceVolume(m, s); limited {
		all = append(all, Bound{Share: r.volumeShare(m.Members[s], float64(volume)), Reason: BoundSourceCap, Source: m.Sources[s].ID})
	}
	return least(all)
}

func (r *remainder) lineBounds(k int) []Bound {
	line := &r.Lines[k]
	members, spans, open := lineWindows(r.Model, k)
	out := []Bound{{
		Share: r.volumeShare(members, float64(line.FlowLimit.Volume(open))/1000), Reason: BoundLineFlow, Line: line.ID,
	}}
	if line.DailyCap > 0 {
		days := map[int]bool{}
		for _, slot := range spans {
			days[slot.Day] = true
		}
		out = append(out, Bound{
			Share: r.volumeShare(members, float64(line.DailyCap)*float64(len(days))), Reason: BoundLineCap, Line: line.ID,
		})
	}
	return out
}

// volumeShare is the share that the layouts reach with so many millilitres more.
func (r *remainder) volumeShare(layouts []int, volume float64) float64 {
	return zoning.LargestShare(func(share float64) float64 {
		sum := problem.Milliliters(0)
		for _, i := range layouts {
			sum += r.due(i, share)
		}
		return float64(sum)
	}, volume)
}
