package service

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/testdata/garden"
)

// oneBed is a garden with a raised tank of 2 m, wide pipe, and one bed of 10 m² of lettuce planted on the first day.
func oneBed(t *testing.T, holes int, diameterMM float64) file.Garden {
	t.Helper()
	spec := layoutOf(t, `{"manifold": {"pipe": {"inside_diameter_mm": 50}, "rise_m": 0, "outlets": [{"at_m": 0, "lateral": {"rise_m": 0, "pieces": [
		{"pipe": {"inside_diameter_mm": 50}, "length_m": 3, "pattern": {"spacing_m": 0.1}}]}}]}}`)
	pattern := spec.Manifold.Outlets[0].Lateral.Pieces[0].Pattern
	pattern.Count, pattern.HoleDiameterMM = holes, diameterMM
	first := day(t, "2015-07-06")
	return file.Garden{
		Garden: file.GardenSettings{
			ID: "g", Name: "Tanager Bend Garden", TimeZone: "America/New_York", LatitudeDeg: 40.8, LongitudeDeg: -74, ElevationM: 40, Units: "metric",
			Language: "en", Fairness: "need", StartGridMin: 5,
		},
		WaterSources: []file.WaterSource{{
			ID: "tank", Name: "Tank", Kind: "tank", HoseConnections: 2, ChangeoverMin: 2, MinRunMin: 1, TankVolumeL: new(1000.0), TankLevelM: new(2.0),
			TankRefillLPerDay: new(1000.0),
		}},
		WaterHours: []file.WaterHours{{ID: "h", Weekdays: []int{1, 2, 3, 4, 5, 6, 7}, StartLocal: "06:00", EndLocal: "10:00"}},
		Plots:      []file.Plot{{ID: "bed", Label: "A1", AreaM2: 10, Method: "layout"}},
		Layouts:    []file.LayoutOnPlot{{ID: "rows", PlotID: "bed", WaterSourceID: "tank", Name: "rows", MeasuredDU: new(0.8), Spec: spec}},
		Plantings: []file.Planting{{
			ID: "p", PlotID: "bed", Crop: "lettuce", PlantedOn: first, AreaM2: 10, WettedFraction: 0.5, Mulch: "none",
		}},
		Horizon: file.Horizon{FirstDay: first, Days: 7, Effort: "fast", Seed: 1},
	}
}

func planOf(t *testing.T, g file.Garden) file.GardenPlan {
	t.Helper()
	p, err := PlanGarden(g, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func near(got, want, relative float64) bool { return math.Abs(got-want) <= relative*math.Abs(want) }

// One hole under a known head, worked by hand with the orifice equation (F. M. White, Fluid Mechanics, ch. 3):
//
//	q = Cd·A·√(2gh) = 0.62 · π/4·(0.003 m)² · √(2 · 9.80665 m/s² · 2 m)
//	  = 0.62 · 7.0686e-6 m² · 6.2631 m/s = 2.7448e-5 m³/s = 98.81 L/h = 1.647 L/min
//
// The pipe of 50 mm takes nothing that four digits would show.
func TestPlanGarden_oneHoleByHand(t *testing.T) {
	t.Parallel()
	p := planOf(t, oneBed(t, 1, 3))
	u := p.Units[0]
	if u.FirstHole == nil || u.LastHole == nil || *u.FirstHole != *u.LastHole {
		t.Fatalf("first hole %v, last %v", u.FirstHole, u.LastHole)
	}
	if !near(u.FirstHole.FlowLPerH, 98.81, 5e-4) || !near(u.FirstHole.HeadM, 2, 5e-4) {
		t.Errorf("%v L/h at %v m, by hand 98.81 at 2", u.FirstHole.FlowLPerH, u.FirstHole.HeadM)
	}
	if !near(u.Alone.FlowLPerMin, 1.647, 5e-4) {
		t.Errorf("%v L/min, by hand 1.647", u.Alone.FlowLPerMin)
	}
}

// A lateral gives the sum of its holes: 20 holes of 1 mm at 2 m give 20 · 0.62 · π/4·(0.001 m)² · 6.2631 m/s
// = 20 · 3.0498e-6 m³/s = 6.0996e-5 m³/s = 3.660 L/min, as evenly as can be.
func TestPlanGarden_oneLateralByHand(t *testing.T) {
	t.Parallel()
	u := planOf(t, oneBed(t, 20, 1)).Units[0]
	if !near(u.Alone.FlowLPerMin, 3.660, 1e-3) || u.Alone.OpenHoles != 20 {
		t.Errorf("%v L/min from %d holes, by hand 3.660 from 20", u.Alone.FlowLPerMin, u.Alone.OpenHoles)
	}
	if u.Alone.DU < 0.999 {
		t.Errorf("DU %v", u.Alone.DU)
	}
}

// A day's litres: ETc = Kc·ET0 (FAO-56 eq. 58) over the planted ground, divided by the evenness that cups measured. Lettuce
// has Kc ini 0.7 (FAO-56 Table 12), of which a strip of half the ground takes half (fw·Kc ini, FAO-56 eq. 60); ET0 is the
// day's as the plan states it. So 10 m² at a DU of 0.8 use 0.5 · 0.7 · ET0 [mm] · 10 m² / 0.8 = 4.375 L per mm of ET0.
func TestPlanGarden_litersOfADayByHand(t *testing.T) {
	t.Parallel()
	u := planOf(t, oneBed(t, 20, 1)).Units[0]
	if len(u.Demand.Days) != 7 {
		t.Fatalf("%d days", len(u.Demand.Days))
	}
	for i, d := range u.Demand.Days {
		if d.ET0Mm < 2 || d.ET0Mm > 9 { // July at 41° north
			t.Errorf("day %d: ET0 %v mm", i, d.ET0Mm)
		}
		if !near(d.UseL, 4.375*d.ET0Mm, 1e-9) {
			t.Errorf("day %d: %v L, by hand %v", i, d.UseL, 4.375*d.ET0Mm)
		}
	}
	if !near(u.NeedL, u.Demand.TotalL, 1e-4) { // rounded up to the milliliter
		t.Errorf("planned for %v L of %v", u.NeedL, u.Demand.TotalL)
	}
}

// A zone's minutes are its litres over its flow: what a turn delivers is its minutes at the operating point.
func TestPlanGarden_minutesOfAZoneByHand(t *testing.T) {
	t.Parallel()
	p := planOf(t, oneBed(t, 20, 1))
	if len(p.Zones) != 1 || len(p.Turns) == 0 {
		t.Fatalf("%d zones, %d turns", len(p.Zones), len(p.Turns))
	}
	z, total, open := p.Zones[0], 0.0, 0.0
	if !near(z.FlowLPerMin, p.Units[0].Alone.FlowLPerMin, 1e-3) {
		t.Errorf("the zone's flow is %v, its only layout's %v", z.FlowLPerMin, p.Units[0].Alone.FlowLPerMin)
	}
	for _, turn := range p.Turns {
		minutes := turn.EndsAt.Sub(turn.StartsAt).Minutes()
		if !near(turn.Members[0].VolumeL, minutes*z.FlowLPerMin, 1e-3) {
			t.Errorf("%v min at %v L/min give %v L", minutes, z.FlowLPerMin, turn.Members[0].VolumeL)
		}
		total += turn.Members[0].VolumeL
		open += minutes
	}
	u := p.Units[0]
	if !near(total, u.DeliveredL, 1e-4) || !near(open, p.OpenMin, 1e-4) {
		t.Errorf("turns give %v L in %v min, the plan says %v L in %v min", total, open, u.DeliveredL, p.OpenMin)
	}
	if !near(open, u.DeliveredL/z.FlowLPerMin, 1e-3) {
		t.Errorf("%v L at %v L/min take %v min", u.DeliveredL, z.FlowLPerMin, open)
	}
	if u.Share < 0.99 || p.Bound.Share < u.Share-1e-9 {
		t.Errorf("share %v, bound %v; four hours a day are plenty", u.Share, p.Bound.Share)
	}
}

// A can holds 10 L and takes 4 minutes a round, so it waters at 2.5 L/min.
func TestPlanGarden_cansByHand(t *testing.T) {
	t.Parallel()
	g := oneBed(t, 1, 1)
	g.Layouts, g.Plantings[0].LayoutID = nil, nil
	g.Plots[0].Method, g.Plots[0].WaterSourceID, g.Plots[0].CanVolumeL, g.Plots[0].CanMinutesEach = "can", new("tank"), new(10.0), new(4.0)
	p := planOf(t, g)
	if len(p.Zones) != 1 || p.Zones[0].Kind != "can" || !near(p.Zones[0].FlowLPerMin, 2.5, 1e-9) || p.Units[0].LayoutID != nil {
		t.Fatalf("%+v", p.Zones)
	}
	for _, turn := range p.Turns {
		if minutes := turn.EndsAt.Sub(turn.StartsAt).Minutes(); !near(turn.Members[0].VolumeL, 2.5*minutes, 1e-3) {
			t.Errorf("%v L in %v min", turn.Members[0].VolumeL, minutes)
		}
	}
}

// A bed too dry to wait is watered first of all days that are open; one that was watered well yesterday needs less.
func TestPlanGarden_reportedWaterCounts(t *testing.T) {
	t.Parallel()
	need := func(litres float64, outcome string) float64 {
		g := oneBed(t, 20, 1)
		g.Plantings[0].PlantedOn = day(t, "2015-06-01")
		for d := range 10 {
			g.Waterings = append(g.Waterings, file.Watering{
				PlotID: "bed", LayoutID: new("rows"), Day: file.Day{Time: g.Horizon.FirstDay.AddDate(0, 0, d-10)}, VolumeL: litres, Outcome: outcome,
			})
		}
		return planOf(t, g).Units[0].NeedL
	}
	done, missed, assumed := need(60, "done"), need(0, "missed"), need(60, "")
	if missed <= done {
		t.Errorf("after ten missed waterings %v L, after ten done %v L", missed, done)
	}
	if assumed != done { // run as published
		t.Errorf("assumed %v L, done %v L", assumed, done)
	}
}

// Every fault of a garden file comes at once, each with its place.
func TestPlanGarden_allFaultsAtOnce(t *testing.T) {
	t.Parallel()
	g := oneBed(t, 1, 1)
	g.WaterSources = append(g.WaterSources, file.WaterSource{ID: "new", Name: "South tap", Kind: "spigot", HoseConnections: 1})
	g.Plots = append(g.Plots, file.Plot{ID: "hose", Label: "B1", AreaM2: 5, Method: "hose", WaterSourceID: new("tank")},
		file.Plot{ID: "can", Label: "B2", AreaM2: 5, Method: "can", WaterSourceID: new("well")})
	bad := g.Layouts[0]
	bad.ID, bad.PlotID, bad.WaterSourceID = "bad", "nowhere", "well"
	bad.Spec = tidy(t)
	bad.Spec.Manifold.Outlets[0].Lateral.Pieces[0].LengthM = -1
	g.Layouts = append(g.Layouts, bad, g.Layouts[0])
	_, err := PlanGarden(g, nil)
	wantPointers(t, err, "/water_sources/1", "/plots/1/method", "/plots/2/water_source_id", "/layouts/1/plot_id", "/layouts/1/water_source_id",
		"/layouts/1/spec/manifold/outlets/0/lateral/pieces/0/length_m", "/layouts/2/id")
	var faults file.Faults
	if errors.As(err, &faults) && !strings.Contains(faults.Error(), "South tap has no flow test") {
		t.Errorf("%v doesn't name the tap", faults)
	}
	for name, c := range map[string]struct {
		edit    func(*file.Garden)
		pointer string
	}{
		"zone":    {func(g *file.Garden) { g.Garden.TimeZone = "Mars/Olympus" }, "/garden/time_zone"},
		"short":   {func(g *file.Garden) { g.Horizon.Days = 6 }, "/horizon/days"},
		"long":    {func(g *file.Garden) { g.Horizon.Days = 29 }, "/horizon/days"},
		"crop":    {func(g *file.Garden) { g.Plantings[0].Crop = "moonflower" }, "/plantings/0/crop"},
		"plastic": {func(g *file.Garden) { g.Plantings[0].MulchCover = 2 }, "/plantings/0/mulch_cover"},
		"exposed": {func(g *file.Garden) { g.Plantings[0].ExposureFactor = new(2.0) }, "/plantings/0/exposure_factor"},
		"thrown":  {func(g *file.Garden) { g.Plantings[0].Establishment = "thrown" }, "/plantings/0/establishment"},
		"opening": {func(g *file.Garden) { g.Plantings[0].Opening = "flood" }, "/plantings/0/opening"},
		"removed": {func(g *file.Garden) { g.Plantings[0].RemovedOn = new(day(t, "2015-07-01")) }, "/plantings/0/removed_on"},
		"wetted":  {func(g *file.Garden) { g.Plantings[0].WettedFraction = 1.5 }, "/plantings/0/wetted_fraction"},
		"companion": {func(g *file.Garden) {
			g.Plantings[0].Companions = []file.PlantingCompanion{{Crop: "moonflower", PlantedOn: g.Horizon.FirstDay, GroundShare: 0.5}}
		}, "/plantings/0/companions/0/crop"},
		"share": {func(g *file.Garden) {
			g.Plantings[0].Companions = []file.PlantingCompanion{{Crop: "radish", PlantedOn: g.Horizon.FirstDay, GroundShare: 2}}
		}, "/plantings/0/companions/0/ground_share"},
		"constants": {func(g *file.Garden) { g.Plantings[0].CropConstants = &file.Crop{Code: "lettuce", KcMid: new(9.0)} }, "/plantings/0/crop_constants/kc_mid"},
		"own crop":  {func(g *file.Garden) { g.Crops = []file.Crop{{Code: "lettuce", KcMid: new(9.0)}} }, "/crops/0/kc_mid"},
		"texture":   {func(g *file.Garden) { g.Plots[0].SoilTexture = new("chalk") }, "/plots/0/soil_texture"},
		"soil": {func(g *file.Garden) {
			g.Plots[0].FieldCapacity, g.Plots[0].WiltingPoint = new(0.2), new(0.3)
		}, "/plots/0/wilting_point"},
		"climate": {func(g *file.Garden) { g.Garden.HumidityClass = "soggy" }, "/garden/humidity_class"},
		"months":  {func(g *file.Garden) { g.Normals = make([]file.MonthNormals, 3) }, "/climate_normals"},
		"outcome": {func(g *file.Garden) {
			g.Waterings = []file.Watering{{PlotID: "other", Day: g.Horizon.FirstDay}, {PlotID: "bed", LayoutID: new("rows"), Day: g.Horizon.FirstDay, Outcome: "perhaps"}}
		}, "/waterings/1/outcome"},
		"finding":  {func(g *file.Garden) { g.Digs = []file.Dig{{PlotID: "bed", Day: g.Horizon.FirstDay, Finding: "sticky"}} }, "/digs/0/finding"},
		"dug plot": {func(g *file.Garden) { g.Digs = []file.Dig{{PlotID: "moor", Day: g.Horizon.FirstDay, Finding: "wet"}} }, "/digs/0/plot_id"},
		"dug planting": {func(g *file.Garden) {
			g.Digs = []file.Dig{{PlotID: "bed", PlantingID: new("q"), Day: g.Horizon.FirstDay, Finding: "wet"}}
		}, "/digs/0/planting_id"},
	} {
		g := oneBed(t, 1, 1)
		c.edit(&g)
		_, err := PlanGarden(g, nil)
		t.Run(name, func(t *testing.T) { wantPointers(t, err, c.pointer) })
	}
}

func wantPointers(t *testing.T, err error, want ...string) {
	t.Helper()
	var faults file.Faults
	if !errors.As(err, &faults) {
		t.Fatalf("got %v", err)
	}
	var got []string
	for _, f := range faults {
		got = append(got, f.Pointer)
		if f.Reason == "" {
			t.Errorf("%s has no reason", f.Pointer)
		}
	}
	for _, p := range want {
		if !slices.Contains(got, p) {
			t.Errorf("%s is missing from %q", p, got)
		}
	}
}

// What is not planned for is listed with the reason; nothing vanishes.
func TestPlanGarden_namesWhatIsLeftOut(t *testing.T) {
	t.Parallel()
	g := oneBed(t, 20, 1)
	g.Plots = append(g.Plots, file.Plot{ID: "vacant", Label: "B1", AreaM2: 5, Method: "none"}, file.Plot{ID: "undrawn", Label: "B2", AreaM2: 5, Method: "layout"},
		file.Plot{ID: "bare", Label: "B3", AreaM2: 5, Method: "hose", WaterSourceID: new("tank"), HoseFlowLPerMin: new(8.0)})
	unused := g.Layouts[0]
	unused.ID, unused.PlotID = "unused", "vacant"
	g.Layouts = append(g.Layouts, unused)
	reasons := map[string]string{}
	for _, u := range planOf(t, g).Unplanned {
		reasons[u.ID] = u.Reason
	}
	for id, want := range map[string]string{
		"vacant": "not_watered", "undrawn": "no_accepted_layout", "bare": "nothing_planted", "unused": "plot_not_watered_by_layout",
	} {
		if reasons[id] != want {
			t.Errorf("%s: %q, want %q", id, reasons[id], want)
		}
	}
}

// 30 regulated outlets of 100 L/h take 50 L/min; a source of 10 L/min can't carry them in any company.
func TestPlanGarden_saysWhatNoSourceCanCarry(t *testing.T) {
	t.Parallel()
	g := oneBed(t, 30, 1)
	pattern := g.Layouts[0].Spec.Manifold.Outlets[0].Lateral.Pieces[0].Pattern
	pattern.HoleDiameterMM, pattern.Rated = 0, &file.LayoutRated{FlowLPerH: 100, HeadM: 1}
	g.WaterSources[0].FlowLimitLPerMin = new(10.0)
	p := planOf(t, g)
	if len(p.Unplanned) != 1 || p.Unplanned[0].ID != "rows" || !near(p.Unplanned[0].TakesLPerMin, 50, 1e-3) || !near(p.Unplanned[0].GivesLPerMin, 10, 1e-3) {
		t.Errorf("left out: %+v", p.Unplanned)
	}
	if len(p.Turns) > 0 {
		t.Errorf("%d turns", len(p.Turns))
	}
}

// A plan that is cut short says so; one that ran to its end doesn't.
func TestPlanGarden_saysWhenItWasStopped(t *testing.T) {
	t.Parallel()
	g, err := file.ReadGarden(bytes.NewReader(garden.CinderLane))
	if err != nil {
		t.Fatal(err)
	}
	for _, stopped := range []bool{true, false} {
		p, err := PlanGarden(g, func() bool { return stopped })
		if err != nil || p.Stopped != stopped {
			t.Errorf("stopped %v: %v, %v", stopped, p.Stopped, err)
		}
	}
}

// The stored constants of a planting count, not the library's of today.
func TestPlanGarden_plantingsKeepTheirConstants(t *testing.T) {
	t.Parallel()
	crop, known := waterneed.CropByCode("lettuce")
	if !known {
		t.Fatal("no lettuce")
	}
	g := oneBed(t, 20, 1)
	own := file.CropOf(crop)
	g.Plantings[0].CropConstants = &own
	same, err := json.Marshal(planOf(t, g))
	if err != nil {
		t.Fatal(err)
	}
	plain, err := json.Marshal(planOf(t, oneBed(t, 20, 1)))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(same, plain) {
		t.Error("the library's constants, copied, give another plan")
	}
	g.Plantings[0].Crop = "no longer in the library"
	if _, err := PlanGarden(g, nil); err != nil {
		t.Error(err)
	}
}

// A week with a clock change: turns keep to the clock on the wall, and the plan spans 167 or 169 hours.
func TestPlanGarden_weeksWithAClockChange(t *testing.T) {
	t.Parallel()
	for first, hours := range map[string]float64{"2015-03-05": 167, "2015-10-29": 169, "2015-07-06": 168} {
		g := oneBed(t, 20, 1)
		g.Horizon.FirstDay, g.Plantings[0].PlantedOn = day(t, first), file.Day{Time: day(t, first).AddDate(0, 0, -30)}
		p := planOf(t, g)
		if got := p.EndsAt.Sub(p.StartsAt).Hours(); got != hours {
			t.Errorf("%s: %v hours, want %v", first, got, hours)
		}
		if len(p.Turns) == 0 {
			t.Errorf("%s: no turn", first)
		}
		for _, turn := range p.Turns {
			local := turn.StartsAt.In(zone(t, "America/New_York"))
			if h := local.Hour(); h < 6 || h >= 10 {
				t.Errorf("%s: a turn begins at %s", first, local.Format(time.RFC3339))
			}
			if want := g.Horizon.FirstDay.AddDate(0, 0, turn.Day).Format(time.DateOnly); local.Format(time.DateOnly) != want {
				t.Errorf("day %d is %s, the turn begins on %s", turn.Day, want, local.Format(time.DateOnly))
			}
		}
	}
}
