package problem

import (
	"slices"
)

// Had is what a layout had from turns of the past on one day.
type Had struct {
	Volume Milliliters
	Time   Span
}

func (m *Model) resolvePast() {
	m.Had = table[Had](len(m.Layouts), m.Days)
	for _, t := range m.Past {
		for _, g := range t.Given {
			h := &m.Had[m.layoutAt[g.Layout]][t.Day]
			h.Volume += g.Volume
			h.Time += g.Time
		}
	}
}

// HadInAll is what a layout had from turns of the past on all days.
func (m *Model) HadInAll(layout int) Milliliters {
	sum := Milliliters(0)
	for _, h := range m.Had[layout] {
		sum += h.Volume
	}
	return sum
}

// PastDraw adds up by day what turns of the past drew from some sources, rounded up.
func (m *Model) PastDraw(of func(source int) bool) []Milliliters {
	out := make([]Milliliters, m.Days)
	for i := range m.Past {
		if t := &m.Past[i]; of(m.sourceAt[t.Source]) {
			out[t.Day] += Milliliters((t.Flow.Volume(Span(t.End-t.Start)) + 999) / 1000)
		}
	}
	return out
}

// pastOf returns the turns of the past of one source in the order of time.
func (m *Model) pastOf(source int) []Past {
	var out []Past
	for _, t := range m.Past {
		if m.sourceAt[t.Source] == source {
			out = append(out, t)
		}
	}
	slices.SortStableFunc(out, func(a, b Past) int { return int(a.Start - b.Start) })
	return out
}

// pastTime is the time of a window that turns of the past took at a source, a changeover after each but where the same zone
// goes on.
func (m *Model) pastTime(source int, window string) Span {
	sum, zone := Span(0), ""
	for _, t := range m.pastOf(source) {
		if t.Window != window {
			continue
		}
		if sum += Span(t.End - t.Start); t.Zone != zone {
			sum += m.Sources[source].Changeover
		}
		zone = t.Zone
	}
	return sum
}

// Gave tells whether the turn gave the layout anything.
func (t *Past) Gave(layout string) bool {
	return slices.ContainsFunc(t.Given, func(g Given) bool { return g.Layout == layout && g.Time > 0 })
}

// Ran states a turn of a schedule as a fact: every member had what comes out of it while it was open.
func (m *Model) Ran(z Zone, t Turn) Past {
	window := &m.Windows[m.windowAt[t.Window]]
	out := Past{Zone: z.ID, Window: t.Window, Source: z.Source, Day: window.Day, Start: t.Start, End: t.End}
	members := make([]int, len(z.Layouts))
	for k, id := range z.Layouts {
		members[k] = m.layoutAt[id]
	}
	source := m.sourceAt[z.Source]
	op := m.Operate(source, members)
	out.Flow = op.Total
	for k, p := range m.Portions(source, members, op, t) {
		out.Given = append(out.Given, Given{Layout: z.Layouts[k], Volume: Milliliters(p.Given / 1000), Time: p.Open})
	}
	return out
}
