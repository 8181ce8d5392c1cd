package plan_test

import (
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

// Layouts with closed days of their own share zones only where nobody misses an interval limit for it.
func TestPropose_closedDaysOfOthersMakeNobodyLate(t *testing.T) {
	t.Parallel()
	for _, n := range []int{8, 20} {
		for seed := range uint64(8) {
			spec := problemtest.Spec{Kind: problemtest.Closures, Layouts: n, Drilled: seed%4 == 3, Seed: seed}
			got := propose(t, problemtest.Garden(spec), plan.Options{})
			for _, v := range got.Late {
				t.Errorf("%s: %s late on day %d by %d days", spec.Name(), v.Layout, v.Day, v.Have-v.Limit)
			}
			if got.Smallest == 0 {
				t.Errorf("%s: somebody gets nothing", spec.Name())
			}
		}
	}
}
