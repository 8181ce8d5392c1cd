package hydraulics

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

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

func clock(hour, minute float64) unit.Minutes { return unit.Minutes(60*hour + minute) }

func TestFitSupply_hoursPickTheTests(t *testing.T) {
	tests := []FlowTest{
		{Kind: StaticTest, Head: 32, Timed: true, TimeOfDay: clock(6, 0)},
		{Kind: StaticTest, Head: 24, Timed: true, TimeOfDay: clock(19, 0)},
		{Kind: BucketTest, Flow: lpm(30), Timed: true, TimeOfDay: clock(6, 0)},
		{Kind: BucketTest, Flow: lpm(22), Timed: true, TimeOfDay: clock(19, 0)},
	}
	fit := func(hours ...DayHours) (Supply, SupplyAssumptions) {
		t.Helper()
		s, a, err := FitSupply(tests, FitOptions{Hours: hours})
		if err != nil {
			t.Fatal(err)
		}
		return s, a
	}
	dawn, a := fit(DayHours{clock(6, 30), clock(9, 0)}) // tested half an hour before
	near(t, "dawn static", dawn.Static, 32, 1e-12)
	near(t, "dawn flow", dawn.FlowAt(0), float64(lpm(30)), 1e-12)
	if !slices.Equal(a.Used, []int{0, 2}) || has(a, AssumedOtherHours) {
		t.Errorf("dawn rests on %v: %+v", a.Used, a.List)
	}
	dusk, a := fit(DayHours{clock(18, 0), clock(21, 0)})
	near(t, "dusk static", dusk.Static, 24, 1e-12)
	near(t, "dusk flow", dusk.FlowAt(0), float64(lpm(22)), 1e-12)
	if !slices.Equal(a.Used, []int{1, 3}) {
		t.Errorf("dusk rests on %v", a.Used)
	}
	both, a := fit(DayHours{clock(6, 0), clock(9, 0)}, DayHours{clock(18, 0), clock(21, 0)})
	near(t, "worse static of both", both.Static, 24, 1e-12)
	if !slices.Equal(a.Used, []int{0, 1, 2, 3}) || has(a, AssumedSwing) || both.FlowAt(0) > dusk.FlowAt(0)*(1+1e-12) {
		t.Errorf("both stretches: %v, %+v, %v", a.Used, a.List, both.FlowAt(0))
	}
	all, a := fit()
	if len(a.Used) != len(tests) || has(a, AssumedOtherHours) || all != both {
		t.Errorf("no hours asked for: %+v, %v", all, a.Used)
	}

	// Nobody tested at night: all tests count, the worst of them, less the swing of the line's pressure.
	night, a := fit(DayHours{clock(23, 0), clock(4, 0)})
	if !has(a, AssumedOtherHours) || !has(a, AssumedSwing) || len(a.Used) != len(tests) {
		t.Errorf("no test at night: %v, %+v", a.Used, a.List)
	}
	near(t, "night static", night.Static, 24*(1-assumedSwing), 1e-12)
	for h := 0.5; h < 24; h++ {
		if night.FlowAt(h) > all.FlowAt(h) || a.Low.FlowAt(h) > night.FlowAt(h) || a.High.FlowAt(h) < night.FlowAt(h) {
			t.Errorf("at %v m night gives %v of %v to %v, all tests %v", h, night.FlowAt(h), a.Low.FlowAt(h), a.High.FlowAt(h), all.FlowAt(h))
		}
	}
	// With one stretch tested and another not, all tests count, and the range goes down to a line that gives way.
	noon, a := fit(DayHours{clock(6, 0), clock(9, 0)}, DayHours{clock(12, 0), clock(13, 0)})
	if noon != all || !has(a, AssumedOtherHours) || !(a.Low.FlowAt(12) < 0.9*noon.FlowAt(12)) || a.High.FlowAt(12) < noon.FlowAt(12) {
		t.Errorf("dawn and noon: %+v, from %+v to %+v", noon, a.Low, a.High)
	}
}

func TestFitSupply_hoursOverMidnightAndUntimedTests(t *testing.T) {
	tests := []FlowTest{{Kind: BucketTest, Flow: lpm(30), Timed: true, TimeOfDay: clock(0, 30)}, {Kind: BucketTest, Flow: lpm(20)}}
	for name, c := range map[string]struct {
		hours DayHours
		used  int
	}{
		"over midnight":          {DayHours{clock(23, 0), clock(2, 0)}, 1},
		"an hour before them":    {DayHours{clock(1, 30), clock(2, 0)}, 1},
		"an hour after midnight": {DayHours{clock(20, 0), clock(23, 30)}, 1},
		"all day":                {DayHours{0, clock(24, 0)}, 1},
		"other hours":            {DayHours{clock(1, 31), clock(23, 29)}, 2},
	} {
		_, a, err := FitSupply(tests, FitOptions{Hours: []DayHours{c.hours}})
		if err != nil || len(a.Used) != c.used || has(a, AssumedOtherHours) != (c.used == 2) {
			t.Errorf("%s: tests %v, %+v, %v", name, a.Used, a.List, err)
		}
	}
}

func TestFitSupply_staticOfOtherHoursIsLowered(t *testing.T) {
	tests := []FlowTest{{Kind: StaticTest, Head: 40}, {Kind: BucketTest, Flow: lpm(20), Timed: true, TimeOfDay: clock(7, 0)}}
	s, a, err := FitSupply(tests, FitOptions{Hours: []DayHours{{clock(6, 0), clock(9, 0)}}})
	if err != nil || !has(a, AssumedOtherStatic) || has(a, AssumedSwing) || !slices.Equal(a.Used, []int{0, 1}) {
		t.Fatalf("%+v, %v, %v", a.List, a.Used, err)
	}
	near(t, "static", s.Static, 36, 1e-12)
	near(t, "the bucket holds", s.FlowAt(0), float64(lpm(20)), 1e-12)
	near(t, "range", a.High.Static-a.Low.Static, 10, 1e-12)
	// A pressure that was seen with water running is not lowered away.
	tests = append(tests, FlowTest{Kind: ResidualTest, Head: 38, Flow: lpm(5), Timed: true, TimeOfDay: clock(7, 0)})
	if s, _, err = FitSupply(tests, FitOptions{Hours: []DayHours{{clock(6, 0), clock(9, 0)}}}); err != nil || s.Static != 40 {
		t.Errorf("static %v, %v", s.Static, err)
	}
}

// Two buckets of different hours are two readings of one thing: they say nothing of how pressure falls with flow.
func TestFitSupply_repeatedReadingsTellNothingOfTheExponent(t *testing.T) {
	for _, tests := range [][]FlowTest{
		{{Kind: StaticTest, Head: 31}, {Kind: BucketTest, Flow: lpm(24)}, {Kind: BucketTest, Flow: lpm(34)}},
		{{Kind: StaticTest, Head: 31}, {Kind: BucketTest, Flow: lpm(34)}, {Kind: BucketTest, Flow: lpm(24)}},
		{{Kind: StaticTest, Head: 31}, {Kind: ResidualTest, Flow: lpm(24), Head: 3}, {Kind: ResidualTest, Flow: lpm(24.2), Head: 0}},
	} {
		s, a, err := FitSupply(tests, FitOptions{})
		if err != nil || s.Exponent != assumedExponent || !has(a, AssumedExponent) || s.FlowAt(0) > float64(lpm(24.2))*(1+1e-12) {
			t.Errorf("%+v, %+v, %v", s, a.List, err)
		}
	}
	// The worse of two buckets goes with a pressure that was left.
	s, a, err := FitSupply([]FlowTest{
		{Kind: StaticTest, Head: 31.6}, {Kind: BucketTest, Flow: lpm(31)}, {Kind: ResidualTest, Head: 25.3, Flow: lpm(12)}, {Kind: BucketTest, Flow: lpm(29.9)},
	}, FitOptions{})
	if err != nil || !has(a, AssumedSeveralReads) {
		t.Errorf("%+v, %v", a.List, err)
	}
	near(t, "n", s.Exponent, 1.7664, 1e-4)
}

// The pressures of an hour are compared with the static head of that hour, not refused for another's.
func TestFitSupply_hoursOfDifferentPressure(t *testing.T) {
	morning := []FlowTest{{Kind: StaticTest, Head: 32}, {Kind: ResidualTest, Head: 26, Flow: lpm(12)}}
	alone, _, err := FitSupply(morning, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	both, _, err := FitSupply(append(morning, FlowTest{Kind: StaticTest, Head: 24}), FitOptions{})
	if err != nil || both.Static != 24 || both.Coefficient != alone.Coefficient {
		t.Errorf("with the evening's pressure %+v, want the losses of %+v (%v)", both, alone, err)
	}
	if _, _, err := FitSupply(append(morning, FlowTest{Kind: ResidualTest, Head: 33, Flow: lpm(3)}), FitOptions{}); err == nil {
		t.Error("more pressure with water running than any with the tap closed was accepted")
	}
}

// twoTaps is a true line: a common pipe and a branch to each tap.
type twoTaps struct{ static, common, own, n float64 }

// at returns the head at the first tap.
func (l twoTaps) at(q, e float64) float64 {
	return l.static - l.common*math.Pow(q+e, l.n) - l.own*math.Pow(q, l.n)
}

// open returns the flow of the first tap, open, while e is drawn elsewhere; 0 when nothing comes.
func (l twoTaps) open(e float64) float64 {
	if l.at(0, e) <= 0 {
		return 0
	}
	most := math.Pow(l.static/(l.common+l.own), 1/l.n)
	q, _ := root(0, most, func(q float64) float64 { return -l.at(q, e) })
	return q
}

func (l twoTaps) residual(q, e float64) FlowTest {
	return FlowTest{Kind: ResidualTest, Head: unit.Head(l.at(q, e)), Flow: unit.Flow(q), Other: unit.Flow(e)}
}

func (l twoTaps) bucket(e float64) FlowTest {
	return FlowTest{Kind: BucketTest, Flow: unit.Flow(l.open(e)), Other: unit.Flow(e)}
}

// Whatever was tested, alone or together, a tap is never promised more than the true line gives, whatever runs elsewhere.
func TestFitSupply_twoTapsAreNeverOptimistic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		between := func(lo, hi float64, what string) float64 { return rapid.Float64Range(lo, hi).Draw(t, what) }
		l := twoTaps{static: between(5, 60, "static"), n: assumedExponent}
		tests := []FlowTest{{Kind: StaticTest, Head: unit.Head(l.static)}}
		kind := rapid.SampledFrom([]string{"alone", "two alone", "together", "alone and together", "all"}).Draw(t, "tests")
		two := kind == "two alone" || kind == "all"
		if two { // n shows
			l.n = between(1.05, 2.15, "n")
		}
		share := rapid.SampledFrom([]float64{0, 0.2, 0.5, 0.9, 1}).Draw(t, "share")
		k := l.static / math.Pow(float64(lpm(between(5, 60, "open flow"))), l.n)
		l.common, l.own = share*k, (1-share)*k
		open := l.open(0)
		if kind != "together" {
			tests = append(tests, l.bucket(0))
		}
		if kind == "alone and together" && rapid.Bool().Draw(t, "a slower bucket") {
			tests = append(tests, FlowTest{Kind: BucketTest, Flow: unit.Flow(0.995 * open)})
		}
		if two {
			tests = append(tests, l.residual(between(0.2, 0.8, "residual at")*open, 0))
		}
		if kind != "alone" && kind != "two alone" {
			for range rapid.IntRange(1, 3).Draw(t, "joint tests") {
				e := between(0.1, 0.8, "elsewhere in the test") * open
				if q := l.open(e); q > 0.05*open && rapid.Bool().Draw(t, "bucket") {
					tests = append(tests, l.bucket(e))
				} else if l.at(0.1*open, e) > 0 {
					tests = append(tests, l.residual(0.1*open, e), FlowTest{Kind: StaticTest, Head: unit.Head(l.at(0, e)), Other: unit.Flow(e)})
				}
			}
		}
		s, _, err := FitSupply(tests, FitOptions{})
		if err != nil {
			t.Fatalf("tests %+v: %v", tests, err)
		}
		if !(s.Own >= 0 && s.Own <= 1) {
			t.Fatalf("share of its own %v", s.Own)
		}
		for range 8 {
			q, e := between(0, 1.2, "q")*open, between(0, 1.2, "e")*open
			if got, most := s.WithElsewhere(e).HeadAt(q), l.at(q, e); got > most+1e-9*l.static {
				t.Fatalf("%v m at %v with %v elsewhere, the line gives %v (%+v)", got, q, e, most, s)
			}
			if got, most := s.WithElsewhere(e).FlowAt(0), l.open(e); got > most*(1+1e-9)+1e-9*open {
				t.Fatalf("%v open with %v elsewhere, the line gives %v (%+v)", got, e, most, s)
			}
		}
	})
}

// The common part of a line is found when two taps were tested alone and together.
func TestFitSupply_jointTestFindsTheCommonPart(t *testing.T) {
	k := 30 / math.Pow(float64(lpm(25)), assumedExponent)
	for _, share := range []float64{0, 0.1, 0.4, 0.8, 1} {
		l := twoTaps{static: 30, common: share * k, own: (1 - share) * k, n: assumedExponent}
		e := float64(lpm(12))
		s, a, err := FitSupply([]FlowTest{{Kind: StaticTest, Head: 30}, l.bucket(0), l.bucket(e)}, FitOptions{})
		if err != nil || has(a, AssumedOthersOpen) {
			t.Fatal(err, a.List)
		}
		if math.Abs(1-s.Own-share) > 1e-9 {
			t.Errorf("shared %v, want %v", 1-s.Own, share)
		}
		for _, q := range []float64{0, 1e-5, 1e-4, 3e-4} {
			read := s.WithElsewhere(e / 2)
			if got, want := read.HeadAt(q), l.at(q, e/2); math.Abs(got-want) > 1e-9*30 {
				t.Errorf("share %v: %v m at %v, want %v", share, got, q, want)
			}
			if h := read.HeadAt(q); q > 0 && h > 0 {
				near(t, "inverse", read.FlowAt(h), q, 1e-9)
			}
			head, slope := read.offered(q)
			near(t, "offered", head, read.HeadAt(q), 1e-12)
			if q > 0 {
				near(t, "slope", slope, (read.HeadAt(q+1e-9)-read.HeadAt(q))/1e-9, 1e-3)
			}
		}
	}
	// Pressures of an idle tap: the loss is all in the common part.
	l := twoTaps{static: 30, common: 0.4 * k, own: 0.6 * k, n: assumedExponent}
	e := float64(lpm(12))
	s, _, err := FitSupply([]FlowTest{{Kind: StaticTest, Head: 30}, l.bucket(0), {Kind: StaticTest, Head: unit.Head(l.at(0, e)), Other: unit.Flow(e)}}, FitOptions{})
	if err != nil || math.Abs(s.Own-0.6) > 1e-9 {
		t.Errorf("own share %v, %v", s.Own, err)
	}
}

// A pressure read while others draw is no static head, but better than none.
func TestFitSupply_staticOfALineInUse(t *testing.T) {
	tests := []FlowTest{{Kind: StaticTest, Head: 25, Other: lpm(10)}, {Kind: ResidualTest, Head: 20, Flow: lpm(12)}}
	s, a, err := FitSupply(tests, FitOptions{})
	if err != nil || s.Static != 25 || !has(a, AssumedStatic) {
		t.Errorf("static %v, %+v, %v", s.Static, a.List, err)
	}
	tests[1].Head = 28 // with the neighbours quiet there was more
	if s, _, err = FitSupply(tests, FitOptions{}); err != nil || !(s.Static > 28) {
		t.Errorf("static %v, %v", s.Static, err)
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
