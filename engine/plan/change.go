package plan

import (
	"cmp"
	"slices"

	"rillturn.example/rillturn/engine/problem"
)

// ChangeKind is a code for what became of a published turn.
type ChangeKind string

// The kinds of changes.
const (
	Resized ChangeKind = "resized" // same zone and day, another length, or a start a little earlier or later
	Moved   ChangeKind = "moved"   // same zone and day, another time of day
	Dropped ChangeKind = "dropped"
	Added   ChangeKind = "added"
)

// Change is a difference between the published turns that were still to come and those of the plan. Was is empty for an
// added turn, Now for a dropped one.
type Change struct {
	Kind ChangeKind
	Was  problem.Turn
	Now  problem.Turn
}

// Forced is a limit that published turns no longer keep, by the rule that they would break.
type Forced struct {
	Rule  problem.Rule
	Turns int // published turns that it touches; for intervals, layouts that would wait too long
}

// mostDisturbed is the part of the published turns still to come that may be moved, added or dropped, unless a limit
// asks for more.
const mostDisturbed = 0.25

// disturbance is the part of the published turns still to come that are moved, added or dropped.
func (p *Plan) disturbance() float64 {
	n := 0
	for _, c := range p.Changes {
		if c.Kind != Resized {
			n++
		}
	}
	return float64(n) / float64(max(1, p.ToCome))
}

// Disturbed tells whether more of the published turns change than anybody should have to put up with.
func (p *Plan) Disturbed() bool { return p.disturbance() > mostDisturbed }

// follow makes a plan that stays close to the published rota. Zones stay; for the turns there are four ways, and the
// best of those is taken that change no more than mostDisturbed, unless only another keeps the interval limits:
//
//  1. the published visits with other lengths;
//  2. some other visits too, when that is noticeably better;
//  3. every published turn that may stay as it is, and as few new ones as the interval limits ask for;
//  4. as 2, with other starts where turns start on a grid.
//
// A rota under which nothing happened stays, to the byte.
func (p *planner) follow() (Plan, error) {
	if err := p.extend(); err != nil {
		return Plan{}, err
	}
	b := p.before
	usual := frame{fixed: b.fixed, remaining: b.remaining, from: b.freeFrom}
	plan, err := p.checked(func(sources []int) solved { return p.replan(sources, usual) })
	if err != nil {
		return Plan{}, err
	}
	if old, holds := p.stay(&plan); holds {
		return old, nil
	}
	search := usual
	search.arcs = p.budgets().arcs
	again, err := p.checked(func(sources []int) solved { return p.replan(sources, search) })
	if err != nil {
		return Plan{}, err
	}
	patched, err := p.checked(func(sources []int) solved { return p.replan(sources, p.patch()) })
	if err != nil {
		return Plan{}, err
	}
	others := []*Plan{&again, &patched}
	if p.Grid > 0 {
		search.starts = true
		shifted, err := p.checked(func(sources []int) solved { return p.replan(sources, search) })
		if err != nil {
			return Plan{}, err
		}
		others = append(others, &shifted)
	}
	for _, next := range append(others, &plan) {
		p.recall(next)
		p.note(next)
	}
	best := plan
	for _, next := range others {
		if preferred(next, &best) {
			best = *next
		}
	}
	if best.Disturbed() {
		best.Forced = p.forced()
	}
	return best, nil
}

// preferred tells whether a plan is to be taken instead of one that changes less.
func preferred(next, old *Plan) bool {
	switch {
	case next.Disturbed() != old.Disturbed():
		calm, restless := next, old
		if next.Disturbed() {
			calm, restless = old, next
		}
		return (calm == next) == (len(calm.Late) <= len(restless.Late))
	case len(next.Late) != len(old.Late):
		return len(next.Late) < len(old.Late)
	case next.Disturbed():
		return next.disturbance() < old.disturbance()
	}
	return gains(next, old)
}

// patch keeps all published turns that still keep the limits.
func (p *planner) patch() frame {
	b := p.before
	fixed := slices.Clone(b.fixed)
	for _, t := range b.remaining {
		if kept, stays := p.keep(t, fixed); stays {
			fixed = append(fixed, kept)
		}
	}
	return frame{fixed: p.repaired(fixed), from: b.freeFrom}
}

// extend plans the days that the published rota does not reach, with its turns as they are, and takes the whole for
// published: so that a longer horizon moves nothing.
func (p *planner) extend() error {
	if p.PreviousEnd == 0 || !slices.ContainsFunc(p.Windows, func(w problem.Window) bool { return w.Start >= p.PreviousEnd }) {
		return nil
	}
	f := p.patch()
	f.from, f.arcs, f.fresh = max(p.PreviousEnd, p.before.freeFrom), p.budgets().arcs, true
	plan, err := p.checked(func(sources []int) solved { return p.replan(sources, f) })
	if err != nil {
		return err
	}
	whole := problem.Schedule{Zones: p.Previous.Zones, Turns: slices.Clone(p.Previous.Turns)}
	for _, t := range plan.Schedule.Turns {
		if t.Start >= p.PreviousEnd {
			whole.Turns = append(whole.Turns, t)
		}
	}
	p.Previous = &whole
	for _, t := range whole.Turns[len(p.asPublished.Turns):] {
		if t.Start >= p.before.freeFrom {
			p.before.remaining = append(p.before.remaining, t)
		} else {
			p.before.fixed = append(p.before.fixed, t)
		}
	}
	return nil
}

// stay returns the published rota itself, if it still holds and the next plan is not noticeably better.
func (p *planner) stay(next *Plan) (Plan, bool) {
	if !p.before.intact {
		return Plan{}, false
	}
	old := *next
	old.Schedule = problem.Schedule{Zones: p.Previous.Zones, Turns: afterNow(p.Previous.Turns, p.Now)}
	f := sorted(p.Check(old.Schedule))
	if len(f.broken) > 0 || len(f.late) > len(next.Late) {
		return Plan{}, false
	}
	old.Shares, old.Late, old.Dry = shares(p.Model, old.Schedule), f.late, f.dry
	old.measure()
	p.note(&old)
	return old, len(f.late) == len(next.Late) && !gains(next, &old) && !saves(next, &old)
}

func afterNow(turns []problem.Turn, now problem.Instant) []problem.Turn {
	var out []problem.Turn
	for _, t := range turns {
		if t.Start >= now {
			out = append(out, t)
		}
	}
	return out
}

// noticed is the least difference in a share, or in the water given beyond need, for which people are asked to change
// their habits.
const noticed = 0.01

// gains tells whether sorted shares, or else the water in time, are better by more than anybody would overlook.
func gains(next, old *Plan) bool {
	a, b := fractions(next.Shares), fractions(old.Shares)
	for k := range a {
		if d := a[k] - b[k]; d > noticed || d < -noticed {
			return d > 0
		}
	}
	return old.thirst()-next.thirst() > noticed
}

// fractions returns the shares of all layouts that are in a zone, class by class, the smallest first.
func fractions(shares []Share) []float64 {
	var served []Share
	for _, s := range shares {
		if s.Zone != "" {
			served = append(served, s)
		}
	}
	slices.SortFunc(served, func(a, b Share) int {
		return cmp.Or(cmp.Compare(a.Class, b.Class), cmp.Compare(a.Fraction, b.Fraction))
	})
	out := make([]float64, len(served))
	for k := range served {
		out[k] = served[k].Fraction
	}
	return out
}

// saves tells whether the next plan gives the same shares with noticeably less water beyond need.
func saves(next, old *Plan) bool {
	need := problem.Milliliters(0)
	for _, s := range old.Shares {
		need += s.Need
	}
	return !gains(old, next) && float64(old.Over-next.Over) > noticed*float64(need)
}

// littleLater is the shift of a start up to which people come at the same time.
const littleLater = 15 * problem.Instant(problem.Minute)

// note says which published turns the turns of a plan go on from, and what changes.
func (p *planner) note(plan *Plan) {
	published := p.asPublished.Turns
	plan.ToCome = len(afterNow(published, p.Now))
	plan.Follows = p.follows(plan.Schedule.Turns)
	plan.Changes = nil
	went := make([]bool, len(published))
	for k, t := range plan.Schedule.Turns {
		if plan.Follows[k] < 0 {
			if p.PreviousEnd == 0 || t.Start < p.PreviousEnd {
				plan.Changes = append(plan.Changes, Change{Kind: Added, Now: t})
			}
			continue
		}
		went[plan.Follows[k]] = true
		old := published[plan.Follows[k]]
		switch {
		case t.Start-old.Start > littleLater || old.Start-t.Start > littleLater:
			plan.Changes = append(plan.Changes, Change{Kind: Moved, Was: old, Now: t})
		case old.Start != t.Start || old.End != t.End || !slices.Equal(old.Closings, t.Closings):
			plan.Changes = append(plan.Changes, Change{Kind: Resized, Was: old, Now: t})
		}
	}
	for k, t := range published {
		if t.Start >= p.Now && !went[k] {
			plan.Changes = append(plan.Changes, Change{Kind: Dropped, Was: t})
		}
	}
}

// follows finds for every turn the published turn that it goes on from: of the same zone in the same window with the same start,
// then one that held it, then one after the other, else on the same day. It is -1 for a new turn.
func (p *planner) follows(turns []problem.Turn) []int {
	out := make([]int, len(turns))
	for k := range out {
		out[k] = -1
	}
	taken := make([]bool, len(p.asPublished.Turns))
	pair := func(alike func(old, t problem.Turn) bool) {
		for k, t := range turns {
			for n, old := range p.asPublished.Turns {
				if out[k] < 0 && !taken[n] && old.Start >= p.Now && old.Zone == t.Zone && alike(old, t) {
					out[k], taken[n] = n, true
				}
			}
		}
	}
	pair(func(old, t problem.Turn) bool { return old.Window == t.Window && old.Start == t.Start })
	pair(func(old, t problem.Turn) bool {
		return old.Window == t.Window && old.Start <= t.Start && t.End <= old.End
	})
	pair(func(old, t problem.Turn) bool { return old.Window == t.Window })
	pair(func(old, t problem.Turn) bool { return p.day(old) == p.day(t) })
	return out
}

// day is the day of a turn's window; where the window is gone, that of the window that began last before the turn.
func (p *planner) day(t problem.Turn) int {
	if w, known := p.WindowIndex(t.Window); known {
		return p.Windows[w].Day
	}
	day := -1
	for _, w := range p.Windows {
		if w.Start <= t.Start {
			day = max(day, w.Day)
		}
	}
	return day
}

// forced lists the limits that the published turns would break if they all stayed.
func (p *planner) forced() []Forced {
	var kept []problem.Turn
	touched := map[problem.Rule]int{}
	for _, t := range afterNow(p.asPublished.Turns, p.Now) {
		_, known := p.WindowIndex(t.Window)
		switch {
		case !slices.Contains(p.before.ids, t.Zone):
			touched[problem.RuleMember]++
		case !known:
			touched[problem.RuleWindow]++
		default:
			kept = append(kept, t)
		}
	}
	for _, v := range p.Check(problem.Schedule{Zones: p.before.named(p), Turns: kept}) {
		touched[v.Rule]++
	}
	var out []Forced
	for rule, n := range touched {
		out = append(out, Forced{Rule: rule, Turns: n})
	}
	slices.SortFunc(out, func(a, b Forced) int { return cmp.Or(cmp.Compare(b.Turns, a.Turns), cmp.Compare(a.Rule, b.Rule)) })
	return out
}
