package hydraulics

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/unit"
)

// exact is the agreement asked of laws that hold exactly.
const exact = 1e-9

// gardens draws layouts: some tidy, some starved, some on slopes.
type gardens struct {
	flat       bool // no slopes, holes to the side
	oneLateral bool
}

func (g gardens) draw(t *rapid.T) Layout {
	walls := []Pipe{{Size: "1/2", Wall: "SDR 13.5"}, {Size: "1/2", Wall: "schedule 40"}, {Size: "3/4", Wall: "SDR 21"}}
	l := Layout{
		Feed: Feed{
			HoseLength: unit.Length(rapid.Float64Range(0, 30).Draw(t, "hose")), HoseDiameter: unit.Inches(5.0 / 8),
			FittingsK: rapid.Float64Range(0, 5).Draw(t, "fittings"), ValveK: rapid.SampledFrom([]float64{0, 0, 100, 10000}).Draw(t, "valve"),
		},
		Manifold: Manifold{
			Pipe: rapid.SampledFrom(walls).Draw(t, "manifold"), Length: unit.Length(rapid.Float64Range(0.5, 4).Draw(t, "length")),
			TeeRunK: rapid.SampledFrom([]float64{0, 0.2, 0.9}).Draw(t, "run"), TeeBranchK: rapid.SampledFrom([]float64{0, 1, 2}).Draw(t, "branch"),
		},
	}
	m := &l.Manifold
	m.FeedAt = unit.Length(rapid.Float64Range(0, float64(m.Length)).Draw(t, "feed"))
	if !g.flat {
		l.Feed.Rise = unit.Length(rapid.Float64Range(-0.5, 1).Draw(t, "rise"))
		m.Rise = unit.Length(rapid.Float64Range(-0.1, 0.1).Draw(t, "manifold rise"))
	}
	n := 1
	if !g.oneLateral {
		n = rapid.IntRange(1, 5).Draw(t, "laterals")
	}
	for range n {
		o := Outlet{At: unit.Length(rapid.Float64Range(0, float64(m.Length)).Draw(t, "at"))}
		o.Lateral = g.lateral(t, walls)
		m.Outlets = append(m.Outlets, o)
	}
	return l
}

func (g gardens) lateral(t *rapid.T, walls []Pipe) *Lateral {
	l := &Lateral{JointK: rapid.SampledFrom([]float64{0, 0.3}).Draw(t, "joint")}
	for range rapid.IntRange(1, 3).Draw(t, "pieces") {
		p := Piece{Pipe: rapid.SampledFrom(walls).Draw(t, "pipe"), Length: unit.Length(rapid.Float64Range(0.5, 6).Draw(t, "piece"))}
		p.Pattern = &HolePattern{
			Spacing: unit.Length(rapid.SampledFrom([]float64{0.1016, 0.1524, 0.3048}).Draw(t, "spacing")), FirstOffset: 0.05,
			HolesPerSet: rapid.IntRange(1, 3).Draw(t, "holes"), Sides: 1, Facing: FacingSide,
			HoleDiameter:         unit.Inches(rapid.SampledFrom([]float64{1.0 / 16, 5.0 / 64}).Draw(t, "diameter")),
			DischargeCoefficient: rapid.Float64Range(0.59, 0.86).Draw(t, "Cd"),
		}
		if !g.flat {
			p.Pattern.Facing = rapid.SampledFrom([]Facing{FacingUp, FacingSide, FacingDown}).Draw(t, "facing")
		}
		l.Pieces = append(l.Pieces, p)
	}
	if !g.flat {
		l.Rise = unit.Length(rapid.Float64Range(-0.04, 0.04).Draw(t, "slope")) * l.Length()
	}
	return l
}

func compile(t *rapid.T, l Layout, o Options) *Compiled {
	c, err := Compile(l, o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// heads spans a throttled barrel to a mains spigot.
func drawHead(t *rapid.T) float64 {
	return math.Exp(rapid.Float64Range(math.Log(0.02), math.Log(40)).Draw(t, "ln head"))
}

func equal(t *rapid.T, what string, a, b float64) {
	t.Helper()
	if !(math.Abs(a-b) <= exact*math.Max(math.Abs(a), math.Abs(b))+exact*leastFlow) {
		t.Fatalf("%s: %.15g and %.15g", what, a, b)
	}
}

// noMore fails unless a <= b within rounding.
func noMore(t *rapid.T, what string, a, b float64) {
	t.Helper()
	if !(a <= b*(1+exact)+1e-16) {
		t.Fatalf("%s: %.15g > %.15g", what, a, b)
	}
}

func setFlows(r Result) []float64 {
	var q []float64
	for i := range r.Laterals {
		for _, s := range r.Laterals[i].Sets {
			q = append(q, float64(s.Flow))
		}
	}
	return q
}

func TestLaw_massAndEnergyBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := compile(t, gardens{}.draw(t), DefaultOptions())
		h := drawHead(t)
		r := c.Solve(unit.Head(h))
		if r.Residuals.Mass > exact || r.Residuals.Energy > exact {
			t.Fatalf("at %v m: %+v", h, r.Residuals)
		}
		sum := 0.0
		for i := range r.Laterals {
			one := 0.0
			for _, s := range r.Laterals[i].Sets {
				if math.IsNaN(float64(s.Flow)) || s.Flow < 0 || math.IsNaN(float64(s.Head)) || math.IsInf(float64(s.Head), 0) {
					t.Fatalf("set %+v", s)
				}
				if (s.Head <= 0) != (s.Flow == 0) && s.Open > 0 {
					t.Fatalf("flow and head disagree: %+v", s)
				}
				one += float64(s.Flow)
			}
			equal(t, "holes and lateral", one, float64(r.Laterals[i].Flow))
			sum += one
		}
		equal(t, "laterals and layout", sum, float64(r.Flow))
		if miss := float64(r.ManifoldHead+r.FeedLoss) + c.feed.rise - h; math.Abs(miss) > exact*(math.Abs(h)+float64(r.FeedLoss)) {
			t.Fatalf("heads along the feed miss by %v m", miss)
		}
		equal(t, "FlowAt and Solve", c.FlowAt(h), float64(r.Flow))
		u := r.Uniformity
		if u.Distribution < 0 || u.Distribution > 1+exact || u.Christiansen > 1+exact || u.Least > u.Mean*(1+exact) || u.Mean > u.Most*(1+exact) {
			t.Fatalf("uniformity %+v", u)
		}
	})
}

func TestLaw_mirroredManifoldMirrors(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := gardens{}.draw(t)
		mirror := l
		m := &mirror.Manifold
		m.FeedAt, m.Rise = m.Length-m.FeedAt, -m.Rise
		m.Outlets = append([]Outlet(nil), m.Outlets...)
		for i := range m.Outlets {
			m.Outlets[i].At = m.Length - m.Outlets[i].At
		}
		h := drawHead(t)
		a, b := compile(t, l, DefaultOptions()).Solve(unit.Head(h)), compile(t, mirror, DefaultOptions()).Solve(unit.Head(h))
		for i := range a.Laterals {
			equal(t, "lateral", float64(a.Laterals[i].Flow), float64(b.Laterals[i].Flow))
		}
	})
}

func TestLaw_orderAndLabelsDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := gardens{}.draw(t)
		other := l
		other.Manifold.Outlets = rapid.Permutation(l.Manifold.Outlets).Draw(t, "order")
		for i := range other.Manifold.Outlets {
			copied := *other.Manifold.Outlets[i].Lateral
			copied.Pieces = append([]Piece(nil), copied.Pieces...)
			copied.Pieces[0].Label = "east"
			other.Manifold.Outlets[i].Lateral = &copied
		}
		h := drawHead(t)
		equal(t, "layout", compile(t, l, DefaultOptions()).FlowAt(h), compile(t, other, DefaultOptions()).FlowAt(h))
	})
}

func TestLaw_cutPieceChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := gardens{oneLateral: true}.draw(t)
		whole := l.Manifold.Outlets[0].Lateral
		whole.JointK = 0
		cut := *whole
		p := whole.Pieces[0]
		sets := p.Pattern.Sets(p.Length)
		keep := rapid.IntRange(1, sets).Draw(t, "keep")
		at := p.Pattern.Position(keep-1) + p.Pattern.Spacing/3
		if at >= p.Length-0.01 {
			return // nothing to cut off
		}
		head, tail := p, p
		head.Length, tail.Length = at, p.Length-at
		headPattern, tailPattern := *p.Pattern, *p.Pattern
		headPattern.Count = keep
		tailPattern.Count, tailPattern.FirstOffset = sets-keep, p.Pattern.Spacing-p.Pattern.Spacing/3
		head.Pattern, tail.Pattern = &headPattern, &tailPattern
		if sets == keep {
			tail.Pattern = nil
		}
		cut.Pieces = append([]Piece{head, tail}, whole.Pieces[1:]...)
		h := drawHead(t)
		a := compile(t, l, DefaultOptions()).FlowAt(h)
		l.Manifold.Outlets[0].Lateral = &cut
		equal(t, "cut", a, compile(t, l, DefaultOptions()).FlowAt(h))
	})
}

func TestLaw_pairsOfHolesAndLaterals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := gardens{oneLateral: true}.draw(t)
		h := drawHead(t)
		// n holes of Cd are one of n·Cd.
		single := *l.Manifold.Outlets[0].Lateral
		single.Pieces = append([]Piece(nil), single.Pieces...)
		possible := true
		for i := range single.Pieces {
			p := *single.Pieces[i].Pattern
			p.HoleDiameter *= unit.Length(math.Sqrt(float64(p.HolesPerSet)))
			p.HolesPerSet = 1
			single.Pieces[i].Pattern = &p
			possible = possible && p.HoleDiameter < single.Pieces[i].Pipe.Bore()/2
		}
		a := compile(t, l, DefaultOptions()).FlowAt(h)
		if possible {
			one := l
			one.Manifold.Outlets = []Outlet{{At: l.Manifold.Outlets[0].At, Lateral: &single}}
			equal(t, "one large hole", a, compile(t, one, DefaultOptions()).FlowAt(h))
		}
		// Two laterals on a cross take twice what one takes at the same head in the manifold.
		pair := l
		pair.Manifold.Outlets = []Outlet{l.Manifold.Outlets[0], l.Manifold.Outlets[0]}
		r := compile(t, pair, DefaultOptions()).Solve(unit.Head(h))
		equal(t, "both sides of a cross", float64(r.Laterals[0].Flow), float64(r.Laterals[1].Flow))
		alone := compile(t, l, DefaultOptions())
		at := r.Laterals[0].InletHead
		equal(t, "one side alone", float64(r.Laterals[0].Flow), alone.laterals[0].lateral.chain.settle(
			request{target: float64(at), tolerance: fineTolerance}).flow)
	})
}

func TestLaw_pluggingAllHolesIsPluggingTheOutlet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := gardens{}.draw(t)
		i := rapid.IntRange(0, len(l.Manifold.Outlets)-1).Draw(t, "outlet")
		h := drawHead(t)
		holes := l
		holes.Manifold.Outlets = append([]Outlet(nil), l.Manifold.Outlets...)
		lateral := *l.Manifold.Outlets[i].Lateral
		for p := range lateral.Pieces {
			for s := range lateral.Pieces[p].Pattern.Sets(lateral.Pieces[p].Length) {
				lateral.Plugged = append(lateral.Plugged, PluggedHoles{p, s, lateral.Pieces[p].Pattern.HolesPerSet})
			}
		}
		holes.Manifold.Outlets[i].Lateral = &lateral
		l.Manifold.Outlets[i].Plugged = true
		a, b := compile(t, l, DefaultOptions()).Solve(unit.Head(h)), compile(t, holes, DefaultOptions()).Solve(unit.Head(h))
		equal(t, "flow", float64(a.Flow), float64(b.Flow))
		equal(t, "DU", a.Uniformity.Distribution, b.Uniformity.Distribution)
	})
}

func TestLaw_datumShift(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := gardens{}.draw(t)
		dz := rapid.Float64Range(-0.5, 0.5).Draw(t, "dz")
		raised := l
		raised.Feed.Rise += unit.Length(dz)
		level := rapid.Float64Range(0.6, 5).Draw(t, "level")
		flow := func(l Layout, level float64) float64 {
			op, err := Operate(Tank{Level: unit.Length(level)}.Supply(), []HeadFlow{compile(t, l, DefaultOptions())})
			if err != nil {
				t.Fatal(err)
			}
			return op.Total
		}
		base := flow(l, level)
		equal(t, "tank and garden raised together", base, flow(raised, level+dz))
		equal(t, "garden raised, tank lowered", flow(raised, level), flow(l, level-dz))
	})
}

func TestLaw_monotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := gardens{}.draw(t)
		c := compile(t, l, DefaultOptions())
		h := drawHead(t)
		low, high := c.Solve(unit.Head(h)), c.Solve(unit.Head(h*rapid.Float64Range(1.001, 2).Draw(t, "more")))
		a, b := setFlows(low), setFlows(high)
		// Heads are settled to 1e-11 of their height; a hole that just starts lets out 0.3 mL/h at that.
		for i := range a {
			noMore(t, "hole at less head", a[i]-1e-10, b[i])
		}
		q := c.FlowAt(h)
		change := map[string]func(*Layout, *Options){
			"valve":     func(l *Layout, _ *Options) { l.Feed.ValveK += 500 },
			"hose":      func(l *Layout, _ *Options) { l.Feed.HoseLength += 5 },
			"roughness": func(_ *Layout, o *Options) { o.PipeRoughness *= 20 },
		}
		for _, name := range []string{"valve", "hose", "roughness"} {
			worse, o := l, DefaultOptions()
			change[name](&worse, &o)
			noMore(t, name, compile(t, worse, o).FlowAt(h), q)
		}
	})
}

func TestLaw_pluggingOneHoleLowersNoOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := gardens{}.draw(t)
		supply := goodSpigot()
		flows := func(l Layout) (Result, float64) {
			c := compile(t, l, DefaultOptions())
			op, err := Operate(supply, []HeadFlow{c})
			if err != nil {
				t.Fatal(err)
			}
			return c.Solve(unit.Head(op.Head)), op.Total
		}
		before, total := flows(l)
		i := rapid.IntRange(0, len(l.Manifold.Outlets)-1).Draw(t, "outlet")
		lateral := *l.Manifold.Outlets[i].Lateral
		p := rapid.IntRange(0, len(lateral.Pieces)-1).Draw(t, "piece")
		pattern := lateral.Pieces[p].Pattern
		s := rapid.IntRange(0, pattern.Sets(lateral.Pieces[p].Length)-1).Draw(t, "set")
		lateral.Plugged = []PluggedHoles{{p, s, pattern.HolesPerSet}}
		if lateral.OpenHoles() == 0 {
			return // no other hole
		}
		plugged := l
		plugged.Manifold.Outlets = append([]Outlet(nil), l.Manifold.Outlets...)
		plugged.Manifold.Outlets[i].Lateral = &lateral
		after, less := flows(plugged)
		noMore(t, "total", less, total)
		a, b := setFlows(before), setFlows(after)
		at := 0
		for j := range before.Laterals {
			for k, set := range before.Laterals[j].Sets {
				closed := before.Laterals[j].Outlet == i && set.Piece == p && set.Set == s
				if !closed && !(a[at] <= b[at]*(1+1e-8)+1e-10) {
					t.Fatalf("lateral %d set %d fell from %v to %v", j, k, a[at], b[at])
				}
				at++
			}
		}
	})
}

func TestLaw_openingALayoutRaisesNoOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := compile(t, gardens{}.draw(t), DefaultOptions()), compile(t, gardens{}.draw(t), DefaultOptions())
		supply := goodSpigot()
		if rapid.Bool().Draw(t, "tank") {
			supply = Tank{Level: 1.5, OutletDiameter: 0.019, OutletK: 0.5}.Supply()
		}
		alone, err := Operate(supply, []HeadFlow{a})
		if err != nil {
			t.Fatal(err)
		}
		both, err := Operate(supply, []HeadFlow{a, b})
		if err != nil {
			t.Fatal(err)
		}
		noMore(t, "source flow alone", alone.Total, both.Total)
		noMore(t, "first layout with the second open", both.Flows[0], alone.Flows[0])
		swapped, err := Operate(supply, []HeadFlow{b, a})
		if err != nil {
			t.Fatal(err)
		}
		equal(t, "order", swapped.Total, both.Total)
		if alone.Residual > exact || both.Residual > exact {
			t.Fatalf("residuals %v and %v", alone.Residual, both.Residual)
		}
	})
}

func TestLaw_flatLateralGivesLessFartherOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := gardens{flat: true, oneLateral: true}.draw(t)
		lateral := l.Manifold.Outlets[0].Lateral
		lateral.Pieces = lateral.Pieces[:1]
		lateral.Pieces[0].Length *= 6
		r := compile(t, l, DefaultOptions()).Solve(unit.Head(drawHead(t)))
		q := setFlows(r)
		for i := 1; i < len(q); i++ {
			noMore(t, "next hole", q[i], q[i-1])
		}
	})
}

// Where the manifold has 30 mm of water the stored curve follows the march on flat ground within 2e-3. On a slope the
// start of each hole is a kink; there a curve steers the search and may be off by a tenth and more, which is why numbers
// shown come from marches.
func TestLaw_storedCurveFollowsTheMarch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := compile(t, gardens{flat: true}.draw(t), DefaultOptions())
		h := math.Exp(rapid.Float64Range(math.Log(0.05), math.Log(30)).Draw(t, "ln head"))
		r := c.Solve(unit.Head(h))
		if r.ManifoldHead < ReliableHead {
			return // too little water
		}
		if curve := c.Table().FlowAt(h); math.Abs(float64(r.Flow)-curve) > 2e-3*curve {
			t.Fatalf("%v m: march %v, curve %v", h, r.Flow, curve)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		c := compile(t, gardens{}.draw(t), DefaultOptions())
		dry := c.Table().Head[0]
		if q := c.FlowAt(dry); q > leastFlow || c.Table().FlowAt(dry) != 0 {
			t.Fatalf("flow %v at the dry head", q)
		}
		if c.FlowAt(dry+0.01) <= 0 || c.Table().FlowAt(dry+0.01) <= 0 {
			t.Fatal("nothing flows a centimetre above the dry head")
		}
	})
}

func TestLaw_tableIsMonotoneAndHasAnInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(t, "points")
		head, flow := make([]float64, n), make([]float64, n)
		for i := 1; i < n; i++ {
			head[i] = head[i-1] + rapid.Float64Range(1e-3, 2).Draw(t, "step")
			flow[i] = flow[i-1] + rapid.SampledFrom([]float64{0, 1e-6, 1e-5, 1e-4}).Draw(t, "rise")
		}
		table, err := NewTable(head, flow)
		if err != nil {
			t.Fatal(err)
		}
		before := 0.0
		for i := range 200 {
			q := table.FlowAt(head[n-1] * 1.2 * float64(i) / 199)
			noMore(t, "curve", before, q)
			before = q
		}
		want := rapid.Float64Range(1e-9, 1e-3).Draw(t, "flow")
		if h, ok := table.HeadFor(want); ok {
			noMore(t, "inverse", want, table.FlowAt(h))
		} else if table.Slope[n-1] > 0 {
			t.Fatal("no head for a flow that extrapolation reaches")
		}
	})
}

func TestLaw_supplyInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Supply{
			Static: rapid.Float64Range(0.5, 60).Draw(t, "h0"), Exponent: rapid.Float64Range(1, 2.2).Draw(t, "n"),
			MaxFlow: math.Inf(1),
		}
		most := rapid.Float64Range(1e-5, 1e-2).Draw(t, "open flow")
		s.Coefficient = s.Static / math.Pow(most, s.Exponent)
		h := rapid.Float64Range(0.001, 0.999).Draw(t, "share") * s.Static
		if q := s.FlowAt(h); math.Abs(s.HeadAt(q)-h) > 1e-9*s.Static {
			t.Fatalf("head %v, back %v", h, s.HeadAt(q))
		}
		noMore(t, "falling", s.HeadAt(most), s.HeadAt(most/2))
	})
}

// Colder water loses more, except that it may still be laminar where warmer water is turbulent and so loses less: the
// factor rises by more than half between the regimes.
func TestLaw_colderWaterLosesMoreWithinARegime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		warm := rapid.Float64Range(1, 60).Draw(t, "warm")
		cold := rapid.Float64Range(0.1, warm).Draw(t, "cold")
		d := rapid.Float64Range(0.008, 0.04).Draw(t, "diameter")
		q := math.Exp(rapid.Float64Range(math.Log(1e-7), math.Log(2e-3)).Draw(t, "ln flow"))
		a := newConduit(newWater(DarcyWeisbach, unit.Temperature(cold)), 1, d, 1.5e-6, 0)
		b := newConduit(newWater(DarcyWeisbach, unit.Temperature(warm)), 1, d, 1.5e-6, 0)
		if a.reynolds*q < turbulentLimit && b.reynolds*q > laminarLimit {
			return // one laminar, one turbulent
		}
		lossCold, _ := a.loss(q)
		lossWarm, _ := b.loss(q)
		noMore(t, "warm water's loss", lossWarm, lossCold)
	})
}

func TestLaw_lossRisesStrictlyAndItsSlopeIsRight(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := rapid.SampledFrom([]FrictionLaw{DarcyWeisbach, HazenWilliams}).Draw(t, "law")
		d := rapid.Float64Range(0.008, 0.05).Draw(t, "diameter")
		c := newConduit(newWater(law, 20), rapid.Float64Range(0.01, 30).Draw(t, "length"), d,
			d*rapid.SampledFrom([]float64{0, 1e-4, 0.01, 0.05}).Draw(t, "roughness"), rapid.Float64Range(0, 5).Draw(t, "K"))
		q := math.Exp(rapid.Float64Range(math.Log(1e-8), math.Log(5e-2)).Draw(t, "ln flow"))
		h, slope := c.loss(q)
		more, _ := c.loss(q * (1 + 1e-9))
		if !(more > h) {
			t.Fatalf("loss %v at %v, %v just above", h, q, more)
		}
		step := q * 1e-6
		for _, kink := range []float64{laminarLimit, turbulentLimit} {
			if math.Abs(c.reynolds*q-kink) < 1 {
				return // on a kink of the factor
			}
		}
		up, _ := c.loss(q + step)
		down, _ := c.loss(q - step)
		if numeric := (up - down) / (2 * step); math.Abs(numeric-slope) > 1e-4*slope {
			t.Fatalf("slope %v, by differences %v", slope, numeric)
		}
		back, _ := c.flowFor(h, 0)
		equal(t, "inverse", back, q)
	})
}
