package plan

import (
	"math"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/rotation"
	"rillturn.example/rillturn/engine/zoning"
)

// budgets of one effort: how many zones a partition may try and how many arcs the divisions of a pattern search may see.
type budgets struct {
	levels int    // shares that zones may be made for
	shakes uint64 // partitions of a small source
	zones  int
	arcs   int
	anneal int
	work   int64 // steps of rotations of all kinds, which end the search where the others would let it go on
}

func (p *planner) budgets() budgets {
	if p.Effort == Full {
		b := budgets{levels: 24, shakes: 60, zones: 40000, arcs: 1000000, anneal: 3000000, work: fullWork}
		if n := len(p.Layouts); n > fastLayouts {
			b.zones = b.zones * fastLayouts / n
		}
		return b
	}
	b := budgets{levels: 8, shakes: 12, zones: 6000, arcs: 50000, anneal: 200000, work: fastWork}
	switch n := len(p.Layouts); {
	case n > fastLayouts:
		b.zones, b.arcs, b.anneal = b.zones*fastLayouts/n, b.arcs*fastLayouts/n, b.anneal*fastLayouts/n
	case len(p.Sources) == 1: // a small garden leaves time for longer searches
		b.zones = min(2*b.zones, max(b.zones, b.zones*smallLayouts/max(1, n)))
	}
	return b
}

// Steps of the efforts. A step takes a few nanoseconds; what is charged keeps fast plans below a second, and full ones
// below five.
const (
	fastWork = 150e6
	fullWork = 600e6
)

// fastLayouts is the size of a garden up to which a fast plan has its whole budget for every source; larger ones share
// it, so that the first plan does not take longer the more sources there are. Full plans share what partitions may try.
const fastLayouts = 120

// smallLayouts is the size of a garden with one source below which a fast plan looks at more partitions, at most at twice as many.
const smallLayouts = 90

// levelSteps are the multiples of the share reached for which zones are made again: a mixture of layouts that the soil
// of one forbids at full need may be allowed at a lower share.
var levelSteps = []float64{1.03, 1.10, 1.20}

// farLevels are parts of the bound for which zones are made where the share reached is far below it: what keeps it there
// is then not that layouts are in the wrong zones, but that there are too many zones.
var farLevels = []float64{0.9, 0.75, 0.6, 0.45, 0.3}

// levels lists shares to make zones for, after a share that was reached.
func levels(reached, bound float64) []float64 {
	var out []float64
	for _, step := range levelSteps {
		if reached > 0 {
			out = append(out, min(1, reached*step))
		}
	}
	if reached < farLevels[0]*farLevels[0]*bound {
		for _, part := range farLevels {
			if part*bound > reached {
				out = append(out, part*bound)
			}
		}
	}
	return out
}

// gap is by how much the layout furthest below a share misses it, or what it can get at all.
func (p *planner) gap(s *solved, share float64) float64 {
	worst := 0.0
	for j := range s.group.Zones {
		z := &s.group.Zones[j]
		for at, i := range z.Members {
			worst = max(worst, min(share, p.aim.most[i])-s.got(p.Model, j, at))
		}
	}
	return worst
}

// levelGap is the least distance between the share planned for and the share reached at which zones are made again.
const levelGap = 0.01

// tightGap is the distance to the bound below which zones that fill the time to the last minute may be all that is missing.
const tightGap = 0.1

// solve finds zones and turns for the sources of a group, in a loop over the share that zones are made for.
func (p *planner) solve(sources []int) solved {
	p.attempts = nil
	modes := p.modes(sources)
	how := modes[0]
	p.aim = p.bounds
	first := p.aim.of(sources).Share
	best := p.attempt(sources, first, how, nil)
	if best.result.Late > 0 && !p.halt() {
		// Where interval limits can't be kept, what they leave of the shares is no aim.
		if p.aim = p.boundsFor(true); p.aim.of(sources).Share > first+levelGap {
			first = p.aim.of(sources).Share
			if next := p.attempt(sources, first, how, &best); next.better(&best, p.Model) {
				best = next
			}
		}
	}
	if p.gap(&best, first) > boundGap {
		p.aim.tighten(sources)
	}
	bound := p.aim.of(sources).Share
	if gap := p.gap(&best, bound); (bound < first-levelGap || gap > boundGap && gap < tightGap) && !p.halt() {
		how.dive = true
		if next := p.attempt(sources, bound, how, &best); next.better(&best, p.Model) {
			best = next
		}
		how.dive = p.Effort == Full
	}
	// A layout that its soil holds down may be the one that decides, and zones for its share the better ones.
	soil := p.aim.soil(sources).Share
	for _, other := range modes[1:] {
		if p.halt() {
			break
		}
		if next := p.attempt(sources, min(bound, soil), other, nil); next.better(&best, p.Model) {
			best, how = next, other
		}
	}
	tried := map[int]bool{key(first): true, key(bound): true}
	for improved := true; improved && p.gap(&best, bound) > levelGap && !p.halt(); {
		improved = false
		for _, level := range levels(bound-p.gap(&best, bound), bound) {
			if tried[key(level)] || len(tried) >= p.budgets().levels || p.halt() {
				continue
			}
			tried[key(level)] = true
			how.dive = p.Effort == Full || level < bound*farLevels[0]
			if next := p.attempt(sources, level, how, &best); next.better(&best, p.Model) {
				best, improved = next, true
			}
		}
	}
	if p.manyPartitions(sources, p.gap(&best, bound)) {
		shakes := p.budgets().shakes
		if how.dive = len(p.Members[sources[0]]) > zoning.ExactLayouts; how.dive {
			shakes /= 2
		}
		for how.shake = 1; how.shake <= shakes && p.gap(&best, bound) > boundGap && !p.halt(); how.shake++ {
			if next := p.attempt(sources, bound, how, nil); next.better(&best, p.Model) {
				best = next
			}
		}
		how.shake = 0
	}
	if p.gap(&best, 1) <= sameShare && how.goal != zoning.LeastWater {
		if next := p.attempt(sources, 1, mode{goal: zoning.LeastWater, limit: how.limit}, &best); next.better(&best, p.Model) {
			best = next
		}
	}
	if next := p.divide(sources, best.group.Zones, best.level, p.budgets().anneal); next.better(&best, p.Model) {
		best = next
	}
	return best
}

// manyPartitions tells whether other zones that cost nearly the same may close the gap to the bound: where all partitions can be
// looked at, and in a garden that is nearly served in full.
func (p *planner) manyPartitions(sources []int, gap float64) bool {
	if len(sources) > 1 {
		return false
	}
	return len(p.Members[sources[0]]) <= zoning.ExactLayouts ||
		gap < tightGap && p.aim.of(sources).Share == 1 && p.aim.columns[sources[0]] != nil
}

// key tells levels apart that would make the same zones.
func key(level float64) int { return int(level*500 + 0.5) }

// mode is one way of making zones for a group.
type mode struct {
	goal  zoning.Goal
	limit limits // flow of a zone of several, by source; nil for what the sources give
	shake uint64 // other dice for small sources; 0 for none
	dive  bool   // start from the linear programme over zones too
}

// modes lists the ways worth trying. Where a meter cannot feed all sources at full flow, smaller zones let several of
// them run at once; where volume is short, water drawn beyond need is taken from others.
func (p *planner) modes(sources []int) []mode {
	out := []mode{{goal: zoning.LeastTime}}
	volume := false
	for _, s := range sources {
		volume = volume || p.Sources[s].DailyCap > 0 || p.Sources[s].Tank != nil
	}
	if line := p.LineOf[sources[0]]; line >= 0 {
		volume = volume || p.Lines[line].DailyCap > 0
		sum := problem.Rate(0)
		for _, s := range sources {
			sum += p.LargestFlow(s)
		}
		if limit := p.Lines[line].FlowLimit; sum > limit && len(sources) > 1 {
			even := limits{}
			for _, s := range sources {
				even[s] = limit / problem.Rate(len(sources))
			}
			split := p.split(sources, limit)
			out = append(out, mode{goal: zoning.LeastTime, limit: split}, mode{goal: zoning.LeastTime, limit: even})
			out = append(out, mode{goal: zoning.LeastTime, limit: split.times(5, 4)}, mode{goal: zoning.LeastWater})
			if len(sources) > 2 {
				out = append(out, mode{goal: zoning.LeastTime, limit: split.times(2, 1)}, mode{goal: zoning.LeastWater, limit: split.times(2, 1)})
			}
		}
	}
	if volume {
		out = append(out, mode{goal: zoning.LeastStrain}, mode{goal: zoning.LeastWater})
	}
	return out
}

// water is what daily caps and a tank let a source draw over the horizon [L]: of its line's cap the part that its layouts need
// of all behind the line.
func (p *planner) water(s int) float64 {
	out := math.Inf(1)
	if volume, limited := sourceVolume(p.Model, s); limited {
		out = volume.Liters()
	}
	line := p.LineOf[s]
	if line < 0 || p.Lines[line].DailyCap == 0 {
		return out
	}
	members, spans, _ := lineWindows(p.Model, line)
	days, own, all := map[int]bool{}, 0.0, 0.0
	for _, slot := range spans {
		days[slot.Day] = true
	}
	for _, i := range members {
		need := p.Layouts[i].Need.Liters()
		if all += need; p.SourceOf[i] == s {
			own += need
		}
	}
	return math.Min(out, p.Lines[line].DailyCap.Liters()*float64(len(days))*own/math.Max(1, all))
}

// limits are flows by source that zones of several are held to.
type limits map[int]problem.Rate

// times returns the limits by a factor.
func (l limits) times(num, den problem.Rate) limits {
	out := limits{}
	for s, limit := range l {
		out[s] = limit * num / den
	}
	return out
}

// Steps of splits, in parts of the line's flow, and the zones that each may try.
const (
	splitSteps  = 24
	splitBudget = 300
)

// split shares the flow of a line among sources so that each can run whenever it likes: one step after the other goes to
// the source whose zones take the largest part of its windows.
func (p *planner) split(sources []int, flow problem.Rate) limits {
	out, busy := limits{}, map[int]float64{}
	step := max(1, flow/max(splitSteps, problem.Rate(2*len(sources))))
	for _, s := range sources {
		out[s] = step
		busy[s] = p.busy(s, step)
	}
	for left := flow - step*problem.Rate(len(sources)); left >= step; left -= step {
		worst := sources[0]
		for _, s := range sources {
			if busy[s] > busy[worst] {
				worst = s
			}
		}
		out[worst] += step
		busy[worst] = p.busy(worst, out[worst])
	}
	return out
}

// busy is the part of a source's windows that its zones take when those of several draw no more than limit.
func (p *planner) busy(s int, limit problem.Rate) float64 {
	spent := 0.0
	for _, members := range zoning.Partition(zoning.Request{
		Model: p.Model, Source: s, Layouts: p.Members[s], Pinned: p.pinnedAt(s, true), Together: p.pinnedAt(s, false), Forbidden: p.forbidden,
		By:    p.Share,
		Level: p.bounds.of([]int{s}).Share, FlowLimit: limit, Budget: splitBudget, Seed: p.Seed, Stop: p.halt,
	}) {
		z := problem.NewBatch(p.Model, s, members, p.Share)
		spend := z.SpendAt(p.Model, p.bounds.of([]int{s}).Share, true)
		spent += spend.Time + spend.Short
	}
	return spent / math.Max(1, windowTime(p.Model, s, nil))
}

// attempt makes zones for a level and divides the time among them, unless that was tried. Zones known already are a start that
// saves work.
func (p *planner) attempt(sources []int, level float64, how mode, known *solved) solved {
	p.levels = append(p.levels, level)
	p.tell(MakingZones, level)
	var zones []rotation.Zone
	for _, s := range sources {
		if len(p.Members[s]) == 0 {
			continue
		}
		time := problem.Span(0)
		for _, slot := range p.Slots[s] {
			time += slot.Usable + p.Sources[s].Changeover
		}
		budget, start := p.budgets().zones, [][]int(nil)
		if known != nil {
			budget /= 3
			for j := range known.group.Zones {
				if z := &known.group.Zones[j]; z.Source == s {
					start = append(start, z.Members)
				}
			}
		}
		var columns *zoning.Configuration
		if how.dive {
			columns = p.aim.columns[s]
		}
		partition := zoning.Partition(zoning.Request{
			Model: p.Model, Source: s, Layouts: p.Members[s], Pinned: p.pinnedAt(s, true), Together: p.pinnedAt(s, false), Forbidden: p.forbidden, By: p.Share,
			Level: level, Goal: how.goal, FlowLimit: how.limit[s], Time: time, Water: p.water(s), Budget: budget, Start: start,
			Columns: columns, Shake: how.shake, Seed: p.Seed, Stop: p.halt,
		})
		for _, z := range partition {
			zones = append(zones, problem.NewBatch(p.Model, s, z, p.Share))
		}
	}
	if k := slices.IndexFunc(p.attempts, func(t solved) bool { return t.level == level && sameZones(t.group.Zones, zones) }); k >= 0 {
		return p.attempts[k]
	}
	p.attempts = append(p.attempts, p.divide(sources, zones, level, 0))
	return p.attempts[len(p.attempts)-1]
}

func sameZones(a, b []rotation.Zone) bool {
	return slices.EqualFunc(a, b, func(a, b rotation.Zone) bool {
		return a.Source == b.Source && slices.Equal(a.Members, b.Members)
	})
}

// divide gives turns to zones.
func (p *planner) divide(sources []int, zones []rotation.Zone, level float64, anneal int) solved {
	g := rotation.NewGroup(p.Model, sources, zones, p.open)
	g.Fixed = p.ran(sources, g.Zones)
	b := p.budgets()
	if n := len(sources); n > 2 {
		b.arcs = b.arcs * 6 / n // many sources are tried in many ways
	}
	r := g.Solve(rotation.Config{
		Level: level, Budget: b.arcs, Anneal: anneal, Retime: min(anneal, b.arcs), Bound: p.aim.of(sources).Share, Seed: p.Seed,
		Grid: p.Grid, Stop: p.halt, Work: p.allowance(anneal > 0),
	})
	p.done(r)
	return solved{group: g, result: r, level: level}
}

// allowance is the work that the next rotation may take: what is left if it is the last one, else a part of it, so that
// other zones are tried too.
func (p *planner) allowance(last bool) int64 {
	if last {
		return max(0, p.left)
	}
	return max(0, p.left/2)
}

func (p *planner) done(r rotation.Result) {
	p.evaluated += r.Evaluated
	p.left -= r.Work
}

// pinnedAt lists the pins of a source: those that share their zone with nobody, or the others.
func (p *planner) pinnedAt(s int, alone bool) [][]int {
	var out [][]int
	for _, z := range p.pinned {
		if p.SourceOf[z.members[0]] == s && z.alone == alone {
			out = append(out, z.members)
		}
	}
	return out
}

// got is the share of its need that a member of zone j gets.
func (s *solved) got(m *problem.Model, j, at int) float64 {
	z := &s.group.Zones[j]
	need := m.Layouts[z.Members[at]].Need
	if need == 0 {
		return 1
	}
	return min(1, float64(z.Gives(m, at, s.result.Given[j]))/(1000*float64(need)))
}

// better compares two rotations of the same sources by what every layout gets: interval limits first, then the shares
// from the smallest up, class by class, then water in time, room for missed turns, water given beyond need, turns and zones.
func (s *solved) better(o *solved, m *problem.Model) bool {
	if s.result.Late != o.result.Late {
		return s.result.Late < o.result.Late
	}
	a, b := s.vector(m), o.vector(m)
	for k := range a {
		if d := a[k] - b[k]; d > sameShare || d < -sameShare {
			return d > 0
		}
	}
	if s.result.Dry != o.result.Dry {
		return s.result.Dry < o.result.Dry
	}
	wa, wb := s.water(), o.water()
	if s.result.Tense != o.result.Tense && math.Abs(float64(wa-wb)) < sameWater*float64(wb) {
		return s.result.Tense < o.result.Tense
	}
	if wa != wb {
		return wa < wb
	}
	return len(s.result.Runs)+len(s.group.Zones) < len(o.result.Runs)+len(o.group.Zones)
}

// sameWater is the part of the water drawn that room for missed turns may cost.
const sameWater = 0.01

// sameShare is the difference between two shares that nobody can measure.
const sameShare = 1e-6

// vector returns the sorted shares of all layouts, class by class.
func (s *solved) vector(m *problem.Model) []float64 {
	type entry struct {
		class int
		share float64
	}
	var entries []entry
	for j := range s.group.Zones {
		z := &s.group.Zones[j]
		for at, i := range z.Members {
			entries = append(entries, entry{m.Layouts[i].Class, s.got(m, j, at)})
		}
	}
	sort.Slice(entries, func(a, b int) bool {
		if entries[a].class != entries[b].class {
			return entries[a].class < entries[b].class
		}
		return entries[a].share < entries[b].share
	})
	out := make([]float64, len(entries))
	for k := range entries {
		out[k] = entries[k].share
	}
	return out
}

// water is what the zones draw.
func (s *solved) water() int64 {
	sum := int64(0)
	for j := range s.group.Zones {
		sum += s.group.Zones[j].Op.Total.Volume(s.result.Given[j])
	}
	return sum
}
