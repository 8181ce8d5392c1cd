package rotation

import (
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
)

// timing divides what zones get among their visits so that it comes in time: in each zone the days are links of a chain
// through which water that is wanted flows on until a visit gives it. A link carries no more than the soil holds readily,
// so what comes out of the chain leaves no plant short. What is left comes before it is wanted, and passes below the roots;
// and what can't come so early comes late.
//
// A zone that gets a part of its need has the same part of every day's use in its chain: the soil holds as much as ever.
type timing struct {
	net    network
	inlets [][]int32 // by claim and day; a claim without a ration has one inlet
	links  []int32   // carry from one day to the next
	backs  []int32   // the other way
	arcs   []int32
	late   []int64   // by claim: what did not come in time
	raised [][]int64 // by claim and day: what must have come by its end for a member that dried up in an earlier try
}

// dryTries is how often minutes are divided again for members of which a replay shows that they go short all the same.
const dryTries = 4

// inTime divides what zones get so that it comes in time for every member. A zone's ration is that of its thirstiest
// members; one that needs less may have lost early water below its roots by the time it needs it. Then the division is
// made again, with more asked for by the day on which it went short, and the best of a few is kept.
func (e *evaluator) inTime(p Pattern, amounts []int64) ([]int64, bool) {
	t := &e.timing
	t.raised = make([][]int64, len(e.g.Zones))
	for j := range t.raised {
		t.raised[j] = make([]int64, e.g.Model.Days)
	}
	preferred := e.preferred(p)
	var best, bestLate []int64
	least := int64(-1)
	for range dryTries {
		given, all := t.deal(e, p, amounts, preferred)
		if !all {
			return best, best != nil
		}
		again, sum := false, int64(0)
		for j := range e.g.Zones {
			if dry := e.dry(p, j, amounts[j], given); dry > t.late[j] {
				t.late[j], again = dry, true
			}
			sum += t.late[j]
		}
		if least < 0 || sum < least {
			best, bestLate, least = given, slices.Clone(t.late), sum
		}
		if !again {
			break
		}
	}
	t.late = bestLate
	return best, true
}

// dry replays what zone j gets through the reservoirs of its members and asks for what they lack by the day on which they
// first go short. It returns the most that one lacks, in milli-minutes; 0 for a zone that doesn't get its whole need, which
// can't but go short.
func (e *evaluator) dry(p Pattern, j int, amount int64, given []int64) int64 {
	z := &e.g.Zones[j]
	if z.Ration == nil || amount < int64(z.Time) {
		return 0
	}
	minutes := e.byDay(p, j, given)
	worst := int64(0)
	for at := range z.Members {
		for _, s := range z.Shorts(e.g.Model, at, minutes) {
			lack := int64((s.Missing - s.Holds).Over(z.Op.Delivered[at]))
			sum := int64(0)
			for d := range s.Day + 1 {
				sum += int64(minutes[d])
			}
			e.timing.raised[j][s.Day] = max(e.timing.raised[j][s.Day], sum+lack)
			worst = max(worst, lack)
		}
	}
	return worst
}

// byDay is what zone j gets on every day, settled turns included.
func (e *evaluator) byDay(p Pattern, j int, given []int64) []problem.Span {
	z := &e.g.Zones[j]
	out := make([]problem.Span, e.g.Model.Days)
	copy(out, z.Settled)
	for a, r := range e.in.arcs {
		if r.claim == j {
			out[e.g.Slots[r.slot].Day] += problem.Span(given[a]) + problem.Span(p[j][r.slot])*e.g.minRun(j)
		}
	}
	return out
}

// deal is like division.deal; what comes late is in t.late. It tells whether every claim got its amount.
func (t *timing) deal(e *evaluator, p Pattern, amounts, preferred []int64) ([]int64, bool) {
	asked := t.build(e, p, amounts)
	g := &t.net
	g.load(1)
	sent := int64(0)
	if preferred != nil {
		for a, edge := range t.arcs {
			g.edges[edge].left = min(g.limit[edge], preferred[a])
		}
		sent = g.send()
		for a, edge := range t.arcs {
			g.edges[edge].left += g.limit[edge] - min(g.limit[edge], preferred[a])
		}
	}
	sent += g.send()
	open := func(edges []int32) {
		if sent == asked {
			return
		}
		for _, edge := range edges {
			g.edges[edge].left += asked
		}
		sent += g.send()
	}
	open(t.backs)
	t.late = t.late[:0]
	for _, inlets := range t.inlets {
		late := int64(0)
		for _, edge := range inlets {
			late += g.edges[edge].left
		}
		t.late = append(t.late, late)
	}
	open(t.links)
	given := make([]int64, len(t.arcs))
	for a, edge := range t.arcs {
		given[a] = g.limit[edge] - g.edges[edge].left
	}
	return given, sent == asked
}

// build makes the network and returns what all claims ask above their base.
func (t *timing) build(e *evaluator, p Pattern, amounts []int64) (asked int64) {
	in, g := &e.in, &t.net
	node := 2
	first := make([]int, len(in.claims))
	for j := range in.claims {
		first[j] = node
		if node++; e.g.Zones[j].Ration != nil {
			node += e.g.Model.Days - 1
		}
	}
	at := func(claim, day int) int {
		if e.g.Zones[claim].Ration == nil {
			return first[claim]
		}
		return first[claim] + day
	}
	group, slot := node, node+len(in.groups)
	pool := slot + len(in.slots)
	g.reset(pool + len(in.pools))
	t.inlets, t.links, t.backs, t.arcs = t.inlets[:0], t.links[:0], t.backs[:0], t.arcs[:0]
	for j := range in.claims {
		want := max(0, amounts[j]-in.claims[j].base)
		asked += want
		if e.g.Zones[j].Ration == nil {
			t.inlets = append(t.inlets, []int32{int32(g.edge(tap, first[j], want))})
			continue
		}
		t.chain(e, p, j, first[j], amounts[j], want)
	}
	for k, limit := range in.groups {
		g.edge(at(in.groupOf[k], e.groupDay[k]), group+k, limit)
	}
	for _, a := range in.arcs {
		from := at(a.claim, e.g.Slots[a.slot].Day)
		if a.group >= 0 {
			from = group + a.group
		}
		t.arcs = append(t.arcs, int32(g.edge(from, slot+a.slot, a.limit)))
	}
	for w, limit := range in.slots {
		to := sink
		if q := in.poolOf[w]; q >= 0 {
			to = pool + q
		}
		g.edge(slot+w, to, limit)
	}
	for q, limit := range in.pools {
		to := sink
		if up := in.parentOf[q]; up >= 0 {
			to = pool + up
		}
		g.edge(pool+q, to, limit)
	}
	return asked
}

// chain adds the days of zone j: what is wanted on each above the least visits, and what the soil carries on.
func (t *timing) chain(e *evaluator, p Pattern, j, first int, amount, want int64) {
	days := e.g.Model.Days
	most, least := e.above(p, j, amount, want)
	inlets := make([]int32, days)
	before := int64(0)
	for d := range days {
		inlets[d] = int32(t.net.edge(tap, first+d, most[d]-before))
		before = most[d]
		if d+1 < days {
			t.links = append(t.links, int32(t.net.edge(first+d, first+d+1, most[d]-least[d])))
			t.backs = append(t.backs, int32(t.net.edge(first+d+1, first+d, 0)))
		}
	}
	t.inlets = append(t.inlets, inlets)
}

// above is the ration of zone j at the amount that it gets, less the shortest turns of its visits and what is settled: the
// most and the least that may have come by the end of each day, want at the end of the last.
func (e *evaluator) above(p Pattern, j int, amount, want int64) (most, least []int64) {
	z, days := &e.g.Zones[j], e.g.Model.Days
	base := make([]int64, days)
	for _, w := range e.g.Of[z.Source] {
		base[e.g.Slots[w].Day] += int64(p[j][w]) * int64(e.g.minRun(j))
	}
	for d, settled := range z.Settled {
		base[d] += int64(settled)
	}
	most, least = make([]int64, days), make([]int64, days)
	sum, floor := int64(0), int64(0)
	whole := max(1, int64(z.Time-z.Past))
	for d := range days {
		sum += base[d]
		wanted := int64(z.Ration.Most[d]) * max(0, amount-int64(z.Past)) / whole
		most[d] = min(want, max(0, wanted-sum))
		floor = max(floor, wanted-int64(z.Ration.Most[d]-z.Ration.Least[d])-sum, e.timing.raised[j][d]-sum)
		least[d] = floor
	}
	most[days-1] = want
	for d := days - 2; d >= 0; d-- {
		most[d] = min(most[d], most[d+1])
	}
	for d := range days {
		least[d] = min(least[d], want)
		most[d] = max(most[d], least[d])
	}
	return most, least
}

// lateness is the most that zone j is behind its ration at the end of a day, at the amount that it gets.
func (g *Group) lateness(j int, r *Result) int64 {
	z := &g.Zones[j]
	if z.Ration == nil {
		return 0
	}
	given := make([]int64, g.Model.Days)
	for d, settled := range z.Settled {
		given[d] = int64(settled)
	}
	for _, run := range r.Runs {
		if run.Zone == j {
			given[g.Slots[run.Slot].Day] += int64(run.End - run.Start)
		}
	}
	worst, sum := int64(0), int64(0)
	for d := range given {
		sum += given[d]
		wanted := int64(z.Ration.Most[d]) * int64(max(0, min(r.Given[j], z.Time)-z.Past)) / max(1, int64(z.Time-z.Past))
		worst = max(worst, wanted-int64(z.Ration.Most[d]-z.Ration.Least[d])-sum)
	}
	return worst
}

// rationed tells whether any zone of the group has a ration.
func (g *Group) rationed() bool {
	for j := range g.Zones {
		if g.Zones[j].Ration != nil {
			return true
		}
	}
	return false
}

// lateNoticed is the least lateness, added up over zones, that a visit is changed for.
const lateNoticed = problem.Minute

// retime changes visits where that lowers no share, so that less water comes late, and then so that fewer zones are
// watered on their last allowed day: visits are added or moved.
func (s *search) retime(p Pattern, budget int) (timely Pattern, changed bool) {
	current, ok := s.evaluate(p, nil)
	if !ok {
		return p, false
	}
	late := s.lateness(p)
	for spent := 0; (late > lateNoticed || current.tense > 0) && spent < budget; {
		moved := false
		for _, moves := range s.timely(p) {
			if spent += 2 * s.effort(); spent > budget || s.stop() {
				return p, changed
			}
			apply(p, moves, 1)
			if next, fits := s.evaluate(p, nil); fits && s.nobodyLoses(next, current) {
				if l := s.lateness(p); l < late-lateNoticed || l <= late+lateNoticed && next.tense < current.tense {
					current, late, moved, changed = next, l, true, true
					break
				}
			}
			apply(p, moves, -1)
		}
		if !moved {
			break
		}
	}
	return p, changed
}

// lateness is what comes late in all under a pattern.
func (s *search) lateness(p Pattern) int64 {
	if !s.g.rationed() {
		return 0
	}
	s.visits(p)
	sum := int64(0)
	for _, l := range s.timing.late {
		sum += l
	}
	return sum
}

// nobodyLoses tells whether a pattern keeps intervals and shares as they are, and turns near the published ones.
func (s *search) nobodyLoses(next, current score) bool {
	if next.late > current.late || s.mostMoved > 0 && next.moved > s.mostMoved {
		return false
	}
	for k := range next.shares {
		if d := next.shares[k] - current.shares[k]; d > shareTolerance || d < -shareTolerance {
			return d > 0
		}
	}
	return true
}

// timely lists changes for the zones whose water comes late, those with most lateness first, then for those that are
// watered on their last allowed day: a visit more, or one moved.
func (s *search) timely(p Pattern) [][]change {
	var zones []int
	late := make([]int64, len(p))
	copy(late, s.timing.late)
	for j := range late {
		if _, tense := s.g.gaps(p, j); tense > 0 || late[j] > 0 {
			zones = append(zones, j)
		}
	}
	sort.SliceStable(zones, func(a, b int) bool { return late[zones[a]] > late[zones[b]] })
	var out [][]change
	for _, j := range zones {
		slots := s.g.Of[s.g.Zones[j].Source]
		for _, w := range slots {
			if p[j][w] > 0 || !s.g.canVisit(j, w) {
				continue
			}
			out = append(out, []change{{j, w, 1}})
			for _, u := range slots {
				if p[j][u] > 0 {
					out = append(out, []change{{j, u, -1}, {j, w, 1}})
				}
			}
		}
	}
	return out
}
