package service

import (
	"slices"
	"time"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/service/file"
)

// checkReplan refuses a published rotation that contradicts itself.
func (f *facts) checkReplan(faults *file.Faults) {
	r := f.Replan
	if r == nil {
		return
	}
	if !r.Now.Before(f.end) {
		faults.Add("/replan/now", "is %s, must be before the horizon ends at %s", r.Now.Format(time.RFC3339), f.end.Format(time.RFC3339))
	}
	zones := map[string][]string{}
	for k, z := range r.Zones {
		if _, again := zones[z.ID]; again || z.ID == "" {
			faults.Add(file.Point("replan", "zones", k, "id"), "%q is empty or used twice", z.ID)
		}
		zones[z.ID] = z.Units
	}
	ids := map[string]bool{}
	for k, t := range r.Turns {
		at := file.Point("replan", "turns", k)
		if ids[t.ID] || t.ID == "" {
			faults.Add(at+"/id", "%q is empty or used twice", t.ID)
		}
		ids[t.ID] = true
		members, known := zones[t.Zone]
		if !known {
			faults.Add(at+"/zone", "%q is not the id of a published zone", t.Zone)
		}
		if !t.StartsAt.Before(t.EndsAt) || !t.EndsAt.After(f.start) {
			faults.Add(at+"/ends_at", "must come after starts_at and after the horizon begins; water from before it belongs into waterings")
		}
		if t.EndsAt.After(r.EndsAt) {
			faults.Add(at+"/ends_at", "must not come after the published rotation ends at %s", r.EndsAt.Format(time.RFC3339))
		}
		for n, m := range t.Members {
			if known && !slices.Contains(members, m.Unit) {
				faults.Add(at+file.Point("members", n, "unit"), "%q is not in zone %q", m.Unit, t.Zone)
			}
			if !(m.VolumeL >= 0) {
				faults.Add(at+file.Point("members", n, "volume_l"), "must not be negative")
			}
		}
		if t.RanMin != nil && !(*t.RanMin >= 0 && *t.RanMin <= minutesPerDay) {
			faults.Add(at+"/ran_min", "is %g, must lie between 0 and %d minutes", *t.RanMin, minutesPerDay)
		}
	}
}

const minutesPerDay = 24 * 60

// follow adds the published rotation to the planner's options: what is still to come, and what of it may not move.
func (f *facts) follow(o *plan.Options) {
	r := f.Replan
	if r == nil {
		return
	}
	o.Now = f.since(r.Now)
	o.Notice = problem.SpanUp(unit.Minutes(f.Garden.Garden.NoticePeriodH * 60))
	if r.EndsAt.Before(f.end) {
		o.PreviousEnd = max(1, f.since(r.EndsAt))
	}
	o.Previous = &problem.Schedule{}
	for _, z := range r.Zones {
		o.Previous.Zones = append(o.Previous.Zones, problem.Zone{ID: z.ID, Source: z.SourceID, Layouts: z.Units})
	}
	for _, t := range r.Turns {
		turn := f.publishedTurn(t)
		o.Previous.Turns = append(o.Previous.Turns, turn)
		if t.Locked {
			o.Locked = append(o.Locked, turn)
		}
	}
}

// publishedTurn is a published turn in the planner's terms. Its window is the one that is open when it starts; "" when none
// is any more.
func (f *facts) publishedTurn(t file.ReplanTurn) problem.Turn {
	turn := problem.Turn{Zone: t.Zone, Start: f.since(t.StartsAt), End: f.since(t.EndsAt)}
	turn.Window = f.windowAt(f.zoneSource(t.Zone), t.StartsAt)
	for _, m := range t.Members {
		if m.ClosesAt != nil {
			turn.Closings = append(turn.Closings, problem.Closing{Layout: m.Unit, At: f.since(*m.ClosesAt)})
		}
	}
	slices.SortStableFunc(turn.Closings, func(a, b problem.Closing) int { return int(a.At - b.At) })
	return turn
}

func (f *facts) zoneSource(zone string) string {
	k := slices.IndexFunc(f.Replan.Zones, func(z file.ReplanZone) bool { return z.ID == zone })
	return f.Replan.Zones[k].SourceID
}

// windowAt is the window of a source that is open at a moment, "" when none is.
func (f *facts) windowAt(source string, at time.Time) string {
	for _, o := range f.openings {
		if o.Source == source && !at.Before(o.Start) && at.Before(o.End) {
			return f.windowID(o)
		}
	}
	return ""
}

// past states the turns of the horizon that have begun as facts: with the minutes of their report, else as published. A
// turn that runs is taken to run to its end.
func (f *facts) past() []problem.Past {
	var out []problem.Past
	if f.Replan == nil {
		return nil
	}
	for _, t := range f.Replan.Turns {
		source := f.zoneSource(t.Zone)
		if !t.StartsAt.Before(f.Replan.Now) || !f.hasSource(source) {
			continue
		}
		published := t.EndsAt.Sub(t.StartsAt).Minutes()
		ran := published
		if t.RanMin != nil {
			ran = *t.RanMin
		}
		start := f.since(t.StartsAt)
		past := problem.Past{
			Zone: t.Zone, Window: f.windowAt(source, t.StartsAt), Source: source, Start: start,
			End: start + problem.Instant(problem.SpanDown(unit.Minutes(ran))),
		}
		if past.End <= past.Start {
			continue // it was missed
		}
		past.Day = f.dayOf(t.StartsAt)
		drawn := 0.0
		for _, m := range t.Members {
			minutes := published
			if m.ClosesAt != nil {
				minutes = m.ClosesAt.Sub(t.StartsAt).Minutes()
			}
			open := min(minutes, ran)
			if t.RanMin != nil && ran > published && m.ClosesAt == nil {
				open = ran
			}
			liters := 0.0
			if minutes > 0 {
				liters = m.VolumeL * open / minutes
			}
			drawn += liters
			if len(f.planned([]string{m.Unit})) > 0 {
				past.Given = append(past.Given, problem.Given{
					Layout: m.Unit, Volume: problem.VolumeDown(unit.Liters(liters)), Time: problem.SpanDown(unit.Minutes(open)),
				})
			}
		}
		past.Flow = problem.RateUp(unit.LitersPerMinute(drawn / ran))
		out = append(out, past)
	}
	return out
}

// dayOf counts the days of the garden's calendar from the horizon's first.
func (f *facts) dayOf(t time.Time) int {
	day := file.DayOf(t.In(f.loc))
	return max(0, min(f.Horizon.Days-1, int(day.Sub(f.Horizon.FirstDay.Time).Hours()+0.5)/24))
}

// changes says what became of the published turns, and marks the turns of the plan that go on from them.
func (f *facts) changes(made plan.Plan, out *file.GardenPlan) {
	if f.Replan == nil {
		return
	}
	c := &file.ChangesPlan{ToCome: made.ToCome, Cancelled: []file.CancelledTurnPlan{}, Small: f.Planning != nil && f.Planning.SmallChanges != nil}
	went := map[int]bool{}
	for k := range out.Turns {
		t := &out.Turns[k]
		n := made.Follows[k]
		if n < 0 {
			if t.StartsAt.Before(f.Replan.EndsAt) {
				t.Change = string(plan.Added)
				c.Added++
			}
			continue
		}
		went[n] = true
		t.ID, t.Change = f.Replan.Turns[n].ID, kept
		for _, change := range made.Changes {
			if change.Kind != plan.Added && change.Kind != plan.Dropped && change.Now.Zone == made.Schedule.Turns[k].Zone &&
				change.Now.Start == made.Schedule.Turns[k].Start {
				t.Change = string(change.Kind)
			}
		}
		switch t.Change {
		case kept:
			c.Kept++
		case string(plan.Moved):
			c.Moved++
		default:
			c.Resized++
		}
		c.Small = c.Small && f.small(f.Replan.Turns[n], t)
	}
	for n, t := range f.Replan.Turns {
		if !went[n] && !t.StartsAt.Before(f.Replan.Now) {
			c.Cancelled = append(c.Cancelled, file.CancelledTurnPlan{ID: t.ID, Zone: t.Zone, StartsAt: t.StartsAt, EndsAt: t.EndsAt})
		}
	}
	c.Small = c.Small && c.Added == 0 && len(c.Cancelled) == 0
	c.Part = float64(c.Moved+c.Added+len(c.Cancelled)) / float64(max(1, c.ToCome))
	for _, x := range made.Forced {
		c.Forced = append(c.Forced, file.ForcedChangePlan{Code: string(x.Rule), Turns: x.Turns})
	}
	out.Changes = c
}

// kept marks a published turn that the plan leaves as it is.
const kept = "kept"

// small tells whether a published turn changes no more than the garden allows without being asked.
func (f *facts) small(old file.ReplanTurn, t *file.TurnPlan) bool {
	s := f.Planning.SmallChanges
	shift := t.StartsAt.Sub(old.StartsAt).Abs().Minutes()
	longer := (t.EndsAt.Sub(t.StartsAt) - old.EndsAt.Sub(old.StartsAt)).Abs().Minutes()
	return shift <= s.ShiftMin && longer <= s.LengthMin
}
