package file_test

import (
	"math"
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem/problemtest"
	"rillturn.example/rillturn/service/file"
)

// Sources that are read beside other taps of their line: the independent checker finds the same heads and litres.
func TestSchedule_besideOtherTapsPassesTheIndependentChecker(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		p := problemtest.Garden(problemtest.Spec{Kind: problemtest.Ledgers, Layouts: 9, Drilled: true, Seed: seed})
		for i := range p.Sources {
			s := &p.Sources[i].Supply
			s.Own = 0.4 * float64(seed%2)
			*s = s.WithElsewhere(0.1 * math.Min(s.MaxFlow, float64(p.Sources[i].FlowMax.Flow())))
		}
		got, err := plan.Propose(p, plan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Schedule.Turns) == 0 {
			t.Fatal("nothing is planned: the test proves nothing")
		}
		report := runChecker(t, writeProblem(t, "beside", p), file.NewSchedule("beside", got.Schedule))
		for _, v := range report.Violations {
			if v.Rule != "I2" || len(got.Dry) == 0 {
				t.Errorf("seed %d: %s: %s", seed, v.Rule, v.Text)
			}
		}
		for _, s := range got.Shares {
			if d := report.Fractions[s.Layout] - s.Fraction; s.Zone != "" && math.Abs(d) > 1e-3 {
				t.Errorf("seed %d: %s: the checker sees a share of %g, the plan %g", seed, s.Layout, report.Fractions[s.Layout], s.Fraction)
			}
		}
	}
}
