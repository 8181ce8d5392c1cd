package plan_test

import (
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

// onTheLastDay counts how often a layout is watered on its last allowed day although it could be watered earlier, and all
// waterings that have a day before them.
func onTheLastDay(p problem.Problem, got plan.Plan) (tense, all int) {
	day := map[string]int{}
	for _, w := range p.Windows {
		day[w.ID] = w.Day
	}
	for _, l := range p.Layouts {
		watered := make([]bool, p.Days)
		for _, s := range got.Shares {
			for _, turn := range got.Schedule.Turns {
				if s.Layout == l.ID && turn.Zone == s.Zone {
					watered[day[turn.Window]] = true
				}
			}
		}
		by := l.MaxInterval - l.DaysSince
		for d, is := range watered {
			if !is {
				continue
			}
			if l.MaxInterval > 1 && by > 0 {
				all++
				if d >= by {
					tense++
				}
			}
			by = d + l.MaxInterval
		}
	}
	return tense, all
}

// Where it costs no share, zones are watered a day before they have to be, so that one turn can be missed.
func TestPropose_leavesRoomForAMissedTurn(t *testing.T) {
	t.Parallel()
	tense, all := 0, 0
	for _, kind := range []problemtest.Kind{problemtest.Easy, problemtest.Hands, problemtest.Ledgers} {
		for _, drilled := range []bool{false, true} {
			spec := problemtest.Spec{Kind: kind, Layouts: 16, Drilled: drilled, Seed: 3}
			p := problemtest.Garden(spec)
			got := propose(t, p, plan.Options{})
			if got.Smallest < 1 {
				t.Errorf("%s: smallest share %g", spec.Name(), got.Smallest)
			}
			last, n := onTheLastDay(p, got)
			tense, all = tense+last, all+n
		}
	}
	if tense*10 > all {
		t.Errorf("%d of %d waterings come on the last allowed day", tense, all)
	}
}

// Where the water hours allow it no plant goes short on any day, judged by replaying the plan through the soil.
func TestPropose_nobodyGoesShortWhereTheWaterAllows(t *testing.T) {
	t.Parallel()
	served := 0
	for seed := range uint64(4) {
		for _, n := range []int{6, 12, 24} {
			for _, drilled := range []bool{false, true} {
				for _, grid := range []problem.Span{0, 5 * problem.Minute} {
					spec := problemtest.Spec{Kind: problemtest.Ledgers, Layouts: n, Drilled: drilled, Seed: seed}
					got := propose(t, problemtest.Garden(spec), plan.Options{Grid: grid})
					if got.Smallest < 1 {
						continue // the hours don't suffice
					}
					if served++; len(got.Dry) > 0 {
						t.Errorf("%s, grid %d: plants go short: %+v", spec.Name(), grid, got.Dry)
					}
				}
			}
		}
	}
	if served < 30 {
		t.Errorf("only %d of 48 gardens had enough water", served)
	}
}
