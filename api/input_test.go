package api

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"rillturn.example/rillturn/service"
)

// withField returns a JSON object with one field set; nil removes it. The path is a JSON pointer.
func withField(t testing.TB, object []byte, path string, value any) json.RawMessage {
	t.Helper()
	var root any
	if err := json.Unmarshal(object, &root); err != nil {
		t.Fatal(err)
	}
	at := root
	tokens := strings.Split(strings.TrimPrefix(path, "/"), "/")
	for _, token := range tokens[:len(tokens)-1] {
		switch v := at.(type) {
		case map[string]any:
			at = v[token]
		case []any:
			at = v[token[0]-'0']
		}
	}
	last := tokens[len(tokens)-1]
	if value == nil {
		delete(at.(map[string]any), last)
	} else {
		at.(map[string]any)[last] = value
	}
	text, err := json.Marshal(root)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// Each bad request is refused with a status that fits and a pointer to every fault, and leaves nothing behind.
func TestInput_isRefusedWithPointers(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	plot, layout := exampleOf(t, "PlotValues"), exampleOf(t, "LayoutValues")
	hours, weather := exampleOf(t, "WaterHoursValues"), exampleOf(t, "WeatherDayBatch")
	piece := "/spec/manifold/outlets/0/lateral/pieces/0"
	set := func(object []byte, path string, value any) string { return string(withField(t, object, path, value)) }
	raw := func(object []byte, old, text string) string {
		changed := strings.Replace(string(object), old, text, 1)
		if changed == string(object) {
			t.Fatalf("%s is not in %s", old, object)
		}
		return changed
	}
	plots, layouts := location(g.id, "plots"), location(g.id, "layouts")
	cases := []struct {
		name   string
		call   call
		status int
		want   []string // pointers
	}{
		{"unknown field", call{method: "POST", path: plots, body: set(plot, "/colour", "red")}, 400, []string{"/colour"}},
		{"field of other case", call{method: "POST", path: plots, body: raw(plot, `"label"`, `"Label"`)}, 400, []string{"/Label", "/label"}},
		{"many faults at once", call{method: "POST", path: plots, body: `{"area_m2":"big","method":"rain","communal":1,"x":0}`}, 400, []string{"/area_m2", "/communal", "/label", "/method", "/x"}},
		{"null", call{method: "POST", path: plots, body: raw(plot, `18.5`, `null`)}, 400, []string{"/area_m2"}},
		{"overflow", call{method: "POST", path: plots, body: raw(plot, `18.5`, `1e999`)}, 400, []string{"/area_m2"}},
		{"NaN", call{method: "POST", path: plots, body: raw(plot, `18.5`, `NaN`)}, 400, []string{""}},
		{"negative area", call{method: "POST", path: plots, body: set(plot, "/area_m2", -1)}, 400, []string{"/area_m2"}},
		{"empty label", call{method: "POST", path: plots, body: set(plot, "/label", "")}, 400, []string{"/label"}},
		{"label of control characters", call{method: "POST", path: plots, body: set(plot, "/label", "A\x00")}, 400, []string{"/label"}},
		{"duplicate key", call{method: "POST", path: plots, body: raw(plot, `{`, `{"communal":true,`)}, 400, []string{"/communal"}},
		{"deep nesting", call{method: "POST", path: plots, body: strings.Repeat(`[`, 5000) + strings.Repeat(`]`, 5000)}, 400, []string{""}},
		{"invalid UTF-8", call{method: "POST", path: plots, body: raw(plot, `A-03`, "A\xff")}, 400, []string{""}},
		{"not an object", call{method: "POST", path: plots, body: `[]`}, 400, []string{""}},
		{"no body", call{method: "POST", path: plots, body: ``}, 400, []string{""}},
		{"over a mebibyte", call{method: "POST", path: plots, body: set(plot, "/label", strings.Repeat("x", 1<<20))}, 413, nil},
		{"another media type", call{method: "POST", path: plots, body: string(plot), header: map[string]string{"Content-Type": "text/plain"}}, 415, nil},
		{"another charset", call{method: "POST", path: plots, body: string(plot), header: map[string]string{"Content-Type": "application/json; charset=latin1"}}, 415, nil},
		{"answer not wanted", call{method: "GET", path: plots, header: map[string]string{"Accept": "image/png"}}, 406, nil},
		{"body where none is taken", call{method: "GET", path: plots, body: `{}`}, 400, []string{""}},
		{"source of another garden", call{method: "POST", path: plots, body: set(plot, "/water_source_id", uuid.New())}, 422, []string{"/water_source_id"}},
		{"hose plot without flow", call{method: "POST", path: plots, body: set(plot, "/hose_flow_l_per_min", nil)}, 422, []string{"/hose_flow_l_per_min"}},
		{"wilting point alone", call{method: "POST", path: plots, body: set(plot, "/wilting_point", 0.1)}, 422, []string{"/wilting_point"}},
		{"layout on another garden's source", call{method: "POST", path: layouts, body: set(layout, "/water_source_id", uuid.New())}, 422, []string{"/water_source_id"}},
		{"layout on another garden's plot", call{method: "POST", path: layouts, body: set(layout, "/plot_id", uuid.New())}, 422, []string{"/plot_id"}},
		{"negative length", call{method: "POST", path: layouts, body: set(layout, piece+"/length_m", -3)}, 400, []string{piece + "/length_m"}},
		{"holes beyond the pipe", call{method: "POST", path: layouts, body: set(layout, piece+"/pattern/first_offset_m", 9)}, 422, []string{piece + "/pattern/first_offset_m"}},
		{"no such pipe", call{method: "POST", path: layouts, body: set(layout, piece+"/pipe/size", "7/8")}, 422, []string{piece + "/pipe/size"}},
		{"unknown field deep inside", call{method: "POST", path: layouts, body: set(layout, piece+"/pattern/colour", "red")}, 400, []string{piece + "/pattern/colour"}},
		{"preview beyond the pipe", call{method: "POST", path: location(g.id, "layout-previews"), body: set(exampleOf(t, "LayoutPreview"), piece+"/pattern/first_offset_m", 9)}, 422, []string{piece + "/pattern/first_offset_m"}},
		{"preview on no source", call{method: "POST", path: location(g.id, "layout-previews"), body: set(exampleOf(t, "LayoutPreview"), "/water_source_id", uuid.New())}, 422, []string{"/water_source_id"}},
		{"time outside the day", call{method: "POST", path: location(g.id, "water-hours"), body: set(hours, "/start_local", "25:00")}, 400, []string{"/start_local"}},
		{"end before begin", call{method: "POST", path: location(g.id, "water-hours"), body: set(hours, "/end_local", "05:00")}, 422, []string{"/end_local"}},
		{"a weekday twice", call{method: "POST", path: location(g.id, "water-hours"), body: set(hours, "/weekdays", []int{1, 1})}, 400, []string{"/weekdays"}},
		{"an eighth weekday", call{method: "POST", path: location(g.id, "water-hours"), body: set(hours, "/weekdays", []int{8})}, 400, []string{"/weekdays/0"}},
		{"a day that no calendar has", call{method: "POST", path: location(g.id, "water-hours"), body: set(hours, "/valid_from", "2026-02-30")}, 400, []string{"/valid_from"}},
		{"an unknown time zone", call{method: "PUT", path: location(g.id), body: set(exampleOf(t, "GardenValues"), "/time_zone", "Mars/Olympus"), header: map[string]string{"If-Match": `"1"`}}, 422, []string{"/time_zone"}},
		{"colder than the coldest", call{method: "PUT", path: location(g.id, "weather-days"), body: set(weather, "/days/0/tmax_c", 3)}, 422, []string{"/days/0/tmax_c"}},
		{"a day twice", call{method: "PUT", path: location(g.id, "weather-days"), body: twice(t, weather)}, 422, []string{"/days/1/day"}},
		{"no such crop", call{method: "POST", path: location(g.id, "plantings"), body: set(exampleOf(t, "PlantingValues"), "/crop", "moonflower")}, 422, []string{"/crop"}},
		{"part of a turn without minutes", call{method: "POST", path: location(g.id, "turns", turnID, "reports"), body: set(exampleOf(t, "TurnReportValues"), "/duration_min", nil)}, 422, []string{"/duration_min"}},
		{"horizon too short", call{method: "POST", path: location(g.id, "rotations"), body: set(exampleOf(t, "RotationCreate"), "/days", 6)}, 400, []string{"/days"}},
		{"a fraction for a count", call{method: "POST", path: location(g.id, "rotations"), body: set(exampleOf(t, "RotationCreate"), "/days", 7.5)}, 400, []string{"/days"}},
		{"bad id", call{method: "GET", path: location(g.id, "plots", "A-03")}, 400, []string{"#path/plot"}},
		{"bad number", call{method: "GET", path: location(g.id, "layouts", draftLayout, "revisions", "one")}, 400, []string{"#path/number"}},
		{"unknown id", call{method: "GET", path: location(g.id, "plots", uuid.New())}, 404, nil},
		{"holder of another plot", call{method: "GET", path: location(g.id, "plots", sparePlot, "holders", holderID)}, 404, nil},
		{"flow test of another source", call{method: "GET", path: location(g.id, "water-sources", spareSource, "flow-tests", flowTestID)}, 404, nil},
		{"holder for a plot that is not", call{method: "POST", path: location(g.id, "plots", uuid.New(), "holders"), body: exampleOf(t, "HolderValues")}, 404, nil},
		{"unknown query", call{method: "GET", path: plots + "?colour=red&limit=0"}, 400, []string{"#query/colour", "#query/limit"}},
		{"query twice", call{method: "GET", path: plots + "?limit=1&limit=2"}, 400, []string{"#query/limit"}},
		{"limit too large", call{method: "GET", path: plots + "?limit=201"}, 400, []string{"#query/limit"}},
		{"limit not a number", call{method: "GET", path: plots + "?limit=many"}, 400, []string{"#query/limit"}},
		{"query that is none", call{method: "GET", path: plots + "?a=%zz"}, 400, []string{"#query"}},
		{"NUL in a query", call{method: "GET", path: location(g.id, "weather-days") + "?station=a%00"}, 400, []string{"#query/station"}},
		{"days the wrong way round", call{method: "GET", path: location(g.id, "weather-days") + "?from=2026-02-30"}, 400, []string{"#query/from"}},
		{"cursor of nobody", call{method: "GET", path: plots + "?cursor=AAAA"}, 400, []string{"#query/cursor"}},
		{"key with a space", call{method: "POST", path: plots, body: string(plot), header: map[string]string{"Idempotency-Key": "a b"}}, 400, []string{"#header/Idempotency-Key"}},
		{"If-Match that is none", call{method: "DELETE", path: location(g.id, "plots", plotID), header: map[string]string{"If-Match": "1"}}, 400, []string{"#header/If-Match"}},
	}
	before := w.counts(t, g)
	for _, c := range cases {
		c.call.token = g.tokens[service.Coordinator]
		a := w.do(t, c.call)
		if a.status != c.status {
			t.Errorf("%s: %d, want %d\n%s", c.name, a.status, c.status, a.body)
			continue
		}
		p := a.problem(t)
		var got []string
		for _, e := range p.Errors {
			got = append(got, e.Pointer)
			if e.Reason == "" {
				t.Errorf("%s: no reason at %q", c.name, e.Pointer)
			}
		}
		slices.Sort(got)
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s: pointers\n%s%s", c.name, diff, a.body)
		}
		if p.Detail == "" || p.Status != c.status {
			t.Errorf("%s: detail %q, status %d", c.name, p.Detail, p.Status)
		}
	}
	if diff := cmp.Diff(before, w.counts(t, g)); diff != "" {
		t.Errorf("something was half-written:\n%s", diff)
	}
}

// The largest body that fits is taken.
func TestInput_aMebibyteIsTaken(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	body := string(exampleOf(t, "PlotValues"))
	body += strings.Repeat(" ", maxBody-len(body))
	c := call{method: "POST", path: location(g.id, "plots"), token: g.tokens[service.Coordinator], body: body}
	if a := w.do(t, c); a.status != 201 {
		t.Errorf("%d %s", a.status, a.body)
	}
	c.body = body + " "
	if a := w.do(t, c); a.status != 413 {
		t.Errorf("one more byte: %d %s", a.status, a.body)
	}
}

// What has an obvious default may be left out.
func TestInput_defaultsAreTaken(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	body := `{"first_day":"2026-08-01","last_day":"2026-08-31","day_parity":"odd","rule":"drought rule of the town"}`
	a := w.must(t, 201, call{method: "POST", path: location(g.id, "closures"), token: g.tokens[service.Coordinator], body: body})
	got := a.fields(t)
	if weekdays, methods := got["weekdays"].([]any), got["exempt_methods"].([]any); len(weekdays) != 0 || len(methods) != 0 {
		t.Errorf("%s", a.body)
	}
}

// A body that names its values as JSON allows, if oddly, is read as what it says.
func TestInput_oddSpellingsAreRead(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	body := `{"label":"A","area_m2":1.85e1,"method":"none","communal":false,"max_day_min":6e1}`
	a := w.do(t, call{method: "POST", path: location(g.id, "plots"), token: g.tokens[service.Coordinator], body: body})
	got := a.fields(t)
	if a.status != 201 || got["label"] != "A" || got["area_m2"] != 18.5 || got["max_day_min"] != 60.0 {
		t.Errorf("%d %s", a.status, a.body)
	}
}

// twice is a push of weather that gives its first day again.
func twice(t *testing.T, batch json.RawMessage) string {
	t.Helper()
	var b struct {
		Days []json.RawMessage `json:"days"`
	}
	if err := json.Unmarshal(batch, &b); err != nil {
		t.Fatal(err)
	}
	b.Days = append(b.Days, b.Days[0])
	out, err := json.Marshal(b)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}
