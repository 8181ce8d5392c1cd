package file

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
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
	ElsewhereLPerMin *float64    `json:"elsewhere_l_per_min,omitempty"` // left out: what the source says
	CommonFeed       *LayoutFeed `json:"common_feed,omitempty"`
	OpenHose         *SourceHose `json:"open_hose,omitempty"`
}

// Under returns the flow file with other conditions.
func (f Flow) Under(c FlowConditions) Flow {
	f.Options, f.OpenHose, f.Source.CommonFeed = c.Options, c.OpenHose, c.CommonFeed
	f.Source.ElsewhereLPerMin = or(c.ElsewhereLPerMin, f.Source.ElsewhereLPerMin)
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
	// WaterHours are the hours in which the source is to run: tests of these hours make the curve. Left out, all tests do.
	WaterHours []ClockHours `json:"water_hours,omitempty"`
	TimeZone   string       `json:"time_zone,omitempty"` // of water_hours; left out: clocks as written in tested_at
}

// ClockHours are hours of every day; an end before the start is one after midnight.
type ClockHours struct {
	StartLocal string `json:"start_local" file:"required"` // 06:00
	EndLocal   string `json:"end_local" file:"required"`   // up to 24:00
}

// SourceHose is the hose on a source.
type SourceHose struct {
	LengthM    float64 `json:"length_m" file:"required"`
	DiameterMM float64 `json:"diameter_mm" file:"required"`
	RiseM      float64 `json:"rise_m,omitempty"` // its open end above the outlet during the test
}

// SourceTank is an open tank or barrel.
type SourceTank struct {
	LevelM           float64  `json:"level_m" file:"required"`      // water above the outlet
	OutletDiameterMM float64  `json:"outlet_diameter_mm,omitempty"` // left out: the loss of the outlet is not counted
	OutletK          *float64 `json:"outlet_k,omitempty"`           // left out: 0.5, a sharp entrance
	// OutletAssumed says that nobody measured the outlet: its diameter stands for a plausible range.
	OutletAssumed bool `json:"outlet_assumed,omitempty"`
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
// in which the time of day is read, nil to read it as it was written.
func (t FlowTest) Engine(hose *SourceHose, in *time.Location) hydraulics.FlowTest {
	e := hydraulics.FlowTest{
		Kind: hydraulics.FlowTestKind(t.Kind), Head: unit.Head(or(t.HeadM, 0)),
		Flow: unit.LitersPerMinute(or(t.FlowLPerMin, 0)), Volume: unit.Liters(or(t.VolumeL, 0)), Seconds: or(t.DurationS, 0),
		Other: unit.LitersPerMinute(t.OtherFlowLPerMin),
	}
	if t.AfterHose && hose != nil {
		h := hose.engine()
		e.Hose = &h
	}
	if t.TestedAt != nil {
		local := t.local(in)
		e.Timed, e.TimeOfDay = true, unit.Minutes(60*local.Hour()+local.Minute())
	}
	return e
}

func (t FlowTest) local(in *time.Location) time.Time {
	if in == nil {
		return *t.TestedAt
	}
	return t.TestedAt.In(in)
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
	between(faults, at+"/other_flow_l_per_min", t.OtherFlowLPerMin, 0, 10000)
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
		supply, assumed = s.Tank.supply()
	case s.Curve != nil:
		supply = s.Curve.supply()
		assumed.Low, assumed.High = supply, supply
	default:
		var err error
		if supply, assumed, err = s.fit(); err != nil {
			return supply, assumed, s.testFaults(err, at)
		}
	}
	elsewhere := unit.LitersPerMinute(s.ElsewhereLPerMin)
	for _, l := range []*hydraulics.Supply{&supply, &assumed.Low, &assumed.High} {
		if s.FlowLimitLPerMin != nil {
			l.MaxFlow = math.Min(l.MaxFlow, float64(unit.LitersPerMinute(*s.FlowLimitLPerMin)))
		}
		*l = l.WithElsewhere(float64(elsewhere))
	}
	if elsewhere > 0 {
		assumed.List = append(assumed.List, hydraulics.Assumption{Code: hydraulics.DrawnElsewhere, Value: s.ElsewhereLPerMin})
		if len(s.FlowTests) > 0 && !slices.ContainsFunc(s.FlowTests, FlowTest.joint) {
			assumed.List = append(assumed.List, hydraulics.Assumption{Code: hydraulics.AssumedAllShared})
		}
	}
	if !(unit.Flow(supply.MaxFlow).LitersPerMinute() > leastLeftLPerMin) {
		supply.Elsewhere, supply.MaxFlow = 0, math.Inf(1)
		faults.Add(at+"/elsewhere_l_per_min", "is %.6g, which leaves nothing at this tap: its line gives it %.3g L/min when nothing else is drawn",
			s.ElsewhereLPerMin, unit.Flow(supply.FlowAt(0)).LitersPerMinute())
	}
	return supply, assumed, faults.Err()
}

// leastLeftLPerMin is a millilitre a minute: a tap that has less beside others gives nothing.
const leastLeftLPerMin = 0.001

// joint says that other taps of the line ran during the test.
func (t FlowTest) joint() bool { return t.OtherFlowLPerMin > 0 }

// fit fits the curve to the flow tests.
func (s FlowSource) fit() (hydraulics.Supply, hydraulics.SupplyAssumptions, error) {
	in, hours := s.zone(), make([]hydraulics.DayHours, len(s.WaterHours))
	for i, h := range s.WaterHours {
		hours[i] = hydraulics.DayHours{From: minuteOfDay(h.StartLocal), To: minuteOfDay(h.EndLocal)}
	}
	tests := make([]hydraulics.FlowTest, 0, len(s.FlowTests)+1)
	for _, t := range s.FlowTests {
		tests = append(tests, t.Engine(s.Hose, in))
	}
	if s.StaticHeadM != nil {
		tests = append(tests, hydraulics.FlowTest{Kind: hydraulics.StaticTest, Head: unit.Head(*s.StaticHeadM)})
	}
	return hydraulics.FitSupply(tests, hydraulics.FitOptions{Hours: hours})
}

// zone is where the clocks of the source stand; nil when tests are read as they were written.
func (s FlowSource) zone() *time.Location {
	if s.TimeZone == "" {
		return nil
	}
	in, _ := time.LoadLocation(s.TimeZone) // checked
	return in
}

// IsClock tells whether a text is a clock time of the form 18:30, up to 24:00.
func IsClock(text string) bool {
	var h, m int
	n, err := fmt.Sscanf(text, "%02d:%02d", &h, &m)
	return err == nil && n == 2 && len(text) == len("18:30") && h >= 0 && m >= 0 && m < 60 && h*60+m <= 24*60
}

// minuteOfDay reads a clock time.
func minuteOfDay(clock string) unit.Minutes {
	var h, m int
	_, _ = fmt.Sscanf(clock, "%02d:%02d", &h, &m) // checked
	return unit.Minutes(60*h + m)
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
	for i, h := range s.WaterHours {
		for _, c := range []struct{ name, clock string }{{"start_local", h.StartLocal}, {"end_local", h.EndLocal}} {
			if !IsClock(c.clock) {
				faults.Add(at+Point("water_hours", i, c.name), "is %q, must be a clock time such as 18:30", c.clock)
			}
		}
	}
	if _, err := time.LoadLocation(s.TimeZone); err != nil || s.TimeZone == "Local" {
		faults.Add(at+"/time_zone", "is not a zone of the IANA time zone database, such as America/Los_Angeles")
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

// What the outlet of a tank may be where nobody measured it. The bore is that of the commonest garden hoses (half an inch,
// five eighths, one inch; common practice, no source); an outlet lies between a sharp entrance and an open globe valve
// (loss coefficients as in LMNO Engineering's table and Crane TP-410).
const (
	usualOutletMM   = 15.875
	leastOutletMM   = 12.7
	mostOutletMM    = 25.4
	sharpEntranceK  = 0.5
	openGlobeValveK = 10
)

// supply returns the tank's curve and what was assumed of its outlet.
func (t SourceTank) supply() (hydraulics.Supply, hydraulics.SupplyAssumptions) {
	with := func(boreMM, k float64) hydraulics.Supply {
		return hydraulics.Tank{Level: unit.Length(t.LevelM), OutletDiameter: unit.Millimeters(boreMM), OutletK: k}.Supply()
	}
	k, most, low, high := or(t.OutletK, sharpEntranceK), or(t.OutletK, openGlobeValveK), t.OutletDiameterMM, t.OutletDiameterMM
	var a hydraulics.SupplyAssumptions
	if t.OutletDiameterMM == 0 {
		a.List = append(a.List, hydraulics.Assumption{Code: hydraulics.UncountedTankOutlet})
		a.Low, a.High = with(0, 0), with(0, 0)
		return with(0, 0), a
	}
	if t.OutletAssumed {
		low, high = math.Min(leastOutletMM, low), math.Max(mostOutletMM, high)
		a.List = append(a.List, hydraulics.Assumption{Code: hydraulics.AssumedTankOutlet, Value: t.OutletDiameterMM, Low: low, High: high})
	}
	if t.OutletK == nil {
		a.List = append(a.List, hydraulics.Assumption{Code: hydraulics.AssumedTankOutletK, Value: k, Low: k, High: most})
	}
	a.Low, a.High = with(low, most), with(high, k)
	return with(t.OutletDiameterMM, k), a
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
