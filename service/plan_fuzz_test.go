package service

import (
	"bytes"
	"encoding/json"
	"errors"
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/service/file/filetest"
	"rillturn.example/rillturn/testdata/garden"
)

// FuzzPlanGarden looks for a garden file that crashes its reader or the planner, or is refused without a reason.
func FuzzPlanGarden(f *testing.F) {
	g, err := file.ReadGarden(bytes.NewReader(garden.CinderLane))
	if err != nil {
		f.Fatal(err)
	}
	published, err := PlanGarden(g, nil)
	if err != nil {
		f.Fatal(err)
	}
	g.Weather = g.Weather[:min(20, len(g.Weather))] // a seed that is quickly changed
	g.Planning = &file.Planning{ServeFirst: []string{seedlings}, SmallChanges: &file.SmallChange{ShiftMin: 5, LengthMin: 5}}
	followed := following(g, published, 30)
	for _, seed := range []file.Garden{g, followed} {
		text, err := json.Marshal(seed)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if _, err := planText(text); err != nil {
			t.Fatal(err)
		}
	})
}

// planText reads and plans a garden file, not for long. A file that is refused with its faults is no error.
func planText(text []byte) (planned bool, err error) {
	g, err := file.ReadGarden(bytes.NewReader(text))
	if err == nil {
		asked := 0
		var p file.GardenPlan
		if p, err = PlanGarden(g, func() bool { asked++; return asked > 20 }); err == nil {
			_, err = json.Marshal(p)
			return true, err
		}
	}
	var faults file.Faults
	if errors.As(err, &faults) && len(faults) > 0 {
		return false, nil
	}
	return false, err
}

// Whatever a hand may write into a garden file, it is refused with its place, or planned.
func TestPlanGarden_spoiltFilesAreRefusedOrPlanned(t *testing.T) {
	t.Parallel()
	g := committedGarden(t, garden.CinderLane)
	published := planOf(t, g)
	g.Planning = &file.Planning{
		Pins: []file.Pin{{Units: []string{g.Layouts[0].ID}}}, Apart: []file.Apart{{Units: []string{g.Layouts[1].ID, g.Layouts[2].ID}}},
		ServeFirst: []string{communal}, AttendedHours: []string{g.WaterHours[0].ID}, SmallChanges: &file.SmallChange{ShiftMin: 5, LengthMin: 5},
	}
	text := bytesOf(t, following(g, published, 30))
	planned, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		var doc map[string]any
		if err := json.Unmarshal(text, &doc); err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(1, 2).Draw(t, "faults") { // in a part that is drawn first, so that small parts have their turn
			part := rapid.SampledFrom(slices.Sorted(maps.Keys(doc))).Draw(t, "part")
			doc[part] = filetest.Spoil(t, doc[part])
		}
		spoilt, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		is, err := planText(spoilt)
		if err != nil {
			t.Fatalf("%v", err)
		}
		if is {
			planned++
		} else {
			refused++
		}
	})
	if planned == 0 || refused == 0 {
		t.Errorf("%d planned, %d refused: the test proves half of it", planned, refused)
	}
}

// Whatever a hand may write as a change, it is refused with its place, or answered.
func TestWhatIf_spoiltChangesAreRefusedOrAnswered(t *testing.T) {
	t.Parallel()
	g := oneBed(t, 20, 1)
	like := g.Layouts[0]
	like.ID, like.PlotID = "more rows", "more"
	planting := g.Plantings[0]
	planting.ID, planting.PlotID = "more lettuce", "more"
	var changes [][]byte
	for _, w := range []file.WhatIf{
		{AcceptLayout: &g.Layouts[0]},
		{LoseSource: &file.LoseSource{WaterSourceID: "tank"}},
		{Weather: hotWeek},
		{AddPlot: &file.AddPlot{Plot: file.Plot{ID: "more", Label: "A2", AreaM2: 8, Method: "layout"}, Layout: &like, Plantings: []file.Planting{planting}}},
		{MoreHours: &file.MoreHours{Weekday: 2, Minutes: 30}},
		{WaterOff: &file.WaterOff{WaterSourceID: new("tank"), FirstDay: g.Horizon.FirstDay, LastDay: g.Horizon.FirstDay}},
	} {
		changes = append(changes, bytesOf(t, w))
	}
	answered, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		var doc any
		if err := json.Unmarshal(rapid.SampledFrom(changes).Draw(t, "change"), &doc); err != nil {
			t.Fatal(err)
		}
		spoilt, err := json.Marshal(filetest.Spoil(t, doc))
		if err != nil {
			t.Fatal(err)
		}
		w, err := file.ReadWhatIf(bytes.NewReader(spoilt))
		if err == nil {
			_, err = WhatIf(g, w, nil)
		}
		var faults file.Faults
		switch {
		case err == nil:
			answered++
		case errors.As(err, &faults) && len(faults) > 0:
			refused++
		default:
			t.Fatal(err)
		}
	})
	if answered == 0 || refused == 0 {
		t.Errorf("%d answered, %d refused: the test proves half of it", answered, refused)
	}
}

// A layout without a hole takes the place of a published one: it is in no zone, and its turns go.
func TestWhatIf_aLayoutWithoutHolesHasNoTurns(t *testing.T) {
	t.Parallel()
	g := oneBed(t, 20, 1)
	shut := oneBed(t, 20, 1).Layouts[0]
	shut.Spec.Manifold.Outlets[0].Lateral.Pieces[0].Pattern = nil
	got, err := WhatIf(g, file.WhatIf{AcceptLayout: &shut}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got.Before.Turns == 0 || got.After.Turns != 0 || got.After.Zones != 0 || got.After.DeliveredL != 0 {
		t.Errorf("before %+v, after %+v", got.Before, got.After)
	}
}
