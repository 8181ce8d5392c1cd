// Package problemtest makes gardens to plan for: seeded, of the sizes and kinds that a planner must cope with. The
// gardens are invented; nothing in them was measured anywhere.
package problemtest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/unit"
)

// Kind is what is hard about a garden.
type Kind string

// The kinds.
const (
	Easy           Kind = "easy"
	Thirsty        Kind = "thirsty"         // one plot needs many times what the others do
	TooLarge       Kind = "too_large"       // one layout takes more than the spigot gives
	Tight          Kind = "tight"           // water hours that a hidden plan fills to the last minute
	OverSubscribed Kind = "over_subscribed" // twice as much need as water hours
	OneHour        Kind = "one_hour"        // one water hour a week
	TwoSpigots     Kind = "two_spigots"     // on a meter that cannot feed both
	TenSpigots     Kind = "ten_spigots"     // on a meter that cannot feed all
	OddEven        Kind = "odd_even"
	Closures       Kind = "closures" // every layout closed on days of its own, and an interval limit that it can keep on the others alone
	DailyCap       Kind = "daily_cap"
	Soak           Kind = "soak"      // short runs and long pauses
	Intervals      Kind = "intervals" // as many visits as the windows hold
	TankFed        Kind = "tank"
	Hands          Kind = "hands"     // hand turns beside layouts
	Ledgers        Kind = "ledgers"   // soils that say by the day when plants go short, and valves that may be shut early
	ThinLine       Kind = "thin_line" // a meter that lets less through than the spigot gives, and than some layouts take
)

// Kinds lists all kinds.
var Kinds = []Kind{
	Easy, Thirsty, TooLarge, Tight, OverSubscribed, OneHour, TwoSpigots, TenSpigots, OddEven, Closures, DailyCap, Soak, Intervals,
	TankFed, Hands, Ledgers, ThinLine,
}

// Spec names a garden.
type Spec struct {
	Kind    Kind
	Layouts int
	Days    int // 0 is 7, or 14 for one hour a week
	Drilled bool
	Seed    uint64
}

// Name is what the garden is called in files and reports.
func (s Spec) Name() string {
	holes := "regulated"
	if s.Drilled {
		holes = "drilled"
	}
	return fmt.Sprintf("%s-%d-%s-%d", s.Kind, s.Layouts, holes, s.Seed)
}

type maker struct {
	Spec
	rng *rand.Rand
	p   problem.Problem
}

func (m *maker) between(low, high float64) float64 { return low + (high-low)*m.rng.Float64() }

// tenth keeps figures as people write them.
func tenth(v float64) float64 { return math.Round(v*10) / 10 }

// Garden returns the garden of a spec: the same one every time.
func Garden(s Spec) problem.Problem {
	if s.Days == 0 {
		s.Days = 7
		if s.Kind == OneHour {
			s.Days = 14
		}
	}
	m := &maker{Spec: s, rng: rand.New(rand.NewPCG(s.Seed, uint64(s.Layouts)))} //nolint:gosec // reproducible on purpose
	m.p = problem.Problem{Days: s.Days, OverTolerance: 100}
	if s.Kind == Tight {
		m.tight()
		return m.p
	}
	m.sources()
	m.windows()
	for i := range s.Layouts {
		m.layout(i)
	}
	m.adapt()
	m.scaleNeed()
	return m.p
}

func (m *maker) sources() {
	count := max(1, m.Layouts/60)
	switch m.Kind {
	case TwoSpigots:
		count = 2
	case TenSpigots:
		count = 10
	}
	limit := 30.0 * float64(count)
	switch m.Kind {
	case TwoSpigots:
		limit = 34
	case TenSpigots:
		limit = 60
	case ThinLine:
		limit = 9
		if m.Drilled {
			limit = 22
		}
	}
	line := problem.Line{ID: "line", FlowLimit: rate(limit)}
	m.p.Lines = []problem.Line{line}
	for k := range count {
		supply := hydraulics.Supply{Static: tenth(m.between(28, 36)), Exponent: 1.85, MaxFlow: flow(26)}
		supply.Coefficient = (supply.Static - 12) / math.Pow(flow(26), 1.85)
		if m.Drilled {
			supply.Static = tenth(m.between(18, 30))
			supply.Coefficient = supply.Static / math.Pow(flow(28), 1.85)
			supply.MaxFlow = flow(28)
		}
		m.p.Sources = append(m.p.Sources, problem.Source{
			ID: fmt.Sprintf("S%02d", k+1), Line: "line", Supply: supply, FlowMax: problem.RateDown(unit.Flow(supply.MaxFlow)),
			Changeover: 2 * problem.Minute, MinRun: 5 * problem.Minute,
		})
	}
}

func flow(lpm float64) float64         { return float64(unit.LitersPerMinute(lpm)) }
func rate(lpm float64) problem.Rate    { return problem.RateDown(unit.LitersPerMinute(lpm)) }
func span(min float64) problem.Span    { return problem.SpanDown(unit.Minutes(min)) }
func ml(l float64) problem.Milliliters { return problem.VolumeUp(unit.Liters(l)) }

const day = 24 * 60

func (m *maker) window(d int, start, end float64, sources []string) {
	m.p.Windows = append(m.p.Windows, problem.Window{
		ID: fmt.Sprintf("W%02d", len(m.p.Windows)+1), Day: d, Sources: sources,
		Start: problem.Instant(span(float64(d)*day + start)), End: problem.Instant(span(float64(d)*day + end)),
	})
}

func (m *maker) windows() {
	var all []string
	for _, s := range m.p.Sources {
		all = append(all, s.ID)
	}
	for d := range m.Days {
		switch {
		case m.Kind == OneHour:
			if d%7 == 2 {
				m.window(d, 7*60, 8*60, all)
			}
		case d%7 == 6 && m.Kind != Intervals: // nobody waters on the last day of the week
		default:
			m.window(d, 6*60, 9*60+30, all)
			m.window(d, 18*60+30, 20*60+30, all)
		}
	}
}

func (m *maker) layout(i int) {
	l := problem.Layout{
		ID: fmt.Sprintf("L%03d", i+1), Source: m.p.Sources[i%len(m.p.Sources)].ID, Area: unit.Area(tenth(m.between(6, 40))),
		MaxInterval: 2 + m.rng.IntN(3), MaxRun: span(30 + 5*float64(m.rng.IntN(15))), Soak: span(10 * float64(m.rng.IntN(5))),
		Need: ml(tenth(float64(m.Days) * m.between(12, 80))),
	}
	l.DaysSince = 1 + m.rng.IntN(l.MaxInterval-1)
	if m.Drilled {
		l.Curve = hydraulics.PowerLaw{Flow: flow(tenth(m.between(6, 25))), Head: 1, Exponent: tenth(m.between(0.45, 0.6))}
		l.HeadMin = unit.Head([]float64{0.08, 0.15, 0.3}[m.rng.IntN(3)])
	} else {
		l.Curve = hydraulics.PowerLaw{Flow: flow(tenth(m.between(2.5, 11))), Head: 10}
		l.HeadMin = unit.Head([]float64{8, 10, 12, 14}[m.rng.IntN(4)])
	}
	m.p.Layouts = append(m.p.Layouts, l)
}

func (m *maker) adapt() {
	switch m.Kind {
	case Thirsty:
		m.p.Layouts[0].Need *= 8
	case TooLarge:
		m.p.Layouts[0].Curve = hydraulics.PowerLaw{Flow: flow(60), Head: 1}
	case OneHour:
		for i := range m.p.Layouts {
			m.p.Layouts[i].MaxInterval, m.p.Layouts[i].MaxRun = 14, span(60)
		}
	case OddEven:
		for i := range m.p.Layouts {
			l := &m.p.Layouts[i]
			l.MaxInterval, l.DaysSince = max(3, l.MaxInterval), 1
			for d := range m.Days {
				if d%2 == i%2 {
					l.ClosedDays = append(l.ClosedDays, d)
				}
			}
		}
	case Closures:
		for i := range m.p.Layouts {
			m.close(&m.p.Layouts[i])
		}
	case DailyCap:
		m.p.Lines[0].DailyCap = 1
	case Soak:
		for i := range m.p.Layouts {
			m.p.Layouts[i].MaxRun, m.p.Layouts[i].Soak = span(12), span(40)
		}
	case Intervals:
		for i := range m.p.Layouts {
			l := &m.p.Layouts[i]
			l.MaxInterval, l.DaysSince = 1+i%2, 1
		}
	case TankFed:
		m.p.Sources[0].Tank = &problem.Tank{Volume: 1}
	case Hands:
		for i := 0; i < len(m.p.Layouts); i += 4 {
			l := &m.p.Layouts[i]
			l.Curve, l.HeadMin, l.HandFlow = nil, 0, rate(tenth(m.between(8, 18)))
		}
	}
}

// close closes a layout on two of every three days, or one of four, and gives it the interval that its other days make.
func (m *maker) close(l *problem.Layout) {
	every, open := 3+m.rng.IntN(2), 1
	if every == 4 {
		open = 3
	}
	begin, last := m.rng.IntN(every), -1
	l.MaxInterval, l.DaysSince = 1, 1
	for d := range m.Days {
		switch {
		case (d+begin)%every >= open:
			l.ClosedDays = append(l.ClosedDays, d)
		case d%7 < 6: // there is water
			l.MaxInterval, last = max(l.MaxInterval, d-last), d
		}
	}
	l.MaxInterval = max(l.MaxInterval, m.Days-last)
}

// scaleNeed brings the need into proportion with the water hours, and the soil's limits with the need.
func (m *maker) scaleNeed() {
	open, need := problem.Span(0), problem.Milliliters(0)
	for _, w := range m.p.Windows {
		open += w.Length() * problem.Span(len(w.Sources))
	}
	for i := range m.p.Layouts {
		need += m.p.Layouts[i].Need
	}
	load := map[Kind]float64{
		OverSubscribed: 2, OneHour: 1.2, TwoSpigots: 0.62, TenSpigots: 0.24, Intervals: 0.35, Soak: 0.45, OddEven: 0.6, ThinLine: 0.25,
	}[m.Kind]
	if load == 0 {
		load = 0.55
	}
	carried := 20.0 * float64(open) / problem.Minute // litres at a usual zone flow
	factor := load * carried * 1000 / float64(need)
	for i := range m.p.Layouts {
		l := &m.p.Layouts[i]
		l.Need = ml(math.Max(1, tenth(l.Need.Liters()*factor)))
		l.MaxDay = ml(tenth(l.Need.Liters() / float64(m.Days) * m.between(2, 4)))
		if !m.Drilled { // the soil takes at least a shortest turn
			l.MaxDay = max(l.MaxDay, ml(tenth(6*unit.Flow(nominal(l)).LitersPerMinute())))
		} else {
			l.MaxDay = max(l.MaxDay, ml(72))
		}
		if m.Kind == OneHour {
			l.MaxDay = max(l.Need, l.MaxDay)
		}
	}
	switch m.Kind {
	case Ledgers:
		m.ledgers()
	case DailyCap:
		m.p.Lines[0].DailyCap = ml(tenth(carried * load * 0.7 / float64(m.Days)))
	case TankFed:
		total := carried * load
		m.p.Sources[0].Tank = &problem.Tank{Volume: ml(tenth(total / 2)), Level: ml(tenth(total / 3)), Refill: rate(tenth(total * 0.6 / float64(m.Days*day)))}
	}
}

// ledgers gives every layout a soil that lasts as long as its interval, with the same use on every day, and somebody who
// may shut every second one early.
func (m *maker) ledgers() {
	for w := range m.p.Windows {
		m.p.Windows[w].Attended = true
	}
	for i := range m.p.Layouts {
		l := &m.p.Layouts[i]
		l.OwnValve = i%2 == 0
		use := l.Need / problem.Milliliters(m.Days-1+l.DaysSince)
		r := problem.Reservoir{Missing: use * problem.Milliliters(l.DaysSince)}
		for range m.Days {
			r.Use, r.Holds = append(r.Use, use), append(r.Holds, use*problem.Milliliters(l.MaxInterval))
			r.Reaches = append(r.Reaches, 2*r.Holds[0])
		}
		l.Need = r.Missing + use*problem.Milliliters(m.Days-1)
		l.MaxDay = max(l.MaxDay, use*problem.Milliliters(l.MaxInterval))
		l.Reservoirs = []problem.Reservoir{r}
	}
}

// nominal is the flow of a regulated layout or a hand turn [m³/s].
func nominal(l *problem.Layout) float64 {
	if l.Hand() {
		return float64(l.HandFlow.Flow())
	}
	return l.Curve.FlowAt(10)
}

// tight cuts zones that fill the flow and windows that fill the time, and hides them in a shuffled garden: one turn of
// every zone, full flow, no minute to spare.
func (m *maker) tight() {
	const flowMax = 24.0
	m.p.Sources = []problem.Source{{
		ID: "S01", FlowMax: rate(flowMax), Changeover: 2 * problem.Minute, MinRun: 5 * problem.Minute,
		Supply: hydraulics.Supply{Static: 30, Coefficient: 10 / math.Pow(flow(flowMax), 2), Exponent: 2, MaxFlow: flow(flowMax)},
	}}
	zones := max(2, m.Layouts/3)
	perDay := (zones + m.Days - 1) / m.Days
	m.Days = (zones + perDay - 1) / perDay
	m.p.Days = m.Days
	at := 0
	for d := range m.Days {
		length := 0.0
		for k := 0; k < perDay && at < zones; k++ {
			minutes := float64(20 + m.rng.IntN(25))
			if length > 0 {
				length += 2
			}
			length += minutes
			m.hide(at, minutes)
			at++
		}
		m.window(d, 6*60, 6*60+length, []string{"S01"})
	}
	m.rng.Shuffle(len(m.p.Layouts), func(a, b int) {
		m.p.Layouts[a], m.p.Layouts[b] = m.p.Layouts[b], m.p.Layouts[a]
	})
	for i := range m.p.Layouts {
		m.p.Layouts[i].ID = fmt.Sprintf("L%03d", i+1)
	}
}

// hide adds the members of one zone whose flows add up to the whole flow.
func (m *maker) hide(zone int, minutes float64) {
	parts := []float64{8, 8, 8}
	if zone%2 == 1 {
		parts = []float64{10, 8, 6}
	}
	for _, q := range parts {
		m.p.Layouts = append(m.p.Layouts, problem.Layout{
			Source: "S01", Curve: hydraulics.PowerLaw{Flow: flow(q), Head: 10}, HeadMin: 12, Need: ml(q * minutes), MaxDay: ml(q * minutes),
			MaxInterval: 30, DaysSince: 1, MaxRun: span(60), Area: 20,
		})
	}
}

// Shuffled returns the same garden with its parts in another order and under other names.
func Shuffled(p problem.Problem, seed uint64) problem.Problem {
	rng := rand.New(rand.NewPCG(seed, 7)) //nolint:gosec // reproducible on purpose
	p.Layouts, p.Windows = slices.Clone(p.Layouts), slices.Clone(p.Windows)
	rng.Shuffle(len(p.Layouts), func(a, b int) { p.Layouts[a], p.Layouts[b] = p.Layouts[b], p.Layouts[a] })
	rng.Shuffle(len(p.Windows), func(a, b int) { p.Windows[a], p.Windows[b] = p.Windows[b], p.Windows[a] })
	for i := range p.Layouts {
		p.Layouts[i].ID = fmt.Sprintf("%x-%s", rng.Uint32(), p.Layouts[i].ID)
	}
	for i := range p.Windows {
		p.Windows[i].ID = fmt.Sprintf("%x-%s", rng.Uint32(), p.Windows[i].ID)
	}
	return p
}
