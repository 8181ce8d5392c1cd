package hydraulics

import (
	"math"
	"slices"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/unit"
)

// The short cuts of the solution, each swept against the exact way that it stands in for.

// exactly is solve without a short cut: the manifold is searched for with every lateral marched to its head at every
// step.
func (c *Compiled) exactly(source Supply) *state {
	s := c.newState()
	s.manifold = (c.dry() + source.Static - c.feed.rise) / 2
	for j := range s.bend {
		s.bend[j].march = c.laterals[j].lateral
	}
	c.searchManifold(source, s, fineTolerance)
	c.readHeads(s)
	c.settleLaterals(s)
	c.check(source, s)
	return s
}

func TestSolve_meetsTheExactSearch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := DefaultOptions()
		o.VelocityHeadRegain = rapid.SampledFrom([]float64{0, 0, 0.9}).Draw(t, "regain")
		c := compile(t, gardens{}.draw(t), o)
		h := drawHead(t) + math.Max(0, c.feed.rise)
		quick := c.solve(held(h), h)
		if quick.flow == 0 {
			return // dry, which needs no search
		}
		slow := c.exactly(held(h))
		if slow.residuals.Mass > exact || slow.residuals.Energy > exact {
			return // where a lateral just starts to run, rounding decides; with velocity head regained there may be two answers
		}
		if math.Abs(quick.manifold-slow.manifold) > 1e-9*math.Max(math.Abs(h), math.Abs(c.feed.rise)) {
			t.Fatalf("manifold %.15g m, exactly %.15g m", quick.manifold, slow.manifold)
		}
		for j := range quick.records {
			for i, at := range quick.records[j] {
				want := slow.records[j][i]
				if want.head > 1e-3 && math.Abs(at.out-want.out) > 1e-7*want.out || math.Abs(at.head-want.head) > 1e-9*math.Max(1, h) {
					t.Fatalf("lateral %d node %d: %+v, exactly %+v", j, i, at, want)
				}
			}
		}
	})
}

// A march shifted by its derivatives errs by the square of the shift: what shift lets pass at most is within a
// hundredth of what is promised in every stretch, unless a stretch comes to another regime of friction, which check
// finds.
func TestShift_errsByTheSquare(t *testing.T) {
	chain := &mustCompile(t, fiveByNinety()).laterals[0].lateral.chain
	passed := 0
	for h := 0.03; h < 20; h *= 1.1 {
		for _, share := range []float64{closeShift, 10 * closeShift, 100 * closeShift} {
			record := make(profile, len(chain.nodes))
			s := chain.settle(request{target: h, tolerance: fineTolerance, record: record})
			to := h * (1 + share)
			flow := chain.shift(record, h*share/s.headSlope)
			var r Residuals
			chain.check(record, to, flow, &r)
			if r.Mass > 1e-14 {
				t.Fatalf("at %v m: mass %v: flows are those that the heads drive", h, r.Mass)
			}
			if r.Energy <= share*share {
				passed++
			}
			want := chain.settle(request{target: to, tolerance: fineTolerance})
			if r.Energy <= verified && math.Abs(flow-want.flow) > 10*verified*want.flow {
				t.Errorf("at %v m by %v: flow %v, marched %v, energy %v", h, share, flow, want.flow, r.Energy)
			}
		}
	}
	if passed < 170 {
		t.Errorf("only %d of 207 shifts err by no more than their square", passed)
	}
}

func TestCheck_findsWhatIsWrong(t *testing.T) {
	c := mustCompile(t, bedLayout(3))
	var source Supply
	for what, spoil := range map[string]func(s *state){
		"a head":            func(s *state) { s.records[1][20].head *= 1 + 1e-9 },
		"a head that isn't": func(s *state) { s.records[1][20].head = math.NaN() },
		"a flow":            func(s *state) { s.records[0][59].flow *= 1 + 1e-9 },
		"an outflow":        func(s *state) { s.records[2][3].out *= 1.001 },
		"an inlet head":     func(s *state) { s.heads[1] *= 1 + 1e-9 },
		"a lateral's flow":  func(s *state) { s.laterals[0].flow *= 1 + 1e-9 },
		"the manifold":      func(s *state) { s.manifold *= 1 + 1e-9 },
		"the source":        func(s *state) { source.Static *= 1 + 1e-9 },
	} {
		source = held(3)
		s := c.solve(source, 3)
		if !c.check(source, s) {
			t.Fatalf("sound, yet %+v", s.residuals)
		}
		if spoil(s); c.check(source, s) {
			t.Errorf("%s is wrong, yet %+v", what, s.residuals)
		}
	}
}

// All arms together against the bracketed search.
func TestSolveManifold_meetsTheSearch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := compile(t, gardens{}.draw(t), DefaultOptions())
		s := goodSpigot()
		near := c.table.meets(s)
		together, searched := c.newState(), c.newState()
		together.manifold, searched.manifold = near, near
		c.solveManifold(s, together, fineTolerance)
		c.searchManifold(s, searched, fineTolerance)
		if math.Abs(together.flow-searched.flow) > 1e-8*searched.flow || math.Abs(together.manifold-searched.manifold) > 1e-9*s.Static {
			t.Fatalf("%v m³/s at %v m, searched %v at %v", together.flow, together.manifold, searched.flow, searched.manifold)
		}
	})
}

// The first march begins with an end head that brings it within a thousandth of its inlet head.
func TestNear_endHeadFromTheStoredOnes(t *testing.T) {
	l := mustCompile(t, fiveByNinety()).laterals[0].lateral
	for h := 0.005; h < 90; h *= 1.03 {
		s, ok := l.near(h)
		if m := l.chain.march(s.end, nil, nil); !ok || math.Abs(m.head-h) > 1e-3*h {
			t.Errorf("to %v m: begun with %v m it comes to %v m", h, s.end, m.head)
		}
	}
}

func TestMeets_isNearTheOperatingPoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := compile(t, gardens{}.draw(t), DefaultOptions())
		s := goodSpigot()
		s.Static *= rapid.Float64Range(0.2, 2).Draw(t, "static")
		s.MaxFlow = math.Inf(1)
		s.Elsewhere = rapid.Float64Range(0, 2e-4).Draw(t, "elsewhere")
		op, err := Operate(s, []HeadFlow{&c.table})
		if err != nil || op.Head < -1 {
			return
		}
		if near := c.table.meets(s); math.Abs(near-op.Head) > 1e-2*s.Static {
			t.Fatalf("near %v m, operating point %v m of %v m", near, op.Head, s.Static)
		}
	})
}

// The stored f·Re² against the equation, between the points too.
func TestFactorTable_withinTheEquation(t *testing.T) {
	for _, relative := range []float64{0, 1e-6, 1e-4, 0.01, 0.05} {
		table := newFactorTable(relative)
		for re := float64(turbulentLimit); re < 2*tableEnd; re *= 1.0007 {
			f, slope := colebrook(re, relative)
			g, rise := table.at(re)
			if want := f * re * re; math.Abs(g-want) > 1e-10*want {
				t.Fatalf("Re %v, eps/D %v: %.12g, equation %.12g", re, relative, g, want)
			}
			if want := (2 + slope) * f * re; math.Abs(rise-want) > 1e-7*want {
				t.Fatalf("Re %v, eps/D %v: slope %.12g, equation %.12g", re, relative, rise, want)
			}
		}
	}
}

// Counting in classes against sorting.
func TestLowest_isTheSortedSum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		flow := rapid.OneOf(rapid.Float64Range(0, 1), rapid.SampledFrom([]float64{0, 0.25, 0.5, 1}), rapid.Float64Range(0.5, 0.5+1e-13),
			rapid.Map(rapid.Float64Range(-700, 0), math.Exp))
		all := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) tallied {
			return tallied{flow.Draw(t, "flow"), float64(rapid.IntRange(1, 4).Draw(t, "holes"))}
		}), 1, 300).Draw(t, "all")
		holes := 0.0
		for _, s := range all {
			holes += s.holes
		}
		n := holes * rapid.SampledFrom([]float64{0.25, 0.01, 0.9, 1}).Draw(t, "share")
		sorted := slices.Clone(all)
		slices.SortFunc(sorted, func(a, b tallied) int {
			switch {
			case a.flow < b.flow:
				return -1
			case a.flow > b.flow:
				return 1
			}
			return 0
		})
		want, left := 0.0, n
		for _, s := range sorted {
			take := math.Min(left, s.holes)
			want += take * s.flow
			left -= take
		}
		got := tally(all).lowest(n, sorted[0].flow, sorted[len(sorted)-1].flow)
		if math.Abs(got-want) > 1e-12*want {
			t.Fatalf("%v, sorted %v", got, want)
		}
	})
}

// States are used again and by several goroutines at once: every calculation is the same to the bit.
func TestSolveOn_againAndAtOnceIsTheSame(t *testing.T) {
	dry := bedLayout(3)
	dry.Manifold.Outlets[1].Lateral.Rise = 0.4
	for name, l := range map[string]Layout{"bed": bedLayout(5), "dry uphill end": dry} {
		c := mustCompile(t, l)
		first, err := SolveOn(goodSpigot(), c)
		if err != nil {
			t.Fatal(err)
		}
		var group sync.WaitGroup
		for n := range 8 {
			group.Go(func() {
				for range 20 {
					c.Solve(unit.Head(0.1 * float64(n)))
					again, err := SolveOn(goodSpigot(), c)
					if err != nil || again.Flow != first.Flow || again.Uniformity != first.Uniformity || !slices.Equal(setFlows(again), setFlows(first)) {
						t.Errorf("%s: %v, first %v (%v)", name, again.Flow, first.Flow, err)
						return
					}
				}
			})
		}
		group.Wait()
	}
}

// Water that stands level with the lowest holes runs nowhere: a march from the closed end would let some out by a
// rounding error, and more and more of it up the pipe.
func TestTrap_standingWaterLetsNothingOut(t *testing.T) {
	l := bedLayout(1)
	lateral := l.Manifold.Outlets[0].Lateral
	side, up := lateral.Pieces[0], lateral.Pieces[0]
	top := *up.Pattern
	top.Facing, up.Pattern = FacingUp, &top
	side.Length = 6
	lateral.Pieces, lateral.Rise = []Piece{up, side, up}, 1e-120
	c := mustCompile(t, l)
	r := c.Solve(0)
	if r.Flow != 0 || r.Residuals.Mass > exact || r.Residuals.Energy > exact {
		t.Errorf("flow %v, residuals %+v", r.Flow, r.Residuals)
	}
	for _, s := range r.Laterals[0].Sets {
		if s.Flow != 0 {
			t.Fatalf("%+v", s)
		}
	}
}
