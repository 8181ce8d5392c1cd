package service

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/service/file"
)

// dryDays gives a garden measured weather without rain for n days before its horizon.
func dryDays(g *file.Garden, n int) {
	for i := range n {
		g.Weather = append(g.Weather, file.WeatherDay{
			Station: "gate", Kind: "measured", Day: before(*g, n-i),
			NeedConditions: file.NeedConditions{TmaxC: new(27.0), TminC: new(14.0), RainMm: new(0.0)},
		})
	}
}

func before(g file.Garden, days int) file.Day {
	return file.Day{Time: g.Horizon.FirstDay.AddDate(0, 0, -days)}
}

// threeMethods is a garden of one layout bed, one hose plot and one can plot, of 10 m² of lettuce each, 20 days old.
func threeMethods(t *testing.T) file.Garden {
	t.Helper()
	g := oneBed(t, 20, 1)
	g.Plantings[0].PlantedOn = before(g, 20)
	for _, method := range []string{"hose", "can"} {
		plot := file.Plot{ID: method, Label: strings.ToUpper(method), AreaM2: 10, Method: method, WaterSourceID: new("tank")}
		if method == "hose" {
			plot.HoseFlowLPerMin = new(12.0)
		} else {
			plot.CanVolumeL, plot.CanMinutesEach = new(10.0), new(3.0)
		}
		g.Plots = append(g.Plots, plot)
		p := g.Plantings[0]
		p.ID, p.PlotID = "lettuce by "+method, method
		g.Plantings = append(g.Plantings, p)
	}
	dryDays(&g, 20)
	return g
}

func needOf(t *testing.T, g file.Garden) file.GardenNeed {
	t.Helper()
	n, err := NeedGarden(g)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func ledgersOf(t *testing.T, n file.GardenNeed, plot string) file.PlantingLedgers {
	t.Helper()
	i := slices.IndexFunc(n.Units, func(u file.UnitNeed) bool { return u.PlotID == plot })
	if i < 0 || len(n.Units[i].Ledgers) != 1 {
		t.Fatalf("no single ledger of %s in %+v", plot, n.Units)
	}
	return n.Units[i].Ledgers[0]
}

// Every method has both ledgers: a turn that nobody reported counts in one and is left out of the other. 40 L over the
// 5 m² of wet strip are 8 mm, of which the driest quarter gets its share.
func TestNeedGarden_bothLedgersOfEveryMethod(t *testing.T) {
	t.Parallel()
	g := threeMethods(t)
	for _, plot := range g.Plots {
		w := file.Watering{PlotID: plot.ID, Day: before(g, 3), VolumeL: 40, DurationMin: 20, Outcome: "done"}
		if plot.Method == "layout" {
			w.LayoutID = new("rows")
		}
		g.Waterings = append(g.Waterings, w)
		w.Day, w.Outcome = before(g, 1), ""
		g.Waterings = append(g.Waterings, w)
	}
	n := needOf(t, g)
	for _, u := range n.Units {
		l := ledgersOf(t, n, u.PlotID)
		net := 40.0 / 5 * u.Efficiency.Value
		with, without := l.WithAssumed, l.WithoutAssumed
		if len(with.Days) != 3 || !near(with.Days[0].IrrigationMm, net, 1e-9) || !near(with.Days[2].AssumedIrrigationMm, net, 1e-9) {
			t.Errorf("%s: %d days, %v mm and %v mm, want %v", u.PlotID, len(with.Days), with.Days[0].IrrigationMm, with.Days[2].AssumedIrrigationMm, net)
		}
		if without.Days[2].IrrigationMm != 0 || !slices.Contains(without.Days[2].Flags, "assumed_turn_left_out") {
			t.Errorf("%s: %v mm without, flags %v", u.PlotID, without.Days[2].IrrigationMm, without.Days[2].Flags)
		}
		if with.State.DepletionMm >= without.State.DepletionMm {
			t.Errorf("%s misses %v mm with and %v mm without assumed turns", u.PlotID, with.State.DepletionMm, without.State.DepletionMm)
		}
		if u.Demand == nil || u.Demand.TotalL <= 0 || u.Demand.TotalLowL >= u.Demand.TotalHighL {
			t.Errorf("%s: demand %+v", u.PlotID, u.Demand)
		}
	}
	p := planOf(t, g)
	for _, u := range p.Units {
		l := ledgersOf(t, n, u.PlotID)
		if len(u.Ledgers) != 1 || u.Ledgers[0].DepletionMm != l.WithAssumed.State.DepletionMm ||
			u.Ledgers[0].DepletionWithoutAssumedMm != l.WithoutAssumed.State.DepletionMm {
			t.Errorf("the plan's ledger of %s is %+v", u.PlotID, u.Ledgers)
		}
	}
}

// Published 60 L in 20 min; 5 m² of strip and a measured evenness of 0.8 make 9.6 mm of them.
func TestNeedGarden_reportsCountByTheirOutcome(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		watering file.Watering
		want     float64
	}{
		"done":                  {file.Watering{Outcome: "done"}, 9.6},
		"part":                  {file.Watering{Outcome: "part", RanMin: new(5.0)}, 2.4},
		"missed":                {file.Watering{Outcome: "missed"}, 0},
		"found wet":             {file.Watering{Outcome: "skipped_wet"}, 0},
		"pressure lost":         {file.Watering{Outcome: "pressure_lost", RanMin: new(10.0)}, 4.8},
		"pressure lost, unsaid": {file.Watering{Outcome: "pressure_lost"}, 0},
		"overran":               {file.Watering{Outcome: "overran", RanMin: new(30.0)}, 14.4},
		"metered":               {file.Watering{Outcome: "overran", MeteredL: new(70.0)}, 11.2},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			g := oneBed(t, 20, 1)
			g.Plantings[0].PlantedOn = before(g, 20)
			dryDays(&g, 20)
			w := c.watering
			w.PlotID, w.LayoutID, w.Day, w.VolumeL, w.DurationMin = "bed", new("rows"), before(g, 2), 60, 20
			g.Waterings = []file.Watering{w}
			if got := ledgersOf(t, needOf(t, g), "bed").WithAssumed.Days[0].IrrigationMm; math.Abs(got-c.want) > 1e-9 {
				t.Errorf("%v mm, want %v", got, c.want)
			}
		})
	}
}

// A week after the last report the garden is asked for a dig; the dig sets the ledger and is evidence.
func TestNeedGarden_asksForADigAndTakesIt(t *testing.T) {
	t.Parallel()
	g := threeMethods(t)
	g.Waterings = []file.Watering{
		{PlotID: "hose", Day: before(g, 12), VolumeL: 60, DurationMin: 5, Outcome: "done"},
		{PlotID: "hose", Day: before(g, 4), VolumeL: 60, DurationMin: 5},
	}
	p := planOf(t, g)
	asked := func(p file.GardenPlan) bool {
		i := slices.IndexFunc(p.Units, func(u file.UnitPlan) bool { return u.PlotID == "hose" })
		return slices.Contains(p.Units[i].Ledgers[0].Flags, "dig_asked")
	}
	if !asked(p) {
		t.Error("no dig is asked for after twelve days without a report")
	}
	g.Digs = []file.Dig{{PlotID: "hose", Day: before(g, 2), Finding: "wet"}, {PlotID: "hose", PlantingID: new("lettuce by hose"), Day: before(g, 1), DepletionMM: new(5.5)}}
	l := ledgersOf(t, needOf(t, g), "hose").WithAssumed
	wet, measured := l.Days[len(l.Days)-2], l.Days[len(l.Days)-1]
	if wet.WetMm != 0 || measured.WetMm != 5.5 || !slices.Contains(wet.Flags, "reset_by_dig") {
		t.Errorf("after the digs %v mm and %v mm are missing, flags %v", wet.WetMm, measured.WetMm, wet.Flags)
	}
	if asked(planOf(t, g)) {
		t.Error("a dig is asked for a day after one")
	}
}

// The order of entry leaves no trace, and a reading or report entered late gives what it would have given on its day.
func TestNeedGarden_lateEntriesReplay(t *testing.T) {
	t.Parallel()
	g := threeMethods(t)
	for i := range 6 {
		g.Waterings = append(g.Waterings, file.Watering{PlotID: "can", Day: before(g, 12-2*i), VolumeL: 20 + float64(i), DurationMin: 6, Outcome: "done"})
	}
	g.Digs = []file.Dig{{PlotID: "can", Day: before(g, 9), Finding: "moist"}, {PlotID: "can", Day: before(g, 5), Finding: "dry"}}
	g.Weather[15].RainMm = new(7.5)
	want := needOf(t, g)
	late := g
	late.Waterings, late.Digs, late.Weather = slices.Clone(g.Waterings), slices.Clone(g.Digs), slices.Clone(g.Weather)
	slices.Reverse(late.Waterings)
	slices.Reverse(late.Digs)
	slices.Reverse(late.Weather)
	if diff := cmp.Diff(want, needOf(t, late)); diff != "" {
		t.Error(diff)
	}
	g.Weather[15].RainMm = nil // nobody has read the gauge yet
	dry := ledgersOf(t, needOf(t, g), "can").WithAssumed
	if dry.Totals.RainMissingDays != 1 || dry.State.DepletionMm < ledgersOf(t, want, "can").WithAssumed.State.DepletionMm {
		t.Errorf("without the reading: %+v", dry.Totals)
	}
}

// Whoever states that winter rain filled the soil has a ledger from the day of planting; else half of the readily
// available water is taken as gone when records begin, and the ledger says so.
func TestNeedGarden_openingIsStated(t *testing.T) {
	t.Parallel()
	g := threeMethods(t)
	g.Waterings = []file.Watering{{PlotID: "bed", LayoutID: new("rows"), Day: before(g, 5), VolumeL: 10, DurationMin: 5, Outcome: "done"}}
	l := ledgersOf(t, needOf(t, g), "bed").WithAssumed
	if len(l.Days) != 5 || !near(l.StartMm, l.Days[0].RawMm/2, 0.05) || !slices.Contains(l.Flags, "opening_assumed") {
		t.Errorf("%d days from %v of %v mm, flags %v", len(l.Days), l.StartMm, l.Days[0].RawMm, l.Flags)
	}
	g.Plantings[0].Opening = "winter_rain"
	l = ledgersOf(t, needOf(t, g), "bed").WithAssumed
	if len(l.Days) != 20 || l.StartMm != 0 || slices.Contains(l.Flags, "opening_assumed") {
		t.Errorf("%d days from %v mm, flags %v", len(l.Days), l.StartMm, l.Flags)
	}
	g.Plantings[0].Opening, g.Plantings[0].OpeningDepletionMM = "given", new(4.0)
	if l = ledgersOf(t, needOf(t, g), "bed").WithAssumed; l.StartMm != 4 {
		t.Errorf("from %v mm", l.StartMm)
	}
}

// A crop that made room for the next keeps its ledger, and each had all of the water while it stood.
func TestNeedGarden_cropsThatFollowEachOther(t *testing.T) {
	t.Parallel()
	g := threeMethods(t)
	next := g.Plantings[0]
	next.ID, next.PlantedOn = "after", before(g, 6)
	g.Plantings[0].RemovedOn = new(before(g, 6))
	g.Plantings = append(g.Plantings, next)
	for _, d := range []int{10, 3} {
		g.Waterings = append(g.Waterings, file.Watering{PlotID: "bed", LayoutID: new("rows"), Day: before(g, d), VolumeL: 60, DurationMin: 20, Outcome: "done"})
	}
	n := needOf(t, g)
	bed := n.Units[slices.IndexFunc(n.Units, func(u file.UnitNeed) bool { return u.PlotID == "bed" })]
	if len(bed.Ledgers) != 2 || len(bed.Demand.Plantings) != 1 || bed.Demand.Plantings[0].Planting != "after" {
		t.Fatalf("%d ledgers, demand %+v", len(bed.Ledgers), bed.Demand.Plantings)
	}
	for i, at := range []int{0, 3} {
		if got := bed.Ledgers[i].WithAssumed.Days[at].IrrigationMm; math.Abs(got-9.6) > 1e-9 {
			t.Errorf("%s got %v mm, want 9.6", bed.Ledgers[i].Planting, got)
		}
	}
}

// A tap without a flow test can't be planned for, and keeps nobody from seeing the ledger.
func TestNeedGarden_needsNoFlowTest(t *testing.T) {
	t.Parallel()
	g := threeMethods(t)
	g.WaterSources[0] = file.WaterSource{ID: "tank", Name: "Tap", Kind: "spigot", HoseConnections: 1}
	g.Layouts[0].MeasuredDU, g.WaterHours = nil, nil
	n := needOf(t, g)
	if len(n.Units) != 3 || n.Units[0].Efficiency.Source != "assumed" || n.Units[0].Demand.TotalL <= 0 {
		t.Errorf("%+v", n.Units)
	}
	g.Plantings[1].AreaM2 = -3
	_, err := NeedGarden(g)
	wantPointers(t, err, "/plantings/1/area_m2")
}

// What changes the use of water reaches the litres.
func TestNeedGarden_settingsCount(t *testing.T) {
	t.Parallel()
	liters := func(edit func(*file.Garden)) float64 {
		g := oneBed(t, 20, 1)
		g.Plantings[0].Crop, g.Plantings[0].PlantedOn = "tomato", before(g, 80)
		dryDays(&g, 20)
		edit(&g)
		return needOf(t, g).Units[0].Demand.TotalL
	}
	base := liters(func(*file.Garden) {})
	if got := liters(func(g *file.Garden) { g.Plantings[0].ExposureFactor = new(1.3) }); got <= base*1.15 {
		t.Errorf("exposed %v L, sheltered %v L", got, base)
	}
	if got := liters(func(g *file.Garden) { g.Plantings[0].Supported = true }); got <= base {
		t.Errorf("staked %v L, lying %v L", got, base)
	}
	if got := liters(func(g *file.Garden) { g.Plantings[0].Mulch = "plastic" }); got >= base {
		t.Errorf("under plastic %v L, bare %v L", got, base)
	}
	if got := liters(func(g *file.Garden) {
		g.Plantings[0].Companions = []file.PlantingCompanion{{Crop: "lettuce", PlantedOn: before(*g, 40), GroundShare: 0.5}}
	}); got == base {
		t.Errorf("a companion changes nothing of %v L", base)
	}
	if got := liters(func(g *file.Garden) { g.Plantings[0].DualCoefficient = true }); got == base {
		t.Errorf("the dual coefficient changes nothing of %v L", base)
	}
	if got := liters(func(g *file.Garden) { g.Crops = []file.Crop{{Code: "tomato", KcMid: new(0.6)}} }); got >= base {
		t.Errorf("the garden's own tomato takes %v L, the published %v L", got, base)
	}
	if got := liters(func(g *file.Garden) { g.Plots[0].BedDepthM = new(0.1) }); got >= base {
		t.Errorf("a raised bed of 10 cm opens with %v L, open ground with %v L", got, base)
	}
}

// Twenty like holes each 0.1 m on wide pipe pour the same. Ten of them stand along the first planting, ten along the second,
// which has a fifth of its wet ground: a millimetre of the first strip of 5 m² takes 5 L / 0.5 / 0.8, of the second, 1 m²,
// 1 L / 0.5 / 0.8, whatever their areas.
func TestNeedGarden_pourAlongEachPlanting(t *testing.T) {
	t.Parallel()
	g := oneBed(t, 20, 1)
	second := g.Plantings[0]
	second.ID, second.AreaM2 = "q", 2
	g.Plantings = append(g.Plantings, second)
	gross := func() (first, second float64, n file.UnitNeed) {
		n = needOf(t, g).Units[0]
		return n.Demand.Plantings[0].GrossLPerMm, n.Demand.Plantings[1].GrossLPerMm, n
	}
	if a, b, _ := gross(); !near(a, 6/0.8, 1e-9) || !near(b, 6/0.8, 1e-9) {
		t.Errorf("by wet ground %v and %v L, want 7.5", a, b)
	}
	middle := 1.0 // between the tenth and the eleventh hole
	g.Plantings[0].ToM, g.Plantings[1].FromM = &middle, &middle
	if a, b, _ := gross(); !near(a, 12.5, 0.001) || !near(b, 2.5, 0.001) {
		t.Errorf("by the holes %v and %v L, want 12.5 and 2.5", a, b)
	}
	end := 2.9 // where no hole is: half of what its ground would get is credited, and told
	g.Plantings[1].FromM = &end
	a, b, n := gross()
	if !slices.Contains(n.Flags, "too_uneven_for_far_end") || 5/(a*0.8)+1/(b*0.8) > 1+1e-9 {
		t.Errorf("%v and %v L, flags %v", a, b, n.Flags)
	}
	g.Plantings[0].Outlets = []int{7} // no such lateral
	if _, _, n = gross(); n.Demand.TotalL <= 0 {
		t.Errorf("%+v", n.Demand)
	}
}
