package plan_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

// quickKinds are those that a law can be tried on a hundred times. Several spigots under a meter have tests of their own.
var quickKinds = []problemtest.Kind{
	problemtest.Easy, problemtest.Thirsty, problemtest.TooLarge, problemtest.OverSubscribed, problemtest.OneHour,
	problemtest.OddEven, problemtest.DailyCap, problemtest.Intervals, problemtest.TankFed, problemtest.Hands, problemtest.ThinLine,
}

// smallSpec draws a garden that is planned in milliseconds.
func smallSpec(t *rapid.T) problemtest.Spec {
	return problemtest.Spec{
		Kind:    rapid.SampledFrom(quickKinds).Draw(t, "kind"),
		Layouts: rapid.IntRange(3, 6).Draw(t, "layouts"),
		Drilled: rapid.Bool().Draw(t, "drilled"),
		Seed:    rapid.Uint64Range(0, 1000).Draw(t, "seed"),
	}
}

func mustPropose(t *rapid.T, p problem.Problem, o plan.Options) plan.Plan {
	got, err := plan.Propose(p, o)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestLaw_planIsValidAndWithinItsBound(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := problemtest.Garden(smallSpec(t))
		got := mustPropose(t, p, plan.Options{Seed: rapid.Uint64().Draw(t, "seed of the search")})
		for _, v := range problem.Check(p, got.Schedule) {
			if v.Rule != problem.RuleInterval {
				t.Errorf("broken: %+v", v)
			}
		}
		if got.Smallest > got.Bound.Share+1e-6 {
			t.Errorf("smallest share %.9f above the bound %.9f (%s)", got.Smallest, got.Bound.Share, got.Bound.Reason)
		}
	})
}

func TestLaw_unservableIsExactlyWhatNoZoneCarries(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := problemtest.Garden(smallSpec(t))
		m, err := problem.NewModel(p)
		if err != nil {
			t.Fatal(err)
		}
		var want []string
		for i := range p.Layouts {
			s := m.SourceOf[i]
			fits := m.Fits(s, []int{i})
			if line := m.LineOf[s]; fits && line >= 0 {
				fits = m.Operate(s, []int{i}).Total <= p.Lines[line].FlowLimit
			}
			if !fits {
				want = append(want, p.Layouts[i].ID)
			}
		}
		var got []string
		for _, u := range m.Left {
			got = append(got, u.Layout)
		}
		if !slices.Equal(want, got) {
			t.Errorf("left out %v, cannot run %v", got, want)
		}
	})
}

// A layout that takes more than its line lets through stands in a zone of its own that never has a turn, gets nothing, and
// is told; published again with nothing changed it is the same plan.
func TestLaw_layoutsBeyondTheirLineStandIdle(t *testing.T) {
	t.Parallel()
	idle := 0
	for seed := range uint64(6) {
		for _, drilled := range []bool{false, true} {
			p := problemtest.Garden(problemtest.Spec{Kind: problemtest.ThinLine, Layouts: 6, Drilled: drilled, Seed: seed})
			got := propose(t, p, plan.Options{})
			m, err := problem.NewModel(p)
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range got.Shares {
				i, _ := m.LayoutIndex(s.Layout)
				if m.Servable[i] {
					continue
				}
				idle++
				z := slices.IndexFunc(got.Schedule.Zones, func(z problem.Zone) bool { return slices.Contains(z.Layouts, s.Layout) })
				told := slices.ContainsFunc(got.Unservable, func(u problem.Unservable) bool {
					return u.Layout == s.Layout && u.Reason == problem.ReasonLine
				})
				if z < 0 || !told || s.Fraction != 0 {
					t.Fatalf("seed %d: %s in zone %d, share %g, told %v", seed, s.Layout, z, s.Fraction, told)
				}
				name := got.Schedule.Zones[z].ID
				if slices.ContainsFunc(got.Schedule.Turns, func(t problem.Turn) bool { return t.Zone == name }) {
					t.Errorf("seed %d: %s has a turn", seed, name)
				}
			}
			again := propose(t, p, plan.Options{Previous: &got.Schedule})
			if diff := cmp.Diff(got.Schedule, again.Schedule); diff != "" {
				t.Errorf("seed %d: published again (-before +after):\n%s", seed, diff)
			}
		}
	}
	if idle == 0 {
		t.Error("every line let every layout through: the test proves nothing")
	}
}

func TestLaw_namesAndOrderDoNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := problemtest.Garden(smallSpec(t))
		a := mustPropose(t, p, plan.Options{})
		b := mustPropose(t, problemtest.Shuffled(p, rapid.Uint64().Draw(t, "shuffle")), plan.Options{})
		if diff := cmp.Diff(sortedFractions(a), sortedFractions(b)); diff != "" {
			t.Errorf("shares (-as given +shuffled):\n%s", diff)
		}
	})
}

func sortedFractions(p plan.Plan) []float64 {
	var out []float64
	for _, s := range p.Shares {
		out = append(out, s.Fraction)
	}
	slices.Sort(out)
	return out
}

func TestLaw_samePlanTwice(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := problemtest.Garden(smallSpec(t))
		o := plan.Options{Seed: rapid.Uint64().Draw(t, "seed of the search"), Share: rapid.SampledFrom([]problem.Measure{
			problem.ByNeed, problem.ByArea, problem.ByMinutes,
		}).Draw(t, "share")}
		if diff := cmp.Diff(mustPropose(t, p, o), mustPropose(t, p, o)); diff != "" {
			t.Errorf("two runs differ:\n%s", diff)
		}
	})
}

// Full effort is never worse than fast effort: in limits kept, then in the sorted shares, then in water in time, then in water
// beyond need, which is looked at when valves have been shut early.
func TestLaw_fullEffortIsNeverWorse(t *testing.T) {
	t.Parallel()
	specs := []problemtest.Spec{{Kind: problemtest.OverSubscribed, Layouts: 20, Seed: 2}, {Kind: problemtest.OverSubscribed, Layouts: 20, Drilled: true, Seed: 3}}
	for _, kind := range problemtest.Kinds {
		if !slices.Contains(slowKinds, kind) || kind == problemtest.DailyCap {
			specs = append(specs, problemtest.Spec{Kind: kind, Layouts: 5, Seed: 2}, problemtest.Spec{Kind: kind, Layouts: 9, Drilled: true, Seed: 3})
		}
	}
	gained := 0
	for _, spec := range specs {
		p := problemtest.Garden(spec)
		for w := range p.Windows {
			p.Windows[w].Attended = true
		}
		for i := range p.Layouts {
			p.Layouts[i].OwnValve = true
		}
		fast, full := propose(t, p, plan.Options{}), propose(t, p, plan.Options{Effort: plan.Full})
		if worse(full, fast) {
			t.Errorf("%s: full effort is worse: %d mL over and %v, fast %d and %v",
				spec.Name(), full.Over, sortedFractions(full), fast.Over, sortedFractions(fast))
		}
		if worse(fast, full) {
			gained++
		}
	}
	if gained == 0 {
		t.Error("full effort gained nothing anywhere: the law proves nothing")
	}
}

func TestLaw_tightGardensAreServedInFull(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		for _, n := range []int{6, 9, 15, 24} {
			spec := problemtest.Spec{Kind: problemtest.Tight, Layouts: n, Seed: seed}
			got := propose(t, problemtest.Garden(spec), plan.Options{})
			if got.Smallest < 1 || got.Over > 0 {
				t.Errorf("%s: smallest share %g, %d mL over", spec.Name(), got.Smallest, got.Over)
			}
		}
	}
}

func TestLaw_closingEarlyOnlySavesWater(t *testing.T) {
	t.Parallel()
	saved := false
	for seed := range uint64(4) {
		p := problemtest.Garden(problemtest.Spec{Kind: problemtest.OverSubscribed, Layouts: 20, Seed: seed})
		for i := range p.Layouts {
			p.Layouts[i].Need /= 3
			p.Layouts[i].OwnValve = true
		}
		open := propose(t, p, plan.Options{})
		p.Windows = slices.Clone(p.Windows)
		for w := range p.Windows {
			p.Windows[w].Attended = true
		}
		shut := propose(t, p, plan.Options{})
		for k, share := range sortedFractions(open) {
			if got := sortedFractions(shut)[k]; got < share {
				t.Errorf("seed %d: share %g where it was %g", seed, got, share)
			}
		}
		if shut.Over > open.Over {
			t.Errorf("seed %d: %d mL over, %d without closing", seed, shut.Over, open.Over)
		}
		saved = saved || shut.Over < open.Over
	}
	if !saved {
		t.Error("closing early never saved anything: the test proves nothing")
	}
}

func TestPropose_startsOnTheGrid(t *testing.T) {
	t.Parallel()
	for _, kind := range []problemtest.Kind{problemtest.Easy, problemtest.OverSubscribed, problemtest.TwoSpigots, problemtest.Soak} {
		p := problemtest.Garden(problemtest.Spec{Kind: kind, Layouts: 12, Seed: 2})
		free, grid := propose(t, p, plan.Options{}), propose(t, p, plan.Options{Grid: 5 * problem.Minute})
		for _, turn := range grid.Schedule.Turns {
			if turn.Start%(5*problem.Minute) != 0 {
				t.Errorf("%s: turn starts at %d", kind, turn.Start)
			}
		}
		if grid.Smallest < 0.8*free.Smallest {
			t.Errorf("%s: smallest share %.3f on the grid, %.3f without", kind, grid.Smallest, free.Smallest)
		}
	}
}

func TestPropose_keepsPinnedZonesForbiddenPairsAndExclusions(t *testing.T) {
	t.Parallel()
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.Easy, Layouts: 12, Seed: 3})
	free := propose(t, p, plan.Options{})
	pair := free.Schedule.Zones[0].Layouts
	if len(pair) < 2 {
		t.Fatalf("first zone has %d members", len(pair))
	}
	apart := propose(t, p, plan.Options{Forbidden: [][2]string{{pair[0], pair[1]}}, Excluded: []string{free.Schedule.Zones[1].Layouts[0]}})
	for _, z := range apart.Schedule.Zones {
		if slices.Contains(z.Layouts, pair[0]) && slices.Contains(z.Layouts, pair[1]) {
			t.Errorf("forbidden pair in zone %s", z.ID)
		}
		if slices.Contains(z.Layouts, free.Schedule.Zones[1].Layouts[0]) {
			t.Errorf("excluded layout in zone %s", z.ID)
		}
	}
	pinned := propose(t, p, plan.Options{Pinned: []plan.Pin{{Layouts: pair[:1], Alone: true}}})
	alone := false
	for _, z := range pinned.Schedule.Zones {
		alone = alone || slices.Equal(z.Layouts, pair[:1])
	}
	if !alone {
		t.Errorf("pinned zone %v is not there", pair[:1])
	}
}

func TestPropose_stopsWhenAsked(t *testing.T) {
	t.Parallel()
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.OverSubscribed, Layouts: 30, Seed: 3})
	got := propose(t, p, plan.Options{Effort: plan.Full, Stop: func() bool { return true }})
	if !got.Stopped {
		t.Error("a stopped plan does not say so")
	}
}
