package plan_test

import (
	"math"
	"slices"
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
	"rillturn.example/rillturn/engine/rotation"
)

// A certificate is added up by hand: its limits to the minutes offered, to the milli-minute; those are what the turns of
// its zones last; and whoever goes short is in one.
func TestPropose_shortagesAddUp(t *testing.T) {
	t.Parallel()
	short := 0
	for _, kind := range problemtest.Kinds {
		for _, by := range []problem.Measure{problem.ByNeed, problem.ByArea, problem.ByMinutes} {
			for _, drilled := range []bool{false, true} {
				spec := problemtest.Spec{Kind: kind, Layouts: 7, Drilled: drilled, Seed: 1}
				p := problemtest.Garden(spec)
				got := propose(t, p, plan.Options{Share: by, Grid: 5 * problem.Minute})
				for _, s := range got.Shortages {
					short++
					if s.By != by {
						t.Errorf("%s: shared by %s, told by %s", spec.Name(), by, s.By)
					}
					addsUp(t, spec.Name(), p, got, s)
				}
				for _, s := range got.Shares {
					told := slices.ContainsFunc(got.Shortages, func(x plan.Shortage) bool { return slices.Contains(x.Layouts, s.Layout) })
					if goesShort := s.Zone != "" && s.Delivered < s.Need; goesShort != told {
						t.Errorf("%s by %s: %s gets %d of %d mL, told as short: %v", spec.Name(), by, s.Layout, s.Delivered, s.Need, told)
					}
				}
			}
		}
	}
	if short == 0 {
		t.Error("no garden was short of water: the test proves nothing")
	}
}

func addsUp(t *testing.T, name string, p problem.Problem, got plan.Plan, s plan.Shortage) {
	t.Helper()
	sum, placed := problem.Span(0), hadBefore(t, p, got, s)
	for _, l := range s.Limits {
		sum += l.Time
	}
	for _, turn := range got.Schedule.Turns {
		if slices.Contains(s.Zones, turn.Zone) {
			placed += turn.Length()
		}
	}
	if sum != s.Offered || placed != s.Offered || s.Needed-s.Offered != s.Missing {
		t.Errorf("%s: limits of %v add up to %d, turns to %d, offered %d, needed %d, missing %d",
			name, s.Zones, sum, placed, s.Offered, s.Needed, s.Missing)
	}
	had := problem.Span(0)
	for _, l := range s.Limits {
		if l.Kind == rotation.PartHad {
			had += l.Time
		}
	}
	if past := hadBefore(t, p, got, s); had != past {
		t.Errorf("%s: %v had %d before, told %d", name, s.Zones, past, had)
	}
	if math.Abs(s.Share-float64(s.Offered)/float64(s.Needed)) > 1e-12 || s.By == problem.ByNeed && math.Abs(s.Level-s.Share) > 1e-9 {
		t.Errorf("%s: share %g, level %g are not %d of %d", name, s.Share, s.Level, s.Offered, s.Needed)
	}
}

// hadBefore is what turns of the past gave the zones of a shortage, in minutes of the member that is left with most.
func hadBefore(t *testing.T, p problem.Problem, got plan.Plan, s plan.Shortage) problem.Span {
	t.Helper()
	m, err := problem.NewModel(p)
	if err != nil {
		t.Fatal(err)
	}
	sum := problem.Span(0)
	for _, z := range got.Schedule.Zones {
		if !slices.Contains(s.Zones, z.ID) {
			continue
		}
		var members []int
		for _, id := range z.Layouts {
			i, _ := m.LayoutIndex(id)
			members = append(members, i)
		}
		batch := problem.NewBatch(m, m.SourceOf[members[0]], members, s.By)
		sum += batch.Past
	}
	return sum
}
