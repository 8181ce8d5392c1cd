package file

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/engine/hydraulics"
)

const tidyLayout = `{
  "label": "box bed",
  "feed": {"hose_length_m": 15, "hose_diameter_mm": 15.875, "filter": {"flow_l_per_min": 20, "loss_m": 1.4}},
  "manifold": {
    "pipe": {"size": "3/4", "wall": "SDR 21"}, "length_m": 1.2, "feed_at_m": 0.6,
    "outlets": [
      {"at_m": 0, "lateral": {"rise_m": -0.02, "pieces": [
        {"label": "A", "pipe": {"size": "1/2", "wall": "SDR 13.5"}, "length_m": 3.048,
         "pattern": {"spacing_m": 0.1524, "hole_diameter_mm": 1.5875}},
        {"pipe": {"size": "1/2", "wall": "SDR 13.5", "inside_diameter_mm": 18.0}, "length_m": 3.048,
         "pattern": {"spacing_m": 0.3, "rated": {"flow_l_per_h": 2, "head_m": 10, "exponent": 0.5}}}],
        "plugged": [{"piece": 0, "set": 3}]}},
      {"at_m": 1.2, "plugged": true}
    ]
  }
}`

func TestReadLayout_fillsDefaultsAndKeepsWhatWasEntered(t *testing.T) {
	l, err := ReadLayout(strings.NewReader(tidyLayout))
	if err != nil {
		t.Fatal(err)
	}
	e := l.Engine()
	lateral := e.Manifold.Outlets[0].Lateral
	p := lateral.Pieces[0].Pattern
	if p.DischargeCoefficient != hydraulics.DefaultDischargeCoefficient || p.HolesPerSet != 1 || p.Facing != hydraulics.FacingSide ||
		float64(p.FirstOffset) != 0.0762 || e.Manifold.TeeBranchK != hydraulics.DefaultTeeBranchK || e.Manifold.RiseKnown || !lateral.RiseKnown {
		t.Errorf("pattern %+v of %+v", p, e.Manifold)
	}
	if lateral.Plugged[0].Holes != 1 || lateral.Pieces[0].Label != "A" {
		t.Errorf("lateral %+v", lateral)
	}
	text, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	again, err := ReadLayout(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(l, again); d != "" {
		t.Errorf("written and read back: %s", d)
	}
	if d := cmp.Diff(e, LayoutOf(e).Engine()); d != "" {
		t.Errorf("engine and back: %s", d)
	}
}

func TestReadLayout_reportsAllFaultsWithPointers(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		want []string
	}{
		"unknown field": {
			`{"manifold": {"pipe": {"size": "3/4", "wall": "SDR 21", "colour": "white"}, "outlets": []}}`,
			[]string{"/manifold/pipe/colour"},
		},
		"required": {`{"feed": {}}`, []string{"/manifold"}},
		"values": {
			strings.NewReplacer(`"at_m": 1.2`, `"at_m": 3`, `"hole_diameter_mm": 1.5875`, `"hole_diameter_mm": 15`,
				`"size": "3/4"`, `"size": "7/8"`).Replace(tidyLayout),
			[]string{"/manifold/pipe/size", "/manifold/outlets/0/lateral/pieces/0/pattern/hole_diameter_mm", "/manifold/outlets/1/at_m"},
		},
		"rated beside holes": {
			strings.Replace(tidyLayout, `"spacing_m": 0.3,`, `"spacing_m": 0.3, "hole_diameter_mm": 2,`, 1),
			[]string{"/manifold/outlets/0/lateral/pieces/1/pattern/hole_diameter_mm"},
		},
		"not a layout": {`[]`, []string{""}},
	} {
		_, err := ReadLayout(strings.NewReader(c.text))
		var faults Faults
		if !errors.As(err, &faults) {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var got []string
		for _, f := range faults {
			got = append(got, f.Pointer)
			if f.Reason == "" {
				t.Errorf("%s: %s has no reason", name, f.Pointer)
			}
		}
		if d := cmp.Diff(c.want, got); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

func TestReadFlow_faultsOfTheSource(t *testing.T) {
	layout := `"layouts": [{"id": "a", "layout": ` + tidyLayout + `}]`
	for name, c := range map[string]struct {
		source, more string
		want         []string
	}{
		"nothing":           {`{}`, "", []string{"/source"}},
		"two kinds":         {`{"tank": {"level_m": 1}, "curve": {"h0_m": 3, "k": 0, "n": 1}}`, "", []string{"/source"}},
		"hose not given":    {`{"flow_tests": [{"kind": "bucket", "volume_l": 10, "duration_s": 30, "after_hose": true}]}`, "", []string{"/source/flow_tests/0/after_hose"}},
		"wrong values":      {`{"flow_tests": [{"kind": "bucket", "volume_l": 10, "head_m": 3}]}`, "", []string{"/source/flow_tests/0/head_m", "/source/flow_tests/0/duration_s"}},
		"residual above":    {`{"static_head_m": 20, "flow_tests": [{"kind": "residual", "head_m": 21, "flow_l_per_min": 9}]}`, "", []string{"/source/flow_tests/0/head_m"}},
		"static too low":    {`{"static_head_m": 0, "flow_tests": [{"kind": "bucket", "volume_l": 10, "duration_s": 30}]}`, "", []string{"/source/static_head_m"}},
		"no seconds at all": {`{"flow_tests": [{"kind": "bucket", "volume_l": 10, "duration_s": 0}]}`, "", []string{"/source/flow_tests/0/duration_s"}},
		"no clock":          {`{"flow_tests": [{"kind": "bucket", "volume_l": 10, "duration_s": 30}], "water_hours": [{"start_local": "6", "end_local": "24:01"}]}`, "", []string{"/source/water_hours/0/start_local", "/source/water_hours/0/end_local"}},
		"no zone":           {`{"flow_tests": [{"kind": "bucket", "volume_l": 10, "duration_s": 30}], "time_zone": "Mars/Olympus"}`, "", []string{"/source/time_zone"}},
		"this machine's":    {`{"flow_tests": [{"kind": "bucket", "volume_l": 10, "duration_s": 30}], "time_zone": "Local"}`, "", []string{"/source/time_zone"}},
		"others backwards":  {`{"flow_tests": [{"kind": "bucket", "volume_l": 10, "duration_s": 30, "other_flow_l_per_min": -1}]}`, "", []string{"/source/flow_tests/0/other_flow_l_per_min"}},
		"all elsewhere":     {`{"static_head_m": 20, "flow_tests": [{"kind": "bucket", "volume_l": 10, "duration_s": 30}], "elsewhere_l_per_min": 21}`, "", []string{"/source/elsewhere_l_per_min"}},
		"outlet":            {`{"tank": {"level_m": 1, "outlet_diameter_mm": -3, "outlet_k": -1}}`, "", []string{"/source/tank/outlet_diameter_mm", "/source/tank/outlet_k"}},
		"unknown layout":    {`{"tank": {"level_m": 1}}`, `, "open": [["a", "b"]]`, []string{"/open/0/1"}},
		"options":           {`{"tank": {"level_m": 1}}`, `, "options": {"water_temperature_c": 90}`, []string{"/options/water_temperature_c"}},
		"common feed":       {`{"tank": {"level_m": 1}, "common_feed": {"hose_length_m": 5}}`, "", []string{"/source/common_feed/hose_diameter_mm", "/source/common_feed/hose_diameter_mm"}},
	} {
		_, err := ReadFlow(strings.NewReader(`{"source": ` + c.source + `, ` + layout + c.more + `}`))
		var faults Faults
		if !errors.As(err, &faults) {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var got []string
		for _, f := range faults {
			got = append(got, f.Pointer)
		}
		if d := cmp.Diff(c.want, got); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

func TestRunFlow_fromFlowTests(t *testing.T) {
	f, err := ReadFlow(strings.NewReader(`{
	  "source": {"hose": {"length_m": 15, "diameter_mm": 15.875},
	    "flow_tests": [{"kind": "bucket", "volume_l": 18.9, "duration_s": 41, "after_hose": true, "other_flow_l_per_min": 2}]},
	  "layouts": [{"id": "a", "layout": ` + tidyLayout + `}, {"id": "b", "layout": ` + tidyLayout + `}]}`))
	if err != nil {
		t.Fatal(err)
	}
	r, err := RunFlow(f)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Sets) != 3 || len(r.Sets[2].Open) != 2 {
		t.Fatalf("each alone, then all together: %+v", r.Sets)
	}
	var codes []string
	for _, a := range r.Supply.Assumptions {
		codes = append(codes, a.Code)
	}
	if d := cmp.Diff([]string{"static_assumed", "exponent_assumed", "others_open_in_tests"}, codes); d != "" {
		t.Errorf("assumptions: %s", d)
	}
	for _, s := range r.Sets {
		if s.FlowRange == nil || !(s.FlowRange[0] <= s.FlowLPerMin && s.FlowLPerMin <= s.FlowRange[1]) {
			t.Errorf("%v: %v L/min in range %v", s.Open, s.FlowLPerMin, s.FlowRange)
		}
	}
	if both, one := r.Sets[2].Layouts[0].FlowLPerMin, r.Sets[0].FlowLPerMin; both >= one {
		t.Errorf("with the other open %v L/min, alone %v", both, one)
	}
}

// The hour of a test is that of its clock as written, or of a zone that is named.
func TestFlow_hoursOfTests(t *testing.T) {
	for name, c := range map[string]struct {
		at, zone, clock string
		used            bool
	}{
		"as written":          {"2015-07-06T07:10:00-07:00", "", "07:10", true},
		"as written, another": {"2015-07-06T14:10:00Z", "", "14:10", false},
		"in the zone":         {"2015-07-06T14:10:00Z", "America/Los_Angeles", "07:10", true},
		"in winter":           {"2015-12-06T14:10:00Z", "America/Los_Angeles", "06:10", true},
		"an hour early":       {"2015-12-06T13:00:00Z", "America/Los_Angeles", "05:00", true},
		"a minute more":       {"2015-12-06T12:59:00Z", "America/Los_Angeles", "04:59", false},
	} {
		f, err := ReadFlow(strings.NewReader(`{"source": {"time_zone": "` + c.zone + `", "water_hours": [{"start_local": "06:00", "end_local": "09:30"}],
		  "flow_tests": [{"kind": "bucket", "volume_l": 20, "duration_s": 40, "tested_at": "` + c.at + `"},
		    {"kind": "bucket", "volume_l": 20, "duration_s": 50, "tested_at": "2015-07-06T08:00:00-07:00"}]},
		  "layouts": [{"id": "a", "layout": ` + tidyLayout + `}]}`))
		if err != nil {
			t.Fatal(name, err)
		}
		r, err := RunFlow(f)
		if err != nil {
			t.Fatal(name, err)
		}
		if got := r.Supply.FlowTests[0]; got.LocalTime != c.clock || got.Used != c.used || !r.Supply.FlowTests[1].Used {
			t.Errorf("%s: %+v", name, r.Supply.FlowTests)
		}
	}
}

func FuzzReadFlow(f *testing.F) {
	f.Add([]byte(`{"source": {"tank": {"level_m": 1}}, "layouts": [{"id": "a", "layout": ` + tidyLayout + `}]}`))
	f.Add([]byte(`{"source": {"flow_tests": [{"kind": "static"}]}, "layouts": []}`))
	f.Fuzz(func(t *testing.T, body []byte) {
		flow, err := ReadFlow(bytes.NewReader(body))
		var faults Faults
		if err != nil && !errors.As(err, &faults) {
			t.Fatalf("untyped error %v", err)
		}
		if err == nil {
			for _, l := range flow.Layouts {
				if l.Layout.Validate("") != nil {
					t.Fatal("a layout passed that does not validate")
				}
			}
		}
	})
}
