package service

import (
	"slices"
	"testing"
	"time"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/testdata/garden"
)

// onLine puts the tap of the small garden on a service line.
func onLine(t *testing.T, limit, elsewhere float64) file.Garden {
	t.Helper()
	g := committedGarden(t, garden.CinderLane)
	g.ServiceLines = []file.ServiceLine{{ID: "street", Name: "Street", FlowLimitLPerMin: limit, ElsewhereLPerMin: &elsewhere}}
	g.WaterSources[0].ServiceLineID = new("street")
	return g
}

// What neighbours draw is counted in the zone test by curves: every zone holds on the curve of the tap beside them, and
// nobody is promised what they take.
func TestPlanGarden_countsWhatIsDrawnElsewhere(t *testing.T) {
	t.Parallel()
	alone := planOf(t, onLine(t, 40, 0))
	g := onLine(t, 40, 3)
	beside := planOf(t, g)
	if !(beside.SmallestShare < alone.SmallestShare) {
		t.Errorf("smallest share %v, alone %v", beside.SmallestShare, alone.SmallestShare)
	}
	full, left := *alone.Sources[0].Supply.FlowMaxLPerMin, *beside.Sources[0].Supply.FlowMaxLPerMin
	if !near(left, full-3, 1e-9) || beside.Sources[0].Supply.ElsewhereLPerMin != 3 {
		t.Errorf("the tap gives %v L/min of %v", left, full)
	}
	supply, _, err := g.FlowSource(g.WaterSources[0]).Supply("")
	if err != nil {
		t.Fatal(err)
	}
	for _, z := range beside.Zones {
		if gives := unit.Flow(supply.FlowAt(z.HeadM)).LitersPerMinute(); z.Kind == "zone" && z.FlowLPerMin > gives*1.001+0.001 {
			t.Errorf("%s takes %v L/min at %v m, where the tap gives %v", z.Name, z.FlowLPerMin, z.HeadM, gives)
		}
	}
	var codes []string
	for _, a := range beside.Sources[0].Supply.Assumptions {
		codes = append(codes, a.Code)
	}
	if !slices.Contains(codes, "drawn_elsewhere") || !slices.Contains(codes, "all_pipes_shared") {
		t.Errorf("the plan rests on %q", codes)
	}

	// What the line carries for others is no longer there for the plan.
	for _, z := range planOf(t, onLine(t, 8, 2.5)).Zones {
		if z.FlowLPerMin > 8-2.5 {
			t.Errorf("%s takes %v L/min of a line that has %v left", z.Name, z.FlowLPerMin, 8-2.5)
		}
	}
}

// Neighbours who take everything, or more than the line carries, are a fault of the line, and of nothing else.
func TestPlanGarden_refusesALineThatGivesNothing(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ limit, elsewhere float64 }{
		"all that the tap has": {40, 20}, "all of the limit": {10, 10}, "less than nothing": {10, -1},
	} {
		g := onLine(t, c.limit, c.elsewhere)
		_, err := PlanGarden(g, nil)
		t.Run(name, func(t *testing.T) { wantPointers(t, err, "/service_lines/0/elsewhere_l_per_min") })
		if _, err := NeedGarden(g); c.elsewhere == 20 && err != nil {
			t.Errorf("%s: ledgers need no tap: %v", name, err)
		}
	}
}

// A tank gives less through a narrow outlet, and no more than through a wide one when nobody measured it.
func TestPlanGarden_countsTheOutletOfATank(t *testing.T) {
	t.Parallel()
	flow := func(edit func(*file.WaterSource)) float64 {
		g := oneBed(t, 30, 4)
		edit(&g.WaterSources[0])
		return planOf(t, g).Units[0].Alone.FlowLPerMin
	}
	wide := flow(func(w *file.WaterSource) { w.TankOutletDiameterMM, w.TankOutletK = new(50.0), new(0.0) })
	narrow := flow(func(w *file.WaterSource) { w.TankOutletDiameterMM = new(12.0) })
	tap := flow(func(w *file.WaterSource) { w.TankOutletDiameterMM, w.TankOutletK = new(12.0), new(10.0) })
	hose := flow(func(w *file.WaterSource) { w.HoseLengthM, w.HoseInsideDiameterMM = new(5.0), new(12.0) })
	unknown := flow(func(*file.WaterSource) {})
	if !(tap < narrow && narrow < unknown && unknown < wide) || hose != narrow {
		t.Errorf("wide %v, unknown %v, narrow %v, through its hose %v, with a tap %v L/min", wide, unknown, narrow, hose, tap)
	}
}

// Tests tell of water hours by the clocks of the garden, in summer and winter time.
func TestFlowSource_readsTestsByTheGardensClocks(t *testing.T) {
	t.Parallel()
	g := committedGarden(t, garden.CinderLane) // in New York; waters from 07:00 to 08:00
	used := func(at time.Time) bool {
		g.WaterSources[0].FlowTests[0].TestedAt = &at
		source := g.FlowSource(g.WaterSources[0])
		supply, assumed, err := source.Supply("")
		if err != nil {
			t.Fatal(err)
		}
		return !slices.ContainsFunc(source.SupplyOf(supply, assumed).Assumptions, func(a file.AssumptionResult) bool { return a.Code == "tests_of_other_hours" })
	}
	for text, want := range map[string]bool{
		"2015-05-02T10:00:00Z": true, "2015-05-02T09:59:00Z": false, "2015-05-02T13:00:00Z": true, "2015-05-02T13:01:00Z": false,
		"2015-12-02T11:00:00Z": true, "2015-12-02T10:59:00Z": false, "2015-05-02T19:00:00+13:00": false, "2015-05-03T00:30:00+13:00": true,
	} {
		at, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		if got := used(at); got != want {
			t.Errorf("%s: comparable %v, want %v", text, got, want)
		}
	}
}
