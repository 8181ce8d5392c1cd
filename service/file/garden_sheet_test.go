package file

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// shedGarden is two plots with a layout each, and a store with pipe for them.
func shedGarden() Garden {
	half := LayoutPipe{Size: "1/2", Wall: "schedule 40"}
	drilled := LayoutPiece{Pipe: half, LengthM: 3.048, Pattern: &LayoutPattern{SpacingM: 0.1524, HoleDiameterMM: 1.6}}
	plain := LayoutPiece{Pipe: half, LengthM: 2}
	layout := Layout{Label: "box bed", Manifold: LayoutManifold{
		Pipe: LayoutPipe{Size: "3/4", Wall: "schedule 40"}, LengthM: 1,
		Outlets: []LayoutOutlet{{Lateral: &LayoutLateral{Pieces: []LayoutPiece{drilled}}}, {AtM: 1, Lateral: &LayoutLateral{Pieces: []LayoutPiece{drilled}}}},
	}}
	day := func(month, d int) Day { return Day{time.Date(2026, time.Month(month), d, 0, 0, 0, 0, time.UTC)} }
	ended := day(5, 31)
	stored := func(label string, p LayoutPiece, owner, reserved *string, condition string) StoredPipe {
		return StoredPipe{ID: label, Label: label, OwnerID: owner, Piece: p, Condition: condition, ReservedLayoutID: reserved}
	}
	return Garden{
		Garden: GardenSettings{Units: "us"},
		Plots: []Plot{
			{ID: "p4", Label: "Plot 4", Holders: []Holder{{MemberID: "ilse", HeldFrom: day(3, 1)}, {MemberID: "mara", HeldFrom: day(3, 1), HeldTo: &ended}}},
			{ID: "p7", Label: "Plot 7", Holders: []Holder{{MemberID: "wren", HeldFrom: day(3, 1)}}},
		},
		Layouts: []LayoutOnPlot{{ID: "l4", PlotID: "p4", Name: "rows", Spec: layout}, {ID: "l7", PlotID: "p7", Name: "rows", Spec: layout}},
		Plantings: []Planting{
			{ID: "a", PlotID: "p4", LayoutID: new("l4"), Crop: "onion_dry", Outlets: []int{1}, BothSides: true},
			{ID: "b", PlotID: "p4", Crop: "lettuce", FromM: new(1.0), PlantSpacingM: new(0.25)},
			{ID: "c", PlotID: "p4", Crop: "pea_fresh", RemovedOn: &ended},
			{ID: "d", PlotID: "p4", LayoutID: new("l4"), Crop: "carrot", Outlets: []int{5}},
		},
		StoredPipes: []StoredPipe{
			stored("of all", drilled, nil, nil, "good"), stored("Ilse's", drilled, new("ilse"), nil, "worn"), stored("Wren's", drilled, new("wren"), nil, "good"),
			stored("set aside for 7", drilled, nil, new("l7"), "good"), stored("broken", drilled, nil, nil, "unfit"),
			stored("plain", plain, nil, nil, "good"), stored("Ilse's plain", plain, new("ilse"), nil, "good"),
		},
		Workshop: Workshop{KerfMM: new(2.0), Prices: []SheetPrice{{Kind: "tee", Cents: 95}}},
	}
}

func TestGardenSheet_takesWhatBelongsToTheLayouts(t *testing.T) {
	day := Day{time.Date(2026, time.July, 6, 0, 0, 0, 0, time.UTC)}
	for _, tc := range []struct {
		name                   string
		layouts                []string
		labels, stored, offCut []string
	}{
		{"one layout", []string{"l4"}, []string{"Plot 4"}, []string{"of all", "Ilse's"}, []string{"plain", "Ilse's plain"}},
		{"the other", []string{"l7"}, []string{"Plot 7"}, []string{"of all", "Wren's", "set aside for 7"}, []string{"plain"}},
		{"all", nil, []string{"Plot 4", "Plot 7"}, []string{"of all", "Ilse's", "Wren's", "set aside for 7"}, []string{"plain"}},
	} {
		s := shedGarden().Sheet(day, tc.layouts...)
		if err := s.Validate(); err != nil {
			t.Fatalf("%s: %v", tc.name, err)
		}
		var labels, stored, offCuts []string
		for _, l := range s.Layouts {
			labels = append(labels, l.Label)
		}
		for _, p := range s.StoredPipes {
			stored = append(stored, p.ID)
		}
		for _, o := range s.OffCuts {
			offCuts = append(offCuts, o.ID)
		}
		if diff := cmp.Diff([][]string{tc.labels, tc.stored, tc.offCut}, [][]string{labels, stored, offCuts}); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tc.name, diff)
		}
		if *s.KerfMM != 2 || len(s.Prices) != 1 || s.Units != "us" {
			t.Errorf("%s: kerf %v, prices %v, units %s", tc.name, *s.KerfMM, s.Prices, s.Units)
		}
	}
}

func TestGardenSheet_plantingsAndHolders(t *testing.T) {
	g := shedGarden()
	day := Day{time.Date(2026, time.July, 6, 0, 0, 0, 0, time.UTC)}
	l := g.Sheet(day, "l4").Layouts[0]
	want := []SheetPlanting{
		{Name: "onion dry", Crop: "onion_dry", Outlets: []int{1}, Sides: 2},
		{Name: "lettuce", Crop: "lettuce", FromM: 1, SpacingM: 0.25, Sides: 1}, // of the plot, so along every layout of it
	}
	if diff := cmp.Diff(want, l.Plantings); diff != "" {
		t.Errorf("plantings (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]string{"ilse"}, l.Owners); diff != "" {
		t.Errorf("owners (-want +got):\n%s", diff)
	}
	g.Layouts = append(g.Layouts, LayoutOnPlot{ID: "l4b", PlotID: "p4", Name: "bed", Spec: g.Layouts[0].Spec})
	if got := g.Sheet(day, "l4").Layouts[0].Label; got != "Plot 4 rows" {
		t.Errorf("with a second layout on the plot its pipes are labelled %q", got)
	}
}

// Pipes that are taken up fit the layout that they come from as they are.
func TestLaterals_fitTheirLayoutAgain(t *testing.T) {
	g := shedGarden()
	day := Day{time.Date(2026, time.July, 6, 0, 0, 0, 0, time.UTC)}
	g.StoredPipes = nil
	first, err := WorkSheet(g.Sheet(day, "l4"))
	if err != nil {
		t.Fatal(err)
	}
	for _, up := range first.Laterals(0, func(label string) bool { return label == "Plot 4 2-1 A box bed" || label == "Plot 4 2-1 A" }) {
		up.Pipe.ID, up.Pipe.Condition = up.Pipe.Label, "good"
		if err := up.Pipe.Validate(); err != nil {
			t.Errorf("%s: %v", up.Pipe.Label, err)
		}
		g.StoredPipes = append(g.StoredPipes, up.Pipe)
	}
	if n := len(g.StoredPipes); n != 2 || g.StoredPipes[1].Label != "Plot 4 2-1 A (2)" {
		t.Fatalf("%d pipes, %+v", n, g.StoredPipes)
	}
	again, err := WorkSheet(g.Sheet(day, "l4"))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range again.Sheet.Saved {
		if !r.AsItIs || r.Reversed {
			t.Errorf("%+v", r)
		}
	}
	if diff := cmp.Diff([]string{"Plot 4 1-1 A", "Plot 4 2-1 A (2)"}, again.Taken()); diff != "" {
		t.Errorf("taken (-want +got):\n%s", diff)
	}
}
