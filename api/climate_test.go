package api

import (
	"encoding/json"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/engine/waterneed"
	"rillturn.example/rillturn/service"
)

// send asks for a change as a role.
func (w *world) send(t *testing.T, g garden, role service.Role, method string, match string, body any, path ...any) answer {
	t.Helper()
	c := call{method: method, path: location(g.id, path...), token: g.tokens[role], body: body}
	if match != "" {
		c.header = map[string]string{"If-Match": match}
	}
	return w.do(t, c)
}

// wantFields holds a refusal against the fields that it should name.
func wantFields(t *testing.T, a answer, status int, pointers ...string) {
	t.Helper()
	p := a.problem(t)
	var got []string
	for _, e := range p.Errors {
		got = append(got, e.Pointer)
	}
	slices.Sort(got)
	slices.Sort(pointers)
	if a.status != status || !slices.Equal(got, pointers) {
		t.Errorf("%d %v, want %d %v\n%s", a.status, got, status, pointers, a.body)
	}
}

func read[V any](t *testing.T, a answer, status int) V {
	t.Helper()
	var v V
	if a.status != status {
		t.Fatalf("%d %s, want %d", a.status, a.body, status)
	}
	if err := json.Unmarshal(a.body, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// A garden's own crops stand beside the published ones and in their place; a planting copies what it names and keeps it.
func TestOwnCrop_besideTheLibrary(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	amaranth := map[string]any{
		"code": "amaranth", "stages": map[string]any{"initial_d": 20, "development_d": 25, "mid_d": 30, "late_d": 15},
		"kc_ini": 0.6, "kc_mid": 1.0, "kc_end": 0.9, "kcb_ini": 0.15, "kcb_mid": 0.95, "kcb_end": 0.8,
		"height_m": 1.2, "root_depth_m": 0.6, "depletion_fraction": 0.5, "plant_spacing_m": 0.3,
	}
	made := read[gen.OwnCrop](t, w.send(t, g, service.Coordinator, "POST", "", amaranth, "own-crops"), 201)
	wantFields(t, w.send(t, g, service.Coordinator, "POST", "", amaranth, "own-crops"), 409, "/code")
	own := map[string]gen.ListedCrop{}
	list, _ := get[gen.CropList](t, w, g, service.Gardener, "crops")
	for _, c := range list.Items {
		own[c.Crop.Code] = c
	}
	tomato := own["tomato"]
	if l := own["amaranth"]; l.OwnCropId == nil || *l.OwnCropId != made.Id || *l.Crop.PlantSpacingM != 0.3 {
		t.Errorf("listed as %+v", l)
	}
	if tomato.OwnCropId != nil || *tomato.Crop.KcMid != 1.15 {
		t.Errorf("the published tomato is listed as %+v", tomato)
	}
	// The garden's spinach (made with the records of the test) gives its roots alone; all else is published.
	if l := own["spinach"]; l.OwnCropId == nil || *l.OwnCropId != ownCropID || *l.Crop.RootDepthM != 0.4 || *l.Crop.KcMid != 1 {
		t.Errorf("the garden's spinach is listed as %+v", l)
	}
	values := map[string]any{}
	if err := json.Unmarshal(exampleOf(t, "PlantingValues"), &values); err != nil {
		t.Fatal(err)
	}
	values["crop"] = "amaranth"
	values["companions"] = []map[string]any{{"crop": "spinach", "planted_on": "2026-05-02", "ground_share": 0.3}}
	planted := read[gen.Planting](t, w.send(t, g, service.Gardener, "POST", "", values, "plantings"), 201)
	if c := planted.CropConstants; *c.KcMid != 1 || *c.PlantSpacingM != 0.3 || *planted.Companions[0].CropConstants.RootDepthM != 0.4 {
		t.Errorf("planted with %s", must(json.Marshal(planted)))
	}
	amaranth["kc_mid"] = 1.1
	changed := read[gen.OwnCrop](t, w.send(t, g, service.Coordinator, "PUT", `"1"`, amaranth, "own-crops", made.Id), 200)
	if changed.Revision != 2 || *changed.Crop.KcMid != 1.1 {
		t.Errorf("changed to %+v", changed)
	}
	if a := w.send(t, g, service.Coordinator, "PUT", `"1"`, amaranth, "own-crops", made.Id); a.status != http.StatusPreconditionFailed {
		t.Errorf("over an old revision: %d", a.status)
	}
	if kept, _ := get[gen.Planting](t, w, g, service.Gardener, "plantings", planted.Id); *kept.CropConstants.KcMid != 1 {
		t.Errorf("the planting follows the crop to %v", *kept.CropConstants.KcMid)
	}
	values["crop_constants"] = changed.Crop // a planting takes the new values when they are given to it
	again := read[gen.Planting](t, w.send(t, g, service.Gardener, "PUT", `"1"`, values, "plantings", planted.Id), 200)
	if c := again.CropConstants; *c.KcMid != 1.1 || *c.RootStartM != 0.1 {
		t.Errorf("given constants became %s", must(json.Marshal(c)))
	}
	values["crop_constants"] = map[string]any{"code": "amaranth", "kc_mid": 1.1}
	wantFields(t, w.send(t, g, service.Gardener, "POST", "", values, "plantings"), 422, "/crop_constants/stages", "/crop_constants/kc_ini",
		"/crop_constants/kc_end", "/crop_constants/kcb_ini", "/crop_constants/kcb_mid", "/crop_constants/kcb_end", "/crop_constants/height_m",
		"/crop_constants/root_depth_m", "/crop_constants/depletion_fraction")
	delete(values, "crop_constants")
	if a := w.send(t, g, service.Coordinator, "DELETE", `"2"`, nil, "own-crops", made.Id); a.status != http.StatusNoContent {
		t.Errorf("delete: %d %s", a.status, a.body)
	}
	wantFields(t, w.send(t, g, service.Gardener, "POST", "", values, "plantings"), 422, "/crop")
}

func TestOwnCrop_isRefusedWithPointers(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	wantFields(t, w.send(t, g, service.Coordinator, "POST", "", map[string]any{"code": "amaranth", "kc_ini": 0.6}, "own-crops"), 422,
		"/stages", "/kc_mid", "/kc_end", "/kcb_ini", "/kcb_mid", "/kcb_end", "/height_m", "/root_depth_m", "/depletion_fraction")
	wantFields(t, w.send(t, g, service.Coordinator, "POST", "", map[string]any{"code": "tomato", "kc_mid": 11.5, "plant_spacing_m": 0}, "own-crops"), 422, "/plant_spacing_m")
	wantFields(t, w.send(t, g, service.Coordinator, "PUT", `"1"`, map[string]any{"code": "spinach", "kc_mid": 11.5}, "own-crops", ownCropID), 422, "/kc_mid")
}

func must[V any](v V, err error) V {
	if err != nil {
		panic(err)
	}
	return v
}

func normals(edit func(months []map[string]any)) map[string]any {
	months := make([]map[string]any, 12)
	for i := range months {
		months[i] = map[string]any{"month": i + 1, "tmax_c": 20 + float64(i%6), "tmin_c": 10, "rain_mm": 4}
	}
	if edit != nil {
		edit(months)
	}
	return map[string]any{"months": months}
}

// Twelve typed months stand in for days without weather, before the table by latitude; their rain is never counted.
func TestClimateNormals_standInForWeather(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	day := today.AddDate(0, 0, -1).Format(time.DateOnly)
	on := func() gen.ReferenceEtDay {
		a := w.must(t, 200, call{method: "GET", path: location(g.id, "reference-et") + "?days=7&from=" + day, token: g.tokens[service.Gardener]})
		return read[gen.ReferenceEt](t, a, 200).Days[0]
	}
	if d := on(); d.Rung != string(waterneed.RungLatitude) {
		t.Fatalf("before: %+v", d)
	}
	empty, a := get[gen.ClimateNormals](t, w, g, service.Integration, "climate-normals")
	if len(empty.Months) != 0 || a.header.Get("ETag") != `"1"` {
		t.Errorf("before: %s", a.body)
	}
	a = w.send(t, g, service.Coordinator, "PUT", `"1"`, normals(nil), "climate-normals")
	if got := read[gen.ClimateNormals](t, a, 200); len(got.Months) != 12 || a.header.Get("ETag") != `"2"` {
		t.Errorf("stored as %s", a.body)
	}
	back, _ := get[gen.ClimateNormals](t, w, g, service.Gardener, "climate-normals")
	if m := back.Months[6]; m.Month != 7 || *m.TmaxC != 20 || *m.RainMm != 4 {
		t.Errorf("July came back as %+v", m)
	}
	if d := on(); d.Rung != string(waterneed.RungNormals) || !d.RainMissing || d.Et0Mm <= 0 {
		t.Errorf("with normals: %+v", d)
	}
	for name, c := range map[string]struct {
		body     map[string]any
		pointers []string
	}{
		"eleven months": {map[string]any{"months": normals(nil)["months"].([]map[string]any)[:11]}, []string{"/months"}},
		"July twice":    {normals(func(m []map[string]any) { m[7]["month"] = 7 }), []string{"/months/7/month"}},
		"cold and calm": {normals(func(m []map[string]any) { m[3]["tmax_c"] = 9; m[4]["wind_m_s"] = 0.1 }), []string{"/months/3/tmax_c", "/months/4/wind_m_s"}},
		"too much sun":  {normals(func(m []map[string]any) { m[0]["sunshine_h"] = 12 }), []string{"/months/0/sunshine_h"}},
	} {
		t.Log(name)
		wantFields(t, w.send(t, g, service.Coordinator, "PUT", `"2"`, c.body, "climate-normals"), 422, c.pointers...)
	}
	if a := w.send(t, g, service.Coordinator, "PUT", `"1"`, normals(nil), "climate-normals"); a.status != http.StatusPreconditionFailed {
		t.Errorf("over an old revision: %d", a.status)
	}
	_ = read[gen.ClimateNormals](t, w.send(t, g, service.Coordinator, "PUT", `"2"`, map[string]any{"months": []any{}}, "climate-normals"), 200)
	if d := on(); d.Rung != string(waterneed.RungLatitude) {
		t.Errorf("without normals again: %+v", d)
	}
}

// Of a day that two stations know, each part comes from the first of the list that has it, at the height and place of its
// own station.
func TestWeatherStations_inTheirOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	day := today.AddDate(0, 0, -3)
	push := func(days ...map[string]any) answer {
		for _, d := range days {
			d["day"], d["kind"] = day.Format(time.DateOnly), "measured"
		}
		return w.send(t, g, service.Integration, "PUT", "", map[string]any{"days": days}, "weather-days")
	}
	on := func() gen.ReferenceEtDay {
		a := w.must(t, 200, call{method: "GET", path: location(g.id, "reference-et") + "?days=7&from=" + day.Format(time.DateOnly), token: g.tokens[service.Gardener]})
		return read[gen.ReferenceEt](t, a, 200).Days[0]
	}
	_ = read[gen.WeatherDayStored](t, push(
		map[string]any{"station": "airfield", "tmax_c": 27, "tmin_c": 14, "wind_m_s": 4, "dry_bulb_c": 22, "wet_bulb_c": 17, "sunshine_h": 11, "rain_mm": 2},
		map[string]any{"station": "shed", "rain_mm": 5},
	), 200)
	if d := on(); *d.RainMm != 2 { // by name
		t.Errorf("without a list: %+v", d)
	}
	stations := []map[string]any{{"station": "shed"}, {"station": "airfield", "wind_height_m": 10, "elevation_m": 900, "latitude_deg": 50}}
	_ = read[gen.WeatherStations](t, w.send(t, g, service.Coordinator, "PUT", `"1"`, map[string]any{"stations": stations}, "weather-stations"), 200)
	row, _ := get[gen.Garden](t, w, g, service.Coordinator)
	here := waterneed.Place{Latitude: unit.Degrees(row.LatitudeDeg), Elevation: unit.Length(row.ElevationM)}
	there := waterneed.Place{Latitude: unit.Degrees(50), Elevation: 900}
	date := waterneed.Date{Year: day.Year(), Month: int(day.Month()), Day: day.Day()}
	number := date.DayOfYear()
	ea := waterneed.SaturationVaporPressure(17) - unit.Pressure(0.000662*float64(waterneed.AtmosphericPressure(there.Elevation))*(22-17))
	sun := 11 * waterneed.SkyAt(here.Latitude, number).DaylightHours / waterneed.SkyAt(there.Latitude, number).DaylightHours
	et, err := waterneed.DailyReferenceET(here, date, waterneed.Weather{
		TMax: waterneed.Given(unit.Temperature(27)), TMin: waterneed.Given(unit.Temperature(14)), VaporPressure: waterneed.Given(ea),
		Sunshine: waterneed.Given(sun), Wind: waterneed.Given(unit.Velocity(4)), WindHeight: 10,
	})
	if err != nil {
		t.Fatal(err)
	}
	if d := on(); *d.RainMm != 5 || math.Abs(d.Et0Mm-float64(et.ET0)) > 1e-9 || d.Rung != string(waterneed.RungMeasured) {
		t.Errorf("%+v, want 5 mm of rain and ET0 %v", d, et.ET0)
	}
	wantFields(t, w.send(t, g, service.Coordinator, "PUT", `"2"`, map[string]any{"stations": []map[string]any{
		{"station": "shed"}, {"station": "shed"},
	}}, "weather-stations"), 422, "/stations/1/station")
	// At the pole the sun of that day would not do: the stored day could not be used any more.
	wantFields(t, w.send(t, g, service.Coordinator, "PUT", `"2"`, map[string]any{"stations": []map[string]any{
		{"station": "airfield", "latitude_deg": -60},
	}}, "weather-stations"), 422, "/stations/0")
	wantFields(t, push(map[string]any{"station": "airfield", "tmax_c": 27, "tmin_c": 14, "sunshine_h": 17}), 422, "/days/0/sunshine_h")
	if stored, _ := get[gen.WeatherStations](t, w, g, service.Integration, "weather-stations"); len(stored.Stations) != 2 || *stored.Stations[1].WindHeightM != 10 {
		t.Errorf("refused lists left %+v", stored)
	}
}

// Every datum that a weather day may have instead of another is stored, comes back, and gives the engine's ET0.
func TestWeatherDay_everyAlternativeInput(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	row, _ := get[gen.Garden](t, w, g, service.Coordinator)
	place := waterneed.Place{Latitude: unit.Degrees(row.LatitudeDeg), Elevation: unit.Length(row.ElevationM)}
	cases := []struct {
		fields map[string]any
		edit   func(*waterneed.Weather)
		rung   waterneed.Code
	}{
		{nil, func(*waterneed.Weather) {}, waterneed.RungTemperatures},
		{map[string]any{"vapor_pressure_kpa": 1.4}, func(x *waterneed.Weather) { x.VaporPressure = waterneed.Given(unit.Pressure(1.4)) }, waterneed.RungPartly},
		{map[string]any{"dew_point_c": 12.5}, func(x *waterneed.Weather) { x.DewPoint = waterneed.Given(unit.Temperature(12.5)) }, waterneed.RungPartly},
		{map[string]any{"dry_bulb_c": 25.6, "wet_bulb_c": 19.5, "psychrometer": "naturally_ventilated"}, func(x *waterneed.Weather) {
			x.DryBulb, x.WetBulb = waterneed.Given(unit.Temperature(25.6)), waterneed.Given(unit.Temperature(19.5))
			x.Ventilation = waterneed.NaturallyVentilated
		}, waterneed.RungPartly},
		{map[string]any{"rh_max_pct": 88, "rh_min_pct": 40}, func(x *waterneed.Weather) {
			x.RHMax, x.RHMin = waterneed.Given(unit.Percent(88)), waterneed.Given(unit.Percent(40))
		}, waterneed.RungPartly},
		{map[string]any{"rh_max_pct": 88}, func(x *waterneed.Weather) { x.RHMax = waterneed.Given(unit.Percent(88)) }, waterneed.RungPartly},
		{map[string]any{"rh_mean_pct": 64}, func(x *waterneed.Weather) { x.RHMean = waterneed.Given(unit.Percent(64)) }, waterneed.RungPartly},
		{map[string]any{"radiation_mj_m2": 22.5}, func(x *waterneed.Weather) { x.Radiation = waterneed.Given(unit.Irradiation(22.5)) }, waterneed.RungPartly},
		{map[string]any{"sunshine_h": 9.25}, func(x *waterneed.Weather) { x.Sunshine = waterneed.Given(unit.Hours(9.25)) }, waterneed.RungPartly},
		{map[string]any{"wind_m_s": 3.2, "wind_height_m": 10}, func(x *waterneed.Weather) {
			x.Wind, x.WindHeight = waterneed.Given(unit.Velocity(3.2)), 10
		}, waterneed.RungPartly},
		{map[string]any{"dew_point_c": 12.5, "sunshine_h": 9.25, "wind_m_s": 2}, func(x *waterneed.Weather) {
			x.DewPoint, x.Sunshine, x.Wind = waterneed.Given(unit.Temperature(12.5)), waterneed.Given(unit.Hours(9.25)), waterneed.Given(unit.Velocity(2))
		}, waterneed.RungMeasured},
		{map[string]any{"et0_mm": 6.25}, nil, waterneed.RungGiven},
	}
	first := today.AddDate(0, 0, -len(cases)-1)
	var days []map[string]any
	for i, c := range cases {
		d := map[string]any{"station": "roof", "day": first.AddDate(0, 0, i).Format(time.DateOnly), "kind": "measured", "tmax_c": 28.0, "tmin_c": 14.0}
		for k, v := range c.fields {
			d[k] = v
		}
		days = append(days, d)
	}
	put := func() {
		_ = read[gen.WeatherDayStored](t, w.send(t, g, service.Integration, "PUT", "", map[string]any{"days": days}, "weather-days"), 200)
	}
	revision := func() int64 {
		row, _ := get[gen.Garden](t, w, g, service.Coordinator)
		return row.PlanRevision
	}
	put()
	before := revision()
	put() // once more
	if revision() != before {
		t.Error("the same days again change what plans are made from")
	}
	stored, _ := get[gen.WeatherDayList](t, w, g, service.Integration, "weather-days")
	for i, d := range stored.Items {
		var got map[string]any
		if err := json.Unmarshal(must(json.Marshal(d)), &got); err != nil {
			t.Fatal(err)
		}
		if want := must(json.Marshal(days[i])); string(must(json.Marshal(got))) != string(want) {
			t.Errorf("came back as %v, sent %s", got, want)
		}
	}
	a := w.must(t, 200, call{method: "GET", path: location(g.id, "reference-et") + "?days=12&from=" + first.Format(time.DateOnly), token: g.tokens[service.Gardener]})
	for i, d := range read[gen.ReferenceEt](t, a, 200).Days {
		want := 6.25
		if edit := cases[i].edit; edit != nil {
			x := waterneed.Weather{TMax: waterneed.Given(unit.Temperature(28)), TMin: waterneed.Given(unit.Temperature(14))}
			edit(&x)
			day := first.AddDate(0, 0, i)
			want = float64(must(waterneed.DailyReferenceET(place, waterneed.Date{Year: day.Year(), Month: int(day.Month()), Day: day.Day()}, x)).ET0)
		}
		if math.Abs(d.Et0Mm-want) > 1e-12 || d.Rung != string(cases[i].rung) {
			t.Errorf("%v: %v on %s, want %v on %s", cases[i].fields, d.Et0Mm, d.Rung, want, cases[i].rung)
		}
	}
	days[1]["vapor_pressure_kpa"] = 1.5 // a late correction
	put()
	if revision() != before+1 {
		t.Error("a correction changes nothing")
	}
}

// What can't be a day of weather is refused with its field, and nothing of the push is kept.
func TestWeatherDay_guards(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	before := w.counts(t, g)
	for pointer, fields := range map[string]map[string]any{
		"/days/1/tmax_c":             {"tmax_c": 9, "tmin_c": 12},
		"/days/1/tmin_c":             {"tmax_c": 9},
		"/days/1/wind_m_s":           {"wind_m_s": 14},
		"/days/1/sunshine_h":         {"sunshine_h": 16.4},
		"/days/1/radiation_mj_m2":    {"radiation_mj_m2": 38},
		"/days/1/rh_max_pct":         {"rh_max_pct": 40, "rh_min_pct": 60},
		"/days/1/wet_bulb_c":         {"dry_bulb_c": 20},
		"/days/1/dry_bulb_c":         {"dry_bulb_c": 20, "wet_bulb_c": 21},
		"/days/1/rain_mm":            {"kind": "forecast", "rain_mm": 4},
		"/days/1/vapor_pressure_kpa": nil,
	} {
		if fields == nil { // outside the contract: refused before the service sees it
			a := w.send(t, g, service.Integration, "PUT", "", map[string]any{"days": []map[string]any{
				{"station": "roof", "day": "2026-07-01", "kind": "measured"}, {"station": "roof", "day": "2026-07-02", "kind": "measured", "vapor_pressure_kpa": 21},
			}}, "weather-days")
			wantFields(t, a, 400, pointer)
			continue
		}
		d := map[string]any{"station": "roof", "day": "2026-07-02", "kind": "measured"}
		for k, v := range fields {
			d[k] = v
		}
		wantFields(t, w.send(t, g, service.Integration, "PUT", "", map[string]any{"days": []map[string]any{
			{"station": "roof", "day": "2026-07-01", "kind": "measured", "tmax_c": 20, "tmin_c": 10}, d,
		}}, "weather-days"), 422, pointer)
	}
	if after := w.counts(t, g); after["weather_day"] != before["weather_day"] {
		t.Error("refused pushes left days behind")
	}
}

// A gardener's reading holds on the gardener's plot before every station; elsewhere the median counts where no station knows.
func TestRainReading_precedence(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	w.warmDays(t, g) // the roof knows ten dry days
	read5 := func(role service.Role, plot any, day time.Time, mm float64) answer {
		return w.send(t, g, role, "POST", "", map[string]any{"plot_id": plot, "day": day.Format(time.DateOnly), "rain_mm": mm}, "rain-readings")
	}
	known, unknown := today.AddDate(0, 0, -4), today.AddDate(0, 0, -12)
	dug := map[string]any{"plot_id": plotID, "planting_id": plantingID, "day": unknown.AddDate(0, 0, -1).Format(time.DateOnly), "finding": "dry"}
	_ = read[gen.Dig](t, w.send(t, g, service.Gardener, "POST", "", dug, "digs"), 201)
	rainOn := func(day time.Time) gen.LedgerDay {
		l, _ := get[gen.PlantingLedger](t, w, g, service.Gardener, "plantings", plantingID, "ledger")
		days := l.Ledgers[0].WithAssumed.Days
		i := slices.IndexFunc(days, func(d gen.LedgerDay) bool { return d.Day.Format(time.DateOnly) == day.Format(time.DateOnly) })
		return days[i]
	}
	if d := rainOn(unknown); d.RainMm != nil || !slices.Contains(d.Flags, "rain_missing") {
		t.Fatalf("before: %+v", d)
	}
	for i, mm := range []float64{3, 40, 5} { // one of them a slip of the pen
		plot := []any{foreignPlot, sparePlot, foreignPlot}[i]
		_ = read[gen.RainReading](t, read5(service.Coordinator, plot, unknown, mm), 201)
	}
	if d := rainOn(unknown); *d.RainMm != (5+40)/2.0 || !slices.Contains(d.Flags, "rain_read_by_hand") { // the later reading of a plot holds
		t.Errorf("elsewhere: %+v", d)
	}
	_ = read[gen.RainReading](t, read5(service.Coordinator, foreignPlot, known, 9), 201)
	if d := rainOn(known); *d.RainMm != 0 || slices.Contains(d.Flags, "rain_read_by_hand") {
		t.Errorf("where a station knows the rain, another plot's gauge counts: %+v", d)
	}
	mine := read[gen.RainReading](t, read5(service.Gardener, plotID, known, 6.5), 201)
	if d := rainOn(known); *d.RainMm != 6.5 || d.RainCountedMm != 6.5 || !slices.Contains(d.Flags, "rain_read_by_hand") {
		t.Errorf("on its own plot: %+v", d)
	}
	l, _ := get[gen.PlantingLedger](t, w, g, service.Gardener, "plantings", plantingID, "ledger")
	if !slices.ContainsFunc(l.Ledgers[0].Notes, func(s string) bool { return strings.Contains(s, "somebody read the rain from a gauge") }) {
		t.Errorf("the notes don't tell: %v", l.Ledgers[0].Notes)
	}
	wantFields(t, read5(service.Gardener, plotID, today.AddDate(0, 0, 1), 1), 422, "/day")
	if a := read5(service.Gardener, foreignPlot, known, 1); a.status != http.StatusForbidden {
		t.Errorf("on a plot of others: %d", a.status)
	}
	if a := read5(service.Integration, plotID, known, 1); a.status != http.StatusForbidden {
		t.Errorf("an integration: %d", a.status)
	}
	if a := w.send(t, g, service.Gardener, "DELETE", `"1"`, nil, "rain-readings", mine.Id); a.status != http.StatusNoContent {
		t.Fatalf("%d %s", a.status, a.body)
	}
	if d := rainOn(known); *d.RainMm != 0 {
		t.Errorf("after it is taken back: %+v", d)
	}
}
