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

// bounds are the shares that the smallest share of each group of sources cannot exceed. Without intervals, interval
// limits are not counted on: a plan that had to break one may exceed a bound that rests on it.
type bounds struct {
	m         *problem.Model
	intervals bool
	most      []float64 // by layout: the share that it could have with every window to itself
	bySource  []Bound   // layouts that can't get the share whatever is done get what they can
	bySoil    []Bound   // of the layout of the source that can get least
	byLine    []Bound
	conflicts []conflict              // by line: the one that its bound rests on, if any
	tight     []bool                  // by source: the configuration bound has been looked at
	columns   []*zoning.Configuration // by source; nil until looked at
}

func newBounds(m *problem.Model, intervals bool) *bounds {
	b := &bounds{
		m: m, intervals: intervals, most: make([]float64, len(m.Layouts)), bySource: make([]Bound, len(m.Sources)), bySoil: make([]Bound, len(m.Sources)), byLine: make([]Bound, len(m.Lines)), conflicts: make([]conflict, len(m.Lines)),
		tight: make([]bool, len(m.Sources)), columns: make([]*zoning.Configuration, len(m.Sources)),
	}
	for s := range m.Sources {
		b.bySource[s] = sourceBound(m, s, intervals)
		var soil []Bound
		for _, i := range m.Members[s] {
			b.most[i] = problem.Most(m, i)
			soil = append(soil, Bound{Share: b.most[i], Reason: BoundSoil, Layout: m.Layouts[i].ID, Source: m.Sources[s].ID})
		}
		b.bySoil[s] = least(soil)
	}
	for k := range m.Lines {
		var time Bound
		time, b.conflicts[k] = lineTimeBound(m, k)
		b.byLine[k] = least(append(lineVolumeBounds(m, k), time))
	}
	return b
}

// least is the lowest of some bounds, and what everybody needs when none is lower.
func least(all []Bound) Bound {
	best := Bound{Share: 1, Reason: BoundNeed}
	for _, b := range all {
		if b.Share < best.Share {
			best = b
		}
	}
	return best
}

// of is the bound of some sources, with their line's: of the share that layouts reach which can reach it at all.
func (b *bounds) of(sources []int) Bound {
	var all []Bound
	for _, s := range sources {
		all = append(all, b.bySource[s])
		if line := b.m.LineOf[s]; line >= 0 {
			all = append(all, b.byLine[line])
		}
	}
	return least(all)
}

// soil is the bound of the layout of some sources that can get least whatever is done.
func (b *bounds) soil(sources []int) Bound {
	var all []Bound
	for _, s := range sources {
		all = append(all, b.bySoil[s])
	}
	return least(all)
}

// near is the bound of the garden, sharpened as long as it is above the share that a plan reached.
func (b *bounds) near(reached float64) Bound {
	for {
		lowest := least(slices.Concat(b.bySource, b.bySoil, b.byLine))
		if lowest.Share < reached+boundGap {
			return lowest
		}
		loose := -1
		for s := range b.bySource {
			if !b.tight[s] && (loose < 0 || b.bySource[s].Share < b.bySource[loose].Share) {
				loose = s
			}
		}
		if loose < 0 {
			return lowest
		}
		b.tighten([]int{loose})
	}
}

// boundGap is the distance to a bound at which sharpening it is not worth the work.
const boundGap = 1e-3

// tighten looks at the zones that sources could have, which costs more than the other bounds: for a group whose rotation
// falls short of them.
func (b *bounds) tighten(sources []int) {
	for _, s := range sources {
		n := len(b.m.Members[s])
		if b.tight[s] {
			continue
		}
		if b.tight[s] = true; n <= zoning.ExactLayouts || n > zoning.ConfigurationLayouts {
			continue
		}
		b.bySource[s] = least(append([]Bound{b.bySource[s]}, b.zoneBounds(s)...))
	}
	for _, s := range sources {
		if k := b.m.LineOf[s]; k >= 0 && b.conflicts[k].atOnce > 0 {
			time := b.byLine[k]
			time.Share, time.Reason = b.conflicts[k].zones(b.m, time.Share), BoundLineTime
			b.byLine[k], b.conflicts[k] = least([]Bound{b.byLine[k], time}), conflict{}
		}
	}
}

// zoneBounds are the configuration bounds of a source: all its layouts in all its windows, and those that may only run
// on some days in the windows of those days.
func (b *bounds) zoneBounds(s int) []Bound {
	m, from := b.m, b.bySource[s].Share
	all := zoning.NewConfiguration(m, s, m.Members[s], b.intervals)
	b.columns[s] = all
	share := all.Share(windowTime(m, s, nil), from)
	if most := mostVisits(m, s); most < b.visits(s) && all.Visits(most) > most {
		share = 0
	}
	out := []Bound{{Share: share, Reason: BoundTime, Source: m.Sources[s].ID}}
	for _, set := range daySets(m, s) {
		some := zoning.NewConfiguration(m, s, set.within, b.intervals)
		share := some.Share(windowTime(m, s, set.days), from)
		out = append(out, Bound{Share: share, Reason: BoundDays, Source: m.Sources[s].ID, Layout: m.Layouts[set.layout].ID})
	}
	return out
}

// visits is how many visits the layouts of a source need when each is a zone of its own.
func (b *bounds) visits(s int) int {
	sum := 0
	for _, i := range b.m.Members[s] {
		z := problem.NewBatch(b.m, s, []int{i}, problem.ByNeed)
		sum += max(1, z.Visits(b.m))
	}
	return sum
}

// mostVisits is how many visits of shortest turns the windows of a source hold.
func mostVisits(m *problem.Model, s int) int {
	source, sum := &m.Sources[s], 0
	for _, slot := range m.Slots[s] {
		each := source.MinRun + source.Changeover
		if each == 0 {
			return math.MaxInt
		}
		sum += int((slot.Usable + source.Changeover) / each)
	}
	return sum
}

func sourceBound(m *problem.Model, s int, intervals bool) Bound {
	if len(m.Members[s]) == 0 {
		return least(nil)
	}
	all := append(dayBounds(m, s, intervals), timeBound(m, s, intervals))
	if volume, limited := sourceVolume(m, s); limited {
		share := volumeShare(m, m.Members[s], float64(volume))
		all = append(all, Bound{Share: share, Reason: BoundSourceCap, Source: m.Sources[s].ID})
	}
	return least(all)
}

// volumeShare is the share of their need that the layouts get from so many millilitres, those that can't get it as much
// as they can.
func volumeShare(m *problem.Model, layouts []int, volume float64) float64 {
	most := make([]float64, len(layouts))
	for k, i := range layouts {
		most[k] = problem.Most(m, i)
	}
	return zoning.LargestShare(func(share float64) float64 {
		sum := 0.0
		for k, i := range layouts {
			sum += min(share, most[k]) * float64(m.Layouts[i].Need)
		}
		return sum
	}, volume)
}

// sourceVolume is the most that a source gives over the horizon by its daily cap and its tank; limited is false where
// neither holds it.
func sourceVolume(m *problem.Model, s int) (volume problem.Milliliters, limited bool) {
	source := &m.Sources[s]
	volume = -1
	if source.DailyCap > 0 {
		volume = 0
		for d := range m.Days {
			if slices.ContainsFunc(m.Slots[s], func(slot problem.Slot) bool { return slot.Day == d }) {
				volume += source.DailyCap
			}
		}
	}
	if source.Tank != nil {
		if most := tankVolume(m, s); volume < 0 || most < volume {
			volume = most
		}
	}
	return volume, volume >= 0
}

// tankVolume is what can be drawn from a tank that every window empties: between windows it fills until it is full.
func tankVolume(m *problem.Model, s int) problem.Milliliters {
	tank := m.Sources[s].Tank
	drawn, level, at := problem.Milliliters(0), tank.Level, problem.Instant(0)
	flowsIn := func(from, to problem.Instant) problem.Milliliters {
		return problem.Milliliters(tank.Refill.Volume(problem.Span(max(0, to-from)))/1000 + 1)
	}
	for _, slot := range m.Slots[s] {
		level = min(tank.Volume, level+flowsIn(at, slot.Start))
		drawn += level + flowsIn(max(at, slot.Start), slot.End)
		level, at = 0, max(at, slot.End)
	}
	return drawn
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

// daySet is the layouts that may only run on some days.
type daySet struct {
	layout int // one of them, whose days these are
	days   []bool
	within []int
}

func daySets(m *problem.Model, s int) []daySet {
	var out []daySet
	var seen [][]bool
	for _, i := range m.Members[s] {
		if len(m.Layouts[i].ClosedDays) == 0 || known(seen, m.Open[i]) || len(seen) == mostDayBounds {
			continue
		}
		seen = append(seen, m.Open[i])
		set := daySet{layout: i, days: m.Open[i]}
		for _, k := range m.Members[s] {
			if inside(m.Open[k], m.Open[i]) {
				set.within = append(set.within, k)
			}
		}
		out = append(out, set)
	}
	return out
}

// dayBounds looks at the layouts that may only run on some days: the zones that hold them must run on those days too.
func dayBounds(m *problem.Model, s int, intervals bool) []Bound {
	var out []Bound
	for _, set := range daySets(m, s) {
		least := zoning.NewLeast(m, s, set.within, intervals)
		share := least.Share(windowTime(m, s, set.days))
		if len(set.within) <= zoning.ExactLayouts {
			exact := zoning.NewExact(m, s, set.within, intervals)
			share = min(share, exact.Share(windowTime(m, s, set.days)))
		}
		out = append(out, Bound{Share: share, Reason: BoundDays, Source: m.Sources[s].ID, Layout: m.Layouts[set.layout].ID})
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

// lineWindows are the servable layouts behind a line, its windows, each once, and the time in which one is open.
func lineWindows(m *problem.Model, k int) (members []int, spans []problem.Slot, open problem.Span) {
	windows := map[int]bool{}
	for s := range m.Sources {
		if m.LineOf[s] != k {
			continue
		}
		members = append(members, m.Members[s]...)
		for _, slot := range m.Slots[s] {
			if !windows[slot.Window] {
				windows[slot.Window] = true
				spans = append(spans, slot)
			}
		}
	}
	return members, spans, union(m, spans)
}

// conflict is layouts behind a line whose zones hinder each other.
type conflict struct {
	atOnce int
	large  map[int][]int // by source
	time   float64       // milli-minutes in which those zones can be open in all
}

// lineTimeBound looks at layouts that take much of a line's flow. A zone draws no less than any member does alone, because
// more members only draw more. So of the zones that hold layouts of more than an (n+1)th part of the flow no more than n
// can be open at once, and with two sources of those that hold more than some flow here and more than the rest of it there
// only one. The zones that hold such layouts are open at least as long as if they were all there is.
func lineTimeBound(m *problem.Model, k int) (Bound, conflict) {
	limit := m.Lines[k].FlowLimit
	_, _, open := lineWindows(m, k)
	var sources []int
	for s := range m.Sources {
		if m.LineOf[s] == k && len(m.Members[s]) > 0 {
			sources = append(sources, s)
		}
	}
	alone := make([]problem.Rate, len(m.Layouts))
	for _, s := range sources {
		for _, i := range m.Members[s] {
			alone[i] = m.Operate(s, []int{i}).Delivered[0] - 1 // against rounding
		}
	}
	lowest, worst := Bound{Share: 1, Reason: BoundLineTime, Line: m.Lines[k].ID}, conflict{}
	look := func(atOnce int, above func(s int) problem.Rate) {
		c := conflict{atOnce: atOnce, large: map[int][]int{}, time: float64(atOnce) * float64(open)}
		var all []zoning.Least
		for _, s := range sources {
			for _, i := range m.Members[s] {
				if alone[i] > above(s) {
					c.large[s] = append(c.large[s], i)
				}
			}
			all = append(all, zoning.NewLeast(m, s, c.large[s], false))
		}
		spend := func(share float64) float64 {
			total := 0.0
			for k := range all {
				total += all[k].Open(share)
			}
			return total
		}
		if spend(lowest.Share) > c.time {
			lowest.Share, worst = zoning.LargestShare(spend, c.time), c
		}
	}
	for n := 1; n < len(sources); n++ {
		look(n, func(int) problem.Rate { return limit / problem.Rate(n+1) })
	}
	if len(sources) == 2 {
		var here []problem.Rate
		for _, i := range m.Members[sources[0]] {
			here = append(here, alone[i])
		}
		slices.Sort(here)
		here = slices.Compact(here)
		for n := range min(lineCuts, len(here)) {
			large := here[n*len(here)/min(lineCuts, len(here))]
			look(1, func(s int) problem.Rate {
				if s == sources[0] {
					return large - 1
				}
				return limit - large
			})
		}
	}
	return lowest, worst
}

// lineCuts is how many flows of a line's first source are looked at for conflicts with its second.
const lineCuts = 20

// zones sharpens the bound of a conflict by the zones that its layouts could have.
func (c *conflict) zones(m *problem.Model, from float64) float64 {
	var all []*zoning.Configuration
	for s := range m.Sources {
		if len(c.large[s]) > zoning.ConfigurationLayouts {
			return from
		}
		if len(c.large[s]) > 0 {
			all = append(all, zoning.NewConfiguration(m, s, c.large[s], false).WithoutChangeovers())
		}
	}
	low, high := 0.0, from
	for range conflictSteps {
		mid, total := high-(high-low)/4, 0.0
		for _, c := range all {
			total += c.Time(mid, math.Inf(1))
		}
		if total > c.time*(1+boundGap) {
			low, high = mid*c.time/total*(1-boundGap), mid
		} else if low = mid; high-low < boundGap {
			break
		}
	}
	return high
}

// conflictSteps is how often the share is narrowed down for that.
const conflictSteps = 10

func lineVolumeBounds(m *problem.Model, k int) []Bound {
	line := &m.Lines[k]
	members, spans, open := lineWindows(m, k)
	out := []Bound{{
		Share: volumeShare(m, members, float64(line.FlowLimit.Volume(open))/1000), Reason: BoundLineFlow, Line: line.ID,
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
		out = append(out, Bound{
			Share: volumeShare(m, members, float64(line.DailyCap)*float64(count)), Reason: BoundLineCap, Line: line.ID,
		})
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
