package hydraulics

import (
	"fmt"
	"math"
	"slices"

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
	Timed     bool      // TimeOfDay was noted
	Other     unit.Flow // drawn at other outlets of the line meanwhile; 0 when this one was tested alone
}

// TestHose is the hose a bucket was filled through.
type TestHose struct {
	Length, Diameter unit.Length
	Rise             unit.Length // its open end above the source's outlet
}

// FitOptions narrows a fit.
type FitOptions struct {
	// Hours are the stretches of the day in which the source is to run; none takes the tests of all hours alike. Line
	// pressure differs between dawn and dusk.
	Hours []DayHours
	// MaxFlow is a limit from elsewhere, such as the service line's; 0 for none.
	MaxFlow unit.Flow
}

// DayHours is a stretch of the day, in minutes after midnight; From after To is one over midnight.
type DayHours struct{ From, To unit.Minutes }

// comparableWithin is how far outside a stretch of hours a test may lie and still tell of it [min]: demand on a public
// line rises and falls over a few hours, and people test before the watering begins. Our choice.
const comparableWithin = 60

// tells says whether a test was made in the hours or close to them.
func (h DayHours) tells(t *FlowTest) bool {
	const day = 24 * 60
	around := func(v unit.Minutes) float64 { return math.Mod(float64(v)+2*day, day) }
	length := float64(h.To - h.From)
	if length < 0 {
		length += day
	}
	return t.Timed && around(t.TimeOfDay-h.From+comparableWithin) <= length+2*comparableWithin
}

// AssumptionCode names something a fitted supply rests on besides the tests.
type AssumptionCode string

// What a fit may have assumed.
const (
	AssumedStatic       AssumptionCode = "static_assumed"         // Value, Low, High: static head [m]
	AssumedOtherStatic  AssumptionCode = "static_of_other_hours"  // Value, Low, High: static head [m]; High as measured
	AssumedExponent     AssumptionCode = "exponent_assumed"       // Value, Low, High: n
	ClampedExponent     AssumptionCode = "exponent_clamped"       // Value: n used; Low: what the tests gave
	AssumedOtherHours   AssumptionCode = "tests_of_other_hours"   // no test of the hours from Low to High [min after midnight]
	AssumedSwing        AssumptionCode = "pressure_swing_assumed" // Value, Low, High: share of the static head that other hours lack
	AssumedOthersOpen   AssumptionCode = "others_open_in_tests"   // every test had other outlets running; it is taken as alone
	AssumedBeyondTests  AssumptionCode = "flow_beyond_tests"      // Value: largest flow tested [L/min]
	AssumedSeveralReads AssumptionCode = "several_readings_worst" // more tests than the curve has constants: the worst holds

	// What a source may rest on besides its fit.
	DrawnElsewhere      AssumptionCode = "drawn_elsewhere"          // Value: at other outlets of the line meanwhile [L/min]
	AssumedAllShared    AssumptionCode = "all_pipes_shared"         // with others: nobody tested this one with others open
	AssumedTankOutlet   AssumptionCode = "tank_outlet_bore_assumed" // Value, Low, High: inside diameter [mm]
	AssumedTankOutletK  AssumptionCode = "tank_outlet_loss_assumed" // Value, Low, High: loss coefficient
	UncountedTankOutlet AssumptionCode = "tank_outlet_not_counted"  // the loss of the outlet is left out
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
	Used      []int // the tests that made the curve, in rising order
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
	// assumedSwing is by how much of the static head a line may give way from the hours of the tests to others. Common
	// practice, no source; from nothing to a quarter is plausible.
	assumedSwing = 0.10
	mostSwing    = 0.25
)

// point is a test brought to the source's outlet.
type point struct {
	flow, other, head float64
}

// FitSupply makes the supply curve of a source from its flow tests: h0 from static tests, k and n from one or more tests
// with a flow. With one such test n is assumed, without a static test h0 is. Where tests disagree the curve runs through
// the worst of them: never optimistic. Faults name the tests they are about as "[i].head_m" and so on.
//
//  1. Hours. A test tells of a stretch of hours when it was made within them or up to an hour before or after. When tests
//     with a flow tell of every stretch, those that tell of one make the curve alone. Otherwise all tests do, the worst of
//     them, and the range goes down to a line that gives way in the untested hours. When no test tells of any stretch, the
//     static head is lowered by an assumed swing of the line's pressure. So is a static head of other hours, or of no noted
//     hour, beside flows of these.
//  2. Other outlets. Of the loss K·Q^n alone, kS·Q^n lies in pipes shared with other outlets of the line. A test at flow Q
//     with E drawn elsewhere shows
//     kS = (h0 - h - K·Q^n) / ((Q+E)^n - Q^n);
//     the largest over the tests holds, within 0 and K, with the smallest K that a test made alone gives. Without a test
//     made alone, K is what the tests give when nothing is shared, and kS what they give when everything is: each the
//     worst of what may be. Without a test with others open everything counts as shared.
func FitSupply(tests []FlowTest, o FitOptions) (Supply, SupplyAssumptions, error) {
	if err := validateTests(tests); err != nil {
		return Supply{}, SupplyAssumptions{}, err
	}
	var a SupplyAssumptions
	f := fit{limit: float64(o.MaxFlow), swing: a.choose(tests, o.Hours)}
	closed := statics(tests, a.Used, false)
	of := -1 // the static test of other hours
	if len(closed) == 0 {
		of, closed = staticsOfOthers(tests, a.Used)
	}
	var err error
	if f.points, err = testPoints(tests, a.Used, closed); err != nil {
		return Supply{}, SupplyAssumptions{}, err
	}
	switch {
	case of >= 0:
		f.static = a.lowerStatic(f.highest(), closed[0])
		a.Used = append(a.Used, of)
		slices.Sort(a.Used)
	case len(closed) == 0:
		f.static = a.assumeStatic(f.highest(), statics(tests, a.Used, true))
	default:
		f.static = closed[0]
	}
	n := a.exponent(f)
	s := f.curve(f.static, n, f.swing)
	a.noteTests(f, s)
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
		c.within(at+".other_flow_l_per_min", t.Other.LitersPerMinute(), 0, 10000)
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

// choose notes which tests make the curve, and returns the share of the static head to take off.
func (a *SupplyAssumptions) choose(tests []FlowTest, hours []DayHours) (swing float64) {
	telling := map[int]bool{}
	untested := 0
	for _, h := range hours {
		flows := false
		for i := range tests {
			if h.tells(&tests[i]) {
				telling[i] = true
				flows = flows || tests[i].Kind != StaticTest
			}
		}
		if !flows {
			untested++
			a.List = append(a.List, Assumption{Code: AssumedOtherHours, Low: float64(h.From), High: float64(h.To)})
		}
	}
	if untested > 0 {
		if untested == len(hours) {
			swing = assumedSwing
		}
		a.List = append(a.List, Assumption{Code: AssumedSwing, Value: swing, High: mostSwing})
	}
	for i := range tests {
		if untested > 0 || len(hours) == 0 || telling[i] {
			a.Used = append(a.Used, i)
		}
	}
	return swing
}

// statics returns the heads of the static tests among some, rising: those with everything closed, or those read while other
// outlets of the line ran.
func statics(tests []FlowTest, of []int, inUse bool) []float64 {
	var heads []float64
	for _, i := range of {
		if t := &tests[i]; t.Kind == StaticTest && t.Other > 0 == inUse {
			heads = append(heads, float64(t.Head))
		}
	}
	slices.Sort(heads)
	return heads
}

// staticsOfOthers returns the static heads with everything closed of tests that are not used, and the test of the least;
// -1 for none.
func staticsOfOthers(tests []FlowTest, used []int) (least int, heads []float64) {
	least = -1
	var others []int
	for i := range tests {
		t := &tests[i]
		if t.Kind != StaticTest || t.Other > 0 || slices.Contains(used, i) {
			continue
		}
		if others = append(others, i); least < 0 || t.Head < tests[least].Head {
			least = i
		}
	}
	return least, statics(tests, others, false)
}

// lowerStatic takes the swing of the line's pressure off a static head of other hours than the flows. It stays above the
// highest head that was seen with water running.
func (a *SupplyAssumptions) lowerStatic(seen, measured float64) float64 {
	lowered := func(swing float64) float64 { return math.Min(measured, math.Max((1-swing)*measured, 1.1*seen)) }
	a.List = append(a.List, Assumption{Code: AssumedOtherStatic, Value: lowered(assumedSwing), Low: lowered(mostSwing), High: measured})
	return lowered(assumedSwing)
}

// testPoints brings each test that tells of a loss to the source's outlet, over the least static head. A head that lies
// above it was read at an hour of more pressure: its loss counts from the least static head above it.
func testPoints(tests []FlowTest, chosen []int, closed []float64) ([]point, error) {
	var c checker
	var points []point
	for _, i := range chosen {
		t := &tests[i]
		p := point{flow: float64(t.MeasuredFlow()), other: float64(t.Other), head: float64(t.Head)}
		code, field := FaultNotUnderStatic, "head_m"
		if t.Kind == BucketTest {
			p.head = t.Hose.headNeeded(p.flow)
			code, field = FaultHoseTakesAll, "hose.length_m"
		}
		above := slices.IndexFunc(closed, func(h float64) bool { return h > p.head })
		switch {
		case t.Kind == StaticTest && (p.other == 0 || above < 0):
			continue // tells of no loss
		case len(closed) > 0 && above < 0:
			c.limit(fmt.Sprintf("[%d].%s", i, field), code, p.head, 0, closed[len(closed)-1])
			continue
		case above > 0:
			p.head -= closed[above] - closed[0]
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

// assumeStatic returns a static head for tests that lack one: the lowest seen while other outlets ran, else the usual; in
// any case a little above the highest head that was seen with water running.
func (a *SupplyAssumptions) assumeStatic(seen float64, inUse []float64) float64 {
	atLeast := func(head float64) float64 { return math.Max(head, 1.1*seen) }
	x := Assumption{
		Code: AssumedStatic, Value: atLeast(float64(unit.PSI(assumedStaticPSI))),
		Low: atLeast(float64(unit.PSI(lowStaticPSI))), High: atLeast(float64(unit.PSI(highStaticPSI))),
	}
	if len(inUse) > 0 {
		x.Value, x.Low, x.High = atLeast(inUse[0]), atLeast(inUse[0]), math.Max(atLeast(inUse[0]), x.High)
	}
	a.List = append(a.List, x)
	return x.Value
}

// fit is the data of a curve.
type fit struct {
	static float64
	swing  float64 // share of the static head that is taken off for hours without tests
	points []point
	limit  float64
}

// exponent returns n: from two points h0 - h = k·Q^n it is ln((h0-h1)/(h0-h2))/ln(Q1/Q2), from more the straight line
// of least squares through the logarithms. Tests with other outlets open say nothing of n, nor do readings that only
// repeat another.
func (a *SupplyAssumptions) exponent(f fit) float64 {
	points, several := f.distinct()
	m := float64(len(points))
	var sx, sy, sxx, sxy float64
	for _, p := range points {
		x, y := math.Log(p.flow), math.Log(f.static-p.head)
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	if several {
		a.List = append(a.List, Assumption{Code: AssumedSeveralReads})
	}
	if m < 2 {
		a.List = append(a.List, Assumption{
			Code: AssumedExponent, Value: assumedExponent, Low: lowExponent, High: highExponent,
		})
		return assumedExponent
	}
	n := (sxy - sx*sy/m) / (sxx - sx*sx/m)
	clamped := math.Max(leastFittedExponent, math.Min(mostFittedExponent, n))
	if clamped != n {
		a.List = append(a.List, Assumption{Code: ClampedExponent, Value: clamped, Low: n, High: n})
	}
	return clamped
}

// repeats is how far apart two readings of a flow or a loss must be to tell of the exponent, as a share: a bucket and a
// watch are no better than a few per cent.
const repeats = 0.02

// distinct returns the worst of the readings that repeat each other, of those made alone, and whether there are more
// readings than a curve needs.
func (f fit) distinct() (points []point, several bool) {
	alone := 0
	for _, p := range f.points {
		if p.other > 0 {
			continue
		}
		alone++
		same := slices.IndexFunc(points, func(q point) bool {
			return math.Abs(math.Log(p.flow/q.flow)) < repeats || math.Abs(math.Log((f.static-p.head)/(f.static-q.head))) < repeats
		})
		switch {
		case same < 0:
			points = append(points, p)
		case p.flow <= points[same].flow && p.head <= points[same].head:
			points[same] = p
		}
	}
	return points, alone > 2
}

// curve returns the curve with static head and exponent that passes no test on the favourable side, lowered by a swing.
func (f fit) curve(static, n, swing float64) Supply {
	s := Supply{Static: static * (1 - swing), Exponent: n}
	k, shared := f.losses(static, n)
	s.Coefficient, s.Own = k, 1-shared/k
	s.MaxFlow = math.Pow(s.Static/k, 1/n)
	if f.limit > 0 {
		s.MaxFlow = math.Min(s.MaxFlow, f.limit)
	}
	return s
}

// losses returns the loss coefficient of the outlet alone, and the part of it in pipes that it shares.
func (f fit) losses(static, n float64) (k, shared float64) {
	least := math.Inf(1) // that a test made alone gives
	var none, all float64
	joint := false
	for _, p := range f.points {
		loss := static - p.head
		whole := loss / math.Pow(p.flow+p.other, n)
		if k = math.Max(k, whole); p.other == 0 {
			least = math.Min(least, whole)
			continue
		}
		joint = true
		all = math.Max(all, whole)
		if p.flow > 0 {
			none = math.Max(none, loss/math.Pow(p.flow, n))
		}
	}
	switch {
	case !joint:
		return k, k
	case math.IsInf(least, 1):
		k = math.Max(none, all)
		return k, all
	}
	for _, p := range f.points {
		if own := math.Pow(p.flow, n); p.other > 0 {
			shared = math.Max(shared, (static-p.head-least*own)/(math.Pow(p.flow+p.other, n)-own))
		}
	}
	return k, math.Min(k, shared)
}

// bounds returns the curves at the ends of what was assumed. All pass the worst test, so they cross there; they are told
// apart by the flow they give half way up to the static head, where layouts that take less than the test did work.
func (f fit) bounds(list []Assumption, s Supply) (low, high Supply) {
	statics, exponents, swings := []float64{f.static}, []float64{s.Exponent}, []float64{f.swing}
	for _, a := range list {
		switch a.Code {
		case AssumedStatic, AssumedOtherStatic:
			statics = append(statics, a.Low, a.High)
		case AssumedExponent:
			exponents = append(exponents, a.Low, a.High)
		case AssumedSwing:
			swings = append(swings, a.Low, a.High)
		default:
		}
	}
	low, high = s, s
	level := (s.Static + s.HeadAt(f.most())) / 2
	for _, static := range statics {
		for _, n := range exponents {
			for _, swing := range swings {
				c := f.curve(static, n, swing)
				if c.FlowAt(level) < low.FlowAt(level) {
					low = c
				}
				if c.FlowAt(level) > high.FlowAt(level) {
					high = c
				}
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

// highest returns the highest head seen while water ran.
func (f fit) highest() float64 {
	seen := 0.0
	for _, p := range f.points {
		seen = math.Max(seen, p.head)
	}
	return seen
}

// noteTests records how the tests were taken.
func (a *SupplyAssumptions) noteTests(f fit, s Supply) {
	if !slices.ContainsFunc(f.points, func(p point) bool { return p.other == 0 }) {
		a.List = append(a.List, Assumption{Code: AssumedOthersOpen})
	}
	if most := f.most(); s.MaxFlow > 1.25*most {
		a.List = append(a.List, Assumption{
			Code: AssumedBeyondTests, Value: unit.Flow(most).LitersPerMinute(), High: unit.Flow(s.MaxFlow).LitersPerMinute(),
		})
	}
}
