package plan

import (
	"sort"

	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/rotation"
)

// Shortage is the proof that a set of zones cannot get more with the visits chosen: what the set needs, and the limits
// whose sum is what it can get. Anybody checks it by adding up.
type Shortage struct {
	Zones    []string
	Layouts  []string     // members that get less than they need
	Share    float64      // Offered / Needed
	Needed   problem.Span // minutes for a share of 1, added up over the zones
	Offered  problem.Span // the sum of Limits
	Missing  problem.Span // Needed - Offered
	Limits   []Limit
	PerExtra float64 // rise of the share for one minute more in one of the windows, at most; 0 when no window binds
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

// shortages reads the levels of a group that stay below a full share, the lowest first.
func (p *planner) shortages(part *solved, ids []string) []Shortage {
	var out []Shortage
	for _, l := range part.result.Levels {
		if l.Full || l.Weight == 0 || l.Share.Num >= l.Share.Den {
			continue
		}
		s := Shortage{
			Share: l.Share.Float(), Needed: problem.Span(l.Weight), Offered: problem.Span(l.Room),
			Missing: problem.Span(l.Weight - l.Room),
		}
		for _, j := range l.Claims {
			s.Zones = append(s.Zones, ids[j])
			z := &part.group.Zones[j]
			for at, i := range z.Members {
				if z.Gives(p.Model, at, part.result.Given[j]) < 1000*int64(p.Layouts[i].Need) {
					s.Layouts = append(s.Layouts, p.Layouts[i].ID)
				}
			}
		}
		sort.Strings(s.Layouts)
		for _, line := range l.Parts {
			s.Limits = append(s.Limits, p.limit(part, ids, line))
			if line.Kind == rotation.PartWindow {
				s.PerExtra = problem.Minute / float64(l.Weight)
			}
		}
		out = append(out, s)
	}
	return out
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
