package plan_test

import (
	"slices"
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

// leastOfBound is the part of its bound that the smallest share must reach in gardens of 8 and of 24 layouts. Where the
// model is exactly solvable the gap is small; elsewhere it also holds what the bound cannot see.
var leastOfBound = map[problemtest.Kind]float64{
	problemtest.Easy: 0.995, problemtest.Thirsty: 0.9, problemtest.TooLarge: 0.99, problemtest.Tight: 1,
	problemtest.OverSubscribed: 0.88, problemtest.OneHour: 0.8, problemtest.TwoSpigots: 0.85, problemtest.TenSpigots: 0.7,
	problemtest.OddEven: 0.7, problemtest.DailyCap: 0.9, problemtest.Soak: 0.95, problemtest.Intervals: 0.995,
	problemtest.TankFed: 0.75, problemtest.Hands: 0.99,
}

// slowKinds take seconds with many layouts; the report looks at them.
var slowKinds = []problemtest.Kind{
	problemtest.TenSpigots, problemtest.TwoSpigots, problemtest.OddEven, problemtest.DailyCap, problemtest.TankFed, problemtest.OneHour,
}

func TestPropose_isValidAndNearItsBoundForEveryKind(t *testing.T) {
	t.Parallel()
	for _, kind := range problemtest.Kinds {
		for _, drilled := range []bool{false, true} {
			for _, n := range []int{8, 24} {
				if n > 8 && slices.Contains(slowKinds, kind) {
					continue
				}
				spec := problemtest.Spec{Kind: kind, Layouts: n, Drilled: drilled, Seed: 1}
				t.Run(spec.Name(), func(t *testing.T) {
					t.Parallel()
					p := problemtest.Garden(spec)
					got := propose(t, p, plan.Options{})
					for _, v := range problem.Check(p, got.Schedule) {
						t.Errorf("broken: %+v", v)
					}
					if got.Smallest < leastOfBound[kind]*got.Bound.Share || got.Smallest > got.Bound.Share+1e-6 {
						t.Errorf("smallest share %.4f, bound %.4f (%s)", got.Smallest, got.Bound.Share, got.Bound.Reason)
					}
				})
			}
		}
	}
}
