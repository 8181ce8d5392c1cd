package rotation

import (
	"math/rand/v2"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
)

// Config says how hard to look and what to stay close to.
type Config struct {
	Level    float64 // the share that patterns are built for
	Work     int64   // most steps of any kind; what it takes to get a rotation at all is done without
	Budget   int     // work of the search, in arcs of the divisions it may make
	Anneal   int     // work of the search that also accepts worse patterns for a while
	Retime   int     // work of the search for water in time and room for a missed turn
	Bound    float64 // a smallest share that no rotation exceeds; the search stops there
	Seed     uint64
	Grid     problem.Span            // turns start at multiples of this; 0 for any moment
	Kept     Pattern                 // the published pattern, or nil
	Starts   bool                    // look for better starts on the grid than the published ones
	KeptTime map[[2]int]problem.Span // minutes of the published turns by zone and slot
	Clock    func(zone, slot int) problem.Instant
	Stop     func() bool
}

// Result is the rotation of a group.
type Result struct {
	Pattern   Pattern
	Runs      []Run
	Levels    []Level // of the last division; placement may have cost something more
	Visits    []Visit
	Given     []problem.Span // minutes by zone, as placed
	Late      int            // days beyond interval limits, added up over zones
	Tense     int            // times that a zone is watered on its last allowed day
	Dry       int64          // milli-minutes that come late for some plants, added up over zones
	Evaluated int
	Work      int64       // steps taken
	Caps      []VolumeCap // by pool
}

// placeRounds is how often windows are lowered for turns that did not fit.
const placeRounds = 14

// leastCut is the least by which a window is lowered.
const leastCut = problem.Span(problem.Minute)

// Solve finds visits and turns for the zones of the group.
func (g *Group) Solve(c Config) Result {
	caps := g.volumeCaps()
	g.noteVisits()
	e := &evaluator{g: g, limits: g.arrange(caps), kept: c.Kept, keptTime: c.KeptTime}
	g.setRoom(&e.limits)
	s := &search{
		evaluator: e, rng: rand.New(rand.NewPCG(c.Seed, 0x726f7461)), halt: c.Stop, //nolint:gosec // reproducible on purpose
		allowed: c.Work * searchPart / 100,
	}
	level := c.Level
	if level <= 0 || level > 1 {
		level = 1
	}
	p := c.Kept
	if p == nil {
		p = s.first(level)
	} else {
		p = s.mend(p.clone())
		s.tolerance, s.mostMoved = noticedGain, distance(p, c.Kept)+p.count()*mostChanged/100
	}
	s.measure(p, caps)
	if c.Budget > 0 {
		p = s.improve(p, c.Budget)
	}
	if c.Anneal > 0 && c.Kept == nil {
		if q, changed := s.anneal(p, c.Anneal, c.Bound); changed {
			p = s.improve(q, c.Budget/2)
		}
	}
	s.allowed = c.Work * trimPart / 100
	if c.Kept == nil || c.Budget > 0 {
		p = s.trim(p, max(c.Budget, leastTrim))
	}
	s.allowed = c.Work
	best := s.settle(p, caps, c)
	if c.Budget > 0 && c.Kept == nil {
		best, p = s.relearn(best, p, caps, c)
	}
	if c.Retime > 0 && !s.spent() {
		if timely, changed := s.retime(p, c.Retime); changed {
			if other := s.settle(timely, caps, c); g.resultScore(&other).better(g.resultScore(&best)) {
				best = other
			}
		}
	}
	if c.Grid > 0 {
		best = s.onGrid(best, caps, c)
	}
	best.Evaluated, best.Work = e.count, e.work()
	return best
}

// measure holds volume limits in minutes of the zones that use them under a pattern.
func (s *search) measure(p Pattern, caps []volumeCap) {
	if len(caps) == 0 {
		return
	}
	s.remix(p)
	for round := 0; round < calibrationRounds && (round == 0 || !s.spent()); round++ {
		visits, _ := s.visits(p)
		s.g.calibrate(caps, &s.limits, visits, 1, false)
	}
}

type search struct {
	*evaluator
	rng       *rand.Rand
	halt      func() bool
	allowed   int64          // work at which no better pattern is looked for
	tolerance float64        // of a change for the better
	most      []float64      // sorted shares that the zones could have at most; nil until asked for
	metered   bool           // what waited for a line's flow lowers the flow, not the windows of those that waited
	learned   []problem.Span // by slot: what the last rotation was placed with cut off
	mostMoved int            // turns by which a pattern may differ from the published one; 0 for any
}

// relearn improves the pattern once more where windows hold less than the search counted on and somebody goes short for it:
// with what they turned out to hold.
func (s *search) relearn(best Result, p Pattern, caps []volumeCap, c Config) (Result, Pattern) {
	cut, room := s.limits.cut, s.limits.room
	for range relearnRounds {
		score := s.g.resultScore(&best)
		if slices.Equal(s.learned, s.limits.cut) || s.spent() || !slices.ContainsFunc(score.shares, func(v float64) bool { return v < 1 }) {
			break
		}
		s.limits.cut = slices.Clone(s.learned)
		s.g.setRoom(&s.limits)
		s.allowed = c.Work * searchPart / 100
		q := s.improve(best.Pattern.clone(), c.Budget/2)
		s.allowed = c.Work
		other := s.settle(q, caps, c)
		if !s.g.resultScore(&other).better(score) {
			break
		}
		best, p = other, q
	}
	s.limits.cut, s.limits.room = cut, room
	return best, p
}

// relearnRounds is how often patterns are improved once more for what their windows turned out to hold.
const relearnRounds = 3

// Parts of the work, in hundredths, after which the search leaves the rest to those who come after it: to dropping turns,
// and that to placing them.
const (
	searchPart = 70
	trimPart   = 85
)

func (s *search) spent() bool { return s.work() >= s.allowed }

// stop tells whether to be content with the pattern at hand.
func (s *search) stop() bool { return s.spent() || s.halt != nil && s.halt() }

// first builds patterns for a few levels and orders and keeps the best.
func (s *search) first(level float64) Pattern {
	g := s.g
	byTime, byFreedom := make([]int, len(g.Zones)), make([]int, len(g.Zones))
	for j := range g.Zones {
		byTime[j], byFreedom[j] = j, j
	}
	sort.SliceStable(byTime, func(a, b int) bool { return g.Zones[byTime[a]].Time > g.Zones[byTime[b]].Time })
	sort.SliceStable(byFreedom, func(a, b int) bool {
		return g.Zones[byFreedom[a]].Interval < g.Zones[byFreedom[b]].Interval
	})
	var best Pattern
	var bestScore score
	consider := func(build func() Pattern) {
		if best != nil && s.spent() {
			return
		}
		p, incumbent := build(), (*score)(nil)
		if best != nil {
			incumbent = &bestScore
		}
		if sc, ok := s.evaluate(p, incumbent); ok && (best == nil || sc.better(bestScore)) {
			best, bestScore = p, sc
		}
	}
	for _, setup := range setupWeights {
		for _, part := range []float64{1, 0.8, 0.5} {
			consider(func() Pattern { return g.build(s.limits.room, level*part, setup, byTime) })
		}
	}
	if best == nil || !s.reached(bestScore, level) {
		for _, part := range []float64{1, 0.96} {
			consider(func() Pattern { return g.builder(s.limits.room, level*part, packWeight, byTime).pack(s.rng) })
		}
		if len(g.Zones) > 0 && !g.several() && (best == nil || !s.reached(bestScore, level)) {
			if p := g.builder(s.limits.room, level, packWeight, byTime).fill(); p != nil {
				consider(func() Pattern { return p })
			}
		}
	}
	if best == nil || bestScore.late > 0 {
		for _, part := range []float64{1, 0.5, 0} {
			consider(func() Pattern { return g.build(s.limits.room, level*part, setupWeights[0], byFreedom) })
		}
	}
	if best == nil {
		best = s.thin(g.build(s.limits.room, 0, setupWeights[0], byFreedom))
	}
	return best
}

// thin takes turns away until the shortest turns of every window fit: from the fullest window, first where that keeps
// the interval limits.
func (s *search) thin(p Pattern) Pattern {
	for !s.load(p) {
		worst, crowd := -1, -1.0
		for w := range s.g.Slots {
			sum := 0.0
			for j := range p {
				sum += float64(p[j][w]) * float64(s.g.minRun(j)+s.g.Model.Sources[s.g.Slots[w].Source].Changeover)
			}
			if c := sum / max(1, s.limits.room[w]); sum > 0 && c > crowd {
				worst, crowd = w, c
			}
		}
		if worst < 0 {
			return p
		}
		take, least := -1, 1<<30
		for j := range p {
			if p[j][worst] == 0 {
				continue
			}
			p[j][worst]--
			late := s.g.lateDays(p, j)
			p[j][worst]++
			if late < least {
				take, least = j, late
			}
		}
		p[take][worst]--
	}
	return p
}

// noticedGain is the least gain in a share for which the published rota is changed.
const noticedGain = 0.01

// mostChanged is the part of the published turns, in hundredths, that a re-plan may change for better shares. Interval
// limits may force more.
const mostChanged = 20

func (s *search) worthwhile(next, current score) bool {
	if s.mostMoved > 0 && next.moved > s.mostMoved && next.late >= current.late {
		return false
	}
	return next.betterBy(current, max(s.tolerance, shareTolerance))
}

// mend adds the fewest turns that bring back interval limits which the published turns no longer keep, each where the
// shares suffer least.
func (s *search) mend(p Pattern) Pattern {
	if p = s.thin(p); len(s.g.Zones) == 0 {
		return p
	}
	current, ok := s.evaluate(p, nil)
	for ok && current.late > 0 && !s.spent() {
		var best []change
		bestScore := current
		for j := range p {
			late := s.g.lateDays(p, j)
			if late == 0 {
				continue
			}
			for _, w := range s.g.Of[s.g.Zones[j].Source] {
				if !s.g.canVisit(j, w) || p[j][w] > 0 {
					continue
				}
				try := []change{{j, w, 1}}
				apply(p, try, 1)
				if s.g.lateDays(p, j) < late {
					if next, fits := s.evaluate(p, &bestScore); fits && next.better(bestScore) {
						best, bestScore = try, next
					}
				}
				apply(p, try, -1)
			}
		}
		if best == nil {
			break
		}
		apply(p, best, 1)
		current = bestScore
	}
	return p
}

// effort is the work of one division: a network for every level, of which there are at most as many as zones, and in
// networks of many arcs more than one path to each.
func (s *search) effort() int {
	arcs := len(s.in.arcs) + len(s.g.Slots)
	return max(1, arcs*(10+len(s.g.Zones))/20*max(usualArcs, arcs)/usualArcs)
}

// usualArcs is the size of a network whose flows take a few paths.
const usualArcs = 150

// change is a move of the search: turns added and taken away.
type change struct {
	zone, slot, by int
}

func apply(p Pattern, moves []change, sign int) {
	for _, c := range moves {
		p[c.zone][c.slot] = uint8(int(p[c.zone][c.slot]) + sign*c.by)
	}
}

// improve changes single visits, level by level from the lowest, for as long as that makes the vector of shares better.
func (s *search) improve(p Pattern, budget int) Pattern {
	current, ok := s.evaluate(p, nil)
	if !ok {
		return p
	}
	spent := 0
	if s.kept == nil && s.g.several() {
		current, spent = s.widen(p, current, budget/2)
	}
	for spent < budget {
		moved := false
		_, levels := s.visits(p)
		arcs := append([]arc(nil), s.in.arcs...)
		for k := range levels {
			if levels[k].Full && levels[k].Share.Float() >= 1 {
				break
			}
			for _, moves := range s.candidates(p, &levels[k], arcs) {
				if s.stop() {
					return p
				}
				if spent += s.effort(); spent > budget {
					return p
				}
				apply(p, moves, 1)
				if next, ok := s.evaluate(p, &current); ok && s.worthwhile(next, current) {
					current, moved = next, true
					break
				}
				apply(p, moves, -1)
			}
			if moved {
				break
			}
		}
		if !moved {
			break
		}
	}
	return p
}

// widen gives the visits that hold the lowest level at their longest turns one more of them, all at once, for as long as that
// helps: where turns are short and soak, that lifts more than any single turn, and divisions among many sources are dear.
func (s *search) widen(p Pattern, current score, budget int) (score, int) {
	spent := 0
	for !s.stop() {
		_, levels := s.visits(p)
		arcs := append([]arc(nil), s.in.arcs...)
		var moves []change
		for k := 0; k < len(levels) && len(moves) == 0 && levels[k].Share.Float() < levels[0].Share.Float()+reachedGap; k++ {
			moves = s.longer(p, &levels[k], arcs)
		}
		if spent += s.effort(); len(moves) == 0 || spent > budget {
			break
		}
		apply(p, moves, 1)
		next, ok := s.evaluate(p, &current)
		if !ok || !s.worthwhile(next, current) {
			apply(p, moves, -1)
			break
		}
		current = next
	}
	return current, spent
}

// longer lists a turn more for every visit at its limit that it makes longer.
func (s *search) longer(p Pattern, l *Level, arcs []arc) []change {
	var out []change
	for _, a := range l.Arcs {
		j, w := arcs[a].claim, arcs[a].slot
		runs := int(p[j][w])
		if runs < maxRuns && s.g.visitCap(j, w, runs+1) > s.g.visitCap(j, w, runs)+s.g.minRun(j) {
			out = append(out, change{j, w, 1})
		}
	}
	return out
}

// leastTrim is work enough to try every turn of a small garden.
const leastTrim = 50000

// trim drops turns that lower no share.
func (s *search) trim(p Pattern, budget int) Pattern {
	current, ok := s.evaluate(p, nil)
	if !ok {
		return p
	}
	for j := range p {
		for w := range p[j] {
			if budget -= s.effort(); p[j][w] == 0 || budget < 0 || s.spent() {
				budget += s.effort()
				continue
			}
			p[j][w]--
			if next, ok := s.evaluate(p, &current); ok && s.worthwhile(next, current) {
				current = next
				continue
			}
			p[j][w]++
		}
	}
	return p
}

// candidates lists changes that could lift a level: a turn more for a zone of the set outside the tight windows, a turn
// less in a tight window, a turn moved out of it, two turns exchanged.
func (s *search) candidates(p Pattern, l *Level, arcs []arc) [][]change {
	g := s.g
	tight := make([]bool, len(g.Slots))
	for _, w := range l.Slots {
		tight[w] = true
	}
	for _, pool := range l.Pools {
		for w := range g.Slots {
			for q := s.limits.poolOf[w]; q >= 0; q = s.limits.parent[q] {
				tight[w] = tight[w] || q == pool
			}
		}
	}
	atLimit := map[[2]int]bool{}
	for _, a := range l.Arcs {
		atLimit[[2]int{arcs[a].claim, arcs[a].slot}] = true
	}
	var out [][]change
	for _, j := range l.Claims {
		for _, w := range g.Of[g.Zones[j].Source] {
			if g.canVisit(j, w) && (!tight[w] || atLimit[[2]int{j, w}]) && p[j][w] < maxRuns {
				out = append(out, []change{{j, w, 1}})
			}
		}
	}
	for w := range g.Slots {
		if !tight[w] {
			continue
		}
		for j := range p {
			if p[j][w] == 0 {
				continue
			}
			out = append(out, []change{{j, w, -1}})
			for _, u := range g.Of[g.Zones[j].Source] {
				if u != w && !tight[u] && g.canVisit(j, u) && p[j][u] < maxRuns {
					out = append(out, []change{{j, w, -1}, {j, u, 1}})
				}
			}
		}
	}
	s.rng.Shuffle(len(out), func(a, b int) { out[a], out[b] = out[b], out[a] })
	sort.SliceStable(out, func(a, b int) bool { return len(out[a]) < len(out[b]) })
	return out
}

// settle divides the time for the pattern and places the turns. Where plants wait for water in time it does so a second
// time without regard to that, because the windows may take those lengths better; shares come first.
func (s *search) settle(p Pattern, caps []volumeCap, c Config) Result {
	s.measure(p, caps)
	cut, pools := slices.Clone(s.limits.cut), slices.Clone(s.limits.pools)
	begin := func() { s.limits.cut, s.limits.pools = slices.Clone(cut), slices.Clone(pools) }
	s.metered = true
	best := s.settleOnce(p.clone(), caps, c)
	learned := slices.Clone(s.learned)
	begin()
	if volumes := slices.ContainsFunc(caps, func(c volumeCap) bool { return !c.meter }); volumes && s.g.several() && !s.spent() {
		s.metered = false // daily volumes lower the same pools
		if other := s.settleOnce(p.clone(), caps, c); s.g.resultScore(&other).better(s.g.resultScore(&best)) {
			best, learned = other, slices.Clone(s.learned)
		}
		begin()
	}
	if s.g.rationed() && !s.spent() {
		s.untimed = true
		other := s.settleOnce(p.clone(), caps, c)
		if s.untimed = false; s.g.resultScore(&other).better(s.g.resultScore(&best)) {
			best, learned = other, slices.Clone(s.learned)
		}
		begin()
	}
	s.learned = learned
	return best
}

// settleOnce divides and places, lowers windows and volumes where turns did not fit, and keeps the best rotation of all
// rounds. Every round is valid as it stands, because what does not fit is cut off.
func (s *search) settleOnce(p Pattern, caps []volumeCap, c Config) Result {
	g := s.g
	var best Result
	var bestScore score
	found := false
	eta := 1.0
	s.learned = slices.Clone(s.limits.cut)
	for range placeRounds {
		visits, levels := s.visits(p)
		if visits == nil {
			p = s.thin(p)
			visits, levels = s.visits(p)
		}
		for round := 0; len(caps) > 0 && round < placeRounds; round++ {
			if g.calibrate(caps, &s.limits, visits, eta, true) {
				break
			}
			if visits, levels = s.visits(p); visits == nil {
				p = s.thin(p)
				visits, levels = s.visits(p)
			}
		}
		placed := g.bestPlacement(visits, c)
		runs := placed.runs
		if s.keepsVolumes(caps, runs) {
			if c.Grid > 0 {
				runs = g.lengthened(runs, caps, c.Grid)
			}
			r := g.result(p, visits, levels, runs)
			r.Caps = s.poolCaps(caps)
			if sc := g.resultScore(&r); !found || sc.better(bestScore) {
				best, bestScore, found = r, sc, true
				s.learned = slices.Clone(s.limits.cut)
			}
		}
		total := s.learn(caps, visits, placed)
		if total == 0 || found && s.spent() {
			break
		}
	}
	if !found {
		return g.result(make(Pattern, 0), nil, nil, nil)
	}
	if c.Grid == 0 && len(caps) > 0 {
		longer := g.result(best.Pattern, best.Visits, best.Levels, g.lengthened(best.Runs, caps, 0))
		if longer.Caps = best.Caps; g.resultScore(&longer).better(bestScore) {
			best = longer
		}
	}
	return best
}

// learn lowers windows for what did not fit into them, and the flow of a line through a window for what did not fit because
// sources waited for it. It returns all that did not fit.
func (s *search) learn(caps []volumeCap, visits []Visit, placed *placement) problem.Span {
	total := problem.Span(0)
	for w, over := range placed.overflow {
		if total += over; over == 0 {
			continue
		}
		held := problem.Span(0)
		if s.metered {
			held = min(over, placed.held[w])
		}
		if held < over {
			s.limits.cut[w] += max((over-held)/3, leastCut)
		}
	}
	for k := range caps {
		c := &caps[k]
		if !s.metered || !c.meter || c.pool < 0 {
			continue
		}
		held := problem.Span(0)
		for _, w := range c.slots {
			held += min(placed.overflow[w], placed.held[w])
		}
		if held > 0 {
			_, time := s.g.used(c, visits)
			s.limits.pools[c.pool] = max(0, min(s.limits.pools[c.pool], time)-max(held/3, leastCut))
		}
	}
	return total
}

func (g *Group) bestPlacement(visits []Visit, c Config) *placement {
	rules := []preference{longestFirst, largestFirst, inOrder}
	if c.Clock != nil {
		rules = []preference{onTheClock, earlierFirst, longestFirst, largestFirst}
	}
	return g.place(visits, rules, c.Grid, c.Clock)
}

// keepsVolumes adds up the water of the placed turns.
func (s *search) keepsVolumes(caps []volumeCap, runs []Run) bool {
	for k := range caps {
		c := &caps[k]
		if c.meter {
			continue // the placement itself holds the flow
		}
		in := make([]bool, len(s.g.Slots))
		for _, w := range c.slots {
			in[w] = true
		}
		volume := int64(0)
		for _, r := range runs {
			if in[r.Slot] {
				volume += s.g.Zones[r.Zone].Op.Total.Volume(problem.Span(r.End - r.Start))
			}
		}
		if volume > c.limit {
			return false
		}
	}
	return true
}

func (g *Group) result(p Pattern, visits []Visit, levels []Level, runs []Run) Result {
	r := Result{Pattern: p.clone(), Visits: visits, Levels: levels, Runs: runs, Given: make([]problem.Span, len(g.Zones))}
	placed := make(Pattern, len(g.Zones))
	for j := range placed {
		placed[j] = make([]uint8, len(g.Slots))
	}
	for j := range g.Zones {
		r.Given[j] = g.Zones[j].Done
	}
	for _, run := range runs {
		r.Given[run.Zone] += problem.Span(run.End - run.Start)
		placed[run.Zone][run.Slot]++
	}
	for j := range g.Zones {
		late, tense := g.gaps(placed, j)
		r.Late += late
		r.Tense += tense
		r.Dry += g.lateness(j, &r)
	}
	return r
}

func (g *Group) resultScore(r *Result) score {
	s := score{late: r.Late, dry: r.Dry, tense: r.Tense, turns: len(r.Runs)}
	entries := make([]entry, len(g.Zones))
	for j := range g.Zones {
		z := &g.Zones[j]
		entries[j] = entry{z.Class, 1}
		if z.Weight > 0 {
			entries[j].share = float64(min(r.Given[j], z.Time)) / float64(z.Weight)
		}
	}
	s.shares = sortedShares(entries)
	return s
}

// VolumeCap says which limit a pool stands for.
type VolumeCap struct {
	Line   int // -1 for a source's own
	Source int // -1 for a line's
	Day    int
	Flow   bool // the flow of the line through a window, not a daily volume
}

func (s *search) poolCaps(caps []volumeCap) []VolumeCap {
	out := make([]VolumeCap, len(s.limits.pools))
	for _, c := range caps {
		if c.pool >= 0 {
			out[c.pool] = VolumeCap{Line: c.line, Source: c.src, Day: c.day, Flow: c.meter}
		}
	}
	return out
}
