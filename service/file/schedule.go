package file

import (
	"encoding/json"
	"fmt"
	"io"

	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
)

// Schedule is the answer to a problem file. Times are minutes since the start of day 0.
type Schedule struct {
	Instance string         `json:"instance" file:"required"`
	Zones    []ScheduleZone `json:"zones" file:"required"`
	Runs     []ScheduleRun  `json:"runs" file:"required"`

	Certificate *ScheduleCertificate `json:"certificate,omitempty"`
}

// ScheduleCertificate is what the plan is worth, beside what no plan can exceed, and why some layouts go short. A file may
// have a text of its own instead.
type ScheduleCertificate struct {
	Text          string          `json:"text,omitempty"`
	SmallestShare float64         `json:"smallest_share"` // of layouts that a turn can water
	Bound         float64         `json:"bound"`          // no plan gives each of them more
	BoundBy       string          `json:"bound_by"`
	OverL         float64         `json:"over_l"`       // beyond need and tolerance
	LeastOverL    float64         `json:"least_over_l"` // no plan of these shares gives less too much
	Short         []ScheduleShort `json:"short,omitempty"`
}

// ScheduleShort is zones that go short: their limits add up to the minutes offered, and those are what their runs last.
type ScheduleShort struct {
	Zones      []string        `json:"zones"`
	Layouts    []string        `json:"layouts"`
	NeededMin  float64         `json:"needed_min"`
	OfferedMin float64         `json:"offered_min"`
	MissingMin float64         `json:"missing_min"`
	Limits     []ScheduleLimit `json:"limits"`
}

// ScheduleLimit is one line of the sum. Minutes with a minus sign are taken off.
type ScheduleLimit struct {
	Kind    string  `json:"kind"`
	Zone    string  `json:"zone,omitempty"`
	Window  string  `json:"window,omitempty"`
	Source  string  `json:"source,omitempty"`
	Parent  string  `json:"parent,omitempty"`
	Day     *int    `json:"day,omitempty"`
	Minutes float64 `json:"minutes"`
}

// UnmarshalJSON reads the certificate, or the text that stands for it.
func (c *ScheduleCertificate) UnmarshalJSON(body []byte) error {
	if len(body) > 0 && body[0] == '"' {
		return json.Unmarshal(body, &c.Text)
	}
	type plain ScheduleCertificate
	return json.Unmarshal(body, (*plain)(c))
}

// Certify adds what the plan of the schedule is worth. leastOver is the bound of its overwatering.
func (s *Schedule) Certify(made plan.Plan, leastOver problem.Milliliters) {
	s.Certificate = &ScheduleCertificate{
		SmallestShare: made.Smallest, Bound: made.Bound.Share, BoundBy: string(made.Bound.Reason), OverL: made.Over.Liters(), LeastOverL: leastOver.Liters(),
	}
	for _, short := range made.Shortages {
		out := ScheduleShort{
			Zones: short.Zones, Layouts: short.Layouts, NeededMin: float64(short.Needed.Minutes()), OfferedMin: float64(short.Offered.Minutes()),
			MissingMin: float64(short.Missing.Minutes()),
		}
		for _, l := range short.Limits {
			limit := ScheduleLimit{Kind: string(l.Kind), Zone: l.Zone, Window: l.Window, Source: l.Source, Parent: l.Line, Minutes: float64(l.Time.Minutes())}
			if l.Day >= 0 {
				limit.Day = &l.Day
			}
			out.Limits = append(out.Limits, limit)
		}
		s.Certificate.Short = append(s.Certificate.Short, out)
	}
}

// ScheduleZone is a group of layouts that are open together.
type ScheduleZone struct {
	ID      string   `json:"id" file:"required"`
	Source  string   `json:"source" file:"required"`
	Layouts []string `json:"layouts" file:"required"`
}

// ScheduleRun is one opening of a zone.
type ScheduleRun struct {
	Zone     string            `json:"zone" file:"required"`
	Window   string            `json:"window" file:"required"`
	StartMin float64           `json:"start_min" file:"required"`
	EndMin   float64           `json:"end_min" file:"required"`
	Closings []ScheduleClosing `json:"closings,omitempty"`
}

// ScheduleClosing is a member shut before its zone's run ends; from then on the others have the flows of a zone without it.
// A reader that does not know closings sees a run in which every member stays open.
type ScheduleClosing struct {
	Layout string  `json:"layout" file:"required"`
	AtMin  float64 `json:"at_min" file:"required"`
}

// NewSchedule returns the schedule of an instance as a file.
func NewSchedule(instance string, s problem.Schedule) Schedule {
	out := Schedule{Instance: instance, Zones: []ScheduleZone{}, Runs: []ScheduleRun{}}
	for _, z := range s.Zones {
		out.Zones = append(out.Zones, ScheduleZone{ID: z.ID, Source: z.Source, Layouts: z.Layouts})
	}
	for _, t := range s.Turns {
		run := ScheduleRun{Zone: t.Zone, Window: t.Window, StartMin: minutesOf(t.Start), EndMin: minutesOf(t.End)}
		for _, c := range t.Closings {
			run.Closings = append(run.Closings, ScheduleClosing{Layout: c.Layout, AtMin: minutesOf(c.At)})
		}
		out.Runs = append(out.Runs, run)
	}
	return out
}

func minutesOf(t problem.Instant) float64 { return float64(problem.Span(t).Minutes()) }

func instantOf(minutes float64) problem.Instant {
	return problem.Instant(problem.RoundDown(minutes*problem.Minute + 0.5))
}

// Engine returns the schedule as the checker takes it, to the nearest milli-minute.
func (s *Schedule) Engine() problem.Schedule {
	var out problem.Schedule
	for _, z := range s.Zones {
		out.Zones = append(out.Zones, problem.Zone{ID: z.ID, Source: z.Source, Layouts: z.Layouts})
	}
	for _, r := range s.Runs {
		turn := problem.Turn{Zone: r.Zone, Window: r.Window, Start: instantOf(r.StartMin), End: instantOf(r.EndMin)}
		for _, c := range r.Closings {
			turn.Closings = append(turn.Closings, problem.Closing{Layout: c.Layout, At: instantOf(c.AtMin)})
		}
		out.Turns = append(out.Turns, turn)
	}
	return out
}

// WriteSchedule writes the schedule as a file.
func WriteSchedule(w io.Writer, s Schedule) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	if err := e.Encode(s); err != nil {
		return fmt.Errorf("write schedule of %s: %w", s.Instance, err)
	}
	return nil
}

// ReadSchedule reads a schedule file. What is wrong with it comes back as Faults with JSON pointers.
func ReadSchedule(r io.Reader) (Schedule, error) {
	var s Schedule
	if err := Decode(r, &s); err != nil {
		return Schedule{}, err
	}
	var f problemFaults
	zones := map[string]bool{}
	for i, z := range s.Zones {
		f.id(z.ID, zones, "zones", i, "id")
	}
	for i, run := range s.Runs {
		if !zones[run.Zone] {
			f.Add(Point("runs", i, "zone"), "no zone is called %q", run.Zone)
		}
		f.between(run.StartMin, 0, maxMinutes, "runs", i, "start_min")
		f.between(run.EndMin, 0, maxMinutes, "runs", i, "end_min")
		for k, c := range run.Closings {
			f.between(c.AtMin, 0, maxMinutes, "runs", i, "closings", k, "at_min")
		}
	}
	return s, f.Err()
}
