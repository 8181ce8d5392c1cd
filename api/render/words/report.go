package words

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/engine/rotation"
	"rillturn.example/rillturn/engine/unit"
)

// reportPhrases is what a language says in the text report, beside what other tables hold.
type reportPhrases struct {
	layouts, groups, turns, shares, shorts, assumptions, cautions string
	layoutHeader, groupHeader                                     []string

	byHand, measured, noTurns, noneShort, cancelled string

	closes    func(plot, clock string) string
	opens     func(opener string) string
	shortfall shortfallPhrases
}

// shortfallPhrases explain why plots go short, line by line of a sum.
type shortfallPhrases struct {
	gets    func(p Printer, s render.Shortfall) string
	limits  map[rotation.PartKind]func(p Printer, l render.Limit) string
	needed  string
	offered string
	missing string
	gain    func(Printer, render.Shortfall) string
	noGain  string
}

// reportWidth is the number of columns that a report may use.
const reportWidth = 100

// report writes the sections one after another.
type report struct {
	bytes.Buffer
	p    Printer
	view render.Report
	say  reportPhrases
}

// Report writes a plan as plain text for a terminal or a sheet of paper, at most 100 columns wide.
func Report(w io.Writer, view render.Report) error {
	s := view.Schedule
	if err := s.Validate(); err != nil {
		return fmt.Errorf("report of rotation %s: %w", s.RotationID, err)
	}
	p := New(s.Language, s.Units, s.TimeZone)
	r := &report{p: p, view: view, say: p.language.report}
	title := p.ScheduleTitle(s)
	r.paragraph(0, title)
	r.line(0, strings.Repeat("=", min(columns(title), reportWidth)))
	r.paragraph(0, p.ScheduleSubtitle(s))
	r.layouts()
	r.groups()
	r.turns()
	r.shares()
	r.shorts()
	r.list(r.say.assumptions, view.Assumptions)
	cautions := make([]string, 0, len(view.Cautions))
	for _, c := range view.Cautions {
		cautions = append(cautions, p.Caution(c))
	}
	r.list(r.say.cautions, cautions)
	if _, err := r.WriteTo(w); err != nil {
		return fmt.Errorf("report of rotation %s: %w", s.RotationID, err)
	}
	return nil
}

func (r *report) heading(text string) {
	r.WriteString("\n" + text + "\n" + strings.Repeat("-", columns(text)) + "\n")
}

func (r *report) line(indent int, text string) {
	r.WriteString(strings.TrimRight(strings.Repeat(" ", indent)+text, " ") + "\n")
}

// paragraph writes text broken at the report's width, later lines under the first.
func (r *report) paragraph(indent int, text string) {
	for _, l := range wrap(text, reportWidth-indent) {
		r.line(indent, l)
	}
}

// marked writes a paragraph that hangs behind a mark.
func (r *report) marked(indent int, mark, text string) {
	hang := indent + columns(mark) + 1
	for i, l := range wrap(text, reportWidth-hang) {
		if i == 0 {
			r.line(indent, mark+" "+l)
			continue
		}
		r.line(hang, l)
	}
}

func (r *report) list(heading string, sentences []string) {
	if len(sentences) == 0 {
		return
	}
	r.heading(heading)
	for _, s := range sentences {
		r.marked(2, "-", OneLine(s))
	}
}

func (r *report) layouts() {
	if len(r.view.Layouts) == 0 {
		return
	}
	r.heading(r.say.layouts)
	rows := [][]string{r.say.layoutHeader}
	for _, l := range r.view.Layouts {
		rows = append(rows, r.layoutRow(l))
	}
	const plotWidth, sourceWidth = 25, 12
	lines := tabulate(rows, []align{left, left, right, right, right, right}, []int{plotWidth, sourceWidth, 15, 10, 9, 17})
	r.line(2, lines[0])
	for i, l := range r.view.Layouts {
		r.line(2, lines[i+1])
		if l.EvennessMeasured {
			r.marked(4, "-", r.say.measured)
		}
		if l.Unservable != "" {
			r.marked(4, "!", OneLine(l.Unservable))
		}
		for _, w := range l.Warnings {
			r.marked(4, "!", r.p.HydraulicWarning(w).String())
		}
	}
}

func (r *report) layoutRow(l render.LayoutReport) []string {
	flow := r.p.Flow(unit.LitersPerMinute(l.FlowLPerMin)).String()
	if l.FlowHighLPerMin > 0 {
		flow = Range(r.p.Flow(unit.LitersPerMinute(l.FlowLowLPerMin)), r.p.Flow(unit.LitersPerMinute(l.FlowHighLPerMin)))
	}
	row := []string{PlotLabel(l.PlotName, l.LayoutName), OneLine(l.SourceName), flow, "", "", r.say.byHand}
	if l.Kind == render.CanTurn {
		row[2] = ""
	}
	if l.Kind != render.ZoneTurn {
		return row
	}
	row[3] = r.p.Pressure(unit.Head(l.HeadM)).String()
	if l.Evenness != nil {
		row[4] = Percent(*l.Evenness)
	}
	row[5] = r.p.HoleFlow(unit.LitersPerHour(l.FirstHoleLPerH)).Number + " → " + r.p.HoleFlow(unit.LitersPerHour(l.LastHoleLPerH)).String()
	return row
}

func (r *report) groups() {
	if len(r.view.Groups) == 0 {
		return
	}
	r.heading(r.say.groups)
	rows := [][]string{r.say.groupHeader}
	for _, g := range r.view.Groups {
		pressure := ""
		if g.Kind == render.ZoneTurn {
			pressure = r.p.Pressure(unit.Head(g.HeadM)).String()
		}
		flow := ""
		if g.Kind != render.CanTurn {
			flow = r.p.Flow(unit.LitersPerMinute(g.FlowLPerMin)).String()
		}
		rows = append(rows, []string{OneLine(g.Name), OneLine(g.SourceName), flow, pressure})
	}
	lines := tabulate(rows, []align{left, left, right, right}, []int{40, 16, 14, 12})
	r.line(2, lines[0])
	for i, g := range r.view.Groups {
		r.line(2, lines[i+1])
		members := make([]string, len(g.Members))
		for j, m := range g.Members {
			members[j] = OneLine(m)
		}
		r.paragraph(6, strings.Join(members, "; "))
	}
}

// turns writes the turns day by day, on the garden's clock.
func (r *report) turns() {
	r.heading(r.say.turns)
	turns := slices.Clone(r.view.Schedule.Turns)
	slices.SortStableFunc(turns, func(a, b render.Turn) int {
		return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.SourceName, b.SourceName), cmp.Compare(a.UID, b.UID))
	})
	if len(turns) == 0 {
		r.line(2, r.say.noTurns)
		return
	}
	rows := make([][]string, len(turns))
	for i, t := range turns {
		liters := 0.0
		for _, m := range t.Members {
			liters += m.Liters
		}
		rows[i] = []string{
			r.p.Span(t.Start, t.End), Duration(turnMinutes(t)), OneLine(t.SourceName), OneLine(t.ZoneName),
			r.p.Volume(unit.Liters(liters)).String(),
		}
	}
	lines := tabulate(rows, []align{left, right, left, left, right}, []int{21, 12, 16, 32, 10})
	day := ""
	for i, t := range turns {
		if d := r.p.Date(t.Start); d != day {
			day = d
			r.line(2, day)
		}
		r.line(4, lines[i])
		r.turnNotes(t)
	}
}

func (r *report) turnNotes(t render.Turn) {
	if t.Status == render.Cancelled {
		r.marked(8, "!", strings.TrimSpace(r.say.cancelled+" "+OneLine(t.Note)))
		return
	}
	if note := OneLine(t.Note); note != "" {
		r.marked(8, "-", note)
	}
	if opener := OneLine(t.Opener); opener != "" {
		r.marked(8, "-", r.say.opens(opener))
	}
	for _, m := range t.Members {
		if m.ClosesAt != nil {
			r.marked(8, "-", r.say.closes(PlotLabel(m.PlotName, m.LayoutName), r.p.Clock(*m.ClosesAt)))
		}
	}
}

// barLength is the length of the bar that pictures a share.
const barLength = 20

func (r *report) shares() {
	shares := slices.Clone(r.view.Schedule.Shares)
	if len(shares) == 0 {
		return
	}
	r.heading(r.say.shares)
	slices.SortStableFunc(shares, func(a, b render.Share) int {
		return cmp.Or(cmp.Compare(a.Fraction, b.Fraction), Compare(a.PlotName, b.PlotName), Compare(a.LayoutName, b.LayoutName))
	})
	rows := make([][]string, len(shares))
	for i, s := range shares {
		rows[i] = []string{
			PlotLabel(s.PlotName, s.LayoutName), Percent(s.Fraction), shareBar(s.Fraction),
			r.p.Volume(unit.Liters(s.DeliveredLiters)).Number + " / " + r.p.Volume(unit.Liters(s.NeedLiters)).String(),
		}
	}
	for _, l := range tabulate(rows, []align{left, right, left, right}, []int{44, 9, barLength, 18}) {
		r.line(2, l)
	}
	if b := r.view.Schedule.ShareBound; b != nil {
		r.paragraph(2, r.p.Bound(*b))
	}
	if o := r.view.Schedule.Over; o != nil && o.Liters > 0 {
		r.paragraph(2, r.p.Over(*o))
	}
}

// shareBar pictures a fraction; only a whole share fills it.
func shareBar(fraction float64) string {
	full := int(math.Floor(math.Min(math.Max(fraction, 0), 1)*barLength + 1e-9))
	if render.IsShort(fraction) {
		full = min(full, barLength-1)
	}
	return strings.Repeat("#", full) + strings.Repeat(".", barLength-full)
}

func (r *report) shorts() {
	r.heading(r.say.shorts)
	if len(r.view.Schedule.Shorts) == 0 {
		r.line(2, r.say.noneShort)
		return
	}
	for i, s := range r.view.Schedule.Shorts {
		if i > 0 {
			r.line(0, "")
		}
		for j, text := range r.p.Shortfall(s) {
			if j == 0 {
				r.paragraph(2, text)
			} else {
				r.marked(4, "-", text)
			}
		}
		r.sum(s)
	}
}

// sum writes the minutes of a shortfall so that a reader can add them up.
func (r *report) sum(s render.Shortfall) {
	say := r.say.shortfall
	row := func(label string, minutes float64) []string { return []string{label, exactMinutes(minutes) + " min"} }
	var rows [][]string
	for _, l := range s.Limits {
		rows = append(rows, row(r.p.Limit(l), l.Minutes))
	}
	rows = append(rows, row(say.offered, s.OfferedMinutes), row(say.needed, s.NeededMinutes), row(say.missing, s.MissingMinutes))
	for _, l := range tabulate(rows, []align{left, right}, []int{74, 14}) {
		r.line(6, l)
	}
}

// exactMinutes writes minutes to the thousandth in which plans are counted, so that a sum is a sum.
func exactMinutes(v float64) string {
	const perMinute = 1000
	return strconv.FormatFloat(math.Round(v*perMinute)/perMinute+0, 'f', -1, 64)
}

// Shortfall explains in sentences why plots go short: who gets how much, then what would help.
func (p Printer) Shortfall(s render.Shortfall) []string {
	say := p.language.report.shortfall
	if s.GainPerMinute > 0 {
		return []string{say.gets(p, s), say.gain(p, s)}
	}
	return []string{say.gets(p, s), say.noGain}
}

// Limit names one line of the sum that a shortfall offers.
func (p Printer) Limit(l render.Limit) string {
	if say, ok := p.language.report.shortfall.limits[l.Kind]; ok {
		return say(p, l)
	}
	return p.language.unknownCode(string(l.Kind))
}
