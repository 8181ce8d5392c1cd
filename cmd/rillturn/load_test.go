package main

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/api"
	"rillturn.example/rillturn/repo/repotest"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
	"rillturn.example/rillturn/testdata/garden"
)

// knowing is a small garden that says everything about its climate, crops and soil that a file may say.
func knowing(t *testing.T) file.Garden {
	t.Helper()
	g, err := file.ReadGarden(bytes.NewReader(garden.CinderLane))
	if err != nil {
		t.Fatal(err)
	}
	g.Garden.Coastal, g.Garden.HumidityClass = true, "humid"
	g.Crops = []file.Crop{{Code: "tomato", KcMid: new(1.2), RootDepthM: new(0.8), PlantSpacingM: new(0.55)}}
	for month := range 12 {
		g.Normals = append(g.Normals, file.MonthNormals{Month: month + 1, NeedConditions: file.NeedConditions{
			TmaxC: new(4 + float64(min(month, 11-month))*4), TminC: new(-3.0), WindMS: new(2.5), RhMeanPct: new(65.0),
		}})
	}
	g.Stations = []file.WeatherStation{{Station: "roof", LatitudeDeg: new(41.5), ElevationM: new(300.0), WindHeightM: new(12.0)}, {Station: "harbour"}}
	last := len(g.Weather) - 1
	for i := range g.Weather {
		g.Weather[i].WindHeightM = nil
	}
	g.Weather[last].DryBulbC, g.Weather[last].WetBulbC, g.Weather[last].Psychrometer = new(24.0), new(20.5), "naturally_ventilated"
	g.Weather[last-1].VaporPressureKpa, g.Weather[last-2].ET0Mm, g.Weather[last-3].SunshineH = new(1.9), new(5.75), new(12.5)
	g.Weather[last-4].RainMm = nil
	g.Weather = append(g.Weather, file.WeatherDay{Station: "harbour", Day: g.Horizon.FirstDay, Kind: "forecast", NeedConditions: file.NeedConditions{
		TmaxC: new(31.0), TminC: new(21.0), DewPointC: new(18.0),
	}})
	g.RainReadings = []file.RainReading{
		{PlotID: g.Plots[0].ID, Day: g.Weather[last-4].Day, RainMm: 3}, {PlotID: g.Plots[2].ID, Day: g.Weather[last-4].Day, RainMm: 5.5},
	}
	g.Digs = []file.Dig{
		{PlotID: g.Plots[0].ID, PlantingID: &g.Plantings[0].ID, Day: g.Weather[last-8].Day, DepletionMM: new(9.0)},
		{PlotID: g.Plots[2].ID, Day: g.Weather[last-6].Day, Finding: "moist"},
	}
	p := &g.Plantings[1]
	p.Establishment, p.Supported, p.ExposureFactor, p.DualCoefficient, p.Opening, p.OpeningDepletionMM = "sown", true, new(1.1), true, "given", new(4.0)
	p.Companions, p.GroundShare = []file.PlantingCompanion{{Crop: "tomato", PlantedOn: p.PlantedOn, GroundShare: 0.3}}, new(0.6)
	return g
}

// plotLabels are the labels of plots by id.
func plotLabels(g file.Garden) map[string]string {
	labels := map[string]string{}
	for _, p := range g.Plots {
		labels[p.ID] = p.Label
	}
	return labels
}

// A garden file goes into the database whole: what comes out as the input of a rotation says the same about climate, crops
// and soil, needs the same water, and planned without the database gives the same plan to the byte.
func TestLoadGarden_losesNothing(t *testing.T) {
	t.Parallel()
	g := knowing(t)
	text, err := json.Marshal(g)
	if err != nil {
		t.Fatal(err)
	}
	if err := api.CheckGardenFile(text); err != nil {
		t.Fatalf("the contract refuses the file: %v", err)
	}
	svc := service.New(repotest.Pool(t), newDemoClock().now)
	p, err := loadGarden(t.Context(), svc, g)
	if err != nil {
		t.Fatal(err)
	}
	r, err := svc.ProposeRotation(t.Context(), p, service.Proposal{FirstDay: &g.Horizon.FirstDay, Days: g.Horizon.Days, Effort: "fast", Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	input, _, err := svc.RotationInput(t.Context(), p, r.ID)
	if err != nil {
		t.Fatal(err)
	}
	stored, _, err := svc.RotationPlan(t.Context(), p, r.ID)
	if err != nil {
		t.Fatal(err)
	}
	got, err := file.ReadGarden(bytes.NewReader(input))
	if err != nil {
		t.Fatal(err)
	}
	compareNeed(t, g, got)
	compareClimate(t, g, got)
	offline := rillturn(t, string(input), "plan", "-")
	var plan bytes.Buffer
	if err := json.Compact(&plan, []byte(offline.out)); offline.code != 0 || err != nil || !bytes.Equal(plan.Bytes(), stored) {
		t.Errorf("planned from the exported file: code %d, %s %v", offline.code, offline.err, err)
	}
}

func compareClimate(t *testing.T, sent, got file.Garden) {
	t.Helper()
	got.Garden.ID = sent.Garden.ID
	if diff := cmp.Diff(sent.Garden, got.Garden); diff != "" {
		t.Errorf("settings:\n%s", diff)
	}
	for name, pair := range map[string][2]any{
		"crops": {sent.Crops, got.Crops}, "normals": {sent.Normals, got.Normals}, "stations": {sent.Stations, got.Stations}, "weather": {sent.Weather, got.Weather},
	} {
		if diff := cmp.Diff(pair[0], pair[1]); diff != "" {
			t.Errorf("%s:\n%s", name, diff)
		}
	}
	was, is := plotLabels(sent), plotLabels(got)
	for i := range got.RainReadings {
		got.RainReadings[i].PlotID = is[got.RainReadings[i].PlotID]
	}
	for i := range got.Digs {
		got.Digs[i].PlotID = is[got.Digs[i].PlotID]
		if id := got.Digs[i].PlantingID; id != nil {
			n := slices.IndexFunc(got.Plantings, func(p file.Planting) bool { return p.ID == *id })
			got.Digs[i].PlantingID = &got.Plantings[n].Crop
		}
	}
	var readings []file.RainReading
	for _, r := range sent.RainReadings {
		r.PlotID = was[r.PlotID]
		readings = append(readings, r)
	}
	var digs []file.Dig
	for _, d := range sent.Digs {
		d.PlotID = was[d.PlotID]
		if d.PlantingID != nil {
			d.PlantingID = &sent.Plantings[0].Crop
		}
		digs = append(digs, d)
	}
	if diff := cmp.Diff(readings, got.RainReadings) + cmp.Diff(digs, got.Digs); diff != "" {
		t.Errorf("readings and digs:\n%s", diff)
	}
}

// compareNeed holds the water that two gardens need against each other, plot by plot.
func compareNeed(t *testing.T, sent, got file.Garden) {
	t.Helper()
	need := func(g file.Garden) map[string]float64 {
		n, err := service.NeedGarden(g)
		if err != nil {
			t.Fatal(err)
		}
		labels, liters := plotLabels(g), map[string]float64{}
		for _, u := range n.Units {
			liters[labels[u.PlotID]] += u.Demand.TotalL
		}
		return liters
	}
	was, is := need(sent), need(got)
	if len(was) != len(sent.Plots) || len(is) != len(was) {
		t.Fatalf("%d and %d plots have a need", len(was), len(is))
	}
	for label, liters := range was {
		if math.Abs(liters-is[label]) > 1e-9*liters {
			t.Errorf("%s needs %v L in the file and %v L from the database", label, liters, is[label])
		}
	}
}
