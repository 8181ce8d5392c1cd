// Package html writes pages for a telephone: one column, no script, nothing loaded from elsewhere. Forms have no address of their
// own, so browsers send them to the address of the page, whose secret the page therefore need not repeat.
package html

import (
	"cmp"
	"fmt"
	"html/template"
	"io"
	"slices"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
)

const head = `<!DOCTYPE html>
<html lang="{{.Language}}"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex"><title>{{.Title}}</title>
<style>body{font:1.1rem/1.45 sans-serif;margin:1rem;max-width:40rem;color:#000;background:#fff;overflow-wrap:anywhere}h1{font-size:1.4rem}h2{font-size:1.15rem;border-bottom:2px solid #000;margin-top:1.6rem}
ul{padding:0;list-style:none}li{margin:.7rem 0;padding:.5rem;border:1px solid #000}.off{text-decoration:line-through}small{display:block}summary{padding:.4rem 0;text-decoration:underline}
label{display:block;padding:.3rem 0}fieldset{border:1px solid #000}input[type=text],input[type=number]{display:block;font:inherit;width:95%;box-sizing:border-box}
button{font:inherit;padding:.5rem 1rem;margin-top:.6rem}td{padding:.1rem .6rem .1rem 0;vertical-align:top}td+td{text-align:right}</style></head>
<body><h1>{{.Title}}</h1>
`

var page = template.Must(template.New("schedule").Parse(head + `<p>{{.Subtitle}}</p>
{{define "days"}}{{range .}}<h2>{{.Day}}</h2><ul>{{range .Turns}}<li><strong{{if .Cancelled}} class="off"{{end}}>{{.Time}}</strong> {{.Place}}{{if .Cancelled}} – {{.Note}}{{end}}
{{range .Lines}}<small>{{.}}</small>{{end}}{{with .Reported}}<small><strong>{{.}}</strong></small>{{end}}{{with .Form}}{{template "form" .}}{{end}}</li>{{end}}</ul>
{{end}}{{end}}{{define "form"}}<details><summary>{{.Report}}</summary><form method="post"><input type="hidden" name="turn" value="{{.Turn}}">
<fieldset><legend>{{.Outcome}}</legend>{{range .Outcomes}}<label><input type="radio" name="outcome" value="{{.Code}}" required> {{.Text}}</label>{{end}}</fieldset>
<label>{{.Minutes}} ({{.MinutesHow}})<input type="number" name="duration_min" min="0" max="1440" step="any" inputmode="decimal"></label>
<label>{{.Note}} ({{.NoteHow}})<input type="text" name="note" maxlength="1000"></label>
<button type="submit">{{.Send}}</button></form></details>{{end}}{{template "days" .Days}}{{with .Empty}}<p>{{.}}</p>
{{end}}{{if .Earlier}}<details><summary>{{.EarlierTitle}}</summary>
{{template "days" .Earlier}}</details>
{{end}}<h2>{{.ShortTitle}}</h2>{{with .NobodyShort}}<p>{{.}}</p>{{end}}{{if .Short}}<ul>{{range .Short}}<li><strong>{{.Plot}}</strong>: {{.Gets}}<small>{{.Reason}}</small></li>
{{end}}</ul>{{end}}{{range .Why}}{{range .Sentences}}<p>{{.}}</p>
{{end}}<details><summary>{{$.SumTitle}}</summary><table>{{range .Sum}}<tr><td>{{.What}}</td><td>{{.Minutes}}</td></tr>
{{end}}</table></details>
{{end}}{{with .Bound}}<p>{{.}}</p>
{{end}}</body></html>
`))

// Page is a schedule at a moment.
type Page struct {
	render.Schedule
	Now time.Time
	// Reports are the last reports of turns, by their UID.
	Reports map[string]Report
	// ReportSince is from when on a turn must have begun to have a form; zero: there are no forms.
	ReportSince time.Time
}

// Report is what somebody said about a turn.
type Report struct {
	Outcome string
	Minutes *float64
	By      string
	Note    string
}

// Outcomes are the codes of what can become of a turn, in the order of the form.
var Outcomes = []string{"done", "part", "missed", "skipped_wet", "pressure_lost", "overran"}

type day struct {
	Day   string
	Turns []turn
}

type turn struct {
	Time, Place, Note, Reported string
	Cancelled                   bool
	Lines                       []string
	Form                        *form
}

type form struct {
	Report, Turn, Outcome, Minutes, MinutesHow, Note, NoteHow, Send string
	Outcomes                                                        []outcome
}

type outcome struct{ Code, Text string }

type short struct{ Plot, Gets, Reason string }

type why struct {
	Sentences []string
	Sum       []sumLine
}

type sumLine struct{ What, Minutes string }

// Schedule writes the turns of a schedule, day by day, from today on and then those before, with who gets how much and who opens,
// what was reported, and who goes short.
func Schedule(w io.Writer, v Page) error {
	if err := v.Validate(); err != nil {
		return err
	}
	p := words.New(v.Language, v.Units, v.TimeZone)
	earlier, days := v.days(p)
	empty, nobody := "", ""
	if len(days) == 0 {
		empty = p.PageText(words.PageNothing)
	}
	shorts := shortsOf(p, v.Shares)
	if len(shorts) == 0 {
		nobody = p.Sheet(words.SheetNobodyShort)
	}
	err := page.Execute(w, struct {
		Language, Title, Subtitle, Empty, EarlierTitle, ShortTitle, NobodyShort, SumTitle, Bound string
		Earlier, Days                                                                            []day
		Short                                                                                    []short
		Why                                                                                      []why
	}{
		cmp.Or(v.Language, "en"), p.ScheduleTitle(v.Schedule), p.ScheduleSubtitle(v.Schedule), empty, p.PageText(words.PageEarlier),
		p.Sheet(words.SheetShort), nobody, p.PageText(words.PageSum), boundOf(p, v), earlier, days, shorts, whyOf(p, v.Shorts),
	})
	if err != nil {
		return fmt.Errorf("write the page of the schedule: %w", err)
	}
	return nil
}

// days are the turns by the days of the garden's calendar: those before today, and the others.
func (v Page) days(p words.Printer) (earlier, days []day) {
	turns := slices.Clone(v.Turns)
	slices.SortStableFunc(turns, func(a, b render.Turn) int {
		return cmp.Or(a.Start.Compare(b.Start), words.Compare(a.SourceName, b.SourceName), cmp.Compare(a.UID, b.UID))
	})
	today := v.Now.In(v.TimeZone).Format(time.DateOnly)
	for _, t := range turns {
		list := &days
		if t.Start.In(v.TimeZone).Format(time.DateOnly) < today {
			list = &earlier
		}
		name := p.DateWithYear(t.Start)
		if n := len(*list); n == 0 || (*list)[n-1].Day != name {
			*list = append(*list, day{Day: name})
		}
		last := &(*list)[len(*list)-1]
		last.Turns = append(last.Turns, v.turn(p, t))
	}
	return earlier, days
}

func (v Page) turn(p words.Printer, t render.Turn) turn {
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
	if r, ok := v.Reports[t.UID]; ok {
		out.Reported = reported(p, r)
	}
	if !v.ReportSince.IsZero() && !t.Start.Before(v.ReportSince) && !t.Start.After(v.Now) {
		out.Form = formOf(p, t)
	}
	return out
}

func reported(p words.Printer, r Report) string {
	minutes := ""
	if r.Minutes != nil {
		minutes = words.Duration(unit.Minutes(*r.Minutes))
	}
	text := p.Reported(r.Outcome, minutes, r.By)
	if note := words.OneLine(r.Note); note != "" {
		text += " " + note
	}
	return text
}

func formOf(p words.Printer, t render.Turn) *form {
	f := &form{
		Report: p.PageText(words.PageReport), Turn: t.UID, Outcome: p.PageText(words.PageOutcome), Minutes: p.PageText(words.PageMinutes),
		MinutesHow: p.PageText(words.PageMinuteHow), Note: p.PageText(words.PageNote), NoteHow: p.PageText(words.PageNoteHow), Send: p.PageText(words.PageSend),
	}
	for _, code := range Outcomes {
		f.Outcomes = append(f.Outcomes, outcome{code, p.Outcome(code)})
	}
	return f
}

func shortsOf(p words.Printer, shares []render.Share) []short {
	var list []short
	for _, x := range shares {
		if render.IsShort(x.Fraction) {
			gets := p.Sheet(words.SheetGets) + ": " + words.Percent(x.Fraction)
			list = append(list, short{words.PlotLabel(x.PlotName, x.LayoutName), gets, words.OneLine(x.Reason)})
		}
	}
	return list
}

func whyOf(p words.Printer, shorts []render.Shortfall) []why {
	var list []why
	for _, x := range shorts {
		y := why{Sentences: p.Shortfall(x)}
		for _, l := range x.Limits {
			y.Sum = append(y.Sum, sumLine{p.Limit(l), words.ExactMinutes(l.Minutes)})
		}
		offered, needed, missing := p.SumLabels()
		y.Sum = append(y.Sum, sumLine{offered, words.ExactMinutes(x.OfferedMinutes)}, sumLine{needed, words.ExactMinutes(x.NeededMinutes)},
			sumLine{missing, words.ExactMinutes(x.MissingMinutes)})
		list = append(list, y)
	}
	return list
}

// boundOf says how well nobody can do, where somebody goes short.
func boundOf(p words.Printer, v Page) string {
	if v.ShareBound == nil || len(v.Shorts) == 0 {
		return ""
	}
	return p.Bound(*v.ShareBound)
}
