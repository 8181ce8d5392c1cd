package plan_test

import (
	"math"
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

func TestPropose_shortagesAddUp(t *testing.T) {
	t.Parallel()
	short := 0
	for _, kind := range problemtest.Kinds {
		for _, seed := range []uint64{1} {
			for _, drilled := range []bool{false, true} {
				spec := problemtest.Spec{Kind: kind, Layouts: 7, Drilled: drilled, Seed: seed}
				got, err := plan.Propose(problemtest.Garden(spec), plan.Options{})
				if err != nil {
					t.Fatalf("%s: %v", spec.Name(), err)
				}
				for _, s := range got.Shortages {
					short++
					sum := problem.Span(0)
					for _, l := range s.Limits {
						sum += l.Time
					}
					if sum != s.Offered || s.Needed-s.Offered != s.Missing {
						t.Errorf("%s: limits of %v add up to %d, offered %d, needed %d, missing %d",
							spec.Name(), s.Zones, sum, s.Offered, s.Needed, s.Missing)
					}
					if math.Abs(s.Share-float64(s.Offered)/float64(s.Needed)) > 1e-12 {
						t.Errorf("%s: share %g is not %d of %d", spec.Name(), s.Share, s.Offered, s.Needed)
					}
				}
			}
		}
	}
	if short == 0 {
		t.Error("no garden was short of water: the test proves nothing")
	}
}
