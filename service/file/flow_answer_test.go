package file

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/engine/hydraulics"
)

var updateFlow = flag.Bool("update-flow", false, "rewrite the golden answers of the example flow file")

const flowExample = "../../testdata/examples/flow"

func exampleFlow(t *testing.T) Flow {
	t.Helper()
	body, err := os.ReadFile(flowExample + ".json")
	if err != nil {
		t.Fatal(err)
	}
	f, err := ReadFlow(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func mustRunFlow(t *testing.T, f Flow) FlowResult {
	t.Helper()
	r, err := RunFlow(f)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The golden file leaves the laterals of sets out: they are compared with the independent solution elsewhere.
func TestRunFlow_goldenAnswers(t *testing.T) {
	t.Parallel()
	r := mustRunFlow(t, exampleFlow(t))
	for i := range r.Sets {
		for j := range r.Sets[i].Layouts {
			l := &r.Sets[i].Layouts[j]
			l.Laterals, l.MassResidual, l.HeadResidual = nil, 0, 0
		}
	}
	got, err := json.MarshalIndent(roundNumbers(t, r), "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	got = append(got, '\n')
	if *updateFlow {
		if err := os.WriteFile(flowExample+".golden.json", got, 0o600); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(flowExample + ".golden.json")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Error(diff)
	}
}

func TestRunFlow_answersAgreeWithTheSets(t *testing.T) {
	t.Parallel()
	r := mustRunFlow(t, exampleFlow(t))
	for i := range r.Answers {
		a, alone := &r.Answers[i], &r.Sets[i]
		if alone.Open[0] != a.Layout || len(alone.Open) != 1 {
			t.Fatalf("set %d is %v, not %s alone", i, alone.Open, a.Layout)
		}
		l := &alone.Layouts[0]
		near := func(what string, got, want float64) {
			t.Helper()
			if math.Abs(got-want) > 1e-6*math.Max(1, math.Abs(want)) {
				t.Errorf("%s: %s is %v, in its set %v", a.Layout, what, got, want)
			}
		}
		near("flow", a.FlowLPerMin, l.FlowLPerMin)
		near("DU", a.DU, l.DU)
		near("standpipe", a.Standpipe.RunningM, l.ManifoldHeadM)
		if len(a.Assumptions) != 3 || a.Assumptions[0].Effect < a.Assumptions[1].Effect || a.Assumptions[1].Effect < a.Assumptions[2].Effect {
			t.Errorf("%s: assumptions are not the strongest three: %+v", a.Layout, a.Assumptions)
		}
		if c := a.DischargeCoefficient; c == nil || c.Low != 0.59 || c.High != 0.86 || c.FlowLPerMin[0] > a.FlowLPerMin || c.FlowLPerMin[1] < a.FlowLPerMin {
			t.Errorf("%s: range over the discharge coefficient %+v", a.Layout, c)
		}
		for j, cup := range a.Cups {
			first := l.Laterals[j].HoleSets[0]
			// A cup of 0.2 L at q L/h takes 0.2·3600/q seconds.
			near("first cup", *cup.FirstSeconds, 0.2*3600/(first.FlowLPerH/float64(first.Holes)))
		}
		if w := alone.WithHose; w.HoseLPerMin <= 0 || w.LayoutsLPerMin[0] >= l.FlowLPerMin || math.Abs(w.WithoutLPerMin-l.FlowLPerMin) > 1e-6 {
			t.Errorf("%s beside an open hose: %+v", a.Layout, w)
		}
	}
	box, long := &r.Answers[0], &r.Answers[1]
	if box.Level == nil || long.Level != nil {
		t.Errorf("level is varied where none was given, not where all was: %+v, %+v", box.Level, long.Level)
	}
	if len(box.Hazards) == 0 || box.Hazards[0].Code != string(hydraulics.WarnPressFit) {
		t.Errorf("pushed joints behind 31.6 m of static head: %+v", box.Hazards)
	}
	if long.Cups[0].LastSeconds != nil || long.PlugOutlets == nil || !long.PlugOutlets.Granted {
		t.Errorf("the dry end of the long lateral: %+v, %+v", long.Cups[0], long.PlugOutlets)
	}
	if box.Plugged.Share == nil || long.Plugged.Share != nil || !cmp.Equal(long.Plugged.Needed, []string{"head_m"}) {
		t.Errorf("plugged: %+v, %+v", box.Plugged, long.Plugged)
	}
}

// The valve's answer, entered into the layout, leaves the head that was asked for.
func TestRunFlow_valveLeavesTheHead(t *testing.T) {
	t.Parallel()
	f := exampleFlow(t)
	f.Layouts, f.OpenHose = f.Layouts[:1], nil
	valve := mustRunFlow(t, f).Answers[0].Valve
	if valve.ValveK == nil || valve.HeadM != 0.5 {
		t.Fatalf("%+v", valve)
	}
	f.Layouts[0].Layout.Feed.ValveK = *valve.ValveK
	tooMuch := 20.0
	f.Layouts[0].Questions = &FlowQuestions{ValveForHeadM: &tooMuch}
	a := mustRunFlow(t, f).Answers[0]
	if math.Abs(a.Standpipe.RunningM-0.5) > 1e-4 {
		t.Errorf("manifold head %v m, want 0.5", a.Standpipe.RunningM)
	}
	if diff := cmp.Diff(valve.Cups, a.Cups); len(valve.Cups) != 3 || diff != "" {
		t.Errorf("cups at the valve's setting, said before and after: %s", diff)
	}
	if a.Valve.ValveK != nil || a.Valve.MostHeadM == nil || *a.Valve.MostHeadM < 0.5 || *a.Valve.MostHeadM > 20 {
		t.Errorf("20 m wished: %+v", a.Valve)
	}
}

// Counting ends where regulated outlets ask for more than the source gives, and where a layout would be larger than any.
func TestRunFlow_countsToTheEndOfWhatCanBe(t *testing.T) {
	t.Parallel()
	pipe := LayoutPipe{InsideDiameterMM: 80}
	one := func(p LayoutPattern) Layout {
		lateral := LayoutLateral{Pieces: []LayoutPiece{{Pipe: pipe, LengthM: 8, Pattern: &p}}}
		return Layout{Manifold: LayoutManifold{Pipe: pipe, LengthM: 1, Outlets: []LayoutOutlet{{AtM: 0.5, Lateral: &lateral}}}}
	}
	least, rated := FlowQuestions{Most: &FlowWish{HeadM: 0.001}}, FlowQuestions{Most: &FlowWish{HeadM: 9.9}}
	f := Flow{
		Source: FlowSource{Curve: &SourceCurve{H0M: 20, K: 0, N: 2, FlowMaxLPerMin: new(10.0)}},
		Layouts: []NamedLayout{
			{ID: "regulated", Questions: &rated, Layout: one(LayoutPattern{SpacingM: 1, Rated: &LayoutRated{FlowLPerH: 25, HeadM: 10}})},
			{ID: "fine holes", Questions: &least, Layout: one(LayoutPattern{SpacingM: 0.005, HoleDiameterMM: 0.3})},
		},
		Open: [][]string{{"regulated"}},
	}
	// Eight outlets of 25 L/h are 200 L/h or 3.3 L/min, so 10 L/min feed three such layouts or laterals, or 24 outlets.
	r := mustRunFlow(t, f)
	if m := r.Answers[0].Most; m.Layouts.Count != 3 || m.Laterals.Count != 3 || m.HoleSets.Count != 24 || m.Layouts.AtLimit {
		t.Errorf("regulated outlets: %+v", m)
	}
	// 8 m at 5 mm are 1600 sets; a layout has at most 20000, so 12 laterals.
	f.Source.Curve.FlowMaxLPerMin = nil
	if m := mustRunFlow(t, f).Answers[1].Most; m.Laterals.Count != 12 || !m.Laterals.AtLimit {
		t.Errorf("laterals of 1600 sets: %+v", m.Laterals)
	}
}

// A hose in front of all layouts is the hose of a layout that has none, and a layout with one of its own is not answered.
func TestRunFlow_answersBehindACommonFeed(t *testing.T) {
	t.Parallel()
	f := exampleFlow(t)
	f.Layouts, f.OpenHose = f.Layouts[:1], nil
	own := mustRunFlow(t, f)
	common := f.Layouts[0].Layout.Feed
	f.Source.CommonFeed, f.Layouts[0].Layout.Feed = &common, LayoutFeed{}
	shared := mustRunFlow(t, f)
	if diff := cmp.Diff(roundNumbers(t, own.Answers), roundNumbers(t, shared.Answers)); diff != "" {
		t.Errorf("own feed and common feed: %s", diff)
	}
	f.OpenHose = &SourceHose{LengthM: 10, DiameterMM: 12.7}
	if w := mustRunFlow(t, f).Sets[0].WithHose; len(w.LayoutsLPerMin) != 1 || w.LayoutsLPerMin[0] >= w.WithoutLPerMin || w.LayoutsLPerMin[0] <= 0 {
		t.Errorf("hose beside a common feed: %+v", w)
	}
	f.Layouts[0].Layout.Feed, f.Layouts[0].Questions = common, nil
	if r := mustRunFlow(t, f); len(r.Answers) != 0 {
		t.Errorf("answers behind two feeds: %+v", r.Answers)
	}
}

func TestReadFlow_reportsFaultsOfQuestions(t *testing.T) {
	t.Parallel()
	body, err := os.ReadFile(flowExample + ".json")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		old, text string
		want      []string
	}{
		"unknown field":  {`"valve_for_head_m"`, `"valve_for_head"`, []string{"/layouts/0/questions/valve_for_head"}},
		"head":           {`"valve_for_head_m": 0.5`, `"valve_for_head_m": 0`, []string{"/layouts/0/questions/valve_for_head_m"}},
		"wish":           {`{"head_m": 0.1, "du": 0.8}`, `{"head_m": -1, "du": 1.2}`, []string{"/layouts/0/questions/most/head_m", "/layouts/0/questions/most/du"}},
		"wish of nobody": {`{"head_m": 0.1, "du": 0.8}`, `{"du": 0.8}`, []string{"/layouts/0/questions/most/head_m"}},
		"no measurement": {`{"flow_l_per_min": 26}`, `{}`, []string{"/layouts/1/questions/measured"}},
		"measurement":    {`{"flow_l_per_min": 26}`, `{"flow_l_per_min": 26, "flow_error": 2}`, []string{"/layouts/1/questions/measured/flow_error"}},
		"no such outlet": {`{"outlet": 2, "piece": 0`, `{"outlet": 3, "piece": 0`, []string{"/layouts/0/questions/pattern_for/0/outlet"}},
		"no such piece":  {`{"outlet": 2, "piece": 0`, `{"outlet": 2, "piece": -1`, []string{"/layouts/0/questions/pattern_for/0/piece"}},
		"drills": {
			`"drills_mm": [1.2, 1.6, 2], "spacings_m": [0.15, 0.3]`, `"drills_mm": [], "spacings_m": [0.15, 0]`,
			[]string{"/layouts/0/questions/pattern_for/0/drills_mm", "/layouts/0/questions/pattern_for/0/spacings_m/1"},
		},
		"hose": {`{"length_m": 10, "diameter_mm": 12.7}`, `{"length_m": 10, "diameter_mm": 1}`, []string{"/open_hose/diameter_mm"}},
		"two feeds": {
			`"hose": {"length_m": 15.24, "diameter_mm": 15.875}`,
			`"hose": {"length_m": 15.24, "diameter_mm": 15.875}, "common_feed": {"hose_length_m": 2, "hose_diameter_mm": 15.875}`,
			[]string{"/layouts/0/questions", "/layouts/1/questions"},
		},
	} {
		text := strings.Replace(string(body), c.old, c.text, 1)
		if text == string(body) {
			t.Fatalf("%s: nothing replaced", name)
		}
		_, err := ReadFlow(strings.NewReader(text))
		var faults Faults
		if !errors.As(err, &faults) {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var got []string
		for _, f := range faults {
			got = append(got, f.Pointer)
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s: %s\n%v", name, diff, err)
		}
	}
}

func TestFlowWarning_keepsItsPlace(t *testing.T) {
	t.Parallel()
	for _, path := range []string{"", "feed", "manifold.outlets[2].lateral", "manifold.outlets[12].lateral.pieces[0].pipe"} {
		w := hydraulics.Warning{Code: hydraulics.WarnVelocity, Path: path, Value: 2, Limit: 1.5, Count: 3}
		if got := warningsOf([]hydraulics.Warning{w})[0].Engine(); got != w {
			t.Errorf("%+v became %+v", w, got)
		}
	}
}
