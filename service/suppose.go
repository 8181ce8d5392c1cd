package service

import (
	"fmt"
	"slices"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// WhatIf plans a garden as it is and with one change, and returns the difference; nothing is saved. Without a published
// rotation in the file the changed plan follows the unchanged one, else both follow what is published, so that a
// difference comes from the change alone. What is wrong with the change comes back as file.Faults with pointers into it.
func WhatIf(g file.Garden, w file.WhatIf, stop func() bool) (file.Difference, error) {
	d, _, err := difference(g, []file.WhatIf{w}, func(int) string { return "" }, stop)
	return d, err
}

// difference is WhatIf with several changes at once, one upon the other. at is the place of a change, for its faults. It also
// returns the changed garden.
func difference(g file.Garden, changes []file.WhatIf, at func(int) string, stop func() bool) (file.Difference, file.Garden, error) {
	changed, s, err := supposeAll(g, changes, at)
	if err != nil {
		return file.Difference{}, changed, err
	}
	before, err := planGarden(g, supposition{}, stop, nil)
	if err != nil {
		return file.Difference{}, changed, err
	}
	if g.Replan == nil {
		changed.Replan = before.Follow(before.StartsAt, func(i int) string { return fmt.Sprint(i) })
		changed.Garden.NoticePeriodH = 0
	}
	after, err := planGarden(changed, s, stop, nil)
	if err != nil {
		return file.Difference{}, changed, err
	}
	if g.Replan == nil {
		for i := range before.Turns {
			before.Turns[i].ID = fmt.Sprint(i)
		}
		d := file.Differ(before, after)
		for i := range d.Turns {
			d.Turns[i].ID = "" // it was ours, to tell turns apart
		}
		return d, changed, nil
	}
	return file.Differ(before, after), changed, nil
}

// supposeAll returns the garden with all changes, and reports what is wrong with any of them.
func supposeAll(g file.Garden, changes []file.WhatIf, at func(int) string) (file.Garden, supposition, error) {
	all := supposition{use: 1}
	var faults file.Faults
	for i, w := range changes {
		changed, s, err := suppose(g, w)
		for _, f := range fieldsOf(err) {
			faults.Add(at(i)+f.Pointer, "%s", f.Reason)
		}
		g, all.dry = changed, all.dry || s.dry
		if s.use > 0 {
			all.use *= s.use
		}
	}
	return g, all, faults.Err()
}

// supposition is what a change says about the weather, which no part of the file can.
type supposition struct {
	use float64 // what plants use on a day of the horizon, to what is expected; 0 is 1
	dry bool    // no rain fell in the week before the horizon
}

// What the weather of a supposition means.
const (
	hotWeek  = "hot_week"
	dryWeek  = "dry_week"
	hotUse   = 1.25 // five degrees more at the same dew point raise ET0 by about this in summer; own judgement
	weekDays = 7
)

// weather changes the series of a garden that is only supposed.
func (s supposition) weather(series *waterneed.Series, first waterneed.Date) {
	for i := range series.Days {
		d := &series.Days[i]
		ahead := d.Date.Sub(first)
		if s.use > 0 && ahead >= 0 {
			d.ET0 *= unit.Depth(s.use)
		}
		if s.dry && ahead < 0 && ahead >= -weekDays {
			d.Rain, d.RainRead = waterneed.Given(unit.Depth(0)), false
		}
	}
}

// suppose returns the garden with a change. Its lists are copied where they differ.
func suppose(g file.Garden, w file.WhatIf) (file.Garden, supposition, error) {
	var s supposition
	var faults file.Faults
	changes := []func(){}
	add := func(set bool, change func()) {
		if set {
			changes = append(changes, change)
		}
	}
	add(w.AcceptLayout != nil, func() { acceptLayout(&g, *w.AcceptLayout, "/accept_layout", &faults) })
	add(w.AddPlot != nil, func() { addPlot(&g, *w.AddPlot, &faults) })
	add(w.LoseSource != nil, func() { loseSource(&g, *w.LoseSource, &faults) })
	add(w.MoreHours != nil, func() { moreHours(&g, *w.MoreHours, &faults) })
	add(w.WaterOff != nil, func() { waterOff(&g, *w.WaterOff, &faults) })
	add(w.Weather != "", func() {
		switch w.Weather {
		case hotWeek:
			s.use = hotUse
		case dryWeek:
			s.dry = true
			week := g.Horizon.FirstDay.AddDate(0, 0, -weekDays)
			g.RainReadings = slices.DeleteFunc(slices.Clone(g.RainReadings), func(r file.RainReading) bool { return !r.Day.Before(week) })
		default:
			faults.Add("/weather", "is %q, must be %s or %s", w.Weather, hotWeek, dryWeek)
		}
	})
	if len(changes) != 1 {
		faults.Add("", "must have exactly one change, has %d", len(changes))
		return g, s, faults
	}
	changes[0]()
	return g, s, faults.Err()
}

func acceptLayout(g *file.Garden, l file.LayoutOnPlot, at string, faults *file.Faults) {
	plot := slices.IndexFunc(g.Plots, func(p file.Plot) bool { return p.ID == l.PlotID })
	if plot < 0 {
		faults.Add(at+"/plot_id", "%q is not the id of a plot", l.PlotID)
		return
	}
	if !slices.ContainsFunc(g.WaterSources, func(s file.WaterSource) bool { return s.ID == l.WaterSourceID }) {
		faults.Add(at+"/water_source_id", "%q is not the id of a water source", l.WaterSourceID)
	}
	for _, x := range fieldsOf(l.Spec.Validate(at + "/spec")) {
		*faults = append(*faults, file.Fault(x))
	}
	g.Plots = slices.Clone(g.Plots)
	g.Plots[plot].Method = "layout"
	g.Layouts = slices.Clone(g.Layouts)
	if i := slices.IndexFunc(g.Layouts, func(o file.LayoutOnPlot) bool { return o.ID == l.ID }); i >= 0 {
		g.Layouts[i] = l
		return
	}
	g.Layouts = append(g.Layouts, l)
}

func addPlot(g *file.Garden, a file.AddPlot, faults *file.Faults) {
	if slices.ContainsFunc(g.Plots, func(p file.Plot) bool { return p.ID == a.Plot.ID }) {
		faults.Add("/add_plot/plot/id", "%q is the id of a plot of the garden", a.Plot.ID)
	}
	g.Plots = append(slices.Clone(g.Plots), a.Plot)
	if a.Layout != nil {
		if a.Layout.PlotID != a.Plot.ID {
			faults.Add("/add_plot/layout/plot_id", "is %q, must be that of the new plot, %q", a.Layout.PlotID, a.Plot.ID)
			return
		}
		acceptLayout(g, *a.Layout, "/add_plot/layout", faults)
	}
	for i, p := range a.Plantings {
		if p.PlotID != a.Plot.ID {
			faults.Add(file.Point("add_plot", "plantings", i, "plot_id"), "is %q, must be that of the new plot, %q", p.PlotID, a.Plot.ID)
		}
	}
	g.Plantings = append(slices.Clone(g.Plantings), a.Plantings...)
}

func loseSource(g *file.Garden, l file.LoseSource, faults *file.Faults) {
	known := func(id string) bool {
		return slices.ContainsFunc(g.WaterSources, func(s file.WaterSource) bool { return s.ID == id })
	}
	if !known(l.WaterSourceID) {
		faults.Add("/lose_source/water_source_id", "%q is not the id of a water source", l.WaterSourceID)
		return
	}
	if l.MoveTo == nil {
		closeSource(g, l.WaterSourceID, g.Horizon.FirstDay, file.Day{Time: g.Horizon.FirstDay.AddDate(0, 0, g.Horizon.Days)})
		return
	}
	if !known(*l.MoveTo) || *l.MoveTo == l.WaterSourceID {
		faults.Add("/lose_source/move_to", "%q is not the id of another water source", *l.MoveTo)
		return
	}
	g.Plots, g.Layouts = slices.Clone(g.Plots), slices.Clone(g.Layouts)
	for i := range g.Plots {
		if id := g.Plots[i].WaterSourceID; id != nil && *id == l.WaterSourceID {
			g.Plots[i].WaterSourceID = l.MoveTo
		}
	}
	for i := range g.Layouts {
		if g.Layouts[i].WaterSourceID == l.WaterSourceID {
			g.Layouts[i].WaterSourceID = *l.MoveTo
		}
	}
}

// closeSource closes a source for every watering method.
func closeSource(g *file.Garden, source string, first, last file.Day) {
	g.Closures = append(slices.Clone(g.Closures), file.Closure{
		ID: "what-if " + source, WaterSourceID: &source, FirstDay: first, LastDay: last, DayParity: "all", Rule: "water off",
	})
}

func waterOff(g *file.Garden, w file.WaterOff, faults *file.Faults) {
	if w.LastDay.Before(w.FirstDay.Time) {
		faults.Add("/water_off/last_day", "must not come before first_day")
	}
	var sources []string
	for _, s := range g.WaterSources {
		fed := w.ServiceLineID != nil && s.ServiceLineID != nil && *s.ServiceLineID == *w.ServiceLineID
		if fed || w.WaterSourceID != nil && s.ID == *w.WaterSourceID {
			sources = append(sources, s.ID)
		}
	}
	if (w.WaterSourceID == nil) == (w.ServiceLineID == nil) || len(sources) == 0 {
		faults.Add("/water_off", "must name one water source of the garden, or one service line with sources")
		return
	}
	for _, id := range sources {
		closeSource(g, id, w.FirstDay, w.LastDay)
	}
}

func moreHours(g *file.Garden, m file.MoreHours, faults *file.Faults) {
	if m.Weekday < 1 || m.Weekday > weekDays {
		faults.Add("/more_hours/weekday", "is %d, must be 1 (Monday) to 7", m.Weekday)
		return
	}
	if m.Minutes < 1 || m.Minutes > minutesPerDay {
		faults.Add("/more_hours/minutes", "is %d, must be 1 to %d", m.Minutes, minutesPerDay)
		return
	}
	start := m.StartLocal
	if start == "" {
		for _, h := range g.WaterHours {
			own := m.WaterSourceID == nil || h.WaterSourceID == nil || *h.WaterSourceID == *m.WaterSourceID
			if own && slices.Contains(h.Weekdays, m.Weekday) && h.EndLocal > start {
				start = h.EndLocal
			}
		}
	}
	if !file.IsClock(start) {
		faults.Add("/more_hours/start_local", "must be a clock time such as 18:30: the weekday has no water hours that could last longer")
		return
	}
	end := minuteOfDay(start) + m.Minutes
	if end > minutesPerDay {
		faults.Add("/more_hours/minutes", "is %d, which lasts past midnight from %s", m.Minutes, start)
		return
	}
	g.WaterHours = append(slices.Clone(g.WaterHours), file.WaterHours{
		ID: "what-if", WaterSourceID: m.WaterSourceID, Weekdays: []int{m.Weekday}, StartLocal: start, EndLocal: fmt.Sprintf("%02d:%02d", end/60, end%60),
	})
}
