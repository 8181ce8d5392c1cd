package pdf

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
	"rillturn.example/rillturn/engine/unit"
)

// Schedule prints a watering schedule for the door of the shed: the weeks at a glance, the turns of each tap, who is
// short and why, how a group is opened and closed, and a report to fill in by hand.
func Schedule(w io.Writer, r render.Report, o Options) error {
	s, err := scheduleSheet(r, o)
	if err == nil {
		err = s.writeTo(w)
	}
	if err != nil {
		return fmt.Errorf("print rotation %s: %w", r.Schedule.RotationID, err)
	}
	return nil
}

func scheduleSheet(r render.Report, o Options) (*sheet, error) {
	v := r.Schedule
	if err := v.Validate(); err != nil {
		return nil, err
	}
	if o.Made.IsZero() {
		o.Made = v.Generated
	}
	p := words.New(v.Language, v.Units, v.TimeZone)
	title := p.ScheduleTitle(v)
	for _, day := range []time.Time{v.HorizonFrom, v.HorizonTo.Add(-1)} {
		title = strings.ReplaceAll(title, p.Date(day), together(p.Date(day)))
	}
	foot := footer{v.GardenName, p.Revision(v.Revision) + " · " + scheduleStamp(p, v, o)}
	turns := slices.Clone(v.Turns)
	slices.SortStableFunc(turns, func(a, b render.Turn) int {
		return cmp.Or(a.Start.Compare(b.Start), words.Compare(a.SourceName, b.SourceName), cmp.Compare(a.UID, b.UID))
	})
	return build(p, o, title, foot, func(s *sheet) {
		c := &schedulePages{sheet: s, v: &v, turns: turns}
		s.title(title, p.ScheduleSubtitle(v), o.Link)
		c.weeks()
		c.lists()
		s.heading(p.Sheet(words.SheetHow), 60)
		for i, step := range p.OpenAndClose() {
			s.marked(strconv.Itoa(i+1)+".", step)
		}
		c.shorts()
		c.report()
		if len(r.Assumptions) > 0 {
			s.heading(p.Sheet(words.SheetAssumptions), 40)
			s.list("•", r.Assumptions)
		}
		s.cautions(r.Cautions)
	})
}

// scheduleStamp is when a schedule was published, else when it was made.
func scheduleStamp(p words.Printer, v render.Schedule, o Options) string {
	if v.Published {
		return p.Published(p.DateWithYear(o.Made))
	}
	return p.Made(p.DateWithYear(o.Made))
}

type schedulePages struct {
	*sheet
	v     *render.Schedule
	turns []render.Turn
}

// sources lists the taps that have turns.
func (c *schedulePages) sources() []string {
	var names []string
	for _, t := range c.turns {
		if !slices.Contains(names, t.SourceName) {
			names = append(names, t.SourceName)
		}
	}
	slices.SortFunc(names, words.Compare)
	return names
}

// days lists the days of the horizon on the garden's calendar.
func (c *schedulePages) days() []time.Time {
	zone := c.v.TimeZone
	from := c.v.HorizonFrom.In(zone)
	var days []time.Time
	for i := 0; ; i++ {
		day := time.Date(from.Year(), from.Month(), from.Day()+i, 0, 0, 0, 0, zone)
		if !day.Before(c.v.HorizonTo) {
			return days
		}
		days = append(days, day)
	}
}

// Columns of the glance and rows of one of its tables.
const (
	tapsAcross  = 3
	daysOfAWeek = 7
)

// weeks prints a table of days and taps for every seven days.
func (c *schedulePages) weeks() {
	c.heading(c.p.Sheet(words.SheetWeek), 120)
	sources := c.sources()
	if len(sources) == 0 {
		c.paragraph(c.p.Sheet(words.SheetNoTurns))
		return
	}
	days := c.days()
	for from := 0; from < len(days); from += daysOfAWeek {
		week := days[from:min(from+daysOfAWeek, len(days))]
		for s := 0; s < len(sources); s += tapsAcross {
			c.glance(week, sources[s:min(s+tapsAcross, len(sources))])
		}
	}
}

func (c *schedulePages) glance(days []time.Time, sources []string) {
	columns := []column{{c.p.Sheet(words.SheetDay), 1.3, false}}
	for _, s := range sources {
		columns = append(columns, column{words.OneLine(s), 3, false})
	}
	var rows [][]string
	for _, d := range days {
		row := []string{together(c.p.Date(d))}
		for _, s := range sources {
			row = append(row, strings.Join(c.glanceCell(d, s), "\n"))
		}
		rows = append(rows, row)
	}
	c.table(columns, rows)
}

func (c *schedulePages) glanceCell(day time.Time, source string) []string {
	var texts []string
	for _, t := range c.turns {
		if t.SourceName != source || c.p.Date(t.Start) != c.p.Date(day) {
			continue
		}
		text := c.p.Span(t.Start, t.End) + " " + words.OneLine(t.ZoneName)
		if t.Status == render.Cancelled {
			text += " – " + c.p.Sheet(words.SheetCancelledTurn)
		}
		texts = append(texts, text)
	}
	if len(texts) == 0 {
		return []string{"–"}
	}
	return texts
}

// lists prints the turns of each tap.
func (c *schedulePages) lists() {
	for _, source := range c.sources() {
		var rows [][]string
		for _, t := range c.turns {
			if t.SourceName == source {
				rows = append(rows, c.turnRow(t))
			}
		}
		columns := []column{
			{c.p.Sheet(words.SheetDay), 1.5, false},
			{c.p.Sheet(words.SheetTime), 1.7, false},
			{c.p.Sheet(words.SheetMinutes), 1.1, true},
			{c.p.Sheet(words.SheetGroup), 6, false},
			{c.p.Sheet(words.SheetOpener), 1.5, false},
		}
		columns, rows = dropEmpty(columns, rows) // perhaps nobody must be there
		c.headed(c.p.Sheet(words.SheetTurnsAt)+" "+words.OneLine(source), columns, rows)
	}
}

func (c *schedulePages) turnRow(t render.Turn) []string {
	minutes := strconv.FormatFloat(t.End.Sub(t.Start).Minutes(), 'f', 0, 64)
	if t.Status == render.Cancelled {
		text := words.OneLine(t.ZoneName) + " – " + c.p.Sheet(words.SheetCancelledTurn)
		if note := words.OneLine(t.Note); note != "" {
			text += ": " + note
		}
		return []string{together(c.p.Date(t.Start)), c.p.Span(t.Start, t.End), "", text, ""}
	}
	return []string{together(c.p.Date(t.Start)), c.p.Span(t.Start, t.End), minutes, c.groupName(t) + ": " + c.members(t), words.OneLine(t.Opener)}
}

// groupName names a watering group, and says when it is watered by hand unless its name does.
func (c *schedulePages) groupName(t render.Turn) string {
	name := words.OneLine(t.ZoneName)
	by := ""
	switch t.Kind {
	case render.HoseTurn:
		by = c.p.Label(words.LabelHose)
	case render.CanTurn:
		by = c.p.Label(words.LabelCan)
	case render.ZoneTurn:
	}
	if by == "" || strings.Contains(strings.ToLower(name), strings.ToLower(by)) {
		return name
	}
	return name + " (" + by + ")"
}

// members says who gets how much in a turn, and whose valve is closed early.
func (c *schedulePages) members(t render.Turn) string {
	texts := make([]string, 0, len(t.Members))
	for _, m := range t.Members {
		text := words.PlotLabel(m.PlotName, m.LayoutName) + together(" – ") + together(c.p.Volume(unit.Liters(m.Liters)).String())
		if m.ClosesAt != nil {
			text += " (" + together(c.p.CloseAt(*m.ClosesAt)) + ")"
		}
		if render.IsShort(m.Share) {
			text += together(" *")
		}
		texts = append(texts, text)
	}
	return strings.Join(texts, "; ")
}

// shorts says who goes short: each plot with its reason, then each shortage with its sum.
func (c *schedulePages) shorts() {
	c.heading(c.p.Sheet(words.SheetShort), 100)
	var rows [][]string
	for _, x := range c.v.Shares {
		if render.IsShort(x.Fraction) {
			rows = append(rows, []string{"* " + words.PlotLabel(x.PlotName, x.LayoutName), words.Percent(x.Fraction), words.OneLine(x.Reason)})
		}
	}
	if len(rows) == 0 {
		c.paragraph(c.p.Sheet(words.SheetNobodyShort))
		return
	}
	c.table([]column{
		{c.p.Sheet(words.SheetPlot), 3, false},
		{c.p.Sheet(words.SheetGets), 1.3, true},
		{"", 6, false},
	}, rows)
	for _, x := range c.v.Shorts {
		c.list("•", c.p.Shortfall(x))
		c.sum(x)
	}
	if b := c.v.ShareBound; b != nil {
		c.paragraph(c.p.Bound(*b))
	}
}

// sum prints the minutes of a shortage so that a reader can add them up.
func (c *schedulePages) sum(x render.Shortfall) {
	var rows [][]string
	for _, l := range x.Limits {
		rows = append(rows, []string{c.p.Limit(l), words.ExactMinutes(l.Minutes)})
	}
	offered, needed, missing := c.p.SumLabels()
	rows = append(rows, []string{offered, words.ExactMinutes(x.OfferedMinutes)}, []string{needed, words.ExactMinutes(x.NeededMinutes)},
		[]string{missing, words.ExactMinutes(x.MissingMinutes)})
	c.table([]column{{"", 7, false}, {c.p.Sheet(words.SheetMinutes), 1.5, true}}, rows)
}

// report is a form with a line for each turn that is to happen.
func (c *schedulePages) report() {
	var rows [][]string
	for _, t := range c.turns {
		if t.Status != render.Cancelled {
			rows = append(rows, []string{
				together(c.p.Date(t.Start)), c.p.Clock(t.Start), words.OneLine(t.SourceName) + ": " + c.groupName(t),
				boxMark, boxMark, boxMark, "", "", "",
			})
		}
	}
	if len(rows) == 0 {
		return
	}
	c.addPage()
	c.heading(c.p.Sheet(words.SheetReport), 80)
	c.paragraph(c.p.Sheet(words.SheetReportHow))
	c.table([]column{
		{c.p.Sheet(words.SheetDay), 1.4, false},
		{c.p.Sheet(words.SheetTime), 0.9, false},
		{c.p.Sheet(words.SheetGroup), 3, false},
		{c.p.Sheet(words.SheetDone), 0.95, false},
		{c.p.Sheet(words.SheetPartly), 1.05, false},
		{c.p.Sheet(words.SheetMissed), 1.25, false},
		{c.p.Sheet(words.SheetFromTo), 1.6, false},
		{c.p.Sheet(words.SheetBy), 1.2, false},
		{c.p.Sheet(words.SheetRemarks), 2, false},
	}, rows)
}
