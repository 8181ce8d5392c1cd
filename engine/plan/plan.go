// Package plan proposes rotations: it decides zones and shares together, bounds what any plan could reach, says what
// holds the short ones down, and re-plans with as little change as it can.
package plan

import (
	"fmt"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/rotation"
)

// Effort is how hard to look for a better plan.
type Effort string

// The efforts. A plan of full effort is never worse than the fast one of the same problem and options.
const (
	Fast Effort = "fast"
	Full Effort = "full"
)

// Options say how a plan is to be made.
type Options struct {
	Effort    Effort          // "" is Fast
	Seed      uint64          // of every random choice
	Share     problem.Measure // what is shared evenly when water is short; "" is by need
	Pinned    []Pin           // layouts that stay together
	Forbidden [][2]string     // layouts that must not be open together
	Excluded  []string        // layouts that are left out
	Grid      problem.Span    // turns start at whole multiples of this; 0 for any moment
	Now       problem.Instant // nothing is planned before; what ran is in Problem.Past
	// Previous is the published rota that the plan stays close to; nil for a fresh plan. Times are those of the problem, and
	// turns that began before Now don't matter.
	Previous    *problem.Schedule
	PreviousEnd problem.Instant // turns of the plan after it are no changes; 0 for the end of the problem
	Notice      problem.Span    // turns of Previous that start this soon after Now are only shortened or cancelled
	Locked      []problem.Turn  // turns of Previous that stay where they are
	Stop        func() bool     // asked between evaluations; a plan that was stopped says so
	// Progress is told what begins: making zones for a share, or dividing the time among zones that are there. It has no say in
	// the plan.
	Progress func(s Stage, level float64)
}

// Pin is layouts that stay in one zone.
type Pin struct {
	Layouts []string
	Zone    string // the published zone that they are to be in; "" for any
	Alone   bool   // nobody else may be in their zone
}

// Stage is a code for what the planner is doing.
type Stage string

// The stages.
const (
	MakingZones  Stage = "zones"
	PlacingTurns Stage = "turns"
)

func (p *planner) tell(s Stage, level float64) {
	if p.Progress != nil {
		p.Progress(s, level)
	}
}

// OptionError is an option that names something unknown or contradicts another.
type OptionError struct {
	Field  string
	Reason string
}

// Error names the option.
func (e *OptionError) Error() string { return fmt.Sprintf("plan: option %s: %s", e.Field, e.Reason) }

// InvalidPlanError means that the planner made a plan that breaks its own rules: a fault of ours. The plan is not
// returned.
type InvalidPlanError struct{ Violations []problem.Violation }

// Error names the first broken rule.
func (e *InvalidPlanError) Error() string {
	v := e.Violations[0]
	return fmt.Sprintf("plan: rule %s broken (zone %q, layout %q, window %q, day %d: %d against %d), %d in all",
		v.Rule, v.Zone, v.Layout, v.Window, v.Day, v.Have, v.Limit, len(e.Violations))
}

// Share is what one layout gets.
type Share struct {
	Layout    string
	Zone      string // "" for a layout that no turn can water
	Class     int
	Need      problem.Milliliters
	Delivered problem.Milliliters // rounded down
	Fraction  float64             // delivered / need, at most 1; 1 where nothing is needed
	Over      problem.Milliliters // beyond need·(1+tolerance)
	Time      problem.Span
	Turns     int
}

// Plan is a proposed rotation with its working.
type Plan struct {
	Schedule   problem.Schedule
	Shares     []Share // by layout id, unservable ones included
	Unservable []problem.Unservable
	Late       []problem.Violation // interval limits that could not be kept
	Dry        []problem.Violation // days on which plants go short of water, by layout
	Smallest   float64             // the smallest fraction of all servable layouts
	Mean       float64
	Over       problem.Milliliters
	OpenTime   problem.Span
	Bound      Bound
	Shortages  []Shortage
	Levels     []float64 // the shares that zones were made for, in the order tried
	Evaluated  int       // visit patterns that were divided
	Stopped    bool      // Options.Stop ended the search; the plan is valid, but another run may differ
	// Against Options.Previous, from Options.Now on:
	Follows []int // by turn of the schedule, the published turn that it goes on from; -1 for a new one
	Changes []Change
	Forced  []Forced // the limits that ask for more changes than people should have to put up with; nil when they don't
	ToCome  int      // published turns that were still to come
}

// Propose makes a plan. An invalid problem gives a *problem.InvalidError, an impossible option an *OptionError.
func Propose(p problem.Problem, o Options) (Plan, error) {
	p, err := exclude(p, o)
	if err != nil {
		return Plan{}, err
	}
	m, err := problem.NewModel(canonical(p))
	if err != nil {
		return Plan{}, original(p, err)
	}
	pl := &planner{Model: m, Options: o, asPublished: o.Previous}
	if err := pl.resolve(); err != nil {
		return Plan{}, err
	}
	pl.bounds = pl.newBounds(true)
	pl.aim = pl.bounds
	plan, err := pl.make()
	if err != nil {
		return Plan{}, err
	}
	pl.account(&plan)
	plan.Bound = pl.boundsFor(len(plan.Late) > 0).near(plan.Smallest)
	return plan, nil
}

// boundsFor are the bounds that hold for plans that keep the interval limits, or for those that don't.
func (p *planner) boundsFor(late bool) *bounds {
	if !late {
		return p.bounds
	}
	if p.loose == nil {
		p.loose = p.newBounds(false)
	}
	return p.loose
}

// newBounds are those of the whole horizon, or of what is left of it.
func (p *planner) newBounds(intervals bool) *bounds {
	if p.Now == 0 && len(p.Past) == 0 {
		return newBounds(p.Model, intervals)
	}
	return newRemainder(p.Model, p.Now).bounds(intervals)
}

// make plans all groups, or re-plans them. Full effort starts with the fast plan and only replaces it by a better one.
func (p *planner) make() (Plan, error) {
	if p.Effort != Full {
		return p.made()
	}
	previous, before := p.Previous, p.before.clone()
	p.Effort = Fast
	fast, err := p.made()
	p.Effort, p.Previous, p.before = Full, previous, before
	p.left = p.budgets().work
	if err != nil || p.halt() {
		fast.Stopped = p.stopped
		return fast, err
	}
	full, err := p.made()
	if err != nil {
		return Plan{}, err
	}
	gained := full.better(&fast)
	if full.Disturbed() != fast.Disturbed() {
		gained = preferred(&full, &fast)
	}
	if !gained {
		fast.Levels, fast.Evaluated, fast.Stopped = full.Levels, full.Evaluated, full.Stopped
		return fast, nil
	}
	return full, nil
}

// made makes a plan with the effort at hand, and shuts valves early in it.
func (p *planner) made() (plan Plan, err error) {
	p.left = p.budgets().work
	switch {
	case p.before != nil:
		plan, err = p.follow()
	case p.Effort == Full:
		plan, err = p.polished()
	default:
		plan, err = p.timely()
	}
	if err == nil {
		p.closeEarly(&plan)
	}
	return plan, err
}

// polishRounds is how often a fresh plan is divided and placed once more.
const polishRounds = 6

// polishPart is the part of the work that is set aside for that.
const polishPart = 5

// thirstyTries is how many more plans are made when everybody gets the need, but some plants not in time.
const thirstyTries = 2

// timely makes a plan, and others with other dice as long as water is there for all but comes late for some.
func (p *planner) timely() (Plan, error) {
	best, err := p.polished()
	seed := p.Seed
	for n := range uint64(thirstyTries) {
		if err != nil || best.Smallest < 1-sameShare || best.thirst() == 0 || p.halt() {
			break
		}
		p.Seed = seed + n + 1
		var next Plan
		if next, err = p.polished(); err == nil && next.better(&best) {
			best = next
		}
	}
	p.Seed = seed
	return best, err
}

// better compares two plans of one problem: interval limits kept, sorted shares, water beyond need, turns.
func (p *Plan) better(o *Plan) bool {
	if len(p.Late) != len(o.Late) {
		return len(p.Late) < len(o.Late)
	}
	a, b := fractions(p.Shares), fractions(o.Shares)
	for k := range a {
		if d := a[k] - b[k]; d > sameShare || d < -sameShare {
			return d > 0
		}
	}
	if d := p.thirst() - o.thirst(); d > sameShare || d < -sameShare {
		return d < 0
	}
	if p.Over != o.Over {
		return p.Over < o.Over
	}
	return len(p.Schedule.Turns) < len(o.Schedule.Turns)
}

// polished makes a plan and then treats it as published: as long as dividing and placing the same visits once more
// gains something, that is the plan. What is left stays as it is when nothing happens.
func (p *planner) polished() (Plan, error) {
	plan, err := p.checked(p.solve)
	if err != nil {
		return Plan{}, err
	}
	fresh := p.Options
	p.left = max(0, p.left) + p.budgets().work/polishPart
	for round := 0; round < polishRounds && p.left > 0; round++ {
		schedule := plan.Schedule
		p.Previous, p.asPublished, p.PreviousEnd, p.Notice, p.Locked = &schedule, &schedule, 0, 0, nil
		if err := p.resolvePrevious(); err != nil {
			return Plan{}, err
		}
		f := frame{remaining: p.before.remaining, from: p.Now}
		next, err := p.checked(func(sources []int) solved { return p.replan(sources, f) })
		if err != nil {
			return Plan{}, err
		}
		if _, holds := p.stay(&next); holds || !(len(next.Late) < len(plan.Late) || gains(&next, &plan) || saves(&next, &plan)) {
			break
		}
		plan = next
	}
	p.Options, p.before, p.asPublished = fresh, nil, nil
	return plan, nil
}

// checked plans the groups one by one, each with its part of the work that is left, and lets no plan through that breaks a rule.
func (p *planner) checked(solve func([]int) solved) (Plan, error) {
	var parts []solved
	groups, layouts := p.groups(), 0
	for _, sources := range groups {
		layouts += p.layoutsAt(sources)
	}
	for _, sources := range groups {
		others := p.left
		p.left = others * int64(p.layoutsAt(sources)) / int64(max(1, layouts))
		others -= p.left
		parts = append(parts, solve(sources))
		p.left += others
		layouts -= p.layoutsAt(sources)
	}
	plan := p.assemble(parts)
	f := sorted(p.Check(plan.Schedule))
	if len(f.broken) > 0 {
		return Plan{}, &InvalidPlanError{Violations: f.broken}
	}
	plan.Late, plan.Dry = f.late, f.dry
	return plan, nil
}

func (p *planner) layoutsAt(sources []int) int {
	n := 0
	for _, s := range sources {
		n += len(p.Members[s])
	}
	return n
}

// original reports the faults of the problem as it was given, in its own order.
func original(p problem.Problem, err error) error {
	if own := p.Validate(); own != nil {
		return own
	}
	return err
}

// found parts what a plan reports, interval limits that could not be kept in days or in water, from rules that no plan may
// break.
type found struct {
	late, dry, broken []problem.Violation
}

func sorted(all []problem.Violation) found {
	var f found
	for _, v := range all {
		switch v.Rule {
		case problem.RuleInterval:
			f.late = append(f.late, v)
		case problem.RuleDry:
			f.dry = append(f.dry, v)
		default:
			f.broken = append(f.broken, v)
		}
	}
	return f
}

// thirst is what is missing from root zones beyond what they hold readily, added up over layouts and days, as a part of
// all need.
func (p *Plan) thirst() float64 {
	need, dry := problem.Milliliters(0), int64(0)
	for _, s := range p.Shares {
		need += s.Need
	}
	for _, v := range p.Dry {
		dry += v.Have - v.Limit
	}
	return float64(dry) / float64(max(1, need))
}

func exclude(p problem.Problem, o Options) (problem.Problem, error) {
	known := map[string]bool{}
	for i := range p.Layouts {
		known[p.Layouts[i].ID] = true
	}
	out := map[string]bool{}
	for k, id := range o.Excluded {
		if !known[id] {
			return p, &OptionError{Field: fmt.Sprintf("/Excluded/%d", k), Reason: fmt.Sprintf("no layout is called %q", id)}
		}
		out[id] = true
	}
	if len(out) == 0 {
		return p, nil
	}
	var kept []problem.Layout
	for i := range p.Layouts {
		if !out[p.Layouts[i].ID] {
			kept = append(kept, p.Layouts[i])
		}
	}
	p.Layouts = kept
	p.Past = slices.Clone(p.Past)
	for k := range p.Past {
		p.Past[k].Given = slices.DeleteFunc(slices.Clone(p.Past[k].Given), func(g problem.Given) bool { return out[g.Layout] })
	}
	return p, nil
}

type planner struct {
	*problem.Model
	Options
	before      *published
	open        [][]problem.Slot  // by source, from Now on and beside the past; nil where that is all
	asPublished *problem.Schedule // Options.Previous as given, also when the horizon is longer
	pinned      []pin
	forbidden   [][2]int
	bounds      *bounds
	loose       *bounds // without interval limits; nil until asked for
	aim         *bounds // those of the two that the search at hand goes by
	stopped     bool
	evaluated   int
	left        int64 // work
	levels      []float64
	attempts    []solved // of the group at hand
}

// pin is a Pin in terms of the model.
type pin struct {
	members []int
	zone    string
	alone   bool
}

// resolve turns the names in the options into layouts.
func (p *planner) resolve() error {
	if p.Share == "" {
		p.Share = problem.ByNeed
	}
	if p.Share != problem.ByNeed && p.Share != problem.ByArea && p.Share != problem.ByMinutes {
		return &OptionError{Field: "/Share", Reason: fmt.Sprintf("%q is not a measure", p.Share)}
	}
	if p.Effort != "" && p.Effort != Fast && p.Effort != Full {
		return &OptionError{Field: "/Effort", Reason: fmt.Sprintf("%q is not an effort", p.Effort)}
	}
	if p.Grid < 0 || p.Grid > 60*problem.Minute {
		return &OptionError{Field: "/Grid", Reason: "must lie between 0 and 60 minutes"}
	}
	find := func(field, id string) (int, error) {
		i, ok := p.LayoutIndex(id)
		if !ok {
			return 0, &OptionError{Field: field, Reason: fmt.Sprintf("no layout is called %q", id)}
		}
		return i, nil
	}
	zoneOf := map[int]int{}
	for k, given := range p.Pinned {
		var members []int
		for n, id := range given.Layouts {
			i, err := find(fmt.Sprintf("/Pinned/%d/%d", k, n), id)
			if err != nil {
				return err
			}
			if _, twice := zoneOf[i]; twice {
				return &OptionError{Field: fmt.Sprintf("/Pinned/%d/%d", k, n), Reason: fmt.Sprintf("%q is pinned twice", id)}
			}
			zoneOf[i] = k
			members = append(members, i)
		}
		if len(members) == 0 {
			continue
		}
		next := pin{members: members, zone: given.Zone, alone: given.Alone}
		if !p.together(next.members) {
			return &OptionError{Field: fmt.Sprintf("/Pinned/%d", k), Reason: "these layouts cannot be open together"}
		}
		for _, other := range p.pinned {
			if other.zone == next.zone && next.zone != "" {
				return &OptionError{Field: fmt.Sprintf("/Pinned/%d", k), Reason: fmt.Sprintf("zone %q is pinned already", next.zone)}
			}
			if other.zone != "" && next.zone != "" {
				p.forbidden = append(p.forbidden, [2]int{other.members[0], members[0]})
			}
		}
		p.pinned = append(p.pinned, next)
	}
	for k, pair := range p.Forbidden {
		a, err := find(fmt.Sprintf("/Forbidden/%d/0", k), pair[0])
		if err != nil {
			return err
		}
		b, err := find(fmt.Sprintf("/Forbidden/%d/1", k), pair[1])
		if err != nil {
			return err
		}
		za, pinnedA := zoneOf[a]
		if zb, pinnedB := zoneOf[b]; pinnedA && pinnedB && za == zb {
			return &OptionError{Field: fmt.Sprintf("/Forbidden/%d", k), Reason: "the pair is pinned to one zone"}
		}
		p.forbidden = append(p.forbidden, [2]int{a, b})
	}
	if p.Now > 0 || len(p.Past) > 0 {
		p.open = p.freeSlots(frame{from: p.Now})
	}
	return p.resolvePrevious()
}

func (p *planner) together(members []int) bool {
	s := p.SourceOf[members[0]]
	for _, i := range members {
		if p.SourceOf[i] != s || !p.Servable[i] {
			return false
		}
	}
	if !p.Fits(s, members) {
		return false
	}
	line := p.LineOf[s]
	return line < 0 || p.Operate(s, members).Total <= p.Lines[line].FlowLimit
}

// groups returns the sources that must be planned together: those whose line limits them jointly.
func (p *planner) groups() [][]int {
	var out [][]int
	byLine := map[int]int{}
	for s := range p.Sources {
		line := p.LineOf[s]
		if line >= 0 && p.coupled(line) {
			if k, known := byLine[line]; known {
				out[k] = append(out[k], s)
				continue
			}
			byLine[line] = len(out)
		}
		out = append(out, []int{s})
	}
	return out
}

func (p *planner) coupled(line int) bool {
	sum := problem.Rate(0)
	for s := range p.Sources {
		if p.LineOf[s] == line {
			sum += p.Sources[s].FlowMax
		}
	}
	return p.Lines[line].DailyCap > 0 || sum > p.Lines[line].FlowLimit
}

// halt tells whether to be content with what was found, because somebody stopped the search or its work is done.
func (p *planner) halt() bool {
	if !p.stopped && p.Stop != nil && p.Stop() {
		p.stopped = true
	}
	return p.stopped || p.left <= 0
}

// assemble names zones and turns and adds up what everybody gets.
func (p *planner) assemble(parts []solved) Plan {
	plan := Plan{Unservable: p.Left, Stopped: p.stopped, Evaluated: p.evaluated, Levels: p.levels}
	n := 0
	for _, part := range parts {
		ids := make([]string, len(part.group.Zones))
		for j := range part.group.Zones {
			n++
			z := &part.group.Zones[j]
			if ids[j] = fmt.Sprintf("Z%d", n); part.ids != nil {
				ids[j] = part.ids[j]
			}
			zone := problem.Zone{ID: ids[j], Source: p.Sources[z.Source].ID}
			for _, i := range z.Members {
				zone.Layouts = append(zone.Layouts, p.Layouts[i].ID)
			}
			sort.Strings(zone.Layouts)
			plan.Schedule.Zones = append(plan.Schedule.Zones, zone)
		}
		plan.Schedule.Turns = append(plan.Schedule.Turns, part.fixed...)
		plan.Shortages = append(plan.Shortages, p.shortages(&part, ids)...)
		for _, r := range part.result.Runs {
			w := p.Windows[part.group.Slots[r.Slot].Window]
			plan.Schedule.Turns = append(plan.Schedule.Turns, problem.Turn{Zone: ids[r.Zone], Window: w.ID, Start: r.Start, End: r.End})
		}
	}
	sort.SliceStable(plan.Schedule.Turns, func(a, b int) bool { return plan.Schedule.Turns[a].Start < plan.Schedule.Turns[b].Start })
	plan.Schedule.Zones = p.withIdle(plan.Schedule.Zones)
	plan.Shares = shares(p.Model, plan.Schedule)
	plan.measure()
	return plan
}

// idle tells whether a zone can never have a turn: its one layout is carried by its source, but no turn can water it.
func (p *planner) idle(z problem.Zone) bool {
	if len(z.Layouts) != 1 {
		return false
	}
	i, known := p.LayoutIndex(z.Layouts[0])
	return known && p.Carried[i] && !p.Servable[i]
}

// withIdle adds the zones that never have a turn: layouts that their source can carry, but no turn can water. Each is a
// zone of its own, called as it was published.
func (p *planner) withIdle(zones []problem.Zone) []problem.Zone {
	zones = slices.Clip(zones)
	taken := map[string]bool{}
	for _, z := range zones {
		taken[z.ID] = true
		for _, id := range z.Layouts {
			taken["layout "+id] = true
		}
	}
	for _, u := range p.Left {
		i, _ := p.LayoutIndex(u.Layout)
		if !p.Carried[i] || taken["layout "+u.Layout] {
			continue
		}
		id := ""
		if p.asPublished != nil {
			for _, z := range p.asPublished.Zones {
				if p.idle(z) && z.Layouts[0] == u.Layout && !taken[z.ID] {
					id = z.ID
				}
			}
		}
		for n := len(zones) + 1; id == ""; n++ {
			if name := fmt.Sprintf("Z%d", n); !taken[name] {
				id = name
			}
		}
		taken[id] = true
		zones = append(zones, problem.Zone{ID: id, Source: p.Layouts[i].Source, Layouts: []string{u.Layout}})
	}
	return zones
}

func (p *Plan) measure() {
	p.Smallest, p.Mean, p.Over = 1, 0, 0
	served := 0
	for _, s := range p.Shares {
		if s.Zone == "" {
			continue
		}
		served++
		p.Smallest = min(p.Smallest, s.Fraction)
		p.Mean += s.Fraction
		p.Over += s.Over
	}
	p.Mean /= float64(max(1, served))
	p.OpenTime = 0
	for _, t := range p.Schedule.Turns {
		p.OpenTime += t.Length()
	}
}

// shares adds up what the schedule gives to every layout.
func shares(m *problem.Model, s problem.Schedule) []Share {
	out := make([]Share, len(m.Layouts))
	given := make([]int64, len(m.Layouts))
	for i := range m.Layouts {
		out[i] = Share{Layout: m.Layouts[i].ID, Class: m.Layouts[i].Class, Need: m.Layouts[i].Need, Fraction: 1}
		given[i] = 1000 * int64(m.HadInAll(i))
		for _, h := range m.Had[i] {
			out[i].Time += h.Time
		}
	}
	for _, z := range s.Zones {
		source, _ := m.SourceIndex(z.Source)
		members := make([]int, len(z.Layouts))
		for k, id := range z.Layouts {
			members[k], _ = m.LayoutIndex(id)
		}
		sort.Ints(members)
		op := m.Operate(source, members)
		for _, i := range members {
			if m.Servable[i] {
				out[i].Zone = z.ID
			}
		}
		for _, t := range s.Turns {
			if t.Zone != z.ID {
				continue
			}
			for k, p := range m.Portions(source, members, op, t) {
				given[members[k]] += p.Given
				out[members[k]].Time += p.Open
				out[members[k]].Turns++
			}
		}
	}
	for i := range out {
		s := &out[i]
		s.Delivered = problem.Milliliters(given[i] / 1000)
		if s.Need > 0 {
			s.Fraction = min(1, float64(given[i])/(float64(s.Need)*1000))
		}
		s.Over = max(0, s.Delivered-s.Need-s.Need*problem.Milliliters(m.OverTolerance)/1000)
	}
	sort.Slice(out, func(a, b int) bool { return out[a].Layout < out[b].Layout })
	return out
}

// solved is the rotation of one group.
type solved struct {
	group  *rotation.Group
	result rotation.Result
	level  float64        // the share that zones and visits were made for
	ids    []string       // of published zones; nil for new ones
	fixed  []problem.Turn // turns that were not planned again
}
