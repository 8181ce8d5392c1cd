package plan_test

import (
	"testing"
	"time"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

func TestPropose_isValidForEveryKind(t *testing.T) {
	for _, kind := range problemtest.Kinds {
		for _, drilled := range []bool{false, true} {
			for _, n := range []int{8, 30} {
				spec := problemtest.Spec{Kind: kind, Layouts: n, Drilled: drilled, Seed: 1}
				t.Run(spec.Name(), func(t *testing.T) {
					p := problemtest.Garden(spec)
					begin := time.Now()
					got, err := plan.Propose(p, plan.Options{})
					if err != nil {
						t.Fatal(err)
					}
					t.Logf("bound %.4f (%s) smallest %.4f ratio %.4f mean %.4f late %d zones %d turns %d evals %d levels %d %s", got.Bound.Share, got.Bound.Reason, got.Smallest, got.Smallest/got.Bound.Share, got.Mean, len(got.Late),
						len(got.Schedule.Zones), len(got.Schedule.Turns), got.Evaluated, len(got.Levels), time.Since(begin))
					for _, v := range problem.Check(p, got.Schedule) {
						if v.Rule != problem.RuleInterval {
							t.Errorf("broken: %+v", v)
						}
					}
				})
			}
		}
	}
}
