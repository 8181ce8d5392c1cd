package problem

import (
	"fmt"
	"math"
	"strings"
)

// Fault is one field of a problem that cannot be planned with. Field is a JSON pointer into Problem with the names of
// its Go fields.
type Fault struct {
	Field  string
	Reason string
}

// InvalidError lists every fault of a problem.
type InvalidError struct{ Faults []Fault }

// Error names the first fault and how many follow.
func (e *InvalidError) Error() string {
	f := e.Faults[0]
	if n := len(e.Faults) - 1; n > 0 {
		return fmt.Sprintf("problem: %s: %s (and %d more)", f.Field, f.Reason, n)
	}
	return fmt.Sprintf("problem: %s: %s", f.Field, f.Reason)
}

type faults []Fault

func (f *faults) add(field, format string, args ...any) {
	*f = append(*f, Fault{Field: field, Reason: fmt.Sprintf(format, args...)})
}

func inRange[T ~int | ~int64](f *faults, field string, v, low, high T) {
	if v < low || v > high {
		f.add(field, "must lie between %d and %d, is %d", low, high, v)
	}
}

// id notes an identity and refuses an empty or repeated one.
func (f *faults) id(field, id string, seen map[string]int, at int) {
	switch _, again := seen[id]; {
	case id == "":
		f.add(field, "must not be empty")
	case again:
		f.add(field, "%q is used twice", id)
	default:
		seen[id] = at
	}
}

// Validate returns an *InvalidError with all faults of the problem, or nil.
func (p Problem) Validate() error {
	var f faults
	inRange(&f, "/Days", p.Days, 1, MaxDays)
	inRange(&f, "/OverTolerance", p.OverTolerance, 0, 10000)
	if len(p.Layouts) > MaxLayouts {
		f.add("/Layouts", "must have at most %d entries, has %d", MaxLayouts, len(p.Layouts))
	}
	lines := map[string]int{}
	for i, l := range p.Lines {
		at := fmt.Sprintf("/Lines/%d", i)
		f.id(at+"/ID", l.ID, lines, i)
		inRange(&f, at+"/FlowLimit", l.FlowLimit, 1, MaxRate)
		inRange(&f, at+"/DailyCap", l.DailyCap, 0, MaxVolume)
	}
	sources := map[string]int{}
	for i := range p.Sources {
		at := fmt.Sprintf("/Sources/%d", i)
		f.id(at+"/ID", p.Sources[i].ID, sources, i)
		p.Sources[i].validate(&f, at, lines)
	}
	p.validateWindows(&f, sources)
	layouts := map[string]int{}
	for i := range p.Layouts {
		at := fmt.Sprintf("/Layouts/%d", i)
		f.id(at+"/ID", p.Layouts[i].ID, layouts, i)
		p.Layouts[i].validate(&f, at, p.Days, sources)
	}
	for i := range p.Past {
		p.Past[i].validate(&f, fmt.Sprintf("/Past/%d", i), p.Days, sources, layouts)
	}
	if len(f) > 0 {
		return &InvalidError{Faults: f}
	}
	return nil
}

func (s *Source) validate(f *faults, at string, lines map[string]int) {
	if _, known := lines[s.Line]; s.Line != "" && !known {
		f.add(at+"/Line", "no service line is called %q", s.Line)
	}
	if h := s.Supply.Static; !(h > 0) || math.IsInf(h, 0) {
		f.add(at+"/Supply/Static", "must be positive, is %g", h)
	}
	if k := s.Supply.Coefficient; !(k >= 0) || math.IsInf(k, 0) {
		f.add(at+"/Supply/Coefficient", "must be zero or more, is %g", k)
	}
	if n := s.Supply.Exponent; !(n > 0 && n <= 4) {
		f.add(at+"/Supply/Exponent", "must lie between 0 and 4, is %g", n)
	}
	if q := s.Supply.MaxFlow; !(q > 0) {
		f.add(at+"/Supply/MaxFlow", "must be positive, is %g", q)
	}
	if q := s.Supply.Elsewhere; !(q >= 0) || math.IsInf(q, 0) {
		f.add(at+"/Supply/Elsewhere", "must be zero or more, is %g", q)
	}
	if own := s.Supply.Own; !(own >= 0 && own <= 1) {
		f.add(at+"/Supply/Own", "must lie between 0 and 1, is %g", own)
	}
	inRange(f, at+"/FlowMax", s.FlowMax, 1, MaxRate)
	inRange(f, at+"/Changeover", s.Changeover, 0, 24*60*Minute)
	inRange(f, at+"/MinRun", s.MinRun, 0, 24*60*Minute)
	inRange(f, at+"/DailyCap", s.DailyCap, 0, MaxVolume)
	inRange(f, at+"/Connections", s.Connections, 0, MaxLayouts)
	inRange(f, at+"/Reserve", s.Reserve, 0, 999)
	if s.Tank != nil {
		inRange(f, at+"/Tank/Volume", s.Tank.Volume, 1, MaxVolume)
		inRange(f, at+"/Tank/Level", s.Tank.Level, 0, s.Tank.Volume)
		inRange(f, at+"/Tank/Refill", s.Tank.Refill, 0, MaxRate)
	}
}

func (p Problem) validateWindows(f *faults, sources map[string]int) {
	seen := map[string]int{}
	type use struct {
		at         int
		start, end Instant
	}
	open := make([][]use, len(p.Sources))
	for i, w := range p.Windows {
		at := fmt.Sprintf("/Windows/%d", i)
		f.id(at+"/ID", w.ID, seen, i)
		inRange(f, at+"/Day", w.Day, 0, p.Days-1)
		inRange(f, at+"/Start", w.Start, 0, Instant(MaxSpan))
		inRange(f, at+"/End", w.End, w.Start+1, Instant(MaxSpan))
		for j, id := range w.Sources {
			s, known := sources[id]
			if !known {
				f.add(fmt.Sprintf("%s/Sources/%d", at, j), "no source is called %q", id)
				continue
			}
			for _, o := range open[s] {
				if w.Start < o.end && o.start < w.End {
					f.add(at, "overlaps window %q for source %q", p.Windows[o.at].ID, id)
				}
				if (o.start < w.Start && p.Windows[o.at].Day > w.Day) || (o.start > w.Start && p.Windows[o.at].Day < w.Day) {
					f.add(at+"/Day", "day and start are not in the same order as those of window %q", p.Windows[o.at].ID)
				}
			}
			open[s] = append(open[s], use{at: i, start: w.Start, end: w.End})
		}
	}
}

func (t *Past) validate(f *faults, at string, days int, sources, layouts map[string]int) {
	if _, known := sources[t.Source]; !known {
		f.add(at+"/Source", "no source is called %q", t.Source)
	}
	inRange(f, at+"/Day", t.Day, 0, days-1)
	inRange(f, at+"/Start", t.Start, -Instant(MaxSpan), Instant(MaxSpan))
	inRange(f, at+"/End", t.End, t.Start+1, Instant(MaxSpan))
	inRange(f, at+"/Flow", t.Flow, 0, MaxRate)
	for k, g := range t.Given {
		if _, known := layouts[g.Layout]; !known {
			f.add(fmt.Sprintf("%s/Given/%d/Layout", at, k), "no layout is called %q", g.Layout)
		}
		inRange(f, fmt.Sprintf("%s/Given/%d/Volume", at, k), g.Volume, 0, MaxVolume)
		inRange(f, fmt.Sprintf("%s/Given/%d/Time", at, k), g.Time, 0, MaxSpan)
	}
}

func (l *Layout) validate(f *faults, at string, days int, sources map[string]int) {
	if _, known := sources[l.Source]; !known {
		f.add(at+"/Source", "no source is called %q", l.Source)
	}
	if l.Hand() {
		inRange(f, at+"/HandFlow", l.HandFlow, 1, MaxRate)
	} else if !(l.HeadMin >= 0) || math.IsInf(float64(l.HeadMin), 0) {
		f.add(at+"/HeadMin", "must be zero or more, is %g", float64(l.HeadMin))
	}
	if !(l.Area >= 0) || math.IsInf(float64(l.Area), 0) {
		f.add(at+"/Area", "must be zero or more, is %g", float64(l.Area))
	}
	inRange(f, at+"/Need", l.Need, 0, MaxVolume)
	inRange(f, at+"/Class", l.Class, 0, 99)
	inRange(f, at+"/MaxInterval", l.MaxInterval, 1, 10000)
	inRange(f, at+"/DaysSince", l.DaysSince, 0, 10000)
	inRange(f, at+"/MaxDay", l.MaxDay, 0, MaxVolume)
	inRange(f, at+"/MaxRun", l.MaxRun, 0, MaxSpan)
	inRange(f, at+"/Soak", l.Soak, 0, MaxSpan)
	inRange(f, at+"/MaxDayTime", l.MaxDayTime, 0, MaxSpan)
	for j, d := range l.ClosedDays {
		inRange(f, fmt.Sprintf("%s/ClosedDays/%d", at, j), d, 0, days-1)
	}
	for j := range l.Reservoirs {
		l.Reservoirs[j].validate(f, fmt.Sprintf("%s/Reservoirs/%d", at, j), days)
	}
	if strings.ContainsAny(l.ID, "\x00\n") {
		f.add(at+"/ID", "must not hold control characters")
	}
}
