package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/plan"
	"rillturn.example/rillturn/engine/problem"
)

// explainProblem says in words what the plan of a problem file gives, and why some layouts go short. Days are counted from
// day 0, as the file counts them.
func explainProblem(w io.Writer, p problem.Problem, made plan.Plan, leastOver problem.Milliliters) {
	printer := words.New("en", render.Metric, time.UTC)
	start := time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC) // a day 0 to print clock times from
	fmt.Fprintf(w, "%d zones, %d turns; smallest share %s, mean %s.\n", len(made.Schedule.Zones), len(made.Schedule.Turns),
		words.Percent(made.Smallest), words.Percent(made.Mean))
	fmt.Fprintln(w, printer.PlanBound(made.Bound))
	if made.Over > 0 {
		over := render.Overwatering{Liters: made.Over.Liters(), LeastLiters: leastOver.Liters()}
		for _, s := range made.Shares {
			over.NeedLiters += s.Need.Liters()
		}
		fmt.Fprintln(w, printer.Over(over))
	}
	for _, u := range made.Unservable {
		fmt.Fprintln(w, printer.Unservable(u))
	}
	for _, v := range made.Late {
		fmt.Fprintln(w, printer.Violation(v, start))
	}
	windows := map[string]problem.Window{}
	for _, x := range p.Windows {
		windows[x.ID] = x
	}
	for _, s := range made.Shortages {
		fall := render.Shortfall{
			Plots: s.Layouts, Fraction: s.Share, NeededMinutes: float64(s.Needed.Minutes()), OfferedMinutes: float64(s.Offered.Minutes()),
			MissingMinutes: float64(s.Missing.Minutes()), GainPerMinute: s.PerExtra, By: s.By, Level: s.Level,
		}
		for _, l := range s.Limits {
			limit := render.Limit{Kind: l.Kind, ZoneName: l.Zone, SourceName: l.Source, LineName: l.Line, Flow: l.Flow, Minutes: float64(l.Time.Minutes())}
			if x, ok := windows[l.Window]; ok {
				limit.Start, limit.End = start.Add(elapsed(x.Start)), start.Add(elapsed(x.End))
			}
			if l.Day >= 0 {
				limit.Day = start.AddDate(0, 0, l.Day)
			}
			fall.Limits = append(fall.Limits, limit)
		}
		fmt.Fprintf(w, "\nZones %s\n", strings.Join(s.Zones, ", "))
		for _, line := range printer.Shortfall(fall) {
			fmt.Fprintln(w, " ", line)
		}
	}
}

func elapsed(t problem.Instant) time.Duration { return time.Duration(t) * time.Minute / problem.Minute }
