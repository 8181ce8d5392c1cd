package plan_test

import (
	"slices"
	"testing"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

func zoneOf(p plan.Plan, layout string) problem.Zone {
	return p.Schedule.Zones[slices.IndexFunc(p.Schedule.Zones, func(z problem.Zone) bool { return slices.Contains(z.Layouts, layout) })]
}

// Layouts that are pinned share a zone. Others join them where that serves, unless they are to be alone.
func TestPropose_pinnedLayoutsStayTogetherAndOthersJoin(t *testing.T) {
	t.Parallel()
	joined := 0
	for seed := range uint64(8) {
		p := problemtest.Garden(problemtest.Spec{Kind: problemtest.Easy, Layouts: 6 + 8*int(seed%2), Drilled: seed%4 > 1, Seed: seed})
		free := propose(t, p, plan.Options{})
		var pair []string
		for _, s := range free.Shares {
			if len(pair) == 0 || len(pair) == 1 && zoneOf(free, s.Layout).ID != zoneOf(free, pair[0]).ID {
				pair = append(pair, s.Layout)
			}
		}
		for _, alone := range []bool{false, true} {
			got, err := plan.Propose(p, plan.Options{Pinned: []plan.Pin{{Layouts: pair, Alone: alone}}})
			if err != nil {
				continue // they cannot be open together
			}
			z := zoneOf(got, pair[0])
			if !slices.Contains(z.Layouts, pair[1]) || alone && len(z.Layouts) > 2 {
				t.Errorf("seed %d: %v pinned, zone of %v, alone: %v", seed, pair, z.Layouts, alone)
			}
			if !alone && len(z.Layouts) > 2 {
				joined++
			}
		}
	}
	if joined == 0 {
		t.Error("nobody ever joined pinned layouts: the test proves nothing")
	}
}

// A layout that is pinned to a published zone goes there, and those who are in it stay as far as they fit.
func TestPropose_pinToAPublishedZone(t *testing.T) {
	t.Parallel()
	stayed := 0
	for seed := range uint64(6) {
		p := problemtest.Garden(problemtest.Spec{Kind: problemtest.Easy, Layouts: 12, Drilled: true, Seed: seed})
		before := propose(t, p, plan.Options{})
		home, moving := before.Schedule.Zones[0], before.Schedule.Zones[1].Layouts[0]
		got := propose(t, p, plan.Options{Previous: &before.Schedule, Pinned: []plan.Pin{{Layouts: []string{moving}, Zone: home.ID}}})
		z := zoneOf(got, moving)
		if z.ID != home.ID {
			t.Errorf("seed %d: %s is pinned to %s and in %s", seed, moving, home.ID, z.ID)
		}
		for _, id := range home.Layouts {
			if slices.Contains(z.Layouts, id) {
				stayed++
			}
		}
		// Where it is already, a pin changes nothing.
		same := propose(t, p, plan.Options{Previous: &before.Schedule, Pinned: []plan.Pin{{Layouts: home.Layouts[:1], Zone: home.ID}}})
		if !slices.EqualFunc(same.Schedule.Turns, before.Schedule.Turns, func(a, b problem.Turn) bool {
			return a.Zone == b.Zone && a.Start == b.Start && a.End == b.End
		}) {
			t.Errorf("seed %d: a pin to its own zone moves turns", seed)
		}
	}
	if stayed == 0 {
		t.Error("nobody stayed in the zone: the test proves nothing")
	}
}
