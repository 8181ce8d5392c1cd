package hydraulics

import (
	"fmt"
	"math"

	"rillturn.example/rillturn/engine/unit"
)

// FlowTestKind says what a flow test measured.
type FlowTestKind string

// The kinds of flow test.
const (
	StaticTest   FlowTestKind = "static"   // pressure with everything closed
	ResidualTest FlowTestKind = "residual" // pressure left at a flow
	BucketTest   FlowTestKind = "bucket"   // seconds to fill a volume
)

// FlowTest is one measurement at a source. A bucket filled at the end of a hose contains the hose's loss; saying so with
// Hose takes it out again, so that the hose isn't counted twice when a layout brings its own.
type FlowTest struct {
	Kind      FlowTestKind
	Head      unit.Head   // static or residual
	Flow      unit.Flow   // residual; for a bucket 0, or the flow instead of volume and seconds
	Volume    unit.Volume // bucket
	Seconds   float64     // bucket
	Hose      *TestHose   // bucket filled after this hose; nil at the bare outlet
	TimeOfDay unit.Minutes
	Timed     bool // TimeOfDay was noted
	// OthersOpen says that other outlets of the line ran during the test. The point stays at this outlet's own flow: the
	// head was at least what it would have been alone, never more.
	OthersOpen bool
}

// TestHose is the hose a bucket was filled through.
type TestHose struct {
	Length, Diameter unit.Length
	Rise             unit.Length // its open end above the source's outlet
}

// FitOptions narrows a fit.
type FitOptions struct {
	// From and To pick the tests of a time of day [min after midnight]; From == To takes all. Line pressure differs
	// between dawn and dusk.
	From, To unit.Minutes
	// MaxFlow is a limit from elsewhere, such as the service line's; 0 for none.
	MaxFlow unit.Flow
}

// AssumptionCode names something a fitted supply rests on besides the tests.
type AssumptionCode string

// What a fit may have assumed.
const (
	AssumedStatic       AssumptionCode = "static_assumed"         // Value, Low, High: static head [m]
	AssumedExponent     AssumptionCode = "exponent_assumed"       // Value, Low, High: n
	ClampedExponent     AssumptionCode = "exponent_clamped"       // Value: n used; Low: what the tests gave
	AssumedOtherHours   AssumptionCode = "tests_of_other_hours"   // no test of the hours asked for
	AssumedOthersOpen   AssumptionCode = "others_open_in_tests"   // tests with other outlets running, taken as alone
	AssumedBeyondTests  AssumptionCode = "flow_beyond_tests"      // Value: largest flow tested [L/min]
	AssumedSeveralReads AssumptionCode = "several_readings_worst" // more tests than the curve has constants: the worst holds
)

// Assumption is one of them with its numbers.
type Assumption struct {
	Code             AssumptionCode
	Value, Low, High float64
}

// SupplyAssumptions is what a fit rests on. Low and High are the curves at the unfavourable and the favourable end of
// what was assumed, for flows under the tested one; beyond it they change places. Both equal the fit when nothing was
// assumed.
type SupplyAssumptions struct {
	List      []Assumption
	Low, High Supply
}

// What is taken when nobody measured it.
const (
	assumedStaticPSI = 45 // middle of the 30 to 60 psi of municipal supplies (extension slides on drip irrigation design)
	lowStaticPSI     = 30
	highStaticPSI    = 60
	// assumedExponent lies between fittings (2) and smooth pipe (1.75); the plausible range is our choice.
	assumedExponent = 1.85
	lowExponent     = 1.6
	highExponent    = 2.0
	// leastFittedExponent and mostFittedExponent bound what a fit may give: laminar flow is 1, fittings alone are 2, and
	// readings are never better than a few per cent.
	leastFittedExponent = 1.0
	mostFittedExponent  = 2.2
)

// point is a test brought to the source's outlet.
type point struct {
	flow, head float64
	bucket     bool
}

// FitSupply makes the supply curve of a source from its flow tests: h0 from static tests, k and n from one or more tests
// with a flow. With one such test n is assumed, without a static test h0 is. Where tests disagree the curve runs through
// the worst of them: never optimistic. Faults name the tests they are about as "[i].head_m" and so on.
func FitSupply(tests []FlowTest, o FitOptions) (Supply, SupplyAssumptions, error) {
	if err := validateTests(tests); err != nil {
		return Supply{}, SupplyAssumptions{}, err
	}
	var a SupplyAssumptions
	chosen := a.ofHours(tests, o)
	static, known := leastStatic(tests, chosen)
	points, err := testPoints(tests, chosen, static, known)
	if err != nil {
		return Supply{}, SupplyAssumptions{}, err
	}
	if !known {
		static = a.assumeStatic(points)
	}
	f := fit{static: static, points: points, limit: float64(o.MaxFlow)}
	n := a.exponent(f)
	s := f.curve(static, n)
	a.noteTests(tests, chosen, points, s)
	a.Low, a.High = f.bounds(a.List, s)
	return s, a, nil
}

// validateTests refuses numbers that no measurement gives.
func validateTests(tests []FlowTest) error {
	var c checker
	flows := 0
	for i := range tests {
		t, at := &tests[i], fmt.Sprintf("[%d]", i)
		switch t.Kind {
		case StaticTest:
			c.within(at+".head_m", float64(t.Head), 0.02, 150)
		case ResidualTest:
			flows++
			c.within(at+".head_m", float64(t.Head), 0, 150)
			c.within(at+".flow_l_per_min", t.Flow.LitersPerMinute(), 0.1, 1000)
		case BucketTest:
			flows++
			c.bucket(at, t)
		default:
			c.add(at+".kind", FaultUnknownWord)
		}
		if t.Timed {
			c.within(at+".time_of_day_min", float64(t.TimeOfDay), 0, 24*60)
		}
	}
	if flows == 0 {
		c.add("", FaultNoUsableTest)
	}
	return c.err()
}

func (c *checker) bucket(at string, t *FlowTest) {
	if t.Flow != 0 {
		c.within(at+".flow_l_per_min", t.Flow.LitersPerMinute(), 0.1, 1000)
	} else {
		c.within(at+".volume_l", t.Volume.Liters(), 0.1, 2000)
		c.within(at+".seconds", t.Seconds, 1, 7200)
	}
	if t.Hose != nil {
		c.within(at+".hose.length_m", float64(t.Hose.Length), 0, mostHoseLength)
		c.within(at+".hose.diameter_mm", t.Hose.Diameter.Millimeters(), leastBore, mostBore)
		c.within(at+".hose.rise_m", float64(t.Hose.Rise), -mostRise, mostRise)
	}
}

// MeasuredFlow returns the flow of a residual or bucket test.
func (t *FlowTest) MeasuredFlow() unit.Flow {
	if t.Flow != 0 || t.Kind != BucketTest {
		return t.Flow
	}
	return unit.Flow(float64(t.Volume) / t.Seconds)
}

// ofHours returns the indices of the tests to use.
func (a *SupplyAssumptions) ofHours(tests []FlowTest, o FitOptions) []int {
	var all, within []int
	flows := false
	for i := range tests {
		all = append(all, i)
		t := &tests[i]
		inside := o.From <= o.To && t.TimeOfDay >= o.From && t.TimeOfDay <= o.To ||
			o.From > o.To && (t.TimeOfDay >= o.From || t.TimeOfDay <= o.To)
		if t.Timed && inside {
			within = append(within, i)
			flows = flows || t.Kind != StaticTest
		}
	}
	switch {
	case o.From == o.To:
		return all
	case !flows:
		a.List = append(a.List, Assumption{Code: AssumedOtherHours, Low: float64(o.From), High: float64(o.To)})
		return all
	}
	return within
}

// leastStatic returns the lowest static head among the chosen tests, else among all.
func leastStatic(tests []FlowTest, chosen []int) (float64, bool) {
	least := math.Inf(1)
	for _, i := range chosen {
		if tests[i].Kind == StaticTest {
			least = math.Min(least, float64(tests[i].Head))
		}
	}
	if math.IsInf(least, 1) {
		for i := range tests {
			if tests[i].Kind == StaticTest {
				least = math.Min(least, float64(tests[i].Head))
			}
		}
	}
	return least, !math.IsInf(least, 1)
}

// testPoints brings each test with a flow to the source's outlet.
func testPoints(tests []FlowTest, chosen []int, static float64, known bool) ([]point, error) {
	var c checker
	var points []point
	for _, i := range chosen {
		t := &tests[i]
		if t.Kind == StaticTest {
			continue
		}
		p := point{flow: float64(t.MeasuredFlow()), head: float64(t.Head), bucket: t.Kind == BucketTest}
		code, field := FaultNotUnderStatic, "head_m"
		if p.bucket {
			p.head = t.Hose.headNeeded(p.flow)
			code, field = FaultHoseTakesAll, "hose.length_m"
		}
		if known && p.head >= static {
			c.limit(fmt.Sprintf("[%d].%s", i, field), code, p.head, 0, static)
			continue
		}
		points = append(points, p)
	}
	return points, c.err()
}

// hoseExitK counts the jet's velocity head and a sharp entry, as for the open hoses of the Iowa table.
const hoseExitK = 1.5

// headNeeded returns the head [m] at the source's outlet that drives flow q through the hose into the open; 0 without one.
func (h *TestHose) headNeeded(q float64) float64 {
	if h == nil {
		return 0
	}
	o := DefaultOptions()
	c := newConduit(newWater(o.Law, o.WaterTemperature),
		float64(h.Length), float64(h.Diameter), float64(o.HoseRoughness), hoseExitK)
	loss, _ := c.loss(q)
	return loss + float64(h.Rise)
}

// assumeStatic returns a static head for tests that lack one: the usual, or a little above the highest head seen.
func (a *SupplyAssumptions) assumeStatic(points []point) float64 {
	seen := 0.0
	for _, p := range points {
		seen = math.Max(seen, p.head)
	}
	atLeast := func(psi float64) float64 { return math.Max(float64(unit.PSI(psi)), 1.1*seen) }
	static := atLeast(assumedStaticPSI)
	a.List = append(a.List, Assumption{
		Code: AssumedStatic, Value: static, Low: atLeast(lowStaticPSI), High: atLeast(highStaticPSI),
	})
	return static
}

// fit is the data of a curve.
type fit struct {
	static float64
	points []point
	limit  float64
}

// exponent returns n: from two points h0 - h = k·Q^n it is ln((h0-h1)/(h0-h2))/ln(Q1/Q2), from more the straight line
// of least squares through the logarithms.
func (a *SupplyAssumptions) exponent(f fit) float64 {
	var sx, sy, sxx, sxy float64
	for _, p := range f.points {
		x, y := math.Log(p.flow), math.Log(f.static-p.head)
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	m := float64(len(f.points))
	spread := sxx - sx*sx/m
	if m < 2 || spread < 1e-4 { // flows within 1 % tell nothing about n
		a.List = append(a.List, Assumption{
			Code: AssumedExponent, Value: assumedExponent, Low: lowExponent, High: highExponent,
		})
		return assumedExponent
	}
	if m > 2 {
		a.List = append(a.List, Assumption{Code: AssumedSeveralReads, Value: m})
	}
	n := (sxy - sx*sy/m) / spread
	clamped := math.Max(leastFittedExponent, math.Min(mostFittedExponent, n))
	if clamped != n {
		a.List = append(a.List, Assumption{Code: ClampedExponent, Value: clamped, Low: n, High: n})
	}
	return clamped
}

// curve returns the curve with static head and exponent that passes no test on the favourable side.
func (f fit) curve(static, n float64) Supply {
	s := Supply{Static: static, Exponent: n}
	for _, p := range f.points {
		s.Coefficient = math.Max(s.Coefficient, (static-p.head)/math.Pow(p.flow, n))
	}
	s.MaxFlow = math.Pow(static/s.Coefficient, 1/n)
	if f.limit > 0 {
		s.MaxFlow = math.Min(s.MaxFlow, f.limit)
	}
	return s
}

// bounds returns the curves at the ends of what was assumed. All pass the worst test, so they cross there; they are told
// apart by the flow they give half way up to the static head, where layouts that take less than the test did work.
func (f fit) bounds(list []Assumption, s Supply) (low, high Supply) {
	statics, exponents := []float64{s.Static}, []float64{s.Exponent}
	for _, a := range list {
		switch a.Code {
		case AssumedStatic:
			statics = append(statics, a.Low, a.High)
		case AssumedExponent:
			exponents = append(exponents, a.Low, a.High)
		default:
		}
	}
	low, high = s, s
	level := (s.Static + s.HeadAt(f.most())) / 2
	for _, static := range statics {
		for _, n := range exponents {
			c := f.curve(static, n)
			if c.FlowAt(level) < low.FlowAt(level) {
				low = c
			}
			if c.FlowAt(level) > high.FlowAt(level) {
				high = c
			}
		}
	}
	return low, high
}

// most returns the largest flow tested.
func (f fit) most() float64 {
	most := 0.0
	for _, p := range f.points {
		most = math.Max(most, p.flow)
	}
	return most
}

// noteTests records how the tests were taken.
func (a *SupplyAssumptions) noteTests(tests []FlowTest, chosen []int, points []point, s Supply) {
	for _, i := range chosen {
		if tests[i].OthersOpen && tests[i].Kind != StaticTest {
			a.List = append(a.List, Assumption{Code: AssumedOthersOpen})
			break
		}
	}
	most := fit{points: points}.most()
	if s.MaxFlow > 1.25*most {
		a.List = append(a.List, Assumption{
			Code: AssumedBeyondTests, Value: unit.Flow(most).LitersPerMinute(), High: unit.Flow(s.MaxFlow).LitersPerMinute(),
		})
	}
}
