package plan_test

import (
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"reflect"
	"runtime/debug"
	"slices"
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

var (
	tangles     = flag.Uint64("tangles", 40, "tangled gardens to plan in TestTangle")
	tanglesFrom = flag.Uint64("tangles-from", 0, "seed of the first tangled garden")
	tanglesSize = flag.Int("tangles-size", 6, "most layouts of a tangled garden")
	tanglesFull = flag.Bool("tangles-full", false, "plan every tangled garden with full effort too")
)

// fullEvery is how many tangled gardens there are to one that is planned with full effort too.
const fullEvery = 8

// tangled draws a garden and what a coordinator may ask of its plan.
func tangled(seed uint64, layouts int) (problem.Problem, plan.Options) {
	p := problemtest.Tangle(seed, layouts)
	rng := rand.New(rand.NewPCG(seed, 0x61736b73)) //nolint:gosec // reproducible on purpose
	id := func() string { return p.Layouts[rng.IntN(len(p.Layouts))].ID }
	o := plan.Options{Seed: seed}
	o.Share = []problem.Measure{problem.ByNeed, problem.ByNeed, problem.ByNeed, problem.ByArea, problem.ByMinutes}[rng.IntN(5)]
	o.Grid = []problem.Span{0, 0, 5 * problem.Minute, 15 * problem.Minute}[rng.IntN(4)]
	if rng.IntN(3) == 0 {
		o.Forbidden = [][2]string{{id(), id()}, {id(), id()}}
		o.Forbidden = slices.DeleteFunc(o.Forbidden, func(f [2]string) bool { return f[0] == f[1] })
	}
	if rng.IntN(4) == 0 && len(p.Layouts) > 1 {
		o.Excluded = []string{id()}
	}
	if rng.IntN(4) == 0 {
		switch pin, other := id(), id(); {
		case slices.Contains(o.Excluded, pin) || slices.Contains(o.Excluded, other):
		case pin == other:
			o.Pinned = []plan.Pin{{Layouts: []string{pin}, Alone: true}}
		default:
			o.Pinned = []plan.Pin{{Layouts: []string{pin, other}, Alone: rng.IntN(2) == 0}}
		}
	}
	if slices.ContainsFunc(o.Forbidden, func(f [2]string) bool { return slices.Contains(o.Excluded, f[0]) || slices.Contains(o.Excluded, f[1]) }) {
		o.Forbidden = nil
	}
	return p, o
}

// found are tangled gardens whose plans once broke a rule or their bound: a cap overdrawn by turns on the grid, pauses in a
// window's reserve, soils and limits that no turn can keep.
var found = []uint64{198, 206, 330, 50375, 50403, 50501}

// TestTangle plans gardens in which every limit may meet every other. Every plan keeps the rules, stays within its bound,
// adds up, and comes out twice the same. -tangles tries more of them.
func TestTangle(t *testing.T) {
	t.Parallel()
	seeds := slices.Clone(found)
	for k := range *tangles {
		seeds = append(seeds, *tanglesFrom+k)
	}
	for _, seed := range seeds {
		p, o := tangled(seed, *tanglesSize)
		fast, ok := tanglePlan(t, seed, p, o)
		if !ok {
			continue
		}
		if again, err := plan.Propose(p, o); err != nil || !reflect.DeepEqual(fast, again) {
			t.Errorf("seed %d: two runs differ", seed)
		}
		if *tanglesFull || seed%fullEvery == 0 {
			o.Effort = plan.Full
			if full, ok := tanglePlan(t, seed, p, o); ok && worse(full, fast) {
				t.Errorf("seed %d: full effort is worse", seed)
			}
		}
	}
}

// tanglePlan plans and holds the plan against the rules. ok is false where the options are refused.
func tanglePlan(t *testing.T, seed uint64, p problem.Problem, o plan.Options) (got plan.Plan, ok bool) {
	t.Helper()
	defer func() {
		if r := recover(); r != nil {
			t.Errorf("seed %d: %v\n%s", seed, r, debug.Stack())
			ok = false
		}
	}()
	got, err := plan.Propose(p, o)
	var refused *plan.OptionError
	if errors.As(err, &refused) {
		return got, false
	}
	if err != nil {
		t.Errorf("seed %d: %v", seed, err)
		return got, false
	}
	kept := p
	kept.Layouts = slices.DeleteFunc(slices.Clone(p.Layouts), func(l problem.Layout) bool { return slices.Contains(o.Excluded, l.ID) })
	kept.Past = slices.Clone(p.Past)
	for k := range kept.Past {
		kept.Past[k].Given = slices.DeleteFunc(slices.Clone(p.Past[k].Given), func(g problem.Given) bool { return slices.Contains(o.Excluded, g.Layout) })
	}
	late, dry := 0, 0
	for _, v := range problem.Check(kept, got.Schedule) {
		switch v.Rule {
		case problem.RuleInterval:
			late++
		case problem.RuleDry:
			dry++
		default:
			t.Errorf("seed %d: broken: %+v", seed, v)
		}
	}
	if late != len(got.Late) || dry != len(got.Dry) {
		t.Errorf("seed %d: %d late and %d dry, told %d and %d", seed, late, dry, len(got.Late), len(got.Dry))
	}
	if got.Smallest > got.Bound.Share+1e-6 {
		t.Errorf("seed %d: smallest share %.9f above the bound %.9f (%s)", seed, got.Smallest, got.Bound.Share, got.Bound.Reason)
	}
	if o.Grid > 0 {
		for _, turn := range got.Schedule.Turns {
			if turn.Start%problem.Instant(o.Grid) != 0 && !asPublished(o, turn) {
				t.Errorf("seed %d: a turn starts at %d", seed, turn.Start)
			}
		}
	}
	for _, s := range got.Shortages {
		addsUp(t, fmt.Sprint("seed ", seed), kept, got, s)
	}
	return got, true
}

// asPublished tells whether a turn starts as it was published, or later because one before it ran late.
func asPublished(o plan.Options, t problem.Turn) bool {
	return o.Previous != nil && slices.ContainsFunc(o.Previous.Turns, func(old problem.Turn) bool {
		return old.Zone == t.Zone && old.Window == t.Window && old.Start <= t.Start && t.Start < old.End
	})
}

// worse compares two plans in the order of what plans are made for: interval limits, shares, water in time, little water
// beyond need.
func worse(a, b plan.Plan) bool {
	if len(a.Late) != len(b.Late) {
		return len(a.Late) > len(b.Late)
	}
	x, y := sharesByClass(a), sharesByClass(b)
	for k := range x {
		if d := x[k] - y[k]; d > 1e-6 || d < -1e-6 {
			return d < 0
		}
	}
	need, dry := 0.0, 0.0
	for k := range a.Shares {
		need += float64(a.Shares[k].Need)
	}
	for _, v := range a.Dry {
		dry += float64(v.Have - v.Limit)
	}
	for _, v := range b.Dry {
		dry -= float64(v.Have - v.Limit)
	}
	if dry > 1e-6*need || dry < -1e-6*need {
		return dry > 0
	}
	return a.Over > b.Over
}

func sharesByClass(p plan.Plan) []float64 {
	shares := slices.Clone(p.Shares)
	slices.SortStableFunc(shares, func(a, b plan.Share) int {
		if a.Class != b.Class {
			return a.Class - b.Class
		}
		switch {
		case a.Fraction < b.Fraction:
			return -1
		case a.Fraction > b.Fraction:
			return 1
		}
		return 0
	})
	var out []float64
	for _, s := range shares {
		if s.Zone != "" {
			out = append(out, s.Fraction)
		}
	}
	return out
}
