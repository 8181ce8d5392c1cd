package api

import (
	"encoding/json"
	"maps"
	"net/http"
	"os"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// flowWorld is a garden with the source of the example flow file, and its layouts on a plot.
type flowWorld struct {
	*world
	garden
	flow    file.Flow // of the file, its layouts named by their ids
	source  uuid.UUID
	layouts []uuid.UUID
}

func newFlowWorld(t *testing.T) *flowWorld {
	t.Helper()
	body, err := os.Open("../testdata/examples/flow.json")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = body.Close() }()
	w := &flowWorld{world: newWorld(t, unlimited)}
	if w.flow, err = file.ReadFlow(body); err != nil {
		t.Fatal(err)
	}
	w.garden = w.newGarden(t)
	w.inGarden(&w.flow.Source)
	w.source = w.newSource(t, w.flow.Source, nil)
	for i := range w.flow.Layouts {
		made := w.post(t, service.Gardener, 201, map[string]any{
			"plot_id": plotID, "water_source_id": w.source, "name": w.flow.Layouts[i].ID, "spec": w.flow.Layouts[i].Layout,
		}, "layouts")
		w.flow.Layouts[i].ID = made["id"].(string)
		w.layouts = append(w.layouts, uuid.MustParse(w.flow.Layouts[i].ID))
	}
	return w
}

// inGarden gives a source of a flow file what it has in the garden of the tests: clocks, water hours, and a time for every
// test (ten past seven in the morning, where the file says nothing).
func (w *flowWorld) inGarden(s *file.FlowSource) {
	if s.Tank != nil {
		return
	}
	s.TimeZone, s.WaterHours = "America/Los_Angeles", []file.ClockHours{{StartLocal: "06:00", EndLocal: "09:30"}}
	for i := range s.FlowTests {
		if s.FlowTests[i].TestedAt == nil {
			s.FlowTests[i].TestedAt = new(time.Date(2026, time.June, 29, 14, 10, i, 0, time.UTC))
		}
	}
}

// newSource records a source of a flow file with its flow tests, with more values than the file has.
func (w *flowWorld) newSource(t *testing.T, s file.FlowSource, more map[string]any) uuid.UUID {
	t.Helper()
	values := map[string]any{
		"name": uuid.NewString(), "kind": "spigot", "hose_connections": 2, "changeover_min": 0, "min_run_min": 0,
	}
	if s.StaticHeadM != nil {
		values["static_head_m"] = *s.StaticHeadM
	}
	if s.Hose != nil {
		values["hose_length_m"], values["hose_inside_diameter_mm"] = s.Hose.LengthM, s.Hose.DiameterMM
	}
	maps.Copy(values, more)
	source := uuid.MustParse(w.post(t, service.Coordinator, 201, values, "water-sources")["id"].(string))
	for _, test := range s.FlowTests {
		w.post(t, service.Coordinator, 201, test, "water-sources", source, "flow-tests")
	}
	return source
}

// post sends a body and returns the fields of the answer.
func (w *flowWorld) post(t *testing.T, as service.Role, want int, body any, path ...any) map[string]any {
	t.Helper()
	c := call{method: http.MethodPost, path: location(w.id, path...), token: w.tokens[as], body: body}
	if want == http.StatusCreated {
		c.header = map[string]string{"Idempotency-Key": uuid.NewString()}
	}
	a := w.do(t, c)
	if a.status != want {
		t.Fatalf("%v: %d %s", path, a.status, a.body)
	}
	return a.fields(t)
}

// same holds the answer of the API against the answer of a flow file, to the last digit.
func same(t *testing.T, name string, got map[string]any, flow file.Flow, run func(file.Flow) (file.FlowResult, error)) {
	t.Helper()
	result, err := run(flow)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	sameFields(t, name, got, result)
}

func sameFields(t *testing.T, name string, got map[string]any, result any) {
	t.Helper()
	text, err := json.Marshal(result)
	if err != nil {
		t.Fatal(err)
	}
	var want map[string]any
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("%s, the file's answer and the API's: %s", name, diff)
	}
}

// What people ask is answered over HTTP as `rillturn flow` answers it: of a layout that is not stored, of a stored one, and
// of layouts that are open together.
func TestFlowQuestions_areAnsweredAsInAFile(t *testing.T) {
	t.Parallel()
	w := newFlowWorld(t)
	for name, conditions := range map[string]file.FlowConditions{
		"as in the file": {OpenHose: w.flow.OpenHose},
		"cold water, velocity head and another tap": {
			Options:          file.FlowOptions{WaterTemperatureC: new(8.0), VelocityHeadRegain: new(0.5), FrictionLaw: "hazen-williams"},
			ElsewhereLPerMin: new(4.0),
		},
		"rough pipe behind a common hose": {
			Options:    file.FlowOptions{PipeRoughnessMM: new(0.05), HoseRoughnessMM: new(0.1), OutletVariation: new(0.1), PipeTemperatureC: new(20.0)},
			CommonFeed: &file.LayoutFeed{HoseLengthM: 10, HoseDiameterMM: 15.875, FittingsK: 1},
		},
	} {
		flow := w.flow.Under(conditions)
		flow.Layouts = append([]file.NamedLayout{}, flow.Layouts...)
		for i := range flow.Layouts {
			alone := flow
			alone.Layouts = []file.NamedLayout{flow.Layouts[i]}
			l := &alone.Layouts[0]
			if conditions.CommonFeed != nil { // whose own feed stands in for it
				l.Layout.Feed, l.Layout.PressFit = file.LayoutFeed{RiseM: 0.3}, false
			} else {
				same(t, name, w.post(t, service.Gardener, 200, map[string]any{"conditions": conditions, "questions": l.Questions},
					"layouts", w.layouts[i], "check"), alone, file.RunFlow)
			}
			l.ID = "preview"
			same(t, name, w.post(t, service.Gardener, 200, map[string]any{
				"water_source_id": w.source, "spec": l.Layout, "conditions": conditions, "questions": l.Questions,
			}, "layout-previews"), alone, file.RunFlow)
		}
		if conditions.CommonFeed != nil {
			flow.Layouts[0].Questions, flow.Layouts[1].Questions = nil, nil
		} else {
			flow.Layouts[1].Questions = nil
		}
		set := map[string]any{"layouts": w.layouts, "conditions": conditions}
		if q := flow.Layouts[0].Questions; q != nil {
			set["questions"] = []any{map[string]any{"layout_id": w.layouts[0], "questions": q}}
		}
		flow.Open = [][]string{{flow.Layouts[0].ID, flow.Layouts[1].ID}}
		same(t, name, w.post(t, service.Gardener, 200, set, "water-sources", w.source, "open-set"), flow, file.RunFlowAsked)
	}
}

// Every fault of a question or a condition is named where it stands in the request.
func TestFlowQuestions_faultsNameTheirPlace(t *testing.T) {
	t.Parallel()
	w := newFlowWorld(t)
	tight := map[string]any{"hose_length_m": 2, "hose_diameter_mm": 15}
	pattern := map[string]any{"outlet": 9, "piece": 0, "flow_l_per_h": 10, "drills_mm": []float64{1}, "spacings_m": []float64{0.1}}
	own := w.flow.Layouts[0].Layout
	bare := own
	bare.Manifold.Outlets = []file.LayoutOutlet{{Plugged: true}}
	for name, c := range map[string]struct {
		path []any
		body map[string]any
		want []string
	}{
		"no measurement": {[]any{"layouts", w.layouts[0], "check"}, map[string]any{"questions": map[string]any{"measured": map[string]any{}}}, []string{"/questions/measured"}},
		"no such outlet": {[]any{"layouts", w.layouts[0], "check"}, map[string]any{"questions": map[string]any{"pattern_for": []any{pattern}}}, []string{"/questions/pattern_for/0/outlet"}},
		"two feeds": {
			[]any{"layouts", w.layouts[0], "check"},
			map[string]any{"conditions": map[string]any{"common_feed": tight}, "questions": map[string]any{"valve_for_head_m": 1}},
			[]string{"/questions"},
		},
		"a common feed without a hose": {
			[]any{"layouts", w.layouts[0], "check"},
			map[string]any{"conditions": map[string]any{"common_feed": map[string]any{"rise_m": 1}}},
			[]string{"/conditions/common_feed/hose_diameter_mm"},
		},
		"nothing to count": {
			[]any{"layout-previews"},
			map[string]any{"water_source_id": w.source, "spec": bare, "questions": map[string]any{"most": map[string]any{"head_m": 0.1}}},
			[]string{"/questions/most"},
		},
		"a layout that is not open": {
			[]any{"water-sources", w.source, "open-set"},
			map[string]any{"layouts": w.layouts[:1], "questions": []any{map[string]any{"layout_id": w.layouts[1], "questions": map[string]any{}}}},
			[]string{"/questions/0/layout_id"},
		},
		"a layout asked about twice": {
			[]any{"water-sources", w.source, "open-set"},
			map[string]any{"layouts": w.layouts[:1], "questions": []any{
				map[string]any{"layout_id": w.layouts[0], "questions": map[string]any{}},
				map[string]any{"layout_id": w.layouts[0], "questions": map[string]any{}},
			}},
			[]string{"/questions/1/layout_id"},
		},
		"a question of a set": {
			[]any{"water-sources", w.source, "open-set"},
			map[string]any{"layouts": w.layouts, "questions": []any{
				map[string]any{"layout_id": w.layouts[1], "questions": map[string]any{"pattern_for": []any{pattern}}},
			}},
			[]string{"/questions/0/questions/pattern_for/0/outlet"},
		},
	} {
		a := w.do(t, call{method: http.MethodPost, path: location(w.id, c.path...), token: w.tokens[service.Gardener], body: c.body})
		if a.status != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d %s", name, a.status, a.body)
			continue
		}
		var got []string
		for _, e := range a.problem(t).Errors {
			got = append(got, e.Pointer)
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
}
