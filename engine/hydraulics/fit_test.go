package hydraulics

import (
	"errors"
	"math"
	"testing"

	"rillturn.example/rillturn/engine/unit"
)

func lpm(v float64) unit.Flow { return unit.LitersPerMinute(v) }

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, relative)
	}
}

func has(a SupplyAssumptions, code AssumptionCode) bool {
	for _, x := range a.List {
		if x.Code == code {
			return true
		}
	}
	return false
}

func TestFlowTest_bucketFlow(t *testing.T) {
	// "Drip Irrigation Design", extension slides: 5 gal in 45 s is 6.67 gpm (25.2 L/min).
	b := FlowTest{Kind: BucketTest, Volume: unit.Gallons(5), Seconds: 45}
	near(t, "gpm", b.MeasuredFlow().GallonsPerMinute(), 6.67, 0.0005)
	near(t, "L/min", b.MeasuredFlow().LitersPerMinute(), 25.2, 0.002)
	// Arithmetic: 5 gal in 32 s is 9.375 gpm.
	b.Seconds = 32
	near(t, "gpm", b.MeasuredFlow().GallonsPerMinute(), 9.375, 1e-12)
}

func TestFitSupply_staticResidualBucket(t *testing.T) {
	s, a, err := FitSupply([]FlowTest{
		{Kind: StaticTest, Head: 31.6},
		{Kind: ResidualTest, Head: 25.3, Flow: lpm(12)},
		{Kind: BucketTest, Flow: lpm(29.9)},
	}, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	// n = ln((Hs-H1)/(Hs-H2))/ln(Q1/Q2), algebra.
	near(t, "n", s.Exponent, 1.7664, 1e-4)
	near(t, "residual head", s.HeadAt(float64(lpm(12))), 25.3, 1e-12)
	near(t, "open flow", s.FlowAt(0), float64(lpm(29.9)), 1e-12)
	if len(a.List) != 0 || a.Low != s || a.High != s {
		t.Errorf("nothing was assumed, got %+v", a)
	}
}

func TestFitSupply_bucketAfterHoseCountsTheHoseOnce(t *testing.T) {
	truth := goodSpigot()
	hose := TestHose{Length: 15.24, Diameter: unit.Inches(5.0 / 8)}
	q, _ := root(0, truth.MaxFlow, func(q float64) float64 { return hose.headNeeded(q) - truth.HeadAt(q) })
	static := FlowTest{Kind: StaticTest, Head: 31.6}
	residual := FlowTest{Kind: ResidualTest, Head: 25.3, Flow: lpm(12)}
	said, _, err := FitSupply([]FlowTest{static, residual, {Kind: BucketTest, Flow: unit.Flow(q), Hose: &hose}}, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "open flow when the hose was stated", said.FlowAt(0), truth.FlowAt(0), 1e-9)
	silent, _, err := FitSupply([]FlowTest{static, residual, {Kind: BucketTest, Flow: unit.Flow(q)}}, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "open flow when the hose was left out", silent.FlowAt(0), q, 1e-9)
	again := hose.headNeeded(silent.FlowAt(0))
	if again < 1 {
		t.Errorf("the hose loses %v m: too little for the trap to show", again)
	}
}

func TestFitSupply_oneBucketThroughTheHose(t *testing.T) {
	s, a, err := FitSupply([]FlowTest{
		{Kind: BucketTest, Volume: unit.Liters(19), Seconds: 48, Hose: &TestHose{Length: 15, Diameter: unit.Inches(0.625)}},
	}, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !has(a, AssumedStatic) || !has(a, AssumedExponent) {
		t.Errorf("assumptions %+v", a.List)
	}
	q := 19e-3 / 48
	hose := TestHose{Length: 15, Diameter: unit.Inches(0.625)}
	near(t, "curve passes the test", s.HeadAt(q), hose.headNeeded(q), 1e-9)
	for _, level := range []float64{12, 15, 18} {
		if !(a.Low.FlowAt(level) <= s.FlowAt(level) && s.FlowAt(level) <= a.High.FlowAt(level)) {
			t.Errorf("at %v m: %v not between %v and %v", level, s.FlowAt(level), a.Low.FlowAt(level), a.High.FlowAt(level))
		}
	}
}

func TestFitSupply_refuses(t *testing.T) {
	static := FlowTest{Kind: StaticTest, Head: 20}
	for name, c := range map[string]struct {
		tests []FlowTest
		path  string
		code  FaultCode
	}{
		"residual at static":   {[]FlowTest{static, {Kind: ResidualTest, Head: 20, Flow: lpm(5)}}, "[1].head_m", FaultNotUnderStatic},
		"residual above":       {[]FlowTest{static, {Kind: ResidualTest, Head: 21, Flow: lpm(5)}}, "[1].head_m", FaultNotUnderStatic},
		"static only":          {[]FlowTest{static}, "", FaultNoUsableTest},
		"nothing":              {nil, "", FaultNoUsableTest},
		"no seconds":           {[]FlowTest{static, {Kind: BucketTest, Volume: 0.01}}, "[1].seconds", FaultOutOfRange},
		"not a number":         {[]FlowTest{static, {Kind: ResidualTest, Head: 3, Flow: unit.Flow(math.NaN())}}, "[1].flow_l_per_min", FaultNotFinite},
		"unknown kind":         {[]FlowTest{static, {Kind: "guess"}}, "[1].kind", FaultUnknownWord},
		"hose beyond the head": {[]FlowTest{static, {Kind: BucketTest, Flow: lpm(40), Hose: &TestHose{Length: 60, Diameter: 0.0127}}}, "[1].hose.length_m", FaultHoseTakesAll},
	} {
		_, _, err := FitSupply(c.tests, FitOptions{})
		var f Faults
		if !errors.As(err, &f) {
			t.Errorf("%s: got %v, want Faults", name, err)
			continue
		}
		found := false
		for _, x := range f {
			found = found || x.Path == c.path && x.Code == c.code
		}
		if !found {
			t.Errorf("%s: got %v, want %s at %q", name, err, c.code, c.path)
		}
	}
}

func TestFitSupply_exponentIsClampedAndNeverOptimistic(t *testing.T) {
	tests := []FlowTest{
		{Kind: StaticTest, Head: 30},
		{Kind: ResidualTest, Head: 29.9, Flow: lpm(10)}, // a gauge that hardly moved
		{Kind: BucketTest, Flow: lpm(20)},
	}
	s, a, err := FitSupply(tests, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Exponent != mostFittedExponent || !has(a, ClampedExponent) {
		t.Errorf("n %v, assumptions %+v", s.Exponent, a.List)
	}
	if s.HeadAt(float64(lpm(10))) > 29.9 || s.FlowAt(0) > float64(lpm(20))*(1+1e-12) {
		t.Errorf("curve is better than a test: %v m, %v m³/s", s.HeadAt(float64(lpm(10))), s.FlowAt(0))
	}
}

func TestFitSupply_hoursPickTheTests(t *testing.T) {
	tests := []FlowTest{
		{Kind: StaticTest, Head: 32, Timed: true, TimeOfDay: 6 * 60},
		{Kind: StaticTest, Head: 24, Timed: true, TimeOfDay: 19 * 60},
		{Kind: BucketTest, Flow: lpm(30), Timed: true, TimeOfDay: 6 * 60},
		{Kind: BucketTest, Flow: lpm(22), Timed: true, TimeOfDay: 19 * 60},
	}
	dusk, _, err := FitSupply(tests, FitOptions{From: 18 * 60, To: 21 * 60})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "dusk static", dusk.Static, 24, 1e-12)
	near(t, "dusk flow", dusk.FlowAt(0), float64(lpm(22)), 1e-12)
	night, a, err := FitSupply(tests, FitOptions{From: 23 * 60, To: 4 * 60})
	if err != nil || !has(a, AssumedOtherHours) {
		t.Errorf("no test at night: %+v, %v", a, err)
	}
	if night.FlowAt(0) > float64(lpm(22))*(1+1e-12) {
		t.Errorf("all tests together must be no better than the worst: %v", night.FlowAt(0))
	}
}

func TestSupply_twoTapsAreReadAtTheLinesTotal(t *testing.T) {
	alone := goodSpigot()
	other := float64(lpm(8))
	both := alone.WithElsewhere(other)
	for _, q := range []float64{1e-5, 1e-4, 3e-4} {
		near(t, "head", both.HeadAt(q), alone.HeadAt(q+other), 1e-15)
		if both.HeadAt(q) > alone.HeadAt(q) {
			t.Error("optimistic")
		}
		near(t, "inverse", both.FlowAt(both.HeadAt(q)), q, 1e-9)
	}
	near(t, "open", both.FlowAt(0)+other, alone.FlowAt(0), 1e-12)
}

func TestTank_levelDrives(t *testing.T) {
	s := Tank{Level: 1.2}.Supply()
	c := mustCompile(t, bedLayout(2))
	op, err := Operate(s, []HeadFlow{c})
	if err != nil || op.Head != 1.2 {
		t.Errorf("head %v, want the level (%v)", op.Head, err)
	}
	limited := Tank{Level: 1.2, MaxFlow: unit.Flow(op.Total / 2)}.Supply()
	half, err := Operate(limited, []HeadFlow{c})
	if err != nil || !half.Limited || half.Head >= 1.2 {
		t.Errorf("limited tank %+v (%v)", half, err)
	}
	near(t, "flow limit", half.Total, op.Total/2, 1e-9)
}

func TestCommon_hoseInFrontOfTwoLayouts(t *testing.T) {
	one, two := mustCompile(t, bedLayout(1)), mustCompile(t, bedLayout(2))
	hose := Feed{HoseLength: 20, HoseDiameter: unit.Inches(0.75), FittingsK: 1}
	c, err := NewCommon(hose, DefaultOptions(), []HeadFlow{one.Table(), two.Table()})
	if err != nil {
		t.Fatal(err)
	}
	op, err := Operate(goodSpigot(), []HeadFlow{c})
	if err != nil {
		t.Fatal(err)
	}
	split := c.Split(op.Head)
	near(t, "sum of flows", split.Flows[0]+split.Flows[1], op.Total, 1e-9)
	loss := HeadLoss(DarcyWeisbach, unit.Flow(op.Total), 20, unit.Inches(0.75), unit.Millimeters(0.01), 20)
	v := op.Total / (math.Pi / 4 * 0.01905 * 0.01905)
	near(t, "head behind the hose", split.Head, op.Head-float64(loss)-v*v/(2*unit.Gravity), 1e-9)
	if _, err := NewCommon(Feed{}, DefaultOptions(), nil); err == nil {
		t.Error("a common feed without a diameter was accepted")
	}
}
