package plan_test

import (
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

// TestPropose_isNeverAboveBoundsOfSomeDays plans gardens in which layouts that may run on some days only share zones with others,
// beside which they take less: alone, the soil of some could not even bear a shortest turn.
func TestPropose_isNeverAboveBoundsOfSomeDays(t *testing.T) {
	t.Parallel()
	for _, spec := range []problemtest.Spec{
		{Kind: problemtest.Closures, Layouts: 40, Drilled: true, Seed: 5},
		{Kind: problemtest.Closures, Layouts: 40, Drilled: true, Seed: 6},
		{Kind: problemtest.Closures, Layouts: 60, Drilled: true, Seed: 10},
	} {
		got, err := plan.Propose(problemtest.Garden(spec), plan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got.Smallest > got.Bound.Share {
			t.Errorf("%s: smallest share %.6f above its bound %.6f (%s)", spec.Name(), got.Smallest, got.Bound.Share, got.Bound.Reason)
		}
	}
}
