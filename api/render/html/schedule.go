// Package html writes pages for a telephone: one column, no script, nothing loaded from elsewhere.
package html

import (
	"cmp"
	"fmt"
	"html/template"
	"io"
	"slices"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
)

var page = template.Must(template.New("schedule").Parse(`<!DOCTYPE html>
<html lang="{{.Language}}"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex"><title>{{.Title}}</title>
<style>body{font:1.1rem/1.45 sans-serif;margin:1rem;max-width:40rem;color:#000;background:#fff}h1{font-size:1.4rem}h2{font-size:1.15rem;border-bottom:2px solid #000;margin-top:1.6rem}
ul{padding:0;list-style:none}li{margin:.7rem 0;padding:.5rem;border:1px solid #000}.off{text-decoration:line-through}small{display:block}</style></head>
<body><h1>{{.Title}}</h1><p>{{.Subtitle}}</p>
{{range .Days}}<h2>{{.Day}}</h2><ul>{{range .Turns}}<li><strong{{if .Cancelled}} class="off"{{end}}>{{.Time}}</strong> {{.Place}}{{if .Note}} – {{.Note}}{{end}}
{{range .Lines}}<small>{{.}}</small>{{end}}</li>{{end}}</ul>
{{else}}<p>{{.Empty}}</p>
{{end}}<h2>{{.ReportTitle}}</h2><p>{{.Report}}</p></body></html>
`))

type day struct {
	Day   string
	Turns []turn
}

type turn struct {
	Time, Place, Note string
	Cancelled         bool
	Lines             []string
}

// Schedule writes the turns of a schedule, day by day, with who gets how much and who opens.
func Schedule(w io.Writer, v render.Schedule) error {
	if err := v.Validate(); err != nil {
		return err
	}
	p := words.New(v.Language, v.Units, v.TimeZone)
	turns := slices.Clone(v.Turns)
	slices.SortStableFunc(turns, func(a, b render.Turn) int {
		return cmp.Or(a.Start.Compare(b.Start), words.Compare(a.SourceName, b.SourceName), cmp.Compare(a.UID, b.UID))
	})
	var days []day
	for _, t := range turns {
		name := p.DateWithYear(t.Start)
		if len(days) == 0 || days[len(days)-1].Day != name {
			days = append(days, day{Day: name})
		}
		last := &days[len(days)-1]
		last.Turns = append(last.Turns, turnOf(p, t))
	}
	err := page.Execute(w, struct {
		Language, Title, Subtitle, Empty, ReportTitle, Report string
		Days                                                  []day
	}{
		cmp.Or(v.Language, "en"), p.ScheduleTitle(v), p.ScheduleSubtitle(v), p.Sheet(words.SheetNoTurns), p.Sheet(words.SheetReport),
		p.Sheet(words.SheetReportHow), days,
	})
	if err != nil {
		return fmt.Errorf("write the page of the schedule: %w", err)
	}
	return nil
}

func turnOf(p words.Printer, t render.Turn) turn {
	out := turn{Time: p.Span(t.Start, t.End), Place: words.OneLine(t.SourceName) + ": " + words.OneLine(t.ZoneName), Cancelled: t.Status == render.Cancelled}
	if out.Cancelled {
		out.Note = p.Sheet(words.SheetCancelledTurn)
		return out
	}
	for _, m := range t.Members {
		line := words.PlotLabel(m.PlotName, m.LayoutName) + " – " + p.Volume(unit.Liters(m.Liters)).String()
		if m.ClosesAt != nil {
			line += " (" + p.CloseAt(*m.ClosesAt) + ")"
		}
		out.Lines = append(out.Lines, line)
	}
	if opener := words.OneLine(t.Opener); opener != "" {
		out.Lines = append(out.Lines, p.Sheet(words.SheetOpener)+": "+opener)
	}
	return out
}
