package plan_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
)

// lived draws what may happen to a tangled garden between the publishing of its rota and a later moment.
type lived struct {
	*testing.T
	rng *rand.Rand
	living
}

func (l *lived) one(n int) bool { return l.rng.IntN(n) == 0 }

// livedThrough publishes a rota of a tangled garden and lets days pass and things happen. ok is false where there is no rota.
func livedThrough(t *testing.T, seed uint64, layouts int) (living, bool) {
	t.Helper()
	p, o := tangled(seed, layouts)
	l := &lived{T: t, rng: rand.New(rand.NewPCG(seed, 0x6c697665))} //nolint:gosec // reproducible on purpose
	whole := p
	newcomer := l.one(3) && len(p.Layouts) > 1
	if newcomer {
		p.Layouts = p.Layouts[:len(p.Layouts)-1]
	}
	if l.one(4) && p.Days > 2 { // the rota ends before the horizon does
		p.Windows = slices.DeleteFunc(slices.Clone(p.Windows), func(w problem.Window) bool { return w.Start >= dayStart(whole.Days-1) })
		l.o.PreviousEnd = dayStart(whole.Days - 1)
	}
	first, err := plan.Propose(p, onlyKnown(p, o))
	if err != nil {
		var refused *plan.OptionError
		if !errors.As(err, &refused) {
			t.Errorf("seed %d: %v", seed, err)
		}
		return l.living, false
	}
	l.whole, l.p = p, whole
	l.o.Previous, l.o.Seed, l.o.Share, l.o.Grid = &first.Schedule, o.Seed, o.Share, o.Grid
	l.o.Now = dayStart(l.rng.IntN(p.Days)) + problem.Instant(l.rng.IntN(1440))*problem.Minute
	if turns := first.Schedule.Turns; len(turns) > 0 && l.one(3) { // while a turn runs
		turn := turns[l.rng.IntN(len(turns))]
		l.o.Now = turn.Start + max(1, (turn.End-turn.Start)/2)
	}
	l.o.Notice = []problem.Span{0, 24, 48}[l.rng.IntN(3)] * 60 * problem.Minute
	l.reports(first)
	l.happen()
	l.ask(first)
	return l.living, true
}

// onlyKnown are the options without what they say of a layout that isn't there.
func onlyKnown(p problem.Problem, o plan.Options) plan.Options {
	unknown := func(id string) bool {
		return !slices.ContainsFunc(p.Layouts, func(l problem.Layout) bool { return l.ID == id })
	}
	o.Excluded = slices.DeleteFunc(slices.Clone(o.Excluded), unknown)
	o.Forbidden = slices.DeleteFunc(slices.Clone(o.Forbidden), func(f [2]string) bool { return unknown(f[0]) || unknown(f[1]) })
	o.Pinned = slices.DeleteFunc(slices.Clone(o.Pinned), func(p plan.Pin) bool { return slices.ContainsFunc(p.Layouts, unknown) })
	return o
}

// reports tell what became of the turns that have begun: done, missed, cut short, run on.
func (l *lived) reports(first plan.Plan) {
	m, err := problem.NewModel(l.whole)
	if err != nil {
		l.Fatal(err)
	}
	for _, turn := range first.Schedule.Turns {
		if turn.Start >= l.o.Now {
			continue
		}
		ran := turn
		switch l.rng.IntN(6) {
		case 0:
			continue
		case 1:
			ran.End = turn.Start + max(1, (turn.End-turn.Start)/2)
			ran.Closings = slices.DeleteFunc(slices.Clone(turn.Closings), func(c problem.Closing) bool { return c.At >= ran.End })
		case 2:
			ran.End += problem.Instant(1+l.rng.IntN(20)) * problem.Minute
		}
		z := slices.IndexFunc(first.Schedule.Zones, func(z problem.Zone) bool { return z.ID == turn.Zone })
		l.p.Past = append(l.p.Past, m.Ran(first.Schedule.Zones[z], ran))
	}
}

// happen changes the garden under the rota in up to three ways.
func (l *lived) happen() {
	p := &l.p
	p.Layouts, p.Windows = slices.Clone(p.Layouts), slices.Clone(p.Windows)
	p.Lines, p.Sources = slices.Clone(p.Lines), slices.Clone(p.Sources)
	for range l.rng.IntN(4) {
		i, s, d := l.rng.IntN(len(p.Layouts)), l.rng.IntN(len(p.Sources)), l.rng.IntN(p.Days)
		layout, source := &p.Layouts[i], &p.Sources[s]
		what := l.rng.IntN(15)
		switch what {
		case 0:
			for k := range p.Layouts {
				p.Layouts[k].Need = p.Layouts[k].Need * problem.Milliliters(5+l.rng.IntN(10)) / 10
			}
		case 1:
			l.retire(i)
		case 2:
			p.Windows = slices.DeleteFunc(p.Windows, func(w problem.Window) bool { return w.Day == d && w.Start > l.o.Now })
		case 3:
			l.turnOff(source.ID)
		case 4:
			for k := range p.Lines {
				p.Lines[k].FlowLimit = p.Lines[k].FlowLimit * 7 / 10
			}
		case 5:
			source.DailyCap = problem.Milliliters(1 + l.rng.IntN(200000))
		case 6:
			source.FlowMax = source.FlowMax * 7 / 10
		case 7:
			layout.MaxRun = layout.MaxRun/2 + 1
		case 8:
			layout.MaxDay /= 2
		case 9:
			layout.ClosedDays = append(slices.Clone(layout.ClosedDays), d)
			slices.Sort(layout.ClosedDays)
			layout.ClosedDays = slices.Compact(layout.ClosedDays)
		case 10:
			for k := range p.Windows {
				if w := &p.Windows[k]; w.Start > l.o.Now && l.one(3) {
					w.End = w.Start + (w.End-w.Start+1)/2
				}
			}
		case 11:
			if source.Tank != nil {
				tank := *source.Tank
				tank.Level, tank.Refill = tank.Level/2, tank.Refill/2
				source.Tank = &tank
			}
		case 12:
			layout.OwnValve = false
			for k := range p.Windows {
				p.Windows[k].Attended = false
			}
		case 13:
			source.MinRun, source.Changeover = source.MinRun*2, source.Changeover*2
		case 14:
			layout.HeadMin *= 3
			if layout.Hand() {
				layout.HeadMin = 0
			}
		}
		l.what += fmt.Sprint(what, " ")
	}
}

// retire takes a layout away, and with it what it had.
func (l *lived) retire(i int) {
	if len(l.p.Layouts) == 1 {
		return
	}
	id := l.p.Layouts[i].ID
	l.p.Layouts = slices.Delete(l.p.Layouts, i, i+1)
	l.p.Past = slices.Clone(l.p.Past)
	for k := range l.p.Past {
		l.p.Past[k].Given = slices.DeleteFunc(slices.Clone(l.p.Past[k].Given), func(g problem.Given) bool { return g.Layout == id })
	}
}

// turnOff closes a source from now on.
func (l *lived) turnOff(source string) {
	for k := range l.p.Windows {
		w := &l.p.Windows[k]
		if w.Start > l.o.Now {
			w.Sources = slices.DeleteFunc(slices.Clone(w.Sources), func(s string) bool { return s == source })
		}
	}
	l.p.Windows = slices.DeleteFunc(l.p.Windows, func(w problem.Window) bool { return len(w.Sources) == 0 })
}

// ask draws what a coordinator wants of the next plan.
func (l *lived) ask(first plan.Plan) {
	id := func() string { return l.p.Layouts[l.rng.IntN(len(l.p.Layouts))].ID }
	if turns := toCome(first.Schedule, l.o.Now).Turns; len(turns) > 0 {
		for range l.rng.IntN(3) {
			l.o.Locked = append(l.o.Locked, turns[l.rng.IntN(len(turns))])
		}
	}
	if l.one(4) {
		l.o.Excluded = []string{id()}
	}
	named := func() string {
		for {
			if name := id(); !slices.Contains(l.o.Excluded, name) {
				return name
			}
		}
	}
	if len(l.p.Layouts) == len(l.o.Excluded) {
		return
	}
	if a, b := named(), named(); a != b && l.one(4) {
		l.o.Forbidden = [][2]string{{a, b}}
	}
	if len(first.Schedule.Zones) > 0 && l.one(3) {
		pin := plan.Pin{Layouts: []string{named()}, Alone: l.one(3)}
		if l.one(2) {
			pin.Zone = first.Schedule.Zones[l.rng.IntN(len(first.Schedule.Zones))].ID
		}
		l.o.Pinned = []plan.Pin{pin}
	}
	if l.one(6) {
		l.o.Grid = 10 * problem.Minute
	}
}

// TestTangle_living plans tangled gardens on after their rotas have been published: turns were missed, cut short or run on, one
// may be running, limits and layouts have changed, turns are locked. Every law of fresh plans and of re-plans holds.
func TestTangle_living(t *testing.T) {
	t.Parallel()
	seeds := []uint64{477, 3568} // a layout with too much that no zone carries any more; a turn cut at its start beside a dropped one
	for k := range *tangles {
		seeds = append(seeds, *tanglesFrom+k)
	}
	for _, seed := range seeds {
		l, ok := livedThrough(t, seed, *tanglesSize)
		if !ok {
			continue
		}
		fast, ok := tanglePlan(t, seed, l.p, l.o)
		if !ok {
			continue
		}
		livingLaws(t, seed, l, fast)
		if *tanglesFull || seed%fullEvery == 0 {
			l.o.Effort = plan.Full
			if full, ok := tanglePlan(t, seed, l.p, l.o); ok {
				livingLaws(t, seed, l, full)
				if full.Disturbed() == fast.Disturbed() && worse(full, fast) {
					t.Errorf("seed %d: full effort is worse", seed)
				}
			}
		}
	}
}

func livingLaws(t *testing.T, seed uint64, l living, got plan.Plan) {
	t.Helper()
	name := fmt.Sprintf("seed %d, %s: ", seed, l.what)
	lawOfTurns(prefixed{t, name}, l, got)
	if got.Disturbed() != (len(got.Forced) > 0) {
		t.Errorf("%s%d of %d turns change, forced by %v", name, len(got.Changes), got.ToCome, got.Forced)
	}
	again, ok := tanglePlan(t, seed, l.p, l.o)
	if !ok || !reflect.DeepEqual(got, again) {
		t.Errorf("%stwo runs differ", name)
	}
	next := l.o
	next.Previous = &got.Schedule
	next.PreviousEnd = 0
	twice, ok := tanglePlan(t, seed, l.p, next)
	if !ok {
		t.Errorf("%sits own plan is refused", name)
	} else if diff := cmp.Diff(got.Schedule, twice.Schedule); diff != "" && !gainsOf(twice, got) {
		t.Errorf("%splanned once more (-first +second):\n%s", name, diff)
	}
}

// prefixed says of what garden a law is broken.
type prefixed struct {
	*testing.T
	name string
}

func (p prefixed) Errorf(format string, args ...any) { p.T.Errorf(p.name+format, args...) }
