package plan

import (
	"math"
	"slices"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/zoning"
)

// Bound is a share that the smallest share of no plan can exceed, whatever its zones, and what it rests on.
type Bound struct {
	Share  float64
	Reason BoundReason
	Source string
	Line   string
	Layout string
}

// BoundReason is a code for what a bound rests on.
type BoundReason string

// The reasons of bounds.
const (
	BoundNeed      BoundReason = "need"       // nobody needs more than all
	BoundTime      BoundReason = "time"       // the water hours of a source
	BoundDays      BoundReason = "days"       // the water hours on the days on which some layouts may run
	BoundSoil      BoundReason = "soil"       // what one layout can take on its days
	BoundLineFlow  BoundReason = "line_flow"  // the flow of a line through the water hours
	BoundLineTime  BoundReason = "line_time"  // the sources that a line can feed at once
	BoundLineCap   BoundReason = "line_cap"   // the daily volume of a line
	BoundSourceCap BoundReason = "source_cap" // the daily volume of a source, or its tank
)

// smallestBound returns the least of all bounds. Without intervals, interval limits are not counted on: a plan that had
// to break one may exceed a bound that rests on it.
func smallestBound(m *problem.Model, intervals bool) Bound {
	best := Bound{Share: 1, Reason: BoundNeed}
	lower := func(b Bound) {
		if b.Share < best.Share {
			best = b
		}
	}
	for s := range m.Sources {
		if len(m.Members[s]) == 0 {
			continue
		}
		lower(timeBound(m, s, intervals))
		for _, b := range dayBounds(m, s, intervals) {
			lower(b)
		}
		need, volume := problem.Milliliters(0), int64(0)
		for _, i := range m.Members[s] {
			lower(soilBound(m, i))
			need += m.Layouts[i].Need
		}
		limited := true
		for _, cap := range sourceVolumes(m, s) {
			limited = limited && cap >= 0
			volume += int64(cap)
		}
		if limited && need > 0 {
			lower(Bound{Share: float64(volume) / float64(need), Reason: BoundSourceCap, Source: m.Sources[s].ID})
		}
	}
	for k := range m.Lines {
		for _, b := range lineBounds(m, k) {
			lower(b)
		}
	}
	return best
}

// sourceVolumes is the most that a source's cap lets through on each day, -1 where nothing limits it. A tank is looked
// at over the whole horizon: all of its store and all that flows in until the last window.
func sourceVolumes(m *problem.Model, s int) []problem.Milliliters {
	source, out := &m.Sources[s], make([]problem.Milliliters, m.Days)
	for d := range out {
		if out[d] = -1; source.DailyCap > 0 {
			out[d] = source.DailyCap
		}
	}
	if source.Tank != nil && source.DailyCap == 0 {
		total := source.Tank.Level
		if n := len(m.Slots[s]); n > 0 {
			total += problem.Milliliters(source.Tank.Refill.Volume(problem.Span(m.Slots[s][n-1].End)) / 1000)
		}
		for d := range out {
			out[d] = 0
		}
		out[0] = total
	}
	return out
}

// windowTime is the time of the source's windows on some days, a changeover for each added: a window with k turns needs
// k-1 changeovers.
func windowTime(m *problem.Model, s int, open []bool) float64 {
	sum := 0.0
	for _, slot := range m.Slots[s] {
		if open == nil || open[slot.Day] {
			sum += float64(slot.Usable + m.Sources[s].Changeover)
		}
	}
	return sum
}

func timeBound(m *problem.Model, s int, intervals bool) Bound {
	least := zoning.NewLeast(m, s, m.Members[s], intervals)
	share := least.Share(windowTime(m, s, nil))
	if len(m.Members[s]) <= zoning.ExactLayouts {
		exact := zoning.NewExact(m, s, m.Members[s], intervals)
		share = min(share, exact.Share(windowTime(m, s, nil)))
	}
	return Bound{Share: share, Reason: BoundTime, Source: m.Sources[s].ID}
}

// mostDayBounds is how many sets of days are looked at.
const mostDayBounds = 12

// dayBounds looks at the layouts that may only run on some days: the zones that hold them must run on those days too.
func dayBounds(m *problem.Model, s int, intervals bool) []Bound {
	var out []Bound
	var seen [][]bool
	for _, i := range m.Members[s] {
		if len(m.Layouts[i].ClosedDays) == 0 || known(seen, m.Open[i]) || len(seen) == mostDayBounds {
			continue
		}
		seen = append(seen, m.Open[i])
		var within []int
		for _, k := range m.Members[s] {
			if inside(m.Open[k], m.Open[i]) {
				within = append(within, k)
			}
		}
		least := zoning.NewLeast(m, s, within, intervals)
		share := least.Share(windowTime(m, s, m.Open[i]))
		out = append(out, Bound{Share: share, Reason: BoundDays, Source: m.Sources[s].ID, Layout: m.Layouts[i].ID})
	}
	return out
}

func known(seen [][]bool, days []bool) bool {
	for _, other := range seen {
		if inside(days, other) && inside(other, days) {
			return true
		}
	}
	return false
}

func inside(a, b []bool) bool {
	for d := range a {
		if a[d] && !b[d] {
			return false
		}
	}
	return true
}

// soilBound is what a layout gets alone, if it has every window to itself: on each day no more than its soil takes, in
// each window no more than its longest turns with their pauses.
func soilBound(m *problem.Model, i int) Bound {
	l, s := &m.Layouts[i], m.SourceOf[i]
	op := m.Operate(s, []int{i})
	byDay := make([]float64, m.Days)
	for _, slot := range m.Slots[s] {
		if m.Open[i][slot.Day] {
			byDay[slot.Day] += float64(problem.Longest(slot.Usable, l.MaxRun, l.Soak))
		}
	}
	got := 0.0
	for _, t := range byDay {
		if l.MaxDayTime > 0 {
			t = math.Min(t, float64(l.MaxDayTime))
		}
		got += math.Min(float64(l.MaxDay)*1000, t*float64(op.Drawn[0]))
	}
	if l.Need == 0 {
		return Bound{Share: 1}
	}
	return Bound{Share: got / (1000 * float64(l.Need)), Reason: BoundSoil, Layout: l.ID, Source: m.Sources[s].ID}
}

func lineBounds(m *problem.Model, k int) []Bound {
	need, windows := problem.Milliliters(0), map[int]bool{}
	var spans []problem.Slot
	for s := range m.Sources {
		if m.LineOf[s] != k {
			continue
		}
		for _, i := range m.Members[s] {
			need += m.Layouts[i].Need
		}
		for _, slot := range m.Slots[s] {
			if !windows[slot.Window] {
				windows[slot.Window] = true
				spans = append(spans, slot)
			}
		}
	}
	if need == 0 {
		return nil
	}
	open := union(m, spans)
	if b, some := lineTimeBound(m, k, open); some {
		return append(b, lineVolumeBounds(m, k, spans, need, open)...)
	}
	return lineVolumeBounds(m, k, spans, need, open)
}

// lineTimeBound counts on how many sources the line can feed at the same instant: no zone of a source draws less than
// the layout that takes least alone.
func lineTimeBound(m *problem.Model, k int, open problem.Span) ([]Bound, bool) {
	var flows []problem.Rate
	total := 0.0
	for s := range m.Sources {
		if m.LineOf[s] != k || len(m.Members[s]) == 0 {
			continue
		}
		smallest := problem.MaxRate
		for _, i := range m.Members[s] {
			smallest = min(smallest, m.Operate(s, []int{i}).Delivered[0])
		}
		flows = append(flows, smallest)
		least := zoning.NewLeast(m, s, m.Members[s], false)
		total += least.Open(1)
	}
	slices.Sort(flows)
	sum, atOnce := problem.Rate(0), 0
	for _, q := range flows {
		if sum += q; sum > m.Lines[k].FlowLimit {
			break
		}
		atOnce++
	}
	if atOnce == len(flows) || total == 0 {
		return nil, false
	}
	return []Bound{{
		Share: float64(max(1, atOnce)) * float64(open) / total, Reason: BoundLineTime, Line: m.Lines[k].ID,
	}}, true
}

func lineVolumeBounds(m *problem.Model, k int, spans []problem.Slot, need problem.Milliliters, open problem.Span) []Bound {
	line := &m.Lines[k]
	out := []Bound{{
		Share: float64(line.FlowLimit.Volume(open)) / (1000 * float64(need)), Reason: BoundLineFlow, Line: line.ID,
	}}
	if line.DailyCap > 0 {
		days := make([]bool, m.Days)
		count := 0
		for _, slot := range spans {
			if !days[slot.Day] {
				days[slot.Day] = true
				count++
			}
		}
		out = append(out, Bound{Share: float64(line.DailyCap) * float64(count) / float64(need), Reason: BoundLineCap, Line: line.ID})
	}
	return out
}

// union is the time in which at least one of the windows is open. Reserves are not taken off: they bound each source.
func union(m *problem.Model, slots []problem.Slot) problem.Span {
	total, end := problem.Span(0), problem.Instant(0)
	for w := range m.Windows { // in the order of time in a canonical problem
		for _, slot := range slots {
			if slot.Window == w {
				total += problem.Span(max(0, slot.End-max(end, slot.Start)))
				end = max(end, slot.End)
			}
		}
	}
	return total
}
