package api

import (
	"net/http"
	"testing"

	"rillturn.example/rillturn/service"
)

// A year of pipes: taken up into the store in autumn, offered first in spring, set aside, built in, taken up again.
func TestStoredPipes_throughTheYear(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	token := g.tokens[service.Gardener]
	layout := func(part string) string { return location(g.id, "layouts", acceptedLayout, part) }
	get := func(path string) map[string]any {
		t.Helper()
		return w.must(t, 200, call{method: http.MethodGet, path: path, token: token}).fields(t)
	}
	takeIn := call{method: http.MethodPost, path: layout("stored-pipes"), token: token, body: exampleOf(t, "TakeIn")}

	laterals := 0
	for _, p := range get(layout("sheet"))["layouts"].([]any)[0].(map[string]any)["pipes"].([]any) {
		if p.(map[string]any)["use"] == "lateral" {
			laterals++
		}
	}
	in := w.must(t, 200, takeIn).fields(t)["items"].([]any)
	if laterals == 0 || len(in) != laterals {
		t.Fatalf("%d laterals, %d pipes went in", laterals, len(in))
	}
	w.must(t, 409, takeIn)

	// One of them is given to the garden: it stays the garden's, whoever takes it up next time.
	given := in[0].(map[string]any)
	label := given["label"].(string)
	body := map[string]any{"label": label, "piece": given["piece"], "condition": "good", "from_layout_id": acceptedLayout}
	w.must(t, 200, call{
		method: http.MethodPut, path: location(g.id, "stored-pipes", given["id"]), token: g.tokens[service.Coordinator],
		header: map[string]string{"If-Match": `"1"`}, body: body,
	})
	drilled := 0
	for _, p := range in {
		if p.(map[string]any)["piece"].(map[string]any)["pattern"] != nil {
			drilled++
		}
	}
	sheet := get(layout("sheet"))
	taken := sheet["reserved"].([]any)
	if len(taken) != drilled {
		t.Errorf("%d pipes are taken from the store of %d drilled ones", len(taken), drilled)
	}
	for _, r := range taken {
		if r.(map[string]any)["as_it_is"] != true {
			t.Errorf("not as it is: %v", r)
		}
	}

	reserve := call{method: http.MethodPut, path: layout("reservation"), token: token}
	if set := w.must(t, 200, reserve).fields(t)["items"].([]any); len(set) < drilled {
		t.Errorf("%d pipes are set aside, want at least %d", len(set), drilled)
	}
	of := location(g.id, "stored-pipes?reserved_for="+acceptedLayout.String())
	if set := get(of)["items"].([]any); len(set) < drilled {
		t.Errorf("%d pipes are listed as set aside", len(set))
	}
	w.must(t, 204, call{method: http.MethodDelete, path: layout("reservation"), token: token})
	if set := get(of)["items"].([]any); len(set) != 0 {
		t.Errorf("%d pipes are set aside after they were freed", len(set))
	}
	w.must(t, 200, reserve)
	before := w.counts(t, g)["stored_pipe"]
	w.must(t, 200, call{method: http.MethodPost, path: layout("retire"), token: token, header: map[string]string{"If-Match": `"1"`}})
	if again := w.must(t, 200, takeIn).fields(t)["items"].([]any); len(again) != laterals {
		t.Errorf("%d pipes went in again, want %d", len(again), laterals)
	}
	gardens := 0
	for _, p := range get(location(g.id, "stored-pipes"))["items"].([]any) {
		if p := p.(map[string]any); p["owner_id"] == nil {
			gardens++
		}
	}
	if gardens != 1 {
		t.Errorf("%d pipes are the garden's, want 1", gardens)
	}
	if after := w.counts(t, g)["stored_pipe"]; after != before {
		t.Errorf("%d pipes in the store, %d before the season", after, before)
	}
}

// Own pipes are a gardener's; the garden's and those of others are a coordinator's.
func TestStoredPipes_whoseTheyAre(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	example := exampleOf(t, "StoredPipeValues")
	others := withField(t, example, "owner_id", coordinatorID)
	path, one := location(g.id, "stored-pipes"), location(g.id, "stored-pipes", pipeID)
	match := map[string]string{"If-Match": `"1"`}
	ofGarden := w.must(t, 201, call{
		method: http.MethodPost, path: path, token: g.tokens[service.Coordinator], body: withField(t, withField(t, example, "owner_id", nil), "label", "garden's"),
	}).header.Get("Location")
	for name, c := range map[string]struct {
		call call
		want int
	}{
		"somebody else's":          {call{method: "POST", path: path, body: others}, 403},
		"own becomes another's":    {call{method: "PUT", path: one, body: others, header: match}, 403},
		"the garden's becomes own": {call{method: "PUT", path: ofGarden, body: example, header: match}, 403},
		"the garden's is deleted":  {call{method: "DELETE", path: ofGarden, header: match}, 403},
	} {
		c.call.token = g.tokens[service.Gardener]
		if a := w.do(t, c.call); a.status != c.want {
			t.Errorf("%s: %d, want %d: %s", name, a.status, c.want, a.body)
		}
	}
	bad := withField(t, example, "plugged", []map[string]int{{"set": 20, "holes": 1}})
	a := w.must(t, 422, call{method: "POST", path: path, token: g.tokens[service.Gardener], body: bad})
	if p := a.problem(t); len(p.Errors) != 1 || p.Errors[0].Pointer != "/plugged/0/set" {
		t.Errorf("a plug beyond the pipe: %s", a.body)
	}
}

// Prices and the lengths in which pipe is sold are read by the sheet.
func TestWorkshop_isUsed(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	token := g.tokens[service.Coordinator]
	sheet := call{method: http.MethodGet, path: location(g.id, "layouts", acceptedLayout, "sheet"), token: token}
	before := w.must(t, 200, sheet)
	put := call{
		method: http.MethodPut, path: location(g.id, "workshop"), token: token, header: map[string]string{"If-Match": `"1"`},
		body: map[string]any{"kerf_mm": 2, "prices": []map[string]any{{"kind": "tee", "cents": 95}, {"kind": "pipe", "cents": 400}}},
	}
	if tag := w.must(t, 200, put).header.Get("ETag"); tag != `"2"` {
		t.Errorf("ETag %s", tag)
	}
	w.must(t, 412, put)
	after := w.must(t, 200, sheet)
	if before.fields(t)["cents"] != 0.0 || after.fields(t)["cents"] == 0.0 || before.header.Get("ETag") == after.header.Get("ETag") {
		t.Errorf("%v cents before, %v after", before.fields(t)["cents"], after.fields(t)["cents"])
	}
	put.header["If-Match"] = `"2"`
	put.body = map[string]any{"stub_m": 0.01, "prices": []map[string]any{{"kind": "teee", "cents": 1}}}
	a := w.must(t, 422, put)
	got := map[string]bool{}
	for _, e := range a.problem(t).Errors {
		got[e.Pointer] = true
	}
	if !got["/prices/0/kind"] {
		t.Errorf("faults %v", got)
	}
}

// A new season gives layouts in use drafts, and plants again what had a last day.
func TestSeason(t *testing.T) {
	t.Parallel()
	w := newWorld(t, unlimited)
	g := w.newGarden(t)
	token := g.tokens[service.Coordinator]
	ended := withField(t, exampleOf(t, "PlantingValues"), "removed_on", "2026-08-20")
	w.must(t, 201, call{method: http.MethodPost, path: location(g.id, "plantings"), token: token, body: ended})
	open := call{method: http.MethodPost, path: location(g.id, "seasons"), token: token, body: exampleOf(t, "SeasonValues")}
	season := w.must(t, 201, open).fields(t)
	drafts, plantings := season["drafts"].([]any), season["plantings"].([]any)
	if len(drafts) != 1 || drafts[0] != acceptedLayout.String() || len(plantings) != 1 {
		t.Fatalf("season %v", season)
	}
	planted := plantings[0].(map[string]any)
	if planted["planted_on"] != "2027-05-02" || planted["removed_on"] != "2027-08-20" {
		t.Errorf("planted from %v to %v", planted["planted_on"], planted["removed_on"])
	}
	layout := w.must(t, 200, call{method: http.MethodGet, path: location(g.id, "layouts", acceptedLayout), token: token}).fields(t)
	if layout["status"] != "draft" || layout["latest_number"] != 2.0 || layout["accepted_number"] != 1.0 {
		t.Errorf("layout %v", layout)
	}
	if a := w.must(t, 422, open); a.problem(t).Errors[0].Pointer != "/water_on" {
		t.Errorf("twice: %s", a.body)
	}
	open.body = map[string]any{"water_on": "2029-05-01", "water_off": "2028-10-01"}
	if a := w.must(t, 422, open); a.problem(t).Errors[0].Pointer != "/water_off" {
		t.Errorf("turned round: %s", a.body)
	}
}
