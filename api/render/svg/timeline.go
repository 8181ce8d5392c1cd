package svg

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"rillturn.example/rillturn/api/render"
	"rillturn.example/rillturn/api/render/words"
)

// The measures of the schedule picture, in pixels. A week of three sources fits on A4 in landscape at 96 to the inch.
const (
	pageWidth   = 1123
	margin      = 28
	dayWidth    = 88
	sourceWidth = 92
	headHeight  = 84
	laneHeight  = 31
	barHeight   = 27
	bandHeight  = 6 // the hatched edge of a bar
	barText     = 9.5
	smallText   = 10
	bodyText    = 11.5
	titleText   = 19
)

// Timeline draws the turns of a schedule: one lane for each day and source, the water hours shaded, each turn a bar
// with its group and clock times. Groups differ by hatch as well as by colour. A turn too short for its times carries
// a number, and its times stand below. Hours in which nothing happens on any day are left out of the axis.
func Timeline(w io.Writer, s render.Schedule) error {
	if err := s.Validate(); err != nil {
		return fmt.Errorf("timeline of rotation %s: %w", s.RotationID, err)
	}
	t := newTimeline(s)
	t.draw()
	if err := t.writeTo(w); err != nil {
		return fmt.Errorf("timeline of rotation %s: %w", s.RotationID, err)
	}
	return nil
}

// bar is the part of a turn on one day.
type bar struct {
	piece
	turn render.Turn
	// number refers to the list of short turns below; 0 when the times stand in the bar.
	number int
}

// lane is one source on one day.
type lane struct {
	source string
	hours  []piece
	bars   []bar
}

// dayRows are the lanes of one day.
type dayRows struct {
	day   time.Time
	lanes []lane
}

type timeline struct {
	*canvas
	p      words.Printer
	s      render.Schedule
	axis   clockAxis
	days   []dayRows
	marks  map[string]mark
	groups []string // in the order of their names, so that a group keeps its look from week to week
	noted  []bar    // bars whose times stand below
	y      float64
}

func newTimeline(s render.Schedule) *timeline {
	t := &timeline{p: words.New(s.Language, s.Units, s.TimeZone), s: s, marks: map[string]mark{}}
	turns := slices.Clone(s.Turns)
	slices.SortStableFunc(turns, func(a, b render.Turn) int {
		return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.SourceName, b.SourceName), cmp.Compare(a.UID, b.UID))
	})
	t.s.Turns = turns
	for _, turn := range turns {
		t.groups = append(t.groups, turn.ZoneName)
	}
	slices.SortFunc(t.groups, words.Compare)
	t.groups = slices.Compact(t.groups)
	for i, g := range t.groups {
		t.marks[g] = markOf(i)
	}
	t.layOutDays()
	left := float64(margin + dayWidth + sourceWidth)
	t.axis = newClockAxis(t.pieces(), left, pageWidth-margin-left)
	t.numberShortBars()
	t.canvas = newCanvas("schedule", t.height(), t.p.ScheduleTitle(s), t.description())
	return t
}

// layOutDays sorts hours and turns into days and lanes. A day without either still gets a row that says so.
func (t *timeline) layOutDays() {
	zone := t.s.TimeZone
	byDay := map[string]int{}
	for day := midnight(t.s.HorizonFrom.In(zone)); day.Before(t.s.HorizonTo); day = midnight(day.AddDate(0, 0, 1)) {
		byDay[day.Format(time.DateOnly)] = len(t.days)
		t.days = append(t.days, dayRows{day: day})
	}
	laneOf := func(day time.Time, source string) *lane {
		i, ok := byDay[day.Format(time.DateOnly)]
		if !ok {
			return nil // outside the horizon, as is the end of a turn that runs past its last midnight
		}
		rows := &t.days[i]
		for j := range rows.lanes {
			if rows.lanes[j].source == source {
				return &rows.lanes[j]
			}
		}
		rows.lanes = append(rows.lanes, lane{source: source})
		return &rows.lanes[len(rows.lanes)-1]
	}
	for _, h := range t.s.WaterHours {
		for _, p := range splitByDay(h.Start, h.End, zone) {
			if l := laneOf(p.day, h.SourceName); l != nil {
				l.hours = append(l.hours, p)
			}
		}
	}
	for _, turn := range t.s.Turns {
		for _, p := range splitByDay(turn.Start, turn.End, zone) {
			if l := laneOf(p.day, turn.SourceName); l != nil {
				l.bars = append(l.bars, bar{piece: p, turn: turn})
			}
		}
	}
	for i := range t.days {
		slices.SortFunc(t.days[i].lanes, func(a, b lane) int { return cmp.Compare(a.source, b.source) })
		if len(t.days[i].lanes) == 0 {
			t.days[i].lanes = []lane{{}}
		}
	}
}

func (t *timeline) pieces() []piece {
	var all []piece
	for _, d := range t.days {
		for _, l := range d.lanes {
			all = append(all, l.hours...)
			for _, b := range l.bars {
				all = append(all, b.piece)
			}
		}
	}
	return all
}

// barRoom says which texts fit into a bar.
func (t *timeline) barRoom(b bar) (fromText, toText string, oneLine, twoLines bool) {
	width := t.axis.x(b.to) - t.axis.x(b.from) - 6
	fromText, toText = t.p.Clock(b.turn.Start), t.p.Clock(b.turn.End)
	oneLine = width >= textWidth(fromText+"–"+toText, barText)
	twoLines = width >= textWidth(fromText+"–", barText)
	return fromText, toText, oneLine, twoLines
}

func (t *timeline) numberShortBars() {
	for i := range t.days {
		for j := range t.days[i].lanes {
			bars := t.days[i].lanes[j].bars
			for k := range bars {
				if _, _, _, fits := t.barRoom(bars[k]); !fits {
					t.noted = append(t.noted, bars[k])
					bars[k].number = len(t.noted)
				}
			}
		}
	}
}

// description is the whole schedule in words.
func (t *timeline) description() string {
	if len(t.s.Turns) == 0 {
		return t.p.Label(words.LabelNoTurns)
	}
	sentences := make([]string, 0, len(t.s.Turns))
	for _, turn := range t.s.Turns {
		sentences = append(sentences, t.p.Turn(turn))
	}
	return strings.Join(sentences, "\n")
}

func (t *timeline) draw() {
	t.defineHatches(t.usedMarks())
	t.head(t.p.ScheduleTitle(t.s), t.p.ScheduleSubtitle(t.s))
	t.y = headHeight
	t.drawAxis()
	for _, d := range t.days {
		t.drawDay(d)
	}
	t.line(margin, t.y, pageWidth-margin, t.y, at("stroke", ink), num("stroke-width", 1))
	t.y += legendGap
	t.drawLegend()
	t.drawNotes()
	t.drawShort()
}

func (t *timeline) usedMarks() []mark {
	used := make([]mark, 0, len(t.groups))
	for _, g := range t.groups {
		used = append(used, t.marks[g])
	}
	return used
}

func (t *timeline) laneCount() int {
	n := 0
	for _, d := range t.days {
		n += len(d.lanes)
	}
	return n
}

func (t *timeline) drawAxis() {
	bottom := t.y + laneHeight*float64(t.laneCount())
	step := t.axis.tickMinutes()
	for i, s := range t.axis.stretches {
		for m := math.Ceil(s.from/step) * step; m <= s.to; m += step {
			x := s.x + (m-s.from)*t.axis.perMinute
			t.line(x, t.y-4, x, bottom, at("stroke", rule), num("stroke-width", 0.6))
			label := fmt.Sprintf("%02d:%02d", int(m)/minutesPerHour, int(m)%minutesPerHour)
			t.text(x, t.y-8, smallText, label, at("text-anchor", "middle"))
		}
		if i > 0 {
			x := s.x - axisGap/2
			t.text(x, t.y-8, smallText, "//", at("text-anchor", "middle"), at("fill", muted))
		}
	}
}

func (t *timeline) drawDay(d dayRows) {
	t.line(margin, t.y, pageWidth-margin, t.y, at("stroke", ink), num("stroke-width", 1))
	t.text(margin, t.y+14, bodyText, t.p.Date(d.day), at("font-weight", "bold"))
	if clockChanges(d.day) {
		t.text(margin, t.y+27, barText, t.p.Label(words.LabelClockChange), at("fill", muted))
	}
	for i, l := range d.lanes {
		if i > 0 {
			t.line(margin+dayWidth, t.y, pageWidth-margin, t.y, at("stroke", rule), num("stroke-width", 0.6))
		}
		t.drawLane(l)
		t.y += laneHeight
	}
}

// clockChanges reports whether a local day has other than 24 hours.
func clockChanges(day time.Time) bool {
	_, before := day.Zone()
	_, after := midnight(day.AddDate(0, 0, 1)).Zone()
	return before != after
}

func (t *timeline) drawLane(l lane) {
	x := float64(margin + dayWidth)
	middle := t.y + laneHeight/2
	if l.source == "" {
		t.text(x, middle+4, bodyText, t.p.Label(words.LabelNoWaterHours), at("fill", muted), at("font-style", "italic"))
		return
	}
	t.fitted(x, middle+4, bodyText, sourceWidth-8, words.OneLine(l.source))
	for _, h := range l.hours {
		left, right := t.axis.x(h.from), t.axis.x(h.to)
		t.rect(left, t.y+1, right-left, laneHeight-2, waterHoursLook()...)
	}
	for _, b := range l.bars {
		t.drawBar(b)
	}
}

// waterHoursLook shades water hours; the thin outline survives a printer that drops light tones.
func waterHoursLook() []attr {
	return []attr{at("fill", "#eef3f7"), at("stroke", "#9fb3c4"), num("stroke-width", 0.5)}
}

func (t *timeline) drawBar(b bar) {
	left, right := t.axis.x(b.from), t.axis.x(b.to)
	top := t.y + (laneHeight-barHeight)/2
	m := t.marks[b.turn.ZoneName]
	t.begin("g")
	t.leaf("title", t.p.Turn(b.turn))
	radius := 2.0
	if b.turn.Kind != render.ZoneTurn {
		radius = barHeight / 2
	}
	cancelled := b.turn.Status == render.Cancelled
	outline := []attr{at("fill", m.tint), at("stroke", m.strong), num("stroke-width", 1.1), num("rx", radius)}
	if cancelled {
		outline = []attr{at("fill", paper), at("stroke", muted), num("stroke-width", 1), num("rx", radius), at("stroke-dasharray", "4 3")}
	}
	t.rect(left, top, right-left, barHeight, outline...)
	if !cancelled {
		inset := radius * 0.45
		t.rect(left+inset, top+0.6, right-left-2*inset, bandHeight, m.fill())
		t.line(left+inset*0.4, top+bandHeight+0.6, right-inset*0.4, top+bandHeight+0.6, at("stroke", m.strong), num("stroke-width", 0.6))
		if anyShort(b.turn) {
			t.shortMark(right-7, top+1)
		}
	}
	t.writeBar(b, left, right, top)
	t.end()
}

func (t *timeline) writeBar(b bar, left, right, top float64) {
	middle, width := (left+right)/2, right-left-6
	style := []attr{at("text-anchor", "middle")}
	name := words.OneLine(b.turn.ZoneName)
	switch b.turn.Kind {
	case render.HoseTurn:
		name += " (" + t.p.Label(words.LabelHose) + ")"
	case render.CanTurn:
		name += " (" + t.p.Label(words.LabelCan) + ")"
	case render.ZoneTurn:
	}
	if b.turn.Status == render.Cancelled {
		style = append(style, at("fill", muted))
		if b.number == 0 {
			style = append(style, at("text-decoration", "line-through"))
		}
	}
	upper, lower := top+bandHeight+9.2, top+bandHeight+18.6
	fromText, toText, oneLine, _ := t.barRoom(b)
	switch {
	case b.number > 0:
		t.text(middle, lower-3, smallText, strconv.Itoa(b.number), append(style, at("font-weight", "bold"))...)
	case oneLine:
		t.text(middle, upper, barText, fit(name, barText*1.05, width), append(style, at("font-weight", "bold"))...)
		times := fromText + "–" + toText
		if opener := words.OneLine(b.turn.Opener); opener != "" && textWidth(times+" "+opener, barText) <= width {
			times += " " + opener
		}
		t.text(middle, lower, barText, times, style...)
	default:
		t.text(middle, upper, barText, fromText+"–", style...)
		t.text(middle, lower, barText, toText, style...)
	}
}

func anyShort(t render.Turn) bool {
	return slices.ContainsFunc(t.Members, func(m render.Member) bool { return render.IsShort(m.Share) })
}

// shortMark draws the sign of a group that goes short: a black triangle standing on its tip.
func (t *timeline) shortMark(x, y float64) {
	t.polygon([]point{{x - 5, y}, {x + 5, y}, {x, y + 8}}, at("fill", ink), at("stroke", paper), num("stroke-width", 0.8))
}
