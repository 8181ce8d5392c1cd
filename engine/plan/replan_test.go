package plan_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
)

func propose(t *testing.T, p problem.Problem, o plan.Options) plan.Plan {
	t.Helper()
	got, err := plan.Propose(p, o)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// ran returns the problem with the turns that started before now as facts, without the last ones that were missed.
func ran(t *testing.T, p problem.Problem, s problem.Schedule, now problem.Instant, missed int) problem.Problem {
	t.Helper()
	m, err := problem.NewModel(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, turn := range s.Turns {
		z := slices.IndexFunc(s.Zones, func(z problem.Zone) bool { return z.ID == turn.Zone })
		if turn.Start < now {
			p.Past = append(p.Past, m.Ran(s.Zones[z], turn))
		}
	}
	p.Past = p.Past[:max(0, len(p.Past)-missed)]
	return p
}

// toCome returns the schedule without the turns that started before now.
func toCome(s problem.Schedule, now problem.Instant) problem.Schedule {
	s.Turns = slices.DeleteFunc(slices.Clone(s.Turns), func(t problem.Turn) bool { return t.Start < now })
	return s
}

// dayStart is the beginning of a day in gardens whose days all have 24 hours.
func dayStart(d int) problem.Instant { return problem.Instant(d * 24 * 60 * problem.Minute) }

var replanKinds = []problemtest.Kind{
	problemtest.Easy, problemtest.OverSubscribed, problemtest.OddEven, problemtest.Soak, problemtest.Intervals, problemtest.DailyCap,
	problemtest.Hands, problemtest.TankFed,
}

func TestPropose_nothingChangedGivesTheSameRota(t *testing.T) {
	t.Parallel()
	for _, kind := range replanKinds {
		for _, drilled := range []bool{false, true} {
			spec := problemtest.Spec{Kind: kind, Layouts: 12, Drilled: drilled, Seed: 4}
			p := problemtest.Garden(spec)
			first := propose(t, p, plan.Options{})
			for _, day := range []int{0, 2, 4} {
				now := dayStart(day)
				again := propose(t, ran(t, p, first.Schedule, now, 0), plan.Options{
					Previous: &first.Schedule, Now: now, Notice: 48 * 60 * problem.Minute,
				})
				if diff := cmp.Diff(toCome(first.Schedule, now), again.Schedule); diff != "" {
					t.Errorf("%s from day %d (-published +planned):\n%s", spec.Name(), day, diff)
				}
				if len(again.Changes) > 0 {
					t.Errorf("%s from day %d: %d changes", spec.Name(), day, len(again.Changes))
				}
			}
		}
	}
}

func TestPropose_oneMissedTurnChangesLittle(t *testing.T) {
	t.Parallel()
	for _, kind := range replanKinds {
		for _, drilled := range []bool{false, true} {
			spec := problemtest.Spec{Kind: kind, Layouts: 12, Drilled: drilled, Seed: 5}
			p := problemtest.Garden(spec)
			first := propose(t, p, plan.Options{})
			now := dayStart(2)
			again := propose(t, ran(t, p, first.Schedule, now, 1), plan.Options{Previous: &first.Schedule, Now: now})
			other, kinds := 0, map[plan.ChangeKind]int{}
			for _, c := range again.Changes {
				if c.Kind != plan.Resized {
					other++
					kinds[c.Kind]++
				}
			}
			if part := float64(other) / float64(again.ToCome); part > 0.25 {
				t.Errorf("%s: %d of %d turns changed: %v", spec.Name(), other, again.ToCome, kinds)
			}
			if len(again.Late) > len(first.Late)+4 {
				t.Errorf("%s: %d late, %d before", spec.Name(), len(again.Late), len(first.Late))
			}
		}
	}
}

func TestPropose_insideTheNoticePeriodTurnsOnlyShrink(t *testing.T) {
	t.Parallel()
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.Easy, Layouts: 16, Seed: 6})
	first := propose(t, p, plan.Options{})
	for i := range p.Layouts {
		p.Layouts[i].Need = p.Layouts[i].Need * 6 / 10 // it rained
	}
	now, notice := dayStart(2), problem.Span(48*60*problem.Minute)
	again := propose(t, ran(t, p, first.Schedule, now, 0), plan.Options{Previous: &first.Schedule, Now: now, Notice: notice})
	before := problem.Span(0)
	for _, turn := range toCome(first.Schedule, now).Turns {
		before += turn.Length()
	}
	if again.OpenTime >= before {
		t.Errorf("open %d after rain, %d before", again.OpenTime, before)
	}
	if again.Smallest < 1 {
		t.Errorf("smallest share %g", again.Smallest)
	}
	for _, c := range again.Changes {
		soon := func(turn problem.Turn) bool { return turn.Zone != "" && turn.Start < now+problem.Instant(notice) }
		if c.Kind == plan.Added && soon(c.Now) || c.Kind == plan.Moved && (soon(c.Was) || soon(c.Now)) {
			t.Errorf("inside the notice period: %+v", c)
		}
		if c.Kind == plan.Resized && soon(c.Was) && c.Now.End > c.Was.End {
			t.Errorf("longer inside the notice period: %+v", c)
		}
	}
}

func TestPropose_newLayoutMovesNobody(t *testing.T) {
	t.Parallel()
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.Easy, Layouts: 16, Seed: 7})
	all := p.Layouts
	p.Layouts = all[:15]
	first := propose(t, p, plan.Options{})
	p.Layouts = all
	again := propose(t, p, plan.Options{Previous: &first.Schedule})
	zoneOf := map[string]string{}
	for _, s := range again.Shares {
		zoneOf[s.Layout] = s.Zone
	}
	for _, s := range first.Shares {
		if zoneOf[s.Layout] != s.Zone {
			t.Errorf("%s moved from %s to %s", s.Layout, s.Zone, zoneOf[s.Layout])
		}
	}
	if zoneOf[all[15].ID] == "" {
		t.Errorf("the new layout is in no zone")
	}
	if again.Smallest == 0 {
		t.Errorf("somebody gets nothing")
	}
}

func TestPropose_closureDropsOnlyItsTurns(t *testing.T) {
	t.Parallel()
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.Easy, Layouts: 16, Seed: 8})
	first := propose(t, p, plan.Options{})
	whole := p
	var kept []problem.Window
	closed := map[string]bool{}
	for _, w := range p.Windows {
		if w.Day == 3 {
			closed[w.ID] = true
			continue
		}
		kept = append(kept, w)
	}
	p.Windows = kept
	now := dayStart(1)
	p.Past = ran(t, whole, first.Schedule, now, 0).Past
	again := propose(t, p, plan.Options{Previous: &first.Schedule, Now: now})
	for _, turn := range again.Schedule.Turns {
		if closed[turn.Window] {
			t.Errorf("turn in a closed window: %+v", turn)
		}
	}
}

func TestPropose_lockedTurnsStay(t *testing.T) {
	t.Parallel()
	p := problemtest.Garden(problemtest.Spec{Kind: problemtest.OverSubscribed, Layouts: 16, Seed: 9})
	first := propose(t, p, plan.Options{})
	for i := range p.Layouts[:8] {
		p.Layouts[i].Need *= 2
	}
	turns := first.Schedule.Turns
	locked := []problem.Turn{turns[len(turns)/2], turns[len(turns)-1]}
	again := propose(t, p, plan.Options{Previous: &first.Schedule, Locked: locked})
	for _, want := range locked {
		found := false
		for _, got := range again.Schedule.Turns {
			found = found || cmp.Equal(want, got)
		}
		if !found {
			t.Errorf("locked turn is gone: %+v", want)
		}
	}
}
