package plan_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
	"rillturn.example/rillturn/engine/rotation"
	"rillturn.example/rillturn/engine/unit"
)

const fiveMinutes = problem.Span(5 * problem.Minute)

// On a grid a turn ends where a limit ends it: one milli-minute more for any layout that goes short breaks a rule.
func TestPropose_gridLeavesNoIdleMinute(t *testing.T) {
	t.Parallel()
	tried := 0
	for _, kind := range []problemtest.Kind{
		problemtest.OverSubscribed, problemtest.OneHour, problemtest.TwoSpigots, problemtest.Soak, problemtest.DailyCap, problemtest.Thirsty,
	} {
		for seed := range uint64(3) {
			spec := problemtest.Spec{Kind: kind, Layouts: 8, Drilled: seed == 1, Seed: seed}
			p := problemtest.Garden(spec)
			if seed == 2 {
				p.Sources[0].Reserve = 150
			}
			got := propose(t, p, plan.Options{Grid: fiveMinutes})
			m, err := problem.NewModel(p)
			if err != nil {
				t.Fatal(err)
			}
			for k := range got.Schedule.Turns {
				if !goesShort(got, got.Schedule.Turns[k].Zone) {
					continue
				}
				tried++
				longer := problem.Schedule{Zones: got.Schedule.Zones, Turns: slices.Clone(got.Schedule.Turns)}
				longer.Turns[k].End++
				if broken(m, longer) == broken(m, got.Schedule) {
					t.Errorf("%s: %+v could be longer", spec.Name(), got.Schedule.Turns[k])
				}
			}
		}
	}
	if tried == 0 {
		t.Error("nobody went short: the test proves nothing")
	}
}

// broken counts the rules broken by a schedule, those of days without water aside.
func broken(m *problem.Model, s problem.Schedule) int {
	n := 0
	for _, v := range m.Check(s) {
		if v.Rule != problem.RuleInterval && v.Rule != problem.RuleDry {
			n++
		}
	}
	return n
}

// goesShort tells whether a member of a zone lacks water.
func goesShort(got plan.Plan, zone string) bool {
	return slices.ContainsFunc(got.Shares, func(s plan.Share) bool { return s.Zone == zone && s.Delivered < s.Need })
}

// hours is a garden of equal plots watered by hand from one tap, on days with an hour each.
func hours(plots, days int) problem.Problem {
	p := problem.Problem{Days: days, Sources: []problem.Source{{
		ID: "tap", FlowMax: 10000, Changeover: 2 * problem.Minute, MinRun: 3 * problem.Minute,
		Supply: hydraulics.Supply{Static: 20, Exponent: 1.85, MaxFlow: float64(unit.LitersPerMinute(10))},
	}}}
	for d := range days {
		start := problem.Instant((24*d + 7) * 60 * problem.Minute)
		p.Windows = append(p.Windows, problem.Window{
			ID: fmt.Sprint("hour ", d), Day: d, Start: start, End: start + 60*problem.Minute, Sources: []string{"tap"},
		})
	}
	for i := range plots {
		p.Layouts = append(p.Layouts, problem.Layout{
			ID: fmt.Sprint("plot ", i), Source: "tap", HandFlow: 10000, Need: 600000, Area: 10, MaxInterval: 2 * days, DaysSince: 1,
			MaxDay: 600000, MaxRun: 60 * problem.Minute,
		})
	}
	return p
}

// Three hours, five plots that could use an hour each, two minutes between turns. Every turn but the last of an hour has 3,
// 8, 13, 18 … minutes. Five plots in three hours that all share alike are linked by at least seven turns, which have
// 180 - 4·2 = 172 minutes. More than 33 minutes for everybody can't be had: a plot with n turns, none of them the last of an
// hour, has 3n minutes beyond a multiple of five, so for 34 it needs 36 (two turns), 38 (one) or three turns. At most three
// plots have a last turn, so 34 for all takes 3·34 + 2·36 = 174 minutes with seven turns, and with three turns each for two
// plots more than eight turns, which leave 168 minutes where 170 are needed. 33 is 33, 33, 33, 33, 40:
//
//	33 25 · 33 25 · 8 8 40
func TestPropose_findsTheBestStartsOfThreeHours(t *testing.T) {
	t.Parallel()
	got := propose(t, hours(5, 3), plan.Options{Grid: fiveMinutes, Effort: plan.Fast})
	if want := 33.0 / 60; math.Abs(got.Smallest-want) > 1e-9 {
		t.Errorf("smallest share %.4f, want %.4f: %+v", got.Smallest, want, got.Schedule.Turns)
	}
}

// What the grid costs has a line of its own, which is the time between the moments at which the next turns could have started
// and their starts.
func TestPropose_tellsWhatTheGridCosts(t *testing.T) {
	t.Parallel()
	p := hours(5, 3)
	for i := range p.Layouts {
		p.Layouts[i].MaxRun, p.Layouts[i].Soak = 12*problem.Minute, 60*problem.Minute
	}
	got := propose(t, p, plan.Options{Grid: fiveMinutes})
	if len(got.Shortages) != 1 {
		t.Fatalf("%d shortages", len(got.Shortages))
	}
	addsUp(t, "three hours", p, got, got.Shortages[0])
	told, lost := problem.Span(0), problem.Span(0)
	for _, l := range got.Shortages[0].Limits {
		if l.Kind == rotation.PartGrid {
			told -= l.Time
		}
	}
	for k, turn := range got.Schedule.Turns[1:] {
		if before := got.Schedule.Turns[k]; before.Window == turn.Window {
			lost += problem.Span(turn.Start-before.End) - 2*problem.Minute
		}
	}
	if told != lost || told == 0 {
		t.Errorf("told %d, lost %d: %+v", told, lost, got.Schedule.Turns)
	}
}

// A re-plan looks for better starts of the turns that may still move: in this garden, whose needs have changed, other visits at
// the published starts leave somebody with 0.97 of the need. It shifts few enough turns that no more than a quarter come at
// another time.
func TestPropose_replansLookForBetterStarts(t *testing.T) {
	t.Parallel()
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.Soak, Layouts: 8, Seed: 2})
	first := propose(t, p, plan.Options{Grid: fiveMinutes})
	for k := range p.Layouts {
		p.Layouts[k].Need = p.Layouts[k].Need * problem.Milliliters(6+(k*7+2)%9) / 10
	}
	again := propose(t, p, plan.Options{Grid: fiveMinutes, Previous: &first.Schedule})
	if again.Smallest < 1 {
		t.Errorf("smallest share %.4f", again.Smallest)
	}
	if again.Disturbed() {
		t.Errorf("%d of %d turns change", len(again.Changes), again.ToCome)
	}
}
