package problemtest

import (
	"fmt"
	"math"
	"math/rand/v2"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
)

// Tangle returns a garden in which every limit that a problem can state may meet every other, whether or not anybody would
// garden like that: lines too thin for a layout, windows too short for a turn, soils that take no turn at all, tanks that
// are empty, days that are closed, layouts that need nothing. It is small, valid, the same every time, and can be stated
// as a file. layouts is the most layouts.
func Tangle(seed uint64, layouts int) problem.Problem {
	t := &tangler{rng: rand.New(rand.NewPCG(seed, 0x74616e67))} //nolint:gosec // reproducible on purpose
	t.p = problem.Problem{Days: 1 + t.rng.IntN(9), OverTolerance: pick(t, problem.PerMille(0), 50, 100, 100, 300)}
	if t.one(20) {
		t.p.Days = 14
	}
	t.lines()
	t.sources()
	t.windows()
	for i := range 1 + t.rng.IntN(layouts) {
		t.layout(i)
	}
	return t.p
}

type tangler struct {
	rng *rand.Rand
	p   problem.Problem
}

// one is true once in n.
func (t *tangler) one(n int) bool { return t.rng.IntN(n) == 0 }

func (t *tangler) between(low, high float64) float64 { return low + (high-low)*t.rng.Float64() }

func pick[T any](t *tangler, of ...T) T { return of[t.rng.IntN(len(of))] }

func (t *tangler) lines() {
	for k := range t.rng.IntN(3) {
		l := problem.Line{ID: fmt.Sprintf("line%d", k), FlowLimit: rate(tenth(t.between(12, 70)))}
		if t.one(4) {
			l.FlowLimit = rate(tenth(t.between(3, 14))) // thinner than some layouts
		}
		if t.one(3) {
			l.DailyCap = ml(tenth(t.between(20, 1500)))
		}
		t.p.Lines = append(t.p.Lines, l)
	}
}

func (t *tangler) sources() {
	count := pick(t, 1, 1, 1, 2, 2, 3)
	for k := range count {
		most := tenth(t.between(8, 34))
		supply := hydraulics.Supply{Static: tenth(t.between(1.5, 30)), Exponent: pick(t, 1.0, 1.85, 2), MaxFlow: flow(most)}
		supply.Coefficient = supply.Static * t.between(0, 1.2) / math.Pow(flow(most), supply.Exponent)
		if t.one(8) {
			supply.Coefficient = 0
		}
		s := problem.Source{
			ID: fmt.Sprintf("S%d", k), Supply: supply, FlowMax: rate(most), Changeover: span(pick(t, 0.0, 0, 1, 2, 2, 5, 12.5)),
			MinRun: span(pick(t, 0.0, 1, 5, 5, 5, 15)), Connections: pick(t, 0, 0, 0, 1, 2, 3), Reserve: pick(t, problem.PerMille(0), 0, 0, 100, 250, 900),
		}
		if len(t.p.Lines) > 0 && !t.one(4) {
			s.Line = t.p.Lines[t.rng.IntN(len(t.p.Lines))].ID
		}
		if t.one(4) {
			s.DailyCap = ml(tenth(t.between(5, 900)))
		}
		if t.one(6) {
			volume := ml(tenth(t.between(50, 2000)))
			s.Tank = &problem.Tank{Volume: volume, Level: problem.Milliliters(t.rng.Int64N(int64(volume) + 1)), Refill: rate(tenth(pick(t, 0, t.between(0, 2), t.between(0, 12))))}
		}
		t.p.Sources = append(t.p.Sources, s)
	}
}

// windows opens the sources together, or each at hours of its own that may lie beside those of others.
func (t *tangler) windows() {
	var groups [][]string
	if together := t.one(2); together {
		groups = [][]string{{}}
		for _, s := range t.p.Sources {
			groups[0] = append(groups[0], s.ID)
		}
	} else {
		for _, s := range t.p.Sources {
			groups = append(groups, []string{s.ID})
		}
	}
	for d := range t.p.Days {
		for _, sources := range groups {
			at := float64(t.rng.IntN(600))
			for range pick(t, 0, 1, 1, 1, 2, 3) {
				length := pick(t, 1.5, 10, 30, t.between(20, 90), t.between(60, 240), 60, 120)
				end := math.Floor(min(at+length, day))
				if end <= at {
					break
				}
				t.p.Windows = append(t.p.Windows, problem.Window{
					ID: fmt.Sprintf("W%d", len(t.p.Windows)), Day: d, Sources: sources, Attended: t.one(3),
					Start: problem.Instant(span(float64(d)*day + at)), End: problem.Instant(span(float64(d)*day + end)),
				})
				if at = end + pick(t, 0.0, 1, 30, 200); at >= day {
					break
				}
			}
		}
	}
}

func (t *tangler) layout(i int) {
	days := t.p.Days
	l := problem.Layout{
		ID: fmt.Sprintf("L%d", i), Source: t.p.Sources[t.rng.IntN(len(t.p.Sources))].ID, Area: unit.Area(tenth(t.between(0, 40))),
		Need: ml(tenth(t.between(1, 900))), Class: pick(t, 0, 0, 0, 0, 1, 2), MaxInterval: 1 + t.rng.IntN(days+2),
		MaxRun: span(pick(t, 240.0, 240, 60, 60, 25, 12, 4)), Soak: span(pick(t, 0.0, 0, 0, 10, 45, 400)), OwnValve: t.one(3),
	}
	l.DaysSince = t.rng.IntN(l.MaxInterval + 1)
	if t.one(10) {
		l.DaysSince += 3
	}
	if t.one(12) {
		l.Need = 0
	}
	l.MaxDay = pick(t, l.Need, l.Need/2, l.Need/problem.Milliliters(days)*2, ml(tenth(t.between(20, 400))), ml(tenth(t.between(1, 60))))
	if t.one(5) {
		l.MaxDayTime = span(tenth(t.between(3, 90)))
	}
	switch t.rng.IntN(6) {
	case 0:
		for d := i % 2; d < days; d += 2 {
			l.ClosedDays = append(l.ClosedDays, d)
		}
	case 1:
		for d := range days {
			if t.one(3) {
				l.ClosedDays = append(l.ClosedDays, d)
			}
		}
	}
	static := 0.0
	for _, s := range t.p.Sources {
		if s.ID == l.Source {
			static = s.Supply.Static
		}
	}
	switch {
	case t.one(8):
		l.HandFlow = rate(tenth(t.between(4, 20)))
	case t.one(2):
		l.Curve = hydraulics.PowerLaw{Flow: flow(tenth(t.between(0.8, 14))), Head: 10}
		l.HeadMin = unit.Head(tenth(static * t.between(0, 0.9)))
	default:
		l.Curve = hydraulics.PowerLaw{Flow: flow(tenth(t.between(3, 25))), Head: 1, Exponent: tenth(t.between(0.3, 0.7))}
		l.HeadMin = unit.Head(pick(t, 0, 0.05, 0.15, 0.4, tenth(static*t.between(0, 0.5))))
	}
	if l.Need > 0 && t.one(6) {
		t.reservoir(&l)
	}
	t.p.Layouts = append(t.p.Layouts, l)
}

func (t *tangler) reservoir(l *problem.Layout) {
	from := t.rng.IntN(t.p.Days)
	use := l.Need / problem.Milliliters(t.p.Days)
	r := problem.Reservoir{From: from, Missing: use * problem.Milliliters(t.rng.IntN(4))}
	for range t.p.Days - from {
		holds := use * problem.Milliliters(1+t.rng.IntN(4))
		r.Use, r.Holds, r.Reaches = append(r.Use, use), append(r.Holds, holds), append(r.Reaches, holds*2)
	}
	l.Reservoirs = append(l.Reservoirs, r)
}
