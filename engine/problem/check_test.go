package problem_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rillturn.example/rillturn/engine/hydraulics"
	"rillturn.example/rillturn/engine/problem"
	"rillturn.example/rillturn/engine/problem/problemtest"
	"rillturn.example/rillturn/engine/unit"
)

const minute = problem.Minute

func lpm(v float64) float64 { return float64(unit.LitersPerMinute(v)) }

// garden is two sources on a line and three layouts, small enough to follow by hand: 10 L/min each, 100 L of need, one
// window of an hour on each of three days.
func garden() problem.Problem {
	source := problem.Source{
		ID: "a", Line: "line", FlowMax: 20000, Changeover: 2 * minute, MinRun: 5 * minute,
		Supply: hydraulics.Supply{Static: 30, Coefficient: 10 / lpm(20), Exponent: 1, MaxFlow: lpm(20)},
	}
	other := source
	other.ID = "b"
	p := problem.Problem{Days: 3, Lines: []problem.Line{{ID: "line", FlowLimit: 40000}}, Sources: []problem.Source{source, other}}
	for d, id := range []string{"w0", "w1", "w2"} {
		start := problem.Instant((d*24 + 6) * 60 * minute)
		p.Windows = append(p.Windows, problem.Window{ID: id, Day: d, Start: start, End: start + 60*minute, Sources: []string{"a", "b"}})
	}
	for _, l := range []struct{ id, source string }{{"l1", "a"}, {"l2", "a"}, {"l3", "b"}} {
		p.Layouts = append(p.Layouts, problem.Layout{
			ID: l.id, Source: l.source, Curve: hydraulics.PowerLaw{Flow: lpm(10), Head: 10}, HeadMin: 10, Need: 100000, MaxInterval: 2,
			DaysSince: 1, MaxDay: 200000, MaxRun: 20 * minute, Soak: 10 * minute, OwnValve: l.id == "l1",
		})
	}
	return p
}

// schedule waters l1 and l2 together and l3 alone, ten minutes on the first and the last day.
func schedule() problem.Schedule {
	s := problem.Schedule{Zones: []problem.Zone{
		{ID: "z1", Source: "a", Layouts: []string{"l1", "l2"}}, {ID: "z2", Source: "b", Layouts: []string{"l3"}},
	}}
	for _, d := range []int{0, 2} {
		start := problem.Instant((d*24 + 6) * 60 * minute)
		for _, z := range []string{"z1", "z2"} {
			s.Turns = append(s.Turns, problem.Turn{Zone: z, Window: []string{"w0", "w1", "w2"}[d], Start: start, End: start + 10*minute})
		}
	}
	return s
}

func TestCheck_acceptsAGoodSchedule(t *testing.T) {
	t.Parallel()
	if found := problem.Check(garden(), schedule()); len(found) > 0 {
		t.Errorf("found %+v", found)
	}
}

func TestCheck_findsEveryBrokenRule(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		rule  problem.Rule
		name  string
		spoil func(*problem.Problem, *problem.Schedule)
	}{
		{problem.RuleProblem, "invalid problem", func(p *problem.Problem, _ *problem.Schedule) { p.Days = 0 }},
		{problem.RuleZone, "zone twice", func(_ *problem.Problem, s *problem.Schedule) { s.Zones[1].ID = "z1" }},
		{problem.RuleZone, "empty zone", func(_ *problem.Problem, s *problem.Schedule) { s.Zones[1].Layouts = nil }},
		{problem.RuleMember, "layout twice", func(_ *problem.Problem, s *problem.Schedule) { s.Zones[0].Layouts = []string{"l1", "l2", "l2"} }},
		{problem.RuleMember, "layout left out", func(_ *problem.Problem, s *problem.Schedule) { s.Zones[0].Layouts = []string{"l1"} }},
		{problem.RulePlumbing, "wrong source", func(_ *problem.Problem, s *problem.Schedule) { s.Zones[0].Layouts = []string{"l1", "l2", "l3"} }},
		{problem.RuleHydraulic, "head", func(p *problem.Problem, _ *problem.Schedule) { p.Layouts[0].HeadMin = 24 }},
		{problem.RuleHydraulic, "flow", func(p *problem.Problem, _ *problem.Schedule) { p.Sources[0].FlowMax = 19000 }},
		{problem.RuleConnections, "hoses", func(p *problem.Problem, _ *problem.Schedule) { p.Sources[0].Connections = 1 }},
		{problem.RuleConnections, "hand turn in company", func(p *problem.Problem, _ *problem.Schedule) {
			p.Layouts[0].Curve, p.Layouts[0].HandFlow = nil, 10000
		}},
		{problem.RuleReference, "unknown window", func(_ *problem.Problem, s *problem.Schedule) { s.Turns[0].Window = "w9" }},
		{problem.RuleWindow, "too early", func(_ *problem.Problem, s *problem.Schedule) { s.Turns[0].Start-- }},
		{problem.RuleWindow, "not for this source", func(p *problem.Problem, _ *problem.Schedule) { p.Windows[0].Sources = []string{"b"} }},
		{problem.RuleClosedDay, "closed", func(p *problem.Problem, _ *problem.Schedule) { p.Layouts[0].ClosedDays = []int{2} }},
		{problem.RuleOverlap, "overlap", func(_ *problem.Problem, s *problem.Schedule) {
			s.Turns = append(s.Turns, s.Turns[0])
		}},
		{problem.RuleMinRun, "short", func(_ *problem.Problem, s *problem.Schedule) { s.Turns[0].End = s.Turns[0].Start + 5*minute - 1 }},
		{problem.RuleMaxRun, "long", func(_ *problem.Problem, s *problem.Schedule) { s.Turns[0].End = s.Turns[0].Start + 20*minute + 1 }},
		{problem.RuleSoak, "no soak", func(_ *problem.Problem, s *problem.Schedule) {
			again := s.Turns[0]
			again.Start, again.End = again.End+10*minute-1, again.End+20*minute
			s.Turns = append(s.Turns, again)
		}},
		{problem.RuleMaxDay, "too much for the soil", func(p *problem.Problem, _ *problem.Schedule) { p.Layouts[1].MaxDay = 99999 }},
		{problem.RuleDayTime, "too long a day", func(p *problem.Problem, _ *problem.Schedule) { p.Layouts[1].MaxDayTime = 10*minute - 1 }},
		{problem.RuleLineFlow, "line flow", func(p *problem.Problem, _ *problem.Schedule) { p.Lines[0].FlowLimit = 29999 }},
		{problem.RuleSourceCap, "source cap", func(p *problem.Problem, _ *problem.Schedule) { p.Sources[0].DailyCap = 199999 }},
		{problem.RuleLineCap, "line cap", func(p *problem.Problem, _ *problem.Schedule) { p.Lines[0].DailyCap = 299999 }},
		{problem.RuleTank, "tank", func(p *problem.Problem, _ *problem.Schedule) {
			p.Sources[0].Tank = &problem.Tank{Volume: 300000, Level: 199999}
		}},
		{problem.RuleReserve, "reserve", func(p *problem.Problem, _ *problem.Schedule) { p.Sources[0].Reserve = 900 }},
		{problem.RuleClosing, "no valve of its own", func(_ *problem.Problem, s *problem.Schedule) {
			s.Turns[0].Closings = []problem.Closing{{Layout: "l2", At: s.Turns[0].End}}
		}},
		{problem.RuleInterval, "gap", func(p *problem.Problem, _ *problem.Schedule) { p.Layouts[2].MaxInterval = 1 }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			p, s := garden(), schedule()
			tc.spoil(&p, &s)
			for _, v := range problem.Check(p, s) {
				if v.Rule == tc.rule {
					return
				}
			}
			t.Errorf("rule %s not found broken in %+v", tc.rule, problem.Check(p, s))
		})
	}
}

// Turns of the past may fill a window to its last usable minute; a zone that went on after itself needed no pause, and what
// is past alone breaks no rule of a plan.
func TestCheck_pastTurnsInAFullWindow(t *testing.T) {
	t.Parallel()
	p, s := garden(), schedule()
	turn := s.Turns[0]
	zone := slices.IndexFunc(s.Zones, func(z problem.Zone) bool { return z.ID == turn.Zone })
	m, err := problem.NewModel(p)
	if err != nil {
		t.Fatal(err)
	}
	first, second := turn, turn
	first.End = turn.Start + (turn.End-turn.Start)/2
	second.Start = first.End
	p.Past = []problem.Past{m.Ran(s.Zones[zone], first), m.Ran(s.Zones[zone], second)}
	s.Turns = nil
	source := slices.IndexFunc(p.Sources, func(x problem.Source) bool { return x.ID == s.Zones[zone].Source })
	p.Sources[source].Reserve = 900
	for _, v := range problem.Check(p, s) {
		if v.Rule == problem.RuleReserve {
			t.Errorf("%+v", v)
		}
	}
}

func TestCheck_aClosingEndsTheWaterOfItsMember(t *testing.T) {
	t.Parallel()
	p, s := garden(), schedule()
	p.Layouts[0].MaxDay = 60000
	if found := problem.Check(p, s); len(found) == 0 {
		t.Error("100 L on a soil that takes 60 L passes")
	}
	for k := range p.Windows {
		p.Windows[k].Attended = true
	}
	for k := range s.Turns {
		if s.Turns[k].Zone == "z1" {
			s.Turns[k].Closings = []problem.Closing{{Layout: "l1", At: s.Turns[k].Start + 6*minute}}
		}
	}
	if found := problem.Check(p, s); len(found) > 0 {
		t.Errorf("closed after 60 L: %+v", found)
	}
}

func TestValidate_pointsAtTheField(t *testing.T) {
	t.Parallel()
	for field, spoil := range map[string]func(*problem.Problem){
		"/Layouts/1/Need":               func(p *problem.Problem) { p.Layouts[1].Need = -1 },
		"/Layouts/1/ID":                 func(p *problem.Problem) { p.Layouts[1].ID = "l1" },
		"/Layouts/0/Source":             func(p *problem.Problem) { p.Layouts[0].Source = "c" },
		"/Layouts/0/HeadMin":            func(p *problem.Problem) { p.Layouts[0].HeadMin = unit.Head(math.NaN()) },
		"/Layouts/2/ClosedDays/0":       func(p *problem.Problem) { p.Layouts[2].ClosedDays = []int{3} },
		"/Sources/1/Line":               func(p *problem.Problem) { p.Sources[1].Line = "pipe" },
		"/Sources/0/Supply/Static":      func(p *problem.Problem) { p.Sources[0].Supply.Static = math.Inf(1) },
		"/Sources/0/Supply/Exponent":    func(p *problem.Problem) { p.Sources[0].Supply.Exponent = 0 },
		"/Windows/0/End":                func(p *problem.Problem) { p.Windows[0].End = p.Windows[0].Start },
		"/Windows/1/Day":                func(p *problem.Problem) { p.Windows[1].Day = 3 },
		"/Windows/2/Sources/0":          func(p *problem.Problem) { p.Windows[2].Sources = []string{"z"} },
		"/Lines/0/FlowLimit":            func(p *problem.Problem) { p.Lines[0].FlowLimit = 0 },
		"/Sources/0/Supply/MaxFlow":     func(p *problem.Problem) { p.Sources[0].Supply.MaxFlow = math.NaN() },
		"/Sources/0/Supply/Elsewhere":   func(p *problem.Problem) { p.Sources[0].Supply.Elsewhere = -1 },
		"/Sources/0/Supply/Own":         func(p *problem.Problem) { p.Sources[0].Supply.Own = 1.1 },
		"/Sources/0/Supply/Coefficient": func(p *problem.Problem) { p.Sources[0].Supply.Coefficient = -1 },
	} {
		p := garden()
		spoil(&p)
		var invalid *problem.InvalidError
		if err := p.Validate(); !errors.As(err, &invalid) {
			t.Errorf("%s: no fault", field)
			continue
		}
		found := false
		for _, f := range invalid.Faults {
			found = found || f.Field == field
		}
		if !found {
			t.Errorf("%s: faults are %+v", field, invalid.Faults)
		}
	}
}

func TestRound_figuresAsPeopleWriteThem(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		milli := rapid.Int64Range(0, 1e9).Draw(t, "millilitres a minute")
		q := unit.LitersPerMinute(float64(milli) / 1000)
		if up, down := problem.RateUp(q), problem.RateDown(q); int64(up) != milli || int64(down) != milli {
			t.Errorf("%d mL/min became %d and %d", milli, down, up)
		}
	})
}

// TestOperate_balancesSupplyAndDemand holds the joint operating point against its definition, and the zone test against
// the operating point: a zone fits exactly when every member keeps its least head and the flow limit holds.
func TestOperate_balancesSupplyAndDemand(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := problemtest.Garden(problemtest.Spec{
			Kind: problemtest.Easy, Layouts: 6, Drilled: rapid.Bool().Draw(t, "drilled"), Seed: rapid.Uint64Range(0, 500).Draw(t, "seed"),
		})
		m, err := problem.NewModel(p)
		if err != nil {
			t.Fatal(err)
		}
		var members []int
		for i := range p.Layouts {
			if rapid.Bool().Draw(t, "open") {
				members = append(members, i)
			}
		}
		if len(members) == 0 {
			return
		}
		head := float64(m.Operate(0, members).Head)
		flow, least := 0.0, 0.0
		for _, i := range members {
			flow += p.Layouts[i].Curve.FlowAt(head)
			least = math.Max(least, float64(p.Layouts[i].HeadMin))
		}
		supply := p.Sources[0].Supply
		if gives := supply.HeadAt(flow); head > 0 && math.Abs(gives-head) > 1e-6 {
			t.Errorf("head %.9f m, the supply gives %.9f m at that flow", head, gives)
		}
		keeps := head >= least-1e-7 && flow <= lpm(1)*float64(p.Sources[0].FlowMax)/1000*(1+1e-7)
		clear := math.Abs(head-least) > 1e-6 && math.Abs(flow/lpm(1)*1000-float64(p.Sources[0].FlowMax)) > 1
		if fits := m.Fits(0, members); clear && fits != keeps {
			t.Errorf("fits %t, but head %.6f m of %.6f m and flow %.4f L/min", fits, head, least, flow/lpm(1))
		}
	})
}
