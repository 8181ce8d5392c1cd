package plan_test

import (
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

// TestPropose_keepsLimitsOfPeopleAndPlaces plans under limits that the generated gardens do not have; the checker, which
// shares nothing with the planner but the hydraulics, says whether they hold.
func TestPropose_keepsLimitsOfPeopleAndPlaces(t *testing.T) {
	t.Parallel()
	for name, limit := range map[string]func(*problem.Problem){
		"a fifth of the hours free": func(p *problem.Problem) { p.Sources[0].Reserve = 200 },
		"two hose connections":      func(p *problem.Problem) { p.Sources[0].Connections = 2 },
		"forty minutes a day": func(p *problem.Problem) {
			for i := range p.Layouts {
				p.Layouts[i].MaxDayTime = 40 * problem.Minute
			}
		},
		"four weeks": func(p *problem.Problem) {
			days := p.Days
			for w := range 3 {
				for _, window := range p.Windows[:len(p.Windows)/(w+1)] {
					shift := problem.Instant((w + 1) * days * 24 * 60 * problem.Minute)
					window.ID += string(rune('a' + w))
					window.Day, window.Start, window.End = window.Day+(w+1)*days, window.Start+shift, window.End+shift
					p.Windows = append(p.Windows, window)
				}
			}
			p.Days = 4 * days
			for i := range p.Layouts {
				p.Layouts[i].Need *= 4
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := problemtest.Garden(problemtest.Spec{Kind: problemtest.OverSubscribed, Layouts: 12, Seed: 11})
			limit(&p)
			got := propose(t, p, plan.Options{})
			for _, v := range problem.Check(p, got.Schedule) {
				t.Errorf("broken: %+v", v)
			}
			if got.Smallest <= 0 || got.Smallest > got.Bound.Share+1e-6 {
				t.Errorf("smallest share %g, bound %g", got.Smallest, got.Bound.Share)
			}
		})
	}
}

func TestPropose_firstClassIsServedFirst(t *testing.T) {
	t.Parallel()
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.OverSubscribed, Layouts: 12, Seed: 12})
	even := propose(t, p, plan.Options{})
	seedlings := p.Layouts[0].ID
	for i := range p.Layouts {
		p.Layouts[i].Class = min(i, 1)
	}
	first := propose(t, p, plan.Options{})
	if a, b := fractionOf(even, seedlings), fractionOf(first, seedlings); b <= a {
		t.Errorf("share of the first class %.4f, %.4f when all are equal", b, a)
	}
}

func fractionOf(p plan.Plan, layout string) float64 {
	for _, s := range p.Shares {
		if s.Layout == layout {
			return s.Fraction
		}
	}
	return 0
}

// A line so thin that a part of it is less than a millilitre a minute, the finest flow there is: nobody can be watered, and
// the planner says so.
func TestPropose_aLineThinnerThanItsPartsEnds(t *testing.T) {
	t.Parallel()
	for _, limit := range []problem.Rate{1, 23} {
		p := problemtest.Garden(problemtest.Spec{Kind: problemtest.TwoSpigots, Layouts: 6, Seed: 2})
		p.Lines[0].FlowLimit = limit
		got := propose(t, p, plan.Options{})
		if len(got.Unservable) != len(p.Layouts) || len(got.Schedule.Turns) != 0 {
			t.Errorf("limit %d mL/min: %d of %d layouts left out, %d turns", limit, len(got.Unservable), len(p.Layouts), len(got.Schedule.Turns))
		}
	}
}
