package plan_test

import (
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

// thirsty asks for twice the water of soils that take all of it, in short turns, so that the line alone holds zones down and
// each needs many turns in a window.
func thirsty(spec problemtest.Spec) problem.Problem {
	p := problemtest.Garden(spec)
	for i := range p.Layouts {
		l := &p.Layouts[i]
		l.Need, l.MaxRun = 2*l.Need, 20*problem.Minute
		l.MaxDay = l.Need
	}
	return p
}

// Spigots under one line come near their bound also where every zone needs many turns, and where nearly every pair of zones
// must wait for the other.
func TestPropose_spigotsUnderOneLineComeNearTheirBound(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		spec  problemtest.Spec
		least float64
	}{
		{problemtest.Spec{Kind: problemtest.TenSpigots, Layouts: 30, Seed: 4}, 0.92},
		{problemtest.Spec{Kind: problemtest.TenSpigots, Layouts: 30, Drilled: true, Seed: 4}, 0.85},
		{problemtest.Spec{Kind: problemtest.TwoSpigots, Layouts: 24, Drilled: true, Seed: 2}, 0.945},
		{problemtest.Spec{Kind: problemtest.TwoSpigots, Layouts: 24, Seed: 3}, 0.85},
	} {
		got := propose(t, thirsty(c.spec), plan.Options{})
		ratio := got.Smallest / got.Bound.Share
		if ratio < c.least || ratio > 1+1e-6 {
			t.Errorf("%s: smallest share %.4f, %.4f of its bound (%s)", c.spec.Name(), got.Smallest, ratio, got.Bound.Reason)
		}
	}
}
