package plan

import (
	"cmp"
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
)

// leastSaving is the shortest time for which somebody is asked to walk to a valve.
const leastSaving = 2 * problem.Span(problem.Minute)

// closeEarly shuts members that have a valve of their own when they have enough, in windows in which somebody is there:
// water that nobody needs is not given. Shares are decided before, so a closing takes none of a member's need, and the
// others get as much or more. Those with most water beyond their need come first. Closings that would break a limit, or
// leave plants short on a day, are not made; turns that go on from published ones unchanged are not touched.
func (p *planner) closeEarly(plan *Plan) {
	before := sorted(p.Check(plan.Schedule))
	order := slices.Clone(plan.Shares)
	slices.SortStableFunc(order, func(a, b Share) int { return cmp.Compare(b.Over, a.Over) })
	changed := false
	for _, s := range order {
		i, _ := p.LayoutIndex(s.Layout)
		if s.Over <= 0 || s.Zone == "" || !p.Layouts[i].OwnValve {
			continue
		}
		trimmed, some := p.trim(plan, s.Zone, i)
		if !some {
			continue
		}
		f := sorted(p.Check(trimmed))
		if len(f.broken) == 0 && len(f.late) <= len(before.late) && dryness(f.dry) <= dryness(before.dry) {
			plan.Schedule, before, changed = trimmed, f, true
		}
	}
	if !changed {
		return
	}
	plan.Dry = before.dry
	plan.Shares = shares(p.Model, plan.Schedule)
	plan.measure()
	if p.Previous != nil {
		p.note(plan)
	}
}

// dryness adds up what is missing beyond what root zones hold readily [mL].
func dryness(dry []problem.Violation) int64 {
	sum := int64(0)
	for _, v := range dry {
		sum += v.Have - v.Limit
	}
	return sum
}

// trim shuts layout i in turns of its zone, last turns first, so that it gets what it needs and little more. A turn never
// gets shorter for it than the shortest turn of its source, so its watering days stay.
func (p *planner) trim(plan *Plan, zone string, i int) (problem.Schedule, bool) {
	z := plan.Schedule.Zones[slices.IndexFunc(plan.Schedule.Zones, func(z problem.Zone) bool { return z.ID == zone })]
	members := make([]int, len(z.Layouts))
	for k, id := range z.Layouts {
		members[k], _ = p.LayoutIndex(id)
	}
	source := p.SourceOf[i]
	at, op := slices.Index(members, i), p.Operate(source, members)
	given := func(t problem.Turn) int64 { return p.Portions(source, members, op, t)[at].Given }
	spare := 1000 * int64(p.HadInAll(i)-p.Layouts[i].Need)
	out := problem.Schedule{Zones: plan.Schedule.Zones, Turns: slices.Clone(plan.Schedule.Turns)}
	for _, t := range out.Turns {
		if t.Zone == zone {
			spare += given(t)
		}
	}
	some := false
	for k := len(out.Turns) - 1; k >= 0 && spare > 0; k-- {
		t := out.Turns[k]
		if t.Zone != zone || !p.closable(plan, k, members, i) {
			continue
		}
		shut, saved := earliest(t, p.Layouts[i].ID, max(1, p.Sources[source].MinRun), spare, given)
		if saved > 0 {
			out.Turns[k], some = shut, true
			spare -= saved
		}
	}
	return out, some
}

// closable tells whether somebody may shut layout i in turn k: one is there, another member stays open, and people don't
// know the turn in another form.
func (p *planner) closable(plan *Plan, k int, members []int, i int) bool {
	t := &plan.Schedule.Turns[k]
	w, _ := p.WindowIndex(t.Window)
	if !p.Windows[w].Attended || len(t.Closings)+1 >= len(members) ||
		slices.ContainsFunc(t.Closings, func(c problem.Closing) bool { return c.Layout == p.Layouts[i].ID }) {
		return false
	}
	if plan.Follows == nil || plan.Follows[k] < 0 {
		return true
	}
	old := p.asPublished.Turns[plan.Follows[k]]
	return old.Start != t.Start || old.End != t.End
}

// earliest shuts a layout in a turn as early as it can without taking more than spare [µL], on a whole minute, and tells
// what that saves; nothing where it isn't worth the walk.
func earliest(t problem.Turn, layout string, shortest problem.Span, spare int64, given func(problem.Turn) int64) (problem.Turn, int64) {
	all := given(t)
	closed := func(after problem.Span) problem.Turn {
		c := t
		c.Closings = append(slices.Clone(t.Closings), problem.Closing{Layout: layout, At: t.Start + problem.Instant(after)})
		sort.SliceStable(c.Closings, func(a, b int) bool { return c.Closings[a].At < c.Closings[b].At })
		return c
	}
	whole := func(s problem.Span) problem.Span { return (s + problem.Minute - 1) / problem.Minute * problem.Minute }
	low, high := int64(whole(shortest)/problem.Minute), int64((t.Length()-leastSaving)/problem.Minute)
	if low > high || all-given(closed(problem.Span(high)*problem.Minute)) > spare {
		return t, 0
	}
	for low < high { // the fewer minutes it is open, the more is saved
		if middle := (low + high) / 2; all-given(closed(problem.Span(middle)*problem.Minute)) <= spare {
			high = middle
		} else {
			low = middle + 1
		}
	}
	shut := closed(problem.Span(high) * problem.Minute)
	return shut, all - given(shut)
}

// stillClosed returns the closings of a published turn that are still possible with the members of its zone; nil for none.
func (p *planner) stillClosed(t problem.Turn, members []int) []problem.Closing {
	var out []problem.Closing
	w, known := p.WindowIndex(t.Window)
	if !known || !p.Windows[w].Attended {
		return nil
	}
	for _, c := range t.Closings {
		i, known := p.LayoutIndex(c.Layout)
		if known && p.Layouts[i].OwnValve && slices.Contains(members, i) && c.At > t.Start && c.At < t.End && len(out)+1 < len(members) {
			out = append(out, c)
		}
	}
	return out
}

// recall gives turns that stay as they were published their closings back, where nobody suffers for it.
func (p *planner) recall(plan *Plan) {
	recalled := problem.Schedule{Zones: plan.Schedule.Zones, Turns: slices.Clone(plan.Schedule.Turns)}
	some := false
	for k := range recalled.Turns {
		t := &recalled.Turns[k]
		n := slices.IndexFunc(p.asPublished.Turns, func(o problem.Turn) bool {
			return o.Zone == t.Zone && o.Window == t.Window && o.Start == t.Start && o.End == t.End
		})
		if n < 0 || len(t.Closings) > 0 {
			continue
		}
		if closings := p.stillClosed(p.asPublished.Turns[n], p.before.zones[slices.Index(p.before.ids, t.Zone)]); closings != nil {
			t.Closings, some = closings, true
		}
	}
	if !some {
		return
	}
	trial := *plan
	trial.Schedule, trial.Shares = recalled, shares(p.Model, recalled)
	f := sorted(p.Check(recalled))
	trial.Late, trial.Dry = f.late, f.dry
	trial.measure()
	if len(f.broken) == 0 && len(f.late) <= len(plan.Late) && dryness(f.dry) <= dryness(plan.Dry) && !gains(plan, &trial) {
		*plan = trial
	}
}
