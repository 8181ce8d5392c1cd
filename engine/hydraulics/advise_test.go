package hydraulics

import (
	"errors"
	"math"
	"slices"
	"testing"

	"rillturn.example/rillturn/engine/unit"
)

func TestAssess_ranksWhatMatters(t *testing.T) {
	barrel := Tank{Level: 0.5}.Supply()
	a, err := Assess(bedLayout(3), DefaultOptions(), barrel, SupplyAssumptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.IsSortedFunc(a.Sensitivities, func(x, y Sensitivity) int {
		if x.Effect > y.Effect {
			return -1
		}
		return 0
	}) {
		t.Errorf("not ranked: %+v", a.Sensitivities)
	}
	level, ok := a.Find(VaryLevel)
	if !ok {
		t.Fatal("level was not measured and not varied")
	}
	least, most := level.DistributionRange(a.Outcome)
	if !(least < a.Outcome.Distribution && a.Outcome.Distribution <= most) {
		t.Errorf("DU %v in %v to %v", a.Outcome.Distribution, least, most)
	}
	// At a few tenths of a metre level is among the three that matter most.
	if top := a.Sensitivities[:3]; !slices.ContainsFunc(top, func(s Sensitivity) bool { return s.Code == VaryLevel }) {
		t.Errorf("level is not among the first three: %+v", top)
	}
	cd, ok := a.Find(VaryCoefficient)
	if !ok || cd.AtLow.Flow >= cd.AtHigh.Flow {
		t.Errorf("Cd: %+v", cd)
	}
	// A level that was measured is not varied; a fitted supply with assumptions is.
	known := bedLayout(3)
	known.Manifold.RiseKnown = true
	for i := range known.Manifold.Outlets {
		known.Manifold.Outlets[i].Lateral.RiseKnown = true
	}
	s, assumed, err := FitSupply([]FlowTest{{Kind: BucketTest, Flow: lpm(25)}}, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	a, err = Assess(known, DefaultOptions(), s, assumed)
	if err != nil {
		t.Fatal(err)
	}
	if x, _ := a.Find(VaryLevel); x.AtLow != x.AtHigh {
		t.Errorf("measured level varied: %+v", x)
	}
	if _, ok := a.Find(VarySupply); !ok {
		t.Error("supply was not varied")
	}
	if known.Manifold.Outlets[0].Lateral.Pieces[0].Pattern.DischargeCoefficient != DefaultDischargeCoefficient {
		t.Error("the layout was changed")
	}
}

// On the spigot of the tests the manifold head falls with the square of the holes open, so the wish ends the count.
func TestHowMany(t *testing.T) {
	wish := Wish{Head: 0.1, Distribution: 0.8}
	n, err := MostLaterals(goodSpigot(), bedLayout(2), DefaultOptions(), wish)
	if err != nil || n.Count < 2 || n.Count > 20 || n.AtLimit || n.Result.leastHead() < 0.1 {
		t.Fatalf("%d laterals, %v", n.Count, err)
	}
	more := bedLayout(n.Count + 1)
	more.Manifold.Length = bedLayout(2).Manifold.Length
	for i := range more.Manifold.Outlets {
		more.Manifold.Outlets[i].At = unit.Length((float64(i) + 0.5) / float64(n.Count+1) * float64(more.Manifold.Length))
	}
	more.Manifold.FeedAt = bedLayout(2).Manifold.FeedAt
	if r, _, err := alone(goodSpigot(), more, DefaultOptions()); err != nil || wish.granted(&r) {
		t.Errorf("one more lateral still has %v m (%v)", r.leastHead(), err)
	}
	c := mustCompile(t, bedLayout(1))
	layouts, err := MostLayouts(goodSpigot(), c, wish)
	if err != nil || layouts.Count < 2 {
		t.Errorf("%d layouts, %v", layouts.Count, err)
	}
	sets, err := MostHoleSets(goodSpigot(), bedLayout(1), DefaultOptions(), wish)
	if err != nil || sets.Count < 60 || sets.Count > 400 {
		t.Errorf("%d hole sets, %v", sets.Count, err)
	}
	if none, err := MostLayouts(goodSpigot(), c, Wish{Head: 40}); err != nil || none.Count != 0 {
		t.Errorf("%d layouts at 40 m, %v", none.Count, err)
	}
}

func TestValveFor_leavesTheWishedHead(t *testing.T) {
	l := bedLayout(2)
	k, err := ValveFor(goodSpigot(), l, DefaultOptions(), 0.3)
	if err != nil {
		t.Fatal(err)
	}
	l.Feed.ValveK = k
	c := mustCompile(t, l)
	op, err := Operate(goodSpigot(), []HeadFlow{c})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "manifold head", float64(c.Solve(unit.Head(op.Head)).ManifoldHead), 0.3, 1e-3)
	var over HeadError
	if _, err := ValveFor(goodSpigot(), l, DefaultOptions(), 5); !errors.As(err, &over) || over.Most <= 0.3 || over.Most >= 5 {
		t.Errorf("5 m wished: %v", err)
	}
	pipe, err := StandpipeFor(goodSpigot(), c)
	if err != nil || math.Abs(float64(pipe.Running)-0.3) > 1e-3 || pipe.Shut != 31.6 {
		t.Errorf("standpipe %+v, %v", pipe, err)
	}
}

func TestHoleSetResult_fillSeconds(t *testing.T) {
	// Arithmetic: 100 mL at 19.57 L/h takes 18.4 s; two holes of a set give half each.
	s := HoleSetResult{Open: 2, Flow: 2 * unit.LitersPerHour(19.57)}
	seconds, ok := s.FillSeconds(unit.Liters(0.1))
	if !ok {
		t.Fatal("runs")
	}
	near(t, "seconds", seconds, 18.395, 1e-4)
	if _, ok := (HoleSetResult{Open: 1}).FillSeconds(1); ok {
		t.Error("a dry hole fills nothing")
	}
}

func TestPatternFor_comesNearest(t *testing.T) {
	base := HolePattern{Sides: 1, Facing: FacingUp, DischargeCoefficient: 0.62}
	drills := []unit.Length{unit.Inches(1.0 / 16), unit.Inches(5.0 / 64)}
	spacings := []unit.Length{0.1, 0.15, 0.3}
	// Arithmetic: ten 1/16 in holes at 1 m give 195.7 L/h.
	c, ok := PatternFor(unit.LitersPerHour(195.7), 3, 1, base, drills, spacings, []int{1, 2})
	if !ok || c.Pattern.Sets(3)*c.Pattern.HolesPerSet != 10 || c.Pattern.HoleDiameter != drills[0] {
		t.Errorf("%+v", c)
	}
	near(t, "flow", c.Flow.LitersPerHour(), 195.65, 1e-3)
	if _, ok := PatternFor(1, 0.01, 1, base, drills, spacings, []int{1}); ok {
		t.Error("nothing fits on 1 cm")
	}
}

func TestOutletsToPlug(t *testing.T) {
	l := bedLayout(6)
	wish := Wish{Head: 0.15}
	plug, r, ok, err := OutletsToPlug(goodSpigot(), l, DefaultOptions(), wish)
	if err != nil || !ok || len(plug) == 0 || len(plug) >= 6 || len(r.Laterals)+len(plug) != 6 || r.leastHead() < 0.15 {
		t.Errorf("plug %v, least head %v, %v %v", plug, r.leastHead(), ok, err)
	}
	if _, _, ok, err := OutletsToPlug(goodSpigot(), l, DefaultOptions(), Wish{Head: 30}); ok || err != nil {
		t.Errorf("30 m at a hole: %v, %v", ok, err)
	}
	if plug, _, ok, err := OutletsToPlug(goodSpigot(), bedLayout(1), DefaultOptions(), wish); !ok || len(plug) != 0 || err != nil {
		t.Errorf("nothing to plug: %v", plug)
	}
}

func TestOpenHoseBeside_takesFromTheZone(t *testing.T) {
	zone := []HeadFlow{mustCompile(t, bedLayout(2))}
	e, err := OpenHoseBeside(goodSpigot(), zone, TestHose{Length: 15, Diameter: unit.Inches(0.625)})
	if err != nil {
		t.Fatal(err)
	}
	if len(e.With.Flows) != 2 || e.With.Flows[0] >= e.Without.Flows[0] || e.With.Flows[1] <= 0 || e.With.Head >= e.Without.Head {
		t.Errorf("%+v", e)
	}
}

func TestEstimatePlugged(t *testing.T) {
	l := bedLayout(5)
	plugEvenly := func(share float64) Layout {
		p := clone(l)
		for i := range p.Manifold.Outlets {
			lateral := p.Manifold.Outlets[i].Lateral
			for s := 0.0; s < 60*share; s++ {
				lateral.Plugged = append(lateral.Plugged, PluggedHoles{0, int(s / share), 1})
			}
		}
		return p
	}
	measure := func(l Layout, s Supply) Measurement {
		c := mustCompile(t, l)
		op, err := Operate(s, []HeadFlow{c})
		if err != nil {
			t.Fatal(err)
		}
		return Measurement{Flow: unit.Flow(op.Total), FlowError: 0.02, Head: c.Solve(unit.Head(op.Head)).ManifoldHead, HeadError: 0.003}
	}
	m := measure(plugEvenly(0.2), goodSpigot())
	got, err := EstimatePlugged(l, DefaultOptions(), goodSpigot(), m)
	if err != nil || got.Least > 0.2 || got.Most < 0.2 || got.Least < 0.05 || got.Most > 0.45 {
		t.Errorf("a fifth plugged: %+v, %v", got, err)
	}
	// A spigot's flow alone can't tell: the manifold head would. A barrel's flow can.
	m.Head = 0
	var more MeasureMore
	if _, err := EstimatePlugged(l, DefaultOptions(), goodSpigot(), m); !errors.As(err, &more) || more.Needed != "head_m" {
		t.Errorf("flow alone on a spigot: %v", err)
	}
	barrel := Tank{Level: 0.6}.Supply()
	l = bedLayout(2)
	l.Feed.HoseLength, l.Feed.HoseDiameter = 2, unit.Inches(1)
	m = measure(plugEvenly(0.2), barrel)
	m.Head = 0
	if got, err := EstimatePlugged(l, DefaultOptions(), barrel, m); err != nil || got.Least > 0.2 || got.Most < 0.2 {
		t.Errorf("flow alone on a barrel: %+v, %v", got, err)
	}
	// More conductance than clean is a leak.
	l = bedLayout(5)
	m = measure(l, goodSpigot())
	m.Flow *= 1.2
	if got, err := EstimatePlugged(l, DefaultOptions(), goodSpigot(), m); err != nil || got.Least >= 0 || got.Most >= 0 {
		t.Errorf("leak: %+v, %v", got, err)
	}
	if _, err := EstimatePlugged(l, DefaultOptions(), goodSpigot(), Measurement{Head: 0.1}); !errors.As(err, &more) || more.Needed != "flow_l_per_min" {
		t.Errorf("no flow: %v", err)
	}
}
