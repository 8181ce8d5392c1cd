package api

import (
	"encoding/json"
	"fmt"
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

// get reads a path of a garden as a role into a value.
func get[V any](t *testing.T, w *world, g garden, role service.Role, path ...any) (V, answer) {
	t.Helper()
	a := w.do(t, call{method: http.MethodGet, path: location(g.id, path...), token: g.tokens[role]})
	var v V
	if a.status != http.StatusOK {
		t.Fatalf("%v: %d %s", path, a.status, a.body)
	}
	if err := json.Unmarshal(a.body, &v); err != nil {
		t.Fatal(err)
	}
	return v, a
}

// warmDays gives a garden a dry week of temperatures before today.
func (w *world) warmDays(t *testing.T, g garden) {
	t.Helper()
	var days []map[string]any
	for i := range 10 {
		day := today.AddDate(0, 0, i-10).Format(time.DateOnly)
		days = append(days, map[string]any{"station": "roof", "day": day, "kind": "measured", "tmax_c": 28, "tmin_c": 14, "rain_mm": 0})
	}
	a := w.do(t, call{
		method: http.MethodPut, path: location(g.id, "weather-days"), token: g.tokens[service.Integration], body: map[string]any{"days": days},
	})
	if a.status != http.StatusOK {
		t.Fatalf("%d %s", a.status, a.body)
	}
}

// A dig resets the ledger to what was found; each day after it closes its balance with the engine's evapotranspiration.
func TestLedger_goesOnFromADig(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	w.warmDays(t, g)
	_, before := get[gen.PlantingLedger](t, w, g, service.Gardener, "plantings", plantingID, "ledger")
	dug := today.AddDate(0, 0, -5)
	a := w.do(t, call{method: http.MethodPost, path: location(g.id, "digs"), token: g.tokens[service.Gardener], body: map[string]any{
		"plot_id": plotID, "planting_id": plantingID, "day": dug.Format(time.DateOnly), "depletion_mm": 3.5,
	}})
	if a.status != http.StatusCreated {
		t.Fatalf("%d %s", a.status, a.body)
	}
	l, after := get[gen.PlantingLedger](t, w, g, service.Gardener, "plantings", plantingID, "ledger")
	if before.header.Get("ETag") == after.header.Get("ETag") {
		t.Error("the ETag is the same after a dig")
	}
	days := l.Ledgers[0].WithAssumed.Days
	i := slices.IndexFunc(days, func(d gen.LedgerDay) bool { return d.Day.Format(time.DateOnly) == dug.Format(time.DateOnly) })
	if i < 0 || days[i].AdjustmentMm == nil || math.Abs(days[i].StartMm+*days[i].AdjustmentMm-3.5) > 1e-9 {
		t.Fatalf("the ledger is not reset on %s: %s", dug.Format(time.DateOnly), after.body)
	}
	if l.Ledgers[0].DigAsked.Asked {
		t.Error("a dig is asked for five days after one")
	}
	garden, _ := get[gen.Garden](t, w, g, service.Coordinator)
	et := reference(t, garden, dug)
	if math.Abs(days[i].Et0Mm-et) > 1e-9 || days[i].Rung != string(waterneed.RungTemperatures) {
		t.Errorf("ET0 %v on %s, want %v on temperatures only", days[i].Et0Mm, days[i].Rung, et)
	}
	for _, d := range days[i:] {
		start := d.StartMm
		if d.AdjustmentMm != nil {
			start += *d.AdjustmentMm
		}
		if end := max(0, start-d.RainCountedMm-d.IrrigationMm) + d.EtMm; math.Abs(end-d.DepletionMm) > 1e-9 {
			t.Errorf("%s does not balance: %v, want %v", d.Day, d.DepletionMm, end)
		}
	}
}

// reference is the engine's ET0 of a warm day by its temperatures.
func reference(t *testing.T, g gen.Garden, day time.Time) float64 {
	t.Helper()
	place := waterneed.Place{Latitude: unit.Degrees(g.LatitudeDeg), Elevation: unit.Length(g.ElevationM)}
	date := waterneed.Date{Year: day.Year(), Month: int(day.Month()), Day: day.Day()}
	et, err := waterneed.DailyReferenceET(place, date, waterneed.Weather{
		TMax: waterneed.Given(unit.Temperature(28)), TMin: waterneed.Given(unit.Temperature(14)),
	})
	if err != nil {
		t.Fatal(err)
	}
	return float64(et.ET0)
}

func TestLedger_refusesDaysThatMakeNoLedger(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	for query, pointer := range map[string]string{
		"to=2026-07-07":                 "#query/to",
		"to=2026-05-01":                 "#query/to",
		"from=2026-07-05&to=2026-07-01": "#query/from",
		"layout=" + id(99).String():     "#query/layout",
	} {
		form := "ledger"
		if strings.HasPrefix(query, "layout") {
			form = "ledger.svg"
		}
		a := w.do(t, call{method: http.MethodGet, path: location(g.id, "plantings", plantingID, form) + "?" + query, token: g.tokens[service.Gardener]})
		if p := a.problem(t); a.status != http.StatusUnprocessableEntity || len(p.Errors) != 1 || p.Errors[0].Pointer != pointer {
			t.Errorf("%s: %d %v, want 422 at %s", query, a.status, p.Errors, pointer)
		}
	}
}

// What cannot be a dig is refused with its field.
func TestDig_isRefusedWithPointers(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	good := exampleOf(t, "DigValues")
	for pointer, body := range map[string]json.RawMessage{
		"/finding":     withField(t, good, "/finding", nil),
		"/day":         withField(t, good, "/day", "2026-07-07"),
		"/planting_id": withField(t, good, "/planting_id", id(99)),
		"/plot_id":     withField(t, good, "/plot_id", id(99)),
	} {
		a := w.do(t, call{method: http.MethodPost, path: location(g.id, "digs"), token: g.tokens[service.Coordinator], body: body})
		if p := a.problem(t); a.status != http.StatusUnprocessableEntity || len(p.Errors) != 1 || p.Errors[0].Pointer != pointer {
			t.Errorf("%s: %d %v", pointer, a.status, p)
		}
	}
}

// What a planting says about itself comes back and moves its ledger; what the engine can't use is refused at its field.
func TestPlanting_saysHowItStands(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	w.warmDays(t, g)
	var values map[string]any
	if err := json.Unmarshal(exampleOf(t, "PlantingValues"), &values); err != nil {
		t.Fatal(err)
	}
	values["layout_id"], values["planted_on"], values["establishment"], values["opening"] = acceptedLayout, "2026-06-28", "sown", "winter_rain"
	values["companions"] = []map[string]any{{"crop": "carrot", "planted_on": "2026-06-28", "ground_share": 0.4}}
	post := func() answer {
		return w.do(t, call{method: http.MethodPost, path: location(g.id, "plantings"), token: g.tokens[service.Coordinator], body: values})
	}
	a := post()
	if a.status != http.StatusCreated {
		t.Fatalf("%d %s", a.status, a.body)
	}
	made := a.fields(t)
	if made["establishment"] != "sown" || made["opening"] != "winter_rain" || !strings.Contains(fmt.Sprint(made["companions"]), "kc_mid") {
		t.Errorf("came back as %s", a.body)
	}
	l, _ := get[gen.PlantingLedger](t, w, g, service.Gardener, "plantings", made["id"], "ledger")
	opening := l.Ledgers[0].Opening
	if opening.State != gen.Open || *opening.Assumed || *opening.DepletionMm != 0 || opening.Day.Format(time.DateOnly) != "2026-06-28" {
		t.Errorf("the ledger opens with %+v, want full soil on the day of planting", opening)
	}
	for pointers, edit := range map[string]func(){
		"/companions/0/crop /companions/1/crop": func() { // both at once
			values["companions"] = []map[string]any{
				{"crop": "nonesuch", "planted_on": "2026-06-28", "ground_share": 0.4}, {"crop": "neither", "planted_on": "2026-06-28", "ground_share": 0.1},
			}
		},
		"/ground_share":         func() { values["ground_share"] = 0.9 },
		"/opening_depletion_mm": func() { values["opening"] = "given" },
	} {
		kept := values
		values = map[string]any{}
		for k, v := range kept {
			values[k] = v
		}
		edit()
		a := post()
		p := a.problem(t)
		var named []string
		for _, e := range p.Errors {
			named = append(named, e.Pointer)
		}
		if a.status != http.StatusUnprocessableEntity || strings.Join(named, " ") != pointers {
			t.Errorf("%s: %d %v", pointers, a.status, p)
		}
		values = kept
	}
}

// The need of the first morning fills the soil as the ledger left it.
func TestWaterNeeds_followTheLedgers(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	w.warmDays(t, g)
	needs, _ := get[gen.WaterNeeds](t, w, g, service.Gardener, "water-needs")
	l, _ := get[gen.PlantingLedger](t, w, g, service.Gardener, "plantings", plantingID, "ledger")
	i := slices.IndexFunc(needs.Units, func(u gen.UnitNeed) bool { return u.LayoutId != nil && *u.LayoutId == acceptedLayout })
	if i < 0 {
		t.Fatalf("the layout has no need: %+v", needs)
	}
	u := needs.Units[i]
	runsOff := slices.ContainsFunc(u.Text, func(s string) bool { return strings.HasPrefix(s, "Water may run off") })
	if !slices.Contains(u.Flags, "runoff_before_turn_ends") || !runsOff {
		t.Errorf("water stands on the drilled pipe's strip: flags %v, in words %v", u.Flags, u.Text)
	}
	if len(u.Plantings) != 1 || u.Plantings[0].DepletionMm != *l.Ledgers[0].WithAssumed.DepletionMm {
		t.Errorf("starts at %+v, the ledger ends at %v", u.Plantings, l.Ledgers[0].WithAssumed.DepletionMm)
	}
	sum := 0.0
	for _, d := range u.Days {
		sum += d.WantedL
	}
	if u.WantedTodayL <= 0 || u.TotalLowL > u.TotalL || u.TotalL > u.TotalHighL || u.MostPerDayL <= 0 || sum <= 0 {
		t.Errorf("needs %+v", u)
	}
}

// A ledger of which nothing is known yet says so, in place of a soil that lacks no water.
func TestLedger_saysThatItIsNotOpen(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	values := withField(t, exampleOf(t, "PlantingValues"), "/layout_id", acceptedLayout)
	values = withField(t, values, "/planted_on", today.Format(time.DateOnly))
	a := w.do(t, call{method: http.MethodPost, path: location(g.id, "plantings"), token: g.tokens[service.Coordinator], body: values})
	if a.status != http.StatusCreated {
		t.Fatalf("%d %s", a.status, a.body)
	}
	l, _ := get[gen.PlantingLedger](t, w, g, service.Gardener, "plantings", a.fields(t)["id"], "ledger")
	if len(l.Ledgers) != 1 {
		t.Fatalf("%+v", l)
	}
	o, with := l.Ledgers[0].Opening, l.Ledgers[0].WithAssumed
	if o.State != gen.NotOpen || o.Reason == nil || o.DepletionMm != nil || o.Assumed != nil || with.DepletionMm != nil {
		t.Errorf("opens as %+v, with %v missing", o, with.DepletionMm)
	}
}

// What integrations pushed comes back with the evapotranspiration that the engine reckons with; a day that nobody recorded
// stands on its neighbours and says that its rain is missing.
func TestReferenceEt_saysWhatItStandsOn(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	w.warmDays(t, g)
	past, _ := get[gen.ReferenceEt](t, w, g, service.Integration, "reference-et")
	ledger, _ := get[gen.PlantingLedger](t, w, g, service.Gardener, "plantings", plantingID, "ledger")
	yesterday := today.AddDate(0, 0, -2) // where the garden lies the day before is not over yet
	if n := len(past.Days); n != 7 || past.Days[n-1].Day.String() != yesterday.Format(time.DateOnly) {
		t.Fatalf("%+v", past.Days)
	}
	known := map[string]float64{}
	for _, d := range ledger.Ledgers[0].WithAssumed.Days {
		known[d.Day.String()] = d.Et0Mm
	}
	compared := 0
	for _, d := range past.Days {
		if d.Rung != string(waterneed.RungTemperatures) || d.RainMissing || d.RainMm == nil || *d.RainMm != 0 {
			t.Errorf("a recorded day: %+v", d)
		}
		if et0, ok := known[d.Day.String()]; ok {
			compared++
			if et0 != d.Et0Mm {
				t.Errorf("%s: %g mm, the ledger took %g mm", d.Day, d.Et0Mm, et0)
			}
		}
	}
	if compared == 0 {
		t.Errorf("no day of the ledger among %+v", past.Days)
	}
	ahead := w.must(t, 200, call{method: "GET", path: location(g.id, "reference-et") + "?from=" + today.Format(time.DateOnly), token: g.tokens[service.Coordinator]})
	var coming gen.ReferenceEt
	if err := json.Unmarshal(ahead.body, &coming); err != nil {
		t.Fatal(err)
	}
	for _, d := range coming.Days {
		if d.Rung != string(waterneed.RungRecentMean) || !d.RainMissing || d.Et0Mm <= 0 {
			t.Errorf("a day ahead: %+v", d)
		}
	}
}
