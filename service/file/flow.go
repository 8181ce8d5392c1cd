package file

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/unit"
)

// Flow is the flow file of `rillturn flow`: a source, layouts behind it, and the sets of layouts to open together.
type Flow struct {
	Options FlowOptions   `json:"options,omitzero"`
	Source  FlowSource    `json:"source" file:"required"`
	Layouts []NamedLayout `json:"layouts" file:"required"`
	Open    [][]string    `json:"open,omitempty"` // sets of layout ids; left out: each alone, then all together
	// OpenHose is a hose that somebody opens on the same source while a set runs.
	OpenHose *SourceHose `json:"open_hose,omitempty"`
}

// FlowOptions are the conditions of a calculation. What is left out takes the engine's defaults.
type FlowOptions struct {
	FrictionLaw        string   `json:"friction_law,omitempty"` // darcy-weisbach or hazen-williams
	WaterTemperatureC  *float64 `json:"water_temperature_c,omitempty"`
	PipeTemperatureC   *float64 `json:"pipe_temperature_c,omitempty"`
	PipeRoughnessMM    *float64 `json:"pipe_roughness_mm,omitempty"`
	HoseRoughnessMM    *float64 `json:"hose_roughness_mm,omitempty"`
	VelocityHeadRegain *float64 `json:"velocity_head_regain,omitempty"`
	OutletVariation    *float64 `json:"outlet_variation,omitempty"`
}

// FlowConditions are what holds while layouts run on a source that is known already.
type FlowConditions struct {
	Options          FlowOptions `json:"options,omitzero"`
	ElsewhereLPerMin float64     `json:"elsewhere_l_per_min,omitempty"`
	CommonFeed       *LayoutFeed `json:"common_feed,omitempty"`
	OpenHose         *SourceHose `json:"open_hose,omitempty"`
}

// Under returns the flow file with other conditions.
func (f Flow) Under(c FlowConditions) Flow {
	f.Options, f.OpenHose = c.Options, c.OpenHose
	f.Source.ElsewhereLPerMin, f.Source.CommonFeed = c.ElsewhereLPerMin, c.CommonFeed
	return f
}

// NamedLayout is a layout with the id that open sets name it by.
type NamedLayout struct {
	ID        string         `json:"id" file:"required"`
	Layout    Layout         `json:"layout" file:"required"`
	Questions *FlowQuestions `json:"questions,omitempty"`
}

// FlowSource is what a supply curve is made of: flow tests with an optional static head, or a tank, or a curve that is
// already known. Exactly one of the three is given.
type FlowSource struct {
	StaticHeadM      *float64     `json:"static_head_m,omitempty"` // a static test in short
	FlowTests        []FlowTest   `json:"flow_tests,omitempty"`
	Hose             *SourceHose  `json:"hose,omitempty"` // the working hose of tests made after it
	Tank             *SourceTank  `json:"tank,omitempty"`
	Curve            *SourceCurve `json:"curve,omitempty"`
	FlowLimitLPerMin *float64     `json:"flow_limit_l_per_min,omitempty"`
	ElsewhereLPerMin float64      `json:"elsewhere_l_per_min,omitempty"` // drawn at other taps of the line meanwhile
	CommonFeed       *LayoutFeed  `json:"common_feed,omitempty"`         // one hose in front of all layouts
}

// SourceHose is the hose on a source.
type SourceHose struct {
	LengthM    float64 `json:"length_m" file:"required"`
	DiameterMM float64 `json:"diameter_mm" file:"required"`
	RiseM      float64 `json:"rise_m,omitempty"` // its open end above the outlet during the test
}

// SourceTank is an open tank or barrel.
type SourceTank struct {
	LevelM           float64  `json:"level_m" file:"required"` // water above the outlet
	OutletDiameterMM float64  `json:"outlet_diameter_mm,omitempty"`
	OutletK          *float64 `json:"outlet_k,omitempty"` // left out: 0.5, a sharp entrance
}

// SourceCurve is head = h0_m - k·Q^n with Q in L/min.
type SourceCurve struct {
	H0M            float64  `json:"h0_m" file:"required"`
	K              float64  `json:"k" file:"required"`
	N              float64  `json:"n" file:"required"`
	FlowMaxLPerMin *float64 `json:"flow_max_l_per_min,omitempty"` // left out: where the head is used up
}

// FlowTest is one measurement at a source. Static needs head_m; residual head_m and flow_l_per_min; bucket volume_l and
// duration_s.
type FlowTest struct {
	TestedAt         *time.Time `json:"tested_at,omitempty"`
	Kind             string     `json:"kind" file:"required"` // static, residual, bucket
	HeadM            *float64   `json:"head_m,omitempty"`
	FlowLPerMin      *float64   `json:"flow_l_per_min,omitempty"`
	VolumeL          *float64   `json:"volume_l,omitempty"`
	DurationS        *float64   `json:"duration_s,omitempty"`
	AfterHose        bool       `json:"after_hose,omitempty"`           // at the end of the working hose
	OtherFlowLPerMin float64    `json:"other_flow_l_per_min,omitempty"` // drawn from the same line meanwhile
	Note             string     `json:"note,omitempty"`
}

// Engine returns the test in the engine's shape. hose is the source's working hose, nil if it has none; in is the zone
// in which the time of day is read.
func (t FlowTest) Engine(hose *SourceHose, in *time.Location) hydraulics.FlowTest {
	e := hydraulics.FlowTest{
		Kind: hydraulics.FlowTestKind(t.Kind), Head: unit.Head(or(t.HeadM, 0)),
		Flow: unit.LitersPerMinute(or(t.FlowLPerMin, 0)), Volume: unit.Liters(or(t.VolumeL, 0)), Seconds: or(t.DurationS, 0),
		OthersOpen: t.OtherFlowLPerMin > 0,
	}
	if t.AfterHose && hose != nil {
		h := hose.engine()
		e.Hose = &h
	}
	if t.TestedAt != nil {
		local := t.TestedAt.In(in)
		e.Timed, e.TimeOfDay = true, unit.Minutes(60*local.Hour()+local.Minute())
	}
	return e
}

func (h SourceHose) engine() hydraulics.TestHose {
	return hydraulics.TestHose{Length: unit.Length(h.LengthM), Diameter: unit.Millimeters(h.DiameterMM), Rise: unit.Length(h.RiseM)}
}

// check notes which values of the test are missing or don't belong to its kind.
func (t FlowTest) check(at string, hose *SourceHose, faults *Faults) {
	has := map[string]bool{
		"head_m": t.HeadM != nil, "flow_l_per_min": t.FlowLPerMin != nil, "volume_l": t.VolumeL != nil,
		"duration_s": t.DurationS != nil,
	}
	needs := map[string][]string{
		string(hydraulics.StaticTest): {"head_m"}, string(hydraulics.ResidualTest): {"head_m", "flow_l_per_min"},
		string(hydraulics.BucketTest): {"volume_l", "duration_s"},
	}[t.Kind]
	for _, name := range []string{"head_m", "flow_l_per_min", "volume_l", "duration_s"} {
		needed := false
		for _, n := range needs {
			needed = needed || n == name
		}
		if needed && !has[name] {
			faults.Add(at+"/"+name, "is required for a %s test", t.Kind)
		}
		if !needed && has[name] && needs != nil {
			faults.Add(at+"/"+name, "does not belong to a %s test", t.Kind)
		}
	}
	if t.AfterHose && hose == nil {
		faults.Add(at+"/after_hose", "needs the source's hose, or the hose would be counted twice")
	}
	if t.OtherFlowLPerMin < 0 {
		faults.Add(at+"/other_flow_l_per_min", "is %.6g, must not be negative", t.OtherFlowLPerMin)
	}
}

// Supply returns the supply curve and what it rests on. Its errors are Faults with pointers below at.
func (s FlowSource) Supply(at string) (hydraulics.Supply, hydraulics.SupplyAssumptions, error) {
	var faults Faults
	s.check(at, &faults)
	if len(faults) > 0 {
		return hydraulics.Supply{}, hydraulics.SupplyAssumptions{}, faults
	}
	var supply hydraulics.Supply
	var assumed hydraulics.SupplyAssumptions
	switch {
	case s.Tank != nil:
		supply = s.Tank.supply()
	case s.Curve != nil:
		supply = s.Curve.supply()
	default:
		tests := make([]hydraulics.FlowTest, 0, len(s.FlowTests)+1)
		for _, t := range s.FlowTests {
			tests = append(tests, t.Engine(s.Hose, time.UTC))
		}
		if s.StaticHeadM != nil {
			tests = append(tests, hydraulics.FlowTest{Kind: hydraulics.StaticTest, Head: unit.Head(*s.StaticHeadM)})
		}
		var err error
		if supply, assumed, err = hydraulics.FitSupply(tests, hydraulics.FitOptions{}); err != nil {
			return supply, assumed, s.testFaults(err, at)
		}
	}
	limited := []*hydraulics.Supply{&supply, &assumed.Low, &assumed.High}
	for _, l := range limited {
		if s.FlowLimitLPerMin != nil {
			l.MaxFlow = math.Min(l.MaxFlow, float64(unit.LitersPerMinute(*s.FlowLimitLPerMin)))
		}
		*l = l.WithElsewhere(float64(unit.LitersPerMinute(s.ElsewhereLPerMin)))
	}
	if len(s.FlowTests) == 0 {
		assumed.Low, assumed.High = supply, supply
	}
	return supply, assumed, nil
}

// testFaults gives the engine's faults of tests their place in the document.
func (s FlowSource) testFaults(err error, at string) error {
	var engine hydraulics.Faults
	if !errors.As(err, &engine) {
		return err
	}
	var faults Faults
	for _, f := range engine {
		pointer := at + "/flow_tests" + f.JSONPointer()
		pointer = strings.Replace(pointer, "/flow_tests//", "/flow_tests/", 1)
		last := fmt.Sprintf("/flow_tests/%d/", len(s.FlowTests))
		if strings.HasPrefix(pointer, at+last) {
			pointer = at + "/static_head_m"
		}
		if i := strings.Index(pointer, "/hose/"); i >= 0 {
			pointer = at + pointer[i:]
		}
		pointer = strings.NewReplacer("/seconds", "/duration_s").Replace(pointer)
		faults = append(faults, Fault{Pointer: pointer, Reason: reasonOf(f)})
	}
	return faults
}

func (s FlowSource) check(at string, faults *Faults) {
	kinds := 0
	for _, given := range []bool{s.Tank != nil, s.Curve != nil, len(s.FlowTests) > 0} {
		if given {
			kinds++
		}
	}
	if kinds != 1 {
		faults.Add(at, "needs exactly one of flow_tests, tank and curve")
	}
	for i, t := range s.FlowTests {
		t.check(fmt.Sprintf("%s/flow_tests/%d", at, i), s.Hose, faults)
	}
	if s.Tank != nil {
		between(faults, at+"/tank/level_m", s.Tank.LevelM, 0.01, 100)
		between(faults, at+"/tank/outlet_diameter_mm", s.Tank.OutletDiameterMM, 0, 500)
		between(faults, at+"/tank/outlet_k", or(s.Tank.OutletK, 0), 0, 1e6)
	}
	if c := s.Curve; c != nil {
		between(faults, at+"/curve/h0_m", c.H0M, 0.01, 200)
		between(faults, at+"/curve/k", c.K, 0, 1e6)
		between(faults, at+"/curve/n", c.N, 0.5, 3)
		if c.FlowMaxLPerMin != nil {
			between(faults, at+"/curve/flow_max_l_per_min", *c.FlowMaxLPerMin, 0.01, 10000)
		}
	}
	if s.FlowLimitLPerMin != nil {
		between(faults, at+"/flow_limit_l_per_min", *s.FlowLimitLPerMin, 0.01, 10000)
	}
	between(faults, at+"/elsewhere_l_per_min", s.ElsewhereLPerMin, 0, 10000)
}

func between(faults *Faults, at string, v, least, most float64) {
	if !(v >= least && v <= most) {
		faults.Add(at, "is %.6g, must lie between %.6g and %.6g", v, least, most)
	}
}

func (t SourceTank) supply() hydraulics.Supply {
	return hydraulics.Tank{
		Level: unit.Length(t.LevelM), OutletDiameter: unit.Millimeters(t.OutletDiameterMM), OutletK: or(t.OutletK, 0.5),
	}.Supply()
}

func (c SourceCurve) supply() hydraulics.Supply {
	s := hydraulics.Supply{Static: c.H0M, Exponent: c.N, MaxFlow: math.Inf(1)}
	s.Coefficient = c.K / math.Pow(float64(unit.LitersPerMinute(1)), c.N)
	if c.K > 0 {
		s.MaxFlow = math.Pow(c.H0M/s.Coefficient, 1/c.N)
	}
	if c.FlowMaxLPerMin != nil {
		s.MaxFlow = float64(unit.LitersPerMinute(*c.FlowMaxLPerMin))
	}
	return s
}

// Engine returns the options in the engine's shape.
func (o FlowOptions) Engine() hydraulics.Options {
	e := hydraulics.DefaultOptions()
	if o.FrictionLaw != "" {
		e.Law = hydraulics.FrictionLaw(o.FrictionLaw)
	}
	e.WaterTemperature = unit.Temperature(or(o.WaterTemperatureC, float64(e.WaterTemperature)))
	e.PipeTemperature = unit.Temperature(or(o.PipeTemperatureC, float64(e.PipeTemperature)))
	e.PipeRoughness = unit.Millimeters(or(o.PipeRoughnessMM, e.PipeRoughness.Millimeters()))
	e.HoseRoughness = unit.Millimeters(or(o.HoseRoughnessMM, e.HoseRoughness.Millimeters()))
	e.VelocityHeadRegain = or(o.VelocityHeadRegain, e.VelocityHeadRegain)
	e.OutletVariation = or(o.OutletVariation, e.OutletVariation)
	return e
}

// ReadFlow reads a flow file and validates it. Its errors are Faults.
func ReadFlow(r io.Reader) (Flow, error) {
	var f Flow
	if err := Decode(r, &f); err != nil {
		return f, err
	}
	return f, f.Validate()
}

// Validate returns nil or Faults with everything wrong in the file.
func (f Flow) Validate() error {
	faults := faultsOf(f.Options.Engine().Validate(), "/options")
	if _, _, err := f.Source.Supply("/source"); err != nil {
		var more Faults
		if !errors.As(err, &more) {
			return err
		}
		faults = append(faults, more...)
	}
	if c := f.Source.CommonFeed; c != nil {
		_, err := hydraulics.NewCommon(c.Engine(), hydraulics.DefaultOptions(), nil)
		for _, x := range faultsOf(err, "") {
			faults = append(faults, Fault{Pointer: "/source/common_feed" + strings.TrimPrefix(x.Pointer, "/feed"), Reason: x.Reason})
		}
	}
	ids := map[string]bool{}
	for i, l := range f.Layouts {
		at := Point("layouts", i)
		if l.ID == "" || ids[l.ID] {
			faults.Add(at+"/id", "must be a text that no other layout has")
		}
		ids[l.ID] = true
		faults = append(faults, faultsOf(l.Layout.Engine().Validate(), at+"/layout")...)
		if l.Questions != nil {
			l.Questions.check(at+"/questions", l.Layout, &faults)
			if _, err := f.alone(l.Layout); err != nil {
				faults.Add(at+"/questions", "can't be answered: %s", err)
			}
		}
	}
	if h := f.OpenHose; h != nil {
		between(&faults, "/open_hose/length_m", h.LengthM, 0, 300)
		between(&faults, "/open_hose/diameter_mm", h.DiameterMM, 3, 150)
		between(&faults, "/open_hose/rise_m", h.RiseM, -100, 100)
	}
	for i, set := range f.Open {
		seen := map[string]bool{}
		for j, id := range set {
			if !ids[id] || seen[id] {
				faults.Add(Point("open", i, j), "%q is not the id of a layout, or stands here twice", id)
			}
			seen[id] = true
		}
	}
	return faults.Err()
}
