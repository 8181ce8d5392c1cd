package service

import (
	"testing"

	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/testdata/garden"
)

func whatIf(t *testing.T, g file.Garden, w file.WhatIf) file.Difference {
	t.Helper()
	d, err := WhatIf(g, w, nil)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Each change shows where it must, and leaves the rest of the garden as it was: nobody is told of turns that stay.
func TestWhatIf_showsWhatAChangeMakes(t *testing.T) {
	t.Parallel()
	g := committedGarden(t, garden.TanagerBend)
	source := g.WaterSources[0].ID
	for name, c := range map[string]struct {
		change file.WhatIf
		holds  func(d file.Difference) bool
	}{
		"hot week":     {file.WhatIf{Weather: hotWeek}, func(d file.Difference) bool { return d.After.NeedL > 1.15*d.Before.NeedL }},
		"dry week":     {file.WhatIf{Weather: dryWeek}, func(d file.Difference) bool { return d.After.NeedL >= d.Before.NeedL }},
		"lost spigot":  {file.WhatIf{LoseSource: &file.LoseSource{WaterSourceID: source}}, losesSource(source)},
		"water off":    {file.WhatIf{WaterOff: &file.WaterOff{WaterSourceID: &source, FirstDay: g.Horizon.FirstDay, LastDay: file.Day{Time: g.Horizon.FirstDay.AddDate(0, 0, 2)}}}, func(d file.Difference) bool { return d.After.MeanShare < d.Before.MeanShare }},
		"another hour": {file.WhatIf{MoreHours: &file.MoreHours{Weekday: 2, Minutes: 60}}, func(d file.Difference) bool { return d.After.SmallestShare >= d.Before.SmallestShare }},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := whatIf(t, g, c.change)
			if !c.holds(d) {
				t.Errorf("before %+v, after %+v", d.Before, d.After)
			}
			for _, turn := range d.Turns {
				if turn.Before == nil && turn.After == nil || turn.Before != nil && turn.After != nil && *turn.Before == *turn.After {
					t.Errorf("no difference: %+v", turn)
				}
			}
			for _, u := range d.Units {
				if u.Before != nil && u.After != nil && *u.Before == *u.After {
					t.Errorf("no difference: %+v", u)
				}
			}
		})
	}
}

// losesSource holds when all turns of a source go and nothing comes there.
func losesSource(source string) func(file.Difference) bool {
	return func(d file.Difference) bool {
		lost := 0
		for _, turn := range d.Turns {
			if turn.SourceID == source && turn.After == nil {
				lost++
			}
			if turn.SourceID == source && turn.After != nil {
				return false
			}
		}
		return lost > 0 && d.After.SmallestShare == 0
	}
}

// A layout that is accepted takes its place beside the others; a garden where nothing else changes keeps their turns.
func TestWhatIf_newPlotAndLayout(t *testing.T) {
	t.Parallel()
	g := committedGarden(t, garden.TanagerBend)
	like := g.Layouts[0]
	like.ID, like.PlotID = "new rows", "new plot"
	add := file.AddPlot{Plot: file.Plot{ID: "new plot", Label: "Z9", AreaM2: 12, Method: "layout"}, Layout: &like}
	for _, p := range g.Plantings {
		if p.PlotID == g.Layouts[0].PlotID {
			p.ID, p.PlotID, p.LayoutID = "new planting "+p.ID, "new plot", nil
			add.Plantings = append(add.Plantings, p)
		}
	}
	d := whatIf(t, g, file.WhatIf{AddPlot: &add})
	came := false
	for _, u := range d.Units {
		if u.Unit == "new rows" {
			came = u.Before == nil && u.After != nil && u.After.DeliveredL > 0
		}
	}
	if !came || d.After.NeedL <= d.Before.NeedL {
		t.Errorf("the new plot is not in the plan: %+v", d)
	}
	again := g.Layouts[0]
	same := whatIf(t, g, file.WhatIf{AcceptLayout: &again})
	if len(same.Units) > 0 || len(same.Turns) > 0 {
		t.Errorf("the layout that is there already changes %d units and %d turns", len(same.Units), len(same.Turns))
	}
}

func TestWhatIf_faultsPointIntoTheChange(t *testing.T) {
	t.Parallel()
	g := oneBed(t, 20, 1)
	for pointer, w := range map[string]file.WhatIf{
		"":                             {},
		"/weather":                     {Weather: "wet"},
		"/lose_source/water_source_id": {LoseSource: &file.LoseSource{WaterSourceID: "well"}},
		"/lose_source/move_to":         {LoseSource: &file.LoseSource{WaterSourceID: "tank", MoveTo: new("well")}},
		"/more_hours/weekday":          {MoreHours: &file.MoreHours{Weekday: 8, Minutes: 60}},
		"/more_hours/minutes":          {MoreHours: &file.MoreHours{Weekday: 1, Minutes: 1000}},
		"/water_off":                   {WaterOff: &file.WaterOff{}},
		"/accept_layout/plot_id":       {AcceptLayout: &file.LayoutOnPlot{ID: "x", PlotID: "nowhere"}},
		"/add_plot/plot/id":            {AddPlot: &file.AddPlot{Plot: g.Plots[0]}},
	} {
		_, err := WhatIf(g, w, nil)
		t.Run(pointer, func(t *testing.T) { wantPointers(t, err, pointer) })
	}
}
