package hydraulics

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/unit"
)

func warned(w []Warning, code WarningCode) (Warning, bool) {
	for _, x := range w {
		if x.Code == code {
			return x, true
		}
	}
	return Warning{}, false
}

// The laminar factor taken literally up to Re 2040 and Colebrook from there would jump by 1.57.
func TestTrap_frictionLawHasNoJump(t *testing.T) {
	c := newConduit(newWater(DarcyWeisbach, 20), 1, 0.0158, 1.5e-6, 0)
	jump, _ := colebrook(laminarLimit, c.relative)
	near(t, "the jump there would be", jump/(64.0/laminarLimit), 1.57, 0.01)
	before := 0.0
	for re := 1900.0; re <= 2300; re += 0.25 {
		h, _ := c.loss(re / c.reynolds)
		if h <= before || (before > 0 && h > before*1.01) {
			t.Fatalf("Re %v: loss %v after %v", re, h, before)
		}
		before = h
	}
	// Every inlet head has a flow: heads inside the would-be jump too.
	l := bedLayout(1)
	l.Manifold.Outlets[0].Lateral.Pieces[0].Pattern.Count = 1
	chain := &mustCompile(t, l).laterals[0].lateral.chain
	for h := 0.01; h < 100; h *= 1.05 {
		s := chain.settle(request{target: h, tolerance: fineTolerance})
		if m := chain.march(s.end, nil, nil); s.dead != nil || math.Abs(m.head-h) > 1e-9*h {
			t.Fatalf("inlet head %v: march gives %v", h, m.head)
		}
	}
}

func TestTrap_dryUphillEndIsExact(t *testing.T) {
	l := bedLayout(1)
	l.Manifold.Outlets[0].Lateral.Rise = 0.5
	r := mustCompile(t, l).Solve(0.25)
	if r.DryHoles == 0 || r.DryHoles == r.OpenHoles {
		t.Fatalf("%d of %d holes dry", r.DryHoles, r.OpenHoles)
	}
	lateral := &r.Laterals[0]
	if w, ok := warned(r.Warnings, WarnDryEnd); !ok || w.Value <= 0 || w.Value >= 9.144 || w.Count != r.DryHoles || w.Limit != float64(r.OpenHoles) {
		t.Errorf("warning %+v", w)
	}
	if _, ok := warned(r.Warnings, WarnPartFull); ok {
		t.Error("standing water uphill is not part full")
	}
	// Standing water is level: behind the last wet hole the piezometric head is constant.
	level := math.NaN()
	for _, s := range lateral.Sets {
		if s.Flow == 0 {
			at := float64(s.Head + unit.Head(s.Height))
			if !math.IsNaN(level) && math.Abs(at-level) > 1e-12 {
				t.Fatalf("water level %v and %v behind the last wet hole", level, at)
			}
			level = at
		}
	}
	if r.Residuals.Mass > 1e-9 || r.Residuals.Energy > 1e-9 {
		t.Errorf("residuals %+v", r.Residuals)
	}
}

// A half-inch lateral of 150 ft at 20 mm: all end heads below 1e-12 m belong to nearly the same inlet head, and a march
// with an ordinary tolerance loses the whole flow.
func TestTrap_deadFarEndIsSolvedByNewton(t *testing.T) {
	l := bedLayout(1)
	p := &l.Manifold.Outlets[0].Lateral.Pieces[0]
	p.Pipe, p.Length = Pipe{Size: "1/2", Wall: "schedule 40"}, 45.72
	c := mustCompile(t, l)
	chain := &c.laterals[0].lateral.chain
	if m := chain.march(1e-12, nil, nil); m.head < 0.02 {
		t.Fatalf("an end head of 1e-12 m gives %v m at the tee: no trap", m.head)
	}
	s := chain.settle(request{target: 0.02, tolerance: fineTolerance})
	if s.dead == nil || s.flow <= 0 {
		t.Fatalf("settled %+v", s)
	}
	// Another way to the same answer: drop nodes from the closed end until the march reaches.
	other := chain.startEarlier(request{target: 0.02})
	near(t, "flow by the shortened march", s.flow, other.flow, 1e-6)
	var r Residuals
	chain.check(s.dead, 0.02, s.flow, &r)
	if r.Mass > 1e-9 || r.Energy > 1e-9 {
		t.Errorf("residuals %+v", r)
	}
	whole := c.Solve(0.03)
	if !whole.Laterals[0].DeadEnd {
		t.Error("the result does not say so")
	}
	if _, ok := warned(whole.Warnings, WarnStarvedEnd); !ok {
		t.Errorf("warnings %+v", whole.Warnings)
	}
	// Slope from the eliminated equations against differences.
	up, down := chain.settle(request{target: 0.020001}), chain.settle(request{target: 0.019999})
	near(t, "dQ/dh", s.slope, (up.flow-down.flow)/2e-6, 1e-3)
}

func TestTrap_newtonMeetsTheMarchWhereBothWork(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := compile(t, gardens{oneLateral: true}.draw(t), DefaultOptions())
		chain := &c.laterals[0].lateral.chain
		r := request{target: chain.dry + drawHead(t), tolerance: fineTolerance}
		march, ok := chain.search(r)
		if !ok {
			return // dead end
		}
		dead := chain.settleDeadEnd(r)
		if math.Abs(dead.flow-march.flow) > 1e-5*march.flow {
			t.Fatalf("march %v, Newton %v", march.flow, dead.flow)
		}
	})
}

// On a slope the start of every hole is a kink, which a curve of some points can't follow: near drying it is off by per
// cents. What is shown comes from marches, so it satisfies the equations there too.
func TestTrap_curveAgainstMarchNearDryingOnASlope(t *testing.T) {
	l := bedLayout(1)
	l.Manifold.Outlets[0].Lateral.Rise = 0.3
	c := mustCompile(t, l)
	dry, worst, before := c.Table().Head[0], 0.0, 0.0
	for h := dry + 2e-4; h < dry+0.3; h += 2e-3 {
		r := c.Solve(unit.Head(h))
		if r.Residuals.Mass > 1e-9 || r.Residuals.Energy > 1e-9 {
			t.Fatalf("at %v m: %+v", h, r.Residuals)
		}
		want := c.exactly(held(h)).flow
		near(t, "flow by the exact search", float64(r.Flow), want, 1e-9)
		near(t, "FlowAt", c.FlowAt(h), want, 1e-9)
		if want <= before {
			t.Fatalf("at %v m: flow %v after %v", h, want, before)
		}
		before, worst = want, math.Max(worst, math.Abs(c.Table().FlowAt(h)/want-1))
	}
	if worst < 0.005 {
		t.Errorf("the curve is off by %v at most: no trap", worst)
	}
	s := Supply{Static: dry + 0.05, Coefficient: 1e6, Exponent: 2, MaxFlow: math.Inf(1)}
	r, err := SolveOn(s, c)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "supply curve at the flow shown", s.HeadAt(float64(r.Flow)), float64(r.SourceHead), 1e-9)
	if r.DryHoles == 0 || r.DryHoles == r.OpenHoles {
		t.Errorf("%d of %d holes dry", r.DryHoles, r.OpenHoles)
	}
}

func TestTrap_partFullDownhillIsSaid(t *testing.T) {
	l := bedLayout(1)
	l.Manifold.Outlets[0].Lateral.Rise = -0.6
	r := mustCompile(t, l).Solve(0.004)
	w, ok := warned(r.Warnings, WarnPartFull)
	if !ok || w.Count == 0 || w.Value > 0 {
		t.Errorf("flow %v, warnings %+v", r.Flow, r.Warnings)
	}
	if r.Flow <= 0 {
		t.Error("the lower holes run")
	}
}

func TestTrap_headsUnder30mmAreLabelled(t *testing.T) {
	c := mustCompile(t, bedLayout(5))
	low := c.Solve(0.05)
	w, ok := warned(low.Warnings, WarnLowHead)
	if !ok || w.Limit != ReliableHead || w.Value >= ReliableHead || w.Count == 0 {
		t.Errorf("warnings %+v", low.Warnings)
	}
	if _, ok := warned(c.Solve(20).Warnings, WarnLowHead); ok {
		t.Error("warned at 20 m")
	}
}

// 3.048/0.1524 is not 20 in binary floating point.
func TestTrap_countingHoles(t *testing.T) {
	for _, c := range []struct {
		length, spacing, first float64
		want                   int
	}{
		{3.048, 0.1524, 0, 21},
		{3.048, 0.1524, 0.1524, 20},
		{3.048, 0.1524, 0.0762, 20},
		{9.144, 0.1524, 0.1524, 60},
		{6.096, 0.3048, 0.3048, 20},
		{0.3, 0.1, 0.1, 3},
		{1, 0.3, 2, 0},
		{1, 0.3, 1, 1},
	} {
		p := HolePattern{Spacing: unit.Length(c.spacing), FirstOffset: unit.Length(c.first)}
		if got := p.Sets(unit.Length(c.length)); got != c.want {
			t.Errorf("%v m, every %v from %v: %d sets, want %d", c.length, c.spacing, c.first, got, c.want)
		}
	}
	if got := (&HolePattern{Count: 7, Spacing: 0.1}).Sets(1); got != 7 {
		t.Errorf("explicit count gives %d", got)
	}
}

// A hole exactly on a joint belongs to one piece: twenty sets on three sticks each make sixty.
func TestTrap_holeOnTheJointIsCountedOnce(t *testing.T) {
	stick := *bedLateral()
	one := stick.Pieces[0]
	one.Length = 3.048
	pattern := *one.Pattern
	pattern.FirstOffset = pattern.Spacing
	one.Pattern = &pattern
	stick.Pieces = []Piece{one, one, one}
	if got := stick.OpenHoles(); got != 60 {
		t.Errorf("%d holes, want 60", got)
	}
}

// Tees closer than a millimetre are one cross, also when a third lies within a millimetre of the second but not of the
// first: every lateral is counted once.
func TestTrap_teesAHairApartAreCountedOnce(t *testing.T) {
	l := bedLayout(4)
	for i, at := range []unit.Length{0.1, 0.1008, 0.1015, 0.9} {
		l.Manifold.Outlets[i].At = at
	}
	r := mustCompile(t, l).Solve(10)
	if r.Residuals.Mass > 1e-9 {
		t.Errorf("residuals %+v", r.Residuals)
	}
	if r.Laterals[1].Flow != r.Laterals[2].Flow { // the two nearer the feed
		t.Errorf("a cross gives %v and %v", r.Laterals[1].Flow, r.Laterals[2].Flow)
	}
}

func TestTrap_everythingPlugged(t *testing.T) {
	l := bedLayout(3)
	for i := range l.Manifold.Outlets {
		l.Manifold.Outlets[i].Plugged = true
	}
	c := mustCompile(t, l)
	r := c.Solve(20)
	if r.Flow != 0 || c.FlowAt(20) != 0 || c.Table().FlowAt(20) != 0 || r.Uniformity != (Uniformity{}) {
		t.Errorf("flow %v", r.Flow)
	}
	if _, ok := warned(r.Warnings, WarnNoOpenHoles); !ok {
		t.Errorf("warnings %+v", r.Warnings)
	}
	op, err := Operate(goodSpigot(), []HeadFlow{c})
	if err != nil || op.Head != goodSpigot().Static {
		t.Errorf("operating point %+v, %v", op, err)
	}
	none, err := Operate(goodSpigot(), nil)
	if err != nil || none.Total != 0 {
		t.Errorf("nothing open: %+v, %v", none, err)
	}
}

func TestTrap_sourceBelowTheGarden(t *testing.T) {
	l := bedLayout(2)
	l.Feed.Rise = 3
	op, err := Operate(Tank{Level: 1}.Supply(), []HeadFlow{mustCompile(t, l)})
	if err != nil || op.Total != 0 {
		t.Errorf("operating point %+v, %v", op, err)
	}
}

func TestWarnings_pressureAndPressFit(t *testing.T) {
	l := bedLayout(1)
	l.PressFit = true
	c := mustCompile(t, l)
	if w := c.Hazards(5); len(w) != 0 {
		t.Errorf("at 5 m: %+v", w)
	}
	w, ok := warned(c.Hazards(unit.PSI(45)), WarnPressFit)
	if !ok || w.Limit != PressFitHead {
		t.Errorf("at 45 psi: %+v", w)
	}
	w, ok = warned(c.Hazards(unit.PSI(190)), WarnRating)
	if !ok || w.Path != "manifold.pipe" || w.Value <= w.Limit {
		t.Errorf("at 190 psi: %+v", w)
	}
	l.Manifold.Pipe = Pipe{InsideDiameter: 0.02}
	if _, ok := warned(mustCompile(t, l).Hazards(30), WarnRatingUnknown); !ok {
		t.Error("an unknown pipe has an unknown rating")
	}
	fast := bedLayout(4)
	for i := range fast.Manifold.Outlets {
		fast.Manifold.Outlets[i].Lateral.Pieces[0].Pattern.HolesPerSet = 3
	}
	r := mustCompile(t, fast).Solve(60)
	if w, ok := warned(r.Warnings, WarnVelocity); !ok || w.Value <= MostVelocity {
		t.Errorf("velocity: %+v", r.Warnings)
	}
	if w, ok := warned(r.Warnings, WarnVelocityHead); !ok || w.Value <= MostVelocityHeadShare {
		t.Errorf("velocity head: %+v", r.Warnings)
	}
}

func TestValidate_listsEveryFaultWithItsPath(t *testing.T) {
	l := bedLayout(3)
	l.Feed.ValveK = math.Inf(1)
	l.Manifold.Outlets[0].At = 99
	l.Manifold.Outlets[1].Lateral = nil
	p := l.Manifold.Outlets[2].Lateral
	p.Pieces[0].Pattern.Spacing = unit.Length(math.NaN())
	p.Pieces[0].Pattern.HoleDiameter = unit.Millimeters(9)
	p.Pieces[0].Pattern.Facing = "left"
	p.Pieces[0].Pipe.Size = "7/16"
	var f Faults
	if _, err := Compile(l, DefaultOptions()); !errors.As(err, &f) {
		t.Fatal("compiled")
	}
	got := map[string]FaultCode{}
	for _, x := range f {
		got[x.Path] = x.Code
	}
	want := map[string]FaultCode{
		"feed.valve_k":                                            FaultNotFinite,
		"manifold.outlets[0].at_m":                                FaultBeyondPipe,
		"manifold.outlets[1].lateral":                             FaultMissing,
		"manifold.outlets[2].lateral.pieces[0].pipe.size":         FaultUnknownPipe,
		"manifold.outlets[2].lateral.pieces[0].pattern.spacing_m": FaultNotFinite,
		"manifold.outlets[2].lateral.pieces[0].pattern.facing":    FaultUnknownWord,
	}
	for path, code := range want {
		if got[path] != code {
			t.Errorf("%s: got %q, want %q", path, got[path], code)
		}
	}
	if len(got) != len(want) {
		t.Errorf("faults %v", f)
	}
	if p := f[1].JSONPointer(); p != "/manifold/outlets/0/at_m" {
		t.Errorf("pointer %s", p)
	}
	// Holes past the end, a plugged hole that isn't there, options of the zero value.
	l = bedLayout(1)
	l.Manifold.Outlets[0].Lateral.Pieces[0].Pattern.Count = 61
	if err := l.Validate(); !errors.As(err, &f) || f[0].Code != FaultBeyondPipe || f[0].Most != 60 {
		t.Errorf("61 holes on 60 places: %v", err)
	}
	l = bedLayout(1)
	l.Manifold.Outlets[0].Lateral.Plugged = []PluggedHoles{{0, 60, 1}, {0, 1, 2}, {0, 3, 1}, {0, 3, 1}}
	if err := l.Validate(); !errors.As(err, &f) || len(f) != 3 {
		t.Errorf("plugged holes: %v", err)
	}
	if _, err := Compile(bedLayout(1), Options{}); !errors.As(err, &f) {
		t.Errorf("zero options: %v", err)
	}
}

func FuzzCompile(f *testing.F) {
	f.Add(9.144, 0.1524, 1.5875, 0.62, 0.1, 2.4, 1.2, 3, 1, 0.0)
	f.Add(0.01, 0.005, 0.3, 1.0, -1.0, 0.0, 0.0, 1, 24, 1e7)
	f.Add(math.NaN(), math.Inf(1), -1.0, 2.0, 1e300, 1e-300, 0.0, -5, 0, -1.0)
	f.Fuzz(func(t *testing.T, length, spacing, hole, cd, rise, manifold, feed float64, count, holes int, valve float64) {
		lateral := &Lateral{Rise: unit.Length(rise), Pieces: []Piece{{
			Pipe: Pipe{Size: "1/2", Wall: "schedule 40"}, Length: unit.Length(length),
			Pattern: &HolePattern{
				Spacing: unit.Length(spacing), FirstOffset: unit.Length(spacing / 2), Count: count, HolesPerSet: holes, Sides: 1,
				Facing: FacingUp, HoleDiameter: unit.Millimeters(hole), DischargeCoefficient: cd,
			},
		}}}
		l := Layout{
			Feed: Feed{ValveK: valve, Rise: unit.Length(rise / 3)},
			Manifold: Manifold{
				Pipe: Pipe{Size: "3/4", Wall: "SDR 21"}, Length: unit.Length(manifold), FeedAt: unit.Length(feed),
				Outlets: []Outlet{{Lateral: lateral}, {At: unit.Length(manifold), Lateral: lateral}},
			},
		}
		if l.Validate() == nil && lateral.OpenHoles() > 2000 {
			return // sound, but slow to curve
		}
		c, err := Compile(l, DefaultOptions())
		if err != nil {
			var faults Faults
			if !errors.As(err, &faults) {
				t.Fatalf("untyped error %v", err)
			}
			return
		}
		for _, h := range []float64{-1, 0, 0.02, 1, 50} {
			r := c.Solve(unit.Head(h))
			// A hair above its dry head a layout runs by less than doubles tell heads apart; 4 µL/h is allowed for that.
			lost := r.Residuals.Mass * float64(r.Flow)
			if !(r.Flow >= 0) || math.IsInf(float64(r.Flow), 0) || lost > 1e-8*float64(r.Flow)+1e-12 || r.Residuals.Energy > 1e-8 {
				t.Fatalf("at %v m: flow %v, residuals %+v", h, r.Flow, r.Residuals)
			}
		}
	})
}

// Many outlets on one manifold, begun from a far end at the source's head, drive heads beyond what doubles hold.
func TestSolve_manyOutletsOnOneManifold(t *testing.T) {
	l := bedLayout(100)
	l.Feed = Feed{}
	l.Manifold.Length, l.Manifold.FeedAt = 20, 0
	for i := range l.Manifold.Outlets {
		l.Manifold.Outlets[i].At = 0.2 * unit.Length(i)
		piece := &l.Manifold.Outlets[i].Lateral.Pieces[0]
		piece.Length, piece.Pattern.Spacing, piece.Pattern.FirstOffset = 20+0.001*unit.Length(i%20), 0.1, 0.05
		piece.Pattern.HoleDiameter = unit.Millimeters(1.6)
	}
	r, err := SolveOn(goodSpigot(), mustCompile(t, l))
	if err != nil || r.ManifoldHead <= 0 || r.Flow <= 0 || r.Residuals.Mass > 1e-9 || r.Residuals.Energy > 1e-9 {
		t.Errorf("manifold head %v m, flow %v, residuals %+v, %v", r.ManifoldHead, r.Flow, r.Residuals, err)
	}
}
