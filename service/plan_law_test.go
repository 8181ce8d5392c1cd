package service

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service/file"
)

// drawnGarden is a small garden with everything that makes planning hard: weeks with 23 and 25 hours in a day, closed
// days, several hours a day, hands beside layouts, a service line, limits of a day.
func drawnGarden(t *rapid.T, base file.Garden) file.Garden {
	g := base
	first := rapid.SampledFrom([]string{"2015-03-05", "2015-07-06", "2015-08-28", "2015-10-29"}).Draw(t, "first day")
	start, err := time.Parse(time.DateOnly, first)
	if err != nil {
		t.Fatal(err)
	}
	g.Horizon = file.Horizon{FirstDay: file.Day{Time: start}, Days: rapid.IntRange(7, 9).Draw(t, "days"), Effort: "fast", Seed: 1}
	g.Garden.StartGridMin = rapid.SampledFrom([]float64{0, 5, 15}).Draw(t, "grid")
	g.Garden.FreeShare = rapid.SampledFrom([]float64{0, 0.2}).Draw(t, "free share")
	g.Garden.Fairness = rapid.SampledFrom([]string{"need", "area", "minutes"}).Draw(t, "fairness")
	g.ServiceLines = []file.ServiceLine{{ID: "line", Name: "line", FlowLimitLPerMin: rapid.Float64Range(20, 60).Draw(t, "line")}}
	g.WaterSources, g.WaterHours, g.Plots, g.Layouts, g.Plantings = nil, nil, nil, nil, nil
	for i := range rapid.IntRange(1, 2).Draw(t, "sources") {
		g.WaterSources = append(g.WaterSources, file.WaterSource{
			ID: fmt.Sprint("s", i), Name: fmt.Sprint("Spigot ", i), Kind: "spigot", ServiceLineID: new("line"), HoseConnections: rapid.IntRange(1, 3).Draw(t, "connections"),
			StaticHeadM: new(rapid.Float64Range(5, 40).Draw(t, "static head")), ChangeoverMin: 2, MinRunMin: 2,
			FlowTests: []file.FlowTest{{Kind: "bucket", VolumeL: new(10.0), DurationS: new(rapid.Float64Range(20, 60).Draw(t, "bucket"))}},
		})
	}
	for i, clock := range [][2]string{{"05:30", "08:00"}, {"18:00", "24:00"}} {
		days := rapid.SliceOfNDistinct(rapid.IntRange(1, 7), 3-i, 7, rapid.ID).Draw(t, "weekdays")
		slices.Sort(days)
		g.WaterHours = append(g.WaterHours, file.WaterHours{ID: fmt.Sprint("h", i), Weekdays: days, StartLocal: clock[0], EndLocal: clock[1]})
	}
	g.Closures = []file.Closure{{
		ID: "c", FirstDay: g.Horizon.FirstDay, LastDay: file.Day{Time: start.AddDate(0, 0, 30)}, Rule: "drought", ExemptMethods: []string{"can"},
		DayParity: rapid.SampledFrom([]string{"odd", "even"}).Draw(t, "closed days"),
	}}
	for i := range rapid.IntRange(1, 5).Draw(t, "plots") {
		drawnPlot(t, &g, base, i)
	}
	return g
}

func drawnPlot(t *rapid.T, g *file.Garden, base file.Garden, i int) {
	id := fmt.Sprint("p", i)
	source := rapid.SampledFrom(g.WaterSources).Draw(t, "source").ID
	area := rapid.Float64Range(2, 30).Draw(t, "area")
	plot := file.Plot{ID: id, Label: fmt.Sprint("P", i), AreaM2: area, Method: rapid.SampledFrom([]string{"layout", "layout", "hose", "can"}).Draw(t, "method")}
	switch plot.Method {
	case "hose":
		plot.WaterSourceID, plot.HoseFlowLPerMin = &source, new(rapid.Float64Range(4, 15).Draw(t, "hose"))
	case "can":
		plot.WaterSourceID, plot.CanVolumeL, plot.CanMinutesEach = &source, new(10.0), new(rapid.Float64Range(1, 5).Draw(t, "can"))
	default:
		text, err := json.Marshal(base.Layouts[0])
		if err != nil {
			t.Fatal(err)
		}
		var l file.LayoutOnPlot
		if err := json.Unmarshal(text, &l); err != nil {
			t.Fatal(err)
		}
		l.ID, l.PlotID, l.WaterSourceID, l.MeasuredDU = "l"+id, id, source, nil
		pattern := l.Spec.Manifold.Outlets[0].Lateral.Pieces[0].Pattern
		pattern.Count, pattern.HoleDiameterMM = rapid.IntRange(3, 30).Draw(t, "holes"), rapid.Float64Range(0.8, 2).Draw(t, "hole")
		g.Layouts = append(g.Layouts, l)
	}
	if rapid.Bool().Draw(t, "limited") {
		plot.MaxDayMin = new(rapid.Float64Range(5, 60).Draw(t, "most minutes"))
	}
	g.Plots = append(g.Plots, plot)
	g.Plantings = append(g.Plantings, file.Planting{
		ID: "g" + id, PlotID: id, Crop: rapid.SampledFrom([]string{"lettuce", "tomato", "carrot"}).Draw(t, "crop"), AreaM2: area, Mulch: "none",
		PlantedOn: file.Day{Time: g.Horizon.FirstDay.AddDate(0, 0, -rapid.IntRange(0, 60).Draw(t, "age"))}, WettedFraction: rapid.Float64Range(0.3, 1).Draw(t, "wetted"),
	})
}

// Laws of the plan of any garden, held from the file and the plan alone:
//
//  1. turns lie within the water hours on the wall's clock, on days of their weekdays;
//  2. nobody is watered on a day that a closure forbids to the method;
//  3. turns of one source don't overlap, and members close before their turn ends;
//  4. no turn is longer than its plot's minutes of a day allow;
//  5. what a unit gets is the sum of its turns, its share what it gets of what it needs, at most 1;
//  6. what is over is what exceeds the need by more than a twentieth;
//  7. the smallest share is that of some unit, and no more than its bound;
//  8. every unit planned or left out with a reason;
//  9. plants go short by the ledger on the days on which the plan says so, and on no others;
//  10. the same file gives the same bytes.
func TestPlanGarden_laws(t *testing.T) {
	t.Parallel()
	base := oneBed(t, 1, 1)
	loc := zone(t, base.Garden.TimeZone)
	drawn, watered := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		g := drawnGarden(t, base)
		p, err := PlanGarden(g, nil)
		if err != nil {
			t.Fatal(err)
		}
		drawn++
		if len(p.Turns) > 0 {
			watered++
		}
		lawsOfTime(t, g, p, loc)
		lawsOfWater(t, g, p)
		lawOfDrought(t, g, p)
		first, err := json.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		again, err := PlanGarden(g, nil)
		if err != nil {
			t.Fatal(err)
		}
		second, err := json.Marshal(again)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first, second) {
			t.Fatal("the same file gives two plans")
		}
	})
	if watered*2 < drawn {
		t.Errorf("only %d of %d gardens had a turn: the laws were held against too little", watered, drawn)
	}
}

// lawOfDrought replays the plan through the ledgers of every unit.
func lawOfDrought(t *rapid.T, g file.Garden, p file.GardenPlan) {
	f, err := gather(g, supposition{})
	if err != nil {
		t.Fatal(err)
	}
	for _, u := range f.units {
		litres := make([]unit.Volume, g.Horizon.Days)
		for _, turn := range p.Turns {
			for _, m := range turn.Members {
				if m.Unit == u.id {
					litres[turn.Day] += unit.Liters(m.VolumeL)
				}
			}
		}
		growing, states := f.growing(u)
		predicted, err := waterneed.Replay(growing, f.series, states, g.Horizon.FirstDay.EngineDate(), litres)
		if err != nil {
			t.Fatal(err)
		}
		stress := make([]float64, g.Horizon.Days)
		for _, planting := range predicted {
			for _, d := range planting.Days {
				day := d.Date.Sub(g.Horizon.FirstDay.EngineDate())
				stress[day] = max(stress[day], d.Stress)
			}
		}
		unservable := slices.ContainsFunc(p.Unplanned, func(x file.UnplannedPlan) bool { return x.ID == u.id })
		for day, s := range stress {
			dry := slices.ContainsFunc(p.Dry, func(d file.DryPlan) bool { return d.Unit == u.id && d.Day == day })
			const unnoticed = 1e-3 // a millilitre of rounding a day
			if !unservable && (s > unnoticed && !dry || s == 0 && dry) {
				t.Fatalf("%s on day %d: stress %v by the ledger, dry by the plan %v", u.id, day, s, dry)
			}
		}
	}
}

func lawsOfTime(t *rapid.T, g file.Garden, p file.GardenPlan, loc *time.Location) {
	zones := map[string]file.ZonePlan{}
	for _, z := range p.Zones {
		zones[z.ID] = z
	}
	last := map[string]time.Time{}
	minutes := map[string]float64{} // by unit and day
	turns := slices.Clone(p.Turns)
	slices.SortFunc(turns, func(a, b file.TurnPlan) int { return a.StartsAt.Compare(b.StartsAt) })
	for _, turn := range turns {
		z := zones[turn.Zone]
		start, end := turn.StartsAt.In(loc), turn.EndsAt.In(loc)
		if !turn.StartsAt.Before(turn.EndsAt) || !onTheClock(g, start, end) {
			t.Fatalf("turn from %s to %s is outside the water hours", start, end)
		}
		if before, used := last[z.SourceID]; used && turn.StartsAt.Before(before) {
			t.Fatalf("turn of %s at %s overlaps one until %s", z.SourceID, turn.StartsAt, before)
		}
		last[z.SourceID] = turn.EndsAt
		for _, m := range turn.Members {
			plot := plotOf(g, p, m.Unit)
			closedTo := (start.Day()%2 == 1) == (g.Closures[0].DayParity == "odd")
			if closedTo && plot.Method != "can" {
				t.Fatalf("%s (%s) is watered on %s, a closed day", m.Unit, plot.Method, start.Format(time.DateOnly))
			}
			closes := turn.EndsAt
			if m.ClosesAt != nil {
				closes = *m.ClosesAt
			}
			if closes.After(turn.EndsAt) || closes.Before(turn.StartsAt) {
				t.Fatalf("%s closes at %s, outside its turn", m.Unit, closes)
			}
			key := fmt.Sprint(m.Unit, turn.Day)
			if minutes[key] += closes.Sub(turn.StartsAt).Minutes(); plot.MaxDayMin != nil && minutes[key] > *plot.MaxDayMin+0.01 {
				t.Fatalf("%s is open for %v min on day %d, may be for %v", m.Unit, minutes[key], turn.Day, *plot.MaxDayMin)
			}
		}
	}
}

// onTheClock says that a stretch lies within one of the water hours, as the wall's clock shows it.
func onTheClock(g file.Garden, start, end time.Time) bool {
	weekday := int(start.Weekday())
	if weekday == 0 {
		weekday = 7
	}
	from, to := start.Format("15:04:05"), end.Format("15:04:05")
	if to == "00:00:00" {
		to = "24:00:00"
	}
	return slices.ContainsFunc(g.WaterHours, func(h file.WaterHours) bool {
		return slices.Contains(h.Weekdays, weekday) && from >= h.StartLocal+":00" && to <= h.EndLocal+":00"
	})
}

func plotOf(g file.Garden, p file.GardenPlan, unit string) file.Plot {
	u := p.Units[slices.IndexFunc(p.Units, func(u file.UnitPlan) bool { return u.ID == unit })]
	return g.Plots[slices.IndexFunc(g.Plots, func(x file.Plot) bool { return x.ID == u.PlotID })]
}

func lawsOfWater(t *rapid.T, g file.Garden, p file.GardenPlan) {
	given := map[string]float64{}
	for _, turn := range p.Turns {
		for _, m := range turn.Members {
			given[m.Unit] += m.VolumeL
		}
	}
	close := func(a, b float64) bool { return math.Abs(a-b) <= 0.01+1e-4*math.Abs(b) }
	smallest := 1.0
	for _, u := range p.Units {
		if u.Zone == "" {
			continue
		}
		if !close(given[u.ID], u.DeliveredL) {
			t.Fatalf("%s gets %v L from its turns, the plan says %v", u.ID, given[u.ID], u.DeliveredL)
		}
		if over := max(0, u.DeliveredL-1.05*u.NeedL); !close(u.OverL, over) {
			t.Fatalf("%s gets %v L of %v: over by %v, the plan says %v", u.ID, u.DeliveredL, u.NeedL, over, u.OverL)
		}
		if u.Share < 0 || u.Share > 1 {
			t.Fatalf("%s: share %v", u.ID, u.Share)
		}
		if g.Garden.Fairness == "need" && u.NeedL > 1 && math.Abs(u.Share-min(1, u.DeliveredL/u.NeedL)) > 1e-3 {
			t.Fatalf("%s gets %v L of %v: share %v", u.ID, u.DeliveredL, u.NeedL, u.Share)
		}
		smallest = min(smallest, u.Share)
	}
	if p.LeastOverL == nil || *p.LeastOverL < 0 || *p.LeastOverL > p.OverL+1e-3 {
		t.Fatalf("%v L beyond need, at least %v", p.OverL, p.LeastOverL)
	}
	if math.Abs(smallest-p.SmallestShare) > 1e-9 || p.SmallestShare > p.Bound.Share+1e-6 {
		t.Fatalf("smallest share %v, units have %v, bound %v", p.SmallestShare, smallest, p.Bound.Share)
	}
	for _, plot := range g.Plots {
		planned := slices.ContainsFunc(p.Units, func(u file.UnitPlan) bool { return u.PlotID == plot.ID && u.Zone != "" })
		left := slices.ContainsFunc(p.Unplanned, func(u file.UnplannedPlan) bool { return u.ID == plot.ID || u.ID == "l"+plot.ID })
		if planned == left {
			t.Fatalf("%s is planned %v and left out %v", plot.ID, planned, left)
		}
	}
}
