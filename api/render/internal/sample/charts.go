package sample

import (
	"math"
	"time"

	"rillturn.example/rillturn/api/render"
)

// Ledger returns three weeks of lettuce in July, with rain, an unreported watering, a dig and two days without weather.
func Ledger() render.LedgerChart {
	c := render.LedgerChart{PlotName: "Plot 4", PlantingName: "lettuce", Units: render.Metric, Language: "en"}
	missing, reported := 3.0, 3.0
	for i := range 21 {
		d := render.LedgerDay{Date: time.Date(2026, time.July, 1+i, 0, 0, 0, 0, time.UTC), RAWMm: 9 + 0.2*float64(i)}
		use := 4.2 + 1.5*math.Sin(float64(i)/2)
		switch {
		case i == 6:
			d.RainMm = 14
		case i == 13:
			d.RainMm = 3
		case i%2 == 0 && i != 16:
			d.WaterMm, d.WaterAssumed = 8.5, i == 10
		}
		d.WeatherAssumed = i > 18
		if d.Dug = i == 17; d.Dug {
			missing, reported = 6, 6
		}
		given := d.WaterMm
		if d.WaterAssumed {
			given = 0
		}
		missing, reported = math.Max(0, missing+use-d.RainMm-d.WaterMm), math.Max(0, reported+use-d.RainMm-given)
		d.DepletionMm, d.ReportedDepletionMm = missing, reported
		c.Days = append(c.Days, d)
	}
	return c
}

// Profile returns the pressure along five laterals, one of them far too long.
func Profile() render.HeadProfile {
	h := render.HeadProfile{PlotName: "Plot 6", LayoutName: "half-inch long row", Units: render.Metric, Language: "en", LeastHeadM: 0.03}
	for i, end := range []float64{0.24, 0.21, 0.18, 0.11, 0.002} {
		l := render.LateralProfile{Name: []string{"A", "B", "C", "D", "E, the long one by the fence"}[i]}
		length := 6 + 1.5*float64(i)
		for j := range 30 {
			x := float64(j) / 29
			const inlet = 0.29
			l.Points = append(l.Points, render.HeadPoint{DistanceM: 0.15 + x*length, HeadM: end + (inlet-end)*math.Pow(1-x, 2.75)})
		}
		h.Laterals = append(h.Laterals, l)
	}
	return h
}

// Drawing returns a layout with laterals to both sides, a plugged outlet, dry holes and a plugged one.
func Drawing() render.LayoutDrawing {
	d := render.LayoutDrawing{
		GardenName: "Tanager Bend Garden", PlotName: "Plot 4", LayoutName: "four laterals", Revision: 2, Units: render.Metric, Language: "en",
		ManifoldM: 2.4, ManifoldPipe: "3/4 in schedule 40", FeedAtM: 1.2,
	}
	for i := range 5 {
		o := render.DrawnOutlet{AtM: 0.15 + 0.5*float64(i)}
		if i == 3 {
			d.Outlets = append(d.Outlets, o)
			continue
		}
		l := &render.DrawnLateral{Name: string(rune('A' + i)), Pipe: "1/2 in schedule 40", LengthM: 6.1}
		if i == 4 {
			l.LengthM = 3.05
			o.ToLeft = true
		}
		for at := 0.15; at < l.LengthM; at += 0.1524 {
			flow := 5.2 - 0.4*at - 0.3*float64(i)
			l.HoleSets = append(l.HoleSets, render.DrawnHoles{AtM: at, FlowLPerH: math.Max(flow, 0), Unreliable: i == 2 && at > 5, Plugged: i == 0 && math.Abs(at-3.05) < 0.08})
		}
		o.Lateral = l
		d.Outlets = append(d.Outlets, o)
	}
	return d
}
