package plan_test

import (
	"fmt"
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

// Turns start at any minute in problem files, and on a grid of five minutes in most gardens.
func BenchmarkPropose(b *testing.B) {
	for _, spec := range []problemtest.Spec{
		{Kind: problemtest.OverSubscribed, Layouts: 40, Seed: 3},
		{Kind: problemtest.Easy, Layouts: 60, Seed: 3},
		{Kind: problemtest.Easy, Layouts: 60, Drilled: true, Seed: 3},
		{Kind: problemtest.OverSubscribed, Layouts: 60, Drilled: true, Seed: 3},
		{Kind: problemtest.OneHour, Layouts: 60, Drilled: true, Seed: 3},
		{Kind: problemtest.TwoSpigots, Layouts: 60, Drilled: true, Seed: 3},
		{Kind: problemtest.TenSpigots, Layouts: 60, Seed: 3},
		{Kind: problemtest.Easy, Layouts: 500, Seed: 3},
		{Kind: problemtest.OverSubscribed, Layouts: 500, Seed: 3},
		{Kind: problemtest.OverSubscribed, Layouts: 500, Drilled: true, Seed: 3},
	} {
		p := problemtest.Garden(spec)
		for _, effort := range []plan.Effort{plan.Fast, plan.Full} {
			for _, grid := range []problem.Span{0, fiveMinutes} {
				b.Run(fmt.Sprintf("%s/%s/grid-%dmin", spec.Name(), effort, grid/problem.Minute), func(b *testing.B) {
					for b.Loop() {
						got, err := plan.Propose(p, plan.Options{Effort: effort, Grid: grid})
						if err != nil {
							b.Fatal(err)
						}
						b.ReportMetric(got.Smallest/got.Bound.Share, "of_bound")
					}
				})
			}
		}
	}
}
