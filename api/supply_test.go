package api

import (
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"rillturn.example/rillturn/engine/unit"
	"rillturn.example/rillturn/service"
	"rillturn.example/rillturn/service/file"
)

// at is a moment by the clocks of the garden of the tests.
func at(hour, minute int) *time.Time {
	return new(time.Date(2026, time.June, 29, hour+7, minute, 0, 0, time.UTC)) // daylight time is 7 hours behind
}

func bucketTest(when *time.Time, liters, seconds float64) file.FlowTest {
	return file.FlowTest{Kind: "bucket", TestedAt: when, VolumeL: &liters, DurationS: &seconds}
}

func staticTest(when *time.Time, head float64) file.FlowTest {
	return file.FlowTest{Kind: "static", TestedAt: when, HeadM: &head}
}

func beside(t file.FlowTest, others float64) file.FlowTest {
	t.OtherFlowLPerMin = others
	return t
}

func afterHose(t file.FlowTest) file.FlowTest {
	t.AfterHose = true
	return t
}

// supplyCase is a source as a garden knows it.
type supplyCase struct {
	source    file.FlowSource
	values    map[string]any // of the source, beside those of the file
	elsewhere float64        // drawn by taps outside the plan
	assumed   []string       // codes
	used      []bool         // tests
	ranged    bool           // a range is shown
}

var supplyCases = map[string]supplyCase{
	"one bucket through the hose": {
		source:  file.FlowSource{Hose: &file.SourceHose{LengthM: 15, DiameterMM: 15.9}, FlowTests: []file.FlowTest{afterHose(bucketTest(at(7, 0), 20, 52))}},
		assumed: []string{"static_assumed", "exponent_assumed"}, used: []bool{true}, ranged: true,
	},
	"static, residual and bucket": {
		source: file.FlowSource{FlowTests: []file.FlowTest{
			staticTest(at(6, 30), 31.6), {Kind: "residual", TestedAt: at(6, 40), HeadM: new(25.3), FlowLPerMin: new(12.0)}, bucketTest(at(6, 50), 20, 40.1),
		}},
		used: []bool{true, true, true},
	},
	"tests at noon too": {
		source:  file.FlowSource{FlowTests: []file.FlowTest{staticTest(at(7, 0), 30), bucketTest(at(7, 1), 20, 50), bucketTest(at(12, 0), 20, 35)}},
		assumed: []string{"exponent_assumed"}, used: []bool{true, true, false}, ranged: true,
	},
	"tests at noon only": {
		source:  file.FlowSource{FlowTests: []file.FlowTest{staticTest(at(12, 0), 30), bucketTest(at(12, 1), 20, 35)}},
		assumed: []string{"tests_of_other_hours", "pressure_swing_assumed", "exponent_assumed"}, used: []bool{true, true}, ranged: true,
	},
	"pressure of noon, flow of the morning": {
		source:  file.FlowSource{FlowTests: []file.FlowTest{bucketTest(at(10, 20), 20, 40), staticTest(at(12, 0), 30)}},
		assumed: []string{"static_of_other_hours", "exponent_assumed"}, used: []bool{true, true}, ranged: true,
	},
	"only with another tap open": {
		source:  file.FlowSource{FlowTests: []file.FlowTest{staticTest(at(7, 0), 30), beside(bucketTest(at(7, 1), 20, 50), 12)}},
		assumed: []string{"exponent_assumed", "others_open_in_tests"}, used: []bool{true, true}, ranged: true,
	},
	"alone, beside neighbours": {
		source:    file.FlowSource{FlowTests: []file.FlowTest{staticTest(at(7, 0), 30), bucketTest(at(7, 1), 20, 50)}},
		elsewhere: 6, assumed: []string{"exponent_assumed", "drawn_elsewhere", "all_pipes_shared"}, used: []bool{true, true}, ranged: true,
	},
	"alone and together, beside neighbours": {
		source: file.FlowSource{FlowTests: []file.FlowTest{
			staticTest(at(7, 0), 30), bucketTest(at(7, 1), 20, 50), beside(bucketTest(at(7, 5), 20, 58), 12),
		}},
		elsewhere: 6, assumed: []string{"exponent_assumed", "drawn_elsewhere"}, used: []bool{true, true, true}, ranged: true,
	},
	"tank with a measured outlet": {
		source: file.FlowSource{Tank: &file.SourceTank{LevelM: 1.1, OutletDiameterMM: 19, OutletK: new(3.0)}},
		values: map[string]any{"tank_outlet_diameter_mm": 19, "tank_outlet_k": 3},
	},
	"tank with a known bore": {
		source:  file.FlowSource{Tank: &file.SourceTank{LevelM: 1.1, OutletDiameterMM: 19}},
		values:  map[string]any{"tank_outlet_diameter_mm": 19},
		assumed: []string{"tank_outlet_loss_assumed"}, ranged: true,
	},
	"tank with a hose": {
		source:  file.FlowSource{Tank: &file.SourceTank{LevelM: 1.1, OutletDiameterMM: 12.7, OutletAssumed: true}},
		values:  map[string]any{"hose_length_m": 5, "hose_inside_diameter_mm": 12.7},
		assumed: []string{"tank_outlet_bore_assumed", "tank_outlet_loss_assumed"}, ranged: true,
	},
	"tank of which nobody knows more": {
		source:  file.FlowSource{Tank: &file.SourceTank{LevelM: 1.1, OutletDiameterMM: 15.875, OutletAssumed: true}},
		assumed: []string{"tank_outlet_bore_assumed", "tank_outlet_loss_assumed"}, ranged: true,
	},
}

// make records the source on a service line of its own, and returns the source of a flow file that is the same.
func (c supplyCase) make(t *testing.T, w *flowWorld) (uuid.UUID, file.FlowSource) {
	t.Helper()
	values := map[string]any{}
	for k, v := range c.values {
		values[k] = v
	}
	s := c.source
	w.inGarden(&s)
	if s.Tank != nil {
		values["kind"], values["tank_level_m"], values["tank_volume_l"], values["tank_refill_l_per_day"] = "tank", s.Tank.LevelM, 1000, 400
	}
	if c.elsewhere > 0 {
		line := w.post(t, service.Coordinator, 201, map[string]any{"name": uuid.NewString(), "flow_limit_l_per_min": 40, "elsewhere_l_per_min": c.elsewhere}, "service-lines")
		values["service_line_id"], s.ElsewhereLPerMin = line["id"], c.elsewhere
	}
	return w.newSource(t, s, values), s
}

// Sources as gardens know them: what a garden recorded is read as a flow file with the same tests reads it, in the curve,
// in the preview of a layout and of layouts that are open together. What was assumed is named, and a range goes with it.
func TestSupply_asInAFile(t *testing.T) {
	t.Parallel()
	w := newFlowWorld(t)
	for name, c := range supplyCases {
		source, s := c.make(t, w)
		flow := file.Flow{Source: s, Layouts: []file.NamedLayout{{ID: "preview", Layout: w.flow.Layouts[0].Layout}}}
		result, err := file.RunFlow(flow)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		curve := w.do(t, call{method: http.MethodGet, path: location(w.id, "water-sources", source, "supply-curve"), token: w.tokens[service.Gardener]})
		sameFields(t, name, curve.fields(t), result.Supply)
		same(t, name, w.post(t, service.Gardener, 200, map[string]any{"water_source_id": source, "spec": flow.Layouts[0].Layout}, "layout-previews"), flow, file.RunFlow)
		var codes []string
		for _, a := range result.Supply.Assumptions {
			codes = append(codes, a.Code)
		}
		var used []bool
		for _, u := range result.Supply.FlowTests {
			used = append(used, u.Used)
		}
		if diff := cmp.Diff(c.assumed, codes); diff != "" {
			t.Errorf("%s: assumptions %s", name, diff)
		}
		if diff := cmp.Diff(c.used, used); diff != "" {
			t.Errorf("%s: tests used %s", name, diff)
		}
		set := result.Sets[0]
		if c.ranged != (set.FlowRange != nil) || c.ranged && !(set.FlowRange[0] <= set.FlowLPerMin && set.FlowLPerMin <= set.FlowRange[1] && set.FlowRange[0] < set.FlowRange[1]) {
			t.Errorf("%s: %v L/min in %v", name, set.FlowLPerMin, set.FlowRange)
		}
	}
}

// Layouts that are open together, each on a hose of its own or all behind a common one, while somebody opens a hose: as in
// a file, on every kind of source.
func TestOpenSet_asInAFile(t *testing.T) {
	t.Parallel()
	w := newFlowWorld(t)
	for _, name := range []string{"one bucket through the hose", "alone and together, beside neighbours", "tank with a hose"} {
		source, s := supplyCases[name].make(t, w)
		flow := file.Flow{Source: s}
		var ids []uuid.UUID
		for _, feed := range []float64{5, 15, 40} {
			spec := w.flow.Layouts[0].Layout
			spec.Feed.HoseLengthM = feed
			id := w.post(t, service.Gardener, 201, map[string]any{
				"plot_id": plotID, "water_source_id": source, "name": uuid.NewString(), "spec": spec,
			}, "layouts")["id"].(string)
			flow.Layouts, ids = append(flow.Layouts, file.NamedLayout{ID: id, Layout: spec}), append(ids, uuid.MustParse(id))
		}
		for what, conditions := range map[string]file.FlowConditions{
			"own hoses":          {},
			"a common hose":      {CommonFeed: &file.LayoutFeed{HoseLengthM: 10, HoseDiameterMM: 19, FittingsK: 1}},
			"an opened hose":     {OpenHose: &file.SourceHose{LengthM: 10, DiameterMM: 12.7}},
			"both":               {CommonFeed: &file.LayoutFeed{HoseLengthM: 10, HoseDiameterMM: 19}, OpenHose: &file.SourceHose{LengthM: 10, DiameterMM: 12.7, RiseM: -0.5}},
			"nothing elsewhere":  {ElsewhereLPerMin: new(0.0)},
			"another tap opened": {ElsewhereLPerMin: new(3.0)},
		} {
			for _, n := range []int{1, 2, 3} {
				asked := flow.Under(conditions)
				asked.Layouts = slices.Clone(flow.Layouts[:n])
				asked.Open = [][]string{nil}
				for i := range asked.Layouts {
					asked.Open[0] = append(asked.Open[0], asked.Layouts[i].ID)
				}
				got := w.post(t, service.Gardener, 200, map[string]any{"layouts": ids[:n], "conditions": conditions}, "water-sources", source, "open-set")
				same(t, name+", "+what, got, asked, file.RunFlowAsked)
			}
		}
	}
}

// Two taps of one line that were tested together: each is read with what the other may draw at the same time, and with
// less or more drawn when a question says so.
func TestSupply_twoTapsTestedTogether(t *testing.T) {
	t.Parallel()
	w := newFlowWorld(t)
	line := w.post(t, service.Coordinator, 201, map[string]any{"name": uuid.NewString(), "flow_limit_l_per_min": 60, "elsewhere_l_per_min": 2}, "service-lines")
	alone := []file.FlowTest{staticTest(at(7, 0), 30), bucketTest(at(7, 1), 20, 50)}
	first := file.FlowSource{FlowTests: append(slices.Clone(alone), beside(bucketTest(at(7, 5), 20, 60), 18))}
	second := file.FlowSource{FlowTests: slices.Clone(alone)}
	var ids []uuid.UUID
	for _, s := range []*file.FlowSource{&first, &second} {
		w.inGarden(s)
		ids = append(ids, w.newSource(t, *s, map[string]any{"service_line_id": line["id"]}))
	}
	other, _, err := second.Supply("")
	if err != nil {
		t.Fatal(err)
	}
	first.ElsewhereLPerMin = 2 + unit.Flow(other.MaxFlow).LitersPerMinute()
	second.ElsewhereLPerMin = 2 // never tested with another open: the line is no coupling of pressures
	for i, s := range []file.FlowSource{first, second} {
		supply, assumed, err := s.Supply("")
		if err != nil {
			t.Fatal(err)
		}
		curve := w.do(t, call{method: http.MethodGet, path: location(w.id, "water-sources", ids[i], "supply-curve"), token: w.tokens[service.Gardener]})
		sameFields(t, "curve", curve.fields(t), s.SupplyOf(supply, assumed))
	}
	// At the line's flow in the joint test the tap gives what it gave then, and never more with more drawn.
	spec := w.flow.Layouts[0].Layout
	flows := map[float64]float64{}
	for _, elsewhere := range []float64{0, 10, 18, 24} {
		conditions := file.FlowConditions{ElsewhereLPerMin: &elsewhere}
		flow := file.Flow{Source: first, Layouts: []file.NamedLayout{{ID: "preview", Layout: spec}}}.Under(conditions)
		got := w.post(t, service.Gardener, 200, map[string]any{"water_source_id": ids[0], "spec": spec, "conditions": conditions}, "layout-previews")
		same(t, "preview", got, flow, file.RunFlow)
		flows[elsewhere] = got["sets"].([]any)[0].(map[string]any)["flow_l_per_min"].(float64)
	}
	if !(flows[0] > flows[10] && flows[10] > flows[18] && flows[18] > flows[24]) {
		t.Errorf("flows %v must fall with what is drawn elsewhere", flows)
	}
	first.ElsewhereLPerMin = 0
	supply, _, err := first.Supply("")
	if err != nil {
		t.Fatal(err)
	}
	if got := supply.WithElsewhere(18.0/60000).FlowAt(0) * 60000; got > 20*(1+1e-9) || got < 20*(1-1e-9) {
		t.Errorf("with 18 L/min elsewhere the tap gives %v L/min, it gave 20", got)
	}
}

// What can't be is refused where it stands.
func TestSupply_faultsNameTheirPlace(t *testing.T) {
	t.Parallel()
	w := newFlowWorld(t)
	spigot := func(more map[string]any) map[string]any {
		out := map[string]any{"name": uuid.NewString(), "kind": "spigot", "hose_connections": 1, "changeover_min": 0, "min_run_min": 0}
		for k, v := range more {
			out[k] = v
		}
		return out
	}
	for name, c := range map[string]struct {
		path []any
		body any
		want string
	}{
		"an outlet of a spigot":  {[]any{"water-sources"}, spigot(map[string]any{"tank_outlet_diameter_mm": 19}), "/tank_outlet_diameter_mm"},
		"a negative coefficient": {[]any{"water-sources"}, spigot(map[string]any{"tank_outlet_k": -1}), "/tank_outlet_k"},
		"a whole line elsewhere": {[]any{"service-lines"}, map[string]any{"name": "x", "flow_limit_l_per_min": 20, "elsewhere_l_per_min": 20}, "/elsewhere_l_per_min"},
		"more than the line gives": {
			[]any{"layout-previews"},
			map[string]any{"water_source_id": w.source, "spec": w.flow.Layouts[0].Layout, "conditions": map[string]any{"elsewhere_l_per_min": 400}},
			"/conditions/elsewhere_l_per_min",
		},
		"a joint test of a negative flow": {[]any{"water-sources", w.source, "flow-tests"}, beside(bucketTest(at(7, 0), 10, 30), -1), "/other_flow_l_per_min"},
	} {
		a := w.do(t, call{
			method: http.MethodPost, path: location(w.id, c.path...), token: w.tokens[service.Coordinator], body: c.body,
			header: map[string]string{"Idempotency-Key": uuid.NewString()},
		})
		if c.path[0] == "layout-previews" {
			a = w.do(t, call{method: http.MethodPost, path: location(w.id, c.path...), token: w.tokens[service.Gardener], body: c.body})
		}
		if a.status < 400 || a.status >= 500 {
			t.Errorf("%s: %d %s", name, a.status, a.body)
			continue
		}
		if got := a.problem(t).Errors; len(got) != 1 || got[0].Pointer != c.want {
			t.Errorf("%s: %+v, want %s", name, got, c.want)
		}
	}
	// A line that gives nothing any more is a conflict of what is stored, and says so.
	line := w.post(t, service.Coordinator, 201, map[string]any{"name": uuid.NewString(), "flow_limit_l_per_min": 100, "elsewhere_l_per_min": 90}, "service-lines")
	source := w.newSource(t, file.FlowSource{FlowTests: []file.FlowTest{bucketTest(at(7, 0), 20, 60)}}, map[string]any{"service_line_id": line["id"]})
	a := w.do(t, call{method: http.MethodGet, path: location(w.id, "water-sources", source, "supply-curve"), token: w.tokens[service.Gardener]})
	if a.status != http.StatusConflict {
		t.Errorf("%d %s", a.status, a.body)
	}
}
