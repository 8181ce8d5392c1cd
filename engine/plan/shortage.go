package plan

import (
	"slices"
	"sort"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/rotation"
)

// Shortage is the proof that a set of zones cannot get more with the visits chosen: what the set needs, and the limits
// whose sum is what it gets. Anybody checks it by adding up. Every layout that goes short is in one.
type Shortage struct {
	Zones    []string
	Layouts  []string     // members that get less than they need
	Needed   problem.Span // minutes that give every member its need, added up over the zones
	Offered  problem.Span // the sum of Limits, and of the zones' turns
	Missing  problem.Span // Needed - Offered
	Share    float64      // Offered / Needed
	By       problem.Measure
	Level    float64 // what the set shares evenly: the part of the need, millimetres of water over the area, or minutes
	Limits   []Limit
	PerExtra float64 // rise of the level for one minute more in one of the windows, at most; 0 when no window binds
}

// LimitKind is a code for one limit of a shortage.
type LimitKind = rotation.PartKind

// Limit is one line of a shortage. Times with a minus sign are taken off.
type Limit struct {
	Kind   LimitKind
	Zone   string
	Window string
	Source string
	Line   string
	Day    int // -1 where no single day is meant
	Flow   bool
	Time   problem.Span
}

// shortages reads the levels of a group that stay below a full share, the lowest first. What the turns make of them is told
// by account, when they stand.
func (p *planner) shortages(part *solved, ids []string) []Shortage {
	var out []Shortage
	for _, l := range part.result.Levels {
		if l.Full || l.Weight == 0 || len(l.Claims) == 0 {
			continue
		}
		s := Shortage{By: p.Share}
		for _, j := range l.Claims {
			s.Zones = append(s.Zones, ids[j])
		}
		for _, line := range l.Parts {
			s.Limits = append(s.Limits, p.limit(part, ids, line))
			if line.Kind == rotation.PartWindow {
				s.PerExtra = s.unit() * problem.Minute / float64(l.Weight)
			}
		}
		out = append(out, s)
	}
	return out
}

// account holds the shortages against the turns of the plan: a division is exact, turns are as long as they find room. The
// difference is a limit of its own. Zones that go short although no level holds them down are told too: their turns found
// no place.
func (p *planner) account(plan *Plan) {
	zones, given := map[string]*problem.Batch{}, map[string]problem.Span{}
	for _, z := range plan.Schedule.Zones {
		members := make([]int, len(z.Layouts))
		for k, id := range z.Layouts {
			members[k], _ = p.LayoutIndex(id)
		}
		batch := problem.NewBatch(p.Model, p.SourceOf[members[0]], members, p.Share)
		zones[z.ID], given[z.ID] = &batch, batch.Done
	}
	for _, t := range plan.Schedule.Turns {
		given[t.Zone] += t.Length()
	}
	short := map[string]bool{}
	for _, s := range plan.Shares {
		short[s.Layout] = s.Zone != "" && s.Delivered < s.Need
	}
	told := map[string]bool{}
	all := plan.Shortages
	plan.Shortages = nil
	complete := func(s Shortage) {
		weight := problem.Span(0)
		for _, id := range s.Zones {
			z := zones[id]
			s.Needed, s.Offered, weight = s.Needed+z.Time, s.Offered+given[id], weight+z.Weight
			for _, i := range z.Members {
				if name := p.Layouts[i].ID; short[name] {
					s.Layouts = append(s.Layouts, name)
				}
			}
		}
		if len(s.Layouts) == 0 {
			return
		}
		for _, id := range s.Zones {
			told[id] = true
		}
		sort.Strings(s.Layouts)
		s.Missing, s.Share = s.Needed-s.Offered, float64(s.Offered)/float64(max(1, s.Needed))
		s.Level = s.unit() * float64(s.Offered) / float64(max(1, weight))
		sum := problem.Span(0)
		for _, l := range s.Limits {
			sum += l.Time
		}
		if s.Offered != sum {
			s.Limits = append(s.Limits, Limit{Kind: rotation.PartPlaced, Day: -1, Time: s.Offered - sum})
		}
		plan.Shortages = append(plan.Shortages, s)
	}
	for _, s := range all {
		complete(s)
	}
	for _, z := range plan.Schedule.Zones {
		if !told[z.ID] {
			alone := Shortage{By: p.Share, Zones: []string{z.ID}}
			past, settled := zones[z.ID].Past, p.settledTime(plan, z.ID)
			for _, l := range []Limit{
				{Kind: rotation.PartTurns, Zone: z.ID, Time: given[z.ID] - past - settled},
				{Kind: rotation.PartHad, Time: past},
				{Kind: rotation.PartSettled, Time: settled},
			} {
				if l.Day = -1; l.Time > 0 || l.Kind == rotation.PartTurns && past+settled == 0 {
					alone.Limits = append(alone.Limits, l)
				}
			}
			if p.opens(zones[z.ID].Source) {
				alone.PerExtra = alone.unit() * problem.Minute / float64(max(1, zones[z.ID].Weight))
			}
			complete(alone)
		}
	}
}

// settledTime is the time of a zone's turns that stay as they were published.
func (p *planner) settledTime(plan *Plan, zone string) problem.Span {
	if p.before == nil {
		return 0
	}
	sum := problem.Span(0)
	for _, t := range plan.Schedule.Turns {
		locked := slices.ContainsFunc(p.Locked, func(l problem.Turn) bool {
			return l.Zone == t.Zone && l.Window == t.Window && l.Start == t.Start
		})
		if t.Zone == zone && (t.Start < p.before.freeFrom || locked) {
			sum += t.Length()
		}
	}
	return sum
}

// opens tells whether a source has water hours in which turns may still be planned.
func (p *planner) opens(source int) bool {
	return p.before == nil || slices.ContainsFunc(p.Slots[source], func(s problem.Slot) bool { return s.End > p.before.freeFrom })
}

// unit is what a whole share is in the measure of the level.
func (s *Shortage) unit() float64 {
	switch s.By {
	case problem.ByArea:
		return problem.AreaShare
	case problem.ByMinutes:
		return float64(problem.MinutesShare.Minutes())
	default:
		return 1
	}
}

func (p *planner) limit(part *solved, ids []string, line rotation.Part) Limit {
	l := Limit{Kind: line.Kind, Day: line.Day, Time: line.Time}
	if line.Zone >= 0 {
		l.Zone = ids[line.Zone]
	}
	if line.Slot >= 0 {
		slot := &part.group.Slots[line.Slot]
		l.Window, l.Source = p.Windows[slot.Window].ID, p.Sources[slot.Source].ID
	}
	if line.Pool >= 0 {
		c := part.result.Caps[line.Pool]
		l.Day, l.Flow = c.Day, c.Flow
		if c.Line >= 0 {
			l.Line = p.Lines[c.Line].ID
		}
		if c.Source >= 0 {
			l.Source = p.Sources[c.Source].ID
		}
	}
	return l
}
